/* A time that no timetable of one session ends before: the largest of
 *  - all readings one after the other on the tester, and with one person the door events between them,
 *  - the longest piece, alone,
 *  - the furnaces: temperatures are shared out among them in every way (a partition of at most
 *    SA_SHARED temperatures), and in each furnace block follows block, the lowest first.
 * In a block pieces go in one by one (handling), the longest first at best; before the first block each
 * piece is read, on one tester. Starts are whole minutes, as those of the timetable. */
#include "timetable_book.h"
#include <math.h>

#define SA_SHARED 10 /* most temperatures shared out one by one */
#define SA_OVENS 4   /* most furnaces that are told apart */
#define SA_EVENTS 240 /* most readings and door events compared one by one */

typedef struct {
    const sa_run *run;
    int read_first;                        /* every piece is read before its first anneal */
    double block[SA_SHARED];               /* first in to last out */
    double tail[SA_SHARED];                /* first in to the end of the last reading */
    double first[SA_SHARED][SA_OVENS];     /* the same two from time zero, of the block that begins the */
    double alone[SA_SHARED][SA_OVENS];     /* first, second, ... furnace */
    int owner[SA_SHARED];
    size_t n_oven;
    double best;
} sa_sharing;

/* From the first time in the furnace: `out` of the last anneal, and `end` of its reading; starts are whole
 * minutes. */
static void chain_of(const sa_run *run, size_t piece, double *out, double *end)
{
    double t = 0.0;
    *out = 0.0;
    *end = 0.0;
    for (int s = run->first[piece]; s < run->first[piece + 1]; s++) {
        if (!run->heated[s])
            continue;
        t = sa_whole_minute(t);
        *out = t + run->furnace_min[s];
        *end = t = sa_whole_minute(*out + run->cool_min[s]) + run->reading_min;
    }
}

/* The `rank`-th longest (from 0) of the pieces of a temperature: the chains of pieces whose number of longer
 * ones is `rank`; ties by piece. */
static int ranked(const sa_run *run, size_t temp, size_t rank, int by_end, double *length)
{
    for (size_t i = 0; i < run->n_piece; i++) {
        if ((size_t)run->temp[i] != temp)
            continue;
        double out, end;
        chain_of(run, i, &out, &end);
        const double own = by_end ? end : out;
        size_t longer = 0;
        for (size_t j = 0; j < run->n_piece; j++) {
            if ((size_t)run->temp[j] != temp || j == i)
                continue;
            chain_of(run, j, &out, &end);
            const double other = by_end ? end : out;
            longer += (other > own || (other >= own && j < i)) ? 1 : 0;
        }
        if (longer == rank) {
            *length = own;
            return own > 0.0;
        }
    }
    return 0;
}

/* When the piece `j` (from 0) of the first block of the furnace that starts as number `oven` can be in. */
static double first_in(const sa_sharing *x, size_t j, size_t oven)
{
    const sa_run *run = x->run;
    const double own = run->warm_up_min + (double)j * run->handling_min;
    if (!x->read_first)
        return own;
    const double read = (double)(j + oven + 1) * run->reading_min +
                        (run->one_operator ? (double)(j + oven) * run->handling_min : 0.0);
    return fmax(own, sa_whole_minute(read));
}

static void measure(sa_sharing *x, size_t temp)
{
    const sa_run *run = x->run;
    double length;
    x->block[temp] = x->tail[temp] = 0.0;
    for (size_t o = 0; o < SA_OVENS; o++)
        x->first[temp][o] = x->alone[temp][o] = 0.0;
    for (size_t j = 0; j < run->n_piece; j++) {
        if (ranked(run, temp, j, 0, &length)) {
            x->block[temp] = fmax(x->block[temp], (double)j * run->handling_min + length);
            for (size_t o = 0; o < SA_OVENS; o++)
                x->first[temp][o] = fmax(x->first[temp][o], first_in(x, j, o) + length);
        }
        if (ranked(run, temp, j, 1, &length)) {
            x->tail[temp] = fmax(x->tail[temp], (double)j * run->handling_min + length);
            for (size_t o = 0; o < SA_OVENS; o++)
                x->alone[temp][o] = fmax(x->alone[temp][o], first_in(x, j, o) + length);
        }
    }
}

/* End of the work of one furnace that starts as number `start`. */
static double furnace_end(const sa_sharing *x, size_t oven, size_t start, size_t n_temp)
{
    double out = -1.0, end = 0.0;
    for (size_t k = 0; k < n_temp; k++) {
        if ((size_t)x->owner[k] != oven || x->block[k] <= 0.0)
            continue;
        if (out < 0.0) {
            out = x->first[k][start];
            end = fmax(end, x->alone[k][start]);
        } else {
            const double in = sa_whole_minute(out + x->run->change_min);
            out = in + x->block[k];
            end = fmax(end, in + x->tail[k]);
        }
    }
    return end;
}

/* The least end over the orders in which the furnaces can start. */
static double least_end(const sa_sharing *x, size_t used, size_t done, unsigned taken, double so_far)
{
    if (done == used || so_far >= x->best)
        return so_far;
    double least = HUGE_VAL;
    for (size_t o = 0; o < used; o++)
        if (!(taken & (1u << o)))
            least = fmin(least, least_end(x, used, done + 1, taken | (1u << o),
                                          fmax(so_far, furnace_end(x, o, done, x->run->n_temp))));
    return least;
}

