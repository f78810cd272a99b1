# From a file or a data frame to a checked table of hardness readings in long form.
# Files are read by utils::read.table() and readxl; this file decides separators, decimal
# mark and encoding, and says what it decided. Every column is read as text first, so that
# a cell that is no number can be shown as it stands. Units: deg C, min, mm.

#' Read hardness readings
#'
#' Reads a table of hardness readings from a text file (CSV, TSV and the like), an Excel
#' sheet or a data frame, checks it, and returns it in long form: one row a reading, with
#' the units in the column names. Nothing is dropped or guessed silently: what was
#' converted or detected is said once by a message, and what cannot be a reading stops
#' with an error that names column, row and remedy.
#'
#' @section Columns understood:
#' Headers are compared without regard to case, surrounding blanks, and the difference
#' between blank and underscore.
#'
#' | column | what | headers also understood |
#' |---|---|---|
#' | `specimen` | piece of sheet | |
#' | `temp_c` | furnace temperature, deg C | `temp` or `temperature` with `C`, `K`, `F` |
#' | `time_min` | time in the furnace so far (accumulated), min | `time` with `s`, `min`, `h`, `d` |
#' | `hardness` | the reading | `hardness` with a scale: `hardness_hv`, `Hardness (HRF)` |
#' | `scale` | its scale, see [hardness_scales()] | |
#' | `thickness_mm`, `position_mm` | mm, optional | `thickness`, `position` with `mm`, `um`, `in` |
#' | `step`, `reading`, `group`, `operator`, `note` | optional | |
#'
#' The unit stands behind an underscore or blank or in brackets: `time_h`, `Time [min]`,
#' `temp (C)`, `temperature_k`. A time or temperature without a unit is an error, as are
#' two columns for one quantity; `time_m` is refused because it may be minutes or months.
#' As-rolled readings have time 0. All other columns stay as they are.
#'
#' @param x Path to a text file or an Excel file (`.xls`, `.xlsx`), or a data frame.
#' @param columns Named text: the column names of `x` to be used, named by what they are,
#'   e.g. `c(hardness = "reading value", time_h = "duration")`. The names are standard
#'   columns, or `time`, `temp` and `hardness` with a unit.
#' @param readings For wide sheets with several readings a row: the names of the reading
#'   columns, or the part of the name that stands before their number (`"r"` for `r1`, `r2`,
#'   ...). They become the columns `reading` and `hardness`.
#' @param specimen,temp_c,time_min,scale Constants for a table that has no such column:
#'   name of the specimen, temperature in deg C, accumulated time in min, hardness scale.
#' @param ... Further constants by name: `step`, `group`, `operator`, `thickness_mm`,
#'   `position_mm`, `note`.
#' @param sep,dec Separator of fields and decimal mark of a text file. `NULL` looks at the
#'   file; a finding other than comma and point is said by a message.
#' @param encoding Encoding of a text file. `NULL`: UTF-8 if the file is valid UTF-8,
#'   otherwise Latin-1, said by a message.
#' @param sheet Name or number of an Excel sheet.
#' @param skip Number of lines above the header to leave out.
#' @param na Cells that mean "no value".
#'
#' @return A data frame of class `softanneal_readings` on top of the class of `x` (or
#'   `data.frame`) with at least the columns `specimen`, `temp_c` (deg C), `time_min` (min),
#'   `hardness` and `scale`. Rows and further columns keep their order; a wide sheet gives
#'   its rows one after the other, readings in turn. Groups of a grouped data frame are
#'   dropped. Standard columns carry a label with their unit for the data viewer, see
#'   [label_columns()].
#'
#' @section Conditions:
#' Errors `softanneal_error_file` (no such file, empty, ragged), `_column` (missing or twice;
#' text in a column of numbers), `_units`, `_scale`, `_range` (below absolute zero, negative
#' time, a reading its scale cannot give), `_missing` (time, temperature or specimen
#' missing, infinite value), `_duplicate` (the same reading number twice). Empty hardness boxes
#' stay as `NA` with one `softanneal_warning_missing`. Messages are of class
#' `softanneal_message_units` and `softanneal_message_file`, both over `softanneal_message`.
#' @seealso [check_readings()] for doubts that are no errors, [summarise_readings()].
#' @examples
#' sheet <- data.frame(piece = "A", `temp (C)` = 330, time_h = c(0, 0.5, 1),
#'                     r1 = c(91.5, 84, 71), r2 = c(92, 83.5, 72.5), check.names = FALSE)
#' read_readings(sheet, columns = c(specimen = "piece"), readings = "r", scale = "HRF")
#' @export
read_readings <- function(x, columns = NULL, readings = NULL, specimen = NULL, temp_c = NULL,
                          time_min = NULL, scale = NULL, ..., sep = NULL, dec = NULL,
                          encoding = NULL, sheet = NULL, skip = 0, na = c("", "NA")) {
  constants <- c(list(specimen = specimen, temp_c = temp_c, time_min = time_min, scale = scale),
                 list(...))
  constants <- check_constants(constants[!vapply(constants, is.null, NA)])
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
    check_data(raw, "x")
  } else {
    template <- data.frame()
    raw <- read_sheet(x, sep, dec, encoding, sheet, check_number(skip, "skip", 0, whole = TRUE), na)
  }
  assemble_readings(raw, template, columns, readings, constants)
}

