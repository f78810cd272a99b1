# Plots of readings and precision. Colours: Okabe-Ito, always with a shape or
# linetype beside them; alternative text is computed from the data shown.

#' Strip chart of readings by step
#'
#' Every reading as a point, the mean of each step with its t interval beside it; one panel a
#' temperature (and a scale, if there are several). Up to six specimens have a colour and a
#' shape of their own. Readings of one specimen by several groups, operators, laboratories and so on
#' (columns as for [summarise_readings()]) stand side by side.
#'
#' @param object,x Readings from [read_readings()] or a table from [summarise_readings()] (means
#'   and intervals only).
#' @param level Level of the intervals.
#' @param ... Passed on by `plot()`; must be empty in `autoplot()`.
#' @return `autoplot()`: a ggplot. `plot()` draws it and returns `x` invisibly.
#' @seealso [read_readings()], [check_readings()], [autoplot.softanneal_fit_softening()]
#' @examples
#' r <- read_readings(data.frame(specimen = "A", temp_c = 330, time_min = rep(c(0, 4, 8), each = 3),
#'   hardness = c(92, 91.5, 92.5, 88, 87.5, 89, 80, 81, 79.5), scale = "HRF"))
#' plot(r)
#' @method autoplot softanneal_readings
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_readings)
autoplot.softanneal_readings <- function(object, level = 0.95, ...) {
  check_dots_empty(...)
  for (column in READINGS_NEEDED) any_column(object, column, "object")
  shown <- plain_frame(object)
  shown <- shown[!is.na(shown$hardness), ]
  own <- stats::setNames(nm = c("hardness", "specimen", "temp_c", "time_min", "scale"))
  keys <- step_keys(shown, as.list(own))
  shown$temp_c <- keys$temp_c
  shown <- with_own_names(shown, pooled_within(shown, keys))
  steps <- withCallingHandlers(
    summarise_readings(shown, by = character(), level = level),
    # a step with one reading is drawn as a point without interval; the caption says so
    softanneal_warning_too_few = function(w) invokeRestart("muffleWarning"))
  strip_chart(steps_frame(steps), shown, level)
}

#' @rdname autoplot.softanneal_readings
#' @method autoplot softanneal_steps
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_steps)
autoplot.softanneal_steps <- function(object, ...) {
  check_dots_empty(...)
  strip_chart(steps_frame(object), NULL, attr(object, "level") %or% 0.95)
}

# Specimens of the same name in several groups, at several operators and so on are drawn apart: the name
# says which.
with_own_names <- function(d, by) {
  own <- as.character(d$specimen)
  for (name in by) own <- paste0(own, ", ", name, " ", as.character(d[[name]]))
  d$specimen <- own
  d
}

# The key columns of a table of steps under their standard names.
steps_frame <- function(steps) {
  key <- attr(steps, "columns")
  needed <- c(key[names(key) != "hardness"], "mean", "conf.low", "conf.high")
  for (column in needed) any_column(steps, column, "object")
  pick <- c(key[["specimen"]], key[["temp_c"]], key[["time_min"]], key[["scale"]], "n", "mean",
            "conf.low", "conf.high")
  by <- setdiff(names(steps)[seq_len(match("n", names(steps)) - 1L)], pick)
  out <- plain_frame(steps)[c(pick, by)]
  names(out)[1:4] <- c("specimen", "temp_c", "time_min", "scale")
  with_own_names(out, by)[names(out)[seq_along(pick)]]
}

