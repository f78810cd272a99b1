/* Readings known as a limit only, such as "> 93.5 HRB" at the end of a conversion table. With the
 * curve mu and z = (bound - mu) / sd, "at least" has the likelihood Q(z), the normal tail (Tobin
 * 1958, Econometrica 26, 24). With the hazard h = phi / Q, its derivatives by mu are h / sd and -h
 * (h - z) / sd^2: to second order the limit is a reading of mu + sd / (h - z) with h (h - z) times
 * the weight of a full one. Fits with these readings, repeated until they stand, end at the maximum
 * of the likelihood, and their normal matrix is its observed information. */
#include "censored.h"
#include <math.h>

#define ROOT_HALF 0.70710678118654752440
#define ROOT_TWO_OVER_PI 0.79788456080286535588
#define FAR 30.0         /* the asymptotic series is exact to the last digit from here on */
#define LEAST_SHARE 1e-8 /* a limit that says nothing keeps a place, without influence */

static double hazard(double z)
{
    if (z > FAR)
        return z + 1.0 / z - 2.0 / (z * z * z);
    return ROOT_TWO_OVER_PI * exp(-0.5 * z * z) / erfc(z * ROOT_HALF);
}

void sa_censored_working(size_t n, const int *side, const double *bound, const double *curve,
                         double sd, const double *prior, double *working, double *weight)
{
    for (size_t i = 0; i < n; i++) {
        const double whole = prior ? prior[i] : 1.0;
        working[i] = bound[i];
        weight[i] = whole;
        if (side[i] == 0 || !(whole > 0.0))
            continue;
        const double own = sd / sqrt(whole), sign = side[i] > 0 ? 1.0 : -1.0;
        const double z = sign * (bound[i] - curve[i]) / own, h = hazard(z);
        const double ahead = h - z; /* positive: the mean of a tail lies beyond its end */
        working[i] = curve[i] + sign * own / ahead;
        weight[i] = whole * fmin(fmax(h * ahead, LEAST_SHARE), 1.0);
    }
}

/* Limits under components of error: expectation propagation (Minka 2001, UAI 17, 362). The step a
 * limit belongs to is normal given all others (the cavity); its readings vary about it by
 * `variance`. The site is the normal reading whose product with the cavity has the mean and
 * variance of the cavity above the limit. At the fixed point the derivative of the likelihood by
 * curve and variances is that of the sites as readings; for one limit alone the site is the reading
 * of sa_censored_working() and all is exact. */
#define MOST_SWEEPS 200
#define STILL 1e-9

/* A step takes in a reading of that precision, or gives one back (negative). */
static void take_in(size_t n, size_t at, double precision, double scaled, double *mean, double *cov)
{
    const double own = cov[at + at * n], below = 1.0 + precision * own;
    const double pull = (scaled - precision * mean[at]) / below, shrink = precision / below;
    for (size_t i = 0; i < n; i++)
        mean[i] += cov[i + at * n] * pull;
    for (size_t j = 0; j < n; j++) {
        if (j == at)
            continue;
        const double by = shrink * cov[at + j * n];
        for (size_t i = 0; i < n; i++)
            if (i != at)
                cov[i + j * n] -= cov[i + at * n] * by;
    }
    for (size_t i = 0; i < n; i++)
        if (i != at)
            cov[i + at * n] = cov[at + i * n] = cov[i + at * n] / below;
    cov[at + at * n] = own / below;
}

/* One limit against its cavity; returns how far its site moved. */
static double renew_site(const sa_limits *l, size_t i, size_t at, size_t n, double *mean,
                         double *cov, double *site, double *site_variance)
{
    const double own = cov[at + at * n],
                 before = site_variance[i] > 0.0 ? 1.0 / site_variance[i] : 0.0;
    const double left = 1.0 - before * own;
    if (!(left > 1e-12)) /* the step is known from this limit alone */
        return 0.0;
    const double cavity = own / left, middle = (mean[at] - before * site[i] * own) / left;
    const double sign = l->side[i] > 0 ? 1.0 : -1.0, whole = sqrt(cavity + l->variance[i]);
    const double z = sign * (l->value[i] - middle) / whole, h = hazard(z), ahead = h - z;
    const double share = fmin(fmax(h * ahead, LEAST_SHARE), 1.0);
    const double now = fmax(whole * whole / share - cavity, l->variance[i]);
    const double to = middle + sign * whole / ahead;
    const double was = mean[at];
    take_in(n, at, 1.0 / now - before, to / now - before * site[i], mean, cov);
    const double moved = fabs(mean[at] - was) / whole + fabs(before * now - 1.0) * share;
    site[i] = to;
    site_variance[i] = now;
    return moved;
}

size_t sa_limits_work(const sa_limits *l)
{
    size_t most = 0;
    for (size_t b = 0; b < l->n_block; b++) {
        const size_t n = (size_t)(l->first[b + 1] - l->first[b]);
        most = n > most ? n : most;
    }
    return most * (most + 1);
}

int sa_limits_sites(const sa_limits *l, double *site, double *site_variance, double *step_mean,
                    double *step_variance, double *work)
{
    int most = 0;
    for (size_t b = 0; b < l->n_block; b++) {
        const size_t from = (size_t)l->first[b], n = (size_t)l->first[b + 1] - from;
        double *mean = work, *cov = work + n;
        double moved = 1.0;
        int sweep = 0;
        for (size_t i = 0; i < l->n; i++)
            if (l->side[i] == 0) {
                site[i] = l->value[i];
                site_variance[i] = l->variance[i];
            }
        for (;; sweep++) {
            for (size_t j = 0; j < n; j++) {
                mean[j] = l->mean[from + j];
                for (size_t i = 0; i < n; i++)
                    cov[i + j * n] = l->covariance[from + i + (from + j) * l->n_step];
            }
            for (size_t i = 0; i < l->n; i++) {
                const size_t step = (size_t)l->step[i];
                if (step >= from && step < from + n && site_variance[i] > 0.0)
                    take_in(n, step - from, 1.0 / site_variance[i], site[i] / site_variance[i],
                            mean, cov);
            }
            if (moved < STILL || sweep == MOST_SWEEPS)
                break;
            moved = 0.0;
            for (size_t i = 0; i < l->n; i++) {
                const size_t step = (size_t)l->step[i];
                if (l->side[i] != 0 && step >= from && step < from + n)
                    moved = fmax(moved,
                                 renew_site(l, i, step - from, n, mean, cov, site, site_variance));
            }
        }
        most = sweep > most ? sweep : most;
        for (size_t j = 0; j < n; j++) {
            step_mean[from + j] = mean[j];
            step_variance[from + j] = cov[j + j * n];
        }
    }
    return most < MOST_SWEEPS;
}
