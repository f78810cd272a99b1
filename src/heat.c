/* Lumped-capacitance heating and cooling:
 *
 *   density c(T) dT/dt = sum over face groups of (area/volume)
 *                        [ h (T_around - T) + emissivity sigma (T_around^4 - T^4) ]
 *
 * a small grey body in a large enclosure, uniform in temperature (valid for a Biot number
 * below about 0.1; the caller checks). Source of the equation: Incropera and DeWitt,
 * Fundamentals of Heat and Mass Transfer, chapter 5 (general lumped capacitance analysis).
 *
 * Integrated with the embedded Runge-Kutta pair 5(4) of Dormand and Prince, J. Comput. Appl.
 * Math. 6 (1980) 19, with local extrapolation and a step controlled to about 1e-10 of the
 * absolute temperature. Steps end on every knot of the surroundings (the slope jumps there)
 * and on every output time, so no interpolant is needed. SI units, temperatures in K. */
#include "heat.h"
#include <float.h>
#include <math.h>

/* Local error a step may have, relative to the absolute temperature. The scalar equation is
 * contracting (every face pulls towards its surroundings), so local errors do not grow. */
#define STEP_TOLERANCE 1e-10
/* Enough for 30 000 time constants of a stability-bound run; about 0.5 s of work. */
#define STEP_LIMIT 2000000u
#define POLL_STEPS 8192u
/* Closer than this (K) to rest among constant surroundings a piece counts as at rest: above
 * what the step control lets through, far below any thermometer. */
#define STEADY_K 1e-6

typedef struct {
    const sa_piece *piece;
    /* surroundings on the current stretch between two stops: value at base and slope */
    double base, value_a, value_b, slope_a, slope_b;
} stretch;

double sa_heat_rate(const sa_piece *piece, double temp, double around_a, double around_b)
{
    const double t4 = temp * temp * temp * temp;
    const double a4 = around_a * around_a * around_a * around_a;
    const double b4 = around_b * around_b * around_b * around_b;
    const double flux_a =
        piece->h_a * (around_a - temp) + piece->emissivity_a * SA_STEFAN_BOLTZMANN * (a4 - t4);
    const double flux_b =
        piece->h_b * (around_b - temp) + piece->emissivity_b * SA_STEFAN_BOLTZMANN * (b4 - t4);
    const double heat = piece->heat + piece->heat_slope * (temp - piece->heat_k);
    return (piece->area_a * flux_a + piece->area_b * flux_b) / (piece->density * heat);
}

static double rate_at(const stretch *s, double time, double temp)
{
    const double dt = time - s->base;
    return sa_heat_rate(s->piece, temp, s->value_a + s->slope_a * dt, s->value_b + s->slope_b * dt);
}

/* One Dormand-Prince step of length h from (time, temp), whose rate is k1. Returns the
 * fifth-order value; *error is its difference from the fourth-order one, *k7 the rate at
 * the end of the step, which serves as k1 of the next. */
static double dopri_step(const stretch *s, double time, double temp, double k1, double h,
                         double *error, double *k7)
{
    const double k2 = rate_at(s, time + h / 5, temp + h * (k1 / 5));
    const double k3 = rate_at(s, time + 3 * h / 10, temp + h * (3 * k1 / 40 + 9 * k2 / 40));
    const double k4 =
        rate_at(s, time + 4 * h / 5, temp + h * (44 * k1 / 45 - 56 * k2 / 15 + 32 * k3 / 9));
    const double k5 = rate_at(
        s, time + 8 * h / 9,
        temp + h * (19372 * k1 / 6561 - 25360 * k2 / 2187 + 64448 * k3 / 6561 - 212 * k4 / 729));
    const double k6 = rate_at(s, time + h,
                              temp + h * (9017 * k1 / 3168 - 355 * k2 / 33 + 46732 * k3 / 5247 +
                                          49 * k4 / 176 - 5103 * k5 / 18656));
    const double next = temp + h * (35 * k1 / 384 + 500 * k3 / 1113 + 125 * k4 / 192 -
                                    2187 * k5 / 6784 + 11 * k6 / 84);
    *k7 = rate_at(s, time + h, next);
    *error = h * (71 * k1 / 57600 - 71 * k3 / 16695 + 71 * k4 / 1920 - 17253 * k5 / 339200 +
                  22 * k6 / 525 - *k7 / 40);
    return next;
}

