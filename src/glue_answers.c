/* Likelihood intervals of answers: SEXP in, SEXP out. */
#include "answers.h"
#include "answers_curve.h"
#include "glue_fit.h"
#include "glue_history.h"
#include "glue_mixed.h"
#include "replicates.h"
#include <math.h>
#include <string.h>

static double *copy_doubles(SEXP list, int slot, R_xlen_t n, const char *what)
{
    double *out = (double *)R_alloc((size_t)n, sizeof(double));
    if (n > 0)
        memcpy(out, glue_doubles(glue_part(list, slot), n, what), (size_t)n * sizeof(double));
    return out;
}

/* What a likelihood of answers works on; it must stay in place, since it points into itself. */
typedef struct {
    sa_softening s;
    sa_replicates rep;
    sa_histories along;
    glue_mixed mixed;
    double par[SA_MODEL_MAX_PAR], objective; /* the minimum */
    size_t rows, unknowns;
    int own; /* this minimum is not that of the fit: its curve meets a target elsewhere */
} answer_problem;

/* conditions: list(temp_k or number of the history, time in min, mean, weight, history or NULL,
 * ln of strain over its reference or NULL, temperatures of the exponents or NULL).
 * setup: list(kind, lower, upper, natural, held). */
static void pose_plain(SEXP conditions, SEXP setup, SEXP ref_k, answer_problem *out)
{
    const sa_model_kind kind = glue_model(glue_part(setup, 0));
    const R_xlen_t rp = (R_xlen_t)sa_model_parameters(kind).n_par;
    const R_xlen_t rm = Rf_xlength(glue_part(conditions, 0));
    const size_t m = (size_t)rm;
    const double ref = glue_double(ref_k, "ref_k");
    sa_replicates *rep = &out->rep;
    memset(rep, 0, sizeof *rep);
    rep->temp_k = copy_doubles(conditions, 0, rm, "temp_k");
    rep->time = copy_doubles(conditions, 1, rm, "time");
    rep->mean = copy_doubles(conditions, 2, rm, "mean");
    double *root = copy_doubles(conditions, 3, rm, "weight");
    double *coordinate = (double *)R_alloc(2 * m, sizeof(double));
    rep->log_time = coordinate + m;
    for (size_t i = 0; i < m; i++) {
        root[i] = sqrt(root[i]);
        rep->log_time[i] = log(rep->time[i]);
        coordinate[i] = -1000.0 * (1.0 / rep->temp_k[i] - 1.0 / ref) / SA_GAS_CONSTANT;
    }
    sa_softening s = {.kind = kind,
                      .clock = {.n = m, .coordinate = coordinate, .log_time = rep->log_time},
                      .hardness = rep->mean,
                      .root_weight = root,
                      .lower = glue_doubles(glue_part(setup, 1), rp, "lower"),
                      .upper = glue_doubles(glue_part(setup, 2), rp, "upper"),
                      .natural = glue_integers(glue_part(setup, 3), 2 * rp, "natural"),
                      .held = glue_integers(glue_part(setup, 4), rp, "held")};
    s.poll = s.clock.poll = glue_poll;
    if (glue_part(conditions, 5) != R_NilValue)
        s.clock.strain = glue_doubles(glue_part(conditions, 5), rm, "strain");
    if (glue_part(conditions, 6) != R_NilValue)
        s.clock.exponent = glue_exponents(glue_part(conditions, 6), rep->temp_k, m, kind);
    if (glue_part(conditions, 4) != R_NilValue) {
        glue_histories(glue_part(conditions, 4), ref, &out->along);
        s.clock.along = &out->along;
        s.clock.table = (double *)R_alloc(sa_clock_table(m), sizeof(double));
        glue_follow(&s.clock, &out->along, rep, coordinate);
    }
    memcpy(&out->s, &s, sizeof s);
}

/* The likelihood of answers and its minimum. `conditions` as for pose_plain(), with the minimum at `par`;
 * or those of sa_call_mixed() and two parts more, its structure and its errors with slopes and modes at
 * the estimate: then under the components of error, with its own minimum near `par`. */
