/* Monotone cubic through the points of a hardness conversion table, and its
 * evaluation on long vectors. The caller owns all memory; nothing is allocated,
 * printed or kept. Hardness numbers are plain numbers of their scale. */
#ifndef SA_SCALE_H
#define SA_SCALE_H

#include "status.h"
#include <stddef.h>

/* One cubic between two neighbouring knots:
 * value + t (slope + t (square + t cube)), t = x - start, valid for x < next. */
typedef struct {
    double start, next;
    double value, slope, square, cube;
} sa_segment;

/* A curve. `first` maps each of `buckets` + 1 equal steps of [low, high] to a segment
 * that starts at or before it. A curve with no segments is the identity. */
typedef struct {
    size_t segments, buckets;
    double low, high, per_unit;
    const sa_segment *segment;
    const int *first;
} sa_curve;

/* Elements found missing (NaN) and outside the range of their curve (with infinities). */
typedef struct {
    size_t missing, outside;
} sa_scale_counts;

/* Bucket count that leaves at most one knot in a bucket where the knots allow it with no
 * more than `most` buckets. Knots strictly ascending, n >= 2; 0 if they are not. */
size_t sa_curve_buckets(const double *x, size_t n, size_t most);

/* Builds the curve through (x[i], y[i]), i < n. `segment` holds n - 1 and `first`
 * buckets + 1 elements, both written here and used by `out` as long as it lives. */
sa_status sa_curve_build(const double *x, const double *y, size_t n, size_t buckets,
                         sa_segment *segment, int *first, sa_curve *out);

/* y[i] = curve(x[i]); `outside` where x[i] is outside, x[i] itself where it is NaN. */
void sa_curve_values(const sa_curve *curve, const double *x, size_t n, double outside,
                     double *y, sa_scale_counts *counts);

/* The same with a curve for each element: curves[code[i]] (code == NULL: curves[0]), and
 * on request the derivative and the flag of each element (NULL: not wanted). */
sa_status sa_curves_values(const sa_curve *curves, size_t n_curves, const int *code,
                           const double *x, size_t n, double outside, double *y,
                           double *derivative, int *flag, sa_scale_counts *counts);

#endif
