/* One timetable of an annealing run, operation by operation.
 *
 * Resources are the hands of the person at the furnaces (one door event at a time), the hardness
 * tester (one step at a time), and the temperature of each furnace, which climbs from block to
 * block of pieces when the last piece of a block is out. A piece that is in the furnace comes out
 * on time, so both its door events are booked at once. */
#include "timetable_book.h"
#include <math.h>
#include <string.h>

/* Earliest time from `t` at which `length` is free. */
static double free_from(const sa_bookings *b, double t, double length)
{
    for (size_t k = 0; k < b->n; k++) {
        if (b->to[k] <= t + SA_EARLY)
            continue;
        if (b->from[k] >= t + length - SA_EARLY)
            break;
        t = b->to[k];
    }
    return t;
}

static void book(sa_bookings *b, double from, double length)
{
    size_t k = b->n;
    while (k > 0 && b->from[k - 1] > from) {
        b->from[k] = b->from[k - 1];
        b->to[k] = b->to[k - 1];
        k--;
    }
    b->from[k] = from;
    b->to[k] = from + length;
    b->n++;
}

double sa_whole_minute(double t)
{
    return ceil(t - SA_EARLY);
}

/* The start moved into a session that holds all of `span` after its warm-up. */
static double within_session(const sa_run *run, double t, double span, double warm_up)
{
    const double session = floor(t / run->session_min + SA_EARLY);
    t = fmax(t, session * run->session_min + warm_up);
    if (t + span > (session + 1.0) * run->session_min + SA_EARLY)
        t = (session + 1.0) * run->session_min + warm_up;
    return t;
}

static double reading_start(const sa_scheduler *f, double ready)
{
    const sa_run *run = f->run;
    double t = sa_whole_minute(ready), was;
    do {
        was = t;
        t = within_session(run, t, run->reading_min, 0.0);
        t = sa_whole_minute(free_from(&f->tester, t, run->reading_min));
        if (run->one_operator)
            t = sa_whole_minute(free_from(&f->person, t, run->reading_min));
    } while (t > was);
    return t;
}

/* NaN while pieces wait for a lower temperature of the furnace. */
static double heating_start(const sa_scheduler *f, const sa_timetable *tt, size_t piece,
                            size_t step)
{
    const sa_run *run = f->run;
    const size_t temp = (size_t)run->temp[piece];
    const double inside = run->furnace_min[step];
    const double span = inside + fmax(run->cool_min[step], run->handling_min);
    double opens = 0.0;
    for (size_t k = 0; k < temp; k++) {
        if (tt->furnace[k] != tt->furnace[temp])
            continue;
        if (f->waiting[k] > 0)
            return NAN;
        opens = fmax(opens, f->empties[k]);
    }
    if (opens > 0.0) { /* set when the last piece is out, or before the next session begins */
        const double session = floor(opens / run->session_min + SA_EARLY);
        opens = fmin(opens + run->change_min, (session + 1.0) * run->session_min);
    }
    double t = sa_whole_minute(fmax(f->ready[piece], opens)), was;
    do {
        was = t;
        t = within_session(run, t, span, run->warm_up_min);
        t = sa_whole_minute(free_from(&f->person, t, run->handling_min));
        t = sa_whole_minute(free_from(&f->person, t + inside, run->handling_min) - inside);
    } while (t > was);
    return t;
}

/* A piece that needs its temperature no more from `at` on. */
static void leave(sa_scheduler *f, size_t temp, double at)
{
    f->empties[temp] = fmax(f->empties[temp], at);
    f->waiting[temp]--;
}

static int reads_next(const sa_scheduler *f, size_t piece)
{
    return f->inside[piece] || !f->run->heated[f->next[piece]];
}

static int done(const sa_scheduler *f, size_t piece)
{
    return f->next[piece] >= f->until[piece];
}

static double next_start(const sa_scheduler *f, const sa_timetable *tt, size_t piece)
{
    return reads_next(f, piece) ? reading_start(f, f->ready[piece])
                                : heating_start(f, tt, piece, (size_t)f->next[piece]);
}

/* A piece whose next operation is longer than any session ends there, and leaves its furnace. */
static void end_overlong(sa_scheduler *f, sa_timetable *tt, size_t piece)
{
    const sa_run *run = f->run;
    if (done(f, piece))
        return;
    const int s = f->next[piece], last = f->until[piece];
    const double span = run->furnace_min[s] + fmax(run->cool_min[s], run->handling_min);
    const int reading = reads_next(f, piece);
    if (reading ? run->reading_min <= run->session_min
                : span + run->warm_up_min <= run->session_min)
        return;
    int heats = 0;
    for (int k = s + (reading ? 1 : 0); k < last; k++)
        heats |= run->heated[k];
    f->next[piece] = last;
    if (heats)
        leave(f, (size_t)run->temp[piece],
              s > run->first[piece] && run->heated[s - 1] ? tt->out[s - 1] : 0.0);
}

