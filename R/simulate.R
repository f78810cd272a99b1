# Simulated hardness readings with known true values: a softening curve in HV, scatter of specimens,
# steps and readings, operators and machine, the dial, and blunders of the bench on
# request. Curve and conversion are the same compiled code that fits use. Deg C, min, HV.

# The invented workshop of the examples: brass strip, half of the recrystallisation in 12 min
# at 330 degrees Celsius.
WORKSHOP_TRUTH <- c(h_worked = 160, h_soft = 78, t50_rex_min = 12, n = 1.6, q_kj_mol = 140)

#' Hardness readings with known true values
#'
#' Draws the readings of an annealing experiment from stated true parameters: one specimen a
#' temperature, read before and after steps of accumulating time. For trying out a plan, for
#' checking an analysis, and for exercises.
#'
#' A reading is made in this order: the true hardness of the model (see [softening-models]) in HV, at the
#' temperature of its furnace run (off by `temp_c`, one value for all specimens of a set temperature, or for
#' each `furnace` of `schedule`) and the time it was in there (each step off by `time_min`, accumulated);
#' plus the effects of specimen (`specimen`), step (`step`) and place (`reading`), normal
#' with the standard deviations of `sd` in HV; converted to the scale of the dial with the
#' table of `material` ([convert_hardness()]); plus the effects of `operator` and `machine`
#' (one offset a scale), in points of that scale; rounded to the `resolution` of the dial.
#'
#' **Blunders** are drawn last, so that the same seed gives the same readings with and without
#' them. Each falls on a step of its own:
#'
#' | blunder | what happens |
#' |---|---|
#' | `outlier` | one reading is off by 8 to 14 times the scatter of readings, towards the middle of the curve |
#' | `mislabel` | the readings of two neighbouring steps of a specimen are swapped |
#' | `warm` | a step is read before the specimen is cold: 4 to 7 HV too soft, with a `note` |
#' | `forgotten` | one reading is not written down (`NA`) |
#'
#' @param parameters Named vector of true values: those of the model (see [softening-models]), in
#'   HV, kJ/mol and 1/min. Instead of `ln_k_ref` (logarithm of the rate in 1/min at
#'   `temp_ref_c`) you may give `t50_rex_min`: minutes to half of the recrystallisation there.
#' @param temp_c Temperatures in degrees Celsius, one specimen each.
#' @param time_min Accumulated times in min; 0 is before the furnace.
#' @param n_readings Readings per step.
#' @param scale Hardness scale of the dial; one, or one for each reading of a step.
#' @param ... Must be empty.
#' @param model Name of the model of the true values.
#' @param temp_ref_c Temperature of `t50_rex_min` or `ln_k_ref`, in degrees Celsius.
#' @param sd Named standard deviations, put in place of those of a real bench, [bench_errors()]: `reading`,
#'   `step`, `specimen` in HV; `operator`, `machine` in points of the scale; `temp_c` in degrees Celsius
#'   and `time_min` in min. For teaching one error at a time leave out the others:
#'   `bench_errors(only = c("step", "reading"))`.
#' @param resolution Step of the dial in points of the scale; 0 for exact numbers.
#' @param operators Names of operators, who take turns from step to step.
#' @param blunders Blunders wanted: names, or a named vector of counts, such as
#'   `c(outlier = 2, warm = 1)`.
#' @param specimen Names of the specimens, one for each temperature.
#' @param schedule Optional data frame with the columns `specimen`, `temp_c` and `time_min`, and
#'   optionally `furnace` (of the specimen), one row per step, instead of `temp_c`, `time_min` and `specimen`.
#' @param material Conversion table, see [conversion_tables()].
#' @param seed One whole number: the same readings everywhere, and `.Random.seed` is
#'   restored. `NULL` draws from the session.
#' @return A table of readings as from [read_readings()] with the columns `specimen`, `temp_c`
#'   (degrees Celsius), `step`, `time_min` (min), `reading`, `hardness`, `scale`, with `operators` also
#'   `operator`, with the blunder `warm` also `note`. Attribute `truth`: a list of `model`,
#'   `parameters`, `temp_ref_c`, `sd`, `hardness_hv` (true hardness of each row, HV), `clean`
#'   (the readings without blunders) and `blunders` (a table).
#' @section Errors:
#'   `softanneal_error_argument` for unknown parameters, blunders or lengths that do not fit;
#'   `softanneal_error_range` for values without physical meaning, or a hardness outside the
#'   conversion table or the scale; `softanneal_error_too_few` where there are not enough steps
#'   for the blunders.
#' @source Readings within a step as one-way random effects: Searle S R, Casella G, McCulloch C E (1992)
#'   Variance Components \doi{10.1002/9780470316856}, chapter 3. Scatter of the default: [bench_errors()].
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @seealso [simulate_class()] for a whole class with answer key; `simulate()` for new data from
#'   a fit ([fit-methods]).
#' @examples
#' r <- simulate_readings(seed = 12, scale = "HR30T")
#' r
#' coef(fit_softening(r))
#' attr(r, "truth")$parameters
#' # with blunders to be found
#' messy <- simulate_readings(seed = 12, blunders = c("outlier", "forgotten"))
#' attr(messy, "truth")$blunders
#' @export
simulate_readings <- function(parameters = WORKSHOP_TRUTH, temp_c = c(290, 330, 370, 410),
                              time_min = c(0, 4, 8, 16, 32, 64, 128), n_readings = 6,
                              scale = "HR30T", ..., model = "jmak", temp_ref_c = 330,
                              sd = bench_errors(), resolution = 0.5, operators = NULL,
                              blunders = NULL, specimen = NULL,
                              schedule = NULL, material = "brass", seed = NULL) {
  check_dots_empty(...)
  truth <- true_model(parameters, model, temp_ref_c)
  bench <- bench_settings(temp_c, time_min, n_readings, scale, sd, resolution, operators, blunders,
                          specimen, schedule, material)
  if (!is.null(seed)) {
    seed <- check_seed(seed)
    state <- keep_random()
    on.exit(restore_random(state), add = TRUE)
    set.seed(seed, kind = "Mersenne-Twister", normal.kind = "Inversion",
             sample.kind = "Rejection")
  }
  drawn <- draw_readings(truth, bench)
  out <- readings_like(drawn$data, data.frame())
  attr(out, "truth") <- list(model = truth$model, parameters = truth$par,
                             temp_ref_c = truth$temp_ref_c, sd = bench$sd,
                             hardness_hv = drawn$true_hv, clean = drawn$clean, blunders = drawn$blunders)
  label_columns(out)
}

