/* Variance components of step means.
 *
 *   y_s = x_s'beta + g_s d_f(s) + b_i(s) + sum_o share_so o_o + e_s
 *   d ~ N(0, u^2), b ~ N(0, sd_piece^2), o ~ N(0, sd_operator^2), e_s ~ N(0, sd_step^2 + noise_s)
 *
 * d is the error of the furnace temperature of a run (or of one insertion), g = dH/dT. The
 * covariance V is diagonal plus a few columns per block, inverted by Woodbury's identity block by
 * block; operators cross the blocks and are added the same way at the end. Only cross products are
 * kept: with [U X O y]'D^-1[U X O y] at hand, other variances of piece, furnace and operator cost
 * no pass over the steps.
 *
 * Restricted likelihood: Patterson and Thompson 1971, Biometrika 58, 545; Harville 1977, J. Am.
 * Stat. Assoc. 72, 320. Conditional modes: Henderson 1975, Biometrics 31, 423. */
#include "components.h"
#include <math.h>
#include <string.h>

#define LEAST_PIVOT 1e-13 /* of a diagonal element: less is rounding */

static size_t columns_of(const sa_components *c, size_t b)
{
    return (size_t)(c->first_column[b + 1] - c->first_column[b]);
}

static size_t sides(const sa_components *c)
{
    return c->p + c->n_operator + 1;
}

static size_t widest(const sa_components *c)
{
    size_t most = c->n_operator;
    for (size_t b = 0; b < c->n_block; b++)
        if (columns_of(c, b) > most)
            most = columns_of(c, b);
    return most;
}

/* work: ln|D|, Z'D^-1Z and that after the blocks (q x q each), scratch for one block, then k (k + q)
 * of each block. */
size_t sa_components_work(const sa_components *c)
{
    const size_t q = sides(c), k = widest(c);
    double need = 1.0 + 2.0 * (double)q * (double)q + (double)k * (double)(k + q) + (double)q;
    size_t sum = 1 + 2 * q * q + k * (k + q) + q;
    for (size_t b = 0; b < c->n_block; b++) {
        need += (double)columns_of(c, b) * (double)(columns_of(c, b) + q);
        sum += columns_of(c, b) * (columns_of(c, b) + q);
    }
    return need < 1e9 ? sum : 0;
}

static double *scratch(const sa_components *c, double *work)
{
    return work + 1 + 2 * sides(c) * sides(c);
}

static double *first_block(const sa_components *c, double *work)
{
    const size_t q = sides(c), k = widest(c);
    return scratch(c, work) + k * (k + q) + q;
}

int sa_components_prepare(const sa_components *c, const double *variance, double *work)
{
    const size_t q = sides(c), n = c->n, p = c->p;
    double *base = work + 1, *z = scratch(c, work), *block = first_block(c, work);
    memset(base, 0, q * q * sizeof(double));
    work[0] = 0.0;
    for (size_t b = 0; b < c->n_block; b++) {
        const size_t k = columns_of(c, b);
        double *uu = block, *uz = uu + k * k;
        memset(uu, 0, k * (k + q) * sizeof(double));
        for (size_t i = (size_t)c->first[b]; i < (size_t)c->first[b + 1]; i++) {
            double d = variance[SA_V_STEP] * (c->factor ? c->factor[i] : 1.0) + c->noise[i];
            if (c->furnace[i] < 0)
                d += variance[SA_V_FURNACE] * c->g[i] * c->g[i];
            if (!(d > 0.0))
                return 1;
            work[0] += log(d);
            const double t = 1.0 / d;
            for (size_t j = 0; j < p; j++)
                z[j] = c->x[i + j * n];
            for (size_t j = 0; j < c->n_operator; j++)
                z[p + j] = c->operator_share[i + j * n];
            z[q - 1] = c->y[i];
            for (size_t j = 0; j < q; j++)
                for (size_t l = 0; l <= j; l++)
                    base[l + j * q] += t * z[l] * z[j];
            size_t at[2];
            double value[2];
            size_t count = 0;
            if (c->piece[i] >= 0) {
                at[count] = (size_t)(c->piece[i] - c->first_column[b]);
                value[count++] = 1.0;
            }
            if (c->furnace[i] >= 0 && c->g[i] != 0.0) {
                at[count] = (size_t)(c->furnace[i] - c->first_column[b]);
                value[count++] = c->g[i];
            }
            for (size_t s = 0; s < count; s++) {
                for (size_t r = 0; r < count; r++)
                    uu[at[s] + at[r] * k] += t * value[s] * value[r];
                for (size_t j = 0; j < q; j++)
                    uz[at[s] + j * k] += t * value[s] * z[j];
            }
        }
        block += k * (k + q);
    }
    return 0;
}

