/* Restricted maximum likelihood of variance components, and degrees of freedom.
 *
 * V is linear in the variances, so the second derivatives of ln|V| + ln|X'V^-1X| are -tr(P V_i P V_j):
 * half of them is the expected information (Harville 1977, J. Am. Stat. Assoc. 72, 320), which needs
 * no matrix of the size of the data. First derivatives of the criterion by central differences of
 * fourth order, steps relative to the variances: right to about 1e-10. Fisher scoring on the
 * variances, held at zero where the criterion rises from there.
 *
 * Degrees of freedom: Satterthwaite 1946, Biometrics Bull. 2, 110; for fixed effects Giesbrecht and
 * Burns 1985, Biometrics 41, 477. Components estimated as zero are kept. */
#include "components.h"
#include <math.h>
#include <string.h>

#define HALVINGS 30

/* What is differenced. */
typedef enum { CRITERION, DETERMINANTS, VARIANCE_OF } quantity;

typedef struct {
    const sa_components *c;
    double *work;
    const double *g; /* VARIANCE_OF: gradient of the quantity */
    double *cov;
} differences;

static double evaluate(differences *f, quantity what, const double *variance)
{
    sa_components_value value;
    if (sa_components_prepare(f->c, variance, f->work) ||
        sa_components_solve(f->c, variance, f->work, NULL, what == VARIANCE_OF ? f->cov : NULL,
                            &value))
        return NAN;
    if (what == CRITERION)
        return value.criterion;
    if (what == DETERMINANTS)
        return value.log_determinants;
    double s = 0.0;
    for (size_t i = 0; i < f->c->p; i++)
        for (size_t j = 0; j < f->c->p; j++)
            s += f->g[i] * f->g[j] * f->cov[i + j * f->c->p];
    return s;
}

/* Size of each variance at which it is felt. */
static void references(const sa_components *c, const double *variance, double *size)
{
    double mean_noise = 0.0, mean_slope = 0.0;
    for (size_t i = 0; i < c->n; i++) {
        mean_noise += c->noise[i] / (double)c->n;
        mean_slope += c->g[i] * c->g[i] / (double)c->n;
    }
    const double step = variance[SA_V_STEP] + mean_noise;
    size[SA_V_STEP] = step;
    size[SA_V_PIECE] = variance[SA_V_PIECE] + 0.2 * step;
    size[SA_V_OPERATOR] = variance[SA_V_OPERATOR] + 0.2 * step;
    size[SA_V_FURNACE] = variance[SA_V_FURNACE] + (mean_slope > 0.0 ? 0.2 * step / mean_slope : 1.0);
}

/* First derivative in component k: of fourth order inside, of third order at the edge. */
static double slope(differences *f, quantity what, const double *variance, size_t k, double h)
{
    double at[SA_V_COUNT];
    memcpy(at, variance, sizeof at);
    const int inside = variance[k] >= 2.0 * h;
    const double place[4] = {inside ? -2.0 : 0.0, inside ? -1.0 : 1.0, inside ? 1.0 : 2.0,
                             inside ? 2.0 : 3.0};
    const double part[4] = {inside ? 1.0 : -11.0, inside ? -8.0 : 18.0, inside ? 8.0 : -9.0,
                            inside ? -1.0 : 2.0};
    double sum = 0.0;
    for (int l = 0; l < 4; l++) {
        at[k] = variance[k] + place[l] * h;
        sum += part[l] * evaluate(f, what, at);
    }
    return sum / ((inside ? 12.0 : 6.0) * h);
}

