/* Rate laws for vectors of one common length. NA in gives NA out. */
#include "glue_kinetics.h"
#include "kinetics.h"
#include <math.h>

typedef double (*rate_law)(double, double, double, double, sa_jmak_form);

static SEXP each(SEXP x, SEXP k, SEXP n, SEXP theta0, SEXP form, rate_law law)
{
    const R_xlen_t length = Rf_xlength(x);
    const double *px = glue_doubles(x, length, "x"), *pk = glue_doubles(k, length, "k");
    const double *pn = glue_doubles(n, length, "n"), *p0 = glue_doubles(theta0, length, "theta0");
    const sa_jmak_form where = glue_integer(form, "form") ? SA_FORM_CONSTANT : SA_FORM_RATE;
    SEXP out = PROTECT(Rf_allocVector(REALSXP, length));
    double *value = REAL(out);
    for (R_xlen_t i = 0; i < length; i++) {
        glue_poll_each(i);
        int missing = ISNAN(px[i]) || ISNAN(pk[i]) || ISNAN(pn[i]) || ISNAN(p0[i]);
        value[i] = missing ? NA_REAL : law(px[i], pk[i], pn[i], p0[i], where);
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
    const R_xlen_t length = Rf_xlength(temp_c);
    const double *t = glue_doubles(temp_c, length, "temp_c"), *k = glue_doubles(k_ref, length, "k_ref");
    const double *ref = glue_doubles(temp_ref_c, length, "temp_ref_c");
    const double *energy = glue_doubles(q, length, "q");
    SEXP out = PROTECT(Rf_allocVector(REALSXP, length));
    double *value = REAL(out);
    for (R_xlen_t i = 0; i < length; i++) {
        glue_poll_each(i);
        int missing = ISNAN(t[i]) || ISNAN(k[i]) || ISNAN(ref[i]) || ISNAN(energy[i]);
        double e = sa_inverse_temperature(t[i] + SA_ZERO_CELSIUS, ref[i] + SA_ZERO_CELSIUS);
        value[i] = missing ? NA_REAL : k[i] * exp(energy[i] * e);
    }
    UNPROTECT(1);
    return out;
}
