/* Likelihood intervals of the curve itself: hardness at a place. See answers_curve.c. */
#ifndef SA_ANSWERS_CURVE_H
#define SA_ANSWERS_CURVE_H

#include "softening.h"

/* A place of the curve at constant temperature. */
typedef struct {
    double log_time, coordinate;
    sa_group group;
} sa_place;

/* Ends of the interval of the hardness at `at`: the values reached where the sum of squares has
 * risen from `objective` by `threshold`, -Inf and Inf where it never does. `par`: the minimum.
 * `step`: first step, positive; about the half width sought. Work: sa_curve_work() doubles. */
void sa_curve_interval(const sa_softening *s, const sa_place *at, double objective,
                       double threshold, double step, const double *par, double ends[2],
                       double *work);

/* 0 on overflow. */
size_t sa_curve_work(size_t n_condition, size_t n_par);

#endif
