# Temperature histories: tables of specimen, time_s (s) and temp_c (deg C), one row per logged
# point, linear between points. Checks of a logged or computed history, the dip of a furnace
# whose door is opened, and the plot of histories.

#' Furnace temperature with door openings
#'
#' A history of the furnace temperature: set point, a dip at each opening of the door, and the
#' recovery.
#'
#' While the door is open the temperature falls linearly by `dip_c`; after it is closed the rest
#' of the dip dies away exponentially with a third of `recover_min` as time constant, so that
#' 95 % of it is recovered after `recover_min` (95 % of a step in three time constants: Lienhard,
#' *A Heat Transfer Textbook*). Several dips add up. The curve is given as points close enough
#' that straight lines between them stay within 0.2 % of the dip.
#'
#' Common practice, no source: a dip of about 9 degrees Celsius that recovers quickly is not a problem; much
#' more can be. What it does to a specimen is computed with [heat_up()], which takes the result as
#' `furnace_c`. A logged thermocouple is better than this shape.
#'
#' @param furnace_c Set point in degrees Celsius.
#' @param dip_c Fall of the furnace temperature at an opening, in degrees Celsius: one, or one for each
#'   opening.
#' @param recover_min Time after closing in min until 95 % of the dip is recovered.
#' @param at_min Times in min at which the door is opened.
#' @param open_s How long the door stays open, in s.
#' @param specimen Name in the `specimen` column.
#' @return A data frame with columns `specimen`, `time_s` (s) and `temp_c` (degrees Celsius), from 0 to
#'   the recovery of the last opening.
#' @details Errors: `softanneal_error_range` for a dip that is not smaller than the furnace
#'   temperature above absolute zero, or times that are not positive.
#' @section Safety: `r CAUTION_LINE`
#' @seealso [heat_up()], [anneal_history()], [check_history()]
#' @examples
#' furnace <- door_opening(410, dip_c = 9, recover_min = 3)
#' range(furnace$temp_c)
#' with_dip <- heat_up(0.95, furnace_c = furnace)
#' without <- heat_up(0.95, furnace_c = 410)
#' with_dip$summary$time_min - without$summary$time_min
#' @export
door_opening <- function(furnace_c, dip_c = 9, recover_min = 3, at_min = 0, open_s = 10,
                     specimen = "furnace") {
  furnace_c <- check_number(furnace_c, "furnace_c", -ZERO_CELSIUS)
  at <- 60 * sort(check_numeric(at_min, "at_min", 0, 1e8))
  if (!length(at)) {
    abort("too_few", "`at_min` names no opening", arg = "at_min",
          remedy = "Give at least one time.")
  }
  dip_c <- check_numeric(dip_c, "dip_c", 0)
  if (!length(dip_c) %in% c(1L, length(at))) {
    abort("argument", paste0("`dip_c` has length ", length(dip_c), " for ", length(at),
                             " openings"), arg = "dip_c",
          remedy = "Give one dip, or one for each opening.")
  }
  dip_c <- rep_len(dip_c, length(at))
  tau <- 60 * check_number(recover_min, "recover_min", 0, 1e8, open = TRUE) / 3
  open_s <- check_number(open_s, "open_s", 0, 1e8, open = TRUE)
  specimen <- check_string(specimen, "specimen")
  # points of one recovery: gaps of an eighth of a time constant, wider as the slope falls;
  # a chord over a gap g misses the curve by at most (g / tau)^2 / 8 of what is left
  after <- tau * c(seq(0, 2, 0.125), seq(2.25, 5, 0.25), seq(5.5, 8, 0.5), 10)
  time_s <- sort(unique(c(0, at, rep(at + open_s, each = length(after)) + after)))
  temp_c <- rep(furnace_c, length(time_s))
  for (i in seq_along(at)) {
    past <- time_s - at[i]
    share <- ifelse(past < open_s, pmax(past, 0) / open_s, exp(-(past - open_s) / tau))
    temp_c <- temp_c - dip_c[i] * share
  }
  if (any(temp_c <= -ZERO_CELSIUS)) {
    abort("range", "`dip_c` takes the furnace below absolute zero", arg = "dip_c",
          remedy = "Check dip and set point.")
  }
  data.frame(specimen = specimen, time_s = time_s, temp_c = temp_c)
}

