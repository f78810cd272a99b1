# Coverage of R and C and the table of conditions raised, in one run of the tests; called by
# test.sh with SOFTANNEAL_COVERAGE=FOLDER, which makes a copy of the package, whose conditions are
# noted here:
#   Rscript coverage.R TOP COPY FOLDER
# The tests run in a process of their own, by run-tests.R on the copy as installed; FOLDER keeps
# tests.log, tests.csv, lines.csv and conditions.csv. R processes that a test starts load a second
# copy, with its conditions noted and its lines not counted: a package whose lines are counted takes
# a minute to load. C is counted by gcov twice: in the tests of R
# (all C files), and in the plain C tests of tests/c (the files without R headers). A line counts
# when either has run it; both shares are printed. Ends with an error where R or C is below 95 %, a
# condition is raised by no test, or a test fails.
args <- commandArgs(trailingOnly = TRUE)
top <- args[1L]
copy <- args[2L]
results <- args[3L]
sys.source(file.path(top, "inst", "scripts", "dev", "conditions.R"), conditions <- new.env())

notes <- file.path(results, "conditions-noted.txt")
log <- file.path(results, "tests.log")
times <- file.path(results, "tests.csv")
unlink(c(notes, log, times))
table <- conditions$condition_table(top) # now: the sources may be edited during the run
conditions$note_conditions(copy)
children <- file.path(results, "children")
unlink(children, recursive = TRUE)
dir.create(children)
status <- system2(file.path(R.home("bin"), "R"),
                  c("CMD", "INSTALL", "--no-test-load", "--no-docs", "--clean",
                    paste0("--library=", shQuote(children)), shQuote(copy)),
                  stdout = file.path(results, "children.log"), stderr = file.path(results, "children.log"))
if (status) stop("The copy for child processes was not installed: see children.log.")
unlink(list.files(file.path(copy, "src"), "[.](o|so)$", full.names = TRUE))
Sys.setenv(SOFTANNEAL_CONDITIONS = notes, SOFTANNEAL_CHILD_LIBRARY = children)
# threads that count at once may lose a count: only whether a line ran is asked for, and atomic
# counts made tests up to four times slower
options(covr.flags = c(CFLAGS = "-O0 --coverage -fprofile-update=single", LDFLAGS = "--coverage"))
run <- deparse(c(file.path(top, "inst", "scripts", "run-tests.R"),
                 file.path(top, "tests", "testthat"), times), width.cutoff = 500L)
done <- covr::package_coverage(
  copy, type = "none", quiet = TRUE,
  code = paste0("invisible(system2(file.path(R.home(\"bin\"), \"Rscript\"), shQuote(", run,
                "), stdout = ", deparse(log), ", stderr = ", deparse(log), "))"))
cat(readLines(log, warn = FALSE), sep = "\n")
tests <- if (file.exists(times)) utils::read.csv(times)
if (is.null(tests)) stop("The tests did not end.")
lines <- as.data.frame(covr::tally_coverage(done, by = "line"))[c("filename", "line", "value")]
lines <- lines[lines$filename != "R/zzz-noted.R", ]
lines$kind <- ifelse(grepl("^src/", lines$filename), "C", "R")

# Lines of the pure C files as the plain C tests run them: all tests are linked with the same
# objects, so that gcov adds them up.
plain_c <- function() {
  folder <- file.path(results, "gcov")
  unlink(folder, recursive = TRUE)
  dir.create(folder)
  old <- setwd(folder) # nolint
  on.exit(setwd(old)) # nolint
  files <- list.files(file.path(top, "src"), "[.]c$", full.names = TRUE)
  pure <- grep("/(init|glue_[a-z]+)[.]c$", files, value = TRUE, invert = TRUE)
  run <- function(...) if (system2(...) != 0L) stop("failed: ", paste(..., collapse = " "))
  run("gcc", c("-std=c99", "-O0", "--coverage", "-c", pure))
  for (test in list.files(file.path(top, "tests", "c"), "^test_.*[.]c$", full.names = TRUE)) {
    run("gcc", c("-std=c99", "-O0", "--coverage", paste0("-I", top, "/src"), "-o", "test", test,
                 sub("[.]c$", ".o", basename(pure)), "-lm"))
    run("./test", stdout = "test.log")
  }
  run("gcov", sub("[.]c$", ".gcda", basename(pure)), stdout = "gcov.log")
  do.call(rbind, lapply(basename(pure), function(file) {
    part <- strsplit(readLines(paste0(file, ".gcov")), ":", fixed = TRUE)
    count <- trimws(vapply(part, `[`, "", 1L))
    line <- as.integer(vapply(part, `[`, "", 2L))
    runs <- ifelse(count %in% c("#####", "====="), 0, as.numeric(gsub("[^0-9]", "", count)))
    data.frame(filename = paste0("src/", file), line, plain = runs)[count != "-" & line > 0L, ]
  }))
}
lines <- merge(lines, plain_c(), all.x = TRUE)
lines$plain[is.na(lines$plain)] <- 0
lines$ever <- lines$value > 0 | lines$plain > 0

share <- function(x) sprintf("%.1f %% (%d of %d lines)", 100 * mean(x), sum(x), length(x))
each <- sort(tapply(lines$ever, lines$filename, function(x) round(100 * mean(x), 1)))
cat("\nFiles below 95 %:\n")
print(each[each < 95])
open <- lines[!lines$ever, ]
open <- open[order(open$filename, open$line), ]
cat("\nLines never run, by file:\n")
for (file in unique(open$filename)) {
  cat(file, ": ", paste(open$line[open$filename == file], collapse = " "), "\n", sep = "")
}
utils::write.csv(lines, file.path(results, "lines.csv"), row.names = FALSE)
table <- conditions$raised_conditions(table, notes)
utils::write.csv(table, file.path(results, "conditions.csv"), row.names = FALSE)
conditions$report_conditions(table)
failed <- sum(tests$failed) + sum(tests$error)
is_c <- lines$kind == "C"
cat("R: ", share(lines$ever[!is_c]), "\n",
    "C by the tests of R: ", share(lines$value[is_c] > 0), "\n",
    "C by these and the plain C tests: ", share(lines$ever[is_c]), "\n", sep = "")
enough <- mean(lines$ever[!is_c]) >= 0.95 && mean(lines$ever[is_c]) >= 0.95
if (!enough) cat("Coverage is below 95 %.\n")
if (!all(table$raised)) cat("Conditions that no test raises: see above.\n")
if (failed) cat(failed, "tests failed: see above.\n")
quit(status = as.integer(!enough || !all(table$raised) || failed > 0L))
