/* Many fits in one call: SEXP in, SEXP out; see batch.c. */
#include "glue_batch.h"
#include "batch.h"
#include "glue_fit.h"
#include "kinetics.h"
#include "shared.h"
#include <math.h>
#include <string.h>

static void check_interrupt(void *context)
{
    (void)context;
    R_CheckUserInterrupt();
}

/* Inside a parallel region nothing may jump out: the interrupt is caught and returned. Called
 * from the main thread alone. */
static int poll_by_catch(void *context)
{
    return !R_ToplevelExec(check_interrupt, context);
}

static const double *optional_doubles(SEXP x, R_xlen_t n, const char *what)
{
    return x == R_NilValue ? NULL : glue_doubles(x, n, what);
}

/* A permutation's places, from 1. */
static const int *optional_order(SEXP x, R_xlen_t n, const char *what)
{
    return x == R_NilValue ? NULL : glue_places(x, n, 1, n, what);
}

/* Sets up the fit of all groups; `settings` as in sa_call_batch(). */
static sa_batch_settings read_settings(SEXP settings)
{
    const sa_model_kind kind = glue_model(glue_field(settings, "kind"));
    const R_xlen_t p = (R_xlen_t)sa_model_parameters(kind).n_par;
    const R_xlen_t quantiles = Rf_xlength(glue_field(settings, "t_quantile"));
    SEXP se = glue_field(settings, "se");
    if (TYPEOF(se) != STRSXP || Rf_xlength(se) != 1)
        Rf_error("internal error: 'se' must be text");
    int errors = 0;
    while (errors < SA_ERROR_KINDS && strcmp(sa_error_kinds[errors], CHAR(STRING_ELT(se, 0))) != 0)
        errors++;
    if (errors == SA_ERROR_KINDS)
        Rf_error("internal error: 'se' is out of range");
    sa_batch_settings set = {.kind = kind,
                             .ref_k = glue_field_double(settings, "ref_k"),
                             .start = glue_field_doubles(settings, "start", p),
                             .held = glue_flags(settings, "held", p),
                             .lower = glue_field_doubles(settings, "lower", p),
                             .upper = glue_field_doubles(settings, "upper", p),
                             .natural = glue_flags(settings, "natural", 2 * p),
                             .errors = (sa_batch_errors)errors,
                             .automatic = glue_field_true(settings, "automatic"),
                             .use_start = glue_field_true(settings, "use_start"),
                             .infer = glue_field_true(settings, "infer"),
                             .any_value = glue_field_true(settings, "any_value"),
                             .t_quantile = glue_field_doubles(settings, "t_quantile", quantiles),
                             .f_quantile = glue_field_doubles(settings, "f_quantile", quantiles),
                             .quantiles = (size_t)quantiles,
                             .control = glue_control(glue_field(settings, "control"))};
    set.control.creep = 1e-6;
    return set;
}

/* columns: temp_c, time_min, hardness, weights, specimen, order (the last three may be NULL).
 * groups: first (places in `order`, from 0), size. settings: kind, ref_k, start, held, lower, upper,
 * natural, se, automatic, use_start, infer, any_value, t_quantile, f_quantile, control. Matrices have one
 * column per group. */
SEXP sa_call_batch(SEXP columns, SEXP groups, SEXP settings, SEXP threads)
{
    const char *fields[] = {"par", "state", "sums", "counts", "cov", "limit", ""};
    const sa_batch_settings set = read_settings(settings);
    const size_t p = sa_model_parameters(set.kind).n_par, half = p * (p + 1) / 2;
    const R_xlen_t rn = Rf_xlength(glue_field(columns, "temp_c"));
    const R_xlen_t rg = Rf_xlength(glue_field(groups, "first"));
    const size_t count = (size_t)rg;
    const int *f = glue_integers(glue_field(groups, "first"), rg, "first");
    const int *s = glue_integers(glue_field(groups, "size"), rg, "size");
    int n_threads = glue_integer(threads, "threads");
    SEXP specimen = glue_field(columns, "specimen");
    const sa_batch_columns col = {glue_field_doubles(columns, "temp_c", rn),
                                  glue_field_doubles(columns, "time_min", rn),
                                  glue_field_doubles(columns, "hardness", rn),
                                  glue_field_optional(columns, "weights", rn),
                                  specimen == R_NilValue ? NULL
                                                         : glue_integers(specimen, rn, "specimen"),
                                  optional_order(glue_field(columns, "order"), rn, "order")};
    size_t largest = 0;
    for (size_t g = 0; g < count; g++) {
        if (f[g] < 0 || s[g] < 0 || (R_xlen_t)f[g] + s[g] > rn)
            Rf_error("internal error: group %d lies outside the rows", (int)g + 1);
        if ((size_t)s[g] > largest)
            largest = (size_t)s[g];
    }
    if (n_threads < 1)
        n_threads = 1;
    if ((size_t)n_threads > count && count > 0)
        n_threads = (int)count;
    const size_t bytes = sa_batch_work(largest);
    if (bytes == 0)
        Rf_error("internal error: group too large");
    char *work = R_alloc((size_t)n_threads * (bytes / sizeof(double)), sizeof(double));

    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    const size_t inferred = set.infer ? count : 0;
    sa_batch_results r = {.par = glue_put_matrix(out, "par", p, count),
                          .state = glue_put_table(out, "state", p, count),
                          .sums = glue_put_matrix(out, "sums", SA_BATCH_SUMS, count),
                          .counts = glue_put_table(out, "counts", SA_BATCH_COUNTS, count),
                          .cov = glue_put_matrix(out, "cov", half, inferred),
                          .limit = glue_put_matrix(out, "limit", 2 * p, inferred)};
    sa_status status = sa_batch_fit(&col, f, s, count, largest, &set, n_threads,
                                    n_threads > 1 ? poll_by_catch : glue_poll, NULL, work, &r);
    UNPROTECT(1);
    if (status == SA_INTERRUPTED)
        return R_NilValue;
    if (status != SA_OK)
        Rf_error("internal error: batch status %d", (int)status);
    return out;
}

