/* Every long loop of the kernels asks its poll and ends when told to: no user waits for an answer
 * that is no longer wanted. The poll counts how often it is asked; the work between two questions
 * is set by the kernels in units of their loops, so nothing here depends on a clock. */
#include "answers.h"
#include "batch.h"
#include "check.h"
#include "design.h"
#include "heat.h"
#include <stdlib.h>
#include <string.h>

enum { MANY = 300000 };

/* Asked so often; says stop from the question `stop_at` on (0: never). */
typedef struct {
    int asked, stop_at;
} user;

static int ask(void *context)
{
    user *u = context;
    u->asked++;
    return u->stop_at > 0 && u->asked >= u->stop_at;
}

static double *numbers(size_t n, double value)
{
    double *x = malloc(n * sizeof *x);
    if (!x)
        exit(2);
    for (size_t i = 0; i < n; i++)
        x[i] = value;
    return x;
}

static void hardness(void)
{
    double *log_time = numbers(MANY, 2), *e = numbers(MANY, 0.01), *out = numbers(MANY, 0);
    const double par[SA_MODEL_MAX_PAR] = {160, 80, -2, 1.6, 140};
    user u = {0, 0};
    sa_clock clock = {.n = MANY, .coordinate = e, .log_time = log_time, .poll = ask,
                      .poll_context = &u};
    check(sa_model_hardness(SA_JMAK, &clock, par, out, NULL) == 0, "hardness of many conditions");
    check(u.asked >= 3, "hardness: asked");
    u = (user){0, 1};
    check(sa_model_hardness(SA_JMAK, &clock, par, out, NULL) == 1 && u.asked == 1,
          "hardness: stopped");

    /* columns that nothing fills are zero, not what lay in memory */
    const sa_model_kind kind = (sa_model_kind)(SA_JMAK + SA_WITH_STRAIN + SA_ONE_EXPONENT);
    const double more[SA_MODEL_MAX_PAR] = {160, 80, -2, 1.6, 140, 1, 0.2, 1.4};
    double jac[8];
    for (int j = 0; j < 8; j++)
        jac[j] = NAN;
    clock.n = 1;
    check(sa_model_hardness(kind, &clock, more, out, jac) == 0, "one condition without a group");
    check(jac[5] == 0 && jac[6] == 0 && jac[7] == 0, "no slope in what has no place");
    free(log_time);
    free(e);
    free(out);
}

static void history(void)
{
    double *time = numbers(MANY, 0), *temp = numbers(MANY, 600), *mark = numbers(MANY, 0);
    double *value = numbers(MANY, 0), *slope = numbers(MANY, 0);
    for (size_t i = 0; i < MANY; i++) {
        time[i] = (double)i;
        mark[i] = (double)i / 2;
        temp[i] += i % 2 ? 80 : 0; /* pieces that are cut */
    }
    user u = {0, 0};
    const sa_history one = {time, temp, MANY, 0, ask, &u};
    sa_history_integrate(&one, 150, 620, mark, MANY, value, slope);
    check(u.asked >= 50 && isfinite(value[MANY - 1]), "history: asked along marks");
    u = (user){0, 2};
    sa_history_integrate(&one, 150, 620, mark, MANY, value, slope);
    check(u.asked == 2 && isnan(value[MANY - 1]) && isnan(slope[MANY - 1]), "history: stopped");
    for (size_t i = 0; i < MANY; i++)
        temp[i] = 600 + 1e-4 * (double)i;
    mark[0] = time[MANY - 1];
    u = (user){0, 0};
    sa_history_integrate(&one, 150, 620, mark, 1, value, NULL);
    check(u.asked >= 3 && isfinite(value[0]), "history: asked along points");
    free(time);
    free(temp);
    free(mark);
    free(value);
    free(slope);
}

