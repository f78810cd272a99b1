# Residuals step by step: whether the misfit is scatter of readings, or shared by a whole step.

#' Residuals by step
#'
#' Each reading's residual over time, one panel per temperature (and strain), with the mean of each
#' step, joined for each specimen. Steps whose readings all lie on one side share an error: furnace,
#' position, specimen, or the model.
#'
#' @param fit A fit of [fit_softening()], or fits of [fit_each()]: then a list of plots, one per group.
#' @param ... Must be empty.
#' @return A ggplot object with alt text.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()].
#' @seealso [plot_residual_map()], [plot_collapse()], [softening-inference]
#' @examples
#' readings <- example_data("bellbrass_readings")
#' plot_residuals(fit_softening(readings))
#' @export
plot_residuals <- function(fit, ...) {
  check_dots_empty(...)
  if (inherits(fit, "softanneal_fits")) {
    return(pictures_of_groups(fit, plot_residuals))
  }
  check_softening(fit)
  part <- residual_steps(fit)
  r <- part$readings
  means <- part$means
  curve <- paste(means$panel, means$specimen)
  joined <- means[curve %in% curve[duplicated(curve)], ]
  short <- part$short
  zero <- part$zero
  one_sided <- stats::aggregate(residual ~ cluster, r, function(x) length(x) > 2L &&
                                  (all(x > 0) || all(x < 0)))$residual
  ggplot2::ggplot(r, ggplot2::aes(.data[["at"]], .data[["residual"]])) +
    ggplot2::geom_hline(yintercept = 0, colour = INK, linewidth = 0.4) +
    ggplot2::geom_point(alpha = 0.5, size = 1.3, colour = MAIN_COLOUR) +
    ggplot2::geom_line(ggplot2::aes(group = .data[["specimen"]]), data = joined, colour = SECOND_COLOUR,
                       linewidth = 0.4, linetype = "22") +
    ggplot2::geom_point(data = means, shape = 18, size = 3, colour = SECOND_COLOUR) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]), labeller = ggplot2::label_wrap_gen(11)) +
    time_axis(TRUE, zero, r$time_min[r$time_min > short], any(r$time_min <= short), time_title(fit)) +
    ggplot2::labs(y = in_property(paste0("Residual (", fit$scale, ")"), fit), title = "Residuals by step",
                  caption = caption_of("Points: readings. Diamonds: means of a step, joined by specimen.",
                                       if (!is.null(fit$readings$limits)) {
                                         "Limits (at least, at most) stand at their working values."
                                       },
                                       if (any(r$time_min > 0 & r$time_min <= short))
                                         "Equivalent times too short for the axis stand at 0."),
                  alt = in_property(paste0(
                    "Residuals in ", fit$scale, " over time in min in ", nlevels(r$panel),
                    " panels by temperature; in ", sum(one_sided), " of ", length(one_sided),
                    " steps all readings lie on one side of the curve."), fit)) +
    plain_theme() +
    # the last time of a panel and the 0 of the next keep apart
    ggplot2::theme(panel.spacing.x = grid::unit(1.4, "lines"),
                   plot.margin = ggplot2::margin(5.5, 16, 5.5, 5.5))
}

# Readings with their residuals, panels and places on the time axis; means of steps.
residual_steps <- function(fit) {
  d <- fit$readings
  r <- data.frame(temp_c = temperature_shown(d), time_min = d$time_min, residual = fit$residuals,
                  cluster = fit$conditions$cluster_of, specimen = d$specimen_id)
  temps <- different_temperatures(r$temp_c[r$time_min > 0])
  r$panel <- temperature_factor(r$temp_c, temps)
  if (anyNA(r$panel)) {
    r$panel <- factor(ifelse(is.na(r$panel), "As rolled", as.character(r$panel)),
                      c(levels(r$panel), "As rolled"))
  }
  if (!is.null(d$strain)) {
    strain <- strain_label(d$strain)
    r$panel <- interaction(r$panel, strain, sep = ", ", drop = TRUE, lex.order = TRUE)
  }
  short <- shortest_shown(d$time_min)
  zero <- zero_place(d$time_min[d$time_min > short])
  r$at <- ifelse(r$time_min > short, r$time_min, zero)
  list(readings = r,
       means = stats::aggregate(cbind(residual, at, time_min, specimen) ~ cluster + panel, r, mean),
       short = short, zero = zero)
}

