/* Reduced time and softening along histories: SEXP in, SEXP out. */
#include "glue_history.h"
#include "glue_fit.h"
#include "model.h"
#include <math.h>

#define CHECK_SLICE ((size_t)1 << 20)

void glue_histories(SEXP history, double ref_k, sa_histories *out)
{
    SEXP time = glue_field(history, "time_s"), first = glue_field(history, "first");
    const R_xlen_t n = Rf_xlength(time), parts = Rf_xlength(first);
    out->time = glue_doubles(time, n, "time_s");
    out->temp = glue_field_doubles(history, "temp_c", n);
    out->first = glue_integers(first, parts, "first");
    if (parts < 1 || out->first[0] != 0 || out->first[parts - 1] != n)
        Rf_error("internal error: 'first' does not fit the history");
    for (R_xlen_t k = 1; k < parts; k++)
        if (out->first[k] <= out->first[k - 1])
            Rf_error("internal error: 'first' does not rise");
    out->count = (size_t)parts - 1;
    out->zero = SA_ZERO_CELSIUS;
    out->ref_k = ref_k;
    out->log_unit = SA_LOG_MINUTE;
    out->mark = NULL;
    out->mark_first = NULL;
    out->poll = glue_poll;
    out->poll_context = NULL;
}

static void glue_marks(SEXP mark, SEXP mark_first, sa_histories *out)
{
    const R_xlen_t n = Rf_xlength(mark), parts = (R_xlen_t)out->count + 1;
    out->mark = glue_doubles(mark, n, "mark");
    out->mark_first = glue_integers(mark_first, parts, "mark_first");
    if (out->mark_first[0] != 0 || out->mark_first[parts - 1] != n)
        Rf_error("internal error: 'mark_first' does not fit the marks");
    for (R_xlen_t k = 1; k < parts; k++)
        if (out->mark_first[k] < out->mark_first[k - 1])
            Rf_error("internal error: 'mark_first' falls");
}

/* Fault of the first bad point (0: none) and its 1-based row. */
SEXP sa_call_history_check(SEXP history)
{
    sa_histories set;
    glue_histories(history, 1.0, &set);
    SEXP out = PROTECT(Rf_allocVector(INTSXP, 2));
    int *answer = INTEGER(out);
    answer[0] = SA_HISTORY_FINE;
    answer[1] = NA_INTEGER;
    for (size_t k = 0; k < set.count && answer[0] == SA_HISTORY_FINE; k++) {
        const size_t end = (size_t)set.first[k + 1];
        /* in slices that share one point, so that time is compared across them */
        for (size_t from = (size_t)set.first[k];
             from < end && answer[0] == SA_HISTORY_FINE; from += CHECK_SLICE - 1) {
            const size_t n = end - from < CHECK_SLICE ? end - from : CHECK_SLICE;
            const sa_history one = {.time = set.time + from, .temp = set.temp + from, .n = n,
                                    .zero = set.zero};
            size_t at = 0;
            R_CheckUserInterrupt();
            answer[0] = (int)sa_history_check(&one, &at);
            if (answer[0] != SA_HISTORY_FINE)
                answer[1] = (int)(from + at + 1);
        }
    }
    UNPROTECT(1);
    return out;
}

/* ln of the integral of exp(q e) dt in min at each mark, and its derivative in q where `slope`
 * is not 0: a matrix with one or two columns. */
SEXP sa_call_reduced_time(SEXP history, SEXP mark, SEXP mark_first, SEXP q, SEXP ref_k, SEXP slope)
{
    sa_histories set;
    glue_histories(history, glue_double(ref_k, "ref_k"), &set);
    glue_marks(mark, mark_first, &set);
    const R_xlen_t n = Rf_xlength(mark);
    const int both = glue_integer(slope, "slope") != 0;
    SEXP out = PROTECT(Rf_allocMatrix(REALSXP, (int)n, both ? 2 : 1));
    sa_histories_integrate(&set, glue_double(q, "q"), REAL(out), both ? REAL(out) + n : NULL);
    UNPROTECT(1);
    return out;
}

/* At each mark: list(ln_theta, fraction, hardness, gradient of the hardness by columns). */
SEXP sa_call_soften(SEXP model, SEXP history, SEXP mark, SEXP mark_first, SEXP ref_k, SEXP par)
{
    const sa_model_kind kind = glue_model(model);
    const size_t p = sa_model_parameters(kind).n_par;
    sa_histories set;
    glue_histories(history, glue_double(ref_k, "ref_k"), &set);
    glue_marks(mark, mark_first, &set);
    const R_xlen_t rn = Rf_xlength(mark);
    const size_t n = (size_t)rn;
    const double *b = glue_doubles(par, (R_xlen_t)p, "par");
    const char *names[] = {"ln_theta", "fraction", "hardness", "gradient", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    double *ln_theta = glue_put_doubles(out, "ln_theta", n);
    double *fraction = glue_put_doubles(out, "fraction", n);
    double *hardness = glue_put_doubles(out, "hardness", n);
    double *gradient = glue_put_matrix(out, "gradient", n, p);
    sa_clock clock = {.n = n,
                      .along = &set,
                      .table = (double *)R_alloc(sa_clock_table(n), sizeof(double)),
                      .poll = glue_poll};
    sa_clock_begin(&clock);
    sa_model_hardness(kind, &clock, b, hardness, gradient);
    for (size_t i = 0; i < n; i++) {
        double slope;
        glue_poll_each((R_xlen_t)i);
        ln_theta[i] =
            b[SA_P_LN_K] + sa_clock_read(&clock, i, SA_RECRYSTALLISATION, b[SA_P_Q], &slope);
        fraction[i] = sa_model_fraction(kind, ln_theta[i], b);
    }
    UNPROTECT(1);
    return out;
}