static void begin(sa_scheduler *f, sa_timetable *tt)
{
    const sa_run *run = f->run;
    f->person.n = f->tester.n = 0;
    for (size_t k = 0; k < run->n_temp; k++) {
        f->empties[k] = 0.0;
        f->waiting[k] = 0;
    }
    for (size_t i = 0; i < run->n_piece; i++) {
        f->next[i] = run->first[i];
        f->inside[i] = 0;
        f->ready[i] = 0.0;
        for (int s = run->first[i]; s < f->until[i]; s++)
            if (run->heated[s]) {
                f->waiting[run->temp[i]]++;
                break;
            }
    }
    for (size_t s = 0; s < run->n_step; s++)
        tt->in[s] = tt->out[s] = tt->cold[s] = tt->read[s] = tt->end[s] = NAN;
    for (size_t i = 0; i < run->n_piece; i++)
        end_overlong(f, tt, i);
}

/* Books the next operation of a piece. */
static void book_next(sa_scheduler *f, sa_timetable *tt, size_t piece, double start)
{
    const sa_run *run = f->run;
    const size_t s = (size_t)f->next[piece], temp = (size_t)run->temp[piece];
    const int last = f->until[piece];
    if (reads_next(f, piece)) {
        book(&f->tester, start, run->reading_min);
        if (run->one_operator)
            book(&f->person, start, run->reading_min);
        tt->read[s] = start;
        tt->end[s] = f->ready[piece] = start + run->reading_min;
        f->inside[piece] = 0;
        f->next[piece]++;
    } else {
        book(&f->person, start, run->handling_min);
        book(&f->person, start + run->furnace_min[s], run->handling_min);
        tt->in[s] = start;
        tt->out[s] = start + run->furnace_min[s];
        tt->cold[s] = f->ready[piece] = tt->out[s] + run->cool_min[s];
        f->inside[piece] = 1;
        if ((int)s == last - 1)
            leave(f, temp, tt->out[s]);
    }
    end_overlong(f, tt, piece);
}

static void judge(const sa_run *run, sa_timetable *tt)
{
    double sum = 0.0;
    tt->unbooked = 0;
    tt->last = 0.0;
    for (size_t i = 0; i < run->n_piece; i++) {
        int booked = 1;
        for (int s = run->first[i]; s < run->first[i + 1]; s++) {
            const double session = floor(tt->read[s] / run->session_min + SA_EARLY);
            booked = booked && session < (double)run->sessions; /* NaN: not */
            tt->unbooked += !booked;
            if (!booked)
                continue;
            tt->last = fmax(tt->last, tt->end[s]);
            sum += tt->end[s];
        }
    }
    tt->cost = 10.0 * run->session_min * (double)run->sessions * (double)tt->unbooked + tt->last +
               1e-3 * sum / (double)run->n_step;
}

void sa_book_first_come(sa_scheduler *f, sa_timetable *tt)
{
    const sa_run *run = f->run;
    size_t count = 0;
    begin(f, tt);
    for (;;) {
        double best = NAN, most = 0.0;
        size_t who = run->n_piece;
        for (size_t i = 0; i < run->n_piece; i++) {
            if (done(f, i))
                continue;
            const double start = next_start(f, tt, i);
            double left = 0.0;
            for (int s = f->next[i]; s < f->until[i]; s++)
                left += run->furnace_min[s];
            if (isnan(start))
                continue;
            if (who == run->n_piece || start < best || (start <= best && left > most)) {
                best = start;
                most = left;
                who = i;
            }
        }
        if (who == run->n_piece)
            break;
        f->order[count++] = (int)who;
        book_next(f, tt, who, best);
    }
    f->n_operation = count; /* without those longer than a session */
    judge(run, tt);
}

void sa_book_list(sa_scheduler *f, const int *order, sa_timetable *tt)
{
    const sa_run *run = f->run;
    begin(f, tt);
    memset(f->taken, 0, f->n_operation * sizeof(int));
    size_t from = 0;
    while (from < f->n_operation) {
        size_t k = from;
        double start = NAN;
        for (; k < f->n_operation; k++) {
            const size_t piece = (size_t)order[k];
            if (f->taken[k] || done(f, piece))
                continue;
            start = next_start(f, tt, piece);
            if (!isnan(start))
                break;
        }
        if (k == f->n_operation)
            break;
        book_next(f, tt, (size_t)order[k], start);
        f->taken[k] = 1;
        while (from < f->n_operation && f->taken[from])
            from++;
    }
    judge(run, tt);
}
