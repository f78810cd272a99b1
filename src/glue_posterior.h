/* Entry points of glue_posterior.c, glue_next.c and glue_pool.c, and their rows of the registration table. */
#ifndef SA_GLUE_POSTERIOR_H
#define SA_GLUE_POSTERIOR_H

#include "glue.h"

SEXP sa_call_posterior(SEXP fit, SEXP prior, SEXP settings);
SEXP sa_call_posterior_density(SEXP fit, SEXP prior, SEXP at);
SEXP sa_call_next(SEXP guess, SEXP steps, SEXP goal);
SEXP sa_call_pool(SEXP y, SEXP cov, SEXP has, SEXP start);

#define GLUE_POSTERIOR_CALLS                                                                       \
    CALLDEF(sa_call_posterior, 3), CALLDEF(sa_call_posterior_density, 3), CALLDEF(sa_call_pool, 4), \
    CALLDEF(sa_call_next, 3),

#endif
