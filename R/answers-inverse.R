# Inverse answers: the temperature for a time, and the recrystallisation temperature.

#' Temperature for a hardness in a given time
#'
#' The temperature at which a specimen reaches a hardness, a softened fraction, or a
#' recrystallised fraction within a given time; the inverse of [time_to()] in temperature.
#'
#' The interval of the delta method is computed on inverse temperature from that of ln t: the
#' derivative of ln t in 1/T is the slope of the Arrhenius line at that place. `"profile"` ties
#' the curve to meet the target at the given time and a temperature, and follows the likelihood
#' in that temperature; `"bootstrap"` takes percentiles over refits; `"auto"` chooses between the
#' first two as in [time_to()], and leaves `temp_c` out where only an interval is known. It
#' counts the time at temperature: a real specimen needs its heat-up time besides.
#'
#' @param fit A fit of [fit_softening()] of readings at two temperatures or more, or fits of many groups of
#'   [fit_each()]; the answer then has their key columns first, as that of [time_to()].
#' @param time_min Times at temperature in min, positive.
#' @param hardness,softening,fraction The target, as in [time_to()]; one of the three.
#' @param level Level of the interval.
#' @param ... Must be empty.
#' @param method,n_resamples,seed,strain,scale As in [time_to()].
#' @return A data frame, one row for each target and time: `time_min`, the target (for a hardness its
#'   `scale` too), `temp_c`,
#'   `std.error` (of the temperature, in degrees Celsius; for a hardness `u_conversion` after it, that of
#'   its conversion, see [time_to()]), `conf.low`, `conf.high` in degrees
#'   Celsius, `method`, and `note`. `temp_c` is `NA` with one warning where no temperature between
#'   absolute zero and 3500 degrees Celsius does it; the delta interval is `NA` where the readings
#'   do not determine it; the ends of the profile are then `-Inf` or `Inf`, as they are where the
#'   likelihood has no end within the temperatures searched.
#' @inheritSection time_to Errors
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @source Delta method; see [time_to()].
#' @seealso [recryst_temperature()], [process_window()].
#' @examples
#' readings <- example_data("bellbrass_readings")
#' fit <- fit_softening(readings)
#' temp_for(fit, time_min = c(30, 60), hardness = 100)
#' temp_for(fit, time_min = 30, hardness = 100, method = "profile")
#' @export
temp_for <- function(fit, time_min, hardness = NULL, softening = NULL, fraction = NULL, ...,
                     level = 0.95, method = c("auto", "delta", "profile", "bootstrap"),
                     n_resamples = 999, seed = NULL, strain = NULL, scale = NULL) {
  check_dots_empty(...)
  if (is_many(fit)) {
    level <- check_level(level)
    return(temp_for_each(fit, time_min, hardness, softening, fraction, level = level, strain = strain,
                         method = check_choice(method, INTERVAL_METHODS, "method"),
                         n_resamples = n_resamples, seed = seed, scale = scale))
  }
  if (is_posterior(fit)) {
    check_posterior_method(method, INTERVAL_METHODS)
    return(temp_for_posterior(fit, time_min, hardness, softening, fraction, level, strain, scale))
  }
  check_softening(fit)
  check_two_temperatures(fit)
  check_one_exponent(fit)
  method <- check_interval_method(fit, method, n_resamples, seed, !missing(n_resamples) || !missing(seed))
  aim <- check_target(hardness, softening, fraction, fit, scale)
  time_min <- check_numeric(time_min, "time_min", 0, open = TRUE)
  level <- check_level(level)
  strain <- check_strain(fit, strain)
  grid <- answer_grid(fit, "time_min", time_min, aim$what, aim$target, strain)
  at_strain <- if (!is.null(strain)) grid[[strain_name(fit)]]
  roots <- function(rows, par = fit$par) {
    vapply(rows, function(k) {
      temperature_root(fit, log(grid$time_min[k]), grid[[aim$what]][k], aim$what, par, at_strain[k])
    }, 0)
  }
  temp_c <- roots(seq_len(nrow(grid)))
  ans <- solve_times(fit, ifelse(is.na(temp_c), fit$temp_ref_c, temp_c), grid[[aim$what]], aim$what,
                     at_strain, level)
  # d(1/T) for one unit of ln t, from the slope of the curve of ln t
  temp_k <- temp_c + ZERO_CELSIUS
  slope <- ln_time_slope(fit, temp_c, grid[[aim$what]], aim$what, at_strain)
  half <- ans$half / abs(slope)
  if (!is.null(aim$scale)) grid$scale <- rep_len(aim$scale, nrow(grid))
  grid$temp_c <- temp_c
  grid$std.error <- ans$se / abs(slope) * temp_k^2
  if (!is.null(aim$scale)) {
    grid$u_conversion <- rep(aim$u, each = length(time_min), length.out = nrow(grid)) * temp_k^2 /
      abs(slope) * abs(ln_time_per_hardness(fit, temp_c, grid$hardness, at_strain))
  }
  high <- 1 / temp_k - half[, 2L]
  limits <- cbind(1 / (1 / temp_k + half[, 1L]), ifelse(high > 0, 1 / high, Inf)) - ZERO_CELSIUS
  known <- which(!is.na(temp_c))
  by <- rep(method, nrow(grid))
  lost <- untied <- leaning <- further <- logical(nrow(grid))
  if (method %in% c("auto", "profile")) {
    ans$log_time <- log(grid$time_min)
    part <- answer_limits(fit, fit_places(fit, temp_c, at_strain), ans, grid[[aim$what]], aim$what,
                          "temperature", inverse_temperature(limits, fit$temp_ref_c),
                          ans$pooled / abs(slope) * 1000 / GAS_CONSTANT, level, method)
    limits[] <- celsius_at(part$limits, fit$temp_ref_c)
    by <- part$by
    lost <- part$lost
    leaning <- part$leaning
    untied <- part$untied
    end <- unreached_ends(fit, is.na(temp_c), grid[[aim$what]], aim$what, "temperature", level, NULL,
                          log(grid$time_min), at_strain)
    further <- !is.na(end)
    limits[further, ] <- cbind(end[further], Inf)
    by[further] <- "profile"
    stays <- !is.na(temp_c) & may_stay_above(fit, grid[[aim$what]], aim$what, level)
    limits[stays, 2L] <- Inf
    by[stays] <- "profile"
    lost <- lost | further | stays
  } else if (method == "bootstrap") {
    part <- bootstrap_answers(fit, function(par) roots(known, par), length(known), Inf, level,
                              n_resamples, seed)
    limits[known, ] <- part$limits
    grid$std.error[known] <- part$sd
  }
  limits <- widened(limits, temp_c, grid$u_conversion, level)
  grid$conf.low <- limits[, 1L]
  grid$conf.high <- limits[, 2L]
  grid$method <- by
  read <- range(fit$conditions$temp_c[fit$conditions$time_min > 0])
  grid$note <- ifelse(is.na(temp_c), missed_note(fit, grid$hardness, at_strain), ifelse(
    is.na(ans$se), UNDETERMINED, ifelse(
      is_outside(temp_c, read), "temperature outside the readings", "")))
  grid$note[further] <- BY_BEST
  if (!is.null(strain)) {
    grid$note[!is.na(temp_c) & strain_outside(fit, at_strain)] <- "strain outside the readings"
  }
  if (method != "delta") grid$note <- open_notes(grid$note, limits, degree_c(), lost, leaning, fit, -Inf)
  grid$note[untied & grid$note %in% c("", UNDETERMINED)] <- UNTIED
  if (method == "profile") grid$note <- growth_notes(fit, grid, aim$what)
  grid$note <- misfit_notes(grid$note, fit, temp_c)
  if (!is.null(aim$scale)) grid$note <- conversion_notes(grid$note, grid$temp_c, grid$u_conversion)
  grid$temp_c[lost] <- NA_real_
  if (has_open(fit)) grid$std.error[by == "profile"] <- NA_real_
  warn_no_answer(fit, grid, "temp_c", "temperatures", lost, scale)
  as_table(as_wanted(grid, aim))
}

