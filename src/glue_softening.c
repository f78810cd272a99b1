/* The global softening fit, the forward model and its inverse: SEXP in, SEXP out. */
#include "glue_fit.h"
#include "glue_history.h"
#include "linear.h"
#include "model.h"
#include "softening.h"
#include <Rmath.h>
#include <math.h>
#include <string.h>

static double *put_doubles(SEXP list, int slot, size_t n)
{
    SET_VECTOR_ELT(list, slot, Rf_allocVector(REALSXP, (R_xlen_t)n));
    return REAL(VECTOR_ELT(list, slot));
}

static int *put_integers(SEXP list, int slot, size_t n)
{
    SET_VECTOR_ELT(list, slot, Rf_allocVector(INTSXP, (R_xlen_t)n));
    return INTEGER(VECTOR_ELT(list, slot));
}

static double *put_matrix(SEXP list, int slot, size_t rows, size_t cols)
{
    SET_VECTOR_ELT(list, slot, Rf_allocMatrix(REALSXP, (int)rows, (int)cols));
    return REAL(VECTOR_ELT(list, slot));
}

static void put_names(SEXP x, const char *const *names)
{
    const R_xlen_t n = Rf_xlength(x);
    SEXP text = PROTECT(Rf_allocVector(STRSXP, n));
    for (R_xlen_t i = 0; i < n; i++)
        SET_STRING_ELT(text, i, Rf_mkChar(names[i]));
    Rf_setAttrib(x, R_NamesSymbol, text);
    UNPROTECT(1);
}

int *glue_exponents(SEXP levels, const double *temp_k, size_t n, sa_model_kind kind)
{
    const R_xlen_t count = Rf_xlength(levels);
    if (count < 1 || (size_t)count > sa_model_parameters(kind).exponents)
        Rf_error("internal error: 'levels' does not fit the model");
    const double *level = glue_doubles(levels, count, "levels");
    int *out = (int *)R_alloc(n, sizeof(int));
    for (size_t i = 0; i < n; i++) {
        out[i] = 0;
        for (R_xlen_t k = 1; k < count; k++)
            if (fabs(temp_k[i] - level[k]) < fabs(temp_k[i] - level[out[i]]))
                out[i] = (int)k;
    }
    return out;
}

/* Residuals to covariances to states; a lower minimum met on a profile is adopted and all
 * is done again. Returns how often that happened. */
static int infer(const sa_softening *s, sa_replicates *rep, const sa_lsq_control *ctl,
                 const double *inference, double *par, double *resid, double *jac, int *at_bound,
                 sa_covariances *cov, int *state, double *limit, double *ends, double *work,
                 sa_lsq_result *result, double *squares)
{
    const size_t p = sa_model_parameters(s->kind).n_par;
    double half[SA_MODEL_MAX_PAR], better[SA_MODEL_MAX_PAR];
    size_t estimated = p;
    for (size_t j = 0; j < p; j++)
        estimated -= (size_t)(s->held[j] != 0);
    for (int adopted = 0;; adopted++) {
        *squares = result->objective + rep->pure_error;
        if (ctl->huber > 0.0)
            *squares = sa_softening_pseudo(s, resid, result->scale > 0.0 ? ctl->huber * result->scale : HUGE_VAL,
                                           estimated, rep);
        sa_softening_covariance(s, rep, resid, jac, at_bound, cov, work);
        double n = inference[0], g = (double)rep->n_cluster, e = (double)estimated;
        int cluster = inference[2] > 0.0 && g > e;
        double df = cluster ? g - e : n - e;
        double variance = cluster ? cov->between / df : df > 0.0 ? *squares / df : NAN;
        double t = df > 0.0 ? Rf_qt(0.5 + 0.5 * inference[1], df, 1, 0) : NAN;
        for (size_t j = 0; j < p; j++) {
            double v = cluster ? cov->cluster[j + j * p] : variance * cov->model[j + j * p];
            half[j] = cluster && cov->alone[j] ? HUGE_VAL : t * sqrt(v); /* huge: follow it */
        }
        double threshold = ctl->huber > 0.0 ? HUGE_VAL : t * t * variance;
        if (!(df > 0.0))
            threshold = HUGE_VAL; /* no variance: only what is plain */
        int found = sa_softening_states(s, par, at_bound, result->objective, threshold, half,
                                        cov->loading, inference[3] > 0.0, state, limit, ends,
                                        adopted < 3 ? better : NULL, work);
        if (!found && inference[3] <= 0.0)
            sa_softening_narrow(half, state, limit, p, cov->model, cov->cluster);
        if (!found)
            return adopted;
        int iterations = result->iterations, evaluations = result->evaluations;
        memcpy(par, better, p * sizeof(double));
        sa_softening_fit(s, ctl, 1, par, resid, jac, at_bound, work, result);
        result->iterations += iterations;
        result->evaluations += evaluations;
    }
}

