/* Entry points of glue_plan.c, and their rows of the registration table. */
#ifndef SA_GLUE_PLAN_H
#define SA_GLUE_PLAN_H

#include "glue.h"

#define GLUE_PLAN_CALLS

#endif
