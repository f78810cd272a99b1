# Where the table stands on a sheet: notes above it, headers in one row or two, keys written once
# for several rows. Works on grids of text (readings-text.R, readings-excel.R) and gives a table of
# text with its header.

# What each cell that occurs would be as a header: read once, since most cells of a column are alike.
cells_read <- function(cells) {
  cell <- unique(cells[!is.na(cells) & nchar(cells, "bytes") <= 200L])
  plain <- grepl("^[0-9.]+$", cell) # no header starts with a digit
  role <- vector("list", length(cell))
  role[!plain] <- lapply(cell[!plain], \(x) tryCatch(parse_header(x), softanneal_error_units = function(e) {
    list(column = e$column, weak = TRUE)
  }, softanneal_error = function(e) NULL))
  list(cell = cell, role = role, wide = lapply(cell, parse_wide))
}

# How well a row of cells reads as header: one for each column understood. `named`: headers the
# caller names, which count most.
header_score <- function(cells, named = character(), known = cells_read(cells)) {
  cells <- cells[!is.na(cells) & nzchar(trimws(cells))]
  if (!length(cells) || length(cells) > 500L) return(0)
  cells <- cells[nchar(cells, "bytes") <= 200L]
  if (!length(cells)) return(0)
  at <- match(cells, known$cell)
  roles <- known$role[at]
  roles <- roles[!vapply(roles, is.null, NA)]
  column <- vapply(roles, \(r) r$column, "")
  weak <- vapply(roles, \(r) isTRUE(r$weak), NA)
  wide <- known$wide[at]
  wide <- wide[!vapply(wide, is.null, NA)]
  bare <- vapply(wide, \(w) w$kind == "reading" && !nzchar(w$stem), NA)
  # numbers alone are a header where they count, and data elsewhere
  if (any(bare) && !identical(vapply(wide[bare], `[[`, 0L, "number"), seq_len(sum(bare)))) {
    wide <- wide[!bare]
  }
  wide <- length(wide)
  length(unique(column[!weak])) + 0.5 * length(setdiff(column[weak], column[!weak])) +
    (if (wide > 1L) wide else 0) + 3 * sum(named %in% trimws(cells))
}

# Rows of the header (one or two) and its names: the best row, or pair of rows, of the first thirty.
find_header <- function(grid, named = character()) {
  n <- min(length(grid$row) - 1L, 30L)
  row_cells <- function(i) {
    x <- vapply(grid$cells, `[`, "", i)
    x[is.na(x)] <- ""
    # nothing so long is a header, and patterns are slow on it
    x[nchar(x, "bytes") > 1000L] <- "(long text)"
    trimws(gsub("[[:space:]]+", " ", x))
  }
  best <- list(rows = 1L, names = row_cells(1L), score = 0)
  for (i in seq_len(n)) {
    one <- row_cells(i)
    score <- header_score(one, named)
    if (score > best$score) best <- list(rows = i, names = one, score = score)
    # once a header stands there, one row more is looked at
    if (i == n || (best$score >= 4 && i > max(best$rows))) break
    below <- row_cells(i + 1L)
    # a row of data is not a second header; rows of a header follow each other on the sheet
    if (!any(nzchar(below)) || grid$row[i + 1L] - grid$row[i] > 2L) next
    two <- join_headers(one, below)
    score <- header_score(two, named)
    if (score > best$score + 0.75) best <- list(rows = i + 0:1, names = two, score = score)
  }
  if (best$score < 2) best <- list(rows = 1L, names = row_cells(1L), score = best$score)
  best
}

# Two header rows as one: a name above spreads over the empty cells to its right that have one below.
join_headers <- function(above, below) {
  spread <- above
  for (j in seq_along(spread)[-1L]) {
    if (!nzchar(spread[j]) && nzchar(below[j])) spread[j] <- spread[j - 1L]
  }
  # what the row below names itself needs nothing from the left
  own <- nzchar(below) & !nzchar(above) &
    vapply(below, \(x) header_score(x) >= 1 && is.null(parse_wide(x)), NA)
  spread[own] <- ""
  trimws(paste(spread, below))
}

# From grid to table: header found, notes above it told, rows below checked and cleaned.
grid_table <- function(grid, named, na, dec) {
  header <- find_header(grid, named)
  found <- grid$found
  top <- header$rows[1L] - 1L
  if (top > 0L) {
    first <- paste(Filter(nzchar, vapply(grid$cells, `[`, "", 1L)), collapse = " ")
    if (nchar(first) > 60L) first <- paste0(substr(first, 1L, 60L), "...")
    found <- c(found, paste0(count(top, "line"), " above the header not used ('", first, "')"))
  }
  if (length(header$rows) > 1L) found <- c(found, "header in two rows")
  check_fields(grid, header$rows)
  body <- -seq_len(max(header$rows))
  raw <- lapply(grid$cells, `[`, body)
  rows <- grid$row[body]
  if (!length(rows)) abort_empty(grid$path)
  raw <- lapply(raw, plain_signs)
  raw <- lapply(raw, \(x) replace(x, !is.na(x) & (x %in% na | !nzchar(x)), NA))
  names(raw) <- header$names
  names(raw) <- number_scales(names(raw))
  raw <- structure(raw, class = "data.frame", row.names = .set_row_names(length(rows)))
  letters <- column_letters(seq_along(raw))
  if (grid$kind == "text") {
    if (is.null(dec)) dec <- detect_decimal(raw, grid$path, list(row = rows, letters = letters))
    if (dec == ",") found <- c(found, "decimal comma")
  } else {
    text <- lapply(raw, \(x) grepl("^[-+]?[0-9]+,[0-9]{1,2}$", x))
    if (any(unlist(text))) {
      found <- c(found, "decimal comma in cells of text")
      for (j in which(vapply(text, any, NA))) raw[[j]][text[[j]]] <- sub(",", ".", raw[[j]][text[[j]]])
    }
    dec <- "."
  }
  tell_layout(grid, found)
  tidy_sheet(raw, grid, dec, letters, rows)
}

