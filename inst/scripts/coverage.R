# Coverage of R and C and the table of conditions raised, in one run of the tests; called by
# coverage.sh, which makes a copy of the package, whose conditions are noted here:
#   Rscript coverage.R TOP COPY RESULTS
# C is counted by gcov twice: in the tests of R (all C files), and in the plain C tests of
# tests/c (the files without R headers). A line counts when either has run it; both shares are
# printed.
args <- commandArgs(trailingOnly = TRUE)
top <- args[1L]
copy <- args[2L]
results <- args[3L]
sys.source(file.path(top, "inst", "scripts", "conditions.R"), conditions <- new.env())

notes <- file.path(results, "conditions-noted.txt")
unlink(notes)
table <- conditions$condition_table(top) # now: the sources may be edited during the run
conditions$note_conditions(copy)
Sys.setenv(SOFTANNEAL_SOURCE = top, SOFTANNEAL_CONDITIONS = notes, NOT_CRAN = "true")
setwd(copy) # nolint
done <- covr::package_coverage(
  ".", type = "none", quiet = TRUE,
  code = paste0("result <- testthat::test_dir(\"tests/testthat\", package = \"softanneal\", ",
                "load_package = \"installed\", reporter = \"summary\", ",
                "stop_on_failure = FALSE)\n",
                "saveRDS(as.data.frame(result), \"", file.path(results, "tests.rds"), "\")"))
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
tests <- readRDS(file.path(results, "tests.rds"))
failed <- sum(tests$failed) + sum(tests$error)
cat("Tests in this run: ", sum(tests$nb), " expectations, ", failed, " failed, ",
    sum(tests$skipped), " skipped\n", sep = "")
if (failed) print(tests[tests$failed > 0L | tests$error, c("file", "test")], row.names = FALSE)
is_c <- lines$kind == "C"
cat("R: ", share(lines$ever[!is_c]), "\n",
    "C by the tests of R: ", share(lines$value[is_c] > 0), "\n",
    "C by these and the plain C tests: ", share(lines$ever[is_c]), "\n", sep = "")
enough <- mean(lines$ever[!is_c]) >= 0.95 && mean(lines$ever[is_c]) >= 0.95
quit(status = as.integer(!enough || !all(table$raised) || failed > 0L))