/* -1/2 of the second derivatives of the determinants, from the slopes of the slopes. */
static void expected_information(differences *f, const int *estimated, const double *variance,
                                 const double *size, double *information)
{
    memset(information, 0, SA_V_COUNT * SA_V_COUNT * sizeof(double));
    for (size_t k = 0; k < SA_V_COUNT; k++) {
        if (!estimated[k])
            continue;
        const double h = 2e-3 * size[k];
        const int inside = variance[k] >= 2.0 * h;
        for (size_t l = 0; l <= k; l++) {
            if (!estimated[l])
                continue;
            double at[SA_V_COUNT], second = 0.0;
            memcpy(at, variance, sizeof at);
            const double place[4] = {inside ? -2.0 : 0.0, inside ? -1.0 : 1.0, inside ? 1.0 : 2.0,
                                     inside ? 2.0 : 3.0};
            const double part[4] = {inside ? 1.0 : -11.0, inside ? -8.0 : 18.0, inside ? 8.0 : -9.0,
                                    inside ? -1.0 : 2.0};
            for (int s = 0; s < 4; s++) {
                at[k] = variance[k] + place[s] * h;
                /* the inner step is not a multiple of the outer one: both may start at zero */
                second += part[s] * slope(f, DETERMINANTS, at, l, 1e-3 * size[l]);
            }
            second /= (inside ? 12.0 : 6.0) * h;
            information[k + l * SA_V_COUNT] = information[l + k * SA_V_COUNT] = -0.5 * second;
        }
    }
}

/* The same by differences of second order, good enough for a direction of search. */
static void rough_information(differences *f, const int *estimated, const double *variance,
                              const double *size, double *information)
{
    double at[SA_V_COUNT], centre[SA_V_COUNT], h[SA_V_COUNT];
    for (size_t k = 0; k < SA_V_COUNT; k++) {
        h[k] = 1e-2 * size[k];
        centre[k] = estimated[k] ? fmax(variance[k], h[k]) : variance[k];
    }
    const double middle = evaluate(f, DETERMINANTS, centre);
    double up[SA_V_COUNT], down[SA_V_COUNT];
    memset(information, 0, SA_V_COUNT * SA_V_COUNT * sizeof(double));
    for (size_t k = 0; k < SA_V_COUNT; k++) {
        if (!estimated[k])
            continue;
        memcpy(at, centre, sizeof at);
        at[k] = centre[k] + h[k];
        up[k] = evaluate(f, DETERMINANTS, at);
        at[k] = centre[k] - h[k];
        down[k] = evaluate(f, DETERMINANTS, at);
        information[k + k * SA_V_COUNT] = -0.5 * (up[k] - 2.0 * middle + down[k]) / (h[k] * h[k]);
        for (size_t l = 0; l < k; l++) {
            if (!estimated[l])
                continue;
            memcpy(at, centre, sizeof at);
            at[k] += h[k];
            at[l] += h[l];
            const double both = evaluate(f, DETERMINANTS, at);
            information[k + l * SA_V_COUNT] = information[l + k * SA_V_COUNT] =
                -0.5 * (both - up[k] - up[l] + middle) / (h[k] * h[l]);
        }
    }
}

/* Solve the marked part of a symmetric system by elimination with a small ridge; 0 when singular. */
static int solve_marked(const double *matrix, const double *rhs, const int *marked, double *x)
{
    double a[SA_V_COUNT][SA_V_COUNT + 1];
    size_t at[SA_V_COUNT], k = 0;
    for (size_t i = 0; i < SA_V_COUNT; i++) {
        x[i] = 0.0;
        if (marked[i])
            at[k++] = i;
    }
    for (size_t i = 0; i < k; i++) {
        for (size_t j = 0; j < k; j++)
            a[i][j] = matrix[at[i] + at[j] * SA_V_COUNT];
        a[i][i] *= 1.0 + 1e-12;
        a[i][k] = rhs[at[i]];
    }
    for (size_t j = 0; j < k; j++) {
        if (!(a[j][j] > 0.0))
            return 0;
        for (size_t i = j + 1; i < k; i++) {
            const double r = a[i][j] / a[j][j];
            for (size_t l = j; l <= k; l++)
                a[i][l] -= r * a[j][l];
        }
    }
    for (size_t j = k; j-- > 0;) {
        double s = a[j][k];
        for (size_t l = j + 1; l < k; l++)
            s -= a[j][l] * x[at[l]];
        x[at[j]] = s / a[j][j];
    }
    return 1;
}

