# Plots of softening: readings and fitted curves with their band, one colour, shape and line type
# per temperature; titles with units; alt text computed from the data.

# The temperature in whose colour or panel a reading is shown: as rolled that of its specimen, if it has one.
temperature_shown <- function(d) {
  before <- d$time_min == 0
  temperature_of_piece(ifelse(before, NA, d$temp_k - ZERO_CELSIUS), d$time_min,
                       d$specimen %or% seq_len(d$n))
}

# Means of conditions with a t interval from their own readings, where there are two or more; never below
# what the step of the dial leaves open.
condition_summary <- function(fit, level) {
  d <- fit$readings
  at <- fit$conditions
  id <- at$of_reading + 1L
  n <- tabulate(id, length(at$mean))
  w <- if (is.null(d$weights)) rep(1, d$n) else d$weights
  r <- d$hardness - at$mean[id]
  s <- sqrt(rowsum(w * r^2, id)[, 1L] / pmax(n - 1, 1) / at$weight)
  dial <- dial_uncertainty(d$as_read, d$scale_read)
  if (d$scale == "HV") {
    dial <- dial * vickers_slope(d$as_read, rep_len(d$scale_read, d$n), rep_len(d$material, d$n))
  }
  dial <- tapply(dial, factor(id, seq_along(n)), max)
  half <- ifelse(n > 1L, pmax(stats::qt(0.5 + level / 2, pmax(n - 1, 1)) * s,
                              stats::qnorm(0.5 + level / 2) * dial), NA_real_)
  out <- data.frame(temp_c = at$temp_c, time_min = at$time_min, mean = at$mean, n = n,
                    lower = at$mean - half, upper = at$mean + half)
  out$strain <- at$strain
  out$limited <- seq_along(n) %in% id[!is_reading(d)]
  out
}

# One panel per strain, where the fit has strains.
strain_panels <- function(fit) {
  if (!is.null(fit$readings$strain)) ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]))
}

# Along a history the first times can lie decades below the others: what is shorter than
# this stands at zero.
shortest_shown <- function(time_min) {
  after <- time_min[time_min > 0]
  if (max(after) / min(after) > 3e4) max(after) / 1e4 else 0
}

