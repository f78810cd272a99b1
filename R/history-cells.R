# A furnace log as a grid of text: cells from the readers of readings, header, units and roles of the
# columns.

TIME_WORDS <- "time|zeit|date|datum|stamp|elapsed|clock|fecha|hora|heure|^temps|\u65f6\u95f4|\u65e5\u671f"
CHANNEL_WORDS <- "^(specimen|piece|probe|channel|kanal|voie|sensor|canal|name|strip)$"
OTHER_WORDS <- paste0("\\b(setpoint|set point|sp|soll|sollwert|consigne|power|output|humidity|rh|volt|volts|",
                      "mv|amps?|ampere|pressure|alarm|status|no|nr|index|counter|scan|battery|ms|msec)\\b|%")
# What loggers write in place of a temperature.
SENSOR_WORDS <- paste0("^(|-+|n/?a|nan|null|open|err(or)?|ovf|ol|o[.]?l[.]?|over(flow|range)?|under(range)?|",
                       "burnout|fault|[*]+)$")
NUMBER_SHAPE <- "^[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?$"
DEGREE_SHAPE <- "^([+-]?[0-9.,]+) ?(\u00b0|deg)? ?([CFK])$"

is_number_text <- function(x) grepl(NUMBER_SHAPE, x)

# Text with the decimal mark `dec` as numbers; NA for anything else.
plain_number <- function(text, dec) {
  out <- rep(NA_real_, length(text))
  ok <- is_number_text(text) & !grepl(if (dec == ",") "." else ",", text, fixed = TRUE)
  out[ok] <- as.numeric(if (dec == ",") sub(",", ".", text[ok], fixed = TRUE) else text[ok])
  out
}

# An error at rows of a log, by line or cell where it comes from a file.
refuse_cell <- function(what, message, arg, grid, rows, column, remedy) {
  where <- if (!is.null(grid$kind)) {
    place_text(list(path = grid$path, sheet = grid$sheet, kind = grid$kind, row = grid$row), rows,
               column_letters(column))
  }
  abort(what, message, arg = arg, rows = grid$row[rows], where = where, remedy = remedy)
}

# A data frame as a grid: times of its own classes in seconds, all else as text.
frame_grid <- function(x) {
  x <- plain_frame(x)
  check_data(x, "x")
  seconds <- lapply(unclass(x), function(v) {
    if (inherits(v, "POSIXt")) return(as.numeric(as.POSIXct(v)))
    if (inherits(v, "difftime")) return(as.numeric(v, units = "secs"))
    if (inherits(v, "units")) return(tryCatch(plain_units(v, "s", "time"),
                                              softanneal_error_units = \(e) NULL))
  })
  cells <- lapply(names(x), function(name) {
    v <- x[[name]]
    if (inherits(v, "units") && is.null(seconds[[name]])) v <- plain_units(v, "degree_C", name)
    if (is.list(v) || !is.null(dim(v))) any_column(x, name, "x")
    if (inherits(v, "integer64")) v <- from_integer64(v)
    if (is.numeric(v)) ifelse(is.na(v), "", format(as.double(v), digits = 15L, trim = TRUE)) else
      ifelse(is.na(v), "", trimws(valid_text(as.character(v))))
  })
  list(cells = cells, header = valid_text(names(x)), row = seq_len(nrow(x)), seconds = unname(seconds),
       stamped = vapply(unclass(x), inherits, NA, "POSIXt"))
}

# The separator that most lines of points have alike; a comma last, since it may be a decimal mark.
log_separator <- function(lines) {
  lines <- utils::head(lines[grepl("[^[:space:]]", lines)], 2000L)
  points <- gsub("\"[^\"]*\"", "", utils::tail(lines, ceiling(2 / 3 * length(lines))))
  for (sep in c("\t", ";", "|", ",")) {
    n <- lengths(regmatches(points, gregexpr(sep, points, fixed = TRUE)))
    usual <- as.integer(names(which.max(table(n))))
    if (usual > 0L && mean(n == usual) >= 0.8) return(sep)
  }
  if (all(grepl("[^[:space:]][[:space:]]+[^[:space:]]", points))) "" else NULL
}

