/* .Call interface of heat.c: several pieces in one call. Columns of the matrices are named
 * in R/heat.R (run_heat), which builds them; s and K throughout. */
#include "glue_heat.h"
#include "heat.h"

enum { PIECE_COLUMNS = 10, REQUEST_COLUMNS = 4 };

/* Slices [first[i], first[i + 1]) of a vector of `length` values. */
static void check_slices(const int *first, R_xlen_t pieces, R_xlen_t length, const char *what)
{
    int sound = first[0] == 0 && first[pieces] == length;
    for (R_xlen_t i = 0; sound && i < pieces; i++)
        sound = first[i] <= first[i + 1];
    if (!sound)
        Rf_error("internal error: '%s' does not fit", what);
}

/* pieces: n x 10; requests: n x 4; knots: list(time, temp_a, temp_b), concatenated. */
SEXP sa_call_heat(SEXP pieces, SEXP requests, SEXP knots, SEXP knot_first, SEXP out_time,
                  SEXP out_first)
{
    const R_xlen_t n = Rf_xlength(pieces) / PIECE_COLUMNS;
    const double *p = glue_doubles(pieces, n * PIECE_COLUMNS, "pieces");
    const double *q = glue_doubles(requests, n * REQUEST_COLUMNS, "requests");
    const R_xlen_t n_knots = Rf_xlength(glue_field(knots, "time_s"));
    const double *time = glue_field_doubles(knots, "time_s", n_knots);
    const double *temp_a = glue_field_doubles(knots, "above_k", n_knots);
    const double *temp_b = glue_field_doubles(knots, "below_k", n_knots);
    const int *first = glue_integers(knot_first, n + 1, "knot_first");
    const double *out = glue_doubles(out_time, -1, "out_time");
    const int *out_at = glue_integers(out_first, n + 1, "out_first");
    check_slices(first, n, n_knots, "knot_first");
    check_slices(out_at, n, Rf_xlength(out_time), "out_first");

    const char *names[] = {"temp", "time_within", "end_time", "end_temp", "status", ""};
    SEXP result = PROTECT(Rf_mkNamed(VECSXP, names));
    double *temp = glue_put_doubles(result, "temp", (size_t)Rf_xlength(out_time));
    double *within = glue_put_doubles(result, "time_within", (size_t)n);
    double *end_time = glue_put_doubles(result, "end_time", (size_t)n);
    double *end_temp = glue_put_doubles(result, "end_temp", (size_t)n);
    int *status = glue_put_integers(result, "status", (size_t)n);

    for (R_xlen_t i = 0; i < n; i++) {
        R_CheckUserInterrupt();
        const sa_piece piece = {p[i],         p[i + n],     p[i + 2 * n], p[i + 3 * n],
                                p[i + 4 * n], p[i + 5 * n], p[i + 6 * n], p[i + 7 * n],
                                p[i + 8 * n], p[i + 9 * n]};
        const sa_surroundings around = {time + first[i], temp_a + first[i], temp_b + first[i],
                                        (size_t)(first[i + 1] - first[i])};
        const sa_heat_request request = {
            q[i],         q[i + n],        q[i + 2 * n],
            q[i + 3 * n], out + out_at[i], (size_t)(out_at[i + 1] - out_at[i]), glue_poll, NULL};
        sa_heat_answer answer = {temp + out_at[i], 0, 0, 0};
        status[i] = (int)sa_heat_run(&piece, &around, &request, &answer);
        within[i] = answer.time_within;
        end_time[i] = answer.end_time;
        end_temp[i] = answer.end_temp;
    }
    UNPROTECT(1);
    return result;
}
