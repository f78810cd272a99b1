/* Likelihood interval of the hardness of the curve at a place (a temperature and a time, or a mark in a
 * history).
 *
 * One more reading of hardness v and weight w is added at the place and all is refitted. Whatever
 * v and w, the fit reached is the best of all curves that pass the place at the hardness H it has
 * there (a Lagrange multiplier is w (v - H)), so each v gives one exact point of the profile: H
 * and the sum of squares of the true readings. v is moved outwards until that sum has risen by the
 * threshold (Bates and Watts 1988, Nonlinear Regression Analysis and Its Applications, chapter 6,
 * for a function of the parameters). */
#include "answers_curve.h"
#include "answers.h"
#include <math.h>
#include <string.h>

#define WIDENINGS 16
#define REFINEMENTS 40
#define STIFFENINGS 2
#define NEAR_GOAL 0.01   /* of the root of the threshold: from there along the slope */
#define AT_GOAL 1e-6     /* of the same root: the square of that is below rounding */
#define SETTLINGS 8
#define FULL_EVERY 8     /* of these places one is searched from all starts, */
#define FEW 64           /* and all where there are no more than these */
#define MARGIN 0.02      /* of the half width: a curve of another place reaches further */
#define POOLED 512       /* curves of other places looked at, about */
#define FAR 1e4          /* spans of the curve: a pull that far without an end: there is none */

typedef struct {
    const sa_softening *s;
    const sa_place *at;
    sa_lsq_problem pb;
    sa_lsq_control control;
    double pull; /* hardness of the added reading */
    size_t m, p;
    double *root, *resid, *jac, *rows, *work;
} pulled_fit;

static sa_clock clock_at(const sa_place *at)
{
    return (sa_clock){.n = 1,
                      .coordinate = &at->coordinate,
                      .log_time = &at->log_time,
                      .along = at->along,
                      .table = at->table,
                      .strain = &at->group.strain,
                      .exponent = &at->group.exponent};
}

static int pulled_residuals(const double *par, double *resid, double *jac, void *context)
{
    const pulled_fit *f = context;
    const size_t m = f->m, p = f->p;
    double *rows = jac ? f->rows : NULL, own[SA_MODEL_MAX_PAR] = {0.0};
    if (sa_joint_hardness(f->s->kind, &f->s->clock, f->s->furnaces, par, resid, rows))
        return 1;
    for (size_t i = 0; i < f->s->clock.n; i++)
        resid[i] -= f->s->hardness[i];
    sa_softening_whiten(f->s, resid, rows);
    const sa_clock one = clock_at(f->at);
    if (sa_model_hardness(f->s->kind, &one, par, &resid[m], jac ? own : NULL))
        return 1;
    resid[m] -= f->pull;
    for (size_t j = 0; jac && j < p; j++) {
        memcpy(jac + j * (m + 1), rows + j * m, m * sizeof(double));
        jac[m + j * (m + 1)] = own[j];
    }
    return 0;
}

/* One point of the profile. */
typedef struct {
    double value, rise, total; /* hardness reached, rise of the sum, with the added reading */
    int below;                 /* the sum lies below that of the minimum: another valley, a little deeper */
    double par[SA_MODEL_MAX_PAR];
} point;

static int solve(pulled_fit *f, double objective, const double *from, point *out)
{
    const double w = f->root[f->m] * f->root[f->m];
    sa_lsq_result result;
    int at_bound[SA_MODEL_MAX_PAR];
    memcpy(out->par, from, f->p * sizeof(double));
    sa_status st = sa_lsq_fit(&f->pb, &f->control, out->par, f->resid, f->jac, at_bound, f->work,
                              &result);
    if (st != SA_OK && st != SA_LIMIT)
        return 0;
    const double miss = f->resid[f->m] / f->root[f->m]; /* weighted residuals come back */
    out->value = f->pull + miss;
    out->total = result.objective;
    const double rise = result.objective - w * miss * miss - objective;
    out->rise = fmax(rise, 0.0);
    out->below = rise < -1e-4 * objective;
    return 1;
}

/* The best fit with the added reading at `pull`: from the neighbour and, with `every`, from the minimum
 * and from another shape of curve that passes there. */