log_grid <- function(path, sep, encoding, sheet, skip) {
  check_sheet_path(path)
  if (is.null(sep) && !is_excel(path)) sep <- log_separator(file_lines(path, encoding)$lines)
  text <- function(grid) {
    do.call(cbind, lapply(unclass(grid$cells), \(v) trimws(plain_signs(ifelse(is.na(v), "", v)))))
  }
  grid <- read_grid(path, sheet, sep, encoding, skip, fits = \(g) !is.na(log_start(text(g))))
  m <- text(grid)
  first <- log_start(m)
  if (is.na(first)) {
    abort("file", paste0("no header with rows of times and temperatures below it is found in '", path, "'"),
          arg = "x", remedy = "The log needs a line of column names above its first point.")
  }
  head <- log_header(m, first)
  rows <- seq(first, nrow(m))
  again <- rows[apply(m[rows, , drop = FALSE], 1L, identical, m[first - 1L, ])]
  rows <- setdiff(rows, again)
  width <- max(which(nzchar(head$names)))
  extra <- if (width < ncol(m)) rows[rowSums(m[rows, -seq_len(width), drop = FALSE] != "") > 0L]
  if (length(extra)) {
    abort_line(path, grid$row[extra[1L]], if (is.null(grid$lines)) paste(m[extra[1L], ],
                                                                         collapse = " ") else
      grid$lines[extra[1L]], "has more fields than the header",
      "A decimal comma needs quotes or another separator: give `sep` and `dec`; or write the missing header.")
  }
  points <- rowSums(m[rows, , drop = FALSE] != "")
  if (identical(sep, "") && width > max(points)) {
    abort("file", paste0("the header of '", path, "' has ", width, " fields and the rows ", max(points)),
          arg = "x",
          remedy = "Write headers without blanks, such as 'time_s', or separate the columns by tabs.")
  }
  told <- c(grid$found, if (head$top > 0L) paste(count(head$top, "line"), "above the header not used"),
            if (length(again)) paste("header repeated at row", paste(grid$row[again], collapse = ", "),
                                     "left out"))
  list(cells = lapply(seq_len(width), \(j) unname(m[rows, j])), header = head$names[seq_len(width)],
       row = grid$row[rows], kind = grid$kind, path = path, sheet = grid$sheet, told = told)
}

# First row of points: it and the next have a time among the first two cells written and a number besides.
# NA where no words stand above it.
log_start <- function(m) {
  m <- utils::head(m, 200L)
  number <- matrix(is_number_text(m) | grepl(DEGREE_SHAPE, m), nrow(m))
  clock <- matrix(grepl("^[0-9]+:[0-9]{2}", m) | grepl(paste0("^", STAMP_DATE), month_numbers(m),
                                                       perl = TRUE), nrow(m))
  timed <- vapply(seq_len(nrow(m)), function(i) {
    v <- which(nzchar(m[i, ]))
    any((number | clock)[i, utils::head(v, 2L)]) && sum((number | clock)[i, v]) > 1L && any(number[i, v])
  }, NA)
  ok <- which(timed & c(timed[-1L], TRUE))
  if (!length(ok) || ok[1L] < 2L) return(NA_integer_)
  above <- m[ok[1L] - 1L, ]
  named <- nzchar(above) & !number[ok[1L] - 1L, ] & !clock[ok[1L] - 1L, ]
  worded <- sum(named) >= sum(nzchar(above)) / 2 || (named[1L] && grepl(TIME_WORDS, fold_header(above[1L])))
  if (worded) ok[1L] else NA_integer_
}

# Names of the columns from the row above the points; units, or names of channels, may stand in another row.
log_header <- function(m, first) {
  names <- unname(m[first - 1L, ])
  top <- first - 2L
  unit <- grepl("^[[(]?(s|sec|min|h|ms|\u00b0?[CFK]|deg ?[CFK]|hh?:mm(:ss)?|mm:ss|)[])]?$", names)
  twice <- any(duplicated(names[nzchar(names)]))
  if (top > 0L && (all(unit) || twice) && sum(nzchar(m[top, ])) >= 2L) {
    below <- if (twice && !all(unit)) names else ifelse(nzchar(names),
                                                        paste0("(", gsub("[][()]", "", names), ")"), "")
    names <- trimws(paste(unname(m[top, ]), below))
    top <- top - 1L
  }
  list(names = names, top = top)
}

