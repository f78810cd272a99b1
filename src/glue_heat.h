/* Entry points of glue_heat.c, and their rows of the registration table. */
#ifndef SA_GLUE_HEAT_H
#define SA_GLUE_HEAT_H

#include "glue.h"

SEXP sa_call_heat(SEXP pieces, SEXP requests, SEXP knots, SEXP knot_first, SEXP out_time,
                  SEXP out_first);

#define GLUE_HEAT_CALLS CALLDEF(sa_call_heat, 6),

#endif
