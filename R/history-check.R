# What is wrong with a furnace log: numbers that only stand for a fault, spikes, rates no piece can have,
# gaps.

# Numbers that loggers and controllers write for a sensor that is open, short or out of range (common
# practice, no source).
FAULT_CODES <- c(0, 999, 999.9, 1372, 1999, 3276.7, 6553.5, 9999, 9999.9, 32767, 32768, 65535)

#' Check a temperature history
#'
#' Looks for what a logger writes when something is wrong, before the log is taken for the temperature of a
#' specimen. The log stays as it is.
#'
#' | check | what | level |
#' |---|---|---|
#' | `code` | a number that stands for a fault (9999, 999.9, 32767, 0 and the like, or its negative), more than 100 degrees Celsius from its neighbours | error |
#' | `spike` | up to three points above both neighbours by more than 10 degrees Celsius and the scatter of the log, in a hot piece or within 15 s; or below, there or back faster than a piece can | error |
#' | `dip` | up to three points more than 50 degrees Celsius below both neighbours: a loose contact, or a door | warning |
#' | `rate` | a change faster than a piece can; or a jump between two levels within one interval of 15 s at most, without the tail of heating or cooling (but for a quench) | warning |
#' | `gap` | no point for more than three usual intervals and a minute, with a hot piece before or after | warning |
#' | `kelvin` | the log begins and ends near 293 and gets hotter by 60 at least | warning |
#' | `order` | time falls | error |
#' | `dip`, `short` | smaller dips; one to three hot points in a cold log, slower than a spike | note |
#' | `same time` | several points at one time | note |
#' | `still` | the same number for 20 points and 10 min or more while the log otherwise scatters | note |
#'
#' A gap is bridged by a straight line in all computations; where the furnace was opened meanwhile that is
#' wrong by what it lost. The limits of the rates are for sheet of 0.5 mm or more on a block or in air;
#' thin foil can be faster. Spikes and codes are left out by `log[-unlist(found$rows[found$level ==
#' "error"]), ]`.
#'
#' @param history A temperature history, as from [read_history()].
#' @param heating_c_s,cooling_c_s Fastest rise and fall that a piece can have, in degrees Celsius per
#'   second.
#' @param specimen,time,temp Columns (bare or quoted) of specimen, time in s and temperature in degrees
#'   Celsius.
#' @param ... Must be empty.
#' @return A table of class `softanneal_findings` as from [check_readings()], one row per specimen and kind
#'   of finding, most serious first: `level`, `check`, `row`, `n`, `what`, `why`, `remedy`, for logs from
#'   files `where` (rows of the file), and `rows`.
#' @section Errors: `softanneal_error_column`, `softanneal_error_missing`, `softanneal_error_range`,
#'   `softanneal_error_argument`.
#' @source Rates: a sheet of 0.95 mm on a block at 410 degrees Celsius starts with 25 degrees Celsius per
#'   second by [heat_up()]; the limits are twice and four times that (a judgement). Codes: common practice,
#'   no source.
#' @section Safety: `r CAUTION_DEFERENCE`
#' @seealso [read_history()], [find_steps()], [plot_furnace_log()]
#' @examples
#' log <- data.frame(specimen = "B330", time_s = seq(0, 1200, 10), temp_c = 330)
#' log$temp_c[c(40, 80)] <- c(9999, 380)
#' check_history(log[-(100:108), ])
#' @export
check_history <- function(history, heating_c_s = 50, cooling_c_s = 100, ..., specimen = specimen,
                          time = time_s,
                          temp = temp_c) {
  check_dots_empty(...)
  if (inherits(history, "softanneal_heat")) history <- history$history
  check_data(history, "history")
  heating_c_s <- check_number(heating_c_s, "heating_c_s", 0, open = TRUE)
  cooling_c_s <- check_number(cooling_c_s, "cooling_c_s", 0, open = TRUE)
  specimen <- column_name(rlang::enquo(specimen))
  s <- numeric_column(history, column_name(rlang::enquo(time)), "history", "s")
  temp_c <- numeric_column(history, column_name(rlang::enquo(temp)), "history", "degree_C")
  name <- if (specimen %in% names(history) || specimen != "specimen") {
    check_names(any_column(history, specimen, "history"), specimen)
  } else rep("", length(s))
  found <- list()
  for (one in unique(name)) {
    rows <- which(name %in% one)
    who <- if (is.na(one) || nzchar(one)) paste0(one, ": ") else ""
    found <- c(found, log_findings(s[rows], temp_c[rows], rows, who, heating_c_s, cooling_c_s))
  }
  findings_table(found, if (is.numeric(history[["sheet_row"]])) list(sheet_row = history[["sheet_row"]]))
}

