# Better plans: temperatures and times from allowed ones, by the exchange algorithm of
# src/design.c. Here candidates, limits and random starts are made, and the result is put on the
# timetable again.

#' Improve a plan
#'
#' Picks the temperature of each specimen and its reading times from the allowed ones so that what
#' is asked becomes as certain as it can be, within the same limits as the plan given.
#'
#' | aim | criterion, averaged over the draws of the guess |
#' |---|---|
#' | `"q"` | ln of the variance of the activation energy |
#' | `"t50"` | ln of the variance of ln time to half softening at `at_c` (mean over them) |
#' | `"hardness"` | ln of the variance of ln time to `hardness` at `at_c` (mean over them) |
#' | `"determinant"` | -ln determinant of the information, per parameter |
#'
#' The variance is that of linear theory; the information of a step is
#' `1 / (sd_step^2 + sd_reading^2 / n)` of the guess, since its readings share errors. Averaging
#' logarithms over the draws (pseudo-Bayesian design) keeps a plan good over the whole spread of
#' the guess. Where a plan does not determine a parameter of a draw, its variance is limited by very
#' wide half widths (levels: the whole softening, ln k 10, n 5, Q 1000 kJ/mol), so that such a plan is
#' rated low and still can be compared.
#'
#' **Limits.** As many specimens as in the plan, or `n_specimens`; at most `max_steps` steps per specimen,
#' and no more than the strip holds ([indent_layout()]); at most `furnace_min` in furnaces, summed
#' over the specimens (their last accumulated time and one heat-up per step; specimens that share a
#' furnace count each). Every step of the plan returned has its place in the sessions: where the
#' best plan does not fit, the limit is lowered until it does. Steps of the plan given that found no
#' place count for nothing, and without limits of your own the plan returned is never worse than the
#' rest of it (for Q also with the errors of furnaces and specimens, which the search does not count).
#'
#' **Search.** One specimen after the other is rebuilt, moved or has times exchanged, until nothing
#' helps; from the plan given and `starts - 1` random plans. That finds the best of small problems
#' (tests compare with all plans) and a good one of large ones.
#'
#' @param plan A plan of [plan_anneal()].
#' @param aim What is to become certain.
#' @param ... Must be empty.
#' @param at_c Temperatures in degrees Celsius for the aims `"t50"` and `"hardness"`; default: of the plan.
#' @param hardness Hardness of the aim `"hardness"`, on the scale of the guess.
#' @param temp_c Allowed temperatures in degrees Celsius; by default those of the plan and every 10 degrees
#'   between them.
#' @param time_min Allowed accumulated times in min, at most 64; by default those of the plan
#'   and 1, 1.5, 2, 3, 4, 6, 8, 12 ... between the shortest and the longest.
#' @param n_specimens Number of specimens.
#' @param max_steps Most steps of a specimen; by default the most in the plan.
#' @param furnace_min Limit of the time in furnaces in min; that of the plan by default.
#' @param starts Number of starts.
#' @param seed Seed of the random starts; `.Random.seed` is restored.
#' @return A plan as from [plan_anneal()], with `improvement`, a list with `aim`, `at_c`,
#'   `hardness`, `efficiency` (of the plan given: ratio of the variances, averaged as above; 0.5
#'   means it needs twice the specimens for the same certainty), `criterion` and `criterion_given`,
#'   `furnace_min` (limit used), `starts_agreed` (starts that ended at the best value) and
#'   `counted` (share of the draws in which the aim exists); from a posterior also `width`, the expected
#'   width of the interval of what is asked after the run as a share of that before, with the errors of
#'   furnaces (one per temperature), specimens, steps and readings of each draw.
#' @section Errors: `softanneal_error_range` for temperatures at or above the solidus, limits that allow no
#'   plan, or a hardness that no draw reaches; `softanneal_error_argument`.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @source Chaloner K, Verdinelli I (1995) Statist. Sci. 10, 273 \doi{10.1214/ss/1177009939}. Fedorov V V
#'   (1972) Theory of Optimal Experiments. Meyer R K, Nachtsheim C J (1995) Technometrics 37, 60
#'   \doi{10.1080/00401706.1995.10485889}. Atkinson A C, Donev A N, Tobias R D (2007) Optimum Experimental
#'   Designs, with SAS, ch. 17 and 18.
#' @seealso [plan_anneal()], [plan_guess()], [identifiability()]
#' @examples
#' plan <- plan_anneal(c(300, 330), c(4, 8, 16, 32), plan_guess(recryst_1h_c = 330, draws = 16))
#' better <- improve_plan(plan, "q", starts = 2)
#' better$improvement$efficiency
#' tidy(better)
#' @export
improve_plan <- function(plan, aim = c("q", "t50", "hardness", "determinant"), ..., at_c = NULL,
                         hardness = NULL, temp_c = NULL, time_min = NULL, n_specimens = NULL,
                         max_steps = NULL, furnace_min = NULL, starts = 20, seed = 1) {
  check_dots_empty(...)
  check_plan(plan)
  aim <- check_choice(aim, c("q", "t50", "hardness", "determinant"), "aim")
  own <- plan$steps[plan$steps$step > 0, ]
  set <- plan$settings
  own_limits <- !all(vapply(list(temp_c, time_min, n_specimens, max_steps, furnace_min), is.null, NA))
  if (length(set$heat_up_min) > 1L) {
    abort("argument", "the plan has a heat-up allowance of its own for each temperature",
          arg = "plan", remedy = "Plan with one `heat_up_min`, or with the computed ones.")
  }
  goal <- check_goal(plan, aim, at_c, hardness)
  temp_c <- if (is.null(temp_c)) {
    limits <- range(own$temp_c)
    sort(unique(c(own$temp_c, seq(limits[1L], limits[2L], by = 10))))
  } else {
    sort(unique(in_unit(temp_c, "degC", "temp_c", -ZERO_CELSIUS, open = TRUE)))
  }
  check_below_solidus(temp_c, "temp_c", plan$guess$alloy)
  time_min <- if (is.null(time_min)) {
    ladder <- sort(c(2^(0:12), 1.5 * 2^(0:12)))
    limits <- range(own$time_min)
    sort(unique(c(own$time_min, ladder[ladder >= limits[1L] & ladder <= limits[2L]])))
  } else {
    sort(unique(in_unit(time_min, "min", "time_min", 0, open = TRUE)))
  }
  if (!length(temp_c) || !length(time_min) || length(time_min) > 64L) {
    abort("argument", paste0("there are ", length(temp_c), " allowed temperatures and ",
                             length(time_min), " allowed times"), arg = "time_min",
          remedy = "Allow at least one of each and at most 64 times.")
  }
  n_piece <- if (is.null(n_specimens)) length(unique(own$specimen)) else {
    check_number(n_specimens, "n_specimens", 1, 1000, whole = TRUE)
  }
  most <- check_most_steps(max_steps, plan, own, length(time_min))
  heat <- allowances(temp_c, plan$guess, set)$heat_up_min
  limit <- check_number(furnace_min, "furnace_min", 0, open = TRUE, null = TRUE)
  if (is.null(limit)) limit <- furnace_minutes(own)
  problem <- list(guess = plan$guess, weight = step_information(plan$guess, set$n_readings),
                  baseline = set$baseline, goal = goal, temp_c = temp_c, heat = heat,
                  time_min = time_min, most = most, limit = limit, n_piece = n_piece)
  check_limit(problem)
  # only what finds its place in the sessions is read
  booked <- own[!is.na(own$read_min), ]
  given <- value_of_steps(problem, booked)
  starts <- check_number(starts, "starts", 1, 1e5, whole = TRUE)
  seed <- check_number(seed, "seed", whole = TRUE)
  found <- search_fitting(problem, own, starts, seed, plan$guess, set)
  if (is.null(found) || (!own_limits && found$value >= given)) {
    if (own_limits) {
      abort("range", "no plan within these limits fits into the sessions", arg = "furnace_min",
            remedy = "Allow shorter times, fewer specimens or longer sessions.")
    }
    found <- list(treatments = treatments_of(booked), value = given, agreed = 0L,
                  counted = found$counted %or% 1, limit = problem$limit)
  }
  # once more, for the warnings that belong to the plan returned
  better <- build_plan(found$treatments, plan$guess, set)
  if (!own_limits && aim == "q" && found$value < given && stays_as_given(plan, better)) {
    found[c("treatments", "value", "agreed")] <- list(treatments_of(booked), given, 0L)
    better <- build_plan(found$treatments, plan$guess, set)
  }
  better$improvement <- list(
    aim = aim, at_c = goal$at_c, hardness = hardness, efficiency = exp(found$value - given),
    criterion = found$value, criterion_given = given, furnace_min = found$limit,
    starts_agreed = found$agreed, counted = found$counted)
  if (!is.null(plan$guess$known)) better$improvement$width <- promised_width(better, goal)
  better
}

