/* Least squares of an R residual function: the bridge between the solver and R closures.
 * All memory is R's, so that an error or interrupt in the user's function leaks nothing,
 * and a fit may run inside a fit. */
#include "glue_fit.h"
#include "linear.h"
#include <float.h>
#include <math.h>
#include <string.h>

sa_lsq_control glue_control(SEXP control)
{
    const double *x = glue_doubles(control, 6, "control");
    sa_lsq_control c = sa_lsq_defaults();
    c.ftol = x[0];
    c.xtol = x[1];
    c.gtol = x[2];
    c.first_radius = x[3];
    c.huber = x[4];
    c.max_iterations = (int)glue_whole(x[5], 0.0, 2147483647.0, "max_iterations");
    return c;
}

typedef struct {
    SEXP resid_call, jac_call; /* calls f(par); jac_call is R_NilValue without */
    SEXP names;
    size_t n, p;
    const double *lower, *upper;
    double *shifted, *side; /* for differences: p and 2 n */
} bridge;

/* f(par) with a fresh named vector each time; the result is checked at every call. */
static int evaluate_closure(const bridge *b, SEXP call, const double *par, double *out,
                            size_t length)
{
    R_CheckUserInterrupt();
    SEXP arg = PROTECT(Rf_allocVector(REALSXP, (R_xlen_t)b->p));
    memcpy(REAL(arg), par, b->p * sizeof(double));
    Rf_setAttrib(arg, R_NamesSymbol, b->names);
    SEXP fresh = PROTECT(Rf_lang2(CAR(call), arg));
    SEXP value = PROTECT(Rf_eval(fresh, R_GlobalEnv));
    const double *v = glue_doubles(value, (R_xlen_t)length, "value of the residual function");
    int bad = 0;
    for (size_t i = 0; i < length; i++) {
        out[i] = v[i];
        bad |= !isfinite(v[i]);
    }
    UNPROTECT(3);
    return bad;
}

/* Central differences with step cbrt(eps) max(|x|, tiny); one-sided at a bound. */
static int difference_jacobian(const bridge *b, const double *par, const double *resid, double *jac)
{
    double *up = b->side, *down = b->side + b->n;
    memcpy(b->shifted, par, b->p * sizeof(double));
    for (size_t j = 0; j < b->p; j++) {
        double h = cbrt(DBL_EPSILON) * fmax(fabs(par[j]), 1e-4), high = par[j] + h,
               low = par[j] - h;
        if (b->upper && high > b->upper[j])
            high = par[j];
        if (b->lower && low < b->lower[j])
            low = par[j];
        const double *at_high = resid, *at_low = resid;
        if (high > par[j]) {
            b->shifted[j] = high;
            if (evaluate_closure(b, b->resid_call, b->shifted, up, b->n))
                high = par[j];
            else
                at_high = up;
        }
        if (low < par[j]) {
            b->shifted[j] = low;
            if (evaluate_closure(b, b->resid_call, b->shifted, down, b->n))
                low = par[j];
            else
                at_low = down;
        }
        b->shifted[j] = par[j];
        double width = high - low;
        if (!(width > 0.0)) {
            memset(jac + j * b->n, 0, b->n * sizeof(double)); /* no room to move */
            continue;
        }
        for (size_t i = 0; i < b->n; i++)
            jac[i + j * b->n] = (at_high[i] - at_low[i]) / width;
    }
    return 0;
}

static int bridge_residuals(const double *par, double *resid, double *jac, void *context)
{
    const bridge *b = context;
    if (evaluate_closure(b, b->resid_call, par, resid, b->n))
        return 1;
    if (!jac)
        return 0;
    if (b->jac_call == R_NilValue)
        return difference_jacobian(b, par, resid, jac);
    return evaluate_closure(b, b->jac_call, par, jac, b->n * b->p);
}