/* Hardness and its variance (NaN where cov is NULL) of each row: n x 2. `group`: 1-based
 * column of `par` and `cov` (packed lower triangles); 0: unknown, NA. */
SEXP sa_call_batch_hardness(SEXP model, SEXP group, SEXP temp_k, SEXP time, SEXP ref_k, SEXP par,
                            SEXP cov)
{
    const sa_model_kind kind = glue_model(model);
    const size_t p = sa_model_parameters(kind).n_par, half = p * (p + 1) / 2;
    const R_xlen_t rn = Rf_xlength(group), rg = Rf_xlength(ref_k);
    const int *g = glue_integers(group, rn, "group");
    const double *t = glue_doubles(temp_k, rn, "temp_k"), *min = glue_doubles(time, rn, "time");
    const double *ref = glue_doubles(ref_k, rg, "ref_k");
    const double *b = glue_doubles(par, rg * (R_xlen_t)p, "par");
    const double *v = optional_doubles(cov, rg * (R_xlen_t)half, "cov");
    SEXP out = PROTECT(Rf_allocMatrix(REALSXP, (int)rn, 2));
    double *x = REAL(out), gradient[SA_MODEL_MAX_PAR];
    for (R_xlen_t i = 0; i < rn; i++) {
        glue_poll_each(i);
        x[i] = x[i + rn] = NA_REAL;
        if (g[i] < 1 || g[i] > rg || ISNAN(min[i]))
            continue;
        const size_t k = (size_t)g[i] - 1;
        const double log_time = min[i] > 0.0 ? log(min[i]) : -INFINITY;
        const double e = ISNAN(t[i]) && min[i] == 0.0 ? 0.0 : sa_inverse_temperature(t[i], ref[k]);
        sa_clock one = {.n = 1, .coordinate = &e, .log_time = &log_time};
        double h;
        if (ISNAN(e) || sa_model_hardness(kind, &one, b + k * p, &h, gradient))
            continue;
        x[i] = h;
        if (!v)
            continue;
        const double *tri = v + k * half;
        double sum = 0.0;
        for (size_t j = 0; j < p; j++)
            for (size_t l = 0; l <= j; l++)
                sum += (j == l ? 1.0 : 2.0) * gradient[j] * gradient[l] * *tri++;
        x[i + rn] = sum;
    }
    UNPROTECT(1);
    return out;
}

/* Marks the rows that differ from the row before in one column; equal strings of one encoding
 * share their CHARSXP. */
#define MARK_CHANGES(x)                                                                            \
    for (R_xlen_t i = 1; i < n; i++) {                                                             \
        glue_poll_each(i);                                                                         \
        begins[i] |= order ? x[order[i] - 1] != x[order[i - 1] - 1] : x[i] != x[i - 1];            \
    }

static void mark_changes(SEXP column, const int *order, R_xlen_t n, unsigned char *begins)
{
    switch (TYPEOF(column)) {
    case LGLSXP:
    case INTSXP: {
        const int *x = INTEGER_RO(column);
        MARK_CHANGES(x)
        break;
    }
    case REALSXP: {
        const double *x = REAL_RO(column);
        MARK_CHANGES(x)
        break;
    }
    case STRSXP: {
        const SEXP *x = STRING_PTR_RO(column);
        MARK_CHANGES(x)
        break;
    }
    default:
        Rf_error("internal error: a key column has the wrong type");
    }
}

