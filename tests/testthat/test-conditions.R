# Every class of condition in the sources is on the help page, and the other way round; each
# says what it is about. That each is raised by a test is counted by inst/scripts/test.sh with
# SOFTANNEAL_COVERAGE.

condition_tools <- function(env = parent.frame()) {
  top <- Sys.getenv("SOFTANNEAL_SOURCE")
  script <- file.path(top, "inst", "scripts", "dev", "conditions.R")
  skip_if(!nzchar(top) || !file.exists(script), "the sources are not at hand")
  tools <- new.env()
  sys.source(script, tools)
  tools$top <- top
  tools
}

test_that("conditions raised and conditions documented are the same", {
  tools <- condition_tools()
  table <- tools$condition_table(tools$top)
  expect_gt(nrow(table), 400L)
  known <- table[table$class != "(given)", ]
  expect_setequal(unique(paste0(known$kind, "_", known$class)),
                  tools$documented_conditions(tools$top))
  # no way around: R's own functions occur where our conditions are made (checks.R, say() in
  # readings-read.R), where one that was caught is passed on (report.R), and in the addins,
  # which speak to the console of a person
  own <- c("stop", "warning", "stopifnot", "message")
  files <- list.files(file.path(tools$top, "R"), "[.]R$", full.names = TRUE)
  direct <- vapply(files, function(file) {
    parts <- utils::getParseData(parse(file, keep.source = TRUE))
    any(parts$token == "SYMBOL_FUNCTION_CALL" & parts$text %in% own)
  }, NA)
  expect_identical(setdiff(basename(files)[direct],
                           c("addins.R", "checks.R", "readings-read.R", "report.R")), character())
})

test_that("every error names its argument, every warning counts, and messages tell them apart", {
  tools <- condition_tools()
  table <- tools$condition_table(tools$top, parts = TRUE)
  errors <- table[table$kind == "error", ]
  expect_identical(errors$place[!grepl("arg", errors$fields)], character())
  # where no remedy is given, the message itself says what must be
  bare <- errors[!grepl("remedy", errors$fields), ]
  expect_identical(bare$message[!grepl(" must |holds no time", bare$message)], character())
  told <- table[table$kind == "warning", ]
  expect_identical(told$place[!grepl("\\bn\\b", told$fields)], character())
  # the same words are always the same class (checks.R tells infinite from out of range)
  twice <- unique(table[table$message != "" & !startsWith(table$place, "checks.R"),
                        c("class", "kind", "message")])
  expect_identical(twice$message[duplicated(twice$message)], character())
})

test_that("the table is made from each call, and notes of a run are matched to it", {
  tools <- condition_tools()
  copy <- withr::local_tempdir()
  dir.create(file.path(copy, "R"))
  file <- file.path(copy, "R", "a.R")
  lines <- c("f <- function(x) {",
             "  if (x) abort(if (x > 1) \"range\" else \"missing\", \"no x\",",
             "                arg = \"x\") else warn(\"fit\", paste0(x, \" is so\"), n = 1L)", "}")
  writeLines(lines, file)
  table <- tools$condition_table(copy)
  expect_identical(table$place, c("a.R:2:10", "a.R:2:10", "a.R:3:33"))
  expect_identical(table$class, c("range", "missing", "fit"))
  tools$note_conditions(copy)
  expect_length(readLines(file), length(lines))
  noted <- new.env()
  for (part in list.files(file.path(copy, "R"), full.names = TRUE)) sys.source(part, noted)
  noted$abort <- function(what, message, ...) stop(message)
  noted$warn <- function(what, message, ...) warning(message)
  notes <- withr::local_tempfile()
  withr::local_envvar(SOFTANNEAL_CONDITIONS = notes)
  expect_error(noted$f(2), "no x")
  expect_warning(noted$f(0), "0 is so")
  expect_error(noted$f(2), "no x")
  expect_length(readLines(notes), 2L)
  expect_identical(tools$raised_conditions(table, notes)$raised, c(TRUE, FALSE, TRUE))
  expect_output(tools$report_conditions(tools$raised_conditions(table, notes)),
                "2 of 3 conditions raised by the tests")
})