# The columns of any data frame without subclass, groups and row names.
plain_frame <- function(x) {
  columns <- lapply(seq_along(x), function(j) x[[j]])
  names(columns) <- names(x)
  structure(columns, class = "data.frame", row.names = .set_row_names(nrow(x)))
}

read_sheet <- function(path, sep, dec, encoding, sheet, skip, na) {
  if (!is.character(path) || length(path) != 1L || is.na(path)) {
    abort("argument", paste0("`x` must be a path or a data frame, not ", describe(path)), arg = "x",
          remedy = "Put a path in quotes, or make a data frame of it.")
  }
  if (!file.exists(path) || dir.exists(path)) {
    abort("file", paste0("there is no file '", path, "'"), arg = "x",
          remedy = "Check the path, and the working directory with `getwd()`.")
  }
  check_string(sep, "sep", null = TRUE)
  check_string(encoding, "encoding", null = TRUE)
  if (!is.null(dec)) check_choice(dec, c(".", ","), "dec")
  if (!is.character(na)) abort("argument", "`na` must be text", arg = "na")
  if (file.size(path) == 0) abort_empty(path)
  if (grepl("\\.xlsx?$", path, ignore.case = TRUE)) {
    raw <- read_excel_text(path, sheet, skip, na)
    dec <- "."
  } else {
    if (!is.null(sheet)) {
      abort("argument", "`sheet` is for Excel files", arg = "sheet", remedy = "Leave it out.")
    }
    layout <- text_layout(path, sep, dec, encoding, skip)
    raw <- read_delimited(path, layout, skip, na)
    dec <- layout$dec
  }
  tidy_sheet(raw, path, dec)
}

abort_empty <- function(path) {
  abort("file", paste0("the file '", path, "' holds no readings"), arg = "x",
        remedy = "It needs one header line and at least one row below it.")
}

read_excel_text <- function(path, sheet, skip, na) {
  need_package("readxl", "to read Excel files")
  raw <- tryCatch(
    readxl::read_excel(path, sheet = sheet, col_types = "text", na = na, skip = skip,
                       .name_repair = "minimal"),
    error = function(e) {
      abort("file", paste0("the Excel file '", path, "' cannot be read: ", conditionMessage(e)),
            arg = "x", remedy = "Check the sheet, or save it as CSV.")
    })
  plain_frame(raw)
}

# Byte order marks, as bytes: in a pattern they would be translated from the session's encoding.
UTF8_MARK <- list(as.raw(c(0xef, 0xbb, 0xbf)))
UTF16_MARKS <- list(as.raw(c(0xff, 0xfe)), as.raw(c(0xfe, 0xff)))

starts_as <- function(line, marks) {
  bytes <- charToRaw(line)
  any(vapply(marks, \(m) identical(utils::head(bytes, length(m)), m), NA))
}

# Separator, decimal mark and encoding of a text file: as given, or from its first lines.
text_layout <- function(path, sep, dec, encoding, skip) {
  lines <- readLines(path, n = skip + 200L, warn = FALSE, skipNul = TRUE)
  if (any(vapply(lines, starts_as, NA, UTF16_MARKS, USE.NAMES = FALSE))) {
    abort("file", paste0("the file '", path, "' is UTF-16"), arg = "x",
          remedy = "Save it as \"CSV UTF-8\".")
  }
  if (holds_nul(path)) {
    abort("file", paste0("the file '", path, "' holds bytes that are no text"), arg = "x",
          remedy = "Save the sheet as \"CSV UTF-8\", or as .xlsx.")
  }
  found <- character()
  if (is.null(encoding)) {
    encoding <- if (all(validUTF8(lines))) "UTF-8" else "latin1"
    if (encoding == "latin1") found <- "encoding Latin-1"
  }
  lines <- utils::tail(lines, length(lines) - skip)
  lines <- lines[grepl("[^[:space:],;]", lines, useBytes = TRUE)]
  if (length(lines) < 2L) abort_empty(path)
  if (is.null(sep)) {
    sep <- detect_separator(lines[1L], path)
    if (sep != ",") found <- c(found, paste("fields separated by",
                                            c(`;` = "semicolons", `\t` = "tabs")[[sep]]))
  }
  if (is.null(dec)) {
    dec <- detect_decimal(lines[-1L], sep, path)
    if (dec == ",") found <- c(found, "decimal comma")
  }
  if (length(found)) {
    say("file", paste0("'", basename(path), "': ", paste(found, collapse = ", "), "."))
  }
  list(sep = sep, dec = dec, encoding = encoding)
}

detect_separator <- function(header, path) {
  header <- gsub("\"[^\"]*\"", "", header, useBytes = TRUE)
  candidates <- c("\t", ";", ",")
  count <- vapply(candidates, function(s) {
    sum(gregexpr(s, header, fixed = TRUE, useBytes = TRUE)[[1L]] > 0L)
  }, 0L)
  best <- which(count == max(count))
  if (max(count) == 0L) return(",")
  if (length(best) > 1L) {
    abort("file", paste0("the separator of '", path, "' is not clear from its header"), arg = "sep",
          remedy = "Give it, e.g. `sep = \";\"`.")
  }
  candidates[best]
}

