# Clock times of going into the furnace and coming out of it, made into minutes in it.

CLOCK_COLUMNS <- c("in_clock", "out_clock")

# "Time in", "Ofen aus (hh:mm)": which of the two a header names, "" for none.
clock_column <- function(name) {
  text <- trimws(gsub("[_. -]+", " ", fold_header(name)))
  text <- sub(" ?[[(](clock|uhr|uhrzeit|h{1,2}:m{1,2}(:s{1,2})?|heure|hora)[])]$", "", text)
  text <- sub("^(clock |uhr)?(time|zeit|heure|hora) | (time|clock|zeit)$", "", text)
  goes <- paste0("^(in|into( the)? furnace|put in|furnace in|ein|ofen ein|eingelegt|start|begin|beginn|von|",
                 "entree|entrada)$")
  comes <- paste0("^(out|out of( the)? furnace|taken out|furnace out|aus|ofen aus|entnommen|end|stop|ende|",
                  "bis|sortie|salida)$")
  if (grepl(goes, text)) "in_clock" else if (grepl(comes, text)) "out_clock" else ""
}

# Headers of clock times in and out, where no other column has the times; both are needed.
clock_roles <- function(roles, raw, named, given) {
  column <- vapply(roles, \(r) if (is.null(r)) "" else r$column, "")
  at <- match(CLOCK_COLUMNS, column)
  timed <- "time_min" %in% c(column, given)
  if (any(CLOCK_COLUMNS %in% named)) {
    if (anyNA(at) || timed) {
      abort("argument", if (timed) "the time is given twice: by clock times in and out, and otherwise" else
        "`columns` names one of `in_clock` and `out_clock`", arg = "columns",
            remedy = if (timed) "Leave one of them out." else
              "Name the clock times in and those out of the furnace.")
    }
    return(roles)
  }
  if (anyNA(at) || timed) {
    roles[at[!is.na(at)]] <- list(NULL)
    at <- which(!lengths(roles))
    at <- at[match(CLOCK_COLUMNS, vapply(names(raw)[at], clock_column, ""))]
    if (timed || anyNA(at) || !all(vapply(raw[at], \(x) any(is_clock(x)), NA))) return(roles)
    roles[at] <- lapply(CLOCK_COLUMNS, \(x) list(column = x, change = c(0, 1)))
  }
  roles
}

# What is said of clock times in and out that stand beside times; a warning where they contradict them.
idle_clocks <- function(raw, origin) {
  kind <- vapply(names(raw), clock_column, "")
  idle <- names(raw)[nzchar(kind) & vapply(raw, \(x) any(is_clock(x)), NA)]
  if (!length(idle)) return(NULL)
  at <- match(CLOCK_COLUMNS, kind)
  if (anyNA(at) || !all(names(raw)[at] %in% idle) || !is.numeric(raw$time_min)) {
    return(paste0("the times are those of `time_min`, and the clock times in ", in_quotes(idle, " and "),
                  " were not compared with them"))
  }
  between <- (minute_of_day(raw[[at[2L]]]) - minute_of_day(raw[[at[1L]]])) %% 1440
  time <- as.double(raw$time_min)
  piece <- if (is.null(raw$specimen)) rep("", length(time)) else as.character(raw$specimen)
  before <- vapply(seq_along(time), function(i) {
    max(0, time[which(piece == piece[i] & time < time[i])])
  }, 0)
  agrees <- function(minutes) abs(between - minutes %% 1440) <= pmax(2, 0.25 * minutes)
  odd <- which(!agrees(time) & !agrees(time - before)) # of the step, or accumulated
  if (length(odd)) {
    i <- odd[1L]
    warn("assumption", paste0(
      count(length(odd), "row"), " where `", names(raw)[at[1L]], "` and `", names(raw)[at[2L]],
      "` contradict `time_min`, such as row ", origin$row[i], ": ", raw[[at[1L]]][i], " to ",
      raw[[at[2L]]][i],
      " is ", format_quantity(between[i]), " min, the time ", format_quantity(time[i]), " min",
      if (before[i] > 0) paste0(" after ", format_quantity(before[i])),
      ". The times are used; correct one of them."), n = length(odd), rows = unique(origin$row[odd]))
  }
  paste0("the times are those of `time_min`, and the clock times in ", in_quotes(idle, " and "),
         if (length(odd)) " contradict them" else " agree with them")
}

