/* Linear maps that make errors of covariance V independent with variance 1; see whitening.c. */
#ifndef SA_WHITENING_H
#define SA_WHITENING_H

#include "components.h"

/* A factor for each step, then for each random column x - gamma v (v'x). Step i of the structure is
 * row[i] of the vectors the maps act on. */
typedef struct {
    size_t n, columns;
    const int *row;
    double *root, *v, *gamma;  /* n; sa_whitening_room(); sa_whitening_columns() */
    size_t *from, *to, *start; /* of each column: its steps, and its place in v */
} sa_whitening;

size_t sa_whitening_columns(const sa_components *c);
size_t sa_whitening_room(const sa_components *c);
void sa_whitening_build(const sa_components *c, const double *variance, sa_whitening *out);
void sa_whitening_apply(const sa_whitening *w, double *x);

#endif
