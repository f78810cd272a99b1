# Avrami plot: double logarithm of the part not softened over the logarithm of time. Each mean of
# a step is on it: one too near a hardness level for the double logarithm is censored, and is an
# arrow at the edge, since leaving it out would keep the means that scatter inwards only.

#' Avrami plot
#'
#' ln(-ln(1 - X)) over ln t: a straight line of slope n when softening is recrystallisation
#' alone without incubation. Points are the means of steps turned into fractions with the
#' hardness levels of the fit; lines are the fitted model.
#'
#' The double logarithm stretches both ends of the plot, where the fraction is least certain, so
#' the plot is for looking; the fit is made on the hardness itself. Bars show how far a mean can be off: the
#' interval of one mean from the scatter of all means about the curves. A mean within `margin` of one of the
#' two levels, or beyond it, is an arrow at the edge of the plot: its fraction is known to be
#' small (or large), not how small. Bends at the two ends within the bars are therefore no sign of another
#' mechanism. Points that leave the line by more than their bars in the middle of the plot, at
#' several temperatures and to the same side, may show recovery or incubation;
#' [compare_models()] tests that on the hardness.
#'
#' @param fit A fit of [fit_softening()], or fits of [fit_each()]: then a list of plots, one per group.
#' @param margin Smallest distance of a fraction from 0 and 1 at which it is drawn as a point; by
#'   default three standard deviations of a mean, as fractions of the softening.
#' @param level Level of the bars.
#' @inheritParams autoplot.softanneal_fit_softening
#' @return A ggplot object with alt text.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()],
#'   `softanneal_error_too_few` where no mean lies between the two hardness levels.
#' @references Avrami M (1939) J. Chem. Phys. 7, 1103 \doi{10.1063/1.1750380}.
#' @seealso [jmak_fraction()], [plot_collapse()], [plot_arrhenius()], [fit_recrystallisation()]
#' @examples
#' tungsten <- example_data("tungsten")
#' plot_avrami(fit_softening(tungsten))
#' @export
plot_avrami <- function(fit, ..., margin = NULL, level = 0.95, base_size = NULL) {
  check_dots_empty(...)
  if (inherits(fit, "softanneal_fits")) {
    return(pictures_of_groups(fit, plot_avrami, margin = margin, level = level, base_size = base_size))
  }
  check_softening(fit)
  margin <- check_number(margin, "margin", 0, 0.5, null = TRUE)
  level <- check_level(level)
  d <- avrami_points(fit, margin, level)
  points <- d$points
  inside <- points$where == "inside"
  if (!any(inside)) {
    abort("too_few", "no mean lies between the two hardness levels", arg = "fit",
          remedy = in_property("Read hardness at times where softening is under way.", fit))
  }
  curve <- avrami_curves(fit, d)
  arrows <- points[points$where %in% c("low", "high"), ]
  levels <- c(0.001, 0.01, 0.05, 0.2, 0.5, 0.8, 0.95, 0.99, 0.999)
  place <- shape_line(fit$model, levels)
  levels <- levels[place >= d$edge[1L] & place <= d$edge[2L]]
  span <- range(points$time_min)
  ggplot2::ggplot(points, ggplot2::aes(.data[["time_min"]], colour = .data[["temperature"]])) +
    ggplot2::geom_line(ggplot2::aes(y = .data[["y"]], linetype = .data[["temperature"]]),
                       data = curve, linewidth = 0.6, show.legend = TRUE) +
    ggplot2::geom_linerange(ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]]),
                            data = points[!is.na(points$low), ], linewidth = 0.4, alpha = 0.8,
                            show.legend = FALSE) +
    ggplot2::geom_segment(ggplot2::aes(xend = .data[["time_min"]], y = .data[["tail"]],
                                       yend = .data[["y"]]), data = arrows, linewidth = 0.4,
                          arrow = grid::arrow(length = grid::unit(0.07, "inches"), type = "closed"),
                          show.legend = FALSE) +
    ggplot2::geom_point(ggplot2::aes(y = .data[["y"]], shape = .data[["temperature"]]),
                        data = points[inside, ], size = 2.2, show.legend = TRUE) +
    limit_marks(points[points$where == "limit", ], "y") +
    ggplot2::scale_x_log10(sub(")", ", logarithmic)", time_title(fit), fixed = TRUE),
                           breaks = log_breaks(span), labels = axis_numbers) +
    ggplot2::scale_y_continuous(
      in_property(paste0(shape_words(fit$model), ", X softened fraction (no unit)"), fit),
      sec.axis = ggplot2::sec_axis(~., breaks = shape_line(fit$model, levels),
                                   labels = paste0(100 * levels, " %"),
                                   name = in_property("Softened fraction (%)", fit))) +
    strain_panels(fit) + temperature_scales(levels(points$temperature)) +
    ggplot2::labs(
      title = "Avrami plot",
      caption = caption_of(
        points_words("means of a step", points$low, level,
                     "interval from the scatter of the means"),
        if (nrow(arrows)) paste0("Arrows: ", count(nrow(arrows), "mean"), " within ",
                                 format_quantity(100 * d$margin, 2L), " % of a level, or beyond it."),
        limit_mark_words(points[points$where == "limit", ]), "Lines: fitted model.", model_remark(fit)),
      alt = paste0("Avrami plot of ", sum(inside), " step means at ", nlevels(points$temperature),
                   " temperatures with the fitted ", fit$model, " model, exponent n ",
                   paste(format_quantity(fit$par[base_term(names(fit$par)) == "n"]),
                         collapse = ", "), "; ", sum(points$where == "low"), " and ",
                   sum(points$where == "high"), " means are arrows at the lower and upper edge",
                   limits_in_alt(sum(points$where == "limit"), "steps"), ".")) +
    plain_theme(base_size)
}

