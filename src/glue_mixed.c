/* Softening fit under components of error and its profiles: SEXP in, SEXP out. */
#include "glue_components.h"
#include "glue_fit.h"
#include "glue_history.h"
#include "glue_mixed.h"
#include "linear.h"
#include <math.h>
#include <string.h>

#define MOST_ERROR 20.0 /* standard deviations */
#define RESTARTS 5

static double *room(size_t n)
{
    double *out = (double *)R_alloc(n > 0 ? n : 1, sizeof(double));
    memset(out, 0, n * sizeof(double));
    return out;
}

static double *copy_of(SEXP list, int slot, size_t n, const char *what)
{
    double *out = room(n);
    if (n > 0)
        memcpy(out, glue_doubles(glue_part(list, slot), (R_xlen_t)n, what), n * sizeof(double));
    return out;
}

static double *put(SEXP list, int slot, size_t rows, size_t cols)
{
    SET_VECTOR_ELT(list, slot,
                   cols == 0 ? Rf_allocVector(REALSXP, (R_xlen_t)rows)
                             : Rf_allocMatrix(REALSXP, (int)rows, (int)cols));
    double *out = REAL(VECTOR_ELT(list, slot));
    memset(out, 0, rows * (cols == 0 ? 1 : cols) * sizeof(double));
    return out;
}

/* steps: list(temp_k or number of the history, time in min, mean, unused, history or NULL, ln of
 * strain over its reference or NULL, temperatures of the exponents or NULL), in order of
 * conditions. setup: list(kind, lower, upper, natural, held). structure: list(row, piece, furnace,
 * first step of each block, first column of each block, whether a column is a furnace error, share
 * of operators or NULL). errors: list(noise, factor, multiple of the furnace's standard deviation;
 * of each step in order of blocks; variances, whether each is estimated). */
void glue_mixed_pose(SEXP steps, SEXP setup, SEXP ref_k, SEXP structure, SEXP errors, glue_mixed *m)
{
    const R_xlen_t rn = Rf_xlength(glue_part(steps, 0));
    const size_t n = (size_t)rn;
    const double ref = glue_double(ref_k, "ref_k");
    sa_replicates rep;
    memset(m, 0, sizeof *m);
    memset(&rep, 0, sizeof rep);
    m->n = n;
    m->s.kind = glue_model(glue_part(setup, 0));
    m->p = sa_model_parameters(m->s.kind).n_par;
    const R_xlen_t rp = (R_xlen_t)m->p;
    rep.temp_k = copy_of(steps, 0, n, "temp_k");
    rep.time = copy_of(steps, 1, n, "time");
    m->hardness = copy_of(steps, 2, n, "mean");
    double *coordinate = room(n), *unit = room(n);
    rep.log_time = room(n);
    for (size_t i = 0; i < n; i++) {
        unit[i] = 1.0;
        rep.log_time[i] = log(rep.time[i]);
        coordinate[i] = -1000.0 * (1.0 / rep.temp_k[i] - 1.0 / ref) / SA_GAS_CONSTANT;
    }
    sa_clock *clock = &m->s.clock;
    clock->n = n;
    clock->coordinate = coordinate;
    clock->log_time = rep.log_time;
    m->s.hardness = m->hardness;
    m->s.root_weight = unit;
    m->s.lower = glue_doubles(glue_part(setup, 1), rp, "lower");
    m->s.upper = glue_doubles(glue_part(setup, 2), rp, "upper");
    m->s.natural = glue_integers(glue_part(setup, 3), 2 * rp, "natural");
    m->s.held = glue_integers(glue_part(setup, 4), rp, "held");
    m->s.poll = clock->poll = glue_poll;
    if (glue_part(steps, 5) != R_NilValue)
        clock->strain = glue_doubles(glue_part(steps, 5), rn, "strain");
    if (glue_part(steps, 6) != R_NilValue)
        clock->exponent = glue_exponents(glue_part(steps, 6), rep.temp_k, n, m->s.kind);
    if (glue_part(steps, 4) != R_NilValue) {
        glue_histories(glue_part(steps, 4), ref, &m->along);
        clock->along = &m->along;
        clock->table = room(sa_clock_table(n));
        glue_follow(clock, &m->along, &rep, coordinate);
    }
    const R_xlen_t blocks = Rf_xlength(glue_part(structure, 3)) - 1;
    const R_xlen_t columns = Rf_xlength(glue_part(structure, 5));
    if (blocks < 0)
        Rf_error("internal error: no blocks");
    SEXP share = glue_part(structure, 6);
    m->columns = (size_t)columns;
    m->operators = share == R_NilValue ? 0 : (size_t)Rf_ncols(share);
    m->c = (sa_components){
        .n = n,
        .p = m->p,
        .noise = glue_doubles(glue_part(errors, 0), rn, "noise"),
        .factor = glue_doubles(glue_part(errors, 1), rn, "factor"),
        .n_operator = m->operators,
        .n_block = (size_t)blocks,
        .first = glue_cuts(glue_part(structure, 3), blocks, rn, "first"),
        .first_column = glue_cuts(glue_part(structure, 4), blocks, columns, "first_column"),
        .is_furnace = glue_integers(glue_part(structure, 5), columns, "is_furnace"),
        .piece = glue_places(glue_part(structure, 1), rn, -1, columns - 1, "piece"),
        .furnace = glue_places(glue_part(structure, 2), rn, -1, columns - 1, "furnace")};
    glue_check_blocks(&m->c);
    if (m->operators > 0)
        m->c.operator_share = glue_doubles(share, rn * (R_xlen_t)m->operators, "share");
    m->f = (sa_mixed){.s = &m->s,
                      .c = &m->c,
                      .row = glue_order(glue_part(structure, 0), rn, 0, "row"),
                      .shift = room(n),
                      .furnace_scale = glue_doubles(glue_part(errors, 2), rn, "scale"),
                      .estimated = glue_integers(glue_part(errors, 4), SA_V_COUNT, "estimated"),
                      .ref_k = ref};
}

