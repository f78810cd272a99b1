/* Errors of furnace temperatures as unknowns beside the parameters; see furnaces.c. */
#ifndef SA_FURNACES_H
#define SA_FURNACES_H

#include "model.h"

/* After the parameters of the model come `count` errors, in standard deviations, and after the n
 * residuals as many rows that draw them towards zero. */
typedef struct {
    size_t count;
    const int *of;        /* of each condition: which error, or -1 */
    const double *scale;  /* of each condition: K in one standard deviation */
    double ref_k;
    double *shift, *jac;  /* room: n; n x n_par */
} sa_furnaces;

/* dH/dT of condition i (per K), from the derivatives in the rates (n x n_par): d ln k = Q d / (R T^2),
 * each rate by its own energy. `inverse`: 1/T in 1/K. */
double sa_temperature_slope(const sa_model_layout *at, const double *par, const double *jac, size_t n,
                            size_t i, double inverse);

/* Change of the coordinate of a condition by an error of d K. */
double sa_temperature_shift(double coordinate, double ref_k, double d);

/* sa_model_hardness() where `furnaces` is NULL; else with `out` (n + count) and `jac` (n + count by
 * n_par + count) of both. */
int sa_joint_hardness(sa_model_kind kind, const sa_clock *clock, const sa_furnaces *furnaces,
                      const double *par, double *out, double *jac);

#endif
