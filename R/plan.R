# The plan of an annealing run: specimens, furnaces, accumulated steps, clock times, what to expect,
# and what is against it. Bench units throughout; the timetable is in plan-schedule.R.

# Time to fish a specimen out of water, dry it and check that it is cold, in min: common practice,
# no source.
WATER_COOLING <- 2
# Share of the softening at which it counts as over.
FINISHED <- 0.95

#' Plan an annealing run
#'
#' Timetable of a run of accumulated annealing steps for sessions of given length: which specimen
#' goes into which furnace when, how long it heats up, when it comes out, when it is cold and is
#' read, and what hardness to expect. A temperature that would be finished before its first
#' reading draws a warning.
#'
#' **Specimens.** Each specimen stays at one temperature and is read before its first anneal and after
#' every step; `time_min` is its accumulated time at temperature. Each step starts from cold, so
#' the specimen stays in the furnace for the step and its heat-up allowance: the minutes in the furnace that
#' do not count, which are those of [heat_up()] less their equivalent time ([equivalent_time()]) at
#' the activation energy of the guess, and less that of the cooling, to a quarter of a minute. So
#' readings of such a run belong to `time_min`, and a fit of them without a temperature history is not
#' biased by the heat-up. The allowance is known to a factor of three at best; `temperatures` gives its
#' range. A step that is shorter than its allowance is noted.
#'
#' **Timetable.** One hardness tester, and one person who opens the furnaces: door events never
#' overlap. With `n_operators = 1` the same person reads. Each furnace has one temperature at a
#' time, takes all specimens of that temperature, and climbs to its next one when the last specimen
#' is out, which takes `furnace_change_min`. Order and furnaces are searched: as many steps as possible
#' within the sessions, if need be without the last steps of a specimen, then the earliest end. What does
#' not fit into a session goes into the next one, up to `sessions`; what then is left has `NA`
#' times, with one warning. No step runs over the end of a session.
#'
#' **Homologous temperature.** T / T_m in K with the solidus of the metal as T_m. Pure metals
#' recrystallise in an hour near 0.4, commercial alloys up to 0.7 (Callister).
#'
#' **What to expect.** Hardness, softened fraction and t50 are predicted from
#' the guess, with the middle 90 % of its draws. Softening counts as over at a fraction of 0.95. The
#' predictions take the time at temperature alone.
#'
#' @param temp_c Temperatures in degrees Celsius, one per specimen (or a group of specimens, see
#'   `specimens_per_temp`); or a
#'   data frame with the columns `temp_c` and `time_min`, one row per step, and optionally
#'   `specimen`.
#' @param time_min Accumulated times at temperature in min, rising; or a list of such vectors,
#'   one per temperature.
#' @param guess What is known of the kinetics: [plan_guess()], or a fit of [fit_softening()].
#' @param ... Must be empty.
#' @param n_readings Readings per step.
#' @param specimens_per_temp Number of specimens at each temperature.
#' @param specimen Names of the specimens; made from temperature and number when `NULL`.
#' @param baseline Whether each specimen is read before its first anneal.
#' @param thickness_mm,width_mm,length_mm Size of a specimen in mm.
#' @param scale Hardness scale of the readings, see [choose_scale()].
#' @param min_hardness Softest reading to expect, on `scale`; `NULL` to convert it from the guess.
#' @param diameter_mm,margin_mm See [indent_layout()].
#' @param furnaces Number of furnaces.
#' @param session_min Length of a session in min, from the first to the last action.
#' @param sessions Number of sessions.
#' @param start Clock time at which each session starts, as `"HH:MM"`.
#' @param warmup_min Minutes from the start of a session until the furnaces are at temperature; 0
#'   when they were switched on before.
#' @param furnace_change_min Minutes a furnace needs to reach and hold its next temperature.
#' @param n_operators `1`: the same person opens the furnaces and reads; `2`: another one reads.
#' @param reading_min Minutes for one reading.
#' @param handling_min Minutes from opening a furnace to having hands free again.
#' @param tolerance_c Cooling counts as done within so many degrees Celsius of the room.
#' @param support `"block"`: flat on a steel block in the furnace; `"free"`: on a grid. See
#'   [heat_up()].
#' @param heat_up_min Heat-up allowance in min (see Specimens), one or one per temperature (rows of
#'   `temperatures`, in their order), instead of the computed one.
#' @param cooling `"block"`: on a cold steel block; `"air"`: on a grid in still air; `"water"`:
#'   quenched, two minutes with drying and checking (common practice, no source).
#' @param cool_min Minutes until the specimen is cold, instead of the computed ones.
#' @param ambient_c Temperature of the room in degrees Celsius.
#' @return An object of class `softanneal_plan`, a list with
#'   * `steps`, a data frame with one row per step in order of time: `specimen`, `furnace`, `temp_c`
#'     (degrees Celsius), `step` (0 before the first anneal), `time_min` (accumulated), `hold_min`,
#'     `heat_up_min`, `furnace_min` (both together), `cool_min`; `session`, and in min from its
#'     start `in_min`, `out_min`, `cold_min`, `read_min`, `end_min`; the same as clock times
#'     `in_clock`, `out_clock`, `cold_clock`, `read_clock`, `end_clock` (text); `readings`;
#'     `softening` (expected softened fraction), `hardness`, `hardness_low`, `hardness_high` (scale of the
#'     guess), and the same as the dial will show it, `dial`, `dial_low`, `dial_high` (on `scale`; `NA` where
#'     the conversion table does not reach). A step that finds no place has `NA` times.
#'   * `temperatures`, one row per temperature: `temp_c`, `homologous`, `furnace`, `pieces`,
#'     `first_min`, `last_min`, `heat_up_min`, `heat_up_low_min`, `heat_up_high_min`, `cool_min`,
#'     `t50_min`, `t50_low_min`, `t50_high_min` (min to half softening), `finished` (share of the
#'     draws in which softening is over before the first reading), `note`.
#'   * `layout` (from [indent_layout()], the same for every specimen), `guess`, `cautions`,
#'     `settings`, and after [improve_plan()] `improvement`.
#'
#'   `as.data.frame()` gives the steps; `tidy()` the standard errors to expect, see
#'   [tidy.softanneal_plan()]; `glance()` one row; `autoplot()` the timetable
#'   or the curves to expect.
#' @section Errors:
#'   `softanneal_error_range` for a temperature at or above the solidus, accumulated times that
#'   are not positive or fall, a strip too small for one reading, a session too short for any
#'   step, or sizes that are not positive; `softanneal_error_column`, `softanneal_error_argument`.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @source Homologous temperatures: Callister W D, *Materials Science and Engineering*, ch. 7. Order of
#'   furnaces: Graham R L (1969) SIAM J. Appl. Math. 17, 416 \doi{10.1137/0117039}.
#' @seealso [improve_plan()], [bench_sheet()], [plan_guess()], [cautions()]
#' @examples
#' guess <- plan_guess("C26000", recryst_1h_c = 330)
#' plan <- plan_anneal(c(290, 320, 350), c(4, 8, 16, 32), guess, furnaces = 2)
#' plan
#' head(as.data.frame(plan)[c("specimen", "step", "in_clock", "out_clock", "read_clock")])
#' @order 1
#' @export
plan_anneal <- function(temp_c, time_min, guess = plan_guess(), ..., n_readings = 6,
                        specimens_per_temp = 1,
                        specimen = NULL, baseline = TRUE, thickness_mm = 0.95, width_mm = 20,
                        length_mm = 80, scale = "HR30T", min_hardness = NULL, diameter_mm = NULL,
                        margin_mm = 10, furnaces = 1, session_min = 180, sessions = 1,
                        start = "09:00", warmup_min = 0, furnace_change_min = 40, n_operators = 2,
                        reading_min = 0.5, handling_min = 1, tolerance_c = 2,
                        support = c("block", "free"), heat_up_min = NULL,
                        cooling = c("block", "air", "water"), cool_min = NULL, ambient_c = 20) {
  check_dots_empty(...)
  guess <- check_guess(guess)
  positive <- \(x, arg) check_number(in_unit(x, sub(".*_", "", arg), arg, 0, open = TRUE), arg)
  set <- list(
    n_readings = check_number(n_readings, "n_readings", 1, 1000, whole = TRUE),
    baseline = check_flag(baseline, "baseline"),
    thickness_mm = positive(thickness_mm, "thickness_mm"),
    width_mm = positive(width_mm, "width_mm"), length_mm = positive(length_mm, "length_mm"),
    scale = check_string(scale, "scale"),
    min_hardness = check_number(min_hardness, "min_hardness", null = TRUE),
    diameter_mm = diameter_mm, margin_mm = margin_mm,
    furnaces = check_number(furnaces, "furnaces", 1, 100, whole = TRUE),
    session_min = check_number(session_min, "session_min", 0, 1440, open = TRUE),
    sessions = check_number(sessions, "sessions", 1, 1000, whole = TRUE),
    start = check_clock(start), warmup_min = check_number(warmup_min, "warmup_min", 0),
    furnace_change_min = check_number(furnace_change_min, "furnace_change_min", 0),
    n_operators = check_number(n_operators, "n_operators", 1, 2, whole = TRUE),
    reading_min = check_number(reading_min, "reading_min", 0, open = TRUE),
    handling_min = check_number(handling_min, "handling_min", 0, open = TRUE),
    tolerance_c = check_number(tolerance_c, "tolerance_c", 0.01),
    support = check_choice(support, c("block", "free"), "support"), heat_up_min = heat_up_min,
    cooling = check_choice(cooling, c("block", "air", "water"), "cooling"), cool_min = cool_min,
    ambient_c = check_number(ambient_c, "ambient_c", -ZERO_CELSIUS))
  treatments <- if (is.data.frame(temp_c)) {
    if (!missing(time_min) || !missing(specimens_per_temp) || !is.null(specimen)) {
      abort("argument", "`time_min`, `specimens_per_temp` and `specimen` have no use beside a table",
            arg = "temp_c", remedy = "Give them as columns, or give vectors.")
    }
    treatments_of_table(temp_c)
  } else {
    treatments_of_vectors(temp_c, time_min, specimens_per_temp, specimen)
  }
  check_below_solidus(treatments$temp_c, "temp_c", guess$alloy)
  build_plan(treatments, guess, set)
}

