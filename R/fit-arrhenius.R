# The straight line of ln(rate) over 1/T: the classical route to an activation energy, for
# rates or t50 from any source. Linear in its parameters, so solved by QR directly.

#' Activation energy from rates at several temperatures
#'
#' Fits \eqn{\ln k = \ln k_{ref} - (Q/R)(1/T - 1/T_{ref})}{ln k = ln k_ref - (Q/R) (1/T -
#' 1/T_ref)} by (weighted) least squares on the logarithm.
#'
#' This is the second step of the double-log method: it takes each rate as one equally good number on
#' the logarithmic scale. [fit_softening()] uses the readings themselves and is to be preferred where they
#' are at hand.
#'
#' @param data A data frame, one row per rate.
#' @param rate Column (bare or quoted) of rates, or of `1/t50`; positive. Any unit of 1/time; class units is
#'   converted to 1/min.
#' @param time Column of times instead of rates, such as the time to half softening; the rate
#'   is then its inverse. Give `rate` or `time`. Durations and class units are converted to the unit that
#'   ends the name of the column (`_h`, `_s`), else to minutes.
#' @param temp Column of temperatures in degrees Celsius.
#' @param weights Case weights, such as 1/se^2 of ln k; `NULL` for equal.
#' @param temp_ref_c Reference temperature in degrees Celsius; by default that of the mean of
#'   1/T.
#' @param na.action As in [fit_least_squares()].
#' @param ... Must be empty.
#' @return An object of class `softanneal_fit_arrhenius` over `softanneal_fit` with the
#'   coefficients `ln_k_ref` (natural logarithm, unit of the rates, at `temp_ref_c`) and
#'   `q_kj_mol`, and all methods of [fit_least_squares()]. Residuals and fitted values are in
#'   ln k; `predict()` returns ln k at `temp_c` too. With two temperatures the line is exact
#'   and standard errors are `NA`.
#' @section Errors:
#'   `softanneal_error_too_few` for fewer than two temperatures, `softanneal_error_range` for
#'   rates or times that are not positive, `softanneal_error_column` for missing columns.
#' @source Arrhenius S (1889) Z. phys. Chem. 4, 226 \doi{10.1515/zpch-1889-0416}. Gas constant: CODATA
#'   2018.
#' @seealso [arrhenius_rate()], [plot_arrhenius()], [rates()], [fit_kissinger()]
#' @examples
#' # Pure copper, rolled; rates 1/t50 in 1/min (values as in Callister, Materials Science and
#' # Engineering, after Decker and Harker 1950; value from memory)
#' copper <- data.frame(temp_c = c(135, 119, 113, 102, 88, 43),
#'                      rate_per_min = c(0.105, 4.4e-2, 2.9e-2, 1.25e-2, 4.2e-3, 3.8e-5))
#' fit <- fit_arrhenius(copper, rate = rate_per_min)
#' fit
#' exp(-predict(fit, data.frame(temp_c = 20))) / 60 / 24 # days to half at 20 degrees Celsius
#' @export
fit_arrhenius <- function(data, rate = NULL, ..., time = NULL, temp = temp_c, weights = NULL,
                          temp_ref_c = NULL, na.action = stats::na.exclude) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_arrhenius")
  rate_expr <- rlang::enquo(rate)
  time_expr <- rlang::enquo(time)
  if (is_null_column(rate_expr) == is_null_column(time_expr)) {
    abort("argument", "give one of `rate` and `time`", arg = "rate",
          remedy = "Name the column of rates, or the column of times.")
  }
  check_data(data, groups = FALSE)
  weights <- weights_in(rlang::enquo(weights), data)
  value_name <- column_name(if (is_null_column(rate_expr)) time_expr else rate_expr)
  temp_name <- column_name(rlang::enquo(temp))
  unit <- if (is_null_column(rate_expr)) time_unit_by_name(value_name) else "1/min"
  value <- numeric_column(data, value_name, unit = unit, lower = 0, open = TRUE, na = TRUE,
                          remedy = "Rates and times are above zero.")
  temp <- numeric_column(data, temp_name, unit = "degree_C", lower = -ZERO_CELSIUS, open = TRUE,
                         na = TRUE, remedy = "Temperatures are in degrees Celsius, above -273.15.")
  weights <- check_weights(weights, nrow(data))
  gone <- missing_rows(stats::setNames(list(value, temp), c(value_name, temp_name)), nrow(data),
                       na.action)
  if (!is.null(gone)) {
    value <- value[-gone]
    temp <- temp[-gone]
    weights <- weights[-gone]
  }
  if (length(unique(signif(temp, 12))) < 2L) {
    abort("too_few", "an activation energy needs rates at two temperatures or more", arg = temp_name,
          remedy = "Measure at another temperature.")
  }
  ref <- if (!is.null(temp_ref_c)) check_temperature(check_number(temp_ref_c, "temp_ref_c"),
                                                     "temp_ref_c") else {
    1 / mean(1 / (temp + ZERO_CELSIUS)) - ZERO_CELSIUS
  }
  arrhenius_fit(value, temp, weights, ref, is_null_column(rate_expr), gone, call, temp_name)
}

