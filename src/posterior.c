/* Density of the posterior and its gradient.
 *
 *   y_s = H(par; t, T + d_f) + b_i + sum_o share_so o_o + e_s
 *   b_i ~ N(0, sd_piece^2), o ~ N(0, sd_operator^2), e_s ~ N(0, sd_step^2 + sd_reading^2/n_s)
 *
 * Offsets of pieces and operators are linear and integrated out: V is diagonal plus one column a piece
 * (Sherman and Morrison) plus one an operator (Woodbury). Errors d of furnace temperatures bend the
 * curve and stay unknown, d = sd_furnace z with z ~ N(0, 1). Readings about their means: sum of squares
 * over sd_reading^2 is chi-squared. No column is linearised, so that the density is that of the model.
 *
 * What a furnace does to its readings, parameters can do as well: beside errors of all furnaces they are
 * free together, each alone fixed. So the unknowns that are drawn are the parameters as they would be
 * without these errors, u + sd_furnace C z, with C the weighted regression of dH/dd on dH/du at one place; a
 * shear, with determinant one. */
#include "posterior.h"
#include "linear.h"
#include <math.h>
#include <string.h>

size_t sa_posterior_unknowns(const sa_posterior *f)
{
    size_t d = f->furnaces.count;
    for (size_t j = 0; j < f->p; j++)
        d += f->belief[j].kind != SA_BELIEF_FIXED;
    for (size_t k = 0; k < SA_S_COUNT; k++)
        d += f->sd[k].kind != SA_BELIEF_FIXED;
    return d;
}

/* hardness and jac of both, then residual over D, solution, 1/D, diagonal, columns of operators, sums of
 * pieces. */
size_t sa_posterior_work(const sa_posterior *f)
{
    const size_t rows = f->n + f->furnaces.count, all = f->p + f->furnaces.count;
    return rows * (1 + all) + f->n * (4 + 2 * f->n_operator) + f->n_piece * (3 + f->n_operator) +
           2 * all;
}

/* x between bounds from u, ln dx/du to `jacobian`, and its derivative. */
static double bounded(double u, double low, double high, double *slope, double *jacobian,
                      double *bend)
{
    const double z = exp(-fabs(u)), s = 1.0 / (1.0 + z), part = u > 0.0 ? s : z * s;
    *slope = (high - low) * z * s * s;
    *jacobian = -fabs(u) - 2.0 * log1p(z);
    *bend = 1.0 - 2.0 * part;
    return u > 0.0 ? high - (high - low) * z * s : low + (high - low) * part;
}

static size_t free_parameters(const sa_posterior *f)
{
    size_t free = 0;
    for (size_t j = 0; j < f->p; j++)
        free += f->belief[j].kind != SA_BELIEF_FIXED;
    return free;
}

/* What the errors of furnaces take from the logit of the free parameters, per standard deviation. */
static double sheared(const sa_posterior *f, size_t free, size_t k, const double *z)
{
    double sum = 0.0;
    for (size_t l = 0; f->shear && l < f->furnaces.count; l++)
        sum += f->shear[k + l * free] * z[l];
    return sum;
}

/* A standard deviation from u: a multiple of ln(1 + exp(u)), which grows no faster than u, so that a
 * prior with a normal tail is no wall; of a lognormal prior exp(u). Slope, ln of it, its derivative. */
static double positive(const sa_belief *b, double u, double *slope, double *jacobian, double *bend)
{
    if (b->kind == SA_BELIEF_LOG_NORMAL) {
        *slope = exp(u);
        *jacobian = u;
        *bend = 1.0;
        return *slope;
    }
    const double z = exp(-fabs(u)), rest = log1p(z), share = u > 0.0 ? 1.0 / (1.0 + z) : z / (1.0 + z);
    *slope = b->b * share;
    *jacobian = (u > 0.0 ? 0.0 : u) - rest;
    *bend = 1.0 - share;
    return b->b * (u > 0.0 ? u + rest : rest);
}

/* Standard deviations of unknowns; the first unknown after them. */
static const double *deviations(const sa_posterior *f, const double *u, double *sd)
{
    double slope, jacobian, bend;
    for (size_t k = 0; k < SA_S_COUNT; k++)
        sd[k] = f->sd[k].kind == SA_BELIEF_FIXED ? f->sd[k].b
                                                 : positive(&f->sd[k], *u++, &slope, &jacobian, &bend);
    return u;
}

