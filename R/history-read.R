# Furnace logs as files of loggers have them, made into temperature histories. Cells and columns:
# history-cells.R; times: history-times.R; doubts: history-check.R; the steps in a log: history-log.R.

#' Temperature history from a logger file
#'
#' Reads what a data logger or furnace controller wrote, as a temperature history for [check_history()],
#' [find_steps()], [soften()], [equivalent_time()] and the `history` of [fit_softening()].
#'
#' @section Understood:
#' Text files with any separator and decimal mark and Excel sheets, as by [read_readings()]; notes above the
#' table; units in the header, in a row below it or in the cells (degrees Celsius, degrees Fahrenheit,
#' kelvin; s, min, h, d, ms); one column for each channel (the header names the specimen), or one row for
#' each value with a column of channels; and these times:
#'
#' | written | read as |
#' |---|---|
#' | `2026-11-30 14:05:10`, `2026-11-30T14:05:10Z`, `... +01:00` | time stamp, with its zone if there is one |
#' | `30.11.2026 14:05:10`, `11/30/2026 2:05:10 PM`, `30-Nov-2026 14:05:10` | day and month by their values, or by `date_order` |
#' | date and time in two columns | joined |
#' | `14:05:10` | clock; midnight adds a day, with a message |
#' | `00:05:10` | elapsed time |
#' | `310`, with the unit in the header | elapsed time |
#'
#' A clock without zone that goes back by one hour once is taken as the end of daylight saving, with a
#' message; with `tz` the zone knows. Any other time that falls is refused with its row, and so are stamps
#' without seconds that repeat. Cells without a temperature (empty, `OPEN`, `----`) are left out, with one
#' warning; a number that only stands for a fault (9999) stays, and one warning tells of it and of all else
#' that [check_history()] finds. A message says which columns were taken for what.
#'
#' @param x Path of a file, or a data frame.
#' @param specimen Name of the specimen for a log of one channel; or names of the specimens by channel, such
#'   as `c("CH 1" = "B330", "CH 2" = "B370")`. Channels that are not named are then left out.
#' @param time,temp Names of the columns of times (one, or date and time) and of temperatures; found by
#'   themselves where the headers are usual.
#' @param tz Time zone of time stamps without one, such as `"Europe/Berlin"`; by default clocks are taken
#'   as they are.
#' @param date_order `"dmy"`, `"mdy"` or `"ymd"`, where dates can be read in two ways.
#' @param sep,dec,encoding,sheet,skip As in [read_readings()].
#' @param ... Must be empty.
#' @return A data frame of class `softanneal_history`, one row per point, specimens one after the other:
#'   `specimen`, `time_s` (s from the first point of the log), `temp_c` (degrees Celsius), `sheet_row` (row
#'   in the file); of the events of a [bench_page()] also `event`, `entered`, `note` and `entry`, by which
#'   [fit_softening()] joins its readings. Attribute `start`: the first time stamp as text, in UTC with a `Z`
#'   behind it where the zone is known.
#' @section Errors:
#'   `softanneal_error_file` for what cannot be read, with line or cell; `softanneal_error_units` for times
#'   without a unit; `softanneal_error_column` where times or temperatures are not found;
#'   `softanneal_error_range` for times that fall; `softanneal_error_too_few`, `softanneal_error_argument`.
#' @section Safety: `r CAUTION_LINE`
#' @seealso [check_history()], [find_steps()]
#' @examples
#' file <- tempfile(fileext = ".csv")
#' writeLines(c("Furnace 2, logger 17", "Date;Time;CH 1 (C);CH 2 (C)", "30.11.2026;08:00:00;21,5;21,4",
#'              "30.11.2026;08:01:00;180,2;175,0", "30.11.2026;08:02:00;326,1;320,8"), file)
#' read_history(file, specimen = c("CH 1" = "B330", "CH 2" = "C330"))
#' @export
read_history <- function(x, specimen = NULL, ..., time = NULL, temp = NULL, tz = NULL, date_order = NULL,
                         sep = NULL, dec = NULL, encoding = NULL, sheet = NULL, skip = 0) {
  check_dots_empty(...)
  for (arg in c("tz", "sep", "encoding")) check_string(get(arg), arg, null = TRUE)
  for (arg in c("specimen", "time", "temp")) {
    value <- get(arg)
    if (!is.null(value) && (!is.character(value) || anyNA(value) || !length(value))) {
      abort("argument", paste0("`", arg, "` must be text, not ", describe(value)), arg = arg,
            remedy = "Give names, in quotes.")
    }
  }
  if (!is.null(date_order)) date_order <- check_choice(date_order, c("dmy", "mdy", "ymd"), "date_order")
  if (!is.null(dec)) dec <- check_choice(dec, c(".", ","), "dec")
  skip <- check_number(skip, "skip", 0, whole = TRUE)
  grid <- if (is.data.frame(x)) frame_grid(x) else log_grid(x, sep, encoding, sheet, skip)
  roles <- log_roles(grid, time, temp)
  if (is.null(dec)) {
    used <- grid$cells[c(roles$time, roles$temp)]
    dec <- if (is.null(grid$kind)) "." else detect_decimal(used, grid$path)
  }
  times <- log_times_read(grid, roles$time, tz, date_order, dec)
  tell_columns(grid, roles, times, dec)
  out <- name_channels(with_events(log_points(grid, roles, times$s, dec), grid), specimen)
  out <- out[order(match(out$specimen, unique(out$specimen)), method = "radix"), ]
  check_log_clock(out, times)
  start <- min(out$time_s)
  out$time_s <- out$time_s - start
  rownames(out) <- NULL
  out <- structure(out, class = c("softanneal_history", "data.frame"), start = if (times$stamped) {
    format(as.POSIXct(start, origin = "1970-01-01", tz = "UTC"),
           if (times$zoned) "%Y-%m-%dT%H:%M:%SZ" else "%Y-%m-%dT%H:%M:%S")
  })
  tell_log(out)
  out
}

