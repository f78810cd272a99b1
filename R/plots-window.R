# Plot of a process window. What lies outside the readings is greyed behind a border, and
# points that the readings do not determine have a key of their own: neither looks like an answer.

#' @rdname process_window
#' @param x,object What `process_window()` returned.
#' @method autoplot softanneal_window
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_window)
autoplot.softanneal_window <- function(object, ...) {
  check_dots_empty(...)
  limits <- attr(object, "limits")
  wanted <- attr(object, "wanted")
  d <- as.data.frame(object)
  # where the curve is open the probability is the least of all possible curves: low is no finding
  open <- is.na(d$probability) | (is.na(d$hardness) & !d$inside)
  beyond <- outside_readings(object)
  shades <- sort(unique(c(0.5, wanted)))
  bins <- c("below 10 %", paste0("10 to ", 100 * shades[1L], " %"),
            if (length(shades) > 1L) paste0(100 * shades[1L], " to ", 100 * shades[2L], " %"),
            paste0("above ", 100 * shades[length(shades)], " %"))
  colours <- c("#FFFFFF", "#DCE9F5", "#9EC5E5", MAIN_COLOUR)[
    if (length(bins) == 4L) 1:4 else c(1, 2, 4)]
  keys <- c(stats::setNames(colours, bins), if (any(open)) c("not determined" = "#8C8C8C"),
            if (any(beyond)) c("outside the readings" = "#D0D0D0"))
  d$filled <- ifelse(open, 0, d$probability)
  bin <- function(level) factor(bins[as.integer(level)], names(keys))
  p <- ggplot2::ggplot(d, ggplot2::aes(.data[["time_min"]], .data[["temp_c"]])) +
    ggplot2::geom_contour_filled(ggplot2::aes(z = .data[["filled"]],
                                              fill = bin(ggplot2::after_stat(.data[["level"]]))),
                                 breaks = c(-0.01, 0.1, shades, 1.01))
  if (any(open)) p <- p + window_cells(d[open, ], d, names(keys))
  if (any(beyond)) p <- p + window_veil(d, attr(object, "read"), names(keys))
  d$hardness[open] <- NA_real_
  curves <- map_curves(d, limits, unique(d$temp_c), unique(d$time_min))
  if (nrow(curves)) {
    p <- p + ggplot2::geom_path(ggplot2::aes(group = .data[["piece"]]), data = curves,
                                colour = "#222222", linetype = "22", linewidth = 0.5)
  }
  p + ggplot2::scale_fill_manual("Probability", values = keys, limits = names(keys), drop = FALSE) +
    ggplot2::guides(fill = ggplot2::guide_legend(
      override.aes = list(colour = INK, linewidth = 0.3, alpha = 1))) +
    ggplot2::scale_x_log10("Time at temperature (min)", labels = axis_numbers,
                           breaks = log_breaks(d$time_min), expand = c(0, 0)) +
    ggplot2::scale_y_continuous("Temperature (\u00b0C)", expand = c(0, 0)) +
    ggplot2::labs(
      title = paste0("Process window: ", format_quantity(limits[1L]), " to ",
                     format_quantity(limits[2L]), " ", attr(object, "scale")),
      caption = caption_of(
        paste0("Shade: probability that ",
               if (attr(object, "target") == "reading") "one " else "the ", attr(object, "target"),
               " lies between the limits."),
        if (nrow(curves)) "Dashed: curve at the two limits.",
        if (any(beyond)) "Grey veil: outside the readings (solid border), extrapolated.",
        "An estimate, not a release for use."),
      alt = window_alt(object, beyond, open)) +
    plain_theme()
}

window_alt <- function(window, beyond, open) {
  limits <- attr(window, "limits")
  inside <- which(window$inside)
  paste0("Map of time in min and temperature in degrees Celsius with the probability of a ",
         attr(window, "target"), " between ", format_quantity(limits[1L]), " and ",
         format_quantity(limits[2L]), " ", attr(window, "scale"), "; ", length(inside), " of ",
         nrow(window), " points lie above ", format(attr(window, "wanted")),
         if (any(beyond)) paste0(", ", sum(beyond[inside]), " of them outside the readings (",
                                 read_words(window), "), which are greyed"),
         if (any(open)) paste0("; ", sum(open), " points are not determined"), ".")
}

# Rectangles about grid points: halfway to the neighbours, on the logarithm of time.
window_cells <- function(cells, grid, keys) {
  halves <- function(x, at) {
    u <- sort(unique(at))
    middle <- (u[-1L] + u[-length(u)]) / 2
    k <- match(x, u)
    cbind(c(u[1L], middle)[k], c(middle, u[length(u)])[k])
  }
  time <- exp(halves(log(cells$time_min), log(grid$time_min)))
  temp <- halves(cells$temp_c, grid$temp_c)
  box <- data.frame(x1 = time[, 1L], x2 = time[, 2L], y1 = temp[, 1L], y2 = temp[, 2L],
                    key = factor("not determined", keys))
  ggplot2::geom_rect(ggplot2::aes(xmin = .data[["x1"]], xmax = .data[["x2"]], ymin = .data[["y1"]],
                                  ymax = .data[["y2"]], fill = .data[["key"]]), data = box,
                     inherit.aes = FALSE)
}

# The four sides of the map around the readings, and the border between.
window_veil <- function(grid, read, keys) {
  x <- range(grid$time_min)
  y <- range(grid$temp_c)
  a <- pmin(pmax(read$time_min, x[1L]), x[2L])
  b <- pmin(pmax(read$temp_c, y[1L]), y[2L])
  box <- data.frame(x1 = c(x[1L], a[2L], a[1L], a[1L]), x2 = c(a[1L], x[2L], a[2L], a[2L]),
                    y1 = c(y[1L], y[1L], y[1L], b[2L]), y2 = c(y[2L], y[2L], b[1L], y[2L]))
  box <- box[box$x2 > box$x1 * (1 + 1e-9) & box$y2 > box$y1 + 1e-9, ]
  box$key <- factor(rep("outside the readings", nrow(box)), keys)
  border <- data.frame(x1 = a[1L], x2 = a[2L], y1 = b[1L], y2 = b[2L])
  sides <- ggplot2::aes(xmin = .data[["x1"]], xmax = .data[["x2"]], ymin = .data[["y1"]],
                        ymax = .data[["y2"]])
  list(ggplot2::geom_rect(utils::modifyList(sides, ggplot2::aes(fill = .data[["key"]])), data = box,
                          alpha = 0.72, inherit.aes = FALSE),
       ggplot2::geom_rect(sides, data = border, fill = NA, colour = INK, linewidth = 0.6,
                          inherit.aes = FALSE))
}

#' @rdname process_window
#' @export
plot.softanneal_window <- draw_picture
