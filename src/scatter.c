/* Starts of rich models scattered over all rates, energies, exponents, delays and levels at once. Their
 * narrow minima are found from few places, which the sum of squares of a start does not betray: nothing is
 * selected. Every second start has its levels solved for (levels.c), the others have drawn ones. The
 * numbers begin at `seed`, so that the same readings give the same fit. Rates are taken against the middle
 * of the clock of the readings, or they would follow every change of an energy; energies, exponents and
 * delays are drawn by logarithms. */
#include "softening.h"
#include <math.h>
#include <stdint.h>
#include <string.h>

#define ENERGY_SCALE 50.0 /* kJ/mol */
#define DELAY_SCALE 0.05
#define MOST_ENERGY 800.0
#define MOST_DELAY 3.0

typedef struct {
    const sa_softening *s;
    double log_time, coordinate; /* middle of the clock */
    double top, drop;            /* hardest reading, and less the softest */
    uint64_t random;
} scatter;

/* splitmix64 (Steele, Lea and Flood 2014), between two numbers */
static double between(scatter *f, double low, double high)
{
    uint64_t z = (f->random += 0x9E3779B97F4A7C15u);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    z ^= z >> 31;
    return low + (high - low) * (((double)(z >> 11) + 0.5) / 9007199254740992.0);
}

static double by_logarithm(scatter *f, double scale, double most)
{
    return scale * expm1(between(f, 0.0, log1p(most / scale)));
}

static double rate_at(const scatter *f, double speed, double energy)
{
    return speed - f->log_time - f->coordinate * energy;
}

static void look(scatter *f)
{
    double total = 0.0, low = HUGE_VAL;
    for (size_t i = 0; i < f->s->clock.n; i++) {
        f->top = fmax(f->top, f->s->hardness[i]);
        low = fmin(low, f->s->hardness[i]);
        if (!isfinite(f->s->clock.log_time[i]))
            continue;
        f->log_time += f->s->clock.log_time[i];
        f->coordinate += f->s->clock.coordinate[i];
        total += 1.0;
    }
    f->drop = f->top - low;
    if (total > 0.0) {
        f->log_time /= total;
        f->coordinate /= total;
    }
}

size_t sa_softening_scatter(const sa_softening *s, const double *base, uint64_t seed, double *starts,
                            size_t most, double *work)
{
    const sa_model_layout at = sa_model_parameters(s->kind);
    const size_t p = at.n_par;
    scatter f = {.s = s, .random = seed};
    look(&f);
    for (size_t i = 0; i < most; i++) {
        double *par = starts + i * p;
        if (s->poll && s->poll(s->poll_context))
            return 0;
        memcpy(par, base, p * sizeof(double));
        par[SA_P_N] = exp(between(&f, log(0.2), log(8.0)));
        for (size_t j = 1; j < at.exponents; j++)
            par[(size_t)at.exponent + j - 1] = par[SA_P_N];
        par[SA_P_Q] = by_logarithm(&f, ENERGY_SCALE, MOST_ENERGY);
        par[SA_P_LN_K] = rate_at(&f, between(&f, -4.0, 3.0), par[SA_P_Q]);
        par[SA_P_WORKED] = f.top + f.drop * between(&f, -0.2, 0.1);
        par[SA_P_SOFT] = f.top - f.drop * between(&f, 0.8, 1.4);
        for (size_t k = 0; k < at.processes; k++) {
            double *own = par + at.place[k];
            own[0] = f.drop * between(&f, 0.0, 0.5);
            own[2] = by_logarithm(&f, ENERGY_SCALE, MOST_ENERGY);
            own[1] = rate_at(&f, between(&f, -4.0, 7.0), own[2]);
        }
        if (at.theta0 >= 0)
            par[at.theta0] = by_logarithm(&f, DELAY_SCALE, MOST_DELAY);
        for (size_t j = 0; j < p; j++)
            par[j] = s->held && s->held[j] ? base[j] : fmin(fmax(par[j], s->lower[j]), s->upper[j]);
        if (i % 2 == 1)
            sa_softening_levels(s, s->kind, par, work, work + s->clock.n);
    }
    return most;
}