static void share_out(sa_sharing *x, size_t temp, size_t used)
{
    if (temp == x->run->n_temp) {
        x->best = fmin(x->best, least_end(x, used, 0, 0u, 0.0));
        return;
    }
    for (size_t o = 0; o < x->n_oven && o <= used; o++) {
        x->owner[temp] = (int)o;
        if (furnace_end(x, o, 0, temp + 1) < x->best)
            share_out(x, temp + 1, o == used ? used + 1 : used);
    }
}

static double furnaces_bound(const sa_run *run)
{
    if (run->n_temp > SA_SHARED || run->n_furnace > SA_OVENS || run->n_furnace == 0)
        return 0.0;
    sa_sharing x = {.run = run, .read_first = 1, .n_oven = run->n_furnace, .best = HUGE_VAL};
    for (size_t i = 0; i < run->n_piece; i++)
        if (run->first[i] < run->first[i + 1] && run->heated[run->first[i]])
            x.read_first = 0;
    for (size_t k = 0; k < run->n_temp; k++)
        measure(&x, k);
    share_out(&x, 0, 0);
    return x.best;
}

/* One event: when it can be at the earliest, how long it takes, what follows it at least. */
typedef struct {
    double head, length, tail;
} sa_event;

/* Events of one machine: those that begin at `a` at the earliest and are followed by `b` at least fill the
 * time between (Carlier J (1982) Eur. J. Oper. Res. 11, 42). */
static double machine_bound(const sa_event *e, size_t n)
{
    double bound = 0.0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            const double a = e[i].head, b = e[j].tail;
            if (a > e[j].head || b > e[i].tail)
                continue;
            double sum = 0.0;
            for (size_t k = 0; k < n; k++)
                if (e[k].head >= a && e[k].tail >= b)
                    sum += e[k].length;
            bound = fmax(bound, a + sum + b);
        }
    return bound;
}

/* Tester and person as one machine each, every piece alone in its furnace. */
static double machines_bound(const sa_run *run)
{
    sa_event tester[SA_EVENTS], person[SA_EVENTS];
    size_t n_tester = 0, n_person = 0;
    if (3 * run->n_step > SA_EVENTS)
        return 0.0;
    const double slot = sa_whole_minute(run->reading_min);
    for (size_t i = 0; i < run->n_piece; i++) {
        const size_t from_tester = n_tester, from_person = n_person;
        double t = 0.0;
        for (int s = run->first[i]; s < run->first[i + 1]; s++) {
            if (run->heated[s]) {
                t = sa_whole_minute(fmax(t, run->warm_up_min));
                person[n_person++] = (sa_event){t, run->handling_min, 0.0};
                t += run->furnace_min[s];
                person[n_person++] = (sa_event){t, run->handling_min, 0.0};
                t += run->cool_min[s];
            }
            t = sa_whole_minute(t);
            tester[n_tester++] = (sa_event){t, slot, 0.0};
            if (run->one_operator)
                person[n_person++] = (sa_event){t, run->reading_min, 0.0};
            t += run->reading_min;
        }
        /* what follows at least: without the roundings, which a later start may spare, and the warm-up */
        double after = 0.0;
        for (int s = run->first[i + 1] - 1; s >= run->first[i]; s--) {
            tester[--n_tester].tail = after - (slot - run->reading_min);
            if (run->one_operator)
                person[--n_person].tail = after;
            after += run->reading_min;
            if (run->heated[s]) {
                after += run->cool_min[s];
                person[--n_person].tail = after - run->handling_min;
                after += run->furnace_min[s];
                person[--n_person].tail = after - run->handling_min;
            }
        }
        n_tester = from_tester + (size_t)(run->first[i + 1] - run->first[i]);
        n_person = from_person;
        for (int s = run->first[i]; s < run->first[i + 1]; s++)
            n_person += (run->heated[s] ? 2u : 0u) + (run->one_operator ? 1u : 0u);
    }
    return fmax(machine_bound(tester, n_tester), machine_bound(person, n_person));
}

double sa_timetable_bound(const sa_run *run)
{
    if (run->n_step == 0)
        return 0.0;
    double heats = 0.0, longest = 0.0;
    for (size_t s = 0; s < run->n_step; s++)
        heats += run->heated[s] ? 1.0 : 0.0;
    double bound = sa_whole_minute(run->reading_min) * (double)(run->n_step - 1) + run->reading_min;
    if (run->one_operator)
        bound = fmax(bound, run->reading_min * (double)run->n_step + 2.0 * run->handling_min * heats);
    for (size_t i = 0; i < run->n_piece; i++) {
        double t = 0.0;
        for (int s = run->first[i]; s < run->first[i + 1]; s++) {
            if (run->heated[s])
                t = sa_whole_minute(fmax(t, run->warm_up_min)) + run->furnace_min[s] + run->cool_min[s];
            t = sa_whole_minute(t) + run->reading_min;
        }
        longest = fmax(longest, t);
    }
    return fmax(fmax(bound, longest), fmax(machines_bound(run), furnaces_bound(run)));
}
