/* The register of model parts for R: SEXP in, SEXP out. */
#include "glue_parts.h"
#include <string.h>

static const char *const ROLES[SA_ROLES] = {"level",    "amplitude", "rate",  "energy",
                                            "exponent", "delay",     "strain"};
static const char *const RULES[] = {"table", "times", "top", "softest"};

sa_model_kind glue_model(SEXP model)
{
    int kind = glue_integer(model, "model");
    if (kind < 0 || kind >= SA_MOST_KINDS || kind % SA_WITH_STRAIN >= SA_MODELS ||
        kind % SA_ONE_EXPONENT >= 4 * SA_WITH_GROWTH || kind / SA_ONE_EXPONENT >= SA_MOST_EXPONENTS)
        Rf_error("internal error: unknown model %d", kind);
    return (sa_model_kind)kind;
}

static SEXP column(SEXP table, int slot, SEXPTYPE type, int n)
{
    SET_VECTOR_ELT(table, slot, Rf_allocVector(type, n));
    return VECTOR_ELT(table, slot);
}

/* One list a table, of columns as they stand in parts.c. */
static SEXP all_terms(void)
{
    const char *names[] = {"name", "role", "process", "natural", "rule",
                           "low",  "high", "start",   ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    SEXP text[3], name = column(out, 0, STRSXP, SA_TERMS);
    text[0] = column(out, 1, STRSXP, SA_TERMS);
    text[1] = column(out, 2, STRSXP, SA_TERMS);
    text[2] = column(out, 4, STRSXP, SA_TERMS);
    int *natural = LOGICAL(column(out, 3, LGLSXP, SA_TERMS));
    double *number[3];
    for (int k = 0; k < 3; k++)
        number[k] = REAL(column(out, 5 + k, REALSXP, SA_TERMS));
    for (int i = 0; i < SA_TERMS; i++) {
        const sa_term *t = &sa_terms[i];
        SET_STRING_ELT(name, i, Rf_mkChar(t->name));
        SET_STRING_ELT(text[0], i, Rf_mkChar(ROLES[t->role]));
        SET_STRING_ELT(text[1], i,
                       Rf_mkChar(t->trades == SA_NO_PROCESS ? "" : sa_processes[t->trades].name));
        SET_STRING_ELT(text[2], i, Rf_mkChar(RULES[t->rule]));
        natural[i] = t->natural != 0;
        number[0][i] = t->low;
        number[1][i] = t->high;
        number[2][i] = t->start;
    }
    UNPROTECT(1);
    return out;
}

static SEXP all_models(void)
{
    const char *names[] = {"name", "words", "terms", "plain", "usual", "line", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    SEXP name = column(out, 0, STRSXP, SA_MODELS), words = column(out, 1, STRSXP, SA_MODELS);
    SEXP terms = column(out, 2, VECSXP, SA_MODELS);
    int *plain = LOGICAL(column(out, 3, LGLSXP, SA_MODELS));
    int *usual = LOGICAL(column(out, 4, LGLSXP, SA_MODELS));
    SEXP line = column(out, 5, STRSXP, SA_MODELS);
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
    const char *names[] = {"terms", "models", "most_exponents", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    SET_VECTOR_ELT(out, 0, all_terms());
    SET_VECTOR_ELT(out, 1, all_models());
    SET_VECTOR_ELT(out, 2, Rf_ScalarInteger(SA_MOST_EXPONENTS));
    UNPROTECT(1);
    return out;
}

/* options: strain (0 or 1), exponent of grain growth (0: none, else 2 to 4), how many n. Returns
 * the number of the model and the names of its parameters in order. */
SEXP sa_call_model(SEXP name, SEXP options)
{
    const int *set =
        glue_places(options, 3, 0, SA_MOST_EXPONENTS > 4 ? SA_MOST_EXPONENTS : 4, "options");
    if (set[0] > 1 || set[1] > 4 || set[2] < 1 || TYPEOF(name) != STRSXP || Rf_xlength(name) != 1)
        Rf_error("internal error: no such model");
    int row = 0;
    while (row < SA_MODELS && strcmp(sa_models[row].name, CHAR(Rf_asChar(name))) != 0)
        row++;
    SEXP kind = PROTECT(Rf_ScalarInteger(row + (set[0] ? SA_WITH_STRAIN : 0) +
                                         (set[1] > 0 ? (set[1] - 1) * SA_WITH_GROWTH : 0) +
                                         (set[2] - 1) * SA_ONE_EXPONENT));
    const sa_model_layout at = sa_model_parameters(glue_model(kind));
    const char *names[] = {"kind", "terms", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    SET_VECTOR_ELT(out, 0, kind);
    SEXP terms = column(out, 1, STRSXP, (int)at.n_par);
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
