/* Softening models.
 *
 *   H = X H_soft + (1 - X) H_u         rule of mixtures on a scale linear in strength
 *   X = 1 - exp(-max(theta - theta0, 0)^n)      see kinetics.c
 *     (or another shape of the register, parts.c)
 *   H_u = max(H_worked - A ln(1 + theta_r) + B (1 - exp(-theta_h)), H_soft), the processes of
 *     parts.c; without a process that lowers it no maximum is taken
 *   theta = k t, ln k = ln k_ref + Q e;  theta_r and theta_h likewise, each with its own rate
 *   and energy
 *
 * with e = -(1/T - 1/T_ref)/R in mol/kJ. With strain (cold reductions of different amount)
 * ln k gains k_strain ln(strain/ref) and H_worked becomes H_worked (strain/ref)^h_strain, a
 * power law of hardening (Hollomon 1945); H_soft is common, or follows such a power too. With grain growth H_soft becomes
 * H_soft - F (1 - (1 + theta_g)^(-1/(2 m))), see parts.c.
 *
 * All derivatives are analytic. At t = 0 the logarithm of time is -Inf and every term vanishes
 * exactly. Exponents are guarded where they would give Inf * 0: exp(-y) is 0 beyond y = 745
 * (least double). */
#include "model.h"
#include <math.h>
#include <string.h>

#define POLL_CONDITIONS 65536 /* some 10 ms of work */

/* y = (theta - theta0)^n, untransformed share S(y), and -dS/d(ln k, n, theta0). */
typedef struct {
    double y, share, ln_k, n, theta0;
} transformation;

static transformation transform(const sa_model_layout *at, double ln_theta, double n, double theta0)
{
    transformation t = {0.0, 1.0, 0.0, 0.0, 0.0};
    double ln_excess = ln_theta, lever = 1.0, theta = 0.0;
    const int incubation = at->theta0 >= 0;
    if (incubation) {
        theta = exp(ln_theta);
        double excess = theta - theta0;
        if (!(excess > 0.0))
            return t;
        if (isfinite(excess)) {
            ln_excess = log(excess);
            lever = theta / excess; /* d ln(excess) / d ln theta */
        }
    }
    double sy;
    t.y = exp(n * ln_excess);
    if (t.y == 0.0)
        return t;
    t.share = sa_shape_share(at->shape, t.y, &sy);
    if (t.share == 0.0)
        return t;
    t.ln_k = sy * n * lever;
    t.n = sy * ln_excess;
    if (incubation)
        t.theta0 = -sy * n * lever / theta;
    return t;
}

static double delay_of(const sa_model_layout *at, const double *par)
{
    return at->theta0 >= 0 ? par[at->theta0] : 0.0;
}

double sa_model_fraction(sa_model_kind kind, double ln_theta, const double *par)
{
    const sa_model_layout at = sa_model_parameters(kind);
    return sa_shape_fraction(at.shape,
                             transform(&at, ln_theta, par[SA_P_N], delay_of(&at, par)).y);
}

