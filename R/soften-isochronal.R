# Plots of softening along histories: temperature over hardness in two panels with one time
# axis, and hardness against temperature at given times (isochronal cuts).

#' @param object,x A result of `soften()`.
#' @rdname soften
#' @method autoplot softanneal_softening
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_softening)
autoplot.softanneal_softening <- function(object, ...) {
  check_dots_empty(...)
  group <- if (is.null(object$specimen)) rep("piece", nrow(object)) else
    as.character(object$specimen)
  names <- unique(group)
  time_s <- as.numeric(object$time_s)
  if (inherits(object$time_s, "POSIXct")) time_s <- time_s - min(time_s)
  minutes <- max(time_s) - min(time_s) > 600
  scale <- attr(object, "scale")
  panels <- c("Temperature (\u00b0C)",
              if (is.null(scale)) "Hardness" else hardness_title(scale))
  drawn <- data.frame(
    specimen = factor(rep(group, 2L), names),
    time = rep(time_s / (if (minutes) 60 else 1), 2L),
    value = c(object$temp_c, object$hardness),
    panel = factor(rep(panels, each = nrow(object)), panels))
  ends <- vapply(names, \(one) object$hardness[max(which(group == one))], 0)
  alt <- paste0(
    "Two panels over time in ", if (minutes) "min" else "s", " for ",
    if (length(names) == 1L) "one specimen" else paste(length(names), "pieces"),
    ": temperature, up to ", format(max(object$temp_c), digits = 4),
    " degrees Celsius, and hardness below it, from ", format(max(object$hardness), digits = 4),
    " to ", paste(unique(format(range(ends), digits = 4, trim = TRUE)), collapse = " to "), ".")
  few <- length(names) > 1L && length(names) <= 7L
  p <- ggplot2::ggplot(drawn, ggplot2::aes(.data[["time"]], .data[["value"]],
                                           group = .data[["specimen"]]))
  p <- p + if (few) {
    ggplot2::geom_path(ggplot2::aes(colour = .data[["specimen"]], linetype = .data[["specimen"]]),
                       linewidth = 0.6)
  } else ggplot2::geom_path(colour = MAIN_COLOUR, linewidth = 0.6,
                            alpha = if (length(names) > 7L) 0.5 else 1)
  p + ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]), ncol = 1L, scales = "free_y",
                          strip.position = "left") +
    level_scales(names, "Specimen", ordered = FALSE)[c(1, 4)] +
    ggplot2::labs(x = if (minutes) "Time (min)" else "Time (s)", y = NULL, alt = alt,
                  title = "Softening along the temperature history") +
    plain_theme() +
    ggplot2::theme(strip.placement = "outside", strip.background = ggplot2::element_blank(),
                   strip.text = ggplot2::element_text(size = ggplot2::rel(1)))
}

#' @rdname soften
#' @export
plot.softanneal_softening <- draw_picture

