# Runs the tests in the folder given against the installed package and ends with one plain
# line made from testthat's own result:
#   Rscript run-tests.R FOLDER [TIMES.csv]     TIMES.csv gets the seconds that each test took
args <- commandArgs(trailingOnly = TRUE)
library(testthat)
library(softanneal)
if (!nzchar(Sys.getenv("NOT_CRAN"))) Sys.setenv(NOT_CRAN = "true") # all tests; NOT_CRAN=false: those of CRAN
result <- as.data.frame(test_dir(args[1L], package = "softanneal", load_package = "installed",
                                 reporter = "summary", stop_on_failure = FALSE))
# a test that stops counts as one failure; skips are tests without any expectation run
failed <- sum(result$failed) + sum(result$error)
passed <- sum(result$nb) - sum(result$failed) - sum(result$skipped) - sum(result$warning)
skipped <- sum(result$skipped)
if (length(args) > 1L) {
  shown <- c("file", "test", "nb", "failed", "skipped", "error", "warning", "user", "system", "real")
  utils::write.csv(result[shown], args[2L], row.names = FALSE)
}
if (sum(result$warning) > 0L) {
  cat("\nTests that warned:\n")
  print(result[result$warning > 0L, c("file", "test", "warning")], row.names = FALSE)
}
cat("\n", passed, " passed, ", failed, " failed, ", skipped, " skipped\n", sep = "")
quit(status = as.integer(failed > 0L || passed == 0L))