/* Marks of the histories at the conditions, which are in order of history and time, and the
 * tangent of the clock for the start values. */
void glue_follow(sa_clock *clock, sa_histories *along, const sa_replicates *rep,
                 double *coordinate)
{
    const size_t m = clock->n;
    size_t before = 0, i;
    int *mark_first = (int *)R_alloc(along->count + 1, sizeof(int));
    double *mark = (double *)R_alloc(m, sizeof(double));
    while (before < m && rep->temp_k[before] < 0.5)
        before++;
    i = before;
    for (size_t k = 0; k < along->count; k++) {
        mark_first[k] = (int)(i - before);
        const double start = along->time[along->first[k]];
        const double end = along->time[along->first[k + 1] - 1];
        for (; i < m && rep->temp_k[i] < (double)k + 1.5; i++)
            mark[i - before] = fmin(start + exp(along->log_unit) * rep->time[i], end);
    }
    if (i != m)
        Rf_error("internal error: the steps do not follow their histories");
    mark_first[along->count] = (int)(i - before);
    along->mark = mark;
    along->mark_first = mark_first;
    sa_clock_begin(clock);
    sa_clock_set(clock, SA_RECRYSTALLISATION, SA_TYPICAL_ENERGY);
    for (i = 0; i < m; i++) {
        double slope;
        double log_scaled =
            sa_clock_read(clock, i, SA_RECRYSTALLISATION, SA_TYPICAL_ENERGY, &slope);
        coordinate[i] = slope;
        rep->log_time[i] = log_scaled - SA_TYPICAL_ENERGY * slope;
    }
}

