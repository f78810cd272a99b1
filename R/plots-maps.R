# Two plots of a fit as a whole: all temperatures on one curve, and hardness over temperature
# and time.

#' Collapse plot: all temperatures on one curve
#'
#' Softened fraction over k(T) t, the time in units of each temperature's own rate. If one shape
#' holds for all temperatures and the rates follow one activation energy, the means of all
#' temperatures fall on one curve; a temperature beside it has another rate than the line of
#' the Arrhenius law, and one that crosses it has another shape.
#'
#' @param fit A fit of [fit_softening()] with one exponent; a fit with strain has one
#'   panel per strain. Or fits of [fit_each()]: then a list of plots, one per group.
#' @inheritParams autoplot.softanneal_fit_softening
#' @return A ggplot object with alt text. Bars are intervals of one mean from the scatter of the
#'   means about their curves.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()];
#'   `softanneal_error_model` for a fit with an exponent for each temperature;
#'   `softanneal_error_too_few` where the readings do not determine the rates.
#' @references Christian JW (2002) The Theory of Transformations in Metals and Alloys, 3rd ed.,
#'   chapter 1 (isokinetic transformations and additivity; from memory).
#' @seealso [plot_avrami()], [plot_residuals()], [compare_models()]
#' @examples
#' plot_collapse(fit_softening(example_data("bellbrass_readings")))
#' @export
plot_collapse <- function(fit, ..., level = 0.95, base_size = NULL) {
  check_dots_empty(...)
  if (inherits(fit, "softanneal_fits")) {
    return(pictures_of_groups(fit, plot_collapse, level = level, base_size = base_size))
  }
  check_softening(fit)
  check_one_exponent(fit)
  level <- check_level(level)
  at <- fit$conditions
  rate <- log_rates(fit, at$temp_c, at$strain)
  if (identical(fit$states[["ln_k_ref"]], "not determined")) {
    abort("too_few", "the readings do not determine a rate", arg = "fit",
          remedy = in_property("Read hardness at times where softening is under way.", fit))
  }
  df <- max(length(at$mean) - fit$estimated, 1L)
  drop <- worked_hardness(fit, at$strain) - soft_hardness(fit, at$strain)
  half <- stats::qt(0.5 + level / 2, df) * scatter_of_means(fit) / abs(drop)
  d <- with_limits(fit, data.frame(temp_c = at$temp_c, kt = exp(rate) * at$time_min,
                                   x = softened_fraction(fit, at$mean, at$strain)))
  d$low <- ifelse(d$points == 0, d$x - half, NA)
  d$high <- ifelse(d$points == 0, d$x + half, NA)
  if (!is.null(at$strain)) d$panel <- strain_label(at$strain)
  d <- d[at$time_min > 0 & is.finite(d$kt) & is.finite(d$x), ]
  d$temperature <- temperature_factor(d$temp_c)
  span <- range(d$kt)
  floor <- shortest_shown(d$kt)
  early <- sum(d$kt < floor)
  d <- d[d$kt >= floor, ]
  curve <- collapse_curves(fit, range(d$kt))
  single <- identical(fit$model, "jmak")
  ggplot2::ggplot(d, ggplot2::aes(.data[["kt"]], .data[["x"]])) +
    ggplot2::geom_hline(yintercept = c(0, 1), colour = INK, linewidth = 0.3, linetype = "12") +
    (if (single) ggplot2::geom_line(data = curve[curve$temperature == curve$temperature[1L], ],
                                    colour = INK, linewidth = 0.9)
     else ggplot2::geom_line(ggplot2::aes(colour = .data[["temperature"]],
                                          linetype = .data[["temperature"]]), data = curve,
                             linewidth = 0.5)) +
    ggplot2::geom_linerange(ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]],
                                         colour = .data[["temperature"]]),
                            data = d[!is.na(d$low), ], linewidth = 0.4, alpha = 0.7,
                            show.legend = FALSE) +
    ggplot2::geom_point(ggplot2::aes(colour = .data[["temperature"]],
                                     shape = .data[["temperature"]]), data = d[d$points == 0, ],
                        size = 2.2, show.legend = TRUE) +
    limit_marks(d, "x") +
    ggplot2::scale_x_log10("Rate times time, k(T) t (no unit, logarithmic)",
                           breaks = log_breaks(range(d$kt)), labels = axis_numbers) +
    ggplot2::scale_y_continuous(in_property("Softened fraction (no unit)", fit), breaks = seq(0, 1, 0.25)) +
    strain_panels(fit) + temperature_scales(levels(d$temperature), lines = !single) +
    ggplot2::labs(
      title = "All temperatures on one curve",
      caption = caption_of(
        points_words("means of a step", d$low, level, "interval from the scatter of the means"),
        limit_mark_words(d),
        if (single) "Line: fitted model, one shape for all." else
          "Lines: fitted model; recovery and hardening have rates of their own.",
        model_remark(fit),
        if (early) paste0(count(early, "mean"), " at smaller k(T) t not drawn.")),
      alt = in_property(paste0(
        "Softened fraction of ", nrow(d), " step means", limits_in_alt(sum(d$points != 0)), " at ",
        nlevels(d$temperature),
        " temperatures over rate times time, from ", format_quantity(min(d$kt)), " to ",
        format_quantity(max(d$kt)), ", with the fitted ", fit$model, " model; ",
        "the largest distance from it is ", format_quantity(max(abs(collapse_misfit(fit))), 2L), "."), fit)) +
    plain_theme(base_size)
}