/* A fit of 18 conditions: starts, solver, profiles and the interval of an answer. */
static void fits(void)
{
    enum { M = 18, P = 14 };
    double log_time[M], e[M], h[M], root[M], par[P], resid[M], jac[M * P];
    const double truth[5] = {160, 80, -2, 1.6, 140};
    double lower[P], upper[P];
    int natural[2 * P] = {0}, held[P] = {0}, at_bound[P];
    for (size_t i = 0; i < M; i++) {
        log_time[i] = i % 6 == 0 ? -HUGE_VAL : 0.7 * (double)(i % 6) + 0.3;
        e[i] = 0.012 * ((double)(i / 6) - 1);
        root[i] = 1;
    }
    user u = {0, 0};
    const sa_model_kind kind = SA_HARDENING_RECOVERY_JMAK;
    sa_softening s = {.kind = SA_JMAK,
                      .clock = {.n = M, .coordinate = e, .log_time = log_time},
                      .hardness = h, .root_weight = root, .lower = lower, .upper = upper,
                      .natural = natural, .held = held, .poll = ask, .poll_context = &u};
    sa_model_hardness(SA_JMAK, &s.clock, truth, h, NULL);
    for (size_t i = 0; i < M; i++)
        h[i] += sin(7.0 * (double)i);
    for (size_t j = 0; j < P; j++) {
        const double rate = j == SA_P_LN_K || j == 6 || j == 9;
        lower[j] = rate > 0 ? -50 : j == SA_P_N ? 0.1 : 0;
        upper[j] = j == SA_P_N ? 10 : rate > 0 ? 50 : 2000;
        par[j] = j < 5 ? truth[j] : rate > 0 ? -2 : 50;
    }
    double *work = numbers(sa_softening_work(M), 0);
    double starts[SA_MOST_STARTS * P];
    s.kind = kind;
    sa_softening_starts(&s, par, starts, SA_MOST_STARTS, work);
    check(u.asked >= 100, "starts: asked at every candidate");
    u = (user){0, 3};
    check(sa_softening_starts(&s, par, starts, SA_MOST_STARTS, work) <= 3 && u.asked == 3,
          "starts: stopped");

    s.kind = SA_JMAK;
    sa_lsq_control ctl = sa_lsq_defaults();
    ctl.poll = ask;
    ctl.poll_context = &u;
    u = (user){0, 0};
    sa_lsq_result res;
    check(sa_softening_fit(&s, &ctl, 1, par, resid, jac, at_bound, work, &res) == SA_OK, "fit");
    check(u.asked >= res.iterations, "fit: asked at every iteration");
    const sa_meeting at = {SA_TO_SOFTENING, 0.5, 0.005, 0, {0, 0}, 0};
    double ln_time, gradient[P], ends[2];
    check(sa_model_time_to(SA_JMAK, at.coordinate, at.target, at.what, par, &ln_time, gradient),
          "time to half");
    sa_meeting here = at;
    here.log_time = ln_time;
    const sa_walk walk = {res.objective, 10, 0.05, ln_time - 20, ln_time + 20};
    u = (user){0, 0};
    sa_meeting_interval(&s, &here, SA_MOVE_TIME, &walk, par, ends, work);
    check(ends[0] < ln_time && ends[1] > ln_time, "interval around the answer");
    check(u.asked >= 10, "interval: asked");
    free(work);
}

