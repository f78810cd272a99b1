/* Plain C tests of src/design.c and src/design_value.c, without R:
 *   cc -std=c99 -Isrc tests/c/test_design.c src/design.c src/design_value.c src/model.c -lm \
 *     -o test_design && ./test_design
 * Truth: a first-order decay whose information has a closed form, and all plans of a small
 * problem one by one. */
#include "check.h"
#include "design.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* 170 to 70 HV, k = 0.1/min at the reference, n = 1.5, 140 kJ/mol; and two neighbours. */
static const double draws[] = {170, 70,  -2.3, 1.5, 140,  165, 75, -1.8,
                               1.3, 120, 172,  66,  -2.9, 1.8, 165};
static const double coordinate[] = {-0.013, 0.0, 0.012};
static const double minutes[] = {4, 10, 25, 60};
static const double log_time[] = {1.3862943611198906, 2.302585092994046, 3.2188758248682006,
                                  4.0943445622221};
static const double heat_up[] = {2, 2, 3};
static const int all[] = {1, 1, 1, 1, 1};
static const double floor5[] = {1e-4, 1e-4, 1e-2, 0.04, 1e-6};

static sa_design problem(void)
{
    const sa_design d = {.kind = SA_JMAK,
                         .n_draw = 3,
                         .draws = draws,
                         .estimated = all,
                         .floor = floor5,
                         .n_temp = 3,
                         .n_time = 4,
                         .coordinate = coordinate,
                         .log_time = log_time,
                         .minutes = minutes,
                         .heat_up = heat_up,
                         .weight = 0.4,
                         .at_start = 2,
                         .aim = SA_AIM_ENERGY,
                         .max_steps = 2,
                         .furnace_minutes = 90};
    return d;
}

typedef struct {
    double *table, *work;
    int counted[3];
    size_t n_counted;
} room;

static room prepare(const sa_design *d)
{
    room r;
    r.table = malloc(sa_design_table_size(d) * sizeof(double));
    r.work = malloc(sa_design_work_size(d) * sizeof(double));
    if (!r.table || !r.work)
        exit(2);
    check(sa_design_prepare(d, r.table, r.counted, &r.n_counted) == SA_OK, "prepares");
    return r;
}

static void leave(room *r)
{
    free(r->table);
    free(r->work);
}

/* Only ln k and the upper level to find, n = 1, lower level 0: H = a exp(-k t), gradient
 * (exp(-k t), -a k t exp(-k t)). */
static void decay(void)
{
    const double par[] = {100, 0, log(0.1), 1, 140};
    const int some[] = {1, 0, 1, 0, 0};
    const double tiny[] = {1e-12, 1e-12, 1e-12, 1e-12, 1e-12};
    sa_design d = problem();
    d.n_draw = 1;
    d.draws = par;
    d.estimated = some;
    d.floor = tiny;
    d.at_start = 1;
    d.aim = SA_AIM_DETERMINANT;
    d.max_steps = 1;
    d.furnace_minutes = 1e6;
    room r = prepare(&d);
    int temp = 1;
    unsigned char read[4] = {0, 1, 0, 0};
    sa_design_plan plan = {1, &temp, read};
    /* steps at t = 0, gradient (1, 0), and t = 1/k: det = w^2 (a exp(-1))^2 */
    const double root = 0.4 * 100 * exp(-1.0);
    check(near(sa_design_value(&d, r.table, r.counted, &plan, r.work), -log(root * root) / 2, 1e-9),
          "determinant of the decay");
    d.aim = SA_AIM_LN_TIME_SHARE;
    d.n_aim = 1;
    d.aim_coordinate = coordinate + 1;
    d.target = 0.5;
    leave(&r);
    r = prepare(&d);
    /* ln t50 = ln(ln 2) - ln k: its variance is that of ln k. Information of both parameters
     * (a, ln k) by hand: (1 + x^2, -x^2 a; ., x^2 a^2) w with x = exp(-1). */
    const double x2 = exp(-2.0), a = 100.0;
    const double m11 = 0.4 * (1 + x2), m12 = -0.4 * x2 * a, m22 = 0.4 * x2 * a * a;
    check(near(sa_design_value(&d, r.table, r.counted, &plan, r.work),
               log(m11 / (m11 * m22 - m12 * m12)), 1e-8),
          "variance of the time to half softening");
    /* Box and Lucas: of the allowed times 1/k is the best second one */
    d.aim = SA_AIM_DETERMINANT;
    d.n_aim = 0;
    leave(&r);
    d.n_temp = 1; /* the reference alone, as the first of the list */
    d.coordinate = coordinate + 1;
    r = prepare(&d);
    temp = 0;
    read[1] = 0;
    read[3] = 1;
    double value;
    size_t rounds;
    check(sa_design_improve(&d, r.table, r.counted, &plan, &value, &rounds, r.work) == SA_OK,
          "improves the decay");
    check(read[1] == 1 && read[0] + read[2] + read[3] == 0, "1/k is the best time");
    leave(&r);
}

