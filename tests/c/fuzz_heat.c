/* A piece among any surroundings. Promised: what cannot be is refused; a run that is ok has
 * finite temperatures at every output time up to its end, within the range of the start and the
 * surroundings where the specific heat stays positive, and NAN beyond it; the time to the band
 * lies within the run. */
#include "fuzz.h"
#include "heat.h"

enum { MOST_KNOTS = 5, MOST_OUT = 6 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    fuzz_bytes b = {data, size};
    sa_piece p;
    p.area_a = fuzz_number(&b, 10, 4000);
    p.area_b = fuzz_number(&b, 10, 4000);
    p.h_a = fuzz_number(&b, 0, 500);
    p.h_b = fuzz_number(&b, 0, 500);
    p.emissivity_a = fuzz_number(&b, 0, 1);
    p.emissivity_b = fuzz_number(&b, 0, 1);
    p.density = fuzz_number(&b, 1000, 20000);
    p.heat = fuzz_number(&b, 100, 900);
    p.heat_slope = fuzz_number(&b, -0.05, 0.5);
    p.heat_k = fuzz_number(&b, 200, 500);
    const size_t knots = fuzz_byte(&b) % (MOST_KNOTS + 1);
    double time[MOST_KNOTS], temp_a[MOST_KNOTS], temp_b[MOST_KNOTS], out[MOST_OUT], temp[MOST_OUT];
    for (size_t i = 0; i < knots; i++) {
        time[i] = (i ? time[i - 1] : 0) + fuzz_number(&b, 0, 400);
        temp_a[i] = fuzz_number(&b, 200, 1200);
        temp_b[i] = fuzz_number(&b, 200, 1200);
    }
    const size_t outs = fuzz_byte(&b) % (MOST_OUT + 1);
    for (size_t i = 0; i < outs; i++)
        out[i] = (i ? out[i - 1] : 0) + fuzz_in(&b, 0, 300);
    const sa_surroundings around = {time, temp_a, temp_b, knots};
    const sa_heat_request request = {.start = fuzz_number(&b, 200, 1200),
                                     .end = fuzz_byte(&b) < 64 ? INFINITY : fuzz_number(&b, 0, 2000),
                                     .target = fuzz_number(&b, 200, 1200),
                                     .within = fuzz_number(&b, 0, 20),
                                     .out_time = out,
                                     .out_count = outs};
    sa_heat_answer answer = {temp, 0, 0, 0};
    const sa_status status = sa_heat_run(&p, &around, &request, &answer);
    must(status == SA_OK || status == SA_BAD_SIZE || status == SA_OUT_OF_RANGE ||
         status == SA_NOT_FINITE || status == SA_LIMIT);
    must((status == SA_BAD_SIZE) == (knots == 0));
    if (status != SA_OK)
        return 0;
    must(isfinite(answer.end_temp) && answer.end_time >= 0);
    must(isnan(answer.time_within) ||
         (answer.time_within >= 0 && answer.time_within <= answer.end_time * (1 + 1e-12)));
    double low = request.start, high = request.start;
    for (size_t i = 0; i < knots; i++) {
        low = fmin(low, fmin(temp_a[i], temp_b[i]));
        high = fmax(high, fmax(temp_a[i], temp_b[i]));
    }
    const int usual = low > 0 && high < 1e5 && p.heat + p.heat_slope * (low - p.heat_k) > 0 &&
                      p.heat + p.heat_slope * (high - p.heat_k) > 0;
    low *= 1 - 1e-6;
    high *= 1 + 1e-6;
    if (usual)
        must(answer.end_temp >= low && answer.end_temp <= high);
    for (size_t i = 0; i < outs; i++) {
        must(out[i] > answer.end_time || isfinite(temp[i]));
        if (usual && out[i] <= answer.end_time)
            must(temp[i] >= low && temp[i] <= high);
    }
    return 0;
}
