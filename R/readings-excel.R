# An Excel sheet as a grid of cells (see readings-text.R): read by readxl, cell by cell with its
# type, so that a date or a clock time does not pass for a number.

# `fits`: whether a grid looks like what is wanted, for the choice of a sheet.
read_excel_grid <- function(path, sheet, skip, fits = \(g) find_header(g)$score >= 3) {
  need_package("readxl", "to read Excel files")
  sheets <- excel_attempt(readxl::excel_sheets(path), path)
  hidden <- hidden_sheets(path)
  found <- character()
  if (is.null(sheet)) {
    visible <- setdiff(sheets, hidden)
    if (!length(visible)) visible <- sheets
    grids <- lapply(visible, \(s) one_sheet(path, s, skip))
    filled <- vapply(grids, \(g) length(g$row) > 1L, NA)
    if (!any(filled)) abort_empty(path)
    # the first sheet that looks right, else the first that holds anything
    at <- c(which(filled)[vapply(grids[filled], fits, NA)], which(filled))[1L]
    grid <- grids[[at]]
    others <- setdiff(sheets, grid$sheet)
    if (length(others)) {
      named <- paste0("'", others, "'", ifelse(others %in% hidden, " (hidden)", ""))
      found <- paste0("sheet '", grid$sheet, "' read, not ", paste(utils::head(named, 6L), collapse = ", "),
                      if (length(named) > 6L) paste(" and", length(named) - 6L, "more"),
                      "; another by `sheet =`")
    }
  } else {
    grid <- one_sheet(path, sheet, skip)
    if (is.numeric(sheet)) grid$sheet <- sheets[sheet]
    if (length(grid$row) < 2L) abort_empty(path)
    if (grid$sheet %in% hidden) found <- paste0("sheet '", grid$sheet, "' is hidden")
  }
  grid$found <- found
  grid
}

excel_attempt <- function(code, path) {
  tryCatch(code, error = function(e) {
    abort("file", paste0("the Excel file '", path, "' cannot be read: ",
                         sub("[.]$", "", valid_text(conditionMessage(e)))),
          arg = "x", remedy = "Check the sheet, or save it as CSV.")
  })
}

one_sheet <- function(path, sheet, skip) {
  raw <- excel_attempt(suppressMessages(
    readxl::read_excel(path, sheet = sheet, col_names = FALSE, col_types = "list",
                       range = readxl::cell_limits(c(1L, 1L), c(NA, NA)), .name_repair = "minimal")),
    path)
  cells <- lapply(unclass(raw), \(x) vapply(x, cell_text, ""))
  names(cells) <- paste0("V", seq_along(cells))
  n <- if (length(cells)) length(cells[[1L]]) else 0L
  written <- if (n) Reduce(`|`, lapply(cells, nzchar)) & seq_len(n) > skip else logical()
  keep <- which(written)
  cells <- lapply(cells, `[`, keep)
  list(cells = structure(cells, class = "data.frame", row.names = .set_row_names(length(keep))),
       row = keep, path = path, sheet = if (is.character(sheet)) sheet, kind = "excel")
}

# One cell as text; numbers with the digits a sheet holds, dates as dates.
cell_text <- function(x) {
  if (is.null(x) || length(x) != 1L || is.na(x)) return("")
  if (inherits(x, "POSIXct")) {
    # to the millisecond; format() alone cuts 9.9999 s to 9
    ms <- round(as.numeric(x) * 1000)
    whole <- format(as.POSIXct(ms %/% 1000, origin = "1970-01-01", tz = "UTC"), "%Y-%m-%d %H:%M:%S")
    return(paste0(whole, if (ms %% 1000 > 0) sprintf(".%03d", as.integer(ms %% 1000))))
  }
  if (is.numeric(x)) return(format(x, digits = 15L, scientific = FALSE, trim = TRUE,
                                   decimal.mark = "."))
  trimws(enc2utf8(as.character(x)))
}

# Names of sheets the workbook hides (.xlsx only; the old format does not say it in text).
hidden_sheets <- function(path) {
  if (!grepl("\\.xlsx$", path, ignore.case = TRUE)) return(character())
  con <- NULL
  text <- tryCatch({
    con <- unz(path, "xl/workbook.xml", encoding = "UTF-8")
    paste(readLines(con, warn = FALSE), collapse = " ")
  }, error = function(e) "", finally = if (!is.null(con)) close(con))
  tags <- regmatches(text, gregexpr("<sheet [^>]*>", text))[[1L]]
  tags <- grep("state=\"(very)?hidden\"", tags, ignore.case = TRUE, value = TRUE)
  name <- sub(".*[ ]name=\"([^\"]*)\".*", "\\1", tags)
  for (mark in list(c("&lt;", "<"), c("&gt;", ">"), c("&quot;", "\""), c("&apos;", "'"), c("&amp;", "&"))) {
    name <- gsub(mark[1L], mark[2L], name, fixed = TRUE)
  }
  name
}
