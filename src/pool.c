/* Random effects of several parameters: y_g ~ N(mu, S_g + T), S_g known, T between the groups. Restricted
 * likelihood (van Houwelingen, Arends, Stijnen 2002, Statistics in Medicine 21, 589; Jackson, Riley, White
 * 2011, ibid. 30, 2481) in the Cholesky factor of T, T = L L', so that T cannot leave its domain and
 * may be singular; quasi-Newton steps (BFGS) with the analytic gradient. */
#include "pool.h"
#include "linear.h"
#include <math.h>
#include <string.h>

#define SIDE (SA_POOL_MOST * SA_POOL_MOST)
#define MOST_FREE (SA_POOL_MOST * (SA_POOL_MOST + 1) / 2)
#define ROUNDS 300
#define POLL_GROUPS 16384

size_t sa_pool_work(const sa_pool *f)
{
    return f->groups * (f->p * (f->p + 1) / 2);
}

/* Inverse of the positive matrix `a` (k x k) in place; adds ln of its determinant. 0 where it is none. */
static int invert(double *a, size_t k, double *log_determinant)
{
    if (!sa_cholesky(a, k, 0.0, log_determinant))
        return 0;
    for (size_t j = 0; j < k; j++) { /* inverse of the factor, then its square */
        a[j + j * k] = 1.0 / a[j + j * k];
        for (size_t i = j + 1; i < k; i++) {
            double sum = 0.0;
            for (size_t l = j; l < i; l++)
                sum -= a[i + l * k] * a[l + j * k];
            a[i + j * k] = sum / a[i + i * k];
        }
    }
    for (size_t j = 0; j < k; j++)
        for (size_t i = 0; i <= j; i++) {
            double sum = 0.0;
            for (size_t l = j; l < k; l++)
                sum += a[l + i * k] * a[l + j * k];
            a[i + j * k] = sum;
        }
    for (size_t j = 0; j < k; j++)
        for (size_t i = 0; i < j; i++)
            a[j + i * k] = a[i + j * k];
    return 1;
}

/* Weight (p x p, zero where nothing is told) of group g; how many parameters it tells, or -1. */
static int weigh(const sa_pool *f, size_t g, const double *between, const double *less, double *weight,
                 double *log_determinant)
{
    const size_t p = f->p;
    const double *s = f->cov + g * (p * (p + 1) / 2);
    double v[SIDE];
    size_t at[SA_POOL_MOST], k = 0;
    for (size_t j = 0; j < p; j++)
        if (f->has[j + g * p])
            at[k++] = j;
    for (size_t j = 0; j < k; j++)
        for (size_t i = 0; i < k; i++) {
            const size_t a = at[i] < at[j] ? at[i] : at[j], b = at[i] < at[j] ? at[j] : at[i];
            v[i + j * k] = s[a + b * (b + 1) / 2] + between[a + b * p] - (less ? less[a + b * p] : 0.0);
        }
    if (!invert(v, k, log_determinant))
        return -1;
    memset(weight, 0, p * p * sizeof(double));
    for (size_t j = 0; j < k; j++)
        for (size_t i = 0; i < k; i++)
            weight[at[i] + at[j] * p] = v[i + j * k];
    return (int)k;
}

static void multiply(double *out, const double *a, const double *b, size_t p)
{
    for (size_t j = 0; j < p; j++)
        for (size_t i = 0; i < p; i++) {
            double sum = 0.0;
            for (size_t l = 0; l < p; l++)
                sum += a[i + l * p] * b[l + j * p];
            out[i + j * p] = sum;
        }
}

static int stopped(const sa_pool *f, size_t g)
{
    return g % POLL_GROUPS == POLL_GROUPS - 1 && f->poll && f->poll(f->poll_context);
}

/* ln of the restricted likelihood at the factor (lower triangle by columns), and its gradient. NaN where
 * it has none. */
