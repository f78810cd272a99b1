/* Building one timetable from a list of operations; used by timetable.c only. */
#ifndef SA_TIMETABLE_BOOK_H
#define SA_TIMETABLE_BOOK_H

#include "timetable.h"

#define SA_EARLY 1e-9 /* min; times within it are the same */

/* Stretches of time that are taken, in order. */
typedef struct {
    double *from, *to;
    size_t n;
} sa_bookings;

/* What one timetable is made from and with. */
typedef struct {
    const sa_run *run;
    size_t n_operation;
    sa_bookings person, tester;
    int *next;       /* n_piece: its next step */
    int *inside;     /* n_piece: that step is in or out of the furnace, not yet read */
    int *until;      /* n_piece: one past its last step that is booked */
    double *ready;   /* n_piece */
    int *waiting;    /* n_temp: pieces that still have to be heated there */
    double *empties; /* n_temp: when its last piece so far is out; 0: none yet */
    int *order, *trial,
        *kept;  /* n_operation: pieces by priority, as often as they have operations */
    int *taken; /* n_operation */
} sa_scheduler;

/* The next whole minute, as on the clock of the bench. */
double sa_whole_minute(double t);

/* Of all next operations the one that can start first is booked, the piece with the most time in
 * the furnace left among equals; `order` becomes that list. */
void sa_book_first_come(sa_scheduler *f, sa_timetable *tt);

/* The timetable of a list: its first entry whose piece can go on is booked, until none is left. */
void sa_book_list(sa_scheduler *f, const int *order, sa_timetable *tt);

#endif
