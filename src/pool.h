/* Estimates of many groups with their covariances, pooled; see pool.c. */
#ifndef SA_POOL_H
#define SA_POOL_H

#include "status.h"
#include <stddef.h>

#define SA_POOL_MOST 16 /* parameters */

/* Columns are groups. `cov`: upper triangles by columns. What a group does not tell is marked in
 * `has`. */
typedef struct {
    size_t groups, p;
    const double *y;   /* p x groups */
    const double *cov; /* p (p + 1) / 2 x groups */
    const int *has;    /* p x groups */
    sa_poll poll;
    void *poll_context;
} sa_pool;

typedef struct {
    double criterion; /* ln of the restricted likelihood */
    int iterations, converged;
} sa_pool_result;

/* Doubles of work. */
size_t sa_pool_work(const sa_pool *f);

/* Mean and covariance between groups (p x p) by restricted maximum likelihood; `mean` with its covariance.
 * `between`: start in. Returns SA_OK, SA_LIMIT, SA_SINGULAR, SA_INTERRUPTED. */
sa_status sa_pool_fit(const sa_pool *f, double *mean, double *mean_cov, double *between, double *work,
                      sa_pool_result *result);

/* Of each group after the fit: estimate drawn to the mean and its variance (p x groups), distance from the
 * mean (quadratic form of what the group tells) and how many parameters it tells. */
void sa_pool_groups(const sa_pool *f, const double *mean, const double *mean_cov, const double *between,
                    double *drawn, double *variance, double *distance, int *told);

#endif
