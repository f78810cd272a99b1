/* Likelihood interval of a time or a temperature to a target (Bates and Watts 1988, Nonlinear
 * Regression Analysis and Its Applications, chapter 6, for a function of the parameters).
 *
 * The model is written anew with ln t (or the inverse temperature) of the meeting with the
 * target in the place of ln k_ref: for given other parameters the share not recrystallised at
 * the meeting follows from the hardness levels there, and ln k_ref from that share in closed
 * form. The meeting is then held at a value, the others refitted, and the value moved outwards
 * until the sum of squares has risen by the threshold. */
#include "answers.h"
#include <math.h>
#include <string.h>

#define REFINEMENTS 60
#define ENOUGH 0.9 /* share of the threshold that the sum has risen by at an end */

/* The fit with the meeting held. */
typedef struct {
    const sa_softening *s;
    sa_meeting at;
    sa_moved moved;
    sa_lsq_control control;
    int held[SA_MODEL_MAX_PAR];
    size_t p, base; /* unknowns; those of the model */
    int k_strain;
    double *resid, *jac, *work;
} tied_fit;

static int tied_residuals(const double *par, double *resid, double *jac, void *context)
{
    const tied_fit *f = context;
    const sa_softening *s = f->s;
    const size_t m = sa_softening_rows(s), n = s->clock.n;
    double b[SA_MODEL_MAX_PAR], slope[SA_MODEL_MAX_PAR];
    memcpy(b, par, f->p * sizeof(double));
    if (!sa_meeting_rate(s->kind, &f->at, par, &b[SA_P_LN_K], slope) ||
        sa_joint_hardness(s->kind, &s->clock, s->furnaces, b, resid, jac))
        return 1;
    for (size_t i = 0; i < n; i++)
        resid[i] -= s->hardness[i];
    const double *rate = jac ? jac + SA_P_LN_K * m : NULL;
    for (size_t j = 0; jac && j < f->base; j++)
        for (size_t i = 0; j != SA_P_LN_K && i < n; i++)
            jac[i + j * m] += rate[i] * slope[j];
    if (jac)
        memset(jac + SA_P_LN_K * m, 0, m * sizeof(double));
    sa_softening_whiten(s, resid, jac);
    return 0;
}

/* Sum of squares with the meeting at `value`, the others refitted from `par`. `edge`: the power of
 * strain stopped at the mere edge of its search. (An answer may tend to that of a temperature read
 * as the energy grows; the caller gives the energy room, and the end found is that limit.) */
static double sum_tied(tied_fit *f, double value, double *par, int *edge)
{
    sa_lsq_problem pb = sa_softening_problem(f->s);
    pb.held = f->held;
    pb.fn = tied_residuals;
    pb.context = f;
    if (f->moved == SA_MOVE_TIME)
        f->at.log_time = value;
    else
        f->at.coordinate = value;
    int at_bound[SA_MODEL_MAX_PAR];
    sa_lsq_result result;
    sa_status st = sa_lsq_fit(&pb, &f->control, par, f->resid, f->jac, at_bound, f->work, &result);
    if (st != SA_OK && st != SA_LIMIT)
        return HUGE_VAL;
    *edge = 0;
    if (f->k_strain >= 0) {
        const size_t j = (size_t)f->k_strain;
        *edge = (at_bound[j] < 0 && !f->s->natural[j]) ||
                (at_bound[j] > 0 && !f->s->natural[j + f->p]);
    }
    return result.objective;
}

/* The same from other shapes of curve through the levels of `keep` and those of `par`, where that is
 * better. */
static double sum_anew(tied_fit *f, double value, double sum, const double *keep, double *par, int *edge)
{
    double trial[2][SA_MODEL_MAX_PAR];
    if (f->moved == SA_MOVE_TIME)
        f->at.log_time = value;
    else
        f->at.coordinate = value;
    memcpy(trial[0], keep, f->p * sizeof(double));
    memcpy(trial[1], par, f->p * sizeof(double));
    for (int k = 0; k < 2; k++) {
        int other_edge = 0;
        if (!sa_scan_shapes(f->s, &f->at, trial[k], f->resid))
            continue;
        const double found = sum_tied(f, value, trial[k], &other_edge);
        if (!(found < sum))
            continue;
        sum = found;
        memcpy(par, trial[k], f->p * sizeof(double));
        *edge = other_edge;
    }
    return sum;
}

/* The place between `inside` (parameters in `keep`) and `outside` where the sum passes the
 * ceiling: false position on the root of the rise, with bisection where that is not finite. */
