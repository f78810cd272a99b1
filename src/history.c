/* Reduced time along a temperature history.
 *
 * theta(t) = integral of k(T(t')) dt', the additivity rule of Scheil (1935, Arch.
 * Eisenhuettenwes. 8, 565), Avrami (1940, J. Chem. Phys. 8, 212) and Cahn (1956, Acta Metall.
 * 4, 572), with T linear between the points of the history.
 *
 * The integrand f = exp(q e(T)) and its derivatives along a straight piece are known in closed
 * form, so a piece is integrated from its two ends by the Hermite rule of order 8
 * (coefficients of the diagonal Pade approximant of exp, Obreschkoff 1940; remainder
 * f^(8)/25401600). With e changing f by no more than exp(1/4) and T by no more than 5 % the
 * remainder is below 1e-12 of the piece. Longer pieces are cut in equal steps of 1/T, from
 * the hot end until nothing more adds to the sum.
 *
 * Sums are kept relative to a reference exponent that follows the largest one, so that neither
 * q e nor ln k overflows; blocks of points are summed apart, so that 1e7 points lose no digits. */
#include "history.h"
#include <math.h>
#include <stdint.h>

#define PANEL_EXPONENT 0.25
#define PANEL_STRETCH 0.05
#define MOST_PANELS 1e7 /* what a sound history asks for is less: sa_history_check() */
#define HEADROOM 300.0 /* the reference moves when an exponent is this far above it */
#define BLOCK 128
#define POLL_UNITS 65536 /* points walked over in blocks, some milliseconds */

/* 1000/R in K mol/kJ: e = SCALE (1/ref - 1/T). */
#define SCALE (1000.0 / SA_GAS_CONSTANT)

/* A point: 1/T, e, and f relative to the reference. */
typedef struct {
    double inverse, e, f;
} point;

typedef struct {
    double sum, moment; /* integrals of f and of e f over the time share 0 to 1 */
} integral;

/* Derivatives of f in T, over f: p = d ln f / dT = q SCALE / T^2, i = 1/T; second and third
 * derivative, and the derivatives of these two in p. */
static inline double second(double p, double i)
{
    return p * (p - 2.0 * i);
}
static inline double third(double p, double i)
{
    return p * (p * (p - 6.0 * i) + 6.0 * i * i);
}
static inline double second_in_p(double p, double i)
{
    return 2.0 * (p - i);
}
static inline double third_in_p(double p, double i)
{
    return p * (3.0 * p - 12.0 * i) + 6.0 * i * i;
}

/* The rule: values and derivatives at both ends, differences or sums of them. */
static inline double rule(double rise, double f, double f1, double f2, double f3)
{
    return 0.5 * f +
           rise * (3.0 / 28.0 * f1 + rise * (1.0 / 84.0 * f2 + rise * (1.0 / 1680.0) * f3));
}

/* One piece of unit length from a to b; `rise` is T_b - T_a. The moment is the derivative of
 * the rule itself in q, so that both agree to rounding. */
static inline integral piece(point a, point b, double rise, double q)
{
    const double ga = SCALE * a.inverse * a.inverse, gb = SCALE * b.inverse * b.inverse;
    const double pa = q * ga, pb = q * gb, ia = a.inverse, ib = b.inverse;
    const double a2 = a.f * second(pa, ia), b2 = b.f * second(pb, ib);
    const double a3 = a.f * third(pa, ia), b3 = b.f * third(pb, ib);
    const double da = ga * a.f, db = gb * b.f;
    integral out;
    out.sum = rule(rise, a.f + b.f, a.f * pa - b.f * pb, a2 + b2, a3 - b3);
    out.moment = rule(rise, a.e * a.f + b.e * b.f,
                      a.e * a.f * pa + da - b.e * b.f * pb - db,
                      a.e * a2 + da * second_in_p(pa, ia) + b.e * b2 + db * second_in_p(pb, ib),
                      a.e * a3 + da * third_in_p(pa, ia) - b.e * b3 - db * third_in_p(pb, ib));
    return out;
}

