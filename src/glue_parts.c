/* The register of model parts for R: SEXP in, SEXP out. */
#include "glue_parts.h"
#include "batch.h"
#include <string.h>

static const char *const ROLES[SA_ROLES] = {"level",    "amplitude", "rate",  "energy",
                                            "exponent", "delay",     "strain"};
static const char *const RULES[] = {"table", "times", "top", "softest"};

sa_model_kind glue_model(SEXP model)
{
    int kind = glue_integer(model, "model");
    if (kind < 0 || kind >= SA_MOST_KINDS || kind % SA_WITH_STRAIN >= SA_MODELS ||
        kind / SA_WITH_SOFT_STRAIN % 2 > kind / SA_WITH_STRAIN % 2 || kind / SA_ONE_EXPONENT >= SA_MOST_EXPONENTS)
        Rf_error("internal error: unknown model %d", kind);
    return (sa_model_kind)kind;
}

static SEXP column(SEXP table, const char *name, SEXPTYPE type, int n)
{
    return glue_put(table, name, Rf_allocVector(type, n));
}

/* One list a table, of columns as they stand in parts.c. */
static SEXP all_terms(void)
{
    const char *names[] = {"name", "role", "process", "natural", "rule",
                           "low",  "high", "start",   ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    SEXP name = column(out, "name", STRSXP, SA_TERMS), role = column(out, "role", STRSXP, SA_TERMS);
    SEXP process = column(out, "process", STRSXP, SA_TERMS);
    SEXP rule = column(out, "rule", STRSXP, SA_TERMS);
    int *natural = LOGICAL(column(out, "natural", LGLSXP, SA_TERMS));
    double *low = REAL(column(out, "low", REALSXP, SA_TERMS));
    double *high = REAL(column(out, "high", REALSXP, SA_TERMS));
    double *start = REAL(column(out, "start", REALSXP, SA_TERMS));
    for (int i = 0; i < SA_TERMS; i++) {
        const sa_term *t = &sa_terms[i];
        SET_STRING_ELT(name, i, Rf_mkChar(t->name));
        SET_STRING_ELT(role, i, Rf_mkChar(ROLES[t->role]));
        SET_STRING_ELT(process, i,
                       Rf_mkChar(t->trades == SA_NO_PROCESS ? "" : sa_processes[t->trades].name));
        SET_STRING_ELT(rule, i, Rf_mkChar(RULES[t->rule]));
        natural[i] = t->natural != 0;
        low[i] = t->low;
        high[i] = t->high;
        start[i] = t->start;
    }
    UNPROTECT(1);
    return out;
}

static SEXP all_models(void)
{
    const char *names[] = {"name", "words", "terms", "plain", "usual", "line", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    SEXP name = column(out, "name", STRSXP, SA_MODELS);
    SEXP words = column(out, "words", STRSXP, SA_MODELS);
    SEXP terms = column(out, "terms", VECSXP, SA_MODELS);
    int *plain = LOGICAL(column(out, "plain", LGLSXP, SA_MODELS));
    int *usual = LOGICAL(column(out, "usual", LGLSXP, SA_MODELS));
    SEXP line = column(out, "line", STRSXP, SA_MODELS);
    for (int i = 0; i < SA_MODELS; i++) {
        SET_STRING_ELT(line, i, Rf_mkChar(sa_shape_lines[sa_models[i].shape]));
        const sa_model_layout at = sa_model_parameters((sa_model_kind)i);
        SET_STRING_ELT(name, i, Rf_mkChar(sa_models[i].name));
        SET_STRING_ELT(words, i, Rf_mkChar(sa_models[i].words));
        plain[i] = (int)sa_model_plain((sa_model_kind)i) == i;
        usual[i] = sa_models[i].usual;
        SEXP own = Rf_allocVector(STRSXP, (R_xlen_t)at.n_par);
        SET_VECTOR_ELT(terms, i, own);
        for (size_t j = 0; j < at.n_par; j++)
            SET_STRING_ELT(own, (R_xlen_t)j, Rf_mkChar(sa_model_term(&at, j)->name));
    }
    UNPROTECT(1);
    return out;
}

SEXP sa_call_parts(void)
{
    const char *names[] = {"terms",          "models",         "most_exponents", "states",
                           "ends",           "converged_ends", "group_statuses", "fitted_statuses",
                           "error_kinds",    "group_sums",     "group_counts",   ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    glue_put(out, "terms", all_terms());
    glue_put(out, "models", all_models());
    glue_put(out, "most_exponents", Rf_ScalarInteger(SA_MOST_EXPONENTS));
    glue_put_texts(out, "states", sa_parameter_states, SA_PARAMETER_STATES);
    glue_put_texts(out, "ends", sa_lsq_ends, SA_LSQ_ENDS);
    glue_put(out, "converged_ends", Rf_ScalarInteger(SA_END_LIMIT));
    glue_put_texts(out, "group_statuses", sa_group_statuses, SA_GROUP_STATUSES);
    glue_put(out, "fitted_statuses", Rf_ScalarInteger(SA_GROUP_TOO_FEW));
    glue_put_texts(out, "error_kinds", sa_error_kinds, SA_ERROR_KINDS);
    glue_put_texts(out, "group_sums", sa_batch_sums, SA_BATCH_SUMS);
    glue_put_texts(out, "group_counts", sa_batch_counts, SA_BATCH_COUNTS);
    UNPROTECT(1);
    return out;
}

/* options: strain (or not), soft_strain (or not), growth (exponent of grain growth; 0: none, else 2 to 4), exponents (how
 * many n). Returns the number of the model and the names of its parameters in order. */
SEXP sa_call_model(SEXP name, SEXP options)
{
    const int strain = glue_field_true(options, "strain");
    const int soft = strain && glue_field_true(options, "soft_strain");
    const int growth = *glue_places(glue_field(options, "growth"), 1, 0, 4, "growth");
    const int exponents =
        *glue_places(glue_field(options, "exponents"), 1, 1, SA_MOST_EXPONENTS, "exponents");
    if (TYPEOF(name) != STRSXP || Rf_xlength(name) != 1)
        Rf_error("internal error: no such model");
    int row = 0;
    while (row < SA_MODELS && strcmp(sa_models[row].name, CHAR(Rf_asChar(name))) != 0)
        row++;
    SEXP kind = PROTECT(Rf_ScalarInteger(row + (strain ? SA_WITH_STRAIN : 0) +
                                         (soft ? SA_WITH_SOFT_STRAIN : 0) +
                                         (growth > 0 ? (growth - 1) * SA_WITH_GROWTH : 0) +
                                         (exponents - 1) * SA_ONE_EXPONENT));
    const sa_model_layout at = sa_model_parameters(glue_model(kind));
    const char *names[] = {"kind", "terms", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    glue_put(out, "kind", kind);
    SEXP terms = column(out, "terms", STRSXP, (int)at.n_par);
    for (size_t j = 0; j < at.n_par; j++)
        SET_STRING_ELT(terms, (R_xlen_t)j, Rf_mkChar(sa_model_term(&at, j)->name));
    UNPROTECT(2);
    return out;
}

/* Ordinate of the Avrami plot at fractions: ln of (k t - theta0)^n. */
SEXP sa_call_shape_line(SEXP model, SEXP fraction)
{
    const sa_shape shape = sa_models[sa_model_core(glue_model(model))].shape;
    const R_xlen_t n = Rf_xlength(fraction);
    const double *x = glue_doubles(fraction, n, "fraction");
    SEXP out = PROTECT(Rf_allocVector(REALSXP, n));
    for (R_xlen_t i = 0; i < n; i++)
        REAL(out)[i] = sa_shape_line(shape, x[i]);
    UNPROTECT(1);
    return out;
}
