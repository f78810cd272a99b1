/* Limits as readings: slope and curvature of their log-likelihood by differences, and both tails.
 */
#include "censored.h"
#include "check.h"
#include <math.h>

static double log_likelihood(int side, double bound, double mu, double sd)
{
    return log(0.5 * erfc(side * (bound - mu) / sd / sqrt(2.0)));
}

/* Sites of limits within steps: one limit alone is exact, and a step with a reading and two limits
 * has the mean and variance of its density, here summed on a grid. */
static void limits_of_steps(void)
{
    const int first[] = {0, 1, 2}, alone[] = {0, 1}, one_side[] = {1, 0};
    const double mean[] = {150, 140}, covariance[] = {3, 0, 0, 2}, bound[] = {152, 141},
                 own[] = {1.5, 1.5};
    double site[4] = {0}, variance[4] = {0}, step_mean[2], step_variance[2], work[6], working,
           weight;
    sa_limits l = {.n_step = 2,
                   .n_block = 2,
                   .n = 2,
                   .first = first,
                   .mean = mean,
                   .covariance = covariance,
                   .step = alone,
                   .side = one_side,
                   .value = bound,
                   .variance = own};
    check(sa_limits_work(&l) == 2 &&
              sa_limits_sites(&l, site, variance, step_mean, step_variance, work),
          "rest");
    sa_censored_working(1, one_side, bound, mean, sqrt(4.5), NULL, &working, &weight);
    check(near(site[0], working, 1e-9) && near(variance[0] + 3, 4.5 / weight, 1e-9), "one limit");
    check(near(step_mean[1], 140 + 2.0 / 3.5, 1e-12) && near(step_variance[1], 3.0 / 3.5, 1e-12),
          "a reading");
    const int together[] = {0, 2}, step[] = {0, 0, 0, 1}, side[] = {1, 0, -1, 1};
    const double joint[] = {3, 1.2, 1.2, 2}, value[] = {151, 149, 153, 142}, sds[] = {2, 2, 2, 1.5};
    l = (sa_limits){.n_step = 2,
                    .n_block = 1,
                    .n = 4,
                    .first = together,
                    .mean = mean,
                    .covariance = joint,
                    .step = step,
                    .side = side,
                    .value = value,
                    .variance = sds};
    for (int i = 0; i < 4; i++)
        site[i] = variance[i] = 0;
    check(sa_limits_work(&l) == 6 &&
              sa_limits_sites(&l, site, variance, step_mean, step_variance, work),
          "rest");
    double again_mean[2], again_variance[2];
    check(sa_limits_sites(&l, site, variance, again_mean, again_variance, work), "rest again");
    for (int k = 0; k < 2; k++)
        check(near(again_mean[k], step_mean[k], 1e-10) &&
                  near(again_variance[k], step_variance[k], 1e-8),
              "sites at rest stay");
    double sum = 0, m[2] = {0}, v[2] = {0};
    const double det = 3 * 2 - 1.2 * 1.2;
    for (double a = -9; a <= 9; a += 0.05)
        for (double b = -9; b <= 9; b += 0.05) {
            const double d = (2 * a * a - 2.4 * a * b + 3 * b * b) / det, e = 149 - 150 - a;
            const double w =
                exp(-0.5 * d - 0.25 * e * e + log_likelihood(1, 151, 150 + a, sqrt(2)) +
                    log_likelihood(-1, 153, 150 + a, sqrt(2)) +
                    log_likelihood(1, 142, 140 + b, sqrt(1.5)));
            sum += w;
            m[0] += w * a;
            m[1] += w * b;
            v[0] += w * a * a;
            v[1] += w * b * b;
        }
    for (int k = 0; k < 2; k++) {
        m[k] /= sum;
        check(fabs(step_mean[k] - mean[k] - m[k]) < 3e-3, "mean of a step");
        check(near(step_variance[k], v[k] / sum - m[k] * m[k], 5e-3), "variance of a step");
    }
}

int main(void)
{
    limits_of_steps();
    const double sd = 1.7, mu[] = {140, 148, 150, 151, 155, 158}, bound = 150, step = 1e-3;
    for (int side = -1; side <= 1; side += 2)
        for (size_t i = 0; i < 6; i++) {
            double working, weight;
            sa_censored_working(1, &side, &bound, mu + i, sd, NULL, &working, &weight);
            const double up = log_likelihood(side, bound, mu[i] + step, sd),
                         at = log_likelihood(side, bound, mu[i], sd),
                         down = log_likelihood(side, bound, mu[i] - step, sd);
            if (weight > 1e-4) {
                check(near(weight, -(up - 2 * at + down) / (step * step) * sd * sd, 1e-3),
                      "curvature");
                check(near(weight * (working - mu[i]), (up - down) / (2 * step) * sd * sd, 1e-4),
                      "slope");
            }
        }
    /* readings stay; a limit far beyond the curve is a reading, one far behind says nothing;
     * weights */
    const int side[] = {0, 1, 1, -1, 1};
    const double at[] = {150, 400, 20, 400, 400}, curve[] = {140, 150, 150, 150, 150},
                 prior[] = {3, 1, 1, 1, 0};
    double working[5], weight[5];
    sa_censored_working(5, side, at, curve, sd, prior, working, weight);
    check(near(working[0], 150, 0) && near(weight[0], 3, 0), "a reading");
    check(near(working[1], 400, 1e-4) && near(weight[1], 1, 1e-3), "far beyond");
    check(weight[2] < 1e-7 && working[2] >= 150, "far behind");
    check(weight[3] < 1e-7 && working[3] <= 150, "far behind, at most");
    check(weight[4] == 0.0, "without weight");
    return report();
}
