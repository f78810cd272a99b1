/* Timetable of an annealing run.
 *
 * Each piece repeats: into the furnace, out after its time, cool, read. A list of operations in
 * some order of priority becomes a timetable by booking one after the other at the earliest time
 * that is free (timetable_book.c; serial schedule generation, Kolisch R (1996) Eur. J. Oper. Res.
 * 90, 320). The first list books what can start first; simulated annealing (Kirkpatrick S, Gelatt
 * C D, Vecchi M P (1983) Science 220, 671) over lists and furnaces then shortens it. At first the
 * temperature with the longest block goes to the furnace with the least (longest processing time
 * first, Graham R L (1969) SIAM J. Appl. Math. 17, 416). */
#include "timetable_book.h"
#include <math.h>
#include <string.h>

static size_t operations(const sa_run *run)
{
    size_t n = run->n_step;
    for (size_t s = 0; s < run->n_step; s++)
        n += run->heated[s] ? 1 : 0;
    return n;
}

size_t sa_timetable_numbers(const sa_run *run)
{
    return 4 * operations(run) + 2 * run->n_step + run->n_piece + run->n_temp + 5 * run->n_step +
           run->n_furnace;
}

size_t sa_timetable_places(const sa_run *run)
{
    return 4 * operations(run) + 5 * run->n_piece + 3 * run->n_temp;
}

static void lay_out(sa_scheduler *f, const sa_run *run, double *number, int *place)
{
    const size_t n = operations(run);
    f->run = run;
    f->n_operation = n;
    f->person.from = number;
    f->person.to = number + 2 * n;
    f->tester.from = number + 4 * n;
    f->tester.to = f->tester.from + run->n_step;
    f->ready = f->tester.to + run->n_step;
    f->empties = f->ready + run->n_piece;
    f->order = place;
    f->trial = place + n;
    f->kept = place + 2 * n;
    f->taken = place + 3 * n;
    f->next = place + 4 * n;
    f->inside = f->next + run->n_piece;
    f->until = f->inside + run->n_piece;
    f->waiting = f->until + run->n_piece;
    memcpy(f->until, run->first + 1, run->n_piece * sizeof(int));
}

/* Time at one temperature from the first piece in to the last out, at least. */
static double block_length(const sa_run *run, size_t temp, double *tail)
{
    double longest = 0.0;
    *tail = HUGE_VAL;
    for (size_t i = 0; i < run->n_piece; i++) {
        if ((size_t)run->temp[i] != temp)
            continue;
        double sum = 0.0, after = 0.0;
        for (int s = run->first[i]; s < run->first[i + 1]; s++) {
            if (!run->heated[s])
                continue;
            sum += after + run->furnace_min[s];
            after = run->cool_min[s] + run->reading_min;
        }
        longest = fmax(longest, sum);
        *tail = fmin(*tail, after);
    }
    return longest;
}

static void first_furnaces(const sa_run *run, int *furnace, double *filled)
{
    for (size_t k = 0; k < run->n_temp; k++)
        furnace[k] = -1;
    for (size_t f = 0; f < run->n_furnace; f++)
        filled[f] = 0.0;
    for (size_t turn = 0; turn < run->n_temp; turn++) {
        size_t longest = run->n_temp, least = 0;
        double most = -1.0, tail;
        for (size_t k = 0; k < run->n_temp; k++) {
            const double length = block_length(run, k, &tail);
            if (furnace[k] < 0 && length > most) {
                most = length;
                longest = k;
            }
        }
        for (size_t f = 1; f < run->n_furnace; f++)
            if (filled[f] < filled[least])
                least = f;
        furnace[longest] = (int)least;
        filled[least] += most;
    }
}

/* xorshift64* (Marsaglia G (2003) J. Stat. Softw. 8(14); Vigna S (2016) ACM Trans. Math. Softw.
 * 42, 30): whole numbers below `n`. */
static size_t draw(uint64_t *state, size_t n)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return (size_t)(((*state * UINT64_C(2685821657736338717)) >> 33) % n);
}

