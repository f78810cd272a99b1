# Activation energy from the peak temperatures of a calorimeter at several heating rates: the
# straight line of Kissinger, ln(rate/Tp^2) over 1/Tp. Rates in K/min, temperatures in degrees
# Celsius, T in K inside.

#' Activation energy from calorimeter peaks
#'
#' Fits \eqn{\ln(\beta/T_p^2) = c - (Q/R)(1/T_p - 1/T_{ref})}{ln(beta/Tp^2) = c - (Q/R) (1/Tp -
#' 1/Tref)} to the peak temperatures Tp of the heat released at several heating rates beta.
#'
#' At the peak the rate of a first-order process stops rising: `beta Q/(R Tp^2) = A exp(-Q/(R Tp))`,
#' so the slope gives Q and the height the frequency factor A. For other reaction orders and for
#' recrystallisation curves of the Avrami form the line is not exact, but Q comes out within
#' a fraction of a per cent (0.2 % in the test case of this package); A is then in the sense of
#' the rate of [jmak_fraction()], `k = A exp(-Q/RT)`, and for n other than 1 off: 8 % too high for n = 0.8,
#' 8 to 13 % too low for n of 1.5 to 4 (Q of 140 kJ/mol, 2 to 40 K/min). Peaks are
#' read where the sample is colder than the furnace, more so at fast rates: correct for it before
#' (calibration at every rate), or Q comes out too low.
#'
#' @param data A data frame, one row per peak.
#' @param rate Column of heating rates in K/min, positive; bare or quoted.
#' @param peak Column of peak temperatures in degrees Celsius; bare or quoted.
#' @param weights Case weights; `NULL` for equal.
#' @param na.action,control As in [fit_least_squares()].
#' @param ... Must be empty.
#' @return An object of class `softanneal_fit_kissinger` over `softanneal_fit_least_squares` and
#'   `softanneal_fit`, with all methods of [fit_least_squares()] and a plot. Coefficients:
#'   `ln_ratio_ref` (ln of beta/Tp^2 in 1/(K min) at the reference temperature, that of the
#'   mean of 1/Tp) and `q_kj_mol`. The field `frequency_per_min` is A in 1/min. `predict()` takes
#'   peak temperatures and returns ln(beta/Tp^2). With two rates the line is exact and standard
#'   errors are `NA`.
#' @section Errors: `softanneal_error_too_few` for fewer than two different peak temperatures,
#'   `softanneal_error_range` for rates that are not positive, `softanneal_error_column`.
#' @source Kissinger H E (1957) Anal. Chem. 29, 1702 \doi{10.1021/ac60131a045}. ASTM E698 (the same line
#'   among others; seen).
#' @seealso [fit_arrhenius()] for rates at constant temperature.
#' @examples
#' # peaks of rolled copper, computed from published rates at constant temperature
#' # (worked_timetemp.csv, row KI2): Q of those rates is 93.63 kJ/mol
#' peaks <- data.frame(rate_k_min = c(2.5, 5, 10, 20, 40),
#'                     peak_c = c(414.1297, 424.2138, 434.7838, 445.8748, 457.5253) - 273.15)
#' fit_kissinger(peaks)
#' @export
fit_kissinger <- function(data, rate = rate_k_min, peak = peak_c, ..., weights = NULL,
                          na.action = stats::na.exclude, control = fit_control()) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_kissinger")
  columns <- c(rate = column_name(rlang::enquo(rate)), temp = column_name(rlang::enquo(peak)))
  check_data(data, groups = FALSE)
  weights <- weights_in(rlang::enquo(weights), data)
  check_free_names(columns, c("ln_ratio_ref", "q_kj_mol"))
  plain <- as.data.frame(stats::setNames(list(
    numeric_column(data, columns[["rate"]], unit = "K/min", lower = 0, open = TRUE, na = TRUE,
                   remedy = "Heating rates are above zero, in K/min."),
    temperature_column(data, columns[["temp"]])), columns), optional = TRUE)
  known <- stats::complete.cases(plain)
  temp <- plain[known, 2L]
  if (length(temp) == 0L || one_temperature(temp)) {
    abort("too_few", "an activation energy needs peaks at two temperatures or more",
          arg = columns[["temp"]], remedy = "Measure at another heating rate.")
  }
  ref <- mean_inverse_temperature(temp, NULL)
  e <- inverse_temperature(temp, ref)
  y <- log(plain[known, 1L] / (temp + ZERO_CELSIUS)^2)
  line <- stats::lm.fit(cbind(1, e), y)$coefficients
  kelvin <- bquote((.(as.name(columns[["temp"]])) + .(ZERO_CELSIUS)))
  formula <- stats::as.formula(
    call("~", bquote(log(.(as.name(columns[["rate"]])) / .(kelvin)^2)),
         rate_expression(columns[["temp"]], ref, rate = quote(ln_ratio_ref))), env = baseenv())
  fit <- quiet_fit(formula, c(ln_ratio_ref = line[[1L]], q_kj_mol = line[[2L]]), weights = weights,
                   data = plain, na.action = na.action, control = control)
  q <- fit$coefficients[["q_kj_mol"]]
  fit$call <- call
  fit$model <- "Kissinger"
  fit$columns <- columns
  fit$temp_ref_c <- ref
  fit$units <- list(ln_ratio_ref = "", q_kj_mol = "kJ/mol")
  fit$frequency_per_min <- if (q > 0) {
    exp(fit$coefficients[["ln_ratio_ref"]] + log(1000 * q / GAS_CONSTANT) +
          1000 * q / GAS_CONSTANT / (ref + ZERO_CELSIUS))
  } else NA_real_
  class(fit) <- c("softanneal_fit_kissinger", class(fit))
  warn_fit(fit)
}

