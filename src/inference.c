/* What the data say about each parameter of a softening fit.
 *
 * Cluster-robust covariance B M B, B = (J'WJ)^-1, M the sum over steps of
 * u^2 x x' with u = w_g e_g / sqrt(1 - h_g): readings of one treatment share its errors, so their
 * mean residual e_g counts once. h_g is the leverage of the treatment; the root of 1 - h_g
 * makes e_g^2 unbiased where treatments scatter alike (MacKinnon and White 1985,
 * J. Econometrics 29, 305, HC2; for clusters Bell and McCaffrey 2002, Survey Methodology 28, 169).
 * Exact and cheap here, since all readings of one treatment share one gradient. Without it
 * intervals of small designs cover far too seldom; 1 - h_g itself (jackknife, HC3) explodes in
 * plans where a treatment decides a parameter nearly alone, h_g = 0.99.
 *
 * A treatment that alone decides a parameter has leverage 1 and no residual: left out, nothing
 * is known. Its error is then taken to be as large as that of the others, the scatter of
 * treatments about the curve. */
#include "linear.h"
#include "softening.h"
#include <math.h>
#include <string.h>

#define RANK_TOLERANCE 1e-9

/* A robust fit behaves like least squares on pseudo-values, fitted value less K psi(r) / m, m the
 * mean of psi' (the share of residuals that are not bent) and K = 1 + (p/n) (1 - m)/m the correction
 * for small samples (Huber 1981, Robust Statistics, section 7.6). */
double sa_softening_pseudo(const sa_softening *s, const double *resid, double limit,
                           size_t estimated, sa_replicates *r)
{
    const size_t n = s->clock.n;
    double used = 0.0, straight = 0.0, sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        used += s->root_weight[i] > 0.0;
        straight += s->root_weight[i] > 0.0 && !(fabs(resid[i]) > limit);
    }
    if (!(straight > 0.0))
        return NAN;
    const double m = straight / used;
    const double k = (1.0 + (double)estimated / used * (1.0 - m) / m) / m;
    for (size_t g = 0, i = 0; g < r->n_cluster; g++) {
        const size_t first = (size_t)r->first_of[g],
                     end = g + 1 < r->n_cluster ? (size_t)r->first_of[g + 1] : n;
        double shift = 0.0;
        for (i = first; i < end; i++) {
            const double psi = k * fmin(fmax(resid[i], -limit), limit);
            shift += s->root_weight[i] * psi;
            sum += psi * psi;
        }
        if (s->root_weight[first] > 0.0 && r->cluster_weight[g] > 0.0)
            r->cluster_mean[g] = s->hardness[first] + resid[first] / s->root_weight[first] -
                                 shift / r->cluster_weight[g];
    }
    return sum;
}

/* Curve minus mean of a step; 0 where its readings have no weight. */
static double residual_of(const sa_softening *s, const sa_replicates *r, const double *resid,
                          size_t g)
{
    const size_t i = (size_t)r->first_of[g];
    const double root = s->root_weight[i];
    return root > 0.0 ? s->hardness[i] + resid[i] / root - r->cluster_mean[g] : 0.0;
}

void sa_softening_covariance(const sa_softening *s, const sa_replicates *r, const double *resid,
                             const double *jac, const int *at_bound, sa_covariances *out,
                             double *work)
{
    const size_t m = s->clock.n, p = sa_model_parameters(s->kind).n_par;
    int skip[SA_MODEL_MAX_PAR];
    double x[SA_MODEL_MAX_PAR], bx[SA_MODEL_MAX_PAR], part[SA_MODEL_MAX_PAR] = {0.0};
    for (size_t j = 0; j < p; j++)
        skip[j] = (s->held && s->held[j]) || at_bound[j];
    out->rank = sa_covariance(jac, m, p, skip, RANK_TOLERANCE, out->model, out->null,
                              out->singular, out->loading, work);
    memset(out->cluster, 0, p * p * sizeof(double));
    out->between = 0.0;
    double df = (double)r->n_cluster - (double)p;
    for (size_t j = 0; j < p; j++)
        df += s->held && s->held[j] ? 1.0 : 0.0;
    for (size_t g = 0; g < r->n_cluster; g++) {
        const double e = residual_of(s, r, resid, g);
        out->between += r->cluster_weight[g] * e * e;
    }
    for (size_t g = 0; g < r->n_cluster; g++) {
        const size_t i = (size_t)r->first_of[g];
        const double root = s->root_weight[i], weight = r->cluster_weight[g];
        if (!(root > 0.0))
            continue;
        double h = 0.0;
        for (size_t j = 0; j < p; j++)
            x[j] = skip[j] ? 0.0 : jac[i + j * m] / root;
        for (size_t j = 0; j < p; j++) {
            bx[j] = 0.0;
            for (size_t k = 0; k < p; k++)
                bx[j] += out->model[j + k * p] * x[k];
            h += x[j] * bx[j];
        }
        const double u = sa_treatment_score(weight, residual_of(s, r, resid, g), weight * h,
                                            df > 0.0 ? out->between / df : 0.0);
        for (size_t j = 0; j < p; j++) {
            part[j] += 1.0 - weight * h > SA_ALONE ? 0.0 : u * u * bx[j] * bx[j];
            for (size_t k = 0; k < p; k++)
                out->cluster[j + k * p] += u * u * bx[j] * bx[k];
        }
    }
    sa_mark_alone(part, out->cluster, p, out->alone);
}

double sa_least_variance(double between, double squares, double df)
{
    return df > 0.0 ? fmax(between, squares / df) : between;
}
