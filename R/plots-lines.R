# The straight lines of the textbook: double logarithm of the untransformed share over the
# logarithm of time, and the logarithm of rate over inverse temperature.

#' Avrami plot
#'
#' ln(-ln(1 - X)) over ln t: a straight line of slope n when softening is recrystallisation
#' alone without incubation. Points are the readings (means of a step) turned into fractions
#' with the hardness levels of the fit; lines are the fitted model. A curved line of points
#' speaks for recovery or incubation.
#'
#' The double logarithm stretches both ends of the curve, where the fraction is least certain;
#' the plot is for looking, the fit is made on the hardness itself. Means outside the two
#' levels, or within `margin` of one, have no place on this plot; the caption counts them.
#'
#' @param fit A fit of [fit_softening()].
#' @param margin Least distance of the fraction from 0 and 1 for a point to be drawn.
#' @param ... Must be empty.
#' @return A ggplot object with alt text.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()],
#'   `softanneal_error_too_few` where no mean lies between the two hardness levels.
#' @source Avrami M (1939) J. Chem. Phys. 7, 1103.
#' @examples
#' tungsten <- read_readings(
#'   system.file("extdata", "tungsten_isothermal.csv", package = "softanneal"),
#'   specimen = "plate")
#' plot_avrami(fit_softening(tungsten))
#' @export
plot_avrami <- function(fit, margin = 0.01, ...) {
  check_dots_empty(...)
  check_softening(fit)
  margin <- check_number(margin, "margin", 0, 0.5)
  at <- fit$conditions
  after <- at$time_min > 0
  temps <- sort(unique(signif(at$temp_c[after], 10)))
  to_fraction <- function(h, strain) {
    worked <- worked_hardness(fit, strain)
    (worked - h) / (worked - fit$par[["h_soft"]])
  }
  points <- data.frame(temp_c = at$temp_c, time_min = at$time_min,
                       x = to_fraction(at$mean, at$strain))
  if (!is.null(at$strain)) points$panel <- strain_label(at$strain)
  points <- points[after, ]
  inside <- is.finite(points$x) & points$x > margin & points$x < 1 - margin
  left_out <- sum(!inside)
  points <- points[inside, ]
  if (nrow(points) == 0L) {
    abort("too_few", "no mean lies between the two hardness levels", arg = "fit",
          remedy = "Read hardness at times where softening is under way.")
  }
  points$y <- log(-log1p(-points$x))
  points$temperature <- temperature_factor(points$temp_c, temps)
  span <- range(points$time_min)
  grid <- exp(seq(log(span[1L]) - 0.3, log(span[2L]) + 0.3, length.out = 300L))
  curve <- data.frame(temp_c = rep(temps, each = 300L), time_min = rep(grid, length(temps)))
  strain <- check_strain(fit, NULL)
  if (!is.null(strain)) {
    rows <- nrow(curve)
    curve <- curve[rep(seq_len(rows), length(strain)), ]
    curve$strain <- rep(strain, each = rows)
    curve$panel <- strain_label(curve$strain)
  }
  curve$x <- to_fraction(softening_values(fit, curve$temp_c, curve$time_min, curve$strain)$fit,
                         curve$strain)
  curve <- curve[!is.na(curve$x) & curve$x > 0 & curve$x < 1, ]
  curve$y <- log(-log1p(-curve$x))
  low <- min(points$y) - 0.5
  curve <- curve[curve$y >= low & curve$y <= max(points$y) + 0.5, ]
  curve$temperature <- temperature_factor(curve$temp_c, temps)
  levels <- c(0.01, 0.05, 0.2, 0.5, 0.8, 0.95, 0.99)
  levels <- levels[log(-log1p(-levels)) > low & log(-log1p(-levels)) < max(points$y) + 0.6]
  ggplot2::ggplot(mapping = ggplot2::aes(.data[["time_min"]], .data[["y"]],
                                         colour = .data[["temperature"]])) +
    ggplot2::geom_line(ggplot2::aes(linetype = .data[["temperature"]]), data = curve,
                       linewidth = 0.6) +
    ggplot2::geom_point(ggplot2::aes(shape = .data[["temperature"]]), data = points, size = 2.4) +
    ggplot2::scale_x_log10("Time at temperature (min, logarithmic)",
                           breaks = log_breaks(span), labels = plain_numbers) +
    ggplot2::scale_y_continuous(
      "ln(-ln(1 - X)), X softened share (no unit)",
      sec.axis = ggplot2::sec_axis(~., breaks = log(-log1p(-levels)),
                                   labels = paste0(100 * levels, " %"),
                                   name = "Softened share (%)")) +
    strain_panels(fit) + temperature_scales(levels(points$temperature)) +
    ggplot2::labs(
      title = "Avrami plot",
      caption = paste0("Points: means of a step as share of the softening; lines: fitted model.",
                       if (left_out) paste0("\n", left_out, " means at or beyond the two hardness ",
                                            "levels have no place here.")),
      alt = paste0("Avrami plot of ", nrow(points), " step means at ", length(temps),
                   " temperatures with the fitted ", fit$model, " model, exponent n ",
                   paste(format_quantity(fit$par[base_term(names(fit$par)) == "n"]),
                         collapse = ", "), ".")) +
    plain_theme()
}

