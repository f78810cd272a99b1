/* What one more thing at the bench is worth; see posterior_next.c. */
#ifndef SA_POSTERIOR_NEXT_H
#define SA_POSTERIOR_NEXT_H

#include "design.h"
#include "posterior.h"

/* Conditions: those read, then those of the choices. */
typedef struct {
    sa_model_kind kind;
    size_t n_draw, n, p;
    const double *draws;       /* n_draw x p by rows */
    const double *sd;          /* n_draw x SA_S_COUNT by rows */
    const int *estimated;      /* p */
    const double *known;       /* information of the prior, packed by rows over p */
    const double *coordinate, *log_time, *inverse; /* n: e in mol/kJ, ln t, 1/T in 1/K */
    const double *before, *after; /* n: readings of the mean of the step before and with the choice */
    const double *scale;       /* n: multiple of the furnace sd */
    const int *piece, *run;    /* n: which specimen; which furnace run or -1 */
    size_t n_piece, n_run;
    const int *choice;         /* n: 0 for what was read, else of which choice */
    size_t n_choice;
    const double *calibrated;  /* n_choice: standard uncertainty of a calibration of the runs in K, or 0 */
    sa_design_aim aim;
    size_t n_aim;
    const double *aim_coordinate;
    double target;
    sa_poll poll;
} sa_next;

/* Doubles of `work`. */
size_t sa_next_work(const sa_next *f);

/* ln variance of the aim (mean over its places) at each draw (rows of 1 + n_choice: as it is, then with each
 * choice); NaN where the aim does not exist. */
sa_status sa_next_value(const sa_next *f, double *out, double *work);

#endif