void sa_posterior_values(const sa_posterior *f, const double *u, double *par, double *sd,
                         double *error)
{
    const size_t free = free_parameters(f);
    const double *z = deviations(f, u + free, sd);
    double slope, jacobian, bend;
    for (size_t j = 0, k = 0; j < f->p; j++) {
        par[j] = f->fixed[j];
        if (f->belief[j].kind == SA_BELIEF_FIXED)
            continue;
        const double at = u[k] - sd[SA_S_FURNACE] * sheared(f, free, k, z);
        par[j] = bounded(at, f->lower[j], f->upper[j], &slope, &jacobian, &bend);
        k++;
    }
    for (size_t k = 0; k < f->furnaces.count; k++)
        error[k] = sd[SA_S_FURNACE] * z[k];
}

void sa_posterior_place(const sa_posterior *f, const double *par, const double *sd, double *u)
{
    for (size_t j = 0; j < f->p; j++) {
        if (f->belief[j].kind == SA_BELIEF_FIXED)
            continue;
        const double part = (par[j] - f->lower[j]) / (f->upper[j] - f->lower[j]);
        const double s = fmin(fmax(part, 1e-3), 1.0 - 1e-3);
        *u++ = log(s) - log1p(-s);
    }
    for (size_t k = 0; k < SA_S_COUNT; k++)
        if (f->sd[k].kind == SA_BELIEF_LOG_NORMAL)
            *u++ = log(sd[k]);
        else if (f->sd[k].kind != SA_BELIEF_FIXED) /* ln(exp(x) - 1) */
            *u++ = sd[k] / f->sd[k].b + log(-expm1(-sd[k] / f->sd[k].b));
    memset(u, 0, f->furnaces.count * sizeof(double));
}

/* ln of a prior at x > 0 or any x, and its derivative added to `slope`. */
static double believed(const sa_belief *b, double x, double *slope)
{
    if (b->kind == SA_BELIEF_NORMAL || b->kind == SA_BELIEF_HALF_NORMAL) {
        const double z = (x - b->a) / b->b;
        *slope -= z / b->b;
        return -0.5 * z * z;
    }
    if (b->kind == SA_BELIEF_LOG_NORMAL) {
        const double z = (log(x) - b->a) / b->b;
        *slope -= (z / b->b + 1.0) / x;
        return -0.5 * z * z - log(x);
    }
    if (b->kind == SA_BELIEF_HALF_CAUCHY) {
        const double z = x / b->b;
        *slope -= 2.0 * z / (b->b * (1.0 + z * z));
        return -log1p(z * z);
    }
    return 0.0;
}

/* Prior of the temperature T at which a fraction is recrystallised in a time. T and not ln k is what
 * is believed: |dT/d ln k| = R T^2/Q belongs to the density. */
static double believed_hour(const sa_posterior *f, const double *par, double *slope)
{
    const sa_model_layout at = sa_model_parameters(f->kind);
    const double y = sa_shape_inverse(at.shape, 1.0 - f->hour_fraction), q = par[SA_P_Q];
    const double n = par[SA_P_N], delay = at.theta0 >= 0 ? par[at.theta0] : 0.0;
    const double excess = exp(log(y) / n), theta = delay + excess;
    const double e = (log(theta) - log(f->hour_min) - par[SA_P_LN_K]) / q;
    const double inverse = 1.0 / f->furnaces.ref_k - e * SA_GAS_CONSTANT / 1000.0;
    if (!(inverse > 1e-5) || !(q > 0.0))
        return -INFINITY;
    const double t = 1.0 / inverse, z = (t - f->hour_mean_k) / f->hour_sd;
    /* d density / d e by way of T */
    const double of_e = (-z / f->hour_sd + 2.0 / t) * t * t * SA_GAS_CONSTANT / 1000.0;
    slope[SA_P_LN_K] -= of_e / q;
    slope[SA_P_Q] -= (of_e * e + 1.0) / q;
    slope[SA_P_N] -= of_e / q * (excess / theta) * log(y) / (n * n);
    if (at.theta0 >= 0)
        slope[at.theta0] += of_e / (q * theta);
    return -0.5 * z * z + 2.0 * log(t) - log(q);
}

/* ln of the likelihood of the residuals r; V^-1 r to `solution`; derivatives in the variances of
 * SA_S_PIECE and so on to `of`. */