/* Lower Cholesky factor in place (k x k); returns 0 when not positive. Adds ln of the determinant. */
static int cholesky(double *a, size_t k, double *log_determinant)
{
    for (size_t j = 0; j < k; j++) {
        const double whole = a[j + j * k];
        double pivot = whole;
        for (size_t l = 0; l < j; l++)
            pivot -= a[j + l * k] * a[j + l * k];
        if (!(pivot > LEAST_PIVOT * whole) || !isfinite(pivot))
            return 0;
        const double root = sqrt(pivot);
        a[j + j * k] = root;
        *log_determinant += 2.0 * log(root);
        for (size_t i = j + 1; i < k; i++) {
            double s = a[i + j * k];
            for (size_t l = 0; l < j; l++)
                s -= a[i + l * k] * a[j + l * k];
            a[i + j * k] = s / root;
        }
    }
    return 1;
}

/* L^-1 of one column of k values. */
static void forward(const double *l, size_t k, double *v)
{
    for (size_t i = 0; i < k; i++) {
        double s = v[i];
        for (size_t j = 0; j < i; j++)
            s -= l[i + j * k] * v[j];
        v[i] = s / l[i + i * k];
    }
}

static void backward(const double *l, size_t k, double *v)
{
    for (size_t i = k; i-- > 0;) {
        double s = v[i];
        for (size_t j = i + 1; j < k; j++)
            s -= l[j + i * k] * v[j];
        v[i] = s / l[i + i * k];
    }
}

/* Standard deviations of the random columns of a piece and of a furnace error. */
static void column_sds(const double *variance, double sd[2])
{
    sd[0] = sqrt(variance[SA_V_PIECE]);
    sd[1] = sqrt(variance[SA_V_FURNACE]);
}

/* I + S U'D^-1U S of a block, S the standard deviations, as Cholesky factor into `m`. */
static int factor_block(const sa_components *c, size_t b, const double *uu, const double sd[2],
                        double *m, double *log_determinant)
{
    const size_t k = columns_of(c, b);
    const int *kind = c->is_furnace + c->first_column[b];
    for (size_t j = 0; j < k; j++) {
        const double sj = sd[kind[j] != 0];
        for (size_t i = j; i < k; i++)
            m[i + j * k] = (i == j ? 1.0 : 0.0) + sj * sd[kind[i] != 0] * uu[i + j * k];
    }
    return cholesky(m, k, log_determinant);
}

int sa_components_solve(const sa_components *c, const double *variance, double *work, double *beta,
                        double *cov, sa_components_value *value)
{
    const size_t q = sides(c), p = c->p, o = c->n_operator;
    const double *block = first_block(c, work);
    double *a = work + 1 + q * q, *m = scratch(c, work), log_v = work[0], log_x = 0.0;
    memcpy(a, work + 1, q * q * sizeof(double));
    double sd[2];
    column_sds(variance, sd);
    for (size_t b = 0; b < c->n_block; b++) {
        const size_t k = columns_of(c, b);
        const int *kind = c->is_furnace + c->first_column[b];
        const double *uz = block + k * k;
        double *s = m + k * k;
        if (!factor_block(c, b, block, sd, m, &log_v))
            return 1;
        for (size_t j = 0; j < q; j++) {
            for (size_t i = 0; i < k; i++)
                s[i + j * k] = sd[kind[i] != 0] * uz[i + j * k];
            forward(m, k, s + j * k);
            for (size_t l = 0; l <= j; l++) {
                double dot = 0.0;
                for (size_t i = 0; i < k; i++)
                    dot += s[i + l * k] * s[i + j * k];
                a[l + j * q] -= dot;
            }
        }
        block += k * (k + q);
    }
    const double so = o > 0 ? sqrt(variance[SA_V_OPERATOR]) : 0.0;
    if (so > 0.0) {
        double *s = m + o * o;
        for (size_t j = 0; j < o; j++)
            for (size_t i = j; i < o; i++)
                m[i + j * o] = (i == j ? 1.0 : 0.0) + so * so * a[p + j + (p + i) * q];
        if (!cholesky(m, o, &log_v))
            return 1;
        for (size_t j = 0; j < q; j++) {
            if (j >= p && j < p + o)
                continue;
            for (size_t i = 0; i < o; i++)
                s[i + j * o] = so * (j < p ? a[j + (p + i) * q] : a[p + i + j * q]);
            forward(m, o, s + j * o);
            for (size_t l = 0; l <= j; l++) {
                if (l >= p && l < p + o)
                    continue;
                double dot = 0.0;
                for (size_t i = 0; i < o; i++)
                    dot += s[i + l * o] * s[i + j * o];
                a[l + j * q] -= dot;
            }
        }
    }
    /* fixed effects; the factor is put below the diagonal of the p x p part of `m` */
    double *z = scratch(c, work) + widest(c) * (widest(c) + q);
    double quadratic = a[q * q - 1];
    double *xx = a; /* lower triangle with leading dimension q, from the upper one */
    for (size_t j = 0; j < p; j++) {
        const double whole = a[j + j * q];
        double pivot = whole;
        for (size_t l = 0; l < j; l++)
            pivot -= xx[j + l * q] * xx[j + l * q];
        if (!(pivot > LEAST_PIVOT * whole) || !isfinite(pivot))
            return 1;
        const double root = sqrt(pivot);
        log_x += 2.0 * log(root);
        for (size_t i = j + 1; i < p; i++) {
            double s = a[j + i * q];
            for (size_t l = 0; l < j; l++)
                s -= xx[i + l * q] * xx[j + l * q];
            xx[i + j * q] = s / root;
        }
        xx[j + j * q] = root;
        double s = a[j + (q - 1) * q];
        for (size_t l = 0; l < j; l++)
            s -= xx[j + l * q] * z[l];
        z[j] = s / root;
        quadratic -= z[j] * z[j];
    }
    value->quadratic = quadratic;
    value->log_determinants = log_v + log_x;
    value->criterion =
        log_v + log_x + quadratic + (double)(c->n - p) * log(2.0 * 3.14159265358979323846);
    for (size_t j = p; beta && j-- > 0;) {
        double s = z[j];
        for (size_t l = j + 1; l < p; l++)
            s -= xx[l + j * q] * beta[l];
        beta[j] = s / xx[j + j * q];
    }
    for (size_t j = 0; cov && j < p; j++) { /* columns of (L L')^-1 */
        double *v = cov + j * p;
        for (size_t i = 0; i < p; i++) {
            double s = i == j ? 1.0 : 0.0;
            for (size_t l = 0; l < i; l++)
                s -= xx[i + l * q] * v[l];
            v[i] = s / xx[i + i * q];
        }
        for (size_t i = p; i-- > 0;) {
            double s = v[i];
            for (size_t l = i + 1; l < p; l++)
                s -= xx[l + i * q] * v[l];
            v[i] = s / xx[i + i * q];
        }
    }
    return !isfinite(value->criterion);
}