build_plan <- function(treatments, guess, set) {
  pieces <- treatments[!duplicated(treatments$specimen), c("specimen", "temp_c")]
  temperatures <- allowances(sort(unique(pieces$temp_c)), guess, set)
  of_piece <- match(treatments$specimen, pieces$specimen)
  at <- match(treatments$temp_c, temperatures$temp_c)
  step <- stats::ave(of_piece, of_piece, FUN = seq_along)
  before <- c(NA, treatments$time_min[-nrow(treatments)])
  steps <- data.frame(
    piece = of_piece, step = as.integer(step), time_min = treatments$time_min,
    hold_min = treatments$time_min - ifelse(step == 1, 0, before),
    heat_up_min = temperatures$heat_up_min[at], cool_min = temperatures$cool_min[at])
  if (set$baseline) {
    zero <- data.frame(piece = seq_len(nrow(pieces)), step = 0L, time_min = 0, hold_min = 0,
                       heat_up_min = 0, cool_min = 0)
    steps <- rbind(zero, steps)
  }
  steps <- steps[order(steps$piece, steps$step), ]
  most <- max(steps$step) + set$baseline
  layout <- plan_layout(guess, set, most)
  timing <- set[c("session_min", "sessions", "furnace_change_min", "handling_min", "n_operators",
                  "furnaces")]
  timing$warm_up <- set$warmup_min
  timing$reading_min <- ceiling(set$n_readings * set$reading_min)
  booked <- book_run(pieces, steps, timing)
  steps <- booked$steps
  pieces$furnace <- booked$furnace
  temperatures$furnace <- pieces$furnace[match(temperatures$temp_c, pieces$temp_c)]
  steps <- finish_steps(steps, pieces, guess, set)
  plan <- structure(
    list(steps = steps, temperatures = expectations(temperatures, treatments, guess),
         layout = layout, guess = guess, cautions = plan_cautions(temperatures$temp_c, guess, set),
         settings = set), class = "softanneal_plan")
  tell_unbooked(plan, booked$sessions)
  tell_finished(plan)
  plan
}

