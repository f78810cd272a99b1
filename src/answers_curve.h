/* Likelihood intervals of the curve itself: hardness at places. See answers_curve.c. */
#ifndef SA_ANSWERS_CURVE_H
#define SA_ANSWERS_CURVE_H

#include "softening.h"

/* A place of the curve: at constant temperature, or a mark in a history, `log_time` and `coordinate` then as
 * in a clock along histories. */
typedef struct {
    double log_time, coordinate;
    sa_group group;
    const sa_histories *along; /* one history and one mark; NULL: constant temperature */
    double *table;             /* of a clock of one condition along it */
} sa_place;

/* The band over places, neighbours next to each other: the end of one is the start of the next. Ends are
 * the hardness reached where the sum of squares has risen from `objective` by a threshold, -Inf and Inf
 * where it never does, NaN where the curve has no value. */
typedef struct {
    const sa_softening *s;
    const double *par; /* the minimum */
    double objective;
    size_t count;
    const sa_place *place;
    const double *step; /* of each place: first step, positive; about the half width sought */
    const double *threshold; /* of each place */
    double *end;        /* 2 a place: lower, upper */
    double *pool;       /* 2 n_par a place: the parameters at these ends */
    double flat_rise;   /* share of the threshold below which a curve is as good as the best */
    double wide;        /* difference of the ends from which `near` is asked for */
    double *near;       /* 2 a place: where the sum has risen by that share, about; NaN: not asked */
    double *half;       /* 2: widths at the place before */
    double *work;       /* sa_curve_work() */
} sa_band;

/* Ends at place k, after those of all before it. */
void sa_curve_place(const sa_band *b, size_t k);

/* After all places: where a curve of another place reaches beyond an end, that end is sought anew. */
void sa_curve_mend(const sa_band *b, size_t k);

/* 0 on overflow. */
size_t sa_curve_work(size_t n_condition, size_t n_par);

#endif