# True values as a model of the fits: list(model, kind, par, temp_ref_c), par in the order of the
# model with ln_k_ref.
true_model <- function(parameters, model, temp_ref_c) {
  temp_ref_c <- check_number(temp_ref_c, "temp_ref_c", -ZERO_CELSIUS, open = TRUE)
  model <- check_model_name(model)
  x <- check_start_like(parameters, "parameters")
  half <- names(x) == "t50_rex_min"
  if (any(half)) check_number(x[[which(half)[1L]]], "t50_rex_min", 0, open = TRUE)
  x <- parameters_of(stats::setNames(x, ifelse(half, "ln_k_ref", names(x))), model)
  check_parameters(x, c("level", "exponent"))
  if (any(half)) {
    theta0 <- if ("theta0" %in% names(x)) x[["theta0"]] else 0
    x[["ln_k_ref"]] <- log(theta_at(model, 0.5, x[["n"]], theta0) / x[["ln_k_ref"]])
  }
  list(model = model, kind = model_code(model), par = x, temp_ref_c = temp_ref_c)
}

# True hardness in HV and its gradient: matrix(hardness, d hardness / d parameters).
true_hardness <- function(truth, temp_c, time_min) {
  .Call(C_sa_call_hardness, truth$kind, log(time_min),
        inverse_temperature(temp_c, truth$temp_ref_c), unname(truth$par))
}

# Everything about the bench, checked once: one row per reading, with the numbers of its specimen,
# step, operator and scale.
bench_settings <- function(temp_c, time_min, n_readings, scale, sd, resolution, operators,
                           blunders, specimen, schedule, material) {
  n_readings <- check_number(n_readings, "n_readings", 1, 1e5, whole = TRUE)
  steps <- if (is.null(schedule)) crossed_schedule(temp_c, time_min, specimen) else
    given_schedule(schedule, specimen)
  scale <- bench_scales(scale, n_readings, material)
  if (!is.null(operators) && (!is.character(operators) || !length(operators) ||
                              anyNA(operators))) {
    abort("argument", paste0("`operators` must be names, not ", describe(operators)),
          arg = "operators", remedy = "Give text, or leave it out.")
  }
  unknown <- if (is.null(names(sd))) "(unnamed)" else
    setdiff(names(sd), names(BENCH_SD))
  if (length(unknown)) {
    abort("argument", paste0("`sd` names unknown components ", in_quotes(unknown, " and ")),
          arg = "sd",
          remedy = paste0("Name any of ", in_quotes(names(BENCH_SD), " and "), "."))
  }
  all_sd <- replace(BENCH_SD, names(sd), check_numeric(sd, "sd", 0))
  row <- rep(seq_len(nrow(steps)), each = n_readings)
  list(steps = steps, row = row, reading = rep(seq_len(n_readings), nrow(steps)),
       scale = rep(scale, nrow(steps)), sd = all_sd, operators = operators,
       operator = if (!is.null(operators)) rep_len(seq_along(operators), nrow(steps))[row],
       resolution = check_number(resolution, "resolution", 0), blunders = check_blunders(blunders),
       material = material)
}

