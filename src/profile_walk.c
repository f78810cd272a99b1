/* One profile followed outwards: a parameter fixed at growing distances, the others refitted; where the sum
 * of squares passes the ceiling, whether the valley goes on elsewhere. See profile.c. */
#include "profile.h"
#include "linear.h"
#include <math.h>
#include <string.h>

#define BISECTIONS 24
#define CONFIRMATIONS 4
#define COARSE 6 /* bisections that tell an end from the edge of the search */

/* Does parameter j at its bound stop the valley of `which` at the mere edge of the search? Only
 * where both trade against each other within one process. Logarithms of rates have no natural
 * bounds; energies and amplitudes none upwards. */
static int edge_of_search(const sa_model_layout *at, size_t which, size_t j, int at_bound)
{
    const sa_term *term = sa_model_term(at, j);
    if (!at_bound || term->trades == SA_NO_PROCESS ||
        term->trades != sa_model_term(at, which)->trades)
        return 0;
    return at_bound > 0 || !term->natural;
}

/* Where the other parameters go when one moves by `by`, to first order: they keep the fit as
 * it is as far as they can. Rates follow an activation energy exactly this way. */
static void predict_others(sa_profiler *f, const sa_lsq_problem *pb, size_t which, double by,
                           double *par)
{
    const size_t n = pb->n, p = f->p;
    double scale[SA_MODEL_MAX_PAR], shift[SA_MODEL_MAX_PAR], *rhs = f->work, *a = rhs + n + p;
    if (pb->fn(par, f->resid, f->jac, pb->context))
        return;
    size_t m = 0;
    for (size_t i = 0; i < n; i++)
        rhs[i] = -by * pb->root_weight[i] * f->jac[i + which * n];
    memset(rhs + n, 0, p * sizeof(double));
    for (size_t j = 0; j < p; j++) {
        if (j == which || f->held[j])
            continue;
        double *col = a + m * (n + p);
        for (size_t i = 0; i < n; i++)
            col[i] = pb->root_weight[i] * f->jac[i + j * n];
        memset(col + n, 0, p * sizeof(double));
        scale[m] = sa_norm(col, n);
        col[n + m] = 1e-6 * scale[m]; /* keeps what is not determined where it is */
        m++;
    }
    for (size_t j = 0; j < m; j++)
        if (!(scale[j] > 0.0))
            a[j * (n + p) + n + j] = 1.0;
    sa_triangularise(a, n + p, m, rhs);
    if (!sa_back_substitute(a, n + p, m, rhs, shift))
        return;
    m = 0;
    for (size_t j = 0; j < p; j++)
        if (j != which && !f->held[j])
            par[j] = fmin(fmax(par[j] + shift[m++], pb->lower[j]), pb->upper[j]);
}

double sa_profile_sum(sa_profiler *f, const sa_lsq_problem *pb, const double *par)
{
    double sum = 0.0;
    if (pb->fn(par, f->resid, NULL, pb->context))
        return HUGE_VAL;
    for (size_t i = 0; i < pb->n; i++)
        sum += pb->root_weight[i] * pb->root_weight[i] * f->resid[i] * f->resid[i];
    return sum;
}

static double profile_at(sa_profiler *f, size_t which, double value, double *par, int *artificial)
{
    double short_sum;
    *artificial = 0;
    if (f->s.weight && sa_short_profile(&f->s, f->s.weight, f->held, which, value, 1e-13, par,
                                        f->work, &short_sum))
        return short_sum;
    sa_lsq_problem pb = sa_softening_problem(&f->s);
    pb.held = f->held;
    sa_lsq_result result;
    int at_bound[SA_MODEL_MAX_PAR];
    double stay[SA_MODEL_MAX_PAR];
    memcpy(stay, par, f->p * sizeof(double));
    stay[which] = value;
    predict_others(f, &pb, which, value - par[which], par);
    par[which] = value;
    if (sa_profile_sum(f, &pb, stay) < sa_profile_sum(f, &pb, par))
        memcpy(par, stay, f->p * sizeof(double));
    f->held[which] = 1;
    sa_status st = sa_lsq_fit(&pb, &f->control, par, f->resid, f->jac, at_bound, f->work, &result);
    f->held[which] = f->s.held ? f->s.held[which] : 0;
    for (size_t j = 0; j < f->at.n_par; j++)
        if (j != which && edge_of_search(&f->at, which, j, at_bound[j]))
            *artificial = 1;
    return st == SA_OK || st == SA_LIMIT ? result.objective : HUGE_VAL;
}

