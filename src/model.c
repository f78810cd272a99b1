/* Softening models.
 *
 *   H = X H_soft + (1 - X) H_u         rule of mixtures on a scale linear in strength
 *   X = 1 - exp(-max(theta - theta0, 0)^n)      see kinetics.c
 *   H_u = max(H_worked - A ln(1 + theta_r) + B (1 - exp(-theta_h)), H_soft)
 *     A: logarithmic recovery (Kuhlmann 1948; form in Humphreys and Hatherly,
 *        Recrystallization and Related Annealing Phenomena)
 *     B: hardening of cold-worked alpha brass by annealing below recrystallisation, ascribed to
 *        short-range order and solute at dislocations; own choice of first-order kinetics
 *   theta = k t, ln k = ln k_ref + Q e;  theta_r and theta_h likewise, each with its own rate
 *   and energy
 *
 * with e = -(1/T - 1/T_ref)/R in mol/kJ. With strain (cold reductions of different amount)
 * ln k gains k_strain ln(strain/ref) and H_worked becomes H_worked (strain/ref)^h_strain, a
 * power law of hardening (Hollomon 1945); H_soft is common. With grain growth H_soft becomes
 * H_soft - F (1 - (1 + theta_g)^(-1/(2 m))): Hall-Petch, H = H_i + k d^(-1/2), of grains that
 * grow as d^m = d_0^m + integral of K_g dt (Burke and Turnbull 1952), with F = H_soft - H_i and
 * theta_g = integral of K_g / d_0^m dt from the start of the anneal.
 *
 * All derivatives are analytic. At t = 0 the logarithm of time is -Inf and every term vanishes
 * exactly. Exponents are guarded where they would give Inf * 0: exp(-y) is 0 beyond y = 745
 * (least double). */
#include "model.h"
#include <math.h>
#include <string.h>

#define POLL_CONDITIONS 65536 /* some 10 ms of work */

/* y = (theta - theta0)^n, untransformed share S = exp(-y), and S dy/d(ln k, n, theta0). */
typedef struct {
    double y, share, ln_k, n, theta0;
} transformation;

static transformation transform(double ln_theta, double n, double theta0, int incubation)
{
    transformation t = {0.0, 1.0, 0.0, 0.0, 0.0};
    double ln_excess = ln_theta, lever = 1.0, theta = 0.0;
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
    double y = exp(n * ln_excess);
    t.y = y;
    if (y > 745.0) {
        t.share = 0.0;
        return t;
    }
    if (y == 0.0)
        return t;
    t.share = exp(-y);
    double sy = t.share * y;
    t.ln_k = sy * n * lever;
    t.n = sy * ln_excess;
    if (incubation)
        t.theta0 = -sy * n * lever / theta;
    return t;
}

/* 1 - exp(-theta) at ln theta = v, and its derivative theta exp(-theta). */
static double saturation(double v, double *slope)
{
    double theta = exp(v);
    *slope = theta > 745.0 ? 0.0 : theta * exp(-theta);
    return -expm1(-theta);
}

/* ln(1 + exp(v)) and its derivative without overflow. */
static double soft_log(double v, double *slope)
{
    if (v > 0.0) {
        double z = exp(-v);
        *slope = 1.0 / (1.0 + z);
        return v + log1p(z);
    }
    double z = exp(v);
    *slope = z / (1.0 + z);
    return log1p(z);
}

/* 1 - (1 + exp(v))^power, and its derivative in v. */
static double softening_by_growth(double v, double power, double *slope)
{
    double logistic, log_growth = soft_log(v, &logistic);
    *slope = -power * logistic * exp(power * log_growth);
    return -expm1(power * log_growth);
}

double sa_model_fraction(sa_model_kind kind, double ln_theta, const double *par)
{
    const sa_model_layout at = sa_model_parameters(kind);
    const double theta0 = at.theta0 >= 0 ? par[at.theta0] : 0.0;
    /* not 1 - share: small fractions keep their digits */
    return -expm1(-transform(ln_theta, par[SA_P_N], theta0, at.theta0 >= 0).y);
}