plain_numbers <- function(x) vapply(x, function(v) format(v, scientific = FALSE, trim = TRUE), "")

check_softening <- function(fit, arg = "fit") {
  if (!inherits(fit, "softanneal_fit_softening")) {
    abort("argument", paste0("`", arg, "` must come from fit_softening(), not ", describe(fit)),
          arg = arg, remedy = "Fit the readings first.")
  }
}

# ln k of each temperature on its own, the shape of the curve (levels, n, recovery,
# incubation) held at the global fit: one parameter a temperature. NA where its readings do
# not fix the rate.
rates_by_temperature <- function(fit) {
  d <- fit$readings
  temps <- sort(unique(signif(d$temp_k[d$time_min > 0], 12)))
  set <- fit$settings$set
  j <- match("ln_k_ref", set$terms)
  out <- lapply(temps, function(temp_k) {
    pick <- which(abs(d$temp_k - temp_k) <= 1e-9 * temp_k & d$time_min > 0)
    e <- inverse_temperature(temp_k - ZERO_CELSIUS, fit$temp_ref_c)
    start <- unname(fit$par)
    start[j] <- start[j] + fit$par[["q_kj_mol"]] * e
    for (process in c("rec", "hard", "grow")) { # every rate moves to the new reference
      i <- match(paste0("ln_k_", process), set$terms)
      if (!is.na(i)) start[i] <- start[i] + fit$par[[paste0("q_", process, "_kj_mol")]] * e
    }
    held <- rep(1L, length(start))
    held[j] <- 0L
    one <- take_readings(d, pick)
    one$ref_k <- temp_k
    r <- run_softening(one, set, control_vector(NULL, "squares"), start, held,
                       clusters = fit$se != "model")
    determined <- r$state[j] == 0L && (r$counts[4L] + 1L) %in% LSQ_CONVERGED
    variance <- if (fit$se == "model") fit$sigma^2 else fit$between / fit$df_interval
    data.frame(temp_c = temp_k - ZERO_CELSIUS, ln_k = if (determined) r$par[j] else NA_real_,
               std.error = if (determined) sqrt(variance * r$model[j, j]) else NA_real_)
  })
  do.call(rbind, out)
}

#' Arrhenius plot
#'
#' Logarithm of the rate over inverse temperature, a straight line of slope -Q/R.
#'
#' For a softening fit the points are the rates of each temperature on its own, with the shape
#' of the curve held at the global fit, and the line and band are those of the global fit;
#' temperatures whose readings do not fix a rate have no point, and the caption names them.
#' For a fit of [fit_arrhenius()] the points are the data.
#'
#' @param fit A fit of [fit_softening()] or [fit_arrhenius()].
#' @param level Level of the band and of the intervals of the points.
#' @param ... Must be empty.
#' @return A ggplot object with alt text.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()] or [fit_arrhenius()].
#' @source Arrhenius S (1889) Z. phys. Chem. 4, 226.
#' @examples
#' tungsten <- read_readings(
#'   system.file("extdata", "tungsten_isothermal.csv", package = "softanneal"),
#'   specimen = "plate")
#' plot_arrhenius(fit_softening(tungsten))
#' @export
plot_arrhenius <- function(fit, level = 0.95, ...) {
  check_dots_empty(...)
  level <- check_level(level)
  part <- if (inherits(fit, "softanneal_fit_softening")) {
    softening_line(fit, level)
  } else if (inherits(fit, "softanneal_fit_arrhenius")) {
    arrhenius_line(fit, level)
  } else {
    abort("argument", paste0("`fit` must come from fit_softening() or fit_arrhenius(), not ",
                             describe(fit)), arg = "fit", remedy = "Fit the data first.")
  }
  inverse <- function(temp_c) 1000 / (temp_c + ZERO_CELSIUS)
  line <- part$line
  points <- part$points
  ticks <- pretty(range(c(line$temp_c, points$temp_c)), 5)
  ticks <- ticks[ticks >= min(line$temp_c) & ticks <= max(line$temp_c)]
  q <- fit$coefficients[["q_kj_mol"]]
  se <- sqrt(fit$vcov["q_kj_mol", "q_kj_mol"])
  q_text <- if (is.na(q)) "not estimable from one temperature" else if (is.na(se)) {
    fit$states[["q_kj_mol"]]
  } else paste0(format_by_error(q, se), " \u00b1 ", format_by_error(se, se), " kJ/mol")
  p <- ggplot2::ggplot(mapping = ggplot2::aes(inverse(.data[["temp_c"]]), .data[["ln_k"]]))
  if (any(!is.na(line$lower))) {
    p <- p + ggplot2::geom_ribbon(ggplot2::aes(ymin = .data[["lower"]], ymax = .data[["upper"]]),
                                  data = line[!is.na(line$lower), ], fill = MAIN_COLOUR,
                                  alpha = 0.18)
  }
  if (any(!is.na(line$ln_k))) {
    p <- p + ggplot2::geom_line(data = line[!is.na(line$ln_k), ], colour = MAIN_COLOUR,
                                linewidth = 0.6)
  }
  shown <- points[!is.na(points$ln_k), ]
  bars <- shown[!is.na(shown$lower), ]
  if (nrow(bars)) {
    p <- p + ggplot2::geom_linerange(ggplot2::aes(ymin = .data[["lower"]], ymax = .data[["upper"]]),
                                     data = bars, linewidth = 0.5, colour = MAIN_COLOUR)
  }
  p + ggplot2::geom_point(data = shown, size = 2.4, colour = MAIN_COLOUR) +
    ggplot2::scale_x_continuous(
      "Inverse temperature 1000/T (1/K)",
      sec.axis = ggplot2::sec_axis(~., breaks = inverse(ticks), labels = ticks,
                                   name = "Temperature (\u00b0C)")) +
    ggplot2::labs(y = part$title, title = paste0("Arrhenius plot: Q ", q_text),
                  caption = part$caption,
                  alt = paste0("Arrhenius plot of ", nrow(shown), " rates between ",
                               format(min(points$temp_c)), " and ", format(max(points$temp_c)),
                               " degrees Celsius with a straight line; activation energy ", q_text,
                               ".")) +
    plain_theme()
}

