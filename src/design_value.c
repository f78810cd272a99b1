/* Information and criterion of a plan: gradients of every candidate at every draw, their sums over
 * steps, and what they say of the aim (see design.c for the definitions and sources).
 * Symmetric matrices are packed by rows of the lower triangle. */
#include "design_value.h"
#include <float.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#define MAX_PACKED (SA_MODEL_MAX_PAR * (SA_MODEL_MAX_PAR + 1) / 2)

sa_design_sizes sa_design_measure(const sa_design *d)
{
    sa_design_sizes s = {0, 0, 0, {0}};
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
static size_t stride(const sa_design *d, const sa_design_sizes *s)
{
    return s->packed + (s->candidates + d->n_aim) * s->p;
}

size_t sa_design_table_size(const sa_design *d)
{
    const sa_design_sizes s = sa_design_measure(d);
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
    const sa_design_sizes s = sa_design_measure(d);
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

static int all_finite(const double *x, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (!isfinite(x[i]))
            return 0;
    return 1;
}

sa_status sa_design_prepare(const sa_design *d, double *table, int *counted, size_t *n_counted)
{
    const sa_design_sizes s = sa_design_measure(d);
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
        if (!all_finite(gradient, s.p))
            return SA_NOT_FINITE;
        add_outer(base, gradient, s.p, d->at_start);
        for (size_t j = 0, diagonal = 0; j < s.p; diagonal += ++j + 1)
            base[diagonal] += d->floor[s.place[j]];
        for (size_t j = 0, to = 0; d->known && j < s.p; j++)
            for (size_t k = 0; k <= j; k++)
                base[to++] += d->known[s.place[j] * (s.place[j] + 1) / 2 + s.place[k]];
        if (!all_finite(base, s.packed)) /* squares of what was still a number */
            return SA_NOT_FINITE;
        for (size_t a = 0; a < d->n_temp; a++) {
            if (a % 256 == 0 && d->poll && d->poll(d->poll_context))
                return SA_INTERRUPTED;
            for (size_t i = 0; i < d->n_time; i++)
                here[i] = d->coordinate[a];
            const sa_clock clock = {.n = d->n_time, .coordinate = here, .log_time = d->log_time};
            if (sa_model_hardness(d->kind, &clock, par, value, jac))
                return SA_NOT_FINITE;
            for (size_t i = 0; i < d->n_time; i++, g += s.p) {
                for (size_t j = 0; j < s.p; j++)
                    g[j] = root * jac[i + s.place[j] * d->n_time];
                if (!all_finite(g, s.p))
                    return SA_NOT_FINITE;
            }
        }
        counted[r] = 1;
        for (size_t q = 0; q < d->n_aim; q++) {
            double ln_time;
            const sa_target_kind what =
                d->aim == SA_AIM_LN_TIME_HARDNESS ? SA_TO_HARDNESS : SA_TO_SOFTENING;
            if (!sa_model_time_to(d->kind, d->aim_coordinate[q], d->target, what, par, &ln_time,
                                  gradient) ||
                !all_finite(gradient, at.n_par))
                counted[r] = 0;
            for (size_t j = 0; j < s.p; j++)
                *g++ = counted[r] ? gradient[s.place[j]] : 0.0;
        }
        *n_counted += (size_t)counted[r];
    }
    return SA_OK;
}

/* Lower triangle L of M = L L', packed by rows, in place; 0 when M is not positive or beyond the
 * range of numbers. */
static int factorise(double *m, size_t p)
{
    for (size_t i = 0, row = 0; i < p; row += ++i) {
        for (size_t j = 0, col = 0; j <= i; col += ++j) {
            double x = m[row + j];
            for (size_t k = 0; k < j; k++)
                x -= m[row + k] * m[col + k];
            if (i != j)
                m[row + j] = x / m[col + j];
            else if (x > 0.0 && isfinite(x))
                m[row + j] = sqrt(x);
            else
                return 0;
        }
    }
    return 1;
}

/* ln |L^-1 g|^2 = ln g' M^-1 g; finite also where nothing is left to find. */
static double log_quadratic(const double *l, size_t p, const double *g)
{
    double x[SA_MODEL_MAX_PAR], sum = 0.0;
    for (size_t i = 0, row = 0; i < p; row += ++i) {
        double v = g[i];
        for (size_t k = 0; k < i; k++)
            v -= l[row + k] * x[k];
        x[i] = v / l[row + i];
        sum += x[i] * x[i];
    }
    return log(fmin(fmax(sum, DBL_MIN), DBL_MAX));
}

static double criterion(const sa_design *d, const sa_design_sizes *s, double *m, const double *aims)
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
        return log_quadratic(m, s->p, g);
    }
    for (size_t q = 0; q < d->n_aim; q++)
        sum += log_quadratic(m, s->p, aims + q * s->p);
    return sum / (double)d->n_aim;
}

/* Criterion after a sa_design_move on the information `info` (packed, by draws), which stays as is.
 */
double sa_design_value_after(const sa_design *d, const sa_design_sizes *s, const double *table,
                             const int *counted, const double *info, const sa_design_move *v)
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

void sa_design_apply(const sa_design *d, const sa_design_sizes *s, const double *table,
                     double *info, const sa_design_move *v)
{
    for (size_t r = 0; r < d->n_draw; r++) {
        const double *g = table + r * stride(d, s) + s->packed;
        for (size_t k = 0; k < v->n; k++)
            add_outer(info + r * s->packed, g + v->candidate[k] * s->p, s->p, v->times[k]);
    }
}

/* Information of all pieces but one (`without` = n_piece: of all). */
void sa_design_information(const sa_design *d, const sa_design_sizes *s, const double *table,
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

double sa_design_value(const sa_design *d, const double *table, const int *counted,
                       const sa_design_plan *plan, double *work)
{
    const sa_design_sizes s = sa_design_measure(d);
    const sa_design_move none = {.n = 0};
    sa_design_information(d, &s, table, plan, plan->n_piece, work);
    return sa_design_value_after(d, &s, table, counted, work, &none);
}
