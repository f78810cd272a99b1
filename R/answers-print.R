# Tables of answers on the console: numbers by three digits, units in the heads, the interval in one column,
# what a standard error is of, and notes in full. The table itself is a data frame and holds all digits.

# Most rows printed.
ROWS_PRINTED <- 20L

# The class of the tables of time_to() and temp_for(), with the level of their intervals.
as_answers <- function(x, level) {
  x <- as_table(x)
  attr(x, "level") <- level
  class(x) <- c("softanneal_answers", class(x))
  x
}

#' @export
format.softanneal_answers <- function(x, ...) {
  paste0("<", count(nrow(x), "answer"), ": ", paste(names(x), collapse = ", "), ">")
}

#' @export
print.softanneal_answers <- function(x, ...) {
  needed <- c("temp_c", "time_min", "std.error", "conf.low", "conf.high", "note")
  if (!all(needed %in% names(x)) || nrow(x) == 0L) { # some columns of it
    print(plain_frame(x), ...)
    return(invisible(x))
  }
  shown <- utils::head(plain_frame(x), ROWS_PRINTED)
  time <- match("temp_c", names(x)) < match("time_min", names(x))
  cells <- answer_cells_of(shown, time, attr(x, "level"))
  print_with_notes(cells, shown$note)
  if (nrow(x) > nrow(shown)) cat("... and ", count(nrow(x) - nrow(shown), "more row"), "\n", sep = "")
  of <- if (time) "ln t" else "the temperature"
  words <- paste0("Std. error: of ", of, if ("u_conversion" %in% names(x)) {
    "; u(conv): standard uncertainty of the conversion of the hardness, in the same unit"
  }, ".")
  cat(strwrap(words, 0.95 * getOption("width"), exdent = 2), sep = "\n")
  invisible(x)
}

# The cells of a table of answers as text, one column each, by their heads.
answer_cells_of <- function(d, time, level) {
  target <- intersect(c("hardness", "softening", "fraction"), names(d))[1L]
  own <- c("temp_c", "time_min", target, "scale", "std.error", "u_conversion", "conf.low", "conf.high",
           "method", "note", "homologous")
  degrees <- if (time) format_quantity(d$temp_c, 4L) else answer_text(d$temp_c)
  if (!time) degrees <- ifelse(is.na(d$temp_c), "\u2013", format_by_error(d$temp_c, d$std.error))
  out <- list(degrees = degrees, min = if (time) answer_text(d$time_min) else format_quantity(d$time_min))
  names(out) <- c(degree_c(), "Time (min)")
  if (!time) out <- rev(out)
  if (!is.na(target)) {
    wanted <- list(if (target == "hardness" && !is.null(d$scale)) {
      paste(format_quantity(d$hardness, 4L), ifelse(d$scale == "as read", "", d$scale))
    } else format_quantity(d[[target]]))
    names(wanted) <- c(hardness = "Hardness", softening = "Softened", fraction = "Fraction")[[target]]
    out <- c(out[1L], wanted, out[2L])
  }
  others <- lapply(d[setdiff(names(d), own)], function(v) {
    if (is.numeric(v)) format_quantity(v) else as.character(v)
  })
  interval <- if (time) range_text(d$conf.low, d$conf.high) else {
    range_text(d$conf.low, d$conf.high, -Inf)
  }
  last <- list(interval, ifelse(is.na(d$std.error), "\u2013", format_quantity(d$std.error, 2L)))
  names(last) <- c(if (is.null(level)) "Interval" else paste0(format(100 * level), " % interval"), "Std. error")
  if (!is.null(d$u_conversion)) last[["u(conv)"]] <- format_quantity(d$u_conversion, 2L)
  if (!is.null(d$homologous)) last[["T/Tm"]] <- format_quantity(d$homologous, 2L)
  if (!is.null(d$method)) last$Method <- d$method
  c(others, out, last)
}
