/* Reduced time along temperature histories; see history.c. */
#ifndef SA_HISTORY_H
#define SA_HISTORY_H

#include "status.h"
#include <stddef.h>

/* One history: temperature linear between points. Times must not fall, in any unit;
 * temp + zero is in K and positive. Two points at one time are a jump. */
typedef struct {
    const double *time, *temp;
    size_t n;
    double zero;
    sa_poll poll; /* asked along many points or marks; NULL: not */
    void *poll_context;
} sa_history;

/* For each of the times `mark` (rising, within the history): log_scaled = ln of the integral
 * of exp(q e(T)) dt from the first point, -Inf where no time has passed or the integral is
 * less than e^-700 of what the hottest point of the piece gives, and slope = its derivative in q
 * (NULL: not wanted). e = -(1/T - 1/ref_k)/R in mol/kJ, q in kJ/mol. Marks beyond the end, and all
 * that follow where the poll stopped, are NaN. */
void sa_history_integrate(const sa_history *h, double q, double ref_k, const double *mark,
                          size_t n_mark, double *log_scaled, double *slope);

/* What is wrong with the first bad point; `at` is its index. */
typedef enum {
    SA_HISTORY_FINE = 0,
    SA_HISTORY_MISSING, /* a time or temperature is not finite */
    SA_HISTORY_COLD,    /* not above absolute zero */
    SA_HISTORY_BACK,    /* time falls */
    SA_HISTORY_BEYOND   /* below 1 K, above 1e5 K or a time beyond 1e15: a slip of units, and
                         * more panels than can be summed */
} sa_history_fault;

sa_history_fault sa_history_check(const sa_history *h, size_t *at);

/* Several histories one after another with the times at which each is read. History k holds
 * the points first[k] .. first[k + 1] - 1 and the marks mark_first[k] .. mark_first[k + 1] - 1. */
typedef struct {
    const double *time, *temp, *mark;
    const int *first, *mark_first;
    size_t count;
    double zero, ref_k;
    double log_unit; /* ln of the wanted unit of time in units of `time` */
    sa_poll poll;    /* as in sa_history */
    void *poll_context;
} sa_histories;

/* All marks at one q, in the wanted unit of time. */
void sa_histories_integrate(const sa_histories *set, double q, double *log_scaled, double *slope);

#endif