# A history with its columns checked: list of specimen (text), time_s, temp_c (K-safe).
# Within a specimen time must not fall; `strict` asks for one specimen with rising time.
history_rows <- function(data, specimen = "specimen", time = "time_s", temp = "temp_c",
                         arg = "data", strict = FALSE) {
  check_data(data, arg)
  time_s <- numeric_column(data, time, arg, unit = "s")
  temp_c <- numeric_column(data, temp, arg, unit = "degC", lower = -ZERO_CELSIUS)
  name <- if (specimen %in% names(data)) check_names(any_column(data, specimen, arg), specimen) else
    rep("piece", length(time_s))
  if (anyNA(name)) {
    abort("missing", paste0("column `", specimen, "` must not be missing"), arg = specimen,
          rows = which(is.na(name)), remedy = "Name the specimen in every row.")
  }
  if (strict && length(unique(name)) > 1L) {
    abort("duplicate", paste0("`", arg, "` holds ", length(unique(name)), " histories (",
                              in_quotes(utils::head(unique(name), 3), " and "), ")"), arg = arg,
          remedy = "Give the rows of one.")
  }
  for (one in unique(name)) {
    rows <- which(name == one)
    step <- diff(time_s[rows])
    bad <- rows[-1L][if (strict) step <= 0 else step < 0]
    if (length(bad)) {
      abort("range", paste0("column `", time, "` ", if (strict) "must rise" else "must not fall",
                            " within '", one, "'"), arg = time, rows = bad,
            remedy = "Put the rows in order of time, or correct the clock of the log.")
    }
  }
  list(specimen = name, time_s = time_s, temp_c = temp_c)
}

#' Plot of temperature histories
#'
#' Temperature against time for each specimen of a history, as logged or as computed.
#'
#' @param data A history: a data frame with one row per point, or the result of [heat_up()] or
#'   [cool_down()].
#' @param specimen,time,temp Columns of specimen, time in s and temperature in degrees Celsius; bare or
#'   quoted. Without a specimen column all rows are one history.
#' @param target_c,tolerance_c Target temperature in degrees Celsius and half-width of the band around it
#'   to draw; `NULL` for none.
#' @param steps Steps to mark, as from [find_steps()]: a panel for each specimen, with marks where it went
#'   in, was at temperature and came out.
#' @return A ggplot. Up to eight specimens differ in colour and linetype; more are drawn alike.
#' @details Errors: `softanneal_error_range` where time falls within a specimen;
#'   `softanneal_error_column` for missing columns.
#' @seealso [anneal_history()], [read_history()], [plot_furnace_log()]
#' @examples
#' log <- rbind(door_opening(410, dip_c = 9, specimen = "9 degrees Celsius"),
#'              door_opening(410, dip_c = 40, specimen = "40 degrees Celsius"))
#' plot_history(log, target_c = 410, tolerance_c = 5)
#' steps <- data.frame(specimen = "9 degrees Celsius", in_s = 0, out_s = 120)
#' plot_history(log[log$specimen == steps$specimen, ], steps = steps)
#' @export
plot_history <- function(data, specimen = specimen, time = time_s, temp = temp_c,
                         target_c = NULL, tolerance_c = NULL, steps = NULL) {
  if (inherits(data, "softanneal_heat")) data <- data$history
  columns <- c(column_name(rlang::enquo(specimen)), column_name(rlang::enquo(time)),
               column_name(rlang::enquo(temp)))
  target_c <- check_number(target_c, "target_c", -ZERO_CELSIUS, null = TRUE)
  tolerance_c <- check_number(tolerance_c, "tolerance_c", 0, null = TRUE)
  history <- history_rows(data, columns[1L], columns[2L], columns[3L])
  if (is.null(steps) && inherits(data[[columns[2L]]], "POSIXt")) {
    history$time_s <- history$time_s - min(history$time_s)
  }
  in_minutes <- max(history$time_s) > 600
  names <- short_names(as.character(unique(history$specimen)))
  drawn <- data.frame(specimen = factor(history$specimen, unique(history$specimen), names$short),
                      time = history$time_s / if (in_minutes) 60 else 1, temp_c = history$temp_c)
  count <- nlevels(drawn$specimen)
  ends <- vapply(split(drawn$temp_c, drawn$specimen), \(x) x[length(x)], 0)
  alt <- paste0("Temperature against time of ", if (count == 1L) history$specimen[1L] else
    paste(count, "specimens"), ": from ", format(min(drawn$temp_c), digits = 4), " to ",
    in_degrees(format(max(drawn$temp_c), digits = 4)), " over ", format(max(drawn$time), digits = 3),
    if (in_minutes) " min" else " s", ", at the end ",
    paste(unique(format(range(ends), digits = 4, trim = TRUE)), collapse = " to "), " ", degree_c(), ".",
    if (!is.null(steps)) paste0(" Marked: ", NROW(steps), " steps, in, at temperature and out."))
  picture <- ggplot2::ggplot(drawn, ggplot2::aes(.data[["time"]], .data[["temp_c"]]))
  if (!is.null(target_c)) {
    if (!is.null(tolerance_c)) {
      picture <- picture + ggplot2::annotate("rect", xmin = -Inf, xmax = Inf, alpha = 0.15,
                                             ymin = target_c - tolerance_c,
                                             ymax = target_c + tolerance_c, fill = INK)
    }
    picture <- picture + ggplot2::geom_hline(yintercept = target_c, colour = INK)
  }
  lines <- if (count == 1L) {
    ggplot2::geom_line(colour = MAIN_COLOUR, linewidth = 0.8)
  } else if (count <= 8L) {
    ggplot2::geom_line(ggplot2::aes(colour = .data[["specimen"]], linetype = .data[["specimen"]]),
                       linewidth = 0.8)
  } else {
    ggplot2::geom_line(ggplot2::aes(group = .data[["specimen"]]), colour = MAIN_COLOUR, alpha = 0.5)
  }
  caption <- c(if (!is.null(target_c)) {
    paste0("Line: target ", format(target_c), " \u00b0C",
           if (!is.null(tolerance_c)) paste0("; band: within ", format(tolerance_c), " \u00b0C"), ".")
  }, if (count > 1L && count <= 8L) names$key)
  if (!is.null(steps)) {
    lines <- c(list(ggplot2::geom_line(colour = MAIN_COLOUR, linewidth = 0.6)),
               step_marks(history, steps, names$short, in_minutes))
  }
  picture + lines +
    level_scales(levels(drawn$specimen), "Specimen", ordered = FALSE)[c(1, 4)] +
    ggplot2::labs(title = "Temperature in the furnace", x = if (in_minutes) "Time (min)" else "Time (s)",
                  y = "Temperature (\u00b0C)", colour = "Specimen", linetype = "Specimen",
                  alt = alt, caption = if (length(caption)) paste(caption, collapse = "\n")) +
    plain_theme() +
    ggplot2::theme(legend.key.width = ggplot2::unit(2, "lines"))
}

