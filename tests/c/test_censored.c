/* Limits as readings: slope and curvature of their log-likelihood by differences, and both tails. */
#include "check.h"
#include "censored.h"
#include <math.h>

static double log_likelihood(int side, double bound, double mu, double sd)
{
    return log(0.5 * erfc(side * (bound - mu) / sd / sqrt(2.0)));
}

int main(void)
{
    const double sd = 1.7, mu[] = {140, 148, 150, 151, 155, 158}, bound = 150, step = 1e-3;
    for (int side = -1; side <= 1; side += 2)
        for (size_t i = 0; i < 6; i++) {
            double working, weight;
            sa_censored_working(1, &side, &bound, mu + i, sd, NULL, &working, &weight);
            const double up = log_likelihood(side, bound, mu[i] + step, sd),
                         at = log_likelihood(side, bound, mu[i], sd),
                         down = log_likelihood(side, bound, mu[i] - step, sd);
            if (weight > 1e-4) {
                check(near(weight, -(up - 2 * at + down) / (step * step) * sd * sd, 1e-3), "curvature");
                check(near(weight * (working - mu[i]), (up - down) / (2 * step) * sd * sd, 1e-4), "slope");
            }
        }
    /* readings stay; a limit far beyond the curve is a reading, one far behind says nothing; weights */
    const int side[] = {0, 1, 1, -1, 1};
    const double at[] = {150, 400, 20, 400, 400}, curve[] = {140, 150, 150, 150, 150}, prior[] = {3, 1, 1, 1, 0};
    double working[5], weight[5];
    sa_censored_working(5, side, at, curve, sd, prior, working, weight);
    check(near(working[0], 150, 0) && near(weight[0], 3, 0), "a reading");
    check(near(working[1], 400, 1e-4) && near(weight[1], 1, 1e-3), "far beyond");
    check(weight[2] < 1e-7 && working[2] >= 150, "far behind");
    check(weight[3] < 1e-7 && working[3] <= 150, "far behind, at most");
    check(weight[4] == 0.0, "without weight");
    return report();
}
