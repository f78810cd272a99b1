/* Entry points of glue_plan.c, and their rows of the registration table. */
#ifndef SA_GLUE_PLAN_H
#define SA_GLUE_PLAN_H

#include "glue.h"

SEXP sa_call_design(SEXP model, SEXP draws, SEXP parameters, SEXP temperatures, SEXP minutes,
                    SEXP settings, SEXP aim_coordinate, SEXP start_temp, SEXP start_read);

#define GLUE_PLAN_CALLS CALLDEF(sa_call_design, 9),

#endif