#' Map of residuals over temperature and time
#'
#' The mean residual of each step, in standard deviations of a step mean, over time and temperature.
#' Steps of one temperature that lie on one side point to its furnace or its specimen; one time at all
#' temperatures to the clock or the day; a patch to the model.
#'
#' @inheritParams plot_collapse
#' @return A ggplot object with alt text. Triangles up: readings above the curve, down: below; size and
#'   colour: how far. Specimens and strains of one temperature stand side by side.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()].
#' @seealso [plot_residuals()], [plot_collapse()], [softening-inference]
#' @examples
#' plot_residual_map(fit_softening(example_data("bellbrass_readings")))
#' @export
plot_residual_map <- function(fit, base_size = NULL, ...) {
  check_dots_empty(...)
  if (inherits(fit, "softanneal_fits")) {
    return(pictures_of_groups(fit, plot_residual_map, base_size = base_size))
  }
  check_softening(fit)
  part <- residual_steps(fit)
  d <- part$means
  sigma <- scatter_of_means(fit)
  if (!is.finite(sigma) || sigma <= 0) {
    abort("too_few", "the variance of the step means about their curves is not known", arg = "fit",
          remedy = "The map needs more steps than parameters.")
  }
  d$size <- abs(d$residual) / sigma
  limited <- d$cluster %in% part$readings$cluster[!is_reading(fit$readings)]
  d$side <- factor(ifelse(d$residual >= 0, "above", "below"), c("above", "below"))
  ggplot2::ggplot(d, ggplot2::aes(.data[["at"]], .data[["panel"]])) +
    ggplot2::geom_point(ggplot2::aes(size = .data[["size"]], shape = .data[["side"]],
                                     fill = .data[["side"]]), data = d[!limited, ], colour = INK,
                        stroke = 0.3) +
    ggplot2::geom_point(ggplot2::aes(size = .data[["size"]], shape = .data[["side"]]),
                        data = d[limited, ], fill = NA, colour = INK, stroke = 0.7) +
    time_axis(TRUE, part$zero, part$readings$time_min[part$readings$time_min > part$short],
              any(part$readings$time_min <= part$short), time_title(fit)) +
    ggplot2::scale_shape_manual("Mean of the step", values = c(above = 24, below = 25), drop = FALSE) +
    ggplot2::scale_fill_manual("Mean of the step",
                               values = c(above = SECOND_COLOUR, below = MAIN_COLOUR), drop = FALSE) +
    ggplot2::scale_size_area("Distance (standard\ndeviations)", breaks = 1:4,
                             max_size = max(2.5, min(5.5, 40 / nlevels(d$panel))), # rows keep apart
                             limits = c(0, max(3, d$size))) +
    ggplot2::scale_y_discrete(expand = ggplot2::expansion(add = 0.7)) +
    ggplot2::labs(y = "Annealed at", title = "Residuals over temperature and time",
                  caption = caption_of(
                    in_property(paste0("One standard deviation of a step mean: ",
                                       format_quantity(sigma, 2L), " ", fit$scale, "."), fit),
                    if (any(limited)) "Hollow: steps with limits, which stand at their working values."),
                  alt = paste0("Mean residuals of ", nrow(d), " steps", if (any(limited)) {
                                 paste0(", ", sum(limited), " of them with limits and hollow,")
                               }, " over time in min at ",
                               nlevels(d$panel), " temperatures; the largest is ",
                               format_quantity(max(d$size), 2L), " standard deviations; ",
                               sum(d$side == "above"), " lie above their curve.")) +
    plain_theme(base_size)
}