# Minutes of the day of cells that are clock times, NA for others.
minute_of_day <- function(x) {
  if (inherits(x, c("POSIXt", "hms"))) x <- format(x, "%H:%M")
  x <- valid_text(as.character(x))
  shape <- "^(?:.*[ T])?([0-9]{1,2}) ?[:h]([0-5][0-9]).*$"
  ok <- grepl(shape, x, perl = TRUE) & !grepl("[ap]m", x, ignore.case = TRUE)
  out <- rep(NA_real_, length(x))
  part <- function(k) as.double(sub(shape, k, x[ok], perl = TRUE))
  out[ok] <- 60 * part("\\1") + part("\\2")
  out
}

# 0940 under "time in": clock times without their colon.
refuse_clock_without_colon <- function(raw, origin) {
  kind <- vapply(names(raw), clock_column, "")
  for (j in match(CLOCK_COLUMNS, kind)) {
    if (is.na(j)) next
    text <- trimws(valid_text(as.character(raw[[j]])))
    at <- grep("^([01]?[0-9]|2[0-3])[0-5][0-9]$", text)
    if (!length(at)) next
    abort("column", paste0("`", names(raw)[j], "` holds '", text[at[1L]], "': clock times need a colon"),
          arg = names(raw)[j], rows = unique(origin$row[at]), cells = text[at],
          remedy = paste0("Write ", sub("([0-9]{2})$", ":\\1", text[at[1L]]),
                          ", or give minutes in a column `time_min`."))
  }
}

# Cells that are clock times, of any class.
is_clock <- function(x) {
  if (inherits(x, c("POSIXt", "hms"))) return(!is.na(x))
  if (is.factor(x)) x <- as.character(x)
  if (!is.character(x)) return(logical(length(x)))
  grepl("(^|[ T])[0-9]{1,2} ?[:h][0-5][0-9]", valid_text(x))
}

# Clock times without a day, as a spreadsheet keeps them and other packages hand them on.
of_spreadsheet <- function(x) {
  inherits(x, "POSIXt") && all(is.na(x) | format(x, "%Y-%m-%d") %in% c("1899-12-30", "1899-12-31"))
}

# Day, month and year before a clock; the halves of the day behind it.
CLOCK_CELL <- paste0("^(?:([0-9]{1,4})([-./])([0-9]{1,2})[-./]([0-9]{1,4})[ T,;]*)?([0-9]{1,2}):([0-5][0-9])",
                     "(?::([0-5][0-9])(?:[.,][0-9]+)?)?(?: ?([AaPp])[.]?[Mm][.]?)?(?: ?(?:Z|UTC))?$")

