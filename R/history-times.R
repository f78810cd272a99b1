# Times of a furnace log in seconds: from time stamps, clock times, elapsed times, or numbers with a unit.
# What can be read in two ways is refused with the argument that settles it.

STAMP_DATE <- "([0-9]{1,4})[-./]([0-9]{1,2})[-./]([0-9]{1,4})"
STAMP_CLOCK <- "([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}(?:[.,][0-9]+)?))?(?: *([AaPp])[.]?[Mm][.]?)?"
STAMP_ZONE <- "(?: *(Z|UTC|GMT|[+-][0-9]{2}:?[0-9]{2}))?"
ELAPSED <- "^([0-9]+):([0-9]{2})(?::([0-9]{2}(?:[.,][0-9]+)?))?$"

# English, German, French and Spanish months by their first letters, accents gone.
MONTHS <- c(jan = 1, ene = 1, feb = 2, fev = 2, mar = 3, mrz = 3, apr = 4, avr = 4, abr = 4, may = 5,
            mai = 5,
            jun = 6, juin = 6, jul = 7, juil = 7, aug = 8, aou = 8, ago = 8, sep = 9, set = 9, oct = 10,
            okt = 10, nov = 11, dec = 12, dez = 12, dic = 12)

# Dates with the month in letters as 2026-11-30.
month_numbers <- function(text) {
  day_first <- "^([0-9]{1,2})[-. /]+([[:alpha:]]{3,9})[-. /,]+([0-9]{4})"
  month_first <- "^([[:alpha:]]{3,9})[. ]+([0-9]{1,2}),? ([0-9]{4})"
  text <- sub(month_first, "\\2 \\1 \\3", text)
  at <- grep(day_first, text)
  if (!length(at)) return(text)
  word <- fold_header(sub(paste0(day_first, ".*$"), "\\2", text[at]))
  month <- MONTHS[substr(word, 1L, 4L)]
  month <- ifelse(is.na(month), MONTHS[substr(word, 1L, 3L)], month)
  known <- at[!is.na(month)]
  head <- sub(paste0(day_first, ".*$"), "\\3-%02d-\\1", text[known])
  text[known] <- paste0(sprintf(head, as.integer(month[!is.na(month)])), sub(day_first, "", text[known]))
  text
}

# The pieces of each text by a pattern, one row each; NULL where one does not fit.
time_parts <- function(text, pattern) {
  part <- regmatches(text, regexec(pattern, text, perl = TRUE))
  if (any(lengths(part) == 0L)) return(NULL)
  do.call(rbind, part)[, -1L, drop = FALSE]
}

# list(s, stamped, zoned, coarse) of all rows; `columns`: the text of one or two columns.
log_times_read <- function(grid, at, tz, date_order, dec) {
  if (length(at) == 1L && !is.null(grid$seconds[[at]])) {
    return(list(s = grid$seconds[[at]], stamped = grid$stamped[at], zoned = TRUE, coarse = FALSE))
  }
  columns <- lapply(grid$cells[at], \(x) sub("^1899-12-3[01] ", "", x))
  if (length(columns) > 1L) columns[[1L]] <- sub(" 00:00:00$", "", columns[[1L]])
  text <- trimws(do.call(paste, unname(columns)))
  header <- paste(grid$header[at], collapse = " ")
  stamp <- time_parts(month_numbers(text), paste0("^", STAMP_DATE, "[ T,;]*", STAMP_CLOCK, STAMP_ZONE, "$"))
  if (!is.null(stamp)) {
    return(list(s = stamp_seconds(stamp, tz, date_order, grid, at), stamped = TRUE,
                zoned = !is.null(tz) || all(nzchar(stamp[, 8L])), coarse = !any(nzchar(stamp[, 6L]))))
  }
  if (!is.null(tz)) {
    abort("argument", "`tz` is given, and the log has no time stamps with a date", arg = "tz",
          remedy = "Leave it out.")
  }
  clock <- time_parts(text, paste0("^", STAMP_CLOCK, "$"))
  if (!is.null(clock) && any(nzchar(clock[, 4L]))) {
    s <- 3600 * clock_hour(clock[, 1L], clock[, 4L]) + 60 * as.numeric(clock[, 2L]) +
      seconds_of(clock[, 3L])
    return(list(s = pass_midnight(s, grid), stamped = FALSE, zoned = FALSE,
                coarse = !any(nzchar(clock[, 3L]))))
  }
  clock <- time_parts(text, ELAPSED)
  if (!is.null(clock)) {
    return(list(s = clock_seconds(clock, header, grid, at), stamped = FALSE, zoned = FALSE,
                coarse = !any(nzchar(clock[, 3L]))))
  }
  value <- plain_number(text, dec)
  bad <- which(is.na(value))
  if (length(bad)) {
    # of several kinds the rarer cells are the odd ones, not what stands in all other lines
    kind <- c(paste0("^", STAMP_DATE, "[ T,;]*", STAMP_CLOCK, STAMP_ZONE, "$"), paste0("^", STAMP_CLOCK, "$"),
              ELAPSED)
    fits <- cbind(vapply(kind, grepl, logical(length(text)), month_numbers(text), perl = TRUE), !is.na(value))
    bad <- which(!fits[, which.max(colSums(fits))])
    refuse_cell("file", paste0("'", text[bad[1L]], "' in the column of times ('", header,
                               "') is not a time like ",
                               "the others"), "time", grid, bad, at[length(at)],
                "Correct or delete these rows, or name the columns of times by `time`.")
  }
  list(s = value * time_unit(header), stamped = FALSE, zoned = FALSE, coarse = FALSE)
}

