/* Which parameters of a softening fit the data fix: profile likelihoods followed outwards.
 *
 * A parameter with a wide Wald interval, at a bound, or in a direction the Jacobian does not
 * see is followed along its profile (all others refitted) to its bounds. If the sum of squares
 * never rises by the threshold, the data give no limit on that side (Bates and Watts 1988,
 * Nonlinear Regression Analysis and Its Applications, chapter 6). */
#include "linear.h"
#include "softening.h"
#include <math.h>
#include <string.h>

#define BISECTIONS 24
#define CONFIRMATIONS 4
#define COARSE 6 /* bisections that tell an end from the edge of the search */
#define FAR 1.5  /* half widths of the line at which a straight valley is asked */
#define ENDS_ALONE 2
#define OVER 0.9 /* share of the softening from which a temperature counts as finished */

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

/* One profile: parameter `which` fixed at a value, the others refitted from where they are. */
typedef struct {
    sa_softening s;
    sa_lsq_control control;
    int held[SA_MODEL_MAX_PAR];
    size_t p;
    sa_model_layout at;
    double threshold; /* rise of the sum of squares at the ends of an interval */
    double *resid, *jac, *work;
} profiler;

/* Where the other parameters go when one moves by `by`, to first order: they keep the fit as
 * it is as far as they can. Rates follow an activation energy exactly this way. */
static void predict_others(profiler *f, const sa_lsq_problem *pb, size_t which, double by,
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

/* Sum of squares at a point, without solving. */
static double sum_at(profiler *f, const sa_lsq_problem *pb, const double *par)
{
    double sum = 0.0;
    if (pb->fn(par, f->resid, NULL, pb->context))
        return HUGE_VAL;
    for (size_t i = 0; i < pb->n; i++)
        sum += pb->root_weight[i] * pb->root_weight[i] * f->resid[i] * f->resid[i];
    return sum;
}

static double profile_at(profiler *f, size_t which, double value, double *par, int *artificial)
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
    if (sum_at(f, &pb, stay) < sum_at(f, &pb, par))
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
static int wake_idle(profiler *f, size_t which, double value, double ceiling, const double *from,
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
static int bounded(const profiler *f, size_t which, const double *from)
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
static int from_elsewhere(profiler *f, size_t which, double value, double ceiling,
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

static int elsewhere(profiler *f, size_t which, double value, double ceiling, const double *from,
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
static int confirm(profiler *f, size_t which, double ceiling, double value, const double *keep,
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

/* Outwards from the minimum to the bound in growing steps. Returns 1 when the sum of
 * squares passes the ceiling (limit set when wanted), 0 when the side is open, -1 when a
 * lower minimum was met. `par`: the parameters at the end reached, or at that minimum. */
static int follow(profiler *f, size_t which, int side, const double *minimum, double objective,
                  double ceiling, double step, int refine, double *limit, double *par)
{
    double end = side < 0 ? f->s.lower[which] : f->s.upper[which];
    /* a long step may throw the power of strain to its edge on a side that has an end: with
     * strain the edge counts only where it is met just beyond the end found */
    const int judge_end = f->at.k_strain >= 0;
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

static double first_step(const profiler *f, const sa_profile_task *task, size_t j)
{
    const measure y = measure_of(&f->at, task->par, j);
    const double width = isfinite(task->half[j]) ? task->half[j] : 0.0;
    return fmin(fmax(fmin(width, 4.0 * y.wide), y.step), 0.1 * (f->s.upper[j] - f->s.lower[j]));
}

/* Follows parameter j to both sides: its state and, where a side is open or `with_ends`, its limits (at
 * once where both sides are known to end).
 * Returns 1 when a lower minimum was met, which is then in `better`. */
static int look(profiler *f, const sa_profile_task *task, const sa_profile_result *out, size_t j,
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
                closed = follow(f, j, side, task->par, task->objective,
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
static int bent(profiler *f, const sa_profile_task *task, size_t j)
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
        if (inside && sum_at(f, &pb, par) < task->objective + FAR * f->threshold)
            return 1;
    }
    return 0;
}

static int is_narrow(const profiler *f, const sa_profile_result *out, const sa_profile_task *task, size_t j)
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
    profiler f = {.s = *s, .control = sa_lsq_defaults(), .p = p, .at = at};
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
