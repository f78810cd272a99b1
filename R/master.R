# Time-temperature parameters of tempering, creep and softening: P = T (C + log10 t) with T in K.
# The constant C belongs to a unit of time; every function here says which, and the constant
# moves with the unit. Parameters in K, as computed (published figures are often in thousands).

LOG10_PER_HOUR <- c(h = 0, min = log10(60), s = log10(3600))

#' Time-temperature parameters
#'
#' One number for a time at a temperature: heat treatments, or creep tests, with the same
#' parameter have the same effect. Give two of temperature, time and parameter; the third is
#' computed. \deqn{P = T\,(C + \log_{10} t)}{P = T (C + log10 t)}
#' with T in K. Larson and Miller used it for creep rupture, Hollomon and Jaffe before them for the
#' hardness of tempered steel.
#'
#' **The unit trap.** C depends on the unit of t: as t in hours is 3600 times smaller than in
#' seconds, `C_s = C_h - log10(3600) = C_h - 3.556` and `C_min = C_h - 1.778`. A C of 20 is for
#' hours; with t in minutes it is 18.22, with seconds 16.44. In the wrong formula it changes P
#' by more than 3000 K at 600 degrees Celsius. Times here carry their unit in the argument's
#' name, and `constant_per` states the unit that C was published for. The parameter is the same
#' whichever unit is used, if C goes with it: [shift_constant()].
#'
#' The parameter assumes one process with an activation energy proportional to C + log10 t;
#' see [fit_master_curve()] for C from data. Constants for steel do not apply to brass.
#'
#' @param temp_c Temperature in degrees Celsius.
#' @param time_h,time_min Time in hours or in minutes, positive. Give at most one.
#' @param parameter_k P in K (published figures are often in thousands).
#' @param constant C, for times in the unit `constant_per`. For creep of many alloys 20 with hours.
#'   For tempering of steel with hours 19.5 (0.15 to 0.45 % carbon) and 15 (0.9 to 1.2 %).
#' @param constant_per Unit of time that `constant` belongs to: `"h"`, `"min"` or `"s"`.
#' @return A data frame, one row per value (an
#'   argument of length 1 is repeated): `temp_c`, `time_h`, `time_min`, `parameter_k`. `NA` where an
#'   argument is `NA`.
#' @section Errors: `softanneal_error_argument` for a wrong type or unless exactly two of
#'   temperature, time and parameter are given, `softanneal_error_range` for times that are not
#'   positive or a `C + log10 t` that is not, for which the parameter has no meaning.
#' @source Hollomon J H, Jaffe L D (1945) Trans. AIME 162, 223 (the values of C are seen in
#'   excerpts and from memory). Larson F R, Miller J (1952) Trans. ASME 74, 765.
#' @seealso [fit_master_curve()], [ramp_hold()]
#' @examples
#' # time to rupture of an alloy with P = 24000 K at the stress of interest, C = 20 for hours
#' larson_miller(temp_c = 800, parameter_k = 24e3)
#' # hours and minutes give one parameter
#' larson_miller(600, time_h = 2)$parameter_k
#' larson_miller(600, time_min = 120)$parameter_k
#' # the trap: minutes put in where hours belong
#' larson_miller(600, time_h = 120)$parameter_k - larson_miller(600, time_h = 2)$parameter_k
#' hollomon_jaffe(600, time_min = 60, constant = 19.5)
#' hollomon_jaffe(600, time_min = 60, constant = 19.5 - log10(60), constant_per = "min")
#' @export
larson_miller <- function(temp_c = NULL, time_h = NULL, time_min = NULL, parameter_k = NULL,
                          constant = 20, constant_per = c("h", "min", "s")) {
  time_parameter(temp_c, time_h, time_min, parameter_k, constant, constant_per)
}

#' @rdname larson_miller
#' @export
hollomon_jaffe <- function(temp_c = NULL, time_h = NULL, time_min = NULL, parameter_k = NULL,
                           constant, constant_per = c("h", "min", "s")) {
  if (missing(constant)) {
    abort("argument", "`constant` is missing", arg = "constant",
          remedy = "Give C and the unit of time it belongs to; it differs from metal to metal.")
  }
  time_parameter(temp_c, time_h, time_min, parameter_k, constant, constant_per)
}

#' The constant of a time-temperature parameter in another unit of time
#'
#' @param constant C, for times in the unit `from`.
#' @param from,to `"h"`, `"min"` or `"s"`.
#' @return C for times in the unit `to`.
#' @section Errors: `softanneal_error_argument` for a wrong type or an unknown unit.
#' @source `T (C_h + log10 t_h) = T (C_s + log10 t_s)`, so `C_s = C_h - log10(3600)`.
#' @seealso [fit_master_curve()], [larson_miller()]
#' @examples
#' shift_constant(20, "h", "min")
#' shift_constant(20, "h", "s")
#' @export
shift_constant <- function(constant, from, to) {
  from <- check_choice(from, names(LOG10_PER_HOUR), "from")
  to <- check_choice(to, names(LOG10_PER_HOUR), "to")
  check_numeric(constant, "constant", na = TRUE) + LOG10_PER_HOUR[[from]] - LOG10_PER_HOUR[[to]]
}

