/* One fit of many groups in which some parameters are common to all; see shared.c. */
#ifndef SA_SHARED_H
#define SA_SHARED_H

#include "model.h"

/* Rows of a group stand together: first[g], ..., first[g] + size[g] - 1 (0-based). */
typedef struct {
    sa_model_kind kind;
    size_t groups, largest;         /* largest: most rows of a group */
    const int *first, *size;
    const double *coordinate;       /* of 1/T about one reference, mol/kJ */
    const double *log_time;         /* ln min, -Inf at time zero */
    const double *hardness, *root;  /* root: square root of the weight */
    const int *common, *held;       /* p flags; a held parameter stays at its start */
    const double *lower, *upper;    /* p bounds, the same in all groups */
    int max_iterations;
    double ftol;                    /* relative reduction of the sum of squares */
    sa_poll poll;
    void *poll_context;
} sa_shared;

/* Doubles of work space, 0 on overflow. */
size_t sa_shared_work(const sa_shared *fit);

/* `par` (p x groups): start in, minimum out; common ones the same in all columns. `triangle` (s x s for the
 * s common free parameters, by columns): upper triangle whose cross product is the information on them after
 * elimination of all others. SA_LIMIT at the iteration limit, SA_NOT_FINITE at a bad start. */
sa_status sa_shared_fit(const sa_shared *fit, double *par, double *triangle, double *objective,
                        int *iterations, double *work);

#endif
