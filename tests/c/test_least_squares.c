/* The solver without R: the Rosenbrock valley, bounds, a rank-deficient problem, an exact one,
 * a start that cannot be evaluated, and the limit. */
#include "check.h"
#include "least_squares.h"
#include "linear.h"
#include <stdlib.h>

/* Rosenbrock (1960): r = (10 (y - x^2), 1 - x), minimum 0 at (1, 1). */
static int rosenbrock(const double *p, double *r, double *j, void *context)
{
    (void)context;
    r[0] = 10.0 * (p[1] - p[0] * p[0]);
    r[1] = 1.0 - p[0];
    if (j) {
        j[0] = -20.0 * p[0];
        j[1] = -1.0;
        j[2] = 10.0;
        j[3] = 0.0;
    }
    return 0;
}

/* Only the sum of the two parameters matters. */
static int only_sum(const double *p, double *r, double *j, void *context)
{
    (void)context;
    for (int i = 0; i < 3; i++) {
        r[i] = (p[0] + p[1]) * (i + 1) - 3.0 * (i + 1) - (i == 1 ? 0.5 : 0.0);
        if (j)
            j[i] = j[i + 3] = i + 1;
    }
    return 0;
}

/* The second parameter counts 1e-120 of the first: no damping makes the triangle regular. */
static int far_apart(const double *p, double *r, double *j, void *context)
{
    (void)context;
    for (int i = 0; i < 3; i++) {
        r[i] = (p[0] + 1e-120 * p[1] * (i + 1)) - (double)i;
        if (j) {
            j[i] = 1.0;
            j[i + 3] = 1e-120 * (i + 1);
        }
    }
    return 0;
}

static int never(const double *p, double *r, double *j, void *context)
{
    (void)p;
    (void)r;
    (void)j;
    (void)context;
    return 1;
}

/* A root: its slope at zero is not finite, though its value is. */
static int root_edge(const double *p, double *r, double *j, void *context)
{
    (void)context;
    r[0] = sqrt(p[0]) - 3.0;
    r[1] = p[1] - 1.0;
    if (j) {
        j[0] = 0.5 / sqrt(p[0]);
        j[1] = j[2] = 0.0;
        j[3] = 1.0;
    }
    return 0;
}

static int stop_at_once(void *context)
{
    (void)context;
    return 1;
}

static double rubbish; /* what the work space holds before */

static sa_status solve(sa_residuals fn, size_t n, const double *lower, const double *upper,
                       sa_lsq_control ctl, double *par, int *at_bound, double *jac,
                       sa_lsq_result *res)
{
    sa_lsq_problem pb = {n, 2, lower, upper, NULL, NULL, fn, NULL};
    double resid[3];
    double *work = malloc(sa_lsq_work(n, 2) * sizeof(double));
    for (size_t i = 0; i < sa_lsq_work(n, 2); i++)
        work[i] = rubbish;
    sa_status st = sa_lsq_fit(&pb, &ctl, par, resid, jac, at_bound, work, res);
    free(work);
    return st;
}

