# Master curve over a time-temperature parameter with the constant C estimated. For a trial C
# the curve is a polynomial, solved by QR; C follows from the profile of the sum of squares, and
# the least-squares core then takes C and the polynomial together, so that C's error counts.

#' Master curve over a time-temperature parameter
#'
#' Draws all temperatures and times onto one curve over \eqn{P = T (C + \log_{10} t)}{P = T (C +
#' log10 t)} and estimates the constant C that does it best.
#'
#' `errors_in = "response"`, for hardness after tempering or annealing: the response is a
#' polynomial in P, `response = b0 + b1 z + b2 z^2 ...` with `z = (P - centre)/width`.
#'
#' `errors_in = "time"`, for lives at a set stress (creep rupture), where the time is what scatters:
#' P is a polynomial in the response, so that `log10 t = (b0 + b1 s + b2 s^2 ...)/T - C` with
#' `s = (response - centre)/width`.
#'
#' C is for times in hours ([shift_constant()] gives it for others). The sum of squares as a
#' function of C alone is kept (`profile()`), and `confint(fit, "constant", method = "profile")`
#' reads the interval off it: it is asymmetric if C is poorly determined, and then a published C
#' may serve better (`constant =`). Which quantity is taken to scatter, and the degree, change C by
#' several units on the same data: report C with its method.
#'
#' A polynomial must not be trusted beyond the data: predictions there draw a warning. Take
#' `log10` of stresses first.
#'
#' @param data A data frame, one row per test or heat treatment.
#' @param response Column of hardness, or stress (or its logarithm); bare or quoted.
#' @param temp Column of temperatures in degrees Celsius.
#' @param time Column of times, above zero, in the unit `time_unit`.
#' @param time_unit `"min"` or `"h"`: unit of the column of times.
#' @param degree Degree of the polynomial, 1 to 5.
#' @param constant C for hours to hold; `NULL` to estimate it.
#' @param errors_in Which quantity scatters, `"response"` or `"time"`; see Details.
#' @param range Where C is looked for.
#' @param weights Case weights; `NULL` for equal.
#' @param na.action,control As in [fit_least_squares()].
#' @param ... Must be empty.
#' @return An object of class `softanneal_fit_master_curve` over `softanneal_fit_least_squares` and
#'   `softanneal_fit`, with all methods of [fit_least_squares()] and a plot. Coefficients:
#'   `constant` (C for hours, unless held) and the polynomial `b0`, `b1`, ... . `predict()` returns
#'   the response for temperatures and times, or log10 of the time in hours for responses and
#'   temperatures with `errors_in = "time"`. `profile()` gives a data frame of class
#'   `softanneal_profile` as that of [profile.softanneal_fit_softening()].
#' @section Errors: `softanneal_error_too_few` (fewer than two temperatures when C is estimated, or
#'   fewer rows than parameters), `softanneal_error_range`, `softanneal_error_column`,
#'   `softanneal_error_argument`. A warning of class `softanneal_warning_fit` when C runs to the
#'   end of `range`.
#' @source Hollomon J H, Jaffe L D (1945) Trans. AIME 162, 223. Larson F R, Miller J (1952) Trans. ASME
#'   74, 765. Profile: Bates D M, Watts D G (1988) Nonlinear Regression Analysis and Its Applications
#'   \doi{10.1002/9780470316757}, chapter 6. Example data: Probabilistic Physics of Failure Approach to
#'   Reliability (2017), Example 2.16; its temperatures are taken as degrees Fahrenheit, which is not
#'   confirmed.
#' @seealso [larson_miller()], [hollomon_jaffe()]
#' @examples
#' creep <- read.csv(system.file("extdata", "master_creep.csv", package = "softanneal"))
#' creep$log_stress <- log10(creep$stress)
#' fit <- fit_master_curve(creep, log_stress, time = time_h, time_unit = "h", errors_in = "time")
#' fit
#' confint(fit, "constant", method = "profile")
#' 10^predict(fit, data.frame(log_stress = log10(30), temp_c = 600)) # hours
#' @export
fit_master_curve <- function(data, response = hardness, temp = temp_c, time = time_min, ...,
                             time_unit = c("min", "h"), degree = 2, constant = NULL,
                             errors_in = c("response", "time"), range = c(5, 60), weights = NULL,
                             na.action = stats::na.exclude, control = fit_control()) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_master_curve")
  columns <- c(response = column_name(rlang::enquo(response)), temp = column_name(rlang::enquo(temp)),
               time = column_name(rlang::enquo(time)))
  time_unit <- check_choice(time_unit, c("min", "h"), "time_unit")
  errors_in <- check_choice(errors_in, c("response", "time"), "errors_in")
  degree <- check_number(degree, "degree", 1, 5, whole = TRUE)
  constant <- check_number(constant, "constant", null = TRUE)
  range <- sort(check_numeric(range, "range", length = 2L))
  check_data(data, groups = FALSE)
  weights <- weights_in(rlang::enquo(weights), data)
  poly <- paste0("b", 0:degree)
  terms <- c(if (is.null(constant)) "constant", poly)
  check_free_names(columns, terms)
  plain <- as.data.frame(stats::setNames(list(
    numeric_column(data, columns[["response"]], na = TRUE),
    temperature_column(data, columns[["temp"]]),
    time_column(data, columns[["time"]], unit = time_unit, open = TRUE)), columns), optional = TRUE)
  w <- check_weights(weights, nrow(plain))
  known <- stats::complete.cases(plain)
  here <- stats::setNames(plain[known, , drop = FALSE], names(columns))
  here$hours <- here$time / (if (time_unit == "min") 60 else 1)
  here$weight <- if (is.null(w)) rep(1, nrow(here)) else w[known]
  check_master(here, terms, columns, constant, degree, errors_in)
  best <- if (is.null(constant)) best_constant(here, degree, errors_in, range) else constant
  scaling <- master_scaling(here, best, errors_in)
  start <- c(constant = best, stats::setNames(
    master_line(here, best, degree, errors_in, scaling)$coefficients, poly))[terms]
  fit <- quiet_fit(master_formula(columns, degree, constant, errors_in, scaling, time_unit), start,
                   lower = c(constant = range[1L])[intersect(terms, "constant")],
                   upper = c(constant = range[2L])[intersect(terms, "constant")],
                   weights = weights, data = plain, na.action = na.action, control = control)
  fit$call <- call
  fit$model <- paste0("master curve of degree ", degree)
  fit$columns <- columns
  fit$master <- list(time_unit = time_unit, degree = degree, errors_in = errors_in, range = range,
                     held = constant, scaling = scaling, here = here)
  fit$units <- as.list(stats::setNames(rep("", length(terms)), terms))
  class(fit) <- c("softanneal_fit_master_curve", class(fit))
  warn_fit(fit)
}