# "HRB", "HRB", "HRB" over three readings become "HRB 1" to "HRB 3".
number_scales <- function(names) {
  for (name in unique(names[duplicated(names) & nzchar(names)])) {
    if (!identical(parse_wide(name)$kind, "scale")) next
    at <- which(names == name)
    names[at] <- paste(name, seq_along(at))
  }
  names
}

tell_layout <- function(grid, found) {
  if (length(found)) {
    say("file", paste0("'", basename(grid$path), "': ", paste(found, collapse = ", "), "."))
  }
}

# The decimal mark of the cells; 1,440 alone may be either and is asked for.
detect_decimal <- function(raw, path, place = NULL) {
  cells <- unlist(lapply(raw, unique), use.names = FALSE)
  cells <- cells[!is.na(cells)]
  comma <- grepl("^[-+]?[0-9]*,[0-9]+$", cells, useBytes = TRUE)
  point <- grepl("^[-+]?[0-9]*\\.[0-9]+$", cells, useBytes = TRUE)
  if (any(comma) && any(point)) {
    # the rarer of the two is probably the slip
    shape <- c("^[-+]?[0-9]*,[0-9]+$", "^[-+]?[0-9]*\\.[0-9]+$")
    at <- lapply(shape, \(s) do.call(rbind, lapply(seq_along(raw), \(j) {
      row <- grep(s, raw[[j]], useBytes = TRUE)
      cbind(row = row, column = rep(j, length(row)))
    })))
    rare <- at[[which.min(vapply(at, nrow, 0L))]]
    rare <- rare[order(rare[, "row"]), , drop = FALSE]
    abort("file", paste0("'", path,
                         "' has numbers with a decimal comma and numbers with a decimal point, such as '",
                         raw[[rare[1L, "column"]]][rare[1L, "row"]], "'"),
          arg = "dec", cells = utils::head(c(cells[comma][1L], cells[point][1L])), rows = rare[, "row"],
          where = if (!is.null(place)) paste0("line ", place$row[rare[1L, "row"]], ", column ",
                                                   place$letters[rare[1L, "column"]],
                         if (nrow(rare) > 1L) paste(" and", nrow(rare) - 1L, "more")),
          remedy = "Correct the file, or give the decimal mark by `dec`.")
  }
  thousands <- grepl("^[-+]?[1-9][0-9]{0,2},[0-9]{3}$", cells, useBytes = TRUE)
  if (any(comma) && all(thousands[comma])) {
    abort("file", paste0("'", cells[comma][1L], "' in '", path,
                         "' may have a decimal comma or a comma for thousands"), arg = "dec",
          remedy = "Say `dec = \",\"`, or write the number without a comma.")
  }
  if (any(comma)) "," else "."
}

# A, B, ... Z, AA, ... as spreadsheets name their columns.
column_letters <- function(j) {
  vapply(j, function(k) {
    out <- ""
    while (k > 0) {
      out <- paste0(LETTERS[(k - 1) %% 26 + 1], out)
      k <- (k - 1) %/% 26
    }
    out
  }, "")
}

# Rows and nameless columns in which nothing is written are an artefact of spreadsheets, and so
# are nameless row numbers; they go, and this is said. `dec` and the place on the sheet travel with
# the text.
tidy_sheet <- function(raw, grid, dec, letters, rows) {
  blank <- vapply(raw, function(x) all(is.na(x)), NA)
  unnamed <- !nzchar(names(raw))
  idle <- blank & unnamed
  numbers <- unnamed & !blank & vapply(raw, \(x) identical(x, as.character(seq_along(x))), NA)
  drop <- idle | numbers
  left <- c(if (any(idle)) paste(sum(idle), "nameless empty column(s)"),
            if (any(numbers)) paste(sum(numbers), "nameless column(s) of row numbers"))
  raw <- unclass(raw)[!drop]
  letters <- letters[!drop]
  if (any(names(raw) == "")) {
    abort("file", paste0("column ", letters[names(raw) == ""][1L], " of '", grid$path, "' has no name"),
          arg = "x", remedy = "Write a header above it, or look for an unquoted decimal comma.")
  }
  filled <- if (length(raw)) Reduce(`|`, lapply(raw, function(x) !is.na(x))) else logical()
  if (!any(filled)) abort_empty(grid$path)
  # lines left empty on a sheet separate blocks; what is left out is counted in the sheet itself
  gaps <- sum(!filled) +
    (rows[max(which(filled))] - rows[1L] + 1L - length(rows[seq_len(max(which(filled)))]))
  left <- c(left, if (gaps > 0) paste(gaps, "empty row(s)"))
  if (length(left)) {
    say("file", paste0("'", basename(grid$path), "': ", paste(left, collapse = " and "), " left out."))
  }
  if (!all(filled)) raw <- lapply(raw, `[`, filled)
  raw <- structure(raw, class = "data.frame", row.names = .set_row_names(sum(filled)))
  check_data(raw, "x", limits = TRUE)
  attr(raw, "dec") <- dec
  # errors count rows below the header, rows left empty included
  attr(raw, "rows") <- rows[filled] - rows[1L] + 1L
  attr(raw, "place") <- list(path = grid$path, sheet = grid$sheet, kind = grid$kind,
                             row = rows[filled], letters = letters, fill = TRUE)
  raw
}
