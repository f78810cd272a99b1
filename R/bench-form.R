# An empty table of readings for a plan, in the order and with the boxes of the bench sheet, that
# read_readings() takes back as it is.

#' An empty readings file for a plan
#'
#' The table that is filled in at the bench, or typed from the bench sheet afterwards: one row per step in the
#' order of the timetable, keys filled in, a box for each reading. Filled in, the file goes to
#' [read_readings()] without further arguments.
#'
#' | column | what |
#' |---|---|
#' | `specimen`, `step`, `temp_c`, `time_min` | as in the plan: degrees Celsius, accumulated minutes |
#' | `furnace`, `in_clock`, `out_clock` | where and when the step is planned |
#' | `Reading 1 (HR30T)` ... | empty; the scale is that of the plan |
#' | `operator`, `note` | empty |
#'
#' Correct `time_min` where a step was longer or shorter than planned. Steps without a place in the timetable
#' stand at the end, without clock times; a row that was not done may be deleted, or left empty.
#'
#' @param plan A plan of [plan_anneal()] or [improve_plan()].
#' @param file Path of a file to write, ending in `.csv` or `.xlsx` (needs the package writexl); `NULL` for
#'   none.
#' @param ... Must be empty.
#' @param overwrite Whether a file that is there may be replaced.
#' @return The table, a data frame; invisibly where a file is written.
#' @section Errors:
#'   `softanneal_error_file` when the file is there already, has another ending, or cannot be written;
#'   `softanneal_error_package` for `.xlsx` without writexl.
#' @seealso [bench_sheet()] for paper, [read_readings()]
#' @examples
#' guess <- plan_guess("brass", recryst_1h_c = 330)
#' plan <- plan_anneal(c(290, 320), c(4, 8, 16), guess, n_readings = 2)
#' readings_form(plan)
#' file <- file.path(tempdir(), "run.csv")
#' readings_form(plan, file, overwrite = TRUE)
#' @export
readings_form <- function(plan, file = NULL, ..., overwrite = FALSE) {
  check_dots_empty(...)
  check_plan(plan)
  overwrite <- check_flag(overwrite, "overwrite")
  s <- plan$steps[order(is.na(plan$steps$read_min)), ]
  out <- data.frame(specimen = s$specimen, step = s$step, temp_c = s$temp_c, time_min = s$time_min,
                    furnace = s$furnace, in_clock = s$in_clock, out_clock = s$out_clock)
  if (plan$settings$sessions > 1) out <- cbind(session = s$session, out)
  for (k in seq_len(plan$settings$n_readings)) {
    out[[paste0("Reading ", k, " (", plan$settings$scale, ")")]] <- NA_real_
  }
  out$operator <- out$note <- NA_character_
  rownames(out) <- NULL
  if (is.null(file)) return(out)
  file <- check_path(file, "file")
  ending <- tolower(tools::file_ext(file))
  if (!ending %in% c("csv", "xlsx")) {
    abort("file", paste0("`file` must end in .csv or .xlsx, not '", basename(file), "'"), arg = "file",
          remedy = "Choose one of these endings.")
  }
  if (file.exists(file) && !overwrite) {
    abort("file", paste0("the file ", file, " is there already"), arg = "file",
          remedy = "Choose another name, or allow overwrite = TRUE.")
  }
  if (ending == "xlsx") need_package("writexl", "to write Excel files")
  written <- !dir.exists(file) && dir.exists(dirname(file)) && if (ending == "csv") {
    put_in_place(file, function(to) write_table(out, to, na = ""), function(to) whole_table(to, nrow(out)))
  } else {
    put_in_place(file, function(to) writexl::write_xlsx(out, to), function(to) file.size(to) > 0)
  }
  if (!written) {
    abort("file", paste0("the file ", file, " could not be written"), arg = "file",
          remedy = "Choose a folder that exists and in which you may write, with free space.")
  }
  invisible(out)
}
