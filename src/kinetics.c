/* Rate laws of annealing.
 *
 * Recrystallised fraction X = 1 - exp(-(theta - theta0)^n), theta = k t at constant
 * temperature: Kolmogorov (1937), Johnson and Mehl (1939), Avrami (1939, J. Chem. Phys. 7,
 * 1103). Books differ in where k stands: (k t)^n here ("rate"), k t^n there ("constant").
 * Rate k = k_ref exp(-(Q/R)(1/T - 1/T_ref)) after Arrhenius (1889).
 * Time and k in any one unit and its inverse; temperature in K; energies in kJ/mol. */
#include "kinetics.h"
#include <math.h>

double sa_inverse_temperature(double temp_k, double ref_k)
{
    return -1000.0 * (1.0 / temp_k - 1.0 / ref_k) / SA_GAS_CONSTANT;
}

double sa_jmak_fraction(double time, double k, double n, double theta0, sa_jmak_form form)
{
    double power;
    if (form == SA_FORM_CONSTANT) {
        power = time > 0.0 ? exp(log(k) + n * log(time)) : 0.0;
    } else {
        double theta = k * time - theta0;
        power = theta > 0.0 ? pow(theta, n) : 0.0;
    }
    return -expm1(-power); /* exact for small fractions as well */
}

double sa_jmak_time(double fraction, double k, double n, double theta0, sa_jmak_form form)
{
    double power = -log1p(-fraction);
    if (form == SA_FORM_CONSTANT)
        return power > 0.0 ? exp((log(power) - log(k)) / n) : 0.0;
    return (pow(power, 1.0 / n) + theta0) / k;
}
