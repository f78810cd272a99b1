/* The global softening fit, the forward model and its inverse: SEXP in, SEXP out. */
#include "glue_fit.h"
#include "censored.h"
#include "glue_history.h"
#include "linear.h"
#include "model.h"
#include "softening.h"
#include <Rmath.h>
#include <math.h>
#include <string.h>

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

/* A fit on its way through inference: what it is of, how it is asked, where results go. */
typedef struct {
    const sa_softening *s;
    sa_replicates *rep;
    const sa_lsq_control *control;
    size_t n;
    double level, squares; /* sum of squares behind the variance */
    int clusters, every; /* standard errors from clusters, limits of every parameter: or not */
    double *par, *resid, *jac, *limit, *ends, *work;
    int *at_bound, *state;
    sa_covariances cov;
    sa_lsq_result result;
} inference;

/* Residuals to covariances to states; a lower minimum met on a profile is adopted and all
 * is done again. Returns how often that happened. */
static int infer(inference *f)
{
    const sa_softening *s = f->s;
    const int huber = f->control->huber > 0.0;
    const size_t p = sa_model_parameters(s->kind).n_par;
    double half[SA_MODEL_MAX_PAR], line[SA_MODEL_MAX_PAR], seen[SA_MODEL_MAX_PAR], better[SA_MODEL_MAX_PAR];
    int narrow[SA_MODEL_MAX_PAR];
    size_t estimated = p;
    for (size_t j = 0; j < p; j++)
        estimated -= (size_t)(s->held[j] != 0);
    for (int adopted = 0;; adopted++) {
        f->squares = f->result.objective + f->rep->pure_error;
        if (huber)
            f->squares = sa_softening_pseudo(
                s, f->resid,
                f->result.scale > 0.0 ? f->control->huber * f->result.scale : HUGE_VAL, estimated,
                f->rep);
        sa_softening_covariance(s, f->rep, f->resid, f->jac, f->at_bound, &f->cov, f->work);
        double n = (double)f->n, g = (double)f->rep->n_cluster, e = (double)estimated;
        int cluster = f->clusters && g > e;
        double df = cluster ? g - e : n - e;
        double variance = cluster ? f->cov.between / df : df > 0.0 ? f->squares / df : NAN;
        double t = df > 0.0 ? Rf_qt(0.5 + 0.5 * f->level, df, 1, 0) : NAN;
        double least = sa_least_variance(variance, f->squares, n - e);
        for (size_t j = 0; j < p; j++) {
            double v = cluster ? f->cov.cluster[j + j * p] : variance * f->cov.model[j + j * p];
            line[j] = t * sqrt(v);
            half[j] = cluster && f->cov.alone[j] ? HUGE_VAL : line[j]; /* huge: follow it */
            seen[j] = fmax(half[j], t * sqrt(least * f->cov.model[j + j * p]));
        }
        double threshold = huber ? HUGE_VAL : t * t * least;
        if (!(df > 0.0))
            threshold = HUGE_VAL; /* no variance: only what is plain */
        const sa_profile_task task = {.par = f->par, .at_bound = f->at_bound,
                                      .objective = f->result.objective, .threshold = threshold,
                                      .half = seen, .loading = f->cov.loading, .every = f->every,
                                      .cov = f->cov.model};
        const sa_profile_result states = {.state = f->state, .limit = f->limit, .ends = f->ends,
                                          .better = adopted < 3 ? better : NULL, .narrow = narrow};
        int found = sa_softening_states(s, &task, &states, f->work);
        if (!found && !f->every)
            sa_softening_rescale(line, narrow, f->limit, p, f->cov.model, f->cov.cluster);
        if (!found)
            return adopted;
        int iterations = f->result.iterations, evaluations = f->result.evaluations;
        memcpy(f->par, better, p * sizeof(double));
        sa_softening_fit(s, f->control, 1, f->par, f->resid, f->jac, f->at_bound, f->work,
                         &f->result);
        f->result.iterations += iterations;
        f->result.evaluations += evaluations;
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

/* Work space of sa_gather(). */
static sa_replicates make_room(SEXP out, const sa_readings *in)
{
    const size_t n = in->n;
    double *room = (double *)R_alloc(7 * n, sizeof(double));
    sa_replicates rep = {.temp_k = room,
                         .time = room + n,
                         .log_time = room + 2 * n,
                         .mean = room + 3 * n,
                         .weight = room + 4 * n,
                         .cluster_mean = room + 5 * n,
                         .cluster_weight = room + 6 * n,
                         .first_of = (int *)R_alloc(n, sizeof(int)),
                         .condition_of = glue_put_integers(out, "condition", n),
                         .cluster_of = glue_put_integers(out, "cluster_of", n)};
    rep.strain = in->strain ? (double *)R_alloc(n, sizeof(double)) : NULL;
    memset(rep.condition_of, 0, n * sizeof(int));
    memset(rep.cluster_of, 0, n * sizeof(int));
    return rep;
}

/* readings: temp_k, time, hardness, weight, specimen, order, history, strain, exponent_k (all but the
 * first three and the two after weight may be NULL); with a history temp_k is its number (0: no
 * anneal), time the minutes in it. model: kind, start, lower, upper, natural, held. options: ref_k,
 * level (of the limits), clusters (standard errors from them), use_start, every (limits of every
 * parameter). */
SEXP sa_call_softening(SEXP readings, SEXP model, SEXP options, SEXP control)
{
    const char *fields[] = {"par",       "at_bound", "state",     "limit",       "model",
                            "cluster",   "singular", "loading",   "jac",         "fitted",
                            "condition", "cluster_of", "temp_k",  "time",        "mean",
                            "weight",    "first_of", "counts",    "sums",        "null",
                            "ends",      "strain",     ""};
    const sa_model_kind kind = glue_model(glue_field(model, "kind"));
    const size_t p = sa_model_parameters(kind).n_par;
    const R_xlen_t rp = (R_xlen_t)p, rn = Rf_xlength(glue_field(readings, "temp_k"));
    const size_t n = (size_t)rn;
    const double ref = glue_field_double(options, "ref_k");
    const sa_readings in = {n,
                            glue_field_doubles(readings, "temp_k", rn),
                            glue_field_doubles(readings, "time", rn),
                            glue_field_doubles(readings, "hardness", rn),
                            glue_field_optional(readings, "weight", rn),
                            glue_integers(glue_field(readings, "specimen"), rn, "specimen"),
                            glue_order(glue_field(readings, "order"), rn, 1, "order"),
                            glue_field_optional(readings, "strain", rn)};
    SEXP history = glue_field(readings, "history"), exponent = glue_field(readings, "exponent_k");
    sa_lsq_control ctl = glue_control(control);
    ctl.poll = glue_poll;
    ctl.creep = 1e-6;

    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    sa_replicates rep = make_room(out, &in);
    sa_gather(&in, ctl.huber <= 0.0, &rep); /* a robust loss sees every reading */
    const size_t m = rep.n_condition;
    double *coordinate = (double *)R_alloc(2 * m, sizeof(double)), *root = coordinate + m;
    for (size_t i = 0; i < m; i++) {
        coordinate[i] = -1000.0 * (1.0 / rep.temp_k[i] - 1.0 / ref) / SA_GAS_CONSTANT;
        root[i] = sqrt(rep.weight[i]);
    }
    const size_t need = sa_softening_work_for(m, p);
    if (need == 0)
        Rf_error("internal error: problem too large");
    sa_softening s = {.kind = kind,
                      .clock = {.n = m,
                                .coordinate = coordinate,
                                .log_time = rep.log_time,
                                .strain = rep.strain},
                      .hardness = rep.mean,
                      .root_weight = root,
                      .lower = glue_field_doubles(model, "lower", rp),
                      .upper = glue_field_doubles(model, "upper", rp),
                      .natural = glue_integers(glue_field(model, "natural"), 2 * rp, "natural"),
                      .held = glue_integers(glue_field(model, "held"), rp, "held")};
    if (exponent != R_NilValue)
        s.clock.exponent = glue_exponents(exponent, rep.temp_k, m, kind);
    /* profiles go the short way where those of many fits do */
    if (!rep.strain && exponent == R_NilValue && history == R_NilValue &&
        kind == sa_model_plain(kind) && ctl.huber <= 0.0)
        s.weight = rep.weight;
    s.poll = s.clock.poll = glue_poll;
    sa_histories along;
    if (history != R_NilValue) {
        glue_histories(history, ref, &along);
        s.clock.along = &along;
        s.clock.table = (double *)R_alloc(sa_clock_table(m), sizeof(double));
        glue_follow(&s.clock, &along, &rep, coordinate);
    }
    inference f = {.s = &s,
                   .rep = &rep,
                   .control = &ctl,
                   .n = n,
                   .level = glue_field_double(options, "level"),
                   .clusters = glue_field_true(options, "clusters"),
                   .every = glue_field_true(options, "every"),
                   .par = glue_put_doubles(out, "par", p),
                   .resid = (double *)R_alloc(m, sizeof(double)),
                   .jac = glue_put_matrix(out, "jac", m, p),
                   .limit = glue_put_matrix(out, "limit", 2, p),
                   .work = (double *)R_alloc(need, sizeof(double)),
                   .at_bound = glue_put_integers(out, "at_bound", p),
                   .state = glue_put_integers(out, "state", p),
                   .cov = {.model = glue_put_matrix(out, "model", p, p),
                           .cluster = glue_put_matrix(out, "cluster", p, p),
                           .null = glue_put_matrix(out, "null", p, p),
                           .singular = glue_put_doubles(out, "singular", p),
                           .loading = glue_put_doubles(out, "loading", p)}};
    if (f.every)
        f.ends = glue_put_matrix(out, "ends", p, 2 * p);
    memcpy(f.par, glue_field_doubles(model, "start", rp), p * sizeof(double));
    memset(f.at_bound, 0, p * sizeof(int));
    memset(f.jac, 0, m * p * sizeof(double));
    memset(f.resid, 0, m * sizeof(double));
    const int use_start = glue_field_true(options, "use_start");
    ctl.polish = use_start ? SA_POLISH : SA_POLISH_ALL; /* a profile is followed without */
    sa_softening_fit(&s, &ctl, use_start, f.par, f.resid, f.jac, f.at_bound, f.work, &f.result);
    const int adopted = infer(&f);

    for (size_t i = 0; i < m; i++) { /* back to hardness: residuals and rows unweighted */
        double r = root[i] > 0.0 ? 1.0 / root[i] : 0.0;
        for (size_t j = 0; j < p; j++)
            f.jac[i + j * m] *= r;
    }
    sa_model_hardness(kind, &s.clock, f.par, f.resid, NULL);
    double *fitted = glue_put_doubles(out, "fitted", n);
    for (size_t k = 0; k < n; k++)
        fitted[k] = f.resid[rep.condition_of[k]];
    memcpy(glue_put_doubles(out, "temp_k", m), rep.temp_k, m * sizeof(double));
    memcpy(glue_put_doubles(out, "time", m), rep.time, m * sizeof(double));
    memcpy(glue_put_doubles(out, "mean", m), rep.mean, m * sizeof(double));
    memcpy(glue_put_doubles(out, "weight", m), rep.weight, m * sizeof(double));
    if (rep.strain)
        memcpy(glue_put_doubles(out, "strain", m), rep.strain, m * sizeof(double));
    memcpy(glue_put_integers(out, "first_of", rep.n_cluster), rep.first_of,
           rep.n_cluster * sizeof(int));
    const char *count_names[] = {"conditions", "treatments", "rank",   "end",
                                 "iterations", "evaluations", "adopted"};
    const int count[] = {(int)m,
                         (int)rep.n_cluster,
                         (int)f.cov.rank,
                         (int)f.result.end,
                         f.result.iterations,
                         f.result.evaluations,
                         adopted};
    memcpy(glue_put_integers(out, "counts", 7), count, sizeof count);
    put_names(glue_field(out, "counts"), count_names);
    const char *sum_names[] = {"objective", "pure_error", "between", "cosine", "scale", "squares"};
    const double sum[] = {f.result.objective, rep.pure_error, f.cov.between,
                          f.result.cosine,    f.result.scale, f.squares};
    memcpy(glue_put_doubles(out, "sums", 6), sum, sizeof sum);
    put_names(glue_field(out, "sums"), sum_names);
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

/* Limits at a curve as readings and weights: two columns. `prior`: weights or NULL. */
SEXP sa_call_censored(SEXP side, SEXP bound, SEXP curve, SEXP sd, SEXP prior)
{
    const R_xlen_t n = Rf_xlength(bound);
    const int *which = glue_integers(side, n, "side");
    const double *at = glue_doubles(bound, n, "bound"), *mu = glue_doubles(curve, n, "curve");
    const double *w = prior == R_NilValue ? NULL : glue_doubles(prior, n, "prior");
    SEXP out = PROTECT(Rf_allocMatrix(REALSXP, (int)n, 2));
    sa_censored_working((size_t)n, which, at, mu, glue_doubles(sd, 1, "sd")[0], w, REAL(out),
                        REAL(out) + n);
    UNPROTECT(1);
    return out;
}

/* steps: list(mean, covariance, first step of each block and the end); readings: list(step from 0, side,
 * value, variance about the step); start: list(site, variance). */
SEXP sa_call_limits(SEXP steps, SEXP readings, SEXP start)
{
    const char *fields[] = {"site", "variance", "step_mean", "step_variance", "settled", ""};
    const R_xlen_t s = Rf_xlength(glue_part(steps, 0)), n = Rf_xlength(glue_part(readings, 0));
    const R_xlen_t blocks = Rf_xlength(glue_part(steps, 2)) - 1;
    if (blocks < 0)
        Rf_error("internal error: no blocks");
    const double *spread = glue_doubles(glue_part(readings, 3), n, "variance");
    for (R_xlen_t i = 0; i < n; i++)
        if (!(spread[i] > 0.0))
            Rf_error("internal error: a reading without variance");
    const sa_limits l = {.n_step = (size_t)s,
                         .n_block = (size_t)blocks,
                         .n = (size_t)n,
                         .first = glue_cuts(glue_part(steps, 2), blocks, s, "first"),
                         .mean = glue_doubles(glue_part(steps, 0), s, "mean"),
                         .covariance = glue_doubles(glue_part(steps, 1), s * s, "covariance"),
                         .step = glue_places(glue_part(readings, 0), n, 0, s - 1, "step"),
                         .side = glue_integers(glue_part(readings, 1), n, "side"),
                         .value = glue_doubles(glue_part(readings, 2), n, "value"),
                         .variance = spread};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    for (int k = 0; k < 4; k++)
        SET_VECTOR_ELT(out, k, Rf_allocVector(REALSXP, k < 2 ? n : s));
    double *to[4];
    for (int k = 0; k < 4; k++)
        to[k] = REAL(VECTOR_ELT(out, k));
    for (int k = 0; k < 2 && n > 0; k++)
        memcpy(to[k], glue_doubles(glue_part(start, k), n, "start"), (size_t)n * sizeof(double));
    double *work = (double *)R_alloc(sa_limits_work(&l) + 1, sizeof(double));
    const int settled = sa_limits_sites(&l, to[0], to[1], to[2], to[3], work);
    SET_VECTOR_ELT(out, 4, Rf_ScalarLogical(settled));
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