# ln k of the fit at temperatures (and strains), NA where the readings do not say.
log_rates <- function(fit, temp_c, strain) {
  b <- fit$par
  e <- inverse_temperature(temp_c, fit$temp_ref_c)
  q <- if ("q_kj_mol" %in% names(b)) b[["q_kj_mol"]] else 0
  out <- b[["ln_k_ref"]] + q * e
  if ("k_strain" %in% names(b)) out <- out + b[["k_strain"]] * log(strain / fit$readings$strain_ref)
  out
}

collapse_misfit <- function(fit) {
  at <- fit$conditions
  drop <- worked_hardness(fit, at$strain) - soft_hardness(fit, at$strain)
  ((at$mean - condition_values(fit)) / drop)[at$time_min > 0]
}

collapse_curves <- function(fit, span) {
  temps <- different_temperatures(fit$conditions$temp_c[fit$conditions$time_min > 0])
  grid <- exp(seq(log(span[1L] / 1.3), log(span[2L] * 1.2), length.out = 200L))
  strain <- check_strain(fit, NULL)
  one <- function(s) {
    k <- exp(log_rates(fit, temps, s))
    d <- data.frame(temp_c = rep(temps, each = 200L), kt = rep(grid, length(temps)))
    at <- if (is.null(s)) NULL else rep(s, nrow(d))
    d$x <- softened_fraction(fit, softening_values(fit, d$temp_c, d$kt / rep(k, each = 200L),
                                                   at)$fit, at)
    if (!is.null(s)) d$panel <- strain_label(at)
    d
  }
  curve <- if (is.null(strain)) one(NULL) else do.call(rbind, lapply(strain, one))
  curve$temperature <- temperature_factor(curve$temp_c, temps)
  curve[is.finite(curve$x), ]
}