SEXP sa_call_softening(SEXP readings, SEXP model, SEXP ref_k, SEXP start, SEXP lower, SEXP upper,
                       SEXP natural, SEXP held, SEXP control, SEXP inference)
{
    const char *fields[] = {"par",       "at_bound", "state",     "limit",       "model",
                            "cluster",   "singular", "loading",   "jac",         "fitted",
                            "condition", "cluster_of", "temp_k",  "time",        "mean",
                            "weight",    "first_of", "counts",    "sums",        "null",
                            "ends",      "strain",     ""};
    const sa_model_kind kind = glue_model(model);
    const size_t p = sa_model_parameters(kind).n_par;
    const R_xlen_t rp = (R_xlen_t)p;
    const R_xlen_t rn = Rf_xlength(glue_part(readings, 0));
    const size_t n = (size_t)rn;
    const double ref = glue_double(ref_k, "ref_k");
    sa_readings in = {n,
                      glue_doubles(glue_part(readings, 0), rn, "temp_k"),
                      glue_doubles(glue_part(readings, 1), rn, "time"),
                      glue_doubles(glue_part(readings, 2), rn, "hardness"),
                      NULL,
                      glue_integers(glue_part(readings, 4), rn, "specimen"),
                      glue_places(glue_part(readings, 5), rn, 1, rn, "order"),
                      NULL};
    if (glue_part(readings, 3) != R_NilValue)
        in.weight = glue_doubles(glue_part(readings, 3), rn, "weight");
    const int grouped = Rf_xlength(readings) > 8;
    if (grouped && glue_part(readings, 7) != R_NilValue)
        in.strain = glue_doubles(glue_part(readings, 7), rn, "strain");
    sa_lsq_control ctl = glue_control(control);
    ctl.poll = glue_poll;
    ctl.creep = 1e-6;
    /* level of the limits; standard errors from clusters, start given, limits of every
     * parameter: or not */
    const double *inf = glue_doubles(inference, 4, "inference");

    /* gather; a robust loss sees every reading */
    sa_replicates rep;
    double *room = (double *)R_alloc(8 * n, sizeof(double));
    rep.temp_k = room;
    rep.time = room + n;
    rep.log_time = room + 2 * n;
    rep.mean = room + 3 * n;
    rep.weight = room + 4 * n;
    rep.cluster_mean = room + 5 * n;
    rep.cluster_weight = room + 6 * n;
    rep.first_of = (int *)R_alloc(n, sizeof(int));
    rep.strain = in.strain ? (double *)R_alloc(n, sizeof(double)) : NULL;
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    rep.condition_of = put_integers(out, 10, n);
    rep.cluster_of = put_integers(out, 11, n);
    memset(rep.condition_of, 0, n * sizeof(int));
    memset(rep.cluster_of, 0, n * sizeof(int));
    sa_gather(&in, ctl.huber <= 0.0, &rep);
    const size_t m = rep.n_condition;

    double *coordinate = (double *)R_alloc(2 * m, sizeof(double)), *root = coordinate + m;
    for (size_t i = 0; i < m; i++) {
        coordinate[i] = -1000.0 * (1.0 / rep.temp_k[i] - 1.0 / ref) / SA_GAS_CONSTANT;
        root[i] = sqrt(rep.weight[i]);
    }
    const size_t need = sa_softening_work_for(m, p);
    if (need == 0)
        Rf_error("internal error: problem too large");
    double *work = (double *)R_alloc(need, sizeof(double));
    double *resid = (double *)R_alloc(m, sizeof(double));
    sa_softening s = {.kind = kind,
                      .clock = {.n = m,
                                .coordinate = coordinate,
                                .log_time = rep.log_time,
                                .strain = rep.strain},
                      .hardness = rep.mean,
                      .root_weight = root,
                      .lower = glue_doubles(lower, rp, "lower"),
                      .upper = glue_doubles(upper, rp, "upper"),
                      .natural = glue_integers(natural, 2 * rp, "natural"),
                      .held = glue_integers(held, rp, "held")};
    if (grouped && glue_part(readings, 8) != R_NilValue)
        s.clock.exponent = glue_exponents(glue_part(readings, 8), rep.temp_k, m, kind);
    s.poll = s.clock.poll = glue_poll;
    sa_histories along;
    if (Rf_xlength(readings) > 6 && glue_part(readings, 6) != R_NilValue) {
        /* temp_k is then the number of the history (0: no anneal), time the minutes in it */
        glue_histories(glue_part(readings, 6), ref, &along);
        s.clock.along = &along;
        s.clock.table = (double *)R_alloc(sa_clock_table(m), sizeof(double));
        glue_follow(&s.clock, &along, &rep, coordinate);
    }
    double *par = put_doubles(out, 0, p);
    int *at_bound = put_integers(out, 1, p), *state = put_integers(out, 2, p);
    double *limit = put_matrix(out, 3, 2, p);
    sa_covariances cov = {.model = put_matrix(out, 4, p, p),
                          .cluster = put_matrix(out, 5, p, p),
                          .null = put_matrix(out, 19, p, p),
                          .singular = put_doubles(out, 6, p),
                          .loading = put_doubles(out, 7, p)};
    double *jac = put_matrix(out, 8, m, p), *fitted = put_doubles(out, 9, n);
    memcpy(par, glue_doubles(start, rp, "start"), p * sizeof(double));
    memset(at_bound, 0, p * sizeof(int));
    memset(jac, 0, m * p * sizeof(double));
    memset(resid, 0, m * sizeof(double));

    sa_lsq_result res;
    sa_softening_fit(&s, &ctl, inf[2] > 0.0, par, resid, jac, at_bound, work,
                     &res);
    double squares, settings[4] = {(double)n, inf[0], inf[1], inf[3]};
    int adopted = infer(&s, &rep, &ctl, settings, par, resid, jac, at_bound, &cov, state, limit,
                        inf[3] > 0.0 ? put_matrix(out, 20, p, 2 * p) : NULL, work, &res,
                        &squares);

    for (size_t i = 0; i < m; i++) { /* back to hardness: residuals and rows unweighted */
        double r = root[i] > 0.0 ? 1.0 / root[i] : 0.0;
        for (size_t j = 0; j < p; j++)
            jac[i + j * m] *= r;
    }
    sa_model_hardness(kind, &s.clock, par, resid, NULL);
    for (size_t k = 0; k < n; k++)
        fitted[k] = resid[rep.condition_of[k]];
    const double *parts[4] = {rep.temp_k, rep.time, rep.mean, rep.weight};
    for (int k = 0; k < 4; k++)
        memcpy(put_doubles(out, 12 + k, m), parts[k], m * sizeof(double));
    if (rep.strain)
        memcpy(put_doubles(out, 21, m), rep.strain, m * sizeof(double));
    memcpy(put_integers(out, 16, rep.n_cluster), rep.first_of, rep.n_cluster * sizeof(int));
    const char *count_names[] = {"conditions", "treatments", "rank",   "end",
                                 "iterations", "evaluations", "adopted"};
    const int count[] = {(int)m,         (int)rep.n_cluster, (int)cov.rank, (int)res.end,
                         res.iterations, res.evaluations,    adopted};
    memcpy(put_integers(out, 17, 7), count, sizeof count);
    put_names(VECTOR_ELT(out, 17), count_names);
    const char *sum_names[] = {"objective", "pure_error", "between", "cosine", "scale",
                               "squares"};
    const double sum[] = {res.objective, rep.pure_error, cov.between, res.cosine, res.scale,
                          squares};
    memcpy(put_doubles(out, 18, 6), sum, sizeof sum);
    put_names(VECTOR_ELT(out, 18), sum_names);
    UNPROTECT(1);
    return out;
}

/* `place`: coordinates of temperature; or a matrix with columns coordinate, ln of the strain over
 * its reference, which n from 0. */
