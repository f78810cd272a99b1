/* Readings known as a limit only, such as "> 93.5 HRB" at the end of a conversion table. With the curve mu
 * and z = (bound - mu) / sd, "at least" has the likelihood Q(z), the normal tail (Tobin 1958, Econometrica
 * 26, 24). With the hazard h = phi / Q, its derivatives by mu are h / sd and -h (h - z) / sd^2: to second
 * order the limit is a reading of mu + sd / (h - z) with h (h - z) times the weight of a full one. Fits with
 * these readings, repeated until they stand, end at the maximum of the likelihood, and their normal matrix is its
 * observed information. */
#include "censored.h"
#include <math.h>

#define ROOT_HALF 0.70710678118654752440
#define ROOT_TWO_OVER_PI 0.79788456080286535588
#define FAR 30.0      /* the asymptotic series is exact to the last digit from here on */
#define LEAST_SHARE 1e-8 /* a limit that says nothing keeps a place, without influence */

static double hazard(double z)
{
    if (z > FAR)
        return z + 1.0 / z - 2.0 / (z * z * z);
    return ROOT_TWO_OVER_PI * exp(-0.5 * z * z) / erfc(z * ROOT_HALF);
}

void sa_censored_working(size_t n, const int *side, const double *bound, const double *curve, double sd,
                         const double *prior, double *working, double *weight)
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
