/* Which parameters of a softening fit the data fix: profile likelihoods followed outwards.
 *
 * A parameter with a wide Wald interval, at a bound, or in a direction the Jacobian does not
 * see is followed along its profile (all others refitted) to its bounds. If the sum of squares
 * never rises by the threshold, the data give no limit on that side (Bates and Watts 1988,
 * Nonlinear Regression Analysis and Its Applications, chapter 6). */
#include "profile.h"
#include <math.h>
#include <string.h>

#define FAR 1.5  /* half widths of the line at which a straight valley is asked */
#define ENDS_ALONE 2
#define OVER 0.9 /* share of the softening from which a temperature counts as finished */

/* The yardstick of the register at these parameters: the half width that is wide, and the least
 * first step along the profile. */
typedef struct {
    double wide, step;
} measure;

static measure measure_of(const sa_model_layout *at, const double *par, size_t j)
{
    const sa_yardstick *y = &sa_model_term(at, j)->yardstick;
    const double drop = fabs(par[SA_P_WORKED] - par[SA_P_SOFT]), size = fabs(par[j]);
    return (measure){fmax(y->of_drop * drop + y->of_size * size, y->least),
                     y->step_of_drop * drop + y->step_of_size * size + y->step};
}

int sa_softening_wide(const sa_softening *s, const double *par, size_t j, double half)
{
    const sa_model_layout at = sa_model_parameters(s->kind);
    return !(half <= measure_of(&at, par, j).wide);
}

/* Have fewer than two heat treatments come within a tenth of the drop of the soft level? Then that level is
 * an extrapolation, or one scattered mean, and its Wald interval says little. */
static int level_unseen(const sa_softening *s, const double *par)
{
    const double near = par[SA_P_SOFT] + 0.1 * (par[SA_P_WORKED] - par[SA_P_SOFT]);
    int seen = 0;
    for (size_t i = 0; i < s->clock.n; i++)
        seen += s->hardness[i] <= near;
    return seen < 2;
}

static double first_step(const sa_profiler *f, const sa_profile_task *task, size_t j)
{
    const measure y = measure_of(&f->at, task->par, j);
    const double width = isfinite(task->half[j]) ? task->half[j] : 0.0;
    return fmin(fmax(fmin(width, 4.0 * y.wide), y.step), 0.1 * (f->s.upper[j] - f->s.lower[j]));
}

/* Follows parameter j to both sides: its state and, where a side is open or `with_ends`, its limits (at
 * once where both sides are known to end).
 * Returns 1 when a lower minimum was met, which is then in `better`. */
static int look(sa_profiler *f, const sa_profile_task *task, const sa_profile_result *out, size_t j,
                int with_ends)
{
    const size_t p = f->p;
    const int *at_bound = task->at_bound;
    const double step = first_step(f, task, j);
    const int seen = task->loading[j] <= 1e-8;
    int open[2] = {0, 0}, by_nature[2] = {0, 0}, *state = &out->state[j];
    /* first pass: is a side open? second: the ends of the interval, where one is */
    for (int pass = with_ends == ENDS_ALONE; pass < 2; pass++) {
        for (int e = 0; e < 2; e++) {
            const int side = e == 0 ? -1 : 1, natural = f->s.natural[j + (size_t)e * p];
            double *end = &out->limit[2 * j + (size_t)e], trial[SA_MODEL_MAX_PAR];
            if (pass == 1 && open[e])
                continue;
            int closed = 0;
            memcpy(trial, task->par, p * sizeof(double));
            if (at_bound[j] != side)
                closed = sa_profile_follow(f, j, side, task->par, task->objective,
                                task->objective + f->threshold, step, pass, end, trial);
            if (closed < 0 && out->better) {
                memcpy(out->better, trial, p * sizeof(double));
                return 1;
            }
            if (closed < 0)
                closed = 0;
            if (out->ends)
                memcpy(out->ends + (2 * j + (size_t)e) * p, trial, p * sizeof(double));
            if (closed == 0) {
                open[e] = !natural;
                by_nature[e] = natural;
                *end = !natural ? side * HUGE_VAL : e == 0 ? f->s.lower[j] : f->s.upper[j];
            }
        }
        if (!open[0] && !open[1] && !at_bound[j] && seen && !with_ends)
            break;
    }
    if ((open[1] && (open[0] || by_nature[0])) || (open[0] && by_nature[1]))
        *state = SA_OPEN;
    else if (open[0])
        *state = SA_OPEN_BELOW;
    else if (open[1])
        *state = SA_OPEN_ABOVE;
    else if (at_bound[j])
        *state = at_bound[j] < 0 ? SA_AT_LOWER : SA_AT_UPPER;
    else if (!seen) {
        /* not seen by the readings here: no Wald interval, whatever ends the profile */
        *state = by_nature[0] == by_nature[1] ? SA_OPEN
                 : by_nature[0]               ? SA_OPEN_BELOW
                                              : SA_OPEN_ABOVE;
    }
    if (*state == SA_DETERMINED && !with_ends)
        out->limit[2 * j] = out->limit[2 * j + 1] = NAN;
    return 0;
}

