# Scripts of figures for a course, tables of other laboratory data, and these with a database.

scripts <- list.files(system.file("course", package = "softanneal"), pattern = "[.]R$", full.names = TRUE)

test_that("each figure of the course takes at most five lines, names its data, and is right", {
  skip_on_cran()
  expect_length(scripts, 9L)
  truth <- list("01" = c(q_kj_mol = 349, 9), "02" = c(n = 1.6, 0.15), "03" = c(q_kj_mol = 165, 12),
                "04" = c(q_kj_mol = 93.6, 0.2), "05" = c(h_0 = 58, 3), "06" = c(k_strain = 2.2, 0.16),
                "07" = c(m = 2.6, 0.4), "08" = c(k = 12.5, 2.5), "09" = c(q_kj_mol = 140, 3))
  for (file in scripts) {
    lines <- readLines(file)
    code <- lines[nzchar(lines) & !startsWith(lines, "#")]
    expect_lte(length(code), 5L)
    expect_true(any(startsWith(lines, "# Data: ")), label = file)
    # the last line makes the figure; drawing it takes time, and is done in test-plots-drawn.R
    here <- new.env()
    bands <- grepl("01-|02-|06-", file) # their plots are tested with those of fits, and take a second each
    here$plot <- if (bands) invisible else ggplot2::autoplot
    here$plot_isochronal <- function(fit, ...) invisible(fit)
    expect_s3_class(eval(parse(text = code, keep.source = FALSE), here),
                    if (bands) "softanneal_fit_softening" else "ggplot")
    # true value, or the published one, within the margin
    known <- truth[[substr(basename(file), 1L, 2L)]]
    expect_lt(abs(coef(here$fit)[[names(known)[1L]]] - known[[1L]]), known[[2L]])
  }
})

test_that("the tables of other laboratory data join by specimen", {
  readings <- read.csv(extdata("join_readings.csv"))
  pieces <- unique(readings[c("specimen", "temp_c", "time_min")])
  for (file in c("join_tensile.csv", "join_fractions.csv", "join_counts.csv")) {
    table <- read.csv(extdata(file))
    expect_true(all(table$specimen %in% pieces$specimen))
    expect_equal(nrow(merge(table, pieces)), nrow(table))
  }
  # the law the fractions were drawn from: n = 1.6, Q = 140 kJ/mol, half in 12 min at 330 degrees Celsius
  counted <- merge(read.csv(extdata("join_fractions.csv")), pieces)
  fit <- fit_recrystallisation(counted, variance = "constant", weights = 1 / sd^2)
  inside <- confint(fit)
  expect_true(all(inside[, 1L] < c(log(log(2)^(1 / 1.6) / 12), 1.6, 140) + c(0.05, 0, 0) &
                    inside[, 2L] > c(log(log(2)^(1 / 1.6) / 12), 1.6, 140) - c(0.05, 0, 0)))
  # stated standard deviations are right: the scatter is about one of them
  expect_gt(sigma(fit), 0.5)
  expect_lt(sigma(fit), 1.5)
})

test_that("the file of a logger with clock times gives the steps that were run", {
  log <- suppressMessages(suppressWarnings(
    read_history(extdata("join_log.csv"), specimen = c("CH 1" = "bell-330", "CH 2" = "bell-350"))
  ))
  expect_identical(attr(log, "start"), "2026-11-30T08:00:00")
  steps <- find_steps(log[log$temp_c < 2000, ])
  expect_equal(steps$step_min, rep(c(2, 2, 4), 2), tolerance = 0.02)
  expect_equal(steps$temp_c, rep(c(330, 350), each = 3), tolerance = 0.005)
})

test_that("counts are for one specimen: by group, or refused by mutate()", {
  skip_if_not_installed("dplyr")
  counts <- read.csv(extdata("join_counts.csv"))
  expect_error(dplyr::mutate(dplyr::group_by(counts, specimen),
                             size = count_intercepts(intersections, line_mm, magnification)))
  each <- dplyr::summarise(dplyr::group_by(counts, specimen),
                           as.data.frame(count_intercepts(intersections, line_mm, magnification)))
  expect_equal(nrow(each), length(unique(counts$specimen)))
  first <- counts[counts$specimen == each$specimen[1L], ]
  expect_equal(each$diameter_mm[1L],
               count_intercepts(first$intersections, 500, 200)$summary$diameter_mm)
})

test_that("tables of the package go into a database and come back", {
  skip_on_cran()
  skip_if_not_installed("DBI")
  skip_if_not_installed("RSQLite")
  connection <- DBI::dbConnect(RSQLite::SQLite(), ":memory:")
  withr::defer(DBI::dbDisconnect(connection))
  readings <- bell_readings()
  expect_s3_class(readings, "softanneal_readings")
  fit <- bell_softening()
  tables <- list(readings = readings, steps = summarise_readings(readings), terms = tidy(fit),
                 along = soften(example_data("bellbrass_history"), fit))
  for (name in names(tables)) {
    DBI::dbWriteTable(connection, name, tables[[name]])
    expect_equal(nrow(DBI::dbReadTable(connection, name)), nrow(tables[[name]]))
  }
  again <- DBI::dbGetQuery(connection, "SELECT specimen, temp_c, time_min, hardness, scale FROM readings")
  expect_equal(again, as.data.frame(readings)[names(again)], ignore_attr = TRUE)
  expect_true(all(vapply(FRAME_CLASSES, function(own) methods::isClass(own[1L]), NA)))
})

test_that("a table of a database is read lazily and fitted by group", {
  skip_if_not_installed("dbplyr")
  skip_if_not_installed("RSQLite")
  skip_if_not_installed("dplyr")
  connection <- DBI::dbConnect(RSQLite::SQLite(), ":memory:")
  withr::defer(DBI::dbDisconnect(connection))
  one <- as.data.frame(bell_readings())
  two <- rbind(cbind(one, lot = "A"), cbind(one, lot = "B"))
  DBI::dbWriteTable(connection, "readings", two)
  lazy <- dplyr::filter(dplyr::tbl(connection, "readings"), scale == "HRF")
  # the tables of duckdb have the first class too; those of arrow, by its documentation, these
  unread <- c(list(lazy), lapply(list(c("Table", "ArrowTabular", "ArrowObject", "R6"), "arrow_dplyr_query",
                                      c("FileSystemDataset", "Dataset", "ArrowObject", "R6")),
                                 function(kind) structure(list(), class = kind)))
  for (x in unread) {
    for (ask in list(fit_softening, fit_each, summarise_readings, check_readings)) {
      expect_refused(ask(x), "argument", "has not been read yet. Fetch its rows first, by dplyr::collect()")
    }
    expect_refused(read_readings(x), "argument", "has not been read yet")
  }
  collected <- dplyr::collect(dplyr::group_by(lazy, lot))
  fits <- fit_each(collected)
  expect_identical(length(fits), 2L)
  expect_equal(coef(fits[["A"]]), coef(fits[["B"]]))
})
