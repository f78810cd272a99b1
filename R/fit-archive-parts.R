# Partitions of an archive: what they were made from, reading, fitting and writing them. A part is a
# result file and a note (.dcf) with counts, the state of its source and the size of the result.
# The note is written first; a result of the size and hash in its note is complete and as it was
# written, so neither a kill nor a full disk nor a later hand leaves a part that passes for done.

NOTE_FIELDS <- c("part", "source", "source_bytes", "source_time", "source_hash", "rows", "groups",
                 "ok", "fitted", "first_key", "last_key", "file", "bytes", "hash", "of", "version")
ABOUT_FIELDS <- c("package", "R", "settings", "keys", "format")
RESULT_FORMATS <- c("rds", "parquet", "csv")

part_path <- function(job, part, ext = job$format) {
  file.path(job$out_dir, sprintf("part-%06d.%s", as.integer(part), ext))
}

# The note of a finished part, else NULL. To be done again: a part without note or result, with a
# note that cannot be read, or with a result that is not the one which the note tells of.
part_done <- function(job, k) {
  path <- part_path(job, k, "dcf")
  note <- read_note(path)
  if (is.list(note) && is.null(result_fault(note, path))) note
}

# The note as a list of text, else what is wrong with it, as text.
read_note <- function(path) {
  note <- read_record(path, NOTE_FIELDS)
  if (is.character(note)) return(note)
  counts <- suppressWarnings(as.integer(unlist(note[c("part", "rows", "groups", "ok", "fitted")])))
  name <- tools::file_path_sans_ext(basename(path))
  if (anyNA(counts) || any(counts < 0L) || sprintf("part-%06d", counts[1L]) != name ||
        !note$file %in% paste0(name, ".", RESULT_FORMATS)) {
    return("does not agree with itself")
  }
  note
}

# What is wrong with the result that a note tells of; NULL: nothing.
result_fault <- function(note, path) {
  result <- file.path(dirname(path), note$file)
  if (!file.exists(result)) return("is missing")
  if (!identical(format(file.size(result), digits = 15), note$bytes)) return("has another size")
  if (!identical(rlang::hash_file(result), note$hash)) return("was altered")
}

# Parts asked for that are not done; stops where a source of a finished part is another now.
parts_to_do <- function(job, part) {
  names <- source_names(job$files)
  finished <- lapply(part, part_done, job = job)
  is_done <- lengths(finished) > 0L
  notes <- list.files(job$out_dir, "^part-[0-9]+[.]dcf$")
  beyond <- as.integer(gsub("[^0-9]", "", notes)) > length(names)
  moved <- part[is_done][vapply(finished[is_done], `[[`, "", "source") != names[part[is_done]]]
  if (length(moved) || any(beyond)) {
    abort("file", paste0("the files of `source` are not those that '", job$out_dir,
                         "' was begun with", if (length(moved)) {
                           paste0(": part ", moved[1L], " came from '",
                                  finished[[match(moved[1L], part)]]$source, "', and is now '",
                                  names[moved[1L]], "'")
                         }), arg = "source",
          remedy = paste("Use a new folder, or bring the files back (a header alone will do for a",
                         "bad one). New files can be added where their names sort last."))
  }
  changed <- part[is_done][!mapply(same_source, job$files[part[is_done]], finished[is_done])]
  if (length(changed)) {
    more <- length(changed) - 5L
    abort("file", paste0(in_quotes(utils::head(names[changed], 5L), " and "),
                         if (more > 0L) paste0(" and ", more, " more"),
                         " changed after the results in '", job$out_dir, "' were made"),
          arg = "source",
          sources = names[changed],
          remedy = paste0("Use a new folder, or delete ", basename(part_path(job, changed[1L])),
                          if (length(changed) > 1L) " and so on", " to have it done again."))
  }
  part[!is_done]
}

# Names of the files where these tell them apart, else their paths.
source_names <- function(files) {
  one_line(if (anyDuplicated(basename(files))) files else basename(files))
}

source_state <- function(path) {
  c(source_bytes = format(file.size(path), digits = 15), source_time = source_time(path),
    source_hash = source_hash(path))
}

source_time <- function(path) sprintf("%.3f", as.numeric(file.mtime(path)))

# For a reader of folders: the sizes and times of the files within.
source_hash <- function(path) {
  if (!dir.exists(path)) return(rlang::hash_file(path))
  within <- list.files(path, recursive = TRUE, full.names = TRUE)
  rlang::hash(list(within, file.size(within), source_time(within)))
}

# The time is looked at first, so that a second run need not read what is done.
same_source <- function(path, note) {
  identical(format(file.size(path), digits = 15), note$source_bytes) &&
    (identical(source_time(path), note$source_time) && !dir.exists(path) ||
       identical(source_hash(path), note$source_hash))
}

read_part <- function(path, job) {
  reader <- job$reader
  if (is.null(reader)) {
    reader <- if (grepl("[.]parquet$", path, ignore.case = TRUE)) {
      need_package("nanoparquet", "to read parquet files")
      function(path) as.data.frame(nanoparquet::read_parquet(path))
    } else {
      function(path) read_csv_keys(path, job$keys)
    }
  }
  data <- tryCatch(reader(path), error = function(e) {
    why <- sub("[.]$", "", conditionMessage(e))
    abort("file", paste0("cannot read '", path, "': ", why), arg = "source",
          remedy = "Check the file, or give a `reader`.")
  })
  check_data(data, basename(path), rows = FALSE)
  if (nrow(data) == 0L) { # a table without rows is still a table of readings
    standard <- c(time = "time_min", temp = "temp_c", hardness = "hardness")
    given <- unlist(job$settings[intersect(names(standard), names(job$settings))])
    standard[names(given)] <- given
    for (column in c(job$keys, standard)) any_column(data, column)
  }
  data
}

