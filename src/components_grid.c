/* Fixed effects with the standard deviations of the components marginalised over their priors: at each
 * node of a grid of equal prior mass the effects are normal (GLS), weighted by the restricted
 * likelihood there; intervals are quantiles of that mixture. Weak priors of a standard deviation:
 * Gelman 2006, Bayesian Analysis 1, 515. */
#include "components.h"
#include <math.h>
#include <string.h>

#define HALF_PI 1.57079632679489661923
#define NORMAL_TOP 0.39894228040143267794
#define ROUNDS 4           /* of making nodes anew */
#define FEW_NODES 2.0      /* effective number below which a dimension is narrower than its nodes */
#define COUNTS 1e-5        /* share of the largest weight of a dimension that still counts */

/* Lower tail of the standard normal. */
static double normal_cdf(double z)
{
    return 0.5 * erfc(-z * 0.70710678118654752440);
}

static double normal_quantile(double probability)
{
    double low = -9.0, high = 9.0, z = 0.0;
    for (int k = 0; k < 60; k++) {
        const double gap = normal_cdf(z) - probability;
        if (gap > 0.0)
            high = z;
        else
            low = z;
        const double newton = z - gap * 2.50662827463100050242 * exp(0.5 * z * z);
        const double next = newton > low && newton < high ? newton : 0.5 * (low + high);
        if (fabs(next - z) < 1e-14)
            break;
        z = next;
    }
    return z;
}

void sa_prior_nodes(const sa_prior *prior, double low, double high, double *sd)
{
    const int m = prior->kind == SA_PRIOR_FIXED ? 1 : prior->nodes;
    const double share = atan(prior->cut / prior->scale) / HALF_PI;
    for (int k = 0; k < m; k++) {
        const double u = low + (high - low) * (k + 0.5) / m;
        switch (prior->kind) {
        case SA_PRIOR_HALF_CAUCHY:
            sd[k] = prior->scale * tan(HALF_PI * share * u);
            break;
        case SA_PRIOR_HALF_NORMAL:
            sd[k] = prior->scale * normal_quantile(0.5 + 0.5 * u);
            break;
        case SA_PRIOR_LOG_NORMAL:
            sd[k] = prior->scale * exp(prior->width * normal_quantile(u));
            break;
        case SA_PRIOR_FIXED:
        default:
            sd[k] = prior->scale;
        }
    }
}

static size_t nodes_of(const sa_prior *prior, size_t k)
{
    return prior[k].kind == SA_PRIOR_FIXED ? 1 : (size_t)prior[k].nodes;
}

size_t sa_mixture_room(const sa_prior *prior, size_t n_structure)
{
    size_t room = n_structure;
    for (size_t k = 0; k < SA_V_COUNT; k++)
        room *= nodes_of(prior, k);
    return room;
}

/* One pass: ln weights (unnormalised) into mix->weight. `node_work`: p + p p. */
static void fill(const sa_components *structures, size_t n_structure, const sa_prior *prior,
                 sa_mixture *mix, double *work, double *node_work)
{
    const size_t p = mix->p;
    double node[SA_V_COUNT][SA_MOST_NODES];
    size_t many[SA_V_COUNT], at = 0;
    for (size_t k = 0; k < SA_V_COUNT; k++) {
        many[k] = nodes_of(prior, k);
        sa_prior_nodes(&prior[k], mix->prior_span[2 * k], mix->prior_span[2 * k + 1], node[k]);
    }
    double *cov = node_work;
    for (size_t s = 0; s < n_structure; s++) {
        const sa_components *c = &structures[s];
        int diagonal = 0; /* furnace errors on the diagonal: prepared anew for each of them */
        for (size_t i = 0; i < c->n; i++)
            diagonal |= c->furnace[i] < 0 && c->g[i] != 0.0;
        for (size_t l = 0; l < many[SA_V_STEP]; l++)
            for (size_t u = 0; u < many[SA_V_FURNACE]; u++) {
                double v[SA_V_COUNT] = {node[SA_V_FURNACE][u] * node[SA_V_FURNACE][u], 0.0,
                                        node[SA_V_STEP][l] * node[SA_V_STEP][l], 0.0};
                int bad = 0;
                if (u == 0 || diagonal)
                    bad = sa_components_prepare(c, v, work);
                for (size_t b = 0; b < many[SA_V_PIECE]; b++)
                    for (size_t o = 0; o < many[SA_V_OPERATOR]; o++) {
                        sa_components_value value = {NAN, NAN, NAN};
                        double *beta = mix->beta + at * p;
                        v[SA_V_PIECE] = node[SA_V_PIECE][b] * node[SA_V_PIECE][b];
                        v[SA_V_OPERATOR] = node[SA_V_OPERATOR][o] * node[SA_V_OPERATOR][o];
                        const int ok =
                            !bad && !sa_components_solve(c, v, work, beta, cov, &value);
                        mix->weight[at] = ok ? -0.5 * value.criterion : -HUGE_VAL;
                        double *sd = mix->sd + at * SA_V_COUNT;
                        for (size_t k = 0; k < SA_V_COUNT; k++)
                            sd[k] = sqrt(v[k]);
                        double *packed = mix->cov + at * p * (p + 1) / 2;
                        for (size_t j = 0; j < p; j++)
                            for (size_t i = 0; i <= j; i++)
                                *packed++ = ok ? cov[i + j * p] : 0.0;
                        for (size_t j = 0; j < p && !ok; j++)
                            beta[j] = 0.0;
                        at++;
                    }
            }
    }
    mix->count = at;
}

