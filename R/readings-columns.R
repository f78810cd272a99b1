# Which column is what: headers with units, columns named by the user, wide sheets, constants.
# A header is understood only if it is one of the standard names, or a quantity followed by
# a unit of that quantity; anything else is left alone.

READINGS_NEEDED <- c("specimen", "temp_c", "time_min", "hardness", "scale")
READINGS_OPTIONAL <- c("step", "reading", "group", "operator", "position_mm", "thickness_mm",
                       "note")
READINGS_NUMBERS <- c("temp_c", "time_min", "hardness", "position_mm", "thickness_mm", "step")

# Quantity -> standard column and the units of the bench: standard = a + b * value.
# 1 in = 25.4 mm and 0 deg F = 459.67 deg R exactly (definitions).
QUANTITIES <- list(
  time = list(column = "time_min", units = list(
    min = c(0, 1), s = c(0, 1 / 60), h = c(0, 60), d = c(0, 1440))),
  temp = list(column = "temp_c", units = list(
    c = c(0, 1), k = c(-ZERO_CELSIUS, 1), f = c(-160 / 9, 5 / 9))),
  thickness = list(column = "thickness_mm", units = list(
    mm = c(0, 1), um = c(0, 1e-3), "in" = c(0, 25.4))),
  position = list(column = "position_mm", units = list(
    mm = c(0, 1), um = c(0, 1e-3), "in" = c(0, 25.4))))

UNIT_SPELLINGS <- c(
  min = "min", mins = "min", minute = "min", minutes = "min", s = "s", sec = "s", secs = "s",
  second = "s", seconds = "s", h = "h", hr = "h", hrs = "h", hour = "h", hours = "h", d = "d",
  day = "d", days = "d", c = "c", degc = "c", celsius = "c", k = "k", kelvin = "k", degk = "k",
  f = "f", degf = "f", fahrenheit = "f", mm = "mm", um = "um", micron = "um", microns = "um",
  "in" = "in", inch = "in", inches = "in")

# One header: list(column, unit, scale, change) or NULL where it is not one of ours.
parse_header <- function(name, is_units = FALSE) {
  text <- tolower(trimws(name))
  text <- gsub("[\u00b5\u03bc]", "u", text)
  standard <- gsub("[ .]+", "_", text)
  if (standard %in% c(READINGS_NEEDED, READINGS_OPTIONAL)) {
    unit <- c(time_min = "min", temp_c = "c", position_mm = "mm", thickness_mm = "mm")[standard]
    return(list(column = standard, unit = unname(unit), change = c(0, 1)))
  }
  shape <- "^(time|temp|temperature|hardness|thickness|position)[ _.,/]*(.*)$"
  if (!grepl(shape, text)) return(NULL)
  quantity <- sub("temperature", "temp", sub(shape, "\\1", text))
  rest <- sub(shape, "\\2", text)
  bracketed <- grepl("^[[(].*[])]$", rest)
  rest <- trimws(gsub("^[[(]|[])]$", "", rest))
  if (quantity == "hardness") {
    scale <- if (rest == "") NA_character_ else known_scale(gsub("_", " ", rest))
    if (is.na(scale) && bracketed) abort_scale(rest, name)
    return(if (!is.na(scale)) list(column = "hardness", scale = scale, change = c(0, 1)))
  }
  about <- QUANTITIES[[quantity]]
  if (rest == "") {
    if (is_units) return(list(column = about$column, unit = NA, change = c(0, 1)))
    abort("units", paste0("the column '", name, "' has no unit"), arg = name,
          remedy = paste0("Say it in the header or by `columns = c(", about$column, " = \"", name,
                          "\")`."))
  }
  spelled <- gsub("\u00b0|[ ._]|deg(rees?)?", "", rest)
  unit <- unname(UNIT_SPELLINGS[spelled])
  if (is.na(unit) || !unit %in% names(about$units)) {
    if (!bracketed && spelled != "m") return(NULL)
    abort("units", paste0("the unit '", rest, "' of column '", name, "' is ",
                          if (spelled == "m") "ambiguous" else "unknown"), arg = name,
          remedy = paste0("Use one of ", in_quotes(names(about$units)), "."))
  }
  list(column = about$column, unit = unit, change = about$units[[unit]])
}

check_constants <- function(constants) {
  allowed <- c(READINGS_NEEDED, READINGS_OPTIONAL)
  allowed <- setdiff(allowed, c("hardness", "reading"))
  given <- names(constants)
  odd <- if (length(constants)) which(!given %in% allowed)
  if (length(odd)) {
    shown <- if (is.null(given) || given[odd[1L]] == "") "(unnamed)" else given[odd[1L]]
    abort("argument", paste0("unknown argument '", shown, "'"), arg = shown,
          remedy = paste0("Constants may be given for ", in_quotes(allowed, " and "), "."))
  }
  for (column in names(constants)) {
    value <- constants[[column]]
    if (!is.atomic(value) || length(value) != 1L || is.na(value)) {
      abort("argument", paste0("`", column, "` must be one value, not ", describe(value)),
            arg = column,
            remedy = "Give one constant for the whole table, or a column.")
    }
    if (column %in% READINGS_NUMBERS) constants[[column]] <- check_number(value, column)
  }
  constants
}