static double likelihood(const sa_posterior *f, const double *sd, const double *r, double *solution,
                         double *of, double *work)
{
    const size_t n = f->n, m = f->n_piece, o = f->n_operator;
    const double tau = sd[SA_S_PIECE] * sd[SA_S_PIECE], omega = sd[SA_S_OPERATOR] * sd[SA_S_OPERATOR];
    const double step = sd[SA_S_STEP] * sd[SA_S_STEP], reading = sd[SA_S_READING] * sd[SA_S_READING];
    double *inverse = work, *diagonal = inverse + n, *b = diagonal + n, *sum = b + n * o;
    double *dot = sum + m, *share_sum = dot + m; /* share_sum: pieces x operators */
    double value = 0.0, w[SA_MOST_OPERATORS * SA_MOST_OPERATORS], product[SA_MOST_OPERATORS * SA_MOST_OPERATORS];
    memset(sum, 0, m * (2 + o) * sizeof(double));
    for (size_t i = 0; i < n; i++) {
        const double d = step * f->factor[i] + reading * f->per_reading[i] + f->least;
        value -= 0.5 * log(d);
        inverse[i] = 1.0 / d;
        if (f->piece[i] < 0)
            continue;
        const size_t j = (size_t)f->piece[i];
        sum[j] += inverse[i];
        dot[j] += inverse[i] * r[i];
        for (size_t k = 0; k < o; k++)
            share_sum[j + k * m] += inverse[i] * f->share[i + k * n];
    }
    for (size_t j = 0; j < m; j++)
        value -= 0.5 * log1p(tau * sum[j]);
    for (size_t i = 0; i < n; i++) {
        const size_t j = (size_t)f->piece[i];
        const double c = f->piece[i] < 0 ? 0.0 : tau / (1.0 + tau * sum[j]);
        solution[i] = inverse[i] * (r[i] - (f->piece[i] < 0 ? 0.0 : c * dot[j]));
        diagonal[i] = inverse[i] - c * inverse[i] * inverse[i];
        for (size_t k = 0; k < o; k++)
            b[i + k * n] = inverse[i] * (f->share[i + k * n] -
                                         (f->piece[i] < 0 ? 0.0 : c * share_sum[j + k * m]));
    }
    of[SA_S_OPERATOR] = 0.0;
    if (o > 0) {
        double right[SA_MOST_OPERATORS] = {0.0}, log_determinant = 0.0;
        for (size_t k = 0; k < o; k++)
            for (size_t l = 0; l < o; l++) {
                double x = 0.0;
                for (size_t i = 0; i < n; i++)
                    x += f->share[i + k * n] * b[i + l * n];
                product[k + l * o] = x;
                w[k + l * o] = omega * x + (k == l ? 1.0 : 0.0);
            }
        if (!sa_cholesky(w, o, 0.0, &log_determinant))
            return NAN;
        value -= 0.5 * log_determinant;
        for (size_t k = 0; k < o; k++)
            for (size_t i = 0; i < n; i++)
                right[k] += f->share[i + k * n] * solution[i];
        sa_forward(w, o, right);
        double row[SA_MOST_OPERATORS];
        for (size_t i = 0; i < n; i++) {
            double square = 0.0, part = 0.0;
            for (size_t k = 0; k < o; k++)
                row[k] = b[i + k * n];
            sa_forward(w, o, row);
            for (size_t k = 0; k < o; k++) {
                square += row[k] * row[k];
                part += row[k] * right[k];
            }
            diagonal[i] -= omega * square;
            solution[i] -= omega * part;
        }
        for (size_t l = 0; l < o; l++) { /* trace of W^-1 S'A^-1 S, and of S'g */
            double x = 0.0, unit[SA_MOST_OPERATORS] = {0.0};
            unit[l] = 1.0;
            sa_forward(w, o, unit);
            memcpy(row, product + l * o, o * sizeof(double));
            sa_forward(w, o, row);
            for (size_t k = 0; k < o; k++)
                x += unit[k] * row[k];
            double g = 0.0;
            for (size_t i = 0; i < n; i++)
                g += f->share[i + l * n] * solution[i];
            of[SA_S_OPERATOR] += 0.5 * (g * g - x);
        }
    }
    of[SA_S_STEP] = of[SA_S_READING] = of[SA_S_PIECE] = 0.0;
    memset(dot, 0, m * sizeof(double)); /* from here: sums of the solution */
    memset(share_sum, 0, m * o * sizeof(double));
    for (size_t i = 0; i < n; i++) {
        const double half = 0.5 * (solution[i] * solution[i] - diagonal[i]);
        value -= 0.5 * r[i] * solution[i];
        of[SA_S_STEP] += f->factor[i] * half;
        of[SA_S_READING] += f->per_reading[i] * half;
        if (f->piece[i] < 0)
            continue;
        dot[f->piece[i]] += solution[i];
        for (size_t k = 0; k < o; k++)
            share_sum[(size_t)f->piece[i] + k * m] += b[i + k * n];
    }
    for (size_t j = 0; j < m; j++) {
        double trace = sum[j] / (1.0 + tau * sum[j]), row[SA_MOST_OPERATORS];
        for (size_t k = 0; k < o; k++)
            row[k] = share_sum[j + k * m];
        if (o > 0)
            sa_forward(w, o, row);
        for (size_t k = 0; k < o; k++)
            trace -= omega * row[k] * row[k];
        of[SA_S_PIECE] += 0.5 * (dot[j] * dot[j] - trace);
    }
    if (f->df_reading > 0.0) {
        value -= f->df_reading * log(sd[SA_S_READING]) + 0.5 * f->ss_reading / reading;
        of[SA_S_READING] += 0.5 * (f->ss_reading / reading - f->df_reading) / reading;
    }
    return value;
}

