# Means, spread and intervals by step, for long tables: every step is vectorised
# over the groups (rowsum and one ordering), so that a million rows take seconds.
# Hardness in the scale read, and in HV where asked for. Sources: textbook t interval.

#' Summarise readings by specimen and step
#'
#' One row for each specimen, temperature, accumulated time and scale: number of readings,
#' mean, standard deviation, standard error, t interval of the mean and range, in the scale
#' read and, asked for, in HV.
#'
#' The interval is that of the readings of one step: mean +- t(n - 1) sd / sqrt(n). It includes
#' the scatter of the indentations, but not the furnace, the hardness tester or the specimen,
#' which all readings of a step share; [uncertainty_budget()] adds these. The step of the dial is the
#' floor: `std.error` is never below resolution / sqrt(12) (JCGM 100, F.2.2.1; the resolution is the step
#' that all readings of the scale have in common), and the interval then the normal one of that, so that
#' equal readings do not look exact. `sd` is that of the readings as they are.
#'
#' In HV each reading is converted first and the mean taken then, since conversion is not
#' linear. Readings outside the table are left out of the HV columns, and `n_hv` counts what
#' is left.
#'
#' @param data Table of readings, see [read_readings()].
#' @param hardness,specimen,temp,time,reading_scale Columns of hardness, specimen, temperature
#'   (degrees Celsius), accumulated time (min) and scale; bare or quoted.
#' @param by Names of further columns that divide the groups, e.g. `"group"`. `NULL`: those of
#'   `group`, `laboratory`, `operator`, `furnace`, `strip` and the columns of strain or reduction that
#'   vary within a step, reported by a message; `character()` pools them. A table grouped by
#'   `dplyr::group_by()` is summarised by its groups.
#' @param in_hv `TRUE` adds the columns in HV.
#' @param material Conversion table, see [convert_hardness()], or the column that names it; without it a
#'   column `material` counts, if there is one.
#' @param level Level of the interval.
#' @return A data frame of class `softanneal_steps` on top of the class of `data`, groups in
#'   order of first appearance: the key columns under their names, `n`, `n_missing` (no
#'   hardness), `mean`, `sd`, `std.error`, `conf.low`, `conf.high`, `min`, `max` in the scale read; with
#'   `in_hv` also `n_hv`, `mean_hv`, `sd_hv`, `std.error_hv`, `conf.low_hv`, `conf.high_hv`. One reading
#'   alone has no spread: `NA`, with one `softanneal_warning_too_few`. Missing hardness is counted
#'   and left out, with one `softanneal_warning_missing`.
#' @section Errors:
#'   `softanneal_error_column` for a missing or text column, `softanneal_error_missing` for
#'   infinite readings or a group without a name, `softanneal_error_too_few` for a table without
#'   rows, `softanneal_error_argument`.
#' @seealso [autoplot.softanneal_steps()], [find_outliers()]
#' @examples
#' r <- data.frame(specimen = "A", temp_c = 330, time_min = rep(c(4, 8), each = 5),
#'                 hardness = c(88, 88.5, 87.5, 88, 89, 80, 79.5, 81, 80.5, 80), scale = "HRF")
#' summarise_readings(r, in_hv = TRUE)
#' @export
summarise_readings <- function(data, hardness = hardness, specimen = specimen, temp = temp_c,
                               time = time_min, reading_scale = scale, by = NULL, in_hv = FALSE,
                               material = "brass", level = 0.95) {
  pick <- reading_columns(rlang::enquo(hardness), rlang::enquo(specimen), rlang::enquo(temp),
                          rlang::enquo(time), rlang::enquo(reading_scale))
  by <- keys_or_groups(rlang::enquo(by), data)
  check_data(data, limits = TRUE)
  check_flag(in_hv, "in_hv")
  check_level(level)
  metal <- material_of_rows(data, rlang::enquo(material), !missing(material))$name
  h <- numeric_column(data, pick$hardness, na = TRUE)
  keys <- step_keys(data, pick, by)
  if (is.null(by)) {
    by <- pooled_within(data, keys)
    if (length(by)) {
      say("groups", paste0("Summarised by ", in_quotes(by, " and "),
                           " too; `by = character()` pools them."))
      keys <- step_keys(data, pick, by)
    }
  }
  groups <- group_rows(keys)
  side <- limit_sides(data)
  if (!is.null(side)) { # a mean without its limits would lie too near the readings
    open <- unique(groups$id[side != 0L])
    h[groups$id %in% open] <- NA_real_
    warn("missing", paste0(count(length(open), "step"), " with limits (at least, at most) among the ",
                           "readings: no mean; fit_softening() uses them."), n = length(open))
  }
  out <- lapply(keys, `[`, groups$first)
  dial <- dial_uncertainty(h, keys[[pick$scale]])[groups$first]
  out <- c(out, group_statistics(h, groups$id, length(groups$first), level, "hardness", dial))
  if (in_hv) {
    hv <- convert_hardness(h, keys[[pick$scale]], "HV", metal)
    slope <- vickers_slope(out$mean, out[[pick$scale]], rep_len(metal, length(h))[groups$first])
    more <- group_statistics(hv, groups$id, length(groups$first), level, least = dial * slope)
    more <- more[c("n", "mean", "sd", "std.error", "conf.low", "conf.high")]
    names(more) <- paste0(names(more), "_hv")
    out <- c(out, more)
  }
  out <- structure(out, class = "data.frame", row.names = .set_row_names(length(groups$first)))
  steps_like(out, data, pick, level)
}

