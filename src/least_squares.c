/* Levenberg-Marquardt in a trust region, with bounds, weights and Huber loss: the iteration; its
 * step is in trust_region.c.
 *
 * A parameter at its bound whose gradient points outward is held. Termination as in More 1978
 * (The Levenberg-Marquardt algorithm, Lecture Notes in Mathematics 630), then undamped steps for
 * the last digits. Huber loss (Huber 1964): residual and Jacobian rows are scaled by the root of
 * rho'; the scale is 1.4826 times the median absolute residual, iterated to convergence.
 * No allocation, no state; all memory is the caller's. */
#include "least_squares.h"
#include "linear.h"
#include "trust_region.h"
#include <float.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#define HUBER_ROUNDS 40
#define POLISH_ROUNDS 100
#define CREEP_ROUNDS 50
#define SLIGHT 1e-6 /* damping that leaves directions alone of which the residuals see nothing */
#define ROUNDED 1e-13 /* cosine of what rounding leaves */

const sa_word sa_lsq_ends[SA_LSQ_ENDS] = {
    [SA_END_FUNCTION] = "relative reduction below `ftol`",
    [SA_END_STEP] = "step below `xtol`",
    [SA_END_GRADIENT] = "gradient below `gtol`",
    [SA_END_EXACT] = "residuals zero to rounding",
    [SA_END_LIMIT] = "iteration limit",
    [SA_END_START] = "model not finite at the start",
    [SA_END_INTERRUPTED] = "interrupted"};

sa_lsq_control sa_lsq_defaults(void)
{
    sa_lsq_control c;
    c.ftol = 1e-14;
    c.xtol = 1e-12;
    c.gtol = 1e-10;
    c.first_radius = 1.0;
    c.huber = 0.0;
    c.max_iterations = 1000;
    c.polish = SA_POLISH;
    c.creep = 0.0;
    c.poll = NULL;
    c.poll_context = NULL;
    return c;
}

size_t sa_lsq_work(size_t n, size_t p)
{
    if (p > 4096 || n > SIZE_MAX / (sizeof(double) * (p + 8)) - 8 * (p + 8))
        return 0;
    return n * (p + 3) + 6 * p * p + 24 * p + 64;
}

typedef struct {
    const sa_lsq_problem *pb;
    double huber_limit; /* k times the scale; 0: squares */
    sa_lsq_result *out;
} evaluator;

/* Weighted residuals and half the objective; negative when not finite. */
static double evaluate(const evaluator *ev, const double *par, double *resid, double *jac)
{
    const sa_lsq_problem *pb = ev->pb;
    size_t n = pb->n;
    ev->out->evaluations++;
    if (pb->fn(par, resid, jac, pb->context))
        return -1.0;
    if (pb->root_weight) {
        for (size_t i = 0; i < n; i++)
            resid[i] *= pb->root_weight[i];
        if (jac)
            for (size_t j = 0; j < pb->p; j++)
                for (size_t i = 0; i < n; i++)
                    jac[i + j * n] *= pb->root_weight[i];
    }
    double sum = 0.0, h = ev->huber_limit;
    if (h > 0.0) {
        for (size_t i = 0; i < n; i++) {
            double r = fabs(resid[i]);
            sum += r <= h ? 0.5 * r * r : h * (r - 0.5 * h);
        }
    } else {
        for (size_t i = 0; i < n; i++)
            sum += resid[i] * resid[i];
        sum *= 0.5;
    }
    return isfinite(sum) ? sum : -1.0;
}

/* Median of |x| by quickselect on a scratch copy; values of weight zero do not count. */
static double median_abs(const double *x, const double *root_weight, size_t size, double *scratch)
{
    size_t n = 0;
    for (size_t i = 0; i < size; i++)
        if (!root_weight || root_weight[i] > 0.0)
            scratch[n++] = fabs(x[i]);
    if (n == 0)
        return 0.0;
    size_t want = n / 2, lo = 0, hi = n - 1;
    while (lo < hi) {
        double pivot = scratch[lo + (hi - lo) / 2];
        size_t i = lo, j = hi;
        for (;;) {
            while (scratch[i] < pivot)
                i++;
            while (scratch[j] > pivot)
                j--;
            if (i >= j)
                break;
            double t = scratch[i];
            scratch[i] = scratch[j];
            scratch[j] = t;
            i++;
            j--;
        }
        if (want <= j)
            hi = j;
        else
            lo = j + 1;
    }
    double upper = scratch[want];
    if (n % 2 == 1)
        return upper;
    double below = 0.0;
    for (size_t i = 0; i < want; i++)
        if (scratch[i] > below)
            below = scratch[i];
    return 0.5 * (below + upper);
}