/* Changes the order, the furnaces or the steps left out a little. */
static void change(const sa_scheduler *f, uint64_t *state, int *order, int *furnace, int *until)
{
    const sa_run *run = f->run;
    const size_t n = f->n_operation;
    if (run->n_furnace > 1 && run->n_temp > 1 && draw(state, 8) == 0) {
        const size_t a = draw(state, run->n_temp), b = draw(state, run->n_temp);
        if (draw(state, 2) == 0)
            furnace[a] = (int)draw(state, run->n_furnace);
        else {
            const int was = furnace[a];
            furnace[a] = furnace[b];
            furnace[b] = was;
        }
        return;
    }
    if (run->may_drop && draw(state, 5) == 0) {
        const size_t i = draw(state, run->n_piece);
        const int to = until[i] + (draw(state, 2) == 0 ? 1 : -1);
        if (to > run->first[i] && to <= run->first[i + 1])
            until[i] = to;
        return;
    }
    const size_t a = draw(state, n), b = draw(state, n);
    const int was = order[a];
    if (draw(state, 2) == 0) {
        order[a] = order[b];
        order[b] = was;
    } else if (a < b) {
        memmove(order + a, order + a + 1, (b - a) * sizeof(int));
        order[b] = was;
    } else {
        memmove(order + b + 1, order + b, (a - b) * sizeof(int));
        order[b] = was;
    }
}

/* What the search walks on: a step without a place weighs a part of a session only, so that one
 * can be left out on the way to a timetable with more. */
static double energy(const sa_run *run, const sa_timetable *tt)
{
    return 0.1 * run->session_min * (double)tt->unbooked + tt->last;
}

static void copy_times(const sa_run *run, sa_timetable *to, const sa_timetable *from)
{
    const size_t size = run->n_step * sizeof(double);
    memcpy(to->furnace, from->furnace, run->n_temp * sizeof(int));
    memcpy(to->in, from->in, size);
    memcpy(to->out, from->out, size);
    memcpy(to->cold, from->cold, size);
    memcpy(to->read, from->read, size);
    memcpy(to->end, from->end, size);
    to->unbooked = from->unbooked;
    to->last = from->last;
    to->cost = from->cost;
}

sa_status sa_timetable_search(const sa_run *run, size_t rounds, uint64_t seed, sa_timetable *best,
                              double *number, int *place)
{
    sa_scheduler f;
    lay_out(&f, run, number, place);
    int *furnace_now = f.waiting + run->n_temp, *furnace_trial = furnace_now + run->n_temp;
    int *until_now = furnace_trial + run->n_temp;
    double *times = f.empties + run->n_temp, *filled = times + 5 * run->n_step;
    sa_timetable trial = {.furnace = furnace_trial,
                          .in = times,
                          .out = times + run->n_step,
                          .cold = times + 2 * run->n_step,
                          .read = times + 3 * run->n_step,
                          .end = times + 4 * run->n_step};
    first_furnaces(run, best->furnace, filled);
    sa_book_first_come(&f, best);
    if (f.n_operation < 2)
        return SA_OK;
    uint64_t state = seed * UINT64_C(2862933555777941757) + UINT64_C(3037000493);
    if (state == 0)
        state = 1;
    const double bound = sa_timetable_bound(run);
    double now = energy(run, best);
    memcpy(f.kept, f.order, f.n_operation * sizeof(int));
    memcpy(furnace_now, best->furnace, run->n_temp * sizeof(int));
    memcpy(until_now, f.until, run->n_piece * sizeof(int));
    const double hot = 0.03 * fmax(best->last, 1.0), cold = 0.05;
    for (size_t k = 0; k < rounds; k++) {
        if (best->unbooked == 0 && best->last <= bound + SA_EARLY)
            break; /* none ends earlier */
        if (k % 64 == 63 && run->poll && run->poll(run->poll_context))
            return SA_INTERRUPTED;
        memcpy(f.trial, f.kept, f.n_operation * sizeof(int));
        memcpy(trial.furnace, furnace_now, run->n_temp * sizeof(int));
        memcpy(f.until, until_now, run->n_piece * sizeof(int));
        change(&f, &state, f.trial, trial.furnace, f.until);
        sa_book_list(&f, f.trial, &trial);
        const double heat = hot * pow(cold / hot, (double)k / (double)rounds);
        const double chance = (double)(draw(&state, 1u << 24) + 1) / (double)(1u << 24);
        if (trial.cost < best->cost)
            copy_times(run, best, &trial);
        const double height = energy(run, &trial);
        if (height <= now || log(chance) < (now - height) / heat) {
            now = height;
            memcpy(until_now, f.until, run->n_piece * sizeof(int));
            memcpy(f.kept, f.trial, f.n_operation * sizeof(int));
            memcpy(furnace_now, trial.furnace, run->n_temp * sizeof(int));
        }
    }
    return SA_OK;
}
