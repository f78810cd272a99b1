/* Entry point of glue_hash.c, and its row of the registration table. */
#ifndef SA_GLUE_HASH_H
#define SA_GLUE_HASH_H

#include "glue.h"

SEXP sa_call_sha256(SEXP message);

#define GLUE_HASH_CALLS CALLDEF(sa_call_sha256, 1),

#endif
