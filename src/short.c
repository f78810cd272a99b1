/* The short way to the fit of a plain model (no processes, no delay) at constant temperature, for millions of groups.
 *
 * Start: the double-logarithmic line of starts.c without its alternatives, levels by linear
 * least squares. Then Levenberg-Marquardt on the normal equations, scaled to a unit diagonal
 * (Marquardt 1963), which on 5 parameters cost a fraction of an orthogonal reduction. The
 * stationary point does not depend on how a step is solved, so the estimates are those of
 * least_squares.c; where the smallest pivot says that the squared condition number would cost
 * digits, or anything else is unusual, this file declines and the full search takes over. */
#include "softening.h"
#include <math.h>
#include <string.h>

#define P 5
#define MOST_ITERATIONS 30
#define LEAST_PIVOT 1e-7
#define EXACT 1e-24
#define LEAST_SQUARE 1e-300 /* of a column; the square of SA_LEAST_LENGTH */

typedef struct {
    double f, gram[P * (P + 1) / 2], grad[P]; /* gram by rows of the lower triangle */
} normal_equations;

/* Rows of derivatives and the normal equations at one point. */
static void evaluate(const sa_softening *s, const double *weight, const double *par, double *rows,
                     normal_equations *ne)
{
    const double worked = par[SA_P_WORKED], soft = par[SA_P_SOFT], drop = soft - worked;
    const double n = par[SA_P_N], q = par[SA_P_Q];
    const sa_shape shape = sa_models[sa_model_core(s->kind)].shape;
    double a[P * (P + 1) / 2] = {0.0}, g[P] = {0.0}, f = 0.0;
    for (size_t i = 0; i < s->clock.n; i++) {
        double *x = rows + P * i, sy = 0.0, v = 0.0;
        double share = 1.0;
        const double e = s->clock.coordinate[i], w = weight[i];
        if (s->clock.log_time[i] > -HUGE_VAL) {
            v = par[SA_P_LN_K] + s->clock.log_time[i] + q * e;
            share = sa_shape_share(shape, exp(n * v), &sy);
        }
        x[0] = share;
        x[1] = 1.0 - share;
        x[2] = drop * sy * n;
        x[3] = drop * sy * v;
        x[4] = x[2] * e;
        const double r = soft - drop * share - s->hardness[i];
        f += w * r * r;
        const double w0 = w * x[0], w1 = w * x[1], w2 = w * x[2], w3 = w * x[3], w4 = w * x[4];
        g[0] += w0 * r;
        g[1] += w1 * r;
        g[2] += w2 * r;
        g[3] += w3 * r;
        g[4] += w4 * r;
        a[0] += w0 * x[0];
        a[1] += w1 * x[0];
        a[2] += w1 * x[1];
        a[3] += w2 * x[0];
        a[4] += w2 * x[1];
        a[5] += w2 * x[2];
        a[6] += w3 * x[0];
        a[7] += w3 * x[1];
        a[8] += w3 * x[2];
        a[9] += w3 * x[3];
        a[10] += w4 * x[0];
        a[11] += w4 * x[1];
        a[12] += w4 * x[2];
        a[13] += w4 * x[3];
        a[14] += w4 * x[4];
    }
    ne->f = f;
    memcpy(ne->gram, a, sizeof a);
    memcpy(ne->grad, g, sizeof g);
}

/* Cholesky factor of the scaled matrix plus lambda; the least pivot, or 0. Held parameters and
 * columns of zeros count as rows of the unit matrix. */
