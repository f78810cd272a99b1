/* Components of error of a linear model of step means: SEXP in, SEXP out. */
#include "glue_components.h"
#include "components.h"
#include "glue_mixed.h"
#include <math.h>
#include <string.h>

void glue_check_blocks(const sa_components *c)
{
    for (size_t b = 0; b < c->n_block; b++)
        for (int i = c->first[b]; i < c->first[b + 1]; i++) {
            const int from = c->first_column[b], to = c->first_column[b + 1];
            const int bad_piece = c->piece[i] >= 0 && (c->piece[i] < from || c->piece[i] >= to);
            const int bad_furnace =
                c->furnace[i] >= 0 && (c->furnace[i] < from || c->furnace[i] >= to);
            if (bad_piece || bad_furnace)
                Rf_error("internal error: a column lies outside its block");
        }
}

/* problem: list(y, x, g, noise, share of operators or NULL, piece, furnace, first step of each
 * block, first column of each block, whether a column is a furnace error, multiple of the step's
 * variance). */
static sa_components read_problem(SEXP problem)
{
    const R_xlen_t n = Rf_xlength(glue_part(problem, 0));
    const R_xlen_t blocks = Rf_xlength(glue_part(problem, 7)) - 1;
    const R_xlen_t columns = Rf_xlength(glue_part(problem, 9));
    if (blocks < 0)
        Rf_error("internal error: no blocks");
    SEXP x = glue_part(problem, 1), share = glue_part(problem, 4);
    const int p = Rf_ncols(x), operators = share == R_NilValue ? 0 : Rf_ncols(share);
    sa_components c = {
        .n = (size_t)n,
        .p = (size_t)p,
        .y = glue_doubles(glue_part(problem, 0), n, "y"),
        .x = glue_doubles(x, n * p, "x"),
        .g = glue_doubles(glue_part(problem, 2), n, "g"),
        .noise = glue_doubles(glue_part(problem, 3), n, "noise"),
        .factor = glue_doubles(glue_part(problem, 10), n, "factor"),
        .n_operator = (size_t)operators,
        .n_block = (size_t)blocks,
        .first = glue_cuts(glue_part(problem, 7), blocks, n, "first"),
        .first_column = glue_cuts(glue_part(problem, 8), blocks, columns, "first_column"),
        .is_furnace = glue_integers(glue_part(problem, 9), columns, "is_furnace"),
        .piece = glue_places(glue_part(problem, 5), n, -1, columns - 1, "piece"),
        .furnace = glue_places(glue_part(problem, 6), n, -1, columns - 1, "furnace")};
    if (operators > 0)
        c.operator_share = glue_doubles(share, n * operators, "share");
    glue_check_blocks(&c);
    return c;
}

static double *work_for(const sa_components *c)
{
    const size_t need = sa_components_work(c);
    if (need == 0)
        Rf_error("internal error: problem too large");
    return (double *)R_alloc(need + c->p * c->p, sizeof(double));
}

static double *put(SEXP list, int slot, R_xlen_t rows, R_xlen_t cols)
{
    SET_VECTOR_ELT(list, slot,
                   cols < 0 ? Rf_allocVector(REALSXP, rows)
                            : Rf_allocMatrix(REALSXP, (int)rows, (int)cols));
    return REAL(VECTOR_ELT(list, slot));
}

/* `variance`: start, of furnace, piece, step, operator; `estimated`: which of them move;
 * `gradient`: rows for which degrees of freedom and parts of the variance are wanted. */
