/* Small dense linear algebra on the caller's arrays, column-major: Householder
 * triangularisation, back substitution, and the singular values that tell which parameters
 * the data determine. Orthogonal transformations only, so that the accuracy is that of QR.
 * References: Golub and Van Loan, Matrix Computations, 4th ed., sections 5.2 and 8.6.3. */
#include "linear.h"
#include <float.h>
#include <math.h>
#include <string.h>

double sa_norm(const double *x, size_t n)
{
    double s = 0.0;
    for (size_t i = 0; i < n; i++)
        s += x[i] * x[i];
    if (!(s < 1e-280))
        return sqrt(s);
    /* squares near the least double lose their digits; so do numbers below it: they count as none */
    double big = 0.0;
    for (size_t i = 0; i < n; i++)
        if (fabs(x[i]) > big)
            big = fabs(x[i]);
    if (big < DBL_MIN)
        return 0.0;
    s = 0.0;
    for (size_t i = 0; i < n; i++)
        s += x[i] / big * (x[i] / big);
    return big * sqrt(s);
}

void sa_triangularise(double *a, size_t rows, size_t cols, double *b)
{
    for (size_t k = 0; k < cols && k < rows; k++) {
        double *col = a + k * rows;
        double big = 0.0;
        for (size_t i = k; i < rows; i++)
            if (fabs(col[i]) > big)
                big = fabs(col[i]);
        if (big == 0.0 || !isfinite(big))
            continue;
        double sum = 0.0;
        for (size_t i = k; i < rows; i++) {
            col[i] /= big;
            sum += col[i] * col[i];
        }
        double norm = sqrt(sum);
        double alpha = col[k] > 0.0 ? -norm : norm;
        /* reflector v = x - alpha e_k; v'v = 2 (norm^2 - alpha x_k) */
        double half = sum - alpha * col[k];
        col[k] -= alpha;
        for (size_t j = k + 1; j <= cols; j++) {
            double *other = j < cols ? a + j * rows : b;
            if (!other)
                continue;
            double dot = 0.0;
            for (size_t i = k; i < rows; i++)
                dot += col[i] * other[i];
            dot /= half;
            for (size_t i = k; i < rows; i++)
                other[i] -= dot * col[i];
        }
        col[k] = alpha * big;
        for (size_t i = k + 1; i < rows; i++)
            col[i] = 0.0;
    }
}

int sa_back_substitute(const double *a, size_t lead, size_t p, const double *b, double *x)
{
    double big = 0.0;
    for (size_t j = 0; j < p; j++)
        if (fabs(a[j + j * lead]) > big)
            big = fabs(a[j + j * lead]);
    for (size_t j = p; j-- > 0;) {
        double d = a[j + j * lead];
        if (fabs(d) <= big * DBL_EPSILON || d == 0.0)
            return 0;
        double s = b[j];
        for (size_t k = j + 1; k < p; k++)
            s -= a[j + k * lead] * x[k];
        x[j] = s / d;
    }
    return 1;
}

/* One-sided Jacobi: rotates the columns of u (p x p) until they are orthogonal; v gathers
 * the rotations (Hestenes 1958). Accurate for small singular values too. */
static void jacobi_svd(double *u, double *v, size_t p, double *singular)
{
    for (size_t j = 0; j < p; j++)
        for (size_t k = 0; k < p; k++)
            v[k + j * p] = k == j ? 1.0 : 0.0;
    for (int sweep = 0; sweep < 60; sweep++) {
        double worst = 0.0;
        for (size_t i = 0; i + 1 < p; i++) {
            for (size_t j = i + 1; j < p; j++) {
                double a = 0.0, b = 0.0, c = 0.0;
                for (size_t k = 0; k < p; k++) {
                    a += u[k + i * p] * u[k + i * p];
                    b += u[k + j * p] * u[k + j * p];
                    c += u[k + i * p] * u[k + j * p];
                }
                if (c == 0.0 || a == 0.0 || b == 0.0)
                    continue;
                double off = fabs(c) / sqrt(a * b);
                if (off <= 1e-15)
                    continue;
                worst = fmax(worst, off);
                double zeta = (b - a) / (2.0 * c);
                double t = (zeta >= 0.0 ? 1.0 : -1.0) / (fabs(zeta) + sqrt(1.0 + zeta * zeta));
                double cs = 1.0 / sqrt(1.0 + t * t), sn = cs * t;
                for (size_t k = 0; k < p; k++) {
                    double x = u[k + i * p], y = u[k + j * p];
                    u[k + i * p] = cs * x - sn * y;
                    u[k + j * p] = sn * x + cs * y;
                    x = v[k + i * p];
                    y = v[k + j * p];
                    v[k + i * p] = cs * x - sn * y;
                    v[k + j * p] = sn * x + cs * y;
                }
            }
        }
        if (worst <= 1e-14)
            break;
    }
    for (size_t j = 0; j < p; j++)
        singular[j] = sa_norm(u + j * p, p);
}

