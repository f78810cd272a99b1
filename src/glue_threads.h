/* Entry point of glue_threads.c, and its row of the registration table. */
#ifndef SA_GLUE_THREADS_H
#define SA_GLUE_THREADS_H

#include "glue.h"

SEXP sa_call_threads(SEXP wanted);

#define GLUE_THREADS_CALLS CALLDEF(sa_call_threads, 1),

#endif
