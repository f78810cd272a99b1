# Times of single steps made into accumulated times, and the suspicion that a sheet holds them.

# `times`: what the caller gives, `header`: what the header gives ("step time", "total time").
accumulate_times <- function(raw, times, header, origin) {
  known <- times %or% header %or% "accumulated"
  refuse_summaries(raw, origin)
  piece <- intersect(c("specimen", "temp_c", "group", "laboratory"), names(raw))
  id <- group_rows(unclass(raw)[piece])$id
  step <- step_of_row(raw, id, origin)
  if (known == "step") {
    refuse_merged_steps(raw, step, origin)
    first <- step$first
    minutes <- raw$time_min[first]
    uneven <- which(!is.na(raw$time_min) & raw$time_min != minutes[step$id])
    if (length(uneven)) {
      abort("duplicate", paste0("step ", raw$step[uneven[1L]], " of specimen ",
                                raw$specimen[uneven[1L]], " has two times: ",
                                format(minutes[step$id[uneven[1L]]]), " and ",
                                format(raw$time_min[uneven[1L]]), " min"), arg = "time_min",
            rows = unique(origin$row[uneven]), where = place_text(origin$place, origin$sheet[uneven],
                                                                  origin$letters$time_min),
            remedy = "One step has one time; correct the step or the time.")
    }
    if (anyNA(minutes)) return(list(raw = raw)) # refused as missing
    total <- numeric(length(first))
    by <- order(id[first], step$rank[first])
    total[by] <- unlist(lapply(split(minutes[by], id[first][by]), cumsum), use.names = FALSE)
    raw$time_min <- total[step$id]
    return(list(raw = raw, said = "times of single steps added up"))
  }
  if (is.null(times) && is.null(header)) suspect_step_times(raw, id, step, origin)
  list(raw = raw)
}

# The step of each row: by the column `step`, else by sheet row (wide), else by reading numbers that
# begin again, else by runs of one time.
step_of_row <- function(raw, piece, origin) {
  n <- nrow(raw)
  if (is.numeric(raw$step) && !anyNA(raw$step)) {
    rows <- group_rows(list(piece, raw$step))
    return(list(id = rows$id, first = rows$first, rank = raw$step))
  }
  if (!is.null(origin$column)) {
    begins <- c(TRUE, origin$sheet[-1L] != origin$sheet[-n])
  } else {
    time <- ifelse(is.na(raw$time_min), -1, raw$time_min)
    begins <- c(TRUE, time[-1L] != time[-n] | piece[-1L] != piece[-n])
    if (is.numeric(raw$reading) && !anyNA(raw$reading)) {
      begins <- begins | c(FALSE, raw$reading[-1L] <= raw$reading[-n] &
                             raw$scale[-1L] == raw$scale[-n])
    }
  }
  begins <- begins[seq_len(n)]
  run <- cumsum(begins)
  rows <- group_rows(list(run))
  by_time <- is.null(origin$column) && !(is.numeric(raw$reading) && !anyNA(raw$reading))
  list(id = rows$id, first = rows$first, rank = seq_len(n), by_time = by_time)
}

# Two steps of one time that follow each other look like one where nothing but the time divides them.
refuse_merged_steps <- function(raw, step, origin) {
  if (!isTRUE(step$by_time)) return(invisible())
  n <- tabulate(step$id, length(step$first))
  long <- which(n >= 2L * min(n) & raw$time_min[step$first] > 0)
  if (!length(long)) return(invisible())
  rows <- which(step$id == long[1L])
  abort("duplicate", paste0("specimen ", raw$specimen[rows[1L]], " has ", length(rows),
                            " readings after a step of ",
                            format(raw$time_min[rows[1L]]), " min, where others have ", min(n),
                            ": perhaps two steps of one time"), arg = "time_min",
                            rows = unique(origin$row[rows]),
        where = place_text(origin$place, origin$sheet[rows], origin$letters$time_min),
        remedy = "Number the steps in a column `step`, or the readings of each step in a column `reading`.")
}

# A row of means below the readings is not a reading.
refuse_summaries <- function(raw, origin) {
  words <- paste0("^(means?|average|avg[.]?|std([. ]?dev[.]?)?|sd|s[.]d[.]|median|mittel(wert)?|",
                  "durchschnitt|standardabweichung|moyenne|ecart[- ]type|media|promedio|desviacion|range|",
                  "spannweite)$")
  for (column in intersect(c("specimen", "reading", "step", "time_min"), names(raw))) {
    x <- raw[[column]]
    if (!is.character(x) && !is.factor(x)) next
    at <- grep(words, fold_header(unique(as.character(x))))
    if (!length(at)) next
    rows <- which(as.character(x) == unique(as.character(x))[at[1L]])
    abort("column", paste0("column `", origin$names[[column]] %or% column, "` holds '", x[rows[1L]],
                           "': a computed row, not a reading"), arg = column,
                           rows = unique(origin$row[rows]),
          where = place_text(origin$place, origin$sheet[rows], origin$letters[[column]]),
          remedy = "Delete the rows of means and standard deviations; they are computed anew.")
  }
}

# A step that goes on while the time stands still: times of single steps were written down, or a
# row twice.
suspect_step_times <- function(raw, piece, step, origin) {
  if (!is.numeric(raw$step)) return(invisible())
  first <- step$first
  by <- order(piece[first], step$rank[first])
  first <- first[by]
  time <- raw$time_min[first]
  n <- length(first)
  if (n < 2L) return(invisible())
  same <- piece[first[-1L]] == piece[first[-n]]
  equal <- which(same & !is.na(time[-1L]) & !is.na(time[-n]) & time[-1L] == time[-n] & time[-1L] > 0)
  if (!length(equal)) return(invisible())
  at <- first[equal[1L] + 1L]
  abort("duplicate", paste0("steps ", format(raw$step[first[equal[1L]]]), " and ", format(raw$step[at]),
                            " of specimen ", raw$specimen[at], " both have ", format(raw$time_min[at]),
                            " min"), arg = "time_min", rows = unique(origin$row[first[equal + 1L]]),
        where = place_text(origin$place, origin$sheet[first[equal + 1L]], origin$letters$time_min),
        remedy = paste("If these are the times of single steps, read with `times = \"step\"`;",
                       "if they are added up already, correct the time."))
}

# "+4" in a column of times is a time that was added.
refuse_added_times <- function(text, name, place) {
  plus <- if (is.character(text)) grep("^[[:space:]]*[+][[:space:]]*[0-9]", text)
  if (!length(plus)) return(invisible())
  abort("column", paste0("column `", name, "` holds '", text[plus[1L]], "', as if this time was added to ",
                         "those before"),
        arg = name, rows = plus, cells = text[plus], where = place_text(place, plus),
        remedy = paste("Say by `times` whether each time is that of one step (\"step\") or the sum of all",
                       "(\"accumulated\")."))
}
