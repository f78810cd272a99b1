/* Entry points of glue_fit.c, and their rows of the registration table. */
#ifndef SA_GLUE_FIT_H
#define SA_GLUE_FIT_H

#include "glue.h"

#define GLUE_FIT_CALLS

#endif
