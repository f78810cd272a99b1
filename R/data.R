# Example data from inst/extdata, and the labels of columns that a data viewer shows. The
# invented sets are rebuilt by inst/scripts/make-extdata.R; their true values stand here.

COLUMN_LABELS <- c(
  group = "Group", specimen = "Piece of sheet", pass = "Rolling pass (0 = before)",
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
#' @section Errors: `softanneal_error_argument` if `data` is no data frame.
#' @examples
#' attr(label_columns(data.frame(temp_c = 330))$temp_c, "label")
#' @export
label_columns <- function(data) {
  check_data(data, rows = FALSE)
  for (name in intersect(names(data), names(COLUMN_LABELS))) {
    column <- data[[name]]
    # classes with their own idea of attributes are left alone
    if (is.object(column) || !is.atomic(column)) next
    attr(column, "label") <- COLUMN_LABELS[[name]]
    data[[name]] <- column
  }
  data
}