#' Hardness against temperature at given times
#'
#' Isochronal curves: the hardness after one time at constant temperature, over the temperature, measured or
#' of a model. They show at which temperature a metal softens in the time a furnace step takes.
#'
#' @param parameters A fit of [fit_softening()], fits of [fit_each()] (a list of plots, one per group), a
#'   posterior of [fit_posterior()] (medians and quantiles of
#'   its draws), a named vector of parameters as in [soften()], or readings: a data frame as
#'   from [read_readings()].
#' @param time_min Times at temperature in min, one curve each; up to seven. `NULL`: for readings the times
#'   read at most temperatures, otherwise 10 and 60.
#' @param temp_c Lowest and highest temperature of the plot in degrees Celsius; by default,
#'   for a fit the range of its readings, widened by a quarter on both sides, else the range in
#'   which the curves fall.
#' @param model,temp_ref_c As in [soften()].
#' @param band For a fit: `"confidence"` for the band of each curve, or `"none"`.
#' @param level Level of the band, and of the intervals of means and temperatures.
#' @param fit For readings: a fit of [fit_softening()], whose curves are drawn in place of straight lines.
#' @param scale,material,property For readings, as in [fit_softening()]; `scale = "as read"` draws the
#'   numbers of the dial. With `fit` the scale is that of the fit.
#' @param time,temp,hardness,reading_scale,specimen For readings: their columns, as in [fit_softening()].
#' @param h_soft For readings: hardness of the soft state, as in [recryst_temperature()]; with `fit` that of
#'   the fit, where it is determined.
#' @param ... Must be empty.
#' @return A ggplot object with alt text. For a fit, parts of curves outside the temperatures
#'   read are dashed, and the means of readings at just these times are shown. For readings: means with
#'   intervals from the scatter of readings within a step, the curve of each time (straight lines where there
#'   are too few steps for it), the level as rolled, and in the caption the temperature at which half of the
#'   softening is passed ([recryst_temperature()]).
#' @section Errors:
#'   As in [soften()]; `softanneal_error_too_few` for no time, `softanneal_error_argument` for
#'   more than seven, `softanneal_error_range` for a time without readings.
#' @seealso [recryst_temperature()], [autoplot.softanneal_fit_softening()]
#' @examples
#' plot_isochronal(c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.1), n = 1.5, q_kj_mol = 180),
#'                 time_min = c(4, 16, 64), temp_ref_c = 370)
#' # measured
#' readings <- example_data("bellbrass_readings")
#' plot_isochronal(readings, 32)
#' @export
plot_isochronal <- function(parameters, time_min = NULL, ..., temp_c = NULL, model = NULL,
                            temp_ref_c = NULL, band = c("confidence", "none"), level = 0.95, fit = NULL,
                            scale = "HV", material = "brass", property = NULL, h_soft = NULL,
                            time = time_min, temp = temp_c, hardness = hardness, reading_scale = scale,
                            specimen = specimen) {
  check_dots_empty(...)
  level <- check_level(level)
  band <- check_choice(band, c("confidence", "none"), "band")
  if (inherits(parameters, "softanneal_fits")) {
    return(pictures_of_groups(parameters, plot_isochronal, time_min = time_min, temp_c = temp_c, band = band,
                              level = level))
  }
  measured <- NULL
  post <- if (inherits(parameters, "softanneal_posterior")) parameters
  if (!is.null(post)) parameters <- post$fit
  if (is.data.frame(parameters)) {
    if (!is.null(fit)) {
      check_softening(fit)
      if (!is.null(property_of(fit))) property <- property_title(fit) else
        if (fit$scale != "HV") scale <- "as read"
      if (is.null(h_soft) && identical(fit$states[["h_soft"]], "determined")) h_soft <- fit$par[["h_soft"]]
    }
    measured <- isochronal_means(
      parameters, check_isochronal(time_min), level, softening_columns(
        rlang::enquo(time), rlang::enquo(temp), rlang::enquo(hardness), rlang::enquo(reading_scale),
        rlang::enquo(specimen)), scale, material, property, h_soft)
    time_min <- measured$time_min
    if (!is.null(fit)) same_scale(measured$fit$scale, fit$scale)
    parameters <- fit
  }
  time_min <- check_isochronal(time_min) %or% c(10, 60)
  if (is.null(parameters)) return(measured_isochronal(measured, level))
  p <- forward_parameters(parameters, model, temp_ref_c)
  fit <- if (inherits(parameters, "softanneal_fit_softening")) parameters
  read <- if (!is.null(fit)) range(fit$conditions$temp_c[fit$conditions$time_min > 0])
  seen <- if (is.null(measured)) read else range(measured$steps$temp_c)
  range_c <- isochronal_range(p, time_min, temp_c, seen)
  grid <- seq(range_c[1L], range_c[2L], length.out = 241L)
  curve <- data.frame(temp_c = rep(grid, length(time_min)),
                      time_min = rep(time_min, each = length(grid)))
  e <- inverse_temperature(curve$temp_c, p$ref_k - ZERO_CELSIUS)
  m <- .Call(C_sa_call_hardness, p$kind, log(curve$time_min), e, p$par)
  curve$hardness <- m[, 1L]
  draws <- if (!is.null(post)) posterior_band(post, curve, level)
  if (!is.null(post)) curve$hardness <- draws$middle
  label <- isochronal_label(time_min)
  curve$after <- label(curve$time_min)
  picture <- ggplot2::ggplot(curve, ggplot2::aes(.data[["temp_c"]], .data[["hardness"]],
                                                 colour = .data[["after"]]))
  if (!is.null(fit) && band == "confidence") {
    half <- interval_t(fit, level) * softening_values(fit, curve$temp_c, curve$time_min)$se
    ribbon <- curve
    ribbon$low <- if (is.null(post)) curve$hardness - half else draws$low
    ribbon$high <- if (is.null(post)) curve$hardness + half else draws$high
    if (!is.null(post)) half[] <- 0
    picture <- picture + ggplot2::geom_ribbon(
      ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]], fill = .data[["after"]]),
      data = ribbon[!is.na(half), ], alpha = 0.18, colour = NA, show.legend = FALSE)
  }
  outside <- if (is.null(fit)) rep(FALSE, nrow(curve)) else {
    curve$temp_c < read[1L] | curve$temp_c > read[2L]
  }
  shown <- if (is.null(measured)) isochronal_points(fit, time_min, label) else {
    transform(measured$steps, after = label(time_min))
  }
  about <- function(text) if (is.null(fit)) text else in_property(text, fit)
  picture <- picture +
    isochronal_lines(curve, outside, read) + rolled_line(measured) +
    level_scales(levels(curve$after), "After", lines = FALSE) +
    ggplot2::labs(
      x = "Temperature (\u00b0C)", title = about("Hardness after a time at constant temperature"),
      y = if (is.null(fit)) "Hardness" else property_title(fit),
      caption = caption_of(isochronal_caption(fit, band, level, any(outside), nrow(shown), post),
                           if (!is.null(measured)) {
                             measured_words(measured, isochronal_temperatures(measured, 0.5, level))
                           }),
      alt = about(isochronal_alt(curve, time_min, range_c, !is.null(fit) && property_rises(fit))))
  marks <- curve[seq_len(nrow(curve)) %% 24L == 12L, ]
  if (nrow(shown)) marks <- shown
  picture + measured_bars(measured, shown) +
    ggplot2::geom_point(ggplot2::aes(shape = .data[["after"]]), data = marks, size = 2.2) +
    plain_theme()
}