int main(void)
{
    double par[2] = {-1.2, 1.0}, jac[6];
    int bound[2];
    sa_lsq_result res;
    sa_lsq_control ctl = sa_lsq_defaults();

    check(solve(rosenbrock, 2, NULL, NULL, ctl, par, bound, jac, &res) == SA_OK, "valley: status");
    check(near(par[0], 1, 1e-10) && near(par[1], 1, 1e-10), "valley: minimum");
    check(res.objective < 1e-18, "valley: objective");

    double upper[2] = {0.5, 10.0}, lower[2] = {-10.0, -10.0};
    par[0] = -1.2;
    par[1] = 1.0;
    check(solve(rosenbrock, 2, lower, upper, ctl, par, bound, jac, &res) == SA_OK, "bound: status");
    check(par[0] == 0.5 && near(par[1], 0.25, 1e-9), "bound: minimum on the bound");
    check(bound[0] == 1 && bound[1] == 0, "bound: said which");
    check(near(res.objective, 0.25, 1e-9), "bound: objective");

    par[0] = 0.3;
    par[1] = 0.1;
    check(solve(only_sum, 3, NULL, NULL, ctl, par, bound, jac, &res) == SA_OK, "sum: status");
    check(near(par[0] + par[1], 3.0 + 1.0 / 14.0, 1e-10), "sum: least squares");
    double cov[4], null[4], singular[2], loading[2], work[64];
    size_t rank = sa_covariance(jac, 3, 2, NULL, 1e-10, cov, null, singular, loading, work);
    check(rank == 1, "sum: rank one");
    check(near(loading[0], 0.5, 1e-10) && near(loading[1], 0.5, 1e-10), "sum: both undetermined");
    double seen = null[0] + null[1] + null[2] + null[3]; /* gradient (1, 1) is determined */
    check(fabs(seen) < 1e-12, "sum: the sum itself is determined");

    const double fill[3] = {0.0, NAN, -1e10};
    double first[3] = {0.0, 0.0, 0.0};
    for (int k = 0; k < 3; k++) {
        rubbish = fill[k];
        par[0] = 7.0;
        par[1] = 0.5;
        sa_status st = solve(far_apart, 3, NULL, NULL, ctl, par, bound, jac, &res);
        if (k == 0) {
            first[0] = par[0];
            first[1] = par[1];
            first[2] = res.objective;
        }
        check(st == SA_OK || st == SA_LIMIT, "far: status");
        check(res.objective < 2.0, "far: better than the mean");
        check(par[0] == first[0] && par[1] == first[1] && res.objective == first[2],
              "far: what the work space held does not matter");
        par[0] = -1.2;
        par[1] = 1.0;
        check(solve(rosenbrock, 2, NULL, NULL, ctl, par, bound, jac, &res) == SA_OK && par[0] == 1.0,
              "what the work space held does not matter");
    }

    /* a column next to nothing: not determined, rather than a variance beyond all numbers */
    const double faint[6] = {1, 2, 3, 1e-156, 2e-157, -1e-156};
    rank = sa_covariance(faint, 3, 2, NULL, 1e-10, cov, null, singular, loading, work);
    check(rank == 1 && near(loading[1], 1, 1e-10), "faint column: undetermined");
    check(isfinite(cov[0]) && cov[1] == 0 && cov[2] == 0 && cov[3] == 0, "faint column: no variance");

    par[0] = par[1] = 0.0;
    check(solve(never, 2, NULL, NULL, ctl, par, bound, jac, &res) == SA_NOT_FINITE, "never");
    check(res.end == SA_END_START, "never: end named");

    /* a slope that is not a number is not an answer, nor is a step made of what lies in memory */
    par[0] = par[1] = 0.0;
    check(solve(root_edge, 2, NULL, NULL, ctl, par, bound, jac, &res) == SA_NOT_FINITE,
          "edge: derivatives not finite");
    check(res.end == SA_END_START && par[0] == 0.0 && par[1] == 0.0, "edge: stays at the start");
    par[0] = 0.5;
    check(solve(root_edge, 2, NULL, NULL, ctl, par, bound, jac, &res) == SA_OK &&
              near(par[0], 9.0, 1e-9), "edge: from inside");

    ctl.max_iterations = 2;
    par[0] = -1.2;
    par[1] = 1.0;
    check(solve(rosenbrock, 2, NULL, NULL, ctl, par, bound, jac, &res) == SA_LIMIT, "limit");
    check(res.end == SA_END_LIMIT && res.iterations == 2, "limit: end named");

    /* what is said of bounds and gradient at the limit belongs to the point returned */
    double most[2] = {0.5, 10.0};
    ctl.max_iterations = 1;
    par[0] = 0.3;
    par[1] = 0.1;
    check(solve(rosenbrock, 2, NULL, most, ctl, par, bound, jac, &res) == SA_LIMIT, "limit: again");
    double r[2], j[4], cosine = 0.0;
    rosenbrock(par, r, j, NULL);
    for (int k = 0; k < 2; k++) {
        const double g = j[2 * k] * r[0] + j[2 * k + 1] * r[1];
        if (bound[k] == 0)
            cosine = fmax(cosine, fabs(g) / (hypot(j[2 * k], j[2 * k + 1]) * hypot(r[0], r[1])));
    }
    check(near(res.cosine, cosine, 1e-12), "limit: cosine of the point returned");

    ctl = sa_lsq_defaults();
    ctl.poll = stop_at_once;
    check(solve(rosenbrock, 2, NULL, NULL, ctl, par, bound, jac, &res) == SA_INTERRUPTED, "poll");

    check(sa_lsq_work((size_t)-1, 5) == 0, "overflow is noticed");
    return report();
}
