# From a file or a data frame to a checked table of hardness readings in long form. Files become a
# grid of text first (readings-text.R, readings-excel.R), in which the table is found
# (readings-layout.R), so that a cell that is not a number can be shown as it stands. Units: deg C,
# min, mm.

#' Read hardness readings
#'
#' Reads a table of hardness readings from a text file (CSV, TSV and the like), an Excel
#' sheet or a data frame, checks it, and returns it in long form: one row per reading, with
#' the units in the column names. Nothing is dropped or guessed silently: what was
#' converted or detected is said once by a message, and what cannot be a reading stops
#' with an error that names column, row and remedy.
#'
#' @section Columns understood:
#' Headers are compared without regard to case, accents, surrounding blanks, and the difference
#' between blank and underscore; in English, German, French, Spanish, Italian and Chinese (the words are in
#' `system.file("extdata", "header_words.csv", package = "softanneal")`), others by `columns`.
#'
#' | column | what | headers also understood |
#' |---|---|---|
#' | `specimen` | piece of sheet | sample, piece, strip, Probe, muestra ... |
#' | `temp_c` | furnace temperature, degrees Celsius | temperature, T with `C`, `K`, `F` |
#' | `time_min` | time in the furnace so far (accumulated), min | time, Zeit, t with `s`, `min`, `h`, `d` |
#' | `hardness` | the reading | `hardness_hv`, `Hardness (HRF)`, `HRB` |
#' | `scale` | its scale, see [hardness_scales()] | Skala, escala ... |
#' | `thickness_mm`, `position_mm` | mm, optional | `thickness`, `position` with `mm`, `um`, `in` |
#' | `step`, `reading`, `group`, `operator`, `laboratory`, `furnace`, `note` | optional | |
#' | `limit` | optional: "at least", "at most", or empty | |
#'
#' The unit stands behind an underscore or blank or in parentheses or brackets: `time_h`, `Time [min]`,
#' `temp (C)`, `temperature_k`. A time or temperature without a unit is an error, as are
#' two columns for one quantity; `time_m` is refused because it may be minutes or months.
#' As-rolled readings have time 0. All other columns stay as they are.
#'
#' @section Sheets understood:
#' | on the sheet | what is made of it |
#' |---|---|
#' | several readings per row: `HRB 1` ... `HRB 5`, `Reading 1 (HRF)`, `Messung 1` | long table; scale from the header |
#' | `HRB` and `HRF` side by side; times (`4 min`) or temperatures (`330 C`) across the top | long table |
#' | notes above the table, header in two rows | the rows with most headers understood are the header |
#' | merged cells, keys written once for several rows | the value above, where no value repeats and a third of the cells is empty (times: half) |
#' | `72 HRB` | the reading, if the scale agrees |
#' | `as rolled`, `0:04:30` as time | 0; hours, minutes, seconds |
#' | `0:04` under `time (h:mm)` or `time mm:ss` | hours and minutes, or minutes and seconds; a plain number there is refused |
#' | clock times under `time in` and `time out`, `start` and `end`, in one row of each step; a date with them or in a column `date` | minutes between, added up over the steps of a specimen; where all have one time in, counted from it; empty before the first step: as rolled |
#' | `09:05`, `905`, `2026-11-30 09:05` as time | a time of day is no time in the furnace: refused, or asked where it may be a duration; `times` answers |
#' | `0.003472` as minutes, `1.30` as hours | fraction of a day, hours and minutes: asked; `columns` answers |
#' | as-rolled row without temperature | that of its specimen, where it has one only |
#' | comma, semicolon, tab, bar or blanks between fields; decimal comma; UTF-8, UTF-16, Latin-1, GB18030 | found by looking |
#' | quotes around fields, inch marks within (`1/4" strip`) | quotes; characters |
#' | nameless first column 1, 2, 3 ...; empty rows and columns; empty fields at the end of a row | left out |
#' | several Excel sheets | the first visible one with such a header; others by `sheet` |
#' | step times: `step time (min)`, or `times = "step"` | added up |
#' | `>100`, `< 20 HRB`, `at least 93` | 100 with `limit` "at least" (at most), which [fit_softening()] uses |
#' | `71-73`, `72 +- 1`, `ca. 72`, dates, clock cells, `#DIV/0!`, ditto marks | refused with the cell and what to do |
#' | a row with a field more or less than the header | refused with line number and line |
#'
#' What is made of a sheet is reported by a message. Tables from files have two more columns,
#' `sheet_row` and `sheet_column` (letter), so that each reading can be found again.
#'
#' @param x Path to a text file or an Excel file (`.xls`, `.xlsx`), or a data frame.
#' @param columns Named text: the column names of `x` to be used, named by what they are,
#'   e.g. `c(hardness = "reading value", time_h = "duration")`. The names are standard
#'   columns, `time`, `temp` and `hardness` with a unit, or `in_clock` and `out_clock` for the clock times of
#'   going into the furnace and coming out of it.
#' @param readings For wide sheets whose headers are not understood: the names of the reading
#'   columns, or the part of the name that stands before their number (`"r"` for `r1`, `r2`,
#'   ...). They become the columns `reading` and `hardness`.
#' @param specimen,temp_c,time_min,scale Constants for a table that has no such column:
#'   name of the specimen, temperature in degrees Celsius, accumulated time in min, hardness scale.
#' @param ... Further constants by name: `step`, `group`, `operator`, `thickness_mm`,
#'   `position_mm`, `note`.
#' @param property Name and unit of another property than hardness, such as `"Yield stress (MPa)"`: the
#'   column of that name becomes `hardness` without a scale, for [fit_softening()] with the same `property`.
#' @param times Whether times are `"accumulated"` or those of each single `"step"`, to be added up
#'   for each specimen. `NULL`: by the header (`step time`, `total time`), else accumulated; steps
#'   whose number rises while the time stands still, and what looks like times of day, are then an error.
#' @param sep,dec Separator of fields and decimal mark of a text file. `NULL` looks at the
#'   file; a finding other than comma and point is reported by a message.
#' @param encoding Encoding of a text file. `NULL`: UTF-8 if the file is valid UTF-8,
#'   otherwise Latin-1, reported by a message.
#' @param sheet Name or number of an Excel sheet. `NULL`: the first visible one that looks like
#'   readings; which one, and what others there are, is reported by a message.
#' @param skip Number of lines to leave out at the top; notes above a table are found without it.
#' @param na Cells that mean "no value".
#'
#' @return A data frame of class `softanneal_readings` on top of the class of `x` (or
#'   `data.frame`) with at least the columns `specimen`, `temp_c` (degrees Celsius), `time_min` (min),
#'   `hardness` and `scale`; from files also `sheet_row` and `sheet_column`. Rows and further
#'   columns keep their order; a wide sheet gives its rows one after the other, readings in turn.
#'   Groups of a grouped data frame are dropped. Standard columns carry a label with their unit for the data
#'   viewer, see [label_columns()].
#'
#' @section Conditions:
#' Errors `softanneal_error_file` (no such file, empty, ragged), `_column` (missing or twice;
#' text in a column of numbers), `_units`, `_scale`, `_range` (below absolute zero, negative
#' time, a reading its scale cannot give), `_missing` (time, temperature or specimen
#' missing, infinite value), `_duplicate` (the same reading number twice). Empty hardness boxes
#' stay as `NA` with one `softanneal_warning_missing`. Messages are of class
#' `softanneal_message_units` and `softanneal_message_file`, both over `softanneal_message`.
#' @seealso [check_readings()] for doubts that are not errors, [summarise_readings()].
#' @examples
#' sheet <- data.frame(piece = "A", `temp (C)` = 330, time_h = c(0, 0.5, 1),
#'                     r1 = c(91.5, 84, 71), r2 = c(92, 83.5, 72.5), check.names = FALSE)
#' read_readings(sheet, columns = c(specimen = "piece"), readings = "r", scale = "HRF")
#' @export
read_readings <- function(x, columns = NULL, readings = NULL, specimen = NULL, temp_c = NULL,
                          time_min = NULL, scale = NULL, ..., times = NULL, sep = NULL, dec = NULL,
                          encoding = NULL, sheet = NULL, skip = 0, na = c("", "NA"), property = NULL) {
  property <- check_property(property, !is.null(scale))
  if (!is.null(times)) times <- check_choice(times, c("accumulated", "step"), "times")
  constants <- c(list(specimen = specimen, temp_c = temp_c, time_min = time_min, scale = scale),
                 list(...))
  constants <- check_constants(constants[!vapply(constants, is.null, NA)])
  if (!is.null(columns) && (!(is.atomic(columns) || is.list(columns)) || is.pairlist(columns))) {
    abort("argument", paste0("`columns` must be named text, not ", describe(columns)), arg = "columns",
          remedy = "Write columns = c(time = \"Zeit\", ...).")
  }
  if (is.data.frame(x)) {
    given <- c(sep = !is.null(sep), dec = !is.null(dec), encoding = !is.null(encoding),
               sheet = !is.null(sheet))
    if (any(given)) {
      abort("argument", paste0("`", names(given)[given][1L],
                               "` is for files, and `x` is a data frame"),
            arg = names(given)[given][1L], remedy = "Leave it out.")
    }
    template <- x
    raw <- plain_frame(x)
    check_data(raw, "x", limits = TRUE)
  } else {
    template <- data.frame()
    raw <- read_sheet(x, columns, readings, sep, dec, encoding, sheet,
                      check_number(skip, "skip", 0, whole = TRUE), na)
  }
  if (is.null(property)) return(assemble_readings(raw, template, columns, readings, constants, times))
  if (!length(readings)) columns <- property_column(names(raw), columns, property)
  constants$scale <- NO_SCALE
  attr(constants, "property") <- TRUE
  out <- assemble_readings(raw, template, columns, readings, constants, times)
  out$scale <- NULL
  out
}

