# Threads, chunks and workers. Where chunks run is the user's choice by future::plan(); nothing
# here sets a plan, starts a worker or draws a random number.

process <- new.env(parent = emptyenv())
process$id <- Sys.getpid()

.onLoad <- function(libname, pkgname) {
  process$id <- Sys.getpid()
  tell_s4_with_dbi()
  greet_marginaleffects()
}

# OpenMP in a forked child hangs when the parent has used it before: one thread there. Elsewhere
# as many as there are processors for and as can start; results are the same with any number.
threads_allowed <- function(threads) {
  if (Sys.getpid() != process$id || threads <= 1) return(1L)
  limit <- suppressWarnings(as.integer(Sys.getenv("OMP_THREAD_LIMIT")))
  if (!is.na(limit)) threads <- max(1L, min(threads, limit))
  n <- .Call(C_sa_call_threads, as.integer(threads))
  if (n[1L] < n[2L]) {
    say("threads", paste0("Only ", count(n[1L], "thread"), " of ", n[2L], " can start (limits of ",
                          "this R process): the batch runs with ", n[1L], "."))
  }
  n[1L]
}

# Workers of the user's plan; 1 without one.
plan_workers <- function() {
  if (!isNamespaceLoaded("future")) return(1L)
  workers <- future::nbrOfWorkers()
  if (workers > 1) {
    need_package("future.apply", "to send chunks to the workers of future::plan()")
  }
  workers
}

# Starts of chunks of groups: all in one without workers, else four for each, so that unequal
# groups even out.
chunk_groups <- function(n, chunk_size, workers) {
  if (is.null(chunk_size)) {
    chunk_size <- if (workers > 1) ceiling(n / (4 * min(workers, n))) else n
  }
  split(seq_len(n), (seq_len(n) - 1) %/% max(1, chunk_size))
}

run_chunks <- function(d, set, threads, chunk_size = NULL, workers = plan_workers()) {
  n <- length(d$first)
  if (workers <= 1 && (is.null(chunk_size) || chunk_size >= n)) return(run_batch(d, set, threads))
  chunks <- chunk_groups(n, chunk_size, workers)
  signal <- chunk_progress(length(chunks))
  if (workers <= 1) {
    parts <- lapply(chunks, function(groups) {
      r <- run_batch(d, set, threads, groups)
      signal()
      r
    })
  } else {
    pieces <- lapply(chunks, function(groups) take_groups(d, groups))
    parts <- on_workers(pieces, run_piece, set = set, threads = threads, signal = signal,
                        remedy = "Run the same call again, or without workers.")
  }
  bind_parts(parts)
}

# One task an element. A worker that was killed, lost its machine, has no softanneal or ran out of memory
# or time is told as such, and so is a task larger than future sends; faults of the task itself pass.
on_workers <- function(x, task, ..., remedy) {
  told <- function(e, what, remedy) {
    why <- sub("[.]+$", "", strsplit(conditionMessage(e), "\n", fixed = TRUE)[[1L]][1L])
    abort("workers", paste0(what, ": ", why), arg = "plan", parent = e, remedy = remedy)
  }
  tryCatch(future.apply::future_lapply(x, task, ..., future.scheduling = Inf),
           FutureError = function(e) told(e, "a worker of `plan()` ended before its work was done", remedy),
           error = function(e) {
    if (!grepl("future.globals.maxSize", conditionMessage(e), fixed = TRUE)) rlang::cnd_signal(e)
    told(e, "a piece of work is larger than what future sends to a worker",
         "Give a smaller `chunk_size`, or set the option future.globals.maxSize.")
  })
}

# What a worker does; it has the package from its own library.
run_piece <- function(piece, set, threads, signal) {
  r <- run_batch(piece, set, threads_allowed(threads))
  rows <- match("row", register()$group_counts)
  r$counts[rows, ] <- c(0L, piece$row)[r$counts[rows, ] + 1L] # rows of the whole table
  signal()
  r
}

# Results of chunks side by side.
bind_parts <- function(parts) {
  fields <- names(parts[[1L]])
  out <- lapply(fields, function(field) do.call(cbind, unname(lapply(parts, `[[`, field))))
  names(out) <- fields
  out
}

# The readings of some groups as a table of their own.
take_groups <- function(d, groups) {
  size <- d$size[groups]
  place <- sequence(size, from = d$first[groups] + 1L)
  row <- if (is.null(d$order)) place else d$order[place]
  list(temp_c = d$temp_c[row], time_min = d$time_min[row], hardness = d$hardness[row],
       weights = d$weights[row], specimen = d$specimen[row], order = NULL, row = row,
       first = cumsum(c(0L, size[-length(size)])), size = size)
}

# A function that signals one chunk done; silent unless the user asked for progress.
chunk_progress <- function(steps) {
  if (!isNamespaceLoaded("progressr")) return(function() invisible())
  signal <- progressr::progressor(steps = steps)
  function() signal()
}
