/* The step of the solver: least squares of a triangle within a trust region and a box.
 *
 * The step minimises || r + J s || over || D s || <= radius (Levenberg 1944; Marquardt 1963);
 * the damping that meets the radius is found by a safeguarded Newton iteration on the norm
 * of the scaled step, D holds the largest column norms seen (More 1978, The
 * Levenberg-Marquardt algorithm, Lecture Notes in Mathematics 630). J is reduced once to a
 * p x p triangle, so all that follows costs nothing that grows with n. Bounds: a step that
 * leaves the box is shortened in that coordinate and solved again in the others. */
#include "trust_region.h"
#include "linear.h"
#include <float.h>
#include <math.h>
#include <string.h>

#define DAMPING_ROUNDS 12

sa_region sa_region_place(double *memory, size_t p)
{
    sa_region ws = {.p = p, .radius = 0.0, .lambda = 0.0};
    ws.tri = memory;
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
    ws.stay = ws.frozen + p; /* two arrays of int in the room of p doubles */
    memset(ws.stay, 0, p * sizeof(int));
    memset(ws.d, 0, p * sizeof(double));
    return ws;
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

double sa_scaled_norm(const double *d, const double *s, size_t f)
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
    double length = sa_scaled_norm(d, s, f), share = length > 0.0 ? radius / length : 0.0;
    if (slope < share * quad)
        share = slope / quad;
    for (size_t j = 0; j < f; j++)
        s[j] = isfinite(share * s[j]) ? share * s[j] : 0.0;
}

/* Step of damping l; 0 where that does not make the triangle regular. `stack`: 2 f f, `rhs`: 2 f. */
static int solve_damped(const double *a, size_t f, const double *c, const double *d, double l,
                        double *stack, double *rhs, double *s)
{
    const double root = sqrt(l);
    memset(stack, 0, 2 * f * f * sizeof(double));
    for (size_t j = 0; j < f; j++) {
        for (size_t k = 0; k <= j; k++)
            stack[k + j * 2 * f] = a[k + j * f];
        stack[f + j + j * 2 * f] = root * d[j];
        rhs[j] = -c[j];
        rhs[f + j] = 0.0;
    }
    sa_triangularise(stack, 2 * f, f, rhs);
    return sa_back_substitute(stack, 2 * f, f, rhs, s);
}

/* Step s of length || d s || <= radius (to 10 %) that minimises || a s + c ||, a being
 * f x f upper triangular. `lambda` carries the damping from call to call; with a radius of 0 it is
 * the damping itself, and no step is taken where it does not do. Work: 2 f f + 3 f. */
static void damped_step(const double *a, size_t f, const double *c, const double *d, double radius,
                        double *lambda, double *s, double *work)
{
    double *stack = work, *rhs = stack + 2 * f * f, *z = rhs + 2 * f;
    double lower = 0.0, upper = 0.0;

    if (radius <= 0.0) {
        if (!solve_damped(a, f, c, d, *lambda, stack, rhs, s))
            memset(s, 0, f * sizeof(double));
        return;
    }
    for (size_t j = 0; j < f; j++)
        rhs[j] = -c[j];
    if (sa_back_substitute(a, f, f, rhs, s)) {
        double length = sa_scaled_norm(d, s, f);
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
        whole = solve_damped(a, f, c, d, l, stack, rhs, s);
        if (!whole) {
            lower = fmax(lower, l);
            l = fmax(10.0 * l, 0.001 * upper);
            continue;
        }
        *lambda = l;
        double length = sa_scaled_norm(d, s, f), excess = length - radius;
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

/* Triangle, gradient and scales from the weighted Jacobian (copy is destroyed). */
int sa_region_reduce(sa_region *ws, size_t n, double *copy, double *rhs)
{
    const size_t p = ws->p;
    int finite = 1;
    for (size_t j = 0; j < p; j++) {
        ws->colnorm[j] = sa_norm(copy + j * n, n);
        if (ws->colnorm[j] < SA_LEAST_LENGTH)
            ws->colnorm[j] = 0.0;
        finite &= isfinite(ws->colnorm[j]) != 0;
    }
    if (!finite)
        return 0;
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
    return 1;
}

/* Cosine between the residual and a column; where its products would be too small for a number,
 * from vectors of length 1. */
static double column_cosine(const sa_region *ws, size_t j, double rnorm)
{
    const double length = ws->colnorm[j];
    if (length * rnorm > 1e-280)
        return fabs(ws->g[j]) / (length * rnorm);
    double sum = 0.0;
    for (size_t k = 0; k <= j; k++)
        sum += ws->tri[k + j * ws->p] / length * (ws->c[k] / rnorm);
    return fabs(sum);
}

/* Marks the parameters held by a bound; returns the largest cosine between the residual
 * and a column that is free to move. */
double sa_region_cosine(const sa_region *ws, const sa_lsq_problem *pb, const double *par,
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
            cosine = fmax(cosine, column_cosine(ws, j, rnorm));
    }
    return cosine;
}

/* Step of the free parameters inside radius and box. A coordinate that would leave the
 * box stops at its bound, and the others are solved again. */
void sa_region_step(sa_region *ws, const sa_lsq_problem *pb, const double *par,
                         const int *at_bound)
{
    const size_t p = ws->p;
    size_t left = 0;
    for (size_t j = 0; j < p; j++) {
        ws->frozen[j] = (pb->held && pb->held[j]) || at_bound[j] || ws->colnorm[j] == 0.0 ||
                        ws->stay[j];
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
            if (!isfinite(to)) /* beyond the range of numbers: not that way */
                to = par[j];
            hit += (size_t)ws->frozen[j];
            ws->step[j] = to - par[j];
            ws->trial[j] = to;
        }
        if (hit == 0)
            return;
        left -= hit;
    }
}

/* A coordinate with a faint column may run to its bound however small the radius is, and spoil the
 * step of the others. Makes those that did stay where they are; returns how many. */
size_t sa_region_settle(sa_region *ws, const sa_lsq_problem *pb, const double *par)
{
    size_t count = 0;
    for (size_t j = 0; j < ws->p; j++) {
        const int hit = (pb->lower && ws->trial[j] <= pb->lower[j]) ||
                        (pb->upper && ws->trial[j] >= pb->upper[j]);
        if (ws->stay[j] || !hit || ws->trial[j] == par[j])
            continue;
        ws->stay[j] = 1;
        count++;
    }
    return count;
}

/* Slope and curvature of the linear model along the step: reduction it promises. */
double sa_region_promised(const sa_region *ws, double *linear)
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
void sa_region_adapt(sa_region *ws, double ratio, double actual, double linear, double length,
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
