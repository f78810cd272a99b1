/* Kinetics and softening models without R: limits, derivatives by differences, and the inverse. */
#include "check.h"
#include "answers.h"
#include "furnaces.h"
#include "kinetics.h"
#include "model.h"
#include <string.h>

#define N 6

/* Derivatives in `jac` against central differences of the hardness. */
static void check_slopes(sa_model_kind kind, const sa_clock *clock, double *par, const double *jac,
                         const char *what)
{
    double up[N], down[N];
    for (size_t j = 0; j < sa_model_parameters(kind).n_par; j++) {
        const double step = 1e-6 * fmax(1, fabs(par[j])), keep = par[j];
        par[j] = keep + step;
        sa_model_hardness(kind, clock, par, up, NULL);
        par[j] = keep - step;
        sa_model_hardness(kind, clock, par, down, NULL);
        par[j] = keep;
        for (size_t i = 0; i < N; i++)
            check(near(jac[i + j * N], (up[i] - down[i]) / (2 * step), 2e-6), what);
    }
}

/* Furnaces that are off: hardness is that at the true temperature as long as the energy stays below 60 RT,
 * an error counts in proportion beyond, and slopes are those of differences. */
static void check_furnaces(double energy)
{
    const double ref_k = 603.15, temp_k[N] = {563.15, 563.15, 603.15, 603.15, 643.15, 643.15};
    const double log_time[N] = {-INFINITY, 3.0, 1.0, 2.5, 0.5, 1.5};
    const int of[N] = {-1, 0, 1, 1, 2, -1};
    const double scale[N] = {1, 2, 1.5, 1.5, 1, 1};
    double e[N], moved_e[N], shift[N], room[N * SA_MODEL_MAX_PAR], out[N + 3], plain[N];
    double par[SA_MODEL_MAX_PAR] = {160, 80, -2, 1.6, energy, 6, -1, 60};
    const sa_model_kind kind = SA_RECOVERY_JMAK;
    const size_t p = sa_model_parameters(kind).n_par, rows = N + 3;
    double jac[(N + 3) * (SA_MODEL_MAX_PAR + 3)], up[N + 3], down[N + 3];
    double *error = par + p;
    error[0] = 1.2;
    error[1] = -2.0;
    error[2] = 0.7;
    for (size_t i = 0; i < N; i++) {
        const double most = 60 * SA_GAS_CONSTANT / 1000 * temp_k[i];
        const double full = of[i] < 0 ? 0 : scale[i] * error[of[i]];
        e[i] = sa_inverse_temperature(temp_k[i], ref_k);
        moved_e[i] = e[i] + (energy > most ? most / energy : 1) *
                                (sa_inverse_temperature(temp_k[i] + full, ref_k) - e[i]);
    }
    const sa_clock clock = {.n = N, .coordinate = e, .log_time = log_time};
    const sa_clock moved = {.n = N, .coordinate = moved_e, .log_time = log_time};
    const sa_furnaces f = {.count = 3, .of = of, .scale = scale, .ref_k = ref_k, .shift = shift, .jac = room};
    check(!sa_joint_hardness(kind, &clock, &f, par, out, jac), "joint: finite");
    sa_model_hardness(kind, &moved, par, plain, NULL);
    for (size_t i = 0; i < N; i++)
        check(near(out[i], plain[i], 1e-9), "joint: hardness at the true temperature");
    for (size_t k = 0; k < 3; k++)
        check(out[N + k] == error[k], "joint: errors drawn towards zero");
    for (size_t j = 0; j < p + 3; j++) {
        const double step = 1e-5 * fmax(1, fabs(par[j])), keep = par[j];
        par[j] = keep + step;
        sa_joint_hardness(kind, &clock, &f, par, up, NULL);
        par[j] = keep - step;
        sa_joint_hardness(kind, &clock, &f, par, down, NULL);
        par[j] = keep;
        for (size_t i = 0; i < rows; i++)
            check(near(jac[i + j * rows], (up[i] - down[i]) / (2 * step), 2e-6), "joint: derivative");
    }
}