# The best plan of those that fit into the sessions: the limit of the furnace time is lowered by
# tenths until one does, then halved back towards the last that did not, from few starts; the limit
# found gets them all. NULL where none fits.
search_fitting <- function(problem, own, starts, seed, guess, set) {
  best <- NULL
  try_limit <- function(limit, starts) {
    problem$limit <- limit
    found <- search_plan(problem, own, starts, seed)
    fits <- fits_sessions(found$treatments, guess, set)
    if (fits && (is.null(best) || found$value < best$value)) {
      best <<- c(found, list(limit = limit))
    }
    fits
  }
  least <- problem$n_piece * (min(problem$time_min) + min(problem$heat))
  above <- limit <- problem$limit
  if (try_limit(limit, starts)) return(best)
  few <- min(starts, 3)
  repeat {
    if (limit <= least) return(NULL)
    above <- limit
    limit <- max(0.9 * limit, least)
    if (try_limit(limit, few)) break
  }
  for (halving in 1:3) {
    middle <- (limit + above) / 2
    if (try_limit(middle, few)) limit <- middle else above <- middle
  }
  try_limit(limit, starts)
  best
}

# Whether every step finds its place; other warnings of the plan are told when it is returned.
fits_sessions <- function(treatments, guess, set) {
  plan <- tryCatch(
    withCallingHandlers(build_plan(treatments, guess, set),
                        softanneal_warning = \(w) invokeRestart("muffleWarning")),
    softanneal_error_range = \(e) NULL) # too short a session for any step
  !is.null(plan) && !anyNA(plan$steps$read_min)
}

