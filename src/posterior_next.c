/* What one more specimen, step, set of readings or calibration is worth: the variance of what is asked
 * after it, averaged over the posterior.
 *
 * At each draw the model is linear in the parameters, the errors of furnace runs (in standard deviations)
 * and the offsets of specimens (likewise), which all have normal priors; the information of a step is
 * g g' / (sd_step^2 + sd_reading^2 / readings), g = (dH/dpar, sd_furnace dH/dT, sd_specimen). The variance
 * of the aim is c' M^-1 c with c its gradient in the parameters (preposterior analysis of a normal linear
 * model: Chaloner and Verdinelli 1995, Statist. Sci. 10, 273). A calibration of the furnaces with standard
 * uncertainty u adds (sd_furnace / u)^2 to the information of the error of each run. */
#include "posterior_next.h"
#include "linear.h"
#include <float.h>
#include <math.h>
#include <string.h>

static size_t unknowns(const sa_next *f)
{
    size_t k = f->n_run + f->n_piece;
    for (size_t j = 0; j < f->p; j++)
        k += f->estimated[j] != 0;
    return k;
}

/* information as read and of a choice, hardness, derivatives, a gradient. */
size_t sa_next_work(const sa_next *f)
{
    const size_t k = unknowns(f);
    return 2 * k * k + f->n * (1 + f->p) + k;
}

static double weight(const double *sd, double readings)
{
    if (!(readings > 0.0))
        return 0.0;
    return 1.0 / (sd[SA_S_STEP] * sd[SA_S_STEP] + sd[SA_S_READING] * sd[SA_S_READING] / readings);
}

/* Information of the steps of one choice, or of what was read, to `info` (lower triangle). */
static void add_steps(const sa_next *f, int choice, const double *par, const double *sd, const double *jac,
                      const size_t *place, size_t q, size_t k, double *info, double *g)
{
    const sa_model_layout at = sa_model_parameters(f->kind);
    for (size_t i = 0; i < f->n; i++) {
        if (f->choice[i] != choice)
            continue;
        const double w = weight(sd, f->after[i]) - weight(sd, f->before[i]);
        memset(g, 0, k * sizeof(double));
        for (size_t j = 0; j < q; j++)
            g[j] = jac[i + place[j] * f->n];
        if (f->run[i] >= 0)
            g[q + (size_t)f->run[i]] = sd[SA_S_FURNACE] * f->scale[i] *
                                       sa_temperature_slope(&at, par, jac, f->n, i, f->inverse[i]);
        g[q + f->n_run + (size_t)f->piece[i]] = sd[SA_S_PIECE];
        for (size_t a = 0; a < k; a++)
            if (g[a] != 0.0)
                for (size_t b = a; b < k; b++)
                    info[b + a * k] += w * g[a] * g[b];
    }
}

/* ln variance of the aim; NaN where it does not exist. */
static double value(const sa_next *f, const double *par, const size_t *place, size_t q, size_t k,
                    double *info, double *g)
{
    double ignored = 0.0, sum = 0.0, gradient[SA_MODEL_MAX_PAR];
    if (!sa_cholesky(info, k, 0.0, &ignored))
        return NAN;
    const size_t places = f->aim == SA_AIM_ENERGY ? 1 : f->n_aim;
    for (size_t a = 0; a < places; a++) {
        memset(g, 0, k * sizeof(double));
        if (f->aim == SA_AIM_ENERGY) {
            for (size_t j = 0; j < q; j++)
                g[j] = place[j] == SA_P_Q;
        } else {
            double ln_time;
            const sa_target_kind what = f->aim == SA_AIM_LN_TIME_HARDNESS ? SA_TO_HARDNESS : SA_TO_SOFTENING;
            if (!sa_model_time_to(f->kind, f->aim_coordinate[a], f->target, what, par, &ln_time, gradient))
                return NAN;
            for (size_t j = 0; j < q; j++)
                g[j] = gradient[place[j]];
        }
        sa_forward(info, k, g);
        double square = 0.0;
        for (size_t j = 0; j < k; j++)
            square += g[j] * g[j];
        sum += log(fmin(fmax(square, DBL_MIN), DBL_MAX));
    }
    return sum / (double)places;
}

sa_status sa_next_value(const sa_next *f, double *out, double *work)
{
    const size_t k = unknowns(f), p = f->p;
    double *info = work, *copy = info + k * k, *hardness = copy + k * k, *jac = hardness + f->n;
    double *g = jac + f->n * p;
    size_t place[SA_MODEL_MAX_PAR], q = 0;
    for (size_t j = 0; j < p; j++)
        if (f->estimated[j])
            place[q++] = j;
    const sa_clock clock = {.n = f->n, .coordinate = f->coordinate, .log_time = f->log_time};
    for (size_t r = 0; r < f->n_draw; r++) {
        const double *par = f->draws + r * p, *sd = f->sd + r * SA_S_COUNT;
        double *row = out + r * (1 + f->n_choice);
        if (f->poll && f->poll(NULL))
            return SA_INTERRUPTED;
        if (sa_model_hardness(f->kind, &clock, par, hardness, jac))
            return SA_NOT_FINITE;
        memset(info, 0, k * k * sizeof(double));
        for (size_t j = 0; j < q; j++)
            for (size_t i = j; i < q; i++)
                info[i + j * k] = f->known[place[i] * (place[i] + 1) / 2 + place[j]];
        for (size_t j = q; j < k; j++)
            info[j + j * k] = 1.0;
        add_steps(f, 0, par, sd, jac, place, q, k, info, g);
        for (size_t c = 0; c <= f->n_choice; c++) {
            memcpy(copy, info, k * k * sizeof(double));
            if (c > 0) {
                add_steps(f, (int)c, par, sd, jac, place, q, k, copy, g);
                const double u = f->calibrated[c - 1];
                for (size_t j = q; u > 0.0 && j < q + f->n_run; j++)
                    copy[j + j * k] += sd[SA_S_FURNACE] * sd[SA_S_FURNACE] / (u * u);
            }
            row[c] = value(f, par, place, q, k, copy, g);
        }
    }
    return SA_OK;
}
