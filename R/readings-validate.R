# Checks of the impossible in a long table of readings; doubts are the business of check_readings().

validate_readings <- function(data, origin, property = FALSE) {
  refuse <- function(what, column, bad, says, remedy, ...) {
    if (!any(bad)) return(invisible())
    at <- which(bad)
    shown <- if (column == "hardness" && !is.null(origin$column)) origin$column[at[1L]] else
      origin$names[[column]] %or% column
    letter <- if (column == "hardness" && !is.null(origin[["letter"]])) origin[["letter"]][at[1L]] else
      origin$letters[[column]]
    abort(what, paste0("column `", shown, "` ", says(at[1L])), arg = shown,
          rows = unique(origin$row[at]), remedy = remedy,
          where = place_text(origin$place, origin$sheet[at], letter), ...)
  }
  for (column in c("specimen", "temp_c", "time_min", "scale")) {
    lost <- is.na(data[[column]])
    if (column == "temp_c") lost <- lost & !data$time_min %in% 0 # as rolled: no furnace yet
    refuse("missing", column, lost, \(i) "must not be missing",
           switch(column, time_min = "Write 0 for readings before the furnace.",
                  temp_c = "Only readings before the furnace, with time 0, may have none.",
                  "Fill in these cells."))
  }
  refuse("range", "temp_c", !is.na(data$temp_c) & data$temp_c < -ZERO_CELSIUS,
         \(i) paste0("holds ", format(data$temp_c[i]),
                     " ", degree_c(), ", below absolute zero (", in_degrees(-273.15), ")"),
         "Check the value and the unit.")
  refuse("range", "time_min", data$time_min < 0,
         \(i) paste0("must be zero or more, not ", format(data$time_min[i]), " min"),
         "Give the accumulated time in the furnace.")
  written <- data$scale
  labels <- unique(as.character(written))
  known <- known_scale(labels)
  known[is.na(known)] <- known_scale(fold_header(labels[is.na(known)]))
  id <- match(as.character(written), labels)
  refuse("scale", "scale", is.na(known)[id],
         \(i) paste0("holds '", written[i], "', which is not a hardness scale known here"),
         "See `hardness_scales()` for the names.")
  data$scale <- known[id]
  top <- scale_top(known)[id]
  low_open <- !grepl("^HR", known)[id]
  h <- data$hardness
  if (property) { # no scale bounds it
    refuse("range", "hardness", !is.na(h) & h < 0, \(i) paste0("holds ", format(h[i]), ", below zero"),
           "Add a constant to changes of a property.")
    top <- Inf
    low_open <- FALSE
  }
  refuse("range", "hardness", !is.na(h) & (h < 0 | (low_open & h == 0) | h > top),
         \(i) paste0("holds ", format(h[i]), ", which ", data$scale[i], " cannot give (",
                     if (low_open[i]) "above 0" else paste("0 to", top[i]), ")"),
         "Check the reading and its scale.")
  refuse("range", "hardness", !is.na(h) & low_open & h > 1e4,
         \(i) paste0("holds ", format(h[i]), ", harder than diamond"),
         "Check the reading; a spreadsheet keeps the date it made of 4.5 as such a number.")
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
    cells <- place_text(origin$place, origin$sheet[is.na(h)]) %or% in_rows(empty)
    warn("missing", paste0(sum(is.na(h)), " of ", length(h), " readings have no hardness (",
                           cells, "); they stay as NA."), n = sum(is.na(h)), rows = empty)
  }
  data
}

# The same numbered reading twice is a slip of the pen; equal hardness without a number is
# a genuine repeat.
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
  apart <- telling_apart(data, id, key)
  abort("duplicate", paste0("row ", origin$row[second[1L]], " repeats row ", origin$row[first],
                            ": specimen ", data$specimen[first], ", ",
                            if (!is.na(data$temp_c[first])) {
                              paste0(in_degrees(format(data$temp_c[first])), ", ")
                            },
                            format(data$time_min[first]), " min, reading ",
                            data$reading[first]),
        arg = "reading", rows = origin$row[second],
        where = place_text(origin$place, origin$sheet[second]),
        remedy = if (length(apart)) {
          paste0("Column `", apart[1L], "` tells them apart; say what it is, such as ",
                 "columns = c(operator = \"", apart[1L], "\"), or group, laboratory, furnace.")
        } else if (data$time_min[first] > 0 && origin$row[second[1L]] != origin$row[first]) {
          paste("If these are the times of single steps, read with `times = \"step\"`;",
                "otherwise correct the number, or leave out the repeated row.")
        } else "Correct the number, or leave out the repeated row.")
}

# Columns not understood whose values differ wherever all that is understood agrees.
telling_apart <- function(data, id, key) {
  Filter(function(name) {
    x <- data[[name]]
    is.atomic(x) && is.null(dim(x)) && length(unique(x)) <= nrow(data) / 3 &&
      !anyDuplicated(paste(id, match(x, unique(x))))
  }, setdiff(names(data), c(key, READINGS_NEEDED, READINGS_OPTIONAL, "sheet_row", "sheet_column")))
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
