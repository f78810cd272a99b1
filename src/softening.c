/* Global fit of a softening model: all temperatures at once, conditions weighted by their
 * number of readings. Nobody has to type starting values: they come from the data
 * (starts.c); the most promising few are run to a coarse minimum and the best is refined. */
#include "softening.h"
#include <float.h>
#include <math.h>
#include <string.h>

const sa_word sa_parameter_states[SA_PARAMETER_STATES] = {
    [SA_DETERMINED] = "determined",
    [SA_HELD] = "fixed",
    [SA_AT_LOWER] = "at lower bound",
    [SA_AT_UPPER] = "at upper bound",
    [SA_OPEN_BELOW] = "only an upper limit",
    [SA_OPEN_ABOVE] = "only a lower limit",
    [SA_OPEN] = "not determined"};

/* Sum of squared residuals, over that of the readings, that is met without scatter only. */
#define EXACT_SHARE 1e-20
#define MOST_ROUNDS 5
#define SCATTERED 6 /* rounds of scattered starts */

static int softening_residuals(const double *par, double *resid, double *jac, void *context)
{
    const sa_softening *s = context;
    if (sa_joint_hardness(s->kind, &s->clock, s->furnaces, par, resid, jac))
        return 1;
    for (size_t i = 0; i < s->clock.n; i++)
        resid[i] -= s->hardness[i];
    sa_softening_whiten(s, resid, jac);
    return 0;
}

void sa_softening_whiten(const sa_softening *s, double *resid, double *jac)
{
    if (!s->whitening)
        return;
    sa_whitening_apply(s->whitening, resid);
    for (size_t j = 0; jac && j < sa_softening_unknowns(s); j++)
        sa_whitening_apply(s->whitening, jac + j * sa_softening_rows(s));
}

size_t sa_softening_work(size_t m)
{
    return sa_softening_work_for(m, SA_MODEL_MAX_PAR);
}

size_t sa_softening_work_for(size_t m, size_t p)
{
    size_t solver = sa_lsq_work(m, p);
    return solver == 0 ? 0 : solver + 2 * m * (p + 2) + 64 * p + SA_MOST_STARTS * p + 256;
}

sa_lsq_problem sa_softening_problem(const sa_softening *s)
{
    sa_lsq_problem pb = {sa_softening_rows(s), sa_softening_unknowns(s),
                         s->lower,       s->upper,
                         s->root_weight, s->held,
                         softening_residuals, (void *)(size_t)s};
    return pb;
}

/* The lowest of the minima reached from some starts, coarsely; work counted in `result`. */
static sa_status try_starts(const sa_lsq_problem *pb, const sa_lsq_control *coarse, size_t count,
                            double *starts, double exact, double *best, double *par, double *resid,
                            double *jac, int *at_bound, double *work, sa_lsq_result *result)
{
    for (size_t k = 0; k < count && *best > exact; k++) { /* without scatter no other can do better */
        sa_lsq_result trial;
        double *start = starts + k * pb->p;
        const sa_status st = sa_lsq_fit(pb, coarse, start, resid, jac, at_bound, work, &trial);
        if (st == SA_INTERRUPTED)
            return st;
        result->iterations += trial.iterations;
        result->evaluations += trial.evaluations;
        if (st != SA_NOT_FINITE && trial.objective < *best) {
            *best = trial.objective;
            memcpy(par, start, pb->p * sizeof(double));
        }
    }
    return SA_OK;
}

sa_status sa_softening_fit(const sa_softening *s, const sa_lsq_control *control, int use_start,
                           double *par, double *resid, double *jac, int *at_bound, double *work,
                           sa_lsq_result *result)
{
    const sa_lsq_problem pb = sa_softening_problem(s);
    const size_t p = pb.p;
    sa_lsq_result spent = {SA_END_START, 0, 0, 0.0, 0.0, 0.0};
    if (!use_start) {
        double *starts = work, *rest = work + SA_MOST_STARTS * p, best = HUGE_VAL, exact = 0.0;
        double base[SA_MODEL_MAX_PAR];
        const int rich = sa_model_core(s->kind) != sa_model_plain(sa_model_core(s->kind));
        const size_t most = sa_model_core(s->kind) == SA_JMAK ? SA_USUAL_STARTS : SA_MOST_STARTS;
        sa_lsq_control coarse = *control;
        coarse.ftol = 1e-7;
        coarse.xtol = 1e-6;
        coarse.gtol = 1e-6;
        coarse.huber = 0.0;
        coarse.max_iterations = rich ? 200 : 60;
        coarse.polish = 0;
        for (size_t i = 0; i < s->clock.n; i++)
            exact += EXACT_SHARE * pow(s->root_weight[i] * s->hardness[i], 2.0);
        memcpy(base, par, p * sizeof(double));
        size_t count = sa_softening_starts(s, base, starts, most, rest);
        for (int round = 0; count > 0; round++) {
            const double before = best;
            if (try_starts(&pb, &coarse, count, starts, exact, &best, par, resid, jac, at_bound,
                           rest, &spent) == SA_INTERRUPTED)
                return SA_INTERRUPTED;
            /* models with further processes have many minima: starts far apart, others scattered over the
             * whole space, then one part of the best moved at a time */
            if (!rich || round == SCATTERED + MOST_ROUNDS || best <= exact ||
                (round > SCATTERED + 1 && best > before * (1.0 - 1e-6)))
                break;
            if (round == 0)
                count = sa_softening_spread(s, base, starts, most, rest);
            else if (round <= SCATTERED)
                count = sa_softening_scatter(s, base, (uint64_t)round, starts, most, rest);
            else
                count = sa_softening_moves(s, base, par, starts, most, rest);
        }
    }
    sa_status status = sa_lsq_fit(&pb, control, par, resid, jac, at_bound, work, result);
    result->iterations += spent.iterations;
    result->evaluations += spent.evaluations;
    return status;
}
