# Rows of a table that are a limit only: "at least" or "at most" in a column `limit`.

# Sides of a column `limit`: 1 at least, -1 at most, 0 a reading; NULL where there is none.
LIMIT_SIDES <- c("at most" = -1L, "at least" = 1L)
LIMIT_SIGNS <- c("<" = -1L, "<=" = -1L, "\u2264" = -1L, ">" = 1L, ">=" = 1L, "\u2265" = 1L,
                 none = 0L, no = 0L, "-" = 0L)

limit_sides <- function(data, column = "limit") {
  if (!column %in% names(data)) {
    if (column != "limit") any_column(data, column) # raises
    return(NULL)
  }
  x <- data[[column]]
  if (column == "limit" && !is.character(x) && !is.factor(x)) return(NULL)
  text <- tolower(trimws(valid_text(as.character(x))))
  side <- unname(c(LIMIT_SIDES, LIMIT_SIGNS)[text])
  bad <- which(is.na(side) & !is.na(text) & nzchar(text))
  if (length(bad)) {
    abort("column", paste0("column `", column, "` holds '", text[bad[1L]], "'"), arg = column, rows = bad,
          remedy = paste("Write \"at least\" (or >) or \"at most\" (or <) for a limit, and leave it empty",
                         "for a reading; rename a column of another meaning."))
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
