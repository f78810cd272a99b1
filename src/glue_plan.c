/* Between R and design.c: types and lengths in, one list out. Random starts are drawn in R;
 * each is improved in turn, and the best plan is returned. */
#include "glue_plan.h"
#include "design.h"
#include "glue_fit.h"
#include "timetable.h"
#include <math.h>
#include <string.h>

/* settings: weight, steps at time zero, aim, target, most steps, furnace minutes, and 1 to
 * improve the starts or 0 to value them only. */
enum { S_WEIGHT, S_AT_START, S_AIM, S_TARGET, S_STEPS, S_MINUTES, S_IMPROVE, S_COUNT };

SEXP sa_call_design(SEXP model, SEXP draws, SEXP parameters, SEXP temperatures, SEXP minutes,
                    SEXP settings, SEXP aim_coordinate, SEXP start_temp, SEXP start_read)
{
    const sa_model_kind kind = glue_model(model);
    const size_t p = sa_model_parameters(kind).n_par;
    const double *set = glue_doubles(settings, S_COUNT, "settings");
    const R_xlen_t n_temp = Rf_xlength(glue_part(temperatures, 0));
    const R_xlen_t n_time = Rf_xlength(minutes), n_draw = Rf_xlength(draws) / (R_xlen_t)p;
    const R_xlen_t n_start = Rf_ncols(start_temp), n_piece = Rf_nrows(start_temp);

    if (n_temp < 1 || n_time < 1 || n_draw < 1 || n_piece < 1)
        Rf_error("internal error: sizes of the plan");
    double *log_time = (double *)R_alloc((size_t)n_time, sizeof(double));
    const double *min = glue_doubles(minutes, n_time, "minutes");
    for (R_xlen_t i = 0; i < n_time; i++)
        log_time[i] = log(min[i]);
    const sa_design d = {
        .kind = kind,
        .n_draw = (size_t)n_draw,
        .draws = glue_doubles(draws, n_draw * (R_xlen_t)p, "draws"),
        .estimated = glue_integers(glue_part(parameters, 0), (R_xlen_t)p, "estimated"),
        .floor = glue_doubles(glue_part(parameters, 1), (R_xlen_t)p, "floor"),
        .n_temp = (size_t)n_temp,
        .n_time = (size_t)n_time,
        .coordinate = glue_doubles(glue_part(temperatures, 0), n_temp, "coordinate"),
        .log_time = log_time,
        .minutes = min,
        .heat_up = glue_doubles(glue_part(temperatures, 1), n_temp, "heat_up"),
        .weight = set[S_WEIGHT],
        .at_start = set[S_AT_START],
        .aim = (sa_design_aim)(int)glue_whole(set[S_AIM], SA_AIM_DETERMINANT,
                                              SA_AIM_LN_TIME_HARDNESS, "aim"),
        .n_aim = (size_t)Rf_xlength(aim_coordinate),
        .aim_coordinate = glue_doubles(aim_coordinate, -1, "aim_coordinate"),
        .target = set[S_TARGET],
        .max_steps = (size_t)glue_whole(set[S_STEPS], 0.0, 2147483647.0, "steps"),
        .furnace_minutes = set[S_MINUTES],
        .poll = glue_poll};
    const int *temps = glue_places(start_temp, n_start * n_piece, 0, n_temp - 1, "start_temp");
    const int *reads = glue_integers(start_read, n_start * n_piece * n_time, "start_read");

    const char *names[] = {"temp", "read", "values", "counted", "status", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    SEXP best_temp = Rf_allocVector(INTSXP, n_piece);
    SET_VECTOR_ELT(out, 0, best_temp);
    SEXP best_read = Rf_allocMatrix(INTSXP, (int)n_time, (int)n_piece);
    SET_VECTOR_ELT(out, 1, best_read);
    SEXP values = Rf_allocVector(REALSXP, n_start);
    SET_VECTOR_ELT(out, 2, values);
    SEXP counted_out = Rf_allocVector(LGLSXP, n_draw);
    SET_VECTOR_ELT(out, 3, counted_out);
    SEXP status = Rf_allocVector(INTSXP, 1);
    SET_VECTOR_ELT(out, 4, status);
    memset(INTEGER(best_temp), 0, (size_t)n_piece * sizeof(int));
    memset(INTEGER(best_read), 0, (size_t)(n_piece * n_time) * sizeof(int));
    for (R_xlen_t k = 0; k < n_start; k++)
        REAL(values)[k] = R_PosInf;

    const size_t table_size = sa_design_table_size(&d);
    if (table_size == 0)
        Rf_error("internal error: sizes of the plan");
    double *table = (double *)R_alloc(table_size, sizeof(double));
    double *work = (double *)R_alloc(sa_design_work_size(&d), sizeof(double));
    int *counted = LOGICAL(counted_out);
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
        if (set[S_IMPROVE] != 0.0)
            state = sa_design_improve(&d, table, counted, &plan, &value, &rounds, work);
        else
            value = sa_design_value(&d, table, counted, &plan, work);
        REAL(values)[k] = value;
        if (value < best) {
            best = value;
            memcpy(INTEGER(best_temp), plan.temp, (size_t)n_piece * sizeof(int));
            for (size_t i = 0; i < cells; i++)
                INTEGER(best_read)[i] = plan.read[i];
        }
    }
    INTEGER(status)[0] = (int)state;
    UNPROTECT(1);
    return out;
}

