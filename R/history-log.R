# The steps in a furnace log: when each specimen went in, was at temperature and came out, and the time in
# the furnace that adds up from it.

#' Steps in a furnace log
#'
#' `find_steps()` looks through the thermocouple log of each specimen for the steps of the anneal: when the
#' specimen went into the furnace, when it was at temperature, and when it came out, with the time in the
#' furnace so far. `add_steps()` writes a table of steps, as found or corrected by hand, into the log, so
#' that [fit_softening()] joins each reading to the end of its step.
#'
#' A step begins where the temperature leaves the level before it and ends where it begins to fall for
#' good; between points of the log both moments are extrapolated from the exponential approach. A specimen
#' counts as hot above a fifth of the way from its coldest to its hottest point, and as cold again below an
#' eighth; a pause that does not get there does not divide a step. Codes, spikes and short dips, as by
#' [check_history()], are left aside. What is found is to be confirmed: look at the plot, compare with the
#' sheet, and correct `in_s` and `out_s` or leave out rows where needed.
#'
#' @param history A temperature history with cold points between the steps, as from [read_history()].
#' @param tolerance_c A specimen is at temperature from its first point within so many degrees Celsius of
#'   the level of the step.
#' @param ... Must be empty.
#' @return `find_steps()`: a data frame, one row per step: `specimen`, `step` (number), `in_s`, `at_s` (at
#'   temperature), `out_s` (s, on the clock of the log), `temp_c` (level in degrees Celsius: median of the
#'   second half of the step), `step_min` (time in the furnace), `time_min` (accumulated), `hold_min` (at
#'   temperature), `note` (what to look at: `"begins hot"`, `"ends hot"`, `"short"`).
#'
#'   `add_steps()`: the history with the columns `step` (0 up to the first) and `furnace_min` (accumulated
#'   time in the furnace in min).
#' @section Errors: `softanneal_error_too_few` where a specimen has no step, as in the log of a furnace
#'   that stays hot; `softanneal_error_range` for steps that overlap, are not within the log, or have no
#'   point of the log between them; `softanneal_error_missing`, `softanneal_error_column`.
#' @section Safety: `r CAUTION_LINE`
#' @seealso [read_history()], [plot_history()], [softening-history]
#' @examples
#' plan <- data.frame(specimen = "B330", temp_c = 330, time_min = c(4, 8, 16))
#' log <- anneal_history(plan, thickness_mm = 0.95)[c("specimen", "time_s", "temp_c")]
#' steps <- find_steps(log)
#' steps
#' plot_history(log, steps = steps)
#' tail(add_steps(log, steps), 2)
#' @export
find_steps <- function(history, tolerance_c = 5, ...) {
  check_dots_empty(...)
  tolerance_c <- check_number(tolerance_c, "tolerance_c", 0, open = TRUE)
  h <- history_points(history)
  first <- h$points$first
  found <- lapply(seq_len(length(first) - 1L), function(k) {
    rows <- seq.int(first[k] + 1L, length.out = first[k + 1L] - first[k])
    heats <- log_heats(h$points$time_s[rows], h$points$temp_c[rows], tolerance_c)
    name <- if (is.null(h$specimen)) "" else as.character(h$specimen[k])
    if (is.null(heats)) {
      abort("too_few", paste0("no step is found in the log", if (nzchar(name)) paste0(" of '", name, "'")),
            arg = "history",
            remedy = paste("A step is a rise from the cold and a fall back; the log of a furnace that stays",
                           "hot has none: log the specimen, or build its history by anneal_history()."))
    }
    data.frame(specimen = if (nzchar(name)) rep(name, nrow(heats)) else rep("piece", nrow(heats)), heats)
  })
  do.call(rbind, found)
}

