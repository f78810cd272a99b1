# An archive from a query in key order, and the finished archive as an object.

# Fetch, cut before the last group, fit, carry the rest on. Cuts depend on the rows and
# chunk_rows alone, so a second run meets the same parts and only passes over those that are done.
archive_query <- function(connection, job) {
  result <- DBI::dbSendQuery(connection, job$query)
  on.exit(DBI::dbClearResult(result))
  carried <- NULL
  k <- 0L
  repeat {
    rows <- DBI::dbFetch(result, n = job$chunk_rows)
    done <- nrow(rows) < job$chunk_rows && DBI::dbHasCompleted(result)
    all <- if (is.null(carried)) rows else rbind(carried, rows)
    if (nrow(all) == 0L) break
    starts <- key_runs_of(all, job$keys)
    check_together(all, starts, job$keys)
    whole <- if (done) nrow(all) else starts[length(starts)]
    if (whole > 0L) {
      k <- k + 1L
      query_part(k, all[seq_len(whole), , drop = FALSE], job)
    }
    carried <- if (whole < nrow(all)) all[(whole + 1L):nrow(all), , drop = FALSE]
    if (done) break
  }
  invisible()
}

key_runs_of <- function(data, keys) {
  .Call(C_sa_call_runs, lapply(keys, function(key) key_column(data, key)), NULL, nrow(data))
}

query_part <- function(k, data, job) {
  rownames(data) <- NULL
  if (!file.exists(part_path(job, k))) return(fit_part(k, "query", data, job))
  note <- read.dcf(part_path(job, k, "dcf"))
  if (as.integer(note[, "rows"]) != nrow(data)) {
    abort("file", paste0("part ", k, " of '", job$out_dir, "' was made from ", note[, "rows"],
                         " rows, where the query now gives ", nrow(data)), arg = "query",
          remedy = "The data have changed: use a new folder.")
  }
}

# Within a fetch every run of rows must be a new group; any order of the keys will do. A group
# that comes back in a later part is found by check_once().
check_together <- function(data, starts, keys) {
  at <- data[starts + 1L, keys, drop = FALSE]
  twice <- which(duplicated(at))
  if (length(twice)) {
    abort("duplicate", paste0("the group ", group_name(at, twice[1L]),
                              " does not stand together in the query"), arg = "query",
          remedy = paste0("Add ORDER BY ", paste(keys, collapse = ", "), "."))
  }
}

group_name <- function(keys, row) {
  paste(vapply(keys[row, , drop = FALSE], format_key, ""), collapse = " / ")
}

#' @param out_dir Folder of a [fit_archive()].
#' @rdname fit_archive
#' @export
read_archive <- function(out_dir) {
  out_dir <- check_string(out_dir, "out_dir")
  about <- file.path(out_dir, "archive.dcf")
  if (!file.exists(about)) {
    abort("file", paste0("'", out_dir, "' is not an archive of fits"), arg = "out_dir",
          remedy = "Give the `out_dir` of fit_archive().")
  }
  told <- read.dcf(about)
  files <- list.files(out_dir, "^part-[0-9]+[.](rds|parquet|csv)$")
  notes <- file.path(out_dir, sub("[.][a-z]+$", ".dcf", files))
  manifest <- do.call(rbind, lapply(notes, function(note) as.data.frame(read.dcf(note))))
  if (is.null(manifest)) {
    manifest <- data.frame(part = integer(), source = character(), rows = integer(),
                           groups = integer(), ok = integer(), fitted = integer(),
                           first_key = character(), last_key = character(), file = character(),
                           version = character())
  }
  for (count in c("part", "rows", "groups", "ok", "fitted")) {
    manifest[[count]] <- as.integer(manifest[[count]])
  }
  write_whole(file.path(out_dir, "manifest.csv"),
              function(to) with_usual_digits(utils::write.csv(manifest, to, row.names = FALSE)))
  structure(list(out_dir = out_dir, manifest = manifest, format = told[[1L, "format"]],
                 keys = strsplit(told[[1L, "keys"]], ", ", fixed = TRUE)[[1L]],
                 version = told[[1L, "package"]]), class = "softanneal_archive")
}

# No group may stand in two parts. Keys alone are held in memory.
check_once <- function(archive) {
  parts <- archive_tables(archive, archive$keys)
  keys <- do.call(rbind, parts)
  twice <- which(duplicated(keys))
  if (length(twice) == 0L) return(invisible())
  source <- rep(archive$manifest$source, archive$manifest$groups)
  same <- which(Reduce(`&`, Map(`==`, keys, keys[twice[1L], , drop = FALSE])))
  abort("duplicate", paste0("the group ", group_name(keys, twice[1L]),
                            " is in more than one partition: ",
                            in_quotes(unique(source[same]), " and ")), arg = "source",
        remedy = "Partition the data by the key, so that each group lies in one file.")
}

# Tables of the parts that hold groups, one after the other, with some or all of their columns.
archive_tables <- function(x, columns = NULL) {
  if (x$format == "parquet") need_package("nanoparquet", "to read parquet files")
  read <- switch(x$format, rds = readRDS,
                 csv = function(path) utils::read.csv(path, check.names = FALSE),
                 parquet = function(path) as.data.frame(nanoparquet::read_parquet(path)))
  filled <- x$manifest$file[x$manifest$groups > 0L]
  lapply(file.path(x$out_dir, filled), function(path) {
    table <- read(path)
    if (is.null(columns)) table else table[columns]
  })
}

#' @export
as.data.frame.softanneal_archive <- function(x, row.names = NULL, optional = FALSE, ...) {
  out <- do.call(rbind, archive_tables(x))
  if (is.null(out)) data.frame() else out
}

#' @export
print.softanneal_archive <- function(x, ...) {
  m <- x$manifest
  cat("Archive of softening fits in ", x$out_dir, "\n", sep = "")
  cat(nrow(m), " parts, ", thousands(sum(m$rows)), " readings, ",
      thousands(sum(m$groups)), " groups by ", paste(x$keys, collapse = ", "), ": ",
      thousands(sum(m$ok)), " ok, ",
      thousands(sum(m$groups) - sum(m$fitted)), " without estimates\n", sep = "")
  invisible(x)
}
