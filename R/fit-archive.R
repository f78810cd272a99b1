# Fits of more groups than fit in memory: part by part from files or from a database, one result
# file a part. A part is written under a passing name and renamed, so a result that exists is
# complete; what is there is not done again. Who runs the parts is the user's future::plan().

#' Softening kinetics of data larger than memory
#'
#' Runs [fit_each()] over partitions of a table that need not fit in memory and writes one
#' result file a partition. After a crash, a power cut or a kill the same call carries on where it
#' stopped: finished partitions are kept, nothing is done or written twice.
#'
#' **Sources.** A folder (or a vector of files): each file, `.csv` or `.parquet`, is one
#' partition; parquet needs the nanoparquet package; for other formats give a `reader`. A database
#' connection of the DBI package with a `query` that returns the readings **in the order of the
#' key columns** (`ORDER BY`): the rows are fetched `chunk_rows` at a time, and the last,
#' perhaps incomplete group of each fetch is carried over to the next partition. A group must
#' lie in one file, or together in the query; a group met twice stops the run with an error.
#'
#' **Workers.** With a [future::plan()] of several workers the files of a folder are read
#' and fitted on the workers, which must see the same file system for `source` and `out_dir`. A
#' query is read by the calling process, and its groups are sent to the workers. There is no
#' scheduler in this package: any job array can also share a folder by `part`.
#'
#' **Files.** `out_dir` holds `archive.dcf` (versions of R and of this package, settings, key
#' columns; a call with other settings is refused), `part-000001.rds` and so on (the table of
#' `as.data.frame()` of [fit_each()], one row a group), for each a small `.dcf` with counts, and
#' `manifest.csv` (one row a part). The `.rds` and `.parquet` formats keep all digits; `.csv`
#' is written with 17 significant digits, which also identify each number; there and in
#' `manifest.csv` text that a spreadsheet would take for a formula is preceded by an apostrophe.
#'
#' @param source A folder, a vector of files, or a DBI connection.
#' @param out_dir Folder of the results; made where it does not exist.
#' @param by Key columns as in [fit_each()].
#' @param ... Further arguments of [fit_each()], such as `model`, `se`, `temp_ref_c`. Columns
#'   are named in quotes here.
#' @param query For a connection: an SQL query in key order.
#' @param chunk_rows For a connection: rows fetched at a time.
#' @param reader For files: a function of a path that returns a data frame.
#' @param format Format of the result files: `"rds"`, `"parquet"` (needs nanoparquet) or
#'   `"csv"`.
#' @param part Numbers of the partitions (files in the order of their names) to do now, for job
#'   arrays; all by default.
#' @return An object of class `softanneal_archive`: a list of `out_dir` and `manifest` (a data
#'   frame with `part`, `source`, `rows`, `groups`, `ok`, `fitted`, `first_key`, `last_key`,
#'   `file`, `version`). [read_archive()] makes the same from `out_dir` alone;
#'   `as.data.frame()` reads the table of all groups. Warnings on single groups are counted in
#'   the manifest, not raised.
#' @section Errors:
#'   `softanneal_error_file` (a source or result cannot be read or written, or the folder holds
#'   results of other settings), `softanneal_error_duplicate` (a group in two partitions),
#'   `softanneal_error_package`, `softanneal_error_argument`, and those of [fit_each()].
#' @examples
#' bell <- as.data.frame(read_readings(
#'   system.file("extdata", "bellbrass_readings.csv", package = "softanneal")))
#' folder <- tempfile("coils")
#' dir.create(folder)
#' for (coil in c("A", "B")) {
#'   write.csv(cbind(coil = coil, bell), file.path(folder, paste0(coil, ".csv")),
#'             row.names = FALSE)
#' }
#' archive <- fit_archive(folder, file.path(folder, "fits"), by = "coil")
#' archive
#' as.data.frame(archive)[1:4]
#' @export
fit_archive <- function(source, out_dir, by, ..., query = NULL, chunk_rows = 1e6, reader = NULL,
                        format = c("rds", "parquet", "csv"), part = NULL) {
  keys <- key_names(if (missing(by)) NULL else rlang::enexpr(by))
  out_dir <- check_string(out_dir, "out_dir")
  format <- check_choice(format, c("rds", "parquet", "csv"), "format")
  if (format == "parquet") need_package("nanoparquet", "to write parquet files")
  settings <- archive_arguments(list(...))
  job <- list(keys = keys, settings = settings, out_dir = out_dir, format = format,
              reader = check_reader(reader))
  from_query <- inherits(source, "DBIConnection")
  if (from_query) {
    need_package("DBI", "to read from a database")
    query <- check_string(query, "query")
    job$chunk_rows <- check_number(chunk_rows, "chunk_rows", 1, whole = TRUE)
    job$query <- query
    if (!is.null(part)) {
      abort("argument", "`part` is for files, not for a query", arg = "part",
            remedy = "Divide the query instead, with a folder of results for each piece.")
    }
  } else {
    job$files <- archive_files(source)
    part <- check_parts(part, length(job$files))
  }
  open_folder(job)
  if (from_query) archive_query(source, job) else archive_folder(job, part)
  out <- read_archive(out_dir)
  write_manifest(out)
  check_once(out)
  out
}