plan_layout <- function(guess, set, steps) {
  softest <- set$min_hardness
  if (is.null(softest) && is.null(set$diameter_mm)) {
    softest <- guess$par[["h_soft"]]
    if (!guess$scale %in% c(set$scale, "as read")) {
      softest <- if (is.na(guess$conversion)) NA_real_ else withCallingHandlers(
        convert_hardness(softest, guess$scale, set$scale, material = guess$conversion),
        softanneal_warning_outside = function(w) invokeRestart("muffleWarning"))
    }
    if (is.na(softest)) {
      abort("range", paste0("the softest reading cannot be converted from ", guess$scale, " to ",
                            set$scale), arg = "min_hardness",
            remedy = "Give `min_hardness` on the scale of the readings, or `diameter_mm`.")
    }
  }
  indent_layout(set$width_mm, set$length_mm, n_readings = set$n_readings, steps = steps, hardness = softest,
                scale = set$scale, diameter_mm = set$diameter_mm, margin_mm = set$margin_mm)
}

# Hardness on the scale of the guess as the dial of the plan shows it; NA where no table reaches.
expected_on_dial <- function(hardness, guess, scale) {
  if (guess$scale %in% c(scale, "as read")) return(hardness)
  none <- rep(NA_real_, length(hardness))
  if (is.na(guess$conversion)) return(none)
  tryCatch(in_scale(hardness, guess$scale, scale, guess$conversion), softanneal_error = function(e) none)
}