detect_decimal <- function(body, sep, path) {
  if (sep == ",") return(".")
  cells <- unlist(strsplit(body, sep, fixed = TRUE, useBytes = TRUE))
  cells <- gsub("[\" ]", "", cells, useBytes = TRUE)
  comma <- any(grepl("^[-+]?[0-9]*,[0-9]+$", cells, useBytes = TRUE))
  point <- any(grepl("^[-+]?[0-9]*\\.[0-9]+$", cells, useBytes = TRUE))
  if (comma && point) {
    abort("file", paste0("'", path,
                         "' has numbers with a decimal comma and numbers with a decimal point"),
          arg = "dec", remedy = "Correct the file, or say which it is by `dec`.")
  }
  if (comma) "," else "."
}

# The first line is read apart so that a byte order mark and blank lines above the header
# cannot end up in a column name; it is pushed back as bytes.
read_delimited <- function(path, layout, skip, na) {
  con <- file(path, "rt")
  on.exit(close(con))
  if (skip > 0) readLines(con, skip, warn = FALSE)
  repeat {
    first <- readLines(con, 1L, warn = FALSE)
    if (!length(first)) abort_empty(path)
    if (starts_as(first, UTF8_MARK)) first <- rawToChar(charToRaw(first)[-(1:3)])
    if (grepl("[^[:space:],;]", first, useBytes = TRUE)) break
  }
  pushBack(first, con, encoding = "bytes")
  unreadable <- function(e) {
    abort("file", paste0("'", path, "' cannot be read as a table: ",
                         valid_text(conditionMessage(e))), arg = "x",
          remedy = "Check that each row has as many fields as the header, quotes, and `sep`.")
  }
  # a last line without its end is no fault; any other warning is, such as an open quote
  raw <- tryCatch(withCallingHandlers(
    utils::read.table(con, header = TRUE, sep = layout$sep, quote = "\"", dec = layout$dec,
                      colClasses = "character", na.strings = na, strip.white = TRUE,
                      blank.lines.skip = TRUE, comment.char = "", check.names = FALSE,
                      encoding = layout$encoding, row.names = NULL),
    warning = function(w) {
      if (grepl("incomplete final line", conditionMessage(w))) invokeRestart("muffleWarning")
    }), error = unreadable, warning = unreadable)
  if (layout$encoding != "UTF-8") {
    names(raw) <- enc2utf8(names(raw))
    raw[] <- lapply(raw, enc2utf8)
  }
  stray <- Reduce(`|`, lapply(raw, \(x) !validEnc(x)))
  if (any(stray)) {
    abort("file", paste0("'", path, "' holds bytes that are no text in ", layout$encoding),
          arg = "encoding", rows = which(stray),
          remedy = "Give the encoding of the file, such as `encoding = \"latin1\"`.")
  }
  raw
}

# A zero byte anywhere: not text, or text in two bytes a letter. Readers would drop what is
# around it.
holds_nul <- function(path) {
  con <- file(path, "rb", raw = TRUE)
  on.exit(close(con))
  repeat {
    block <- readBin(con, "raw", 1e6)
    if (!length(block)) return(FALSE)
    if (any(block == 0L)) return(TRUE)
  }
}

# Rows and nameless columns in which nothing is written are an artefact of spreadsheets;
# they go, and this is said. `dec` travels with the text.
tidy_sheet <- function(raw, path, dec) {
  names(raw) <- trimws(names(raw))
  names(raw)[is.na(names(raw))] <- ""
  blank <- vapply(raw, function(x) all(is.na(x)), NA)
  idle <- blank & names(raw) == ""
  if (any(idle)) raw <- raw[!idle]
  if (any(names(raw) == "")) {
    abort("file", paste0("column ", which(names(raw) == "")[1L], " of '", path, "' has no name"),
          arg = "x", remedy = "Write a header above it.")
  }
  filled <- if (length(raw)) Reduce(`|`, lapply(raw, function(x) !is.na(x))) else logical()
  if (!any(filled)) abort_empty(path)
  if (any(idle) || !all(filled)) {
    say("file", paste0("'", basename(path), "': ",
                       paste(c(if (any(idle)) paste(sum(idle), "nameless empty column(s)"),
                               if (!all(filled)) paste(sum(!filled), "empty row(s)")),
                             collapse = " and "), " left out."))
    raw <- plain_frame(raw[filled, , drop = FALSE])
  }
  check_data(raw, "x")
  attr(raw, "dec") <- dec
  # errors count rows below the header, spreadsheet rows left empty included
  attr(raw, "rows") <- which(filled)
  raw
}

# A message of class softanneal_message_<what>.
say <- function(what, text) {
  message(structure(class = c(paste0("softanneal_message_", what), "softanneal_message", "message",
                              "condition"),
                    list(message = paste0(text, "\n"), call = NULL)))
}