static int solve_all(pulled_fit *f, double objective, double pull, const double *near,
                     const double *minimum, int every, point *out)
{
    point other;
    double from[SA_MODEL_MAX_PAR];
    f->pull = pull;
    int got = solve(f, objective, near, out);
    if (!every && got)
        return 1;
    if (memcmp(near, minimum, f->p * sizeof(double)) != 0 &&
        solve(f, objective, minimum, &other) && (!got || other.total < out->total)) {
        *out = other;
        got = 1;
    }
    /* a hardness that a rate can reach between the plateaus of the minimum */
    const double margin = 0.02 * fabs(minimum[SA_P_WORKED] - minimum[SA_P_SOFT]);
    const double low = fmin(minimum[SA_P_WORKED], minimum[SA_P_SOFT]) + margin;
    const double high = fmax(minimum[SA_P_WORKED], minimum[SA_P_SOFT]) - margin;
    const sa_meeting meet = {SA_TO_HARDNESS, fmin(fmax(pull, low), high), f->at->coordinate,
                             f->at->log_time, f->at->group,
                             minimum[SA_P_SOFT] > minimum[SA_P_WORKED]};
    memcpy(from, minimum, f->p * sizeof(double));
    if (isfinite(f->at->log_time) && sa_scan_shapes(f->s, &meet, from, f->resid) &&
        solve(f, objective, from, &other) && (!got || other.total < out->total * (1.0 - 1e-9))) {
        *out = other;
        got = 1;
    }
    return got;
}

/* Slope of the root of the rise in the hardness reached: half the multiplier over the root. */
static double slope_at(const pulled_fit *f, const point *x)
{
    return f->root[f->m] * f->root[f->m] * (f->pull - x->value) / sqrt(x->rise);
}

/* The end from a point near it to all its digits: undamped fits, and the pull by the secant. What is not
 * converged and what is missing to the goal both come in by their squares. */
static double settled(pulled_fit *f, const sa_band *b, double goal, double at_minimum, point now, double *end)
{
    const sa_lsq_control loose = f->control;
    double gap = sqrt(now.rise) - goal, value = now.value - gap / slope_at(f, &now);
    double last_pull = at_minimum, last_gap = -goal, best = fmax(fabs(gap), NEAR_GOAL * goal);
    memcpy(end, now.par, f->p * sizeof(double));
    f->control.ftol = 1e-12;
    f->control.xtol = 1e-10;
    f->control.gtol = 1e-9;
    f->control.polish = SA_POLISH_ALL;
    for (int k = 0; k < SETTLINGS && solve(f, b->objective, now.par, &now); k++) {
        gap = sqrt(now.rise) - goal;
        if (!(fabs(gap) <= best) || !(now.rise > 0.0))
            break;
        best = fabs(gap);
        value = now.value - gap / slope_at(f, &now);
        memcpy(end, now.par, f->p * sizeof(double));
        if (best <= AT_GOAL * goal)
            break;
        const double pull = f->pull;
        f->pull -= gap * (pull - last_pull) / (gap - last_gap);
        last_pull = pull;
        last_gap = gap;
    }
    f->control = loose;
    return value;
}

/* One side: hardness at its end, -Inf or Inf where it has none. `half`: guess of its distance from the
 * curve, reached from `start`; `end`: parameters there. */
