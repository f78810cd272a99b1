/* Timetable of an annealing run: who needs furnace, tongs and hardness tester when; see
 * timetable.c. Times in min on one axis that runs through the sessions, one after the other. */
#ifndef SA_TIMETABLE_H
#define SA_TIMETABLE_H

#include "status.h"
#include <stddef.h>
#include <stdint.h>

typedef struct {
    size_t n_piece, n_step, n_temp, n_furnace;
    const int *first;  /* n_piece + 1: first step of each piece; its steps are in order */
    const int *temp;   /* n_piece: rank of its temperature, the lowest 0 */
    const int *heated; /* n_step: 0 for a reading before the first anneal */
    const double *furnace_min, *cool_min; /* n_step */
    double session_min, warm_up_min, change_min, handling_min;
    double reading_min; /* of all readings of a step */
    size_t sessions;    /* steps read later than these count as unbooked */
    int one_operator;   /* the person at the furnaces also reads */
    int may_drop; /* last steps of a piece may be left out, so that its furnace is free for others
                   */
    sa_poll poll; /* asked between trials; NULL: not */
    void *poll_context;
} sa_run;

/* `furnace` (n_temp): furnace of each temperature, from 0. Times of each step (n_step): NaN
 * where it is not in the furnace, or longer than a session. */
typedef struct {
    int *furnace;
    double *in, *out, *cold, *read, *end;
    size_t unbooked; /* steps not read within the sessions */
    double last;     /* end of the last booked reading */
    double cost;     /* what the search makes small */
} sa_timetable;

/* Sizes of `number` (doubles) and `place` (ints); 0 where the run has no step. */
size_t sa_timetable_numbers(const sa_run *run);
size_t sa_timetable_places(const sa_run *run);

/* No timetable of one session ends before this. */
double sa_timetable_bound(const sa_run *run);

/* The operation that can start first is booked first (rounds = 0); then `rounds` trials with
 * exchanged order and furnaces, the best kept. The same `seed` gives the same timetable. */
sa_status sa_timetable_search(const sa_run *run, size_t rounds, uint64_t seed, sa_timetable *best,
                              double *number, int *place);

#endif