int sa_model_hardness(sa_model_kind kind, const sa_clock *clock, const double *par, double *out,
                      double *jac)
{
    const sa_model_layout at = sa_model_parameters(kind);
    const size_t m = clock->n;
    const double theta0 = at.theta0 >= 0 ? par[at.theta0] : 0.0;
    const double *strain = at.k_strain >= 0 ? clock->strain : NULL;
    const int *exponent = at.exponents > 1 ? clock->exponent : NULL;
    int bad = 0;

    sa_clock_set(clock, SA_RECRYSTALLISATION, par[SA_P_Q]);
    if (at.loss >= 0)
        sa_clock_set(clock, SA_RECOVERY, par[at.q_rec]);
    if (at.gain >= 0)
        sa_clock_set(clock, SA_HARDENING, par[at.q_hard]);
    if (at.fall >= 0)
        sa_clock_set(clock, SA_GROWTH, par[at.q_grow]);
    /* columns without a place in the loop below */
    if (jac && at.k_strain >= 0 && !strain)
        memset(jac + (size_t)at.k_strain * m, 0, 2 * m * sizeof(double));
    if (jac && at.exponents > 1 && !exponent)
        memset(jac + (size_t)at.exponent * m, 0, (at.exponents - 1) * m * sizeof(double));
    for (size_t i = 0; i < m; i++) {
        if (i % POLL_CONDITIONS == POLL_CONDITIONS - 1 && clock->poll &&
            clock->poll(clock->poll_context))
            return 1;
        double slope, slope_rec = 0.0, logistic = 0.0, recovery = 0.0;
        double slope_hard = 0.0, speed = 0.0, hardening = 0.0;
        double slope_grow = 0.0, rate_grow = 0.0, grown = 0.0, soft = par[SA_P_SOFT];
        double ln_theta =
            par[SA_P_LN_K] + sa_clock_read(clock, i, SA_RECRYSTALLISATION, par[SA_P_Q], &slope);
        double unrec = par[SA_P_WORKED], lift = 1.0, n = par[SA_P_N];
        int clamped = 0;
        if (strain) {
            lift = exp(par[at.h_strain] * strain[i]);
            unrec *= lift;
            ln_theta += par[at.k_strain] * strain[i];
        }
        if (exponent && exponent[i] > 0)
            n = par[at.exponent + exponent[i] - 1];
        if (at.loss >= 0) {
            double v = par[at.ln_k_rec] +
                       sa_clock_read(clock, i, SA_RECOVERY, par[at.q_rec], &slope_rec);
            recovery = soft_log(v, &logistic);
            unrec -= par[at.loss] * recovery;
        }
        if (at.gain >= 0) {
            double v = par[at.ln_k_hard] +
                       sa_clock_read(clock, i, SA_HARDENING, par[at.q_hard], &slope_hard);
            hardening = saturation(v, &speed);
            unrec += par[at.gain] * hardening;
        }
        if (at.fall >= 0) {
            double v =
                par[at.ln_k_grow] + sa_clock_read(clock, i, SA_GROWTH, par[at.q_grow], &slope_grow);
            grown = softening_by_growth(v, at.growth, &rate_grow);
            soft -= par[at.fall] * grown;
        }
        if (at.loss >= 0) {
            clamped = unrec < soft;
            if (clamped)
                unrec = soft;
        }
        transformation t = transform(ln_theta, n, theta0, at.theta0 >= 0);
        out[i] = soft + (unrec - soft) * t.share;
        bad |= !isfinite(out[i]);
        if (!jac)
            continue;
        double drop = soft - unrec; /* d hardness / d y = drop * share */
        double share = clamped ? 0.0 : t.share;
        jac[i] = share;
        jac[i + m] = 1.0 - share;
        jac[i + 2 * m] = drop * t.ln_k;
        jac[i + 3 * m] = drop * t.n;
        jac[i + 4 * m] = drop * t.ln_k * slope;
        if (at.loss >= 0) {
            size_t l = (size_t)at.loss * m;
            double rate = -share * par[at.loss] * logistic;
            jac[i + l] = -share * recovery;
            jac[i + l + m] = rate;
            jac[i + l + 2 * m] = rate * slope_rec;
        }
        if (at.gain >= 0) {
            size_t l = (size_t)at.gain * m;
            double rate = share * par[at.gain] * speed;
            jac[i + l] = share * hardening;
            jac[i + l + m] = rate;
            jac[i + l + 2 * m] = rate * slope_hard;
        }
        if (at.fall >= 0) {
            size_t l = (size_t)at.fall * m;
            double rate = (share - 1.0) * par[at.fall] * rate_grow;
            jac[i + l] = (share - 1.0) * grown;
            jac[i + l + m] = rate;
            jac[i + l + 2 * m] = rate * slope_grow;
        }
        if (at.theta0 >= 0)
            jac[i + (size_t)at.theta0 * m] = drop * t.theta0;
        if (strain) {
            jac[i] = share * lift;
            jac[i + (size_t)at.k_strain * m] = drop * t.ln_k * strain[i];
            jac[i + (size_t)at.h_strain * m] = share * par[SA_P_WORKED] * lift * strain[i];
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
    double soft = par[SA_P_SOFT], unrec = par[SA_P_WORKED], recovery_slope = 0.0;
    double growth_slope = 0.0;
    if (at.loss >= 0) {
        double logistic;
        double v = par[at.ln_k_rec] + log_time + par[at.q_rec] * coordinate;
        unrec -= par[at.loss] * soft_log(v, &logistic);
        recovery_slope = -par[at.loss] * logistic;
    }
    if (at.gain >= 0) {
        double speed;
        double v = par[at.ln_k_hard] + log_time + par[at.q_hard] * coordinate;
        unrec += par[at.gain] * saturation(v, &speed);
        recovery_slope += par[at.gain] * speed;
    }
    if (at.fall >= 0) {
        double rate;
        double v = par[at.ln_k_grow] + log_time + par[at.q_grow] * coordinate;
        soft -= par[at.fall] * softening_by_growth(v, at.growth, &rate);
        growth_slope = -par[at.fall] * rate;
    }
    if (at.loss >= 0 && unrec < soft) {
        unrec = soft;
        recovery_slope = growth_slope;
    }
    transformation t = transform(par[SA_P_LN_K] + log_time + par[SA_P_Q] * coordinate, par[SA_P_N],
                                 at.theta0 >= 0 ? par[at.theta0] : 0.0, at.theta0 >= 0);
    s.fraction = 1.0 - t.share;
    s.unrecrystallised = unrec;
    s.recrystallised = soft;
    s.hardness = soft + (unrec - soft) * t.share;
    s.slope_ln_time = (soft - unrec) * t.ln_k + t.share * recovery_slope;
    if (at.fall >= 0)
        s.slope_ln_time += (1.0 - t.share) * growth_slope;
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
    /* a bracket in ln t around the clock of recrystallisation, wide enough for any rate */
    double centre = -par[SA_P_LN_K] - par[SA_P_Q] * coordinate, low = centre - 60.0;
    double high = centre + 12.0;
    if (at.loss >= 0)
        low = fmin(low, -par[at.ln_k_rec] - par[at.q_rec] * coordinate - 40.0);
    if (at.gain >= 0)
        low = fmin(low, -par[at.ln_k_hard] - par[at.q_hard] * coordinate - 40.0);
    if (at.fall >= 0) /* until growth has done all but 1e-3 of what it can: 1000^(2 m) */
        high = fmax(high, -par[at.ln_k_grow] - par[at.q_grow] * coordinate - 6.9 / at.growth);
    /* a curve that rises first may start below the target: then from its top, the last of a
     * row of points above the target */
    if (at.gain >= 0 && isfinite(low) && isfinite(high) && !fraction &&
        !(distance(kind, low, coordinate, aim, what, par) > 0.0)) {
        const double begin = low, width = (high - low) / 2000.0;
        for (int k = 1; k < 2000; k++)
            if (distance(kind, begin + k * width, coordinate, aim, what, par) > 0.0)
                low = begin + k * width;
    }
    if (!isfinite(low) || !isfinite(high) ||
        !(distance(kind, low, coordinate, aim, what, par) > 0.0) ||
        !(distance(kind, high, coordinate, aim, what, par) < 0.0))
        return 0;
    for (int k = 0; k < 200 && high - low > 1e-14 * fmax(1.0, fabs(low)); k++) {
        double mid = 0.5 * (low + high);
        if (distance(kind, mid, coordinate, aim, what, par) > 0.0)
            low = mid;
        else
            high = mid;
    }
    *ln_time = 0.5 * (low + high);
    /* implicit function: d ln t / d b = -(dF/db) / (dF/d ln t) */
    if (fraction) {
        double ln_theta = par[SA_P_LN_K] + *ln_time + par[SA_P_Q] * coordinate;
        transformation t = transform(ln_theta, par[SA_P_N], at.theta0 >= 0 ? par[at.theta0] : 0.0,
                                     at.theta0 >= 0);
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
    if (sa_model_hardness(kind, &one, par, &hardness, gradient) || !(s.slope_ln_time < 0.0))
        return 0;
    if (what == SA_TO_SOFTENING) {
        gradient[SA_P_WORKED] -= 1.0 - target;
        gradient[SA_P_SOFT] -= target;
    }
    for (size_t j = 0; j < at.n_par; j++)
        gradient[j] /= -s.slope_ln_time;
    return 1;
}