/* Is softening over at the first reading of some temperature, or under way at fewer than two? Then the
 * energy hangs on readings that the curve sees from one side only. Conditions in order of temperature. */
static int one_sided(const sa_softening *s, const double *par)
{
    const sa_clock *clock = &s->clock;
    const double soft = par[SA_P_SOFT], drop = par[SA_P_WORKED] - soft;
    int under_way = 0, here = 0;
    if (clock->along || clock->strain)
        return 1;
    for (size_t i = 0, first = 0; i < clock->n; i++) {
        if (i == 0 || clock->coordinate[i] < clock->coordinate[i - 1] ||
            clock->coordinate[i] > clock->coordinate[i - 1]) {
            first = 1;
            here = 0;
        }
        if (!(clock->log_time[i] > -HUGE_VAL))
            continue;
        const double gone = drop - (s->hardness[i] - soft);
        if (first && gone > OVER * drop)
            return 1;
        first = 0;
        if (!here && gone > (1.0 - OVER) * drop && gone < OVER * drop)
            here = ++under_way;
    }
    return under_way < 2;
}

/* Is the valley of parameter j wider on either side than its linear error? Asked on the straight line of
 * the linear error, which the sum along the profile stays below. */
static int bent(sa_profiler *f, const sa_profile_task *task, size_t j)
{
    const sa_lsq_problem pb = sa_softening_problem(&f->s);
    const double *along = task->cov + j * f->at.n_par;
    if (!(along[j] > 0.0))
        return 0;
    for (int side = -1; side < 2; side += 2) {
        const double by = side * FAR * sqrt(f->threshold / along[j]);
        double par[SA_MODEL_MAX_PAR];
        int inside = 1;
        memcpy(par, task->par, f->p * sizeof(double));
        for (size_t k = 0; k < f->at.n_par; k++) {
            par[k] += by * along[k];
            inside &= f->held[k] || (par[k] >= f->s.lower[k] && par[k] <= f->s.upper[k]);
        }
        if (inside && sa_profile_sum(f, &pb, par) < task->objective + FAR * f->threshold)
            return 1;
    }
    return 0;
}

static int is_narrow(const sa_profiler *f, const sa_profile_result *out, const sa_profile_task *task, size_t j)
{
    const double *ends = out->limit + 2 * j;
    return out->state[j] == SA_DETERMINED && !f->held[j] && isfinite(task->half[j]) &&
           ends[1] - ends[0] < 1.8 * task->half[j];
}

