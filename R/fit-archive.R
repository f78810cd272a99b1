# Fits of more groups than fit in memory: part by part from files or from a database, one result
# file per part. A part is written under a passing name and renamed, so a result that exists is
# complete; what is there is not done again. Who runs the parts is the user's future::plan().

#' Softening kinetics of data larger than memory
#'
#' Runs [fit_each()] over partitions of a table that need not fit in memory and writes one
#' result file a partition. After a crash or a kill the same call carries on where it stopped:
#' finished partitions are kept, and nothing stands in the results twice.
#'
#' **Folders.** Each file of the folder (or of a vector of files), `.csv`, `.csv.gz` or `.parquet`,
#' is one partition, in the order of their names; parquet needs the nanoparquet package; for other
#' formats give a `reader`. All groups of a file must end in it: a group met again in another file
#' is an error that names both. Columns are found by name, so their order may differ between
#' files. A file with a header alone has no groups; one that is empty, cut short within a line, or
#' no table is bad. Bad files are named in one error at the end, when all others are done: mend them,
#' or leave only their header, and run the same call again. Key columns of `.csv` files become
#' numbers only where nothing is lost: `007` and numbers of more than 15 digits stay text.
#'
#' **Databases.** Give a connection of the DBI package and a `query` that returns the readings with
#' the groups together, such as `ORDER BY coil`. Rows are fetched `chunk_rows` at a time; the
#' last, perhaps incomplete group of each fetch is carried over to the next partition. A second
#' run reads the whole query again, but fits only what is missing.
#'
#' **Damage.** Each note and each result carries a hash. A part that is missing, cut short or
#' altered, and an `archive.dcf` that is not as it was written, are errors on reading; the same
#' [fit_archive()] call again does just these parts anew. Reading an archive that is not finished
#' warns of the parts not done.
#'
#' **Changed data.** For each part the name, size and a hash of its source are kept (for a query, a
#' hash of the rows). Where a source of a finished part has changed, or files were added or removed
#' so that the parts no longer match, the call stops and names them. New files whose names sort
#' last are simply done as well. Results of other settings, keys or another version of this
#' package in `out_dir` are refused; `threads` and `chunk_size` may change.
#'
#' **Several processes.** Calls with the same arguments may run in one folder at once, also on
#' several machines with a common file system: each result appears whole or not, and is the same
#' whoever writes it. What two of them begin at the same time is computed twice, so give each its
#' own `part`, as in an array of jobs. The archive is searched for groups in two files by the call
#' that completes it.
#'
#' **Files.** `out_dir` holds `archive.dcf` (versions of R and of this package, settings, key
#' columns), `part-000001.rds` and so on (the table of `as.data.frame()` of [fit_each()], one row per
#' group), for each a small `.dcf` with counts and source, and `manifest.csv` (one row per part). The
#' `.rds` and `.parquet` formats keep all digits and the types of keys; `.csv` is written with 17
#' significant digits, which also identify each number, and factors or dates come back as text;
#' there and in `manifest.csv`, text that a spreadsheet would take for a formula is preceded by an
#' apostrophe, which reading takes off again.
#'
#' @section Workers:
#'   Where partitions run is the business of [future::plan()], never of this package. With several
#'   workers the files of a folder are read and fitted on the workers, which need this package and
#'   must see `source` and `out_dir` under the same paths. A query is read by the calling process,
#'   and its groups are sent to the workers. Set the plan before the call:
#'   \preformatted{
#' # two processes on this machine
#' future::plan(future::multisession, workers = 2)
#'
#' # two machines over ssh, with keys that need no password
#' future::plan(future::cluster, workers = c("lab1", "lab2"))
#'
#' # a Slurm cluster, at most 20 jobs at a time
#' future::plan(future.batchtools::batchtools_slurm, template = "slurm.tmpl", workers = 20,
#'              resources = list(walltime = 3600, memory = 2000))
#'
#' # progress, in any of these
#' progressr::with_progress(fit_archive("readings", "fits", by = "coil"))
#'
#' future::plan(future::sequential)   # afterwards
#'   }
#'   The template is a job script of your cluster, such as
#'   \preformatted{
#' #!/bin/bash
#' #SBATCH --job-name=<\%= job.name \%>
#' #SBATCH --output=<\%= log.file \%>
#' #SBATCH --time=<\%= ceiling(resources$walltime / 60) \%>
#' #SBATCH --mem-per-cpu=<\%= resources$memory \%>
#' Rscript -e 'batchtools::doJobCollection("<\%= uri \%>")'
#'   }
#'   This was run with a Slurm of one node: 100,000 groups in 20 files, one job killed on the way. The call
#'   ended with an error, the same call again did what was left, and the table was identical to that of
#'   one process.
#'
#'   Without future, an array of jobs does the same:
#'   `Rscript -e 'softanneal::fit_archive("readings", "fits", by = "coil", part =
#'   as.integer(Sys.getenv("SLURM_ARRAY_TASK_ID")))'`.
#'
#' @param source A folder, a vector of files, or a DBI connection.
#' @param out_dir Folder of the results; made where it does not exist. Best outside `source`.
#' @param by Key columns as in [fit_each()].
#' @param ... Further arguments of [fit_each()], such as `model`, `se`, `temp_ref_c`, `material`. Columns
#'   are named in quotes here; the metals of the groups may stand in one, `material` by default.
#' @param query For a connection: an SQL query in key order.
#' @param chunk_rows For a connection: rows fetched at a time. They must fit in memory, as each
#'   file of a folder must.
#' @param reader For files: a function of a path that returns a data frame, such as
#'   `function(path) data.table::fread(path, keepLeadingZeros = TRUE)`, which reads large files
#'   several times faster than the default, [utils::read.csv()].
#' @param format Format of the result files: `"rds"`, `"parquet"` (needs nanoparquet) or
#'   `"csv"`.
#' @param part Numbers of the partitions (files in the order of their names) to do now, for job
#'   arrays; all by default.
#' @return An object of class `softanneal_archive`: a list of `out_dir` and `manifest` (a data
#'   frame with one row per finished part: `part`, `source`, `source_bytes`, `source_hash`, `rows`,
#'   `groups`, `ok`, `fitted` (groups with estimates), `first_key`, `last_key`, `file`, `bytes`,
#'   `hash`, `version`) and `not_done`, the numbers of parts still to do.
#'   [read_archive()] makes the same from `out_dir` alone and writes nothing;
#'   `as.data.frame()` reads the table of all groups, in the order of the parts. Warnings on
#'   single groups are counted in the manifest, not raised.
#' @section Errors:
#'   `softanneal_error_file` (a source or result cannot be read or written; a source has changed;
#'   the folder holds results of other settings), `softanneal_error_duplicate` (a group in two
#'   partitions), `softanneal_error_package`, `softanneal_error_argument`, and those of
#'   [fit_each()]. Where files are bad, the field `sources` names them. A worker that was lost is a
#'   `softanneal_error_workers`: the same call again does what is left.
#' @seealso [fit_each()] for what fits in memory; [resample_fit()] for one fit many times.
#' @examples
#' bell <- as.data.frame(example_data("bellbrass_readings"))
#' folder <- tempfile("coils")
#' dir.create(folder)
#' for (coil in c("A", "B")) {
#'   write.csv(cbind(coil = coil, bell), file.path(folder, paste0(coil, ".csv")),
#'             row.names = FALSE)
#' }
#' archive <- fit_archive(folder, file.path(folder, "fits"), by = "coil")
#' archive
#' as.data.frame(archive)[1:4]
#' @order 1
#' @export
fit_archive <- function(source, out_dir, by, ..., query = NULL, chunk_rows = 1e6, reader = NULL,
                        format = c("rds", "parquet", "csv"), part = NULL) {
  keys <- key_names(rlang::enquo(by))
  odd <- keys[grepl("[[:cntrl:]]|, |^ | $", keys)]
  if (length(odd)) { # they are noted on one line, with commas between
    abort("argument", paste0("a key column cannot be named '", odd[1L], "' in an archive"),
          arg = "by",
          remedy = "Rename the column: no line ends, no blanks at its ends, no comma before a blank.")
  }
  out_dir <- check_path(out_dir, "out_dir")
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
  failed <- if (from_query) archive_query(source, job) else archive_folder(job, part)
  out <- open_archive(out_dir)
  # the table of parts, for people: reading an archive leaves the folder as it is
  put_or_stop(file.path(out_dir, "manifest.csv"), function(to) write_table(out$manifest, to),
              function(to) whole_table(to, nrow(out$manifest)))
  if (anyNA(out$not_done)) out$not_done <- integer()
  if (length(failed)) abort_failed(failed, length(part))
  if (from_query || nrow(out$manifest) == length(job$files)) check_once(out)
  out
}