int sa_components_modes(const sa_components *c, const double *variance, const double *beta,
                        double *work, double *mode, double *mode_sd, double *operator_mode,
                        double *operator_sd)
{
    const size_t q = sides(c), p = c->p, o = c->n_operator;
    double *m = scratch(c, work), ignored = 0.0;
    const double *a = work + 1 + q * q; /* after the blocks; operators as they were there */
    const double so = o > 0 ? sqrt(variance[SA_V_OPERATOR]) : 0.0;
    if (o > 0) {
        for (size_t j = 0; j < o; j++) {
            for (size_t i = j; i < o; i++)
                m[i + j * o] = (i == j ? 1.0 : 0.0) + so * so * a[p + j + (p + i) * q];
            double s = a[p + j + (q - 1) * q];
            for (size_t l = 0; l < p; l++)
                s -= a[l + (p + j) * q] * beta[l];
            operator_mode[j] = so * s;
        }
        if (!cholesky(m, o, &ignored))
            return 1;
        forward(m, o, operator_mode);
        backward(m, o, operator_mode);
        double *v = m + o * o;
        for (size_t j = 0; j < o; j++) {
            memset(v, 0, o * sizeof(double));
            v[j] = 1.0;
            forward(m, o, v);
            double s = 0.0;
            for (size_t i = 0; i < o; i++)
                s += v[i] * v[i];
            operator_mode[j] *= so;
            operator_sd[j] = so * sqrt(s);
        }
    }
    double sd[2];
    column_sds(variance, sd);
    const double *block = first_block(c, work);
    for (size_t b = 0; b < c->n_block; b++) {
        const size_t k = columns_of(c, b), from = (size_t)c->first_column[b];
        const double *uz = block + k * k;
        double *v = m + k * k;
        if (!factor_block(c, b, block, sd, m, &ignored))
            return 1;
        for (size_t i = 0; i < k; i++) {
            double s = uz[i + (q - 1) * k];
            for (size_t l = 0; l < p; l++)
                s -= uz[i + l * k] * beta[l];
            for (size_t l = 0; l < o; l++)
                s -= uz[i + (p + l) * k] * operator_mode[l];
            mode[from + i] = sd[c->is_furnace[from + i] != 0] * s;
        }
        forward(m, k, mode + from);
        backward(m, k, mode + from);
        for (size_t i = 0; i < k; i++) {
            const double si = sd[c->is_furnace[from + i] != 0];
            memset(v, 0, k * sizeof(double));
            v[i] = 1.0;
            forward(m, k, v);
            double s = 0.0;
            for (size_t l = 0; l < k; l++)
                s += v[l] * v[l];
            mode[from + i] *= si;
            mode_sd[from + i] = si * sqrt(s);
        }
        block += k * (k + q);
    }
    return 0;
}
