/* Readings known as a limit only, in a least-squares fit; see censored.c. */
#ifndef SA_CENSORED_H
#define SA_CENSORED_H

#include <stddef.h>

/* Each limit (side 1: at least `bound`; -1: at most; 0: a reading, left as it is) as the reading
 * and weight of the Newton step of its likelihood at the values `curve`. `sd`: of a reading of
 * weight 1; `prior`: weights, NULL: all 1. Arrays have room for n. */
void sa_censored_working(size_t n, const int *side, const double *bound, const double *curve,
                         double sd, const double *prior, double *working, double *weight);

/* Steps of several readings, some of which are limits (`side` as above), under a normal law of the
 * steps. Steps of different blocks are independent. */
typedef struct {
    size_t n_step, n_block, n;       /* steps, blocks, readings */
    const int *first;                /* first step of each block, and the end */
    const double *mean, *covariance; /* of the steps; n_step x n_step */
    const int *step, *side;          /* of each reading */
    const double *value,
        *variance; /* reading or bound; variance of a reading about its step, above 0 */
} sa_limits;

size_t sa_limits_work(const sa_limits *l);

/* Limits as normal readings of their step, `site` with variance `site_variance` (on entry those of
 * a round before, or a variance of 0); readings are their own. Mean and variance of each step given
 * all. Returns 0 where the sites do not come to rest. */
int sa_limits_sites(const sa_limits *l, double *site, double *site_variance, double *step_mean,
                    double *step_variance, double *work);

#endif
