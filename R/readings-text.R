# A text file as a grid of cells, each with the line it stands on. Lines are read by readLines()
# and fields by scan(); this file decides encoding and separator, and counts: as many lines come
# out as went in, each with as many fields as the header, or the file is refused with the line.

# A grid: `cells`, a data frame of text; `row`, the line or sheet row of each of its rows; `fields`,
# how many fields stood there; `lines`, the lines themselves.
read_text_grid <- function(path, sep, encoding, skip) {
  if (!is.null(sep) && (!validEnc(sep) || nchar(sep, "bytes") > 1L || sep %in% c("\n", "\r", "\""))) {
    abort("argument", paste0("`sep` must be one character, not '", valid_text(sep), "'"), arg = "sep",
          remedy = "Such as \";\" or \"\\t\"; \"\" for blanks.")
  }
  text <- file_lines(path, encoding)
  lines <- text$lines
  if (skip > 0) lines[seq_len(min(skip, length(lines)))] <- ""
  written <- grepl("[^[:space:],;]", lines, useBytes = TRUE)
  if (sum(written) < 2L) abort_empty(path)
  found <- text$found
  if (is.null(sep)) {
    sep <- detect_separator(lines[written], path)
    if (sep != ",") found <- c(found, paste("fields separated by", c(
      `;` = "semicolons", `\t` = "tabs", `|` = "bars", "blanks")[match(sep, c(";", "\t", "|", ""))]))
  }
  # a sheet holds 32,767 characters a cell
  long <- which(nchar(lines, "bytes") > 32767L)
  long <- long[vapply(lines[long], \(x) {
    max(nchar(strsplit(x, if (sep == "") " " else sep, fixed = TRUE)[[1L]], "bytes")) > 32767L
  }, NA)]
  if (length(long)) {
    abort_line(path, long[1L], lines[long[1L]], "has a field longer than a cell of a sheet can be",
               "Check that this is a table of readings.", row = max(1L, long[1L] - which(written)[1L]))
  }
  lines <- settle_quotes(lines, sep, path)
  fields <- split_fields(lines, sep, path)
  keep <- which(written & nzchar(lines))
  list(cells = plain_frame(fields$cells[keep, , drop = FALSE]), row = keep,
       fields = fields$count[keep], lines = lines[keep], found = found, path = path, kind = "text")
}

abort_empty <- function(path) {
  abort("file", paste0("the file '", path, "' holds no readings"), arg = "x",
        remedy = "It needs one header line and at least one row below it.")
}

# Byte order marks and what they say.
BYTE_MARKS <- list(`UTF-8` = as.raw(c(0xef, 0xbb, 0xbf)), `UTF-16LE` = as.raw(c(0xff, 0xfe)),
                   `UTF-16BE` = as.raw(c(0xfe, 0xff)))

# The lines of a file as UTF-8, and what had to be found out about it.
file_lines <- function(path, encoding) {
  bytes <- readBin(path, "raw", file.size(path))
  found <- character()
  mark <- Filter(\(m) identical(utils::head(bytes, length(m)), m), BYTE_MARKS)
  if (length(mark)) bytes <- utils::tail(bytes, -length(mark[[1L]]))
  if (is.null(encoding)) {
    encoding <- if (length(mark)) names(mark) else find_encoding(bytes, path)
    if (encoding != "UTF-8") found <- paste("encoding", sub("latin1", "Latin-1", encoding))
  }
  if (encoding != "UTF-8") {
    text <- tryCatch(iconv(list(bytes), encoding, "UTF-8", toRaw = TRUE)[[1L]], error = function(e) {
      abort("argument", paste0("the encoding '", valid_text(encoding), "' is not known here"),
            arg = "encoding", remedy = "See `iconvlist()` for the names.")
    })
  } else {
    text <- if (validUTF8(rawToChar(bytes[bytes != 0L]))) bytes
  }
  if (is.null(text) || any(text == 0L)) {
    abort("file", paste0("'", path, "' has text that is invalid in ", encoding),
          arg = "encoding",
          remedy = paste("Give the encoding of the file, such as `encoding = \"latin1\"`,",
                         "or save the sheet as \"CSV UTF-8\" or .xlsx."))
  }
  con <- rawConnection(text)
  on.exit(close(con))
  lines <- readLines(con, warn = FALSE)
  Encoding(lines) <- "UTF-8"
  list(lines = lines, found = found)
}