log_findings <- function(s, temp_c, rows, who, heating, cooling) {
  n <- length(s)
  fall <- which(diff(s) < 0) + 1L
  if (length(fall)) {
    return(finding("error", "order", rows[fall], paste0(who, "the time falls"), "differences of times",
                   "Put the rows in order, or correct the clock; the other checks need it."))
  }
  code <- fault_points(temp_c)
  rest <- setdiff(seq_len(n), code)
  kind <- spike_points(s[rest], temp_c[rest], heating, cooling)
  kept <- rest[!kind %in% c("spike", "dip")]
  fast <- kept[fast_points(s[kept], temp_c[kept], heating, cooling)]
  gap <- kept[gap_points(s[kept], temp_c[kept])]
  same <- which(diff(s) == 0) + 1L
  still <- still_points(s, temp_c)
  at <- function(k) paste0(format(temp_c[k[1L]], digits = 5), " degrees Celsius at ", format(s[k[1L]]),
                           " s")
  of <- function(word) rest[kind == word]
  c(finding("error", "code", rows[code], paste0(who, "a number that stands for a fault (", at(code), ")"),
            "known codes far from their neighbours",
            "Leave these points out: the line between the others bridges them."),
    finding("error", "spike", rows[of("spike")], paste0(who, "a spike (", at(of("spike")), ")"),
            "up to three points, there and back",
            "Leave these points out, after a look at the thermocouple."),
    finding("warning", "dip", rows[of("dip")], paste0(who, "a short dip (", at(of("dip")), ")"),
            "up to three points, there and back",
            "A loose contact, or a door that was opened: leave the points out in the first case."),
    finding("warning", "rate", rows[fast], paste0(who, "a change faster than a piece can have (to ",
                                                  at(fast), ")"),
            paste0("more than ", format(heating), " degrees Celsius per second up, ", format(cooling),
                   " down, or a jump without a tail"),
                   "Ask whether the thermocouple sat on the specimen, or was moved."),
    finding("warning", "gap", rows[gap], paste0(who, "a gap before ", at(gap)),
            "more than three usual intervals and a minute",
            "A straight line is taken over the gap; find out what the furnace did."),
    finding("warning", "kelvin", rows[like_kelvin(temp_c[kept])],
            paste0(who, "temperatures that begin and end near 293"),
            "a room in kelvin", "Convert them, or write K into the header of the log."),
    finding("note", "dip", rows[of("small dip")], paste0(who, "a small dip (", at(of("small dip")), ")"),
            "up to three points, there and back",
            "Probably a door that was opened: it belongs to the history."),
    finding("note", "short", rows[of("short")], paste0(who, "one to three hot points (", at(of("short")),
                                                       ")"),
            "there and back", "A short step, or a spike: compare with the sheet."),
    finding("note", "same time", rows[same], paste0(who, "several points at one time"), "equal times",
            "Taken as a jump; right for a history of steps, a double entry in a log."),
    finding("note", "still", rows[still], paste0(who, "the same number again and again (", at(still), ")"),
            "20 points and 10 min alike while the log otherwise scatters",
            "Look whether the logger had stopped."))
}

fault_points <- function(temp_c) {
  code <- which(abs(temp_c) %in% FAULT_CODES | temp_c <= -ZERO_CELSIUS)
  if (!length(code)) return(integer())
  place <- setdiff(seq_along(temp_c), code)
  if (!length(place)) return(code)
  near <- temp_c[place[pmax(findInterval(code, place), 1L)]]
  after <- temp_c[place[pmin(findInterval(code, place) + 1L, length(place))]]
  code[pmin(abs(temp_c[code] - near), abs(temp_c[code] - after)) > 100 | temp_c[code] <= -ZERO_CELSIUS]
}

