/* The rate at which a curve meets a target at a given time and temperature, with its gradient in the
 * other parameters: what answers.c and answers_scan.c hold while they refit; and where a curve meets it. */
#include "answers.h"
#include <math.h>
#include <string.h>

static int rate_of_base(sa_model_kind kind, const sa_meeting *at, const double *par, double *ln_k,
                        double *gradient)
{
    const sa_model_layout place = sa_model_parameters(kind);
    const double theta0 = place.theta0 >= 0 ? par[place.theta0] : 0.0, n = par[SA_P_N];
    const double worked = par[SA_P_WORKED], soft = par[SA_P_SOFT];
    double aim = at->target, share = 1.0 - at->target;
    if (at->what != SA_TO_FRACTION) {
        if (at->what == SA_TO_SOFTENING)
            aim = worked + at->target * (soft - worked);
        /* the unrecrystallised hardness there does not depend on ln k_ref */
        sa_model_state s = sa_model_at(kind, at->log_time, at->coordinate, par);
        share = (aim - s.recrystallised) / (s.unrecrystallised - s.recrystallised);
    }
    if (!(share > 0.0 && share < 1.0))
        return 0;
    const double y = sa_shape_inverse(place.shape, share), excess = exp(log(y) / n), theta = theta0 + excess;
    *ln_k = log(theta) - at->log_time - par[SA_P_Q] * at->coordinate;
    if (!isfinite(*ln_k))
        return 0;
    if (at->what == SA_TO_FRACTION) {
        memset(gradient, 0, place.n_par * sizeof(double));
        gradient[SA_P_Q] = -at->coordinate;
        gradient[SA_P_N] = -excess * log(y) / (n * n * theta);
        if (place.theta0 >= 0)
            gradient[place.theta0] = 1.0 / theta;
        return 1;
    }
    /* implicit function: hardness(b) = aim(b) */
    double b[SA_BASE_PAR], hardness;
    memcpy(b, par, place.n_par * sizeof(double));
    b[SA_P_LN_K] = *ln_k;
    const double side = at->rises ? -1.0 : 1.0;
    if (!(side * sa_model_at(kind, at->log_time, at->coordinate, b).slope_ln_time < 0.0))
        return 0;
    const sa_clock one = {.n = 1, .coordinate = &at->coordinate, .log_time = &at->log_time};
    if (sa_model_hardness(kind, &one, b, &hardness, gradient) || !(side * gradient[SA_P_LN_K] < 0.0))
        return 0;
    if (at->what == SA_TO_SOFTENING) {
        gradient[SA_P_WORKED] -= 1.0 - at->target;
        gradient[SA_P_SOFT] -= at->target;
    }
    const double lever = -1.0 / gradient[SA_P_LN_K];
    for (size_t j = 0; j < place.n_par; j++)
        gradient[j] *= lever;
    gradient[SA_P_LN_K] = 0.0;
    return 1;
}

int sa_meeting_rate(sa_model_kind kind, const sa_meeting *at, const double *par, double *ln_k,
                    double *gradient)
{
    const sa_model_layout place = sa_model_parameters(kind);
    double base[SA_BASE_PAR], of_base[SA_BASE_PAR];
    sa_model_of_group(kind, at->group, par, base);
    if (!rate_of_base(sa_model_base(kind), at, base, ln_k, of_base))
        return 0;
    sa_model_chain(kind, at->group, par, of_base, gradient);
    if (place.k_strain >= 0) { /* ln k of the group is ln k_ref + k_strain strain */
        *ln_k -= par[place.k_strain] * at->group.strain;
        gradient[place.k_strain] = -at->group.strain;
    }
    return 1;
}

int sa_meeting_own(sa_model_kind kind, const double *par, sa_moved moved, double low, double high,
                   sa_meeting *at)
{
    double base[SA_BASE_PAR], slope[SA_BASE_PAR], ln_time;
    const sa_model_kind one = sa_model_base(kind);
    sa_model_of_group(kind, at->group, par, base);
    if (moved == SA_MOVE_TIME) {
        if (!sa_model_time_to(one, at->coordinate, at->target, at->what, base, &ln_time, slope))
            return 0;
        at->log_time = ln_time;
        return 1;
    }
    /* ln t falls with the coordinate */
    for (int k = 0; k < 200 && high - low > 1e-13; k++) {
        const double mid = 0.5 * (low + high);
        if (!sa_model_time_to(one, mid, at->target, at->what, base, &ln_time, slope))
            return 0;
        if (ln_time > at->log_time)
            low = mid;
        else
            high = mid;
    }
    at->coordinate = 0.5 * (low + high);
    return 1;
}
