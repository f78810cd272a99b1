# Residuals step by step: whether the misfit is scatter of readings, or shared by a whole step.

#' Residuals by step
#'
#' Each reading's residual over time, one panel a temperature (and strain), with the mean of each
#' step. Steps whose readings all lie on one side share an error: furnace, position, piece, or the model.
#'
#' @param fit A fit of [fit_softening()].
#' @param ... Must be empty.
#' @return A ggplot object with alt text.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()].
#' @examples
#' bell <- read_readings(
#'   system.file("extdata", "bellbrass_readings.csv", package = "softanneal"))
#' plot_residuals(fit_softening(bell))
#' @export
plot_residuals <- function(fit, ...) {
  check_dots_empty(...)
  check_softening(fit)
  d <- fit$readings
  r <- data.frame(temp_c = d$temp_k - ZERO_CELSIUS, time_min = d$time_min, residual = fit$residuals,
                  cluster = fit$conditions$cluster_of)
  temps <- sort(unique(signif(r$temp_c[r$time_min > 0], 10)))
  r$panel <- temperature_factor(r$temp_c, temps)
  if (!is.null(d$strain)) {
    strain <- strain_label(d$strain)
    r$panel <- interaction(r$panel, strain, sep = ", ", drop = TRUE, lex.order = TRUE)
  }
  r <- r[!is.na(r$panel), ]
  short <- shortest_shown(d$time_min)
  zero <- zero_place(d$time_min[d$time_min > short])
  r$at <- ifelse(r$time_min > short, r$time_min, zero)
  means <- stats::aggregate(cbind(residual, at) ~ cluster + panel, r, mean)
  one_sided <- stats::aggregate(residual ~ cluster, r, function(x) length(x) > 2L &&
                                  (all(x > 0) || all(x < 0)))$residual
  ggplot2::ggplot(r, ggplot2::aes(.data[["at"]], .data[["residual"]])) +
    ggplot2::geom_hline(yintercept = 0, colour = INK, linewidth = 0.4) +
    ggplot2::geom_point(alpha = 0.5, size = 1.3, colour = MAIN_COLOUR) +
    ggplot2::geom_line(data = means, colour = SECOND_COLOUR, linewidth = 0.4, linetype = "22") +
    ggplot2::geom_point(data = means, shape = 18, size = 3, colour = SECOND_COLOUR) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]])) +
    time_axis(TRUE, zero, d$time_min[d$time_min > short], any(r$time_min <= short), time_title(fit)) +
    ggplot2::labs(y = paste0("Residual (", fit$scale, ")"), title = "Residuals by step",
                  caption = caption_of("Points: readings. Diamonds: means of a step.",
                                       if (any(r$time_min > 0 & r$time_min <= short))
                                         "Equivalent times too short for the axis stand at 0."),
                  alt = paste0("Residuals in ", fit$scale, " over time in min in ", nlevels(r$panel),
                               " panels by temperature; in ", sum(one_sided), " of ",
                               length(one_sided), " steps all readings lie on one side of the curve.")) +
    plain_theme() +
    # the last time of a panel and the 0 of the next keep apart
    ggplot2::theme(panel.spacing.x = grid::unit(1.4, "lines"),
                   plot.margin = ggplot2::margin(5.5, 16, 5.5, 5.5))
}
