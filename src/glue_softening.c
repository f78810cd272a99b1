#include "glue_fit.h"
SEXP sa_call_softening(SEXP readings, SEXP model, SEXP ref_k, SEXP start, SEXP lower, SEXP upper,
                       SEXP held, SEXP control, SEXP inference){return R_NilValue;}
SEXP sa_call_hardness(SEXP model, SEXP log_time, SEXP coordinate, SEXP par){return R_NilValue;}
SEXP sa_call_time_to(SEXP model, SEXP coordinate, SEXP target, SEXP kind, SEXP par){return R_NilValue;}