static double restricted(const sa_pool *f, const double *factor, double *between, double *mean,
                         double *mean_cov, double *gradient, double *packed, int *interrupted)
{
    const size_t p = f->p, triangle = p * (p + 1) / 2;
    double l[SIDE] = {0.0}, sum_y[SA_POOL_MOST] = {0.0}, slope[SIDE] = {0.0}, w[SIDE], t[SIDE], u[SIDE];
    double value = 0.0, log_determinant = 0.0;
    size_t at = 0;
    for (size_t j = 0; j < p; j++)
        for (size_t i = j; i < p; i++)
            l[i + j * p] = factor[at++];
    for (size_t j = 0; j < p; j++)
        for (size_t i = 0; i < p; i++) {
            double sum = 0.0;
            for (size_t k = 0; k <= (i < j ? i : j); k++)
                sum += l[i + k * p] * l[j + k * p];
            between[i + j * p] = sum;
        }
    memset(mean_cov, 0, p * p * sizeof(double));
    for (size_t g = 0; g < f->groups; g++) {
        if (stopped(f, g)) {
            *interrupted = 1;
            return NAN;
        }
        if (weigh(f, g, between, NULL, w, &log_determinant) < 0)
            return NAN;
        double *keep = packed + g * triangle;
        for (size_t j = 0; j < p; j++)
            for (size_t i = 0; i <= j; i++)
                *keep++ = w[i + j * p];
        for (size_t j = 0; j < p; j++)
            for (size_t i = 0; i < p; i++) {
                mean_cov[i + j * p] += w[i + j * p];
                if (f->has[j + g * p])
                    sum_y[i] += w[i + j * p] * f->y[j + g * p];
            }
    }
    value -= 0.5 * log_determinant;
    log_determinant = 0.0;
    if (!invert(mean_cov, p, &log_determinant))
        return NAN;
    value -= 0.5 * log_determinant;
    for (size_t i = 0; i < p; i++) {
        mean[i] = 0.0;
        for (size_t j = 0; j < p; j++)
            mean[i] += mean_cov[i + j * p] * sum_y[j];
    }
    for (size_t g = 0; g < f->groups; g++) {
        const double *kept = packed + g * triangle;
        double r[SA_POOL_MOST], z[SA_POOL_MOST];
        for (size_t j = 0; j < p; j++) {
            r[j] = f->has[j + g * p] ? f->y[j + g * p] - mean[j] : 0.0;
            for (size_t i = 0; i <= j; i++)
                w[i + j * p] = w[j + i * p] = *kept++;
        }
        for (size_t i = 0; i < p; i++) {
            z[i] = 0.0;
            for (size_t j = 0; j < p; j++)
                z[i] += w[i + j * p] * r[j];
            value -= 0.5 * z[i] * r[i];
        }
        multiply(t, w, mean_cov, p);
        multiply(u, t, w, p);
        for (size_t j = 0; j < p; j++)
            for (size_t i = 0; i < p; i++)
                slope[i + j * p] += 0.5 * (z[i] * z[j] - w[i + j * p] + u[i + j * p]);
    }
    multiply(t, slope, l, p); /* d/dL = 2 (d/dT) L */
    at = 0;
    for (size_t j = 0; j < p; j++)
        for (size_t i = j; i < p; i++)
            gradient[at++] = 2.0 * t[i + j * p];
    return value;
}

/* Factor of the diagonal of a start. */
static void begin(const double *between, size_t p, double *factor)
{
    memset(factor, 0, p * (p + 1) / 2 * sizeof(double));
    for (size_t j = 0, at = 0; j < p; at += p - j, j++)
        factor[at] = sqrt(fmax(between[j + j * p], 0.0));
}

