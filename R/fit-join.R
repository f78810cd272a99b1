# Readings joined to the temperature histories of their specimens: where in its log a reading was taken, and
# whether it can have been.

# Log time of each reading in s where a column or the events of a bench page tell it.
log_times <- function(data, columns, history) {
  if (is.null(columns$log_time)) return(event_times(data, columns, history))
  if (is.null(history)) {
    abort("argument", "`log_time` is given without `history`", arg = "log_time",
          remedy = "Give the log with `history`, or leave `log_time` out.")
  }
  numeric_column(data, columns$log_time, unit = "s", na = TRUE)
}

# Number of the history (0: before any anneal) and minutes passed in it, for readings of
# `specimen` at accumulated time `time_min` or log time `log_s`. `rows` are those of the table. `step`:
# number of the step of each reading, where known. `read`: these are readings, taken from a cold specimen;
# `timed`: their accumulated time is known besides the log time.
join_history <- function(h, specimen, time_min, log_s, rows, step = NULL, read = FALSE, timed = TRUE) {
  n <- length(time_min)
  id <- if (is.null(h$specimen)) rep.int(1L, n) else if (is.null(specimen)) {
    if (length(h$specimen) > 1L) {
      abort("column", paste0("the readings have no specimen column to join them to ",
                             length(h$specimen), " histories"), arg = "specimen",
            remedy = "Name the specimen of each reading.")
    }
    rep.int(1L, n)
  } else match(as.character(specimen), as.character(h$specimen))
  rolled <- if (is.null(log_s)) time_min == 0 else rep.int(FALSE, n)
  if (!is.null(log_s)) rolled[time_min == 0] <- TRUE
  lost <- which(is.na(id) & !rolled)
  if (length(lost)) {
    names <- utils::head(unique(as.character(specimen[lost])), 3)
    abort("missing", paste0("`history` holds no log of specimen ", in_quotes(names, " and ")),
          arg = "history", rows = rows[lost],
          remedy = "Add the log of every specimen that was annealed, under the same name.")
  }
  span <- history_span(h)
  at <- rep(NA_real_, n)
  off <- numeric(n)
  for (k in unique(id[!rolled])) {
    pick <- which(id == k & !rolled)
    heats <- if (is.null(log_s) && is.null(h$furnace_min)) own_heats(h, k)
    if (NROW(heats) > 1L) refuse_pauses(h, k, heats, rows[pick])
    if (is.null(log_s)) {
      found <- log_of_time(h, span, k, time_min[pick], step[pick])
      at[pick] <- found$at
      off[pick] <- found$off
    } else at[pick] <- log_s[pick]
  }
  slack <- 1e-9 * pmax(abs(span$end), span$end - span$start)
  late <- which(!rolled & (is.na(at) | at > span$end[id] + slack[id]))
  early <- which(!rolled & !is.na(at) & at < span$start[id] - slack[id])
  if (length(late) || length(early)) {
    bad <- sort(c(late, early))
    abort("range", paste0(length(bad), " readings lie ", if (length(late)) "after the end" else
      "before the start", " of the history of their specimen"), arg = "history", rows = rows[bad],
          remedy = "Check clock and unit (history in s, readings in min), or give the whole log.")
  }
  if (read) for (k in unique(id[!rolled])) {
    pick <- which(id == k & !rolled)
    refuse_hot(h, k, at[pick], time_min[pick], rows[pick], is.null(log_s) || !timed)
  }
  if (read && any(off > 0)) {
    say("history",
        paste0("Readings are joined to the ends of the steps in the log; the accumulated times differ by ",
                          "up to ", format_quantity(max(off), 2L), " min."))
  }
  passed <- pmax((at - span$start[id]) / 60, 0)
  rolled <- rolled | passed == 0
  list(place = as.double(ifelse(rolled, 0, id)), passed_min = ifelse(rolled, 0, passed))
}

rows_of_history <- function(h, k) seq.int(h$points$first[k] + 1L, h$points$first[k + 1L])

own_heats <- function(h, k) {
  rows <- rows_of_history(h, k)
  log_heats(h$points$time_s[rows], h$points$temp_c[rows])
}

named_history <- function(h, k) if (is.null(h$specimen)) "" else paste0(" of '", h$specimen[k], "'")

# A log with pauses runs longer than the time in the furnace that the readings count.
refuse_pauses <- function(h, k, heats, rows) {
  abort("range", paste0("the log", named_history(h, k), " has ", nrow(heats),
                        " steps with pauses between them, so ",
                        "that its clock is not the accumulated time of the readings"), arg = "history",
                        rows = rows,
        remedy = paste("Find its steps and join by them: steps <- find_steps(log), look at",
                       "plot_history(log, steps = steps), then history = add_steps(log, steps); or name the",
                       "log time of each reading by `log_time`."))
}

