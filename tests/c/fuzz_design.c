/* The planner on any candidates, draws and limits. Promised: sizes that cannot be are refused;
 * the search ends; it never makes a plan worse or breaks a limit; the value it returns is that
 * of the plan it returns, and no value is NaN. */
#include "fuzz.h"
#include "design.h"

enum { MOST_TEMPS = 4, MOST_TIMES = 6, MOST_DRAWS = 3, MOST_PIECES = 3, MOST_AIMS = 2 };

static const sa_model_kind kinds[] = {
    SA_JMAK, SA_JMAK_INCUBATION, SA_RECOVERY_JMAK, SA_RECOVERY_JMAK_INCUBATION, SA_HARDENING_JMAK,
    SA_HARDENING_RECOVERY_JMAK, SA_JMAK + SA_WITH_GROWTH, SA_RECOVERY_JMAK + 2 * SA_WITH_GROWTH};

static double parameter(fuzz_bytes *b, const sa_model_layout *at, size_t j)
{
    const sa_role role = sa_model_term(at, j)->role;
    if (role == SA_LEVEL)
        return j == SA_P_WORKED ? fuzz_number(b, 100, 300) : fuzz_number(b, 20, 150);
    if (role == SA_LN_RATE)
        return fuzz_number(b, -12, 6);
    return role == SA_ENERGY ? fuzz_number(b, 0, 500) : fuzz_number(b, 0, 8);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    fuzz_bytes b = {data, size};
    double draws[MOST_DRAWS * SA_MODEL_MAX_PAR], floors[SA_MODEL_MAX_PAR];
    double coordinate[MOST_TEMPS], heat_up[MOST_TEMPS], minutes[MOST_TIMES], log_time[MOST_TIMES];
    double aims[MOST_AIMS];
    int estimated[SA_MODEL_MAX_PAR], temp[MOST_PIECES], counted[MOST_DRAWS];
    unsigned char read[MOST_PIECES * MOST_TIMES];
    sa_design d = {.kind = kinds[fuzz_byte(&b) % (sizeof kinds / sizeof *kinds)]};
    const sa_model_layout at = sa_model_parameters(d.kind);
    d.n_draw = fuzz_byte(&b) % (MOST_DRAWS + 1);
    d.n_temp = fuzz_byte(&b) % (MOST_TEMPS + 1);
    d.n_time = fuzz_byte(&b) % (MOST_TIMES + 1);
    for (size_t r = 0; r < d.n_draw; r++)
        for (size_t j = 0; j < at.n_par; j++)
            draws[r * at.n_par + j] = parameter(&b, &at, j);
    for (size_t j = 0; j < at.n_par; j++) {
        estimated[j] = fuzz_byte(&b) >= 40;
        floors[j] = fuzz_in(&b, 1e-8, 1e-2);
    }
    for (size_t i = 0; i < d.n_temp; i++) {
        coordinate[i] = fuzz_number(&b, -0.1, 0.1);
        heat_up[i] = fuzz_in(&b, 0, 20);
    }
    for (size_t i = 0; i < d.n_time; i++) {
        minutes[i] = (i ? minutes[i - 1] : 0) + fuzz_in(&b, 0.01, 200);
        log_time[i] = log(minutes[i]);
    }
    d.draws = draws;
    d.estimated = estimated;
    d.floor = floors;
    d.coordinate = coordinate;
    d.log_time = log_time;
    d.minutes = minutes;
    d.heat_up = heat_up;
    d.weight = fuzz_in(&b, 0.01, 5);
    d.at_start = fuzz_in(&b, 0, 3);
    d.aim = (sa_design_aim)(fuzz_byte(&b) % 4U);
    d.n_aim = d.aim >= SA_AIM_LN_TIME_SHARE ? 1 + fuzz_byte(&b) % MOST_AIMS : 0;
    d.aim_coordinate = aims;
    for (size_t i = 0; i < d.n_aim; i++)
        aims[i] = fuzz_number(&b, -0.1, 0.1);
    d.target = d.aim == SA_AIM_LN_TIME_HARDNESS ? fuzz_number(&b, 20, 300) : fuzz_number(&b, 0, 1);
    d.max_steps = 1 + fuzz_byte(&b) % MOST_TIMES;
    d.furnace_minutes = fuzz_number(&b, 0, 3000);
    sa_design_plan plan = {fuzz_byte(&b) % (MOST_PIECES + 1), temp, read};
    for (size_t q = 0; q < plan.n_piece; q++) {
        temp[q] = (int)(fuzz_byte(&b) % (unsigned)(d.n_temp ? d.n_temp : 1));
        for (size_t i = 0; i < d.n_time; i++)
            read[q * d.n_time + i] = fuzz_byte(&b) < 64;
    }

    const size_t table_size = sa_design_table_size(&d);
    if (d.n_draw == 0 || d.n_temp == 0 || d.n_time == 0)
        must(table_size == 0);
    if (table_size == 0)
        return 0;
    double *table = malloc(table_size * sizeof *table);
    double *work = malloc(sa_design_work_size(&d) * sizeof *work);
    size_t n_counted = 0;
    if (sa_design_prepare(&d, table, counted, &n_counted) == SA_OK) {
        size_t seen = 0, rounds;
        double most = 0; /* largest number of the draws */
        for (size_t i = 0; i < d.n_draw * at.n_par; i++)
            most = fmax(most, fabs(draws[i]));
        for (size_t r = 0; r < d.n_draw; r++)
            seen += counted[r] != 0;
        must(seen == n_counted);
        for (size_t i = 0; i < table_size; i++)
            must(isfinite(table[i]));
        const double before = sa_design_value(&d, table, counted, &plan, work);
        must(!isnan(before));
        must(n_counted > 0 || before == HUGE_VAL);
        double value;
        const sa_status status =
            sa_design_improve(&d, table, counted, &plan, &value, &rounds, work);
        must(!isnan(value) && value <= before);
        must(status == SA_OK || status == SA_LIMIT || status == SA_OUT_OF_RANGE);
        if (status != SA_OUT_OF_RANGE) {
            for (size_t q = 0; q < plan.n_piece; q++) {
                size_t steps = 0;
                must(temp[q] >= 0 && (size_t)temp[q] < d.n_temp);
                for (size_t i = 0; i < d.n_time; i++)
                    steps += read[q * d.n_time + i] != 0;
                must(steps >= 1 && steps <= d.max_steps);
            }
            must(sa_design_minutes(&d, &plan) <= d.furnace_minutes * (1 + 1e-9));
            const double after = sa_design_value(&d, table, counted, &plan, work);
            /* sums of very different size lose their digits in another order */
            must(after == value || most > 1e4 || fabs(after - value) <= 1e-6 * (1 + fabs(value)));
        }
    }
    free(table);
    free(work);
    return 0;
}