#' @export
header_lines.softanneal_fit_kissinger <- function(x) {
  c("Kissinger line: ln(heating rate/Tp^2) over 1/Tp, rates in K/min, T in K", count_line(x),
    paste0("ln_ratio_ref at ", format(x$temp_ref_c, digits = 5), " degrees Celsius; frequency ",
           "factor ", format(x$frequency_per_min, digits = 3), " 1/min"))
}

#' @rdname predict-fit
#' @export
predict.softanneal_fit_kissinger <- function(object, newdata = NULL,
                                             interval = c("none", "confidence", "prediction"),
                                             level = 0.95, se.fit = FALSE, ...) {
  check_dots_empty(...)
  if (!is.null(newdata)) {
    newdata <- plain_newdata(newdata, object$columns["temp"], list(temperature_column))
    warn_beyond(list("deg C" = newdata[[1L]]),
                list("deg C" = range(object$data[[object$columns[["temp"]]]])))
  }
  predict.softanneal_fit_least_squares(object, newdata, interval, level, se.fit)
}

#' @param object A fit of `fit_kissinger()`.
#' @param level Level of the band in the plot.
#' @rdname fit_kissinger
#' @method autoplot softanneal_fit_kissinger
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_kissinger)
autoplot.softanneal_fit_kissinger <- function(object, level = 0.95, ...) {
  check_dots_empty(...)
  level <- check_level(level)
  rate <- object$data[[object$columns[["rate"]]]]
  temp <- object$data[[object$columns[["temp"]]]]
  inverse <- function(temp_c) 1000 / (temp_c + ZERO_CELSIUS)
  points <- data.frame(x = inverse(temp), y = log(rate / (temp + ZERO_CELSIUS)^2))
  grid <- temperature_grid(temp)
  band <- predict.softanneal_fit_least_squares(
    object, stats::setNames(data.frame(grid), object$columns[["temp"]]), "confidence", level)
  line <- data.frame(x = inverse(grid), y = band[, 1L], low = band[, 2L], high = band[, 3L])
  ticks <- pretty(temp, 5)
  ticks <- ticks[ticks >= min(grid) & ticks <= max(grid)]
  q <- with_error(object$coefficients[["q_kj_mol"]], sqrt(object$vcov["q_kj_mol", "q_kj_mol"]),
                  "kJ/mol")
  line_with_band(line, points) +
    ggplot2::scale_x_continuous("Inverse peak temperature 1000/T (1/K)",
                                sec.axis = ggplot2::sec_axis(~., breaks = inverse(ticks),
                                                             labels = ticks,
                                                             name = "Peak temperature (\u00b0C)")) +
    ggplot2::labs(y = "ln(heating rate/T\u00b2) (rate in K/min, T in K)",
                  title = paste0("Kissinger line: Q ", q),
                  caption = paste0("Points: peaks. Band: ", format(100 * level), " % of the line."),
                  alt = paste0("Kissinger plot of ", nrow(points), " peaks between ",
                               format(min(temp), digits = 4), " and ",
                               format(max(temp), digits = 4),
                               " degrees Celsius with a straight line; activation energy ", q,
                               ".")) +
    plain_theme()
}