/* Time within the step at which |temp - target| equals within, found on the step itself:
 * each trial is a shorter Dormand-Prince step, so the answer is as good as the solution.
 * Outside the band at 0, inside at h. Bisection with Illinois-type false position. */
static double entry_time(const stretch *s, double time, double temp, double k1, double h,
                         double temp_h, const sa_heat_request *request)
{
    double low = 0, high = h;
    double f_low = fabs(temp - request->target) - request->within;
    double f_high = fabs(temp_h - request->target) - request->within;
    int side = 0;
    for (int i = 0; i < 60 && high - low > 4 * DBL_EPSILON * (time + h); i++) {
        const double slope = f_high - f_low;
        double middle = slope < 0 ? low - f_low * (high - low) / slope : 0.5 * (low + high);
        if (!(middle > low && middle < high) || i % 8 == 7)
            middle = 0.5 * (low + high);
        double error, k7;
        const double at = dopri_step(s, time, temp, k1, middle, &error, &k7);
        const double f = fabs(at - request->target) - request->within;
        if (f > 0) {
            low = middle;
            f_low = f;
            if (side == -1)
                f_high *= 0.5;
            side = -1;
        } else {
            high = middle;
            f_high = f;
            if (side == 1)
                f_low *= 0.5;
            side = 1;
        }
        if (f == 0)
            break;
    }
    return time + high;
}

/* Surroundings at `time`, on the stretch that starts there. *knot is the first knot after
 * `time`, so all stretches together walk the knots once. */
static void begin_stretch(stretch *s, const sa_surroundings *around, double time, size_t *knot)
{
    size_t k = *knot;
    while (k < around->count && around->time[k] <= time)
        k++;
    *knot = k;
    s->base = time;
    if (k == 0 || k == around->count) {
        const size_t at = k == 0 ? 0 : around->count - 1;
        s->value_a = around->temp_a[at];
        s->value_b = around->temp_b[at];
        s->slope_a = s->slope_b = 0;
        return;
    }
    const double span = around->time[k] - around->time[k - 1];
    const double past = time - around->time[k - 1];
    s->slope_a = (around->temp_a[k] - around->temp_a[k - 1]) / span;
    s->slope_b = (around->temp_b[k] - around->temp_b[k - 1]) / span;
    s->value_a = around->temp_a[k - 1] + s->slope_a * past;
    s->value_b = around->temp_b[k - 1] + s->slope_b * past;
}

static int piece_is_sound(const sa_piece *p)
{
    return p->area_a >= 0 && p->area_b >= 0 && p->area_a + p->area_b > 0 && p->h_a >= 0 &&
           p->h_b >= 0 && p->emissivity_a >= 0 && p->emissivity_a <= 1 && p->emissivity_b >= 0 &&
           p->emissivity_b <= 1 && p->density > 0 && p->heat > 0 && isfinite(p->heat_slope) &&
           isfinite(p->heat_k);
}

/* The state of a run between two steps. */
typedef struct {
    double time, temp, rate, step;
    int inside, done; /* within the band; nothing left to find in a run without an end */
    size_t steps;
} runner;

/* Distance (K) from the temperature of rest, by one Newton step on the rate: the rate falls
 * with temperature by (area / volume)(h + 4 emissivity sigma T^3) / (density c). */
static double rest_distance(const sa_piece *p, const runner *r)
{
    const double t3 = 4 * SA_STEFAN_BOLTZMANN * r->temp * r->temp * r->temp;
    const double heat = p->heat + p->heat_slope * (r->temp - p->heat_k);
    return r->rate * p->density * heat /
           (p->area_a * (p->h_a + p->emissivity_a * t3) +
            p->area_b * (p->h_b + p->emissivity_b * t3));
}

