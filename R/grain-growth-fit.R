# Fit of the grain growth law over several temperatures at once by the least-squares core, with
# symbolic derivatives. Starting values come from straight lines: for a trial exponent and a
# trial initial size ln((d^m - d0^m)/t) is linear in 1/T.

GROWTH_UNITS <- c(ln_k_ref = "", m = "", q_kj_mol = "kJ/mol", d0_mm = "mm")

#' Fit of grain growth
#'
#' Fits \eqn{d^m = d_0^m + K t}{d^m = d0^m + K t} with an Arrhenius K to grain sizes at one or
#' more temperatures, by (weighted) least squares on the grain size.
#'
#' The exponent is estimated, or fixed with `m =`. K has the unit mm^m/min, so `ln_k_ref` and `m`
#' are strongly correlated: compare rates at the same exponent only. The initial size is a
#' column (`d0`), a known number (`d0_mm`), or one estimate for all specimens (neither given); rows
#' at time zero then count as measurements of it. Data at times long enough that d far exceeds d0
#' do not determine d0, as its interval shows.
#'
#' Errors of grain sizes usually grow with the size: `weights = 1 / grain_mm^2` fits relative
#' errors. Fields counted on one specimen are not independent: fit their means.
#'
#' With one temperature Q cannot be estimated: it is `NA`, with a warning, and
#' predictions at other temperatures are `NA`. Starting values need not be given.
#'
#' @param data A data frame, one row per specimen and time.
#' @param grain Column of grain sizes in mm (any one measure, see [grain_size()]), above zero.
#' @param time,temp Columns of times in min and temperatures in degrees Celsius. All column
#'   arguments take names bare or quoted.
#' @param d0 Column of initial grain sizes in mm; or `NULL`.
#' @param d0_mm The known initial grain size of all rows in mm, above zero; or `NULL`.
#' @param m Exponent to hold, 1 or more; `NULL` to estimate it.
#' @param weights Case weights, one per row, such as 1/u^2; `NULL` for equal.
#' @param temp_ref_c Reference temperature in degrees Celsius; by default that of the mean of 1/T.
#' @param na.action,control As in [fit_least_squares()].
#' @param ... Must be empty.
#' @return An object of class `softanneal_fit_grain_growth` over `softanneal_fit_least_squares` and
#'   `softanneal_fit`, with all methods of [fit_least_squares()] and a plot. Coefficients, as
#'   far as estimated: `ln_k_ref` (natural logarithm of K in mm^m/min at `temp_ref_c`), `m`,
#'   `q_kj_mol`, `d0_mm`. `predict()` takes the same columns and returns mm. The field `law` holds
#'   `k_ref`, `k0`, `m` and `temp_ref_c` for [grain_growth()].
#' @section Errors: `softanneal_error_too_few` (fewer different conditions than parameters, or no
#'   row after time zero), `softanneal_error_range` (sizes not positive, negative times),
#'   `softanneal_error_column`, `softanneal_error_argument` (`d0` and `d0_mm` both given). Warnings
#'   of class `softanneal_warning_fit` name parameters that the data do not determine.
#' @inherit grain_growth source
#' @seealso [grain_growth()] for the law itself, [fit_hall_petch()].
#' @examples
#' # invented sheet of the Larkfield Bell Works, simulated: m = 2.6, Q = 118 kJ/mol, d0 = 0.009 mm
#' growth <- read.csv(system.file("extdata", "grain_bellbrass_growth.csv", package = "softanneal"))
#' fit <- fit_grain_growth(growth, weights = 1 / growth$grain_mm^2)
#' fit
#' predict(fit, data.frame(temp_c = 600, time_min = c(10, 60)), interval = "confidence")
#' # against the ideal exponent
#' anova(fit_grain_growth(growth, m = 2, weights = 1 / growth$grain_mm^2), fit)
#' @export
fit_grain_growth <- function(data, grain = grain_mm, time = time_min, temp = temp_c, ...,
                             d0 = NULL, d0_mm = NULL, m = NULL, weights = NULL, temp_ref_c = NULL,
                             na.action = stats::na.exclude, control = fit_control()) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_grain_growth")
  columns <- c(grain = column_name(rlang::enquo(grain)), time = column_name(rlang::enquo(time)),
               temp = column_name(rlang::enquo(temp)))
  d0_expr <- rlang::enquo(d0)
  if (!is_null_column(d0_expr)) columns <- c(columns, d0 = column_name(d0_expr))
  if (!is_null_column(d0_expr) && !is.null(d0_mm)) {
    abort("argument", "give one of `d0` and `d0_mm`", arg = "d0",
          remedy = "A column of initial sizes, or one number.")
  }
  check_data(data, groups = FALSE)
  weights <- weights_in(rlang::enquo(weights), data)
  check_free_names(columns, c("ln_k_ref", "m", "q_kj_mol",
                              if (is_null_column(d0_expr)) "d0_mm"))
  d0_mm <- check_number(d0_mm, "d0_mm", 0, open = TRUE, null = TRUE)
  m <- check_number(m, "m", 1, null = TRUE)
  plain <- growth_columns(data, columns)
  known <- stats::complete.cases(plain)
  here <- plain[known, , drop = FALSE]
  names(here) <- names(columns)
  energy <- !one_temperature(here$temp)
  estimate_d0 <- is_null_column(d0_expr) && is.null(d0_mm)
  terms <- c("ln_k_ref", if (is.null(m)) "m", if (energy) "q_kj_mol", if (estimate_d0) "d0_mm")
  check_growth(here, terms, columns)
  ref <- mean_inverse_temperature(here$temp, temp_ref_c)
  initial <- if (estimate_d0) quote(d0_mm) else {
    if (is.null(d0_mm)) as.name(columns[["d0"]]) else d0_mm
  }
  power <- if (is.null(m)) quote(m) else m
  law <- bquote((.(initial)^.(power) + exp(.(rate_expression(columns[["temp"]], ref, energy))) *
                   .(as.name(columns[["time"]])))^(1 / .(power)))
  formula <- stats::as.formula(call("~", as.name(columns[["grain"]]), law), env = baseenv())
  start <- growth_start(here, ref, m, if (is_null_column(d0_expr)) d0_mm else here$d0, energy)[terms]
  fit <- quiet_fit(formula, start, lower = c(m = 1, q_kj_mol = 0, d0_mm = 1e-7)[
    intersect(terms, c("m", "q_kj_mol", "d0_mm"))], upper = c(m = 30)[intersect(terms, "m")],
    weights = weights, data = plain, na.action = na.action, control = control)
  if (!energy) fit <- add_open_energy(fit)
  # all columns, also the temperature that one temperature has no need of
  gone <- as.integer(fit$na.action)
  fit$data <- if (length(gone)) plain[-gone, , drop = FALSE] else plain
  complete_growth(fit, call, columns, m, d0_mm, ref)
}