#' Plot of a softening fit
#'
#' Readings, their means with t intervals (never narrower than the step of the dial leaves open, see
#' [summarise_readings()]) and fitted curves over time, one colour, shape and line type per temperature; one
#' panel per strain where the fit covers several cold reductions.
#'
#' @param object A fit of [fit_softening()].
#' @param log_time Whether the time axis is logarithmic; readings at time zero are then drawn
#'   at its left end, marked 0.
#' @param band `"confidence"` for the band of the curve, `"prediction"` for that of a new
#'   reading, `"none"`. Where the readings do not determine the curve there is no band.
#' @param readings `TRUE` for every reading, faint, besides the means.
#' @param level Level of the band and of the intervals of the means.
#' @param base_size Size of the text in points; by default the size that suits the device on which
#'   the plot is drawn, or that of a theme set by [ggplot2::theme_set()].
#' @param ... Must be empty.
#' @section Size and theme:
#'   When it is drawn, a plot of this package fits itself to its device, from a journal column
#'   (3.4 x 2.6 inches) to a projector: size of the text, wrapped captions, and a legend that gives
#'   way to labels at the ends of the curves, shrinks or moves below the panels. Other complete themes,
#'   such as [ggplot2::theme_bw()], may be added, and dark ones get lighter colours. Temperatures go
#'   from dark to light, with a shape and a line type each.
#' @return A ggplot object, with alt text (see [ggplot2::get_alt_text()]). `plot()` of a fit takes
#'   the same arguments, draws it, and returns the fit invisibly.
#' @seealso [fit_softening()]; [geom_softening()] for fits inside any ggplot; [plot_avrami()],
#'   [plot_arrhenius()], [plot_residuals()]
#' @examples
#' tungsten <- example_data("tungsten")
#' plot(fit_softening(tungsten))
#' @method autoplot softanneal_fit_softening
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_softening)
autoplot.softanneal_fit_softening <- function(object, log_time = TRUE,
                                              band = c("confidence", "prediction", "none"),
                                              readings = TRUE, level = 0.95, base_size = NULL,
                                              ...) {
  check_dots_empty(...)
  log_time <- check_flag(log_time, "log_time")
  readings <- check_flag(readings, "readings")
  band <- check_choice(band, c("confidence", "prediction", "none"), "band")
  level <- check_level(level)
  means <- condition_summary(object, level)
  after <- means$time_min > 0
  temps <- different_temperatures(means$temp_c[after])
  short <- if (log_time) shortest_shown(means$time_min) else 0
  shown_times <- means$time_min[means$time_min > short]
  zero <- zero_place(shown_times)
  place <- function(t) if (log_time) ifelse(t > short, t, zero) else t
  means$at <- place(means$time_min)
  means$temperature <- temperature_factor(ifelse(after, means$temp_c, NA), temps)
  has_zero <- any(means$time_min <= short)
  curve <- curve_grid(object, temps, log_time, band, level, shown_times)
  each <- data.frame(at = place(object$readings$time_min), hardness = object$readings$hardness,
                     temp_c = temperature_shown(object$readings))
  each$temperature <- temperature_factor(each$temp_c, temps)
  if (!is.null(means$strain)) {
    means$panel <- strain_label(means$strain)
    each$panel <- strain_label(object$readings$strain)
  }
  replicates <- any(means$n > 1L)
  p <- ggplot2::ggplot(mapping = ggplot2::aes(colour = .data[["temperature"]],
                                              shape = .data[["temperature"]]))
  closed <- !is.na(curve$lower) & !is.na(curve$upper)
  curve$lower[!closed] <- NA # what captions say follows what is drawn
  if (band != "none" && any(closed)) {
    p <- p + ggplot2::geom_ribbon(
      ggplot2::aes(.data[["at"]], ymin = .data[["lower"]], ymax = .data[["upper"]],
                   fill = .data[["temperature"]]), data = curve[closed, ],
      alpha = min(0.18, 0.72 / length(temps)), # many bands on one another stay light
      colour = NA, show.legend = FALSE, inherit.aes = FALSE)
  }
  p <- p + ggplot2::geom_line(
    ggplot2::aes(.data[["at"]], .data[["fit"]], linetype = .data[["temperature"]]), data = curve,
    linewidth = 0.6, na.rm = TRUE, show.legend = TRUE) # no curve where the readings give none
  own <- is_reading(object$readings)
  limits <- each[!own, ]
  limits$hardness <- object$readings$limits$bound[!own]
  # a step with limits has no mean; its readings stand for themselves
  apart <- each[own & means$limited[object$conditions$of_reading + 1L], ]
  each <- each[own, ]
  after <- after[!means$limited]
  means <- means[!means$limited, ]
  known <- !is.na(each$temperature)
  if (readings && replicates) {
    p <- p + ggplot2::geom_point(ggplot2::aes(.data[["at"]], .data[["hardness"]]),
                                 data = each[known, ], size = 0.9, alpha = 0.35,
                                 show.legend = FALSE)
  }
  shown <- means[!is.na(means$temperature), ]
  if (replicates) {
    p <- p + ggplot2::geom_linerange(
      ggplot2::aes(.data[["at"]], ymin = .data[["lower"]], ymax = .data[["upper"]]),
      data = shown[!is.na(shown$lower), ], linewidth = 0.5, show.legend = FALSE)
  }
  p <- p + ggplot2::geom_point(ggplot2::aes(.data[["at"]], .data[["mean"]]), data = shown,
                               size = 2.4)
  if (any(!known)) {
    p <- p + ggplot2::geom_point(ggplot2::aes(.data[["at"]], .data[["hardness"]]),
                                 data = each[!known, ], shape = 1, colour = INK, size = 1.2,
                                 inherit.aes = FALSE)
  }
  rolled <- means[!after, ]
  if (nrow(rolled)) {
    p <- p + ggplot2::geom_linerange(
      ggplot2::aes(.data[["at"]], ymin = .data[["lower"]], ymax = .data[["upper"]]),
      data = rolled[!is.na(rolled$lower), ], colour = INK, linewidth = 0.5, inherit.aes = FALSE) +
      ggplot2::geom_point(ggplot2::aes(.data[["at"]], .data[["mean"]]), data = rolled, colour = INK,
                          shape = 5, size = 2.4, inherit.aes = FALSE)
  }
  if (nrow(limits)) {
    side <- object$readings$limits$side[!own]
    for (one in list(list(limits[side > 0L, ], 2), list(limits[side < 0L, ], 6), list(apart, 4))) {
      d <- one[[1L]]
      p <- p + ggplot2::geom_point(
        ggplot2::aes(.data[["at"]], .data[["hardness"]], colour = .data[["temperature"]]),
        data = d[!is.na(d$temperature), ], shape = one[[2L]], size = 2, inherit.aes = FALSE,
        show.legend = FALSE) +
        ggplot2::geom_point(ggplot2::aes(.data[["at"]], .data[["hardness"]]),
                            data = d[is.na(d$temperature), ],
                            shape = one[[2L]], size = 2, colour = INK, inherit.aes = FALSE)
    }
  }
  p + strain_panels(object) + temperature_scales(levels(means$temperature)) +
    time_axis(log_time, zero, shown_times, has_zero, time_title(object)) +
    ggplot2::labs(y = property_title(object), title = in_property("Softening curves", object),
                  caption = curve_caption(object, band, means, curve, readings, level, short),
                  alt = curve_alt(object, means, temps, band, any(!is.na(curve$lower)))) +
    plain_theme(base_size) + if (is.null(means$strain)) curve_ends(curve, log_time)
}