# Arguments of fit_each() that make sense for every part, checked before any work.
archive_arguments <- function(given) {
  allowed <- setdiff(names(formals(fit_each)), c("data", "by", "...", "weights"))
  odd <- setdiff(names(given), allowed)
  if (length(odd) || (length(given) && (is.null(names(given)) || any(names(given) == "")))) {
    abort("argument", paste0("unknown argument ", in_quotes(if (length(odd)) odd else "(unnamed)")),
          arg = odd, remedy = "Name arguments of fit_each(); nothing is ignored.")
  }
  code <- names(given)[vapply(given, is.language, NA)]
  if (length(code)) {
    abort("argument", paste0("`", code[1L], "` must be a value, not unevaluated code"),
          arg = code[1L], remedy = "Give columns and choices in quotes.")
  }
  given
}

check_reader <- function(reader) {
  if (is.null(reader) || is.function(reader)) return(reader)
  abort("argument", paste0("`reader` must be a function of a path, not ", describe(reader)),
        arg = "reader", remedy = "Such as reader = data.table::fread.")
}

check_parts <- function(part, n) {
  if (is.null(part)) return(seq_len(n))
  part <- check_numeric(part, "part", 1, n, remedy = paste0("There are ", n, " partitions."))
  as.integer(unique(part))
}

archive_files <- function(source) {
  if (!is.character(source) || length(source) == 0L || anyNA(source)) {
    abort("argument", paste0("`source` must be a folder, files, or a DBI connection, not ",
                             describe(source)), arg = "source", remedy = "Give a path.")
  }
  files <- if (length(source) == 1L && dir.exists(source)) {
    list.files(source, "[.](csv|parquet)$", full.names = TRUE, ignore.case = TRUE)
  } else source
  # the order of parts must not depend on the locale
  files <- sort(files, method = "radix")
  gone <- files[!file.exists(files)]
  if (length(files) == 0L || length(gone)) {
    abort("file", if (length(gone)) {
      paste0("cannot find ", in_quotes(utils::head(gone, 3L), " and "))
    } else {
      paste0("'", source, "' holds no .csv or .parquet file")
    }, arg = "source", remedy = "Check the path.")
  }
  files
}

# Make the folder, or check that it belongs to the same call.
open_folder <- function(job) {
  if (!dir.exists(job$out_dir) &&
        !dir.create(job$out_dir, recursive = TRUE, showWarnings = FALSE)) {
    abort("file", paste0("cannot make the folder '", job$out_dir, "'"), arg = "out_dir",
          remedy = "Check the path and your rights there.")
  }
  told <- cbind(package = PACKAGE_VERSION, R = as.character(getRversion()),
                settings = describe_job(job), keys = paste(job$keys, collapse = ", "),
                format = job$format)
  path <- file.path(job$out_dir, "archive.dcf")
  if (!file.exists(path)) {
    write_record(path, told, "settings")
    return(invisible())
  }
  there <- read.dcf(path, keep.white = "settings")
  for (field in c("package", "settings", "keys", "format")) {
    if (!identical(unname(there[, field]), unname(told[, field]))) {
      abort("file", paste0("'", job$out_dir, "' holds results of another call (", field, ": ",
                           there[, field], ")"), arg = "out_dir",
            remedy = "Use a new folder, or the same arguments and version as before.")
    }
  }
}

