/* Start values from the data.
 *
 * With the hardest and softest condition as first guess of the two plateaus, the fraction of
 * each condition gives z = ln(-ln(1 - X)) = n (ln k_ref + Q e + ln t), a straight line in
 * ln t and e (the classical double-logarithmic route). A fixed set of alternatives in n, Q,
 * incubation and recovery surrounds that guess; the hardness levels, in which the model is
 * linear, are solved for each (Golub and Pereyra 1973, variable projection), and the
 * candidates with the smallest sums of squares are returned. Deterministic. */
#include "linear.h"
#include "softening.h"
#include <float.h>
#include <math.h>
#include <string.h>

typedef struct {
    const sa_softening *s;
    sa_model_kind kind; /* of the candidates, simpler than s->kind in the first round */
    size_t p, most, count;
    double *starts, *score; /* sorted, best first */
    double *resid, *jac;
    const double *base; /* values of what is held */
    int stop;           /* the poll has said so: no more candidates */
} race;

static double clamp(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

static void enter(race *r, double *par)
{
    r->stop = r->stop || (r->s->poll && r->s->poll(r->s->poll_context));
    if (r->stop)
        return;
    for (size_t j = 0; r->s->held && j < r->p; j++)
        if (r->s->held[j])
            par[j] = r->base[j];
    double score = sa_softening_levels(r->s, r->kind, par, r->resid, r->jac);
    if (!isfinite(score))
        return;
    for (size_t j = 0; j < r->count; j++) /* the same curve again */
        if (fabs(score - r->score[j]) <= 1e-9 * score)
            return;
    size_t k = r->count < r->most ? r->count++ : r->most;
    if (k == r->most && score >= r->score[k - 1])
        return;
    if (k == r->most)
        k--;
    while (k > 0 && r->score[k - 1] > score) {
        r->score[k] = r->score[k - 1];
        memcpy(r->starts + k * r->p, r->starts + (k - 1) * r->p, r->p * sizeof(double));
        k--;
    }
    r->score[k] = score;
    memcpy(r->starts + k * r->p, par, r->p * sizeof(double));
}

/* What the double-logarithmic line needs from the data. */
typedef struct {
    double worked, soft; /* `worked` at the reference strain */
    int one_temperature;
    double h_strain, k_strain;
    const double *strain; /* NULL: none */
    sa_shape shape;
} plateaus;

static plateaus look(const sa_softening *s, const double *base)
{
    const sa_model_layout at = sa_model_parameters(s->kind);
    plateaus g = {-HUGE_VAL, HUGE_VAL, 1, 0.0, 0.0, at.k_strain >= 0 ? s->clock.strain : NULL,
                  at.shape};
    if (g.strain) {
        g.h_strain = base[at.h_strain];
        g.k_strain = base[at.k_strain];
    }
    for (size_t i = 0; i < s->clock.n; i++) {
        double lift = g.strain ? exp(-g.h_strain * g.strain[i]) : 1.0;
        g.worked = fmax(g.worked, lift * s->hardness[i]);
        g.soft = fmin(g.soft, s->hardness[i]);
        if (fabs(s->clock.coordinate[i] - s->clock.coordinate[0]) > 1e-12)
            g.one_temperature = 0;
    }
    return g;
}

/* z and weight of condition i; weight 0 where it says nothing. */
static double double_log(const sa_softening *s, const plateaus *g, size_t i, double *z)
{
    if (!isfinite(s->clock.log_time[i]) || !(g->worked > g->soft))
        return 0.0;
    double worked = g->strain ? g->worked * exp(g->h_strain * g->strain[i]) : g->worked;
    if (!(worked > g->soft))
        return 0.0;
    double x = clamp((worked - s->hardness[i]) / (worked - g->soft), 0.01, 0.99);
    double w = x * (1.0 - x);
    *z = sa_shape_line(g->shape, x);
    return w * w * s->root_weight[i] * s->root_weight[i];
}

/* Weighted line z = n ln k + n ln t + n Q e + n k_strain strain. */
static void double_log_line(const sa_softening *s, const plateaus *g, double *n, double *q,
                            double *k_strain)
{
    double a[16] = {0.0}, b[4] = {0.0}, x[4];
    const size_t energy = g->one_temperature ? 0 : 2, by_strain = energy ? 3 : 2;
    const size_t f = by_strain + (g->strain ? 1 : 0);
    for (size_t i = 0; i < s->clock.n; i++) {
        double z, w = double_log(s, g, i, &z);
        if (w == 0.0)
            continue;
        double row[4] = {1.0, s->clock.log_time[i], s->clock.coordinate[i], 0.0};
        if (g->strain)
            row[by_strain] = g->strain[i];
        for (size_t j = 0; j < f; j++) {
            b[j] += w * row[j] * z;
            for (size_t k = 0; k < f; k++)
                a[k + j * f] += w * row[j] * row[k];
        }
    }
    sa_triangularise(a, f, f, b);
    *n = 1.5;
    *q = 200.0;
    if (!sa_back_substitute(a, f, f, b, x) || !(x[1] > 0.0))
        return;
    *n = clamp(x[1], 0.4, 5.0);
    if (energy && isfinite(x[energy] / x[1]))
        *q = clamp(x[energy] / x[1], 20.0, 900.0);
    if (g->strain && isfinite(x[by_strain] / x[1]))
        *k_strain = clamp(x[by_strain] / x[1], -2.0, 8.0);
}

/* ln k_ref that centres the curve on the data for given n and Q. */
static double centred_rate(const sa_softening *s, const plateaus *g, double n, double q)
{
    double sum = 0.0, total = 0.0;
    for (size_t i = 0; i < s->clock.n; i++) {
        double z, w = double_log(s, g, i, &z);
        if (w == 0.0)
            continue;
        double by_strain = g->strain ? g->k_strain * g->strain[i] : 0.0;
        sum += w * (z / n - s->clock.log_time[i] - q * s->clock.coordinate[i] - by_strain);
        total += w;
    }
    return total > 0.0 ? sum / total : 0.0;
}

static void simple_starts(race *r, plateaus *g, const double *base)
{
    const sa_softening *s = r->s;
    const sa_model_layout at = sa_model_parameters(r->kind);
    double n0, q0, k_strain = g->k_strain, par[SA_MODEL_MAX_PAR];
    double_log_line(s, g, &n0, &q0, &k_strain);
    if (at.k_strain >= 0 && !(s->held && s->held[at.k_strain]))
        g->k_strain = k_strain;
    const double ns[5] = {n0, 0.7, 1.3, 2.5, 4.0}, qs[5] = {q0, 80.0, 160.0, 320.0, 550.0};
    const int held_n = s->held && s->held[SA_P_N], held_q = s->held && s->held[SA_P_Q];
    const int held_k = s->held && s->held[SA_P_LN_K];
    for (int i = 0; i < (held_n ? 1 : 5); i++) {
        for (int j = 0; j < (held_q ? 1 : 5); j++) {
            memcpy(par, base, r->p * sizeof(double));
            if (!held_n)
                par[SA_P_N] = ns[i];
            if (!held_q)
                par[SA_P_Q] = qs[j];
            if (at.k_strain >= 0)
                par[at.k_strain] = g->k_strain;
            if (!held_k)
                par[SA_P_LN_K] = centred_rate(s, g, par[SA_P_N], par[SA_P_Q]);
            enter(r, par);
        }
    }
}

/* Mean of the logarithm of time on the clock of an energy: rates are tried slow, middling and fast
 * against it. */
static double middle_clock(const sa_softening *s, double q)
{
    double sum = 0.0, total = 0.0;
    for (size_t i = 0; i < s->clock.n; i++) {
        if (!isfinite(s->clock.log_time[i]))
            continue;
        sum += s->clock.log_time[i] + q * s->clock.coordinate[i];
        total += 1.0;
    }
    return total > 0.0 ? sum / total : 0.0;
}

/* Rates and energies of the processes from the k-th on, all combinations. */
static void add_processes(race *r, const sa_model_layout *at, size_t k, double *par)
{
    if (k == at->processes) {
        enter(r, par);
        return;
    }
    const sa_process_starts *try = &sa_processes[at->process[k]].starts;
    double *b = par + at->place[k];
    const int held = r->s->held && r->s->held[at->place[k] + 2];
    for (int i = 0; i < try->speeds; i++) {
        for (int j = 0; j < (held ? 1 : try->shares); j++) {
            if (!held)
                b[2] = try->share[j] * par[SA_P_Q];
            b[1] = try->speed[i] - middle_clock(r->s, b[2]);
            add_processes(r, at, k + 1, par);
        }
    }
}

size_t sa_softening_starts(const sa_softening *s, const double *base, double *starts, size_t most,
                           double *work)
{
    const sa_model_layout at = sa_model_parameters(s->kind);
    const size_t m = s->clock.n, p = at.n_par;
    double score[SA_MOST_STARTS + 1], simple[SA_MOST_STARTS * SA_MODEL_MAX_PAR];
    plateaus g = look(s, base);
    /* the plain model first; candidates carry all p parameters, the extra ones at `base` */
    const sa_model_kind plain = sa_model_plain(s->kind);
    /* growth is in the candidates of the second round only */
    race r = {s, plain, p, s->kind == plain ? most : 3, 0, simple, score, work, work + m, base, 0};
    simple_starts(&r, &g, base);
    if (s->kind == plain) {
        memcpy(starts, simple, r.count * p * sizeof(double));
        return r.count;
    }
    const size_t bases = r.count;
    race full = {s, s->kind, p, most, 0, starts, score, work, work + m, base, r.stop};
    const double half_y = sa_shape_inverse(at.shape, 0.5);
    const double delay[5] = {0.0, 0.15, 0.5, 1.0, 2.0}, blunt[3] = {1.0, 0.65, 0.4};
    for (size_t k = 0; k < bases; k++) {
        const double *from = simple + k * p;
        double half = pow(half_y, 1.0 / from[SA_P_N]); /* theta at X = 1/2 stays where it is */
        for (int i = 0; i < (at.theta0 >= 0 ? 5 : 1); i++) {
            for (int j = 0; j < (i == 0 ? 1 : 3); j++) {
                double par[SA_MODEL_MAX_PAR];
                memcpy(par, from, p * sizeof(double));
                if (at.theta0 >= 0) {
                    par[SA_P_N] = fmax(from[SA_P_N] * blunt[j], 0.3);
                    par[at.theta0] = delay[i];
                    par[SA_P_LN_K] += log((delay[i] + pow(half_y, 1.0 / par[SA_P_N])) / half);
                }
                add_processes(&full, &at, 0, par);
            }
        }
    }
    return full.count;
}

/* Another place of one process, all else as in `from`: fast and slow, cold and hot. */
static void move_process(race *r, const sa_model_layout *at, size_t k, const double *from)
{
    static const double speed[6] = {-4.0, -2.0, -0.5, 1.0, 3.0, 7.0};
    static const double energy[6] = {0.0, 50.0, 120.0, 250.0, 600.0, 2000.0};
    for (int i = 0; i < 6; i++) {
        for (int j = 0; j < 6; j++) {
            double par[SA_MODEL_MAX_PAR], *b = par + at->place[k];
            memcpy(par, from, r->p * sizeof(double));
            b[2] = energy[j];
            b[1] = speed[i] - middle_clock(r->s, b[2]);
            enter(r, par);
        }
    }
}

/* Another place of the recrystallisation, the processes as in `from`. */
static void move_recrystallisation(race *r, const plateaus *g, const sa_model_layout *at,
                                   const double *from)
{
    static const double ns[6] = {0.15, 0.4, 0.8, 1.5, 3.0, 8.0};
    static const double qs[7] = {0.0, 40.0, 100.0, 200.0, 400.0, 900.0, 2000.0};
    static const double delay[4] = {0.0, 0.05, 0.3, 1.5};
    for (int i = 0; i < 6; i++) {
        for (int j = 0; j < 7; j++) {
            for (int l = 0; l < (at->theta0 >= 0 ? 4 : 1); l++) {
                double par[SA_MODEL_MAX_PAR];
                memcpy(par, from, r->p * sizeof(double));
                par[SA_P_N] = ns[i];
                par[SA_P_Q] = qs[j];
                par[SA_P_LN_K] = centred_rate(r->s, g, ns[i], qs[j]);
                if (at->theta0 >= 0) {
                    const double half = pow(sa_shape_inverse(at->shape, 0.5), 1.0 / ns[i]);
                    par[at->theta0] = delay[l];
                    par[SA_P_LN_K] += log((delay[l] + half) / half);
                }
                enter(r, par);
            }
        }
    }
}

/* All combinations of speed and energy of the processes from the k-th on. */
static void spread_processes(race *r, const sa_model_layout *at, size_t k, double *par)
{
    static const double speed[4] = {-3.0, 0.0, 3.0, 7.0}, energy[4] = {0.0, 80.0, 250.0, 2000.0};
    if (k == at->processes) {
        enter(r, par);
        return;
    }
    double *b = par + at->place[k];
    for (int i = 0; i < 4; i++) {
        for (int j = 0; j < 4; j++) {
            b[2] = energy[j];
            b[1] = speed[i] - middle_clock(r->s, b[2]);
            spread_processes(r, at, k + 1, par);
        }
    }
}

size_t sa_softening_spread(const sa_softening *s, const double *base, double *starts, size_t most,
                           double *work)
{
    static const double ns[3] = {0.4, 1.0, 2.5}, qs[4] = {20.0, 80.0, 200.0, 500.0};
    const sa_model_layout at = sa_model_parameters(s->kind);
    const plateaus g = look(s, base);
    double score[SA_MOST_STARTS + 1], par[SA_MODEL_MAX_PAR];
    race r = {s, s->kind, at.n_par, most, 0, starts, score, work, work + s->clock.n, base, 0};
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 4; j++) {
            memcpy(par, base, at.n_par * sizeof(double));
            par[SA_P_N] = ns[i];
            par[SA_P_Q] = qs[j];
            par[SA_P_LN_K] = centred_rate(s, &g, ns[i], qs[j]);
            spread_processes(&r, &at, 0, par);
        }
    }
    return r.count;
}

size_t sa_softening_moves(const sa_softening *s, const double *base, const double *from,
                          double *starts, size_t most, double *work)
{
    const sa_model_layout at = sa_model_parameters(s->kind);
    const size_t m = s->clock.n, p = at.n_par;
    double score[SA_MOST_STARTS + 1];
    const plateaus g = look(s, from);
    size_t count = 0;
    /* each part has its share of the places, or the sums of one would keep out the others */
    for (size_t part = 0; part <= at.processes; part++) {
        const size_t share = most / (at.processes + 1);
        race r = {s, s->kind, p, share, 0, starts + count * p, score, work, work + m, base, 0};
        if (part < at.processes)
            move_process(&r, &at, part, from);
        else
            move_recrystallisation(&r, &g, &at, from);
        count += r.count;
    }
    return count;
}