# Hardness is read on a cold specimen after its step: a place in the log that is hot, or before any heat,
# is wrong. A log that never cools has no such places, and is taken as it is.
refuse_hot <- function(h, k, at, time_min, rows, by_time) {
  heats <- own_heats(h, k)
  own <- rows_of_history(h, k)
  temp_c <- h$points$temp_c[own]
  limit <- min(temp_c) + 0.2 * (max(temp_c) - min(temp_c))
  if (is.null(heats) || temp_c[length(temp_c)] > limit && nrow(heats) == 1L) return(invisible())
  clock <- h$points$time_s[own]
  # at a jump the colder side counts
  slack <- 1e-9 * max(abs(clock))
  there <- stats::approx(clock, temp_c, at, rule = 2, ties = "ordered")$y
  first <- findInterval(at - slack, clock, left.open = TRUE) + 1L
  last <- findInterval(at + slack, clock)
  for (i in which(last >= first)) there[i] <- min(temp_c[first[i]:last[i]])
  hot <- which(there > limit)
  if (length(hot)) {
    abort("range", paste0("a reading of ", format(time_min[hot[1L]]), " min falls on ",
                          in_degrees(format(there[hot[1L]], digits = 3)), " in the log",
                          named_history(h, k),
                          ", and hardness is read cold"), arg = "history", rows = rows[hot],
          remedy = if (is.null(h$furnace_min)) {
            paste("Join by the steps in the log: history = add_steps(log, find_steps(log));",
                  "or correct the log time.")
          } else paste("No step of the log ends at this time: compare with find_steps() and correct the",
                       "times of the readings or of the steps."))
  }
  before <- which(time_min > 0 & at <= heats$in_s[1L])
  if (length(before)) {
    abort("range", paste0("a reading of ", format(time_min[before[1L]]),
                          " min falls before the first step of the log",
                          named_history(h, k)), arg = "history", rows = rows[before],
          remedy = paste("Check the log time and its clock, or join by the steps:",
                         "history = add_steps(log, find_steps(log))."))
  }
  if (by_time) return(invisible())
  # by log time: the furnace time up to there should be that of the reading
  done <- vapply(at, \(t) sum(pmax(pmin(heats$out_s, t) - heats$in_s, 0)) / 60, 0)
  other <- which(abs(done - time_min) > pmax(1, 0.25 * time_min))
  if (length(other)) {
    abort("range", paste0("a reading of ", format(time_min[other[1L]]),
                          " min stands at a log time by which the ",
                          "specimen", named_history(h, k), " had been in the furnace for ",
                          format_quantity(done[other[1L]], 2L), " min"), arg = "log_time",
                          rows = rows[other],
          remedy = "Correct the log time or the accumulated time; find_steps() shows the steps of the log.")
  }
}

# Log time in s of accumulated times in history k: after the cooling of the step where the
# accumulated furnace time is logged, else counted from the start of the log. NA beyond its end. `off`: by
# how many min the step ends at another time than the reading says.
log_of_time <- function(h, span, k, time_min, step = NULL) {
  if (is.null(h$furnace_min)) return(list(at = span$start[k] + 60 * time_min, off = 0))
  rows <- rows_of_history(h, k)
  furnace <- h$furnace_min[rows]
  clock <- h$points$time_s[rows]
  if (is.unsorted(furnace)) {
    abort("range", "column `furnace_min` of the history must not fall within a specimen",
          arg = "furnace_min", remedy = "It counts the time in the furnace, accumulated.")
  }
  slack <- 1e-9 * max(furnace, 1)
  last <- findInterval(time_min + slack, furnace)
  ends <- step_ends(furnace)
  at <- rep(NA_real_, length(time_min))
  off <- numeric(length(time_min))
  on <- which(last > 0L & abs(furnace[pmax(last, 1L)] - time_min) <= slack)
  # a logged point may stand at the time of a reading by chance
  if (length(ends)) on <- on[furnace[last[on]] %in% furnace[ends]]
  at[on] <- clock[last[on]]
  # where most times are those of steps to the last digit, the history was made from the times of the readings
  made <- length(unique(time_min[on])) >= length(unique(time_min)) / 2
  near <- if (made) rep(NA_integer_, length(at)) else {
    near_step_end(furnace[ends], h$step[rows][ends], time_min, step)
  }
  use <- which(!is.na(near))
  at[use] <- clock[ends[near[use]]]
  off[use] <- abs(furnace[ends[near[use]]] - time_min[use])
  between <- setdiff(which(last > 0L & last < length(rows)), c(on, use))
  i <- last[between]
  share <- (time_min[between] - furnace[i]) / (furnace[i + 1L] - furnace[i])
  at[between] <- clock[i] + share * (clock[i + 1L] - clock[i])
  list(at = at, off = off)
}

# Last rows of the pauses in which the accumulated time stands still.
step_ends <- function(furnace) {
  n <- length(furnace)
  ends <- unique(furnace[which(furnace[-1L] == furnace[-n])])
  n + 1L - match(ends[ends > 0], rev(furnace))
}

# Which of the steps, that end at `ends` min, ends nearest to each time: within a quarter of its own length
# and of the next one's; or, by its number where both tables have it, within a quarter of the accumulated
# time. NA: none.
near_step_end <- function(ends, number, time_min, step) {
  if (!length(ends)) return(rep(NA_integer_, length(time_min)))
  own <- diff(c(0, ends))
  reach <- pmin(own, c(own[-1L], Inf)) / 4
  k <- vapply(time_min, \(t) which.min(abs(ends - t)), 0L)
  out <- ifelse(abs(ends[k] - time_min) <= reach[k], k, NA_integer_)
  open <- which(is.na(out))
  if (length(open) && is.numeric(step) && is.numeric(number)) {
    by <- match(step[open], number)
    ok <- !is.na(by) & abs(ends[by] - time_min[open]) <= 0.25 * time_min[open]
    out[open[ok]] <- by[ok]
  }
  out
}
