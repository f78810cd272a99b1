# The region of time and temperature that lands in a wanted range of hardness.

#' Times and temperatures that land in a range of hardness
#'
#' For a grid of temperatures and times, the probability that one new reading (or the curve)
#' lies between two hardness limits, from the fit with its uncertainty. The region above a
#' stated probability is the process window.
#'
#' @param fit A fit of [fit_softening()] of readings at two temperatures or more, fits of many groups of
#'   [fit_each()], or a posterior of [fit_posterior()]: the probability is then the mean over its draws.
#' @param hardness Two limits of hardness, in `scale`.
#' @param scale Scale of the limits, by default that of the fit; converted by the table of its `material`.
#'   Limits have the uncertainty of conversion between their scale and that of the readings, as in
#'   [time_to()], and the probability counts it; it is in the attribute `u_conversion` (scale of the fit).
#' @param temper Name of a temper instead of `hardness`, such as `"OS035"` or `"H055"`: its
#'   hardness range from [temper_limits()], converted to the scale of the fit by the table of the
#'   fit's `material`. Many of these ranges are from memory; `print()` and `attr(x, "temper")`
#'   say what was used.
#' @param thickness_mm Thickness of the sheet in mm, for a temper whose range depends on it.
#' @param probability Probability that counts as inside the window.
#' @param target `"reading"`: a single new reading in a new step; `"curve"`: the mean.
#' @param temp_c,time_min Range (two numbers) or grid (more) of temperatures in degrees Celsius
#'   and of times in min; by default those of the readings.
#' @param n_points Number of grid points along each axis, where a range is given.
#' @param strain For a fit with strain: the strain of the cold work in question.
#' @param ... Must be empty.
#' @return A data frame of class `softanneal_window`: `temp_c`, `time_min`, `hardness` (the
#'   curve), `probability`, `inside`. Where the readings do not determine the curve, `hardness` is `NA` and
#'   the probability the smallest over all possible curves. `autoplot()` draws the region. For fits of many
#'   groups: a plain table of all groups, each over its own readings by default, with the key columns first
#'   and a column `note`; a group without a window has one row of `NA`, and one warning counts these.
#' @section Errors:
#'   `softanneal_error_argument` unless exactly one of `hardness` and `temper` is given, or where
#'   the range of a temper needs `thickness_mm`; `softanneal_error_scale` for a temper without a
#'   range in the scale of the fit; `softanneal_error_range` for limits in the wrong order;
#'   `softanneal_error_model` for a fit of one temperature or with an exponent for each.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @source t distribution of the prediction, see [predict.softanneal_fit_softening()].
#' @seealso [time_to()], [temp_for()], [plot_hardness_map()], [temper_limits()]
#' @examples
#' readings <- example_data("bellbrass_readings")
#' window <- process_window(fit_softening(readings), hardness = c(95, 125), n_points = 25)
#' window
#' @export
process_window <- function(fit, hardness = NULL, probability = 0.9, target = c("reading", "curve"),
                           temp_c = NULL, time_min = NULL, n_points = 81, ..., temper = NULL,
                           thickness_mm = NULL, strain = NULL, scale = NULL) {
  check_dots_empty(...)
  if (is_many(fit)) {
    return(windows_of_groups(fit, hardness = hardness, probability = probability, target = target,
                             temp_c = temp_c, time_min = time_min, n_points = n_points, temper = temper,
                             thickness_mm = thickness_mm, strain = strain, scale = scale))
  }
  post <- if (is_posterior(fit)) fit
  if (!is.null(post)) fit <- post$fit
  check_softening(fit)
  if (is.null(post) || "q_kj_mol" %in% post$fixed) check_two_temperatures(fit)
  check_one_exponent(fit)
  strain <- check_strain(fit, strain, one = TRUE)
  if (is.null(hardness) == is.null(temper)) {
    abort("argument", "give one of `hardness` and `temper`", arg = "hardness",
          remedy = "Give two limits of hardness, or the name of a temper.")
  }
  band <- if (!is.null(temper)) temper_band(temper, thickness_mm, fit)
  hardness <- check_numeric(if (is.null(band)) hardness else band$limits, "hardness", 0,
                            open = TRUE, length = 2L)
  if (hardness[1L] >= hardness[2L]) {
    abort("range", "the first limit of `hardness` must be below the second", arg = "hardness",
          remedy = "Give the lower limit first.")
  }
  if (!is.null(scale) && !is.null(band)) {
    abort("argument", "`scale` is for limits of hardness, and a temper has its own", arg = "scale",
          remedy = "Leave it out.")
  }
  aim <- if (is.null(band)) target_of_scale(fit, hardness, scale) else {
    list(value = hardness, u = converted_u(fit, hardness, band$unit))
  }
  hardness <- aim$value
  u <- ifelse(is.na(aim$u), 0, aim$u)
  probability <- check_level(probability, "probability")
  target <- check_choice(target, c("reading", "curve"), "target")
  n_points <- check_number(n_points, "n_points", 2, 2000, whole = TRUE)
  at <- fit$conditions
  after <- at$time_min > 0
  temp_c <- window_axis(temp_c, at$temp_c[after], n_points, "temp_c", FALSE)
  time_min <- window_axis(time_min, at$time_min[after], n_points, "time_min", TRUE)
  grid <- expand.grid(temp_c = temp_c, time_min = time_min, KEEP.OUT.ATTRS = FALSE)
  if (is.null(post)) {
    part <- window_band(fit, grid, length(temp_c), strain)
    grid$hardness <- ifelse(part$lost, NA_real_, part$fit)
    grid$probability <- window_probability(fit, part, hardness, target == "reading", u)
  } else {
    grid[c("hardness", "probability")] <- window_posterior(post, grid, hardness, target == "reading",
                                                            strain, u)
  }
  grid$inside <- grid$probability >= probability
  structure(grid, limits = hardness, wanted = probability, target = target, scale = fit$scale,
            u_conversion = aim$u, temper = band$words,
            read = list(temp_c = range(at$temp_c[after]), time_min = range(at$time_min[after])),
            class = c("softanneal_window", "data.frame"))
}