plan_cautions <- function(temp_c, guess, set) {
  process <- c("furnace", "annealing", if (set$cooling == "water") "quenching", "indenting")
  out <- cautions(process, temp_c = max(temp_c))
  if (guess$alloy$material %in% c("copper", "aluminium 1100", "carbon steel")) {
    out <- out[!grepl("brass|zinc", paste(out$hazard, out$precaution)), , drop = FALSE]
  }
  out
}

# Common axis into sessions and clock times; expected values beside; order of time.
finish_steps <- function(steps, pieces, guess, set) {
  axis <- c("in_min", "out_min", "cold_min", "read_min", "end_min")
  session <- floor(ifelse(is.na(steps$in_min), steps$read_min, steps$in_min) / set$session_min +
                     1e-9)
  last <- floor(steps$read_min / set$session_min + 1e-9)
  # a step counts as booked when its reading is in the sessions, and all steps before it
  booked <- !is.na(last) & last < set$sessions
  booked <- as.logical(stats::ave(as.integer(booked), steps$piece, FUN = cummin))
  steps[!booked, axis] <- NA_real_
  session[!booked] <- last[!booked] <- NA_real_
  for (column in c("in_min", "out_min", "cold_min")) {
    steps[[column]] <- steps[[column]] - session * set$session_min
  }
  for (column in c("read_min", "end_min")) {
    steps[[column]] <- steps[[column]] - last * set$session_min
  }
  temp_c <- pieces$temp_c[steps$piece]
  h <- guess_hardness(guess, temp_c, steps$time_min)
  share <- guess_share(guess, temp_c, steps$time_min)[1L, ]
  spread <- middle(h[-1L, , drop = FALSE])
  out <- data.frame(specimen = pieces$specimen[steps$piece], furnace = pieces$furnace[steps$piece],
                    temp_c = temp_c, steps[c("step", "time_min", "hold_min", "heat_up_min")],
                    furnace_min = steps$hold_min + steps$heat_up_min, cool_min = steps$cool_min,
                    session = as.integer(session + 1), read_session = as.integer(last + 1),
                    steps[axis])
  for (column in axis) {
    out[[sub("_min", "_clock", column)]] <- clock_text(set$start + steps[[column]])
  }
  out$readings <- as.integer(set$n_readings)
  out$softening <- share
  out$hardness <- h[1L, ]
  out$hardness_low <- spread[1L, ]
  out$hardness_high <- spread[2L, ]
  out[c("dial", "dial_low", "dial_high")] <- lapply(out[c("hardness", "hardness_low", "hardness_high")],
                                                    expected_on_dial, guess, set$scale)
  first <- ifelse(is.na(out$in_min), out$read_min, out$in_min)
  out <- out[order(out$session, first, steps$piece, out$step), , drop = FALSE]
  rownames(out) <- NULL
  out
}
