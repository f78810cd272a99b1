# Isochronal curves of readings alone: means of the steps over temperature, and the curve of each time, or
# straight lines where there are too few steps for it.

measured_isochronal <- function(m, level) {
  label <- isochronal_label(m$time_min)
  d <- transform(m$steps, after = label(time_min))
  about <- function(text) in_property(text, m$fit)
  half <- isochronal_temperatures(m, 0.5, level)
  # a curve that gave no answer may have invented its soft level
  told <- half$method == "curve"
  curve <- do.call(rbind, lapply(seq_along(m$time_min), \(j) {
    one_curve(if (told[j]) attr(half, "fits")[[j]], d[d$time_min == m$time_min[j], ])
  }))
  fitted <- any(told)
  # one temperature gives no line
  curve <- curve[stats::ave(curve$temp_c, curve$after, FUN = length) > 1, ]
  ggplot2::ggplot(d, ggplot2::aes(.data[["temp_c"]], .data[["hardness"]], colour = .data[["after"]])) +
    rolled_line(m) + (if (nrow(curve)) ggplot2::geom_line(data = curve, linewidth = 0.6)) +
    measured_bars(m, d) +
    ggplot2::geom_point(ggplot2::aes(shape = .data[["after"]]), size = 2.4) +
    level_scales(levels(d$after), "After", lines = FALSE) +
    ggplot2::labs(
      x = "Temperature (\u00b0C)", y = property_title(m$fit),
      title = about("Hardness after a time at constant temperature"),
      caption = caption_of(paste0(points_words("means of the readings of a step", d$low, level,
                                               "interval from the scatter within steps"),
                                  if (fitted) " Lines: curve of each time." else if (nrow(curve))
                                    " Lines: straight between them."), measured_words(m, half)),
      alt = about(paste0(
        "Hardness over temperature from ", format(min(d$temp_c), digits = 3), " to ",
        format(max(d$temp_c), digits = 3), " degrees Celsius after ",
        paste(format_quantity(m$time_min), collapse = ", "), " min, ", nrow(d), " means of readings",
        if (nrow(m$rolled)) paste0(", falling from ", format(m$rolled$hardness, digits = 3), " as rolled to ",
                                   format(utils::tail(d$hardness, 1L), digits = 3)),
        if (any(!is.na(half$temp_c))) {
          at <- ifelse(is.na(half$temp_c), "unknown", format(half$temp_c, digits = 3))
          paste0("; halfway at ", paste(at, collapse = ", "), " degrees Celsius")
        } else "; halfway not determined", "."))) +
    plain_theme()
}

# The level as rolled.
rolled_line <- function(m) {
  if (is.null(m) || !nrow(m$rolled)) return(NULL)
  ggplot2::geom_hline(yintercept = m$rolled$hardness, colour = INK, linetype = "22", linewidth = 0.4)
}

measured_bars <- function(m, d) {
  if (is.null(m) || all(is.na(d$low))) return(NULL)
  ggplot2::geom_linerange(ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]]), data = d,
                          linewidth = 0.5, show.legend = FALSE)
}

# Lines of the caption: the level as rolled, and where half of the softening is passed, or the limit of it.
measured_words <- function(m, half) {
  if (is.null(m)) return(NULL)
  known <- half[!is.na(half$temp_c), ]
  open <- half[is.na(half$temp_c) & nzchar(half$note), ]
  place <- function(x) format_by_error(x, known$std.error)
  parts <- c(
    if (nrow(known)) paste0(place(known$temp_c), " (", place(known$conf.low), " to ", place(known$conf.high),
                            ") ", degree_c(), " in ", format_quantity(known$time_min), " min"),
    if (nrow(open)) paste0(format_quantity(open$time_min), " min: ", open$note))
  c(if (nrow(m$rolled)) "Broken level line: as rolled.",
    if (length(parts)) {
      in_property(paste0("Half of the softening: ", paste(parts, collapse = ".\n"), "."), m$fit)
    })
}

one_curve <- function(fit, steps) {
  if (is.null(fit)) return(steps[c("temp_c", "hardness", "after")])
  grid <- seq(min(steps$temp_c), max(steps$temp_c), length.out = 201L)
  data.frame(temp_c = grid, hardness = softening_values(fit, grid, rep(steps$time_min[1L], 201L))$fit,
             after = steps$after[1L])
}

same_scale <- function(a, b) {
  if (a == b) return(invisible())
  abort("scale", paste0("the readings are in ", a, " and the fit in ", b), arg = "fit",
        remedy = "Fit these readings.")
}