static void huber_rows(double limit, size_t n, size_t p, const double *resid, double *rhs,
                       double *copy)
{
    for (size_t i = 0; i < n; i++) {
        double r = fabs(resid[i]);
        if (r <= limit)
            continue;
        double w = sqrt(limit / r);
        rhs[i] *= w;
        for (size_t j = 0; j < p; j++)
            copy[i + j * n] *= w;
    }
}

static int is_stopped(const sa_lsq_control *ctl, sa_lsq_result *out)
{
    if (!ctl->poll || !ctl->poll(ctl->poll_context))
        return 0;
    out->end = SA_END_INTERRUPTED;
    return 1;
}

/* Triangle, gradient, bounds met and cosine at the current point. `scratch`: n p + n. Returns 0
 * when the derivatives are not finite: nothing can be said from there. */
static int linearise(const evaluator *ev, sa_region *ws, const double *par, const double *resid,
                     const double *jac, int *at_bound, double *scratch)
{
    const size_t n = ev->pb->n, p = ev->pb->p;
    double *copy = scratch, *rhs = copy + n * p;
    memcpy(copy, jac, n * p * sizeof(double));
    memcpy(rhs, resid, n * sizeof(double));
    if (ev->huber_limit > 0.0)
        huber_rows(ev->huber_limit, n, p, resid, rhs, copy);
    double rnorm = sa_norm(rhs, n);
    if (!sa_region_reduce(ws, n, copy, rhs))
        return 0;
    ev->out->cosine = sa_region_cosine(ws, ev->pb, par, rnorm, at_bound);
    return 1;
}

/* The sum of squares is flat to rounding before the parameters have all their digits: a few
 * undamped steps, kept while they lower the cosine of the gradient without raising the sum; where they
 * do not and all is asked for, damped ones: a singular triangle has no other, and what the residuals do
 * not see stays. The end is `end`, or the start's where the derivatives are not finite. */
static sa_status finish(const evaluator *ev, const sa_lsq_control *ctl, sa_region *ws,
                        sa_lsq_end end, double f, double *par, double *resid, double *jac,
                        int *at_bound, double *scratch)
{
    const size_t p = ev->pb->p;
    sa_lsq_result *out = ev->out;
    int is_damped = 0;
    out->objective = 2.0 * f;
    out->end = SA_END_START;
    if (!linearise(ev, ws, par, resid, jac, at_bound, scratch))
        return SA_NOT_FINITE;
    out->end = end;
    for (int round = 0; ctl->polish && round < POLISH_ROUNDS && out->cosine > 1e-14; round++) {
        double before = out->cosine;
        if (is_stopped(ctl, out))
            return SA_INTERRUPTED;
        ws->radius = is_damped ? 0.0 : DBL_MAX;
        ws->lambda = is_damped ? SLIGHT : 0.0;
        sa_region_step(ws, ev->pb, par, at_bound);
        memcpy(ws->old, par, p * sizeof(double));
        memcpy(par, ws->trial, p * sizeof(double));
        double ft = evaluate(ev, par, resid, jac);
        /* where the model fits to many digits, the sum itself is rounded at more than 1e-12 */
        int good = ft >= 0.0 && ft <= f * (1.0 + 1e-9) &&
                   linearise(ev, ws, par, resid, jac, at_bound, scratch);
        if (!good || out->cosine > (ft <= f * (1.0 + 1e-12) ? 0.95 : 0.5) * before) {
            memcpy(par, ws->old, p * sizeof(double));
            evaluate(ev, par, resid, jac);
            linearise(ev, ws, par, resid, jac, at_bound, scratch);
            if (is_damped || ctl->polish != SA_POLISH_ALL || out->cosine <= ROUNDED)
                break;
            is_damped = 1;
            continue;
        }
        f = ft;
        out->objective = 2.0 * f;
    }
    return SA_OK;
}