# Rows of the rarer of two kinds.
rarer <- function(kind) which(kind == (mean(kind) < 0.5))

# Seconds of one unit of a column of numbers.
time_unit <- function(header) {
  words <- strsplit(fold_header(header), "[^[:alpha:]]+")[[1L]]
  known <- unique(unname(c(UNIT_SPELLINGS, ms = "ms", msec = "ms", milliseconds = "ms")[words]))
  seconds <- c(s = 1, min = 60, h = 3600, d = 86400, ms = 1e-3)[known]
  seconds <- seconds[!is.na(seconds)]
  if (length(seconds) != 1L) {
    abort("units", paste0("the times in '", header, "' have ",
                          if (length(seconds)) "several units" else "no unit"),
          arg = "time", remedy = "Put s, min or h into the header, such as 'Time (s)'.")
  }
  unname(seconds)
}

seconds_of <- function(text) {
  out <- numeric(length(text))
  out[nzchar(text)] <- as.numeric(sub(",", ".", text[nzchar(text)], fixed = TRUE))
  out
}

# Hours of a clock of twelve hours.
clock_hour <- function(text, half) {
  hour <- as.numeric(text)
  half <- tolower(half)
  ifelse(half == "p" & hour < 12, hour + 12, ifelse(half == "a" & hour == 12, 0, hour))
}

stamp_seconds <- function(parts, tz, date_order, grid, at) {
  d <- matrix(as.numeric(parts[, 1:3]), ncol = 3L)
  order <- stamp_order(d, parts, date_order, grid, at)
  year <- d[, regexpr("y", order)]
  year <- ifelse(year < 100, year + 2000, year)
  text <- sprintf("%04d-%02d-%02d %02d:%02d:00", as.integer(year), as.integer(d[, regexpr("m", order)]),
                  as.integer(d[, regexpr("d", order)]), as.integer(clock_hour(parts[, 4L], parts[, 7L])),
                  as.integer(parts[, 5L]))
  zone <- parts[, 8L]
  zoned <- nzchar(zone)
  if (any(zoned) && !all(zoned)) {
    refuse_cell("file", "some time stamps have a zone and others none", "time", grid, rarer(zoned), at[1L],
                "Give all with their zone, or none and `tz`.")
  }
  utc <- all(zoned) || is.null(tz)
  if (!utc && !tz %in% OlsonNames()) {
    abort("argument", paste0("there is no time zone '", tz, "'"), arg = "tz",
          remedy = "Such as \"Europe/Berlin\"; OlsonNames() lists them.")
  }
  moment <- as.POSIXct(text, tz = if (utc) "UTC" else tz, format = "%Y-%m-%d %H:%M:%S")
  bad <- which(is.na(moment) | format(moment, "%Y-%m-%d %H:%M:%S") != text)
  if (length(bad)) {
    refuse_cell("file", paste0("there is no time ", text[bad[1L]], if (!utc) paste0(" in ", tz)), "time",
                grid,
                bad, at[1L], if (utc) "Check the date, and `date_order`." else
                  "The clock of the logger did not go forward in spring: leave `tz` out.")
  }
  offset <- numeric(length(zone))
  shifted <- grepl("^[+-]", zone)
  offset[shifted] <- ifelse(startsWith(zone[shifted], "-"), -60, 60) *
    (60 * as.numeric(substr(zone[shifted], 2L, 3L)) + as.numeric(sub(".*(..)$", "\\1", zone[shifted])))
  s <- as.numeric(moment) + seconds_of(parts[, 6L]) - offset
  if (all(zoned)) s else set_back(s, grid)
}

