/* Entry points of glue_scale.c, and their rows of the registration table. */
#ifndef SA_GLUE_SCALE_H
#define SA_GLUE_SCALE_H

#include "glue.h"

SEXP sa_call_convert(SEXP x, SEXP code, SEXP curves, SEXP detail);
SEXP sa_call_labels(SEXP x);

#define GLUE_SCALE_CALLS CALLDEF(sa_call_convert, 4), CALLDEF(sa_call_labels, 1),

#endif