check_plan <- function(plan, arg = "plan") {
  if (!inherits(plan, "softanneal_plan")) {
    abort("argument", paste0("`", arg, "` must come from plan_anneal() or improve_plan(), not ",
                             describe(plan)), arg = arg)
  }
}

# Code, temperatures, coordinates and target of the aim.
check_goal <- function(plan, aim, at_c, hardness) {
  timed <- aim %in% c("t50", "hardness")
  if (!timed && !is.null(at_c)) {
    abort("argument", paste0("`at_c` is not used when aim = '", aim, "'"), arg = "at_c",
          remedy = "Leave it out, or aim at 't50' or 'hardness'.")
  }
  if ((aim == "hardness") != !is.null(hardness)) {
    abort("argument", if (is.null(hardness)) "the aim 'hardness' needs `hardness`" else
      paste0("`hardness` is not used when aim = '", aim, "'"), arg = "hardness",
      remedy = "Give `hardness` with the aim 'hardness', and only with it.")
  }
  if (aim == "q" && !plan$guess$estimated[["q_kj_mol"]]) {
    abort("argument", "q_kj_mol is fixed by the prior", arg = "aim",
          remedy = "Aim at something else, or guess from a fit with free Q.")
  }
  out <- list(code = match(aim, PLAN_AIMS) - 1L, at_c = NULL, coordinate = numeric(), target = 0.5)
  if (timed) {
    out$at_c <- if (is.null(at_c)) plan$temperatures$temp_c else check_temperature(at_c, "at_c")
    out$coordinate <- as.double(inverse_temperature(out$at_c, plan$guess$temp_ref_c))
  }
  if (aim == "hardness") {
    out$target <- check_number(hardness, "hardness", 0, open = TRUE)
  }
  out
}

check_most_steps <- function(max_steps, plan, own, times) {
  most <- if (is.null(max_steps)) max(own$step) else {
    check_number(max_steps, "max_steps", 1, 64, whole = TRUE)
  }
  room <- plan$layout$capacity %/% plan$settings$n_readings - plan$settings$baseline
  if (room < 1) {
    abort("range", "the strip has no room for the readings of one step", arg = "plan",
          remedy = "Take a larger strip, fewer readings, or a scale with smaller indentations.")
  }
  as.integer(min(most, room, times))
}

furnace_minutes <- function(own) {
  sum(tapply(own$time_min, own$specimen, max)) + sum(own$heat_up_min)
}

check_limit <- function(problem) {
  least <- problem$n_piece * (min(problem$time_min) + min(problem$heat))
  if (least > problem$limit * (1 + 1e-12)) {
    abort("range", paste0("`furnace_min` (", format(problem$limit), " min) is too short for ",
                          problem$n_piece, " specimens of one step (", format(least), " min)"),
          arg = "furnace_min", remedy = "Allow more furnace time, shorter times or fewer specimens.")
  }
}

call_design <- function(problem, temp_c, heat, time_min, start_temp, start_read, improve) {
  guess <- problem$guess
  out <- .Call(C_sa_call_design,
               list(kind = guess$kind, draws = as.double(t(guess$draws)),
                    estimated = as.integer(guess$estimated),
                    floor = as.double(c(1 / widest(guess$par)^2, guess$known))),
               list(coordinate = as.double(inverse_temperature(temp_c, guess$temp_ref_c)),
                    heat_up = as.double(heat), minutes = as.double(time_min)),
               list(weight = as.double(problem$weight),
                    at_start = as.double(problem$baseline * problem$n_piece),
                    max_steps = as.integer(problem$most), furnace_min = as.double(problem$limit),
                    improve = improve), problem$goal, list(temp = start_temp, read = start_read))
  if (!any(out$counted)) {
    abort("range", paste0("no draw of the guess reaches ", format(problem$goal$target),
                          " at the temperatures asked"), arg = "hardness",
          remedy = "Ask for a hardness between the two levels of the guess.")
  }
  if (!out$finite) {
    abort("range", "the model cannot be evaluated at the allowed temperatures and times",
          arg = "temp_c", remedy = "Narrow the allowed temperatures and times.")
  }
  out
}

