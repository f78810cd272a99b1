/* Many fits without R: the short way against the full search, the order of rows, bad groups,
 * the poll, and no groups at all. */
#include "batch.h"
#include "check.h"
#include <stdlib.h>
#include <string.h>

#define GROUPS 5
#define ROWS 36
#define P 5

static double temp_c[GROUPS * ROWS], time_min[GROUPS * ROWS], hardness[GROUPS * ROWS];
static int first[GROUPS], size[GROUPS];

/* Deterministic scatter between -1 and 1. */
static double scatter(int i)
{
    double x = sin(12.9898 * i) * 43758.5453;
    return 2.0 * (x - floor(x)) - 1.0;
}

static void make_readings(void)
{
    const double temps[3] = {300, 330, 360}, times[6] = {0, 4, 8, 16, 32, 64};
    int i = 0;
    for (int g = 0; g < GROUPS; g++) {
        first[g] = i;
        size[g] = ROWS;
        for (int t = 0; t < 3; t++) {
            for (int m = 0; m < 6; m++) {
                for (int k = 0; k < 2; k++, i++) {
                    double q = 120.0 + 10.0 * g;
                    double e = -1000.0 * (1.0 / (temps[t] + SA_ZERO_CELSIUS) - 1.0 / 603.15) / SA_GAS_CONSTANT;
                    double rate = 0.06 * exp(q * e);
                    temp_c[i] = temps[t];
                    time_min[i] = times[m];
                    hardness[i] = 80 + 80 * exp(-pow(rate * times[m], 1.6)) + scatter(i);
                }
            }
        }
    }
}

static int polls;

static int stop_at_second(void *context)
{
    (void)context;
    return ++polls > 1;
}

typedef struct {
    double par[GROUPS * P], cov[GROUPS * 15], limit[GROUPS * 2 * P],
        sums[GROUPS * SA_BATCH_SUMS];
    int state[GROUPS * P], counts[GROUPS * SA_BATCH_COUNTS];
} results;

static double bound[P] = {NAN, NAN, NAN, NAN, NAN}; /* lower bounds of the next run */

static sa_status run(const int *order, int threads, sa_poll poll, size_t groups, results *r)
{
    static const double start[P] = {0}, none[P] = {NAN, NAN, NAN, NAN, NAN};
    static const int held[P] = {0}, natural[2 * P] = {0, 0, 0, 1, 1};
    static double t[200], f[200];
    for (int i = 0; i < 200; i++) {
        t[i] = 2.0;
        f[i] = 6.0;
    }
    sa_batch_columns col = {temp_c, time_min, hardness, NULL, NULL, order};
    sa_batch_settings set = {.kind = SA_JMAK, .ref_k = NAN, .start = start, .held = held,
                             .lower = bound, .upper = none, .natural = natural, .errors = SA_ERRORS_CLUSTER,
                             .automatic = 1, .infer = 1, .t_quantile = t, .f_quantile = f,
                             .quantiles = 200, .control = sa_lsq_defaults()};
    size_t bytes = sa_batch_work(ROWS);
    char *work = malloc(bytes * (size_t)threads);
    sa_batch_results out = {r->par, r->cov, r->limit, r->state, r->sums, r->counts};
    sa_status status = sa_batch_fit(&col, first, size, groups, ROWS, &set, threads, poll, NULL, work, &out);
    free(work);
    return status;
}

/* One group of the table many times over. */
#define MANY 2000
static sa_status run_long(sa_poll poll)
{
    static double par[MANY * P], sums[MANY * SA_BATCH_SUMS];
    static int state[MANY * P], counts[MANY * SA_BATCH_COUNTS], begin[MANY], rows[MANY];
    static const double start[P] = {0}, none[P] = {NAN, NAN, NAN, NAN, NAN};
    static const int held[P] = {0}, natural[2 * P] = {0};
    for (int g = 0; g < MANY; g++) {
        begin[g] = 0;
        rows[g] = ROWS;
    }
    sa_batch_columns col = {temp_c, time_min, hardness, NULL, NULL, NULL};
    sa_batch_settings set = {.kind = SA_JMAK, .ref_k = NAN, .start = start, .held = held,
                             .lower = none, .upper = none, .natural = natural,
                             .control = sa_lsq_defaults()};
    char *work = malloc(sa_batch_work(ROWS));
    sa_batch_results out = {par, NULL, NULL, state, sums, counts};
    polls = 0;
    sa_status status = sa_batch_fit(&col, begin, rows, MANY, ROWS, &set, 1, poll, NULL, work, &out);
    free(work);
    return status;
}

