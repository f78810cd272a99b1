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
          remedy = paste0("Add ORDER BY ", paste(sql_name(keys), collapse = ", "), "."))
  }
}

# Names of columns as standard SQL writes them.
sql_name <- function(name) {
  ifelse(grepl("^[A-Za-z_][A-Za-z0-9_]*$", name), name, paste0("\"", gsub("\"", "\"\"", name), "\""))
}

group_name <- function(keys, row) {
  paste(vapply(keys[row, , drop = FALSE], format_key, ""), collapse = " / ")
}

#' @param out_dir Folder of a [fit_archive()].
#' @rdname fit_archive
#' @export
read_archive <- function(out_dir) open_archive(check_path(out_dir, "out_dir"), strict = TRUE)

# What archive.dcf tells.
read_about <- function(out_dir) {
  about <- file.path(out_dir, "archive.dcf")
  if (!file.exists(about)) {
    abort("file", paste0("'", out_dir, "' is not an archive of fits"), arg = "out_dir",
          remedy = "Give the `out_dir` of fit_archive().")
  }
  told <- read_record(about, ABOUT_FIELDS)
  if (is.character(told)) {
    abort("file", paste0("'", about, "' ", told), arg = "out_dir",
          remedy = "Delete it and run the same fit_archive() again: finished parts are kept.")
  }
  if (!told$format %in% RESULT_FORMATS) {
    abort("file", paste0("'", about, "' names the unknown format '", told$format, "'"),
          arg = "out_dir", remedy = "Read it with the version of this package that made it.")
  }
  told
}

# With `strict` a part that was finished and is not whole is an error; the call that is at work
# meets parts that others are writing, and passes over them.
open_archive <- function(out_dir, strict = FALSE) {
  told <- read_about(out_dir)
  paths <- list.files(out_dir, "^part-[0-9]+[.]dcf$", full.names = TRUE)
  notes <- lapply(paths, read_note)
  fault <- lapply(seq_along(paths), function(k) {
    if (is.character(notes[[k]])) notes[[k]] else result_fault(notes[[k]], paths[k])
  })
  if (strict) check_whole(out_dir, paths, notes, fault)
  notes <- notes[lengths(fault) == 0L]
  manifest <- lapply(stats::setNames(nm = NOTE_FIELDS), function(f) vapply(notes, `[[`, "", f))
  for (count in c("part", "rows", "groups", "ok", "fitted", "of")) {
    manifest[[count]] <- as.integer(manifest[[count]])
  }
  for (size in c("source_bytes", "bytes")) manifest[[size]] <- as.numeric(manifest[[size]])
  parts <- max(0L, manifest$of, na.rm = TRUE)
  not_done <- setdiff(seq_len(parts), manifest$part)
  # a query tells of its end by the list of parts alone, and so does the first part of a folder
  if (parts == 0L && !file.exists(file.path(out_dir, "manifest.csv"))) not_done <- NA_integer_
  manifest[c("source_time", "of")] <- NULL # only save reading a source again, and count the parts
  structure(list(out_dir = out_dir, manifest = as.data.frame(manifest),
                 format = told$format, keys = strsplit(told$keys, ", ", fixed = TRUE)[[1L]],
                 version = told$package, not_done = not_done),
            class = "softanneal_archive")
}

# Every part that has been finished must still be there, as it was written: those of the manifest
# and those with a result. A note alone is a part that a killed call left to do.
check_whole <- function(out_dir, paths, notes, fault) {
  results <- list.files(out_dir, paste0("^part-[0-9]+[.](", paste(RESULT_FORMATS, collapse = "|"),
                                        ")$"))
  finished <- unique(c(tools::file_path_sans_ext(results), listed_parts(out_dir)))
  name <- tools::file_path_sans_ext(basename(paths))
  bad <- which(lengths(fault) > 0L & (name %in% finished | vapply(notes, is.character, NA)))
  said <- c(vapply(bad, function(k) {
    file <- if (is.character(notes[[k]])) basename(paths[k]) else notes[[k]]$file
    paste0(file, " ", fault[[k]])
  }, ""), paste0(setdiff(finished, name), recycle0 = TRUE, ".dcf is missing"))
  if (length(said) == 0L) return(invisible())
  more <- length(said) - 5L
  abort("file", paste0(count(length(said), "part"), " of the archive '", out_dir,
                       "' cannot be read: ", paste(utils::head(said, 5L), collapse = "; "),
                       if (more > 0L) paste0("; and ", more, " more")), arg = "out_dir",
        files = unique(sub(" .*", "", said)),
        remedy = "Run the same fit_archive() again: it does these parts anew.")
}

# Names of the parts that a finished call has listed; none where it was cut short or deleted.
listed_parts <- function(out_dir) {
  path <- file.path(out_dir, "manifest.csv")
  if (!file.exists(path)) return(character())
  table <- tryCatch(suppressWarnings(utils::read.csv(path)), error = function(e) NULL)
  part <- suppressWarnings(as.integer(table$part))
  if (is.null(table) || length(part) != nrow(table) || anyNA(part) || any(part < 1L)) {
    abort("file", paste0("'", path, "' was altered"), arg = "out_dir",
          remedy = "Delete it, or run the same fit_archive() again, which makes it anew.")
  }
  sprintf("part-%06d", part)
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
  filled <- which(x$manifest$groups > 0L)
  lapply(filled, function(k) {
    path <- file.path(x$out_dir, x$manifest$file[k])
    refuse <- function(why) {
      abort("file", paste0("'", path, "' ", why), arg = "out_dir", files = basename(path),
            remedy = "Run the same fit_archive() again: it does this part anew.")
    }
    note <- list(file = basename(path), bytes = format(x$manifest$bytes[k], digits = 15),
                 hash = x$manifest$hash[k])
    fault <- result_fault(note, path)
    if (!is.null(fault)) refuse(fault)
    table <- tryCatch(read_result(path, x$format, x$keys), error = function(e) {
      refuse(paste0("cannot be read: ", sub("[.]$", "", conditionMessage(e))))
    })
    if (!is.data.frame(table) || nrow(table) != x$manifest$groups[k] ||
          !all(x$keys %in% names(table))) {
      refuse("is not a table of these groups")
    }
    if (is.null(columns)) table else table[columns]
  })
}

#' @export
as.data.frame.softanneal_archive <- function(x, row.names = NULL, optional = FALSE, ...) {
  tables <- archive_tables(x)
  left <- length(x$not_done)
  if (anyNA(x$not_done)) {
    warn("missing", "the archive was not finished: groups are missing", n = NA_integer_)
  } else if (left) {
    warn("missing", paste0(count(left, "partition"), " of the archive ",
                           if (left == 1L) "is" else "are", " not done: their groups are missing"),
         n = left, rows = x$not_done)
  }
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
  if (anyNA(x$not_done)) cat("Not finished yet\n") else
    if (length(x$not_done)) cat(count(length(x$not_done), "partition"), "not done yet\n")
  invisible(x)
}