static double factor(const normal_equations *ne, const int *held, double lambda, double *scale,
                     double l[P][P])
{
    double least = 1.0;
    for (int j = 0, diagonal = 0; j < P; diagonal += ++j + 1) {
        const double d = ne->gram[diagonal];
        scale[j] = held[j] || !(d > LEAST_SQUARE) ? 0.0 : 1.0 / sqrt(d);
        if (!held[j] && !(d > LEAST_SQUARE))
            return 0.0;
    }
    for (int j = 0, at = 0; j < P; j++) {
        for (int k = 0; k <= j; k++) {
            double t = j == k ? 1.0 + lambda : ne->gram[at] * scale[j] * scale[k];
            at++;
            for (int i = 0; i < k; i++)
                t -= l[j][i] * l[k][i];
            if (k < j) {
                l[j][k] = t * l[k][k]; /* the diagonal is stored inverted */
            } else {
                if (!(t > 1e-14))
                    return 0.0;
                if (t < least)
                    least = t;
                l[j][j] = 1.0 / sqrt(t);
            }
        }
    }
    return least;
}

/* Step -(A + lambda D)^-1 g; returns the fall of f it promises, to first order in lambda. */
static double solve(const normal_equations *ne, const double *scale, double l[P][P], double *step)
{
    double fall = 0.0;
    for (int j = 0; j < P; j++) {
        double t = -ne->grad[j] * scale[j];
        for (int k = 0; k < j; k++)
            t -= l[j][k] * step[k];
        step[j] = t * l[j][j];
        fall += step[j] * step[j];
    }
    for (int j = P; j-- > 0;) {
        double t = step[j];
        for (int k = j + 1; k < P; k++)
            t -= l[k][j] * step[k];
        step[j] = t * l[j][j];
    }
    for (int j = 0; j < P; j++)
        step[j] *= scale[j];
    return fall;
}

static void invert(const double *scale, double l[P][P], double *cov)
{
    double inv[P][P] = {{0.0}};
    for (int k = 0; k < P; k++) {
        inv[k][k] = l[k][k];
        for (int j = k + 1; j < P; j++) {
            double t = 0.0;
            for (int i = k; i < j; i++)
                t -= l[j][i] * inv[i][k];
            inv[j][k] = t * l[j][j];
        }
    }
    for (int j = 0; j < P; j++) {
        for (int k = 0; k <= j; k++) {
            double t = 0.0;
            for (int i = j; i < P; i++)
                t += inv[i][j] * inv[i][k];
            cov[j + k * P] = cov[k + j * P] = t * scale[j] * scale[k];
        }
    }
}

