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
  later <- list.files(job$out_dir, "^part-[0-9]+[.]dcf$")
  if (any(as.integer(gsub("[^0-9]", "", later)) > k)) {
    abort("file", paste0("'", job$out_dir, "' holds more parts than the query now gives"),
          arg = "query", remedy = "The data have changed: use a new folder.")
  }
  list()
}

key_runs_of <- function(data, keys) {
  .Call(C_sa_call_runs, lapply(keys, function(key) key_column(data, key)), NULL, nrow(data))
}

query_part <- function(k, data, job) {
  rownames(data) <- NULL
  from <- c(source = "query", source_bytes = "", source_time = "",
            source_hash = rlang::hash(as.list(data)))
  note <- part_done(job, k)
  if (is.null(note)) return(fit_part(k, from, data, job))
  if (!identical(note$source_hash, from[["source_hash"]])) {
    abort("file", paste0("part ", k, " of '", job$out_dir, "' was made from ", note$rows,
                         " rows that are not the ", nrow(data), " rows which the query now gives"),
          arg = "query", remedy = "The data have changed: use a new folder.")
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
  notes <- lapply(list.files(out_dir, "^part-[0-9]+[.]dcf$", full.names = TRUE), read_note)
  notes <- notes[lengths(notes) > 0L]
  manifest <- lapply(stats::setNames(nm = NOTE_FIELDS), function(f) vapply(notes, `[[`, "", f))
  for (count in c("part", "rows", "groups", "ok", "fitted")) {
    manifest[[count]] <- as.integer(manifest[[count]])
  }
  for (size in c("source_bytes", "bytes")) manifest[[size]] <- as.numeric(manifest[[size]])
  manifest$source_time <- NULL # only saves reading a source again
  structure(list(out_dir = out_dir, manifest = as.data.frame(manifest),
                 format = told[[1L, "format"]],
                 keys = strsplit(told[[1L, "keys"]], ", ", fixed = TRUE)[[1L]],
                 version = told[[1L, "package"]]), class = "softanneal_archive")
}

# No group may stand in two parts. Keys alone are held in memory.
check_once <- function(archive, tables = archive_tables(archive, archive$keys)) {
  keys <- do.call(rbind, lapply(tables, `[`, archive$keys))
  twice <- which(duplicated(keys))
  if (length(twice) == 0L) return(invisible())
  source <- rep(archive$manifest$source, archive$manifest$groups)
  same <- which(Reduce(`&`, Map(`==`, keys, keys[twice[1L], , drop = FALSE])))
  more <- length(twice) - 1L
  abort("duplicate", paste0("the group ", group_name(keys, twice[1L]),
                            if (more > 0L) paste0(" (and ", more, " more)"),
                            " is in more than one partition: ",
                            in_quotes(unique(source[same]), " and ")), arg = "source",
        remedy = paste("Partition the data by the key, so that each group lies in one file,",
                       "and use a new folder of results."))
}

# Tables of the parts that hold groups, one after the other, with some or all of their columns.
archive_tables <- function(x, columns = NULL) {
  if (x$format == "parquet") need_package("nanoparquet", "to read parquet files")
  filled <- x$manifest$file[x$manifest$groups > 0L]
  lapply(file.path(x$out_dir, filled), function(path) {
    table <- tryCatch(read_result(path, x$format, x$keys), error = function(e) {
      abort("file", paste0("cannot read '", path, "': ", conditionMessage(e)), arg = "out_dir",
            remedy = "Delete this file and run fit_archive() again.")
    })
    if (is.null(columns)) table else table[columns]
  })
}

#' @export
as.data.frame.softanneal_archive <- function(x, row.names = NULL, optional = FALSE, ...) {
  tables <- archive_tables(x)
  if (length(tables) == 0L) return(data.frame())
  check_once(x, tables)
  do.call(rbind, tables)
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
