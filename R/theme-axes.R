# Axes and lines that several plots share.

hardness_title <- function(scale) {
  if (identical(scale, "as read")) "Hardness (as read)" else paste0("Hardness (", scale, ")")
}

# Where readings before any anneal are drawn on a logarithmic axis: at the left edge.
zero_place <- function(time_min) {
  first <- min(time_min[time_min > 0])
  last <- max(time_min)
  first / max(2, (last / first)^0.18)
}

time_axis <- function(log_time, zero, breaks_from, has_zero, title = "Time at temperature (min)") {
  if (!log_time) return(ggplot2::scale_x_continuous(title))
  breaks <- log_breaks(breaks_from)
  labels <- axis_numbers(breaks)
  axis <- function(...) ggplot2::scale_x_log10(title, ...)
  if (!has_zero) return(axis(breaks = breaks, labels = labels))
  # a stripe across the panel and two strokes on the axis: between zero and the first time the
  # logarithmic axis is broken
  gap <- exp(log(zero) + c(0.42, 0.58) * (log(min(breaks_from)) - log(zero)))
  list(axis(breaks = c(zero, breaks), labels = c("0", labels)),
       ggplot2::annotate("rect", xmin = gap[1L], xmax = gap[2L], ymin = -Inf, ymax = Inf,
                         fill = INK, alpha = 0.15),
       ggplot2::annotate("text", x = sqrt(gap[1L] * gap[2L]), y = -Inf, vjust = 0.2, label = "//",
                         colour = INK, size = 3.4, fontface = "bold"))
}

# A space on each side: numbers that are crowded are left out, none runs into the next.
axis_numbers <- function(x) if (length(x)) paste0(" ", plain_numbers(x), " ") else character()

# 1, 2, 5 steps over few decades, powers of ten over many; where none lies within, the ends themselves.
log_breaks <- function(x) {
  range <- log10(range(x))
  decades <- seq(floor(range[1L]) - 1, ceiling(range[2L]) + 1)
  steps <- if (diff(range) < 2.2) c(1, 2, 5) else if (diff(range) < 3.5) c(1, 3) else 1
  breaks <- sort(as.vector(outer(steps, 10^decades)))
  breaks <- breaks[breaks >= 10^range[1L] * 0.999 & breaks <= 10^range[2L] * 1.001]
  if (length(breaks)) breaks else unique(signif(10^range, 2L))
}

# A fitted straight line with its band, where there is one, and the points it was fitted to;
# `line` has x, y, low and high.
line_with_band <- function(line, points) {
  p <- ggplot2::ggplot(line, ggplot2::aes(.data[["x"]], .data[["y"]]))
  if (!all(is.na(line$low))) {
    p <- p + ggplot2::geom_ribbon(ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]]),
                                  fill = MAIN_COLOUR, alpha = 0.18)
  }
  p + ggplot2::geom_line(colour = MAIN_COLOUR, linewidth = 0.6) +
    ggplot2::geom_point(data = points, size = 2.4, colour = MAIN_COLOUR)
}

# Temperatures evenly spaced in 1/T, a little beyond the data.
temperature_grid <- function(temp_c) {
  x <- range(1 / (temp_c + ZERO_CELSIUS))
  room <- max(diff(x) * 0.04, 1e-7)
  1 / seq(x[1L] - room, x[2L] + room, length.out = 101L) - ZERO_CELSIUS
}
