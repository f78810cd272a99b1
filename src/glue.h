/* Shared by init.c and the glue files: SEXP in, SEXP out, nothing else. */
#ifndef SA_GLUE_H
#define SA_GLUE_H

#define R_NO_REMAP
#define STRICT_R_HEADERS
#include <R.h>
#include <Rinternals.h>
#include <R_ext/Rdynload.h>
#include <string.h>

#include "status.h"

/* by way of void (*)(void), the one cast between function types that compilers allow */
#define CALLDEF(name, n) {#name, (DL_FUNC)(void (*)(void)) & name, n}

/* Read-only view of a double vector of a given length (length < 0: any). A wrong
 * type or length here is an error of this package, not of its user. */
static inline const double *glue_doubles(SEXP x, R_xlen_t length, const char *what)
{
    if (TYPEOF(x) != REALSXP || (length >= 0 && Rf_xlength(x) != length))
        Rf_error("internal error: '%s' has the wrong type or length", what);
    return REAL_RO(x);
}

static inline const int *glue_integers(SEXP x, R_xlen_t length, const char *what)
{
    if (TYPEOF(x) != INTSXP || (length >= 0 && Rf_xlength(x) != length))
        Rf_error("internal error: '%s' has the wrong type or length", what);
    return INTEGER_RO(x);
}

/* Part k of a list that must have one. */
static inline SEXP glue_part(SEXP list, R_xlen_t k)
{
    if (TYPEOF(list) != VECSXP || k < 0 || k >= Rf_xlength(list))
        Rf_error("internal error: a list has the wrong type or length");
    return VECTOR_ELT(list, k);
}

/* Place of a name in a named vector or list; one that is missing is an error of this package. */
static inline R_xlen_t glue_place(SEXP x, const char *name)
{
    SEXP names = Rf_getAttrib(x, R_NamesSymbol);
    const R_xlen_t n = TYPEOF(names) == STRSXP ? Rf_xlength(names) : 0;
    for (R_xlen_t k = 0; k < n; k++)
        if (strcmp(CHAR(STRING_ELT(names, k)), name) == 0)
            return k;
    Rf_error("internal error: '%s' is missing", name);
}

/* Field of a named list. */
static inline SEXP glue_field(SEXP list, const char *name)
{
    if (TYPEOF(list) != VECSXP)
        Rf_error("internal error: no list with '%s'", name);
    return VECTOR_ELT(list, glue_place(list, name));
}

/* A result into its field of a list of Rf_mkNamed(), and the result again. */
static inline SEXP glue_put(SEXP list, const char *name, SEXP value)
{
    return SET_VECTOR_ELT(list, glue_place(list, name), value);
}

static inline double *glue_put_doubles(SEXP list, const char *name, size_t n)
{
    return REAL(glue_put(list, name, Rf_allocVector(REALSXP, (R_xlen_t)n)));
}

static inline int *glue_put_integers(SEXP list, const char *name, size_t n)
{
    return INTEGER(glue_put(list, name, Rf_allocVector(INTSXP, (R_xlen_t)n)));
}

static inline double *glue_put_matrix(SEXP list, const char *name, size_t rows, size_t cols)
{
    return REAL(glue_put(list, name, Rf_allocMatrix(REALSXP, (int)rows, (int)cols)));
}

static inline int *glue_put_table(SEXP list, const char *name, size_t rows, size_t cols)
{
    return INTEGER(glue_put(list, name, Rf_allocMatrix(INTSXP, (int)rows, (int)cols)));
}

/* Texts of C as a character vector. */
static inline SEXP glue_put_texts(SEXP list, const char *name, const sa_word *text, size_t n)
{
    SEXP out = glue_put(list, name, Rf_allocVector(STRSXP, (R_xlen_t)n));
    for (size_t i = 0; i < n; i++)
        SET_STRING_ELT(out, (R_xlen_t)i, Rf_mkChar(text[i]));
    return out;
}

/* Integers of which each lies from `low` to `high`: places in another vector. */
static inline const int *glue_places(SEXP x, R_xlen_t length, int low, R_xlen_t high,
                                     const char *what)
{
    const int *at = glue_integers(x, length, what);
    const R_xlen_t n = Rf_xlength(x);
    for (R_xlen_t i = 0; i < n; i++)
        if (at[i] < low || at[i] > high)
            Rf_error("internal error: '%s' is out of range", what);
    return at;
}

/* An order of `n` things: each place once, from `low`. */
static inline const int *glue_order(SEXP x, R_xlen_t n, int low, const char *what)
{
    const int *at = glue_places(x, n, low, n - 1 + low, what);
    char *met = R_alloc((size_t)n + 1, 1);
    memset(met, 0, (size_t)n + 1);
    for (R_xlen_t i = 0; i < n; i++)
        if (met[at[i] - low]++)
            Rf_error("internal error: '%s' names a place twice", what);
    return at;
}

/* Where each of `count` parts begins, and the end: from 0 to `n` without a fall. */
static inline const int *glue_cuts(SEXP x, R_xlen_t count, R_xlen_t n, const char *what)
{
    const int *at = glue_places(x, count + 1, 0, n, what);
    for (R_xlen_t k = 1; k <= count; k++)
        if (at[k] < at[k - 1])
            Rf_error("internal error: '%s' falls", what);
    if (at[0] != 0 || at[count] != n)
        Rf_error("internal error: '%s' does not cover all", what);
    return at;
}

/* A whole number within limits that is kept as double. */
static inline double glue_whole(double x, double low, double high, const char *what)
{
    if (!(x >= low && x <= high))
        Rf_error("internal error: '%s' is out of range", what);
    return x;
}

/* The user's wish to stop, for loops of kernels: all memory is R's, so that a jump from there
 * leaks nothing. */
static inline int glue_poll(void *context)
{
    (void)context;
    R_CheckUserInterrupt();
    return 0;
}

/* The same from loops over elements, every 16384 of them. */
static inline void glue_poll_each(R_xlen_t i)
{
    if (i % 16384 == 16383)
        R_CheckUserInterrupt();
}

static inline double glue_double(SEXP x, const char *what)
{
    return glue_doubles(x, 1, what)[0];
}

static inline int glue_integer(SEXP x, const char *what)
{
    return glue_integers(x, 1, what)[0];
}

/* Fields of a list of settings: doubles (length < 0: any), one number, one truth. */
static inline const double *glue_field_doubles(SEXP list, const char *name, R_xlen_t length)
{
    return glue_doubles(glue_field(list, name), length, name);
}

static inline double glue_field_double(SEXP list, const char *name)
{
    return glue_double(glue_field(list, name), name);
}

static inline int glue_field_true(SEXP list, const char *name)
{
    SEXP x = glue_field(list, name);
    if (TYPEOF(x) != LGLSXP || Rf_xlength(x) != 1 || LOGICAL_RO(x)[0] == NA_LOGICAL)
        Rf_error("internal error: '%s' must be TRUE or FALSE", name);
    return LOGICAL_RO(x)[0];
}

static inline const int *glue_flags(SEXP list, const char *name, R_xlen_t length)
{
    SEXP x = glue_field(list, name);
    if (TYPEOF(x) != LGLSXP || Rf_xlength(x) != length)
        Rf_error("internal error: '%s' has the wrong type or length", name);
    return LOGICAL_RO(x);
}

/* Doubles of a field that may be NULL. */
static inline const double *glue_field_optional(SEXP list, const char *name, R_xlen_t length)
{
    SEXP x = glue_field(list, name);
    return x == R_NilValue ? NULL : glue_doubles(x, length, name);
}

#endif
