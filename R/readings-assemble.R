# Puts a sheet into the standard long form and checks that every row can be a reading.
# Checks here are about the impossible; doubts are the business of check_readings().

# Scale names in the one spelling of standardise_scale(), NA where unknown. Vickers and Knoop
# keep their load ("HV10"): sheet thickness and spacing of indentations depend on it.
known_scale <- function(x) {
  name <- standardise_scale(x)
  known <- grepl("^(H[VK]( 0\\.[15])?|HR[A-HK]|HR(15|30|45)[NTWXY]( .*)?|HBW .+|HB 30D2)$", name)
  loaded <- name %in% c("HV", "HK") & grepl("[0-9]", x)
  name[loaded] <- toupper(gsub("[[:space:]]", "", x[loaded]))
  name[!known] <- NA_character_
  name
}

# The most a scale can show. Rockwell: HR = N - h/S with h >= 0, so 0 to N (ISO 6508-1; N is
# 130 with a ball on the regular scales, else 100). Others are positive and open above.
scale_top <- function(scale) {
  ifelse(grepl("^HR[BEFGHK]$", scale), 130, ifelse(grepl("^HR", scale), 100, Inf))
}

abort_scale <- function(scale, column, rows = NULL) {
  abort("scale", paste0("'", scale, "' in `", column, "` is no hardness scale known here"),
        arg = column, rows = rows, remedy = "See `hardness_scales()` for the names.")
}

assemble_readings <- function(raw, template, columns, readings, constants) {
  dec <- attr(raw, "dec")
  rows <- attr(raw, "rows") %or% seq_len(nrow(raw))
  attr(raw, "rows") <- NULL
  wide <- wide_columns(raw, readings)
  roles <- understand_headers(raw, columns, wide$at)
  origin <- list(row = rows, names = list())
  said <- character()
  scale_read <- NULL
  for (j in seq_along(raw)) {
    role <- roles[[j]]
    if (is.null(role)) next
    name <- names(raw)[j]
    if (role$column %in% READINGS_NUMBERS) {
      by_class <- inherits(raw[[j]], c("units", "difftime"))
      value <- column_numbers(raw[[j]], name, role$column, dec)
      # identity is left out: 0 + 1 * x could turn -0 and cost a copy
      raw[[j]] <- if (by_class || identical(role$change, c(0, 1))) value else role$change[1L] +
        role$change[2L] * value
    }
    scale_read <- role$scale %or% scale_read
    note <- describe_change(name, role)
    said <- c(said, note)
    origin$names[[role$column]] <- name
    names(raw)[j] <- role$column
  }
  check_roles(raw, constants, scale_read, wide)
  for (j in wide$at) raw[[j]] <- column_numbers(raw[[j]], names(raw)[j], "hardness", dec)
  raw <- retype_extras(raw, wide$at, dec)
  for (column in names(constants)) raw[[column]] <- rep(constants[[column]], nrow(raw))
  if (!is.null(scale_read)) raw$scale <- rep(scale_read, nrow(raw))
  if (length(wide$at)) {
    long <- lengthen(raw, wide)
    raw <- long$data
    origin$row <- rows[long$row]
    origin$column <- long$column
  }
  for (column in READINGS_NEEDED) any_needed(raw, column)
  if (length(said)) say("units", paste0("Columns understood: ", paste(said, collapse = "; "), "."))
  raw <- validate_readings(raw, origin)
  attr(raw, "dec") <- NULL
  readings_like(label_columns(raw), template)
}

`%or%` <- function(x, y) if (is.null(x)) y else x

# What is said about one column, or nothing where the header already was the standard name.
describe_change <- function(name, role) {
  if (!is.null(role$scale)) return(paste0("'", name, "' is `hardness` in ", role$scale))
  if (identical(name, role$column)) return(NULL)
  how <- if (identical(role$change, c(0, 1))) NULL else switch(
    role$unit, k = "K - 273.15", f = "(F - 32) * 5/9",
    if (role$change[2L] < 1) paste("divided by", format(1 / role$change[2L])) else
      paste("times", format(role$change[2L])))
  paste0("'", name, "' is `", role$column, "`", if (!is.null(how)) paste0(", ", how))
}

any_needed <- function(raw, column) {
  if (column %in% names(raw)) return(invisible())
  constant <- c(specimen = "specimen = \"A\"", temp_c = "temp_c = 330", time_min = "time_min = 0",
                scale = "scale = \"HRF\"")
  abort("column", paste0("there is no column `", column, "`"), arg = column,
        remedy = paste0("The columns are ", in_quotes(names(raw), " and "),
                        ". Name the right one by `columns = c(",
                        column, " = ...)`",
                        if (column %in% names(constant)) {
                          paste0(", or give a constant, e.g. `", constant[[column]], "`")
                        },
                        if (column == "hardness") ", or the columns of a wide sheet by `readings`",
                        "."))
}

# One source for each quantity: column, constant, header or wide columns.
check_roles <- function(raw, constants, scale_read, wide) {
  both <- intersect(names(constants), names(raw))
  if (!is.null(scale_read) && "scale" %in% c(names(raw), names(constants))) both <- c(both, "scale")
  if (length(wide$at)) {
    both <- c(both, intersect(c("hardness", "reading"), names(raw)[-wide$at]))
  }
  if (length(both)) {
    abort("column", paste0("`", both[1L],
                           "` is given twice: by a column and by an argument or another header"),
          arg = both[1L], remedy = "Leave one of them out.")
  }
}

