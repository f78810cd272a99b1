# Example data from inst/extdata. The invented sets are rebuilt by inst/scripts/make-extdata.R; their
# true values stand here.

EXAMPLE_SETS <- c(
  bellbrass_rolling = "four rolling passes of two brass strips",
  bellbrass_readings = "hardness readings of four annealed specimens",
  bellbrass_history = "thermocouple log of one annealing step",
  bellbrass_messy = "a bench sheet as it comes, for import lessons",
  tungsten = "published isothermal hardness of tungsten plate")

#' Example data
#'
#' Five small sets: four of an invented workshop with known true values, one published. They are CSV files
#' in the folder `extdata` of the package.
#'
#' The workshop, Larkfield Bell Works, is invented: it rolls 70/30 brass for horn bells from 1.60 to
#' 0.95 mm and wants to know how to soften it between forming steps. Its sets are drawn with fixed
#' seeds by the script `scripts/make-extdata.R` of the package, which makes the same files again,
#' byte for byte. **True values** of the readings: `h_worked` 160 HV, `h_soft` 78 HV, n = 1.6, Q =
#' 140 kJ/mol, half of the recrystallisation in 12 min at 330 degrees Celsius.
#'
#' @section `bellbrass_rolling`:
#' 10 rows: `specimen`, `pass` (0 is before rolling), `thickness_mm`, `width_mm`, `length_mm` (mm).
#' True values: thickness 1.60, 1.40, 1.22, 1.07, 0.95 mm, spread w/w0 = (t0/t)^0.03, constant volume;
#' measuring scatter 0.005, 0.03 and 0.3 mm. For [cold_work()].
#' @section `bellbrass_readings`:
#' 168 rows: `specimen`, `temp_c` (degrees Celsius; for time 0 that to come), `step`, `time_min` (min in the
#' furnace so far), `reading`, `hardness`, `scale`. 290, 330, 370, 410 degrees Celsius; 0 to 128 min; six
#' readings per step, three in HRF and three in HR30T; scatter 1.5 HV between steps and 1.5
#' HV within; dial read to 0.5. For [fit_softening()].
#' @section `bellbrass_history`:
#' 85 rows: `specimen`, `time_s` (s), `temp_c` (degrees Celsius). Specimen of 0.95 mm, oxidised
#' (emissivity 0.6),
#' 8 min in a furnace of 330 degrees Celsius whose door dips it by 9 degrees Celsius, then in air;
#' every 10 s, scatter
#' 0.3 degrees Celsius.
#' @section `bellbrass_messy`:
#' The raw sheet, all columns as text: 18 rows of five readings, HR30T, and all that goes wrong: a
#' title line, semicolons and decimal commas, units in the headers, three spellings of the scale, an
#' empty line, `n/a` and a doubtful `39,0?`, and four blunders of the bench: one outlier (bell-C, 10
#' min, second reading), two steps swapped (bell-B, 0 and 5 min), a specimen read warm
#' (bell-B, 10 min), a forgotten reading (bell-B, 80 min, third). True values as of the readings, at 310,
#' 350
#' and 390 degrees Celsius.
#' @section `tungsten`:
#' Isothermal hardness of warm-rolled tungsten plate, 1100 to 1250 degrees Celsius, read from published
#' figures (A. Alfonso Lopez, D. Juul Jensen et al., J. Nucl. Mater. 2014-2015); hours inferred.
#' Columns: `material`, `temp_c` (degrees Celsius), `time_min` (min), `hardness` (HV), `sd_hv`
#' (HV), `source`,
#' `specimen`, `scale`. No true values; own interpolation of the times to half the loss gives 349 +-
#' 9 kJ/mol.
#'
#' @section Figures for a course:
#' The folder `course` of the package holds nine scripts of at most five lines that draw the figures of a
#' course on annealing from data in `extdata`: softening and isochronal curves, Avrami and Arrhenius plots,
#' effect of cold work on hardness and on softening, grain growth, Hall-Petch line, calorimeter peaks. Each
#' names its data, with source or true values:
#' `list.files(system.file("course", package = "softanneal"), full.names = TRUE)`.
#' @param name Name of a set; without it, a list of the sets.
#' @param path `TRUE` for the path of the file instead of the table.
#' @return A data frame with labelled columns ([label_columns()]); readings are of class
#'   `softanneal_readings`. Without `name`: a data frame with `name`, `what` and `file`.
#' @section Errors: `softanneal_error_argument` for an unknown name.
#' @section Safety: `r CAUTION_DEFERENCE`
#' @seealso [read_readings()], [simulate_readings()]
#' @examples
#' example_data()
#' cold_work(example_data("bellbrass_rolling"))$reduction_pct
#' fit_softening(example_data("bellbrass_readings"))
#' # the messy sheet: name its columns, and leave the doubtful cell empty
#' sheet <- example_data("bellbrass_messy", path = TRUE)
#' tryCatch(read_readings(sheet, skip = 1, columns = c(specimen = "Piece",
#'                        temp_c = "Furnace temp (C)"), readings = "r"),
#'          softanneal_error = conditionMessage)
#' r <- suppressWarnings(
#'   read_readings(sheet, skip = 1, columns = c(specimen = "Piece", temp_c = "Furnace temp (C)"),
#'                 readings = "r", na = c("", "n/a", "39,0?")))
#' check_readings(r)[c("level", "check", "row")]
#' @export
example_data <- function(name = NULL, path = FALSE) {
  file <- c(paste0(names(EXAMPLE_SETS)[1:4], ".csv"), "tungsten_isothermal.csv")
  names(file) <- names(EXAMPLE_SETS)
  if (is.null(name)) {
    return(data.frame(name = names(EXAMPLE_SETS), what = unname(EXAMPLE_SETS),
                      file = unname(file)))
  }
  name <- check_choice(name, names(EXAMPLE_SETS), "name")
  full <- system.file("extdata", file[[name]], package = "softanneal", mustWork = TRUE)
  if (check_flag(path, "path")) return(full)
  # what the headers of these known files mean stands on the help page
  data <- switch(
    name,
    bellbrass_readings = read_readings(full),
    tungsten = suppressMessages(read_readings(full, specimen = "plate"),
                                classes = "softanneal_message_units"),
    bellbrass_messy = utils::read.csv2(full, skip = 1, colClasses = "character",
                                       check.names = FALSE, blank.lines.skip = FALSE,
                                       encoding = "UTF-8"),
    utils::read.csv(full))
  label_columns(data[setdiff(names(data), c("sheet_row", "sheet_column"))])
}