# Criterion of steps as they are, on a grid of their own.
value_of_steps <- function(problem, own) {
  temps <- sort(unique(own$temp_c))
  times <- sort(unique(own$time_min))
  if (length(times) > 64L) {
    abort("argument", paste0("the plan has ", length(times), " different times"), arg = "plan",
          remedy = "At most 64 can be compared.")
  }
  specimens <- unique(own$specimen)
  problem$n_piece <- length(specimens)
  read <- matrix(0L, length(times), length(specimens))
  read[cbind(match(own$time_min, times), match(own$specimen, specimens))] <- 1L
  start <- matrix(match(own$temp_c[match(specimens, own$specimen)], temps) - 1L)
  call_design(problem, temps, numeric(length(temps)), times, start, as.integer(read), FALSE)$values
}

search_plan <- function(problem, own, starts, seed) {
  begun <- begin_seed(seed)
  on.exit(end_seed(begun), add = TRUE)
  temps <- problem$temp_c
  times <- problem$time_min
  made <- c(list(start_from(problem, own)), lapply(seq_len(starts), \(k) random_start(problem)))
  made <- utils::head(made[!vapply(made, is.null, NA)], starts)
  out <- call_design(problem, temps, problem$heat, times,
                     vapply(made, \(s) s$temp, integer(problem$n_piece)) |>
                       matrix(problem$n_piece),
                     unlist(lapply(made, `[[`, "read")), TRUE)
  if (out$at_limit) {
    warn("fit", "The search for a better plan was stopped at the iteration limit.", n = 1L)
  }
  place <- which(out$read > 0, arr.ind = TRUE)
  chosen <- data.frame(piece = place[, 2L], temp_c = temps[out$temp + 1L][place[, 2L]],
                       time_min = times[place[, 1L]])
  chosen <- chosen[order(chosen$temp_c, chosen$piece, chosen$time_min), ]
  schedules <- split(chosen$time_min, factor(chosen$piece, unique(chosen$piece)))
  treatments <- treatments_of_vectors(chosen$temp_c[!duplicated(chosen$piece)], schedules, 1, NULL)
  list(treatments = treatments, value = min(out$values), counted = mean(out$counted),
       agreed = sum(out$values < min(out$values) + 1e-6))
}

# The plan given as a start, when the allowed values and limits hold it; else NULL.
start_from <- function(problem, own) {
  specimens <- unique(own$specimen)
  near <- \(x, table) vapply(x, \(v) {
    k <- which.min(abs(table - v))
    if (same_number(table[k], v)) k else NA_integer_
  }, 1L)
  temp <- near(own$temp_c, problem$temp_c)
  time <- near(own$time_min, problem$time_min)
  if (length(specimens) != problem$n_piece || anyNA(temp) || anyNA(time) ||
      max(table(own$specimen)) > problem$most) return(NULL)
  read <- matrix(0L, length(problem$time_min), problem$n_piece)
  read[cbind(time, match(own$specimen, specimens))] <- 1L
  start <- list(temp = temp[match(specimens, own$specimen)] - 1L, read = read)
  if (start_minutes(problem, start) <= problem$limit) start
}

start_minutes <- function(problem, start) {
  sum(apply(start$read, 2L, \(r) max(problem$time_min[r > 0])) +
        colSums(start$read) * problem$heat[start$temp + 1L])
}

# Random temperatures and times; the specimen with the longest time loses it until the limit holds.
random_start <- function(problem) {
  k <- length(problem$time_min)
  start <- list(
    temp = sample.int(length(problem$temp_c), problem$n_piece, replace = TRUE) - 1L,
    read = vapply(seq_len(problem$n_piece), \(q) {
      tabulate(sample.int(k, problem$most), k)
    }, integer(k)))
  dim(start$read) <- c(k, problem$n_piece)
  while (start_minutes(problem, start) > problem$limit) {
    longest <- apply(start$read, 2L, \(r) max(which(r > 0)))
    q <- which.max(longest)
    if (longest[q] == 1L) { # all specimens at their shortest: the quickest furnace is left
      start$temp[] <- which.min(problem$heat) - 1L
      break
    }
    start$read[longest[q], q] <- 0L
    if (!any(start$read[, q] > 0)) start$read[longest[q] - 1L, q] <- 1L
  }
  start
}
