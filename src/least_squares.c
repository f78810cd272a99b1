/* Levenberg-Marquardt in a trust region, with bounds, weights and Huber loss.
 *
 * The step minimises || r + J s || over || D s || <= radius (Levenberg 1944; Marquardt 1963);
 * the damping that meets the radius is found by a safeguarded Newton iteration on the norm
 * of the scaled step, D holds the largest column norms seen (More 1978, The
 * Levenberg-Marquardt algorithm, Lecture Notes in Mathematics 630). J is reduced once to a
 * p x p triangle, so all that follows costs nothing that grows with n. Bounds: a parameter at
 * its bound whose gradient points outward is held; a step that leaves the box is shortened
 * in that coordinate and solved again in the others.
 * Huber loss (Huber 1964): residual and Jacobian rows are scaled by the root of rho'; the
 * scale is 1.4826 times the median absolute residual, iterated to convergence.
 * No allocation, no state; all memory is the caller's. */
#include "least_squares.h"
#include "linear.h"
#include <float.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#define DAMPING_ROUNDS 12
#define HUBER_ROUNDS 40
#define POLISH_ROUNDS 100
#define CREEP_ROUNDS 50

sa_lsq_control sa_lsq_defaults(void)
{
    sa_lsq_control c;
    c.ftol = 1e-14;
    c.xtol = 1e-12;
    c.gtol = 1e-10;
    c.first_radius = 1.0;
    c.huber = 0.0;
    c.max_iterations = 1000;
    c.polish = 1;
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

/* z = a^-T (d d s / length): what the Newton iteration on the step length needs. */
static double length_slope(const double *a, size_t lead, size_t f, const double *d, const double *s,
                           double length, double *z)
{
    for (size_t j = 0; j < f; j++) {
        double t = d[j] * d[j] * s[j] / length;
        for (size_t k = 0; k < j; k++)
            t -= a[k + j * lead] * z[k];
        z[j] = t / a[j + j * lead];
    }
    return sa_norm(z, f);
}

static double scaled_norm(const double *d, const double *s, size_t f)
{
    double sum = 0.0;
    for (size_t j = 0; j < f; j++)
        sum += d[j] * s[j] * d[j] * s[j];
    return sqrt(sum);
}

/* The minimum along the scaled gradient within the radius: the step where no damping that is
 * tried makes the triangle regular. `g`: work of length f. */
static void gradient_step(const double *a, size_t f, const double *c, const double *d,
                          double radius, double *s, double *g)
{
    double slope = 0.0, quad = 0.0;
    for (size_t j = 0; j < f; j++) {
        g[j] = 0.0;
        for (size_t k = 0; k <= j; k++)
            g[j] += a[k + j * f] * c[k];
        s[j] = -g[j] / (d[j] * d[j]);
        slope -= g[j] * s[j];
    }
    for (size_t k = 0; k < f; k++) {
        double t = 0.0;
        for (size_t j = k; j < f; j++)
            t += a[k + j * f] * s[j];
        quad += t * t;
    }
    double length = scaled_norm(d, s, f), share = length > 0.0 ? radius / length : 0.0;
    if (slope < share * quad)
        share = slope / quad;
    for (size_t j = 0; j < f; j++)
        s[j] = isfinite(share * s[j]) ? share * s[j] : 0.0;
}

/* Step s of length || d s || <= radius (to 10 %) that minimises || a s + c ||, a being
 * f x f upper triangular. `lambda` carries the damping from call to call.
 * Work: 2 f f + 3 f. */
static void damped_step(const double *a, size_t f, const double *c, const double *d, double radius,
                        double *lambda, double *s, double *work)
{
    double *stack = work, *rhs = stack + 2 * f * f, *z = rhs + 2 * f;
    double lower = 0.0, upper = 0.0;

    for (size_t j = 0; j < f; j++)
        rhs[j] = -c[j];
    if (sa_back_substitute(a, f, f, rhs, s)) {
        double length = scaled_norm(d, s, f);
        if (length <= 1.1 * radius) {
            *lambda = 0.0;
            return;
        }
        double slope = length_slope(a, f, f, d, s, length, z);
        lower = (length - radius) / radius / (slope * slope);
        if (!isfinite(lower))
            lower = 0.0;
    }
    for (size_t j = 0; j < f; j++) {
        double g = 0.0;
        for (size_t k = 0; k <= j; k++)
            g += a[k + j * f] * c[k];
        upper += g * g / (d[j] * d[j]);
    }
    upper = sqrt(upper) / radius;
    if (!(upper > 0.0))
        upper = DBL_MIN / fmin(radius, 0.1);
    double l = fmin(fmax(*lambda, lower), upper);
    if (l == 0.0)
        l = fmax(0.001 * upper, sqrt(lower * upper));

    int whole = 0; /* does s hold a step? */
    for (int round = 0; round < DAMPING_ROUNDS; round++) {
        double root = sqrt(l);
        memset(stack, 0, 2 * f * f * sizeof(double));
        for (size_t j = 0; j < f; j++) {
            for (size_t k = 0; k <= j; k++)
                stack[k + j * 2 * f] = a[k + j * f];
            stack[f + j + j * 2 * f] = root * d[j];
            rhs[j] = -c[j];
            rhs[f + j] = 0.0;
        }
        sa_triangularise(stack, 2 * f, f, rhs);
        whole = sa_back_substitute(stack, 2 * f, f, rhs, s);
        if (!whole) {
            lower = fmax(lower, l);
            l = fmax(10.0 * l, 0.001 * upper);
            continue;
        }
        *lambda = l;
        double length = scaled_norm(d, s, f), excess = length - radius;
        if (fabs(excess) <= 0.1 * radius)
            return;
        if (excess > 0.0)
            lower = fmax(lower, l);
        else
            upper = fmin(upper, l);
        double slope = length_slope(stack, 2 * f, f, d, s, length, z);
        double newton = l + excess / radius / (slope * slope);
        if (!(newton >= lower && newton <= upper))
            newton = fmax(0.001 * upper, sqrt(lower * upper));
        l = newton;
    }
    if (!whole)
        gradient_step(a, f, c, d, radius, s, z);
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

/* Median of |x| by quickselect on a scratch copy. */
static double median_abs(const double *x, size_t n, double *scratch)
{
    for (size_t i = 0; i < n; i++)
        scratch[i] = fabs(x[i]);
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

/* What one iteration works on; all arrays are parts of the caller's work space. */
typedef struct {
    size_t p;
    double *tri, *c;           /* p x p triangle R of the Jacobian, and Q'r */
    double *g, *d, *colnorm;   /* gradient, scale, column norms */
    double *step, *trial, *old; /* step, where it leads, where it came from */
    double *a, *fc, *fd, *fs;  /* the same problem in the free parameters */
    double *damp;              /* work of damped_step */
    double radius, lambda;
    int *frozen;               /* as ints in the work space: out of this step */
} workspace;

/* Triangle, gradient and scales from the weighted Jacobian (copy is destroyed). */
static void reduce(workspace *ws, size_t n, double *copy, double *rhs)
{
    const size_t p = ws->p;
    for (size_t j = 0; j < p; j++)
        ws->colnorm[j] = sa_norm(copy + j * n, n);
    sa_triangularise(copy, n, p, rhs);
    for (size_t j = 0; j < p; j++) {
        for (size_t k = 0; k < p; k++)
            ws->tri[k + j * p] = k <= j && k < n ? copy[k + j * n] : 0.0;
        ws->c[j] = j < n ? rhs[j] : 0.0;
        if (ws->colnorm[j] > ws->d[j])
            ws->d[j] = ws->colnorm[j];
    }
    for (size_t j = 0; j < p; j++) {
        double sum = 0.0;
        for (size_t k = 0; k <= j; k++)
            sum += ws->tri[k + j * p] * ws->c[k];
        ws->g[j] = sum;
    }
}

/* Marks the parameters held by a bound; returns the largest cosine between the residual
 * and a column that is free to move. */
static double free_cosine(const workspace *ws, const sa_lsq_problem *pb, const double *par,
                          double rnorm, int *at_bound)
{
    double cosine = 0.0;
    for (size_t j = 0; j < ws->p; j++) {
        at_bound[j] = 0;
        if (pb->held && pb->held[j])
            continue;
        if (pb->lower && par[j] <= pb->lower[j] && ws->g[j] > 0.0)
            at_bound[j] = -1;
        else if (pb->upper && par[j] >= pb->upper[j] && ws->g[j] < 0.0)
            at_bound[j] = 1;
        else if (ws->colnorm[j] > 0.0 && rnorm > 0.0)
            cosine = fmax(cosine, fabs(ws->g[j]) / (ws->colnorm[j] * rnorm));
    }
    return cosine;
}

/* Step of the free parameters inside radius and box. A coordinate that would leave the
 * box stops at its bound, and the others are solved again. */
static void bounded_step(workspace *ws, const sa_lsq_problem *pb, const double *par,
                         const int *at_bound)
{
    const size_t p = ws->p;
    size_t left = 0;
    for (size_t j = 0; j < p; j++) {
        ws->frozen[j] = (pb->held && pb->held[j]) || at_bound[j] || ws->colnorm[j] == 0.0;
        ws->step[j] = 0.0;
        ws->trial[j] = par[j];
        left += !ws->frozen[j];
    }
    while (left > 0) {
        size_t m = 0;
        memcpy(ws->fc, ws->c, p * sizeof(double));
        for (size_t j = 0; j < p; j++) {
            if (ws->frozen[j]) {
                for (size_t k = 0; k <= j; k++)
                    ws->fc[k] += ws->tri[k + j * p] * ws->step[j];
                continue;
            }
            memcpy(ws->a + m * p, ws->tri + j * p, p * sizeof(double));
            ws->fd[m++] = ws->d[j];
        }
        if (m < p) {
            sa_triangularise(ws->a, p, m, ws->fc);
            for (size_t j = 1; j < m; j++)
                memmove(ws->a + j * m, ws->a + j * p, m * sizeof(double));
        }
        damped_step(ws->a, m, ws->fc, ws->fd, ws->radius, &ws->lambda, ws->fs, ws->damp);
        size_t hit = 0;
        m = 0;
        for (size_t j = 0; j < p; j++) {
            if (ws->frozen[j])
                continue;
            double to = par[j] + ws->fs[m++];
            if (pb->lower && to < pb->lower[j]) {
                to = pb->lower[j];
                ws->frozen[j] = 1;
            } else if (pb->upper && to > pb->upper[j]) {
                to = pb->upper[j];
                ws->frozen[j] = 1;
            }
            hit += (size_t)ws->frozen[j];
            ws->step[j] = to - par[j];
            ws->trial[j] = to;
        }
        if (hit == 0)
            return;
        left -= hit;
    }
}

/* Slope and curvature of the linear model along the step: reduction it promises. */
static double promised(const workspace *ws, double *linear)
{
    double quad = 0.0;
    *linear = 0.0;
    for (size_t k = 0; k < ws->p; k++) {
        double t = 0.0;
        *linear += ws->g[k] * ws->step[k];
        for (size_t j = k; j < ws->p; j++)
            t += ws->tri[k + j * ws->p] * ws->step[j];
        quad += t * t;
    }
    return -(*linear + 0.5 * quad);
}

/* New radius and damping after a trial (rules of More 1978). */
static void adapt_radius(workspace *ws, double ratio, double actual, double linear, double length,
                         int finite)
{
    if (ratio <= 0.25) {
        double shrink = 0.5;
        if (!finite)
            shrink = 0.1;
        else if (actual < 0.0)
            shrink = 0.5 * linear / (linear + actual);
        if (!(shrink >= 0.1))
            shrink = 0.1;
        if (shrink > 0.5)
            shrink = 0.5;
        ws->radius = shrink * fmin(ws->radius, length / 0.1);
        ws->lambda /= shrink;
    } else if (ws->lambda == 0.0 || ratio >= 0.75) {
        ws->radius = fmax(ws->radius, 2.0 * length);
        ws->lambda *= 0.5;
    }
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

/* Triangle, gradient, bounds met and cosine at the current point. `scratch`: n p + n. */
static void linearise(const evaluator *ev, workspace *ws, const double *par, const double *resid,
                      const double *jac, int *at_bound, double *scratch)
{
    const size_t n = ev->pb->n, p = ev->pb->p;
    double *copy = scratch, *rhs = copy + n * p;
    memcpy(copy, jac, n * p * sizeof(double));
    memcpy(rhs, resid, n * sizeof(double));
    if (ev->huber_limit > 0.0)
        huber_rows(ev->huber_limit, n, p, resid, rhs, copy);
    double rnorm = sa_norm(rhs, n);
    reduce(ws, n, copy, rhs);
    ev->out->cosine = free_cosine(ws, ev->pb, par, rnorm, at_bound);
}

/* The sum of squares is flat to rounding before the parameters have all their digits: a few
 * undamped steps, kept while they lower the cosine of the gradient without raising the sum.
 * Returns half the objective. */
static double finish(const evaluator *ev, const sa_lsq_control *ctl, workspace *ws, double f,
                     double *par, double *resid, double *jac, int *at_bound, double *scratch)
{
    const size_t p = ev->pb->p;
    linearise(ev, ws, par, resid, jac, at_bound, scratch);
    if (!ctl->polish)
        return f;
    for (int round = 0; round < POLISH_ROUNDS && ev->out->cosine > 1e-14; round++) {
        double before = ev->out->cosine;
        ws->radius = DBL_MAX;
        ws->lambda = 0.0;
        bounded_step(ws, ev->pb, par, at_bound);
        memcpy(ws->old, par, p * sizeof(double));
        memcpy(par, ws->trial, p * sizeof(double));
        double ft = evaluate(ev, par, resid, jac);
        /* where the model fits to many digits, the sum itself is rounded at more than 1e-12 */
        int good = ft >= 0.0 && ft <= f * (1.0 + 1e-9);
        if (good)
            linearise(ev, ws, par, resid, jac, at_bound, scratch);
        if (!good || ev->out->cosine > (ft <= f * (1.0 + 1e-12) ? 0.95 : 0.5) * before) {
            memcpy(par, ws->old, p * sizeof(double));
            evaluate(ev, par, resid, jac);
            linearise(ev, ws, par, resid, jac, at_bound, scratch);
            break;
        }
        f = ft;
    }
    return f;
}

/* One minimisation at a fixed Huber limit. */
static sa_status minimise(evaluator *ev, const sa_lsq_control *ctl, double *par, double *resid,
                          double *jac, int *at_bound, double *work)
{
    const sa_lsq_problem *pb = ev->pb;
    sa_lsq_result *out = ev->out;
    const size_t n = pb->n, p = pb->p;
    double *trial_resid = work + n * p + n; /* behind the scratch of linearise() */
    workspace ws = {.p = p, .radius = 0.0, .lambda = 0.0};
    ws.tri = trial_resid + n;
    ws.a = ws.tri + p * p;
    ws.damp = ws.a + p * p;
    ws.c = ws.damp + 2 * p * p + 3 * p;
    ws.g = ws.c + p;
    ws.d = ws.g + p;
    ws.colnorm = ws.d + p;
    ws.step = ws.colnorm + p;
    ws.trial = ws.step + p;
    ws.fc = ws.trial + p;
    ws.fd = ws.fc + p;
    ws.fs = ws.fd + p;
    ws.old = ws.fs + p;
    ws.frozen = (int *)(void *)(ws.old + p);

    double f = evaluate(ev, par, resid, jac);
    memset(at_bound, 0, p * sizeof(int));
    memset(ws.d, 0, p * sizeof(double));
    out->end = SA_END_START;
    if (f < 0.0)
        return SA_NOT_FINITE;
    const double first = f;
    double mark = f; /* objective some iterations ago, for creeping along a flat valley */
    out->end = SA_END_LIMIT;
    for (int iteration = 0; iteration < ctl->max_iterations; iteration++) {
        if (ctl->poll && ctl->poll(ctl->poll_context)) {
            out->end = SA_END_INTERRUPTED;
            return SA_INTERRUPTED;
        }
        linearise(ev, &ws, par, resid, jac, at_bound, work);
        out->objective = 2.0 * f;
        if (f <= DBL_MIN || f <= first * 1e-30)
            out->end = SA_END_EXACT;
        else if (out->cosine <= ctl->gtol)
            out->end = SA_END_GRADIENT;
        if (out->end == SA_END_EXACT)
            return SA_OK;
        if (out->end == SA_END_GRADIENT) {
            out->objective = 2.0 * finish(ev, ctl, &ws, f, par, resid, jac, at_bound, work);
            return SA_OK;
        }
        if (iteration > 0 && iteration % CREEP_ROUNDS == 0) {
            if (mark - f < ctl->creep * f) {
                out->end = SA_END_FUNCTION;
                out->objective = 2.0 * finish(ev, ctl, &ws, f, par, resid, jac, at_bound, work);
                return SA_OK;
            }
            mark = f;
        }
        double size = scaled_norm(ws.d, par, p);
        if (iteration == 0)
            ws.radius = ctl->first_radius * (size > 0.0 ? size : 1.0);
        out->iterations++;

        for (int accepted = 0; !accepted;) {
            bounded_step(&ws, pb, par, at_bound);
            double linear, predicted = promised(&ws, &linear);
            double length = scaled_norm(ws.d, ws.step, p);
            if (iteration == 0)
                ws.radius = fmin(ws.radius, fmax(length, DBL_MIN));
            double ft = evaluate(ev, ws.trial, trial_resid, NULL);
            double actual = ft < 0.0 ? -f : f - ft;
            double ratio = predicted > 0.0 ? actual / predicted : 0.0;
            adapt_radius(&ws, ratio, actual, linear, length, ft >= 0.0);
            accepted = ft >= 0.0 && actual > 0.0 && ratio >= 1e-4;
            if (ft >= 0.0 && fabs(actual) <= ctl->ftol * f && predicted <= ctl->ftol * f)
                out->end = SA_END_FUNCTION;
            else if (ws.radius <= ctl->xtol * size || ws.radius <= DBL_MIN)
                out->end = SA_END_STEP;
            if (accepted) {
                memcpy(par, ws.trial, p * sizeof(double));
                f = evaluate(ev, par, resid, jac);
                if (f < 0.0) { /* derivatives not finite where the value is */
                    out->end = SA_END_START;
                    return SA_NOT_FINITE;
                }
                size = scaled_norm(ws.d, par, p);
            }
            if (out->end != SA_END_LIMIT) {
                out->objective = 2.0 * finish(ev, ctl, &ws, f, par, resid, jac, at_bound, work);
                return SA_OK;
            }
        }
    }
    out->objective = 2.0 * f;
    return SA_LIMIT;
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
        double scale = 1.4826 * median_abs(resid, problem->n, work);
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