static void pose(SEXP conditions, SEXP setup, SEXP ref_k, SEXP par, double objective,
                 answer_problem *out)
{
    memset(out, 0, sizeof *out);
    const size_t p = sa_model_parameters(glue_model(glue_part(setup, 0))).n_par;
    memcpy(out->par, glue_doubles(par, (R_xlen_t)p, "par"), p * sizeof(double));
    out->objective = objective;
    if (Rf_xlength(conditions) > 7) {
        SEXP errors = glue_part(conditions, 8);
        glue_mixed *m = &out->mixed;
        glue_mixed_pose(conditions, setup, ref_k, glue_part(conditions, 7), errors, m);
        glue_mixed_joint(m, glue_doubles(glue_part(errors, 3), SA_V_COUNT, "variance"),
                         glue_doubles(glue_part(errors, 5), (R_xlen_t)m->n, "g"),
                         glue_doubles(glue_part(errors, 6), (R_xlen_t)m->columns, "mode"));
        out->objective = glue_mixed_minimum(m, out->par);
        out->s = m->s;
        out->own = 1;
    } else {
        pose_plain(conditions, setup, ref_k, out);
    }
    out->rows = sa_softening_rows(&out->s);
    out->unknowns = sa_softening_unknowns(&out->s);
}

static double *work_of(size_t doubles)
{
    if (doubles == 0)
        Rf_error("internal error: problem too large");
    return (double *)R_alloc(doubles, sizeof(double));
}

/* `conditions` and `setup` as for pose(). meetings: matrix with columns coordinate, ln t, target,
 * first step, ln of strain over its reference, which n from 0, threshold. settings: target kind,
 * what is moved, objective, low, high, whether a parameter is open. Returns the ends, a matrix of two
 * columns. */
SEXP sa_call_meeting_interval(SEXP conditions, SEXP setup, SEXP ref_k, SEXP par, SEXP meetings,
                              SEXP settings)
{
    answer_problem a;
    const double *set = glue_doubles(settings, 6, "settings");
    pose(conditions, setup, ref_k, par, set[2], &a);
    const R_xlen_t count = Rf_nrows(meetings);
    const double *meet = glue_doubles(meetings, 7 * count, "meetings");
    const double target = glue_whole(set[0], SA_TO_HARDNESS, SA_TO_FRACTION, "target");
    const double last_exponent = (double)sa_model_parameters(a.s.kind).exponents - 1.0;
    double *work = work_of(sa_softening_work_for(a.rows, a.unknowns));
    SEXP out = PROTECT(Rf_allocMatrix(REALSXP, (int)count, 2));
    for (R_xlen_t k = 0; k < count; k++) {
        sa_meeting at = {(sa_target_kind)(int)target,
                               meet[k + 2 * count],
                               meet[k],
                               meet[k + count],
                               {meet[k + 4 * count], (int)glue_whole(meet[k + 5 * count], 0.0,
                                                                     last_exponent, "exponent")},
                               a.par[SA_P_SOFT] > a.par[SA_P_WORKED]};
        const sa_walk walk = {a.objective, meet[k + 6 * count], meet[k + 3 * count], set[3], set[4]};
        const sa_moved moved = set[1] > 0.0 ? SA_MOVE_COORDINATE : SA_MOVE_TIME;
        double ends[2];
        R_CheckUserInterrupt();
        if (a.own && set[5] > 0.0) /* the best curve may lie far from that of the fit */
            sa_meeting_own(a.s.kind, a.par, moved, walk.low, walk.high, &at);
        sa_meeting_interval(&a.s, &at, moved, &walk, a.par, ends, work);
        REAL(out)[k] = ends[0];
        REAL(out)[k + count] = ends[1];
    }
    UNPROTECT(1);
    return out;
}