# Keys are numbers only where the numbers print as the keys were written: "007" is not 7, and two
# keys of 20 digits must not become one number. A line with too few fields is an error (the file
# was cut short), and so is what read.csv() warns of, except a last line without its end.
read_csv_keys <- function(path, keys) {
  harmless <- sub("'%s'.*", "", gettext("incomplete final line found by readTableHeader on '%s'",
                                        domain = "R-utils"))
  withCallingHandlers({
    header <- names(utils::read.csv(path, nrows = 1L, check.names = FALSE, fill = FALSE))
    keys <- intersect(keys, header)
    data <- utils::read.csv(path, check.names = FALSE, fill = FALSE,
                            colClasses = stats::setNames(rep("character", length(keys)), keys))
  }, warning = function(w) {
    if (startsWith(conditionMessage(w), harmless)) invokeRestart("muffleWarning")
    rlang::cnd_signal(simpleError(conditionMessage(w))) # read_part() names the file
  })
  data[keys] <- lapply(data[keys], plain_key)
  data
}

plain_key <- function(x) {
  distinct <- unique(x)
  number <- utils::type.convert(distinct, as.is = TRUE)
  if (!is.numeric(number)) return(x)
  printed <- if (is.integer(number)) as.character(number) else sprintf("%.15g", number)
  same <- printed == distinct
  if (all(same, na.rm = TRUE)) number[match(x, distinct)] else x
}

# Fit one part and write its result. `from` says what it was made from.
fit_part <- function(k, from, data, job) {
  table <- data.frame(part = integer())
  counts <- c(rows = nrow(data), groups = 0L, ok = 0L, fitted = 0L)
  ends <- c("", "")
  if (nrow(data) > 0L) {
    fits <- withCallingHandlers(
      do.call(fit_each, c(list(data, by = job$keys), job$settings)),
      softanneal_warning_fit = function(w) invokeRestart("muffleWarning"),
      softanneal_warning_missing = function(w) invokeRestart("muffleWarning"))
    table <- as.data.frame(fits)
    counts[-1L] <- c(nrow(table), sum(table$status == "ok"), sum(fits_fitted(fits)))
    ends <- group_labels(fits, c(1L, nrow(table)))
  }
  path <- part_path(job, k)
  put_or_stop(path, function(to) write_result(table, to, job$format),
              function(to) nrow(read_result(to, job$format, job$keys)) == nrow(table),
              before = function(to) {
    note <- c(part = k, from, counts, first_key = ends[1L], last_key = ends[2L],
              file = basename(path), bytes = format(file.size(to), digits = 15),
              hash = rlang::hash_file(to), of = if (is.null(job$files)) "" else length(job$files),
              version = PACKAGE_VERSION)[NOTE_FIELDS]
    write_record(part_path(job, k, "dcf"), note)
  })
}

# A record of names and values, each on one line, with a hash of them all.
write_record <- function(path, record, replace = TRUE) {
  record <- one_line(record)
  record[["check"]] <- record_hash(record)
  lines <- with_usual_digits(
    utils::capture.output(write.dcf(t(record), keep.white = names(record), width = 1e6)))
  put_or_stop(path, function(to) NULL, function(to) save_lines(lines, to), replace = replace)
}

# The record as a list of text, else what is wrong with it, as text.
read_record <- function(path, fields) {
  if (!file.exists(path)) return("is missing")
  record <- tryCatch(suppressWarnings(read.dcf(path, keep.white = c(fields, "check"))),
                     error = function(e) NULL)
  if (is.null(record) || nrow(record) != 1L || !all(c(fields, "check") %in% colnames(record))) {
    return("is cut short or was made by something else")
  }
  text <- enc2utf8(record[1L, ])
  if (!all(validEnc(text)) || !identical(record_hash(text[fields]), text[["check"]])) {
    return("was altered")
  }
  as.list(text[fields])
}

record_hash <- function(record) rlang::hash(paste(names(record), record, sep = ":"))

one_line <- function(text) {
  out <- gsub("[[:cntrl:]]+", " ", enc2utf8(text))
  stats::setNames(trimws(out), names(text))
}

put_or_stop <- function(path, ...) {
  done <- put_in_place(path, ...)
  if (done) return(invisible())
  why <- attr(done, "why")
  abort("file", paste0("cannot write '", path, "'", if (!is.null(why)) paste0(": ", why)),
        arg = "out_dir", remedy = "Check the disk and your rights there.")
}

# In .csv the names of groups are safe for spreadsheets; read_result() takes that off again.
write_result <- function(table, to, format) {
  switch(format, rds = saveRDS(table, to), parquet = nanoparquet::write_parquet(table, to), csv = {
    number <- vapply(table, is.double, NA) & !vapply(table, is.object, NA)
    table[number] <- lapply(table[number], function(x) ifelse(is.na(x), NA, sprintf("%.17g", x)))
    text <- vapply(table, function(x) is.character(x) || is.factor(x), NA) & !number
    table[text] <- lapply(table[text], function(x) escape_cells(as.character(x)))
    with_usual_digits(utils::write.csv(table, to, row.names = FALSE))
  })
}

read_result <- function(path, format, keys) {
  switch(format, rds = readRDS(path), parquet = as.data.frame(nanoparquet::read_parquet(path)),
         csv = {
    table <- read_csv_keys(path, keys)
    text <- vapply(table, is.character, NA)
    table[text] <- lapply(table[text], plain_cells)
    table
  })
}