#' Hold that equals a slow heating or cooling
#'
#' Time at a temperature with the same tempering effect as heating up to it, or cooling down from
#' it, at a constant rate r in K/h: small steps are added up, the time so far turned at each new
#' temperature T (K) into that with the same [hollomon_jaffe()] parameter,
#' \deqn{\frac{dt}{dT} = \frac{1}{r} - \frac{t\,\ln 10\,(C + \log_{10} t)}{T}}{
#'   dt/dT = 1/r - t ln(10) (C + log10 t) / T}
#' with t in h and C for hours. Add it to the time of the hold; twice for both ramps.
#'
#' Tempering practice prints the shorter t = T / (ln(10) r (C - log10 r)) instead, which is 5 to 15 %
#' longer (0.211 h for 0.192 h in the example).
#'
#' @param temp_c Temperature of the hold in degrees Celsius.
#' @param rate_k_h Rate of heating or cooling in K/h, positive.
#' @param constant C for hours, at most 200.
#' @return Equivalent times in hours.
#' @section Errors: `softanneal_error_argument`, `softanneal_error_range`.
#' @source The parameter of Hollomon J H, Jaffe L D (1945) Trans. AIME 162, 223, step by step.
#' @seealso [heat_up()] for the ramp itself
#' @examples
#' ramp_hold(600, rate_k_h = 100)
#' @export
ramp_hold <- function(temp_c, rate_k_h, constant = 20) {
  x <- common_length(temp_c = check_temperature(temp_c, "temp_c", na = TRUE),
                     rate_k_h = check_numeric(rate_k_h, "rate_k_h", 0, open = TRUE, na = TRUE),
                     constant = check_numeric(constant, "constant", upper = 200, na = TRUE))
  span <- x$constant - log10(x$rate_k_h)
  check_span(span, "rate_k_h")
  soak <- x$temp_c + ZERO_CELSIUS
  # from 0.6 T, of which nothing is left at T, in steps of Runge and Kutta
  steps <- 400L
  slope <- function(temp, t) 1 / x$rate_k_h - t * log(10) * (x$constant + log10(t)) / temp
  h <- 0.4 * soak / steps
  t <- 0.6 * soak / (log(10) * x$rate_k_h * span)
  for (k in seq_len(steps)) {
    at <- 0.6 * soak + (k - 1) * h
    a <- slope(at, t)
    b <- slope(at + h / 2, t + a * h / 2)
    d <- slope(at + h / 2, t + b * h / 2)
    t <- t + h / 6 * (a + 2 * b + 2 * d + slope(at + h, t + d * h))
  }
  t
}

hour_constant <- function(constant, constant_per) {
  per <- check_choice(constant_per, names(LOG10_PER_HOUR), "constant_per")
  shift_constant(constant, per, "h")
}

check_span <- function(span, arg) {
  bad <- which(!is.na(span) & span <= 0)
  if (length(bad)) {
    abort("range", "C + log10 t is not positive, so the parameter has no meaning", arg = arg,
          rows = bad, remedy = "Check the unit of the time and of C.")
  }
}

time_parameter <- function(temp_c, time_h, time_min, parameter_k, constant, constant_per) {
  if (!is.null(time_h) && !is.null(time_min)) {
    abort("argument", "give one of `time_h` and `time_min`", arg = "time_h",
          remedy = "Hours or minutes, not both.")
  }
  clock <- if (is.null(time_h)) "time_min" else "time_h"
  given <- c(temp_c = !is.null(temp_c), time = !is.null(time_h) || !is.null(time_min),
             parameter_k = !is.null(parameter_k))
  if (sum(given) != 2L) {
    abort("argument", paste0("give two of temperature, time and parameter, not ", sum(given)),
          arg = "temp_c", remedy = "The one that is missing is computed from the others.")
  }
  known <- list(constant = hour_constant(constant, constant_per))
  if (given[["temp_c"]]) known$temp_c <- check_temperature(temp_c, "temp_c", na = TRUE)
  if (given[["time"]]) {
    time <- check_numeric(if (clock == "time_h") time_h else time_min, clock, 0, open = TRUE,
                          na = TRUE)
    known$time <- if (clock == "time_h") time else time / 60
  }
  if (given[["parameter_k"]]) {
    known$parameter_k <- check_numeric(parameter_k, "parameter_k", 0, open = TRUE, na = TRUE)
  }
  x <- do.call(common_length, known)
  if (!given[["time"]]) {
    x$time <- 10^(x$parameter_k / (x$temp_c + ZERO_CELSIUS) - x$constant)
  } else {
    span <- x$constant + log10(x$time)
    check_span(span, clock)
    if (given[["temp_c"]]) x$parameter_k <- (x$temp_c + ZERO_CELSIUS) * span else {
      x$temp_c <- x$parameter_k / span - ZERO_CELSIUS
    }
  }
  as_table(data.frame(temp_c = x$temp_c, time_h = x$time, time_min = 60 * x$time,
                      parameter_k = x$parameter_k))
}