/* A long piece, cut. */
static integral cut_piece(point a, point b, double q)
{
    const int a_hot = q * (a.e - b.e) > 0.0 || (q * (a.e - b.e) == 0.0 && a.inverse < b.inverse);
    const point hot = a_hot ? a : b, cold = a_hot ? b : a;
    const double fall = fabs(q * (a.e - b.e));
    const double stretch = fmax(hot.inverse, cold.inverse) / fmin(hot.inverse, cold.inverse) - 1.0;
    const double count = ceil(fmax(fall / PANEL_EXPONENT, stretch / PANEL_STRETCH));
    if (!(count <= MOST_PANELS))
        return (integral){NAN, NAN};
    const double step = (cold.inverse - hot.inverse) / count, ratio = exp(-fall / count);
    const double length = fabs(1.0 / cold.inverse - 1.0 / hot.inverse);
    const double floor = 1e-20 * hot.f;
    integral out = {0.0, 0.0};
    point from = hot;
    for (double k = 1.0; k <= count && from.f > floor; k += 1.0) {
        point to;
        to.inverse = k < count ? hot.inverse + k * step : cold.inverse;
        to.e = hot.e - SCALE * (to.inverse - hot.inverse);
        to.f = from.f * ratio;
        double rise = (from.inverse - to.inverse) / (from.inverse * to.inverse);
        integral part = piece(from, to, rise, q);
        double share = fabs(rise) / length;
        out.sum += share * part.sum;
        out.moment += share * part.moment;
        from = to;
    }
    return out;
}

static integral any_piece(point a, point b, double temp_a, double temp_b, double q)
{
    const double rise = temp_b - temp_a;
    if (fabs(q * (b.e - a.e)) <= PANEL_EXPONENT &&
        fabs(rise) <= PANEL_STRETCH * fmin(temp_a, temp_b))
        return piece(a, b, rise, q);
    return cut_piece(a, b, q);
}

/* The state of a walk along a history: at the point a. */
typedef struct {
    double q, base, reference; /* base = SCALE / ref_k */
    double sum, moment;        /* so far, relative to the reference */
    double time, temp;
    point a;
    int empty, stale; /* stale: a.f belongs to an older reference */
    const sa_history *h;
    size_t units; /* of work since the last poll */
    int stop;
} walk;

static int is_stopped(walk *w, size_t units)
{
    w->units += units;
    if (w->units >= POLL_UNITS) {
        w->units = 0;
        w->stop = w->h->poll && w->h->poll(w->h->poll_context);
    }
    return w->stop;
}

static inline point point_at(double base, double temp)
{
    point p;
    p.inverse = 1.0 / temp;
    p.e = base - SCALE * p.inverse;
    p.f = 0.0;
    return p;
}

static void move_reference(walk *w, double top)
{
    if (w->empty) {
        w->reference = top;
    } else if (top > w->reference + HEADROOM) {
        double down = exp(w->reference - top);
        w->sum *= down;
        w->moment *= down;
        w->reference = top;
    }
    w->a.f = exp(w->q * w->a.e - w->reference);
    w->empty = w->stale = 0;
}

static void answer(const walk *w, double extra, double extra_moment, double e, double *log_scaled,
                   double *slope)
{
    double total = w->sum + extra;
    *log_scaled = total > 0.0 ? w->reference + log(total) : -INFINITY;
    if (slope)
        *slope = total > 0.0 ? (w->moment + extra_moment) / total : e;
}

