# Softening fits inside any ggplot. The ggproto objects are made when first used: ggplot2 is not loaded
# with this package.

layer_state <- new.env(parent = emptyenv())

#' Softening fits as a layer of a ggplot
#'
#' Fits [fit_softening()] to the readings of a plot when it is drawn, and draws the fitted curves with the
#' band of the curve: `x` is the accumulated time in min, `y` the hardness.
#'
#' @section Aesthetics:
#' * `x`, `y`: time and hardness (required). As-rolled readings, at time zero, are used on a logarithmic
#'   axis too, where they cannot be drawn.
#' * `temp_c`: annealing temperature in degrees Celsius (`NA` at time zero is allowed); without it the
#'   readings of a set are taken as of one temperature.
#' * `lot`: readings that are fitted together. Without it each group of the plot that holds several
#'   temperatures, such as `colour = lot`, is fitted on its own, and where each group holds one temperature,
#'   such as `colour = factor(temp_c)`, all groups of a panel are fitted together.
#' * `specimen`, `weight`: as in [fit_softening()]. Readings of one specimen share its errors: without
#'   `specimen` each temperature and time counts as a specimen of its own, and the band is narrower.
#' * `colour`, `fill`, `linetype`, `linewidth`, `alpha`: of curve and band.
#'
#' Panels are always fitted apart. Curves run from the first to the last time of their set.
#'
#' @param mapping,data,position,na.rm,show.legend,inherit.aes,... As in [ggplot2::layer()]; `...` are settings
#'   of the layer, such as `linewidth = 1`.
#' @param model Model, see [softening-models].
#' @param interval `"confidence"` for the band of the curve, `"prediction"` for that of a new reading,
#'   `"none"`.
#' @param level Level of the band.
#' @param reading_scale Scale of `y`. The fit is in HV; curves and bands are converted back.
#' @param material Conversion table for Rockwell readings, see [conversion_tables()].
#' @param fit_args Named list of further arguments of [fit_softening()], such as
#'   `list(se = "cluster", fixed = c(n = 1))`, or `list(property = "Yield stress (MPa)")` where `y` is that.
#' @param n_points Number of points along each curve.
#' @param geom For `stat_softening()`: geometry to draw with, such as `"line"`.
#' @return A layer for [ggplot2::ggplot()]. Computed variables: `y` or hardness, `ymin`, `ymax` and `temp_c`.
#' @section Errors: When the plot is drawn: `softanneal_error_argument` (an aesthetic is missing or of the
#'   wrong type), `softanneal_error_range` (negative times, hardness zero or less), and others of
#'   [fit_softening()], under the error of ggplot2 that names the layer. Sets with too few readings have no
#'   curve, with one warning of class `softanneal_warning_too_few`; readings outside the limits of an axis are
#'   left out, with one of class `softanneal_warning_missing`.
#' @seealso [autoplot.softanneal_fit_softening()] for the plot of a fit; [scale_colour_temperature()] for
#'   colours; [fit_each()] for the numbers of many fits.
#' @examples
#' library(ggplot2)
#' tungsten <- example_data("tungsten")
#' ggplot(tungsten, aes(time_min, hardness, temp_c = temp_c, specimen = specimen,
#'                      colour = factor(temp_c))) +
#'   geom_point() +
#'   geom_softening() +
#'   scale_x_log10() +
#'   scale_colour_temperature()
#' @export
geom_softening <- function(mapping = NULL, data = NULL, position = "identity", ..., model = "jmak",
                           interval = c("confidence", "prediction", "none"), level = 0.95,
                           reading_scale = "HV", material = "brass", fit_args = list(), n_points = 101,
                           na.rm = FALSE, show.legend = NA, inherit.aes = TRUE) {
  params <- softening_params(list(model = model, interval = interval, level = level,
                                  reading_scale = reading_scale, material = material, fit_args = fit_args,
                                  n_points = n_points, na.rm = na.rm, se = TRUE, ...))
  ggplot2::layer(softening_geom(), softening_stat(), data, mapping, position, params, inherit.aes,
                 show.legend = show.legend)
}

