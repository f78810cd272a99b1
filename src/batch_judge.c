/* What the data of one group say: covariances by step, states of the parameters, and the
 * status of the group. See inference.c for the method; here the profile of a doubtful parameter
 * is tried by the short way first. */
#include "batch.h"
#include <math.h>
#include <string.h>

#define P_MOST SA_MODEL_MAX_PAR
#define MOST_ADOPTIONS 3

/* Cluster covariance from rows of derivatives by condition; see sa_softening_covariance(). */
void sa_batch_sandwich(const sa_batch_room *r, sa_batch_group *g, const double *rows)
{
    const size_t p = 5;
    double sum[15] = {0.0}, between = 0.0, part[5] = {0.0};
    const double soft = g->par[SA_P_SOFT], drop = g->par[SA_P_WORKED] - soft, *v = g->model;
    const double df = (double)g->rep.n_cluster - (double)g->estimated;
    for (size_t k = 0; k < g->rep.n_cluster; k++) {
        const size_t i = (size_t)r->first_of[k];
        const double e = soft + drop * rows[5 * i] - r->cluster_mean[k];
        if (r->root[i] > 0.0)
            between += r->cluster_weight[k] * e * e;
    }
    const double pooled = df > 0.0 ? between / df : 0.0;
    for (size_t k = 0; k < g->rep.n_cluster; k++) {
        const size_t i = (size_t)r->first_of[k];
        const double weight = r->cluster_weight[k], *x = rows + 5 * i;
        if (!(r->root[i] > 0.0))
            continue;
        const double e = soft + drop * x[0] - r->cluster_mean[k];
        double b[5]; /* rows and columns of held parameters are zero in the covariance */
        for (size_t j = 0; j < p; j++) {
            const double *c = v + j * p;
            b[j] = c[0] * x[0] + c[1] * x[1] + c[2] * x[2] + c[3] * x[3] + c[4] * x[4];
        }
        const double h =
            weight * (b[0] * x[0] + b[1] * x[1] + b[2] * x[2] + b[3] * x[3] + b[4] * x[4]);
        const double u = sa_treatment_score(weight, e, h, pooled), uu = u * u;
        for (size_t j = 0, at = 0; j < p; j++) {
            const double ub = uu * b[j];
            part[j] += 1.0 - h > SA_ALONE ? 0.0 : ub * b[j];
            for (size_t l = 0; l <= j; l++)
                sum[at++] += ub * b[l];
        }
    }
    g->cov.between = between;
    for (size_t j = 0, at = 0; j < p; j++)
        for (size_t l = 0; l <= j; l++)
            g->cluster[j + l * p] = g->cluster[l + j * p] = sum[at++];
    sa_mark_alone(part, g->cluster, p, g->cov.alone);
    g->cov.rank = (size_t)g->estimated;
    memset(g->loading, 0, sizeof g->loading);
}

static double quantile(const double *table, size_t length, double df)
{
    if (!(df >= 1.0) || length == 0)
        return NAN;
    return table[df <= (double)length ? (size_t)df - 1 : length - 1];
}

/* Whether the profile of every doubtful parameter plainly closes on both sides. */
static int all_closed(sa_batch_room *r, sa_batch_group *g, const double *half, const int *alone,
                      double threshold)
{
    for (size_t j = 0; j < 5; j++)
        if (!g->held[j] && (alone[j] || sa_softening_wide(&g->s, g->par, j, half[j])) &&
            !sa_short_closed(&g->s, r->weight, g->par, j, half[j], g->res.objective + threshold,
                             r->work))
            return 0;
    return 1;
}