/* Each step costs the furnace minutes of heating up besides its piece's last accumulated time. */
static void furnace_minutes(void)
{
    const sa_design d = problem();
    int temp[] = {0, 2, 1};
    unsigned char read[] = {0, 1, 0, 1, 1, 1, 1, 0, 0, 0, 0, 0};
    const sa_design_plan plan = {3, temp, read};
    check(near(sa_design_minutes(&d, &plan), (60 + 2 * 2) + (25 + 3 * 3), 1e-12),
          "minutes with heating up");
}

static void fill(sa_design_plan *plan, int code)
{
    static const unsigned char sets[10][4] = {
        {1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}, {1, 1, 0, 0},
        {1, 0, 1, 0}, {1, 0, 0, 1}, {0, 1, 1, 0}, {0, 1, 0, 1}, {0, 0, 1, 1}};
    for (size_t q = 0; q < 2; q++) {
        const int part = q ? code / 30 : code % 30;
        plan->temp[q] = part / 10;
        memcpy(plan->read + 4 * q, sets[part % 10], 4);
    }
}

/* All 900 plans of two pieces against the search from each of 60 starts. */
static void all_plans(sa_design_aim aim)
{
    sa_design d = problem();
    d.aim = aim;
    if (aim == SA_AIM_LN_TIME_SHARE || aim == SA_AIM_LN_TIME_HARDNESS) {
        d.n_aim = 2;
        d.aim_coordinate = coordinate;
        d.target = aim == SA_AIM_LN_TIME_SHARE ? 0.3 : 110;
    }
    room r = prepare(&d);
    int temp[2];
    unsigned char read[8];
    sa_design_plan plan = {2, temp, read};
    double best = HUGE_VAL, found = HUGE_VAL;
    for (int code = 0; code < 900; code++) {
        fill(&plan, code);
        if (sa_design_minutes(&d, &plan) <= d.furnace_minutes)
            best = fmin(best, sa_design_value(&d, r.table, r.counted, &plan, r.work));
    }
    int kept = 1, truth = 1;
    for (int code = 0; code < 900; code += 15) {
        double value;
        size_t rounds;
        fill(&plan, code);
        if (sa_design_minutes(&d, &plan) > d.furnace_minutes)
            continue;
        const double before = sa_design_value(&d, r.table, r.counted, &plan, r.work);
        sa_status state = sa_design_improve(&d, r.table, r.counted, &plan, &value, &rounds, r.work);
        kept &= state == SA_OK && sa_design_minutes(&d, &plan) <= d.furnace_minutes + 1e-9 &&
                value <= before + 1e-12;
        truth &= near(value, sa_design_value(&d, r.table, r.counted, &plan, r.work), 1e-9);
        found = fmin(found, value);
    }
    check(kept, "limits kept, never worse");
    check(truth, "value returned is the value of the plan");
    check(near(found, best, 1e-9), "best of all plans");
    leave(&r);
}