check_master <- function(here, terms, columns, constant, degree, errors_in) {
  if (is.null(constant) && (nrow(here) == 0L || one_temperature(here$temp))) {
    abort("too_few", "the constant needs data at two temperatures or more", arg = columns[["temp"]],
          remedy = "Measure at another temperature, or hold a published `constant`.")
  }
  if (nrow(here) < length(terms)) {
    abort("too_few", paste0("there are ", nrow(here), " complete rows for ", length(terms),
                            " parameters"), arg = columns[["response"]],
          remedy = "Measure more, or choose a lower `degree`.")
  }
  x <- if (errors_in == "time") here$response else paste(here$temp, here$hours)
  if (length(unique(x)) <= degree) {
    abort("too_few", paste0("there are ", length(unique(x)), " different values for a polynomial ",
                            "of degree ", degree), arg = columns[["response"]],
          remedy = "Measure more, or choose a lower `degree`.")
  }
}

master_parameter <- function(temp, hours, constant) {
  (temp + ZERO_CELSIUS) * (constant + log10(hours))
}

# Centre and half width that keep the polynomial well conditioned.
master_scaling <- function(here, constant, errors_in) {
  x <- if (errors_in == "time") here$response else master_parameter(here$temp, here$hours, constant)
  signif(c(centre = mean(range(x)), width = max(diff(range(x)) / 2, 1e-8)), 6)
}

# Polynomial at a trial constant: lm.wfit object whose residuals are those of the model.
master_line <- function(here, constant, degree, errors_in,
                        scaling = master_scaling(here, constant, errors_in)) {
  x <- if (errors_in == "time") here$response else master_parameter(here$temp, here$hours, constant)
  z <- outer((x - scaling[["centre"]]) / scaling[["width"]], 0:degree, `^`)
  if (errors_in == "response") return(stats::lm.wfit(z, here$response, here$weight))
  stats::lm.wfit(z / (here$temp + ZERO_CELSIUS), log10(here$hours) + constant, here$weight)
}