sa_status sa_components_reml(const sa_components *c, const int *estimated, int rounds,
                             double *variance, double *information, double *work)
{
    differences f = {.c = c, .work = work};
    double size[SA_V_COUNT], best = evaluate(&f, CRITERION, variance);
    sa_status status = SA_LIMIT;
    for (int round = 0; round < rounds; round++) {
        double gradient[SA_V_COUNT] = {0.0}, step[SA_V_COUNT];
        int marked[SA_V_COUNT];
        if (!isfinite(best))
            return SA_SINGULAR;
        references(c, variance, size);
        rough_information(&f, estimated, variance, size, information);
        double score[SA_V_COUNT];
        for (size_t k = 0; k < SA_V_COUNT; k++) {
            marked[k] = estimated[k];
            if (!estimated[k])
                continue;
            gradient[k] = slope(&f, CRITERION, variance, k, 1e-3 * size[k]);
            score[k] = -0.5 * gradient[k];
            if (variance[k] <= 0.0 && gradient[k] >= 0.0)
                marked[k] = 0;
            if (!isfinite(gradient[k]))
                return SA_SINGULAR;
        }
        if (!solve_marked(information, score, marked, step)) {
            for (size_t k = 0; k < SA_V_COUNT; k++) { /* one at a time */
                const double own = information[k + k * SA_V_COUNT];
                step[k] = marked[k] && own > 0.0 ? score[k] / own : 0.0;
            }
        }
        double trial[SA_V_COUNT], value = NAN, share = 1.0, moved = 0.0;
        int better = 0;
        for (int h = 0; h < HALVINGS && !better; h++, share *= 0.5) {
            moved = 0.0;
            for (size_t k = 0; k < SA_V_COUNT; k++) {
                trial[k] = fmax(variance[k] + share * step[k], 0.0);
                if (estimated[k])
                    moved = fmax(moved, fabs(trial[k] - variance[k]) / size[k]);
            }
            value = evaluate(&f, CRITERION, trial);
            /* equal to rounding is not a reason to stop far from the end */
            better = value < best || (value <= best + 1e-12 * fabs(best) && moved < 1e-5);
        }
        if (!better || moved < 1e-9) {
            if (better)
                memcpy(variance, trial, sizeof trial);
            status = SA_OK;
            break;
        }
        memcpy(variance, trial, sizeof trial);
        best = value;
    }
    if (rounds < SA_REML_ROUNDS)
        return status;
    references(c, variance, size);
    expected_information(&f, estimated, variance, size, information);
    return status;
}

double sa_components_df(const sa_components *c, const int *estimated, const double *variance,
                        const double *information, const double *g, double *work)
{
    /* p x p doubles behind the work of the components */
    differences f = {.c = c, .work = work, .g = g, .cov = work + sa_components_work(c)};
    double size[SA_V_COUNT], gradient[SA_V_COUNT] = {0.0}, x[SA_V_COUNT], spread = 0.0;
    references(c, variance, size);
    const double whole = evaluate(&f, VARIANCE_OF, variance);
    for (size_t k = 0; k < SA_V_COUNT; k++)
        if (estimated[k])
            gradient[k] = slope(&f, VARIANCE_OF, variance, k, 1e-3 * size[k]);
    if (!solve_marked(information, gradient, estimated, x))
        return NAN;
    for (size_t k = 0; k < SA_V_COUNT; k++)
        spread += gradient[k] * x[k];
    return spread > 0.0 ? 2.0 * whole * whole / spread : HUGE_VAL;
}

void sa_components_parts(const sa_components *c, const double *variance, const double *g,
                         double *part, double *work)
{
    /* the variance is homogeneous of first degree in all variances and the noise (Euler) */
    differences f = {.c = c, .work = work, .g = g, .cov = work + sa_components_work(c)};
    double size[SA_V_COUNT];
    references(c, variance, size);
    for (size_t k = 0; k < SA_V_COUNT; k++)
        part[k] = variance[k] > 0.0
                      ? variance[k] * slope(&f, VARIANCE_OF, variance, k, 1e-3 * size[k])
                      : 0.0;
}
