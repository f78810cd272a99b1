/* Temperature of a thin piece of metal among warmer or colder surroundings: lumped
 * capacitance with convection (or contact) and radiation on two groups of faces. */
#ifndef SA_HEAT_H
#define SA_HEAT_H

#include "status.h"
#include <stddef.h>

/* Stefan-Boltzmann constant, W/(m2 K4): exact since the 2019 revision of the SI
 * (CODATA 2018). Twin: STEFAN_BOLTZMANN in R/heat.R. */
#define SA_STEFAN_BOLTZMANN 5.670374419e-8

/* One piece. Faces are in two groups, a and b, each with its own coefficient, emissivity
 * and surroundings: both alike in a furnace, block and room for a piece lying on a block. */
typedef struct {
    double area_a, area_b;             /* face area per volume, 1/m */
    double h_a, h_b;                   /* convection or contact coefficient, W/(m2 K) */
    double emissivity_a, emissivity_b; /* 0 to 1 */
    double density;                    /* kg/m3 */
    double heat;                       /* specific heat at heat_k, J/(kg K) */
    double heat_slope;                 /* its change with temperature, J/(kg K2) */
    double heat_k;                     /* K */
} sa_piece;

/* Surroundings: knots in rising time (s) with temperatures (K) of both groups; linear
 * between knots, constant before the first and after the last. count >= 1. */
typedef struct {
    const double *time, *temp_a, *temp_b;
    size_t count;
} sa_surroundings;

/* What is asked. Times in s from 0, temperatures in K. With end = INFINITY the run ends
 * once the piece is within the band after the last knot, or no longer changes. */
typedef struct {
    double start, end;
    double target, within;  /* band target - within .. target + within */
    const double *out_time; /* rising, from 0; those beyond the end of the run stay NAN */
    size_t out_count;
    sa_poll poll; /* asked along many steps; NULL: not */
    void *poll_context;
} sa_heat_request;

typedef struct {
    double *out_temp;   /* out_count values */
    double time_within; /* s after which the piece stays within the band; NAN: not reached */
    double end_time, end_temp;
} sa_heat_answer;

/* Rate of change of the temperature (K/s) of the piece at temp among surroundings a and b. */
double sa_heat_rate(const sa_piece *piece, double temp, double around_a, double around_b);

sa_status sa_heat_run(const sa_piece *piece, const sa_surroundings *around,
                      const sa_heat_request *request, sa_heat_answer *answer);

#endif