/* First rows (0-based places in `order`, or in the table where that is NULL) of the runs in
 * which all key columns keep their value. */
SEXP sa_call_runs(SEXP columns, SEXP order, SEXP length)
{
    const R_xlen_t n = (R_xlen_t)glue_integer(length, "length"), keys = Rf_xlength(columns);
    if (n < 0 || TYPEOF(columns) != VECSXP)
        Rf_error("internal error: 'columns' has the wrong type or length");
    const int *o = optional_order(order, n, "order");
    R_xlen_t runs = 0;
    unsigned char *begins = (unsigned char *)R_alloc((size_t)n + 1, 1);
    memset(begins, 0, (size_t)n + 1);
    begins[0] = n > 0;
    for (R_xlen_t k = 0; k < keys; k++) {
        if (Rf_xlength(glue_part(columns, k)) != n)
            Rf_error("internal error: a key column has the wrong length");
        mark_changes(glue_part(columns, k), o, n, begins);
    }
    for (R_xlen_t i = 0; i < n; i++)
        runs += begins[i];
    SEXP out = PROTECT(Rf_allocVector(INTSXP, runs));
    int *at = INTEGER(out);
    for (R_xlen_t i = 0; i < n; i++)
        if (begins[i])
            *at++ = (int)i;
    UNPROTECT(1);
    return out;
}

/* Many groups with parameters in common. rows: coordinate, log_time, hardness, root, groups together;
 * groups: first (from 0), size; settings: kind, common, held, lower, upper, max_iterations, ftol; start:
 * p x groups. */
SEXP sa_call_shared(SEXP rows, SEXP groups, SEXP settings, SEXP start)
{
    const char *fields[] = {"par", "triangle", "objective", "iterations", "converged", ""};
    const sa_model_kind kind = glue_model(glue_field(settings, "kind"));
    const R_xlen_t p = (R_xlen_t)sa_model_parameters(kind).n_par;
    const R_xlen_t n = Rf_xlength(glue_field(rows, "hardness"));
    const R_xlen_t count = Rf_xlength(glue_field(groups, "first"));
    sa_shared fit = {.kind = kind,
                     .groups = (size_t)count,
                     .first = glue_integers(glue_field(groups, "first"), count, "first"),
                     .size = glue_integers(glue_field(groups, "size"), count, "size"),
                     .coordinate = glue_field_doubles(rows, "coordinate", n),
                     .log_time = glue_field_doubles(rows, "log_time", n),
                     .hardness = glue_field_doubles(rows, "hardness", n),
                     .root = glue_field_doubles(rows, "root", n),
                     .common = glue_flags(settings, "common", p),
                     .held = glue_flags(settings, "held", p),
                     .lower = glue_field_doubles(settings, "lower", p),
                     .upper = glue_field_doubles(settings, "upper", p),
                     .max_iterations = (int)glue_whole(glue_field_double(settings, "max_iterations"), 1,
                                                       1e6, "max_iterations"),
                     .ftol = glue_field_double(settings, "ftol"),
                     .poll = glue_poll};
    size_t s = 0;
    for (R_xlen_t j = 0; j < p; j++)
        s += fit.common[j] && !fit.held[j];
    for (R_xlen_t g = 0; g < count; g++) {
        if (fit.first[g] < 0 || fit.size[g] < 0 || (R_xlen_t)fit.first[g] + fit.size[g] > n)
            Rf_error("internal error: group %d lies outside the rows", (int)g + 1);
        if ((size_t)fit.size[g] > fit.largest)
            fit.largest = (size_t)fit.size[g];
    }
    const size_t work = sa_shared_work(&fit);
    if (work == 0 || s == 0)
        Rf_error("internal error: no common parameter, or a group too large");
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    double *par = glue_put_matrix(out, "par", (size_t)p, fit.groups);
    memcpy(par, glue_doubles(start, p * count, "start"), (size_t)(p * count) * sizeof(double));
    int iterations;
    double *triangle = glue_put_matrix(out, "triangle", s, s);
    double *objective = glue_put_doubles(out, "objective", 1);
    const sa_status status = sa_shared_fit(&fit, par, triangle, objective, &iterations,
                                           (double *)R_alloc(work, sizeof(double)));
    glue_put_integers(out, "iterations", 1)[0] = iterations;
    glue_put(out, "converged", Rf_ScalarLogical(status == SA_OK));
    if (status != SA_OK && status != SA_LIMIT)
        *objective = NA_REAL;
    UNPROTECT(1);
    return out;
}
