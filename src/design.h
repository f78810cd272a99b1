/* Optimal plans of an annealing run; see design.c. */
#ifndef SA_DESIGN_H
#define SA_DESIGN_H

#include "model.h"
#include "status.h"

#define SA_DESIGN_MAX_TIMES 64 /* candidate times; a set of them is held in an array */

typedef enum {
    SA_AIM_DETERMINANT = 0, /* -ln det of the information, per parameter */
    SA_AIM_ENERGY,          /* ln variance of the activation energy */
    SA_AIM_LN_TIME_SHARE,   /* ln variance of ln time to a share of the softening */
    SA_AIM_LN_TIME_HARDNESS /* ln variance of ln time to a hardness */
} sa_design_aim;

typedef struct {
    sa_model_kind kind;
    size_t n_draw;
    const double *draws;  /* n_draw x n_par by rows: parameters as they might be */
    const int *estimated; /* n_par: zero for a parameter held in the fit */
    const double *floor;  /* n_par: information added to the diagonal, above zero */
    const double *known;  /* information before the run, packed over n_par, or NULL */
    size_t n_temp, n_time;
    const double *coordinate; /* n_temp: e of each allowed temperature, mol/kJ */
    const double *log_time;   /* n_time, rising: ln t of each allowed time */
    const double *minutes;    /* n_time, rising */
    const double *heat_up;    /* n_temp: furnace minutes that each step needs besides */
    double weight;            /* information of one step: 1 / variance of its mean */
    double at_start;          /* steps at time zero (one per piece, or none) */
    sa_design_aim aim;
    size_t n_aim; /* temperatures of the aim; 0 unless it is a time */
    const double *aim_coordinate;
    double target;          /* share or hardness */
    size_t max_steps;       /* of a piece, at most n_time */
    double furnace_minutes; /* limit of the sum over pieces */
    sa_poll poll;           /* asked while plans are valued; NULL: not */
    void *poll_context;
} sa_design;

/* Pieces of a plan: temperature of each, and whether each allowed time is read. */
typedef struct {
    size_t n_piece;
    int *temp;           /* n_piece, 0-based */
    unsigned char *read; /* n_piece x n_time by rows */
} sa_design_plan;

/* Doubles of `table` and `work`; 0 when the sizes overflow or are not legal. */
size_t sa_design_table_size(const sa_design *d);
size_t sa_design_work_size(const sa_design *d);

/* Gradients of every candidate and of the aim at every draw. `counted` (n_draw) says for
 * which draws the aim exists; `n_counted` how many. SA_NOT_FINITE where the model fails,
 * SA_INTERRUPTED where the poll stopped it. */
sa_status sa_design_prepare(const sa_design *d, double *table, int *counted, size_t *n_counted);

/* Mean of the criterion over the counted draws; Inf for no draw. */
double sa_design_value(const sa_design *d, const double *table, const int *counted,
                       const sa_design_plan *plan, double *work);

/* Furnace minutes of a plan. */
double sa_design_minutes(const sa_design *d, const sa_design_plan *plan);

/* Improves a plan that keeps the limits until no exchange helps. `value`: its criterion. */
sa_status sa_design_improve(const sa_design *d, const double *table, const int *counted,
                            sa_design_plan *plan, double *value, size_t *rounds, double *work);

#endif