# Text columns that are none of ours get their natural type, as utils::read.table() does;
# names of specimens, groups and operators stay text ("007" is a name).
retype_extras <- function(raw, wide, dec) {
  if (is.null(dec)) return(raw)
  keep_text <- c("specimen", "scale", "group", "operator", "note", READINGS_NUMBERS)
  free <- setdiff(which(!names(raw) %in% keep_text), wide)
  raw[free] <- lapply(raw[free], utils::type.convert, as.is = TRUE, dec = dec)
  raw
}

# Wide to long, readings of one sheet row after one another.
lengthen <- function(raw, wide) {
  k <- length(wide$at)
  n <- nrow(raw)
  row <- rep(seq_len(n), each = k)
  long <- lapply(raw[-wide$at], `[`, row)
  long$reading <- rep(wide$number, n)
  long$hardness <- as.vector(do.call(rbind, unclass(raw)[wide$at]))
  list(data = structure(long, class = "data.frame", row.names = .set_row_names(n * k)), row = row,
       column = rep(names(raw)[wide$at], n))
}

validate_readings <- function(data, origin) {
  refuse <- function(what, column, bad, message, remedy, ...) {
    if (!any(bad)) return(invisible())
    at <- which(bad)
    shown <- if (column == "hardness" && !is.null(origin$column)) origin$column[at[1L]] else
      origin$names[[column]] %or% column
    abort(what, paste0("column `", shown, "` ", message(at[1L])), arg = shown,
          rows = unique(origin$row[at]), remedy = remedy, ...)
  }
  for (column in c("specimen", "temp_c", "time_min", "scale")) {
    refuse("missing", column, is.na(data[[column]]), \(i) "must not be missing",
           switch(column, time_min = "Write 0 for readings before the furnace.",
                  temp_c = paste("For as-rolled pieces write the temperature they are meant for,",
                                  "with time 0."),
                  "Fill in these cells."))
  }
  refuse("range", "temp_c", data$temp_c < -ZERO_CELSIUS,
         \(i) paste0("holds ", format(data$temp_c[i]),
                     " deg C, below absolute zero (-273.15 deg C)"),
         "Check the value and the unit.")
  refuse("range", "time_min", data$time_min < 0,
         \(i) paste0("must be zero or more, not ", format(data$time_min[i]), " min"),
         "Give the accumulated time in the furnace.")
  written <- data$scale
  labels <- unique(as.character(written))
  known <- known_scale(labels)
  id <- match(as.character(written), labels)
  refuse("scale", "scale", is.na(known)[id],
         \(i) paste0("holds '", written[i], "', which is no hardness scale known here"),
         "See `hardness_scales()` for the names.")
  data$scale <- known[id]
  top <- scale_top(known)[id]
  low_open <- !grepl("^HR", known)[id]
  h <- data$hardness
  refuse("range", "hardness", !is.na(h) & (h < 0 | (low_open & h == 0) | h > top),
         \(i) paste0("holds ", format(h[i]), ", which ", data$scale[i], " cannot give (",
                     if (low_open[i]) "above 0" else paste("0 to", top[i]), ")"),
         "Check the reading and its scale.")
  for (column in intersect(c("thickness_mm", "position_mm"), names(data))) {
    x <- data[[column]]
    solid <- column == "thickness_mm"
    refuse("range", column, !is.na(x) & (x < 0 | (solid & x == 0)),
           \(i) paste0("must be ", if (solid) "positive" else "zero or more", ", not ",
                       format(x[i]), " mm"), "Check the value and the unit.")
  }
  refuse_repeats(data, origin)
  if (anyNA(h)) {
    empty <- unique(origin$row[is.na(h)])
    warn("missing", paste0(sum(is.na(h)), " of ", length(h), " readings have no hardness (",
                           in_rows(empty), "); they stay as NA."), n = sum(is.na(h)), rows = empty)
  }
  data
}

# The same numbered reading twice is a slip of the pen; equal hardness without a number is
# an honest replicate.
refuse_repeats <- function(data, origin) {
  if (!"reading" %in% names(data) || !nrow(data)) return(invisible())
  key <- intersect(c("specimen", "temp_c", "time_min", "reading", "step", "group", "operator",
                     "scale",
                     "position_mm"), names(data))
  numbered <- !is.na(data$reading)
  id <- group_rows(unclass(data)[key])$id
  seen <- duplicated(id) & numbered
  if (!any(seen)) return(invisible())
  second <- which(seen)
  first <- match(id[second[1L]], id)
  abort("duplicate", paste0("row ", origin$row[second[1L]], " repeats row ", origin$row[first],
                            ": specimen ", data$specimen[first], ", ", format(data$temp_c[first]),
                            " deg C, ", format(data$time_min[first]), " min, reading ",
                            data$reading[first]),
        arg = "reading", rows = origin$row[second],
        remedy = "Correct the number, or leave out the repeated row.")
}

# Groups of rows that agree in all columns: `id` per row in order of first appearance and
# `first`, the row where each group appears first. Codes are combined as doubles and coded
# anew after each column, so they stay exact.
group_rows <- function(columns) {
  id <- match(columns[[1L]], unique(columns[[1L]]))
  for (x in columns[-1L]) {
    code <- match(x, unique(x))
    both <- (id - 1) * max(code, 1L) + code
    id <- match(both, unique(both))
  }
  list(id = id, first = which(!duplicated(id)))
}

# Gives the result the class of the table it came from, below softanneal_readings.
readings_like <- function(data, template) {
  if (inherits(template, "data.table") && requireNamespace("data.table", quietly = TRUE)) {
    data <- data.table::as.data.table(data)
    data.table::setattr(data, "class", c("softanneal_readings", class(data)))
    return(data)
  }
  below <- setdiff(class(template), c("grouped_df", "rowwise_df", "softanneal_readings"))
  if (inherits(template, "tbl_df")) below <- c("tbl_df", "tbl", "data.frame")
  class(data) <- c("softanneal_readings", below)
  data
}
