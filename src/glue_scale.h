/* Entry points of glue_scale.c, and their rows of the registration table. */
#ifndef SA_GLUE_SCALE_H
#define SA_GLUE_SCALE_H

#include "glue.h"

#define GLUE_SCALE_CALLS

#endif