#' Hardness map over temperature and time
#'
#' Lines of equal hardness over temperature and time of an isothermal anneal, the readings that
#' stand behind them, and the region of the data outlined: outside it the map extrapolates.
#'
#' @param fit A fit of [fit_softening()] of readings at two temperatures or more, or fits of [fit_each()]:
#'   then a list of plots, one per group.
#' @param hardness Hardness of the lines, in the scale of the fit; by default about six round values.
#' @param temp_c,time_min Range of temperatures in degrees Celsius and of times in min; by default
#'   those of the readings, a little widened.
#' @param strain For a fit with strain: the strain of the cold work in question.
#' @inheritParams autoplot.softanneal_fit_softening
#' @return A ggplot object with alt text. Lines are dashed outside the region of the data, and there
#'   are none where the readings do not determine the curve.
#' @section Errors:
#'   As in [process_window()].
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @seealso [process_window()], [time_to()], [temp_for()]
#' @examples
#' plot_hardness_map(fit_softening(example_data("bellbrass_readings")))
#' @export
plot_hardness_map <- function(fit, hardness = NULL, ..., temp_c = NULL, time_min = NULL,
                              strain = NULL, base_size = NULL) {
  check_dots_empty(...)
  if (inherits(fit, "softanneal_fits")) {
    return(pictures_of_groups(fit, plot_hardness_map, hardness = hardness, temp_c = temp_c,
                              time_min = time_min, strain = strain, base_size = base_size))
  }
  check_softening(fit)
  check_two_temperatures(fit)
  check_one_exponent(fit)
  strain <- check_strain(fit, strain, one = TRUE)
  at <- fit$conditions
  own <- if (is.null(strain)) rep(TRUE, length(at$mean)) else same_number(at$strain, strain)
  after <- at$time_min > 0 & own
  if (!any(after)) after <- at$time_min > 0 # a strain between those of the data
  read <- list(temp_c = range(at$temp_c[after]),
               time_min = range(at$time_min[after & at$time_min > shortest_shown(at$time_min)]))
  wide <- diff(read$temp_c) * 0.12
  temp_c <- window_axis(temp_c %or% (read$temp_c + c(-wide, wide)), NULL, 101L, "temp_c", FALSE)
  time_min <- window_axis(time_min %or% (read$time_min * c(1 / 1.6, 1.6)), NULL, 101L, "time_min",
                          TRUE)
  grid <- expand.grid(temp_c = temp_c, time_min = time_min, KEEP.OUT.ATTRS = FALSE)
  value <- softening_values(fit, grid$temp_c, grid$time_min, strain)
  grid$hardness <- ifelse(is.na(value$se), NA_real_, value$fit)
  known <- grid$hardness[!is.na(grid$hardness)]
  lines <- if (is.null(hardness)) map_lines(known) else {
    sort(unique(check_numeric(hardness, "hardness", 0, open = TRUE)))
  }
  curves <- map_curves(grid, lines, temp_c, time_min)
  curves$inside <- curves$temp_c >= read$temp_c[1L] & curves$temp_c <= read$temp_c[2L] &
    curves$time_min >= read$time_min[1L] & curves$time_min <= read$time_min[2L]
  keep <- after & own & at$time_min >= read$time_min[1L]
  points <- data.frame(temp_c = at$temp_c, time_min = at$time_min, hardness = at$mean, side = 0)
  steps <- limited_steps(fit)
  if (!is.null(steps)) {
    points$side <- steps$side
    points$hardness <- ifelse(steps$side == 0, at$mean, steps$bound)
  }
  points <- points[keep, ]
  limits <- sum(points$side != 0)
  frame <- data.frame(x1 = read$time_min[1L], x2 = read$time_min[2L], y1 = read$temp_c[1L],
                      y2 = read$temp_c[2L])
  open <- sum(is.na(grid$hardness))
  ggplot2::ggplot(mapping = ggplot2::aes(.data[["time_min"]], .data[["temp_c"]])) +
    ggplot2::geom_rect(ggplot2::aes(xmin = .data[["x1"]], xmax = .data[["x2"]],
                                    ymin = .data[["y1"]], ymax = .data[["y2"]]), data = frame,
                       fill = INK, alpha = 0.1, colour = INK, linewidth = 0.5, inherit.aes = FALSE) +
    ggplot2::geom_point(ggplot2::aes(fill = .data[["hardness"]]), data = points, size = 2.6,
                        shape = c(25, 21, 24)[points$side + 2], colour = INK, stroke = 0.4) +
    lapply(split(curves, curves$inside), function(part) {
      ggplot2::geom_path(ggplot2::aes(group = .data[["piece"]]), data = part, linewidth = 0.6,
                         colour = INK, linetype = if (part$inside[1L]) "solid" else "22")
    }) +
    ggplot2::geom_label(ggplot2::aes(label = .data[["label"]]),
                        data = map_labels(curves, temp_c, time_min), size = 2.8, label.size = 0,
                        label.padding = grid::unit(0.08, "lines"), colour = INK) +
    ggplot2::scale_fill_gradientn(property_title(fit), colours = rev(ramp_colours(7))) +
    ggplot2::scale_x_log10("Time at temperature (min, logarithmic)", breaks = log_breaks(time_min),
                           labels = axis_numbers, expand = c(0, 0), limits = range(time_min)) +
    ggplot2::scale_y_continuous("Temperature (\u00b0C)", expand = c(0, 0), limits = range(temp_c)) +
    ggplot2::labs(
      title = in_property("Hardness over temperature and time", fit),
      caption = caption_of(
        if (nrow(curves)) {
          paste0(in_property(paste0("Lines: equal hardness (", fit$scale, ")"), fit),
                 if (!all(curves$inside)) "; dashed outside the region of the data", ".")
        },
        paste0("Grey: region of the data. Points: means of the readings",
               if (!is.null(fit$readings$history)) ", at their equivalent times", "."),
        if (limits) "Triangles: steps with limits (up: at least, down: at most), coloured at the bound.",
        if (open) "No line where the readings do not determine the curve.",
        "An estimate, not a release for use."),
      alt = paste0(in_property(paste0("Map of hardness in ", fit$scale, " over time from "), fit),
                   format_quantity(min(time_min)), " to ", format_quantity(max(time_min)),
                   " min and temperature from ", format_quantity(min(temp_c)), " to ",
                   format_quantity(max(temp_c)), " degrees Celsius with ",
                   if (nrow(curves)) {
                     paste("lines at", paste(format_quantity(unique(curves$level)), collapse = ", "))
                   } else "no line",
                   " and ", nrow(points), " step means",
                   if (limits) paste0(", ", limits, " of them limits drawn as triangles"),
                   if (open) "; part of it is not determined by the readings", ".")) +
    plain_theme(base_size)
}