# The scale of a property, within this file alone.
NO_SCALE <- "HV"

# `columns` with the header that holds the property: its name, alone or with its unit.
property_column <- function(headers, columns, property) {
  if (any(tolower(sub("_.*", "", names(columns))) == "hardness") || "hardness" %in% headers) return(columns)
  plain <- function(x) gsub("[^[:alnum:]]+", " ", fold_header(x))
  name <- plain(property[["name"]])
  wanted <- trimws(c(name, paste(name, plain(property[["unit"]]))))
  at <- which(trimws(plain(headers)) %in% wanted)
  if (length(at) != 1L) {
    abort("column", paste0(if (length(at)) "several columns hold" else "no column holds", " '",
                           property[["name"]], "': the table has ", in_quotes(headers, " and ")),
          arg = "property", remedy = "Name it by `columns`, such as c(hardness = \"the header\").")
  }
  c(columns, hardness = headers[at])
}

read_sheet <- function(path, columns, readings, sep, dec, encoding, sheet, skip, na) {
  check_sheet_path(path)
  check_string(sep, "sep", null = TRUE)
  check_string(encoding, "encoding", null = TRUE)
  if (!is.null(dec)) check_choice(dec, c(".", ","), "dec")
  if (!is.character(na)) abort("argument", "`na` must be text", arg = "na")
  named <- as.character(c(columns, if (length(readings) > 1L) readings))
  grid_table(read_grid(path, sheet, sep, encoding, skip), named, na, dec)
}

