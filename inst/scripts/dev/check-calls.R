# The C entry points with recorded calls of which one or two arguments were turned to something else:
# errors of R only. Run by hand, or under the sanitizers by
#   sh inst/scripts/dev/check-sanitizers.sh calls [TRIES]
# alone:  Rscript inst/scripts/dev/check-calls.R [TRIES] [FIRST]
# Before them every number of every recorded call in turn, first and last of each vector, becomes one that a
# place, a size or a loop may not have:  Rscript inst/scripts/dev/check-calls.R sweep
# A try that ends the process is named with its number and the run goes on after it.
args <- commandArgs(TRUE)
tests <- Sys.getenv("SOFTANNEAL_TESTS", "tests/testthat")
mode <- if (length(args) && args[1L] %in% c("child", "sweep")) args[1L] else "parent"
if (mode != "parent") {
  suppressMessages({
    library(testthat)
    library(softanneal)
  })
  space <- new.env(parent = asNamespace("softanneal"))
  for (file in c("helper-copied.R", "helper-readings.R", "helper-calls.R")) {
    sys.source(file.path(tests, file), space)
  }
}
if (mode == "child") {
  recorded <- space$recorded_calls()
  entries <- getDLLRegisteredRoutines(getLoadedDLLs()[["softanneal"]])$.Call
  lacking <- setdiff(names(entries), vapply(recorded, `[[`, "", "name"))
  if (length(lacking)) cat("not recorded:", lacking, "\n")
  ends <- c(result = 0L, error = 0L, late = 0L)
  for (k in as.integer(args[2L]):as.integer(args[3L])) {
    set.seed(k)
    cat(k, "mutation\n", file = args[4L])
    one <- space$mutated_call(recorded)
    cat(k, one$name, "\n", file = args[4L])
    end <- space$call_outcome(one)
    ends[end] <- ends[end] + 1L
    if (end == "late") cat("late:", k, one$name, "\n")
  }
  cat("ends:", ends, "\n")
  quit(status = 0L)
}
if (mode == "sweep") {
  ends <- c(result = 0L, error = 0L, late = 0L)
  each <- function(one) {
    if (length(args) > 1L) saveRDS(one, args[2L]) # the last one is what ended the process
    end <- space$call_outcome(one)
    ends[[end]] <<- ends[[end]] + 1L
    if (end == "late") cat("late:", one$name, "\n")
  }
  count <- space$swept_calls(space$recorded_calls(2L), c("integer", "double"), each)
  cat(count, "calls swept:", ends[1L], "results,", ends[2L], "errors,", ends[3L], "stopped after 5 s\n")
  quit(status = 0L)
}
tries <- if (length(args)) as.integer(args[1L]) else 100000L
at <- if (length(args) > 1L) as.integer(args[2L]) else 1L
last <- at + tries - 1L
place <- tempfile()
ends <- c(0, 0, 0)
crashed <- character()
while (at <= last) {
  to <- min(at + 9999L, last)
  said <- suppressWarnings(system2(file.path(R.home("bin"), "Rscript"), shQuote(c(
    "inst/scripts/dev/check-calls.R", "child", at, to, place)), stdout = TRUE, stderr = TRUE))
  cat(grep("^(not recorded|late)", said, value = TRUE), sep = "\n")
  done <- grep("^ends:", said, value = TRUE)
  if (length(done) == 1L) {
    ends <- ends + as.numeric(strsplit(sub("ends: ", "", done), " ")[[1L]])
    at <- to + 1L
    cat(to, "done:", ends, "\n")
  } else {
    if (!file.exists(place)) stop(paste(said, collapse = "\n"))
    crashed <- c(crashed, readLines(place))
    why <- grep("ERROR|runtime error|caught|#[1-4] ", said, value = TRUE)
    cat("crashed, status", attr(said, "status"), ":", readLines(place),
        utils::head(if (length(why)) why else utils::tail(said, 5L), 5L), sep = "\n  ")
    at <- as.integer(sub(" .*", "", readLines(place))) + 1L
  }
}
cat(tries, "tries:", ends[1L], "results,", ends[2L], "errors,", ends[3L], "stopped after 5 s,",
    length(crashed), "crashes\n")
if (length(crashed)) quit(status = 1L)