# About six round values, none at the flat ends.
map_lines <- function(h) {
  if (!length(h)) return(numeric())
  span <- range(h)
  # where the curve is almost flat, a line would only draw rounding
  if (diff(span) < 0.005 * span[2L]) return(numeric())
  out <- pretty(span, 7L)
  out[out > span[1L] + 0.06 * diff(span) & out < span[2L] - 0.06 * diff(span)]
}

map_curves <- function(grid, lines, temp_c, time_min) {
  z <- matrix(grid$hardness, length(temp_c))
  known <- z[!is.na(z)]
  found <- if (length(lines) && length(known) && max(known) > min(known)) { # flat: no line
    grDevices::contourLines(temp_c, log(time_min), z, levels = lines)
  }
  empty <- data.frame(temp_c = numeric(), time_min = numeric(), level = numeric(), piece = integer())
  rbind(empty, do.call(rbind, lapply(seq_along(found), function(k) {
    data.frame(temp_c = found[[k]]$x, time_min = exp(found[[k]]$y), level = found[[k]]$level,
               piece = k)
  })))
}

# A label on the longest piece of each line, where it covers no other label on a small picture; a line
# without such a place has none.
map_labels <- function(curves, temp_c, time_min) {
  curves$x <- log(curves$time_min) / diff(range(log(time_min)))
  curves$y <- curves$temp_c / diff(range(temp_c))
  out <- curves[0L, ]
  for (level in middle_first(sort(unique(curves$level)))) {
    own <- curves[curves$level == level, ]
    own <- own[own$piece == as.integer(names(which.max(table(own$piece)))), ]
    if (sum(own$inside) > 2L) own <- own[own$inside, ]
    for (along in c(0.5, 0.35, 0.65, 0.2, 0.8)) {
      place <- own[max(1L, round(nrow(own) * along)), ]
      if (all(abs(out$x - place$x) > 0.16 | abs(out$y - place$y) > 0.09)) {
        out <- rbind(out, place)
        break
      }
    }
  }
  out$label <- format(out$level, trim = TRUE)
  out
}

middle_first <- function(x) x[order(abs(seq_along(x) - (length(x) + 1) / 2))]
