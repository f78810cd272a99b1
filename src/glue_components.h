/* Entry points of glue_components.c and their rows of the registration table. */
#ifndef SA_GLUE_COMPONENTS_H
#define SA_GLUE_COMPONENTS_H

#include "glue.h"

SEXP sa_call_components_reml(SEXP problem, SEXP variance, SEXP estimated, SEXP gradient);
SEXP sa_call_components_grid(SEXP structures, SEXP prior, SEXP gradient, SEXP extra,
                             SEXP probability);

#define GLUE_COMPONENTS_CALLS                                                                      \
    CALLDEF(sa_call_components_reml, 4), CALLDEF(sa_call_components_grid, 5),

#endif
