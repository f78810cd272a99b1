/* Entry points of glue_parts.c, and their rows of the registration table. */
#ifndef SA_GLUE_PARTS_H
#define SA_GLUE_PARTS_H

#include "glue.h"
#include "model.h"

SEXP sa_call_parts(void);
SEXP sa_call_model(SEXP name, SEXP options);
SEXP sa_call_shape_line(SEXP model, SEXP fraction);

/* A model number from R. */
sa_model_kind glue_model(SEXP model);

#define GLUE_PARTS_CALLS                                                                           \
    CALLDEF(sa_call_parts, 0), CALLDEF(sa_call_model, 2), CALLDEF(sa_call_shape_line, 2),

#endif