#' @rdname geom_softening
#' @export
stat_softening <- function(mapping = NULL, data = NULL, geom = "line", position = "identity", ...,
                           model = "jmak", interval = c("confidence", "prediction", "none"), level = 0.95,
                           reading_scale = "HV", material = "brass", fit_args = list(), n_points = 101,
                           na.rm = FALSE, show.legend = NA, inherit.aes = TRUE) {
  params <- softening_params(list(model = model, interval = interval, level = level,
                                  reading_scale = reading_scale, material = material, fit_args = fit_args,
                                  n_points = n_points, na.rm = na.rm, ...))
  ggplot2::layer(geom, softening_stat(), data, mapping, position, params, inherit.aes,
                 show.legend = show.legend)
}

softening_params <- function(params) {
  params$interval <- check_choice(params$interval, c("confidence", "prediction", "none"), "interval")
  params$model <- check_model_name(params$model)
  params$level <- check_level(params$level)
  params$reading_scale <- check_scale(params$reading_scale, "reading_scale")
  params$n_points <- check_number(params$n_points, "n_points", 2, 1e5, whole = TRUE)
  if (!is.list(params$fit_args) || sum(nzchar(names(params$fit_args))) < length(params$fit_args)) {
    abort("argument", "`fit_args` must be a named list of arguments of fit_softening()", arg = "fit_args",
          remedy = "Give a list such as list(se = \"cluster\").")
  }
  own <- intersect(names(params$fit_args), c("data", "time", "temp", "hardness", "specimen", "weights",
                                             "model", "reading_scale", "material", "level", "strain",
                                             "history"))
  if (length(own)) {
    abort("argument", paste0("`fit_args` must not hold ", in_quotes(own, " and ")), arg = "fit_args",
          remedy = "Data are aesthetics of the layer, the others arguments of its own.")
  }
  if (!is.null(params$fit_args$property) && params$reading_scale != "HV") {
    abort("argument",
          "`property` and `reading_scale` exclude each other: a property is fitted in its own unit",
          arg = "reading_scale", remedy = "Leave `reading_scale` out.")
  }
  params
}

softening_stat <- function() {
  if (is.null(layer_state$stat)) {
    layer_state$stat <- ggplot2::ggproto(
      "StatSoftening", ggplot2::Stat,
      required_aes = c("x", "y"), optional_aes = c("temp_c", "lot", "specimen", "weight"),
      extra_params = c("na.rm", "model", "interval", "level", "reading_scale", "material", "fit_args",
                       "n_points"),
      compute_layer = function(self, data, params, layout) softening_curves(data, params, layout))
  }
  layer_state$stat
}

softening_geom <- function() {
  if (is.null(layer_state$geom)) {
    layer_state$geom <- ggplot2::ggproto(
      "GeomSoftening", ggplot2::GeomSmooth,
      default_aes = ggplot2::aes(colour = !!MAIN_COLOUR, fill = !!INK, linewidth = 0.6, linetype = 1,
                                 weight = 1, alpha = 0.2))
  }
  layer_state$geom
}

# ---- what the layer computes ------------------------------------------------------------------

softening_curves <- function(data, params, layout) {
  absent <- setdiff(c("x", "y"), names(data))
  if (length(absent)) {
    abort("argument", paste0("geom_softening() lacks the aesthetic ", in_quotes(absent, " and ")),
          arg = "mapping", remedy = "Map x to the time in min and y to the hardness.")
  }
  for (name in intersect(c("x", "y", "temp_c", "weight"), names(data))) {
    if (!is.numeric(data[[name]]) || inherits(data[[name]], "mapped_discrete")) {
      abort("argument", paste0("the aesthetic '", name, "' of geom_softening() must be numeric"),
            arg = "mapping", remedy = "Map a column of numbers, not a factor or text.")
    }
    data[[name]] <- as.double(data[[name]])
  }
  gone <- is.na(data$x) | is.na(data$y)
  if (any(gone) && !isTRUE(params$na.rm)) {
    warn("missing", paste0(count(sum(gone), "reading"), " left out by geom_softening(): missing, or outside ",
                           "the limits of an axis. To zoom in, use coord_cartesian()."), n = sum(gone))
  }
  data <- data[!gone, ]
  data$set <- softening_sets(data)
  failed <- character()
  curves <- lapply(split(data, data$set), function(part) {
    tryCatch(softening_curve(part, params, layout), softanneal_error_too_few = function(e) {
      failed <<- c(failed, conditionMessage(e))
      NULL
    })
  })
  if (length(failed)) {
    warn("too_few", paste0(length(failed), " of ", length(curves), " sets of readings have too few readings ",
                           "for a curve. First: ", failed[1L]), n = length(failed))
  }
  out <- do.call(rbind, unname(curves))
  if (is.null(out)) return(data.frame())
  # a group of several temperatures becomes as many curves
  out$group <- match(paste(out$group, out$temp_c), unique(paste(out$group, out$temp_c)))
  rownames(out) <- NULL
  out
}