crossed_schedule <- function(temp_c, time_min, specimen) {
  temp_c <- check_temperature(temp_c, "temp_c")
  time_min <- check_numeric(time_min, "time_min", 0)
  for (arg in c("temp_c", "time_min")) {
    x <- get(arg)
    if (!length(x) || is.unsorted(sort(x), strictly = TRUE)) {
      abort("argument", paste0("`", arg, "` must hold at least one value, and each once"),
            arg = arg, remedy = "Use `schedule` for repeated conditions.")
    }
  }
  if (is.null(specimen)) {
    specimen <- if (length(temp_c) <= 26L) LETTERS[seq_along(temp_c)] else
      paste0("P", seq_along(temp_c))
  }
  specimen <- check_names(specimen, "specimen")
  if (length(specimen) != length(temp_c) || anyNA(specimen) || anyDuplicated(specimen)) {
    abort("argument", "`specimen` must name the specimen of each temperature", arg = "specimen",
          remedy = paste("Give", length(temp_c), "different names."))
  }
  times <- sort(time_min)
  data.frame(specimen = rep(specimen, each = length(times)),
             temp_c = rep(temp_c, each = length(times)),
             step = rep(seq_along(times) - any(times == 0), length(temp_c)),
             time_min = rep(times, length(temp_c)), furnace = rep(temp_c, each = length(times)))
}

given_schedule <- function(schedule, specimen) {
  check_data(schedule, "schedule")
  if (!is.null(specimen)) {
    abort("argument", "`specimen` and `schedule` both name the specimens", arg = "specimen",
          remedy = "Leave `specimen` out.")
  }
  name <- as.character(any_column(schedule, "specimen", "schedule"))
  temp_c <- numeric_column(schedule, "temp_c", "schedule", "degree_C", -ZERO_CELSIUS, open = TRUE)
  time_min <- numeric_column(schedule, "time_min", "schedule", "min", 0)
  if (anyNA(name)) {
    abort("missing", "`specimen` of the schedule must not be missing", arg = "specimen",
          rows = which(is.na(name)), remedy = "Name every specimen.")
  }
  order <- order(match(name, unique(name)), time_min)
  same <- duplicated(data.frame(name, temp_c, time_min))
  if (any(same)) {
    abort("duplicate", "`schedule` holds a step twice", arg = "schedule", rows = which(same),
          remedy = "List each step of a specimen once; `readings` gives how often it is read.")
  }
  furnace <- if ("furnace" %in% names(schedule)) as.character(any_column(schedule, "furnace", "schedule"))
  if (anyNA(furnace)) {
    abort("missing", "`furnace` of the schedule must not be missing", arg = "furnace",
          rows = which(is.na(furnace)), remedy = "Name the furnace of every step, or leave the column out.")
  }
  run <- if (is.null(furnace)) temp_c else paste(furnace, temp_c)
  out <- data.frame(specimen = name, temp_c = temp_c, time_min = time_min, furnace = run)[order, ]
  first <- !duplicated(out$specimen)
  number <- seq_len(nrow(out)) - which(first)[cumsum(first)]
  # step 0 is the reading before the furnace
  out$step <- number + (out$time_min[first] > 0)[cumsum(first)]
  rownames(out) <- NULL
  out[c("specimen", "temp_c", "step", "time_min", "furnace")]
}

bench_scales <- function(scale, n_readings, material) {
  if (!is.character(scale) || anyNA(scale) || !length(scale) %in% c(1, n_readings)) {
    abort("argument", paste0("`scale` must name one scale, or one for each of the ", n_readings,
                             " readings of a step"), arg = "scale",
          remedy = "See `hardness_scales()` for the names.")
  }
  known <- known_scale(scale)
  if (anyNA(known)) abort_scale(scale[is.na(known)][1L], "scale")
  # fails with the words of the conversion if the table lacks a scale
  scale_pairs(unique(known), "HV", table_of(material), material)
  rep_len(known, n_readings)
}