# HV per unit of the scale read, 0 outside the table.
vickers_slope <- function(x, scale, material) {
  out <- numeric(length(x))
  for (metal in unique(material)) {
    at <- material == metal
    v <- to_vickers(x[at], as.character(scale)[at], metal)
    out[at] <- ifelse(v$flag == 0L, abs(v$derivative), 0)
  }
  out
}

# The class of the input below softanneal_steps; the columns it was made of, for plots.
steps_like <- function(out, template, pick, level) {
  out <- readings_like(out, template)
  class_now <- c("softanneal_steps", setdiff(class(out), "softanneal_readings"))
  if (inherits(out, "data.table")) {
    data.table::setattr(out, "class", class_now)
    data.table::setattr(out, "columns", unlist(pick))
    data.table::setattr(out, "level", level)
  } else {
    class(out) <- class_now
    attr(out, "columns") <- unlist(pick)
    attr(out, "level") <- level
  }
  out
}

#' @rdname summarise_readings
#' @param x A table from `summarise_readings()`.
#' @param digits Significant digits of the standard deviation; means are shown to its last digit.
#' @param ... Ignored.
#' @param n Most rows to print.
#' @export
print.softanneal_steps <- function(x, digits = 2L, ..., n = 20L) {
  n <- check_number(n, "n", 1, whole = TRUE)
  key <- attr(x, "columns")
  if (is.null(key) || !all(c("n", "mean", "sd", "conf.low", "conf.high") %in% names(x))) {
    print(plain_frame(x), ...)
    return(invisible(x))
  }
  shown <- plain_frame(x)
  numbers <- grep("^(mean|sd|std\\.error|conf\\.low|conf\\.high|min|max)(_hv)?$", names(shown), value = TRUE)
  spread <- suppressWarnings(min(x$sd[x$sd > 0], na.rm = TRUE))
  places <- if (is.finite(spread)) max(0, digits - 1 - floor(log10(spread))) else 2
  shown[numbers] <- lapply(shown[numbers], function(v) round(v, min(places, 6)))
  if (!any(shown$n_missing > 0)) shown$n_missing <- NULL
  steps <- nrow(unique(shown[key[c("specimen", "temp_c", "time_min")]]))
  # what divides the steps further: scales, or the columns of `by`
  within <- names(shown)[seq_len(match("n", names(shown)) - 1L)]
  within <- setdiff(within, key[c("specimen", "temp_c", "time_min")])
  within <- within[vapply(within, \(name) length(unique(shown[[name]])) > 1L, NA)]
  words <- paste0("Readings of ", count(steps, "step"),
                  if (steps < nrow(x)) {
                    paste0(" in ", count(nrow(x), "group"), " (",
                           gsub("'", "", in_quotes(c("step", within), " and ")), ")")
                  },
                  "; temperature in ", degree_c(), ", time in min, ",
                  format(100 * attr(x, "level")), " % t intervals of the mean")
  cat(strwrap(words, getOption("width"), exdent = 2L), sep = "\n")
  lines <- utils::head(shown, n)
  # the extremes where there is room for them
  width <- function(table) max(nchar(utils::capture.output(print(lines[table], row.names = FALSE)), "width"))
  out <- intersect(c("min", "max"), names(shown))
  room <- getOption("width") >= sum(vapply(seq_along(lines), function(j) width(j), 0L))
  print(if (room) lines else lines[setdiff(names(lines), out)], row.names = FALSE)
  more <- nrow(x) - nrow(lines)
  if (more > 0L) cat("... and ", count(more, "more row"), "; print(n = ) shows more\n", sep = "")
  if (!room && length(out)) cat("Not shown: ", paste(out, collapse = ", "), "\n", sep = "")
  invisible(x)
}

#' @rdname summarise_readings
#' @param row.names,optional As in [base::as.data.frame()].
#' @export
as.data.frame.softanneal_steps <- function(x, row.names = NULL, optional = FALSE, ...) {
  plain_frame(x)
}
