/* Between R and design.c: types and lengths in, one list out. Random starts are drawn in R;
 * each is improved in turn, and the best plan is returned. */
#include "glue_plan.h"
#include "design.h"
#include "glue_fit.h"
#include "timetable.h"
#include <math.h>
#include <string.h>

/* guess: kind, draws (one column each), estimated, floor (least information, and after it the packed
 * information before the run where there is any). allowed: coordinate,
 * heat_up (min), minutes. settings: weight, at_start (steps at time zero), max_steps,
 * furnace_min, improve (the starts, or value them only). goal: code, target, coordinate.
 * starts: temp (places in `allowed`, from 0), read (1: a step at that time), one column per start. */
SEXP sa_call_design(SEXP guess, SEXP allowed, SEXP settings, SEXP goal, SEXP starts)
{
    const sa_model_kind kind = glue_model(glue_field(guess, "kind"));
    const size_t p = sa_model_parameters(kind).n_par;
    SEXP minutes = glue_field(allowed, "minutes"), draws = glue_field(guess, "draws");
    SEXP start_temp = glue_field(starts, "temp"), start_read = glue_field(starts, "read");
    SEXP aim_coordinate = glue_field(goal, "coordinate");
    const R_xlen_t n_temp = Rf_xlength(glue_field(allowed, "coordinate"));
    const R_xlen_t n_time = Rf_xlength(minutes), n_draw = Rf_xlength(draws) / (R_xlen_t)p;
    const R_xlen_t n_start = Rf_ncols(start_temp), n_piece = Rf_nrows(start_temp);
    const int improve = glue_field_true(settings, "improve");

    if (n_temp < 1 || n_time < 1 || n_draw < 1 || n_piece < 1)
        Rf_error("internal error: sizes of the plan");
    double *log_time = (double *)R_alloc((size_t)n_time, sizeof(double));
    const double *min = glue_doubles(minutes, n_time, "minutes");
    for (R_xlen_t i = 0; i < n_time; i++)
        log_time[i] = log(min[i]);
    const double *floor = glue_field_doubles(
        guess, "floor",
        (R_xlen_t)(Rf_xlength(glue_field(guess, "floor")) > (R_xlen_t)p ? p + p * (p + 1) / 2 : p));
    const sa_design d = {
        .kind = kind,
        .n_draw = (size_t)n_draw,
        .draws = glue_doubles(draws, n_draw * (R_xlen_t)p, "draws"),
        .estimated = glue_integers(glue_field(guess, "estimated"), (R_xlen_t)p, "estimated"),
        .floor = floor,
        .known = Rf_xlength(glue_field(guess, "floor")) > (R_xlen_t)p ? floor + p : NULL,
        .n_temp = (size_t)n_temp,
        .n_time = (size_t)n_time,
        .coordinate = glue_field_doubles(allowed, "coordinate", n_temp),
        .log_time = log_time,
        .minutes = min,
        .heat_up = glue_field_doubles(allowed, "heat_up", n_temp),
        .weight = glue_field_double(settings, "weight"),
        .at_start = glue_field_double(settings, "at_start"),
        .aim = (sa_design_aim)*glue_places(glue_field(goal, "code"), 1, SA_AIM_DETERMINANT,
                                             SA_AIM_LN_TIME_HARDNESS, "code"),
        .n_aim = (size_t)Rf_xlength(aim_coordinate),
        .aim_coordinate = glue_doubles(aim_coordinate, -1, "aim_coordinate"),
        .target = glue_field_double(goal, "target"),
        .max_steps = (size_t)*glue_places(glue_field(settings, "max_steps"), 1, 0, 1000000, "max_steps"),
        .furnace_minutes = glue_field_double(settings, "furnace_min"),
        .poll = glue_poll};
    const int *temps = glue_places(start_temp, n_start * n_piece, 0, n_temp - 1, "start_temp");
    const int *reads = glue_integers(start_read, n_start * n_piece * n_time, "start_read");

    const char *names[] = {"temp", "read", "values", "counted", "finite", "at_limit", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    int *best_temp = glue_put_integers(out, "temp", (size_t)n_piece);
    int *best_read = glue_put_table(out, "read", (size_t)n_time, (size_t)n_piece);
    double *values = glue_put_doubles(out, "values", (size_t)n_start);
    int *counted = LOGICAL(glue_put(out, "counted", Rf_allocVector(LGLSXP, n_draw)));
    memset(best_temp, 0, (size_t)n_piece * sizeof(int));
    memset(best_read, 0, (size_t)(n_piece * n_time) * sizeof(int));
    for (R_xlen_t k = 0; k < n_start; k++)
        values[k] = R_PosInf;

    const size_t table_size = sa_design_table_size(&d);
    if (table_size == 0)
        Rf_error("internal error: sizes of the plan");
    double *table = (double *)R_alloc(table_size, sizeof(double));
    double *work = (double *)R_alloc(sa_design_work_size(&d), sizeof(double));
    size_t n_counted = 0;
    sa_status state = sa_design_prepare(&d, table, counted, &n_counted);

    const size_t cells = (size_t)(n_piece * n_time);
    sa_design_plan plan = {(size_t)n_piece, (int *)R_alloc((size_t)n_piece, sizeof(int)),
                           (unsigned char *)R_alloc(cells, 1)};
    double best = R_PosInf;
    for (R_xlen_t k = 0; k < n_start && state == SA_OK && n_counted > 0; k++) {
        R_CheckUserInterrupt();
        memcpy(plan.temp, temps + k * n_piece, (size_t)n_piece * sizeof(int));
        for (size_t i = 0; i < cells; i++)
            plan.read[i] = (unsigned char)(reads[(size_t)k * cells + i] != 0);
        double value;
        size_t rounds;
        if (improve)
            state = sa_design_improve(&d, table, counted, &plan, &value, &rounds, work);
        else
            value = sa_design_value(&d, table, counted, &plan, work);
        values[k] = value;
        if (value < best) {
            best = value;
            memcpy(best_temp, plan.temp, (size_t)n_piece * sizeof(int));
            for (size_t i = 0; i < cells; i++)
                best_read[i] = plan.read[i];
        }
    }
    glue_put(out, "finite", Rf_ScalarLogical(state == SA_OK || state == SA_LIMIT));
    glue_put(out, "at_limit", Rf_ScalarLogical(state == SA_LIMIT));
    UNPROTECT(1);
    return out;
}

static size_t field_count(SEXP list, const char *name)
{
    const double x = glue_field_double(list, name);
    if (!(x >= 1.0 && x <= 1e6))
        Rf_error("internal error: '%s' is out of range", name);
    return (size_t)x;
}

/* Ranks or places below `n`, and for the first step of each piece rising to the end. */
static const int *below(SEXP list, const char *name, R_xlen_t length, R_xlen_t n, int rising)
{
    const int *x = glue_integers(glue_field(list, name), length, name);
    for (R_xlen_t i = 0; i < length; i++)
        if (x[i] < 0 || x[i] >= n || (rising && i > 0 && x[i] <= x[i - 1]))
            Rf_error("internal error: '%s' is out of range", name);
    return x;
}

SEXP sa_call_timetable(SEXP run, SEXP rounds, SEXP seed)
{
    const R_xlen_t n_piece = Rf_xlength(glue_field(run, "temp"));
    const R_xlen_t n_step = Rf_xlength(glue_field(run, "heated"));
    const size_t n_temp = field_count(run, "temperatures");
    const sa_run r = {.n_piece = (size_t)n_piece,
                      .n_step = (size_t)n_step,
                      .n_temp = n_temp,
                      .n_furnace = field_count(run, "furnaces"),
                      .first = below(run, "first", n_piece + 1, n_step + 1, 1),
                      .temp = below(run, "temp", n_piece, (R_xlen_t)n_temp, 0),
                      .heated = glue_integers(glue_field(run, "heated"), n_step, "heated"),
                      .furnace_min = glue_doubles(glue_field(run, "furnace_min"), n_step, "furnace_min"),
                      .cool_min = glue_doubles(glue_field(run, "cool_min"), n_step, "cool_min"),
                      .session_min = glue_field_double(run, "session_min"),
                      .warm_up_min = glue_field_double(run, "warm_up_min"),
                      .change_min = glue_field_double(run, "change_min"),
                      .handling_min = glue_field_double(run, "handling_min"),
                      .reading_min = glue_field_double(run, "reading_min"),
                      .sessions = field_count(run, "sessions"),
                      .one_operator = glue_field_double(run, "operators") < 2.0,
                      .may_drop = glue_field_double(run, "may_drop") > 0.0,
                      .poll = glue_poll};
    if (n_piece < 1 || r.first[0] != 0 || r.first[n_piece] != (int)n_step || !(r.session_min > 0.0))
        Rf_error("internal error: the steps do not fit the pieces");
    const double trials = glue_double(rounds, "rounds");
    if (!(trials >= 0.0 && trials <= 1e9))
        Rf_error("internal error: 'rounds' is out of range");
    const char *names[] = {"furnace", "in", "out", "cold", "read", "end", "bound", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    sa_timetable best = {.furnace = glue_put_integers(out, "furnace", n_temp),
                         .in = glue_put_doubles(out, "in", (size_t)n_step),
                         .out = glue_put_doubles(out, "out", (size_t)n_step),
                         .cold = glue_put_doubles(out, "cold", (size_t)n_step),
                         .read = glue_put_doubles(out, "read", (size_t)n_step),
                         .end = glue_put_doubles(out, "end", (size_t)n_step)};
    double *number = (double *)R_alloc(sa_timetable_numbers(&r), sizeof(double));
    int *place = (int *)R_alloc(sa_timetable_places(&r), sizeof(int));
    sa_timetable_search(&r, (size_t)trials, (uint64_t)(unsigned)glue_integer(seed, "seed"), &best,
                        number, place);
    glue_put(out, "bound", Rf_ScalarReal(sa_timetable_bound(&r)));
    UNPROTECT(1);
    return out;
}
