# Straight line of the textbook: the logarithm of rate over inverse temperature. That of the
# double logarithm is in plots-avrami.R.

#' Arrhenius plot
#'
#' Logarithm of the rate over inverse temperature, a straight line of slope -Q/R.
#'
#' For a softening fit the points are the rates of each temperature on its own, with the shape
#' of the curve fixed at the global fit, and the line and band are those of the global fit;
#' temperatures whose readings do not determine a rate have no point, and the caption names them.
#' For a fit of [fit_arrhenius()] the points are the data.
#'
#' @param fit A fit of [fit_softening()] or [fit_arrhenius()], or fits of [fit_each()]: then a list of plots,
#'   one per group.
#' @param level Level of the band and of the intervals of the points.
#' @inheritParams autoplot.softanneal_fit_softening
#' @return A ggplot object with alt text.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()] or [fit_arrhenius()].
#' @source Arrhenius S (1889) Z. phys. Chem. 4, 226 \doi{10.1515/zpch-1889-0416}.
#' @seealso [fit_softening()], [fit_arrhenius()], [rates()], [plot_avrami()]
#' @examples
#' tungsten <- example_data("tungsten")
#' plot_arrhenius(fit_softening(tungsten))
#' @export
plot_arrhenius <- function(fit, ..., level = 0.95, base_size = NULL) {
  check_dots_empty(...)
  if (inherits(fit, "softanneal_fits")) {
    return(pictures_of_groups(fit, plot_arrhenius, level = level, base_size = base_size))
  }
  level <- check_level(level)
  part <- if (inherits(fit, "softanneal_fit_softening")) {
    softening_line(fit, level)
  } else if (inherits(fit, "softanneal_fit_arrhenius")) {
    arrhenius_line(fit, level)
  } else if (inherits(fit, "softanneal_posterior")) check_softening(fit) else {
    abort("argument", paste0("`fit` must come from fit_softening() or fit_arrhenius(), not ",
                             describe(fit)), arg = "fit", remedy = "Fit the data first.")
  }
  q <- fit$coefficients[["q_kj_mol"]]
  se <- sqrt(fit$vcov["q_kj_mol", "q_kj_mol"])
  q_text <- if (is.na(q)) "not estimable from one temperature" else if (is.na(se)) {
    limit <- if (!is.null(fit$limits)) fit$limits["q_kj_mol", ]
    state <- fit$states[["q_kj_mol"]]
    if (is.null(limit)) state else switch(
      state, "only a lower limit" = paste("at least", format_quantity(limit[[1L]]), "kJ/mol"),
      "only an upper limit" = paste("at most", format_quantity(limit[[2L]]), "kJ/mol"), state)
  } else paste0(format_by_error(q, se), " \u00b1 ", format_by_error(se, se), " kJ/mol")
  arrhenius_picture(part, q_text, base_size)
}

# The picture of rates and their line: `part` holds points, line, title and caption, and where there is a
# second line to compare with, `other` (dashed).
arrhenius_picture <- function(part, q_text, base_size) {
  inverse <- function(temp_c) 1000 / (temp_c + ZERO_CELSIUS)
  line <- part$line
  points <- part$points
  ticks <- pretty(range(c(line$temp_c, points$temp_c)), 5)
  ticks <- ticks[ticks >= min(line$temp_c) & ticks <= max(line$temp_c)]
  if (diff(range(points$temp_c)) < 1e-6) ticks <- points$temp_c[1L] # one temperature
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
  if (!is.null(part$other)) {
    p <- p + ggplot2::geom_line(data = part$other, colour = INK, linewidth = 0.6, linetype = "dashed")
  }
  shown <- points[!is.na(points$ln_k), ]
  bars <- shown[!is.na(shown$lower), ]
  if (nrow(bars)) {
    p <- p + ggplot2::geom_linerange(ggplot2::aes(ymin = .data[["lower"]], ymax = .data[["upper"]]),
                                     data = bars, linewidth = 0.5, colour = MAIN_COLOUR)
  }
  view <- rate_view(line, shown)
  p + ggplot2::geom_point(data = shown, size = 2.4, colour = MAIN_COLOUR) +
    (if (!is.null(view)) ggplot2::coord_cartesian(ylim = view)) +
    ggplot2::scale_x_continuous(
      "Inverse temperature 1000/T (1/K)",
      sec.axis = ggplot2::sec_axis(~., breaks = inverse(ticks), labels = ticks,
                                   name = "Temperature (\u00b0C)")) +
    ggplot2::labs(y = part$title, title = paste0("Arrhenius plot: Q ", q_text),
                  caption = part$caption,
                  alt = paste0("Arrhenius plot of ", count(nrow(shown), "rate"), if (nrow(shown)) {
                    paste0(" between ", format(min(shown$temp_c)), " and ", format(max(shown$temp_c)),
                           " degrees Celsius")
                  }, if (any(!is.na(line$ln_k))) " with a straight line",
                               if (!is.null(part$other)) " and, dashed, that of all readings together",
                               "; activation energy ", q_text,
                               ".")) +
    plain_theme(base_size)
}