/* setup may have one more: which of the held parameters are open, to be put to a place that depends on the
 * readings alone; or NULL. */
SEXP sa_call_mixed(SEXP steps, SEXP setup, SEXP ref_k, SEXP par, SEXP structure, SEXP errors)
{
    const char *fields[] = {"par",      "variance",    "information", "mode",  "mode_sd",
                            "operator", "operator_sd", "cov",         "x",     "y",
                            "g",        "criterion",   "counts",      "place", ""};
    glue_mixed m;
    glue_mixed_pose(steps, setup, ref_k, structure, errors, &m);
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    double *b = put(out, 0, m.p, 0), *v = put(out, 1, SA_V_COUNT, 0);
    double *info = put(out, 2, SA_V_COUNT, SA_V_COUNT), *mode = put(out, 3, m.columns, 0);
    double *mode_sd = put(out, 4, m.columns, 0), *people = put(out, 5, m.operators, 0);
    double *people_sd = put(out, 6, m.operators, 0), *cov = room(m.p * m.p);
    m.f.x = room(m.n * m.p);
    m.f.y = put(out, 9, m.n, 0);
    m.f.g = put(out, 10, m.n, 0);
    memcpy(b, glue_doubles(par, (R_xlen_t)m.p, "par"), m.p * sizeof(double));
    memcpy(v, glue_doubles(glue_part(errors, 3), SA_V_COUNT, "variance"),
           SA_V_COUNT * sizeof(double));
    const size_t need = sa_mixed_work(&m.f), before = sa_mixed_settle_work(&m.f);
    if (need == 0 || before == 0)
        Rf_error("internal error: problem too large");
    if (Rf_xlength(setup) > 5 && glue_part(setup, 5) != R_NilValue)
        sa_mixed_settle(&m.f, glue_integers(glue_part(setup, 5), (R_xlen_t)m.p, "open"), b, room(before));
    sa_mixed_result result = {.criterion = NAN};
    const sa_status status =
        sa_mixed_fit(&m.f, b, v, info, mode, mode_sd, people, people_sd, cov, &result, room(need));
    memcpy(put(out, 7, result.free, result.free), cov, result.free * result.free * sizeof(double));
    memcpy(put(out, 8, m.n, result.free), m.f.x, m.n * result.free * sizeof(double));
    put(out, 11, 1, 0)[0] = result.criterion;
    SET_VECTOR_ELT(out, 12, Rf_allocVector(INTSXP, 3));
    int *counts = INTEGER(VECTOR_ELT(out, 12));
    counts[0] = (int)status;
    counts[1] = result.iterations;
    counts[2] = result.converged;
    SET_VECTOR_ELT(out, 13, Rf_allocVector(INTSXP, (R_xlen_t)result.free));
    for (size_t k = 0; k < result.free; k++)
        INTEGER(VECTOR_ELT(out, 13))[k] = (int)result.place[k] + 1;
    UNPROTECT(1);
    return out;
}

