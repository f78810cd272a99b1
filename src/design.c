/* Optimal design of an annealing run: which temperature each piece gets and after which
 * accumulated times it is read.
 *
 * Information of a plan at parameters b: M(b) = sum over steps of w g g', g the gradient of
 * the hardness and w = 1 / (s_step^2 + s_reading^2 / readings), since the readings of a step
 * share its errors. A model that is not linear has an M that depends on b, so the criterion
 * is averaged over draws of b from the guess: the mean of ln(c' M^-1 c), or of -ln det M / p
 * (pseudo-Bayesian design, Chaloner and Verdinelli 1995, Statist. Sci. 10, 273; Atkinson,
 * Donev and Tobias 2007, Optimum Experimental Designs, with SAS, chapter 18). A small
 * diagonal floor keeps M regular where a plan is blind to a parameter, so that such a draw
 * costs much but not everything.
 *
 * Exchange algorithm over the pieces (Fedorov 1972, Theory of Optimal Experiments, in the form
 * of coordinate exchange, Meyer and Nachtsheim 1995, Technometrics 37, 60): one piece after
 * the other is rebuilt from nothing at every temperature, moved to another temperature with
 * its times, or has single times added, dropped and exchanged; the best of these is kept.
 * Temperatures as coordinates e in mol/kJ, times in min. */
#include "design_value.h"
#include <math.h>
#include <string.h>

#define MAX_ROUNDS 200
/* A change of the criterion (a logarithm) below this is rounding. */
#define LEAST_GAIN 1e-10
#define POLL_UNITS 20000 /* draws times steps, some milliseconds */

static void change(sa_design_move *v, size_t candidate, double times)
{
    v->candidate[v->n] = candidate;
    v->times[v->n++] = times;
}

static double minutes_of(const sa_design *d, size_t temp, const unsigned char *read)
{
    double last = 0.0, sum = 0.0;
    for (size_t i = 0; i < d->n_time; i++) {
        if (read[i]) {
            last = d->minutes[i];
            sum += d->heat_up[temp];
        }
    }
    return last + sum;
}

double sa_design_minutes(const sa_design *d, const sa_design_plan *plan)
{
    double sum = 0.0;
    for (size_t q = 0; q < plan->n_piece; q++)
        sum += minutes_of(d, (size_t)plan->temp[q], plan->read + q * d->n_time);
    return sum;
}

/* One piece under change. */
typedef struct {
    size_t temp, steps;
    unsigned char read[SA_DESIGN_MAX_TIMES];
    double value;
} piece;

/* What a piece may be: the setting of all its moves. */
typedef struct {
    const sa_design *d;
    const sa_design_sizes *s;
    const double *table;
    const int *counted;
    double *others, *info; /* information without the piece; scratch */
    double minutes;        /* furnace minutes left for it */
    size_t units;          /* of work since the last poll */
    int stop;
} bench;

/* Criterion after a move; once the poll has stopped the search nothing is worth anything. */
static double value_after(bench *b, const double *info, const sa_design_move *v)
{
    b->units += b->d->n_draw * (v->n + 1);
    if (b->units >= POLL_UNITS) {
        b->units = 0;
        b->stop = b->stop || (b->d->poll && b->d->poll(b->d->poll_context));
    }
    return b->stop ? HUGE_VAL
                   : sa_design_value_after(b->d, b->s, b->table, b->counted, info, v);
}

static int allowed(bench *b, const piece *p)
{
    return p->steps >= 1 && p->steps <= b->d->max_steps &&
           minutes_of(b->d, p->temp, p->read) <= b->minutes * (1.0 + 1e-12);
}

static void evaluate(bench *b, piece *p)
{
    sa_design_move v = {.n = 0};
    for (size_t i = 0; i < b->d->n_time; i++)
        if (p->read[i])
            change(&v, p->temp * b->d->n_time + i, 1.0);
    p->value = value_after(b, b->others, &v);
}

/* Sets a time of the piece and counts its steps. */
static void set_time(piece *p, size_t i, int on)
{
    if (p->read[i] == on)
        return;
    p->read[i] = (unsigned char)on;
    if (on)
        p->steps++;
    else
        p->steps--;
}