size_t sa_covariance(const double *jac, size_t n, size_t p, const int *skip, double tolerance,
                     double *cov, double *null, double *singular, double *loading, double *work)
{
    double *copy = work, *u = copy + n * p, *v = u + p * p, *scale = v + p * p;
    size_t m = 0, rank = 0;
    double big = 0.0;
    for (size_t j = 0; j < p; j++) {
        loading[j] = 0.0;
        singular[j] = 0.0;
        if (skip && skip[j])
            continue;
        double length = sa_norm(jac + j * n, n);
        /* a column whose square is not a number is a column of zeros: nothing is known of it */
        scale[m] = length > SA_LEAST_LENGTH && isfinite(length) ? length : 1.0;
        for (size_t i = 0; i < n; i++)
            copy[i + m * n] = jac[i + j * n] / scale[m];
        m++;
    }
    sa_triangularise(copy, n, m, NULL);
    for (size_t j = 0; j < m; j++)
        for (size_t k = 0; k < m; k++)
            u[k + j * m] = k <= j && k < n ? copy[k + j * n] : 0.0;
    jacobi_svd(u, v, m, singular);
    for (size_t j = 0; j < m; j++)
        big = fmax(big, singular[j]);
    memset(cov, 0, p * p * sizeof(double));
    if (null)
        memset(null, 0, p * p * sizeof(double));
    for (size_t l = 0; l < m; l++) {
        const int kept = singular[l] > tolerance * big;
        double *into = kept ? cov : null;
        const double share = kept ? 1.0 / (singular[l] * singular[l]) : 1.0;
        size_t a = 0;
        rank += (size_t)kept;
        for (size_t j = 0; j < p; j++) {
            if (skip && skip[j])
                continue;
            const double vj = v[a + l * m];
            size_t b = 0;
            if (!kept)
                loading[j] += vj * vj;
            for (size_t k = 0; into && k < p; k++) {
                if (skip && skip[k])
                    continue;
                into[j + k * p] += share * vj * v[b + l * m] / (scale[a] * scale[b]);
                b++;
            }
            a++;
        }
    }
    return rank;
}

void sa_quadratic_forms(const double *gradient, size_t rows, size_t lead, size_t p, const double *v,
                        double *out)
{
    for (size_t i = 0; i < rows; i++)
        out[i] = 0.0;
    for (size_t j = 0; j < p; j++)
        for (size_t l = 0; l <= j; l++) {
            const double weight = l == j ? v[j + j * p] : v[j + l * p] + v[l + j * p];
            const double *x = gradient + j * lead, *y = gradient + l * lead;
            for (size_t i = 0; i < rows; i++)
                out[i] += weight * x[i] * y[i];
        }
}

int sa_cholesky(double *a, size_t k, double least, double *log_determinant)
{
    for (size_t j = 0; j < k; j++)
        for (size_t i = j; i < k; i++) {
            double sum = a[i + j * k];
            for (size_t l = 0; l < j; l++)
                sum -= a[i + l * k] * a[j + l * k];
            if (i > j)
                a[i + j * k] = sum / a[j + j * k];
            else if (sum > least * fabs(a[j + j * k]) && isfinite(sum)) {
                a[j + j * k] = sqrt(sum);
                *log_determinant += log(sum);
            } else
                return 0;
        }
    return 1;
}

void sa_forward(const double *l, size_t k, double *x)
{
    for (size_t i = 0; i < k; i++) {
        for (size_t j = 0; j < i; j++)
            x[i] -= l[i + j * k] * x[j];
        x[i] /= l[i + i * k];
    }
}
