/* Least squares over many groups with parameters in common.
 *
 * The Jacobian has the shape of an arrow: a group's own columns are zero in all other rows, the common
 * columns are full. Each group is triangularised by itself, its own columns first, so that what is left
 * below says what the group knows of the common parameters alone; these triangles are stacked and
 * triangularised again (Golub and Van Loan, Matrix Computations, 4th ed., section 6.3; Bjoerck 1996,
 * Numerical Methods for Least Squares Problems, section 6.3, block angular problems). A step costs one pass
 * over the rows. Levenberg-Marquardt with rows of damping in the scale of the columns (Marquardt 1963). A
 * parameter that lies on its bound and is pushed outwards is left out of the step. */
#include "shared.h"
#include "linear.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

#define MOST SA_MODEL_MAX_PAR
#define MOST_DAMPING 1e14

typedef struct {
    size_t p, own, common; /* numbers of free parameters */
    size_t own_at[MOST], common_at[MOST];
    double *keep;   /* of each group: own rows of its triangle, own x (own + common + 1) */
    double *trial;  /* p x groups */
    double *value, *jac, *table, *rhs; /* of one group */
} arrow;

static void places(const sa_shared *fit, arrow *a)
{
    a->p = sa_model_parameters(fit->kind).n_par;
    a->own = a->common = 0;
    for (size_t j = 0; j < a->p; j++) {
        if (fit->held[j])
            continue;
        if (fit->common[j])
            a->common_at[a->common++] = j;
        else
            a->own_at[a->own++] = j;
    }
}

static size_t rows_of(const sa_shared *fit, size_t p)
{
    return (fit->largest > p ? fit->largest : p) + p;
}

size_t sa_shared_work(const sa_shared *fit)
{
    arrow a;
    places(fit, &a);
    const size_t rows = rows_of(fit, a.p), each = a.own * (a.own + a.common + 1) + a.p;
    if (rows > SIZE_MAX / 64 / (2 * a.p + 2) || fit->groups > SIZE_MAX / 64 / (each + 1))
        return 0;
    return fit->groups * each + rows * (2 * a.p + 2);
}

static void furnish(const sa_shared *fit, double *work, arrow *a)
{
    const size_t rows = rows_of(fit, a->p);
    a->keep = work;
    a->trial = a->keep + fit->groups * a->own * (a->own + a->common + 1);
    a->value = a->trial + fit->groups * a->p;
    a->rhs = a->value + rows;
    a->jac = a->rhs + rows;
    a->table = a->jac + rows * a->p;
}

/* Hardness of the rows of a group, less the readings, times the roots of the weights, in `value`. */
static int misfit(const sa_shared *fit, const arrow *a, size_t g, const double *par, double *jac,
                  double *sum)
{
    const size_t n = (size_t)fit->size[g], at = (size_t)fit->first[g];
    const sa_clock clock = {.n = n, .coordinate = fit->coordinate + at, .log_time = fit->log_time + at};
    if (sa_model_hardness(fit->kind, &clock, par, a->value, jac))
        return 1;
    for (size_t i = 0; i < n; i++) {
        a->value[i] = (a->value[i] - fit->hardness[at + i]) * fit->root[at + i];
        *sum += a->value[i] * a->value[i];
    }
    return 0;
}

static int all_misfits(const sa_shared *fit, const arrow *a, const double *par, double *sum)
{
    *sum = 0.0;
    for (size_t g = 0; g < fit->groups; g++)
        if (misfit(fit, a, g, par + g * a->p, NULL, sum))
            return 1;
    return !isfinite(*sum);
}

/* Column j of the group's derivatives, weighted, into `to`; zero where a bound stops the parameter. */
static double put_column(const sa_shared *fit, const arrow *a, size_t g, size_t j, double par, int stop,
                         double *to)
{
    const size_t n = (size_t)fit->size[g];
    const double *from = a->jac + j * n, *root = fit->root + (size_t)fit->first[g];
    double slope = 0.0, norm = 0.0;
    for (size_t i = 0; i < n; i++) {
        to[i] = from[i] * root[i];
        slope += to[i] * a->value[i];
        norm += to[i] * to[i];
    }
    if (stop && ((par <= fit->lower[j] && slope > 0.0) || (par >= fit->upper[j] && slope < 0.0))) {
        memset(to, 0, n * sizeof(double));
        return 0.0;
    }
    return norm;
}

static double damping(double norm, double lambda)
{
    return sqrt(lambda * (norm > 0.0 ? norm : 1.0));
}

/* Two blocks of s rows, one above the other, become one triangle with its right side. */
static void keep_triangle(double *both, double *r, size_t s, double *triangle, double *right)
{
    sa_triangularise(both, 2 * s, s, r);
    for (size_t k = 0; k < s; k++) {
        for (size_t i = 0; i < s; i++)
            triangle[k * s + i] = i <= k ? both[k * 2 * s + i] : 0.0;
        right[k] = r[k];
    }
}

