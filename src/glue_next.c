/* What one more thing at the bench is worth: SEXP in, SEXP out. */
#include "glue_fit.h"
#include "glue_posterior.h"
#include "posterior_next.h"
#include <string.h>

#define MOST_UNKNOWNS 400

/* guess: kind, draws and sd (one column each), estimated, known. steps: coordinate, ln_time, inverse,
 * before, after, scale, piece, run, choice, pieces, runs, calibrated (of each choice). goal: code, target,
 * coordinate. */
SEXP sa_call_next(SEXP guess, SEXP steps, SEXP goal)
{
    const sa_model_kind kind = glue_model(glue_field(guess, "kind"));
    const size_t p = sa_model_parameters(kind).n_par;
    const R_xlen_t rp = (R_xlen_t)p, n = Rf_xlength(glue_field(steps, "coordinate"));
    const R_xlen_t draws = Rf_xlength(glue_field(guess, "draws")) / rp;
    const R_xlen_t choices = Rf_xlength(glue_field(steps, "calibrated"));
    SEXP aim = glue_field(goal, "coordinate");
    const sa_next f = {
        .kind = kind,
        .n_draw = (size_t)draws,
        .n = (size_t)n,
        .p = p,
        .draws = glue_field_doubles(guess, "draws", draws * rp),
        .sd = glue_field_doubles(guess, "sd", draws * SA_S_COUNT),
        .estimated = glue_integers(glue_field(guess, "estimated"), rp, "estimated"),
        .known = glue_field_doubles(guess, "known", rp * (rp + 1) / 2),
        .coordinate = glue_field_doubles(steps, "coordinate", n),
        .log_time = glue_field_doubles(steps, "ln_time", n),
        .inverse = glue_field_doubles(steps, "inverse", n),
        .before = glue_field_doubles(steps, "before", n),
        .after = glue_field_doubles(steps, "after", n),
        .scale = glue_field_doubles(steps, "scale", n),
        .n_piece = (size_t)glue_whole(glue_field_double(steps, "pieces"), 1, MOST_UNKNOWNS, "pieces"),
        .n_run = (size_t)glue_whole(glue_field_double(steps, "runs"), 0, SA_MOST_FURNACES + 1, "runs"),
        .piece = glue_places(glue_field(steps, "piece"), n, 0,
                             (R_xlen_t)glue_field_double(steps, "pieces") - 1, "piece"),
        .run = glue_places(glue_field(steps, "run"), n, -1,
                           (R_xlen_t)glue_field_double(steps, "runs") - 1, "run"),
        .choice = glue_places(glue_field(steps, "choice"), n, 0, choices, "choice"),
        .n_choice = (size_t)choices,
        .calibrated = glue_field_doubles(steps, "calibrated", choices),
        .aim = (sa_design_aim)*glue_places(glue_field(goal, "code"), 1, SA_AIM_ENERGY,
                                             SA_AIM_LN_TIME_HARDNESS, "code"),
        .n_aim = (size_t)Rf_xlength(aim),
        .aim_coordinate = glue_doubles(aim, -1, "aim_coordinate"),
        .target = glue_field_double(goal, "target"),
        .poll = glue_poll};
    if (n < 1 || draws < 1)
        Rf_error("internal error: nothing to value");
    const char *fields[] = {"value", "status", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, fields));
    double *value = glue_put_matrix(out, "value", (size_t)(1 + choices), (size_t)draws);
    memset(value, 0, (size_t)(draws * (1 + choices)) * sizeof(double));
    glue_put_integers(out, "status", 1)[0] =
        (int)sa_next_value(&f, value, (double *)R_alloc(sa_next_work(&f), sizeof(double)));
    UNPROTECT(1);
    return out;
}
