/* Monotone cubic interpolation of conversion tables.
 *
 * Slopes after Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246: the mean of the
 * neighbouring secants (the secant itself at both ends), set to zero beside a flat step,
 * and pulled back onto the circle alpha^2 + beta^2 = 9 (their region S2), where alpha and
 * beta are the end slopes of an interval over its secant. That region stays monotone when
 * a slope is lowered again by the next interval, so the curve never overshoots its points.
 *
 * An interval is found in constant time: a uniform grid gives the segment at the left of
 * the bucket, one comparison steps over the knot inside it. Assumes ascending knots. */
#include "scale.h"
#include <math.h>

/* The one definition of the bucket of x: non-decreasing in x, whatever is rounded, which is
 * all that the index needs to be right. */
static inline size_t bucket_of(double x, double low, double per_unit)
{
    return (size_t)((x - low) * per_unit);
}

size_t sa_curve_buckets(const double *x, size_t n, size_t most)
{
    double least = INFINITY;
    double wanted;

    if (n < 2)
        return 0;
    for (size_t i = 1; i < n; i++) {
        double step = x[i] - x[i - 1];
        if (!(step > 0.0) || !isfinite(step))
            return 0;
        if (step < least)
            least = step;
    }
    wanted = ceil((x[n - 1] - x[0]) / least) + 1.0;
    if (!(wanted < (double)most))
        return most;
    return (size_t)wanted;
}

/* Lowers the end slopes of one interval until the cubic is monotone on it. */
static void limit_slopes(double secant, double *left, double *right)
{
    double alpha, beta, size;

    if (secant == 0.0) {
        *left = 0.0;
        *right = 0.0;
        return;
    }
    alpha = *left / secant;
    beta = *right / secant;
    /* The secants of a non-monotone table change sign: a local extreme is kept flat. */
    if (alpha < 0.0)
        *left = alpha = 0.0;
    if (beta < 0.0)
        *right = beta = 0.0;
    size = alpha * alpha + beta * beta;
    if (size > 9.0) {
        double tau = 3.0 / sqrt(size);
        *left = tau * alpha * secant;
        *right = tau * beta * secant;
    }
}

static double secant_of(const double *x, const double *y, size_t i)
{
    return (y[i + 1] - y[i]) / (x[i + 1] - x[i]);
}

sa_status sa_curve_build(const double *x, const double *y, size_t n, size_t buckets,
                         sa_segment *segment, int *first, sa_curve *out)
{
    double last_slope;
    size_t b = 0;

    if (n < 2 || buckets < 1 || n > 1000000)
        return SA_BAD_SIZE;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i]) || !isfinite(y[i]))
            return SA_NOT_FINITE;
        if (i > 0 && !(x[i] > x[i - 1]))
            return SA_OUT_OF_RANGE;
    }

    segment[0].slope = secant_of(x, y, 0);
    for (size_t i = 1; i + 1 < n; i++)
        segment[i].slope = (secant_of(x, y, i - 1) + secant_of(x, y, i)) / 2.0;
    last_slope = secant_of(x, y, n - 2);
    for (size_t i = 0; i + 1 < n; i++)
        limit_slopes(secant_of(x, y, i), &segment[i].slope,
                     i + 2 < n ? &segment[i + 1].slope : &last_slope);

    for (size_t i = 0; i + 1 < n; i++) {
        sa_segment *s = &segment[i];
        double step = x[i + 1] - x[i];
        double secant = secant_of(x, y, i);
        double right = i + 2 < n ? segment[i + 1].slope : last_slope;
        s->start = x[i];
        s->next = i + 2 < n ? x[i + 1] : INFINITY;
        s->value = y[i];
        s->square = (3.0 * secant - 2.0 * s->slope - right) / step;
        s->cube = (s->slope + right - 2.0 * secant) / (step * step);
    }

    out->segments = n - 1;
    out->buckets = buckets;
    out->low = x[0];
    out->high = x[n - 1];
    out->per_unit = (double)buckets / (x[n - 1] - x[0]);
    out->segment = segment;
    out->first = first;

    /* first[b]: the last segment whose start lies in a bucket before b (or segment 0).
     * The product above may round up to one bucket past the end for x = high. */
    for (size_t i = 1; i + 1 < n; i++) {
        size_t at = bucket_of(x[i], out->low, out->per_unit);
        for (; b <= at && b <= buckets; b++)
            first[b] = (int)(i - 1);
    }
    for (; b <= buckets; b++)
        first[b] = (int)(n - 2);
    return SA_OK;
}

static inline const sa_segment *find_segment(const sa_curve *curve, double x)
{
    size_t b = bucket_of(x, curve->low, curve->per_unit);
    const sa_segment *s;

    b = b < curve->buckets ? b : curve->buckets;
    s = curve->segment + curve->first[b];
    s += x >= s->next;   /* no branch: whether a knot lies before x is a coin toss */
    while (x >= s->next) /* a further knot in the same bucket is rare */
        s++;
    return s;
}

void sa_curve_values(const sa_curve *curve, const double *x, size_t n, double outside,
                     double *y, sa_scale_counts *counts)
{
    const double low = curve->low;
    const double high = curve->high;

    for (size_t i = 0; i < n; i++) {
        double at = x[i];
        if (at >= low && at <= high) {
            const sa_segment *s = find_segment(curve, at);
            double t = at - s->start;
            y[i] = s->value + t * (s->slope + t * (s->square + t * s->cube));
        } else if (isnan(at)) {
            y[i] = at;
            counts->missing++;
        } else {
            y[i] = outside;
            counts->outside++;
        }
    }
}

sa_status sa_curves_values(const sa_curve *curves, size_t n_curves, const int *code,
                           const double *x, size_t n, double outside, double *y,
                           double *derivative, int *flag, sa_scale_counts *counts)
{
    for (size_t i = 0; i < n; i++) {
        double at = x[i];
        double value = outside;
        double slope = outside;
        sa_element state = SA_EL_OUTSIDE;
        const sa_curve *curve;

        if (code != NULL && (code[i] < 0 || (size_t)code[i] >= n_curves))
            return SA_OUT_OF_RANGE;
        curve = code != NULL ? &curves[code[i]] : curves;
        if (isnan(at)) {
            value = at;
            slope = at;
            state = SA_EL_MISSING;
            counts->missing++;
        } else if (curve->segments == 0 && isfinite(at)) {
            value = at;
            slope = 1.0;
            state = SA_EL_OK;
        } else if (curve->segments > 0 && at >= curve->low && at <= curve->high) {
            const sa_segment *s = find_segment(curve, at);
            double t = at - s->start;
            value = s->value + t * (s->slope + t * (s->square + t * s->cube));
            slope = s->slope + t * (2.0 * s->square + t * 3.0 * s->cube);
            state = SA_EL_OK;
        } else {
            counts->outside++;
        }
        y[i] = value;
        if (derivative != NULL)
            derivative[i] = slope;
        if (flag != NULL)
            flag[i] = (int)state;
    }
    return SA_OK;
}
