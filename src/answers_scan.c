/* Starts of constrained fits. The likelihood of an answer may hold several valleys, and where the
 * energy has run to its edge the curve at other temperatures no longer feels it. So before a value
 * of an answer is called too bad, curves of many shapes that meet it are tried: n and Q over a
 * grid, ln k_ref in closed form, the rest as it is. */
#include "answers.h"
#include <math.h>
#include <string.h>

static double sum_of(const sa_softening *s, const double *par, double *resid)
{
    double sum = 0.0;
    const sa_lsq_problem pb = sa_softening_problem(s);
    if (pb.fn(par, resid, NULL, pb.context))
        return HUGE_VAL;
    for (size_t i = 0; i < pb.n; i++) {
        const double r = s->root_weight[i] * resid[i];
        sum += r * r;
    }
    return sum;
}

static int inside(const sa_softening *s, size_t j, double x)
{
    return x >= s->lower[j] && x <= s->upper[j];
}

int sa_scan_shapes(const sa_softening *s, const sa_meeting *at, double *par, double *resid)
{
    static const double energies[] = {25.0,  50.0,  75.0,  100.0, 125.0, 150.0, 175.0, 200.0,
                                      240.0, 290.0, 350.0, 450.0, 600.0, 800.0, 1200.0, 2000.0};
    static const double shapes[] = {0.5, 0.8, 1.1, 1.5, 2.0, 3.0, 5.0};
    const size_t p = sa_softening_unknowns(s);
    const size_t nq = sizeof energies / sizeof *energies, nn = sizeof shapes / sizeof *shapes;
    const int held_q = s->held && s->held[SA_P_Q], held_n = s->held && s->held[SA_P_N];
    double trial[SA_MODEL_MAX_PAR], best[SA_MODEL_MAX_PAR], slope[SA_MODEL_MAX_PAR];
    double least = HUGE_VAL;
    for (size_t i = 0; i <= nq; i++) {
        for (size_t j = 0; j <= nn; j++) {
            memcpy(trial, par, p * sizeof(double));
            if ((i < nq && (held_q || !inside(s, SA_P_Q, energies[i]))) ||
                (j < nn && (held_n || !inside(s, SA_P_N, shapes[j]))))
                continue;
            if (i < nq)
                trial[SA_P_Q] = energies[i];
            if (j < nn)
                trial[SA_P_N] = shapes[j];
            if (!sa_meeting_rate(s->kind, at, trial, &trial[SA_P_LN_K], slope))
                continue;
            const double sum = sum_of(s, trial, resid);
            if (sum < least) {
                least = sum;
                memcpy(best, trial, p * sizeof(double));
            }
        }
    }
    if (!(least < HUGE_VAL))
        return 0;
    memcpy(par, best, p * sizeof(double));
    return 1;
}