# What each column of the sheet is. Returns a list by column position (NULL: left alone).
understand_headers <- function(raw, columns, wide) {
  roles <- vector("list", length(raw))
  if (!is.null(columns)) {
    if (!is.character(columns) || is.null(names(columns)) || anyNA(columns) ||
        any(names(columns) == "")) {
      abort("argument", "`columns` must be named text", arg = "columns",
            remedy = "Write e.g. `columns = c(hardness = \"reading value\")`.")
    }
    for (i in seq_along(columns)) {
      at <- which(names(raw) == columns[[i]])
      if (!length(at)) any_column(raw, columns[[i]], "x")
      role <- parse_header(names(columns)[i], inherits(raw[[at]], "units"))
      if (is.null(role)) {
        abort("argument", paste0("`columns` names '", names(columns)[i],
                                 "', which is no column of readings"),
              arg = "columns", remedy = paste0("Use ", in_quotes(READINGS_NEEDED, " and "),
                                               " or an optional one."))
      }
      # a scale in the header of the sheet still counts: c(hardness = "Hardness (HRF)")
      if (role$column == "hardness" && is.null(role$scale)) {
        inside <- tryCatch(parse_header(names(raw)[at]), softanneal_error = function(e) NULL)
        role$scale <- inside$scale
      }
      roles[[at]] <- role
    }
  }
  named <- vapply(roles, function(r) if (is.null(r)) "" else r$column, "")
  for (j in setdiff(seq_along(raw), c(which(named != ""), wide))) {
    role <- parse_header(names(raw)[j], inherits(raw[[j]], c("units", "difftime")))
    # a column the user named replaces one that merely looks like it; the other stays as it is
    if (!is.null(role) && !role$column %in% named[named != ""]) roles[[j]] <- role
  }
  now <- vapply(roles, function(r) if (is.null(r)) NA_character_ else r$column, "")
  twice <- unique(now[duplicated(now) & !is.na(now)])
  if (length(twice)) {
    abort("column", paste0("columns ", in_quotes(names(raw)[now %in% twice[1L]], " and "),
                           " could both be `", twice[1L], "`"), arg = twice[1L],
          remedy = paste0("Say which by `columns = c(", twice[1L], " = ...)`."))
  }
  roles
}

# Positions of the reading columns of a wide sheet, and their numbers.
wide_columns <- function(raw, readings) {
  if (is.null(readings)) return(list(at = integer()))
  if (!is.character(readings) || !length(readings) || anyNA(readings)) {
    abort("argument", paste0("`readings` must be column names, not ", describe(readings)),
          arg = "readings",
          remedy = "Give the names of the reading columns, or the part before their number.")
  }
  readings <- valid_text(readings)
  if (length(readings) == 1L && !readings %in% names(raw)) {
    tail <- substring(names(raw), nchar(readings) + 1L)
    at <- which(startsWith(names(raw), readings) & grepl("^[ _.]*[0-9]+$", tail))
    if (!length(at)) {
      abort("column", paste0("`x` has no columns named '", readings, "' with a number behind it"),
            arg = "readings", remedy = paste0("It has ", in_quotes(names(raw), " and "), "."))
    }
  } else {
    for (name in readings) any_column(raw, name, "x")
    at <- match(readings, names(raw))
  }
  if (length(at) == 1L) {
    abort("argument", "`readings` names one column only", arg = "readings",
          remedy = paste0("Use `columns = c(hardness = \"", names(raw)[at], "\")`."))
  }
  number <- suppressWarnings(as.integer(sub("^.*?([0-9]+)$", "\\1", names(raw)[at])))
  if (anyNA(number) || anyDuplicated(number)) number <- seq_along(at)
  list(at = at, number = number)
}

# One column as numbers in the unit its header says; `units` and `difftime` columns are
# converted by their class to the unit of the bench. Text is read with the decimal mark of
# the file.
column_numbers <- function(x, name, column, dec) {
  if (inherits(x, "difftime")) return(as.numeric(x, units = "mins"))
  if (is.character(x) || is.factor(x)) x <- text_numbers(trimws(as.character(x)), name, dec)
  bench <- c(time_min = "min", temp_c = "degC", position_mm = "mm", thickness_mm = "mm")
  frame <- structure(list(x), names = name, class = "data.frame",
                     row.names = .set_row_names(length(x)))
  numeric_column(frame, name, "x", unit = if (column %in% names(bench)) bench[[column]], na = TRUE,
                 remedy = "Give a finite number.")
}

text_numbers <- function(text, name, dec) {
  text <- valid_text(text)
  text[!nzchar(text)] <- NA
  plain <- if (identical(dec, ",")) chartr(",.", ".,", text) else text
  number <- suppressWarnings(as.numeric(plain))
  bad <- which(is.na(number) & !is.na(text))
  if (length(bad)) {
    abort("column", paste0("column `", name, "` must hold numbers, and holds '", text[bad[1L]],
                           "'"),
          arg = name, rows = bad, cells = text[bad],
          remedy = "Correct these cells: a number only, no unit, one decimal mark.")
  }
  number
}

# The names in the column arguments of a table of readings, for functions that take them all.
reading_columns <- function(hardness, specimen, temp, time, scale) {
  lapply(list(hardness = hardness, specimen = specimen, temp_c = temp, time_min = time, scale = scale),
         column_name)
}
