# Runs the tests in the folder given against the installed package and ends with one plain
# line made from testthat's own result:
#   Rscript run-tests.R FOLDER [TIMES.csv]     TIMES.csv gets the seconds that each test took
# The files are shared out to as many R processes as SOFTANNEAL_TEST_PROCESSES says, or to one a
# core and at most four.
args <- commandArgs(trailingOnly = TRUE)
if (!nzchar(Sys.getenv("NOT_CRAN"))) Sys.setenv(NOT_CRAN = "true") # all tests; NOT_CRAN=false: those of CRAN
files <- list.files(args[1L], "^test-.*[.][rR]$", full.names = TRUE)
processes <- suppressWarnings(as.integer(Sys.getenv("SOFTANNEAL_TEST_PROCESSES")))
if (is.na(processes)) processes <- min(4L, parallel::detectCores(), na.rm = TRUE)
processes <- max(1L, min(processes, length(files)))

# One file; what it prints comes out in one piece, so that processes do not mix.
run_file <- function(file) {
  printed <- utils::capture.output(
    result <- as.data.frame(testthat::test_file(
      file, package = "softanneal", load_package = "installed", reporter = "check",
      stop_on_failure = FALSE)))
  all_well <- sum(result$failed, result$error, result$warning) == 0L
  cat(paste0(c(basename(file), if (all_well) utils::tail(printed, 1L) else printed), collapse = "\n"),
      "\n", sep = "")
  result[c("file", "test", "nb", "failed", "skipped", "error", "warning", "user", "system", "real")]
}

# The package is loaded; R processes that a test starts take it from the library that
# SOFTANNEAL_CHILD_LIBRARY names, if it does.
load_all <- function() {
  suppressPackageStartupMessages({
    library(testthat)
    library(softanneal)
  })
  children <- Sys.getenv("SOFTANNEAL_CHILD_LIBRARY")
  if (nzchar(children)) {
    .libPaths(c(children, .libPaths()))
    Sys.setenv(R_LIBS = paste(.libPaths(), collapse = .Platform$path.sep))
  }
  Sys.getpid()
}

if (processes == 1L) {
  load_all()
  result <- lapply(files, run_file)
} else {
  # large files first, so that none is left for the end
  files <- files[order(-file.size(files))]
  cluster <- parallel::makePSOCKcluster(processes, outfile = "")
  pids <- unlist(parallel::clusterCall(cluster, load_all))
  result <- parallel::clusterApplyLB(cluster, files, run_file)
  parallel::stopCluster(cluster)
  # what a process writes at its end (coverage) is there before this one ends
  ending <- Sys.time()
  while (any(tools::pskill(pids, 0L)) && Sys.time() - ending < 120) Sys.sleep(0.1)
}
result <- do.call(rbind, result)
# a test that stops counts as one failure; skips are tests without any expectation run
failed <- sum(result$failed) + sum(result$error)
passed <- sum(result$nb) - sum(result$failed) - sum(result$skipped) - sum(result$warning)
skipped <- sum(result$skipped)
if (length(args) > 1L) utils::write.csv(result, args[2L], row.names = FALSE)
if (sum(result$warning) > 0L) {
  cat("\nTests that warned:\n")
  print(result[result$warning > 0L, c("file", "test", "warning")], row.names = FALSE)
}
cat("\n", passed, " passed, ", failed, " failed, ", skipped, " skipped\n", sep = "")
quit(status = as.integer(failed > 0L || passed == 0L))
