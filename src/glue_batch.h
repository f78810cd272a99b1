/* Entry points of glue_batch.c, and their rows of the registration table. */
#ifndef SA_GLUE_BATCH_H
#define SA_GLUE_BATCH_H

#include "glue.h"

SEXP sa_call_batch(SEXP columns, SEXP groups, SEXP settings, SEXP threads);
SEXP sa_call_batch_hardness(SEXP model, SEXP group, SEXP temp_k, SEXP time, SEXP ref_k, SEXP par,
                            SEXP cov);
SEXP sa_call_shared(SEXP rows, SEXP groups, SEXP settings, SEXP start);
SEXP sa_call_runs(SEXP columns, SEXP order, SEXP length);

#define GLUE_BATCH_CALLS                                                                           \
    CALLDEF(sa_call_batch, 4), CALLDEF(sa_call_batch_hardness, 7),                       \
        CALLDEF(sa_call_shared, 4), CALLDEF(sa_call_runs, 3),

#endif
