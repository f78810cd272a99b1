# Calls between families of R files, and between C files, go one way. Read from the sources, where they
# are at hand.

call_graph <- function() {
  top <- Sys.getenv("SOFTANNEAL_SOURCE")
  script <- file.path(top, "inst", "scripts", "dev", "call-graph.R")
  skip_if(!nzchar(top) || !file.exists(script), "the sources are not at hand")
  skip_if_not_installed("codetools")
  tools <- new.env()
  sys.source(script, tools)
  tools$top <- top
  tools
}

circles_in_words <- function(groups) vapply(groups, paste, "", collapse = ", ")

test_that("families of R files call each other one way", {
  skip_on_cran()
  tools <- call_graph()
  calls <- tools$r_calls(tools$top)
  expect_gt(nrow(calls), 1000L)
  expect_identical(circles_in_words(tools$family_circles(calls)), character())
})

test_that("C files include and call each other one way", {
  skip_on_cran()
  tools <- call_graph()
  calls <- tools$c_calls(tools$top)
  expect_gt(sum(grepl("[.]c$", calls$to)), 50L)
  expect_identical(circles_in_words(tools$circles(calls$from, calls$to)), character())
})

test_that("a circle is found", {
  skip_on_cran()
  tools <- call_graph()
  folder <- withr::local_tempdir()
  dir.create(file.path(folder, "R"))
  dir.create(file.path(folder, "src"))
  writeLines("f <- function(x) g(x)", file.path(folder, "R", "low-a.R"))
  writeLines("h <- function(x) lapply(x, f)", file.path(folder, "R", "high.R"))
  writeLines(c("g <- function(x) x + LEVEL", "LEVEL <- 2"), file.path(folder, "R", "low-b.R"))
  writeLines(c("#include \"a.h\"", "int sa_a(void)", "{ return sa_b(); }"),
             file.path(folder, "src", "a.c"))
  writeLines("int sa_a(void);", file.path(folder, "src", "a.h"))
  writeLines(c("#include \"a.h\"", "int sa_b(void)", "{ return 1; }"), file.path(folder, "src", "b.c"))
  calls <- tools$r_calls(folder)
  expect_identical(sort(calls$name), c("f", "g"))
  expect_length(tools$family_circles(calls), 0L)
  in_c <- tools$c_calls(folder)
  expect_length(tools$circles(in_c$from, in_c$to), 0L)
  # a local name is not a call, a function handed over is one
  writeLines("g <- function(x) { h <- x; h }", file.path(folder, "R", "low-b.R"))
  expect_length(tools$family_circles(tools$r_calls(folder)), 0L)
  writeLines("g <- function(x) sapply(x, h)", file.path(folder, "R", "low-b.R"))
  expect_identical(tools$family_circles(tools$r_calls(folder)), list(c("high", "low")))
  writeLines(c("int sa_b(void)", "{ return sa_a(); }"), file.path(folder, "src", "b.c"))
  in_c <- tools$c_calls(folder)
  expect_identical(tools$circles(in_c$from, in_c$to), list(c("a.c", "b.c")))
})

test_that("no name is given twice at the top level of the R files", {
  skip_on_cran()
  top <- call_graph()$top
  names <- unlist(lapply(list.files(file.path(top, "R"), "[.]R$", full.names = TRUE), function(file) {
    code <- Filter(function(e) is.call(e) && identical(e[[1L]], as.name("<-")) && is.symbol(e[[2L]]),
                   as.list(parse(file, keep.source = FALSE)))
    vapply(code, function(e) as.character(e[[2L]]), "")
  }))
  expect_gt(length(names), 1000L)
  expect_identical(names[duplicated(names)], character())
})

test_that("every mutant of the check by mutants still edits one place of the sources", {
  top <- Sys.getenv("SOFTANNEAL_SOURCE")
  lists <- Sys.glob(file.path(top, "inst", "scripts", "dev", "mutants*.R"))
  skip_if(!nzchar(top) || !length(lists), "the sources are not at hand")
  stale <- character()
  known <- new.env()
  known$mutant <- function(name, file, old, new, tests, equivalent = NULL) {
    text <- readChar(file.path(top, file), file.size(file.path(top, file)), useBytes = TRUE)
    at <- gregexpr(old, text, fixed = TRUE, useBytes = TRUE)[[1L]]
    if (length(at) != 1L || at < 0L) stale <<- c(stale, paste(name, "in", file))
    here <- sub(":.*", "", tests[!grepl("^c(:|$)", tests)])
    missing <- here[!file.exists(file.path(top, "tests", "testthat", sprintf("test-%s.R", here)))]
    stale <<- c(stale, sprintf("%s is noticed by a file that is not there: %s", name, missing))
  }
  for (list in lists) sys.source(list, known)
  expect_identical(stale, character())
})