int main(void)
{
    static results a, b, c;
    int order[GROUPS * ROWS];
    make_readings();
    check(run(NULL, 1, NULL, GROUPS, &a) == SA_OK, "a plain run");
    for (int g = 0; g < GROUPS; g++) {
        check(a.counts[g * SA_BATCH_COUNTS] == SA_GROUP_OK, "every group is ok");
        check(fabs(a.par[g * P + SA_P_Q] - (120.0 + 10.0 * g)) < 12.0, "energy near the truth");
        /* 15 after an anneal, and as rolled, one whatever temperature its rows name */
        check(a.counts[g * SA_BATCH_COUNTS + SA_COUNT_CONDITIONS] == 16, "conditions");
    }

    /* a bound that leaves no room beside those the readings set: no estimates */
    bound[SA_P_WORKED] = 5000; /* ten times the hardest reading is the most looked at */
    check(run(NULL, 1, NULL, GROUPS, &b) == SA_OK, "a bound out of reach");
    check(b.counts[0] == SA_GROUP_FAILED && isnan(b.par[0]), "no room between the bounds");
    bound[SA_P_WORKED] = NAN;

    /* any order of rows within the groups, any number of threads: the same bits */
    for (int i = 0; i < GROUPS * ROWS; i++)
        order[i] = (i / ROWS) * ROWS + (7 * (i % ROWS) + 5) % ROWS + 1; /* 7 and 36 are coprime */
    check(run(order, 1, NULL, GROUPS, &b) == SA_OK, "rows in another order");
    check(memcmp(a.par, b.par, sizeof a.par) == 0, "same estimates");
    check(memcmp(a.cov, b.cov, sizeof a.cov) == 0, "same covariances");
    check(run(NULL, 3, NULL, GROUPS, &c) == SA_OK, "three threads");
    check(memcmp(a.par, c.par, sizeof a.par) == 0, "same estimates from threads");

    /* the full search ends at the same minimum */
    double log_time[16], coordinate[16], mean[16], root[16], weight[16];
    const double lower[P] = {0, 0, -50, 0.1, 0}, upper[P] = {2000, 2000, 50, 10, 2000};
    const int held[P] = {0}, natural[2 * P] = {0};
    const double ref = a.sums[2 * SA_BATCH_SUMS + 3];
    /* as rolled: the mean of six readings; the others of two */
    log_time[0] = -HUGE_VAL;
    coordinate[0] = mean[0] = 0.0;
    weight[0] = 6.0;
    for (int i = 0, used = 1; i < 18; i++) {
        int k = 2 * ROWS + 2 * i;
        double sum = hardness[k] + hardness[k + 1];
        if (time_min[k] > 0.0) {
            log_time[used] = log(time_min[k]);
            coordinate[used] =
                -1000.0 * (1.0 / (temp_c[k] + SA_ZERO_CELSIUS) - 1.0 / ref) / SA_GAS_CONSTANT;
            mean[used] = 0.5 * sum;
            weight[used++] = 2.0;
        } else {
            mean[0] += sum / 6.0;
        }
    }
    for (int i = 0; i < 16; i++)
        root[i] = sqrt(weight[i]);
    sa_softening s = {.kind = SA_JMAK,
                      .clock = {.n = 16, .coordinate = coordinate, .log_time = log_time},
                      .hardness = mean, .root_weight = root, .lower = lower, .upper = upper,
                      .natural = natural, .held = held};
    sa_lsq_control ctl = sa_lsq_defaults();
    sa_lsq_result res;
    double par[P] = {160, 80, -3, 1.5, 200}, resid[16], jac[16 * P];
    int at_bound[P];
    double *work = malloc(sa_softening_work(16) * sizeof(double));
    check(sa_softening_fit(&s, &ctl, 0, par, resid, jac, at_bound, work, &res) == SA_OK, "full search");
    for (int j = 0; j < P; j++)
        check(near(a.par[2 * P + j], par[j], 1e-8), "same minimum as the full search");
    check(near(a.sums[2 * SA_BATCH_SUMS], res.objective, 1e-12), "same sum of squares");

    /* a point of a profile: never below the minimum, and at its own value */
    double moved[P];
    memcpy(moved, par, sizeof par);
    double sum, rows[10 * 18];
    check(sa_short_profile(&s, weight, held, SA_P_Q, par[SA_P_Q] + 20.0, 1e-13, moved, rows, &sum), "profile");
    check(sum > res.objective && moved[SA_P_Q] == par[SA_P_Q] + 20.0, "profile above the minimum");
    free(work);

    /* bad groups leave the others alone */
    time_min[3] = -1;
    hardness[ROWS + 1] = -HUGE_VAL;
    for (int i = 2 * ROWS; i < 3 * ROWS; i++)
        time_min[i] = 0;
    check(run(NULL, 1, NULL, GROUPS, &b) == SA_OK, "bad groups");
    check(b.counts[0] == SA_GROUP_BAD_VALUE && b.counts[SA_COUNT_ROW] == 4, "negative time, its row");
    check(b.counts[SA_BATCH_COUNTS] == SA_GROUP_OUTSIDE, "outside the table");
    check(b.counts[2 * SA_BATCH_COUNTS] == SA_GROUP_NO_ANNEAL, "no anneal");
    check(isnan(b.par[0]) && isnan(b.sums[0]), "no numbers for a bad group");
    check(memcmp(a.par + 3 * P, b.par + 3 * P, 2 * P * sizeof(double)) == 0, "the others as before");

    /* no groups; a user who wants out */
    check(run(NULL, 1, NULL, 0, &b) == SA_OK, "no groups");
    check(sa_batch_work(0) > 0, "work for nothing");
    make_readings();
    check(run_long(stop_at_second) == SA_INTERRUPTED && polls == 2, "stopped at the second poll");
    check(run_long(NULL) == SA_OK, "nobody wants out");
    return report();
}
