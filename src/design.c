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
#include "design.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

#define MAX_PACKED (SA_MODEL_MAX_PAR * (SA_MODEL_MAX_PAR + 1) / 2)
#define MAX_ROUNDS 200
/* A change of the criterion (a logarithm) below this is rounding. */
#define LEAST_GAIN 1e-10

/* Estimated parameters and the sizes that follow from them. */
typedef struct {
    size_t p, packed, candidates;
    size_t place[SA_MODEL_MAX_PAR];
} sizes;

static sizes measure(const sa_design *d)
{
    sizes s = {0, 0, 0, {0}};
    const size_t n_par = sa_model_parameters(d->kind).n_par;
    for (size_t j = 0; j < n_par; j++)
        if (d->estimated[j])
            s.place[s.p++] = j;
    s.packed = s.p * (s.p + 1) / 2;
    s.candidates = d->n_temp * d->n_time;
    return s;
}

/* The table, by draws: base information (packed), gradients of the candidates (temperature
 * by temperature), gradients of the aim. */
static size_t stride(const sa_design *d, const sizes *s)
{
    return s->packed + (s->candidates + d->n_aim) * s->p;
}

size_t sa_design_table_size(const sa_design *d)
{
    const sizes s = measure(d);
    if (d->n_time == 0 || d->n_time > SA_DESIGN_MAX_TIMES || d->n_temp == 0 || s.p == 0 ||
        d->n_draw == 0)
        return 0;
    if (d->n_temp > 100000 || d->n_aim > 100000 ||
        d->n_draw > SIZE_MAX / sizeof(double) / stride(d, &s))
        return 0;
    return d->n_draw * stride(d, &s);
}

size_t sa_design_work_size(const sa_design *d)
{
    const sizes s = measure(d);
    return 3 * d->n_draw * s.packed;
}

static void add_outer(double *packed, const double *g, size_t p, double times)
{
    for (size_t j = 0, at = 0; j < p; j++) {
        const double x = times * g[j];
        for (size_t k = 0; k <= j; k++)
            packed[at++] += x * g[k];
    }
}

sa_status sa_design_prepare(const sa_design *d, double *table, int *counted, size_t *n_counted)
{
    const sizes s = measure(d);
    const sa_model_layout at = sa_model_parameters(d->kind);
    const double root = sqrt(d->weight);
    double value[SA_DESIGN_MAX_TIMES], here[SA_DESIGN_MAX_TIMES];
    double jac[SA_DESIGN_MAX_TIMES * SA_MODEL_MAX_PAR], gradient[SA_MODEL_MAX_PAR];

    *n_counted = 0;
    for (size_t r = 0; r < d->n_draw; r++) {
        const double *par = d->draws + r * at.n_par;
        double *base = table + r * stride(d, &s), *g = base + s.packed;
        memset(base, 0, s.packed * sizeof(double));
        const double before = -HUGE_VAL, anywhere = 0.0;
        const sa_clock start = {.n = 1, .coordinate = &anywhere, .log_time = &before};
        if (sa_model_hardness(d->kind, &start, par, value, jac))
            return SA_NOT_FINITE;
        for (size_t j = 0; j < s.p; j++)
            gradient[j] = root * jac[s.place[j]];
        add_outer(base, gradient, s.p, d->at_start);
        for (size_t j = 0, diagonal = 0; j < s.p; diagonal += ++j + 1)
            base[diagonal] += d->floor[s.place[j]];
        for (size_t a = 0; a < d->n_temp; a++) {
            for (size_t i = 0; i < d->n_time; i++)
                here[i] = d->coordinate[a];
            const sa_clock clock = {.n = d->n_time, .coordinate = here, .log_time = d->log_time};
            if (sa_model_hardness(d->kind, &clock, par, value, jac))
                return SA_NOT_FINITE;
            for (size_t i = 0; i < d->n_time; i++)
                for (size_t j = 0; j < s.p; j++)
                    *g++ = root * jac[i + s.place[j] * d->n_time];
        }
        counted[r] = 1;
        for (size_t q = 0; q < d->n_aim; q++) {
            double ln_time;
            const sa_target_kind what =
                d->aim == SA_AIM_LN_TIME_HARDNESS ? SA_TO_HARDNESS : SA_TO_SOFTENING;
            if (!sa_model_time_to(d->kind, d->aim_coordinate[q], d->target, what, par, &ln_time,
                                  gradient))
                counted[r] = 0;
            for (size_t j = 0; j < s.p; j++)
                *g++ = counted[r] ? gradient[s.place[j]] : 0.0;
        }
        *n_counted += (size_t)counted[r];
    }
    return SA_OK;
}