int sa_model_hardness(sa_model_kind kind, const sa_clock *clock, const double *par, double *out,
                      double *jac)
{
    const sa_model_layout at = sa_model_parameters(kind);
    const size_t m = clock->n;
    const double theta0 = delay_of(&at, par);
    const double *strain = at.k_strain >= 0 ? clock->strain : NULL;
    const int *exponent = at.exponents > 1 ? clock->exponent : NULL;
    int bad = 0;

    sa_clock_set(clock, SA_RECRYSTALLISATION, par[SA_P_Q]);
    for (size_t k = 0; k < at.processes; k++)
        sa_clock_set(clock, at.process[k], par[at.place[k] + 2]);
    /* columns without a place in the loop below */
    if (jac && at.k_strain >= 0 && !strain)
        memset(jac + (size_t)at.k_strain * m, 0, (at.soft_strain >= 0 ? 3 : 2) * m * sizeof(double));
    if (jac && at.exponents > 1 && !exponent)
        memset(jac + (size_t)at.exponent * m, 0, (at.exponents - 1) * m * sizeof(double));
    for (size_t i = 0; i < m; i++) {
        if (i % POLL_CONDITIONS == POLL_CONDITIONS - 1 && clock->poll &&
            clock->poll(clock->poll_context))
            return 1;
        double slope, lever[SA_PROCESSES - 1], done[SA_PROCESSES - 1], speed[SA_PROCESSES - 1];
        double ln_theta =
            par[SA_P_LN_K] + sa_clock_read(clock, i, SA_RECRYSTALLISATION, par[SA_P_Q], &slope);
        double unrec = par[SA_P_WORKED], soft = par[SA_P_SOFT], lift = 1.0, n = par[SA_P_N];
        double soft_lift = 1.0;
        if (strain) {
            lift = exp(par[at.h_strain] * strain[i]);
            unrec *= lift;
            ln_theta += par[at.k_strain] * strain[i];
            if (at.soft_strain >= 0) {
                soft_lift = exp(par[at.soft_strain] * strain[i]);
                soft *= soft_lift;
            }
        }
        if (exponent && exponent[i] > 0)
            n = par[at.exponent + exponent[i] - 1];
        for (size_t k = 0; k < at.processes; k++) {
            const sa_process *p = &sa_processes[at.process[k]];
            const double *b = par + at.place[k];
            double v = b[1] + sa_clock_read(clock, i, at.process[k], b[2], &lever[k]);
            done[k] = sa_process_value(at.process[k], v, at.power, &speed[k]);
            if (p->of_soft)
                soft += p->sign * b[0] * done[k];
            else
                unrec += p->sign * b[0] * done[k];
        }
        const int clamped = at.falls && unrec < soft;
        if (clamped)
            unrec = soft;
        transformation t = transform(&at, ln_theta, n, theta0);
        out[i] = soft + (unrec - soft) * t.share;
        bad |= !isfinite(out[i]);
        if (!jac)
            continue;
        double drop = soft - unrec; /* d hardness / d y = drop * share */
        double share = clamped ? 0.0 : t.share;
        jac[i] = share;
        jac[i + m] = (1.0 - share) * soft_lift;
        jac[i + 2 * m] = drop * t.ln_k;
        jac[i + 3 * m] = drop * t.n;
        jac[i + 4 * m] = drop * t.ln_k * slope;
        for (size_t k = 0; k < at.processes; k++) {
            const sa_process *p = &sa_processes[at.process[k]];
            const double part = p->sign * (p->of_soft ? 1.0 - share : share);
            const double rate = part * par[at.place[k]] * speed[k];
            double *column = jac + i + (size_t)at.place[k] * m;
            column[0] = part * done[k];
            column[m] = rate;
            column[2 * m] = rate * lever[k];
        }
        if (at.theta0 >= 0)
            jac[i + (size_t)at.theta0 * m] = drop * t.theta0;
        if (strain) {
            jac[i] = share * lift;
            jac[i + (size_t)at.k_strain * m] = drop * t.ln_k * strain[i];
            jac[i + (size_t)at.h_strain * m] = share * par[SA_P_WORKED] * lift * strain[i];
            if (at.soft_strain >= 0)
                jac[i + (size_t)at.soft_strain * m] =
                    (1.0 - share) * par[SA_P_SOFT] * soft_lift * strain[i];
        }
        for (size_t j = 1; exponent && j < at.exponents; j++)
            jac[i + ((size_t)at.exponent + j - 1) * m] =
                (size_t)exponent[i] == j ? drop * t.n : 0.0;
        if (exponent && exponent[i] > 0)
            jac[i + 3 * m] = 0.0;
    }
    return bad;
}

sa_model_state sa_model_at(sa_model_kind kind, double log_time, double coordinate,
                           const double *par)
{
    const sa_model_layout at = sa_model_parameters(kind);
    sa_model_state s;
    double soft = par[SA_P_SOFT], unrec = par[SA_P_WORKED], soft_slope = 0.0, unrec_slope = 0.0;
    for (size_t k = 0; k < at.processes; k++) {
        const sa_process *p = &sa_processes[at.process[k]];
        const double *b = par + at.place[k], amplitude = p->sign * b[0];
        double speed, done = sa_process_value(at.process[k], b[1] + log_time + b[2] * coordinate, at.power, &speed);
        *(p->of_soft ? &soft : &unrec) += amplitude * done;
        *(p->of_soft ? &soft_slope : &unrec_slope) += amplitude * speed;
    }
    if (at.falls && unrec < soft) {
        unrec = soft;
        unrec_slope = soft_slope;
    }
    transformation t = transform(&at, par[SA_P_LN_K] + log_time + par[SA_P_Q] * coordinate,
                                 par[SA_P_N], delay_of(&at, par));
    s.fraction = 1.0 - t.share;
    s.unrecrystallised = unrec;
    s.recrystallised = soft;
    s.hardness = soft + (unrec - soft) * t.share;
    s.slope_ln_time = (soft - unrec) * t.ln_k + t.share * unrec_slope + (1.0 - t.share) * soft_slope;
    return s;
}

