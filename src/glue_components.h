/* Entry points of glue_components.c and their rows of the registration table. */
#ifndef SA_GLUE_COMPONENTS_H
#define SA_GLUE_COMPONENTS_H

#include "glue.h"

SEXP sa_call_components_reml(SEXP problem, SEXP variance, SEXP estimated, SEXP gradient);
SEXP sa_call_components_grid(SEXP structures, SEXP prior, SEXP gradient, SEXP extra,
                             SEXP probability);

SEXP sa_call_mixed(SEXP steps, SEXP setup, SEXP ref_k, SEXP par, SEXP structure, SEXP errors);
SEXP sa_call_mixed_profile(SEXP steps, SEXP setup, SEXP ref_k, SEXP par, SEXP structure,
                           SEXP errors, SEXP linear, SEXP threshold);

#define GLUE_COMPONENTS_CALLS                                                                      \
    CALLDEF(sa_call_components_reml, 4), CALLDEF(sa_call_components_grid, 5),                       \
        CALLDEF(sa_call_mixed, 6), CALLDEF(sa_call_mixed_profile, 8),

#endif
