/* The solver on any problem: straight lines, decays, roots with an edge, powers; with bounds,
 * weights, held parameters and Huber loss. Promised: the fit ends; unless it says that nothing
 * can be computed, parameters are finite and within their bounds, those held stay, residuals and
 * derivatives are finite, the objective is that of the residuals and not above that of the start. */
#include "fuzz.h"
#include "least_squares.h"

enum { MOST_ROWS = 12, MOST_PAR = 5 };

typedef enum { LINES, DECAY, ROOTS, POWERS, FAMILIES } family;

typedef struct {
    family kind;
    size_t n, p;
    double a[MOST_ROWS * MOST_PAR], y[MOST_ROWS];
    size_t calls;
} problem;

/* Value and derivatives of one row. */
static double row_at(const problem *f, size_t i, const double *par, double *slope)
{
    const double *a = f->a + i * MOST_PAR;
    double sum = -f->y[i];
    for (size_t j = 0; j < f->p; j++) {
        const double x = par[j];
        double value, d;
        if (f->kind == LINES) {
            value = a[j] * x;
            d = a[j];
        } else if (f->kind == DECAY) {
            value = exp(-a[j] * x);
            d = -a[j] * value;
        } else if (f->kind == ROOTS) { /* no slope at the edge, nothing beyond it */
            value = sqrt(x + a[j]);
            d = 0.5 / value;
        } else {
            value = a[j] * x * x * x + x;
            d = 3 * a[j] * x * x + 1;
        }
        sum += value;
        slope[j] = d;
    }
    return sum;
}

static int residuals(const double *par, double *resid, double *jac, void *context)
{
    problem *f = context;
    double slope[MOST_PAR];
    f->calls++;
    for (size_t i = 0; i < f->n; i++) {
        resid[i] = row_at(f, i, par, slope);
        for (size_t j = 0; jac && j < f->p; j++)
            jac[i + j * f->n] = slope[j];
    }
    return 0;
}

static double sum_of_squares(const double *x, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += x[i] * x[i];
    return sum;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    fuzz_bytes b = {data, size};
    problem f = {.kind = (family)(fuzz_byte(&b) % FAMILIES)};
    f.n = 1 + fuzz_byte(&b) % MOST_ROWS;
    f.p = 1 + fuzz_byte(&b) % MOST_PAR;
    const size_t n = f.n, p = f.p;
    const unsigned how = fuzz_byte(&b);
    double lower[MOST_PAR], upper[MOST_PAR], start[MOST_PAR], root[MOST_ROWS];
    int held[MOST_PAR];
    for (size_t j = 0; j < p; j++) {
        const double width = fuzz_in(&b, 0, 20);
        start[j] = fuzz_number(&b, -5, 5);
        lower[j] = fuzz_byte(&b) < 64 ? -HUGE_VAL : start[j] - fuzz_in(&b, -1, 1) * width;
        upper[j] = fuzz_byte(&b) < 64 ? HUGE_VAL : fmax(lower[j], -1e300) + width;
        held[j] = fuzz_byte(&b) < 40;
    }
    for (size_t i = 0; i < n; i++) {
        f.y[i] = fuzz_number(&b, -10, 10);
        root[i] = fuzz_byte(&b) < 24 ? 0 : fuzz_in(&b, 0.01, 4);
        for (size_t j = 0; j < p; j++)
            f.a[i * MOST_PAR + j] = fuzz_number(&b, -3, 3);
    }
    sa_lsq_control control = sa_lsq_defaults();
    control.huber = how % 4 == 0 ? fuzz_in(&b, 0.2, 3) : 0;
    control.max_iterations = how % 8 == 7 ? 3 : 200;
    control.creep = how % 3 == 0 ? 1e-6 : 0;
    control.polish = how % 5 != 0;
    const int bounded = how >= 32, weighted = how % 16 < 8;
    const sa_lsq_problem pb = {n, p, bounded ? lower : NULL, bounded ? upper : NULL,
                               weighted ? root : NULL, held, residuals, &f};

    double *memory = malloc((n + n * p + sa_lsq_work(n, p)) * sizeof *memory);
    double *resid = memory, *jac = resid + n, *work = jac + n * p, par[MOST_PAR], first[MOST_PAR];
    int at_bound[MOST_PAR];
    memcpy(par, start, sizeof par);
    sa_lsq_result result;
    const sa_status status = sa_lsq_fit(&pb, &control, par, resid, jac, at_bound, work, &result);
    must(status == SA_OK || status == SA_LIMIT || status == SA_NOT_FINITE);
    must(f.calls == (size_t)result.evaluations);
    if (status != SA_NOT_FINITE) {
        for (size_t j = 0; j < p; j++) {
            must(isfinite(par[j]));
            if (held[j]) {
                must(par[j] == start[j] && at_bound[j] == 0);
                continue;
            }
            if (bounded)
                must(par[j] >= lower[j] && par[j] <= upper[j]);
            must(at_bound[j] == 0 || (bounded && par[j] == (at_bound[j] < 0 ? lower[j] : upper[j])));
        }
        for (size_t i = 0; i < n; i++)
            must(isfinite(resid[i]));
        for (size_t i = 0; i < n * p; i++)
            must(isfinite(jac[i]));
        must(isfinite(result.objective) && result.objective >= 0);
        must(isfinite(result.scale) && result.scale >= 0);
        must(result.cosine >= 0 && result.cosine <= 1 + 1e-6);
        if (control.huber == 0) {
            const double sum = sum_of_squares(resid, n);
            must(fabs(sum - result.objective) <= 1e-9 * sum + 1e-300);
            for (size_t j = 0; j < p; j++)
                first[j] = !bounded || held[j] ? start[j] : fmin(fmax(start[j], lower[j]), upper[j]);
            double *again = work;
            residuals(first, again, NULL, &f);
            for (size_t i = 0; weighted && i < n; i++)
                again[i] *= root[i];
            must(result.objective <= sum_of_squares(again, n) * (1 + 1e-9) + 1e-300);
        }
    }
    free(memory);
    return 0;
}
