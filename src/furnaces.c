/* Errors of furnace temperatures as unknowns. A covariance with the slopes dH/dT of one set of
 * parameters is wrong along a profile on which the energies change: a furnace that is off by 2 K moves a
 * curve the more the larger its energy. So the errors are fitted with the parameters, each drawn
 * towards zero by a row of its own (penalised sum of squares: Lindstrom and Bates 1990, Biometrics 46,
 * 673); what is linear, offsets of pieces and errors of steps, stays in the covariance. */
#include "furnaces.h"
#include <string.h>

#define MOST_ENERGY 60.0

/* dH of condition i in its coordinate. */
static double coordinate_slope(const sa_model_layout *at, const double *par, const double *jac, size_t n,
                               size_t i)
{
    double sum = jac[i + SA_P_LN_K * n] * par[SA_P_Q];
    for (size_t k = 0; k < at->processes; k++) {
        const size_t rate = (size_t)at->place[k] + 1;
        sum += jac[i + rate * n] * par[rate + 1];
    }
    return sum;
}

double sa_temperature_slope(const sa_model_layout *at, const double *par, const double *jac, size_t n,
                            size_t i, double inverse)
{
    return coordinate_slope(at, par, jac, n, i) * 1000.0 / SA_GAS_CONSTANT * inverse * inverse;
}

double sa_temperature_shift(double coordinate, double ref_k, double d)
{
    const double inverse = 1.0 / ref_k - coordinate * SA_GAS_CONSTANT / 1000.0;
    return 1000.0 / SA_GAS_CONSTANT * inverse * inverse * d / (1.0 + inverse * d);
}

/* How much of an error of temperature counts: all of it up to an energy of MOST_ENERGY RT. Energies are
 * hardly those of self-diffusion, some 18 R times the melting point (Brown and Ashby 1980, Acta
 * Metallurgica 28, 1085), and nothing recrystallises below 0.3 of that; but a profile whose energy has no
 * upper limit runs far beyond, where a furnace that is off by 2 K would explain anything. */
static double counted(double energy, double inverse)
{
    const double most = MOST_ENERGY * SA_GAS_CONSTANT / 1000.0 / inverse;
    return energy > most ? most / energy : 1.0;
}

int sa_joint_hardness(sa_model_kind kind, const sa_clock *clock, const sa_furnaces *f,
                      const double *par, double *out, double *jac)
{
    if (!f)
        return sa_model_hardness(kind, clock, par, out, jac);
    const size_t n = clock->n, rows = n + f->count;
    const sa_model_layout at = sa_model_parameters(kind);
    const double *error = par + at.n_par;
    sa_clock moved = *clock;
    moved.shift = f->shift;
    for (size_t i = 0; i < n; i++) {
        const double inverse = 1.0 / f->ref_k - clock->coordinate[i] * SA_GAS_CONSTANT / 1000.0;
        f->shift[i] = f->of[i] < 0 ? 0.0
                                   : counted(par[SA_P_Q], inverse) *
                                         sa_temperature_shift(clock->coordinate[i], f->ref_k,
                                                              f->scale[i] * error[f->of[i]]);
    }
    if (sa_model_hardness(kind, &moved, par, out, jac ? f->jac : NULL))
        return 1;
    memcpy(out + n, error, f->count * sizeof(double));
    if (!jac)
        return 0;
    memset(jac, 0, rows * (at.n_par + f->count) * sizeof(double));
    for (size_t j = 0; j < at.n_par; j++)
        memcpy(jac + j * rows, f->jac + j * n, n * sizeof(double));
    double *own = jac + at.n_par * rows;
    for (size_t i = 0; i < n; i++) {
        if (f->of[i] < 0)
            continue;
        const double plain = 1.0 / f->ref_k - clock->coordinate[i] * SA_GAS_CONSTANT / 1000.0;
        const double share = counted(par[SA_P_Q], plain);
        const double inverse = plain - f->shift[i] / share * SA_GAS_CONSTANT / 1000.0;
        own[i + (size_t)f->of[i] * rows] =
            share * f->scale[i] * sa_temperature_slope(&at, par, f->jac, n, i, inverse);
        if (share < 1.0) /* what counts no longer grows with the energy */
            jac[i + SA_P_Q * rows] -=
                coordinate_slope(&at, par, f->jac, n, i) * f->shift[i] / par[SA_P_Q];
    }
    for (size_t k = 0; k < f->count; k++)
        own[n + k + k * rows] = 1.0;
    return 0;
}
