/* Plain C test of history.c. Build and run from the top of the package:
 *   cc -std=c99 -Wall -Wextra -Isrc tests/c/test_history.c src/history.c -lm -o test_history
 *   ./test_history
 * Prints the number of checks; exit status 1 if one failed. */
#include "check.h"
#include "history.h"
#include <math.h>
#include <stdio.h>

/* x e^x E1(x) = integral of x e^-u / (x + u) du by its continued fraction (x >= 5), from
 * the back: E1(x) = e^-x / (x + 1/(1 + 1/(x + 2/(1 + 2/(x + ...))))). */
static double scaled_e1(double x)
{
    double tail = x;
    for (int k = 400; k >= 1; k--)
        tail = x + k / (1.0 + k / tail);
    return 1.0 / tail;
}

/* ln of the integral of exp(q e) dt over a ramp, q large enough for x >= 5 at both ends. */
static double closed_form(double from, double to, double seconds, double q, double ref)
{
    const double a = 1000.0 * q / SA_GAS_CONSTANT, hot = fmax(from, to), cold = fmin(from, to);
    const double xh = a / hot, xc = a / cold;
    double h = hot * (1.0 - xh * scaled_e1(xh)), c = cold * (1.0 - xc * scaled_e1(xc));
    return log((h - c * exp(xh - xc)) / (hot - cold) * seconds) - xh + a / ref;
}

static double total(const double *time, const double *temp, size_t n, double q, double ref,
                    double *slope)
{
    sa_history h = {time, temp, n, 0.0, NULL, NULL};
    double value, end = time[n - 1];
    sa_history_integrate(&h, q, ref, &end, 1, &value, slope);
    return value;
}

static void ramps(void)
{
    const double ends[5][2] = {{293, 673}, {900, 300}, {600, 650}, {640, 641}, {293, 1273}};
    const double energies[4] = {60, 180, 400, 900};
    for (int i = 0; i < 5; i++) {
        for (int j = 0; j < 4; j++) {
            double time[2] = {0, 600}, temp[2] = {ends[i][0], ends[i][1]}, slope;
            double q = energies[j], got = total(time, temp, 2, q, 620, &slope);
            double truth = closed_form(temp[0], temp[1], 600, q, 620);
            /* 1 - x e^x E1 loses about x eps; a short ramp, the ratio of its ends */
            check(fabs(got - truth) < (i == 3 ? 1e-9 : 2e-11), "ramp agrees with the closed form");
            double step = 1e-4 * q;
            double rise = total(time, temp, 2, q + step, 620, NULL) -
                          total(time, temp, 2, q - step, 620, NULL);
            check(fabs(rise / (2 * step) - slope) < 1e-8 * fmax(fabs(slope), 1e-2),
                  "slope is the derivative in q");
        }
    }
}

static void constant(void)
{
    double time[3] = {0, 5, 60}, temp[3] = {650, 650, 650}, slope;
    double e = -1000.0 * (1.0 / 650 - 1.0 / 600) / SA_GAS_CONSTANT;
    check(fabs(total(time, temp, 3, 300, 600, &slope) - log(60) - 300 * e) < 1e-13,
          "constant temperature");
    check(fabs(slope - e) < 1e-15, "mean of e at constant temperature");
    check(fabs(total(time, temp, 3, 0, 600, NULL) - log(60)) < 1e-15, "q = 0 counts the time");
    check(isfinite(total(time, temp, 3, 1e5, 600, NULL)), "no overflow");
    /* cold, then so hot that the ratio of the rates is beyond the largest number */
    double log_time[4] = {0, 600, 601, 1200}, hot[4] = {293, 293, 1273, 1273};
    const double at_hot = 1000.0 * (1.0 / 600 - 1.0 / 1273) / SA_GAS_CONSTANT;
    const double held = log(599) + 3000 * at_hot, rise = closed_form(293, 1273, 1, 3000, 600);
    const double truth = held + log1p(exp(rise - held));
    check(fabs(total(log_time, hot, 4, 3000, 600, NULL) - truth) < 1e-9, "a jump beyond the largest number");
}

/* A long log with blocks, marks inside pieces and a cut piece, against single pieces. */
static void blocks(void)
{
    enum { N = 1000, M = 7 };
    static double time[N], temp[N];
    for (int i = 0; i < N; i++) {
        time[i] = i * 0.5;
        temp[i] = 640 + 8 * sin(i * 0.05) + (i == 700 ? 90 : 0);
    }
    const double mark[M] = {0, 0.25, 100, 349.9, 350.1, 499.5, 600};
    double got[M], slope[M], plain[M];
    sa_history h = {time, temp, N, 0.0, NULL, NULL};
    sa_history_integrate(&h, 200, 640, mark, M, got, slope);
    sa_history_integrate(&h, 200, 640, mark, M, plain, NULL);
    check(got[0] == -INFINITY, "no time passed");
    check(isnan(got[6]) && isnan(slope[6]), "beyond the end is not known");
    for (int k = 1; k < 6; k++) {
        double sum = 0;
        for (int i = 1; i < N && time[i - 1] < mark[k]; i++) {
            double end = fmin(time[i], mark[k]), t[2] = {time[i - 1], end};
            double part = (end - time[i - 1]) / (time[i] - time[i - 1]);
            double c[2] = {temp[i - 1], temp[i - 1] + part * (temp[i] - temp[i - 1])};
            sum += exp(total(t, c, 2, 200, 640, NULL));
        }
        check(fabs(got[k] - log(sum)) < 1e-12, "sum of the pieces");
        check(got[k] == plain[k], "the same with and without slope");
    }
}

static void faults(void)
{
    double time[4] = {0, 1, 1, 3}, temp[4] = {300, 310, 310, 320};
    sa_history h = {time, temp, 4, 0.0, NULL, NULL};
    size_t at = 99;
    check(sa_history_check(&h, &at) == SA_HISTORY_FINE, "a good history");
    temp[2] = NAN;
    check(sa_history_check(&h, &at) == SA_HISTORY_MISSING && at == 2, "not a number");
    temp[2] = INFINITY;
    check(sa_history_check(&h, &at) == SA_HISTORY_MISSING && at == 2, "infinite");
    temp[2] = 0;
    check(sa_history_check(&h, &at) == SA_HISTORY_COLD && at == 2, "absolute zero");
    temp[2] = 310;
    time[3] = 0.5;
    check(sa_history_check(&h, &at) == SA_HISTORY_BACK && at == 3, "time falls");
    time[3] = 3;
    temp[3] = 1e12;
    check(sa_history_check(&h, &at) == SA_HISTORY_BEYOND && at == 3, "hotter than any furnace");
    temp[3] = 0.5;
    check(sa_history_check(&h, &at) == SA_HISTORY_BEYOND && at == 3, "colder than any");
    double value = 0, mark = 0;
    h.n = 0;
    check(sa_history_check(&h, &at) == SA_HISTORY_FINE, "no points");
    sa_history_integrate(&h, 200, 600, &mark, 1, &value, NULL);
    check(isnan(value), "no points, nothing known");
    sa_history_integrate(&h, 200, 600, NULL, 0, NULL, NULL);
}

int main(void)
{
    ramps();
    constant();
    blocks();
    faults();
    return report();
}
