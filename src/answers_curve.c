/* Likelihood interval of the hardness of the curve at a place (a temperature and a time).
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

#define DOUBLINGS 40
#define REFINEMENTS 40

typedef struct {
    const sa_softening *s;
    const sa_place *at;
    sa_lsq_problem pb;
    sa_lsq_control control;
    double pull; /* hardness of the added reading */
    size_t m, p;
    double *root, *resid, *jac, *rows, *work;
} pulled_fit;

static int pulled_residuals(const double *par, double *resid, double *jac, void *context)
{
    const pulled_fit *f = context;
    const size_t m = f->m, p = f->p;
    double *rows = jac ? f->rows : NULL, own[SA_MODEL_MAX_PAR];
    if (sa_model_hardness(f->s->kind, &f->s->clock, par, resid, rows))
        return 1;
    for (size_t i = 0; i < m; i++)
        resid[i] -= f->s->hardness[i];
    const sa_clock one = {.n = 1,
                          .coordinate = &f->at->coordinate,
                          .log_time = &f->at->log_time,
                          .strain = &f->at->group.strain,
                          .exponent = &f->at->group.exponent};
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
    out->rise = fmax(result.objective - w * miss * miss - objective, 0.0);
    return 1;
}

/* The best fit with the added reading at `pull`: from the neighbour, from the minimum, and from
 * another shape of curve that passes there. */
static int solve_all(pulled_fit *f, double objective, double pull, const double *near,
                     const double *minimum, int every, point *out)
{
    point other;
    double from[SA_MODEL_MAX_PAR];
    f->pull = pull;
    int got = solve(f, objective, near, out);
    if (every && memcmp(near, minimum, f->p * sizeof(double)) != 0 &&
        solve(f, objective, minimum, &other) && (!got || other.total < out->total)) {
        *out = other;
        got = 1;
    }
    /* a hardness that a rate can reach between the plateaus of the minimum */
    const double margin = 0.02 * fabs(minimum[SA_P_WORKED] - minimum[SA_P_SOFT]);
    const double low = fmin(minimum[SA_P_WORKED], minimum[SA_P_SOFT]) + margin;
    const double high = fmax(minimum[SA_P_WORKED], minimum[SA_P_SOFT]) - margin;
    const sa_meeting meet = {SA_TO_HARDNESS, fmin(fmax(pull, low), high), f->at->coordinate,
                             f->at->log_time, f->at->group};
    memcpy(from, minimum, f->p * sizeof(double));
    if (isfinite(f->at->log_time) && sa_scan_shapes(f->s, &meet, from, f->resid) &&
        solve(f, objective, from, &other) && (!got || other.total < out->total * (1.0 - 1e-9))) {
        *out = other;
        got = 1;
    }
    return got;
}

static double side_end(pulled_fit *f, double objective, double threshold, double step, int side,
                       const double *minimum, double at_minimum)
{
    const double goal = sqrt(threshold), tolerance = 1e-6 * (1.0 + fabs(at_minimum));
    point in = {.value = at_minimum}, out;
    double low = at_minimum, high = at_minimum, move = 2.0 * step;
    memcpy(in.par, minimum, f->p * sizeof(double));
    for (int k = 0;; k++) {
        if (k == DOUBLINGS)
            return side * HUGE_VAL;
        high = at_minimum + side * move;
        if (!solve_all(f, objective, high, in.par, minimum, 1, &out))
            return side * HUGE_VAL;
        if (out.rise >= threshold)
            break;
        in = out;
        low = high;
        move *= 2.0;
    }
    double inside = sqrt(in.rise) - goal, outside = sqrt(out.rise) - goal;
    int last = 0;
    for (int k = 0; k < REFINEMENTS && fabs(out.value - in.value) > tolerance; k++) {
        const double mid =
            k % 6 != 5 ? low + (high - low) * inside / (inside - outside) : 0.5 * (low + high);
        point now;
        if (!solve_all(f, objective, mid, in.par, minimum, k < 2, &now))
            break;
        const double gap = sqrt(now.rise) - goal;
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
        if (fabs(gap) <= 1e-5 * goal)
            return now.value;
    }
    return side < 0 ? fmin(in.value, out.value) : fmax(in.value, out.value);
}

size_t sa_curve_work(size_t m, size_t p)
{
    const size_t solver = sa_lsq_work(m + 1, p);
    return solver == 0 ? 0 : solver + (m + 1) * (p + 4) + m * p;
}

void sa_curve_interval(const sa_softening *s, const sa_place *at, double objective,
                       double threshold, double step, const double *par, double ends[2],
                       double *work)
{
    pulled_fit f = {.s = s, .at = at, .control = sa_lsq_defaults(), .m = s->clock.n};
    f.p = sa_model_parameters(s->kind).n_par;
    f.root = work;
    f.resid = f.root + f.m + 1;
    f.jac = f.resid + f.m + 1;
    f.rows = f.jac + (f.m + 1) * f.p;
    f.work = f.rows + f.m * f.p;
    if (f.m > 0)
        memcpy(f.root, s->root_weight, f.m * sizeof(double));
    /* with the pull at twice the half width of a parabola its end is reached */
    f.root[f.m] = sqrt(threshold) / step;
    f.pb = sa_softening_problem(s);
    f.pb.n = f.m + 1;
    f.pb.root_weight = f.root;
    f.pb.fn = pulled_residuals;
    f.pb.context = &f;
    f.control.ftol = 1e-10;
    f.control.xtol = 1e-8;
    f.control.gtol = 1e-7;
    f.control.max_iterations = 100;
    f.control.creep = 1e-6;
    f.control.polish = 0;
    f.control.poll = s->poll;
    f.control.poll_context = s->poll_context;
    double value;
    const sa_clock one = {.n = 1,
                          .coordinate = &at->coordinate,
                          .log_time = &at->log_time,
                          .strain = &at->group.strain,
                          .exponent = &at->group.exponent};
    ends[0] = ends[1] = NAN;
    if (sa_model_hardness(s->kind, &one, par, &value, NULL))
        return;
    for (int e = 0; e < 2; e++)
        ends[e] = side_end(&f, objective, threshold, step, e == 0 ? -1 : 1, par, value);
}
