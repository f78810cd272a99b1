/* The problem of a fit under components of error, for the entry points that take one. */
#ifndef SA_GLUE_MIXED_H
#define SA_GLUE_MIXED_H

#include "glue.h"
#include "mixed.h"

/* All of a problem; it points into itself and must stay in place. */
typedef struct {
    sa_softening s;
    sa_histories along;
    sa_components c;
    sa_mixed f;
    sa_whitening w;
    sa_furnaces furnaces;
    size_t n, p, columns, operators;
    double *hardness;
} glue_mixed;

/* Error unless every step of a block names columns of that block. */
void glue_check_blocks(const sa_components *c);

/* Arguments as of sa_call_mixed(). */
void glue_mixed_pose(SEXP steps, SEXP setup, SEXP ref_k, SEXP structure, SEXP errors, glue_mixed *m);

/* Makes `s` the joint likelihood at these variances: errors of furnaces are unknowns, the rest is
 * whitened. `g`, `mode`: slopes and errors at the estimate, for more furnaces than there is room for. */
void glue_mixed_joint(glue_mixed *m, const double *variance, const double *g, const double *mode);

/* Its minimum from `par` (room for SA_MODEL_MAX_PAR, errors of furnaces after the parameters). */
double glue_mixed_minimum(const glue_mixed *m, double *par);

size_t glue_mixed_work(const glue_mixed *m);

#endif
