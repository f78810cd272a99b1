/* Rate laws of annealing, element by element. See kinetics.c for the formulas. */
#ifndef SA_KINETICS_H
#define SA_KINETICS_H

#include "status.h"
#include <stddef.h>

/* Inverse-temperature coordinate in mol/kJ: -(1/T - 1/T_ref)/R, so that
 * ln k = ln k_ref + q_kj_mol * coordinate. */
double sa_inverse_temperature(double temp_k, double ref_k);

/* Where k stands: exp(-(k t)^n), or exp(-k t^n). */
typedef enum { SA_FORM_RATE = 0, SA_FORM_CONSTANT } sa_jmak_form;

double sa_jmak_fraction(double time, double k, double n, double theta0, sa_jmak_form form);
double sa_jmak_time(double fraction, double k, double n, double theta0, sa_jmak_form form);

#endif
