/* Rate laws for vectors of one common length, or of length 1. NA in gives NA out. */
#include "glue_kinetics.h"
#include "kinetics.h"
#include <math.h>

/* A vector of which a single value serves all. */
typedef struct {
    const double *at;
    R_xlen_t step;
} recycled;

static recycled glue_recycled(SEXP x, R_xlen_t length, const char *what)
{
    const R_xlen_t own = Rf_xlength(x);
    return (recycled){glue_doubles(x, own == 1 ? 1 : length, what), own == 1 ? 0 : 1};
}

static double value_at(const recycled *x, R_xlen_t i)
{
    return x->at[i * x->step];
}

/* The length of the longest, 0 where one is empty. */
static R_xlen_t common_length(const SEXP *x, int count)
{
    R_xlen_t length = 1;
    for (int k = 0; k < count; k++) {
        const R_xlen_t own = Rf_xlength(x[k]);
        if (own != 1)
            length = own;
    }
    return length;
}

typedef double (*rate_law)(double, double, double, double, sa_jmak_form);

static SEXP each(SEXP x, SEXP k, SEXP n, SEXP theta0, SEXP form, rate_law law)
{
    const R_xlen_t length = common_length((SEXP[]){x, k, n, theta0}, 4);
    const recycled rx = glue_recycled(x, length, "x"), rk = glue_recycled(k, length, "k");
    const recycled rn = glue_recycled(n, length, "n"), r0 = glue_recycled(theta0, length, "theta0");
    const sa_jmak_form where = glue_integer(form, "form") ? SA_FORM_CONSTANT : SA_FORM_RATE;
    SEXP out = PROTECT(Rf_allocVector(REALSXP, length));
    double *value = REAL(out);
    for (R_xlen_t i = 0; i < length; i++) {
        glue_poll_each(i);
        const double xi = value_at(&rx, i), ki = value_at(&rk, i);
        const double ni = value_at(&rn, i), t0 = value_at(&r0, i);
        int missing = ISNAN(xi) || ISNAN(ki) || ISNAN(ni) || ISNAN(t0);
        value[i] = missing ? NA_REAL : law(xi, ki, ni, t0, where);
    }
    UNPROTECT(1);
    return out;
}

SEXP sa_call_jmak_fraction(SEXP time, SEXP k, SEXP n, SEXP theta0, SEXP form)
{
    return each(time, k, n, theta0, form, sa_jmak_fraction);
}

SEXP sa_call_jmak_time(SEXP fraction, SEXP k, SEXP n, SEXP theta0, SEXP form)
{
    return each(fraction, k, n, theta0, form, sa_jmak_time);
}

SEXP sa_call_arrhenius(SEXP temp_c, SEXP k_ref, SEXP temp_ref_c, SEXP q)
{
    const R_xlen_t length = common_length((SEXP[]){temp_c, k_ref, temp_ref_c, q}, 4);
    const recycled t = glue_recycled(temp_c, length, "temp_c");
    const recycled k = glue_recycled(k_ref, length, "k_ref");
    const recycled ref = glue_recycled(temp_ref_c, length, "temp_ref_c");
    const recycled energy = glue_recycled(q, length, "q");
    SEXP out = PROTECT(Rf_allocVector(REALSXP, length));
    double *value = REAL(out);
    for (R_xlen_t i = 0; i < length; i++) {
        glue_poll_each(i);
        const double ti = value_at(&t, i), ki = value_at(&k, i);
        const double ri = value_at(&ref, i), qi = value_at(&energy, i);
        int missing = ISNAN(ti) || ISNAN(ki) || ISNAN(ri) || ISNAN(qi);
        double e = sa_inverse_temperature(ti + SA_ZERO_CELSIUS, ri + SA_ZERO_CELSIUS);
        value[i] = missing ? NA_REAL : ki * exp(qi * e);
    }
    UNPROTECT(1);
    return out;
}
