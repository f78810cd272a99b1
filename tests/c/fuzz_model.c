/* Models and the solver on any readings. Promised: the fit ends, its parameters lie within the
 * bounds and are finite, and the objective is not above that of the start. */
#include "fuzz.h"
#include "kinetics.h"
#include "model.h"
#include "softening.h"

enum { MOST = 14 };

static void kinetics(fuzz_bytes *b)
{
    const double t = fuzz_number(b, 0, 1e4), k = fuzz_number(b, 1e-6, 1e3),
                 n = fuzz_number(b, 0.1, 10), theta0 = fuzz_number(b, 0, 5);
    const double x = sa_jmak_fraction(t, k, n, theta0, SA_FORM_RATE);
    if (t >= 0 && k > 0 && n > 0 && theta0 >= 0 && isfinite(t) && isfinite(k) && isfinite(n) &&
        isfinite(theta0))
        must(x >= 0 && x <= 1);
    (void)sa_jmak_time(fuzz_number(b, 0, 1), k, n, theta0, SA_FORM_CONSTANT);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    fuzz_bytes b = {data, size};
    kinetics(&b);
    const sa_model_kind kind = (sa_model_kind)(fuzz_byte(&b) % SA_MODELS);
    const size_t p = sa_model_parameters(kind).n_par, n = p + fuzz_byte(&b) % MOST;
    double *memory = malloc((5 * n + n * p + sa_softening_work(n)) * sizeof *memory);
    double *coordinate = memory, *log_time = coordinate + n, *hardness = log_time + n,
           *root_weight = hardness + n, *resid = root_weight + n, *jac = resid + n,
           *work = jac + n * p;
    const double top = 250; /* of the hardness; bounds hold the starts */
    for (size_t i = 0; i < n; i++) {
        coordinate[i] = fuzz_in(&b, -0.05, 0.05);
        const double t = fuzz_in(&b, 0, 200);
        log_time[i] = t < 1 ? -INFINITY : log(t);
        hardness[i] = fuzz_in(&b, 1, 250);
        root_weight[i] = fuzz_byte(&b) < 16 ? 0 : fuzz_in(&b, 0.1, 3);
    }
    const double lower[SA_MODEL_MAX_PAR] = {0, 0, -60, 0.1, 0};
    double upper[SA_MODEL_MAX_PAR], par[SA_MODEL_MAX_PAR];
    int natural[2 * SA_MODEL_MAX_PAR] = {0}, held[SA_MODEL_MAX_PAR] = {0},
                    at_bound[SA_MODEL_MAX_PAR];
    for (size_t j = 0; j < p; j++) {
        upper[j] = j < 2 ? 10 * top : j == 3 ? 10 : 2000;
        par[j] = j == 0 ? 160 : j == 1 ? 80 : j == 2 ? -3 : j == 3 ? 1.5 : j == 4 ? 150 : 1;
        held[j] = fuzz_byte(&b) < 24;
    }
    sa_softening s = {
        .kind = kind,
        .clock = {.n = n, .coordinate = coordinate, .log_time = log_time},
        .hardness = hardness, .root_weight = root_weight, .lower = lower, .upper = upper,
        .natural = natural, .held = held};
    sa_lsq_control control = sa_lsq_defaults();
    control.max_iterations = 60;
    sa_lsq_result result;
    const int use_start = (int)(fuzz_byte(&b) % 2U);
    const sa_status status =
        sa_softening_fit(&s, &control, use_start, par, resid, jac, at_bound, work, &result);
    if (status == SA_OK || status == SA_LIMIT) {
        must(isfinite(result.objective) && result.objective >= 0);
        for (size_t j = 0; j < p; j++)
            must(par[j] >= lower[j] && par[j] <= upper[j]);
    }
    free(memory);
    return 0;
}
