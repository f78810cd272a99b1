/* Softening fit under components of error: alternation of a linear mixed model and a step of the
 * nonlinear one (Lindstrom and Bates 1990, Biometrics 46, 673).
 *
 * The model is linearised at the conditional mode of each furnace error, not at zero: at 4 K the
 * curve bends too much. With H(par; T + d) the working values are
 * y - H + g d_mode = X (par_new - par) + g d + b + e, g = dH/dT, solved by REML and GLS. */
#include "mixed.h"
#include <math.h>
#include <string.h>

#define ALTERNATIONS 30
#define SHORT_ROUNDS 3
#define STEP_HALVINGS 12
#define STILL 1e-5 /* of a standard error */

size_t sa_mixed_work(const sa_mixed *f)
{
    const size_t n = f->s->clock.n, p = sa_model_parameters(f->s->kind).n_par;
    const size_t columns = (size_t)f->c->first_column[f->c->n_block], o = f->c->n_operator;
    sa_components c = *f->c;
    c.p = p;
    const size_t inner = sa_components_work(&c);
    return inner == 0 ? 0 : inner + p * p + n * (p + 2) + 2 * columns + 2 * o + p * p + 64;
}

void sa_mixed_shift(const sa_mixed *f, const double *mode)
{
    const sa_clock *clock = &f->s->clock;
    for (size_t i = 0; i < clock->n; i++) {
        const size_t row = (size_t)f->row[i];
        f->shift[row] = 0.0;
        if (f->c->furnace[i] < 0 || !(f->furnace_scale[i] > 0.0))
            continue;
        const double d = f->furnace_scale[i] * mode[f->c->furnace[i]];
        f->shift[row] = sa_temperature_shift(clock->coordinate[row], f->ref_k, d);
    }
}

/* dH/dT of each step, times the scale of its furnace. */
static void temperature_slopes(const sa_mixed *f, const double *par, const double *jac)
{
    const sa_model_layout at = sa_model_parameters(f->s->kind);
    const size_t n = f->s->clock.n;
    for (size_t i = 0; i < n; i++) {
        const size_t row = (size_t)f->row[i];
        const double inverse =
            1.0 / f->ref_k -
            (f->s->clock.coordinate[row] + f->shift[row]) * SA_GAS_CONSTANT / 1000.0;
        f->g[i] = f->furnace_scale[i] * sa_temperature_slope(&at, par, jac, n, row, inverse);
    }
}

/* Penalised sum of squares of parameters and modes together. */
static double penalised(const sa_mixed *f, const double *par, const double *mode,
                        const double *operator_mode, const double *variance, double *hardness)
{
    const sa_components *c = f->c;
    const size_t n = c->n, columns = (size_t)c->first_column[c->n_block];
    double sum = 0.0;
    sa_mixed_shift(f, mode);
    if (sa_model_hardness(f->s->kind, &f->s->clock, par, hardness, NULL))
        return HUGE_VAL;
    for (size_t i = 0; i < n; i++) {
        double e = f->s->hardness[f->row[i]] - hardness[f->row[i]];
        double d = variance[SA_V_STEP] * (c->factor ? c->factor[i] : 1.0) + c->noise[i];
        if (c->piece[i] >= 0)
            e -= mode[c->piece[i]];
        for (size_t k = 0; k < c->n_operator; k++)
            e -= c->operator_share[i + k * n] * operator_mode[k];
        if (c->furnace[i] < 0)
            d += variance[SA_V_FURNACE] * f->g[i] * f->g[i];
        sum += e * e / d;
    }
    for (size_t k = 0; k < columns; k++) {
        const double v = variance[c->is_furnace[k] ? SA_V_FURNACE : SA_V_PIECE];
        if (v > 0.0)
            sum += mode[k] * mode[k] / v;
    }
    for (size_t k = 0; k < c->n_operator && variance[SA_V_OPERATOR] > 0.0; k++)
        sum += operator_mode[k] * operator_mode[k] / variance[SA_V_OPERATOR];
    return sum;
}

/* The linear model at `par` and `mode`; returns non-zero where it has no value. */
static int linearise(const sa_mixed *f, const double *par, const double *mode,
                     const sa_mixed_result *r, double *hardness, double *jac)
{
    const size_t n = f->c->n;
    sa_mixed_shift(f, mode);
    if (sa_model_hardness(f->s->kind, &f->s->clock, par, hardness, jac))
        return 1;
    temperature_slopes(f, par, jac);
    for (size_t k = 0; k < r->free; k++)
        for (size_t i = 0; i < n; i++)
            f->x[i + k * n] = jac[(size_t)f->row[i] + r->place[k] * n];
    for (size_t i = 0; i < n; i++) {
        const int k = f->c->furnace[i];
        f->y[i] = f->s->hardness[f->row[i]] - hardness[f->row[i]] +
                  (k < 0 ? 0.0 : f->g[i] * mode[k]);
    }
    f->c->p = r->free;
    return 0;
}