# The letters y, m, d in the order in which a date is written.
stamp_order <- function(d, parts, date_order, grid, at) {
  if (!is.null(date_order)) return(date_order)
  if (all(nchar(parts[, 1L]) == 4L)) return("ymd")
  first <- any(d[, 1L] > 12)
  second <- any(d[, 2L] > 12)
  if (first && !second) return("dmy")
  if (second && !first) return("mdy")
  if (!first && all(d[, 1L] == d[, 2L])) return("dmy") # 11.11. is the same either way
  if (!first && all(nzchar(parts[, 7L]))) return("mdy") # AM and PM go with month first
  refuse_cell("file", paste0("the date ", paste(parts[1L, 1:3], collapse = "/"),
                             " can be read in two ways"),
              "date_order", grid, 1L, at[1L], "Give `date_order = \"dmy\"` or `date_order = \"mdy\"`.")
}

# A clock without a zone goes back by an hour when daylight saving ends: put on, and reported.
set_back <- function(s, grid) {
  step <- stats::median(diff(s)[diff(s) > 0])
  fall <- which(diff(s) < 0)
  if (length(fall) == 1L && !is.na(step) && abs(s[fall + 1L] - s[fall] - step + 3600) <= max(2 * step,
                                                                                             120)) {
    s[-seq_len(fall)] <- s[-seq_len(fall)] + 3600
    say("file", paste0("The clock goes back by an hour at row ", grid$row[fall + 1L],
                       ": taken as the end of ",
                       "daylight saving, and an hour is added from there on."))
  }
  s
}

# hh:mm:ss, elapsed or of a clock; a clock that passes midnight goes on with the next day, and says so.
clock_seconds <- function(parts, header, grid, at) {
  a <- as.numeric(parts[, 1L])
  b <- as.numeric(parts[, 2L])
  third <- nzchar(parts[, 3L])
  if (any(third) && !all(third)) {
    refuse_cell("file", "some times have seconds and others none", "time", grid, rarer(third), at[1L],
                "Write all as hh:mm:ss.")
  }
  odd <- which(b > 59 | seconds_of(parts[, 3L]) >= 60)
  if (length(odd)) {
    refuse_cell("file", "a clock time has more than 59 minutes or seconds", "time", grid, odd, at[1L],
                "Correct these cells.")
  }
  if (all(third)) return(pass_midnight(3600 * a + 60 * b + seconds_of(parts[, 3L]), grid))
  said <- fold_header(header)
  if (grepl("mm?:ss|min:s", said)) return(60 * a + b)
  if (grepl("hh?:m|h:min", said)) return(pass_midnight(3600 * a + 60 * b, grid))
  refuse_cell("file", paste0("the time ", paste(parts[1L, 1:2], collapse = ":"),
                             " can be hours and minutes or ",
                             "minutes and seconds"), "time", grid, 1L, at[1L],
              "Put hh:mm or mm:ss into the header of the column, or write hh:mm:ss.")
}

pass_midnight <- function(s, grid) {
  fall <- which(diff(s) < -43200)
  if (length(fall) && all(s < 86400)) {
    s <- s + 86400 * cumsum(c(0, diff(s) < -43200))
    say("file", paste0("The clock passes midnight at row ", grid$row[fall[1L] + 1L], ": a day is added."))
  }
  s
}
