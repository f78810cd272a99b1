# Inverse answers: the temperature for a time, the recrystallisation temperature, and the region
# of time and temperature that lands in a wanted range of hardness.

#' Which temperature for a given time
#'
#' The temperature at which a piece reaches a hardness, a share of its softening, or a
#' recrystallised fraction within a given time; the inverse of [time_to()] in temperature.
#'
#' The interval of `method = "delta"` is computed on inverse temperature from that of ln t: the
#' derivative of ln t in 1/T is the slope of the Arrhenius line at that place. `"profile"` ties
#' the curve to meet the target at the given time and a temperature, and follows the likelihood
#' in that temperature; `"bootstrap"` takes percentiles over refits; see [time_to()]. It
#' counts the time at temperature: a real piece needs its heat-up time besides.
#'
#' @param fit A fit of [fit_softening()] of readings at two temperatures or more.
#' @param time_min Times at temperature in min, positive.
#' @param hardness,softening,fraction The target, as in [time_to()]; one of the three.
#' @param level Level of the interval.
#' @param ... Must be empty.
#' @param method,n_resamples,seed,strain As in [time_to()].
#' @return A data frame, one row for each target and time: `time_min`, the target, `temp_c`,
#'   `std.error` (of the temperature, in degrees Celsius), `conf.low`, `conf.high` in degrees
#'   Celsius, and `note`. `temp_c` is `NA` with one warning where no temperature between
#'   absolute zero and 3500 degrees Celsius does it; the delta interval is `NA` where the readings
#'   do not determine it; the ends of the profile are then `-Inf` or `Inf`, as they are where the
#'   likelihood has no end within the temperatures searched.
#' @inheritSection time_to Errors
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @source Delta method; see [time_to()].
#' @seealso [recryst_temperature()], [process_window()].
#' @examples
#' bell <- read_readings(
#'   system.file("extdata", "bellbrass_readings.csv", package = "softanneal"))
#' fit <- fit_softening(bell)
#' temp_for(fit, time_min = c(30, 60), hardness = 100)
#' temp_for(fit, time_min = 30, hardness = 100, method = "profile")
#' @export
temp_for <- function(fit, time_min, hardness = NULL, softening = NULL, fraction = NULL,
                     level = 0.95, ..., method = c("delta", "profile", "bootstrap"), n_resamples = 999,
                     seed = NULL, strain = NULL) {
  check_dots_empty(...)
  check_softening(fit)
  check_two_temperatures(fit)
  check_one_exponent(fit)
  method <- check_interval_method(fit, method, n_resamples, seed, !missing(n_resamples) || !missing(seed))
  aim <- check_target(hardness, softening, fraction)
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
                     at_strain)
  # d(1/T) for one unit of ln t, from the slope of the curve of ln t
  temp_k <- temp_c + ZERO_CELSIUS
  slope <- ln_time_slope(fit, temp_c, grid[[aim$what]], aim$what, at_strain)
  half <- interval_t(fit, level) * ans$se / abs(slope)
  grid$temp_c <- temp_c
  grid$std.error <- ans$se / abs(slope) * temp_k^2
  high <- 1 / temp_k - half
  limits <- cbind(1 / (1 / temp_k + half), ifelse(high > 0, 1 / high, Inf)) - ZERO_CELSIUS
  known <- which(!is.na(temp_c))
  if (method == "profile") {
    limits <- meeting_limits(fit, fit_places(fit, temp_c, at_strain), log(grid$time_min),
                             grid[[aim$what]], aim$what, "temperature",
                             half * 1000 / GAS_CONSTANT, level)
    limits[] <- celsius_at(limits, fit$temp_ref_c)
  } else if (method == "bootstrap") {
    part <- bootstrap_answers(fit, function(par) roots(known, par), length(known), Inf, level,
                              n_resamples, seed)
    limits[known, ] <- part$limits
    grid$std.error[known] <- part$sd
  }
  grid$conf.low <- limits[, 1L]
  grid$conf.high <- limits[, 2L]
  read <- range(fit$conditions$temp_c[fit$conditions$time_min > 0])
  grid$note <- ifelse(is.na(temp_c), "target not reached", ifelse(
    is.na(ans$se), "not determined by the readings", ifelse(
      temp_c < read[1L] - 1e-9 | temp_c > read[2L] + 1e-9, "temperature outside the readings", "")))
  if (!is.null(strain)) {
    grid$note[!is.na(temp_c) & strain_outside(fit, at_strain)] <- "strain outside the readings"
  }
  if (method != "delta") grid$note <- open_notes(grid$note, limits, "temperature")
  if (method == "profile") grid$note <- growth_notes(fit, grid, aim$what)
  never <- which(is.na(temp_c))
  if (length(never)) {
    warn("outside", paste0(length(never), " of ", nrow(grid), " temperatures are NA: no temperature ",
                           "reaches the target in that time (", in_rows(never), ")."),
         n = length(never), rows = never)
  }
  as_table(grid)
}

check_two_temperatures <- function(fit) {
  if (length(fit$settings$set$no_energy)) {
    abort("model", "readings at one temperature say nothing about others", arg = "fit",
          remedy = "Fit readings at two temperatures or more.")
  }
}