/* A process that does nothing at the minimum has no slope to be found by: at `value` it is tried with
 * an amplitude, at once as fast as recrystallisation and much faster. Returns 1, and the solution in
 * `par`, where that comes below the ceiling. */
static int wake_idle(sa_profiler *f, size_t which, double value, double ceiling, const double *from,
                     double *par, int *artificial)
{
    const double drop = fabs(from[SA_P_WORKED] - from[SA_P_SOFT]);
    for (size_t k = 0; k < f->at.processes; k++) {
        const size_t j = (size_t)f->at.place[k];
        if (f->held[j] || which == j || fabs(from[j]) > 1e-6 * drop)
            continue;
        for (int faster = 0; faster < 2; faster++) {
            double trial[SA_MODEL_MAX_PAR];
            memcpy(trial, from, f->p * sizeof(double));
            trial[j] = fmin(f->s.upper[j], 0.2 * drop);
            if (which != j + 1 && !f->held[j + 1])
                trial[j + 1] = fmin(fmax(from[SA_P_LN_K] + 3.0 * faster, f->s.lower[j + 1]),
                                    f->s.upper[j + 1]);
            if (which != j + 2 && !f->held[j + 2])
                trial[j + 2] = fmin(fmax(100.0, f->s.lower[j + 2]), f->s.upper[j + 2]);
            if (profile_at(f, which, value, trial, artificial) < ceiling) {
                memcpy(par, trial, f->p * sizeof(double));
                return 1;
            }
        }
    }
    return 0;
}

/* Is any parameter of `from` at a bound? */
static int bounded(const sa_profiler *f, size_t which, const double *from)
{
    for (size_t j = 0; j < f->at.n_par; j++)
        if (j != which && !f->held[j] && (from[j] <= f->s.lower[j] || from[j] >= f->s.upper[j]))
            return 1;
    return 0;
}

/* A valley may go on in another place: at `value` the fit is tried from exponents and soft levels far from
 * those reached, which an exponent at its bound, or a fraction that is 0 or 1 at every reading, would
 * keep from moving; beside a parameter at its bound from the starts of the data too. Returns 1, and the
 * solution in `par`, where one comes below the ceiling. */
static int from_elsewhere(sa_profiler *f, size_t which, double value, double ceiling,
                          const double *from, double *par, int *artificial)
{
    static const double exponents[2] = {1.2, 3.0}, levels[2] = {1.0, 0.5};
    const int exponent = which != SA_P_N && !f->held[SA_P_N];
    const int level = which != SA_P_SOFT && !f->held[SA_P_SOFT];
    double softest = HUGE_VAL;
    for (size_t i = 0; i < f->s.clock.n; i++)
        softest = fmin(softest, f->s.hardness[i]);
    for (int a = 0; a < (exponent ? 2 : 1); a++)
        for (int b = 0; b < (level ? 2 : 1); b++) {
            double trial[SA_MODEL_MAX_PAR];
            memcpy(trial, from, f->p * sizeof(double));
            if (exponent)
                trial[SA_P_N] = fmin(fmax(exponents[a], f->s.lower[SA_P_N]), f->s.upper[SA_P_N]);
            if (level)
                trial[SA_P_SOFT] =
                    fmin(fmax(levels[b] * softest, f->s.lower[SA_P_SOFT]), f->s.upper[SA_P_SOFT]);
            if (profile_at(f, which, value, trial, artificial) < ceiling) {
                memcpy(par, trial, f->p * sizeof(double));
                return 1;
            }
        }
    if (bounded(f, which, from)) {
        double starts[SA_USUAL_STARTS * SA_MODEL_MAX_PAR];
        const size_t count = sa_softening_starts(&f->s, from, starts, SA_USUAL_STARTS, f->work);
        for (size_t k = 0; k < count; k++) {
            double trial[SA_MODEL_MAX_PAR];
            memcpy(trial, from, f->p * sizeof(double));
            for (size_t j = 0; j < f->at.n_par; j++)
                if (!f->held[j])
                    trial[j] = starts[k * f->at.n_par + j];
            if (profile_at(f, which, value, trial, artificial) < ceiling) {
                memcpy(par, trial, f->p * sizeof(double));
                return 1;
            }
        }
    }
    return 0;
}