/* One minimisation at a fixed Huber limit. */
static sa_status minimise(evaluator *ev, const sa_lsq_control *ctl, double *par, double *resid,
                          double *jac, int *at_bound, double *work)
{
    const sa_lsq_problem *pb = ev->pb;
    sa_lsq_result *out = ev->out;
    const size_t n = pb->n, p = pb->p;
    double *trial_resid = work + n * p + n; /* behind the scratch of linearise() */
    sa_region ws = sa_region_place(trial_resid + n, p);

    double f = evaluate(ev, par, resid, jac);
    memset(at_bound, 0, p * sizeof(int));
    out->end = SA_END_START;
    if (f < 0.0)
        return SA_NOT_FINITE;
    const double first = f;
    double mark = f; /* objective some iterations ago, for creeping along a flat valley */
    for (int iteration = 0;; iteration++) {
        if (is_stopped(ctl, out))
            return SA_INTERRUPTED;
        out->objective = 2.0 * f;
        out->end = SA_END_START;
        if (!linearise(ev, &ws, par, resid, jac, at_bound, work))
            return SA_NOT_FINITE;
        out->end = SA_END_LIMIT;
        if (iteration >= ctl->max_iterations)
            return SA_LIMIT;
        if (f <= DBL_MIN || f <= first * 1e-30) {
            out->end = SA_END_EXACT;
            return SA_OK;
        }
        if (out->cosine <= ctl->gtol)
            return finish(ev, ctl, &ws, SA_END_GRADIENT, f, par, resid, jac, at_bound, work);
        if (iteration > 0 && iteration % CREEP_ROUNDS == 0) {
            if (mark - f < ctl->creep * f)
                return finish(ev, ctl, &ws, SA_END_FUNCTION, f, par, resid, jac, at_bound, work);
            mark = f;
        }
        double size = sa_scaled_norm(ws.d, par, p);
        if (iteration == 0)
            ws.radius = ctl->first_radius * (size > 0.0 ? size : 1.0);
        out->iterations++;
        const double radius = ws.radius, lambda = ws.lambda;
        memset(ws.stay, 0, p * sizeof(int));

        for (int accepted = 0, trials = 0; !accepted; trials++) {
            if (trials > 0 && is_stopped(ctl, out))
                return SA_INTERRUPTED;
            sa_region_step(&ws, pb, par, at_bound);
            double linear, predicted = sa_region_promised(&ws, &linear);
            double length = sa_scaled_norm(ws.d, ws.step, p);
            if (iteration == 0)
                ws.radius = fmin(ws.radius, fmax(length, DBL_MIN));
            double ft = evaluate(ev, ws.trial, trial_resid, NULL);
            double actual = ft < 0.0 ? -f : f - ft;
            double ratio = predicted > 0.0 ? actual / predicted : 0.0;
            sa_region_adapt(&ws, ratio, actual, linear, length, ft >= 0.0);
            accepted = ft >= 0.0 && actual > 0.0 && ratio >= 1e-4;
            sa_lsq_end end = SA_END_LIMIT;
            if (ft >= 0.0 && fabs(actual) <= ctl->ftol * f && predicted <= ctl->ftol * f)
                end = SA_END_FUNCTION;
            else if (ws.radius <= ctl->xtol * size || ws.radius <= DBL_MIN)
                end = SA_END_STEP;
            if (end == SA_END_STEP && !accepted && sa_region_settle(&ws, pb, par) > 0) {
                ws.radius = radius; /* the others have not had their turn */
                ws.lambda = lambda;
                continue;
            }
            if (accepted) {
                memcpy(par, ws.trial, p * sizeof(double));
                f = evaluate(ev, par, resid, jac);
                if (f < 0.0) { /* derivatives not finite where the value is */
                    out->end = SA_END_START;
                    return SA_NOT_FINITE;
                }
                size = sa_scaled_norm(ws.d, par, p);
            }
            if (end != SA_END_LIMIT)
                return finish(ev, ctl, &ws, end, f, par, resid, jac, at_bound, work);
        }
    }
}

sa_status sa_lsq_fit(const sa_lsq_problem *problem, const sa_lsq_control *control, double *par,
                     double *resid, double *jac, int *at_bound, double *work, sa_lsq_result *result)
{
    evaluator ev = {problem, 0.0, result};
    *result = (sa_lsq_result){SA_END_START, 0, 0, 0.0, 0.0, 0.0};
    if (problem->p == 0 || problem->n == 0)
        return SA_BAD_SIZE;
    for (size_t j = 0; j < problem->p; j++) {
        if (problem->held && problem->held[j])
            continue;
        if (problem->lower && par[j] < problem->lower[j])
            par[j] = problem->lower[j];
        if (problem->upper && par[j] > problem->upper[j])
            par[j] = problem->upper[j];
    }
    sa_status status = minimise(&ev, control, par, resid, jac, at_bound, work);
    if (control->huber <= 0.0 || status == SA_NOT_FINITE || status == SA_INTERRUPTED)
        return status;
    /* the robust scale and the fit in turn, until the scale stands still */
    for (int round = 0; round < HUBER_ROUNDS; round++) {
        double scale = 1.4826 * median_abs(resid, problem->root_weight, problem->n, work);
        if (!(scale > 0.0))
            break;
        int settled = fabs(scale - result->scale) <= 1e-8 * scale;
        result->scale = scale;
        ev.huber_limit = control->huber * scale;
        if (settled)
            break;
        status = minimise(&ev, control, par, resid, jac, at_bound, work);
        if (status == SA_NOT_FINITE || status == SA_INTERRUPTED)
            break;
    }
    return status;
}
