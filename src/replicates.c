/* Replicate readings enter the solver as the mean and the weight of their condition: the
 * least-squares solution is the same to the last digit, since the sum of squares splits
 * into scatter about the condition means (pure error, free of the model) and the weighted
 * misfit of the means (Draper and Smith, Applied Regression Analysis, section 2.1).
 * Set temperatures and times count as equal within 1e-9 relative. */
#include "replicates.h"
#include <math.h>

void sa_gather(const sa_readings *r, int merge, sa_replicates *out)
{
    size_t m = 0, g = 0;
    for (size_t i = 0; i < r->n; i++) {
        size_t k = (size_t)(r->order[i] - 1);
        size_t before = i > 0 ? (size_t)(r->order[i - 1] - 1) : k;
        int new_condition = i == 0 || !sa_same(r->temp_k[k], r->temp_k[before]) ||
                            !sa_same(r->time[k], r->time[before]) ||
                            (r->strain && !sa_same(r->strain[k], r->strain[before]));
        int new_cluster = new_condition || r->specimen[k] != r->specimen[before];
        double w = r->weight ? r->weight[k] : 1.0;
        if (new_condition || !merge) {
            out->temp_k[m] = r->temp_k[k];
            out->time[m] = r->time[k];
            out->log_time[m] = r->time[k] > 0.0 ? log(r->time[k]) : -INFINITY;
            out->mean[m] = 0.0;
            out->weight[m] = 0.0;
            if (r->strain)
                out->strain[m] = r->strain[k];
            m++;
        }
        if (new_cluster) {
            out->first_of[g] = (int)(m - 1);
            out->cluster_mean[g] = 0.0;
            out->cluster_weight[g] = 0.0;
            g++;
        }
        out->condition_of[k] = (int)(m - 1);
        out->cluster_of[k] = (int)(g - 1);
        out->weight[m - 1] += w;
        out->cluster_weight[g - 1] += w;
        /* running means: no loss of digits for large, nearly equal readings */
        if (w > 0.0) {
            out->mean[m - 1] += w * (r->hardness[k] - out->mean[m - 1]) / out->weight[m - 1];
            out->cluster_mean[g - 1] +=
                w * (r->hardness[k] - out->cluster_mean[g - 1]) / out->cluster_weight[g - 1];
        }
    }
    out->n_condition = m;
    out->n_cluster = g;
    out->pure_error = 0.0;
    for (size_t k = 0; k < r->n; k++) {
        double d = r->hardness[k] - out->mean[out->condition_of[k]];
        out->pure_error += (r->weight ? r->weight[k] : 1.0) * d * d;
    }
}
