/* Between profile_walk.c, which follows one profile, and profile.c, which judges by it. */
#ifndef SA_PROFILE_H
#define SA_PROFILE_H

#include "softening.h"

/* One profile: parameter `which` fixed at a value, the others refitted from where they are. */
typedef struct {
    sa_softening s;
    sa_lsq_control control;
    int held[SA_MODEL_MAX_PAR];
    size_t p;
    sa_model_layout at;
    double threshold; /* rise of the sum of squares at the ends of an interval */
    double *resid, *jac, *work;
} sa_profiler;

/* Sum of squares at a point, without solving. */
double sa_profile_sum(sa_profiler *f, const sa_lsq_problem *pb, const double *par);

/* Outwards from the minimum to the bound in growing steps. Returns 1 when the sum of
 * squares passes the ceiling (limit set when wanted), 0 when the side is open, -1 when a
 * lower minimum was met. `par`: the parameters at the end reached, or at that minimum. */
int sa_profile_follow(sa_profiler *f, size_t which, int side, const double *minimum, double objective,
                      double ceiling, double step, int refine, double *limit, double *par);

#endif