/* Places that are marks in histories. */
static void places_along(SEXP along, double ref, sa_place *at, size_t n)
{
    sa_histories all;
    const R_xlen_t count = (R_xlen_t)n;
    glue_histories(glue_part(along, 0), ref, &all);
    const int *which = glue_integers(glue_part(along, 1), count, "which");
    const double *minutes = glue_doubles(glue_part(along, 2), count, "minutes");
    sa_histories *one = (sa_histories *)R_alloc(n + 1, sizeof(sa_histories));
    int *cuts = (int *)R_alloc(2 * n + 2, sizeof(int));
    double *mark = (double *)R_alloc(n + 1, sizeof(double));
    cuts[2 * n] = 0;
    cuts[2 * n + 1] = 1;
    for (size_t k = 0; k < n; k++) {
        if (which[k] < 1 || (size_t)which[k] > all.count)
            continue;
        const int first = all.first[which[k] - 1], end = all.first[which[k]];
        cuts[2 * k] = 0;
        cuts[2 * k + 1] = end - first;
        mark[k] = fmin(all.time[first] + exp(all.log_unit) * minutes[k], all.time[end - 1]);
        one[k] = all;
        one[k].time = all.time + first;
        one[k].temp = all.temp + first;
        one[k].first = cuts + 2 * k;
        one[k].mark = mark + k;
        one[k].mark_first = cuts + 2 * n;
        one[k].count = 1;
        at[k].along = one + k;
        at[k].table = (double *)R_alloc(sa_clock_table(1), sizeof(double));
        const sa_clock clock = {.n = 1, .along = at[k].along, .table = at[k].table};
        double slope;
        sa_clock_begin(&clock);
        sa_clock_set(&clock, SA_RECRYSTALLISATION, SA_TYPICAL_ENERGY);
        const double ln_t = sa_clock_read(&clock, 0, SA_RECRYSTALLISATION, SA_TYPICAL_ENERGY, &slope);
        at[k].coordinate = slope;
        at[k].log_time = ln_t - SA_TYPICAL_ENERGY * slope;
    }
}

/* The same for the hardness at places: matrix with columns coordinate, ln t, first step, ln of
 * strain over its reference, which n from 0, threshold. settings: objective, share of the threshold up to
 * which a curve is as good as the best, width from which that is asked. along: NULL, or list(history,
 * which of it, from 1 or 0 for none, minutes in it) of each place. Columns of the result: ends, and
 * where the sum has risen by that share. */
SEXP sa_call_curve_interval(SEXP conditions, SEXP setup, SEXP ref_k, SEXP par, SEXP places,
                            SEXP settings, SEXP along)
{
    answer_problem a;
    const double *set = glue_doubles(settings, 3, "settings");
    pose(conditions, setup, ref_k, par, set[0], &a);
    const R_xlen_t count = Rf_nrows(places);
    const double *place = glue_doubles(places, 6 * count, "places");
    const double last_exponent = (double)sa_model_parameters(a.s.kind).exponents - 1.0;
    SEXP out = PROTECT(Rf_allocMatrix(REALSXP, (int)count, 4));
    const size_t n = (size_t)count;
    sa_place *at = (sa_place *)R_alloc(n > 0 ? n : 1, sizeof(sa_place));
    for (size_t k = 0; k < n; k++)
        at[k] = (sa_place){place[k + n], place[k],
                           {place[k + 3 * n], (int)glue_whole(place[k + 4 * n], 0.0, last_exponent,
                                                              "exponent")},
                           NULL, NULL};
    if (along != R_NilValue)
        places_along(along, glue_double(ref_k, "ref_k"), at, n);
    const sa_band band = {.s = &a.s,
                          .par = a.par,
                          .objective = a.objective,
                          .count = n,
                          .place = at,
                          .step = place + 2 * n,
                          .threshold = place + 5 * n,
                          .end = (double *)R_alloc(2 * n + 1, sizeof(double)),
                          .flat_rise = set[1],
                          .wide = set[2],
                          .near = (double *)R_alloc(2 * n + 1, sizeof(double)),
                          .half = (double *)R_alloc(2, sizeof(double)),
                          .pool = (double *)R_alloc(2 * n * a.unknowns + 1, sizeof(double)),
                          .work = work_of(sa_curve_work(a.rows, a.unknowns))};
    for (size_t k = 0; k < 2 * n; k++) {
        R_CheckUserInterrupt();
        if (k < n)
            sa_curve_place(&band, k);
        else
            sa_curve_mend(&band, k - n);
    }
    for (size_t k = 0; k < n; k++) {
        REAL(out)[k] = band.end[2 * k];
        REAL(out)[k + n] = band.end[2 * k + 1];
        REAL(out)[k + 2 * n] = band.near[2 * k];
        REAL(out)[k + 3 * n] = band.near[2 * k + 1];
    }
    UNPROTECT(1);
    return out;
}