int main(void)
{
    check_furnaces(140);
    check_furnaces(420);
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
    const sa_clock clock = {.n = N, .coordinate = e, .log_time = log_time};
    const double base[SA_MODEL_MAX_PAR] = {160, 80, -2, 1.6, 140, 6, -1, 110, 0.2};
    for (int kind = SA_JMAK; kind < SA_MODELS; kind++) {
        sa_model_layout at = sa_model_parameters((sa_model_kind)kind);
        double par[SA_MODEL_MAX_PAR], h[N], jac[N * SA_MODEL_MAX_PAR];
        memcpy(par, base, sizeof par);
        if (at.theta0 >= 0)
            par[at.theta0] = 0.2;
        check(sa_model_hardness((sa_model_kind)kind, &clock, par, h, jac) == 0, "finite");
        check(h[0] == 160, "hardness at time zero");
        check_slopes((sa_model_kind)kind, &clock, par, jac, "derivative");
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

    /* strain and exponents of their own: derivatives, and a group against its own parameters */
    const double strain[N] = {-0.4, -0.4, 0.0, 0.3, 0.3, -0.4};
    const int exponent[N] = {0, 1, 2, 0, 2, 1};
    for (int base_kind = SA_JMAK; base_kind < SA_MODELS; base_kind++) {
        const sa_model_kind which =
            (sa_model_kind)(base_kind + SA_WITH_STRAIN + 2 * SA_ONE_EXPONENT);
        const sa_model_layout at = sa_model_parameters(which);
        const sa_clock grouped = {.n = N, .coordinate = e, .log_time = log_time,
                                  .strain = strain, .exponent = exponent};
        double par[SA_MODEL_MAX_PAR] = {160, 80, -2, 1.6, 140, 1.7, 0.2, 1.2, 2.1, 6, -1, 110, 5, -2,
                                        60};
        double h[N], jac[N * SA_MODEL_MAX_PAR], own[SA_BASE_PAR], alone;
        check((int)sa_model_base(which) == base_kind && at.exponents == 3, "code of the model");
        if (at.theta0 >= 0)
            par[at.theta0] = 0.2;
        check(sa_model_hardness(which, &grouped, par, h, jac) == 0, "grouped: finite");
        check_slopes(which, &grouped, par, jac, "grouped slope");
        for (size_t i = 0; i < N; i++) {
            const sa_group group = {strain[i], exponent[i]};
            const sa_clock one = {.n = 1, .coordinate = &e[i], .log_time = &log_time[i]};
            double slope[SA_BASE_PAR], all[SA_MODEL_MAX_PAR];
            sa_model_of_group(which, group, par, own);
            sa_model_hardness((sa_model_kind)base_kind, &one, own, &alone, slope);
            sa_model_chain(which, group, par, slope, all);
            check(near(alone, h[i], 1e-13), "a group has its own parameters");
            for (size_t j = 0; j < at.n_par; j++)
                check(near(all[j], jac[i + j * N], 1e-12), "chain rule");
        }
        /* a rate that meets a target, and its slopes */
        const sa_target_kind kinds[3] = {SA_TO_HARDNESS, SA_TO_SOFTENING, SA_TO_FRACTION};
        const double aims[3] = {120, 0.6, 0.7};
        for (int k = 0; k < 3; k++) {
            sa_meeting meet = {kinds[k], aims[k], 0.004, 2.5, {0.25, 2}, 0};
            double ln_k, above, below, gradient[SA_MODEL_MAX_PAR], other[SA_MODEL_MAX_PAR];
            check(sa_meeting_rate(which, &meet, par, &ln_k, gradient), "meets");
            double at_rate[SA_MODEL_MAX_PAR], ln_time, unused[SA_MODEL_MAX_PAR];
            memcpy(at_rate, par, sizeof par);
            at_rate[SA_P_LN_K] = ln_k;
            sa_model_of_group(which, meet.group, at_rate, own);
            check(sa_model_time_to((sa_model_kind)base_kind, 0.004, aims[k], kinds[k], own, &ln_time,
                                   unused) && near(ln_time, 2.5, 1e-10), "meets at that time");
            for (size_t j = 0; j < at.n_par; j++) {
                double step = 1e-6 * fmax(1, fabs(par[j])), keep = par[j];
                par[j] = keep + step;
                sa_meeting_rate(which, &meet, par, &above, other);
                par[j] = keep - step;
                sa_meeting_rate(which, &meet, par, &below, other);
                par[j] = keep;
                check(near(gradient[j], (above - below) / (2 * step), 2e-6), "slope of the rate");
            }
        }
    }

    /* grain growth: derivatives with everything on, slopes in time, and the law of Hall and Petch */
    for (int base_kind = SA_JMAK; base_kind < SA_MODELS; base_kind++) {
        for (int m = 2; m <= 4; m++) {
            const sa_model_kind own_kind = (sa_model_kind)(base_kind + (m - 1) * SA_WITH_GROWTH);
            const sa_model_kind which = (sa_model_kind)(own_kind + SA_WITH_STRAIN + SA_ONE_EXPONENT);
            const sa_model_layout at = sa_model_parameters(which);
            const int first[N] = {0, 1, 1, 0, 1, 0};
            const sa_clock grouped = {.n = N, .coordinate = e, .log_time = log_time,
                                      .strain = strain, .exponent = first};
            double par[SA_MODEL_MAX_PAR] = {160, 80, -2, 1.6, 140, 1.7, 0.2, 1.2, 6, -1, 110, 5, -2, 60};
            double h[N], jac[N * SA_MODEL_MAX_PAR], own[SA_BASE_PAR];
            check(sa_model_base(which) == own_kind && (int)sa_model_core(which) == base_kind,
                  "code with growth");
            double *growth = par + at.place[at.processes - 1];
            check(at.process[at.processes - 1] == SA_GROWTH, "growth stands last");
            growth[0] = 35;
            growth[1] = -1.5;
            growth[2] = 170;
            if (at.theta0 >= 0)
                par[at.theta0] = 0.2;
            check(sa_model_hardness(which, &grouped, par, h, jac) == 0, "growth: finite");
            check_slopes(which, &grouped, par, jac, "growth slope");
            sa_model_of_group(which, (sa_group){0.0, 0}, par, own);
            for (double v = -1; v < 12; v += 0.7) {
                sa_model_state s = sa_model_at(own_kind, v, 0.004, own);
                double slope = (sa_model_at(own_kind, v + 1e-5, 0.004, own).hardness -
                                sa_model_at(own_kind, v - 1e-5, 0.004, own).hardness) / 2e-5;
                check(near(s.slope_ln_time, slope, 1e-6), "slope in time with growth");
            }
            /* d from d^m = d0^m + K t, then H = H_i + k d^(-1/2), with d0 = 1 */
            double d = pow(1 + exp(-1.5 + 170 * 0.004 + 5), 1.0 / m);
            check(near(sa_model_at(own_kind, 5, 0.004, own).recrystallised, 45 + 35 / sqrt(d), 1e-13),
                  "Hall-Petch");
            double ln_time, gradient[SA_MODEL_MAX_PAR];
            check(sa_model_time_to(own_kind, 0.004, 60, SA_TO_HARDNESS, own, &ln_time, gradient) &&
                      near(sa_model_at(own_kind, ln_time, 0.004, own).hardness, 60, 1e-9),
                  "a hardness of grown grains");
            check(!sa_model_time_to(own_kind, 0.004, 44, SA_TO_HARDNESS, own, &ln_time, gradient),
                  "softer than a single grain: never");
        }
    }

    /* nothing breaks at the ends of the exponent */
    const double far_time[2] = {-700, 700};
    const double zero[2] = {0, 0};
    const sa_clock far_clock = {.n = 2, .coordinate = zero, .log_time = far_time};
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
