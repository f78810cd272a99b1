/* Many fits on any readings: bad groups, few readings, held parameters, bounds of the caller.
 * Promised: every group ends with a status; one that is fitted has finite estimates within their
 * bounds, sums of squares and states, and covariances that are numbers; one that is not fitted
 * has none. The order of the rows within a group changes no digit. */
#include "fuzz.h"
#include "batch.h"

enum {
    MOST_GROUPS = 2,
    MOST_ROWS = 24,
    MOST_PAR = SA_MODEL_MAX_PAR,
    LOWER = MOST_PAR * (MOST_PAR + 1) / 2
};

typedef struct {
    double par[MOST_GROUPS * MOST_PAR], cov[MOST_GROUPS * LOWER],
        limit[MOST_GROUPS * 2 * MOST_PAR], sums[MOST_GROUPS * SA_BATCH_SUMS];
    int state[MOST_GROUPS * MOST_PAR], counts[MOST_GROUPS * SA_BATCH_COUNTS];
} results;

static void look(const results *r, size_t g, const sa_batch_settings *set)
{
    const size_t p = sa_model_parameters(set->kind).n_par, half = p * (p + 1) / 2;
    const int *count = r->counts + g * SA_BATCH_COUNTS;
    const double *par = r->par + g * p, *sums = r->sums + g * SA_BATCH_SUMS;
    must(count[SA_COUNT_STATUS] >= SA_GROUP_OK && count[SA_COUNT_STATUS] <= SA_GROUP_FAILED);
    must(count[SA_COUNT_CONDITIONS] >= 0);
    must(count[SA_COUNT_CONDITIONS] <= count[SA_COUNT_TREATMENTS]);
    if (count[SA_COUNT_STATUS] >= SA_GROUP_TOO_FEW) {
        for (size_t j = 0; j < p; j++)
            must(isnan(par[j]));
        must(isnan(sums[0]));
        return;
    }
    must(isfinite(sums[0]) && sums[0] >= 0 && isfinite(sums[1]) && sums[1] >= 0);
    for (size_t j = 0; j < p; j++) {
        const int state = r->state[g * p + j];
        must(isfinite(par[j]));
        must(state >= SA_DETERMINED && state <= SA_OPEN);
        if (set->held[j])
            must(par[j] == set->start[j]);
        /* an energy is also held, at zero, where there is one temperature */
        if (!set->held[j] && state != SA_HELD && sums[5] - sums[4] > 1e-9 * sums[3]) {
            must(isnan(set->lower[j]) || par[j] >= set->lower[j]);
            must(isnan(set->upper[j]) || par[j] <= set->upper[j]);
        }
    }
    if (!set->infer)
        return;
    for (size_t j = 0, k = 0; j < p; j++) {
        for (size_t l = 0; l <= j; l++, k++) {
            /* blank where no degree of freedom is left; the square of one may overflow */
            const double v = r->cov[g * half + k];
            if (count[SA_COUNT_STATUS] == SA_GROUP_OK && j == l)
                must(isnan(v) || v >= 0);
        }
        const double low = r->limit[g * 2 * p + 2 * j], high = r->limit[g * 2 * p + 2 * j + 1];
        must(isnan(low) || isnan(high) || low <= high);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    fuzz_bytes b = {data, size};
    static double t_quantile[30], f_quantile[30];
    for (int i = 0; i < 30; i++) {
        t_quantile[i] = 2 + 10.0 / (i + 1);
        f_quantile[i] = 3 + 20.0 / (i + 1);
    }
    const sa_model_kind kind = (sa_model_kind)(fuzz_byte(&b) % SA_MODELS);
    const sa_model_layout at = sa_model_parameters(kind);
    const size_t p = at.n_par, groups = 1 + fuzz_byte(&b) % MOST_GROUPS;
    const unsigned how = fuzz_byte(&b);
    double start[MOST_PAR], lower[MOST_PAR], upper[MOST_PAR];
    int held[MOST_PAR], natural[2 * MOST_PAR], first[MOST_GROUPS], sizes[MOST_GROUPS];
    for (size_t j = 0; j < p; j++) {
        const double usual[5] = {170, 70, -3, 1.5, 150};
        start[j] = j < 5 ? usual[j] : (int)j == at.theta0 ? 0.3 : j % 3 == 0 ? -2 : 20;
        held[j] = fuzz_byte(&b) < 16;
        lower[j] = fuzz_byte(&b) < 16 ? start[j] - fuzz_in(&b, 0, 50) : NAN;
        upper[j] = fuzz_byte(&b) < 16 ? start[j] + fuzz_in(&b, 0, 50) : NAN;
        if (j != SA_P_LN_K && lower[j] < 0)
            lower[j] = 0;
        natural[j] = natural[j + p] = (int)(fuzz_byte(&b) % 2U);
    }
    double temp[MOST_GROUPS * MOST_ROWS], time[MOST_GROUPS * MOST_ROWS],
        hardness[MOST_GROUPS * MOST_ROWS], weight[MOST_GROUPS * MOST_ROWS];
    int specimen[MOST_GROUPS * MOST_ROWS], order[MOST_GROUPS * MOST_ROWS];
    size_t n = 0;
    for (size_t g = 0; g < groups; g++) {
        first[g] = (int)n;
        sizes[g] = (int)(fuzz_byte(&b) % (MOST_ROWS + 1));
        for (int i = 0; i < sizes[g]; i++, n++) {
            const unsigned odd = fuzz_byte(&b); /* one row in 64 is garbage */
            temp[n] = odd < 2 ? fuzz_any(&b) : 270 + 20.0 * (fuzz_byte(&b) % 8U);
            time[n] = odd == 2 ? fuzz_any(&b) : 2.0 * (fuzz_byte(&b) % 40U);
            hardness[n] = odd == 3 ? fuzz_any(&b) : fuzz_in(&b, 40, 220);
            weight[n] = fuzz_byte(&b) < 16 ? 0 : fuzz_in(&b, 0.1, 4);
            specimen[n] = (int)(fuzz_byte(&b) % 3U);
        }
    }
    for (size_t g = 0; g < groups; g++) /* each group backwards */
        for (int i = 0; i < sizes[g]; i++)
            order[first[g] + i] = first[g] + sizes[g] - i;
    sa_batch_settings set = {.kind = kind, .ref_k = how % 4 == 0 ? 600 : NAN, .start = start,
                             .held = held, .lower = lower, .upper = upper, .natural = natural,
                             .errors = (sa_batch_errors)(how % 3), .automatic = how % 5 == 0,
                             .use_start = how % 7 == 0, .infer = how % 2 == 0,
                             .t_quantile = t_quantile, .f_quantile = f_quantile, .quantiles = 30,
                             .control = sa_lsq_defaults()};
    set.control.max_iterations = 60;
    set.control.creep = 1e-6;
    sa_batch_columns col = {temp, time, hardness, how % 8 < 4 ? weight : NULL,
                            how % 16 < 8 ? specimen : NULL, NULL};
    static results forward, back;
    char *work = malloc(sa_batch_work(MOST_ROWS));
    const size_t half = p * (p + 1) / 2;
    for (int turn = 0; turn < (how >= 192 ? 2 : 1); turn++) {
        results *r = turn ? &back : &forward;
        sa_batch_results out = {r->par, r->cov, r->limit, r->state, r->sums, r->counts};
        col.order = turn ? order : NULL;
        must(sa_batch_fit(&col, first, sizes, groups, MOST_ROWS, &set, 1, NULL, NULL, work, &out) ==
             SA_OK);
        for (size_t g = 0; g < groups; g++)
            look(r, g, &set);
    }
    for (size_t g = 0; how >= 192 && g < groups; g++) {
        if (forward.counts[g * SA_BATCH_COUNTS] >= SA_GROUP_TOO_FEW)
            continue; /* the bad row named is the first one met */
        must(memcmp(forward.par + g * p, back.par + g * p, p * sizeof(double)) == 0);
        must(memcmp(forward.counts + g * SA_BATCH_COUNTS, back.counts + g * SA_BATCH_COUNTS,
                    SA_BATCH_COUNTS * sizeof(int)) == 0);
        if (set.infer)
            must(memcmp(forward.cov + g * half, back.cov + g * half,
                        half * sizeof(double)) == 0);
    }
    free(work);
    return 0;
}
