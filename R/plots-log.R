# Furnace log: did each specimen get the temperature it was meant to get, and for how long?

#' Furnace log
#'
#' Logged temperature of each specimen, one panel each, with its set point, the tolerance about it, and
#' marks where the log first comes within the tolerance and where it last leaves it. Panels show
#' the temperatures that matter, from three tolerances below the set point.
#'
#' @param data A history as for [plot_history()], or from [anneal_history()] or [heat_up()].
#' @param target_c Set point in degrees Celsius: one for all, or one for each specimen, named.
#' @param tolerance_c Half-width of the tolerance in degrees Celsius.
#' @param zoom `FALSE` for the whole range of temperatures.
#' @inheritParams plot_history
#' @inheritParams autoplot.softanneal_fit_softening
#' @return A ggplot object with alt text. The title of each panel gives the time between the
#'   marks and how much of it lies within the tolerance.
#' @section Errors:
#'   As in [plot_history()]; `softanneal_error_argument` where a specimen has no set point.
#' @section Safety: `r CAUTION_DEFERENCE`
#' @seealso [read_history()], [check_history()], [plot_history()]
#' @examples
#' log <- rbind(door_opening(410, dip_c = 9, specimen = "small dip"),
#'              door_opening(410, dip_c = 40, specimen = "large dip"))
#' plot_furnace_log(log, target_c = 410, tolerance_c = 5)
#' @export
plot_furnace_log <- function(data, target_c, ..., tolerance_c = 5, specimen = specimen,
                             time = time_s, temp = temp_c, zoom = TRUE, base_size = NULL) {
  check_dots_empty(...)
  if (inherits(data, "softanneal_heat")) data <- data$history
  check_data(data, "data")
  h <- history_rows(as.data.frame(data), column_name(rlang::enquo(specimen)),
                    column_name(rlang::enquo(time)), column_name(rlang::enquo(temp)))
  tolerance_c <- check_number(tolerance_c, "tolerance_c", 1e-6)
  zoom <- check_flag(zoom, "zoom")
  pieces <- unique(h$specimen)
  goal <- log_targets(target_c, pieces)
  in_min <- max(h$time_s) > 600
  unit <- if (in_min) 60 else 1
  stays <- do.call(rbind, lapply(pieces, function(one) {
    rows <- h$specimen == one
    time_within(h$time_s[rows], h$temp_c[rows], goal[[one]], tolerance_c)
  }))
  stays$share <- stays$within_s / (stays$last_s - stays$first_s)
  word <- ifelse(is.na(stays$first_s), "never within", paste0(
    format_quantity((stays$last_s - stays$first_s) / unit), if (in_min) " min" else " s", ", ",
    ifelse(is.finite(stays$share), paste0(floor(100 * stays$share + 1e-9), " % within"), "a moment")))
  names <- short_names(as.character(pieces))
  narrow <- length(pieces) > 4L # three panels in a row
  panel <- paste0(names$short, "\n", if (narrow) sub(" % within$", " %", word) else word)
  d <- data.frame(time = h$time_s / unit, temp_c = h$temp_c,
                  panel = factor(panel[match(h$specimen, pieces)], panel))
  low <- goal - 3 * tolerance_c
  if (zoom) d$temp_c <- pmax(d$temp_c, low[match(h$specimen, pieces)])
  bands <- data.frame(panel = factor(panel, panel), goal = unname(goal), low = goal - tolerance_c,
                      high = goal + tolerance_c)
  marks <- data.frame(time = c(stays$first_s, stays$last_s) / unit,
                      temp_c = rep(unname(goal), 2L), panel = factor(rep(panel, 2L), panel),
                      mark = factor(rep(c("comes within", "leaves"), each = length(pieces)),
                                    c("comes within", "leaves")))
  marks <- marks[!is.na(marks$time), ]
  ggplot2::ggplot(d, ggplot2::aes(.data[["time"]], .data[["temp_c"]])) +
    ggplot2::geom_rect(ggplot2::aes(xmin = -Inf, xmax = Inf, ymin = .data[["low"]],
                                    ymax = .data[["high"]]), data = bands, fill = INK, alpha = 0.18,
                       inherit.aes = FALSE) +
    ggplot2::geom_hline(ggplot2::aes(yintercept = .data[["goal"]]), data = bands, colour = INK,
                        linetype = "22", linewidth = 0.4) +
    ggplot2::geom_vline(ggplot2::aes(xintercept = .data[["time"]]), data = marks,
                        colour = SECOND_COLOUR, linewidth = 0.3, linetype = "12") +
    ggplot2::geom_line(colour = MAIN_COLOUR, linewidth = 0.6) +
    ggplot2::geom_point(ggplot2::aes(shape = .data[["mark"]]), data = marks, colour = SECOND_COLOUR,
                        size = 2.4) +
    ggplot2::scale_shape_manual("The log", values = c("comes within" = 17, leaves = 6)) +
    ggplot2::scale_x_continuous(n.breaks = if (narrow) 3L else 5L, labels = axis_numbers) +
    ggplot2::scale_y_continuous(n.breaks = 4L) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]), scales = "free_y") +
    ggplot2::labs(
      x = if (in_min) "Time (min)" else "Time (s)", y = "Temperature (\u00b0C)",
      title = "Furnace log",
      caption = caption_of(
        paste0("Dashed: set point. Grey: within ", format(tolerance_c), " \u00b0C of it."),
        if (zoom) paste0("Lower temperatures are drawn at the edge, ", format(3 * tolerance_c),
                         " \u00b0C below the set point."),
        if (narrow) "Above each panel: time between the marks, and how much of it is within.", names$key),
      alt = paste0("Logged temperature over time of ", count(length(pieces), "piece"),
                   " about the set point, tolerance ", format(tolerance_c), " degrees Celsius: ",
                   paste0(pieces, ": ", word, collapse = "; "), ".")) +
    plain_theme(base_size, "bottom")
}