check_two_temperatures <- function(fit) {
  if (length(fit$settings$set$no_energy)) {
    abort("model", "one temperature cannot be extrapolated", arg = "fit",
          remedy = "Fit readings at two temperatures or more.")
  }
}

# One of the three targets, checked; a hardness converted to the scale of the fit, with the standard
# uncertainty of that.
check_target <- function(hardness, softening, fraction, fit, scale = NULL) {
  given <- !c(is.null(hardness), is.null(softening), is.null(fraction))
  if (sum(given) > 1L) {
    abort("argument", "give one of `hardness`, `softening` and `fraction`", arg = "hardness",
          remedy = "Call the function once for each kind of target.")
  }
  if (!any(given)) softening <- 0.5
  what <- if (!is.null(hardness)) "hardness" else if (!is.null(fraction)) "fraction" else "softening"
  target <- switch(what, hardness = check_numeric(hardness, "hardness", 0, open = TRUE),
                   softening = check_numeric(softening, "softening", 0, 1, open = TRUE),
                   fraction = check_numeric(fraction, "fraction", 0, 1, open = TRUE))
  if (what != "hardness") {
    if (!is.null(scale)) {
      abort("argument", paste0("`scale` is for a hardness, not for a ", what), arg = "scale",
            remedy = "Leave it out.")
    }
    return(list(what = what, target = target))
  }
  wanted <- target_of_scale(fit, target, scale)
  list(what = what, target = wanted$value, given = target, scale = wanted$scale, u = wanted$u)
}