int sa_softening_states(const sa_softening *s, const sa_profile_task *task,
                        const sa_profile_result *out, double *work)
{
    const sa_model_layout at = sa_model_parameters(s->kind);
    const size_t p = sa_softening_unknowns(s), m = sa_softening_rows(s);
    const double *half = task->half;
    int *state = out->state, looked[SA_MODEL_MAX_PAR] = {0};
    double *limit = out->limit;
    sa_profiler f = {.s = *s, .control = sa_lsq_defaults(), .p = p, .at = at};
    f.control.ftol = 1e-9;
    f.control.xtol = 1e-8;
    f.control.gtol = 1e-7;
    f.control.max_iterations = 100;
    f.control.polish = 0;
    f.control.poll = s->poll;
    f.control.poll_context = s->poll_context;
    f.resid = work;
    f.jac = f.resid + m;
    f.work = f.jac + m * p;
    for (size_t j = 0; j < p; j++) {
        f.held[j] = s->held ? s->held[j] : 0;
        if (j < at.n_par)
            state[j] = f.held[j] ? SA_HELD : SA_DETERMINED;
    }
    /* exact data have no scatter: what is invisible to rounding is open all the same */
    double size = 0.0;
    for (size_t i = 0; i < s->clock.n; i++)
        size += s->root_weight[i] * s->root_weight[i] * s->hardness[i] * s->hardness[i];
    f.threshold = fmax(task->threshold, 1e-12 * size);

    /* `doubt`: a parameter is open or at the mere edge of the search, which leaves no Wald interval
     * its meaning */
    int open_at_all = 0, doubt = 0, curved = 0;
    for (size_t j = 0; j < at.n_par; j++) {
        limit[2 * j] = limit[2 * j + 1] = NAN;
        if (f.held[j] || half[j] < 0.0)
            continue;
        const int bound = task->at_bound[j];
        doubt |= bound && !s->natural[j + (bound > 0 ? p : 0)];
        if (!(f.threshold < HUGE_VAL)) { /* robust loss: no profile, only what is plain */
            if (bound)
                state[j] = bound < 0 ? SA_AT_LOWER : SA_AT_UPPER;
            else if (task->loading[j] > 1e-8)
                state[j] = SA_OPEN;
            continue;
        }
        if (!task->every && !bound && task->loading[j] <= 1e-8 &&
            half[j] <= measure_of(&at, task->par, j).wide &&
            !(j == SA_P_SOFT && level_unseen(s, task->par)))
            continue;
        looked[j] = 1;
        if (look(&f, task, out, j, task->every))
            return 1;
        open_at_all |= state[j] >= SA_OPEN_BELOW;
    }
    if (task->cov && !task->every && !open_at_all && !f.held[SA_P_Q] && half[SA_P_Q] >= 0.0 &&
        f.threshold < HUGE_VAL && one_sided(s, task->par))
        curved = bent(&f, task, SA_P_Q);
    for (size_t j = 0; (open_at_all || doubt || curved) && f.threshold < HUGE_VAL && j < at.n_par; j++)
        if (!looked[j] && !f.held[j] && half[j] >= 0.0) {
            if (look(&f, task, out, j, 0))
                return 1;
            open_at_all |= state[j] >= SA_OPEN_BELOW;
        }
    /* beside an open parameter the linear error of a determined one is no measure: along the open
     * direction the line leads out of the bounds, or its valley goes on where the line ends. Its own
     * profile is */
    int *narrow = out->narrow, any = 0;
    for (size_t j = 0; narrow && j < p; j++)
        narrow[j] = 0;
    for (size_t j = 0; (open_at_all || curved) && !task->every && j < at.n_par; j++) {
        if (state[j] == SA_DETERMINED && isnan(limit[2 * j]) && half[j] >= 0.0 &&
            look(&f, task, out, j, ENDS_ALONE))
            return 1;
        any |= half[j] > measure_of(&at, task->par, j).wide && is_narrow(&f, out, task, j);
    }
    /* where one of the wide ones is narrower than its line, all are asked */
    for (size_t j = 0; narrow && any && j < at.n_par; j++)
        narrow[j] = is_narrow(&f, out, task, j);
    return 0;
}

void sa_softening_rescale(const double *half, const int *narrow, const double *limit, size_t p,
                          double *first, double *second)
{
    for (size_t j = 0; j < p; j++) {
        if (!narrow[j])
            continue;
        const double share = 0.5 * (limit[2 * j + 1] - limit[2 * j]) / half[j];
        for (size_t k = 0; share < 0.9 && share > 0.0 && k < p; k++) {
            first[j + k * p] *= share;
            first[k + j * p] *= share;
            second[j + k * p] *= share;
            second[k + j * p] *= share;
        }
    }
}