/* Logarithms to weights that sum to 1; returns 0 when there is none. */
static int normalise(double *weight, size_t n)
{
    double most = -HUGE_VAL, sum = 0.0;
    for (size_t i = 0; i < n; i++)
        most = fmax(most, weight[i]);
    if (!isfinite(most))
        return 0;
    for (size_t i = 0; i < n; i++)
        sum += weight[i] = exp(weight[i] - most);
    for (size_t i = 0; i < n; i++)
        weight[i] /= sum;
    return 1;
}

/* Narrower spans for the dimensions whose nodes are too coarse; returns how many. Order of the nodes
 * as in fill(). */
static int narrow(const sa_prior *prior, size_t n_structure, sa_mixture *mix)
{
    size_t many[SA_V_COUNT];
    int changed = 0;
    for (size_t k = 0; k < SA_V_COUNT; k++)
        many[k] = nodes_of(prior, k);
    for (size_t k = 0; k < SA_V_COUNT; k++) {
        double marginal[SA_MOST_NODES] = {0.0}, most = 0.0, effective = 0.0;
        if (many[k] < 4)
            continue;
        size_t at = 0;
        for (size_t s = 0; s < n_structure; s++)
            for (size_t l = 0; l < many[SA_V_STEP]; l++)
                for (size_t u = 0; u < many[SA_V_FURNACE]; u++)
                    for (size_t b = 0; b < many[SA_V_PIECE]; b++)
                        for (size_t o = 0; o < many[SA_V_OPERATOR]; o++) {
                            const size_t place[SA_V_COUNT] = {u, b, l, o};
                            marginal[place[k]] += mix->weight[at++];
                        }
        for (size_t i = 0; i < many[k]; i++) {
            effective += marginal[i] * marginal[i];
            most = fmax(most, marginal[i]);
        }
        if (effective * FEW_NODES <= 1.0)
            continue;
        size_t from = 0, to = many[k] - 1;
        while (marginal[from] < COUNTS * most)
            from++;
        while (marginal[to] < COUNTS * most)
            to--;
        from -= from > 0; /* a node's width more on either side */
        to += to + 1 < many[k];
        if (from == 0 && to + 1 == many[k])
            continue;
        double *span = mix->prior_span + 2 * k;
        const double low = span[0], width = (span[1] - span[0]) / (double)many[k];
        span[0] = low + width * (double)from;
        span[1] = low + width * (double)(to + 1);
        changed++;
    }
    return changed;
}