static double side_end(pulled_fit *f, const sa_band *b, int side, double threshold, double at_minimum,
                       double half, const double *start, int every, double *end)
{
    const double goal = sqrt(threshold);
    const double span = fabs(b->par[SA_P_WORKED] - b->par[SA_P_SOFT]) + fabs(at_minimum);
    point in = {.value = at_minimum}, out = in;
    double low = at_minimum, high = at_minimum, move = 2.0 * half;
    int closed = 0, last = 0;
    /* with the pull at twice the half width of a parabola its end is reached */
    f->root[f->m] = goal / half;
    memcpy(in.par, b->par, f->p * sizeof(double));
    memcpy(end, b->par, f->p * sizeof(double));
    for (int k = 0; k < WIDENINGS && !closed; k++) {
        high = at_minimum + side * move;
        if (!solve_all(f, b->objective, high, k == 0 ? start : in.par, b->par, every, &out))
            return side * HUGE_VAL;
        memcpy(end, out.par, f->p * sizeof(double));
        const double gap = sqrt(out.rise) - goal;
        if (fabs(gap) <= NEAR_GOAL * goal)
            return settled(f, b, goal, at_minimum, out, end);
        closed = gap > 0.0;
        if (closed)
            break;
        if (move > FAR * span)
            return side * HUGE_VAL;
        in = out;
        low = high;
        move *= fmin(fmax(1.1 * goal / sqrt(fmax(out.rise, 1e-300)), 1.1), 8.0);
    }
    if (!closed)
        return side * HUGE_VAL;
    double inside = sqrt(in.rise) - goal, outside = sqrt(out.rise) - goal;
    int stiff = 0;
    for (int k = 0; k < REFINEMENTS; k++) {
        const double gap_of_values = fabs(out.value - in.value);
        if (gap_of_values <= 1e-6 * (1.0 + fabs(in.value)))
            break;
        if (fabs(high - low) < 1e-2 * gap_of_values && stiff < STIFFENINGS) {
            /* two valleys, and no pull of this weight holds the curve between them */
            f->root[f->m] *= 8.0;
            low = in.value;
            high = out.value + (out.value - in.value);
            last = 0;
            inside = sqrt(in.rise) - goal;
            outside = sqrt(out.rise) - goal;
            stiff++;
        }
        const double mid =
            k % 6 != 5 ? low + (high - low) * inside / (inside - outside) : 0.5 * (low + high);
        point now, other;
        if (!solve_all(f, b->objective, mid, in.rise > 0.0 ? in.par : out.par, b->par,
                       every && k < 2, &now))
            break;
        if (stiff && solve(f, b->objective, out.par, &other) && other.total < now.total)
            now = other;
        const double gap = sqrt(now.rise) - goal;
        memcpy(end, now.par, f->p * sizeof(double));
        if (fabs(gap) <= NEAR_GOAL * goal)
            return settled(f, b, goal, at_minimum, now, end);
        if (gap >= 0.0) {
            out = now;
            high = mid;
            outside = gap;
            inside = last > 0 ? 0.5 * inside : inside;
            last = 1;
        } else {
            in = now;
            low = mid;
            inside = gap;
            outside = last < 0 ? 0.5 * outside : outside;
            last = -1;
        }
    }
    memcpy(end, in.par, f->p * sizeof(double));
    return side < 0 ? fmin(in.value, out.value) : fmax(in.value, out.value);
}

static int value_at(const sa_band *b, const double *par, const sa_place *at, double *out)
{
    const sa_clock one = clock_at(at);
    return sa_model_hardness(b->s->kind, &one, par, out, NULL) || !isfinite(*out);
}

size_t sa_curve_work(size_t m, size_t p)
{
    const size_t solver = sa_lsq_work(m + 1, p);
    return solver == 0 ? 0 : solver + (m + 1) * (p + 4) + m * p;
}

static pulled_fit prepare(const sa_band *b, size_t k)
{
    const sa_place *at = b->place + k;
    const sa_softening *s = b->s;
    pulled_fit f = {.s = s, .at = at, .control = sa_lsq_defaults(), .m = sa_softening_rows(s)};
    f.p = sa_softening_unknowns(s);
    f.root = b->work;
    f.resid = f.root + f.m + 1;
    f.jac = f.resid + f.m + 1;
    f.rows = f.jac + (f.m + 1) * f.p;
    f.work = f.rows + f.m * f.p;
    if (f.m > 0)
        memcpy(f.root, s->root_weight, f.m * sizeof(double));
    f.pb = sa_softening_problem(s);
    f.pb.n = f.m + 1;
    f.pb.root_weight = f.root;
    f.pb.fn = pulled_residuals;
    f.control.ftol = fmin(fmax(1e-4 * b->threshold[k] / b->objective, 1e-9), 1e-5);
    f.control.xtol = 1e-7;
    f.control.gtol = 1e-5;
    f.control.max_iterations = 60;
    f.control.creep = 1e-6;
    f.control.polish = 0;
    f.control.poll = s->poll;
    f.control.poll_context = s->poll_context;
    return f;
}

