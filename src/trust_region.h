/* The step of the solver within a trust region and bounds; see trust_region.c. */
#ifndef SA_TRUST_REGION_H
#define SA_TRUST_REGION_H

#include "least_squares.h"

/* What one iteration works on; all arrays are parts of the caller's work space. */
typedef struct {
    size_t p;
    double *tri, *c;            /* p x p triangle R of the Jacobian, and Q'r */
    double *g, *d, *colnorm;    /* gradient, scale, column norms */
    double *step, *trial, *old; /* step, where it leads, where it came from */
    double *a, *fc, *fd, *fs;   /* the same problem in the free parameters */
    double *damp;               /* work of the damped step */
    double radius, lambda;
    int *frozen;                /* as ints in the work space: out of this step */
    int *stay;                  /* likewise: out of all steps of this iteration */
} sa_region;

/* Parts of `memory`, 4 p p + 15 p doubles; no scale yet. */
sa_region sa_region_place(double *memory, size_t p);

/* Triangle, gradient and scales from the weighted Jacobian (n x p, destroyed) and residuals; 0,
 * with nothing done, where a column of it is not finite. */
int sa_region_reduce(sa_region *ws, size_t n, double *copy, double *rhs);

/* Marks the parameters held by a bound; returns the largest cosine between the residual
 * and a column that is free to move. */
double sa_region_cosine(const sa_region *ws, const sa_lsq_problem *pb, const double *par,
                        double rnorm, int *at_bound);

/* Step of the free parameters inside radius and box: `step` and `trial`. */
void sa_region_step(sa_region *ws, const sa_lsq_problem *pb, const double *par,
                    const int *at_bound);

/* Keeps coordinates that only run to their bounds where they are; returns how many more. */
size_t sa_region_settle(sa_region *ws, const sa_lsq_problem *pb, const double *par);

/* Reduction of half the objective that the linear model promises along the step, and its slope. */
double sa_region_promised(const sa_region *ws, double *linear);

/* New radius and damping after a trial. */
void sa_region_adapt(sa_region *ws, double ratio, double actual, double linear, double length,
                     int finite);

/* || D s ||, f coordinates. */
double sa_scaled_norm(const double *d, const double *s, size_t f);

#endif
