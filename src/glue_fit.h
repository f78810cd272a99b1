/* Entry points of glue_fit.c and glue_softening.c, and their rows of the registration table,
 * with those of glue_history.c. */
#ifndef SA_GLUE_FIT_H
#define SA_GLUE_FIT_H

#include "glue.h"
#include "glue_history.h"
#include "glue_parts.h"
#include "least_squares.h"
#include "model.h"

SEXP sa_call_least_squares(SEXP problem, SEXP control);
SEXP sa_call_softening(SEXP readings, SEXP model, SEXP options, SEXP control);
SEXP sa_call_gradient_se(SEXP gradient, SEXP cov);
SEXP sa_call_limits(SEXP steps, SEXP readings, SEXP start);
SEXP sa_call_censored(SEXP side, SEXP bound, SEXP curve, SEXP sd, SEXP prior);
SEXP sa_call_hardness(SEXP model, SEXP log_time, SEXP place, SEXP par);
SEXP sa_call_time_to(SEXP model, SEXP place, SEXP target, SEXP kind, SEXP par);

SEXP sa_call_curve_interval(SEXP conditions, SEXP setup, SEXP ref_k, SEXP par, SEXP places,
                            SEXP settings, SEXP along);
SEXP sa_call_meeting_interval(SEXP conditions, SEXP setup, SEXP ref_k, SEXP par, SEXP meetings,
                              SEXP settings);

/* For each temperature the number of the nearest level, from 0. */
int *glue_exponents(SEXP levels, const double *temp_k, size_t n, sa_model_kind kind);

/* Solver settings from a named double vector: ftol, xtol, gtol, initial_radius, huber, max_iterations. */
sa_lsq_control glue_control(SEXP control);

#define GLUE_FIT_CALLS                                                                             \
    CALLDEF(sa_call_least_squares, 2), CALLDEF(sa_call_softening, 4),                          \
        CALLDEF(sa_call_gradient_se, 2), CALLDEF(sa_call_hardness, 4),                         \
        CALLDEF(sa_call_time_to, 5), CALLDEF(sa_call_censored, 5), CALLDEF(sa_call_limits, 3),  \
        CALLDEF(sa_call_history_check, 1), CALLDEF(sa_call_reduced_time, 6),                   \
        CALLDEF(sa_call_soften, 6), CALLDEF(sa_call_meeting_interval, 6), CALLDEF(sa_call_curve_interval, 7),

#endif
