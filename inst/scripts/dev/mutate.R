# Do the tests notice a wrong threshold, sign or factor? Each mutant of mutants*.R is an edit of one
# file: it is made in a copy of the package, and the test files named with it run until one of them
# fails; one C file is compiled again for a C mutant, nothing for an R mutant. Prints the survivors.
# From the top of the package (an hour for all):
#   Rscript inst/scripts/dev/mutate.R [PATTERN]     mutants whose file or name matches PATTERN
# An edit whose old text is not there exactly once is an error: bring mutants*.R up to date.
top <- normalizePath(".")
only <- commandArgs(trailingOnly = TRUE)
stopifnot(file.exists(file.path(top, "DESCRIPTION")))

mutants <- list()
# `tests`: names of test files, without "test-" and ".R", or "file: words", which takes of that file the
# tests alone whose names hold these words; the quickest first. `equivalent`: why no test can tell the
# mutant from the original; such a one is tried too, and has to survive.
mutant <- function(name, file, old, new, tests, equivalent = NULL) {
  mutants[[length(mutants) + 1L]] <<- list(name = name, file = file, old = old, new = new,
                                           tests = tests, equivalent = equivalent)
}
for (list in Sys.glob(file.path(top, "inst", "scripts", "dev", "mutants*.R"))) source(list)
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
# The file of the copy for one entry of `tests`.
file_of <- function(entry) {
  part <- strsplit(entry, ": ", fixed = TRUE)[[1L]]
  file <- file.path(copy, "tests", "testthat", paste0("test-", part[1L], ".R"))
  if (!file.exists(file)) stop("no such test file: ", file)
  if (length(part) == 1L) return(file)
  words <- paste(part[-1L], collapse = ": ")
  code <- parse(file, keep.source = TRUE)
  name <- vapply(code, function(e) {
    if (identical(e[[1L]], quote(test_that)) && is.character(e[[2L]])) e[[2L]] else NA_character_
  }, "")
  hit <- grepl(words, name, fixed = TRUE)
  if (!any(hit)) stop("no test of ", part[1L], " is called ", words)
  own <- file.path(dirname(file), paste0("test-", part[1L], "-", which(hit)[1L], "-alone.R"))
  writeLines(unlist(lapply(attr(code, "srcref")[hit | is.na(name)], as.character)), own)
  own
}
noticed <- function(tests, r_file = "") {
  files <- vapply(tests, file_of, "")
  out <- suppressWarnings(system2(file.path(R.home("bin"), "Rscript"), shQuote(c(runner, r_file, files)),
                                  stdout = TRUE, stderr = TRUE))
  if (!is.null(attr(out, "status"))) utils::tail(out, 12L)
}

problem <- install()
if (!is.null(problem)) stop(problem)
for (file in unique(unlist(lapply(mutants, `[[`, "tests")))) {
  before <- noticed(file)
  if (!is.null(before)) {
    cat("test-", file, " fails without any mutant:\n", paste(before, collapse = "\n"), "\n", sep = "")
    quit(status = 1L)
  }
}
in_r <- vapply(mutants, function(m) startsWith(m$file, "R/"), NA)
# objects of the sources as they are, put back after a C mutant: nothing but the mutant is compiled
src <- file.path(copy, "src")
objects <- file.path(work, "objects")
shared <- paste0("softanneal", .Platform$dynlib.ext)
dir.create(objects)
invisible(file.copy(list.files(src, "[.]o$", full.names = TRUE), objects))
compile <- function() {
  old <- setwd(src) # nolint
  on.exit(setwd(old)) # nolint
  out <- suppressWarnings(r("CMD", "SHLIB", "-o", file.path(library, "softanneal", "libs", basename(shared)),
                            list.files(pattern = "[.]c$")))
  if (!is.null(attr(out, "status"))) paste(out, collapse = "\n")
}
put_back <- function(file) {
  wanted <- if (endsWith(file, ".h")) "[.]o$" else sub("[.]c$", "[.]o$", basename(file))
  file.copy(list.files(objects, wanted, full.names = TRUE), src, overwrite = TRUE)
}
survived <- rep(NA, length(mutants))
for (i in order(!in_r)) { # R first: what C mutants leave in the library does not disturb them
  m <- mutants[[i]]
  path <- file.path(copy, m$file)
  original <- read_text(path)
  writeBin(charToRaw(enc2utf8(edited[[i]])), path)
  problem <- if (!in_r[i]) compile()
  found <- if (is.null(problem)) noticed(m$tests, if (in_r[i]) path else "") else problem
  writeBin(charToRaw(enc2utf8(original)), path)
  if (!in_r[i]) put_back(m$file)
  survived[i] <- is.null(found)
  ok <- survived[i] == !is.null(m$equivalent)
  cat(sprintf("%-9s%s %s (%s)\n", if (survived[i]) "survived" else "killed", if (ok) "" else "!",
              m$name, m$file))
  flush(stdout())
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
