/* Posterior of a softening model under components of error; see posterior.c. */
#ifndef SA_POSTERIOR_H
#define SA_POSTERIOR_H

#include "furnaces.h"
#include "status.h"

/* Standard deviations: those of components.h, then that of a reading. Twin: POSTERIOR_SDS in
 * R/posterior.R. */
enum { SA_S_FURNACE = 0, SA_S_PIECE, SA_S_STEP, SA_S_OPERATOR, SA_S_READING, SA_S_COUNT };

#define SA_MOST_OPERATORS 16
#define SA_MOST_FURNACES 64

/* Priors of one number. Twin: PRIOR_FORMS in R/posterior-prior.R. */
typedef enum {
    SA_BELIEF_FIXED = 0,
    SA_BELIEF_FLAT,
    SA_BELIEF_NORMAL,      /* mean, sd */
    SA_BELIEF_LOG_NORMAL,  /* ln of the median, sd of the logarithm */
    SA_BELIEF_HALF_NORMAL, /* 0, scale */
    SA_BELIEF_HALF_CAUCHY  /* 0, scale */
} sa_belief_kind;

typedef struct {
    sa_belief_kind kind;
    double a, b;
} sa_belief;

/* The unknowns, in this order: free parameters between their bounds on the logit scale, logarithms of
 * the standard deviations that are not fixed (or near them), errors of the furnaces in standard
 * deviations. Arrays in order of the steps. */
typedef struct {
    sa_model_kind kind;
    sa_clock clock;
    size_t n, p;                   /* steps, parameters */
    const double *y;               /* means of the steps */
    const double *per_reading;     /* part of the variance of one reading in the mean */
    const double *factor;          /* multiple of the variance of a step */
    double least;                  /* variance that every mean has */
    double df_reading, ss_reading; /* readings about the mean of their step */
    size_t n_piece, n_operator;
    const int *piece;              /* n, or -1 */
    const double *share;           /* n x n_operator */
    sa_furnaces furnaces;          /* of: run of each step or -1; scale: multiple of the sd */
    const double *lower, *upper;   /* p */
    const double *fixed;           /* p: values of those that are fixed */
    const sa_belief *belief;       /* p; kind SA_BELIEF_FIXED: fixed */
    sa_belief sd[SA_S_COUNT];      /* fixed: at `b` */
    size_t n_linear;               /* normal priors of sums: row x parameters */
    const double *linear, *linear_mean, *linear_sd;
    int hour;                      /* prior of the temperature of a fraction in a time */
    double hour_mean_k, hour_sd, hour_fraction, hour_min;
    const double *shear;           /* free parameters x runs, or NULL */
    double *work;                  /* sa_posterior_work() */
} sa_posterior;

size_t sa_posterior_unknowns(const sa_posterior *f);
size_t sa_posterior_work(const sa_posterior *f);

/* ln of the density of the unknowns `u`, up to a constant, and its gradient (may be NULL); -Inf where
 * there is none. */
double sa_posterior_density(const sa_posterior *f, const double *u, double *gradient);

/* Parameters (p), standard deviations (SA_S_COUNT) and furnace errors (in the unit of their scale) of
 * unknowns; and back, values at a bound moved within. */
void sa_posterior_values(const sa_posterior *f, const double *u, double *par, double *sd,
                         double *error);
void sa_posterior_place(const sa_posterior *f, const double *par, const double *sd, double *u);

/* The shear at unknowns (without one), to `shear` (free parameters x runs), which must stay. */
void sa_posterior_shear(sa_posterior *f, const double *u, double *shear);

#endif