ARRHENIUS_FORMULA <- ln_rate ~ temp_c
environment(ARRHENIUS_FORMULA) <- baseenv()

arrhenius_fit <- function(value, temp, weights, ref, inverse, gone, call, temp_name) {
  ln_k <- if (inverse) -log(value) else log(value)
  e <- inverse_temperature(temp, ref)
  w <- if (is.null(weights)) rep(1, length(ln_k)) else weights
  x <- cbind(ln_k_ref = 1, q_kj_mol = e)
  line <- stats::lm.wfit(x, ln_k, w)
  df <- sum(w > 0) - 2L
  deviance <- sum(w * line$residuals^2)
  sigma <- if (df > 0L) sqrt(deviance / df) else NA_real_
  unscaled <- chol2inv(qr.R(line$qr))
  vcov <- sigma^2 * unscaled
  dimnames(vcov) <- list(colnames(x), colnames(x))
  states <- c(ln_k_ref = "determined", q_kj_mol = "determined")
  new_fit("softanneal_fit_arrhenius", coefficients = line$coefficients, vcov = vcov, sigma = sigma,
          deviance = deviance, df.residual = df, df_interval = df, nobs = sum(w > 0),
          fitted.values = line$fitted.values, residuals = line$residuals, weights = weights,
          states = states, limits = NULL,
          convergence = convergence_list(2L, 1L, 1L, 0, 2L), call = call,
          formula = ARRHENIUS_FORMULA, na.action = gone,
          units = list(ln_k_ref = "", q_kj_mol = "kJ/mol"), temp_ref_c = ref, estimated = 2L,
          se = "model", cov_unscaled = unscaled,
          conditions = list(jacobian = x, of_reading = seq_along(ln_k) - 1L),
          data = data.frame(temp_c = temp, ln_rate = ln_k), temp_name = temp_name)
}

#' @export
header_lines.softanneal_fit_arrhenius <- function(x) {
  c("Arrhenius fit: ln(rate) over 1/T", count_line(x),
    paste0("ln_k_ref at the reference temperature ", format(x$temp_ref_c, digits = 5),
           " degrees Celsius"))
}

#' @rdname predict-fit
#' @export
predict.softanneal_fit_arrhenius <- function(object, newdata = NULL,
                                             interval = c("none", "confidence", "prediction"),
                                             level = 0.95, se.fit = FALSE, ...) {
  check_dots_empty(...)
  interval <- check_choice(interval, c("none", "confidence", "prediction"), "interval")
  if (is.null(newdata)) {
    temp <- object$data$temp_c
  } else {
    check_data(newdata, "newdata", rows = FALSE)
    temp <- numeric_column(newdata, object$temp_name, "newdata", "degree_C", -ZERO_CELSIUS,
                           open = TRUE, na = TRUE,
                           remedy = "Temperatures are in degrees Celsius, above -273.15.")
  }
  g <- cbind(1, inverse_temperature(temp, object$temp_ref_c))
  fit <- drop(g %*% object$coefficients)
  se <- gradient_se(g, object$vcov)
  out <- finish_prediction(object, fit, se, interval, level, se.fit)
  if (is.null(newdata)) pad_prediction(out, object$na.action) else out
}
