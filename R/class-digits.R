# The digits a number was reported with, and which values it may have been rounded from. Text is
# taken as written; cells that hold numbers have lost the zeros behind their last digit, and count
# as written with the digits that are left.

# Fewest significant digits with which a number may be right by rounding. ISO 6507-1 reports
# Vickers hardness to three significant figures (value from memory); the rounding is then at most
# 0.5 % of the number.
LEAST_DIGITS <- 3L
# Beyond these digits a double holds noise of its conversion, as in 0.057400000000000001.
MOST_DIGITS <- 15L

# One row for each way of reading a number written as text: `unit` of its last digit, `digits`
# that are significant. Zeros at the end of a whole number may be digits or only hold the place.
# No row for zero and for what is not written in decimal digits.
digits_of <- function(text) {
  none <- data.frame(unit = numeric(), digits = integer())
  pattern <- "^[+-]?([0-9]*)([.]?)([0-9]*)(?:[eE]([+-]?[0-9]+))?$"
  part <- regmatches(text, regexec(pattern, text, perl = TRUE))[[1L]]
  if (is.na(text) || length(part) < 5L) return(none)
  written <- sub("^0+", "", paste0(part[2L], part[4L]))
  if (nchar(written) > MOST_DIGITS) {
    shorter <- format(as.numeric(text), digits = MOST_DIGITS)
    # a whole number of so many digits stays as long as it is
    if (nchar(shorter) < nchar(text)) return(digits_of(shorter))
  }
  if (!nzchar(written)) return(none)
  power <- (if (nzchar(part[5L])) as.numeric(part[5L]) else 0) - nchar(part[4L])
  zeros <- if (nzchar(part[3L])) 0L else nchar(sub("^.*?(0*)$", "\\1", written, perl = TRUE))
  held <- seq(0L, zeros)
  data.frame(unit = 10^(power + held), digits = nchar(written) - held)
}

# Whether `value` (unit of the key) rounds to the number reported, by a rounding that is not
# too coarse: three significant digits or more, or a unit of the last digit no larger than the
# standard error of the key. `change` takes reported numbers to the unit of the key.
# "right", "coarse" (only by a coarser rounding), or "no".
rounds_to <- function(value, number, ways, change, at) {
  if (is.na(value) || !nrow(ways)) return("no")
  reach <- vapply(ways$unit, function(unit) {
    ends <- change(number + c(-0.5, 0.5) * unit)
    if (anyNA(ends)) c(NA_real_, NA_real_) else range(ends)
  }, c(0, 0))
  slack <- 1e-9 * abs(value)
  hit <- !is.na(reach[1L, ]) & value >= reach[1L, ] - slack & value <= reach[2L, ] + slack
  if (!any(hit)) return("no")
  low <- reach[1L, hit]
  high <- reach[2L, hit]
  log <- at$quantity %in% c("k_per_min", "t50_min")
  # rates and times have errors of their logarithm; one that may have been zero has no width
  width <- if (!log) high - low else ifelse(low > 0, log(high / pmax(low, 1e-300)), Inf)
  if (any(ways$digits[hit] >= LEAST_DIGITS | width <= at$std.error)) "right" else "coarse"
}