isochronal_label <- function(time_min) {
  function(x) factor(paste(format_quantity(x), "min"), paste(format_quantity(time_min), "min"))
}

check_isochronal <- function(time_min) {
  if (is.null(time_min)) return(NULL)
  time_min <- sort(unique(check_numeric(time_min, "time_min", 0, open = TRUE)))
  if (!length(time_min)) abort("too_few", "`time_min` holds no time", arg = "time_min")
  if (length(time_min) > 7L) {
    abort("argument", "`time_min` holds more than seven times", arg = "time_min",
          remedy = "Draw fewer curves in one plot.")
  }
  time_min
}

isochronal_lines <- function(curve, outside, read) {
  low <- outside & curve$temp_c < read[1L]
  parts <- list(curve[!outside, ], curve[low, ], curve[outside & !low, ])
  lapply(which(vapply(parts, nrow, 0L) > 0L), function(k) {
    ggplot2::geom_line(data = parts[[k]], linewidth = 0.6,
                       linetype = if (k == 1L) "solid" else "22", show.legend = k == 1L)
  })
}

# Means of the readings of a fit at the times of the curves.
isochronal_points <- function(fit, time_min, label) {
  if (is.null(fit)) return(data.frame())
  at <- fit$conditions
  near <- vapply(at$time_min, \(t) {
    hit <- which(abs(time_min - t) <= 1e-6 * t)
    if (length(hit)) hit[1L] else NA_integer_
  }, 0L)
  keep <- which(!is.na(near) & at$time_min > 0)
  if (!length(keep)) return(data.frame())
  data.frame(temp_c = at$temp_c[keep], hardness = at$mean[keep],
             after = label(time_min[near[keep]]))
}

# Temperatures between which the curves fall from 1 to 99 % recrystallised.
isochronal_range <- function(p, time_min, temp_c, read) {
  if (!is.null(temp_c)) {
    temp_c <- check_numeric(temp_c, "temp_c", -ZERO_CELSIUS, open = TRUE, length = 2L)
    if (temp_c[1L] >= temp_c[2L]) {
      abort("range", "`temp_c` must rise", arg = "temp_c",
            remedy = "Give the lowest and the highest temperature.")
    }
    return(temp_c)
  }
  if (!is.null(read) && diff(read) > 0) return(read + c(-0.25, 0.25) * diff(read))
  q <- p$par[5L]
  if (q <= 0) {
    abort("argument", "`temp_c` is needed: without activation energy no temperature is special",
          arg = "temp_c", remedy = "Give the lowest and the highest temperature.")
  }
  # ln k t = ln y / n with y of the fraction; e from it, T from e
  e <- (shape_line(p$model, c(0.01, 0.99)) / p$par[4L] - p$par[3L] - log(rev(range(time_min)))) / q
  inverse <- 1 / p$ref_k - e * GAS_CONSTANT / 1000
  inverse <- pmin(pmax(inverse, 1 / 3000), 1 / 100)
  range_c <- 1 / inverse - ZERO_CELSIUS
  range_c + c(-0.1, 0.1) * max(diff(range_c), 1)
}

isochronal_caption <- function(fit, band, level, outside, points, post) {
  parts <- c(if (!is.null(fit) && band == "confidence") {
    paste0("Band: ", format(100 * level), if (is.null(post)) " % confidence band of the curve." else
      " % of the draws.")
  }, if (outside) "Dashed: outside the temperatures read.",
  if (points) "Points: means of the readings at these times." else
    "Symbols distinguish the curves; they are not readings.")
  paste(parts, collapse = "\n")
}

isochronal_alt <- function(curve, time_min, range_c, rises = FALSE) {
  ends <- format(sort(range(curve$hardness), decreasing = !rises), digits = 3)
  middle <- vapply(time_min, \(t) {
    own <- curve[curve$time_min == t, ]
    half <- mean(range(curve$hardness))
    own$temp_c[which.min(abs(own$hardness - half))]
  }, 0)
  paste0("Hardness over temperature from ", format(range_c[1L], digits = 3), " to ",
         format(range_c[2L], digits = 3), " degrees Celsius after ",
         paste(format_quantity(time_min), collapse = ", "), " min, falling from ",
         trimws(ends[1L]), " to ", trimws(ends[2L]),
         "; halfway near ", paste(format(middle, digits = 3), collapse = ", "),
         " degrees Celsius.")
}