# Readings fitted together: by panel, and by lot, or by group where a group has several temperatures.
softening_sets <- function(data) {
  panel <- as.integer(data$PANEL)
  if (!is.null(data$lot)) return(paste(panel, data$lot))
  if (is.null(data$temp_c)) return(paste(panel, data$group))
  several <- tapply(data$temp_c, data$group, function(x) length(unique(x[!is.na(x)])) > 1L)
  if (any(several)) paste(panel, data$group) else as.character(panel)
}

softening_curve <- function(part, params, layout) {
  scales <- layout$get_scales(part$PANEL[1L])
  raw <- part
  raw$x <- back_from_axis(part$x, scales$x)
  raw$y <- back_from_axis(part$y, scales$y)
  one <- is.null(raw$temp_c)
  if (one) raw$temp_c <- 300 # any: the rate of one temperature
  readings <- data.frame(time_min = raw$x, temp_c = raw$temp_c, hardness = raw$y,
                         scale = params$reading_scale)
  if (!is.null(raw$specimen)) readings$specimen <- raw$specimen
  weights <- raw$weight
  fit <- withCallingHandlers(
    do.call(fit_softening, c(list(readings, params$model, level = params$level, material = params$material),
                             if (!is.null(weights)) list(weights = weights), params$fit_args)),
    softanneal_warning_fit = function(w) {
      # no energy is asked for where no temperature is named
      if (one && all(w$states %in% c("determined", "fixed"))) rlang::cnd_muffle(w)
    })
  after <- raw$x > 0
  if (!any(after)) return(NULL)
  ends <- range(part$x[after])
  if (any(!after & is.finite(part$x))) ends[1L] <- min(part$x[!after])
  at <- seq(ends[1L], ends[2L], length.out = params$n_points)
  groups <- split(seq_len(nrow(raw)), list(raw$group, raw$temp_c), drop = TRUE)
  out <- lapply(groups[order(vapply(groups, `[`, 0L, 1L))], function(rows) {
    if (!any(after[rows])) return(NULL)
    temp_c <- raw$temp_c[rows[1L]]
    new <- data.frame(temp_c = temp_c, time_min = pmax(back_from_axis(at, scales$x), 0))
    value <- stats::predict(fit, new, if (params$interval == "none") "confidence" else params$interval,
                            params$level, scale = curve_scale(fit, params$reading_scale))
    value <- apply(value, 2L, to_axis, scale = scales$y)
    same <- vapply(part[rows, ], function(v) length(unique(v)) == 1L, NA)
    kept <- setdiff(names(part)[same], c("x", "y", "set", "specimen", "weight"))
    fixed <- part[rows[1L], kept, drop = FALSE]
    new <- data.frame(x = at, y = value[, "fit"], ymin = value[, "lwr"], ymax = value[, "upr"])
    if (params$interval == "none") new <- new[c("x", "y")]
    if (is.null(fixed$temp_c)) fixed$temp_c <- temp_c
    cbind(new, fixed[rep(1L, length(at)), , drop = FALSE])
  })
  do.call(rbind, unname(out))
}

# Curves are in the scale of `y`, those of a property in its own.
curve_scale <- function(fit, reading_scale) {
  if (is.null(property_of(fit)) && reading_scale != fit$scale) reading_scale
}

# From the transformed values of an axis to those of the data, and back.
back_from_axis <- function(x, scale) {
  trans <- axis_transformation(scale)
  if (is.null(trans)) x else trans$inverse(x)
}

to_axis <- function(x, scale) {
  trans <- axis_transformation(scale)
  if (is.null(trans)) x else trans$transform(x)
}

axis_transformation <- function(scale) scale$trans %or% scale$transformation
