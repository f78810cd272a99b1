/* Readings known as a limit only, in a least-squares fit; see censored.c. */
#ifndef SA_CENSORED_H
#define SA_CENSORED_H

#include <stddef.h>

/* Each limit (side 1: at least `bound`; -1: at most; 0: a reading, left as it is) as the reading and weight of
 * the Newton step of its likelihood at the values `curve`. `sd`: of a reading of weight 1; `prior`: weights,
 * NULL: all 1. Arrays have room for n. */
void sa_censored_working(size_t n, const int *side, const double *bound, const double *curve, double sd,
                         const double *prior, double *working, double *weight);

#endif