# The heats of one log, as find_steps() gives them without specimen; NULL for none.
log_heats <- function(s, temp_c, tolerance_c = 5) {
  code <- fault_points(temp_c)
  rest <- setdiff(seq_along(s), code)
  kind <- spike_points(s[rest], temp_c[rest], 50, 100)
  rest <- rest[kind == "" | kind == "short" | kind == "small dip"]
  s <- s[rest]
  temp_c <- temp_c[rest]
  n <- length(s)
  if (n < 2L) return(NULL)
  cold <- min(temp_c)
  wide <- max(temp_c) - cold
  if (wide < 50) return(NULL)
  # between the two limits a specimen stays what it was, so that scatter does not divide a step
  state <- ifelse(temp_c > cold + 0.2 * wide, 1, ifelse(temp_c < cold + 0.12 * wide, 0, NA))
  if (is.na(state[1L])) state[1L] <- 0
  warm <- rle(state[cummax(ifelse(is.na(state), 0L, seq_len(n)))] == 1)
  end <- cumsum(warm$lengths)
  run <- which(warm$values)
  a <- (end - warm$lengths + 1L)[run]
  b <- end[run]
  out <- do.call(rbind, lapply(seq_along(run), function(k) {
    one_heat(s, temp_c, a[k], b[k], if (k > 1L) b[k - 1L] else 1L, if (k < length(run)) a[k + 1L] else n,
             wide,
             tolerance_c)
  }))
  # a log tells no more, and the table stays narrow
  moments <- c("in_s", "at_s", "out_s")
  out[moments] <- lapply(out[moments], \(x) pmin(pmax(round(x, 1L), s[1L]), s[n]))
  out$step_min <- round((out$out_s - out$in_s) / 60, 2L)
  out$time_min <- round(cumsum(out$out_s - out$in_s) / 60, 2L)
  out$hold_min <- round((out$out_s - out$at_s) / 60, 2L)
  out$note[out$step_min < 0.5 & out$note == ""] <- "short"
  data.frame(step = seq_along(run), out[c("in_s", "at_s", "out_s", "temp_c", "step_min", "time_min",
                                          "hold_min",
                                          "note")])
}

# One run a:b of warm points, with cold points from `before` and up to `after`.
one_heat <- function(s, temp_c, a, b, before, after, wide, tolerance_c) {
  slack <- max(3, 0.02 * wide)
  # out: the last point that nothing within the minute before it exceeds
  usual <- stats::median(diff(s))
  window <- max(60, 3 * usual)
  run <- seq(a, b)
  high <- vapply(run, \(j) max(temp_c[run[s[run] >= s[j] - window & run <= j]]), 0)
  half <- temp_c[run] >= (max(temp_c[run]) + min(temp_c)) / 2
  j <- max(run[temp_c[run] >= high - slack & half])
  begins <- a == 1L
  i <- if (begins) 1L else {
    low <- seq(before, a - 1L)
    low <- low[temp_c[low] <= min(temp_c[low]) + slack]
    max(low)
  }
  level <- round(stats::median(temp_c[seq(i, j)][s[i:j] >= (s[i] + s[j]) / 2]), 1L)
  from <- if (begins) s[1L] else edge_time(s, temp_c, i, i + 1:2, level)
  to <- if (j == length(s)) s[j] else {
    base <- min(temp_c[seq(j, after)])
    edge_time(s, temp_c, j, j + 1:2, base)
  }
  reached <- seq(i, j)[temp_c[i:j] >= level - tolerance_c][1L]
  at <- s[reached]
  if (reached > i && temp_c[reached] > temp_c[reached - 1L]) {
    share <- (level - tolerance_c - temp_c[reached - 1L]) / (temp_c[reached] - temp_c[reached - 1L])
    at <- s[reached - 1L] + max(share, 0) * (s[reached] - s[reached - 1L])
  }
  data.frame(in_s = from, at_s = min(max(at, from), to), out_s = to, temp_c = level,
             note = paste(c(if (begins) "begins hot", if (j == length(s)) "ends hot"), collapse = ", "))
}