# One of the three targets, checked.
check_target <- function(hardness, softening, fraction) {
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
  list(what = what, target = target)
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
#' @param fit A fit of [fit_softening()].
#' @param fraction Recrystallised fraction.
#' @param time_min Time in min.
#' @param solidus_c Melting temperature (solidus) in degrees Celsius; when given, the homologous
#'   temperature is returned too.
#' @param level,... As in [temp_for()].
#' @return As [temp_for()], with a column `homologous` (temperature over melting temperature,
#'   both in K) when `solidus_c` is given.
#' @inheritSection time_to Errors
#' @section Rule of thumb: Recrystallisation temperatures of metals lie at 0.4 to 0.5 of the
#'   melting temperature in K for pure metals, and higher for alloys (common practice, no
#'   source; the textbook values range from 0.29 for very pure copper to 0.64 for a brass).
#' @source Definition by one hour: Callister W D, Materials Science and Engineering, chapter 7.
#' @examples
#' tungsten <- read_readings(
#'   system.file("extdata", "tungsten_isothermal.csv", package = "softanneal"),
#'   specimen = "plate")
#' recryst_temperature(fit_softening(tungsten), solidus_c = 3410)
#' @export
recryst_temperature <- function(fit, fraction = 0.5, time_min = 60, solidus_c = NULL, level = 0.95,
                                ...) {
  solidus_c <- check_number(solidus_c, "solidus_c", -ZERO_CELSIUS, open = TRUE, null = TRUE)
  out <- temp_for(fit, time_min, fraction = fraction, level = level, ...)
  if (!is.null(solidus_c)) {
    out$homologous <- (out$temp_c + ZERO_CELSIUS) / (solidus_c + ZERO_CELSIUS)
  }
  out
}

#' Times and temperatures that land in a range of hardness
#'
#' For a grid of temperatures and times, the probability that one new reading (or the curve)
#' lies between two hardness limits, from the fit with its uncertainty. The region above a
#' stated probability is the process window.
#'
#' @param fit A fit of [fit_softening()] of readings at two temperatures or more.
#' @param hardness Two limits of hardness, in the scale of the fit.
#' @param temper Name of a temper instead of `hardness`, such as `"OS035"` or `"H055"`: its
#'   hardness range from [temper_limits()], converted to the scale of the fit by the table of the
#'   fit's `material`. Many of these ranges are from memory; `print()` and `attr(x, "temper")`
#'   say what was used.
#' @param thickness_mm Thickness of the sheet in mm, for a temper whose range depends on it.
#' @param probability Probability that counts as inside the window.
#' @param target `"reading"`: a single new reading in a new heat treatment; `"curve"`: the mean.
#' @param temp_c,time_min Range (two numbers) or grid (more) of temperatures in degrees Celsius
#'   and of times in min; by default those of the readings.
#' @param n_points Number of grid points along each axis, where a range is given.
#' @param strain For a fit with strain: the strain of the cold work in question.
#' @param ... Must be empty.
#' @return A data frame of class `softanneal_window`: `temp_c`, `time_min`, `hardness` (the
#'   curve), `probability`, `inside`. The probability is `NA` where the readings do not
#'   determine the curve. `autoplot()` draws the region.
#' @section Errors:
#'   `softanneal_error_argument` unless exactly one of `hardness` and `temper` is given, or where
#'   the range of a temper needs `thickness_mm`; `softanneal_error_scale` for a temper without a
#'   range in the scale of the fit; `softanneal_error_range` for limits in the wrong order;
#'   `softanneal_error_model` for a fit of one temperature or with an exponent for each.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @source t distribution of the prediction, see [predict.softanneal_fit_softening()].
#' @examples
#' bell <- read_readings(
#'   system.file("extdata", "bellbrass_readings.csv", package = "softanneal"))
#' window <- process_window(fit_softening(bell), hardness = c(95, 125), n_points = 25)
#' window
#' @export
process_window <- function(fit, hardness = NULL, probability = 0.9, target = c("reading", "curve"),
                           temp_c = NULL, time_min = NULL, n_points = 81, ..., temper = NULL,
                           thickness_mm = NULL, strain = NULL) {
  check_dots_empty(...)
  check_softening(fit)
  check_two_temperatures(fit)
  check_one_exponent(fit)
  strain <- check_strain(fit, strain, one = TRUE)
  if (is.null(hardness) == is.null(temper)) {
    abort("argument", "give one of `hardness` and `temper`", arg = "hardness",
          remedy = "Give two limits of hardness, or the name of a temper.")
  }
  band <- if (!is.null(temper)) temper_band(temper, thickness_mm, fit)
  hardness <- check_numeric(if (is.null(band)) hardness else band$limits, "hardness", 0,
                            open = TRUE, length = 2L)
  if (hardness[1L] >= hardness[2L]) {
    abort("range", "the first limit of `hardness` must be below the second", arg = "hardness",
          remedy = "Give the lower limit first.")
  }
  probability <- check_level(probability, "probability")
  target <- check_choice(target, c("reading", "curve"), "target")
  n_points <- check_number(n_points, "n_points", 2, 2000, whole = TRUE)
  at <- fit$conditions
  after <- at$time_min > 0
  temp_c <- window_axis(temp_c, at$temp_c[after], n_points, "temp_c", FALSE)
  time_min <- window_axis(time_min, at$time_min[after], n_points, "time_min", TRUE)
  grid <- expand.grid(temp_c = temp_c, time_min = time_min, KEEP.OUT.ATTRS = FALSE)
  part <- softening_values(fit, grid$temp_c, grid$time_min, strain)
  sd <- sqrt(part$se^2 + if (target == "reading") reading_variance(fit) else 0)
  grid$hardness <- part$fit
  p <- function(limit) stats::pt((limit - part$fit) / sd, fit$df_interval)
  grid$probability <- p(hardness[2L]) - p(hardness[1L])
  grid$inside <- grid$probability >= probability
  structure(grid, limits = hardness, wanted = probability, target = target, scale = fit$scale,
            temper = band$words,
            read = list(temp_c = range(at$temp_c[after]), time_min = range(at$time_min[after])),
            class = c("softanneal_window", "data.frame"))
}

# Hardness range of a temper in the scale of the fit, and in words where it comes from. A range
# in the scale of the fit itself comes first, then the first that converts.
temper_band <- function(temper, thickness_mm, fit) {
  rows <- as.data.frame(temper_limits(check_string(temper, "temper"),
                                      thickness_mm = thickness_mm))
  rows <- rows[rows$quantity == "hardness" & !is.na(rows$low) & !is.na(rows$high), ]
  rows <- rows[order(rows$unit != fit$scale), ]
  for (unit in unique(rows$unit)) {
    own <- rows[rows$unit == unit, ]
    if (nrow(unique(own[c("low", "high")])) > 1L) {
      abort("argument",
            paste0("the ", unit, " range of temper ", temper, " depends on the thickness"),
            arg = "thickness_mm", remedy = "Give `thickness_mm`, the thickness of the sheet in mm.")
    }
    ends <- c(own$low[1L], own$high[1L])
    limits <- if (unit == fit$scale) ends else if (fit$scale == "HV") {
      to_vickers(ends, unit, fit$material)$hv
    }
    if (is.null(limits) || anyNA(limits)) next
    return(list(limits = limits, words = paste0(
      "temper ", temper, ", ", format(ends[1L]), " to ", format(ends[2L]), " ", unit, " (",
      own$standard[1L], ", ", own$status[1L], ")")))
  }
  abort("scale",
        paste0("temper ", temper, " has no hardness range that can be given in ", fit$scale),
        arg = "temper", remedy = "Give the limits by `hardness`, or fit in HV.")
}

window_axis <- function(x, read, n_points, arg, log) {
  if (is.null(x)) x <- range(read)
  x <- if (log) check_numeric(x, arg, 0, open = TRUE) else check_temperature(x, arg)
  if (length(x) < 2L || any(diff(x) <= 0)) {
    abort("argument", paste0("`", arg, "` must be two or more rising numbers"), arg = arg,
          remedy = "Give a range such as c(300, 400).")
  }
  if (length(x) > 2L) return(x)
  if (log) exp(seq(log(x[1L]), log(x[2L]), length.out = n_points)) else {
    seq(x[1L], x[2L], length.out = n_points)
  }
}

#' @export
print.softanneal_window <- function(x, ...) {
  limits <- attr(x, "limits")
  inside <- which(x$inside)
  cat("Process window: ", format_quantity(limits[1L]), " to ", format_quantity(limits[2L]), " ",
      attr(x, "scale"), " with probability ", format(attr(x, "wanted")), " for the ",
      attr(x, "target"), "\n", sep = "")
  if (!is.null(attr(x, "temper"))) cat("  ", attr(x, "temper"), "\n", sep = "")
  if (!length(inside)) {
    cat("  No point of the grid reaches it; best ",
        format_quantity(max(x$probability, 0, na.rm = TRUE)), "\n", sep = "")
  } else {
    cat("  ", length(inside), " of ", nrow(x), " points of the grid lie inside\n", sep = "")
    temps <- sort(unique(x$temp_c[inside]))
    for (t in temps[unique(round(seq(1, length(temps), length.out = 5L)))]) {
      span <- range(x$time_min[inside][x$temp_c[inside] == t])
      cat("  ", temperature_label(t), ": ", format_quantity(span[1L]), " to ",
          format_quantity(span[2L]), " min\n", sep = "")
    }
  }
  open <- sum(is.na(x$probability))
  if (open) cat("  ", open, " points are not determined by the readings\n", sep = "")
  beyond <- outside_readings(x)
  if (any(beyond)) {
    cat(strwrap(paste0(sum(beyond), " points lie outside the readings (", read_words(x), "), ",
                       sum(beyond[inside]), " of them in the window: extrapolated"), width = 76,
                prefix = "  "), sep = "\n")
  }
  cat(strwrap(CAUTION_LINE, width = 76, prefix = "  "), sep = "\n")
  invisible(x)
}
