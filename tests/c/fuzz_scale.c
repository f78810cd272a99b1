/* Conversion curves: any knots, any readings. Promised: refused, or monotone knots give values
 * between the ends of the table; every element is counted as inside, outside or missing. */
#include "fuzz.h"
#include "scale.h"

enum { MOST = 24 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    fuzz_bytes b = {data, size};
    const size_t n = fuzz_byte(&b) % (MOST + 1);
    const int sane = (int)(fuzz_byte(&b) % 2U);
    double *x = malloc((n + 1) * sizeof *x), *y = malloc((n + 1) * sizeof *y);
    for (size_t i = 0; i < n; i++) {
        const double dx = sane ? fuzz_in(&b, 1e-3, 20) : fuzz_number(&b, -5, 20);
        const double dy = sane ? fuzz_in(&b, 0, 30) : fuzz_number(&b, -5, 30);
        x[i] = (i ? x[i - 1] : 0) + dx;
        y[i] = (i ? y[i - 1] : 0) + dy;
    }
    if (n >= 2) {
        const size_t buckets = sa_curve_buckets(x, n, 512);
        const size_t steps = buckets > 0 ? sa_curve_steps(x, n, 512) : 0; /* ascending only */
        if (buckets > 0) {
            sa_segment *segment = malloc((n - 1) * sizeof *segment);
            int *first = malloc((buckets + 2) * sizeof *first);
            sa_cell *cell = malloc((steps + 1) * sizeof *cell);
            sa_curve curve;
            const sa_status status =
                sa_curve_build(x, y, n, buckets, steps, segment, first, cell, &curve);
            if (status == SA_OK) {
                double in[40], out[40], slope[40];
                int flag[40];
                size_t m = 0;
                while (m < 40 && b.left > 0) {
                    in[m] = fuzz_number(&b, x[0] - 1, x[n - 1] + 1);
                    m++;
                }
                sa_scale_counts counts = {0, 0};
                must(sa_curves_values(&curve, 1, NULL, in, m, -1.0, out, slope, flag, &counts) ==
                     SA_OK);
                size_t missing = 0, outside = 0;
                for (size_t i = 0; i < m; i++) {
                    missing += flag[i] == SA_EL_MISSING;
                    outside += flag[i] == SA_EL_OUTSIDE;
                    must((flag[i] == SA_EL_MISSING) == (isnan(in[i]) != 0));
                    if (sane && flag[i] == SA_EL_OK) {
                        const double slack = 1e-9 * (1 + fabs(y[n - 1]));
                        must(out[i] >= y[0] - slack && out[i] <= y[n - 1] + slack);
                        must(slope[i] >= -1e-6 * (1 + fabs(y[n - 1])));
                    }
                }
                must(missing == counts.missing && outside == counts.outside);
            }
            free(segment);
            free(first);
            free(cell);
        }
    }
    free(x);
    free(y);
    return 0;
}
