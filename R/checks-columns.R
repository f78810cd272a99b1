# Columns that are not plain numbers: units, durations, dates, 64-bit integers. Each is converted
# exactly or refused in its own words; none is taken for the number it is stored as.

# What to give in place of a time of day.
NOT_IN_FURNACE <- paste(
  "A time of day is no time in the furnace: give the minutes in it, added up over the steps of a piece and 0",
  "as rolled, or the clock times in and out in two columns, for read_readings() `in_clock` and `out_clock`.")

# A classed column as plain numbers in `unit` (a symbol of the units package, NULL: none).
plain_class <- function(x, unit, column) {
  if (inherits(x, "units")) {
    return(if (is.null(unit)) without_unit(x, column) else plain_units(x, unit, column))
  }
  if (inherits(x, "difftime")) {
    known <- c(min = "mins", s = "secs", h = "hours", d = "days")
    if (is.null(unit) || !unit %in% names(known)) {
      abort("column", paste0("column `", column, "` holds differences of time"), arg = column,
            remedy = "Give plain numbers.")
    }
    # classes below difftime may keep one unit whatever is asked for, as hms does
    return(as.numeric(as.difftime(as.vector(unclass(x)), units = attr(x, "units")), units = known[[unit]]))
  }
  if (inherits(x, "POSIXt") && identical(unit, "s")) return(as.numeric(as.POSIXct(x)))
  if (inherits(x, c("POSIXt", "Date"))) {
    abort("column", paste0("column `", column, "` holds ",
                           if (inherits(x, "Date")) "dates" else "clock times"),
          arg = column, remedy = if (identical(unit, "min")) {
            NOT_IN_FURNACE
          } else "Give plain numbers; a spreadsheet makes dates of numbers such as 4.5.")
  }
  if (inherits(x, "integer64")) return(from_integer64(x))
  x
}

# A number without unit is wanted: a hardness in MPa is none of the scales.
without_unit <- function(x, column) {
  unit <- tryCatch(as.character(attr(x, "units")), error = function(e) "?")
  if (!length(unit) || identical(unit, "1") || !nzchar(unit[1L])) return(as.double(unclass(x)))
  abort("units", paste0("column `", column, "` has the unit '", unit[1L],
                        "', where a number without unit is wanted"), arg = column,
        remedy = if (grepl("Pa$", unit[1L])) {
          "A Vickers number is kgf/mm2: divide MPa by 9.80665, and drop the unit."
        } else "Convert it and drop the unit.")
}

# 64-bit integers are kept in the bytes of doubles: low and high half, without the package bit64.
from_integer64 <- function(x) {
  bytes <- writeBin(as.double(unclass(x)), raw(), endian = "little")
  half <- matrix(readBin(bytes, "integer", 2L * length(x), endian = "little"), 2L)
  low <- ifelse(is.na(half[1L, ]), 2^31, half[1L, ] + ifelse(half[1L, ] < 0, 2^32, 0))
  out <- ifelse(is.na(half[2L, ]), NA_real_, half[2L, ] * 2^32 + low)
  as.double(out)
}

# Columns that dplyr::group_by() or rowwise() grouped a table by.
groups_of <- function(data) {
  if (!inherits(data, c("grouped_df", "rowwise_df"))) return(character())
  setdiff(names(attr(data, "groups", exact = TRUE)), ".rows")
}

# A table of a database, of duckdb or of arrow, of which only the query is there: dbplyr gives the first
# class, arrow its tables and datasets the second, and queries of them the third.
UNREAD_TABLES <- c("tbl_lazy", "ArrowObject", "arrow_dplyr_query", "dtplyr_step")

is_unread <- function(x) inherits(x, UNREAD_TABLES)

READ_IT_FIRST <- "Fetch its rows first, by dplyr::collect(); groups of group_by() stay."