strip_chart <- function(steps, readings, level) {
  times <- sort(unique(steps$time_min))
  specimens <- unique(as.character(steps$specimen))
  scales <- unique(as.character(steps$scale))
  few <- length(specimens) <= 6L
  names <- short_names(specimens)
  steps <- strip_places(steps, steps, times, specimens, if (is.null(readings)) 0 else 0.22)
  panels <- length(unique(steps$panel))
  columns <- if (length(scales) > 1L) panels else ggplot2::wrap_dims(panels)[2L]
  p <- ggplot2::ggplot(steps, if (few) ggplot2::aes(x = .data$place, colour = .data$specimen,
                                                    shape = .data$specimen)
                       else ggplot2::aes(x = .data$place))
  # one colour for all where specimens have none of their own
  coloured <- function(geom, ...) if (few) geom(...) else geom(..., colour = MAIN_COLOUR)
  point <- function(...) coloured(ggplot2::geom_point, ...)
  if (!is.null(readings)) {
    p <- p + point(ggplot2::aes(y = .data$hardness), alpha = 0.5, size = 1.3,
                   data = strip_places(readings, steps, times, specimens, -0.22, spread = 0.22))
  }
  p <- p + coloured(ggplot2::geom_errorbar, ggplot2::aes(ymin = .data$conf.low, ymax = .data$conf.high),
                    width = 0.18, data = steps[!is.na(steps$conf.low), ]) +
    point(ggplot2::aes(y = .data$mean), size = 2.6, data = steps[!is.na(steps$mean), ]) +
    ggplot2::scale_x_continuous(breaks = seq_along(times), labels = format(times, trim = TRUE),
                                limits = c(0.4, length(times) + 0.6),
                                # many long numbers in narrow panels stand on two lines
                                guide = ggplot2::guide_axis(
                                  check.overlap = TRUE,
                                  n.dodge = if (crowded_times(times, columns)) 2L else 1L))
  if (few) {
    p <- p + ggplot2::scale_colour_manual(values = group_colours(length(specimens)),
                                          name = "Specimen", labels = names$short) +
      ggplot2::scale_shape_manual(values = group_shapes(length(specimens)), name = "Specimen",
                                  labels = names$short)
    if (length(specimens) == 1L) p <- p + ggplot2::guides(colour = "none", shape = "none")
  }
  p <- p + if (length(scales) > 1L) {
    ggplot2::facet_grid(rows = ggplot2::vars(.data$scale), cols = ggplot2::vars(.data$panel),
                        scales = "free_y")
  } else ggplot2::facet_wrap(ggplot2::vars(.data$panel))
  single <- sum(is.na(steps$conf.low))
  p + ggplot2::labs(
    x = "Accumulated time in the furnace (min), steps evenly spaced", title = "Hardness readings",
    y = if (length(scales) == 1L) paste0("Hardness (", scales,
                                         ")") else "Hardness (scale of the panel)",
    caption = paste0("Large points: means; bars: ", format(100 * level),
                     " % t intervals of the mean",
                     if (!is.null(readings)) "; small points: readings", ".",
                     if (single) paste0("\n", count(single, "step"),
                                        " without interval (fewer than two readings)."),
                     if (few && length(specimens) > 1L && !is.null(names$key)) paste0("\n", names$key),
                     if (!few) paste0("\n", length(specimens),
                                      " specimens, not distinguished by colour.")),
    alt = strip_alt(steps, specimens, scales, times)) + plain_theme(legend = "bottom")
}

# Places on the axis: the number of the time, beside it a slot for each specimen of the
# panel, and within the slot `shift` (readings left, mean right; in parts of the slot).
# Points of one cell are spread evenly over `spread`, so that the plot is the same each time.
strip_places <- function(d, steps, times, specimens, shift, spread = 0) {
  temps <- sort(unique(steps$temp_c), na.last = TRUE)
  panel <- ifelse(is.na(temps), "As rolled", paste(format(temps, trim = TRUE), "\u00b0C"))
  pairs <- unique(data.frame(temp_c = steps$temp_c, specimen = as.character(steps$specimen)))
  # place of each specimen among those of its panel
  of <- match(pairs$temp_c, temps)
  slot <- stats::ave(seq_len(nrow(pairs)), of, FUN = seq_along)
  slots <- stats::ave(slot, of, FUN = max)
  at <- match(paste(match(d$temp_c, temps), as.character(d$specimen)),
              paste(of, pairs$specimen))
  width <- 0.8 / slots[at]
  within <- 0
  if (spread > 0) {
    id <- group_rows(list(at, d$time_min, as.character(d$scale)))$id
    rank <- stats::ave(seq_along(id), id, FUN = seq_along)
    size <- stats::ave(rank, id, FUN = max)
    within <- ((rank - 0.5) / size - 0.5) * 2 * spread
  }
  d$place <- match(d$time_min, times) + (slot[at] - 0.5) * width - 0.4 + (shift + within) * width
  d$panel <- factor(panel[match(d$temp_c, temps)], panel)
  d$specimen <- factor(as.character(d$specimen), specimens)
  d
}