/* From the state of r to `stop` on one stretch; `last` says that no knot follows. */
static sa_status run_stretch(const stretch *s, runner *r, double stop, int last,
                             const sa_heat_request *request, double *time_within)
{
    r->rate = rate_at(s, r->time, r->temp);
    if (!isfinite(r->rate))
        return SA_NOT_FINITE;
    while (r->time < stop) {
        if (last && !isfinite(request->end) && r->inside) {
            r->done = 1;
            break;
        }
        if (last && fabs(rest_distance(s->piece, r)) < STEADY_K) {
            /* rest lies between the surroundings, wherever rounding would put it */
            const double low = fmin(r->temp, fmin(s->value_a, s->value_b));
            const double high = fmax(r->temp, fmax(s->value_a, s->value_b));
            r->temp = fmin(fmax(r->temp + rest_distance(s->piece, r), low), high);
            r->done = !isfinite(stop);
            if (!r->done)
                r->time = stop;
            break;
        }
        if (++r->steps > STEP_LIMIT)
            return SA_LIMIT;
        if (r->steps % POLL_STEPS == 0 && request->poll && request->poll(request->poll_context))
            return SA_INTERRUPTED;
        double h = r->step;
        const int closes = r->time + h * (1 + 1e-9) >= stop;
        if (closes)
            h = stop - r->time;
        double error, rate;
        const double temp = dopri_step(s, r->time, r->temp, r->rate, h, &error, &rate);
        const double ratio = fabs(error) / (STEP_TOLERANCE * r->temp);
        if (!(ratio <= 1) || !(temp > 0)) {
            /* rejected, or not finite: shorter, until time no longer moves */
            r->step = h * (isfinite(ratio) ? fmax(0.2, 0.9 * pow(ratio, -0.2)) : 0.1);
            if (r->time + r->step <= r->time)
                return SA_NOT_FINITE;
            continue;
        }
        const int inside = fabs(temp - request->target) <= request->within;
        if (inside && !r->inside)
            *time_within = entry_time(s, r->time, r->temp, r->rate, h, temp, request);
        if (!inside)
            *time_within = NAN;
        r->inside = inside;
        const double grown = h * (ratio > 1e-8 ? fmin(5, 0.9 * pow(ratio, -0.2)) : 5);
        /* a step cut short to meet a stop says little against the longer one before it */
        r->step = closes ? fmax(grown, r->step) : grown;
        r->time = closes ? stop : r->time + h;
        r->temp = temp;
        r->rate = rate;
    }
    return SA_OK;
}

sa_status sa_heat_run(const sa_piece *piece, const sa_surroundings *around,
                      const sa_heat_request *request, sa_heat_answer *answer)
{
    answer->time_within = answer->end_time = answer->end_temp = NAN;
    for (size_t i = 0; i < request->out_count; i++)
        answer->out_temp[i] = NAN;
    if (around->count == 0)
        return SA_BAD_SIZE;
    if (!piece_is_sound(piece) || !(request->start > 0) || !isfinite(request->start) ||
        !(request->end >= 0) || !(request->within >= 0))
        return SA_OUT_OF_RANGE;

    stretch s = {piece, 0, 0, 0, 0, 0};
    runner r = {0, request->start, 0, 0, 0, 0, 0};
    size_t knot = 0, out = 0;
    r.inside = fabs(r.temp - request->target) <= request->within;
    answer->time_within = r.inside ? 0 : NAN;
    /* first step: a hundredth of a time constant of the linear part; the control adapts it */
    r.step = 0.01 * piece->density * piece->heat /
             (piece->area_a * piece->h_a + piece->area_b * piece->h_b + 1);

    sa_status status = SA_OK;
    for (;;) {
        while (out < request->out_count && request->out_time[out] <= r.time)
            answer->out_temp[out++] = r.temp;
        if (r.time >= request->end)
            break;
        begin_stretch(&s, around, r.time, &knot);
        const int last = knot == around->count;
        double stop = request->end;
        if (!last && around->time[knot] < stop)
            stop = around->time[knot];
        if (out < request->out_count && request->out_time[out] < stop)
            stop = request->out_time[out];
        status = run_stretch(&s, &r, stop, last, request, &answer->time_within);
        if (status != SA_OK || r.done)
            break;
    }
    answer->end_time = r.time;
    answer->end_temp = r.temp;
    return status;
}