growth_columns <- function(data, columns) {
  size <- function(column) {
    numeric_column(data, column, unit = "mm", lower = 0, upper = 1000, open = TRUE, na = TRUE,
                   remedy = "Grain sizes are above zero, in mm.")
  }
  out <- list(size(columns[["grain"]]), time_column(data, columns[["time"]]),
              temperature_column(data, columns[["temp"]]))
  if ("d0" %in% names(columns)) out <- c(out, list(size(columns[["d0"]])))
  as.data.frame(stats::setNames(out, columns), optional = TRUE)
}

check_growth <- function(here, terms, columns) {
  conditions <- nrow(unique(here[c("time", "temp")]))
  if (sum(here$time > 0) == 0L) {
    abort("too_few", "no grain size was measured after time zero", arg = columns[["time"]],
          remedy = "Give sizes at times above zero.")
  }
  if (conditions < length(terms)) {
    abort("too_few", paste0("there are ", conditions, " different conditions for ", length(terms),
                            " parameters (", in_quotes(terms, " and "), ")"),
          arg = columns[["grain"]], remedy = "Measure at more times, or hold `m` or `d0_mm`.")
  }
}

# Best of a small grid of exponents and initial sizes, each completed by a straight line.
growth_start <- function(here, ref, m, d0, energy) {
  after <- here$time > 0
  e <- inverse_temperature(here$temp, ref)
  x <- if (energy) cbind(1, e) else matrix(1, nrow(here), 1L)
  first <- if (any(!after)) exp(mean(log(here$grain[!after])))
  sizes <- if (!is.null(d0)) list(d0) else {
    as.list(c(first, min(here$grain[after]) * c(0.02, 0.3, 0.7, 0.9, 0.99)))
  }
  best <- NULL
  for (power in if (is.null(m)) c(1.5, 2, 2.5, 3, 4, 6) else m) for (size in sizes) {
    d0_row <- rep_len(size, nrow(here))
    rise <- (here$grain^power - d0_row^power) / here$time
    use <- after & rise > 0
    if (!any(use)) next
    line <- stats::lm.fit(x[use, , drop = FALSE], log(rise[use]))
    b <- ifelse(is.na(line$coefficients), 0, line$coefficients)
    k <- exp(pmin(drop(x %*% b), 500))
    rss <- sum((log(here$grain) - log(grown(here$time, d0_row, k, power)))^2)
    if (is.null(best) || rss < best$rss) {
      best <- list(rss = rss, par = c(ln_k_ref = b[[1L]], m = power,
                                      q_kj_mol = if (energy) max(b[[2L]], 1) else NA,
                                      d0_mm = size[1L]))
    }
  }
  if (is.null(best)) {
    abort("range", "no grain size exceeds the initial size", arg = "grain",
          remedy = "Check the initial size and the unit (mm).")
  }
  best$par
}

