/* Entry points of glue_history.c (their rows stand in glue_fit.h), and the histories of a
 * list for other glue files. */
#ifndef SA_GLUE_HISTORY_H
#define SA_GLUE_HISTORY_H

#include "glue.h"
#include "history.h"
#include "model.h"
#include "replicates.h"

/* Seconds to minutes, and the energy (kJ/mol) at which start values linearise a history. */
#define SA_LOG_MINUTE 4.09434456222210041
#define SA_TYPICAL_ENERGY 200.0

/* list(time in s, temperature in degrees Celsius, first): first holds the 0-based first point
 * of each history and the number of points. Marks are left to the caller. */
void glue_histories(SEXP history, double ref_k, sa_histories *out);

/* Marks of the histories at the conditions, which are in order of history (`temp_k` of `rep`) and
 * time, and the tangent of the clock at a typical energy. */
void glue_follow(sa_clock *clock, sa_histories *along, const sa_replicates *rep,
                 double *coordinate);

SEXP sa_call_history_check(SEXP history);
SEXP sa_call_reduced_time(SEXP history, SEXP mark, SEXP mark_first, SEXP q, SEXP ref_k, SEXP slope);
SEXP sa_call_soften(SEXP model, SEXP history, SEXP mark, SEXP mark_first, SEXP ref_k, SEXP par);

#endif