# Sum of squares with everything but the constant at its best.
profile_deviance <- function(here, constant, degree, errors_in) {
  vapply(constant, \(c) {
    r <- master_line(here, c, degree, errors_in)$residuals
    sum(here$weight * r^2)
  }, 0)
}

# A grid first: the profile may have more than one valley.
best_constant <- function(here, degree, errors_in, range) {
  grid <- seq(range[1L], range[2L], length.out = 111L)
  rss <- profile_deviance(here, grid, degree, errors_in)
  near <- which.min(rss)
  stats::optimize(\(c) profile_deviance(here, c, degree, errors_in),
                  grid[c(max(near - 1L, 1L), min(near + 1L, 111L))], tol = 1e-8)$minimum
}

master_formula <- function(columns, degree, constant, errors_in, scaling, time_unit) {
  c_term <- if (is.null(constant)) quote(constant) else constant
  kelvin <- bquote((.(as.name(columns[["temp"]])) + .(ZERO_CELSIUS)))
  hours <- as.name(columns[["time"]])
  if (time_unit == "min") hours <- bquote(.(hours) / 60)
  response <- as.name(columns[["response"]])
  x <- if (errors_in == "time") response else bquote(.(kelvin) * (.(c_term) + log10(.(hours))))
  z <- bquote(((.(x) - .(scaling[["centre"]])) / .(scaling[["width"]])))
  curve <- quote(b0)
  for (k in seq_len(degree)) curve <- bquote(.(curve) + .(as.name(paste0("b", k))) * .(z)^.(k))
  formula <- if (errors_in == "time") {
    call("~", bquote(log10(.(hours))), bquote((.(curve)) / .(kelvin) - .(c_term)))
  } else call("~", response, curve)
  stats::as.formula(formula, env = baseenv())
}

# The constant in use, fixed or estimated.
master_constant <- function(fit) {
  if (is.null(fit$master$held)) fit$coefficients[["constant"]] else fit$master$held
}

#' @export
header_lines.softanneal_fit_master_curve <- function(x) {
  m <- x$master
  c(paste0("Master curve: ", if (m$errors_in == "time") {
    paste0("log10 of the time in h for ", x$columns[["response"]])
  } else x$columns[["response"]], ", polynomial of degree ", m$degree),
  paste0("P = T (C + log10 t), T in K, C for t in hours",
         if (!is.null(m$held)) paste0(", fixed at ", format(m$held))),
  paste0("Polynomial in (", if (m$errors_in == "time") x$columns[["response"]] else "P", " - ",
         format(m$scaling[["centre"]]), ")/", format(m$scaling[["width"]])), count_line(x))
}

#' @rdname predict-fit
#' @export
predict.softanneal_fit_master_curve <- function(object, newdata = NULL,
                                                interval = c("none", "confidence", "prediction"),
                                                level = 0.95, se.fit = FALSE, ...) {
  check_dots_empty(...)
  if (!is.null(newdata)) {
    m <- object$master
    by_time <- m$errors_in == "time"
    readers <- list(response = \(data, column, arg) numeric_column(data, column, arg, na = TRUE),
                    temp = temperature_column,
                    time = \(data, column, arg) time_column(data, column, arg, m$time_unit, TRUE))
    pick <- if (by_time) c("response", "temp") else c("temp", "time")
    newdata <- plain_newdata(newdata, object$columns[pick], readers[pick])
    if (by_time) {
      warn_beyond(stats::setNames(list(newdata[[1L]]), object$columns[["response"]]),
                  stats::setNames(list(range(m$here$response)), object$columns[["response"]]))
    } else {
      hours <- newdata[[2L]] / (if (m$time_unit == "min") 60 else 1)
      c_used <- master_constant(object)
      warn_beyond(list("P in K" = master_parameter(newdata[[1L]], hours, c_used)), list(
        "P in K" = range(master_parameter(m$here$temp, m$here$hours, c_used))))
    }
  }
  predict.softanneal_fit_least_squares(object, newdata, interval, level, se.fit)
}