strip_alt <- function(steps, specimens, scales, times) {
  ends <- function(scale, at) {
    pick <- steps$time_min == at & as.character(steps$scale) == scale
    format(round(mean(steps$mean[pick], na.rm = TRUE), 1))
  }
  last <- times[length(times)]
  means <- vapply(scales, function(scale) {
    paste0(ends(scale, times[1L]), " ", scale, " at ", format(times[1L]), " min",
           if (length(times) > 1L) paste0(" and ", ends(scale, last), " at ", format(last), " min"))
  }, "")
  paste0("Strip chart of mean hardness in ", listed(scales),
         " with intervals against accumulated furnace time in minutes for ",
         count(length(specimens), "specimen"), " at ", listed(sort(unique(steps$temp_c))),
         " degrees Celsius. Averaged over the panels of a scale, the mean is ",
         paste(means, collapse = ", "), ".")
}

#' @rdname autoplot.softanneal_readings
#' @export
plot.softanneal_readings <- draw_picture

#' @rdname autoplot.softanneal_readings
#' @export
plot.softanneal_steps <- draw_picture

#' Consistency of laboratories: h and k
#'
#' The statistics h (mean of a laboratory against the others) and k (its scatter against the
#' common one) as bars for each laboratory and material, with their critical values as dashed lines.
#'
#' @param object,x An object from [compare_laboratories()].
#' @param ... Passed on by `plot()`; must be empty in `autoplot()`.
#' @return `autoplot()`: a ggplot. `plot()` draws it and returns `x` invisibly.
#' @seealso [compare_laboratories()]
#' @examples
#' cells <- data.frame(lab = 1:4, ring = "bell", m = c(61, 61.4, 60.7, 63),
#'                     s = c(0.5, 0.4, 0.9, 0.6), n = 5)
#' plot(compare_laboratories(cells, lab, ring, cell_mean = "m", cell_sd = "s",
#'                                        cell_n = "n"))
#' @method autoplot softanneal_laboratories
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_laboratories)
autoplot.softanneal_laboratories <- function(object, ...) {
  check_dots_empty(...)
  cells <- object$cells
  statistics <- c(h = "h (1)", k = "k (1)")
  long <- function(value, critical, beyond, statistic, sign) {
    data.frame(material = cells$material, lab = factor(cells$lab, unique(cells$lab)),
               value = cells[[value]],
               critical = sign * cells[[critical]],
               statistic = factor(statistic, unname(statistics)),
               state = factor(ifelse(!is.na(cells[[beyond]]) & cells[[beyond]], "beyond", "within"),
                              c("within", "beyond")))
  }
  bars <- rbind(long("h", "h_critical", "h_beyond", statistics[["h"]], 1),
                long("k", "k_critical", "k_beyond", statistics[["k"]], 1))
  lines <- rbind(bars, long("h", "h_critical", "h_beyond", statistics[["h"]], -1))
  bars <- bars[!is.na(bars$value), ]
  lines <- lines[!is.na(lines$critical), ]
  out <- bars[bars$state == "beyond", ]
  said <- if (nrow(out)) paste0(
    "beyond the critical value are ",
    paste0("laboratory ", out$lab, " on ", out$material, " (",
           substr(as.character(out$statistic), 1L, 1L), " = ",
           format(round(out$value, 2)), ")",
           collapse = ", ")) else "none is beyond its critical value"
  ggplot2::ggplot(bars, ggplot2::aes(x = .data$lab, y = .data$value)) +
    ggplot2::geom_col(ggplot2::aes(fill = .data$state, linetype = .data$state), colour = INK,
                      width = 0.6, show.legend = TRUE) +
    ggplot2::geom_errorbar(ggplot2::aes(ymin = .data$critical, ymax = .data$critical), data = lines,
                           colour = INK, width = 0.95,
                           linetype = "dashed") +
    ggplot2::facet_grid(rows = ggplot2::vars(.data$statistic), cols = ggplot2::vars(.data$material),
                        scales = "free_y") +
    ggplot2::scale_fill_manual(values = c(within = PALE, beyond = SECOND_COLOUR),
                               name = "Critical value", drop = FALSE) +
    ggplot2::scale_linetype_manual(values = c(within = "12", beyond = "solid"),
                                   name = "Critical value", drop = FALSE) +
    ggplot2::labs(x = "Laboratory", y = "Statistic (no unit)", title = "Consistency of laboratories",
                  caption = paste0("h: mean against the others; k: scatter against the common one. ",
                                   "Dashed: critical values of ASTM E691 at ",
                                   format(100 * (1 - object$alpha)), " %."),
                  alt = paste0("Bars of the consistency statistics h and k of ",
                               length(unique(cells$lab)), " laboratories on ",
                               count(nrow(object$precision), "material"), "; ", said, ".")) +
    plain_theme(legend = "bottom")
}