static int elsewhere(sa_profiler *f, size_t which, double value, double ceiling, const double *from,
                     double *par, int *artificial)
{
    const double *weight = f->s.weight;
    f->s.weight = NULL; /* the long way goes further from a poor start */
    const int found = from_elsewhere(f, which, value, ceiling, from, par, artificial);
    f->s.weight = weight;
    return found;
}

/* A sum above the ceiling may be a step too long to follow the valley: approach `value` by
 * halves from the last point inside. Returns 1 when the ceiling stands; `outside` is then the
 * nearest value known to be above it. Otherwise `par` is the solution at `value`. */
static int confirm(sa_profiler *f, size_t which, double ceiling, double value, const double *keep,
                   double *inside, double *outside, double *best, double *par, int *artificial)
{
    double from[SA_MODEL_MAX_PAR];
    memcpy(from, keep, f->p * sizeof(double));
    *outside = value;
    for (int k = 0; k < CONFIRMATIONS; k++) {
        double mid = 0.5 * (*inside + *outside), trial[SA_MODEL_MAX_PAR];
        memcpy(trial, from, f->p * sizeof(double));
        if (profile_at(f, which, mid, trial, artificial) >= ceiling) {
            *outside = mid;
            continue;
        }
        *inside = mid;
        memcpy(from, trial, f->p * sizeof(double));
        if (profile_at(f, which, value, trial, artificial) < ceiling) {
            memcpy(par, trial, f->p * sizeof(double));
            return 0;
        }
    }
    if (wake_idle(f, which, value, ceiling, from, par, artificial) ||
        elsewhere(f, which, value, ceiling, from, par, artificial))
        return 0;
    memcpy(best, from, f->p * sizeof(double));
    return 1;
}

int sa_profile_follow(sa_profiler *f, size_t which, int side, const double *minimum, double objective,
                      double ceiling, double step, int refine, double *limit, double *par)
{
    double end = side < 0 ? f->s.lower[which] : f->s.upper[which];
    /* a long step may throw the power of strain to its edge on a side that has an end: with
     * strain, and where errors of furnaces are unknowns too, the edge counts only where it is met just
     * beyond the end found */
    const int judge_end = f->at.k_strain >= 0 || f->s.whitening != NULL;
    double inside = minimum[which], keep[SA_MODEL_MAX_PAR];
    memcpy(par, minimum, f->p * sizeof(double));
    for (int k = 0; k < 60; k++) {
        double value = inside + side * step;
        int last = side < 0 ? value <= end : value >= end;
        if (last)
            value = end;
        memcpy(keep, par, f->p * sizeof(double));
        int artificial;
        double sum = profile_at(f, which, value, par, &artificial);
        if (sum < objective - 1e-4 * (ceiling - objective))
            return -1;
        double outside = value;
        if (sum >= ceiling && artificial && !judge_end) {
            /* another parameter ran against the edge of the search */
            memcpy(par, keep, f->p * sizeof(double));
            break;
        }
        if (sum >= ceiling && confirm(f, which, ceiling, value, keep, &inside, &outside, keep, par,
                                      &artificial)) {
            if (artificial && !judge_end) {
                memcpy(par, keep, f->p * sizeof(double));
                break;
            }
            /* the long step may have passed over the stretch where another parameter stands at its edge
             * and ended where the readings see nothing of it any more */
            int edge = artificial;
            const int most = refine || judge_end ? BISECTIONS : COARSE;
            for (int b = 0; b < most && (judge_end || !edge); b++) {
                double mid = 0.5 * (inside + outside), try_par[SA_MODEL_MAX_PAR];
                memcpy(try_par, keep, f->p * sizeof(double));
                if (profile_at(f, which, mid, try_par, &artificial) >= ceiling) {
                    outside = mid;
                    edge = artificial;
                } else {
                    inside = mid;
                    memcpy(keep, try_par, f->p * sizeof(double));
                }
            }
            memcpy(par, keep, f->p * sizeof(double));
            if (edge)
                break;
            *limit = 0.5 * (inside + outside);
            return 1;
        }
        inside = value;
        if (last)
            break;
        step *= 2.0;
    }
    *limit = side * HUGE_VAL;
    return 0;
}