/* Bounds and the like of the parameters, longer by the errors of furnaces, which have none. */
static void lengthen(glue_mixed *m, size_t count)
{
    const size_t p = m->p, all = p + count, rows = m->n + count;
    double *lower = room(all), *upper = room(all), *unit = room(rows);
    int *natural = (int *)R_alloc(2 * all, sizeof(int)), *held = (int *)R_alloc(all, sizeof(int));
    for (size_t j = 0; j < all; j++) {
        lower[j] = j < p ? m->s.lower[j] : -MOST_ERROR;
        upper[j] = j < p ? m->s.upper[j] : MOST_ERROR;
        natural[j] = j < p ? m->s.natural[j] : 0;
        natural[j + all] = j < p ? m->s.natural[j + p] : 0;
        held[j] = j < p ? m->s.held[j] : 0;
    }
    for (size_t i = 0; i < rows; i++)
        unit[i] = 1.0;
    m->s.lower = lower;
    m->s.upper = upper;
    m->s.natural = natural;
    m->s.held = held;
    m->s.root_weight = unit;
}

void glue_mixed_joint(glue_mixed *m, const double *variance, const double *g, const double *mode)
{
    const size_t n = m->n, columns = sa_whitening_columns(&m->c);
    double rest[SA_V_COUNT];
    int *of = (int *)R_alloc(2 * (m->columns + n + 1), sizeof(int)), *number = of + n;
    size_t count = 0;
    memcpy(rest, variance, sizeof rest);
    for (size_t k = 0; k < m->columns; k++)
        number[k] = m->c.is_furnace[k] ? (int)count++ : -1;
    m->c.g = g;
    if (!(variance[SA_V_FURNACE] > 0.0))
        count = 0;
    if (count > 0 && m->p + count <= SA_MODEL_MAX_PAR) {
        double *scale = room(n);
        for (size_t i = 0; i < n; i++) {
            const int k = m->c.furnace[i];
            const size_t row = (size_t)m->f.row[i];
            scale[row] = sqrt(variance[SA_V_FURNACE]) * m->f.furnace_scale[i];
            of[row] = k < 0 || !(scale[row] > 0.0) ? -1 : number[k];
        }
        rest[SA_V_FURNACE] = 0.0;
        m->furnaces = (sa_furnaces){.count = count,
                                    .of = of,
                                    .scale = scale,
                                    .ref_k = m->f.ref_k,
                                    .shift = room(n),
                                    .jac = room(n * m->p)};
        m->s.furnaces = &m->furnaces;
        lengthen(m, count);
    } else { /* too many: in the covariance, with the slopes and at the errors of the estimate */
        sa_mixed_shift(&m->f, mode);
        m->s.clock.shift = m->f.shift;
        for (size_t i = 0; i < n; i++)
            if (m->c.furnace[i] >= 0)
                m->hardness[m->f.row[i]] += g[i] * mode[m->c.furnace[i]];
    }
    size_t *index = (size_t *)R_alloc(3 * (columns + 1), sizeof(size_t));
    m->w = (sa_whitening){.row = m->f.row,
                          .root = room(n),
                          .v = room(sa_whitening_room(&m->c)),
                          .gamma = room(columns),
                          .from = index,
                          .to = index + columns,
                          .start = index + 2 * columns};
    sa_whitening_build(&m->c, rest, &m->w);
    m->s.whitening = &m->w;
}

size_t glue_mixed_work(const glue_mixed *m)
{
    const size_t need = sa_softening_work_for(sa_softening_rows(&m->s), sa_softening_unknowns(&m->s));
    if (need == 0)
        Rf_error("internal error: problem too large");
    return need;
}

double glue_mixed_minimum(const glue_mixed *m, double *par)
{
    const sa_lsq_problem pb = sa_softening_problem(&m->s);
    double *resid = room(pb.n), *jac = room(pb.n * pb.p), objective = 0.0;
    int at_bound[SA_MODEL_MAX_PAR];
    sa_lsq_control control = sa_lsq_defaults();
    sa_lsq_result result;
    control.ftol = 1e-13;
    control.xtol = 1e-9;
    control.gtol = 1e-9;
    control.max_iterations = 3000;
    control.polish = 0;
    control.poll = glue_poll;
    const sa_status st =
        sa_lsq_fit(&pb, &control, par, resid, jac, at_bound, room(glue_mixed_work(m)), &result);
    if (st == SA_OK || st == SA_LIMIT)
        return result.objective;
    if (pb.fn(par, resid, NULL, pb.context))
        Rf_error("internal error: no residuals at the estimate");
    for (size_t i = 0; i < pb.n; i++)
        objective += resid[i] * resid[i];
    return objective;
}