#' @rdname autoplot.softanneal_laboratories
#' @export
plot.softanneal_laboratories <- draw_picture

#' Uncertainty budget as bars
#'
#' What each input adds to the standard uncertainty of the result (sensitivity times standard
#' uncertainty, without sign), largest on top, and the combined standard uncertainty.
#'
#' @param object,x An object from [uncertainty_budget()] or [propagate_uncertainty()].
#' @param ... Passed on by `plot()`; must be empty in `autoplot()`.
#' @return `autoplot()`: a ggplot. `plot()` draws it and returns `x` invisibly.
#' @seealso [uncertainty_budget()]
#' @examples
#' plot(uncertainty_budget(c(78, 79, 77.5, 78.5, 78), scale = "HRF"))
#' @method autoplot softanneal_budget
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_budget)
autoplot.softanneal_budget <- function(object, ...) {
  check_dots_empty(...)
  parts <- data.frame(input = object$table$input, size = abs(object$table$contribution),
                      kind = "part")
  parts <- parts[order(parts$size), ]
  bars <- rbind(data.frame(input = "combined", size = object$std_uncertainty, kind = "combined"),
                parts)
  bars$place <- factor(seq_len(nrow(bars)))
  bars$kind <- factor(bars$kind, c("part", "combined"))
  unit <- object$unit %or% "unit of the result"
  largest <- parts[nrow(parts), ]
  bars$label <- format(signif(bars$size, 2), trim = TRUE, drop0trailing = TRUE)
  ggplot2::ggplot(bars, ggplot2::aes(x = .data$size, y = .data$place)) +
    ggplot2::geom_col(ggplot2::aes(fill = .data$kind, linetype = .data$kind), colour = INK,
                      width = 0.7, show.legend = FALSE) +
    ggplot2::geom_text(ggplot2::aes(label = .data$label), hjust = -0.15, size = 3.6) +
    ggplot2::scale_fill_manual(values = c(part = PALE, combined = group_colours(1))) +
    ggplot2::scale_linetype_manual(values = c(part = "blank", combined = "solid")) +
    ggplot2::scale_x_continuous(expand = ggplot2::expansion(mult = c(0, 0.15))) +
    ggplot2::scale_y_discrete(labels = bars$input) +
    ggplot2::labs(x = paste0("Standard uncertainty (", unit, ")"), y = NULL,
                  title = "Uncertainty budget",
                  caption = paste0("Result ", format_with(object$estimate, object$expanded),
                                   " \u00b1 ",
                                   format_with(object$expanded, object$expanded), " (", unit, ", ",
                                   format(100 * object$level), " %)."),
                  alt = paste0("Bars of an uncertainty budget of ", count(nrow(parts), "input"),
                               ": the largest is ", largest$input, " with ",
                               format(signif(largest$size, 2)),
                               ", the combined standard uncertainty is ",
                               format(signif(object$std_uncertainty, 2)), " (", unit, ").")) +
    plain_theme(legend = "bottom")
}

#' @rdname autoplot.softanneal_budget
#' @export
plot.softanneal_budget <- draw_picture

# Whether the times would touch below panels side by side: a figure takes about 2.2 mm, and the
# panels of a plot as wide as a page share about 150 mm.
crowded_times <- function(times, columns) {
  sum(nchar(format(times, trim = TRUE)) + 1) * 2.2 > 150 / columns
}
