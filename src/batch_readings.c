/* Readings of one group made ready for its fit: checked, sorted by all they hold, gathered into
 * conditions and steps. Bench units in (deg C, min), K out. */
#include "batch.h"
#include "kinetics.h"
#include <math.h>
#include <string.h>

#define POLL_ROWS 100000 /* sorting fewer takes no time anybody waits for */

/* Order of treatments; readings within one are ordered afterwards. */
static int before(const sa_reading *a, const sa_reading *b)
{
    if (a->temp_k != b->temp_k)
        return a->temp_k < b->temp_k;
    if (a->time != b->time)
        return a->time < b->time;
    return a->specimen < b->specimen;
}

/* Readings of one treatment by hardness, then weight. */
static int lower(const sa_reading *a, const sa_reading *b)
{
    if (a->hardness != b->hardness)
        return a->hardness < b->hardness;
    return a->weight < b->weight;
}

static int in_order(const sa_reading *row, size_t n,
                    int (*less)(const sa_reading *, const sa_reading *))
{
    for (size_t i = 1; i < n; i++)
        if (less(&row[i], &row[i - 1]))
            return 0;
    return 1;
}

/* Merge sort over insertion-sorted runs; the result stands in `row`, unless the poll stops it. */
static void sort_by(sa_batch_room *r, sa_reading *row, sa_reading *spare, size_t n,
                    int (*less)(const sa_reading *, const sa_reading *))
{
    const size_t run = 12;
    sa_reading *from = row, *to = spare;
    for (size_t a = 0; a < n; a += run) {
        const size_t end = a + run < n ? a + run : n;
        for (size_t i = a + 1; i < end; i++) {
            if (!less(&row[i], &row[i - 1]))
                continue;
            const sa_reading x = row[i];
            size_t j = i;
            for (; j > a && less(&x, &row[j - 1]); j--)
                row[j] = row[j - 1];
            row[j] = x;
        }
    }
    for (size_t width = run; width < n; width *= 2) {
        for (size_t a = 0; a < n; a += 2 * width) {
            const size_t mid = a + width < n ? a + width : n;
            const size_t end = a + 2 * width < n ? a + 2 * width : n;
            size_t i = a, j = mid, k = a;
            while (i < mid && j < end)
                to[k++] = less(&from[j], &from[i]) ? from[j++] : from[i++];
            while (i < mid)
                to[k++] = from[i++];
            while (j < end)
                to[k++] = from[j++];
        }
        sa_reading *swap = from;
        from = to;
        to = swap;
        if (n > POLL_ROWS && r->poll && r->poll(r->poll_context))
            break;
    }
    if (from != row)
        memcpy(row, from, n * sizeof *row);
}

/* Ascending values with their weights, few of them: insertion; else the general way. */
static void sort_treatment(sa_batch_room *r, sa_reading *row, sa_reading *spare, size_t n)
{
    if (n > 24) {
        sort_by(r, row, spare, n, lower);
        return;
    }
    for (size_t i = 1; i < n; i++) {
        const double y = row[i].hardness, w = row[i].weight;
        size_t j = i;
        for (; j > 0 && (row[j - 1].hardness > y ||
                         (row[j - 1].hardness == y && row[j - 1].weight > w)); j--) {
            row[j].hardness = row[j - 1].hardness;
            row[j].weight = row[j - 1].weight;
        }
        row[j].hardness = y;
        row[j].weight = w;
    }
}

static void sort_readings(sa_batch_room *r, size_t n)
{
    sa_reading *row = r->row, *spare = r->spare;
    if (!in_order(row, n, before))
        sort_by(r, row, spare, n, before);
    for (size_t a = 0, end; a < n; a = end) {
        for (end = a + 1; end < n && row[end].time == row[a].time &&
                          row[end].temp_k == row[a].temp_k && row[end].specimen == row[a].specimen;)
            end++;
        if (end - a > 1)
            sort_treatment(r, row + a, spare, end - a);
    }
}

/* Sorted readings whose temperatures or times differ in rounding alone: of one condition, in any
 * order of rows. Twin: merge_near() in R/fit-data.R. */
static void merge_near(sa_batch_room *r, size_t n)
{
    sa_reading *row = r->row;
    int moved = 0;
    for (size_t i = 1; i < n; i++)
        if (row[i].temp_k != row[i - 1].temp_k && sa_same(row[i].temp_k, row[i - 1].temp_k)) {
            row[i].temp_k = row[i - 1].temp_k;
            moved = 1;
        }
    if (moved)
        sort_readings(r, n);
    moved = 0;
    for (size_t i = 1; i < n; i++)
        if (row[i].time != row[i - 1].time && row[i].temp_k == row[i - 1].temp_k &&
            sa_same(row[i].time, row[i - 1].time)) {
            row[i].time = row[i - 1].time;
            moved = 1;
        }
    if (moved)
        sort_readings(r, n);
}