check_sheet_path <- function(path) {
  if (!is.character(path) || length(path) != 1L || is.na(path)) {
    abort("argument", paste0("`x` must be a path or a data frame, not ", describe(path)), arg = "x",
          remedy = "Put a path in quotes, or make a data frame of it.")
  }
  if (!file.exists(path) || dir.exists(path)) {
    abort("file", paste0("there is no file '", path, "'"), arg = "x",
          remedy = "Check the path, and the working directory with `getwd()`.")
  }
  if (file.size(path) == 0) abort_empty(path)
}

is_excel <- function(path) grepl("\\.xls[xm]?$", path, ignore.case = TRUE)

# Text file or Excel sheet as a grid of cells with a header and a row at least.
read_grid <- function(path, sheet, sep, encoding, skip, ...) {
  if (is_excel(path)) {
    grid <- read_excel_grid(path, sheet, skip, ...)
  } else {
    if (!is.null(sheet)) {
      abort("argument", "`sheet` is for Excel files", arg = "sheet", remedy = "Leave it out.")
    }
    grid <- read_text_grid(path, sep, encoding, skip)
  }
  if (length(grid$row) < 2L) abort_empty(path)
  grid
}

# A message of class softanneal_message_<what>.
say <- function(what, text) {
  message(structure(class = c(paste0("softanneal_message_", what), "softanneal_message", "message",
                              "condition"),
                    list(message = paste0(text, "\n"), call = NULL)))
}