/* Value the search brings to zero, above it first and below it last, and its slope in ln t. */
static double distance(sa_model_kind kind, double ln_time, double coordinate, double target,
                       sa_target_kind what, const double *par)
{
    sa_model_state s = sa_model_at(kind, ln_time, coordinate, par);
    return what == SA_TO_FRACTION ? target - s.fraction : s.hardness - target;
}

int sa_model_time_to(sa_model_kind kind, double coordinate, double target, sa_target_kind what,
                     const double *par, double *ln_time, double *gradient)
{
    const sa_model_layout at = sa_model_parameters(kind);
    double aim = target;
    if (what == SA_TO_SOFTENING)
        aim = par[SA_P_WORKED] + target * (par[SA_P_SOFT] - par[SA_P_WORKED]);
    const int fraction = what == SA_TO_FRACTION;
    /* a property that rises passes its target from below */
    const double side = !fraction && par[SA_P_SOFT] > par[SA_P_WORKED] ? -1.0 : 1.0;
    /* a bracket in ln t around the clock of recrystallisation, wide enough for any rate */
    double centre = -par[SA_P_LN_K] - par[SA_P_Q] * coordinate, low = centre - 60.0;
    double high = centre + sa_shape_reach(at.shape, par[SA_P_N]);
    for (size_t k = 0; k < at.processes; k++) {
        const double *b = par + at.place[k], own = -b[1] - b[2] * coordinate;
        if (sa_processes[at.process[k]].of_soft) /* until all but 1e-3 is done: 1000^(2 m) */
            high = fmax(high, own - 6.9 / at.power);
        else
            low = fmin(low, own - 40.0);
    }
    /* a curve that rises first may start below the target: then from its top, the last of a
     * row of points above the target */
    if (at.rises && isfinite(low) && isfinite(high) && !fraction &&
        !(side * distance(kind, low, coordinate, aim, what, par) > 0.0)) {
        const double begin = low, width = (high - low) / 2000.0;
        for (int k = 1; k < 2000; k++)
            if (side * distance(kind, begin + k * width, coordinate, aim, what, par) > 0.0)
                low = begin + k * width;
    }
    if (!isfinite(low) || !isfinite(high) ||
        !(side * distance(kind, low, coordinate, aim, what, par) > 0.0) ||
        !(side * distance(kind, high, coordinate, aim, what, par) < 0.0))
        return 0;
    for (int k = 0; k < 200 && high - low > 1e-14 * fmax(1.0, fabs(low)); k++) {
        double mid = 0.5 * (low + high);
        if (side * distance(kind, mid, coordinate, aim, what, par) > 0.0)
            low = mid;
        else
            high = mid;
    }
    *ln_time = 0.5 * (low + high);
    /* implicit function: d ln t / d b = -(dF/db) / (dF/d ln t) */
    if (fraction) {
        double ln_theta = par[SA_P_LN_K] + *ln_time + par[SA_P_Q] * coordinate;
        transformation t = transform(&at, ln_theta, par[SA_P_N], delay_of(&at, par));
        for (size_t j = 0; j < at.n_par; j++)
            gradient[j] = 0.0;
        gradient[SA_P_LN_K] = -1.0;
        gradient[SA_P_Q] = -coordinate;
        gradient[SA_P_N] = -t.n / t.ln_k;
        if (at.theta0 >= 0)
            gradient[at.theta0] = -t.theta0 / t.ln_k;
        return isfinite(gradient[SA_P_N]);
    }
    double hardness, log_time = *ln_time;
    sa_clock one = {.n = 1, .coordinate = &coordinate, .log_time = &log_time};
    sa_model_state s = sa_model_at(kind, log_time, coordinate, par);
    if (sa_model_hardness(kind, &one, par, &hardness, gradient) || !(side * s.slope_ln_time < 0.0))
        return 0;
    if (what == SA_TO_SOFTENING) {
        gradient[SA_P_WORKED] -= 1.0 - target;
        gradient[SA_P_SOFT] -= target;
    }
    for (size_t j = 0; j < at.n_par; j++)
        gradient[j] /= -s.slope_ln_time;
    return 1;
}