ln_time_at <- function(fit, temp_c, target, what, par = fit$par, strain = NULL) {
  time_rows(fit, temp_c, target, what, par, strain)[, 1L]
}

# Temperatures at which an answer is looked for, degrees Celsius.
TEMPERATURES_SEARCHED <- c(-213.15, 3500)

# The temperature of a coordinate in mol/kJ, the inverse of inverse_temperature().
celsius_at <- function(coordinate, temp_ref_c) {
  inverse <- 1 / (temp_ref_c + ZERO_CELSIUS) - coordinate * GAS_CONSTANT / 1000
  ifelse(is.finite(coordinate), 1 / inverse - ZERO_CELSIUS, coordinate)
}

# ln t to the target falls with temperature; a grid finds the bracket, uniroot() the place.
temperature_root <- function(fit, ln_time, target, what, par = fit$par, strain = NULL) {
  ends <- 1 / (TEMPERATURES_SEARCHED + ZERO_CELSIUS)
  inverse <- seq(ends[2L], ends[1L], length.out = 400L)
  grid <- 1 / inverse - ZERO_CELSIUS
  gap <- ln_time_at(fit, grid, target, what, par, strain) - ln_time
  ok <- which(is.finite(gap))
  if (!length(ok)) return(NA_real_)
  k <- ok[which(gap[ok][-1L] >= 0 & gap[ok][-length(ok)] < 0)]
  if (!length(k)) return(NA_real_)
  found <- stats::uniroot(function(x) {
    ln_time_at(fit, 1 / x - ZERO_CELSIUS, target, what, par, strain) - ln_time
  }, c(inverse[k[1L]], inverse[k[1L] + 1L]), tol = 1e-14)
  1 / found$root - ZERO_CELSIUS
}

# Slope of ln t in 1/T (K), by a central difference of the exact solution.
ln_time_slope <- function(fit, temp_c, target, what, strain = NULL) {
  x <- 1 / (temp_c + ZERO_CELSIUS)
  h <- 1e-5 * x
  up <- ln_time_at(fit, 1 / (x + h) - ZERO_CELSIUS, target, what, strain = strain)
  down <- ln_time_at(fit, 1 / (x - h) - ZERO_CELSIUS, target, what, strain = strain)
  (up - down) / (2 * h)
}

