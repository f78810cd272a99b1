/* Monotone cubic interpolation of conversion tables.
 *
 * Slopes after Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246: the mean of the
 * neighbouring secants (the secant itself at both ends), set to zero beside a flat step,
 * and pulled back onto the circle alpha^2 + beta^2 = 9 (their region S2), where alpha and
 * beta are the end slopes of an interval over its secant. That region stays monotone when
 * a slope is lowered again by the next interval, so the curve never overshoots its points.
 *
 * An interval is found in constant time. Where all knots lie on a uniform grid each step of
 * it has its own cubic; otherwise a bucket gives the segment at its left edge and comparisons
 * step over the knots inside it. Assumes ascending knots. */
#include "scale.h"
#include <math.h>

/* More knots or buckets than any table has; keeps all indices within int. */
#define MOST_KNOTS 1000000
/* How far, in steps, a knot may lie off the grid. Decimal fractions are off by some 1e-13;
 * the value changes by the square of it only, because both cubics share value and slope. */
#define GRID_TOLERANCE 1e-9

/* The one definition of the bucket of x: non-decreasing in x, whatever is rounded, which is
 * all that the index needs to be right. By way of int, because a conversion to size_t costs
 * a branch on common processors; sa_curve_build() keeps the count far below INT_MAX. */
static inline size_t bucket_of(double x, double low, double per_unit)
{
    return (size_t)(int)((x - low) * per_unit);
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
    return wanted < (double)most ? (size_t)wanted : most;
}

/* Tables are rounded to decimal or half units, so the grid is the smallest step between two
 * knots divided by a small whole number. */
size_t sa_curve_steps(const double *x, size_t n, size_t most)
{
    double range, least;

    if (n < 2)
        return 0;
    range = x[n - 1] - x[0];
    least = range;
    for (size_t i = 1; i < n; i++) {
        if (x[i] - x[i - 1] < least)
            least = x[i] - x[i - 1];
    }
    for (int divisor = 1; divisor <= 25; divisor++) {
        double steps = round(range / least * divisor);
        size_t on_grid = 0;
        if (!(steps <= (double)most))
            return 0;
        while (on_grid < n) {
            double at = (x[on_grid] - x[0]) / range * steps;
            if (fabs(at - round(at)) > GRID_TOLERANCE)
                break;
            on_grid++;
        }
        if (on_grid == n)
            return (size_t)steps;
    }
    return 0;
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

/* The cubic of segment s written in steps of the grid from `edge`. */
static sa_cell cell_at(const sa_segment *s, double edge, double step)
{
    double t = edge - s->start;
    sa_cell cell;

    cell.value = s->value + t * (s->slope + t * (s->square + t * s->cube));
    cell.slope = (s->slope + t * (2.0 * s->square + t * 3.0 * s->cube)) * step;
    cell.square = (s->square + t * 3.0 * s->cube) * step * step;
    cell.cube = s->cube * step * step * step;
    return cell;
}

static void build_segments(const double *x, const double *y, size_t n, sa_segment *segment)
{
    double last_slope = secant_of(x, y, n - 2);

    segment[0].slope = secant_of(x, y, 0);
    for (size_t i = 1; i + 1 < n; i++)
        segment[i].slope = (secant_of(x, y, i - 1) + secant_of(x, y, i)) / 2.0;
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
}

sa_status sa_curve_build(const double *x, const double *y, size_t n, size_t buckets,
                         size_t steps, sa_segment *segment, int *first, sa_cell *cell,
                         sa_curve *out)
{
    size_t b = 0;

    if (n < 2 || buckets < 1 || n > MOST_KNOTS || buckets > MOST_KNOTS || steps > MOST_KNOTS)
        return SA_BAD_SIZE;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i]) || !isfinite(y[i]))
            return SA_NOT_FINITE;
        if (i > 0 && !(x[i] > x[i - 1]))
            return SA_OUT_OF_RANGE;
    }
    build_segments(x, y, n, segment);
    out->segments = n - 1;
    out->low = x[0];
    out->high = x[n - 1];
    out->buckets_per_unit = (double)buckets / (x[n - 1] - x[0]);
    if (!isfinite(out->buckets_per_unit)) /* knots as good as on one place */
        return SA_OUT_OF_RANGE;
    out->cells_per_unit = (double)steps / (x[n - 1] - x[0]);
    out->segment = segment;
    out->first = first;
    out->cell = steps > 0 ? cell : NULL;

    /* first[b]: the last segment whose start lies in a bucket before b (or segment 0).
     * x = high may fall into bucket `buckets`, or one more where the product rounds up. */
    for (size_t i = 1; i + 1 < n; i++) {
        size_t at = bucket_of(x[i], out->low, out->buckets_per_unit);
        for (; b <= at; b++)
            first[b] = (int)(i - 1);
    }
    for (; b < buckets + 2; b++)
        first[b] = (int)(n - 2);

    if (steps > 0) {
        const double step = (x[n - 1] - x[0]) / (double)steps;
        size_t s = 0;
        for (size_t k = 0; k < steps; k++) {
            double edge = x[0] + (double)k * step;
            while (edge + step / 2.0 > segment[s].next)
                s++;
            cell[k] = cell_at(&segment[s], edge, step);
        }
        /* x = high starts a step of its own, on which only its edge is ever used. */
        cell[steps] = cell_at(&segment[n - 2], x[n - 1], step);
        cell[steps].value = y[n - 1];
    }
    return SA_OK;
}

static inline const sa_segment *find_segment(const sa_curve *curve, double x)
{
    const sa_segment *s =
        curve->segment + curve->first[bucket_of(x, curve->low, curve->buckets_per_unit)];

    while (x >= s->next)
        s++;
    return s;
}

static inline double segment_value(const sa_segment *s, double x)
{
    double t = x - s->start;

    return s->value + t * (s->slope + t * (s->square + t * s->cube));
}

/* What the two loops below do with a number that is not on the curve. */
static inline double off_curve(double x, double outside, sa_scale_counts *counts)
{
    if (isnan(x)) {
        counts->missing++;
        return x;
    }
    counts->outside++;
    return outside;
}

static void cell_values(const sa_curve *curve, const double *restrict x, size_t n,
                        double outside, double *restrict y, sa_scale_counts *counts)
{
    const sa_cell *restrict cell = curve->cell;
    const double low = curve->low;
    const double high = curve->high;
    const double per_unit = curve->cells_per_unit;

    for (size_t i = 0; i < n; i++) {
        double at = x[i];
        if (at >= low && at <= high) {
            double steps = (at - low) * per_unit;
            int k = (int)steps;
            double t = steps - k;
            const sa_cell *c = cell + k;
            y[i] = c->value + t * (c->slope + t * (c->square + t * c->cube));
        } else {
            y[i] = off_curve(at, outside, counts);
        }
    }
}

void sa_curve_values(const sa_curve *curve, const double *x, size_t n, double outside,
                     double *y, sa_scale_counts *counts)
{
    if (curve->cell != NULL) {
        cell_values(curve, x, n, outside, y, counts);
        return;
    }
    for (size_t i = 0; i < n; i++) {
        double at = x[i];
        if (at >= curve->low && at <= curve->high)
            y[i] = segment_value(find_segment(curve, at), at);
        else
            y[i] = off_curve(at, outside, counts);
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
            value = segment_value(s, at);
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