double sa_posterior_density(const sa_posterior *f, const double *u, double *gradient)
{
    const size_t n = f->n, p = f->p, count = f->furnaces.count, rows = n + count;
    double *hardness = f->work, *jac = hardness + rows, *residual = jac + rows * (p + count);
    double *solution = residual + n, *work = solution + n;
    double par[SA_MODEL_MAX_PAR + SA_MOST_FURNACES], slope[SA_MODEL_MAX_PAR] = {0.0};
    double dx[SA_MODEL_MAX_PAR], bend[SA_MODEL_MAX_PAR], sd[SA_S_COUNT], of[SA_S_COUNT] = {0.0};
    const size_t free = free_parameters(f);
    double value = 0.0, taken[SA_MODEL_MAX_PAR];
    const double *z = deviations(f, u + free, sd);
    size_t at = 0;
    for (size_t j = 0; j < p; j++) {
        par[j] = f->fixed[j];
        if (f->belief[j].kind == SA_BELIEF_FIXED)
            continue;
        double jacobian;
        taken[at] = sheared(f, free, at, z);
        par[j] = bounded(u[at] - sd[SA_S_FURNACE] * taken[at], f->lower[j], f->upper[j], &dx[j],
                         &jacobian, &bend[j]);
        at++;
        value += jacobian + believed(&f->belief[j], par[j], &slope[j]);
    }
    for (size_t k = 0; k < f->n_linear; k++) {
        const double *a = f->linear + k * p;
        double gap = -f->linear_mean[k];
        for (size_t j = 0; j < p; j++)
            gap += a[j] * par[j];
        gap /= f->linear_sd[k];
        value -= 0.5 * gap * gap;
        for (size_t j = 0; j < p; j++)
            slope[j] -= gap / f->linear_sd[k] * a[j];
    }
    if (f->hour)
        value += believed_hour(f, par, slope);
    double of_sd[SA_S_COUNT] = {0.0}, ds[SA_S_COUNT], lift[SA_S_COUNT];
    for (size_t k = 0; k < SA_S_COUNT; k++) {
        if (f->sd[k].kind == SA_BELIEF_FIXED)
            continue;
        if (!(fabs(u[at]) < 300.0))
            return -INFINITY;
        double jacobian;
        positive(&f->sd[k], u[at++], &ds[k], &jacobian, &lift[k]);
        value += jacobian + believed(&f->sd[k], sd[k], &of_sd[k]);
    }
    for (size_t k = 0; k < count; k++) {
        par[p + k] = sd[SA_S_FURNACE] * z[k];
        value -= 0.5 * z[k] * z[k];
        if (!(fabs(par[p + k]) < 100.0))
            return -INFINITY;
    }
    if (!isfinite(value) ||
        sa_joint_hardness(f->kind, &f->clock, &f->furnaces, par, hardness, jac))
        return -INFINITY;
    for (size_t i = 0; i < n; i++)
        residual[i] = f->y[i] - hardness[i];
    value += likelihood(f, sd, residual, solution, of, work);
    if (!isfinite(value))
        return -INFINITY;
    if (!gradient)
        return value;
    at = 0;
    for (size_t j = 0; j < p; j++) {
        if (f->belief[j].kind == SA_BELIEF_FIXED)
            continue;
        const double *column = jac + j * rows;
        double sum = slope[j];
        for (size_t i = 0; i < n; i++)
            sum += column[i] * solution[i];
        gradient[at++] = sum * dx[j] + bend[j];
    }
    double own[SA_MOST_FURNACES], furnace = 0.0;
    for (size_t j = 0; j < free; j++)
        furnace -= gradient[j] * taken[j];
    for (size_t k = 0; k < count; k++) {
        const double *column = jac + (p + k) * rows;
        own[k] = 0.0;
        for (size_t i = 0; i < n; i++)
            own[k] += column[i] * solution[i];
        furnace += own[k] * z[k];
        for (size_t j = 0; f->shear && j < free; j++)
            own[k] -= f->shear[j + k * free] * gradient[j];
    }
    for (size_t k = 0; k < SA_S_COUNT; k++)
        if (f->sd[k].kind != SA_BELIEF_FIXED)
            gradient[at++] = lift[k] + ds[k] * (of_sd[k] + (k == SA_S_FURNACE ? furnace
                                                                              : 2.0 * of[k] * sd[k]));
    for (size_t k = 0; k < count; k++)
        gradient[at++] = own[k] * sd[SA_S_FURNACE] - z[k];
    return value;
}