softening_line <- function(fit, level) {
  points <- rates_by_temperature(fit)
  t <- interval_t(fit, level)
  points$lower <- points$ln_k - t * points$std.error
  points$upper <- points$ln_k + t * points$std.error
  grid <- data.frame(temp_c = temperature_grid(points$temp_c))
  e <- inverse_temperature(grid$temp_c, fit$temp_ref_c)
  g <- matrix(0, nrow(grid), length(fit$par), dimnames = list(NULL, names(fit$par)))
  g[, "ln_k_ref"] <- 1
  g[, "q_kj_mol"] <- e
  se <- delta_se(fit, g)
  open <- any(!fit$states[c("ln_k_ref", "q_kj_mol")] %in% c("determined", "held"))
  if (open) se[se > 2] <- NA_real_
  grid$ln_k <- fit$coefficients[["ln_k_ref"]] + fit$coefficients[["q_kj_mol"]] * e
  grid$lower <- grid$ln_k - t * se
  grid$upper <- grid$ln_k + t * se
  lost <- points$temp_c[is.na(points$ln_k)]
  list(points = points, line = grid, title = "ln k (k in 1/min)",
       caption = paste0("Points: rate of one temperature alone, shape of the curve from the ",
                        "global fit, with ", format(100 * level), " % interval.\nLine and band: global fit.",
                        if (length(lost)) paste0("\nNo rate from the readings at ",
                                                 paste(temperature_label(lost), collapse = ", "),
                                                 ": softening was over before, or not begun.")))
}

arrhenius_line <- function(fit, level) {
  points <- data.frame(temp_c = fit$data$temp_c, ln_k = fit$data$ln_rate, lower = NA_real_,
                       upper = NA_real_)
  grid <- data.frame(temp_c = temperature_grid(points$temp_c))
  e <- inverse_temperature(grid$temp_c, fit$temp_ref_c)
  g <- cbind(1, e)
  se <- gradient_se(g, fit$vcov)
  t <- interval_t(fit, level)
  grid$ln_k <- drop(g %*% fit$coefficients)
  grid$lower <- grid$ln_k - t * se
  grid$upper <- grid$ln_k + t * se
  list(points = points, line = grid, title = "ln(rate) (rate in the unit of the data)",
       caption = paste0("Points: data. Line and band: fit with ", format(100 * level),
                        " % confidence band."))
}

# Temperatures evenly spaced in 1/T, a little beyond the data.
temperature_grid <- function(temp_c) {
  x <- range(1 / (temp_c + ZERO_CELSIUS))
  room <- max(diff(x) * 0.04, 1e-7)
  1 / seq(x[1L] - room, x[2L] + room, length.out = 101L) - ZERO_CELSIUS
}

#' @method autoplot softanneal_fit_arrhenius
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_arrhenius)
autoplot.softanneal_fit_arrhenius <- function(object, ...) plot_arrhenius(object, ...)