# Positions of the columns: time (one, or date and time), channel, temp; `left`: columns of numbers not
# used.
log_roles <- function(grid, time, temp) {
  find <- function(names, arg) {
    at <- match(tolower(trimws(valid_text(names))), tolower(trimws(grid$header)))
    if (anyNA(at)) {
      abort("column", paste0("the log has no column '", valid_text(names[is.na(at)][1L]), "'"), arg = arg,
            remedy = paste0("It has ", listed(paste0("'", grid$header, "'"), 8L), "."))
    }
    at
  }
  folded <- fold_header(grid$header)
  numeric <- vapply(grid$cells, function(v) {
    number <- is_number_text(v) | grepl(DEGREE_SHAPE, v)
    any(number) && mean(number | grepl(SENSOR_WORDS, v, ignore.case = TRUE)) > 0.5
  }, NA)
  timed <- grepl(TIME_WORDS, folded) & !grepl("temp(erature|eratur)?( |_|$|[([,.0-9])", folded)
  classed <- which(lengths(grid$seconds) > 0L)
  at <- if (!is.null(time)) find(time, "time") else if (length(classed)) classed[1L] else time_columns(grid,
                                                                                                       timed)
  channel <- setdiff(which(grepl(CHANNEL_WORDS, gsub("[^a-z]", "", folded)) & !numeric), at)
  usable <- setdiff(which(numeric & !grepl(OTHER_WORDS, gsub("_", " ", folded)) & !timed), c(at, channel))
  values <- if (is.null(temp)) usable else find(temp, "temp")
  if (!length(values)) {
    abort("column", "the log has no column of temperatures that is recognised", arg = "temp",
          remedy = paste0("Name it by `temp`; the columns are ", listed(paste0("'", grid$header, "'"), 8L),
                          "."))
  }
  if (length(channel) && length(values) > 1L) {
    abort("column", "the log has a column of channels and several of temperatures", arg = "temp",
          remedy = "Name one column of temperatures by `temp`.")
  }
  list(time = at, channel = utils::head(channel, 1L), temp = values,
       left = setdiff(which(numeric), c(at, channel, values)))
}

# The column of times by its header, or a date with the clock in another column; else the first.
time_columns <- function(grid, timed) {
  named <- which(timed)
  if (!length(named)) return(1L)
  date_alone <- function(j) any(nzchar(grid$cells[[j]])) && !any(grepl(":",
                                                                       sub(" 00:00:00$", "",
                                                                           grid$cells[[j]]))) &&
    any(grepl(paste0("^", STAMP_DATE), month_numbers(grid$cells[[j]]), perl = TRUE))
  clock <- Filter(\(j) any(grepl("^(1899-12-3[01] )?[0-9]+:", grid$cells[[j]])), named[-1L])
  if (date_alone(named[1L]) && length(clock)) c(named[1L], clock[1L]) else named[1L]
}

# Unit of temperatures from a header: "c", "f", "k", or NA where it says none.
temp_unit <- function(header) {
  text <- fold_header(header)
  shape <- "(^|[ _([/,]|\u00b0|deg)(\u00b0|deg[. ]?|grad ?)?(c|f|k|celsius|fahrenheit|kelvin)[])]?$"
  if (!grepl(shape, text) || grepl("^[a-z]$", text)) return(NA_character_)
  # "piece C" is a name, "T C" is not
  bare <- grepl(" [cfk]$", text) && !grepl("^(t|temp[a-z]*) [cfk]$", text)
  if (bare) NA_character_ else substr(sub(paste0("^.*?", shape), "\\3", text, perl = TRUE), 1L, 1L)
}

without_unit_word <- function(header) {
  bracketed <- "[[(](\u00b0|deg[. ]?)?([CFK]|Celsius|Fahrenheit|Kelvin)[])]"
  shape <- paste0("[ _]*(", bracketed, "|(\u00b0|deg ?)[CFK])$")
  sub("_[cfk]$", "", trimws(sub(shape, "", gsub("\u2103", "\u00b0C", header), ignore.case = TRUE)))
}