tell_columns <- function(grid, roles, times, dec) {
  quoted <- function(at) listed(paste0("'", grid$header[at], "'"), 6L)
  unit <- vapply(grid$header[roles$temp], temp_unit, "")
  say("file", paste0(if (is.null(grid$path)) "Log" else paste0("'", basename(grid$path), "'"),
                     ": time from ",
                     quoted(roles$time), if (times$stamped) " (time stamps)", ", temperatures from ",
                     quoted(roles$temp),
                     if (anyNA(unit)) " (no unit in the header: degrees Celsius)",
                     if (dec == ",") ", decimal comma", if (length(roles$left)) {
                       paste0("; not used: ", quoted(roles$left), ", read by `temp =`")
                     }, if (length(grid$told)) paste0("; ", paste(grid$told, collapse = "; ")), "."))
}

# Times of one specimen do not fall, and stamps to the minute do not hide the seconds.
check_log_clock <- function(out, times) {
  same <- out$specimen[-1L] == out$specimen[-nrow(out)]
  step <- diff(out$time_s)[same]
  if (any(step < 0)) {
    fall <- which(same)[step < 0] + 1L
    abort("range", "the time falls within the log", arg = "time", rows = out$sheet_row[fall],
          remedy = paste("Put the rows in order; for a clock that was set give `tz` or correct it; two",
                         "logs in one file are read one by one."))
  }
  if (times$coarse && length(step) && mean(step == 0) > 0.2) {
    again <- which(same)[step == 0] + 1L
    abort("file", "time stamps without seconds stand for several points each", arg = "time",
          rows = out$sheet_row[again],
          remedy = "Export the log with seconds (a spreadsheet shows them in the format hh:mm:ss).")
  }
}