# Time between points k and next[1] at which an exponential approach to `goal`, through the two next points,
# leaves the temperature of k.
edge_time <- function(s, temp_c, k, nxt, goal) {
  nxt <- nxt[nxt <= length(s)]
  far <- (goal - temp_c[nxt]) / (goal - temp_c[k])
  first <- s[nxt[1L]]
  if (length(nxt) < 2L || !all(is.finite(far)) || any(far <= 0.02) || far[2L] >= far[1L] || far[1L] >= 1) {
    # one point tells no rate: half of the interval
    at <- if (is.finite(far[1L]) && far[1L] >= 1) first else (s[k] + first) / 2
    return(at)
  }
  tau <- (s[nxt[2L]] - first) / log(far[1L] / far[2L])
  max(s[k], min(first, first + tau * log(far[1L])))
}

#' @rdname find_steps
#' @param steps Table of steps with the columns `specimen`, `in_s` and `out_s`, as from `find_steps()`.
#' @export
add_steps <- function(history, steps) {
  h <- history_points(history)
  check_data(steps, "steps")
  from <- numeric_column(steps, "in_s", "steps", "s")
  to <- numeric_column(steps, "out_s", "steps", "s")
  name <- rep("", length(from))
  if (!is.null(h$specimen)) name <- as.character(any_column(steps, "specimen", "steps"))
  refuse <- function(message, rows, remedy) abort("range", message, arg = "steps", rows = rows,
                                                  remedy = remedy)
  if (any(to <= from)) refuse("a step ends before it begins", which(to <= from),
                              "Correct `in_s` and `out_s`.")
  pieces <- if (is.null(h$specimen)) "" else as.character(h$specimen)
  if (!all(name %in% pieces)) {
    abort("missing", paste0("`history` holds no log of specimen '", name[!name %in% pieces][1L], "'"),
          arg = "steps",
          rows = which(!name %in% pieces), remedy = "Leave these steps out, or correct the name.")
  }
  first <- h$points$first
  number <- minutes <- numeric(h$n)
  for (k in seq_along(pieces)) {
    rows <- seq.int(first[k] + 1L, length.out = first[k + 1L] - first[k])
    s <- h$points$time_s[rows]
    own <- which(name == pieces[k])
    if (!length(own)) {
      abort("too_few", paste0("`steps` has no step of specimen '", pieces[k], "'"), arg = "steps",
            remedy = "Add its steps, or leave its log out.")
    }
    own <- own[order(from[own])]
    if (any(from[own][-1L] < to[own][-length(own)])) {
      refuse("steps overlap", own[-1L][from[own][-1L] < to[own][-length(own)]],
             "Correct `in_s` and `out_s`.")
    }
    if (from[own[1L]] < s[1L] || max(to[own]) > s[length(s)]) {
      refuse("a step is not within the log of its specimen", own[from[own] < s[1L] | to[own] >
                                                                 s[length(s)]],
             "Steps are on the clock of the log, in s.")
    }
    last <- c(from[own][-1L], Inf)
    bare <- own[!vapply(seq_along(own), \(i) any(s >= to[own[i]] & s <= last[i]), NA)]
    if (length(bare)) {
      refuse("the log has no point between a step and the next", bare,
             "Make one step of the two, or correct the times.")
    }
    sum_min <- cumsum(to[own] - from[own]) / 60
    knots <- as.double(rbind(from[own], to[own]))
    minutes[rows] <- stats::approx(knots, as.double(rbind(c(0, sum_min[-length(own)]), sum_min)), s,
                                   rule = 2)$y
    number[rows] <- findInterval(s, from[own], left.open = TRUE)
  }
  back <- if (is.null(h$order)) seq_len(h$n) else order(h$order)
  if (inherits(history, "softanneal_heat")) history <- history$history
  history$step <- number[back]
  history$furnace_min <- minutes[back]
  history
}