static void plans(void)
{
    enum { TEMPS = 600, TIMES = 8 };
    const double draw[5] = {170, 70, -2.3, 1.5, 140}, floor5[5] = {1e-4, 1e-4, 1e-2, 0.04, 1e-6};
    const int all[5] = {1, 1, 1, 1, 1};
    double coordinate[TEMPS], heat_up[TEMPS], minutes[TIMES], log_time[TIMES];
    for (size_t i = 0; i < TEMPS; i++) {
        coordinate[i] = 1e-4 * (double)i - 0.03;
        heat_up[i] = 2;
    }
    for (size_t i = 0; i < TIMES; i++) {
        minutes[i] = pow(2, (double)i);
        log_time[i] = log(minutes[i]);
    }
    user u = {0, 0};
    sa_design d = {.kind = SA_JMAK, .n_draw = 1, .draws = draw, .estimated = all, .floor = floor5,
                   .n_temp = TEMPS, .n_time = TIMES, .coordinate = coordinate,
                   .log_time = log_time, .minutes = minutes, .heat_up = heat_up, .weight = 0.4,
                   .at_start = 2, .aim = SA_AIM_ENERGY, .max_steps = TIMES,
                   .furnace_minutes = 1e5, .poll = ask, .poll_context = &u};
    double *table = numbers(sa_design_table_size(&d), 0);
    double *work = numbers(sa_design_work_size(&d), 0), value;
    int counted[1], temp[2] = {0, 1};
    unsigned char read[2 * TIMES] = {1};
    read[TIMES] = 1;
    size_t n_counted, rounds;
    sa_design_plan plan = {2, temp, read};
    check(sa_design_prepare(&d, table, counted, &n_counted) == SA_OK && u.asked >= 2,
          "candidates: asked");
    u = (user){0, 2};
    check(sa_design_prepare(&d, table, counted, &n_counted) == SA_INTERRUPTED && u.asked == 2,
          "candidates: stopped");
    u = (user){0, 2};
    check(sa_design_improve(&d, table, counted, &plan, &value, &rounds, work) == SA_INTERRUPTED &&
              u.asked == 2, "plan: stopped");
    u = (user){0, 0};
    check(sa_design_improve(&d, table, counted, &plan, &value, &rounds, work) == SA_OK &&
              u.asked >= 5, "plan: asked");
    free(table);
    free(work);
}

/* A piece of no heat worth naming, for which steps are short. */
static void heat(void)
{
    const sa_piece p = {1 / 0.003, 1 / 0.003, 1e6, 1e6, 0, 0, 8530, 380, 0, 300};
    double time[2] = {0, 1000}, temp[2] = {293, 2000};
    const sa_surroundings around = {time, temp, temp, 2};
    user u = {0, 1};
    sa_heat_answer w = {NULL, 0, 0, 0};
    sa_heat_request q = {.start = 293, .end = 1000, .target = 2000, .within = 1, .poll = ask,
                         .poll_context = &u};
    check(sa_heat_run(&p, &around, &q, &w) == SA_INTERRUPTED && u.asked == 1, "heat: stopped");
}

/* One group with all readings of a shop, in no order. */
static void batch(void)
{
    double *temp = numbers(MANY, 0), *time = numbers(MANY, 0), *hard = numbers(MANY, 0);
    double par[5], sums[SA_BATCH_SUMS];
    const double start[5] = {0}, none[5] = {NAN, NAN, NAN, NAN, NAN};
    const int held[5] = {0}, natural[10] = {0}, first = 0, size = MANY;
    int state[5], counts[SA_BATCH_COUNTS];
    for (size_t i = 0; i < MANY; i++) {
        temp[i] = 300 + 30 * (double)(i * 7 % 3);
        time[i] = (double)(i * 5 % 11 * 4);
        hard[i] = 160 - 70 * (1 - exp(-0.05 * time[i])) + (double)(i * 13 % 101) / 50;
    }
    const sa_batch_columns col = {temp, time, hard, NULL, NULL, NULL};
    const sa_batch_settings set = {.kind = SA_JMAK, .ref_k = NAN, .start = start, .held = held,
                                   .lower = none, .upper = none, .natural = natural,
                                   .control = sa_lsq_defaults()};
    char *work = malloc(sa_batch_work(MANY));
    sa_batch_results out = {.par = par, .state = state, .sums = sums, .counts = counts};
    user u = {0, 0};
    check(sa_batch_fit(&col, &first, &size, 1, MANY, &set, 1, ask, &u, work, &out) == SA_OK,
          "batch: a large group");
    check(u.asked >= 5, "batch: asked while it is sorted");
    u = (user){0, 2};
    check(sa_batch_fit(&col, &first, &size, 1, MANY, &set, 1, ask, &u, work, &out) ==
              SA_INTERRUPTED, "batch: stopped");
    free(work);
    free(temp);
    free(time);
    free(hard);
}

int main(void)
{
    hardness();
    history();
    fits();
    plans();
    heat();
    batch();
    return report();
}