/* Cross products of the derivatives, weighted by the variances on the diagonal. */
void sa_posterior_shear(sa_posterior *f, const double *u, double *shear)
{
    const size_t n = f->n, p = f->p, count = f->furnaces.count, rows = n + count;
    const size_t free = free_parameters(f);
    double *hardness = f->work, *jac = hardness + rows;
    double par[SA_MODEL_MAX_PAR + SA_MOST_FURNACES], sd[SA_S_COUNT], dx[SA_MODEL_MAX_PAR];
    double cross[SA_MODEL_MAX_PAR * SA_MODEL_MAX_PAR], determinant = 0.0;
    size_t place[SA_MODEL_MAX_PAR];
    f->shear = NULL;
    if (count == 0)
        return;
    sa_posterior_values(f, u, par, sd, par + p);
    for (size_t j = 0, k = 0; j < p; j++) {
        double jacobian, bend;
        if (f->belief[j].kind == SA_BELIEF_FIXED)
            continue;
        bounded(u[k], f->lower[j], f->upper[j], &dx[k], &jacobian, &bend);
        place[k++] = j;
    }
    if (sa_joint_hardness(f->kind, &f->clock, &f->furnaces, par, hardness, jac))
        return;
    for (size_t j = 0; j < rows * (p + count); j++)
        if (!isfinite(jac[j]))
            return;
    for (size_t k = 0; k < free; k++) {
        for (size_t l = 0; l < free; l++) {
            double sum = k == l ? 0.1 : 0.0;
            for (size_t i = 0; i < n; i++)
                sum += jac[i + place[k] * rows] * jac[i + place[l] * rows] * dx[k] * dx[l] /
                       (sd[SA_S_STEP] * sd[SA_S_STEP] * f->factor[i] +
                        sd[SA_S_READING] * sd[SA_S_READING] * f->per_reading[i] + f->least);
            cross[k + l * free] = sum;
        }
        for (size_t l = 0; l < count; l++) {
            double sum = 0.0;
            for (size_t i = 0; i < n; i++)
                sum += jac[i + place[k] * rows] * jac[i + (p + l) * rows] * dx[k] /
                       (sd[SA_S_STEP] * sd[SA_S_STEP] * f->factor[i] +
                        sd[SA_S_READING] * sd[SA_S_READING] * f->per_reading[i] + f->least);
            shear[k + l * free] = sum;
        }
    }
    if (!sa_cholesky(cross, free, 0.0, &determinant))
        return;
    for (size_t l = 0; l < count; l++) {
        double *x = shear + l * free;
        sa_forward(cross, free, x);
        for (size_t i = free; i-- > 0;) {
            for (size_t k = i + 1; k < free; k++)
                x[i] -= cross[k + i * free] * x[k];
            x[i] /= cross[i + i * free];
        }
    }
    f->shear = shear;
}