# Marks of the steps in a log, in panels of the specimens: in, at temperature, out, and the number of the
# step.
step_marks <- function(history, steps, short, in_minutes) {
  check_data(steps, "steps")
  moments <- c("in the furnace" = "in_s", "at temperature" = "at_s", "out of it" = "out_s")
  moments <- moments[moments %in% c("in_s", "out_s", names(steps))]
  pieces <- unique(history$specimen)
  name <- if (length(pieces) > 1L) any_column(steps, "specimen", "steps") else rep(pieces, nrow(steps))
  name <- as.character(name)
  marks <- do.call(rbind, lapply(names(moments), function(what) {
    at <- numeric_column(steps, moments[[what]], "steps", "s")
    data.frame(name, at, mark = what, step = seq_along(at) - match(name, name) + 1L)
  }))
  marks <- marks[marks$name %in% pieces, ]
  if (!nrow(marks)) {
    abort("missing", "`steps` names no specimen of the log", arg = "steps", remedy = "Compare the names.")
  }
  marks$temp_c <- vapply(seq_len(nrow(marks)), function(i) {
    rows <- which(history$specimen == marks$name[i])
    stats::approx(history$time_s[rows], history$temp_c[rows], marks$at[i], rule = 2, ties = "ordered")$y
  }, 0)
  marks$time <- marks$at / if (in_minutes) 60 else 1
  marks$specimen <- factor(marks$name, pieces, short)
  marks$mark <- factor(marks$mark, names(moments))
  shown <- marks[marks$mark == "out of it", ]
  list(ggplot2::geom_point(ggplot2::aes(shape = .data[["mark"]]), data = marks, colour = SECOND_COLOUR,
                           size = 2.2),
       ggplot2::geom_text(ggplot2::aes(label = .data[["step"]]), data = shown, colour = INK, size = 3,
                          hjust = -0.6,
                          vjust = 0),
       ggplot2::scale_shape_manual("Step", values = c("in the furnace" = 2, "at temperature" = 16,
                                                      "out of it" = 6)),
       ggplot2::facet_wrap(ggplot2::vars(.data[["specimen"]]), ncol = 1L))
}
