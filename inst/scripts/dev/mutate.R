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
# tests alone whose names hold these words; "c" stands for all plain C tests, "c: model" for
# tests/c/test_model.c; the quickest first. `equivalent`: why no test can tell the mutant from the
# original; such a one is tried too, and has to survive.
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

# Test files run in a fork of this process, which has all but the package loaded, until an expectation
# fails or a test stops. An R file is put into the namespace before the package is attached, so that a
# mutant of R code needs no installation.
.libPaths(c(library, .libPaths()))
Sys.setenv(R_LIBS = paste(.libPaths(), collapse = .Platform$path.sep), SOFTANNEAL_SOURCE = copy,
           SOFTANNEAL_MUTANTS = "true")
for (package in c("testthat", "ggplot2", "generics", "withr")) loadNamespace(package)
base::library(testthat)
into_namespace <- function(file) {
  home <- loadNamespace("softanneal")
  new <- new.env(parent = home)
  sys.source(file, new)
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
run_files <- function(files, r_file) {
  tryCatch({
    Sys.setenv(NOT_CRAN = "true") # all tests
    if (nzchar(r_file)) into_namespace(r_file)
    suppressPackageStartupMessages(base::library(softanneal))
    for (file in files) {
      test_file(file, package = "softanneal", load_package = "installed", reporter = "stop",
                stop_on_failure = TRUE)
    }
    "passed"
  }, error = function(e) conditionMessage(e))
}
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
is_c <- function(tests) grepl("^c(:|$)", tests)
# What the tests say of the package as it stands in the copy; NULL when they pass. `changed`: the file
# that is a mutant, if any.
noticed <- function(tests, changed = "") {
  if (any(is_c(tests)) && !startsWith(changed, "R/")) {
    out <- plain_c(sub("^c:? ?", "", tests[is_c(tests)]), changed)
    if (!is.null(out)) return(out)
  }
  tests <- tests[!is_c(tests)]
  if (!length(tests)) return(NULL)
  if (endsWith(changed, ".c") || endsWith(changed, ".h")) {
    problem <- compile()
    if (!is.null(problem)) return(problem)
  }
  files <- vapply(tests, file_of, "")
  job <- parallel::mcparallel({
    sink(file.path(work, "tests.log"))
    run_files(files, if (startsWith(changed, "R/")) file.path(copy, changed) else "")
  }, silent = TRUE)
  out <- parallel::mccollect(job)[[1L]]
  if (!identical(out, "passed")) as.character(out %||% "the process ended")
}
`%||%` <- function(x, y) if (length(x)) x else y

# The plain C tests, linked with objects of their own; those of the sources as they are stay.
plain <- file.path(work, "plain")
dir.create(plain)
gcc <- function(...) {
  out <- suppressWarnings(system2("gcc", c("-std=c99", "-O1", paste0("-I", file.path(copy, "src")), ...),
                                  stdout = TRUE, stderr = TRUE))
  if (!is.null(attr(out, "status"))) paste(c("it does not build:", out), collapse = "\n")
}
plain_objects <- function(sources, folder) {
  for (file in sources) {
    problem <- gcc("-c", file, "-o", file.path(folder, sub("c$", "o", basename(file))))
    if (!is.null(problem)) return(problem)
  }
}
plain_c <- function(names, changed) {
  pure <- grep("/(init|glue_[a-z]+)[.]c$", list.files(file.path(copy, "src"), "[.]c$", full.names = TRUE),
               value = TRUE, invert = TRUE)
  if (!length(list.files(plain, "[.]o$"))) {
    if (nzchar(changed)) stop("the C tests were not built before the mutants")
    problem <- plain_objects(pure, plain)
    if (!is.null(problem)) return(problem)
  }
  own <- tempfile("own", work)
  dir.create(own)
  on.exit(unlink(own, recursive = TRUE))
  touched <- if (endsWith(changed, ".h")) pure else intersect(file.path(copy, changed), pure)
  problem <- plain_objects(touched, own)
  if (!is.null(problem)) return(problem)
  objects <- file.path(plain, sub("c$", "o", basename(pure)))
  mine <- file.exists(file.path(own, basename(objects)))
  objects[mine] <- file.path(own, basename(objects[mine]))
  tests <- list.files(file.path(copy, "tests", "c"), "^test_.*[.]c$", full.names = TRUE)
  if (all(nzchar(names))) tests <- file.path(copy, "tests", "c", paste0("test_", names, ".c"))
  for (test in tests) {
    program <- file.path(own, "program")
    problem <- gcc("-o", program, test, objects, "-lm")
    if (!is.null(problem)) return(problem)
    out <- suppressWarnings(system2("timeout", c("60", program), stdout = TRUE, stderr = TRUE))
    if (!is.null(attr(out, "status"))) return(utils::tail(out, 3L))
  }
  NULL
}

problem <- install()
if (!is.null(problem)) stop(problem)
for (file in unique(unlist(lapply(mutants, `[[`, "tests")))) {
  before <- noticed(file)
  if (!is.null(before)) {
    cat(file, " fails without any mutant:\n", paste(before, collapse = "\n"), "\n", sep = "")
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
  began <- proc.time()[[3L]]
  path <- file.path(copy, m$file)
  original <- read_text(path)
  writeBin(charToRaw(enc2utf8(edited[[i]])), path)
  found <- noticed(m$tests, m$file)
  writeBin(charToRaw(enc2utf8(original)), path)
  if (!in_r[i]) put_back(m$file)
  survived[i] <- is.null(found)
  ok <- survived[i] == !is.null(m$equivalent)
  cat(sprintf("%-9s%s %s (%s, %.0f s)\n", if (survived[i]) "survived" else "killed", if (ok) "" else "!",
              m$name, m$file, proc.time()[[3L]] - began))
  if (any(grepl("does not build", found))) cat(found, "\n")
  flush(stdout())
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