windows_of_groups <- function(fits, ...) {
  blank <- data.frame(temp_c = NA_real_, time_min = NA_real_, hardness = NA_real_, probability = NA_real_,
                      inside = NA, note = "")
  answers_of_groups(fits, function(fit) {
    out <- plain_frame(process_window(fit, ...))
    out$note <- ifelse(is.na(out$hardness), UNDETERMINED, "")
    out
  }, blank, "probability")
}

# Curve and ends of its interval over the grid. The likelihood, where it is needed, is asked at most
# at LIKELIHOOD_GRID places along each axis, with straight lines between.
LIKELIHOOD_GRID <- 17L

window_band <- function(fit, grid, rows, strain) {
  if (!needs_likelihood(fit)) return(softening_band(fit, grid$temp_c, grid$time_min, strain))
  columns <- nrow(grid) / rows
  pick <- function(n) unique(round(seq(1, n, length.out = min(n, LIKELIHOOD_GRID))))
  i <- pick(rows)
  j <- pick(columns)
  some <- as.vector(outer(i, (j - 1L) * rows, `+`))
  part <- softening_band(fit, grid$temp_c[some], grid$time_min[some], strain)
  whole <- softening_values(fit, grid$temp_c, grid$time_min, strain)
  spread <- function(x) {
    x[!is.finite(x)] <- NA_real_
    x <- matrix(x, length(i))
    if (length(i) > 1L) {
      x <- apply(x, 2L, \(v) stats::approx(i, v, seq_len(rows), na.rm = FALSE)$y)
    }
    if (length(j) > 1L) {
      x <- t(apply(x, 1L, \(v) stats::approx(j, v, seq_len(columns), na.rm = FALSE)$y))
    }
    as.vector(x)
  }
  whole$lower <- spread(part$lower)
  whole$upper <- spread(part$upper)
  whole$lost <- spread(as.double(part$lost)) > 0
  whole
}

# Probability of a value between the limits. About a curve that is known the error is that of t, each
# side with its own width; where the likelihood of the curve is flat, the smallest over all curves that
# are possible, which is that of one of its ends.
window_probability <- function(fit, part, limits, reading, u = c(0, 0)) {
  t <- interval_t(fit, 0.95)
  own <- if (reading) reading_variance(fit) else 0
  sd <- function(end, u) sqrt(((end - part$fit) / t)^2 + own + u^2)
  below <- function(k) {
    far <- limits[k] - part$fit
    stats::pt(far / ifelse(far < 0, sd(part$lower, u[k]), sd(part$upper, u[k])), fit$df_interval)
  }
  p <- below(2L) - below(1L)
  flat <- which(part$lost)
  if (length(flat)) {
    of_curve <- function(h) {
      if (own == 0 && all(u == 0)) return(as.double(h >= limits[1L] & h <= limits[2L]))
      stats::pt((limits[2L] - h) / sqrt(own + u[2L]^2), fit$df_interval) -
        stats::pt((limits[1L] - h) / sqrt(own + u[1L]^2), fit$df_interval)
    }
    p[flat] <- pmin(of_curve(part$lower[flat]), of_curve(part$upper[flat]))
  }
  p
}