# Where each curve ends on the right, for its label.
curve_ends <- function(curve, log_time, y = "fit") {
  last <- curve[!duplicated(curve$temperature, fromLast = TRUE), ]
  # a curve whose end is not determined has no place for a label: the legend names all
  if (anyNA(last[[y]])) return(NULL)
  end_labels(if (log_time) log10(last$at) else last$at, last[[y]], as.character(last$temperature))
}

# Curve and band over a grid of times for each temperature.
curve_grid <- function(fit, temps, log_time, band, level, after) {
  grid <- if (log_time) exp(seq(log(min(after) / 1.3), log(max(after)), length.out = 200L)) else {
    seq(0, max(after), length.out = 301L)
  }
  out <- data.frame(temp_c = rep(temps, each = length(grid)), time_min = rep(grid, length(temps)))
  strain <- check_strain(fit, NULL)
  if (!is.null(strain)) {
    rows <- nrow(out)
    out <- out[rep(seq_len(rows), length(strain)), ]
    out$strain <- rep(strain, each = rows)
    out$panel <- strain_label(out$strain)
  }
  part <- if (needs_likelihood(fit) && band != "none") thinned_band(fit, out, length(grid), level) else {
    softening_band(fit, out$temp_c, out$time_min, out$strain, level)
  }
  out$fit <- ifelse(part$lost, NA_real_, part$fit)
  ends <- band_ends(fit, part, if (band == "prediction") band else "confidence", level)
  out$lower <- ends[, 1L]
  out$upper <- ends[, 2L]
  out$at <- out$time_min
  out$temperature <- temperature_factor(out$temp_c, temps)
  out
}

