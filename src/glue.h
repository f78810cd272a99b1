/* Shared by init.c and the glue files: SEXP in, SEXP out, nothing else. */
#ifndef SA_GLUE_H
#define SA_GLUE_H

#define R_NO_REMAP
#define STRICT_R_HEADERS
#include <R.h>
#include <Rinternals.h>
#include <R_ext/Rdynload.h>

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

#endif