sa_status sa_mixed_fit(const sa_mixed *f, double *par, double *variance, double *information,
                       double *mode, double *mode_sd, double *operator_mode, double *operator_sd,
                       double *cov, sa_mixed_result *result, double *work)
{
    const size_t n = f->c->n, p = sa_model_parameters(f->s->kind).n_par, o = f->c->n_operator;
    const size_t columns = (size_t)f->c->first_column[f->c->n_block];
    double *hardness = work, *jac = hardness + n, *new_mode = jac + n * p;
    double *new_operator = new_mode + columns, *inner = new_operator + o;
    double beta[SA_MODEL_MAX_PAR], trial[SA_MODEL_MAX_PAR];
    int bound[SA_MODEL_MAX_PAR] = {0};
    sa_components_value value;
    memset(mode, 0, columns * sizeof(double));
    memset(operator_mode, 0, o * sizeof(double));
    memset(f->g, 0, n * sizeof(double));
    result->iterations = result->converged = 0;
    f->s->clock.shift = f->shift;
    f->c->x = f->x;
    f->c->y = f->y;
    f->c->g = f->g;
    for (int round = 0; round < ALTERNATIONS; round++) {
        result->free = 0;
        for (size_t j = 0; j < p; j++)
            if (!(f->s->held && f->s->held[j]) && !bound[j])
                result->place[result->free++] = j;
        if (linearise(f, par, mode, result, hardness, jac))
            return SA_NOT_FINITE;
        result->iterations = round + 1;
        const int last = result->converged || round + 1 == ALTERNATIONS;
        sa_status st = sa_components_reml(f->c, f->estimated, last ? SA_REML_ROUNDS : SHORT_ROUNDS,
                                          variance, information, inner);
        if (st == SA_SINGULAR || sa_components_prepare(f->c, variance, inner) ||
            sa_components_solve(f->c, variance, inner, beta, cov, &value) ||
            sa_components_modes(f->c, variance, beta, inner, new_mode, mode_sd, new_operator,
                                operator_sd))
            return SA_SINGULAR;
        result->criterion = value.criterion;
        if (last)
            break;
        double share = 1.0, moved = 0.0;
        const double before = penalised(f, par, mode, operator_mode, variance, hardness);
        int better = 0, met = 0;
        double *try_mode = inner; /* the cross products are done with */
        double *try_operator = inner + columns;
        for (int h = 0; h < STEP_HALVINGS && !better; h++, share *= 0.5) {
            memcpy(trial, par, p * sizeof(double));
            met = 0;
            moved = 0.0;
            for (size_t k = 0; k < result->free; k++) {
                const size_t j = result->place[k];
                const double to = par[j] + share * beta[k];
                trial[j] = fmin(fmax(to, f->s->lower[j]), f->s->upper[j]);
                met |= trial[j] != to;
                moved = fmax(moved, fabs(trial[j] - par[j]) / sqrt(cov[k + k * result->free]));
            }
            for (size_t k = 0; k < columns; k++)
                try_mode[k] = mode[k] + share * (new_mode[k] - mode[k]);
            for (size_t k = 0; k < o; k++)
                try_operator[k] =
                    operator_mode[k] + share * (new_operator[k] - operator_mode[k]);
            const double after = penalised(f, trial, try_mode, try_operator, variance, hardness);
            better = after <= before * (1.0 + 1e-10) + 1e-10;
        }
        if (better) {
            double drift = 0.0;
            for (size_t k = 0; k < columns; k++)
                if (f->c->is_furnace[k])
                    drift = fmax(drift, fabs(try_mode[k] - mode[k]));
            memcpy(mode, try_mode, columns * sizeof(double));
            memcpy(operator_mode, try_operator, o * sizeof(double));
            memcpy(par, trial, p * sizeof(double));
            for (size_t k = 0; met && k < result->free; k++) {
                const size_t j = result->place[k];
                bound[j] = par[j] <= f->s->lower[j] || par[j] >= f->s->upper[j];
            }
            result->converged = !met && moved < STILL && drift < 1e-4;
        } else {
            result->converged = 1; /* no descent: as good as it gets */
        }
    }
    memcpy(mode, new_mode, columns * sizeof(double));
    memcpy(operator_mode, new_operator, o * sizeof(double));
    return SA_OK;
}