complete_growth <- function(fit, call, columns, m, d0_mm, ref) {
  b <- fit$coefficients
  power <- if (is.null(m)) b[["m"]] else m
  fit$call <- call
  fit$model <- "grain growth"
  fit$units <- as.list(GROWTH_UNITS[names(b)])
  fit$columns <- columns
  fit$temp_ref_c <- ref
  fit$fixed <- c(m = m, d0_mm = d0_mm)
  q <- b[["q_kj_mol"]]
  fit$law <- list(k_ref = exp(b[["ln_k_ref"]]),
                  k0 = exp(b[["ln_k_ref"]] + 1000 * q / GAS_CONSTANT / (ref + ZERO_CELSIUS)),
                  m = power, q_kj_mol = q, temp_ref_c = ref)
  class(fit) <- c("softanneal_fit_grain_growth", class(fit))
  warn_fit(fit)
}

#' @export
header_lines.softanneal_fit_grain_growth <- function(x) {
  c("Grain growth fit: d^m = d0^m + K t, sizes in mm, times in min",
    if (length(x$fixed)) paste0("Fixed: ", paste0(names(x$fixed), " = ", format(x$fixed),
                                                 collapse = ", ")),
    paste0("ln_k_ref: ln of K in mm^m/min at the reference temperature ",
           format(x$temp_ref_c, digits = 5), " degrees Celsius"), count_line(x))
}

#' @rdname predict-fit
#' @export
predict.softanneal_fit_grain_growth <- function(object, newdata = NULL,
                                                interval = c("none", "confidence", "prediction"),
                                                level = 0.95, se.fit = FALSE, ...) {
  check_dots_empty(...)
  if (is.null(newdata)) {
    return(predict.softanneal_fit_least_squares(object, NULL, interval, level, se.fit))
  }
  columns <- object$columns[-1L]
  check_data(newdata, "newdata", rows = FALSE)
  readers <- list(time = time_column, temp = temperature_column,
                  d0 = \(data, column, arg) numeric_column(data, column, arg, "mm", 0, open = TRUE,
                                                           na = TRUE))
  plain <- plain_newdata(newdata, columns, readers[names(columns)])
  elsewhere <- other_temperature(object, plain[[columns[["temp"]]]])
  seen <- object$data
  told <- ifelse(elsewhere, NA, 1) # the others are NA and have a warning of their own
  warn_beyond(list("deg C" = told * plain[[columns[["temp"]]]],
                   min = told * plain[[columns[["time"]]]]),
              list("deg C" = range(seen[[columns[["temp"]]]]),
                   min = c(0, max(seen[[columns[["time"]]]]))))
  out <- predict.softanneal_fit_least_squares(object, plain, interval, level, se.fit)
  blank_prediction(out, elsewhere, paste("one temperature was measured,",
                                                 "so there is no prediction at other temperatures"))
}