/* To the next point; answers the marks up to there. */
static size_t step(walk *w, double next, double next_temp, const double *mark, size_t n_mark,
                   double *log_scaled, double *slope)
{
    const double dt = next - w->time, q = w->q;
    point b = point_at(w->base, next_temp);
    size_t k = 0;
    if (dt > 0.0) {
        const double top = fmax(q * w->a.e, q * b.e);
        if (w->stale || top > w->reference + HEADROOM)
            move_reference(w, top);
        b.f = exp(q * b.e - w->reference);
        for (; k < n_mark && mark[k] < next; k++) { /* readings inside the piece */
            if (is_stopped(w, 64))
                return k;
            const double passed = mark[k] - w->time;
            const double temp = w->temp + passed / dt * (next_temp - w->temp);
            point m = point_at(w->base, temp);
            m.f = exp(q * m.e - w->reference);
            integral x = any_piece(w->a, m, w->temp, temp, q);
            answer(w, passed * x.sum, passed * x.moment, m.e, log_scaled + k,
                   slope ? slope + k : NULL);
        }
        integral x = any_piece(w->a, b, w->temp, next_temp, q);
        w->sum += dt * x.sum;
        w->moment += dt * x.moment;
    } else {
        w->stale = 1;
    }
    w->a = b;
    w->time = next;
    w->temp = next_temp;
    for (; k < n_mark && mark[k] <= next; k++)
        answer(w, 0.0, 0.0, b.e, log_scaled + k, slope ? slope + k : NULL);
    return k;
}

/* Arrays of one block: point 0 is where the walk stands, BLOCK points follow. */
typedef struct {
    double inverse[BLOCK + 1], v[BLOCK + 1], rise[BLOCK];
    double f[BLOCK + 1], f1[BLOCK + 1], f2[BLOCK + 1], f3[BLOCK + 1];
} block_room;

/* f and its derivatives in T, or e f and its derivatives, at point j. */
static inline void derivatives(block_room *r, size_t j, double q)
{
    const double i = r->inverse[j], p = q * SCALE * i * i;
    r->f1[j] = r->f[j] * p;
    r->f2[j] = r->f[j] * second(p, i);
    r->f3[j] = r->f[j] * third(p, i);
}

static inline void moments(block_room *r, size_t j, double q, double base)
{
    const double i = r->inverse[j], g = SCALE * i * i, p = q * g, e = base - SCALE * i;
    const double gf = g * r->f[j];
    r->f[j] *= e;
    r->f1[j] = e * r->f1[j] + gf;
    r->f2[j] = e * r->f2[j] + gf * second_in_p(p, i);
    r->f3[j] = e * r->f3[j] + gf * third_in_p(p, i);
}

static inline double block_sum(const block_room *r, const double *time)
{
    double part[BLOCK], sum = 0.0;
    for (size_t j = 0; j < BLOCK; j++)
        part[j] = (time[j + 1] - time[j]) *
                  rule(r->rise[j], r->f[j] + r->f[j + 1], r->f1[j] - r->f1[j + 1],
                       r->f2[j] + r->f2[j + 1], r->f3[j] - r->f3[j + 1]);
    for (size_t j = 0; j < BLOCK; j++)
        sum += part[j];
    return sum;
}

/* BLOCK pieces at once, in plain loops of constant length that compilers turn into vector
 * code. Returns 0, with nothing done, where a piece has to be cut or the reference moved. */
