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
/* Of settling: variances that a yardstick of distance costs, and those that a place may cost. */
#define PULL 1e-4
#define WEAKER 1e-2
#define NO_LOSS 0.1
#define GRID 1024.0 /* of a yardstick */
#define USUAL_ENERGY 200.0

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

typedef struct {
    const sa_mixed *f;
    const double *to, *root; /* of each parameter: fixed value, root of its penalty (0: none) */
    double *jac;
} settling;

static int settling_residuals(const double *par, double *resid, double *jac, void *context)
{
    const settling *w = context;
    const sa_softening *s = w->f->s;
    const size_t n = s->clock.n, p = sa_model_parameters(s->kind).n_par, rows = n + p;
    if (sa_model_hardness(s->kind, &s->clock, par, resid, jac ? w->jac : NULL))
        return 1;
    for (size_t i = 0; i < n; i++)
        resid[i] -= s->hardness[i];
    for (size_t j = 0; j < p; j++)
        resid[n + j] = w->root[j] * (par[j] - w->to[j]);
    for (size_t j = 0; jac && j < p; j++) {
        memcpy(jac + j * rows, w->jac + j * n, n * sizeof(double));
        memset(jac + j * rows + n, 0, p * sizeof(double));
        jac[n + j + j * rows] = w->root[j];
    }
    return 0;
}

/* Fixed values, and distances from them that count. */
static void register_places(const sa_softening *s, double *to, double *unit)
{
    const sa_model_layout at = sa_model_parameters(s->kind);
    const sa_clock *clock = &s->clock;
    double top = s->hardness[0], low = top, clocks = 0.0, heated = 0.0;
    for (size_t i = 0; i < clock->n; i++) {
        const double v = clock->log_time[i] + USUAL_ENERGY * clock->coordinate[i];
        top = fmax(top, s->hardness[i]);
        low = fmin(low, s->hardness[i]);
        if (isfinite(v)) {
            clocks += v;
            heated += 1.0;
        }
    }
    for (size_t j = 0; j < at.n_par; j++) {
        const sa_term *term = sa_model_term(&at, j);
        const sa_yardstick *y = &term->yardstick;
        to[j] = term->role == SA_LEVEL     ? (j == SA_P_SOFT ? low : top)
                : term->role == SA_LN_RATE ? (heated > 0.0 ? -clocks / heated : 0.0)
                                           : term->start;
        to[j] = fmin(fmax(to[j], s->lower[j]), s->upper[j]);
        unit[j] = fmax(y->of_drop * (top - low) + y->of_size * fabs(to[j]), y->least);
        if (!(unit[j] > 0.0))
            unit[j] = 1.0;
    }
}

size_t sa_mixed_settle_work(const sa_mixed *f)
{
    const size_t n = f->s->clock.n, p = sa_model_parameters(f->s->kind).n_par, rows = n + p;
    const size_t solver = sa_lsq_work(rows, p);
    return solver == 0 ? 0 : solver + rows * (p + 1) + n * p;
}

void sa_mixed_settle(const sa_mixed *f, const int *open, double *par, double *work)
{
    const sa_softening *s = f->s;
    const size_t n = s->clock.n, p = sa_model_parameters(s->kind).n_par, rows = n + p;
    double to[SA_MODEL_MAX_PAR], unit[SA_MODEL_MAX_PAR], root[SA_MODEL_MAX_PAR] = {0.0};
    double trial[SA_MODEL_MAX_PAR], squares = 0.0, most = 0.0;
    double *resid = work, *jac = resid + rows, *own = jac + rows * p, *rest = own + n * p;
    int held[SA_MODEL_MAX_PAR], at_bound[SA_MODEL_MAX_PAR];
    settling w = {f, to, root, own};
    const sa_lsq_problem pb = {rows, p, s->lower, s->upper, NULL, held, settling_residuals, &w};
    sa_lsq_control control = sa_lsq_defaults();
    sa_lsq_result result;
    control.poll = s->poll;
    control.poll_context = s->poll_context;
    register_places(s, to, unit);
    if (settling_residuals(par, resid, NULL, &w))
        return;
    for (size_t i = 0; i < n; i++) {
        squares += resid[i] * resid[i];
        most = fmax(most, fabs(s->hardness[i]));
    }
    const double variance = fmax(squares / (double)n, pow(1e-7 * most, 2.0));
    /* from the fixed values, or from where the solver stopped where that ends in another valley; where it
     * costs too much, what stands at a bound stays there; then the same with a weaker pull */
    for (int attempt = 0; attempt < 8; attempt++) {
        const double pull = PULL * (attempt < 4 ? 1.0 : WEAKER);
        for (size_t j = 0; j < p; j++) {
            const int bound = attempt % 4 >= 2 && (par[j] <= s->lower[j] || par[j] >= s->upper[j]);
            held[j] = (s->held[j] && !open[j]) || (open[j] && bound);
            root[j] = open[j] && !bound ? sqrt(pull * variance) / unit[j] : 0.0;
            trial[j] = attempt % 2 == 0 && root[j] > 0.0 ? to[j] : par[j];
        }
        sa_status st = sa_lsq_fit(&pb, &control, trial, resid, jac, at_bound, rest, &result);
        /* a grid takes the rounding of the solver away: one after another, the others following */
        for (size_t j = p; j-- > 0 && st == SA_OK;) {
            if (!(root[j] > 0.0))
                continue;
            const double grid = unit[j] / GRID;
            trial[j] = fmin(fmax(grid * floor(trial[j] / grid + 0.5), s->lower[j]), s->upper[j]);
            held[j] = 1;
            st = sa_lsq_fit(&pb, &control, trial, resid, jac, at_bound, rest, &result);
        }
        double now = 0.0;
        for (size_t i = 0; i < n; i++)
            now += resid[i] * resid[i];
        if (st == SA_OK && now <= squares + NO_LOSS * variance) {
            memcpy(par, trial, p * sizeof(double));
            return;
        }
    }
}