void sa_curve_place(const sa_band *b, size_t k)
{
    const sa_place *at = b->place + k;
    pulled_fit f = prepare(b, k);
    f.pb.context = &f;
    double *ends = b->end + 2 * k, middle;
    ends[0] = ends[1] = NAN;
    for (size_t j = 0; j < 2 * f.p; j++)
        b->pool[2 * k * f.p + j] = b->par[j % f.p];
    if (value_at(b, b->par, at, &middle))
        return;
    for (int e = 0; e < 2; e++) {
        const int side = e == 0 ? -1 : 1;
        double *own = b->pool + (2 * k + (size_t)e) * f.p, half = b->step[k], reached;
        const double *start = b->par;
        int every = k % FULL_EVERY == 0 || b->count < FEW;
        /* the curve at the end of the neighbour is one of those sought, or nearly */
        if (k > 0 && isfinite(ends[e - 2]) && !value_at(b, own - 2 * f.p, at, &reached) &&
            side * (reached - middle) > 1e-3 * half) {
            start = own - 2 * f.p;
            const double before = b->half[e];
            half = side * (reached - middle) * sqrt(b->threshold[k] / b->threshold[k - 1]);
            every |= !(half > 0.5 * before && half < 2.0 * before);
        } else {
            every = 1;
        }
        ends[e] = side_end(&f, b, side, b->threshold[k], middle, half, start, every, own);
        b->half[e] = side * (ends[e] - middle);
    }
}

/* Where the sum has risen by `flat_rise`, from one pull to an eighth of the way and the root of its rise;
 * where the likelihood is flat the curve follows that pull for nothing. */
static double near_end(pulled_fit *f, const sa_band *b, size_t k, int side, double middle)
{
    const double threshold = b->threshold[k], way = fabs(b->end[2 * k + (side > 0)] - middle);
    const double *own = b->pool + (2 * k + (side > 0)) * f->p;
    point now, other;
    f->root[f->m] = sqrt(threshold) / way;
    f->pull = middle + 0.25 * side * way;
    int got = solve(f, b->objective, b->par, &now);
    if (solve(f, b->objective, own, &other) && !other.below &&
        (!got || other.total < now.total)) {
        now = other;
        got = 1;
    }
    if (!got)
        return NAN;
    const double far = sqrt(b->flat_rise * threshold / fmax(now.rise, 1e-300));
    return middle + side * fmin(fabs(now.value - middle) * far, way);
}

void sa_curve_mend(const sa_band *b, size_t k)
{
    const sa_place *at = b->place + k;
    pulled_fit f = prepare(b, k);
    f.pb.context = &f;
    double *ends = b->end + 2 * k, middle, reached;
    b->near[2 * k] = b->near[2 * k + 1] = NAN;
    if (isnan(ends[0]) || isnan(ends[1]) || value_at(b, b->par, at, &middle))
        return;
    const size_t stride = 1 + 2 * b->count / POOLED;
    for (int e = 0; e < 2; e++) {
        const int side = e == 0 ? -1 : 1;
        double most = (1.0 + MARGIN) * side * (ends[e] - middle), end[SA_MODEL_MAX_PAR];
        const double *from = NULL;
        if (!isfinite(ends[e]))
            continue;
        for (size_t j = 0; j < 2 * b->count; j += stride) {
            const double *par = b->pool + j * f.p;
            if (b->threshold[j / 2] <= 1.001 * b->threshold[k] && !value_at(b, par, at, &reached) &&
                side * (reached - middle) > most) {
                most = side * (reached - middle);
                from = par;
            }
        }
        if (!from)
            continue;
        const double found = side_end(&f, b, side, b->threshold[k], middle, most, from, 0, end);
        if (side * (found - ends[e]) > 0.0) {
            ends[e] = found;
            memcpy(b->pool + (2 * k + (size_t)e) * f.p, end, f.p * sizeof(double));
        }
    }
    for (int e = 0; e < 2 && ends[1] - ends[0] > b->wide && isfinite(ends[1] - ends[0]); e++)
        b->near[2 * k + (size_t)e] = near_end(&f, b, k, e == 0 ? -1 : 1, middle);
}