sa_status sa_pool_fit(const sa_pool *f, double *mean, double *mean_cov, double *between, double *work,
                      sa_pool_result *result)
{
    const size_t p = f->p, q = p * (p + 1) / 2;
    const double size = (double)f->groups;
    double x[MOST_FREE], g[MOST_FREE], trial[MOST_FREE], g_trial[MOST_FREE], move[MOST_FREE];
    double inverse[MOST_FREE * MOST_FREE], dg[MOST_FREE], hy[MOST_FREE];
    int interrupted = 0;
    begin(between, p, x);
    double value = restricted(f, x, between, mean, mean_cov, g, work, &interrupted);
    result->iterations = result->converged = 0;
    result->criterion = value;
    if (interrupted)
        return SA_INTERRUPTED;
    if (!isfinite(value))
        return SA_SINGULAR;
    memset(inverse, 0, q * q * sizeof(double));
    for (size_t i = 0; i < q; i++)
        inverse[i + i * q] = 1.0 / size;
    for (int round = 0; round < ROUNDS && !result->converged; round++) {
        double slope = 0.0, most = 0.0;
        result->iterations = round + 1;
        for (size_t i = 0; i < q; i++) {
            move[i] = 0.0;
            for (size_t j = 0; j < q; j++)
                move[i] += inverse[i + j * q] * g[j];
            slope += move[i] * g[i];
            most = fmax(most, fabs(g[i]));
        }
        if (most < 1e-9 * size || slope < 1e-12) {
            result->converged = 1;
            break;
        }
        double share = 1.0, next = NAN;
        for (int half = 0; half < 40; half++, share *= 0.5) {
            for (size_t i = 0; i < q; i++)
                trial[i] = x[i] + share * move[i];
            next = restricted(f, trial, between, mean, mean_cov, g_trial, work, &interrupted);
            if (interrupted)
                return SA_INTERRUPTED;
            if (next >= value + 1e-4 * share * slope)
                break;
        }
        if (!(next >= value)) { /* no rise: as good as rounding lets it be */
            result->converged = 1;
            break;
        }
        double ys = 0.0, yhy = 0.0;
        for (size_t i = 0; i < q; i++) {
            dg[i] = g[i] - g_trial[i]; /* of the negative */
            ys += dg[i] * share * move[i];
        }
        for (size_t i = 0; i < q; i++) {
            hy[i] = 0.0;
            for (size_t j = 0; j < q; j++)
                hy[i] += inverse[i + j * q] * dg[j];
            yhy += hy[i] * dg[i];
        }
        if (ys > 1e-14 * fabs(value))
            for (size_t j = 0; j < q; j++)
                for (size_t i = 0; i < q; i++) {
                    const double si = share * move[i], sj = share * move[j];
                    inverse[i + j * q] += (1.0 + yhy / ys) * si * sj / ys - (hy[i] * sj + si * hy[j]) / ys;
                }
        memcpy(x, trial, q * sizeof(double));
        memcpy(g, g_trial, q * sizeof(double));
        value = next;
    }
    value = restricted(f, x, between, mean, mean_cov, g, work, &interrupted);
    result->criterion = value;
    return interrupted ? SA_INTERRUPTED : result->converged ? SA_OK : SA_LIMIT;
}

void sa_pool_groups(const sa_pool *f, const double *mean, const double *mean_cov, const double *between,
                    double *drawn, double *variance, double *distance, int *told)
{
    const size_t p = f->p;
    double w[SIDE], a[SIDE], t[SIDE], u[SIDE], ignored = 0.0;
    for (size_t g = 0; g < f->groups; g++) {
        double r[SA_POOL_MOST];
        told[g] = weigh(f, g, between, NULL, w, &ignored);
        for (size_t j = 0; j < p; j++)
            r[j] = f->has[j + g * p] ? f->y[j + g * p] - mean[j] : 0.0;
        multiply(a, between, w, p); /* T W */
        for (size_t i = 0; i < p; i++) {
            drawn[i + g * p] = mean[i];
            for (size_t j = 0; j < p; j++)
                drawn[i + g * p] += a[i + j * p] * r[j];
        }
        /* T - T W T + (I - T W) C (I - T W)' */
        multiply(t, a, between, p);
        for (size_t i = 0; i < p * p; i++) {
            t[i] = between[i] - t[i];
            a[i] = -a[i];
        }
        for (size_t i = 0; i < p; i++)
            a[i + i * p] += 1.0;
        multiply(u, a, mean_cov, p);
        for (size_t i = 0; i < p; i++) {
            double sum = t[i + i * p];
            for (size_t l = 0; l < p; l++)
                sum += u[i + l * p] * a[i + l * p];
            variance[i + g * p] = sum;
        }
        /* the mean holds the group too: V - C is the variance of the difference */
        distance[g] = NAN;
        if (weigh(f, g, between, mean_cov, w, &ignored) < 0)
            continue;
        distance[g] = 0.0;
        for (size_t j = 0; j < p; j++)
            for (size_t i = 0; i < p; i++)
                distance[g] += r[i] * r[j] * w[i + j * p];
    }
}