static double strain_at(const double *place, R_xlen_t n, int grouped, R_xlen_t i)
{
    return grouped ? place[i + n] : 0.0;
}

static int exponent_at(const double *place, R_xlen_t n, int grouped, R_xlen_t i, sa_model_kind kind)
{
    const double most = (double)sa_model_parameters(kind).exponents - 1.0;
    return grouped ? (int)glue_whole(place[i + 2 * n], 0.0, most, "exponent") : 0;
}

#define SE_BLOCK ((size_t)4096)

/* sqrt(g' V g) of each row g of `gradient`; what rounding leaves below zero is zero. */
SEXP sa_call_gradient_se(SEXP gradient, SEXP cov)
{
    const int p = Rf_ncols(gradient);
    const size_t rows = (size_t)Rf_nrows(gradient);
    const double *g = glue_doubles(gradient, (R_xlen_t)rows * p, "gradient");
    const double *v = glue_doubles(cov, (R_xlen_t)p * p, "cov");
    SEXP out = PROTECT(Rf_allocVector(REALSXP, (R_xlen_t)rows));
    double *se = REAL(out);
    for (size_t from = 0; from < rows; from += SE_BLOCK) {
        const size_t n = rows - from < SE_BLOCK ? rows - from : SE_BLOCK;
        R_CheckUserInterrupt();
        sa_quadratic_forms(g + from, n, rows, (size_t)p, v, se + from);
        for (size_t i = from; i < from + n; i++)
            se[i] = se[i] < 0.0 ? 0.0 : sqrt(se[i]);
    }
    UNPROTECT(1);
    return out;
}

/* Hardness and derivatives at given conditions: n x (1 + p) matrix. */
SEXP sa_call_hardness(SEXP model, SEXP log_time, SEXP place, SEXP par)
{
    const sa_model_kind kind = glue_model(model);
    const size_t p = sa_model_parameters(kind).n_par;
    const R_xlen_t rn = Rf_xlength(log_time);
    const int grouped = Rf_xlength(place) == 3 * rn && kind >= SA_WITH_STRAIN;
    const double *at = glue_doubles(place, grouped ? 3 * rn : rn, "place");
    sa_clock clock = {.n = (size_t)rn,
                      .coordinate = at,
                      .log_time = glue_doubles(log_time, rn, "log_time"),
                      .poll = glue_poll};
    if (grouped) {
        int *exponent = (int *)R_alloc((size_t)rn, sizeof(int));
        for (R_xlen_t i = 0; i < rn; i++)
            exponent[i] = exponent_at(at, rn, grouped, i, kind);
        clock.strain = at + rn;
        clock.exponent = exponent;
    }
    const double *b = glue_doubles(par, (R_xlen_t)p, "par");
    SEXP out = PROTECT(Rf_allocMatrix(REALSXP, (int)rn, (int)p + 1));
    sa_model_hardness(kind, &clock, b, REAL(out), REAL(out) + rn);
    UNPROTECT(1);
    return out;
}

/* Time to a hardness at constant temperature: ln t, d ln t / d par (rows), NA where the curve
 * never gets there. */
SEXP sa_call_time_to(SEXP model, SEXP place, SEXP target, SEXP kind, SEXP par)
{
    const sa_model_kind which = glue_model(model), base = sa_model_base(which);
    const size_t p = sa_model_parameters(which).n_par;
    const R_xlen_t rn = Rf_xlength(target);
    const int grouped = Rf_xlength(place) == 3 * rn && which >= SA_WITH_STRAIN;
    const double *e = glue_doubles(place, grouped ? 3 * rn : rn, "place");
    const double *aim = glue_doubles(target, rn, "target");
    const int share = *glue_places(kind, 1, SA_TO_HARDNESS, SA_TO_FRACTION, "kind");
    const double *b = glue_doubles(par, (R_xlen_t)p, "par");
    SEXP out = PROTECT(Rf_allocMatrix(REALSXP, (int)rn, (int)p + 1));
    double *x = REAL(out), gradient[SA_MODEL_MAX_PAR], own[SA_BASE_PAR], of_own[SA_BASE_PAR];
    for (R_xlen_t i = 0; i < rn; i++) {
        double ln_time;
        if (i % 64 == 63)
            R_CheckUserInterrupt();
        const sa_group group = {strain_at(e, rn, grouped, i),
                                exponent_at(e, rn, grouped, i, which)};
        sa_model_of_group(which, group, b, own);
        int got = sa_model_time_to(base, e[i], aim[i], share, own, &ln_time, of_own);
        if (got)
            sa_model_chain(which, group, b, of_own, gradient);
        x[i] = got ? ln_time : NA_REAL;
        for (size_t j = 0; j < p; j++)
            x[i + (R_xlen_t)(j + 1) * rn] = got ? gradient[j] : NA_REAL;
    }
    UNPROTECT(1);
    return out;
}