#' @param object A fit of `fit_grain_growth()`.
#' @param level Level of the band in the plot.
#' @rdname fit_grain_growth
#' @method autoplot softanneal_fit_grain_growth
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_grain_growth)
autoplot.softanneal_fit_grain_growth <- function(object, level = 0.95, ...) {
  check_dots_empty(...)
  level <- check_level(level)
  columns <- object$columns
  d <- object$data
  own <- "d0" %in% names(columns)
  points <- data.frame(time = d[[columns[["time"]]]], grain = d[[columns[["grain"]]]],
                       temp = d[[columns[["temp"]]]], d0 = if (own) d[[columns[["d0"]]]] else 0)
  temps <- different_temperatures(points$temp)
  shown <- points[points$time > 0, ]
  span <- range(shown$time)
  grid <- exp(seq(log(span[1L] / 1.4), log(span[2L] * 1.1), length.out = 120L))
  series <- unique(data.frame(temp = signif(points$temp, 10), d0 = points$d0))
  curve <- series[rep(seq_len(nrow(series)), each = length(grid)), ]
  curve$series <- rep(seq_len(nrow(series)), each = length(grid))
  curve$time <- grid
  new <- stats::setNames(curve[c("time", "temp", if (own) "d0")],
                         columns[c("time", "temp", if (own) "d0")])
  band <- predict.softanneal_fit_least_squares(object, new, "confidence", level)
  curve$grain <- band[, "fit"]
  curve$low <- pmax(band[, "lwr"], min(shown$grain) / 20)
  curve$high <- band[, "upr"]
  curve$temperature <- temperature_factor(curve$temp, temps)
  shown$temperature <- temperature_factor(shown$temp, temps)
  picture <- ggplot2::ggplot(curve, ggplot2::aes(.data[["time"]], .data[["grain"]],
                                                 colour = .data[["temperature"]]))
  if (any(!is.na(curve$low))) {
    picture <- picture + ggplot2::geom_ribbon(
      ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]], fill = .data[["temperature"]],
                   group = .data[["series"]]), alpha = 0.18, colour = NA, show.legend = FALSE)
  }
  y_span <- range(shown$grain, curve$grain)
  picture +
    ggplot2::geom_line(ggplot2::aes(linetype = .data[["temperature"]], group = .data[["series"]]),
                       linewidth = 0.6) +
    ggplot2::geom_point(ggplot2::aes(shape = .data[["temperature"]]), data = shown, size = 2.4) +
    ggplot2::scale_x_log10("Time at temperature (min, logarithmic)", breaks = log_breaks(span),
                           labels = axis_numbers) +
    ggplot2::scale_y_log10("Grain size (mm, logarithmic)", breaks = size_breaks(y_span),
                           labels = plain_numbers) +
    temperature_scales(levels(shown$temperature)) +
    ggplot2::labs(title = growth_title(object), caption = paste0(
      "Points: data after time zero. Band: ", format(100 * level), " % of the curve."),
      alt = paste0("Grain size in mm over time in min, ", nrow(shown), " sizes at ", length(temps),
                   if (length(temps) == 1L) " temperature" else " temperatures",
                   " with fitted growth curves; sizes run from ", format_quantity(min(shown$grain)),
                   " to ", format_quantity(max(shown$grain)), " mm. ", growth_title(object), ".")) +
    plain_theme()
}

# Grain sizes run over one decade or two: closer steps than log_breaks().
size_breaks <- function(x) {
  steps <- if (max(x) / min(x) < 12) c(1, 1.5, 2, 3, 4, 5, 7) else c(1, 2, 5)
  breaks <- as.vector(outer(steps, 10^(-6:3)))
  breaks[breaks >= min(x) * 0.999 & breaks <= max(x) * 1.001]
}

growth_title <- function(fit) {
  term <- function(name, unit) {
    b <- fit$coefficients
    if (!name %in% names(b)) return(paste("fixed at", format(fit$fixed[[name]])))
    if (is.na(b[[name]])) return("not estimable from one temperature")
    with_error(b[[name]], sqrt(fit$vcov[name, name]), unit)
  }
  paste0("Grain growth: m ", term("m", ""), ", Q ", term("q_kj_mol", "kJ/mol"))
}