# Minutes of the cells of one column, from midnight or with the day; NA where there is no clock.
clock_moments <- function(x, date, name, place) {
  if (of_spreadsheet(x)) x <- format(x, "%H:%M:%S")
  if (inherits(x, "POSIXt")) return(list(min = as.numeric(as.POSIXct(x)) / 60, dated = TRUE))
  if (inherits(x, "difftime")) return(list(min = plain_class(x, "min", name), dated = FALSE))
  text <- sub("^1899-12-3[01] ", "", plain_signs(trimws(valid_text(as.character(x)))))
  text <- sub("^([0-9]{1,2}) ?h ?([0-5][0-9])$", "\\1:\\2", sub(" ?(uhr|h)$", "", text, ignore.case = TRUE))
  none <- is.na(text) | text %in% c("", "-", "\u2013") | grepl(AS_ROLLED_WORDS, fold_header(text))
  bare <- !none & !is.na(date) & grepl("^[0-9]{1,2}:", text)
  text[bare] <- paste(date[bare], text[bare])
  part <- regmatches(text, regexec(CLOCK_CELL, text, perl = TRUE))
  part[none | lengths(part) == 0L] <- list(rep(NA_character_, 9L))
  part <- do.call(rbind, part)[, -1L, drop = FALSE]
  number <- function(j) ifelse(nzchar(part[, j]), suppressWarnings(as.numeric(part[, j])), 0)
  half <- tolower(part[, 8L])
  hour <- number(5L) %% ifelse(nzchar(half) & number(5L) == 12, 12, Inf) + ifelse(half %in% "p", 12, 0)
  refuse_clock(which(!none & (is.na(hour) | hour > 24)), text, name, place)
  dated <- !none & nzchar(part[, 2L])
  day <- numeric(length(text))
  if (any(dated)) {
    if (!all(dated | none)) refuse_clock(which(!none & !dated), text, name, place)
    day[dated] <- day_number(part[dated, 1:4, drop = FALSE], name)
    refuse_clock(which(is.na(day)), text, name, place)
  }
  list(min = ifelse(none, NA, day * 1440 + hour * 60 + number(6L) + number(7L) / 60), dated = any(dated))
}

refuse_clock <- function(bad, text, name, place) {
  if (!length(bad)) return(invisible())
  abort("column", paste0("column `", name, "` holds '", text[bad[1L]],
                         "', which is no clock time like the others"), arg = name, rows = bad,
        where = place_text(place, bad),
        remedy = "Write 09:15, or 2026-11-30 09:15 in all cells; as rolled the cells are empty.")
}

# Days of dates in the order in which they are written.
day_number <- function(part, name) {
  d <- matrix(as.numeric(part[, c(1L, 3L, 4L)]), ncol = 3L)
  if (all(nchar(part[, 1L]) == 4L)) {
    d <- d[, 3:1, drop = FALSE]
  } else if (any(d[, 2L] > 12) && !any(d[, 1L] > 12)) {
    d <- d[, c(2L, 1L, 3L), drop = FALSE]
  } else if (!any(d[, 1L] > 12) && any(part[, 2L] != ".") && nrow(unique(d)) > 1L) {
    abort("column", paste0("the dates of `", name, "` can be read in two ways"), arg = name,
          remedy = "Write them as 2026-11-30.")
  }
  year <- d[, 3L] + ifelse(d[, 3L] < 100, 2000, 0)
  as.numeric(as.Date(sprintf("%04.0f-%02.0f-%02.0f", year, d[, 2L], d[, 1L]), format = "%Y-%m-%d"))
}