SEXP sa_call_least_squares(SEXP resid_fun, SEXP jac_fun, SEXP start, SEXP lower, SEXP upper,
                           SEXP root_weight, SEXP held, SEXP control, SEXP size)
{
    const char *fields[] = {"par",         "resid",     "jac",    "at_bound", "cov",
                            "singular",    "loading",   "rank",   "end",      "iterations",
                            "evaluations", "objective", "cosine", "scale",    ""};
    size_t n = (size_t)glue_whole(glue_double(size, "size"), 0.0, 2147483647.0, "size"),
           p = (size_t)Rf_xlength(start);
    R_xlen_t rp = (R_xlen_t)p, rn = (R_xlen_t)n;
    glue_doubles(start, -1, "start");
    size_t need = sa_lsq_work(n, p);
    if (need == 0)
        Rf_error("internal error: problem too large");

    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    SET_VECTOR_ELT(out, 0, Rf_duplicate(start));
    SET_VECTOR_ELT(out, 1, Rf_allocVector(REALSXP, rn));
    SET_VECTOR_ELT(out, 2, Rf_allocMatrix(REALSXP, (int)n, (int)p));
    SET_VECTOR_ELT(out, 3, Rf_allocVector(INTSXP, rp));
    SET_VECTOR_ELT(out, 4, Rf_allocMatrix(REALSXP, (int)p, (int)p));
    SET_VECTOR_ELT(out, 5, Rf_allocVector(REALSXP, rp));
    SET_VECTOR_ELT(out, 6, Rf_allocVector(REALSXP, rp));
    SEXP call = PROTECT(Rf_lang1(resid_fun));
    SEXP jcall = PROTECT(jac_fun == R_NilValue ? R_NilValue : Rf_lang1(jac_fun));
    SEXP names = PROTECT(Rf_getAttrib(start, R_NamesSymbol));

    bridge b = {call,
                jcall,
                names,
                n,
                p,
                glue_doubles(lower, rp, "lower"),
                glue_doubles(upper, rp, "upper"),
                NULL,
                NULL};
    b.shifted = (double *)R_alloc(p, sizeof(double));
    b.side = (double *)R_alloc(2 * n + 1, sizeof(double));
    double *work = (double *)R_alloc(need, sizeof(double));
    sa_lsq_problem pb = {
        n, p, b.lower, b.upper, NULL, glue_integers(held, rp, "held"), bridge_residuals, &b};
    if (root_weight != R_NilValue)
        pb.root_weight = glue_doubles(root_weight, rn, "root_weight");
    sa_lsq_control ctl = glue_control(control);
    sa_lsq_result res;
    double *par = REAL(VECTOR_ELT(out, 0)), *jac = REAL(VECTOR_ELT(out, 2));
    double *resid = REAL(VECTOR_ELT(out, 1));
    int *at_bound = INTEGER(VECTOR_ELT(out, 3));
    memset(jac, 0, n * p * sizeof(double));
    memset(resid, 0, n * sizeof(double));
    memset(at_bound, 0, p * sizeof(int));
    sa_lsq_fit(&pb, &ctl, par, resid, jac, at_bound, work, &res);

    int *skip = (int *)R_alloc(p, sizeof(int));
    for (size_t j = 0; j < p; j++)
        skip[j] = pb.held[j] || at_bound[j];
    size_t rank = sa_covariance(jac, n, p, skip, 1e-11, REAL(VECTOR_ELT(out, 4)), NULL,
                                REAL(VECTOR_ELT(out, 5)), REAL(VECTOR_ELT(out, 6)), work);
    SET_VECTOR_ELT(out, 7, Rf_ScalarInteger((int)rank));
    SET_VECTOR_ELT(out, 8, Rf_ScalarInteger((int)res.end));
    SET_VECTOR_ELT(out, 9, Rf_ScalarInteger(res.iterations));
    SET_VECTOR_ELT(out, 10, Rf_ScalarInteger(res.evaluations));
    SET_VECTOR_ELT(out, 11, Rf_ScalarReal(res.objective));
    SET_VECTOR_ELT(out, 12, Rf_ScalarReal(res.cosine));
    SET_VECTOR_ELT(out, 13, Rf_ScalarReal(res.scale));
    UNPROTECT(4);
    return out;
}