/* Readings of a group, checked; returns SA_GROUP_OK or what is wrong, `count` as it goes. */
sa_group_status sa_batch_collect(const sa_batch_columns *c, size_t first, size_t size,
                                 int any_value, sa_batch_room *r, size_t *n_out, double *ref_k,
                                 int *count)
{
    size_t n = 0, after = 0;
    for (size_t k = 0; k < size; k++) {
        const size_t place = first + k;
        const size_t i = c->order ? (size_t)(c->order[place] - 1) : place;
        sa_reading *x = &r->row[n];
        *x = (sa_reading){c->temp_c[i] + SA_ZERO_CELSIUS, c->time[i], c->hardness[i],
                       c->weight ? c->weight[i] : 1.0, c->specimen ? c->specimen[i] : 0};
        const int cold = isnan(x->temp_k) && x->time == 0.0;
        if ((isnan(x->temp_k) && !cold) || isnan(x->time) || isnan(x->hardness)) {
            count[SA_COUNT_MISSING]++;
            continue;
        }
        count[SA_COUNT_ROW] = (int)(i + 1);
        if (x->hardness == -HUGE_VAL)
            return SA_GROUP_OUTSIDE;
        if (!(x->time >= 0.0) || isinf(x->time) || !(any_value || x->hardness > 0.0) ||
            isinf(x->hardness) ||
            (!cold && (!(x->temp_k > 0.0) || isinf(x->temp_k))) || !(x->weight >= 0.0) ||
            isinf(x->weight))
            return SA_GROUP_BAD_VALUE;
        if (!(x->weight > 0.0)) /* as if it were not there */
            continue;
        if (x->time == 0.0) /* as rolled is one condition, whatever temperature its rows name */
            x->temp_k = -1.0;
        after += x->time > 0.0;
        n++;
    }
    count[SA_COUNT_ROW] = 0;
    *n_out = n;
    if (after == 0)
        return SA_GROUP_NO_ANNEAL;
    sort_readings(r, n); /* as rolled first, while the reference is formed, in sorted order */
    if (isnan(*ref_k)) {
        double sum = 0.0;
        for (size_t i = 0; i < n; i++)
            if (r->row[i].time > 0.0)
                sum += 1.0 / r->row[i].temp_k;
        *ref_k = (double)after / sum;
    }
    /* and then to the place of the reference */
    size_t rolled = 0, colder;
    for (; rolled < n && r->row[rolled].temp_k < 0.0; rolled++)
        r->row[rolled].temp_k = *ref_k;
    for (colder = rolled; colder < n && r->row[colder].temp_k < *ref_k;)
        colder++;
    if (colder > rolled && rolled > 0) {
        memcpy(r->spare, r->row, rolled * sizeof *r->row);
        memmove(r->row, r->row + rolled, (colder - rolled) * sizeof *r->row);
        memcpy(r->row + (colder - rolled), r->spare, rolled * sizeof *r->row);
    }
    merge_near(r, n);
    return SA_GROUP_OK;
}

/* Sorted readings to conditions and steps: what sa_gather() does, without its
 * indices. Sums are taken about the first reading of each, which keeps the digits. */
int sa_batch_gather(sa_batch_room *r, size_t n, double ref_k, sa_replicates *rep)
{
    int used = 0;
    size_t m = 0, c = 0, i = 0;
    rep->pure_error = 0.0;
    while (i < n) {
        const sa_reading *lead = &r->row[i];
        double w = 0.0, wy = 0.0, wyy = 0.0;
        r->log_time[m] = lead->time > 0.0 ? log(lead->time) : -HUGE_VAL;
        r->coordinate[m] = sa_inverse_temperature(lead->temp_k, ref_k);
        while (i < n && sa_same(r->row[i].temp_k, lead->temp_k) && sa_same(r->row[i].time, lead->time)) {
            const int piece = r->row[i].specimen;
            double cw = 0.0, cwy = 0.0;
            r->first_of[c] = (int)m;
            for (; i < n && r->row[i].specimen == piece && sa_same(r->row[i].temp_k, lead->temp_k) &&
                   sa_same(r->row[i].time, lead->time); i++) {
                const double d = r->row[i].hardness - lead->hardness, u = r->row[i].weight;
                cw += u;
                cwy += u * d;
                wyy += u * d * d;
                used += u > 0.0;
            }
            r->cluster_weight[c] = cw;
            r->cluster_mean[c++] = lead->hardness + (cw > 0.0 ? cwy / cw : 0.0);
            w += cw;
            wy += cwy;
        }
        const double shift = w > 0.0 ? wy / w : 0.0;
        r->weight[m] = w;
        r->root[m] = sqrt(w);
        r->mean[m++] = lead->hardness + shift;
        const double scatter = wyy - wy * shift;
        rep->pure_error += scatter > 0.0 ? scatter : 0.0;
    }
    rep->n_condition = m;
    rep->n_cluster = c;
    rep->first_of = r->first_of;
    rep->cluster_mean = r->cluster_mean;
    rep->cluster_weight = r->cluster_weight;
    return used;
}
