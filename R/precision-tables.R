# The published tables this room uses, read from inst/extdata, and the machine tolerance for
# a reading. Each row keeps its source and whether it was seen or is from memory.

# Permitted repeatability (range of readings on one block) and error of a testing machine on
# a scale near a level: ASTM E18 Table A1.3. Returns one row, or NULL where the table has
# none. Between two ranges the wider figure holds; `status` and `source` travel along.
machine_tolerance <- function(scale, level) {
  rows <- fact_table("precision_machine.csv.gz")
  rows <- rows[grepl("Table A1.3", rows$table) & rows$scale == scale, ]
  if (!nrow(rows) || level < min(rows$low) - 5 || level > max(rows$high) + 5) return(NULL)
  gap <- pmax(rows$low - level, level - rows$high, 0)
  near <- if (any(gap == 0)) rows[gap == 0, ] else {
    below <- rows[rows$high < level, ]
    above <- rows[rows$low > level, ]
    rbind(utils::tail(below[order(below$high), ], 1L), utils::head(above[order(above$low), ], 1L))
  }
  list(repeatability = max(near$repeatability), error = max(near$error),
       range = paste(near$range_as_printed, collapse = " and "),
       source = near$source[1L], status = near$status[1L],
       memory = grepl("from memory", near$status[1L]))
}

# One state of one specimen as plain readings: numbers as they are, or the hardness column of a
# table. Returns list(x, scale, n_missing); the scale is one name or NULL.
one_state <- function(data, hardness, reading_scale, scale, arg) {
  if (is.data.frame(data)) {
    check_data(data, arg)
    x <- numeric_column(data, hardness, arg, lower = -1e6, upper = 1e6, na = TRUE)
    if (reading_scale %in% names(data)) {
      found <- unique(known_scale(as.character(data[[reading_scale]])))
      if (length(found) > 1L) {
        abort("scale", paste0("`", arg, "` mixes the scales ", in_quotes(found, " and ")),
              arg = arg,
              remedy = "Compare within one scale, or convert with `convert_hardness()` first.")
      }
      if (is.na(found)) abort_scale(data[[reading_scale]][1L], reading_scale)
      if (!is.null(scale) && !identical(found, scale)) {
        abort("scale", paste0("`scale` is '", scale, "' and `", arg, "` is in '", found, "'"),
              arg = "scale",
              remedy = "Leave `scale` out.")
      }
      scale <- found
    }
  } else {
    x <- check_numeric(data, arg, -1e6, 1e6, na = TRUE)
  }
  list(x = x, scale = scale)
}

check_scale <- function(scale, arg = "scale") {
  if (is.null(scale)) return(NULL)
  check_string(scale, arg)
  known <- known_scale(scale)
  if (is.na(known)) abort_scale(scale, arg)
  known
}

# Drops missing readings and says so once.
present <- function(x, arg, least) {
  gone <- is.na(x)
  if (any(gone)) {
    warn("missing", paste0(sum(gone), " of ", length(x), " values of `", arg,
                           "` are missing and left out."),
         n = sum(gone), rows = which(gone))
  }
  x <- x[!gone]
  if (length(x) < least) {
    abort("too_few", paste0("`", arg, "` has ", count(length(x), "reading"), " and needs ", least),
          arg = arg,
          remedy = "Take more readings; five a step is common practice.")
  }
  x
}
