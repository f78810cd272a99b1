/* Components of the error of step means: piece, furnace temperature, operator, step, reading.
 * See components.c for the model and its sources. */
#ifndef SA_COMPONENTS_H
#define SA_COMPONENTS_H

#include "status.h"
#include <stddef.h>

/* Places in a vector of variances. Twin: ERROR_COMPONENTS in R/errors.R. */
enum { SA_V_FURNACE = 0, SA_V_PIECE, SA_V_STEP, SA_V_OPERATOR, SA_V_COUNT };

/* Step means in order of blocks; steps of two blocks share no piece and no furnace error. */
typedef struct {
    size_t n, p;         /* steps, fixed effects */
    const double *y, *x; /* n; n x p by columns */
    const double *g;     /* n: derivative in the furnace temperature, times the scale of its error */
    const double *noise; /* n: variance of the mean from its readings alone */
    const double *factor; /* n: multiple of the step's variance; NULL: all 1 */
    size_t n_operator;
    const double *operator_share; /* n x n_operator: share of each one's readings in the mean */
    size_t n_block;
    const int *first;       /* n_block + 1: first step of each block */
    const int *first_column; /* n_block + 1: first random column of each block */
    const int *is_furnace;  /* of each column: furnace error, or offset of a piece */
    const int *piece;       /* of each step: column, or -1 */
    const int *furnace;     /* of each step: column, or -1: an error of its own (part of the step) */
} sa_components;

/* One set of variances solved. */
typedef struct {
    double criterion;       /* -2 ln of the restricted likelihood */
    double log_determinants; /* ln|V| + ln|X'V^-1 X|, the part without y */
    double quadratic;       /* y'Py */
} sa_components_value;

/* Doubles of work; 0 on overflow. */
size_t sa_components_work(const sa_components *c);

/* Cross products at the variances of furnace and step that stand on the diagonal. Returns 0, or 1
 * where a variance is not positive. */
int sa_components_prepare(const sa_components *c, const double *variance, double *work);

/* GLS at these variances after prepare(): `beta` (p) and `cov` (p x p), may be NULL. Returns 0, or 1
 * when the fixed effects are not determined. */
int sa_components_solve(const sa_components *c, const double *variance, double *work, double *beta,
                        double *cov, sa_components_value *value);

/* Conditional modes of the random columns and of the operators, with their conditional standard
 * deviations (fixed effects taken as known), after solve() with `beta`. */
int sa_components_modes(const sa_components *c, const double *variance, const double *beta,
                        double *work, double *mode, double *mode_sd, double *operator_mode,
                        double *operator_sd);

/* REML: `variance` start in, estimate out; `estimated` marks those that move. `information`
 * (SA_V_COUNT square): expected information of all marked; roughly where fewer than SA_REML_ROUNDS
 * rounds are asked. Returns SA_OK, SA_LIMIT, SA_SINGULAR. */
#define SA_REML_ROUNDS 60
sa_status sa_components_reml(const sa_components *c, const int *estimated, int rounds,
                             double *variance, double *information, double *work);

/* Degrees of freedom of Satterthwaite for g'beta (g: p), components at zero kept. Here and in
 * sa_components_parts() p p doubles of work more. */
double sa_components_df(const sa_components *c, const int *estimated, const double *variance,
                        const double *information, const double *g, double *work);

/* Variance of g'beta that each component brings; what is left of g'Phi g comes from the readings. */
void sa_components_parts(const sa_components *c, const double *variance, const double *g,
                         double *part, double *work);

/* Prior of a standard deviation. */
typedef enum {
    SA_PRIOR_FIXED = 0,   /* at the scale */
    SA_PRIOR_HALF_CAUCHY, /* of the scale, cut */
    SA_PRIOR_HALF_NORMAL,
    SA_PRIOR_LOG_NORMAL /* median at the scale; `width`: standard deviation of its logarithm */
} sa_prior_kind;

typedef struct {
    sa_prior_kind kind;
    double scale, cut, width;
    int nodes;
} sa_prior;

#define SA_MOST_NODES 64

/* Standard deviations in the middle of `nodes` pieces of equal prior mass between the cumulative
 * probabilities `low` and `high`. */
void sa_prior_nodes(const sa_prior *prior, double low, double high, double *sd);

/* Nodes of the grid: one for each combination of the standard deviations and for each structure. */
typedef struct {
    size_t p, count, room;
    double *weight; /* room; normalised, largest first is not promised */
    double *sd;     /* room x SA_V_COUNT by nodes */
    double *beta;   /* room x p by nodes */
    double *cov;    /* room x p (p + 1) / 2 by nodes, upper triangle by columns */
    double *structure; /* share of each structure, as many as were given */
    double prior_span[2 * SA_V_COUNT]; /* cumulative probabilities the nodes lie between */
} sa_mixture;

size_t sa_mixture_room(const sa_prior *prior, size_t n_structure);

/* Weights, estimates and covariances over the grid. Structures (the same steps and fixed effects,
 * other furnace columns) have equal prior probability. A dimension in which the likelihood is
 * narrower than the nodes gets its nodes anew within the part that counts. */
sa_status sa_components_grid(const sa_components *structures, size_t n_structure,
                             const sa_prior *prior, sa_mixture *mix, double *work,
                             double *node_work);

/* Normal distribution by Taylor's series about the nearest of evenly spaced knots, to 1e-14; 0 and 1
 * beyond them. */
#define SA_NORMAL_PER_UNIT 8
#define SA_NORMAL_KNOTS 145 /* -9 to 9 */
#define SA_NORMAL_DEGREE 8

typedef struct {
    double part[SA_NORMAL_KNOTS][SA_NORMAL_DEGREE + 1];
} sa_normal;

void sa_normal_build(sa_normal *t);

/* Quantile of a mixture of normals. */
double sa_mixture_quantile(const sa_normal *normal, const double *weight, const double *mean,
                           const double *sd, size_t count, double probability);

#endif
