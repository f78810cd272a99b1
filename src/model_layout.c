/* Where the parameters of a softening model stand, what holds for one group of readings (a cold
 * reduction, a temperature with its own exponent), and the clocks along temperature histories.
 * The model itself is in model.c. */
#include "model.h"
#include <math.h>
#include <string.h>

sa_model_layout sa_model_parameters(sa_model_kind kind)
{
    const unsigned code = (unsigned)kind, growth = code / SA_WITH_GROWTH % 4;
    const sa_model_part *model = &sa_models[sa_model_core(kind)];
    const unsigned has = model->processes | (growth > 0 ? 1u << SA_GROWTH : 0u);
    sa_model_layout at = {.n_par = SA_P_Q + 1, .shape = model->shape, .theta0 = -1, .k_strain = -1,
                          .h_strain = -1, .soft_strain = -1, .exponent = -1, .exponents = 1 + code / SA_ONE_EXPONENT};
    if (code / SA_WITH_STRAIN % 2 != 0) {
        at.k_strain = (int)at.n_par++;
        at.h_strain = (int)at.n_par++;
    }
    if (code / SA_WITH_SOFT_STRAIN % 2 != 0)
        at.soft_strain = (int)at.n_par++;
    if (at.exponents > 1)
        at.exponent = (int)at.n_par;
    at.n_par += at.exponents - 1;
    if (growth > 0)
        at.power = -0.5 / (double)(growth + 1);
    for (int k = SA_RECRYSTALLISATION + 1; has && k < SA_PROCESSES; k++) {
        if (!(has >> k & 1u))
            continue;
        at.process[at.processes] = k;
        at.place[at.processes++] = (int)at.n_par;
        at.n_par += 3;
        at.falls |= !sa_processes[k].of_soft && sa_processes[k].sign < 0.0;
        at.rises |= !sa_processes[k].of_soft && sa_processes[k].sign > 0.0;
    }
    if (model->delay)
        at.theta0 = (int)at.n_par++;
    return at;
}

int sa_model_term_row(const sa_model_layout *at, size_t j)
{
    const int k = (int)j;
    if (k <= SA_P_Q)
        return k;
    if (k == at->theta0)
        return SA_T_THETA0;
    for (size_t i = 0; i < at->processes; i++)
        if (k >= at->place[i] && k < at->place[i] + 3)
            return sa_processes[at->process[i]].terms + k - at->place[i];
    if (k == at->k_strain)
        return SA_T_K_STRAIN;
    return k == at->h_strain ? SA_T_H_STRAIN : k == at->soft_strain ? SA_T_SOFT_STRAIN : SA_P_N;
}

sa_model_kind sa_model_plain(sa_model_kind kind)
{
    const sa_shape shape = sa_models[sa_model_core(kind)].shape;
    int row = 0;
    while (sa_models[row].shape != shape || sa_models[row].processes || sa_models[row].delay)
        row++;
    return (sa_model_kind)((int)kind - (int)sa_model_base(kind) + row);
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
    if (at.soft_strain >= 0)
        base[SA_P_SOFT] *= exp(par[at.soft_strain] * group.strain);
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
    if (at.soft_strain >= 0) {
        const double lift = exp(par[at.soft_strain] * group.strain);
        out[at.soft_strain] = gradient[SA_P_SOFT] * par[SA_P_SOFT] * lift * group.strain;
        out[SA_P_SOFT] *= lift;
    }
    if (group.exponent > 0) {
        out[at.exponent + group.exponent - 1] = out[SA_P_N];
        out[SA_P_N] = 0.0;
    }
}

size_t sa_clock_table(size_t n)
{
    return SA_PROCESSES * (2 * n + 1);
}

void sa_clock_begin(const sa_clock *clock)
{
    for (size_t slot = 0; slot < SA_PROCESSES; slot++)
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
