/* Entry points of glue_kinetics.c, and their rows of the registration table. */
#ifndef SA_GLUE_KINETICS_H
#define SA_GLUE_KINETICS_H

#include "glue.h"

SEXP sa_call_jmak_fraction(SEXP time, SEXP k, SEXP n, SEXP theta0, SEXP form);
SEXP sa_call_jmak_time(SEXP fraction, SEXP k, SEXP n, SEXP theta0, SEXP form);
SEXP sa_call_arrhenius(SEXP temp_c, SEXP k_ref, SEXP temp_ref_c, SEXP q);

#define GLUE_KINETICS_CALLS                                                                        \
    CALLDEF(sa_call_jmak_fraction, 5), CALLDEF(sa_call_jmak_time, 5), CALLDEF(sa_call_arrhenius, 4),

#endif
