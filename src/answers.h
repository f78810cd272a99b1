/* Likelihood intervals of answers: times and temperatures at which a curve meets a target. */
#ifndef SA_ANSWERS_H
#define SA_ANSWERS_H

#include "softening.h"

/* The curve at `coordinate` meets the target at ln t = `log_time`. */
typedef struct {
    sa_target_kind what;
    double target, coordinate, log_time;
    sa_group group;
    int rises; /* the curve of the minimum rises: a property other than hardness */
} sa_meeting;

/* ln k_ref with which the curve of the other parameters meets the target at that place, in
 * closed form, and its gradient in them (0 for ln k_ref itself). Returns 0 when no rate does,
 * or when the curve would pass it the wrong way. */
int sa_meeting_rate(sa_model_kind kind, const sa_meeting *at, const double *par, double *ln_k,
                    double *gradient);

/* The best of a grid of shapes (n, Q) with which the curve meets the target; the other
 * parameters as in `par`, which takes the result. `resid`: room for one number per condition.
 * Returns 0 when none meets it. */
int sa_scan_shapes(const sa_softening *s, const sa_meeting *at, double *par, double *resid);

/* What is moved along the likelihood: the time of the meeting, or its coordinate. */
typedef enum { SA_MOVE_TIME = 0, SA_MOVE_COORDINATE } sa_moved;

/* Moves the meeting to where the curve of `par` has it, a coordinate between `low` and `high`. Returns 0,
 * with the meeting as it was, when that curve never meets the target. */
int sa_meeting_own(sa_model_kind kind, const double *par, sa_moved moved, double low, double high,
                   sa_meeting *at);

typedef struct {
    double objective, threshold; /* least sum of squares, and its rise at the ends */
    double step;                 /* first step, positive */
    double low, high;            /* beyond these a side counts as open */
} sa_walk;

/* Ends of the interval of what is moved, -Inf and Inf where open, NaN where the likelihood cannot be
 * followed (no rate meets the target there). `par`: the minimum. Work:
 * sa_softening_work() doubles. */
void sa_meeting_interval(const sa_softening *s, const sa_meeting *at, sa_moved moved,
                         const sa_walk *walk, const double *par, double ends[2], double *work);

#endif
