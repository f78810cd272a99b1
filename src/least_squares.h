/* Nonlinear least squares with bounds: Levenberg-Marquardt in a trust region.
 * See least_squares.c for the method and its sources. */
#ifndef SA_LEAST_SQUARES_H
#define SA_LEAST_SQUARES_H

#include "status.h"
#include <stddef.h>

/* Residuals (model minus data, or any vector to be made small) at `par`; when `jac` is
 * not NULL also their derivatives, n x p by columns. Returns 0, or non-zero when the
 * model cannot be evaluated there (the step is then rejected). */
typedef int (*sa_residuals)(const double *par, double *resid, double *jac, void *context);

typedef struct {
    size_t n, p;
    const double *lower, *upper; /* bounds, may be infinite; NULL: none */
    const double *root_weight;   /* square roots of case weights; NULL: all 1 */
    const int *held;             /* non-zero: parameter stays at its start; NULL: none */
    sa_residuals fn;
    void *context;
} sa_lsq_problem;

/* Last digits: of a regular problem, or also of what the residuals see where they leave a direction open. */
enum { SA_POLISH = 1, SA_POLISH_ALL };

typedef struct {
    double ftol, xtol, gtol; /* relative: reduction of the sum, step, cosine */
    double first_radius;     /* first trust radius as a multiple of the scaled start */
    double huber;            /* 0: least squares; k > 0: Huber loss, k robust sd */
    int max_iterations;
    double creep;            /* share of the objective below which 50 iterations together
                              * gain too little to go on: a valley without end; 0: go on */
    int polish;              /* steps at the end, for the last digits: SA_POLISH, SA_POLISH_ALL or 0 */
    sa_poll poll;
    void *poll_context;
} sa_lsq_control;

/* How the iteration ended; converged before SA_END_LIMIT. */
typedef enum {
    SA_END_FUNCTION = 0, /* sum of squares cannot be reduced further, relative */
    SA_END_STEP,         /* parameters do not move any more, relative */
    SA_END_GRADIENT,     /* residuals orthogonal to every free column */
    SA_END_EXACT,        /* residuals vanish to rounding */
    SA_END_LIMIT,        /* iteration limit */
    SA_END_START,        /* model not finite at the start */
    SA_END_INTERRUPTED,
    SA_LSQ_ENDS
} sa_lsq_end;

extern const sa_word sa_lsq_ends[SA_LSQ_ENDS]; /* in words */

typedef struct {
    sa_lsq_end end;
    int iterations, evaluations;
    double objective; /* weighted sum of squares (Huber: 2 sum rho) */
    double cosine;    /* largest cosine between residual and a free column at the end */
    double scale;     /* robust sd used by Huber; 0 without */
} sa_lsq_result;

sa_lsq_control sa_lsq_defaults(void);

/* Doubles of work space needed, 0 on overflow. */
size_t sa_lsq_work(size_t n, size_t p);

/* `par`: start in, minimum out. `resid` (n) and `jac` (n x p) hold the weighted residuals
 * and the weighted Jacobian at the minimum. `at_bound` (p): -1, 0, 1 for a parameter held
 * by its lower bound, free, held by its upper bound. */
sa_status sa_lsq_fit(const sa_lsq_problem *problem, const sa_lsq_control *control, double *par,
                     double *resid, double *jac, int *at_bound, double *work,
                     sa_lsq_result *result);

#endif
