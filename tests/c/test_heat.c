/* Plain C tests of src/heat.c, without R:
 *   cc -std=c99 -Isrc tests/c/test_heat.c src/heat.c -lm -o test_heat && ./test_heat
 * Truth is the closed form of convection alone, T = T0 + (Ts - T0) exp(-t / tau), and the
 * closed form of radiation alone to an enclosure at 0 K, 1/T^3 = 1/T0^3 + 3 c t. */
#include "check.h"
#include "heat.h"
#include <math.h>
#include <stdio.h>

/* 3 mm sheet, both faces, 60 W/(m2 K): tau = 8530 * 380 * 0.0015 / 60 = 81.035 s */
static sa_piece sheet(void)
{
    const sa_piece p = {1 / 0.003, 1 / 0.003, 60, 60, 0, 0, 8530, 380, 0, 300};
    return p;
}

static void convection(void)
{
    const sa_piece p = sheet();
    const double t0[] = {0}, a[] = {673.15};
    const sa_surroundings around = {t0, a, a, 1};
    const double out[] = {0, 1, 100, 100, 400, 5000};
    double temp[6];
    sa_heat_request q = {293.15, 1000, 673.15, 2, out, 6, NULL, NULL};
    sa_heat_answer w = {temp, 0, 0, 0};
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK, "convection runs");
    for (int i = 0; i < 5; i++)
        check(near(temp[i], 673.15 - 380 * exp(-out[i] / 81.035), 1e-9), "closed form");
    check(isnan(temp[5]), "beyond the end stays NAN");
    check(near(w.time_within, 81.035 * log(190), 1e-8), "time to the band");
    check(near(w.end_time, 1000, 1e-15), "end");
    q.end = INFINITY;
    q.out_count = 0;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK, "open end runs");
    check(near(w.time_within, 81.035 * log(190), 1e-8), "time to the band, open end");
    q.within = 0;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK, "an empty band ends too");
    q.target = 600;
    q.within = 1;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK && isnan(w.time_within),
          "a band that is passed through is not kept");
    q.start = 673.15;
    q.target = 673.15;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK && w.time_within == 0, "already there");
}

static void radiation(void)
{
    sa_piece p = sheet();
    p.h_a = p.h_b = 0;
    p.emissivity_a = p.emissivity_b = 0.5;
    const double t0[] = {0}, a[] = {0};
    const sa_surroundings around = {t0, a, a, 1};
    const double out[] = {600};
    double temp[1];
    const sa_heat_request q = {900, 600, 0, 1, out, 1, NULL, NULL};
    sa_heat_answer w = {temp, 0, 0, 0};
    const double c = 2 / 0.003 * 0.5 * SA_STEFAN_BOLTZMANN / (8530 * 380.0);
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK, "radiation runs");
    check(near(temp[0], pow(pow(900, -3) + 3 * c * 600, -1.0 / 3), 1e-9), "closed form T^-3");
    /* faces before different surroundings: a gains from 900 K, b loses to 300 K */
    p.emissivity_b = 0.3;
    const double gain = 0.5 * (pow(900, 4) - pow(500, 4)) + 0.3 * (pow(300, 4) - pow(500, 4));
    const double rate = SA_STEFAN_BOLTZMANN * gain / 0.003 / (8530 * 380.0);
    check(near(sa_heat_rate(&p, 500, 900, 300) / rate, 1, 1e-12), "each face before its own surroundings");
}

/* Surroundings rising at r K/s: T = Ts(t) - r tau + (T0 - Ts(0) + r tau) exp(-t / tau). */
static void ramp(void)
{
    const sa_piece p = sheet();
    const double t0[] = {0, 300}, a[] = {293.15, 593.15};
    const sa_surroundings around = {t0, a, a, 2};
    const double out[] = {150, 300, 700};
    double temp[3];
    const sa_heat_request q = {293.15, 700, 593.15, 5, out, 3, NULL, NULL};
    sa_heat_answer w = {temp, 0, 0, 0};
    const double tau = 81.035;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK, "ramp runs");
    check(near(temp[0], 443.15 - tau + tau * exp(-150 / tau), 1e-9), "on the ramp");
    const double top = 593.15 - tau + tau * exp(-300 / tau);
    check(near(temp[1], top, 1e-9), "end of the ramp");
    check(near(temp[2], 593.15 - (593.15 - top) * exp(-400 / tau), 1e-9), "after the ramp");
    check(near(w.time_within, 300 + tau * log((593.15 - top) / 5), 1e-8), "band after the ramp");
}

static void refusals(void)
{
    sa_piece p = sheet();
    const double t0[] = {0}, a[] = {673.15};
    sa_surroundings around = {t0, a, a, 1};
    sa_heat_request q = {293.15, 10, 673.15, 2, NULL, 0, NULL, NULL};
    sa_heat_answer w = {NULL, 0, 0, 0};
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK, "no output wanted");
    q.end = 0;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK && w.end_temp == 293.15, "no time at all");
    q.end = NAN;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OUT_OF_RANGE, "end not a number");
    q.end = 10;
    p.density = 0;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OUT_OF_RANGE, "no mass");
    p = sheet();
    p.emissivity_a = 1.5;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OUT_OF_RANGE, "emissivity above 1");
    p = sheet();
    around.count = 0;
    check(sa_heat_run(&p, &around, &q, &w) == SA_BAD_SIZE, "no surroundings");
    around.count = 1;
    p.h_a = 1e300;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK && near(w.end_temp, 673.15, 1e-9),
          "an absurd coefficient is a very short time");
    p.h_a = INFINITY;
    check(sa_heat_run(&p, &around, &q, &w) == SA_NOT_FINITE, "infinite rate ends with a status");
    p = sheet();
    p.h_a = 1e9; /* time constant of some microseconds */
    q.end = 1e9;
    q.target = 600;
    check(sa_heat_run(&p, &around, &q, &w) == SA_OK, "a stiff piece comes to rest");
}

int main(void)
{
    convection();
    radiation();
    ramp();
    refusals();
    return report();
}
