# Every class of condition in the sources is on the help page, and the other way round.

test_that("conditions raised and conditions documented are the same", {
  top <- Sys.getenv("SOFTANNEAL_SOURCE")
  script <- file.path(top, "inst", "scripts", "conditions.R")
  skip_if(!nzchar(top) || !file.exists(script), "the sources are not at hand")
  tools <- new.env()
  sys.source(script, tools)
  table <- tools$condition_table(top)
  expect_gt(nrow(table), 200L)
  expect_setequal(unique(paste0(table$kind, "_", table$class)), tools$documented_conditions(top))
  # no way around: R's own functions occur where our conditions are made (checks.R, say() in
  # readings-read.R), where one that was caught is passed on (report.R), and in the addins,
  # which speak to the console of a person
  own <- c("stop", "warning", "stopifnot", "message")
  direct <- vapply(list.files(file.path(top, "R"), "[.]R$", full.names = TRUE), function(file) {
    parts <- utils::getParseData(parse(file, keep.source = TRUE))
    any(parts$token == "SYMBOL_FUNCTION_CALL" & parts$text %in% own)
  }, NA)
  expect_identical(setdiff(basename(names(direct))[direct],
                           c("addins.R", "checks.R", "readings-read.R", "report.R",
                             "readings-assemble.R")), character())
})
