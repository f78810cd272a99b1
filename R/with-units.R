# Tables with the classes of the units package, asked for by with_units().

# Unit of a column by the end of its name; the first that fits.
ENDS_IN_UNITS <- c(
  per_min = "1/min", per_mm2 = "1/mm^2", k_min = "K/min", k_h = "K/h", kj_mol = "kJ/mol", mm2 = "mm^2",
  um2 = "um^2", mm3 = "mm^3", mm = "mm", um = "um", min = "min", h = "h", s = "s", c = "degree_C",
  kgf = "kgf", mpa = "MPa", pct = "percent")

# Columns that have the unit of the estimate before them; differences of temperature are in K.
OF_ESTIMATE <- c("std.error", "u_conversion", "conf.low", "conf.high")

#' Tables with units
#'
#' Gives the columns of a table the units that stand in their names, as classes of the package units:
#' `time_min` in min, `temp_c` in degrees Celsius, `q_kj_mol` in kJ/mol. In a table of [time_to()] or
#' [temp_for()] the standard error and the ends of the interval get the unit of the answer before them.
#'
#' Columns of class `units`, and times of class `difftime`, are taken by all functions of this package that
#' take numbers in a unit, and converted to the unit of the bench. Clock times (`POSIXct`) are taken as
#' column of times of a log, with those of its readings (`log_time`), and as clock times in and out of the
#' furnace by [read_readings()]. As times of readings they are refused everywhere: they do not say how long a
#' piece was in the furnace.
#'
#' @param x A data frame, such as the result of [time_to()], [predict()] in a table, [heat_up()] or readings.
#' @return `x` with columns of class `units` where the name ends in a unit; others, such as hardness, as they
#'   are.
#' @section Errors: `softanneal_error_argument` if `x` is not a data frame, `softanneal_error_package` without
#'   the package units.
#' @seealso [label_columns()] for labels.
#' @examples
#' if (requireNamespace("units", quietly = TRUE)) {
#'   fit <- fit_softening(example_data("tungsten"))
#'   with_units(time_to(fit))
#' }
#' @export
with_units <- function(x) {
  check_data(x, "x", rows = FALSE)
  need_package("units", "to give columns units")
  unit <- unit_by_name(names(x))
  estimate <- match("std.error", names(x)) - 1L
  if (!is.na(estimate) && estimate > 0L && !is.na(unit[estimate])) {
    own <- unit[[estimate]]
    unit[names(x) %in% OF_ESTIMATE] <- own
    if (own == "degree_C") unit[names(x) %in% OF_ESTIMATE[1:2]] <- "K"
  }
  for (j in which(!is.na(unit))) {
    column <- x[[j]]
    if (is.object(column) || !is.numeric(column)) next
    attr(column, "label") <- NULL
    x[[j]] <- units::set_units(column, unit[j], mode = "standard")
  }
  x
}

# Unit of a column of times that may be in any: of a duration or a column of class units.
time_unit_by_name <- function(name) {
  unit <- unit_by_name(name)
  if (unit %in% c("min", "h", "s")) unit else "min"
}

unit_by_name <- function(names) {
  out <- rep(NA_character_, length(names))
  for (end in names(ENDS_IN_UNITS)) {
    at <- is.na(out) & endsWith(names, paste0("_", end))
    out[at] <- ENDS_IN_UNITS[[end]]
  }
  # differences and uncertainties of temperature
  out[out %in% "degree_C" & grepl("^(dip|tolerance|u_temp|sd|spread)_", names)] <- "K"
  out
}
