# Writing files so that nobody meets half of one: under a passing name in the folder of the
# target, looked at, and renamed in one act. A disk that is full may not be told of by R, so
# what was written is read back or measured before it takes its name.

# TRUE when `write(passing)` has written what `whole(passing)` finds complete, and it has taken
# its name; else FALSE, with what R said of it as attribute `why` (the caller tells). What R warns
# of in writing means that bytes are missing. `before(passing)` runs once the file is found whole.
# With replace = FALSE a file that another process has put there in the meantime stays.
put_in_place <- function(path, write, whole, before = NULL, replace = TRUE) {
  passing <- tempfile("softanneal-", dirname(path), fileext = ".tmp")
  on.exit(unlink(passing), add = TRUE)
  failed <- function(cnd = NULL) structure(FALSE, why = cnd$message)
  written <- tryCatch({
    write(passing)
    isTRUE(whole(passing))
  }, error = failed, warning = failed)
  if (!written) return(written)
  if (!is.null(before)) before(passing)
  if (!replace && (suppressWarnings(file.link(passing, path)) || file.exists(path))) return(TRUE)
  tryCatch(file.rename(passing, path), warning = failed)
}

# A copy beside the target, then renamed; a full disk is told by the size.
place_copy <- function(source, path) {
  put_in_place(path, function(to) file.copy(source, to, overwrite = TRUE),
               function(to) identical(file.size(to), file.size(source)))
}

# Whether a table stands in a file to its last row and line end.
whole_table <- function(path, rows) {
  size <- file.size(path)
  if (is.na(size) || size == 0) return(FALSE)
  con <- file(path, "rb")
  on.exit(close(con))
  seek(con, size - 1)
  ended <- identical(readBin(con, "raw", 1L), charToRaw("\n"))
  ended && nrow(utils::read.csv(path, colClasses = "character")) == rows
}

# TRUE when all lines stand in the file.
save_lines <- function(lines, path) {
  lines <- enc2utf8(lines)
  suppressWarnings(tryCatch({
    con <- file(path, "wb", encoding = "UTF-8")
    tryCatch(writeLines(lines, con, useBytes = TRUE), finally = close(con))
    identical(file.size(path), as.double(sum(nchar(lines, "bytes") + 1L)))
  }, error = function(e) FALSE))
}

# A file that may be written: of one of these endings, not there yet unless it may be replaced, in a
# folder that takes it.
check_new_file <- function(file, endings, overwrite, arg = "file") {
  file <- check_path(file, arg)
  check_seen(file, arg)
  check_flag(overwrite, "overwrite")
  if (!tolower(tools::file_ext(file)) %in% endings) {
    abort("file", paste0("`", arg, "` must end in ", paste0(".", endings, collapse = " or "), ", not '",
                         basename(file), "'"),
          arg = arg, remedy = "Choose a name that does.")
  }
  if (file.exists(file) && !overwrite) {
    abort("file", paste0("the file ", file, " is there already"), arg = arg,
          remedy = "Choose another name, or allow overwrite = TRUE.")
  }
  if (dir.exists(file) || !dir.exists(dirname(file)) || file.access(dirname(file), 2L) != 0L) {
    abort("file", paste0("the file ", file, " cannot be written"), arg = arg,
          remedy = "Choose a name in a folder that exists and in which you may write.")
  }
  file
}