sa_status sa_components_grid(const sa_components *structures, size_t n_structure,
                             const sa_prior *prior, sa_mixture *mix, double *work,
                             double *node_work)
{
    if (mix->room < sa_mixture_room(prior, n_structure))
        return SA_BAD_SIZE;
    for (size_t k = 0; k < SA_V_COUNT; k++) {
        mix->prior_span[2 * k] = 0.0;
        mix->prior_span[2 * k + 1] = 1.0;
    }
    mix->p = structures[0].p;
    for (int round = 0; round < ROUNDS; round++) {
        fill(structures, n_structure, prior, mix, work, node_work);
        if (!normalise(mix->weight, mix->count))
            return SA_SINGULAR;
        if (round + 1 == ROUNDS || narrow(prior, n_structure, mix) == 0)
            break;
    }
    const size_t each = mix->count / n_structure;
    for (size_t s = 0; s < n_structure; s++) {
        mix->structure[s] = 0.0;
        for (size_t i = 0; i < each; i++)
            mix->structure[s] += mix->weight[s * each + i];
    }
    return SA_OK;
}

void sa_normal_build(sa_normal *t)
{
    for (int k = 0; k < SA_NORMAL_KNOTS; k++) {
        const double z = (double)(k - SA_NORMAL_KNOTS / 2) / SA_NORMAL_PER_UNIT;
        double *c = t->part[k], before = 0.0, now = 1.0, scale = NORMAL_TOP * exp(-0.5 * z * z);
        c[0] = normal_cdf(z);
        for (int m = 1; m <= SA_NORMAL_DEGREE; m++) { /* Hermite's polynomials */
            scale /= m;
            c[m] = scale * now;
            const double next = z * now - (m - 1) * before;
            before = now;
            now = next;
            scale = -scale;
        }
    }
}

/* Cumulative probability; its derivative to `density`. */
static double normal_at(const sa_normal *t, double z, double *density)
{
    const double place = z * SA_NORMAL_PER_UNIT + (double)(SA_NORMAL_KNOTS / 2);
    *density = 0.0;
    if (!(place > 0.0))
        return 0.0;
    if (place > (double)(SA_NORMAL_KNOTS - 1))
        return 1.0;
    const int k = (int)(place + 0.5);
    const double d = (place - (double)k) / SA_NORMAL_PER_UNIT, *c = t->part[k];
    double value = c[SA_NORMAL_DEGREE], slope = 0.0;
    for (int m = SA_NORMAL_DEGREE - 1; m >= 0; m--) {
        slope = slope * d + value;
        value = value * d + c[m];
    }
    *density = slope;
    return value;
}

double sa_mixture_quantile(const sa_normal *normal, const double *weight, const double *mean,
                           const double *sd, size_t count, double probability)
{
    double low = HUGE_VAL, high = -HUGE_VAL;
    const double z = normal_quantile(probability);
    for (size_t i = 0; i < count; i++) /* the quantile lies between those of the parts */
        if (weight[i] > 0.0) {
            low = fmin(low, mean[i] + z * sd[i]);
            high = fmax(high, mean[i] + z * sd[i]);
        }
    if (!(low <= high))
        return NAN;
    /* Halley's steps from the mean of the parts' quantiles, kept between the ends */
    double at = 0.0;
    for (size_t i = 0; i < count; i++)
        at += weight[i] * (mean[i] + z * sd[i]);
    for (int k = 0; k < 60 && high > low; k++) {
        double gap = -probability, slope = 0.0, bend = 0.0;
        for (size_t i = 0; i < count; i++) {
            if (!(sd[i] > 0.0)) {
                gap += at >= mean[i] ? weight[i] : 0.0;
                continue;
            }
            const double inverse = 1.0 / sd[i];
            const double u = (at - mean[i]) * inverse;
            double density;
            gap += weight[i] * normal_at(normal, u, &density);
            density *= weight[i] * inverse;
            slope += density;
            bend -= density * u * inverse;
        }
        if (fabs(gap) < 1e-12)
            return at;
        if (gap > 0.0)
            high = at;
        else
            low = at;
        const double newton = gap / slope, halley = 1.0 - 0.5 * newton * bend / slope;
        const double next = at - (halley > 0.5 && halley < 2.0 ? newton / halley : newton);
        const int inside = slope > 0.0 && next > low && next < high;
        const double step = inside ? next - at : 0.5 * (low + high) - at;
        at += step;
        if (fabs(step) < 1e-9 * (high - low) || (fabs(gap) < 1e-6 && inside))
            return at;
    }
    return at;
}
