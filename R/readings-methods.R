# Methods of the class softanneal_readings: a data frame that shows itself on one screen.

#' Look at a table of readings
#'
#' `print()` shows on one screen what a table of readings holds; `as.data.frame()` drops the
#' class and leaves a plain data frame. Subsetting by base or dplyr keeps the class; once a
#' standard column is gone the table prints as an ordinary one.
#'
#' @param x A table from [read_readings()].
#' @param n Number of rows shown.
#' @param row.names,optional As in [base::as.data.frame()].
#' @param ... Passed on by `as.data.frame()`; ignored by `print()`.
#' @return `print()`: `x`, invisibly. `as.data.frame()`: a data frame.
#' @seealso [read_readings()], [check_readings()], [summarise_readings()]
#' @examples
#' r <- read_readings(data.frame(specimen = "A", temp_c = 330, time_min = c(0, 4, 8),
#'                               hardness = c(92, 88.5, 80), scale = "HRF"))
#' r
#' as.data.frame(r[r$time_min > 0, ])
#' @export
print.softanneal_readings <- function(x, ..., n = 6L) {
  if (!all(READINGS_NEEDED %in% names(x))) {
    print(as.data.frame(x), ...)
    return(invisible(x))
  }
  line <- function(label, text) cat(format(label, width = 13L), text, "\n", sep = "")
  cat("Hardness readings: ", count(nrow(x), "reading"), ", ",
      count(length(unique(x$specimen)), "specimen"), "\n", sep = "")
  if (nrow(x)) {
    line("specimens", listed(unique(as.character(x$specimen))))
    line("temperatures", in_degrees(listed(sort(unique(x$temp_c)))))
    line("times", paste(listed(sort(unique(x$time_min))), "min"))
    line("scales", listed(unique(as.character(x$scale))))
    if (any(!is.na(x$hardness))) {
      line("hardness", paste(format(range(x$hardness, na.rm = TRUE)), collapse = " to "))
    }
    if (anyNA(x$hardness)) line("missing", paste(count(sum(is.na(x$hardness)), "reading"),
                                                 "without hardness"))
    # the standard columns; others can be as wide as a sentence, and are only named
    standard <- intersect(c("specimen", "temp_c", "step", "time_min", "reading", "hardness", "scale",
                            "group", "operator"), names(x))
    shown <- utils::head(as.data.frame(x)[standard], n)
    print(shown, row.names = FALSE)
    more <- c(if (nrow(x) > nrow(shown)) count(nrow(x) - nrow(shown), "more row"),
              if (length(standard) < ncol(x)) paste("columns", listed(setdiff(names(x), standard))))
    if (length(more)) cat("... and ", paste(more, collapse = "; "), "\n", sep = "")
  }
  invisible(x)
}

#' @rdname print.softanneal_readings
#' @export
as.data.frame.softanneal_readings <- function(x, row.names = NULL, optional = FALSE, ...) {
  out <- plain_frame(x)
  if (!is.null(row.names)) attr(out, "row.names") <- row.names
  out
}