#' Recrystallisation temperature
#'
#' The temperature at which the metal recrystallises to a given fraction within a given time: by
#' default half within one hour. Some tables define it by complete recrystallisation in one
#' hour; ask for `fraction = 0.99` to compare with these.
#'
#' From readings it is read off the hardness over temperature after one time, as drawn by
#' [plot_isochronal()]. With as many steps as parameters the law is fitted to that time alone (with `n = 1`:
#' at one time n and Q show in their product only); `method` is `"curve"`, with the errors of
#' [fit_softening()]. With fewer, or where that interval is open or leaves the temperatures read, the answer
#' lies on the straight line between the two means beside it, and `conf.low` and `conf.high` are the
#' temperatures on both sides whose means are clear of it. That needs the level as rolled (time 0, or the two
#' coldest) and the
#' soft one: `h_soft`, or two hottest temperatures whose means, with their intervals, agree to
#' `r 100 * LEVEL_AGREES` % of the fall (a convention of this package). Where a level is not shown, `temp_c`
#' is `NA`, and `note` gives the limit that remains, "at least 290 degrees Celsius", and why.
#'
#' @param fit A fit of [fit_softening()], fits of many groups of [fit_each()], or readings: a data frame
#'   as from [read_readings()].
#' @param fraction Recrystallised fraction; of readings the softened share.
#' @param time_min Time in min; for readings one of theirs, by default 60 or the only one there is.
#' @param u_temp_c,scale,material,property For readings, as in [fit_softening()].
#' @param h_soft For readings: hardness of the soft state, where it is known, in the scale `scale`.
#' @param time,temp,hardness,reading_scale,specimen For readings: their columns, as in [fit_softening()].
#' @param solidus_c Melting temperature (solidus) in degrees Celsius; when given, the homologous
#'   temperature is returned too.
#' @param level,... As in [temp_for()].
#' @return As [temp_for()], with a column `homologous` (temperature over melting temperature,
#'   both in K) when `solidus_c` is given.
#' @inheritSection time_to Errors
#' @section Rule of thumb: Recrystallisation temperatures of metals lie at 0.4 to 0.5 of the
#'   melting temperature in K for pure metals, and higher for alloys (common practice, no
#'   source; published values range from 0.29 for very pure copper to 0.64 for a brass).
#' @source One hour, with complete recrystallisation: Callister W D, Materials Science and Engineering,
#'   chapter 7, as [plan_guess()] and [prior_softening()] take it (`recryst_1h_c`). Half within that hour, the
#'   default here, is this package's choice: complete rests on the flat end of the curve.
#' @seealso [time_to()], [temp_for()], [plot_isochronal()]
#' @examples
#' tungsten <- example_data("tungsten")
#' recryst_temperature(fit_softening(tungsten), solidus_c = 3410)
#' # read off the readings of one time
#' recryst_temperature(example_data("bellbrass_readings"), time_min = 32)
#' @export
recryst_temperature <- function(fit, fraction = 0.5, time_min = 60, ..., solidus_c = NULL,
                                level = 0.95, u_temp_c = NULL, scale = NULL, material = "brass",
                                property = NULL, h_soft = NULL, time = time_min, temp = temp_c,
                                hardness = hardness, reading_scale = scale, specimen = specimen) {
  solidus_c <- check_number(solidus_c, "solidus_c", -ZERO_CELSIUS, open = TRUE, null = TRUE)
  out <- if (is.data.frame(fit)) {
    check_dots_empty(...)
    recryst_of_readings(fit, fraction, if (!missing(time_min)) time_min, level, u_temp_c, scale %or% "HV",
                        material, property, h_soft, softening_columns(
                          rlang::enquo(time), rlang::enquo(temp), rlang::enquo(hardness),
                          rlang::enquo(reading_scale), rlang::enquo(specimen)))
  } else {
    given <- c(u_temp_c = !is.null(u_temp_c), scale = !is.null(scale), material = !missing(material),
               property = !is.null(property), h_soft = !is.null(h_soft), time = !missing(time),
               temp = !missing(temp), hardness = !missing(hardness), reading_scale = !missing(reading_scale),
               specimen = !missing(specimen))
    if (any(given)) {
      abort("argument", paste0("`", names(given)[given][1L], "` is for readings, and `fit` is a fit"),
            arg = names(given)[given][1L], remedy = "Leave it out.")
    }
    temp_for(fit, time_min, fraction = fraction, level = level, ...)
  }
  if (!is.null(solidus_c)) {
    out$homologous <- (out$temp_c + ZERO_CELSIUS) / (solidus_c + ZERO_CELSIUS)
  }
  out
}