static int block(walk *w, const double *time, const double *temp, double zero, int with_moment)
{
    block_room r;
    const double q = w->q, base = w->base, limit = w->reference + HEADROOM;
    int64_t irregular = w->stale;
    r.inverse[0] = w->a.inverse;
    r.v[0] = q * w->a.e;
    r.f[0] = w->a.f;
    for (size_t j = 1; j <= BLOCK; j++)
        r.inverse[j] = 1.0 / (temp[j] + zero);
    for (size_t j = 1; j <= BLOCK; j++)
        r.v[j] = q * (base - SCALE * r.inverse[j]);
    for (size_t j = 0; j < BLOCK; j++)
        r.rise[j] = temp[j + 1] - temp[j];
    for (size_t j = 0; j < BLOCK; j++) {
        irregular |= fabs(r.v[j + 1] - r.v[j]) > PANEL_EXPONENT;
        irregular |= r.v[j + 1] > limit;
        irregular |= fabs(r.rise[j]) * (r.inverse[j] + r.inverse[j + 1]) > PANEL_STRETCH;
    }
    if (irregular)
        return 0;
    for (size_t j = 1; j <= BLOCK; j++)
        r.f[j] = exp(r.v[j] - w->reference);
    w->a.f = r.f[BLOCK];
    derivatives(&r, 0, q);
    for (size_t j = 1; j <= BLOCK; j++)
        derivatives(&r, j, q);
    w->sum += block_sum(&r, time);
    if (with_moment) {
        moments(&r, 0, q, base);
        for (size_t j = 1; j <= BLOCK; j++)
            moments(&r, j, q, base);
        w->moment += block_sum(&r, time);
    }
    w->time = time[BLOCK];
    w->temp = temp[BLOCK] + zero;
    w->a.inverse = r.inverse[BLOCK];
    w->a.e = base - SCALE * r.inverse[BLOCK];
    return 1;
}

void sa_history_integrate(const sa_history *h, double q, double ref_k, const double *mark,
                          size_t n_mark, double *log_scaled, double *slope)
{
    size_t k = 0, i = 1;
    walk w = {.q = q, .base = SCALE / ref_k, .empty = 1, .stale = 1, .h = h};
    if (h->n > 0) {
        w.time = h->time[0];
        w.temp = h->temp[0] + h->zero;
        w.a = point_at(w.base, w.temp);
        for (; k < n_mark && mark[k] <= w.time; k++)
            answer(&w, 0.0, 0.0, w.a.e, log_scaled + k, slope ? slope + k : NULL);
    }
    while (i < h->n && k < n_mark && !is_stopped(&w, BLOCK)) {
        const double *time = h->time + i - 1, *temp = h->temp + i - 1;
        if (h->n - i >= BLOCK && mark[k] > time[BLOCK] &&
            block(&w, time, temp, h->zero, slope != NULL)) {
            i += BLOCK;
            continue;
        }
        for (size_t end = h->n - i > BLOCK ? i + BLOCK : h->n;
             i < end && k < n_mark && !is_stopped(&w, 16); i++)
            k += step(&w, h->time[i], h->temp[i] + h->zero, mark + k, n_mark - k, log_scaled + k,
                      slope ? slope + k : NULL);
    }
    for (; k < n_mark; k++) { /* beyond the end, or stopped: not known */
        log_scaled[k] = NAN;
        if (slope)
            slope[k] = NAN;
    }
}

sa_history_fault sa_history_check(const sa_history *h, size_t *at)
{
    double before = -HUGE_VAL;
    for (size_t i = 0; i < h->n; i++) {
        const double time = h->time[i], temp = h->temp[i] + h->zero;
        if (time >= before && temp >= 1.0 && temp <= 1e5 && fabs(time) <= 1e15) {
            before = time;
            continue;
        }
        *at = i;
        if (!isfinite(time) || !isfinite(temp))
            return SA_HISTORY_MISSING;
        if (temp <= 0.0)
            return SA_HISTORY_COLD;
        return time >= before ? SA_HISTORY_BEYOND : SA_HISTORY_BACK;
    }
    return SA_HISTORY_FINE;
}

void sa_histories_integrate(const sa_histories *set, double q, double *log_scaled, double *slope)
{
    for (size_t k = 0; k < set->count; k++) {
        const size_t from = (size_t)set->first[k], to = (size_t)set->first[k + 1];
        const size_t mark = (size_t)set->mark_first[k], last = (size_t)set->mark_first[k + 1];
        const sa_history one = {set->time + from, set->temp + from, to - from,
                                set->zero,        set->poll,        set->poll_context};
        sa_history_integrate(&one, q, set->ref_k, set->mark + mark, last - mark,
                             log_scaled + mark, slope ? slope + mark : NULL);
        for (size_t i = mark; i < last; i++)
            log_scaled[i] -= set->log_unit;
    }
}