static void refusals(void)
{
    sa_design d = problem();
    d.n_time = 0;
    check(sa_design_table_size(&d) == 0, "no times");
    d.n_time = SA_DESIGN_MAX_TIMES + 1;
    check(sa_design_table_size(&d) == 0, "too many times");
    d = problem();
    d.n_draw = 0;
    check(sa_design_table_size(&d) == 0, "no draws");
    d.n_draw = (size_t)-1 / 64;
    check(sa_design_table_size(&d) == 0, "sizes that overflow");
    d = problem();
    room r = prepare(&d);
    int temp[1] = {0};
    unsigned char read[4] = {1, 1, 1, 0};
    sa_design_plan plan = {1, temp, read};
    double value;
    size_t rounds;
    check(sa_design_improve(&d, r.table, r.counted, &plan, &value, &rounds, r.work) ==
              SA_OUT_OF_RANGE,
          "a start with too many steps");
    read[2] = 0;
    d.furnace_minutes = 5;
    check(sa_design_improve(&d, r.table, r.counted, &plan, &value, &rounds, r.work) ==
              SA_OUT_OF_RANGE,
          "a start beyond the furnace limit");
    d.furnace_minutes = NAN;
    check(sa_design_improve(&d, r.table, r.counted, &plan, &value, &rounds, r.work) ==
              SA_OUT_OF_RANGE,
          "a furnace limit that is not a number");
    sa_design_plan nothing = {0, temp, read};
    d.furnace_minutes = 90;
    check(sa_design_improve(&d, r.table, r.counted, &nothing, &value, &rounds, r.work) == SA_OK,
          "no piece at all");
    leave(&r);
    d.aim = SA_AIM_LN_TIME_HARDNESS;
    d.n_aim = 1;
    d.aim_coordinate = coordinate;
    d.target = 500;
    r = prepare(&d);
    check(r.n_counted == 0, "a hardness no draw has");
    check(sa_design_value(&d, r.table, r.counted, &plan, r.work) == HUGE_VAL, "no draw, no value");
    leave(&r);
}

/* Draws at the edge of the range of numbers: refused, or a criterion that is a number. */
static void extremes(void)
{
    const double wild[] = {170, 70, -2.3, 1.5, 1e-307}, far[] = {1e307, 1e307};
    const double huge[] = {1e160, 70, -2.3, 1.5, 140};
    sa_design d = problem();
    size_t n_counted;
    int counted[1];
    d.n_draw = 1;
    d.draws = wild;
    d.coordinate = far; /* the hardness is a number, its slope in the energy is not */
    d.n_temp = 2;
    double *table = malloc(sa_design_table_size(&d) * sizeof(double));
    double *work = malloc(sa_design_work_size(&d) * sizeof(double));
    if (!table || !work)
        exit(2);
    check(sa_design_prepare(&d, table, counted, &n_counted) == SA_NOT_FINITE, "slopes overflow");
    d = problem();
    d.n_draw = 1;
    d.n_temp = 2;
    d.draws = huge;
    d.aim = SA_AIM_DETERMINANT;
    check(sa_design_prepare(&d, table, counted, &n_counted) == SA_OK, "slopes in range");
    int temp[1] = {0};
    unsigned char read[4] = {1, 1, 0, 0};
    sa_design_plan plan = {1, temp, read};
    check(sa_design_value(&d, table, counted, &plan, work) == HUGE_VAL, "information overflows");
    free(table);
    free(work);
}

int main(void)
{
    extremes();
    decay();
    furnace_minutes();
    all_plans(SA_AIM_ENERGY);
    all_plans(SA_AIM_DETERMINANT);
    all_plans(SA_AIM_LN_TIME_SHARE);
    all_plans(SA_AIM_LN_TIME_HARDNESS);
    refusals();
    return report();
}