static double refine(tied_fit *f, const sa_walk *w, double *inside, double outside,
                     double rise_out, double *keep)
{
    const double goal = sqrt(w->threshold), tolerance = 1e-9 * (1.0 + fabs(outside));
    double low = -goal, high = sqrt(rise_out) - goal, par[SA_MODEL_MAX_PAR];
    int last = 0, edge;
    for (int k = 0; k < REFINEMENTS && fabs(outside - *inside) > tolerance; k++) {
        double mid = isfinite(high) && k % 8 != 7
                         ? *inside + (outside - *inside) * low / (low - high)
                         : 0.5 * (*inside + outside);
        memcpy(par, keep, f->p * sizeof(double));
        double gap = sqrt(fmax(sum_tied(f, mid, par, &edge) - w->objective, 0.0)) - goal;
        if (fabs(gap) <= 1e-7 * goal) {
            memcpy(keep, par, f->p * sizeof(double));
            *inside = mid;
            return mid;
        }
        if (gap >= 0.0) {
            outside = mid;
            high = gap;
            low = last > 0 ? 0.5 * low : low;
            last = 1;
        } else {
            *inside = mid;
            low = gap;
            high = last < 0 ? 0.5 * high : high;
            memcpy(keep, par, f->p * sizeof(double));
            last = -1;
        }
    }
    return outside;
}

/* One end; NaN where the walk stops at a place beyond which no rate meets the target (recovery alone
 * has met it, say) while the sum has not risen: the likelihood is not followed further then. */
static double walk_side(tied_fit *f, const sa_walk *w, int side, double from, const double *minimum)
{
    const double end = side < 0 ? w->low : w->high, ceiling = w->objective + w->threshold;
    double inside = from, step = w->step, keep[SA_MODEL_MAX_PAR], par[SA_MODEL_MAX_PAR];
    memcpy(keep, minimum, f->p * sizeof(double));
    for (int k = 0; k < 200; k++) {
        int edge = 0;
        double value = inside + side * step;
        if (side * (inside - end) >= 0.0)
            return side * HUGE_VAL;
        if (side * (value - end) >= 0.0)
            value = end; /* a step past the end says nothing of what lies before it */
        memcpy(par, keep, f->p * sizeof(double));
        double sum = sum_tied(f, value, par, &edge);
        if (sum >= ceiling)
            sum = sum_anew(f, value, sum, keep, par, &edge);
        if (sum < ceiling) {
            inside = value;
            memcpy(keep, par, f->p * sizeof(double));
            step *= 2.0;
            continue;
        }
        double found = refine(f, w, &inside, value, sum - w->objective, keep);
        if (!(sum < HUGE_VAL)) {
            memcpy(par, keep, f->p * sizeof(double));
            if (sum_tied(f, inside, par, &edge) < w->objective + ENOUGH * w->threshold)
                return NAN;
        }
        /* a step too long to follow the valley looks like a rise: try again from nearby */
        memcpy(par, keep, f->p * sizeof(double));
        value = found + side * 0.01 * w->step;
        sum = sum_tied(f, value, par, &edge);
        if (sum >= ceiling)
            sum = sum_anew(f, value, sum, keep, par, &edge);
        if (sum >= ceiling)
            return edge ? side * HUGE_VAL : found;
        inside = value;
        memcpy(keep, par, f->p * sizeof(double));
        step = w->step;
    }
    return side * HUGE_VAL;
}

void sa_meeting_interval(const sa_softening *s, const sa_meeting *at, sa_moved moved,
                         const sa_walk *walk, const double *par, double ends[2], double *work)
{
    tied_fit f = {.s = s, .at = *at, .moved = moved, .control = sa_lsq_defaults()};
    f.p = sa_softening_unknowns(s);
    f.base = sa_model_parameters(s->kind).n_par;
    f.k_strain = sa_model_parameters(s->kind).k_strain;
    f.control.ftol = 1e-11;
    f.control.xtol = 1e-9;
    f.control.gtol = 1e-9;
    f.control.max_iterations = 200;
    f.control.polish = 0;
    f.control.poll = s->poll;
    f.control.poll_context = s->poll_context;
    for (size_t j = 0; j < f.p; j++)
        f.held[j] = j == SA_P_LN_K || (s->held && s->held[j]);
    f.resid = work;
    f.jac = f.resid + sa_softening_rows(s);
    f.work = f.jac + sa_softening_rows(s) * f.p;
    const double from = moved == SA_MOVE_TIME ? at->log_time : at->coordinate;
    ends[0] = ends[1] = NAN;
    double start[SA_MODEL_MAX_PAR];
    int edge;
    memcpy(start, par, f.p * sizeof(double));
    if (!(sum_tied(&f, from, start, &edge) < walk->objective + walk->threshold))
        return;
    ends[0] = walk_side(&f, walk, -1, from, par);
    ends[1] = walk_side(&f, walk, 1, from, par);
}