/* States and limits; a lower minimum met on a profile is adopted and all is done again. */
int sa_batch_judge(const sa_batch_settings *set, sa_batch_room *r, sa_batch_group *g,
                   const sa_lsq_control *ctl, int *state, double *limit)
{
    const size_t p = sa_model_parameters(set->kind).n_par;
    double half[P_MOST], seen[P_MOST], better[P_MOST];
    int narrow[P_MOST];
    const double e = g->estimated, clusters = (double)g->rep.n_cluster;
    int by = set->errors != SA_ERRORS_MODEL && !(set->automatic && (double)g->used == clusters);
    for (int adopted = 0;; adopted++) {
        const int robust = by && clusters > e;
        const double df = robust ? clusters - e : g->used - e;
        const double sum = g->res.objective + g->rep.pure_error;
        const double variance = robust ? g->cov.between / df : df > 0.0 ? sum / df : NAN;
        const double t = quantile(set->t_quantile, set->quantiles, df);
        const double least = sa_least_variance(variance, sum, g->used - e);
        for (size_t j = 0; j < p; j++) {
            const double v = robust ? g->cluster[j + j * p] : variance * g->model[j + j * p];
            half[j] = t * sqrt(v);
            seen[j] = fmax(half[j], t * sqrt(least * g->model[j + j * p]));
        }
        const double threshold = df > 0.0 ? t * t * least : HUGE_VAL;
        static const int none[P_MOST];
        const int *alone = robust ? g->cov.alone : none;
        if (adopted == 0 && g->in_short && threshold < HUGE_VAL &&
            all_closed(r, g, seen, alone, threshold))
            memset(seen, 0, sizeof seen); /* no profile needs to be followed */
        else
            for (size_t j = 0; j < p; j++)
                if (alone[j])
                    seen[j] = HUGE_VAL; /* its profile is followed */
        const sa_profile_task task = {.par = g->par, .at_bound = g->at_bound,
                                      .objective = g->res.objective, .threshold = threshold,
                                      .half = seen, .loading = g->loading,
                                      .cov = g->model};
        const sa_profile_result found = {.state = state, .limit = limit,
                                         .better = adopted < MOST_ADOPTIONS ? better : NULL,
                                         .narrow = narrow};
        if (!sa_softening_states(&g->s, &task, &found, r->work)) {
            sa_softening_rescale(half, narrow, limit, p, g->model, g->cluster);
            return by;
        }
        const int iterations = g->res.iterations, evaluations = g->res.evaluations;
        memcpy(g->par, better, p * sizeof(double));
        g->status = sa_softening_fit(&g->s, ctl, 1, g->par, r->resid, r->jac, g->at_bound, r->work,
                                     &g->res);
        g->res.iterations += iterations;
        g->res.evaluations += evaluations;
        if (g->status == SA_INTERRUPTED)
            return by;
        sa_softening_covariance(&g->s, &g->rep, r->resid, r->jac, g->at_bound, &g->cov, r->work);
    }
}

/* Weighted sum of squares of the conditions about one common hardness. */
double sa_batch_about_constant(const sa_batch_room *r, size_t m)
{
    double w = 0.0, mean = 0.0, sum = 0.0;
    for (size_t i = 0; i < m; i++) {
        w += r->weight[i];
        mean += r->weight[i] * (r->mean[i] - r->mean[0]);
    }
    mean = r->mean[0] + (w > 0.0 ? mean / w : 0.0);
    for (size_t i = 0; i < m; i++)
        sum += r->weight[i] * (r->mean[i] - mean) * (r->mean[i] - mean);
    return sum;
}

sa_group_status sa_batch_classify(const sa_batch_group *g, const sa_batch_settings *set,
                                  const int *state, int one)
{
    const size_t p = sa_model_parameters(set->kind).n_par;
    int open = 0;
    for (size_t j = 0; j < p; j++)
        open += state[j] != SA_DETERMINED && state[j] != SA_HELD;
    if (g->status == SA_LIMIT)
        return SA_GROUP_LIMIT;
    const double q = g->estimated - 1.0, df = (double)g->used - g->estimated;
    const double sum = g->res.objective + g->rep.pure_error;
    const double crit = quantile(set->f_quantile, set->quantiles, df);
    const double gain = g->constant - g->res.objective;
    if (!(g->constant > 0.0) ||
        (open && q > 0.0 && df > 0.0 && !(gain / q > crit * sum / df)))
        return SA_GROUP_NO_SOFTENING;
    return one ? SA_GROUP_ONE_TEMPERATURE : open ? SA_GROUP_OPEN : SA_GROUP_OK;
}
