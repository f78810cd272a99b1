# Tables: as plain data frames, with labels of columns, from and to files.

# The columns of any data frame without subclass, groups and row names.
plain_frame <- function(x) {
  columns <- lapply(seq_along(x), function(j) x[[j]])
  names(columns) <- names(x)
  structure(columns, class = "data.frame", row.names = .set_row_names(nrow(x)))
}

COLUMN_LABELS <- c(
  sheet_row = "Row on the sheet", sheet_column = "Column on the sheet",
  laboratory = "Laboratory", furnace = "Furnace",
  group = "Group", specimen = "Specimen", pass = "Rolling pass (0 = before)",
  thickness_mm = "Thickness (mm)", width_mm = "Width (mm)", length_mm = "Length (mm)",
  temp_c = "Temperature (\u00b0C)", step = "Step", time_min = "Time in the furnace (min)",
  time_s = "Time (s)", reading = "Reading", hardness = "Hardness (in the unit of its scale)",
  scale = "Hardness scale", operator = "Operator", position_mm = "Position (mm)",
  note = "Note", sd_hv = "Standard deviation (HV)", quantity = "Quantity", value = "Value",
  unit = "Unit")

#' Labels with units for the columns of a table
#'
#' Puts a label with the unit on every standard column, as attribute `label`, which the data
#' viewer of RStudio shows under the header. Labels are for looking only: nothing is ever
#' computed from them, and subsetting with base R drops them.
#'
#' @param data A data frame with columns of the standard names, such as `temp_c`.
#' @return `data` with the attribute `label` on the columns that have a standard name; values,
#'   class and other columns as they were.
#' @section Errors: `softanneal_error_argument` if `data` is not a data frame.
#' @seealso [read_readings()], [summarise_readings()]
#' @examples
#' attr(label_columns(data.frame(temp_c = 330))$temp_c, "label")
#' @export
label_columns <- function(data) {
  check_data(data, rows = FALSE, limits = TRUE)
  for (name in intersect(names(data), names(COLUMN_LABELS))) {
    column <- data[[name]]
    # classes with their own idea of attributes are left alone
    if (is.object(column) || !is.atomic(column)) next
    attr(column, "label") <- COLUMN_LABELS[[name]]
    data[[name]] <- column
  }
  data
}

# CSV for spreadsheets: a text cell that begins like a formula, and is not a number such as -3, is
# preceded by an apostrophe.
write_table <- function(x, file, na = "NA") {
  x <- as.data.frame(x)
  for (j in which(vapply(x, function(v) is.character(v) || is.factor(v), NA))) {
    x[[j]] <- escape_cells(as.character(x[[j]]))
  }
  names(x) <- escape_cells(names(x))
  with_usual_digits(utils::write.csv(x, file, row.names = FALSE, na = na, fileEncoding = "UTF-8"))
}

# One table of inst/extdata; empty cells are NA.
fact_table <- function(file) {
  path <- system.file("extdata", file, package = "softanneal")
  if (!nzchar(path)) {
    abort("file", paste0("the package lacks its table '", file, "'"), arg = file,
          remedy = "Install softanneal anew.")
  }
  utils::read.csv(path, na.strings = "", stringsAsFactors = FALSE, check.names = FALSE)
}

# Class of the tables that functions return: a data frame in every respect, in any session and whatever
# packages are loaded; only printed shorter. `aside`: long columns that are not printed.
as_table <- function(out, aside = NULL) {
  attr(out, "aside") <- aside
  class(out) <- c("softanneal_table", "data.frame")
  out
}

#' Printing of tables
#'
#' The tables that functions of this package return (of [tidy()], [time_to()], [hardness_scales()] and so on)
#' are plain data frames, whatever packages are loaded: `x[, "estimate"]` is a vector. They are printed with
#' fewer digits, and only their first rows. `tibble::as_tibble()` and `data.table::as.data.table()` convert
#' them; a table that comes from one of yours ([augment()], [read_readings()]) keeps its class.
#'
#' @param x A table.
#' @param ... Passed to [print.data.frame()], such as `row.names = FALSE`.
#' @param digits Least number of significant digits.
#' @param n Most rows to print.
#' @return `x`, invisibly.
#' @name tables
#' @seealso [fit-tables], [fits-tables], [softanneal-conditions]
#' @examples
#' print(hardness_scales(), n = 3)
#' @export
print.softanneal_table <- function(x, ..., digits = max(3L, getOption("digits") - 3L), n = 20L) {
  n <- check_number(n, "n", 1, whole = TRUE)
  more <- nrow(x) - n
  shown <- if (more > 0L) x[seq_len(n), , drop = FALSE] else x
  class(shown) <- setdiff(class(shown), "softanneal_table")
  aside <- intersect(attr(x, "aside"), names(x))
  print(shown[setdiff(names(shown), aside)], ..., digits = digits)
  if (more > 0L) cat("... and ", count(more, "more row"), "; print(n = ) shows more\n", sep = "")
  if (length(aside)) cat("Not shown: ", paste(aside, collapse = ", "), "\n", sep = "")
  invisible(x)
}

# S4 generics, such as those of DBI, must be told that these are data frames. That takes its time, so it waits
# until DBI is loaded; the definitions stand in an environment of their own.
FRAME_CLASSES <- list(
  "softanneal_table", "softanneal_readings", c("softanneal_class", "softanneal_readings"), "softanneal_steps",
  "softanneal_history", "softanneal_softening", "softanneal_findings", "softanneal_marks", "softanneal_key",
  "softanneal_window", "softanneal_model_table", "softanneal_identifiability", "softanneal_outliers",
  "softanneal_choice", "softanneal_conversion_tables", "softanneal_components", "softanneal_profile",
  "softanneal_cautions")

frame_state <- new.env()

tell_s4 <- function(...) {
  if (exists(".packageName", frame_state, inherits = FALSE)) return(invisible())
  assign(".packageName", "softanneal", frame_state)
  for (own in FRAME_CLASSES) methods::setOldClass(c(own, "data.frame"), where = frame_state)
  invisible()
}

tell_s4_with_dbi <- function() {
  if (isNamespaceLoaded("DBI")) tell_s4() else setHook(packageEvent("DBI", "onLoad"), tell_s4)
}

# Give a result table the class of the table it came from (data frame, tibble, data.table),
# without its groups.
table_like <- function(out, template) {
  if (inherits(template, "tbl_df")) {
    class(out) <- c("tbl_df", "tbl", "data.frame")
  } else if (inherits(template, "data.table") && requireNamespace("data.table", quietly = TRUE)) {
    out <- data.table::as.data.table(out)
  }
  out
}
