/* Plain C test of scale.c. Build and run from the top of the package:
 *   cc -std=c99 -Wall -Wextra -Isrc tests/c/test_scale.c src/scale.c -lm -o test_scale
 *   ./test_scale
 * Prints the number of checks; exit status 1 if one failed. */
#include "scale.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define MOST 4096

static int checks, failures;

static void check(int ok, const char *what)
{
    checks++;
    if (!ok) {
        failures++;
        printf("FAILED: %s\n", what);
    }
}

typedef struct {
    sa_segment segment[64];
    sa_cell cell[MOST + 1];
    int first[MOST + 2];
    sa_curve curve;
} room;

static sa_status build(room *r, const double *x, const double *y, size_t n, int grid)
{
    size_t buckets = sa_curve_buckets(x, n, MOST);
    size_t steps = grid ? sa_curve_steps(x, n, MOST) : 0;

    return sa_curve_build(x, y, n, buckets ? buckets : 1, steps, r->segment, r->first, r->cell,
                          &r->curve);
}

/* Both ways of finding the cubic, at many places, on random tables in half units. */
static void test_random_tables(void)
{
    static room on_grid, by_segment;

    srand(1);
    for (int trial = 0; trial < 500; trial++) {
        double x[40], y[40];
        size_t n = 2 + (size_t)(rand() % 38);
        sa_scale_counts counts = {0, 0};
        int good = 1, monotone = 1, inside = 1;
        double before = -INFINITY;

        x[0] = rand() % 50;
        y[0] = rand() % 50;
        for (size_t i = 1; i < n; i++) {
            x[i] = x[i - 1] + 0.5 * (1 + rand() % 8);
            y[i] = y[i - 1] + 0.5 * (rand() % 9);
        }
        check(build(&on_grid, x, y, n, 1) == SA_OK, "builds on a grid");
        check(build(&by_segment, x, y, n, 0) == SA_OK, "builds by segment");
        check(on_grid.curve.cell != NULL && by_segment.curve.cell == NULL, "ways differ");
        for (size_t i = 0; i + 1 < n; i++) {
            for (int k = 0; k <= 16; k++) {
                double at = k < 16 ? x[i] + (x[i + 1] - x[i]) * k / 16.0 : x[i + 1];
                double a, b;
                sa_curve_values(&on_grid.curve, &at, 1, NAN, &a, &counts);
                sa_curve_values(&by_segment.curve, &at, 1, NAN, &b, &counts);
                good = good && fabs(a - b) < 1e-10;
                monotone = monotone && a >= before - 1e-10;
                inside = inside && a >= y[i] - 1e-10 && a <= y[i + 1] + 1e-10;
                before = a;
            }
        }
        check(good, "grid and segments agree");
        check(monotone, "the curve never falls");
        check(inside, "the curve stays between neighbouring points");
        check(counts.missing == 0 && counts.outside == 0, "nothing counted inside");
    }
}

static void test_ends_and_missing(void)
{
    static room r;
    const double x[] = {10, 12.5, 20};
    const double y[] = {60, 62, 70};
    const double at[] = {10, 20, 12.5, 9.999, 20.001, NAN, INFINITY, -INFINITY};
    double value[8], slope[8];
    int flag[8];
    sa_curve curves[2] = {{0}};
    const int code[] = {0, 0, 0, 0, 0, 0, 0, 0};
    const int wrong[] = {2};
    const double huge_reading[] = {1e300, -1e300};
    sa_scale_counts counts = {0, 0};

    check(build(&r, x, y, 3, 1) == SA_OK, "builds");
    curves[0] = r.curve;
    sa_curve_values(&r.curve, at, 8, -1, value, &counts);
    check(value[0] == 60 && fabs(value[1] - 70) < 1e-12 && fabs(value[2] - 62) < 1e-12,
          "passes through the points and both ends");
    check(value[3] == -1 && value[4] == -1 && value[6] == -1 && value[7] == -1, "outside");
    check(isnan(value[5]), "missing stays missing");
    check(counts.missing == 1 && counts.outside == 4, "counts");
    sa_curve_values(&r.curve, huge_reading, 2, -1, value, &counts);
    check(value[0] == -1 && value[1] == -1, "no index from a huge reading");

    counts.missing = counts.outside = 0;
    check(sa_curves_values(curves, 2, code, at, 8, -1, value, slope, flag, &counts) == SA_OK,
          "converts with codes");
    check(flag[0] == SA_EL_OK && flag[3] == SA_EL_OUTSIDE && flag[5] == SA_EL_MISSING, "flags");
    check(sa_curves_values(curves, 2, wrong, at, 1, -1, value, slope, flag, &counts) ==
              SA_OUT_OF_RANGE, "a wrong code is refused");
    check(sa_curves_values(curves + 1, 1, NULL, at, 8, -1, value, NULL, NULL, &counts) == SA_OK &&
              value[3] == at[3] && value[6] == -1, "identity, but not of an infinity");
    sa_curve_values(&r.curve, NULL, 0, -1, NULL, &counts);
    check(sa_curves_values(curves, 1, NULL, NULL, 0, -1, NULL, NULL, NULL, &counts) == SA_OK,
          "no elements");
}

static void test_bad_tables(void)
{
    static room r;
    const double x[] = {1, 2, 3};
    const double same[] = {1, 1, 3};
    const double open[] = {1, 2, INFINITY};
    const double uneven[] = {1, 2, 2 + 1e-9, 3, 3.14159};
    const double y[] = {1, 2, 3, 4, 5};
    sa_scale_counts counts = {0, 0};
    double value, at = 2 + 2e-9;

    check(build(&r, x, y, 1, 1) == SA_BAD_SIZE, "one point is not a curve");
    check(build(&r, same, y, 3, 0) == SA_OUT_OF_RANGE, "knots must ascend");
    check(build(&r, open, y, 3, 0) == SA_NOT_FINITE, "knots must be finite");
    check(sa_curve_buckets(same, 3, MOST) == 0, "no buckets for repeated knots");
    check(sa_curve_steps(uneven, 5, MOST) == 0, "no grid for uneven knots");
    check(sa_curve_steps(x, 1, MOST) == 0, "no grid for one knot");
    check(build(&r, uneven, y, 5, 1) == SA_OK, "two knots in one bucket");
    sa_curve_values(&r.curve, &at, 1, NAN, &value, &counts);
    check(fabs(value - 3) < 1e-6, "finds the segment in a crowded bucket");
}

int main(void)
{
    test_random_tables();
    test_ends_and_missing();
    test_bad_tables();
    printf("%d checks, %d failed\n", checks, failures);
    return failures ? EXIT_FAILURE : EXIT_SUCCESS;
}