# UTF-8 where all bytes are; two bytes a letter where every other one is zero; else the Chinese
# encoding if it makes a header we know, else Latin-1.
find_encoding <- function(bytes, path) {
  if (any(bytes == 0L)) {
    head <- utils::head(bytes, 2000L)
    zero <- which(head == 0L)
    even <- mean(zero %% 2L == 0L)
    if (length(zero) > 0.3 * length(head) && even %in% 0:1) {
      return(if (even == 1) "UTF-16LE" else "UTF-16BE")
    }
    zipped <- identical(utils::head(bytes, 2L), charToRaw("PK"))
    abort("file", paste0("the file '", path, "' has invalid text encoding"), arg = "x",
          remedy = if (zipped) "This looks like an Excel file: let its name end with .xlsx." else
            "Save the sheet as \"CSV UTF-8\", or as .xlsx.")
  }
  if (validUTF8(rawToChar(bytes))) return("UTF-8")
  chinese <- iconv(list(utils::head(bytes, 2000L)), "GB18030", "UTF-8", sub = "?")[[1L]]
  words <- header_words()$word
  words <- words[header_words()$language == "zh"]
  hits <- sum(vapply(words, grepl, NA, chinese, fixed = TRUE, useBytes = TRUE))
  if (hits >= 2L) "GB18030" else "latin1"
}

# The separator with which most headers are understood in one of the first lines; where that does
# not tell, the one most frequent in the first line.
detect_separator <- function(lines, path) {
  lines <- substr(utils::head(lines, 40L), 1L, 4000L)
  lines <- gsub("\"[^\"]*\"", "\"\"", lines, useBytes = TRUE)
  bare <- lines
  candidates <- c("\t", ";", ",", "|")
  pieces <- lapply(candidates, \(s) strsplit(bare, s, fixed = TRUE))
  pieces <- lapply(pieces, \(p) lapply(p, \(cells) cells[nzchar(trimws(cells))]))
  # a line that is one cell scores 1 at most, and no header has more than 500
  pieces <- lapply(pieces, \(p) p[lengths(p) > 1L & lengths(p) <= 500L])
  known <- cells_read(unlist(pieces))
  score <- vapply(pieces, \(p) max(0, vapply(p, header_score, 0, known = known)), 0)
  if (max(score) >= 2 && sum(score == max(score)) == 1L) return(candidates[which.max(score)])
  count <- vapply(candidates, function(s) {
    sum(gregexpr(s, lines[1L], fixed = TRUE, useBytes = TRUE)[[1L]] > 0L)
  }, 0L)
  if (max(count) == 0L) {
    width <- lengths(strsplit(trimws(lines), "[[:space:]]+"))
    return(if (width[1L] > 1L && all(width == width[1L])) "" else ",")
  }
  best <- which(count == max(count))
  if (length(best) > 1L) {
    abort("file", paste0("the separator of '", path, "' is not clear from its header"), arg = "sep",
          remedy = "Give it, e.g. `sep = \";\"`.")
  }
  candidates[best]
}

# Quotes are quotes where they open and close one field. A field broken over two lines, as
# spreadsheets write a header, is put together and leaves an empty line behind; a mark within a
# field (1/4" strip) is a character; a quote that opens a field and does not close it is an error.
QUOTE_CHARACTER <- "\001"
BREAK_CHARACTER <- "\002"

settle_quotes <- function(lines, sep, path) {
  at <- grep("\"", lines, fixed = TRUE)
  if (!length(at)) return(lines)
  s <- if (sep == "") "[ \t]" else if (sep == "|") "\\|" else sep
  inside <- if (sep == "") "[^\" \t]" else if (sep == "|") "[^\"|]" else paste0("[^\"", sep, "]")
  whole <- paste0("(^|", s, ")[ ]*\"(?:[^\"]|\"\")*\"[ ]*(?=", s, "|$)")
  without <- function(x) gsub(whole, "\\1", x, perl = TRUE)
  lines <- join_quoted_lines(lines, at, s, sep)
  opens <- paste0("(^|", s, ")[ ]*\"", inside, "*[^\"[:space:]]", inside, "*$")
  for (i in at[grepl(opens, without(lines[at]), perl = TRUE)]) {
    j <- i
    while (j < min(i + 4L, length(lines)) && grepl(opens, without(lines[i]), perl = TRUE)) {
      j <- j + 1L
      if (!grepl(paste0("^", inside, "*(\"[ ]*(", s, "|$)|$)"), lines[j], perl = TRUE)) break
      lines[i] <- paste(lines[i], lines[j])
      lines[j] <- ""
    }
  }
  at <- grep("\"", lines, fixed = TRUE)
  rest <- without(lines[at])
  odd <- which(grepl("\"", rest, fixed = TRUE))
  open <- odd[grepl(paste0("(^|", s, ")[ ]*\""), rest[odd], perl = TRUE)]
  if (length(open)) {
    abort_line(path, at[open[1L]], lines[at[open[1L]]], "opens a quote that does not close in its field",
               paste("Close the quote or take it out; write a value that is the same as above (\")",
                     "again."))
  }
  for (i in at[odd]) {
    pieces <- gregexpr(whole, lines[i], perl = TRUE)
    regmatches(lines[i], pieces, invert = TRUE) <- lapply(
      regmatches(lines[i], pieces, invert = TRUE), \(x) gsub("\"", QUOTE_CHARACTER, x, fixed = TRUE))
  }
  lines
}

