/* Shared by design.c and design_value.c: the table of gradients and the criterion after a move. */
#ifndef SA_DESIGN_VALUE_H
#define SA_DESIGN_VALUE_H

#include "design.h"

/* Estimated parameters and the sizes that follow from them. */
typedef struct {
    size_t p, packed, candidates;
    size_t place[SA_MODEL_MAX_PAR];
} sa_design_sizes;

sa_design_sizes sa_design_measure(const sa_design *d);

/* A move: candidates added to (+1) or taken from (-1) the information. */
typedef struct {
    size_t n;
    size_t candidate[2 * SA_DESIGN_MAX_TIMES];
    double times[2 * SA_DESIGN_MAX_TIMES];
} sa_design_move;

/* Criterion after a move on the information `info` (packed, by draws), which stays as is. */
double sa_design_value_after(const sa_design *d, const sa_design_sizes *s, const double *table,
                             const int *counted, const double *info, const sa_design_move *v);

/* Carries a move out on `info`. */
void sa_design_apply(const sa_design *d, const sa_design_sizes *s, const double *table,
                     double *info, const sa_design_move *v);

/* Information of all pieces but one (`without` = n_piece: of all). */
void sa_design_information(const sa_design *d, const sa_design_sizes *s, const double *table,
                           const sa_design_plan *plan, size_t without, double *info);

#endif