/* Lower triangle L of M = L L', packed by rows, in place; 0 when M is not positive. */
static int factorise(double *m, size_t p)
{
    for (size_t i = 0, row = 0; i < p; row += ++i) {
        for (size_t j = 0, col = 0; j <= i; col += ++j) {
            double x = m[row + j];
            for (size_t k = 0; k < j; k++)
                x -= m[row + k] * m[col + k];
            if (i != j)
                m[row + j] = x / m[col + j];
            else if (x > 0.0)
                m[row + j] = sqrt(x);
            else
                return 0;
        }
    }
    return 1;
}

/* |L^-1 g|^2 = g' M^-1 g. */
static double quadratic(const double *l, size_t p, const double *g)
{
    double x[SA_MODEL_MAX_PAR], sum = 0.0;
    for (size_t i = 0, row = 0; i < p; row += ++i) {
        double v = g[i];
        for (size_t k = 0; k < i; k++)
            v -= l[row + k] * x[k];
        x[i] = v / l[row + i];
        sum += x[i] * x[i];
    }
    return sum;
}

static double criterion(const sa_design *d, const sizes *s, double *m, const double *aims)
{
    if (!factorise(m, s->p))
        return HUGE_VAL;
    double sum = 0.0;
    if (d->aim == SA_AIM_DETERMINANT) {
        for (size_t j = 0, diagonal = 0; j < s->p; diagonal += ++j + 1)
            sum -= 2.0 * log(m[diagonal]);
        return sum / (double)s->p;
    }
    if (d->aim == SA_AIM_ENERGY) {
        double g[SA_MODEL_MAX_PAR] = {0};
        for (size_t j = 0; j < s->p; j++)
            g[j] = s->place[j] == SA_P_Q;
        return log(quadratic(m, s->p, g));
    }
    for (size_t q = 0; q < d->n_aim; q++)
        sum += log(quadratic(m, s->p, aims + q * s->p));
    return sum / (double)d->n_aim;
}

/* A move: candidates added to (+1) or taken from (-1) the information. */
typedef struct {
    size_t n;
    size_t candidate[2 * SA_DESIGN_MAX_TIMES];
    double times[2 * SA_DESIGN_MAX_TIMES];
} move;

static void change(move *v, size_t candidate, double times)
{
    v->candidate[v->n] = candidate;
    v->times[v->n++] = times;
}

/* Criterion after a move on the information `info` (packed, by draws), which stays as is. */
static double value_after(const sa_design *d, const sizes *s, const double *table,
                          const int *counted, const double *info, const move *v)
{
    double m[MAX_PACKED], sum = 0.0;
    size_t used = 0;
    for (size_t r = 0; r < d->n_draw; r++) {
        if (!counted[r])
            continue;
        const double *g = table + r * stride(d, s) + s->packed;
        memcpy(m, info + r * s->packed, s->packed * sizeof(double));
        for (size_t k = 0; k < v->n; k++)
            add_outer(m, g + v->candidate[k] * s->p, s->p, v->times[k]);
        sum += criterion(d, s, m, g + s->candidates * s->p);
        used++;
    }
    return used ? sum / (double)used : HUGE_VAL;
}