# Arguments of fit_each() that make sense for every part, checked before any work.
archive_arguments <- function(given) {
  allowed <- setdiff(names(formals(fit_each)), c("data", "by", "...", "weights", "property"))
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
  or <- function(name, otherwise) if (is.null(given[[name]])) otherwise else given[[name]]
  each_settings(or("model", model_names()), or("scale", c("HV", "as read")), given$se,
                given$fixed, given$lower, given$upper, given$temp_ref_c, or("level", 0.95),
                given$control, or("material", "brass"))
  check_number(or("threads", 1L), "threads", 1, 1024, whole = TRUE)
  check_number(given$chunk_size, "chunk_size", 1, whole = TRUE, null = TRUE)
  columns <- c("time", "temp", "hardness", "reading_scale", "specimen")
  for (column in intersect(names(given), columns)) {
    check_string(given[[column]], column)
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
  for (path in source) check_path(path, "source")
  files <- if (length(source) == 1L && dir.exists(source)) {
    list.files(source, "[.](csv|csv[.]gz|parquet)$", full.names = TRUE, ignore.case = TRUE)
  } else source
  # the order of parts must not depend on the locale; names of a folder come without a mark of encoding
  files <- files[order(enc2utf8(files), method = "radix")]
  gone <- files[!file.exists(files)]
  if (length(files) == 0L || length(gone)) {
    abort("file", if (length(gone)) {
      paste0("cannot find ", in_quotes(utils::head(gone, 3L), " and "))
    } else {
      paste0("'", source, "' holds no .csv, .csv.gz or .parquet file")
    }, arg = "source", remedy = "Check the path; of folders within it name the files yourself.")
  }
  if (anyDuplicated(files)) {
    abort("duplicate", paste0("`source` names '", files[anyDuplicated(files)], "' twice"),
          arg = "source", remedy = "Name each file once.")
  }
  files
}

# Make the folder, or check that it belongs to the same call. Of two processes that start at the
# same time the first one names the settings.
open_folder <- function(job) {
  if (!dir.exists(job$out_dir) &&
        !dir.create(job$out_dir, recursive = TRUE, showWarnings = FALSE) &&
        !dir.exists(job$out_dir)) {
    abort("file", paste0("cannot make the folder '", job$out_dir, "'"), arg = "out_dir",
          remedy = "Check the path and your rights there.")
  }
  sweep_passing(job$out_dir)
  told <- one_line(c(package = PACKAGE_VERSION, R = as.character(getRversion()),
                     settings = describe_job(job), keys = paste(job$keys, collapse = ", "),
                     format = job$format))
  path <- file.path(job$out_dir, "archive.dcf")
  if (!file.exists(path)) write_record(path, told, replace = FALSE)
  there <- read_about(job$out_dir)
  for (field in c("package", "settings", "keys", "format")) {
    if (!identical(there[[field]], told[[field]])) {
      abort("file", paste0("'", job$out_dir, "' holds results of another call (", field, ": ",
                           there[[field]], ")"), arg = "out_dir",
            remedy = "Use a new folder, or the same arguments and version as before.")
    }
  }
}

# What decides the numbers; threads and chunks do not.
describe_job <- function(job) {
  job <- job[setdiff(names(job), c("out_dir", "reader", "keys", "format", "files"))]
  kept <- setdiff(names(job$settings), c("threads", "chunk_size"))
  job$settings <- if (length(kept)) job$settings[kept] else list()
  gsub("\\s+", " ", paste(deparse(job, width.cutoff = 500L), collapse = " "))
}

# Half-written files of a process that was killed; an hour later nobody writes them any more.
sweep_passing <- function(out_dir) {
  left <- list.files(out_dir, "[.]tmp$", full.names = TRUE)
  unlink(left[difftime(Sys.time(), file.mtime(left), units = "hours") > 1])
}

# The files of a folder that are not done yet. Returns what failed: a bad file does not keep the
# others from being done.
archive_folder <- function(job, part) {
  todo <- parts_to_do(job, part)
  if (length(todo) == 0L) return(list())
  signal <- chunk_progress(length(todo))
  done <- if (plan_workers() <= 1L) {
    lapply(todo, archive_file, job = job, signal = signal)
  } else {
    on_workers(todo, archive_file, job = job, signal = signal,
               remedy = "Run the same call again: it does only what is left.")
  }
  done[lengths(done) > 0L]
}

# One file; returns NULL, or what is wrong with it. That nothing can be written stops all.
archive_file <- function(k, job, signal) {
  on.exit(signal())
  tryCatch({
    if (is.null(part_done(job, k))) {
      from <- source_state(job$files[k])
      fit_part(k, c(source = source_names(job$files)[k], from), read_part(job$files[k], job), job)
    }
    NULL
  }, softanneal_error = function(e) {
    if (identical(e$arg, "out_dir")) rlang::cnd_signal(e)
    list(source = source_names(job$files)[k], message = conditionMessage(e), class = class(e)[1L])
  })
}

abort_failed <- function(failed, parts, most = 5L) {
  classes <- unique(vapply(failed, `[[`, "", "class"))
  lines <- vapply(utils::head(failed, most), function(f) {
    paste0("\n  ", f$source, ": ", sub("[.]$", "", f$message))
  }, "")
  more <- length(failed) - length(lines)
  what <- if (length(classes) == 1L) sub("^softanneal_error_", "", classes) else "file"
  abort(what, paste0(length(failed), " of ", parts, " partitions could not be done (the rest is ",
                     "finished):", paste(lines, collapse = ""),
                     if (more > 0L) paste0("\n  and ", more, " more")),
        arg = "source", sources = vapply(failed, `[[`, "", "source"),
        remedy = paste("Correct these files, or leave only their header, and run the same call again:",
                       "it does only what is left."))
}
