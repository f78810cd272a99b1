/* Softening fit under components of error; see mixed.c. */
#ifndef SA_MIXED_H
#define SA_MIXED_H

#include "components.h"
#include "softening.h"

/* The fit of step means. `s` holds the steps in any order, without weights; step i of the structure
 * `c` is its row[i]. `shift`: room for shifts of its clock, written here; y, x and g of `c` point to
 * arrays written here. */
typedef struct {
    sa_softening *s;
    sa_components *c;
    const int *row;
    double *shift;
    double *x, *y, *g;           /* n x free parameters, n, n */
    const double *furnace_scale; /* of each step: multiple of the furnace's standard deviation */
    const int *estimated;        /* of each variance */
    double ref_k;
} sa_mixed;

typedef struct {
    double criterion;
    int iterations, converged;
    size_t free; /* parameters that moved; their places in `place` */
    size_t place[SA_MODEL_MAX_PAR];
} sa_mixed_result;

size_t sa_mixed_work(const sa_mixed *f);

/* Shifts of the clock by furnace errors, one for each column of the structure. */
void sa_mixed_shift(const sa_mixed *f, const double *mode);

/* `par` and `variance`: start in, estimate out. Modes of the random columns and operators with
 * their standard deviations; information as of sa_components_reml(). `held` of the problem is
 * respected; a parameter that runs to a bound is held there. On return x, y, g hold the linear
 * model at the estimate. */
sa_status sa_mixed_fit(const sa_mixed *f, double *par, double *variance, double *information,
                       double *mode, double *mode_sd, double *operator_mode, double *operator_sd,
                       double *cov, sa_mixed_result *result, double *work);

/* A place for what the readings leave open: `open` marks parameters (held in the fit) whose place in `par`
 * is that where a solver stopped in a flat valley. Moves them as near to fixed values of the register as the
 * readings allow without loss, the others following, so that the place depends on the readings alone; leaves
 * `par` where that cannot be had. Before sa_mixed_fit(). Work: sa_mixed_settle_work(). */
size_t sa_mixed_settle_work(const sa_mixed *f);
void sa_mixed_settle(const sa_mixed *f, const int *open, double *par, double *work);

#endif
