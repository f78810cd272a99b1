# Sizes of the errors of a real bench, for simulation.

BENCH_SD <- c(reading = 2, step = 1, specimen = 3, operator = 0.5, machine = 0.5, temp_c = 2, time_min = 0.1)

#' Errors of a real bench
#'
#' Standard deviations of the errors that a class or works bench has, the default `sd` of
#' [simulate_readings()] and [class_design()]. Specimens differ, furnaces are off their set point and steps
#' are not timed to the second, so that readings scatter most on the steep part of a curve and errors are
#' shared by whole curves.
#'
#' | component | size | where from |
#' |---|---|---|
#' | `reading` | 2 HV | about 2.3 HV on brass at HRB 87 in student reports (24 degrees of freedom), 0.9 to 2 % of HV0.1 on tungsten; rounded |
#' | `step` | 1 HV | 0.9 to 1.1 HV about flat parts of three published softening curves |
#' | `specimen` | 3 HV | 12 HV in one careless report; 3 to 6 HV is a judgement |
#' | `temp_c` | 2 degrees Celsius | thermocouple type K, class 1: 1.5 degrees (IEC 60584), with a furnace uniform to 3 degrees (half widths of class 1 of AMS 2750, divided by the root of 3) |
#' | `time_min` | 0.1 min | common practice, no source |
#' | `operator` | 0.5 points | judgement |
#' | `machine` | 0.5 points | 0.7 to 0.9 % of HV30 between national laboratories, about 1 HV |
#'
#' @param ... Sizes to be put in place of these, by name; `specimen = 0` leaves that error out.
#' @param only Names of the components that are kept; all others are zero. For teaching one error at a time.
#' @return A named vector: `reading`, `step`, `specimen` in HV, `operator`, `machine` in points of the scale,
#'   `temp_c` in degrees Celsius, `time_min` in min.
#' @section Errors: `softanneal_error_argument` for names that are not among these, and sizes that are no
#'   numbers; `softanneal_error_range` for sizes below zero.
#' @source The table above; [softening-errors] has the model.
#' @seealso [components_of_error()] for those of one's own bench.
#' @examples
#' bench_errors(specimen = 0)
#' bench_errors(step = 1.5, only = c("step", "reading"))
#' r <- simulate_readings(seed = 4)
#' components_of_error(fit_softening(r))
#' @export
bench_errors <- function(..., only = NULL) {
  given <- list(...)
  sizes <- BENCH_SD
  if (!is.null(only)) only <- check_names(only, "only")
  for (name in only) check_choice(name, names(sizes), "only")
  unknown <- if (length(given) && is.null(names(given))) "(unnamed)" else setdiff(names(given), names(sizes))
  if (length(unknown) || anyDuplicated(names(given))) {
    abort("argument", paste0("`...` must name components, each once, not ", in_quotes(unknown, " and ")),
          arg = "...", remedy = paste0("Name any of ", in_quotes(names(sizes), " and "), "."))
  }
  for (name in names(given)) sizes[[name]] <- check_number(given[[name]], name, 0)
  if (length(only)) sizes[setdiff(names(sizes), only)] <- 0
  sizes
}