avrami_points <- function(fit, margin, level) {
  at <- fit$conditions
  sd <- scatter_of_means(fit)
  df <- max(length(at$mean) - fit$estimated, 1L)
  out <- with_limits(fit, data.frame(temp_c = at$temp_c, time_min = at$time_min,
                                     x = softened_fraction(fit, at$mean, at$strain)))
  x <- out$x
  unit <- sd / abs(worked_hardness(fit, at$strain) - soft_hardness(fit, at$strain))
  if (!is.null(at$strain)) out$panel <- strain_label(at$strain)
  half <- stats::qt(0.5 + level / 2, df) * unit
  if (is.null(margin)) margin <- fraction_margin(unit)
  keep <- at$time_min > 0 & is.finite(x)
  if (!any(keep)) return(list(points = data.frame(where = character())))
  out <- out[keep, ]
  half <- rep_len(half, length(x))[keep]
  x <- x[keep]
  edge <- shape_line(fit$model, c(margin, 1 - margin)) + c(-0.45, 0.3)
  out$where <- ifelse(x < margin, "low", ifelse(x > 1 - margin, "high", "inside"))
  # a limit that points away from the edge it is near is none of its arrows
  away <- (out$points < 0 & out$where != "low") | (out$points > 0 & out$where != "high")
  out$where[away] <- "limit"
  clamp <- function(v) {
    y <- shape_line(fit$model, pmin(pmax(v, 0), 1)) # 0 and 1 give the infinite ends
    pmin(pmax(y, edge[1L]), edge[2L])
  }
  inside <- out$where == "inside"
  out$low <- ifelse(inside, clamp(x - half), NA_real_)
  out$high <- ifelse(inside, clamp(x + half), NA_real_)
  out$y <- ifelse(inside | away, clamp(x), ifelse(out$where == "low", edge[1L], edge[2L]))
  # an arrow starts where the interval of its mean ends, or a little inside
  out$tail <- ifelse(out$where == "low", pmax(clamp(x + half), edge[1L] + 0.3),
                     pmin(clamp(x - half), edge[2L] - 0.3))
  out$tail[is.na(out$tail)] <- out$y[is.na(out$tail)] # no scatter known: no length
  out$temperature <- temperature_factor(out$temp_c)
  list(points = out, edge = edge, margin = margin)
}

avrami_curves <- function(fit, d) {
  temps <- different_temperatures(d$points$temp_c)
  span <- log(range(d$points$time_min))
  grid <- exp(seq(span[1L] - 0.3, span[2L] + 0.3, length.out = 300L))
  curve <- data.frame(temp_c = rep(temps, each = 300L), time_min = rep(grid, length(temps)))
  strain <- check_strain(fit, NULL)
  if (!is.null(strain)) {
    rows <- nrow(curve)
    curve <- curve[rep(seq_len(rows), length(strain)), ]
    curve$strain <- rep(strain, each = rows)
    curve$panel <- strain_label(curve$strain)
  }
  x <- softened_fraction(fit, softening_values(fit, curve$temp_c, curve$time_min,
                                               curve$strain)$fit, curve$strain)
  keep <- !is.na(x) & x > 0 & x < 1
  curve <- curve[keep, ]
  curve$y <- shape_line(fit$model, x[keep])
  curve <- curve[curve$y >= d$edge[1L] & curve$y <= d$edge[2L], ]
  curve$temperature <- temperature_factor(curve$temp_c, temps)
  curve
}