static SEXP field(SEXP list, const char *name)
{
    SEXP names = Rf_getAttrib(list, R_NamesSymbol);
    if (TYPEOF(list) == VECSXP && TYPEOF(names) == STRSXP)
        for (R_xlen_t k = 0; k < Rf_xlength(names); k++)
            if (strcmp(CHAR(STRING_ELT(names, k)), name) == 0)
                return VECTOR_ELT(list, k);
    Rf_error("internal error: '%s' is missing", name);
}

static double field_number(SEXP list, const char *name)
{
    return glue_double(field(list, name), name);
}

static size_t field_count(SEXP list, const char *name)
{
    const double x = field_number(list, name);
    if (!(x >= 1.0 && x <= 1e6))
        Rf_error("internal error: '%s' is out of range", name);
    return (size_t)x;
}

/* Ranks or places below `n`, and for the first step of each piece rising to the end. */
static const int *below(SEXP list, const char *name, R_xlen_t length, R_xlen_t n, int rising)
{
    const int *x = glue_integers(field(list, name), length, name);
    for (R_xlen_t i = 0; i < length; i++)
        if (x[i] < 0 || x[i] >= n || (rising && i > 0 && x[i] <= x[i - 1]))
            Rf_error("internal error: '%s' is out of range", name);
    return x;
}

SEXP sa_call_timetable(SEXP run, SEXP rounds, SEXP seed)
{
    const R_xlen_t n_piece = Rf_xlength(field(run, "temp"));
    const R_xlen_t n_step = Rf_xlength(field(run, "heated"));
    const size_t n_temp = field_count(run, "temperatures");
    const sa_run r = {.n_piece = (size_t)n_piece,
                      .n_step = (size_t)n_step,
                      .n_temp = n_temp,
                      .n_furnace = field_count(run, "furnaces"),
                      .first = below(run, "first", n_piece + 1, n_step + 1, 1),
                      .temp = below(run, "temp", n_piece, (R_xlen_t)n_temp, 0),
                      .heated = glue_integers(field(run, "heated"), n_step, "heated"),
                      .furnace_min = glue_doubles(field(run, "furnace_min"), n_step, "furnace_min"),
                      .cool_min = glue_doubles(field(run, "cool_min"), n_step, "cool_min"),
                      .session_min = field_number(run, "session_min"),
                      .warm_up_min = field_number(run, "warm_up_min"),
                      .change_min = field_number(run, "change_min"),
                      .handling_min = field_number(run, "handling_min"),
                      .reading_min = field_number(run, "reading_min"),
                      .sessions = field_count(run, "sessions"),
                      .one_operator = field_number(run, "operators") < 2.0,
                      .may_drop = field_number(run, "may_drop") > 0.0,
                      .poll = glue_poll};
    if (n_piece < 1 || r.first[0] != 0 || r.first[n_piece] != (int)n_step || !(r.session_min > 0.0))
        Rf_error("internal error: the steps do not fit the pieces");
    const double trials = glue_double(rounds, "rounds");
    if (!(trials >= 0.0 && trials <= 1e9))
        Rf_error("internal error: 'rounds' is out of range");
    const char *names[] = {"furnace", "in", "out", "cold", "read", "end", "bound", ""};
    SEXP out = PROTECT(Rf_mkNamed(VECSXP, names));
    SEXP furnace = Rf_allocVector(INTSXP, (R_xlen_t)n_temp);
    SET_VECTOR_ELT(out, 0, furnace);
    double *column[5];
    for (int k = 0; k < 5; k++) {
        SEXP x = Rf_allocVector(REALSXP, n_step);
        SET_VECTOR_ELT(out, k + 1, x);
        column[k] = REAL(x);
    }
    sa_timetable best = {.furnace = INTEGER(furnace),
                         .in = column[0],
                         .out = column[1],
                         .cold = column[2],
                         .read = column[3],
                         .end = column[4]};
    double *number = (double *)R_alloc(sa_timetable_numbers(&r), sizeof(double));
    int *place = (int *)R_alloc(sa_timetable_places(&r), sizeof(int));
    sa_timetable_search(&r, (size_t)trials, (uint64_t)(unsigned)glue_integer(seed, "seed"), &best,
                        number, place);
    SET_VECTOR_ELT(out, 6, Rf_ScalarReal(sa_timetable_bound(&r)));
    UNPROTECT(1);
    return out;
}