# Hardness range of a temper in the scale of the fit, and in words where it comes from. A range
# in the scale of the fit itself comes first, then the first that converts.
temper_band <- function(temper, thickness_mm, fit) {
  rows <- as.data.frame(temper_limits(check_string(temper, "temper"),
                                      thickness_mm = thickness_mm))
  rows <- rows[rows$quantity == "hardness" & !is.na(rows$low) & !is.na(rows$high), ]
  rows <- rows[order(rows$unit != fit$scale), ]
  for (unit in unique(rows$unit)) {
    own <- rows[rows$unit == unit, ]
    if (nrow(unique(own[c("low", "high")])) > 1L) {
      abort("argument",
            paste0("the ", unit, " range of temper ", temper, " depends on the thickness"),
            arg = "thickness_mm", remedy = "Give `thickness_mm`, the thickness of the sheet in mm.")
    }
    ends <- c(own$low[1L], own$high[1L])
    limits <- if (unit == fit$scale) ends else if (fit$scale == "HV") {
      to_vickers(ends, unit, fit$material)$hv
    }
    if (is.null(limits) || anyNA(limits)) next
    return(list(limits = limits, unit = unit, words = paste0(
      "temper ", temper, ", ", format(ends[1L]), " to ", format(ends[2L]), " ", unit, " (",
      own$standard[1L], ", ", own$status[1L], ")")))
  }
  abort("scale",
        paste0("temper ", temper, " has no hardness range that can be given in ", fit$scale),
        arg = "temper", remedy = "Give the limits by `hardness`, or fit in HV.")
}

window_axis <- function(x, read, n_points, arg, log) {
  if (is.null(x)) x <- range(read)
  x <- if (log) check_numeric(x, arg, 0, open = TRUE) else check_temperature(x, arg)
  if (length(x) < 2L || any(diff(x) <= 0)) {
    abort("argument", paste0("`", arg, "` must be two or more rising numbers"), arg = arg,
          remedy = "Give a range such as c(300, 400).")
  }
  if (length(x) > 2L) return(x)
  if (log) exp(seq(log(x[1L]), log(x[2L]), length.out = n_points)) else {
    seq(x[1L], x[2L], length.out = n_points)
  }
}

#' @export
print.softanneal_window <- function(x, ...) {
  limits <- attr(x, "limits")
  if (is.null(limits) || is.null(attr(x, "read"))) { # some columns of it
    print(plain_frame(x), ...)
    return(invisible(x))
  }
  inside <- which(x$inside)
  cat("Process window: ", format_quantity(limits[1L]), " to ", format_quantity(limits[2L]), " ",
      attr(x, "scale"), " with probability ", format(attr(x, "wanted")), " for the ",
      attr(x, "target"), "\n", sep = "")
  if (!is.null(attr(x, "temper"))) cat("  ", attr(x, "temper"), "\n", sep = "")
  u <- attr(x, "u_conversion")
  if (anyNA(u)) cat("  ", UNKNOWN_CONVERSION, "\n", sep = "") else if (any(u > 0)) {
    cat("  Conversion of the limits: standard uncertainty ",
        paste(format_quantity(u, 2L), collapse = " and "), " ", attr(x, "scale"),
        ", in the probability\n", sep = "")
  }
  if (!length(inside)) {
    cat("  No point of the grid reaches it; best ",
        format_quantity(max(x$probability, 0, na.rm = TRUE)), "\n", sep = "")
  } else {
    cat("  ", length(inside), " of ", nrow(x), " points of the grid lie inside\n", sep = "")
    temps <- sort(unique(x$temp_c[inside]))
    for (t in temps[unique(round(seq(1, length(temps), length.out = 5L)))]) {
      span <- range(x$time_min[inside][x$temp_c[inside] == t])
      cat("  ", temperature_label(t), ": ", format_quantity(span[1L]), " to ",
          format_quantity(span[2L]), " min\n", sep = "")
    }
  }
  open <- sum(is.na(x$hardness))
  if (open) {
    cat(strwrap(paste0("At ", open, " points the readings do not determine the curve: their probability is ",
                       "the smallest over all possible curves."), width = 76, prefix = "  "),
        sep = "\n")
  }
  beyond <- outside_readings(x)
  if (any(beyond)) {
    cat(strwrap(paste0(sum(beyond), " points are outside the range of the data (", read_words(x), "), ",
                       sum(beyond[inside]), " of them in the window: extrapolated"), width = 76,
                prefix = "  "), sep = "\n")
  }
  cat(strwrap(CAUTION_LINE, width = 76, prefix = "  "), sep = "\n")
  invisible(x)
}

# Points of the grid outside the range of temperatures and times of the readings.
outside_readings <- function(window) {
  read <- attr(window, "read")
  is_outside(window$temp_c, read$temp_c) | is_outside(window$time_min, read$time_min)
}

read_words <- function(window) {
  read <- attr(window, "read")
  paste0(paste(temperature_label(read$temp_c), collapse = " to "), ", ",
         paste(format_quantity(read$time_min), collapse = " to "), " min")
}
