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

/* The same cubic on one step of a uniform grid, t in steps from its left edge. */
typedef struct {
    double value, slope, square, cube;
} sa_cell;

/* A curve. `first` maps equal buckets of [low, high] to a segment that starts at or before
 * them. `cell` is NULL unless all knots lie on a uniform grid, which most tables do: then
 * one multiplication finds the cubic. A curve with no segments is the identity. */
typedef struct {
    size_t segments;
    double low, high;
    double buckets_per_unit, cells_per_unit;
    const sa_segment *segment;
    const sa_cell *cell;
    const int *first;
} sa_curve;

/* Elements found missing (NaN) and outside the range of their curve (with infinities). */
typedef struct {
    size_t missing, outside;
} sa_scale_counts;

/* Number of buckets for n >= 2 knots, at most `most`: about one to the smallest step between
 * knots. 0 if the knots do not ascend. */
size_t sa_curve_buckets(const double *x, size_t n, size_t most);

/* Number of equal steps (at most `most`) such that every knot lies on one of their edges, up
 * to rounding; 0 if there is none. Knots ascending, n >= 2. */
size_t sa_curve_steps(const double *x, size_t n, size_t most);

/* Builds the curve through (x[i], y[i]), i < n. `segment` holds n - 1, `first` buckets + 2
 * and `cell` steps + 1 elements (steps == 0: none), written here and used by `out` as long
 * as it lives. */
sa_status sa_curve_build(const double *x, const double *y, size_t n, size_t buckets,
                         size_t steps, sa_segment *segment, int *first, sa_cell *cell,
                         sa_curve *out);

/* y[i] = curve(x[i]); `outside` where x[i] is outside, x[i] itself where it is NaN. */
void sa_curve_values(const sa_curve *curve, const double *x, size_t n, double outside,
                     double *y, sa_scale_counts *counts);

/* The same with a curve for each element: curves[code[i]] (code == NULL: curves[0]), and
 * on request the derivative and the flag of each element (NULL: not wanted). */
sa_status sa_curves_values(const sa_curve *curves, size_t n_curves, const int *code,
                           const double *x, size_t n, double outside, double *y,
                           double *derivative, int *flag, sa_scale_counts *counts);

#endif