# Points of all channels, one below the other, in degrees Celsius.
log_points <- function(grid, roles, s, dec) {
  names <- if (!length(roles$channel)) without_unit_word(grid$header[roles$temp])
  if (length(names) > 1L) {
    names[!nzchar(names)] <- paste("channel", which(!nzchar(names)))
    if (anyDuplicated(names)) {
      abort("column", paste0("two channels are called '", names[duplicated(names)][1L], "'"), arg = "temp",
            remedy = "Give each its name in the header.")
    }
  }
  parts <- lapply(seq_along(roles$temp), function(k) {
    j <- roles$temp[k]
    data.frame(specimen = if (is.null(names)) grid$cells[[roles$channel]] else names[k], time_s = s,
               temp_c = channel_celsius(grid, j, dec), sheet_row = grid$row)
  })
  out <- do.call(rbind, parts)
  lost <- which(is.na(out$temp_c))
  if (length(lost)) {
    warn("missing", paste0(length(lost), " of ", nrow(out),
                           " points have no temperature and are left out (",
                           in_rows(out$sheet_row[lost]), ")."), n = length(lost),
                           rows = out$sheet_row[lost])
    out <- out[-lost, ]
  }
  if (!nrow(out)) abort("too_few", "the log has no temperature", arg = "temp",
                        remedy = "Check the columns.")
  unnamed <- which(!nzchar(out$specimen) & length(roles$channel) > 0L)
  if (length(unnamed)) {
    abort("missing", "the channel of a point is not named", arg = "specimen", rows = out$sheet_row[unnamed],
          remedy = "Fill in these cells.")
  }
  out
}

# One column of temperatures in degrees Celsius, by the unit in its header or in its cells.
channel_celsius <- function(grid, j, dec) {
  header <- grid$header[j]
  text <- grid$cells[[j]]
  unit <- temp_unit(header)
  marked <- grepl(DEGREE_SHAPE, text)
  if (any(marked)) {
    within <- unique(tolower(sub(DEGREE_SHAPE, "\\3", text[marked])))
    if (length(unique(c(within, stats::na.omit(unit)))) > 1L) {
      refuse_cell("units", paste0("the temperatures of '", header, "' have several units"), "temp", grid,
                  which(marked), j, "Convert them to one.")
    }
    unit <- within
    text[marked] <- sub(DEGREE_SHAPE, "\\1", text[marked])
  }
  value <- plain_number(text, dec)
  odd <- which(is.na(value) & !grepl(SENSOR_WORDS, text, ignore.case = TRUE))
  if (length(odd)) {
    refuse_cell("file", paste0("'", text[odd[1L]], "' in column '", header, "' is not a temperature"),
                "temp", grid,
                odd, j, "Correct these cells, or leave them empty; `dec` is the decimal mark.")
  }
  if (!unit %in% c("f", "k")) return(value)
  say("units", paste0("'", header, "' is converted from ", if (unit ==
                                                               "f") "degrees Fahrenheit." else "kelvin."))
  change <- QUANTITIES$temp$units[[unit]]
  change[1L] + change[2L] * value
}

name_channels <- function(out, specimen) {
  channels <- unique(out$specimen)
  if (is.null(specimen)) return(out)
  if (is.null(names(specimen))) {
    if (length(specimen) != 1L || length(channels) != 1L) {
      abort("argument", paste0("the log has ", count(length(channels), "channel"), " (",
                               listed(channels, 5L),
                               "), and `specimen` names ", length(specimen)), arg = "specimen",
            remedy = "Name specimens by channel, such as c(\"CH 1\" = \"B330\").")
    }
    out$specimen <- rep(valid_text(specimen), nrow(out))
    return(out)
  }
  unknown <- setdiff(valid_text(names(specimen)), channels)
  if (length(unknown)) {
    abort("argument", paste0("the log has no channel '", unknown[1L], "'"), arg = "specimen",
          remedy = paste0("It has ", listed(paste0("'", channels, "'"), 8L), "."))
  }
  if (anyDuplicated(names(specimen)) || anyDuplicated(specimen)) {
    abort("argument", "`specimen` names a channel or a specimen twice", arg = "specimen",
          remedy = "Give each channel its own specimen.")
  }
  out <- out[out$specimen %in% names(specimen), ]
  out$specimen <- unname(specimen[out$specimen])
  out
}

# What check_history() finds, told once when a log is read.
tell_log <- function(out) {
  found <- check_history(out)
  serious <- found[found$level != "note", ]
  if (nrow(serious)) {
    warn("assumption", paste0("check_history() finds in this log: ", listed(unique(serious$what), 3L), "."),
         n = nrow(serious), rows = unlist(serious$rows))
  }
}