# Runs of up to three points that the log leaves and comes back from: "spike", "dip", "small dip", "short";
# "" elsewhere. The base is the level it comes back to.
spike_points <- function(s, temp_c, heating, cooling) {
  n <- length(s)
  out <- character(n)
  least <- max(10, 12 * stats::median(abs(diff(temp_c))), na.rm = TRUE)
  high <- if (n > 0L) 0.9 * stats::quantile(temp_c, 0.95, names = FALSE)
  for (width in 1:3) {
    if (n < width + 2L) next
    first <- seq(2L, n - width)
    last <- first + width - 1L
    up <- temp_c[first] - temp_c[first - 1L]
    back <- temp_c[last + 1L] - temp_c[last]
    size <- pmin(abs(up), abs(back))
    base <- pmax(temp_c[first - 1L], temp_c[last + 1L])
    span <- s[last + 1L] - s[first - 1L]
    there <- up * back < 0 & abs(temp_c[last + 1L] - temp_c[first - 1L]) < 0.3 * size & size > least &
      span > 0
    # the peak of a short step has slopes on both sides, a spike stands on a level
    slope <- pmax(abs(temp_c[first - 1L] - temp_c[pmax(first - 2L, 1L)]),
                  abs(temp_c[pmin(last + 2L, n)] - temp_c[last + 1L]))
    there <- there & (slope < 0.3 * size | up < 0)
    on_hot <- base > 100 & (base >= 0.7 * temp_c[first] | base >= high)
    fast <- pmax(up, back) > heating * ifelse(up > 0, s[first] - s[first - 1L], s[last + 1L] - s[last]) |
      pmin(up, back) < -cooling * ifelse(up < 0, s[first] - s[first - 1L], s[last + 1L] - s[last])
    kind <- ifelse(up > 0, ifelse(on_hot | span <= 15 | fast, "spike", "short"),
                   ifelse(fast, "spike", ifelse(size > 50, "dip", "small dip")))
    for (k in which(there)) {
      around <- seq(first[k] - 1L, last[k] + 1L)
      if (all(out[around] == "")) out[seq(first[k], last[k])] <- kind[k]
    }
  }
  out
}

# Points reached faster than a piece can, or by a jump whose level stays from the next point on.
fast_points <- function(s, temp_c, heating, cooling) {
  n <- length(s)
  if (n < 2L) return(integer())
  step <- diff(s)
  rise <- diff(temp_c)
  fast <- step > 0 & (rise > heating * step | (-rise > cooling * step & temp_c[-1L] > 100))
  if (n >= 6L) {
    least <- max(30, 12 * stats::median(abs(rise)))
    k <- seq(3L, n - 3L)
    around <- pmax(abs(rise[k - 2L]), abs(rise[k - 1L]), abs(rise[k + 1L]), abs(rise[k + 2L]))
    jump <- step[k] > 0 & step[k] <= 15 & abs(rise[k]) > least & around < 0.03 * abs(rise[k]) &
      temp_c[k + 1L] > 100
    fast[k] <- fast[k] | jump
  }
  which(fast) + 1L
}

# Points after a gap, hot before or after it, in a log that has a usual interval.
gap_points <- function(s, temp_c) {
  step <- diff(s)
  usual <- stats::median(step[step > 0])
  # a history that was thinned has none
  if (length(s) < 3L || is.na(usual) || mean(step > 0.5 * usual & step < 2 *
                                             usual) <= 0.8) return(integer())
  hot <- pmax(temp_c[-length(temp_c)], temp_c[-1L]) > max(min(temp_c) + 50, max(temp_c) - 150)
  hot <- hot | max(temp_c) - min(temp_c) < 50
  which(step > max(3.5 * usual, 60) & hot) + 1L
}

like_kelvin <- function(temp_c) {
  n <- length(temp_c)
  if (n < 3L || !is.finite(min(temp_c)) || min(temp_c) < 285 || max(temp_c) - min(temp_c) <
      60) return(integer())
  if (max(temp_c[c(1L, n)]) <= 310) seq_len(n) else integer()
}

still_points <- function(s, temp_c) {
  run <- rle(temp_c)
  if (stats::median(run$lengths) > 3) return(integer()) # a coarse display, or a made history
  end <- cumsum(run$lengths)
  start <- end - run$lengths + 1L
  as.integer(start[run$lengths >= 20L & s[end] - s[start] >= 600])
}
