/* Where the parameters of a softening model stand, what holds for one group of readings (a cold
 * reduction, a temperature with its own exponent), and the clocks along temperature histories.
 * The model itself is in model.c. */
#include "model.h"
#include <math.h>
#include <string.h>

sa_model_layout sa_model_parameters(sa_model_kind kind)
{
    sa_model_layout at = {-1, -1, -1, -1, -1, -1, -1, 5, -1, -1, -1, 1, -1, -1, -1, 0.0};
    if ((unsigned)kind / SA_WITH_STRAIN % 2 != 0) {
        at.k_strain = 5;
        at.h_strain = 6;
        at.n_par = 7;
    }
    at.exponents += (unsigned)kind / SA_ONE_EXPONENT;
    if (at.exponents > 1)
        at.exponent = (int)at.n_par;
    at.n_par += at.exponents - 1;
    const unsigned growth = (unsigned)kind / SA_WITH_GROWTH % 4;
    kind = sa_model_core(kind);
    if (kind == SA_RECOVERY_JMAK || kind == SA_RECOVERY_JMAK_INCUBATION ||
        kind == SA_HARDENING_RECOVERY_JMAK) {
        at.loss = (int)at.n_par;
        at.ln_k_rec = at.loss + 1;
        at.q_rec = at.loss + 2;
        at.n_par += 3;
    }
    if (kind == SA_HARDENING_JMAK || kind == SA_HARDENING_RECOVERY_JMAK) {
        at.gain = (int)at.n_par;
        at.ln_k_hard = at.gain + 1;
        at.q_hard = at.gain + 2;
        at.n_par += 3;
    }
    if (growth > 0) {
        at.fall = (int)at.n_par;
        at.ln_k_grow = at.fall + 1;
        at.q_grow = at.fall + 2;
        at.n_par += 3;
        at.growth = -0.5 / (double)(growth + 1);
    }
    if (kind == SA_JMAK_INCUBATION || kind == SA_RECOVERY_JMAK_INCUBATION)
        at.theta0 = (int)at.n_par++;
    return at;
}

void sa_model_of_group(sa_model_kind kind, sa_group group, const double *par, double *base)
{
    const sa_model_layout at = sa_model_parameters(kind);
    const size_t own = SA_P_Q + 1;
    const size_t extra = at.n_par - sa_model_parameters(sa_model_base(kind)).n_par;
    memcpy(base, par, own * sizeof(double));
    memcpy(base + own, par + own + extra, (at.n_par - extra - own) * sizeof(double));
    if (at.k_strain >= 0) {
        base[SA_P_LN_K] += par[at.k_strain] * group.strain;
        base[SA_P_WORKED] *= exp(par[at.h_strain] * group.strain);
    }
    if (group.exponent > 0)
        base[SA_P_N] = par[at.exponent + group.exponent - 1];
}

void sa_model_chain(sa_model_kind kind, sa_group group, const double *par, const double *gradient,
                    double *out)
{
    const sa_model_layout at = sa_model_parameters(kind);
    const size_t own = SA_P_Q + 1;
    const size_t extra = at.n_par - sa_model_parameters(sa_model_base(kind)).n_par;
    memcpy(out, gradient, own * sizeof(double));
    memset(out + own, 0, extra * sizeof(double));
    memcpy(out + own + extra, gradient + own, (at.n_par - extra - own) * sizeof(double));
    if (at.k_strain >= 0) {
        const double lift = exp(par[at.h_strain] * group.strain);
        out[at.k_strain] = gradient[SA_P_LN_K] * group.strain;
        out[at.h_strain] = gradient[SA_P_WORKED] * par[SA_P_WORKED] * lift * group.strain;
        out[SA_P_WORKED] *= lift;
    }
    if (group.exponent > 0) {
        out[at.exponent + group.exponent - 1] = out[SA_P_N];
        out[SA_P_N] = 0.0;
    }
}

size_t sa_clock_table(size_t n)
{
    return SA_CLOCK_SLOTS * (2 * n + 1);
}

void sa_clock_begin(const sa_clock *clock)
{
    for (size_t slot = 0; slot < SA_CLOCK_SLOTS; slot++)
        clock->table[slot * (2 * clock->n + 1)] = NAN;
}

void sa_clock_set(const sa_clock *clock, int slot, double q)
{
    if (!clock->along)
        return;
    double *table = clock->table + (size_t)slot * (2 * clock->n + 1);
    double *log_scaled = table + 1, *slope = log_scaled + clock->n;
    if (table[0] == q)
        return;
    const size_t marks = (size_t)clock->along->mark_first[clock->along->count];
    const size_t before = clock->n - marks;
    for (size_t i = 0; i < before; i++) {
        log_scaled[i] = -INFINITY;
        slope[i] = 0.0;
    }
    sa_histories_integrate(clock->along, q, log_scaled + before, slope + before);
    table[0] = q;
}
