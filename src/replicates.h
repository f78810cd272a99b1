/* Readings gathered into conditions and clusters; see replicates.c. */
#ifndef SA_REPLICATES_H
#define SA_REPLICATES_H

#include "status.h"
#include <math.h>
#include <stddef.h>

/* Set temperatures (K), times and strains count as the same within 1e-9. Twin: R/same.R. */
static inline int sa_same(double a, double b)
{
    if (a == b)
        return 1;
    const double x = fabs(a), y = fabs(b);
    return fabs(a - b) <= 1e-9 * (x > y ? x : y);
}

typedef struct {
    size_t n;
    const double *temp_k, *time, *hardness;
    const double *weight;  /* NULL: all 1 */
    const int *specimen;   /* any labels */
    const int *order;      /* 1-based, sorts by temperature, time, strain, specimen */
    const double *strain;  /* part of the condition; NULL: none */
} sa_readings;

/* A condition is one temperature and time (and strain); a cluster is one specimen in it, that is
 * one step. Arrays hold room for n entries each and belong to the caller. */
typedef struct {
    size_t n_condition, n_cluster;
    int *condition_of, *cluster_of; /* of each reading */
    double *temp_k, *time, *log_time, *mean, *weight; /* of each condition */
    int *first_of;                                    /* condition of each cluster */
    double *cluster_mean, *cluster_weight;
    double pure_error; /* sum of w (y - condition mean)^2 */
    double *strain;    /* of each condition; not touched where the readings have none */
} sa_replicates;

/* merge = 0 keeps every reading as a condition of its own (needed by a robust loss). */
void sa_gather(const sa_readings *readings, int merge, sa_replicates *out);

#endif