SEXP sa_call_components_reml(SEXP problem, SEXP variance, SEXP estimated, SEXP gradient)
{
    const char *fields[] = {"variance", "information", "beta",     "cov",         "criterion",
                            "mode",     "mode_sd",     "operator", "operator_sd", "df",
                            "parts",    "status",      ""};
    const sa_components c = read_problem(problem);
    const R_xlen_t p = (R_xlen_t)c.p, columns = Rf_xlength(glue_part(problem, 9));
    const int *moves = glue_integers(estimated, SA_V_COUNT, "estimated"), rows = Rf_nrows(gradient);
    const double *g = glue_doubles(gradient, rows * p, "gradient");
    double *work = work_for(&c), *row = (double *)R_alloc(c.p, sizeof(double));
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    double *v = put(out, 0, SA_V_COUNT, -1), *info = put(out, 1, SA_V_COUNT, SA_V_COUNT);
    double *beta = put(out, 2, p, -1), *cov = put(out, 3, p, p), *criterion = put(out, 4, 1, -1);
    double *mode = put(out, 5, columns, -1), *mode_sd = put(out, 6, columns, -1);
    double *people = put(out, 7, (R_xlen_t)c.n_operator, -1);
    double *people_sd = put(out, 8, (R_xlen_t)c.n_operator, -1);
    double *df = put(out, 9, rows, -1), *parts = put(out, 10, rows, SA_V_COUNT);
    memcpy(v, glue_doubles(variance, SA_V_COUNT, "variance"), SA_V_COUNT * sizeof(double));
    memset(info, 0, SA_V_COUNT * SA_V_COUNT * sizeof(double));
    sa_status status = sa_components_reml(&c, moves, SA_REML_ROUNDS, v, info, work);
    sa_components_value value;
    if (sa_components_prepare(&c, v, work) || sa_components_solve(&c, v, work, beta, cov, &value) ||
        sa_components_modes(&c, v, beta, work, mode, mode_sd, people, people_sd))
        status = SA_SINGULAR;
    *criterion = value.criterion;
    for (int k = 0; k < rows && status != SA_SINGULAR; k++) {
        double part[SA_V_COUNT];
        for (R_xlen_t j = 0; j < p; j++)
            row[j] = g[k + j * rows];
        df[k] = sa_components_df(&c, moves, v, info, row, work);
        sa_components_parts(&c, v, row, part, work);
        for (int j = 0; j < SA_V_COUNT; j++)
            parts[k + j * rows] = part[j];
    }
    SET_VECTOR_ELT(out, 11, Rf_ScalarInteger((int)status));
    UNPROTECT(1);
    return out;
}

/* Quantiles (every `stride`-th place of `out`) of that of two parts of a mixture, nodes before `cut` and the
 * others, whose quantiles reach further apart. */
static void wider_structure(const sa_normal *normal, const double *w, const double *mean,
                            const double *spread, size_t count, size_t cut, const double *q, R_xlen_t n,
                            double *out, R_xlen_t stride)
{
    R_xlen_t low = 0, high = 0;
    double width = -1.0;
    if (cut == 0 || cut == count)
        return;
    for (R_xlen_t k = 1; k < n; k++) {
        low = q[k] < q[low] ? k : low;
        high = q[k] > q[high] ? k : high;
    }
    double *own = (double *)R_alloc(count, sizeof(double)), sum[2] = {0.0, 0.0};
    for (size_t i = 0; i < count; i++)
        sum[i >= cut] += w[i];
    for (size_t i = 0; i < count; i++)
        own[i] = w[i] / sum[i >= cut];
    for (int s = 0; s < 2; s++) {
        const size_t from = s ? cut : 0, many = s ? count - cut : cut;
        double ends[2];
        for (int e = 0; e < 2; e++)
            ends[e] = sa_mixture_quantile(normal, own + from, mean + from, spread + from, many,
                                          q[e ? high : low]);
        if (!(ends[1] - ends[0] > width))
            continue;
        width = ends[1] - ends[0];
        for (R_xlen_t k = 0; k < n; k++)
            out[k * stride] = sa_mixture_quantile(normal, own + from, mean + from, spread + from, many,
                                                  q[k]);
    }
}

/* Nodes that count: those left out have less than 2e-5 of the weight together. */
static size_t keep_nodes(const sa_mixture *mix, int *keep)
{
    double least = 1e-5;
    size_t count = 0;
    for (; least > 1e-12; least *= 0.1) {
        double dropped = 0.0;
        for (size_t i = 0; i < mix->count; i++)
            dropped += mix->weight[i] < least ? mix->weight[i] : 0.0;
        if (dropped < 2e-5)
            break;
    }
    for (size_t i = 0; i < mix->count; i++)
        if (mix->weight[i] >= least)
            keep[count++] = (int)i;
    return count;
}

/* structures: list of problems with the same steps; prior: matrix with a row for furnace, piece,
 * step, operator and columns kind, scale, cut, width, nodes; gradient: rows g of quantities g'beta;
 * extra: matrix of as many rows and SA_V_COUNT + 1 columns, multiples of the variances and a
 * constant that a new reading adds to the variance, or NULL; probability: quantiles wanted. */
