# Methods of heat_up() and cool_down() results: print, table, plot.

#' @param x A result of `heat_up()` or `cool_down()`.
#' @param row.names,optional,... Ignored.
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
  sprintf("%s: %s mm, %s to within %s of %s in %s%s; time constant %.0f s, Biot %.2g",
          s$specimen, vapply(s$thickness_mm, format, ""), vapply(s$start_c, format, "", digits = 4),
          vapply(s$tolerance_c, format, ""), in_degrees(vapply(s$target_c, format, "", digits = 4)),
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
    "In parentheses: range over what is not known about air, block or surface. ",
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
  plot_history(object$history, target_c = if (one) targets, tolerance_c = if (one) bands) +
    ggplot2::labs(title = "Temperature of the specimen")
}

#' @rdname heat_up
#' @export
plot.softanneal_heat <- draw_picture

biot_number <- function(pieces, thickness_mm, hottest_c, support, alloy) {
  h_a <- surface_coefficient(pieces[, "h_a"], pieces[, "emissivity_a"], hottest_c)
  h_b <- surface_coefficient(pieces[, "h_b"], pieces[, "emissivity_b"], hottest_c)
  reach <- if (support == "block") thickness_mm / 1000 else
    1 / (pieces[, "area_a"] + pieces[, "area_b"])
  unname(pmax(h_a, h_b) * reach / alloy$conductivity_w_mk)
}

time_constant <- function(pieces, target_c, alloy) {
  heat <- alloy$heat_j_kgk + alloy$heat_slope_j_kgk2 * (target_c - alloy$heat_at_c)
  loss <- pieces[, "area_a"] *
    surface_coefficient(pieces[, "h_a"], pieces[, "emissivity_a"], target_c) +
    pieces[, "area_b"] * surface_coefficient(pieces[, "h_b"], pieces[, "emissivity_b"], target_c)
  unname(alloy$density_kg_m3 * heat / loss)
}

tell_assumptions <- function(summary) {
  thick <- which(summary$biot > 0.1)
  if (length(thick)) {
    warn("assumption", paste0(
      "The Biot number is above 0.1 for ", length(thick), " of ", nrow(summary), " specimens (",
      in_rows(thick), "; largest ", format(max(summary$biot), digits = 2), "): the inside lags ",
      "behind the surface, and the time is too short."), n = length(thick), rows = thick)
  }
}

# The history of `after`, then `history` with its times put behind it; per specimen in order.
join_histories <- function(after, history) {
  if (is.null(after)) return(history)
  parts <- lapply(unique(history$specimen), \(one) {
    before <- after$history[after$history$specimen == one, , drop = FALSE]
    then <- history[history$specimen == one, , drop = FALSE][-1L, , drop = FALSE]
    then$time_s <- then$time_s + before$time_s[nrow(before)]
    rbind(before, then)
  })
  out <- do.call(rbind, parts)
  rownames(out) <- NULL
  out
}
