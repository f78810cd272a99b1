# Clock durations in the cells of a time column: hours, minutes and seconds, or what a header such as
# "time (h:mm)" says. Results in min.

# What the unit of a header says of its clock: "h:m", "m:s", "h:m:s"; NULL for no clock.
clock_of_header <- function(unit) {
  part <- c(h = "(h{1,2}|hours?|hrs?|std|stunden)", m = "(m{1,2}|mins?|minutes?|minuten)",
            s = "(s{1,2}|secs?|seconds?|sek|sekunden)")
  for (clock in c("h:m", "m:s", "h:m:s")) {
    shape <- paste(part[strsplit(clock, ":", fixed = TRUE)[[1L]]], collapse = " ?: ?")
    if (grepl(paste0("^", shape, "$"), unit)) return(clock)
  }
  NULL
}

# Minutes of the cells that are a clock, NA for others. Without a clock in the header only three parts
# tell what they are. A spreadsheet keeps 0:04 as a time of 30 or 31 December 1899, which is h:mm:ss.
clock_minutes <- function(text, clock = NULL) {
  if (identical(clock, "h:m") || identical(clock, "h:m:s")) {
    text <- sub("^1899-12-3[01] ", "", text)
  }
  out <- rep(NA_real_, length(text))
  three <- grep("^[0-9]{1,3}:[0-5][0-9]:[0-5][0-9]$", text)
  two <- if (!is.null(clock) && clock != "h:m:s") grep("^[0-9]{1,4}:[0-5][0-9]$", text)
  sums <- function(at, weight) {
    vapply(strsplit(text[at], ":", fixed = TRUE), \(p) sum(as.numeric(p) * weight), 0)
  }
  out[three] <- sums(three, c(60, 1, 1 / 60))
  out[two] <- sums(two, if (identical(clock, "h:m")) c(60, 1) else c(1, 1 / 60))
  out
}

clock_shape <- function(clock) c("h:m" = "h:mm", "m:s" = "mm:ss", "h:m:s" = "h:mm:ss")[[clock]]

# Numbers in a column whose header announces a clock may be of either unit.
refuse_numbers_beside_clock <- function(number, text, name, clock, place) {
  plain <- which(!is.na(number) & number != 0)
  if (!length(plain)) return(invisible())
  abort("column", paste0("column `", name, "` is a clock by its header, and holds '", text[plain[1L]], "'"),
        arg = name, rows = plain, cells = text[plain], where = place_text(place, plain),
        remedy = paste0("Write these cells as ", clock_shape(clock),
                        ", or all of them as numbers under a header such as time (min)."))
}

# Times of day under a header of hours and minutes (9:05 is hardly 545 min) or written as numbers (905): late,
# and near each other for that; or they begin anew in the middle of a piece, past midnight. Asked, unless
# `times` says that they are durations.
refuse_times_of_day <- function(raw, clock, times, origin) {
  t <- raw$time_min
  if (!is.null(times) || !length(t)) return(invisible())
  on <- which(clock & !is.na(t))
  if (!length(on)) return(refuse_clock_digits(t, origin))
  if (any(t[on] >= 1440)) return(invisible())
  after <- sort(unique(t[on][t[on] > 0]))
  if (!length(after)) return(invisible())
  zero <- any(t == 0, na.rm = TRUE)
  late <- if (length(after) == 1L) after >= 240 && !any(t[on] == 0) else {
    (min(diff(after)) < after[1L] / 4 && after[1L] >= if (zero) 240 else 60) || (!zero && after[1L] >= 240)
  }
  piece <- group_rows(unclass(raw)[intersect(c("specimen", "temp_c", "group", "laboratory"), names(raw))])$id
  falls <- vapply(split(t[on], piece[on]), \(x) any(diff(x) < -360 & x[-1L] > 0 & !duplicated(x)[-1L]), NA)
  if (!late && !any(falls)) return(invisible())
  shown <- paste0(after %/% 60, ":", sprintf("%02d", as.integer(after %% 60)))
  abort_time_of_day(on, shown, "hours and minutes", origin)
}

abort_time_of_day <- function(on, shown, unit, origin) {
  abort("column", paste0("column `", origin$names$time_min %or% "time_min", "` seems to hold times of day (",
                         in_quotes(unique(shown[c(1L, length(shown))]), " to "), ")"), arg = "time_min",
        rows = unique(origin$row[on]),
        where = place_text(origin$place, origin$sheet[on], origin$letters$time_min),
        remedy = paste(NOT_IN_FURNACE, "If these are", unit, "in the furnace, say so by",
                       "`times = \"accumulated\"` or `times = \"step\"`."))
}

# 905, 950, 1035: no minutes beyond 59 in whole numbers that are late and near each other.
refuse_clock_digits <- function(t, origin) {
  on <- which(t > 0)
  after <- sort(unique(t[on]))
  if (length(after) < 3L || after[1L] < 500 || after[length(after)] >= 2400 || any(after %% 1 > 0) ||
      any(after %% 100 > 59) || min(diff(after)) >= after[1L] / 4) return(invisible())
  abort_time_of_day(on, after, "minutes", origin)
}

# 0.05, 0.15, 1.30 under hours: minutes behind a point, as the clock writes them. Parts of an hour may
# end so too, so the caller who names the column by its unit is believed.
refuse_minutes_behind_point <- function(value, name, unit, said, place) {
  x <- unique(round(value[!is.na(value) & value > 0] %% 1, 6L))
  x <- x[x > 0]
  if (said || !identical(unit, "h") || length(x) < 3L || any(x > 0.591) ||
      any(abs(20 * x - round(20 * x)) > 1e-4) ||
      all(abs(4 * x - round(4 * x)) < 1e-4 | abs(10 * x - round(10 * x)) < 1e-4)) return(invisible())
  rows <- which(value > 0)
  abort("units", paste0("column `", name, "` may hold hours and minutes, such as 1.30 for 1 h 30 min, or ",
                        "parts of an hour"), arg = name, rows = rows, where = place_text(place, rows),
        remedy = paste0("Write 1:30 under time (h:mm), or minutes; parts of an hour are said by ",
                        "`columns = c(time_h = \"", name, "\")`."))
}

# 0.003472222 for 5 min: the number a spreadsheet keeps for a clock time, a fraction of a day.
refuse_day_fractions <- function(value, name, unit, place) {
  x <- unique(value[!is.na(value) & value > 0])
  whole <- function(x) abs(x - round(x)) < 0.002
  if (length(x) < 2L || identical(unit, "d") || any(x >= 1) || !all(whole(1440 * x)) || all(whole(60 * x)) ||
      all(abs(x - round(x, 4L)) < 1e-9)) return(invisible())
  rows <- which(value > 0)
  abort("units", paste0("column `", name, "` holds ", format(x[1L], digits = 7), " and the like, whole ",
                        "minutes (", round(1440 * x[1L]), ") as fractions of a day, as spreadsheets keep ",
                        "clock times"),
        arg = name, rows = rows, where = place_text(place, rows),
        remedy = paste0("Name them so, `columns = c(time_d = \"", name, "\")`, or write minutes."))
}
