/* The hardness levels of a softening model, in which it is linear, for given rates, energies and exponents
 * (Golub G H, Pereyra V, 1973, SIAM J. Numer. Anal. 10, 413: variable projection). A level beyond a bound
 * is put there, the farthest first, and the others are solved for again; what is held stays, and where the
 * levels cannot be solved for all stays. Used where many candidates are compared (starts.c, scatter.c). */
#include "linear.h"
#include "softening.h"
#include <math.h>
#include <string.h>

#define LEVELS (2 + SA_PROCESSES - 1)

double sa_softening_levels(const sa_softening *s, sa_model_kind kind, double *par, double *resid,
                           double *jac)
{
    const size_t m = s->clock.n, p = sa_model_parameters(s->kind).n_par;
    const sa_model_layout at = sa_model_parameters(kind);
    for (size_t j = 1; j < at.exponents; j++) /* one n for all to begin with */
        if (!(s->held && s->held[(size_t)at.exponent + j - 1]))
            par[(size_t)at.exponent + j - 1] = par[SA_P_N];
    int level[LEVELS] = {SA_P_WORKED, SA_P_SOFT};
    size_t levels = 2, known = 0, place[LEVELS];
    double a[LEVELS * LEVELS], b[LEVELS], x[LEVELS], given[LEVELS], before[LEVELS];
    for (size_t k = 0; k < at.processes; k++)
        level[levels++] = at.place[k];
    for (size_t j = 0; j < levels; j++) { /* what is held first: it goes to the side of the data */
        const int own = level[j];
        if (s->held && s->held[own]) {
            level[j] = level[known];
            level[known] = own;
            given[known++] = par[own];
        }
    }
    for (size_t j = 0; j < levels; j++) {
        before[j] = par[level[j]];
        par[level[j]] = level[j] == SA_P_WORKED ? 1.0 : 0.0;
    }
    /* the matrix of a plateau nobody visited may have no inverse, nor the curve a value */
    const int curve = !sa_model_hardness(kind, &s->clock, par, resid, jac);
    for (size_t j = 0; j < levels; j++)
        par[level[j]] = before[j];
    if (!curve)
        return HUGE_VAL;
    while (known < levels) {
        const size_t f = levels - known;
        memset(a, 0, sizeof a);
        memset(b, 0, sizeof b);
        for (size_t j = 0; j < f; j++)
            place[j] = (size_t)level[known + j] * m;
        for (size_t i = 0; i < m; i++) {
            double w = s->root_weight[i] * s->root_weight[i], h = s->hardness[i];
            for (size_t j = 0; j < known; j++)
                h -= given[j] * jac[i + (size_t)level[j] * m];
            for (size_t j = 0; j < f; j++) {
                const double basis = w * jac[i + place[j]];
                b[j] += basis * h;
                for (size_t k = 0; k < f; k++)
                    a[k + j * f] += basis * jac[i + place[k]];
            }
        }
        double diag = 0.0;
        for (size_t j = 0; j < f; j++)
            diag = fmax(diag, a[j + j * f]);
        for (size_t j = 0; j < f; j++)
            a[j + j * f] += 1e-10 * diag; /* a plateau nobody visited */
        sa_triangularise(a, f, f, b);
        if (!sa_back_substitute(a, f, f, b, x))
            return HUGE_VAL;
        size_t worst = f;
        double most = 0.0;
        for (size_t j = 0; j < f; j++) {
            const int own = level[known + j];
            const double beyond = fmax(s->lower[own] - x[j], x[j] - s->upper[own]);
            if (beyond > most) {
                most = beyond;
                worst = j;
            }
        }
        if (worst == f) {
            for (size_t j = 0; j < f; j++)
                par[level[known + j]] = x[j];
            break;
        }
        const int out = level[known + worst];
        level[known + worst] = level[known];
        level[known] = out;
        given[known++] = x[worst] < s->lower[out] ? s->lower[out] : s->upper[out];
    }
    for (size_t j = 0; j < known; j++)
        par[level[j]] = given[j];
    for (size_t j = 0; j < p; j++)
        if (!(s->held && s->held[j]))
            par[j] = fmin(fmax(par[j], s->lower[j]), s->upper[j]);
    if (sa_model_hardness(kind, &s->clock, par, resid, NULL))
        return HUGE_VAL;
    double sum = 0.0;
    for (size_t i = 0; i < m; i++) {
        double d = s->root_weight[i] * (resid[i] - s->hardness[i]);
        sum += d * d;
    }
    return sum;
}