describe_job <- function(job) {
  job <- job[setdiff(names(job), c("out_dir", "reader", "keys", "format", "files"))]
  gsub("\\s+", " ", paste(deparse(job, width.cutoff = 500L), collapse = " "))
}

part_path <- function(job, part, ext = job$format) {
  file.path(job$out_dir, sprintf("part-%06d.%s", as.integer(part), ext))
}

# Write under a passing name, read it back, then rename: readers see all or nothing.
write_whole <- function(path, write, whole) {
  if (!put_in_place(path, write, whole)) {
    abort("file", paste0("cannot write '", path, "'"), arg = "out_dir",
          remedy = "Check the disk and your rights there.")
  }
}

# One record of names and values.
write_record <- function(path, record, keep_white = NULL) {
  lines <- utils::capture.output(write.dcf(record, keep.white = keep_white, width = 1e6))
  write_whole(path, function(to) NULL, function(to) save_lines(lines, to))
}

archive_folder <- function(job, part) {
  todo <- part[!file.exists(part_path(job, part))]
  if (length(todo) == 0L) return(invisible())
  signal <- chunk_progress(length(todo))
  if (plan_workers() <= 1L) {
    for (k in todo) archive_file(k, job, signal)
  } else {
    future.apply::future_lapply(todo, archive_file, job = job, signal = signal,
                                future.scheduling = Inf)
  }
  invisible()
}

archive_file <- function(k, job, signal) {
  path <- job$files[k]
  data <- read_part(path, job$reader)
  fit_part(k, basename(path), data, job)
  signal()
  NULL
}

read_part <- function(path, reader) {
  if (is.null(reader)) {
    reader <- if (grepl("[.]parquet$", path, ignore.case = TRUE)) {
      need_package("nanoparquet", "to read parquet files")
      function(path) as.data.frame(nanoparquet::read_parquet(path))
    } else {
      function(path) utils::read.csv(path, check.names = FALSE)
    }
  }
  data <- tryCatch(reader(path), error = function(e) {
    abort("file", paste0("cannot read '", path, "': ", conditionMessage(e)), arg = "source",
          remedy = "Check the file, or give a `reader`.")
  })
  check_data(data, basename(path), rows = FALSE)
  data
}

# Fit one part and write its result. The counts go first: the result file is the seal.
fit_part <- function(k, source, data, job) {
  table <- NULL
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
  } else {
    table <- data.frame()
  }
  note <- cbind(part = k, source = source, t(counts), first_key = ends[1L], last_key = ends[2L],
                file = basename(part_path(job, k)), version = PACKAGE_VERSION)
  write_record(part_path(job, k, "dcf"), note)
  write_whole(part_path(job, k), function(to) write_part(table, to, job$format),
              function(to) nrow(read_table(to, job$format)) == nrow(table))
}

# In .csv the names of groups are safe for spreadsheets; read_table() takes that off again.
write_part <- function(table, to, format) {
  switch(format, rds = saveRDS(table, to), parquet = nanoparquet::write_parquet(table, to), csv = {
    number <- vapply(table, is.double, NA)
    table[number] <- lapply(table[number], function(x) ifelse(is.na(x), NA, sprintf("%.17g", x)))
    table[!number] <- lapply(table[!number], function(x) {
      if (is.character(x) || is.factor(x)) escape_cells(as.character(x)) else x
    })
    utils::write.csv(table, to, row.names = FALSE)
  })
}

read_table <- function(path, format) {
  switch(format, rds = readRDS(path), parquet = as.data.frame(nanoparquet::read_parquet(path)),
         csv = {
    if (readLines(path, 1L) == "\"\"") return(data.frame())
    table <- utils::read.csv(path, check.names = FALSE)
    text <- vapply(table, is.character, NA)
    table[text] <- lapply(table[text], plain_cells)
    table
  })
}