/* Triangle of one group: its own rows are kept, the rest goes into the common triangle. */
static int reduce(const sa_shared *fit, const arrow *a, size_t g, const double *par, double lambda,
                  double *triangle, double *right, double *norms, double *sum)
{
    const size_t n = (size_t)fit->size[g], o = a->own, s = a->common;
    if (misfit(fit, a, g, par, a->jac, sum))
        return 1;
    /* as many rows as columns at least, and those of damping */
    const size_t rows = (n > o + s ? n : o + s) + o;
    memset(a->table, 0, rows * (o + s) * sizeof(double));
    memset(a->rhs, 0, rows * sizeof(double));
    for (size_t i = 0; i < n; i++)
        a->rhs[i] = -a->value[i];
    for (size_t k = 0; k < o; k++) {
        const size_t j = a->own_at[k];
        const double norm = put_column(fit, a, g, j, par[j], 1, a->table + k * rows);
        a->table[k * rows + rows - o + k] = damping(norm, lambda);
    }
    for (size_t k = 0; k < s; k++)
        norms[k] += put_column(fit, a, g, a->common_at[k], 0.0, 0, a->table + (o + k) * rows);
    sa_triangularise(a->table, rows, o + s, a->rhs);
    double *keep = a->keep + g * o * (o + s + 1);
    for (size_t k = 0; k < o + s; k++)
        memcpy(keep + k * o, a->table + k * rows, o * sizeof(double));
    memcpy(keep + (o + s) * o, a->rhs, o * sizeof(double));
    /* common triangle on top, that of the group below */
    double both[2 * MOST * MOST], r[2 * MOST];
    for (size_t k = 0; k < s; k++) {
        for (size_t i = 0; i < s; i++) {
            both[k * 2 * s + i] = triangle[k * s + i];
            both[k * 2 * s + s + i] = i <= k ? a->table[(o + k) * rows + o + i] : 0.0;
        }
        r[k] = right[k];
        r[s + k] = a->rhs[o + k];
    }
    keep_triangle(both, r, s, triangle, right);
    return 0;
}

/* All groups at `par`; the rows of damping of the common parameters come last. */
static int reduce_all(const sa_shared *fit, const arrow *a, const double *par, double lambda,
                      double *triangle, double *right, double *sum)
{
    const size_t s = a->common;
    double norms[MOST] = {0.0};
    memset(triangle, 0, s * s * sizeof(double));
    memset(right, 0, s * sizeof(double));
    *sum = 0.0;
    for (size_t g = 0; g < fit->groups; g++) {
        if (reduce(fit, a, g, par + g * a->p, lambda, triangle, right, norms, sum))
            return 1;
        if (fit->poll && g % 64 == 63 && fit->poll(fit->poll_context))
            return -1;
    }
    if (lambda > 0.0) {
        double both[2 * MOST * MOST], r[2 * MOST];
        memset(both, 0, sizeof both);
        memset(r, 0, sizeof r);
        for (size_t k = 0; k < s; k++) {
            memcpy(both + k * 2 * s, triangle + k * s, s * sizeof(double));
            both[k * 2 * s + s + k] = damping(norms[k], lambda);
            r[k] = right[k];
        }
        keep_triangle(both, r, s, triangle, right);
    }
    return 0;
}

static double within(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

/* The step from the triangles, within the bounds, in `trial`; 0 where a triangle is singular. */
static int step(const sa_shared *fit, const arrow *a, const double *par, const double *triangle,
                const double *right)
{
    const size_t o = a->own, s = a->common, p = a->p;
    double common[MOST] = {0.0}, own[MOST], c[MOST];
    if (s > 0 && !sa_back_substitute(triangle, s, s, right, common))
        return 0;
    memcpy(a->trial, par, fit->groups * p * sizeof(double));
    for (size_t g = 0; g < fit->groups; g++) {
        const double *keep = a->keep + g * o * (o + s + 1);
        double *to = a->trial + g * p;
        for (size_t i = 0; i < o; i++) {
            c[i] = keep[(o + s) * o + i];
            for (size_t k = 0; k < s; k++)
                c[i] -= keep[(o + k) * o + i] * common[k];
        }
        if (o > 0 && !sa_back_substitute(keep, o, o, c, own))
            return 0;
        for (size_t k = 0; k < o; k++) {
            const size_t j = a->own_at[k];
            to[j] = within(to[j] + own[k], fit->lower[j], fit->upper[j]);
        }
        for (size_t k = 0; k < s; k++) {
            const size_t j = a->common_at[k];
            to[j] = within(to[j] + common[k], fit->lower[j], fit->upper[j]);
        }
    }
    return 1;
}

sa_status sa_shared_fit(const sa_shared *fit, double *par, double *triangle, double *objective,
                        int *iterations, double *work)
{
    arrow a;
    places(fit, &a);
    furnish(fit, work, &a);
    double right[MOST], now = 0.0, next = 0.0, lambda = 1e-3;
    sa_status status = SA_LIMIT;
    int still = 0;
    *iterations = 0;
    while (*iterations < fit->max_iterations) {
        (*iterations)++;
        const int bad = reduce_all(fit, &a, par, lambda, triangle, right, &now);
        if (bad)
            return bad < 0 ? SA_INTERRUPTED : SA_NOT_FINITE;
        *objective = now;
        const int known = step(fit, &a, par, triangle, right) && !all_misfits(fit, &a, a.trial, &next);
        /* a step that changes the sum by rounding only: three in a row, or one that is hardly damped */
        const int same = known && fabs(now - next) <= fit->ftol * now;
        still = same ? still + 1 : 0;
        const int down = known && next <= now;
        if (down) {
            memcpy(par, a.trial, fit->groups * a.p * sizeof(double));
            *objective = next;
        }
        if ((same && lambda <= 1e-3) || still >= 3 || lambda > MOST_DAMPING) {
            status = SA_OK;
            break;
        }
        lambda = down ? (lambda > 1e-11 ? lambda / 10.0 : lambda) : lambda * 5.0;
    }
    /* hardly damped, so that a column of zeros takes no row of the others */
    if (reduce_all(fit, &a, par, 1e-14, triangle, right, &now))
        return SA_NOT_FINITE;
    *objective = now;
    return status;
}