# A field over several lines that holds doubled quotes, as programs write them, but no separator (a
# ditto mark opens one too, and swallows the rows up to the next): put together with its breaks.
join_quoted_lines <- function(lines, at, s, sep) {
  content <- paste0("(?:[^\"", if (sep == "") " \t" else sep, "]|\"\")*")
  field <- paste0("(^|", s, ")[ ]*\"", content, BREAK_CHARACTER, content, "\"[ ]*(?=", s, "|$)")
  odd <- lengths(regmatches(lines[at], gregexpr("\"", lines[at], fixed = TRUE))) %% 2L == 1L
  for (i in at[odd]) {
    for (j in i + seq_len(min(4L, length(lines) - i))) {
      joined <- paste(lines[i:j], collapse = BREAK_CHARACTER)
      if (grepl("\"\"", joined, fixed = TRUE) && grepl(field, joined, perl = TRUE)) {
        lines[i] <- joined
        lines[(i + 1L):j] <- ""
        break
      }
    }
  }
  lines
}

# Refuses a file for one of its lines, which is shown.
abort_line <- function(path, number, line, what, remedy, row = NULL) {
  line <- gsub(BREAK_CHARACTER, " ", gsub(QUOTE_CHARACTER, "\"", line, fixed = TRUE), fixed = TRUE)
  shown <- if (nchar(line) > 200L) paste0(substr(line, 1L, 200L), "...") else line
  abort("file", paste0("line ", number, " of '", basename(path), "' ", what, ": ", shown), arg = "x",
        line = number, text = line, remedy = remedy, rows = row,
        where = if (is.null(row)) NULL else "nothing was read")
}

# All fields of all lines, and how many each line has.
split_fields <- function(lines, sep, path) {
  file <- tempfile("softanneal-")
  on.exit(unlink(file))
  writeLines(lines, file, useBytes = TRUE)
  count <- utils::count.fields(file, sep, quote = "\"", comment.char = "", blank.lines.skip = FALSE)
  if (length(count) != length(lines) || anyNA(count)) {
    at <- c(which(is.na(count)), length(count) + 1L)[1L]
    abort_line(path, at, lines[min(at, length(lines))], "cannot be divided into fields",
               "Check its quotes.")
  }
  width <- max(count, 1L)
  if (width > 2000L) {
    at <- which.max(count)
    abort_line(path, at, lines[at], paste("has", width, "fields"), "Check `sep`.")
  }
  cells <- utils::read.table(file, header = FALSE, sep = sep, quote = "\"", dec = ".", fill = TRUE,
                             col.names = paste0("V", seq_len(width)), colClasses = "character",
                             na.strings = character(), strip.white = TRUE, comment.char = "",
                             blank.lines.skip = FALSE, encoding = "UTF-8")
  if (nrow(cells) < length(lines) && !any(nzchar(lines[-seq_len(nrow(cells))]))) {
    lines <- lines[seq_len(nrow(cells))]
  }
  if (nrow(cells) != length(lines)) {
    at <- min(nrow(cells) + 1L, length(lines))
    abort_line(path, at, lines[at], "was not read as one row", "Check its quotes.")
  }
  cells[] <- lapply(cells, \(x) gsub(BREAK_CHARACTER, "\n", gsub(QUOTE_CHARACTER, "\"", x, fixed = TRUE),
                                     fixed = TRUE))
  list(cells = cells, count = count[seq_along(lines)])
}

# Rows below the header have its number of fields; empty fields behind the last one do no harm.
check_fields <- function(grid, header) {
  if (grid$kind != "text") return(invisible())
  names <- grid$fields[header[length(header)]]
  body <- seq.int(header[length(header)] + 1L, length.out = length(grid$row) - header[length(header)])
  last_written <- function(i) {
    cells <- vapply(grid$cells, `[`, "", i)
    max(0L, which(!is.na(cells) & nzchar(cells)))
  }
  wanted <- max(grid$fields[header])
  head_last <- max(vapply(header, last_written, 0))
  for (i in body[grid$fields[body] != wanted]) {
    n <- grid$fields[i]
    if (n > wanted && last_written(i) <= wanted) next
    if (n < wanted && n >= head_last) next
    said <- paste0("has ", count(n, "field"), " where the header has ", wanted)
    if (n > wanted) {
      abort_line(grid$path, grid$row[i], grid$lines[i], said,
                 paste("Take the extra one out: a decimal comma, or a separator in a note, needs",
                       "quotes."))
    }
    abort_line(grid$path, grid$row[i], grid$lines[i], said,
               "Fill in what is missing, or delete the line if it is no reading.")
  }
}
