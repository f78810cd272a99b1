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
    const double *x = glue_doubles(control, -1, "control");
    sa_lsq_control c = sa_lsq_defaults();
    c.ftol = x[glue_place(control, "ftol")];
    c.xtol = x[glue_place(control, "xtol")];
    c.gtol = x[glue_place(control, "gtol")];
    c.first_radius = x[glue_place(control, "initial_radius")];
    c.huber = x[glue_place(control, "huber")];
    c.max_iterations =
        (int)glue_whole(x[glue_place(control, "max_iterations")], 0.0, 2147483647.0, "max_iterations");
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

/* problem: residuals and jacobian (functions, the second may be NULL), start, lower, upper,
 * root_weight (may be NULL), size (number of residuals). */
SEXP sa_call_least_squares(SEXP problem, SEXP control)
{
    SEXP start = glue_field(problem, "start"), jac_fun = glue_field(problem, "jacobian");
    const char *fields[] = {"par",         "resid",     "jac",    "at_bound", "cov",
                            "singular",    "loading",   "rank",   "end",      "iterations",
                            "evaluations", "objective", "cosine", "scale",    ""};
    size_t n = (size_t)glue_whole(glue_field_double(problem, "size"), 0.0, 2147483647.0, "size"),
           p = (size_t)Rf_xlength(start);
    R_xlen_t rp = (R_xlen_t)p, rn = (R_xlen_t)n;
    glue_doubles(start, -1, "start");
    size_t need = sa_lsq_work(n, p);
    if (need == 0)
        Rf_error("internal error: problem too large");

    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    double *par = REAL(glue_put(out, "par", Rf_duplicate(start)));
    double *resid = glue_put_doubles(out, "resid", n), *jac = glue_put_matrix(out, "jac", n, p);
    int *at_bound = glue_put_integers(out, "at_bound", p);
    double *cov = glue_put_matrix(out, "cov", p, p), *singular = glue_put_doubles(out, "singular", p);
    double *loading = glue_put_doubles(out, "loading", p);
    SEXP call = PROTECT(Rf_lang1(glue_field(problem, "residuals")));
    SEXP jcall = PROTECT(jac_fun == R_NilValue ? R_NilValue : Rf_lang1(jac_fun));
    SEXP names = PROTECT(Rf_getAttrib(start, R_NamesSymbol));

    bridge b = {call,
                jcall,
                names,
                n,
                p,
                glue_field_doubles(problem, "lower", rp),
                glue_field_doubles(problem, "upper", rp),
                NULL,
                NULL};
    b.shifted = (double *)R_alloc(p, sizeof(double));
    b.side = (double *)R_alloc(2 * n + 1, sizeof(double));
    double *work = (double *)R_alloc(need, sizeof(double));
    const double *root_weight = glue_field_optional(problem, "root_weight", rn);
    sa_lsq_problem pb = {n, p, b.lower, b.upper, root_weight, NULL, bridge_residuals, &b};
    sa_lsq_control ctl = glue_control(control);
    sa_lsq_result res;
    memset(jac, 0, n * p * sizeof(double));
    memset(resid, 0, n * sizeof(double));
    memset(at_bound, 0, p * sizeof(int));
    sa_lsq_fit(&pb, &ctl, par, resid, jac, at_bound, work, &res);

    int *skip = (int *)R_alloc(p, sizeof(int));
    for (size_t j = 0; j < p; j++)
        skip[j] = at_bound[j] != 0;
    size_t rank = sa_covariance(jac, n, p, skip, 1e-11, cov, NULL, singular, loading, work);
    glue_put(out, "rank", Rf_ScalarInteger((int)rank));
    glue_put(out, "end", Rf_ScalarInteger((int)res.end));
    glue_put(out, "iterations", Rf_ScalarInteger(res.iterations));
    glue_put(out, "evaluations", Rf_ScalarInteger(res.evaluations));
    glue_put(out, "objective", Rf_ScalarReal(res.objective));
    glue_put(out, "cosine", Rf_ScalarReal(res.cosine));
    glue_put(out, "scale", Rf_ScalarReal(res.scale));
    UNPROTECT(4);
    return out;
}
