/* Reduced time along any history. Promised: bad points are found; along a good history the
 * reduced time rises from mark to mark and lies between those of its hottest and coldest
 * temperature. */
#include "fuzz.h"
#include "history.h"

enum { MOST = 16, MARKS = 6 };

static int ascending(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    fuzz_bytes b = {data, size};
    const size_t n = 1 + fuzz_byte(&b) % MOST;
    const double q = fuzz_in(&b, 0, 1500), ref_k = fuzz_in(&b, 200, 1500);
    double *time = malloc(n * sizeof *time), *temp = malloc(n * sizeof *temp);
    for (size_t i = 0; i < n; i++) {
        time[i] = (i ? time[i - 1] : 0) + fuzz_number(&b, 0, 4000);
        temp[i] = fuzz_number(&b, -200, 1400);
    }
    const sa_history history = {time, temp, n, SA_ZERO_CELSIUS, NULL, NULL};
    size_t at = 0;
    if (sa_history_check(&history, &at) != SA_HISTORY_FINE) {
        must(at < n);
    } else {
        double mark[MARKS], value[MARKS], slope[MARKS];
        for (size_t i = 0; i < MARKS; i++)
            mark[i] = fmin(time[0] + fuzz_in(&b, 0, 1) * (time[n - 1] - time[0]), time[n - 1]);
        qsort(mark, MARKS, sizeof *mark, ascending);
        sa_history_integrate(&history, q, ref_k, mark, MARKS, value, slope);
        double hot = temp[0], cold = temp[0];
        for (size_t i = 1; i < n; i++) {
            hot = fmax(hot, temp[i]);
            cold = fmin(cold, temp[i]);
        }
        hot += SA_ZERO_CELSIUS;
        cold += SA_ZERO_CELSIUS;
        /* beyond these ends nothing is measured, and exponents leave the double range */
        const int usual = cold > 50 && hot < 5000 && time[n - 1] < 1e9 && time[0] > -1e9;
        for (size_t i = 0; usual && i < MARKS; i++) {
            const double span = log(mark[i] - time[0]);
            if (span < -30) /* no time, or less than any clock tells */
                continue;
            const double top = span - 1000 * q / SA_GAS_CONSTANT * (1 / hot - 1 / ref_k);
            const double low = span - 1000 * q / SA_GAS_CONSTANT * (1 / cold - 1 / ref_k);
            must(!isnan(value[i]));
            must(value[i] <= top + 1e-7 * (1 + fabs(top)) || top < -700);
            /* -Inf also where it is less than e^-700 of what the hottest point gives */
            const int below = log(time[n - 1] - time[0]) - span + top - low > 650;
            must(value[i] >= low - 1e-7 * (1 + fabs(low)) || !isfinite(low) || below);
            /* rising, but for what underflows beside the hottest point of all */
            const double most = log(time[n - 1] - time[0]) - span + top;
            must(i == 0 || !(value[i - 1] > most - 650) ||
                 value[i] >= value[i - 1] - 1e-9 * fabs(value[i - 1]));
        }
    }
    free(time);
    free(temp);
    return 0;
}
