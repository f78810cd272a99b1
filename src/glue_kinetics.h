/* Entry points of glue_kinetics.c, and their rows of the registration table. */
#ifndef SA_GLUE_KINETICS_H
#define SA_GLUE_KINETICS_H

#include "glue.h"

#define GLUE_KINETICS_CALLS

#endif
