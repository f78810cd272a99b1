/* Errors made independent: V = D + sum u u' is taken apart one column at a time. With D^-1/2 first, and
 * v the next column as the maps so far leave it, I + v v' has the inverse root I - gamma v v',
 * gamma = (1 - 1/sqrt(1 + v'v))/v'v. Residuals and derivatives mapped so turn generalised into
 * ordinary least squares, for the solver and for profiles, with no matrix of the size of the data. */
#include "whitening.h"
#include <math.h>
#include <string.h>

size_t sa_whitening_columns(const sa_components *c)
{
    return (size_t)c->first_column[c->n_block] + c->n_operator;
}

size_t sa_whitening_room(const sa_components *c)
{
    size_t room = c->n_operator * c->n;
    for (size_t b = 0; b < c->n_block; b++)
        room += (size_t)(c->first_column[b + 1] - c->first_column[b]) *
                (size_t)(c->first[b + 1] - c->first[b]);
    return room;
}

/* One column more. */
static void add_column(sa_whitening *w, size_t from, size_t to, size_t start)
{
    double *v = w->v + start, square = 0.0;
    for (size_t k = 0; k < w->columns; k++) {
        const size_t low = from > w->from[k] ? from : w->from[k];
        const size_t high = to < w->to[k] ? to : w->to[k];
        double dot = 0.0;
        for (size_t i = low; i < high; i++)
            dot += w->v[w->start[k] + i - w->from[k]] * v[i - from];
        dot *= w->gamma[k];
        for (size_t i = low; i < high; i++)
            v[i - from] -= dot * w->v[w->start[k] + i - w->from[k]];
    }
    for (size_t i = 0; i < to - from; i++)
        square += v[i] * v[i];
    const size_t k = w->columns++;
    w->from[k] = from;
    w->to[k] = to;
    w->start[k] = start;
    /* (1 - 1/sqrt(1 + s))/s without cancelling */
    const double root = sqrt(1.0 + square);
    w->gamma[k] = 1.0 / (root * (root + 1.0));
}

void sa_whitening_build(const sa_components *c, const double *variance, sa_whitening *out)
{
    size_t start = 0;
    out->n = c->n;
    out->columns = 0;
    for (size_t i = 0; i < c->n; i++) {
        double d = variance[SA_V_STEP] * (c->factor ? c->factor[i] : 1.0) + c->noise[i];
        if (c->furnace[i] < 0)
            d += variance[SA_V_FURNACE] * c->g[i] * c->g[i];
        out->root[i] = 1.0 / sqrt(d);
    }
    for (size_t b = 0; b < c->n_block; b++) {
        const size_t from = (size_t)c->first[b], to = (size_t)c->first[b + 1];
        for (int k = c->first_column[b]; k < c->first_column[b + 1]; k++) {
            const double sd = sqrt(variance[c->is_furnace[k] ? SA_V_FURNACE : SA_V_PIECE]);
            for (size_t i = from; i < to; i++)
                out->v[start + i - from] = c->piece[i] == k     ? sd * out->root[i]
                                           : c->furnace[i] == k ? sd * out->root[i] * c->g[i]
                                                                : 0.0;
            add_column(out, from, to, start);
            start += to - from;
        }
    }
    for (size_t k = 0; k < c->n_operator; k++) {
        for (size_t i = 0; i < c->n; i++)
            out->v[start + i] = sqrt(variance[SA_V_OPERATOR]) * out->root[i] *
                                c->operator_share[i + k * c->n];
        add_column(out, 0, c->n, start);
        start += c->n;
    }
}

void sa_whitening_apply(const sa_whitening *w, double *x)
{
    for (size_t i = 0; i < w->n; i++)
        x[w->row[i]] *= w->root[i];
    for (size_t k = 0; k < w->columns; k++) {
        const double *v = w->v + w->start[k];
        const int *row = w->row + w->from[k];
        const size_t rows = w->to[k] - w->from[k];
        double dot = 0.0;
        for (size_t i = 0; i < rows; i++)
            dot += v[i] * x[row[i]];
        dot *= w->gamma[k];
        for (size_t i = 0; i < rows; i++)
            x[row[i]] -= dot * v[i];
    }
}
