# Do the tests notice a wrong threshold, sign or factor? Each mutant of mutants.R is an edit of one
# file: it is made in a copy of the package, and the test files named with it run until one of them
# fails; one C file is compiled again for a C mutant, nothing for an R mutant. Prints the survivors.
# From the top of the package (an hour for all):
#   Rscript inst/scripts/dev/mutate.R [PATTERN]     mutants whose file or name matches PATTERN
# An edit whose old text is not there exactly once is an error: bring mutants.R up to date.
top <- normalizePath(".")
only <- commandArgs(trailingOnly = TRUE)
stopifnot(file.exists(file.path(top, "DESCRIPTION")))

mutants <- list()
# `tests`: names of test files, without "test-" and ".R". `equivalent`: why no test can tell the
# mutant from the original; such a one is tried too, and has to survive.
mutant <- function(name, file, old, new, tests, equivalent = NULL) {
  mutants[[length(mutants) + 1L]] <<- list(name = name, file = file, old = old, new = new,
                                           tests = tests, equivalent = equivalent)
}
source(file.path(top, "inst", "scripts", "dev", "mutants.R"))
if (anyDuplicated(vapply(mutants, `[[`, "", "name"))) stop("two mutants have one name")

read_text <- function(path) {
  text <- readChar(path, file.size(path), useBytes = TRUE)
  Encoding(text) <- "UTF-8"
  text
}
edited <- lapply(mutants, function(m) {
  text <- read_text(file.path(top, m$file))
  at <- gregexpr(m$old, text, fixed = TRUE)[[1L]]
  if (length(at) != 1L || at < 0L) {
    cat(m$name, ": the old text stands ", sum(at > 0L), " times in ", m$file, "\n", sep = "")
    return(NULL)
  }
  paste0(substr(text, 1L, at - 1L), m$new, substring(text, at + nchar(m$old)))
})
if (any(vapply(edited, is.null, NA))) quit(status = 1L)
if (length(only)) {
  mine <- vapply(mutants, function(m) any(grepl(only[1L], c(m$file, m$name))), NA)
  mutants <- mutants[mine]
  edited <- edited[mine]
}

work <- tempfile("mutants")
copy <- file.path(work, "softanneal")
library <- file.path(work, "library")
dir.create(copy, recursive = TRUE)
dir.create(library)
for (part in c("DESCRIPTION", "NAMESPACE", "R", "src", "inst", "tests")) {
  file.copy(file.path(top, part), copy, recursive = TRUE)
}
unlink(list.files(file.path(copy, "src"), "[.]s?o$", full.names = TRUE))
r <- function(...) system2(file.path(R.home("bin"), "R"), c(...), stdout = TRUE, stderr = TRUE)
install <- function(...) {
  out <- suppressWarnings(r("CMD", "INSTALL", ..., "--no-docs", "--no-test-load", "--no-byte-compile",
                            "--no-staged-install", paste0("--library=", library), shQuote(copy)))
  if (!is.null(attr(out, "status"))) paste(out, collapse = "\n")
}

# Runs test files in a process of its own until an expectation fails or a test stops. An R file is put
# into the namespace before the package is attached, so that a mutant of R code needs no installation.
Sys.setenv(R_LIBS = paste(c(library, .libPaths()), collapse = .Platform$path.sep),
           SOFTANNEAL_SOURCE = copy, SOFTANNEAL_MUTANTS = "true")
runner <- file.path(work, "run.R")
writeLines(deparse(quote({
  library(testthat)
  args <- commandArgs(TRUE)
  if (nzchar(args[1L])) {
    home <- loadNamespace("softanneal")
    loadNamespace("ggplot2")
    new <- new.env(parent = home)
    sys.source(args[1L], new)
    for (name in ls(new, all.names = TRUE)) {
      value <- new[[name]]
      if (identical(environment(value), new)) environment(value) <- home
      if (exists(name, home, inherits = FALSE)) unlockBinding(name, home)
      assign(name, value, home)
    }
    methods <- getNamespaceInfo(home, "S3methods")
    for (row in which(methods[, 3L] %in% ls(new, all.names = TRUE))) {
      registerS3method(methods[row, 1L], methods[row, 2L], home[[methods[row, 3L]]],
                       if (is.na(methods[row, 4L])) home else asNamespace(methods[row, 4L]))
    }
  }
  suppressPackageStartupMessages(library(softanneal))
  for (file in args[-1L]) {
    test_file(file, package = "softanneal", load_package = "installed", reporter = "stop",
              stop_on_failure = TRUE)
  }
})), runner)
noticed <- function(tests, r_file = "") {
  files <- file.path(copy, "tests", "testthat", paste0("test-", tests, ".R"))
  if (!all(file.exists(files))) stop("no such test file: ", toString(files[!file.exists(files)]))
  out <- suppressWarnings(system2(file.path(R.home("bin"), "Rscript"), shQuote(c(runner, r_file, files)),
                                  stdout = TRUE, stderr = TRUE))
  if (!is.null(attr(out, "status"))) utils::tail(out, 12L)
}

problem <- install()
if (!is.null(problem)) stop(problem)
for (file in unique(unlist(lapply(mutants, `[[`, "tests")))) {
  before <- noticed(file)
  if (!is.null(before)) {
    cat("test-", file, ".R fails without any mutant:\n", paste(before, collapse = "\n"), "\n", sep = "")
    quit(status = 1L)
  }
}
in_r <- vapply(mutants, function(m) startsWith(m$file, "R/"), NA)
survived <- rep(NA, length(mutants))
for (i in order(!in_r)) { # R first: what C mutants leave in the library does not disturb them
  m <- mutants[[i]]
  path <- file.path(copy, m$file)
  original <- read_text(path)
  writeBin(charToRaw(enc2utf8(edited[[i]])), path)
  problem <- if (!in_r[i]) install("--libs-only")
  found <- if (is.null(problem)) noticed(m$tests, if (in_r[i]) path else "") else problem
  writeBin(charToRaw(enc2utf8(original)), path)
  survived[i] <- is.null(found)
  ok <- survived[i] == !is.null(m$equivalent)
  cat(sprintf("%-9s%s %s (%s)\n", if (survived[i]) "survived" else "killed", if (ok) "" else "!",
              m$name, m$file))
  if (!is.null(problem)) cat("  it does not build:", utils::tail(strsplit(problem, "\n")[[1L]], 3L), "\n")
}
expected <- !vapply(mutants, function(m) is.null(m$equivalent), NA)
cat("\n", sum(!survived), " of ", length(mutants), " mutants killed, ", sum(survived & expected),
    " equivalent, ", sum(survived & !expected), " survived\n", sep = "")
for (m in mutants[survived & !expected]) {
  cat("\n", m$name, " (", m$file, "; test-", paste(m$tests, collapse = ", test-"), ")\n  - ", m$old,
      "\n  + ", m$new, "\n", sep = "")
}
for (m in mutants[!survived & expected]) cat("\nNot equivalent after all: ", m$name, "\n", sep = "")
unlink(work, recursive = TRUE)
quit(status = as.integer(any(survived != expected)))