SEXP sa_call_components_grid(SEXP structures, SEXP prior, SEXP gradient, SEXP extra,
                             SEXP probability)
{
    const char *fields[] = {"quantile", "mean", "weight", "sd", "structure", "status", ""};
    const R_xlen_t n_structure = Rf_xlength(structures), rows = Rf_nrows(gradient);
    const R_xlen_t n_probability = Rf_xlength(probability);
    sa_components *c = (sa_components *)R_alloc((size_t)n_structure, sizeof(sa_components));
    size_t need = 0;
    for (R_xlen_t s = 0; s < n_structure; s++) {
        c[s] = read_problem(glue_part(structures, s));
        if (c[s].n != c[0].n || c[s].p != c[0].p)
            Rf_error("internal error: structures of other steps");
        const size_t own = sa_components_work(&c[s]);
        if (own == 0)
            Rf_error("internal error: problem too large");
        need = own > need ? own : need;
    }
    if (n_structure < 1)
        Rf_error("internal error: no structure");
    const size_t p = c[0].p, packed = p * (p + 1) / 2;
    const double *pr = glue_doubles(prior, 5 * SA_V_COUNT, "prior");
    const double *g = glue_doubles(gradient, rows * (R_xlen_t)p, "gradient");
    const double *q = glue_doubles(probability, n_probability, "probability");
    const double *more =
        extra == R_NilValue ? NULL : glue_doubles(extra, rows * (SA_V_COUNT + 1), "extra");
    sa_prior priors[SA_V_COUNT];
    for (size_t k = 0; k < SA_V_COUNT; k++) {
        priors[k] =
            (sa_prior){(sa_prior_kind)(int)pr[k], pr[k + SA_V_COUNT], pr[k + 2 * SA_V_COUNT],
                       pr[k + 3 * SA_V_COUNT], (int)pr[k + 4 * SA_V_COUNT]};
        if (priors[k].nodes < 1 || priors[k].nodes > SA_MOST_NODES)
            Rf_error("internal error: number of nodes");
    }
    const size_t room = sa_mixture_room(priors, (size_t)n_structure);
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    double *share = put(out, 4, n_structure, -1);
    sa_mixture mix = {.room = room,
                      .weight = (double *)R_alloc(room, sizeof(double)),
                      .sd = (double *)R_alloc(room * SA_V_COUNT, sizeof(double)),
                      .beta = (double *)R_alloc(room * p, sizeof(double)),
                      .cov = (double *)R_alloc(room * packed, sizeof(double)),
                      .structure = share};
    double *work = (double *)R_alloc(need, sizeof(double));
    double *node_work = (double *)R_alloc(p + p * p, sizeof(double));
    const sa_status status =
        sa_components_grid(c, (size_t)n_structure, priors, &mix, work, node_work);
    double *quantile = put(out, 0, rows, n_probability), *centre = put(out, 1, rows, -1);
    if (status == SA_OK) {
        int *keep = (int *)R_alloc(room, sizeof(int));
        const size_t count = keep_nodes(&mix, keep);
        double *w = put(out, 2, (R_xlen_t)count, -1);
        double *sd = put(out, 3, (R_xlen_t)count, SA_V_COUNT);
        double *mean = (double *)R_alloc(2 * count, sizeof(double)), *spread = mean + count;
        sa_normal *normal = (sa_normal *)R_alloc(1, sizeof(sa_normal));
        sa_normal_build(normal);
        for (size_t i = 0; i < count; i++) {
            w[i] = mix.weight[keep[i]];
            for (size_t k = 0; k < SA_V_COUNT; k++)
                sd[i + k * count] = mix.sd[(size_t)keep[i] * SA_V_COUNT + k];
        }
        size_t cut = 0;
        while (cut < count && (size_t)keep[cut] < mix.count / 2)
            cut++;
        for (R_xlen_t r = 0; r < rows; r++) {
            if (r % 64 == 63)
                R_CheckUserInterrupt();
            centre[r] = 0.0;
            for (size_t i = 0; i < count; i++) {
                const double *beta = mix.beta + (size_t)keep[i] * p;
                const double *cov = mix.cov + (size_t)keep[i] * packed;
                double m = 0.0, v = more ? more[r + SA_V_COUNT * rows] : 0.0;
                for (size_t j = 0; j < p; j++) {
                    const double gj = g[r + (R_xlen_t)j * rows];
                    m += gj * beta[j];
                    for (size_t l = 0; l <= j; l++)
                        v += (l == j ? 1.0 : 2.0) * gj * g[r + (R_xlen_t)l * rows] * *cov++;
                }
                for (size_t k = 0; more && k < SA_V_COUNT; k++)
                    v += more[r + (R_xlen_t)k * rows] * sd[i + k * count] * sd[i + k * count];
                mean[i] = m;
                spread[i] = sqrt(v > 0.0 ? v : 0.0);
                centre[r] += w[i] * m;
            }
            for (R_xlen_t k = 0; k < n_probability; k++)
                quantile[r + k * rows] = sa_mixture_quantile(normal, w, mean, spread, count, q[k]);
            /* of structures that the readings cannot tell apart the wider one counts */
            if (n_structure == 2 && priors[SA_V_FURNACE].kind == SA_PRIOR_HALF_NORMAL)
                wider_structure(normal, w, mean, spread, count, cut, q, n_probability, quantile + r, rows);
        }
    }
    SET_VECTOR_ELT(out, 5, Rf_ScalarInteger((int)status));
    UNPROTECT(1);
    return out;
}