# Part of ln k that is drawn where a band without end would press the points flat: the points and a
# factor of about 50 above and below them. NULL: all.
rate_view <- function(line, shown) {
  if (nrow(shown) == 0L) return(NULL)
  own <- range(shown$ln_k, shown$lower, shown$upper, na.rm = TRUE)
  band <- range(line$ln_k, line$lower, line$upper, own, na.rm = TRUE, finite = TRUE)
  room <- max(4, diff(own))
  view <- c(max(band[1L], own[1L] - room), min(band[2L], own[2L] + room))
  if (identical(view, band)) NULL else view
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
  open <- any(!fit$states[c("ln_k_ref", "q_kj_mol")] %in% c("determined", "fixed"))
  if (open) se[se > 2] <- NA_real_
  grid$ln_k <- fit$coefficients[["ln_k_ref"]] + fit$coefficients[["q_kj_mol"]] * e
  grid$lower <- grid$ln_k - t * se
  grid$upper <- grid$ln_k + t * se
  if (open && needs_likelihood(fit) && free_rate(fit) && !any(c("theta0", "k_strain") %in% names(fit$par)) &&
      is.null(fit$readings$exponent_k)) {
    # without incubation 1/k is the time to the share 1 - 1/e
    ends <- meeting_limits(fit, e, -grid$ln_k, rep(1 - exp(-1), nrow(grid)), "fraction", "time",
                           t * se, level)
    grid[c("lower", "upper")] <- -ends[, 2:1]
    if (any(!is.finite(ends))) grid$ln_k[rowSums(!is.finite(ends)) > 0L] <- NA_real_
  }
  list(points = points, line = grid, title = "ln k (k in 1/min)",
       caption = caption_of(
         if (!all(is.na(points$ln_k))) {
           points_words("rate of one temperature alone", points$lower, level, paste0(
             "interval from its own readings, the shape of the curve taken as known"))
         },
         if (any(!is.na(grid$ln_k))) {
           paste0("Line: all temperatures together", if (anyNA(grid$ln_k)) ", where they determine it", ".")
         },
         if (any(!is.na(grid$lower))) {
           paste0("Band: ", percent_text(level), " confidence band of that line, ",
                  "uncertainty of the shape included.")
         },
         no_rate_words(points)))
}

no_rate_words <- function(points) {
  lost <- points$temp_c[is.na(points$ln_k)]
  if (length(lost)) {
    paste0("No rate from the readings at ", paste(sub(" .*", "", temperature_label(lost)), collapse = ", "),
           " \u00b0C: softening was over before, or not begun.")
  }
}

# Rates of rates(): the line through them, and dashed that of the fit of all readings.
rates_line <- function(x) {
  r <- x$rates
  points <- data.frame(temp_c = r$temp_c, ln_k = r$ln_k, lower = ifelse(is.na(r$ln_k), NA, log(r$conf.low)),
                       upper = ifelse(is.na(r$ln_k), NA, log(r$conf.high)))
  grid <- data.frame(temp_c = temperature_grid(points$temp_c), ln_k = NA_real_, lower = NA_real_,
                     upper = NA_real_)
  other <- grid
  if (!is.null(x$line)) grid$ln_k <- stats::predict(x$line, grid["temp_c"])
  q <- x$activation$q_kj_mol[2L]
  other$ln_k <- x$ln_k_ref + q * inverse_temperature(other$temp_c, x$temp_ref_c)
  list(points = points, line = grid, other = if (!is.na(q)) other, title = "ln k (k in 1/min)",
       caption = caption_of(
         points_words("rate of one temperature alone", points$lower, x$level,
                      "interval from its own readings, the levels of the fit taken as known"),
         if (!is.null(x$line)) "Line: weighted, through these rates.",
         if (!is.na(q)) "Dashed: fit of all readings together.", no_rate_words(points)))
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
       caption = caption_of("Points: data. Line: fit.",
                            band_words(grid$lower, level, "confidence band of the line")))
}

#' @method autoplot softanneal_fit_arrhenius
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_arrhenius)
autoplot.softanneal_fit_arrhenius <- function(object, ...) plot_arrhenius(object, ...)

#' @rdname rates
#' @method autoplot softanneal_rates
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_rates)
autoplot.softanneal_rates <- function(object, ..., base_size = NULL) {
  check_dots_empty(...)
  a <- object$activation
  known <- which(!is.na(a$q_kj_mol))
  q <- paste0(format_by_error(a$q_kj_mol, a$std.error), ifelse(
    is.na(a$std.error), "", paste0(" \u00b1 ", format_by_error(a$std.error, a$std.error))),
    c(" (line)", " (all readings)"))
  arrhenius_picture(rates_line(object), if (length(known)) {
    paste0(paste(q[known], collapse = ", "), " kJ/mol")
  } else "not determined", base_size)
}

#' @export
plot.softanneal_rates <- draw_picture