static void apply(const sa_design *d, const sizes *s, const double *table, double *info,
                  const move *v)
{
    for (size_t r = 0; r < d->n_draw; r++) {
        const double *g = table + r * stride(d, s) + s->packed;
        for (size_t k = 0; k < v->n; k++)
            add_outer(info + r * s->packed, g + v->candidate[k] * s->p, s->p, v->times[k]);
    }
}

/* Information of all pieces but one (`without` = n_piece: of all). */
static void information(const sa_design *d, const sizes *s, const double *table,
                        const sa_design_plan *plan, size_t without, double *info)
{
    for (size_t r = 0; r < d->n_draw; r++) {
        const double *base = table + r * stride(d, s), *g = base + s->packed;
        double *m = info + r * s->packed;
        memcpy(m, base, s->packed * sizeof(double));
        for (size_t q = 0; q < plan->n_piece; q++) {
            if (q == without)
                continue;
            for (size_t i = 0; i < d->n_time; i++)
                if (plan->read[q * d->n_time + i])
                    add_outer(m, g + ((size_t)plan->temp[q] * d->n_time + i) * s->p, s->p, 1.0);
        }
    }
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

double sa_design_value(const sa_design *d, const double *table, const int *counted,
                       const sa_design_plan *plan, double *work)
{
    const sizes s = measure(d);
    const move none = {.n = 0};
    information(d, &s, table, plan, plan->n_piece, work);
    return value_after(d, &s, table, counted, work, &none);
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
    const sizes *s;
    const double *table;
    const int *counted;
    double *others, *info; /* information without the piece; scratch */
    double minutes;        /* furnace minutes left for it */
} bench;

static int allowed(const bench *b, const piece *p)
{
    return p->steps >= 1 && p->steps <= b->d->max_steps &&
           minutes_of(b->d, p->temp, p->read) <= b->minutes * (1.0 + 1e-12);
}

static void evaluate(const bench *b, piece *p)
{
    move v = {.n = 0};
    for (size_t i = 0; i < b->d->n_time; i++)
        if (p->read[i])
            change(&v, p->temp * b->d->n_time + i, 1.0);
    p->value = value_after(b->d, b->s, b->table, b->counted, b->others, &v);
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

static void keep_better(const bench *b, const piece *trial, piece *best)
{
    if (allowed(b, trial) && trial->value < best->value - LEAST_GAIN)
        *best = *trial;
}

/* A piece at one temperature built from nothing, the best time at a time. */
static void build(const bench *b, size_t temp, piece *best)
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
            move v = {.n = 0};
            change(&v, temp * d->n_time + i, 1.0);
            double x = value_after(d, b->s, b->table, b->counted, b->info, &v);
            if (x < value - LEAST_GAIN || which == d->n_time) {
                value = fmin(x, value);
                which = i;
            }
        }
        if (which == d->n_time)
            break;
        move v = {.n = 0};
        change(&v, temp * d->n_time + which, 1.0);
        apply(d, b->s, b->table, b->info, &v);
        set_time(&p, which, 1);
        evaluate(b, &p);
        keep_better(b, &p, best);
    }
}

/* Single times added, dropped and exchanged. */
static void exchange(const bench *b, const piece *p, piece *best)
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
    const sizes s = measure(d);
    const size_t block = d->n_draw * s.packed;
    bench b = {d, &s, table, counted, work, work + block, 0.0};
    *rounds = 0;
    *value = sa_design_value(d, table, counted, plan, work);
    if (sa_design_minutes(d, plan) > d->furnace_minutes * (1.0 + 1e-12))
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
            information(d, &s, table, plan, q, b.others);
            b.minutes = d->furnace_minutes - sa_design_minutes(d, plan) +
                        minutes_of(d, now.temp, now.read);
            piece best = now;
            for (size_t a = 0; a < d->n_temp; a++) {
                build(&b, a, &best);
                piece moved = now;
                moved.temp = a;
                evaluate(&b, &moved);
                keep_better(&b, &moved, &best);
            }
            exchange(&b, &now, &best);
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
