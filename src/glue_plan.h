/* Entry points of glue_plan.c, and their rows of the registration table. */
#ifndef SA_GLUE_PLAN_H
#define SA_GLUE_PLAN_H

#include "glue.h"

SEXP sa_call_design(SEXP guess, SEXP allowed, SEXP settings, SEXP goal, SEXP starts);

SEXP sa_call_timetable(SEXP run, SEXP rounds, SEXP seed);

#define GLUE_PLAN_CALLS CALLDEF(sa_call_design, 5), CALLDEF(sa_call_timetable, 3),

#endif
