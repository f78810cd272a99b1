/* Pooled estimates of many groups: SEXP in, SEXP out. */
#include "glue_posterior.h"
#include "pool.h"
#include <math.h>

/* y: p x groups; cov: upper triangles by columns x groups; has: p x groups; start: p x p between. */
SEXP sa_call_pool(SEXP y, SEXP cov, SEXP has, SEXP start)
{
    const char *fields[] = {"mean",     "mean_cov", "between", "drawn", "variance",
                            "distance", "told",     "counts",  "criterion", ""};
    const size_t p = (size_t)Rf_nrows(y), groups = (size_t)Rf_ncols(y);
    if (p < 1 || p > SA_POOL_MOST || groups < 2)
        Rf_error("internal error: nothing to pool");
    const R_xlen_t all = (R_xlen_t)(p * groups), triangle = (R_xlen_t)(p * (p + 1) / 2);
    const sa_pool f = {.groups = groups,
                       .p = p,
                       .y = glue_doubles(y, all, "y"),
                       .cov = glue_doubles(cov, triangle * (R_xlen_t)groups, "cov"),
                       .has = glue_integers(has, all, "has"),
                       .poll = glue_poll};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    double *mean = glue_put_doubles(out, "mean", p), *mean_cov = glue_put_matrix(out, "mean_cov", p, p);
    double *between = glue_put_matrix(out, "between", p, p);
    double *drawn = glue_put_matrix(out, "drawn", p, groups), *variance = glue_put_matrix(out, "variance", p, groups);
    double *distance = glue_put_doubles(out, "distance", groups);
    int *told = glue_put_integers(out, "told", groups), *counts = glue_put_integers(out, "counts", 3);
    memcpy(between, glue_doubles(start, (R_xlen_t)(p * p), "start"), p * p * sizeof(double));
    memset(mean, 0, p * sizeof(double));
    memset(mean_cov, 0, p * p * sizeof(double));
    double *work = (double *)R_alloc(sa_pool_work(&f), sizeof(double));
    sa_pool_result result = {NAN, 0, 0};
    counts[0] = (int)sa_pool_fit(&f, mean, mean_cov, between, work, &result);
    counts[1] = result.iterations;
    counts[2] = result.converged;
    glue_put_doubles(out, "criterion", 1)[0] = result.criterion;
    for (size_t i = 0; i < p * groups; i++)
        drawn[i] = variance[i] = NA_REAL;
    for (size_t g = 0; g < groups; g++) {
        distance[g] = NA_REAL;
        told[g] = 0;
    }
    if (counts[0] != SA_SINGULAR)
        sa_pool_groups(&f, mean, mean_cov, between, drawn, variance, distance, told);
    UNPROTECT(1);
    return out;
}