static double clamp(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

/* Rates from the straight line z = n ln k + n ln t + n Q e, see starts.c; z and its weight are
 * left in `z`, 2 m. Returns 0 where there is no line. */
static int line_start(const sa_softening *s, const double *weight, double *par, double *z)
{
    const size_t m = s->clock.n;
    const int *held = s->held;
    const sa_shape shape = sa_models[sa_model_core(s->kind)].shape;
    double top = -HUGE_VAL, bottom = HUGE_VAL, *zw = z + m;
    for (size_t i = 0; i < m; i++) {
        top = s->hardness[i] > top ? s->hardness[i] : top;
        bottom = s->hardness[i] < bottom ? s->hardness[i] : bottom;
    }
    if (!(top > bottom))
        return 0;
    /* centred sums: weight, ln t, e, z */
    double sw = 0.0, mt = 0.0, me = 0.0, mz = 0.0;
    for (size_t i = 0; i < m; i++) {
        zw[i] = 0.0;
        if (!(s->clock.log_time[i] > -HUGE_VAL))
            continue;
        const double x = clamp((top - s->hardness[i]) / (top - bottom), 0.01, 0.99);
        zw[i] = x * (1.0 - x) * x * (1.0 - x) * weight[i];
        z[i] = sa_shape_line(shape, x);
        sw += zw[i];
        mt += zw[i] * s->clock.log_time[i];
        me += zw[i] * s->clock.coordinate[i];
        mz += zw[i] * z[i];
    }
    if (!(sw > 0.0))
        return 0;
    mt /= sw;
    me /= sw;
    mz /= sw;
    double tt = 0.0, te = 0.0, ee = 0.0, tz = 0.0, ez = 0.0;
    for (size_t i = 0; i < m; i++) {
        if (zw[i] == 0.0)
            continue;
        const double t = s->clock.log_time[i] - mt, e = s->clock.coordinate[i] - me;
        tt += zw[i] * t * t;
        te += zw[i] * t * e;
        ee += zw[i] * e * e;
        tz += zw[i] * t * (z[i] - mz);
        ez += zw[i] * e * (z[i] - mz);
    }
    double n = 1.5, q = 200.0;
    const double det = tt * ee - te * te;
    if (held[SA_P_Q]) {
        if (tt > 0.0)
            n = (tz - 0.0) / tt;
        q = par[SA_P_Q];
    } else if (det > 1e-12 * tt * ee) {
        n = (tz * ee - ez * te) / det;
        if (n > 0.0)
            q = (ez * tt - tz * te) / det / n;
    }
    if (!(n > 0.0))
        n = 1.5;
    if (!held[SA_P_N])
        par[SA_P_N] = clamp(n, 0.4, 5.0);
    if (!held[SA_P_Q])
        par[SA_P_Q] = clamp(q, 20.0, 900.0);
    if (!held[SA_P_LN_K])
        par[SA_P_LN_K] = mz / par[SA_P_N] - mt - par[SA_P_Q] * me;
    if (!held[SA_P_WORKED])
        par[SA_P_WORKED] = top;
    if (!held[SA_P_SOFT])
        par[SA_P_SOFT] = bottom;
    return 1;
}

/* The two levels, in which the model is linear, for given rates. */
static void level_start(const sa_softening *s, const double *weight, double *par)
{
    double aa = 0.0, ab = 0.0, bb = 0.0, ay = 0.0, by = 0.0;
    const sa_shape shape = sa_models[sa_model_core(s->kind)].shape;
    if (s->held[SA_P_WORKED] || s->held[SA_P_SOFT])
        return;
    for (size_t i = 0; i < s->clock.n; i++) {
        double sy, a = 1.0;
        if (s->clock.log_time[i] > -HUGE_VAL)
            a = sa_shape_share(shape, exp(par[SA_P_N] * (par[SA_P_LN_K] + s->clock.log_time[i] +
                                                         par[SA_P_Q] * s->clock.coordinate[i])),
                               &sy);
        const double b = 1.0 - a, w = weight[i];
        aa += w * a * a;
        ab += w * a * b;
        bb += w * b * b;
        ay += w * a * s->hardness[i];
        by += w * b * s->hardness[i];
    }
    const double det = aa * bb - ab * ab;
    if (!(det > 1e-8 * aa * bb))
        return;
    const double worked = (ay * bb - by * ab) / det, soft = (by * aa - ay * ab) / det;
    if (worked > soft && soft > 0.0) {
        par[SA_P_WORKED] = worked;
        par[SA_P_SOFT] = soft;
    }
}

static int inside(const sa_softening *s, const double *par)
{
    for (int j = 0; j < P; j++)
        if (!s->held[j] && !(par[j] > s->lower[j] && par[j] < s->upper[j]))
            return 0;
    return 1;
}

int sa_short_fit(const sa_softening *s, const double *weight, int use_start, double angle,
                 double *par, double *rows, double *cov, double *objective, int *iterations,
                 int *evaluations)
{
    const size_t m = s->clock.n;
    double *now = rows, *next = rows + P * m, size = 0.0;
    double l[P][P], scale[P], step[P], trial[P], lambda = 1e-4;
    normal_equations at, to;
    if (!use_start) {
        if (!line_start(s, weight, par, rows))
            return 0;
        level_start(s, weight, par);
    }
    if (!inside(s, par))
        return 0;
    for (size_t i = 0; i < m; i++)
        size += weight[i] * s->hardness[i] * s->hardness[i];
    evaluate(s, weight, par, now, &at);
    *evaluations = 1;
    for (*iterations = 0; *iterations < MOST_ITERATIONS; ++*iterations) {
        if (!isfinite(at.f) || !(factor(&at, s->held, lambda, scale, l) > 0.0))
            return 0;
        const double fall = solve(&at, scale, l, step);
        if (fall <= angle * at.f || at.f <= EXACT * size) {
            if (cov && !(factor(&at, s->held, 0.0, scale, l) > LEAST_PIVOT))
                return 0;
            if (cov)
                invert(scale, l, cov);
            if (now != rows)
                memcpy(rows, now, P * m * sizeof(double));
            *objective = at.f;
            return par[SA_P_WORKED] > par[SA_P_SOFT];
        }
        for (int j = 0; j < P; j++)
            trial[j] = par[j] + step[j];
        int good = inside(s, trial);
        if (good) {
            evaluate(s, weight, trial, next, &to);
            ++*evaluations;
            good = to.f <= at.f * (1.0 + 1e-13);
        }
        if (!good) {
            lambda = fmax(10.0 * lambda, 1e-3);
            continue;
        }
        lambda *= at.f - to.f > 0.75 * fall ? 0.02 : at.f - to.f > 0.25 * fall ? 0.5 : 4.0;
        if (lambda < 1e-10)
            lambda = 0.0;
        memcpy(par, trial, sizeof trial);
        double *swap = now;
        now = next;
        next = swap;
        at = to;
    }
    return 0;
}

/* Where the others go to first order when `which` moves by `by`: the conditional step of the
 * normal equations. */
static void follow_others(const normal_equations *at, const int *held, int which, double by,
                          double *par)
{
    double l[P][P], scale[P], step[P];
    normal_equations pull = *at;
    for (int j = 0; j < P; j++) {
        const int a = j > which ? j : which, b = j > which ? which : j;
        pull.grad[j] = at->gram[a * (a + 1) / 2 + b] * by;
    }
    if (!(factor(&pull, held, 1e-12, scale, l) > 0.0))
        return;
    solve(&pull, scale, l, step);
    for (int j = 0; j < P; j++)
        if (!held[j])
            par[j] += step[j];
}

int sa_short_profile(const sa_softening *s, const double *weight, const int *held, size_t which,
                     double value, double angle, double *par, double *rows, double *objective)
{
    double stay[P], moved[P], least = HUGE_VAL;
    int iterations, evaluations, fixed[P];
    normal_equations here, there;
    sa_softening copy = *s;
    memcpy(fixed, held, sizeof fixed);
    fixed[which] = 1;
    copy.held = fixed;
    memcpy(stay, par, sizeof stay);
    memcpy(moved, par, sizeof moved);
    evaluate(&copy, weight, par, rows, &here);
    follow_others(&here, fixed, (int)which, value - par[which], moved);
    stay[which] = moved[which] = value;
    if (inside(&copy, moved)) {
        evaluate(&copy, weight, moved, rows, &there);
        least = isfinite(there.f) ? there.f : HUGE_VAL;
    }
    evaluate(&copy, weight, stay, rows, &here);
    if (!(here.f < least))
        memcpy(stay, moved, sizeof stay);
    if (!sa_short_fit(&copy, weight, 1, angle, stay, rows, NULL, objective, &iterations,
                      &evaluations))
        return 0;
    memcpy(par, stay, sizeof stay);
    return 1;
}

/* One side of a profile, in steps that double; 0 when it cannot be said so simply. */
static int closes(const sa_softening *s, const double *weight, const double *minimum, size_t which,
                  double half, double ceiling, double *rows)
{
    double par[P], sum, step = half;
    memcpy(par, minimum, sizeof par);
    for (int k = 0; k < 6; k++, step *= 2.0) {
        const double value = par[which] + step;
        if (!(value > s->lower[which] && value < s->upper[which]) ||
            !sa_short_profile(s, weight, s->held, which, value, 1e-8, par, rows, &sum))
            return 0;
        if (sum >= ceiling)
            return 1;
    }
    return 0;
}

int sa_short_closed(const sa_softening *s, const double *weight, const double *par, size_t which,
                    double half, double ceiling, double *rows)
{
    return isfinite(half) && half > 0.0 &&
           closes(s, weight, par, which, 1.5 * half, ceiling, rows) &&
           closes(s, weight, par, which, -1.5 * half, ceiling, rows);
}