static void keep_better(bench *b, const piece *trial, piece *best)
{
    if (allowed(b, trial) && trial->value < best->value - LEAST_GAIN)
        *best = *trial;
}

/* A piece at one temperature built from nothing, the best time at a time. */
static void build(bench *b, size_t temp, piece *best)
{
    const sa_design *d = b->d;
    piece p = {.temp = temp, .steps = 0, .value = HUGE_VAL};
    memcpy(b->info, b->others, d->n_draw * b->s->packed * sizeof(double));
    for (size_t k = 0; k < d->max_steps; k++) {
        size_t which = d->n_time;
        double value = p.value;
        for (size_t i = 0; i < d->n_time; i++) {
            if (p.read[i])
                continue;
            piece more = p;
            set_time(&more, i, 1);
            if (!allowed(b, &more))
                continue;
            sa_design_move v = {.n = 0};
            change(&v, temp * d->n_time + i, 1.0);
            double x = value_after(b, b->info, &v);
            if (x < value - LEAST_GAIN || which == d->n_time) {
                value = fmin(x, value);
                which = i;
            }
        }
        if (which == d->n_time)
            break;
        sa_design_move v = {.n = 0};
        change(&v, temp * d->n_time + which, 1.0);
        sa_design_apply(d, b->s, b->table, b->info, &v);
        set_time(&p, which, 1);
        evaluate(b, &p);
        keep_better(b, &p, best);
    }
}

/* Single times added, dropped and exchanged. */
static void exchange(bench *b, const piece *p, piece *best)
{
    const size_t n = b->d->n_time;
    for (size_t out = 0; out <= n; out++) { /* n: none taken out */
        if (out < n && !p->read[out])
            continue;
        for (size_t in = 0; in <= n; in++) { /* n: none put in */
            if ((in < n && p->read[in]) || (in == n && out == n))
                continue;
            piece trial = *p;
            if (out < n)
                set_time(&trial, out, 0);
            if (in < n)
                set_time(&trial, in, 1);
            if (!allowed(b, &trial))
                continue;
            evaluate(b, &trial);
            keep_better(b, &trial, best);
        }
    }
}

sa_status sa_design_improve(const sa_design *d, const double *table, const int *counted,
                            sa_design_plan *plan, double *value, size_t *rounds, double *work)
{
    const sa_design_sizes s = sa_design_measure(d);
    const size_t block = d->n_draw * s.packed;
    bench b = {d, &s, table, counted, work, work + block, 0.0, 0, 0};
    *rounds = 0;
    *value = sa_design_value(d, table, counted, plan, work);
    if (!(sa_design_minutes(d, plan) <= d->furnace_minutes * (1.0 + 1e-12)))
        return SA_OUT_OF_RANGE;
    for (int better = 1; better && *rounds < MAX_ROUNDS; (*rounds)++) {
        better = 0;
        for (size_t q = 0; q < plan->n_piece; q++) {
            piece now = {.temp = (size_t)plan->temp[q], .steps = 0, .value = *value};
            memcpy(now.read, plan->read + q * d->n_time, d->n_time);
            for (size_t i = 0; i < d->n_time; i++)
                now.steps += now.read[i];
            if (now.steps < 1 || now.steps > d->max_steps)
                return SA_OUT_OF_RANGE;
            sa_design_information(d, &s, table, plan, q, b.others);
            b.minutes =
                d->furnace_minutes - sa_design_minutes(d, plan) + minutes_of(d, now.temp, now.read);
            piece best = now;
            for (size_t a = 0; a < d->n_temp; a++) {
                build(&b, a, &best);
                piece moved = now;
                moved.temp = a;
                evaluate(&b, &moved);
                keep_better(&b, &moved, &best);
            }
            exchange(&b, &now, &best);
            if (b.stop)
                return SA_INTERRUPTED;
            if (best.value < now.value) {
                plan->temp[q] = (int)best.temp;
                memcpy(plan->read + q * d->n_time, best.read, d->n_time);
                *value = best.value;
                better = 1;
            }
        }
    }
    return *rounds < MAX_ROUNDS ? SA_OK : SA_LIMIT;
}
