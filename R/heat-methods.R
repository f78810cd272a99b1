# Methods of heat_up() and cool_down() results: print, table, picture.

#' @param x A result of `heat_up()` or `cool_down()`.
#' @param row.names,optional,... Not used.
#' @rdname heat_up
#' @export
as.data.frame.softanneal_heat <- function(x, row.names = NULL, optional = FALSE, ...) x$history

#' @rdname heat_up
#' @export
format.softanneal_heat <- function(x, ...) {
  s <- x$summary
  minutes <- \(t) ifelse(is.na(t), "never", ifelse(t < 1, sprintf("%.0f s", 60 * t),
                                                   sprintf("%.1f min", t)))
  spread <- ifelse(is.na(s$time_low_min) | is.na(s$time_high_min) |
                     s$time_high_min - s$time_low_min < 1e-9 * s$time_high_min, "",
                   paste0(" (", minutes(s$time_low_min), " to ", minutes(s$time_high_min), ")"))
  sprintf("%s: %s mm, %s to within %s of %s deg C in %s%s; time constant %.0f s, Biot %.2g",
          s$specimen, vapply(s$thickness_mm, format, ""), vapply(s$start_c, format, "", digits = 4),
          vapply(s$tolerance_c, format, ""), vapply(s$target_c, format, "", digits = 4),
          minutes(s$time_min), spread, s$time_constant_s, s$biot)
}

#' @rdname heat_up
#' @export
print.softanneal_heat <- function(x, ...) {
  cat(if (x$cooling) "Cooling down" else "Heating up", " of ", x$alloy$material, ", ",
      if (x$support == "block") "flat on a steel block" else "all faces free",
      " (lumped capacitance)\n", sep = "")
  lines <- format(x)
  for (line in utils::head(lines, 12L)) writeLines(strwrap(line, exdent = 4, indent = 2))
  if (length(lines) > 12L) cat("  and ", length(lines) - 12L, " more\n", sep = "")
  writeLines(strwrap(paste0(
    "In brackets: range over what is not known about air, block or surface. ",
    CAUTION_LINE)))
  invisible(x)
}

#' @param object A result of `heat_up()` or `cool_down()`.
#' @rdname heat_up
#' @method autoplot softanneal_heat
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_heat)
autoplot.softanneal_heat <- function(object, ...) {
  check_dots_empty(...)
  targets <- unique(object$summary$target_c)
  bands <- unique(object$summary$tolerance_c)
  one <- length(targets) == 1L && length(bands) == 1L
  plot_history(object$history, target_c = if (one) targets, tolerance_c = if (one) bands)
}

#' @rdname heat_up
#' @export
plot.softanneal_heat <- draw_picture
