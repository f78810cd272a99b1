# The style of the R files by lintr, with the rules of .lintr (the aim is 100 columns, a finding is
# above 110); a row of a table on a help page has to be one line. Left out where lintr is not
# installed. From the top of the package:
#   Rscript inst/scripts/dev/lint.R
if (!requireNamespace("lintr", quietly = TRUE)) {
  cat("lintr left out: it is not installed.\n")
  quit()
}
files <- list.files(c("R", "tests/testthat", "inst/scripts", "inst/scripts/dev",
                      "inst/benchmarks"), "[.]R$",
                    full.names = TRUE)
cores <- if (.Platform$OS.type == "unix") parallel::detectCores() else 1L
linted <- parallel::mclapply(files, function(file) lintr::lint(file), mc.cores = cores)
broken <- vapply(linted, inherits, NA, "try-error")
if (any(broken)) stop("not linted: ", toString(files[broken]))
found <- unlist(linted, recursive = FALSE)
in_table <- vapply(found, function(x) {
  x$linter == "line_length_linter" && startsWith(x$line, "#' |")
}, NA)
found <- found[!in_table]
for (x in found) {
  cat(sprintf("%s:%d:%d: %s [%s]\n", x$filename, x$line_number, x$column_number, x$message,
              x$linter))
}
cat(length(files), "R files,", length(found), "findings of lintr\n")
quit(status = as.integer(length(found) > 0L))