# The likelihood takes its time: every eighth place of a curve of `n`, and smooth curves between them.
thinned_band <- function(fit, at, n, level) {
  some <- unique(c(seq(1L, n, by = 8L), n))
  place <- as.vector(outer(some, n * (seq_len(nrow(at) / n) - 1L), `+`))
  part <- softening_band(fit, at$temp_c[place], at$time_min[place], at$strain[place], level)
  whole <- softening_values(fit, at$temp_c, at$time_min, at$strain)
  curve <- rep(seq_len(nrow(at) / n), each = n)
  own <- rep(seq_len(nrow(at) / n), each = length(some))
  for (name in c("lower", "upper")) {
    whole[[name]] <- unlist(lapply(unique(curve), function(k) {
      smooth_between(some, part[[name]][own == k], seq_len(n))
    }))
  }
  whole$lost <- unlist(lapply(unique(curve), function(k) {
    stats::approx(some, part$lost[own == k], seq_len(n))$y > 0
  }))
  whole
}

# A smooth curve through the points, without bumps of its own (Fritsch and Carlson); straight lines, and
# gaps, beside a point that is not finite.
smooth_between <- function(x, y, at) {
  y[!is.finite(y)] <- NA
  if (sum(!is.na(y)) < 2L) return(rep(NA_real_, length(at)))
  if (anyNA(y)) return(stats::approx(x, y, at, na.rm = FALSE)$y)
  stats::splinefun(x, y, "monoH.FC")(at)
}

curve_caption <- function(fit, band, means, curve, readings, level, short) {
  replicates <- any(means$n > 1L)
  early <- sum(means$time_min > 0 & means$time_min <= short)
  caption_of(
    points_words(if (replicates) "means of a step" else "readings", means$lower, level,
                 "t interval of its readings"),
    if (readings && replicates) "Faint points: readings.",
    if (any(means$time_min == 0)) "Grey diamond: as rolled.",
    if (band != "none") {
      band_words(curve$lower, level, if (band == "confidence") "confidence band of the curve" else
        "prediction band of one reading")
    },
    if (!is.null(fit$readings$limits)) {
      paste("Hollow triangles: readings that are a limit (up: at least, down: at most);",
            "crosses: others of their steps.")
    },
    if (anyNA(curve$fit)) "No line where the readings do not determine the curve.",
    if (!is.null(fit$readings$history)) {
      "Times: equivalent time at the temperature named, along the history of each specimen."
    },
    if (early) paste0("At 0 also ", count(early, "step"), " of less than ", format_quantity(short, 2L),
                      " min of equivalent time."))
}

curve_alt <- function(fit, means, temps, band, banded) {
  half <- suppressWarnings(time_to(fit), classes = "softanneal_warning_outside")
  in_property(paste0("Hardness in ", fit$scale, " over ", tolower(sub(" \\(min\\)", "", time_title(fit))),
         " in min, ", fit$nobs,
         " readings", if (!is.null(fit$readings$limits)) {
           paste0(", ", sum(!is_reading(fit$readings)), " of them limits drawn as hollow triangles,")
         }, " at ", length(temps), " temperatures with fitted ", fit$model, " curves",
         if (band != "none" && banded) paste(" and", band, "bands"), ". Hardness falls from ",
         paste(format_quantity(worked_hardness(fit, check_strain(fit, NULL))), collapse = ", "),
         " to ", paste(format_quantity(soft_hardness(fit, check_strain(fit, NULL))), collapse = ", "),
         "; half of it takes ",
         paste0(ifelse(!is.na(half$time_min) & half$note != UNDETERMINED,
                       paste(format_quantity(half$time_min), "min"),
                       ifelse(is.na(half$conf.low), "an undetermined time",
                              paste(range_text(half$conf.low, half$conf.high), "min"))), " at ",
                temperature_label(half$temp_c),
                if (!is.null(strain_name(fit))) {
                  paste(" and strain", format_quantity(half[[strain_name(fit)]]))
                }, collapse = ", "), "."), fit)
}