log_targets <- function(target_c, pieces) {
  given <- names(target_c)
  target_c <- check_numeric(target_c, "target_c", -ZERO_CELSIUS, open = TRUE)
  if (length(target_c) == 1L && is.null(given)) {
    return(stats::setNames(rep(target_c, length(pieces)), pieces))
  }
  out <- stats::setNames(target_c[match(pieces, given %or% character())], pieces)
  if (anyNA(out)) {
    abort("argument", paste0("no set point for ", in_quotes(pieces[is.na(out)], " and ")),
          arg = "target_c", remedy = "Give one number, or one for each specimen, named.")
  }
  out
}

# First and last time within the tolerance and the time spent there, in s; temperature is linear
# between points of the log, so the crossings are exact.
time_within <- function(time_s, temp_c, goal, tolerance_c) {
  dt <- diff(time_s)
  a <- (temp_c[-length(temp_c)] - goal) / tolerance_c
  b <- (temp_c[-1L] - goal) / tolerance_c
  # part of each segment with |a + f (b - a)| <= 1
  slope <- b - a
  at <- function(edge) ifelse(slope == 0, NA_real_, (edge - a) / slope)
  f1 <- pmax(pmin(at(-1), at(1)), 0)
  f2 <- pmin(pmax(at(-1), at(1)), 1)
  flat <- slope == 0
  f1[flat] <- 0
  f2[flat] <- ifelse(abs(a[flat]) <= 1, 1, -1)
  hit <- f2 >= f1
  if (!any(hit)) return(data.frame(first_s = NA_real_, last_s = NA_real_, within_s = 0))
  start <- time_s[-length(time_s)]
  k <- which(hit)
  data.frame(first_s = start[k[1L]] + f1[k[1L]] * dt[k[1L]],
             last_s = start[k[length(k)]] + f2[k[length(k)]] * dt[k[length(k)]],
             within_s = sum((f2 - f1)[hit] * dt[hit]))
}