# The column `time_min` from the clock times in and out, and what is said of it.
furnace_times <- function(raw, times, origin) {
  place <- origin$place
  name <- vapply(CLOCK_COLUMNS, \(x) origin$names[[x]] %or% x, "")
  refuse <- function(what, at, says, remedy) {
    abort(what, says, arg = name[[1L]], rows = unique(origin$row[at]), remedy = remedy,
          where = place_text(place, origin$sheet[at], origin$letters$in_clock))
  }
  n <- nrow(raw)
  keys <- intersect(c("specimen", "temp_c", "group", "laboratory"), names(raw))
  for (key in keys) any_column(raw, key, "x")
  day <- raw[[match(TRUE, fold_header(names(raw)) %in% c("date", "datum", "fecha", "day", "tag"))]]
  day <- if (is.null(day)) rep(NA_character_, n) else sub(" 00:00:00$", "", as.character(day))
  written <- which(!is.na(day) & nzchar(day))
  # once for several rows
  if (length(written)) day <- c(NA, day[written])[1L + findInterval(seq_len(n), written)]
  at_sheet <- if (!is.null(place)) list(kind = place$kind, path = place$path, sheet = place$sheet,
                                        row = place$row[origin$sheet])
  a <- clock_moments(raw$in_clock, day, name[[1L]], at_sheet)
  b <- clock_moments(raw$out_clock, if (a$dated) rep(NA_character_, n) else day, name[[2L]], at_sheet)
  if (a$dated && !b$dated) b$min <- b$min + 1440 * (a$min %/% 1440 + (b$min < a$min %% 1440))
  if (b$dated && !a$dated) a$min <- b$min - (b$min - a$min) %% 1440
  dated <- a$dated || b$dated
  length <- b$min - a$min
  if (!dated) length <- ifelse(length < 0, length + 1440, length)
  odd <- which(length < 0 | (!dated & length > 720))
  if (length(odd)) {
    refuse("range", odd, paste0("a piece goes in at '", raw$in_clock[odd[1L]], "' and comes out at '",
                                raw$out_clock[odd[1L]], "'"),
           if (dated) "Correct these cells." else "Correct these cells, or write the date with them.")
  }
  out <- is.na(length)
  word <- function(x) is.character(x) & grepl(AS_ROLLED_WORDS, fold_header(x))
  own <- group_rows(unclass(raw)[setdiff(keys, "temp_c")])$id
  first <- as.vector(tapply(ifelse(out, Inf, seq_len(n)), own, min))[own]
  rolled <- out & is.na(a$min) & is.na(b$min) &
    ((seq_len(n) < first & is.finite(first)) | word(raw$in_clock) | word(raw$out_clock) | is.na(raw$temp_c))
  lost <- which(out & !rolled)
  if (length(lost)) {
    refuse("missing", lost, paste0("a clock time in or out is missing (", in_quotes(name, " and "), ")"),
           "Write both on every row, and 'as rolled' for readings before the furnace.")
  }
  id <- group_rows(unclass(raw)[keys])$id
  raw$time_min <- ifelse(rolled, 0, length)
  for (rows in split(which(!out), id[!out])) {
    if (identical(times, "accumulated") || (is.null(times) && length(unique(a$min[rows])) == 1L)) next
    raw$time_min[rows] <- added_up(a$min[rows], length[rows], raw$step[rows], dated, \(k, says, remedy) {
      refuse("range", rows[k], paste0("specimen ", raw$specimen[rows[1L]], says), remedy)
    })
  }
  list(raw = raw, said = c(paste0("minutes from `", name[[1L]], "` to `", name[[2L]],
                                  "`, of each specimen added up over its steps"),
                           if (any(rolled)) {
                             paste0("rows without clock times are as rolled (", sum(rolled), ")")
                           }))
}

# Minutes in the furnace of one piece after each of its steps.
added_up <- function(goes_in, length, step, dated, refuse) {
  step <- if (is.numeric(step) && !anyNA(step)) step
  key <- group_rows(c(list(goes_in, length), list(step)[!is.null(step)]))
  first <- key$first
  by <- if (!is.null(step)) order(step[first]) else if (dated) order(goes_in[first]) else seq_along(first)
  at <- goes_in[first[by]]
  if (!dated) {
    fall <- diff(at) < 0
    back <- which(fall & diff(at) > -720)
    if (length(back) && is.null(step)) {
      refuse(first[by[back[1L] + 1L]], " goes into the furnace at an earlier hour than at the step before",
             "Write the date with the clock times, or number the steps in a column `step`.")
    }
    at <- at + 1440 * cumsum(c(0, fall))
  }
  early <- which(at[-1L] < (at + length[first[by]])[-length(at)] - 1e-6)
  if (length(early)) {
    refuse(first[by[early[1L] + 1L]], " goes into the furnace before it came out",
           "Correct the clock times, or give pieces that were in it together names of their own.")
  }
  total <- numeric(length(first))
  total[by] <- cumsum(length[first[by]])
  total[key$id]
}
