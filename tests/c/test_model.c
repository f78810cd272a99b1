/* Kinetics and softening models without R: limits, derivatives by differences, and the inverse. */
#include "check.h"
#include "kinetics.h"
#include "model.h"
#include <string.h>

#define N 6

int main(void)
{
    /* limits of the rate law */
    check(sa_jmak_fraction(0, 1, 2, 0, SA_FORM_RATE) == 0, "nothing at time zero");
    check(near(sa_jmak_fraction(1, 1, 2, 0, SA_FORM_RATE), 1 - exp(-1), 1e-15), "1 - 1/e");
    check(sa_jmak_fraction(1e300, 1e300, 8, 0, SA_FORM_RATE) == 1, "no overflow");
    check(near(sa_jmak_fraction(1e-200, 1e50, 1, 0, SA_FORM_RATE) * 1e150, 1, 1e-12), "tiny");
    check(sa_jmak_fraction(1, 0.5, 2, 0.6, SA_FORM_RATE) == 0, "still in the incubation");
    double t = sa_jmak_time(0.3, 0.02, 1.7, 0.4, SA_FORM_RATE);
    check(near(sa_jmak_fraction(t, 0.02, 1.7, 0.4, SA_FORM_RATE), 0.3, 1e-14), "inverse");
    check(sa_inverse_temperature(600, 600) == 0, "coordinate at the reference");

    /* derivatives of every model */
    const double e[N] = {-0.01, -0.01, 0.0, 0.0, 0.012, 0.012};
    const double log_time[N] = {-INFINITY, 2.0, 0.5, 3.0, 1.0, 4.0};
    const sa_clock clock = {N, e, log_time, NULL, NULL};
    const double base[SA_MODEL_MAX_PAR] = {160, 80, -2, 1.6, 140, 6, -1, 110, 0.2};
    for (int kind = SA_JMAK; kind <= SA_RECOVERY_JMAK_INCUBATION; kind++) {
        sa_model_layout at = sa_model_parameters((sa_model_kind)kind);
        double par[SA_MODEL_MAX_PAR], h[N], jac[N * SA_MODEL_MAX_PAR], up[N], down[N];
        memcpy(par, base, sizeof par);
        if (at.theta0 >= 0)
            par[at.theta0] = 0.2;
        check(sa_model_hardness((sa_model_kind)kind, &clock, par, h, jac) == 0, "finite");
        check(h[0] == 160, "hardness at time zero");
        for (size_t j = 0; j < at.n_par; j++) {
            double step = 1e-6 * fmax(1, fabs(par[j])), keep = par[j];
            par[j] = keep + step;
            sa_model_hardness((sa_model_kind)kind, &clock, par, up, NULL);
            par[j] = keep - step;
            sa_model_hardness((sa_model_kind)kind, &clock, par, down, NULL);
            par[j] = keep;
            for (size_t i = 0; i < N; i++)
                check(near(jac[i + j * N], (up[i] - down[i]) / (2 * step), 2e-6), "derivative");
        }
        double ln_time, gradient[SA_MODEL_MAX_PAR];
        check(sa_model_time_to((sa_model_kind)kind, 0.005, 120, SA_TO_HARDNESS, par, &ln_time,
                               gradient), "reached");
        sa_model_state s = sa_model_at((sa_model_kind)kind, ln_time, 0.005, par);
        check(near(s.hardness, 120, 1e-10), "inverse of the curve");
        check(!sa_model_time_to((sa_model_kind)kind, 0.005, 70, SA_TO_HARDNESS, par, &ln_time,
                                gradient), "below the soft plateau: never");
        check(!sa_model_time_to((sa_model_kind)kind, 0.005, 170, SA_TO_HARDNESS, par, &ln_time,
                                gradient), "above the start: never");
    }

    /* nothing breaks at the ends of the exponent */
    const double far_time[2] = {-700, 700};
    const double zero[2] = {0, 0};
    const sa_clock far_clock = {2, zero, far_time, NULL, NULL};
    double par[SA_MODEL_MAX_PAR], h[2], jac[2 * SA_MODEL_MAX_PAR];
    memcpy(par, base, sizeof par);
    check(sa_model_hardness(SA_RECOVERY_JMAK_INCUBATION, &far_clock, par, h, jac) == 0, "far: finite");
    int finite = 1;
    const size_t count = 2 * sa_model_parameters(SA_RECOVERY_JMAK_INCUBATION).n_par;
    for (size_t i = 0; i < count; i++)
        finite &= isfinite(jac[i]) != 0;
    check(finite && near(h[0], 160, 1e-12) && near(h[1], 80, 1e-12), "far: values and slopes");
    return report();
}
