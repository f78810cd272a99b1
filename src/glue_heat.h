/* Entry points of glue_heat.c, and their rows of the registration table. */
#ifndef SA_GLUE_HEAT_H
#define SA_GLUE_HEAT_H

#include "glue.h"

#define GLUE_HEAT_CALLS

#endif
