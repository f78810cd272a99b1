# Rows of a table that are a limit only: "at least" or "at most" in a column `limit`.

# Sides of a column `limit`: 1 at least, -1 at most, 0 a reading; NULL where there is none.
LIMIT_SIDES <- c("at most" = -1L, "at least" = 1L)

limit_sides <- function(data, column = "limit") {
  if (!column %in% names(data)) {
    if (column != "limit") any_column(data, column) # raises
    return(NULL)
  }
  x <- data[[column]]
  if (column == "limit" && !is.character(x) && !is.factor(x)) return(NULL)
  text <- tolower(trimws(valid_text(as.character(x))))
  side <- unname(LIMIT_SIDES[text])
  bad <- which(is.na(side) & !is.na(text) & nzchar(text))
  if (length(bad)) {
    if (column == "limit" && all(is.na(side))) return(NULL) # a column of another meaning
    abort("column", paste0("column `", column, "` holds '", text[bad[1L]], "'"), arg = column, rows = bad,
          remedy = "Write \"at least\" or \"at most\" for a limit, and leave it empty for a reading.")
  }
  side[is.na(side)] <- 0L
  if (any(side != 0L)) side
}

# Limits in a table that a function takes as readings would bias what it computes.
refuse_limits <- function(data, arg) {
  if (!"limit" %in% names(data)) return(invisible())
  side <- limit_sides(data)
  if (is.null(side)) return(invisible())
  rows <- which(side != 0L)
  abort("argument", paste0("`", arg, "` holds limits (at least, at most) among its readings, which only ",
                           "fit_softening() uses"), arg = arg, rows = rows,
        remedy = "Fit with fit_softening(); means without them would lie too near the other readings.")
}

limit_rows <- function(data) which(limit_sides(data) != 0L)