/* Half widths of the linear intervals of the parameters at `par`. */
static void half_widths(const glue_mixed *m, const double *par, const double *rise, double *line)
{
    const sa_lsq_problem pb = sa_softening_problem(&m->s);
    const size_t p = pb.p;
    double *resid = room(pb.n), *jac = room(pb.n * p), *cov = room(p * p);
    double *singular = room(p), *loading = room(p);
    for (size_t j = 0; j < m->p; j++)
        line[j] = NAN;
    if (pb.fn(par, resid, jac, pb.context))
        return;
    int *skip = (int *)R_alloc(p, sizeof(int));
    for (size_t j = 0; j < p; j++)
        skip[j] = m->s.held[j] || par[j] <= pb.lower[j] || par[j] >= pb.upper[j];
    sa_covariance(jac, pb.n, p, skip, 1e-11, cov, NULL, singular, loading,
                  room(pb.n * p + 2 * p * p + p));
    for (size_t j = 0; j < m->p; j++)
        if (!skip[j] && cov[j + j * p] > 0.0)
            line[j] = sqrt(rise[j] * cov[j + j * p]);
}

/* States and limits of all parameters under the joint likelihood of parameters and errors of furnaces.
 * linear: list(g of each step in order of blocks, modes of the columns, loading); the variances in
 * `errors` are those of the likelihood. threshold: rise of the sum at the ends of the interval of each
 * parameter (NA: not followed). Returns list(state, limit, line); line: half widths of the linear intervals
 * under the same likelihood, NaN where there is none. */
SEXP sa_call_mixed_profile(SEXP steps, SEXP setup, SEXP ref_k, SEXP par, SEXP structure,
                           SEXP errors, SEXP linear, SEXP threshold)
{
    glue_mixed m;
    glue_mixed_pose(steps, setup, ref_k, structure, errors, &m);
    const R_xlen_t rn = (R_xlen_t)m.n, rp = (R_xlen_t)m.p;
    const double *rise = glue_doubles(threshold, rp, "threshold");
    const double *unseen = glue_doubles(glue_part(linear, 2), rp, "loading");
    double b[SA_MODEL_MAX_PAR] = {0.0};
    memcpy(b, glue_doubles(par, rp, "par"), m.p * sizeof(double));
    glue_mixed_joint(&m, glue_doubles(glue_part(errors, 3), SA_V_COUNT, "variance"),
                     glue_doubles(glue_part(linear, 0), rn, "g"),
                     glue_doubles(glue_part(linear, 1), (R_xlen_t)m.columns, "mode"));
    double objective = glue_mixed_minimum(&m, b), *work = room(glue_mixed_work(&m));
    SEXP out = PROTECT(Rf_allocVector(VECSXP, 3));
    SET_VECTOR_ELT(out, 0, Rf_allocVector(INTSXP, rp));
    double *line = put(out, 2, m.p, 0), *limit = put(out, 1, 2, m.p), of_one[2 * SA_MODEL_MAX_PAR];
    int *state = INTEGER(VECTOR_ELT(out, 0)), states[SA_MODEL_MAX_PAR];
    int again = 0;
    for (size_t j = 0; j < m.p; j++) {
        double half[SA_MODEL_MAX_PAR] = {0.0}, loading[SA_MODEL_MAX_PAR] = {0.0};
        double better[SA_MODEL_MAX_PAR];
        int at_bound[SA_MODEL_MAX_PAR] = {0};
        limit[2 * j] = limit[2 * j + 1] = NAN;
        state[j] = m.s.held[j] ? SA_HELD : SA_DETERMINED;
        if (!isfinite(rise[j]) || m.s.held[j])
            continue;
        for (size_t k = 0; k < m.p; k++)
            half[k] = k == j ? HUGE_VAL : -1.0;
        loading[j] = unseen[j];
        at_bound[j] = b[j] <= m.s.lower[j] ? -1 : b[j] >= m.s.upper[j] ? 1 : 0;
        R_CheckUserInterrupt();
        const sa_profile_task task = {.par = b, .at_bound = at_bound, .objective = objective,
                                      .threshold = rise[j], .half = half, .loading = loading,
                                      .every = 1};
        const sa_profile_result found = {.state = states, .limit = of_one,
                                         .better = again < RESTARTS ? better : NULL};
        if (sa_softening_states(&m.s, &task, &found, work)) {
            /* a lower minimum: all profiles start from there */
            memcpy(b, better, sa_softening_unknowns(&m.s) * sizeof(double));
            objective = glue_mixed_minimum(&m, b);
            again++;
            j = (size_t)-1;
            continue;
        }
        state[j] = states[j];
        limit[2 * j] = of_one[2 * j];
        limit[2 * j + 1] = of_one[2 * j + 1];
    }
    half_widths(&m, b, rise, line);
    UNPROTECT(1);
    return out;
}
