/* Entry points of glue_plan.c, and their rows of the registration table. */
#ifndef SA_GLUE_PLAN_H
#define SA_GLUE_PLAN_H

#include "glue.h"

SEXP sa_call_design(SEXP model, SEXP draws, SEXP parameters, SEXP temperatures, SEXP minutes,
                    SEXP settings, SEXP aim_coordinate, SEXP start_temp, SEXP start_read);

SEXP sa_call_timetable(SEXP run, SEXP rounds, SEXP seed);

#define GLUE_PLAN_CALLS CALLDEF(sa_call_design, 9), CALLDEF(sa_call_timetable, 3),

#endif
