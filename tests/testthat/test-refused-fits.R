# What the fits, their methods and the sheets refuse, one condition after the other.

test_that("archives and many fits refuse what they cannot keep apart", {
  bell <- as.data.frame(bell_readings())
  folder <- withr::local_tempdir()
  utils::write.csv(cbind(coil = "A", bell), file.path(folder, "a.csv"), row.names = FALSE)
  file <- file.path(folder, "file")
  writeLines("in the way", file)
  expect_refused(fit_archive(folder, file.path(file, "below"), by = "coil"), "file",
                 "cannot make the folder", "out_dir")
  expect_refused(put_or_stop(file.path(file, "below"), function(to) writeLines("a", to),
                             function(to) TRUE), "file", "cannot write", "out_dir")
  expect_refused(fit_each(transform(bell, coil = 1i), by = "coil"), "column",
                 "key column `coil` must hold names or numbers, not a complex", "coil")
  torn <- rep("A", nrow(bell))
  torn[3L] <- "\xe9\xff"
  Encoding(torn[3L]) <- "bytes"
  expect_refused(fit_each(transform(bell, coil = torn), by = "coil"), "column",
                 "key column `coil` has invalid text encoding", "coil")
  two <- transform(bell, coil = "A", scale = ifelse(temp_c == 290, "HR30T", "HRF"))
  expect_refused(fit_each(two, by = "coil", scale = "as read"), "scale",
                 "more than one scale: 'HR30T' and 'HRF'", "scale")
  fits <- suppressWarnings(fit_each(transform(bell, coil = "A"), by = "coil"))
  expect_refused(fits[c(TRUE, FALSE)], "argument", "`i` has length 2 where there are 1 groups", "i")
  few <- suppressWarnings(fit_each(transform(bell[1:3, ], coil = "A"), by = "coil"))
  expect_refused(ggplot2::autoplot(few), "too_few", "no group has an estimate to draw", "object")
})

test_that("a query has no parts", {
  skip_if_not_installed("RSQLite")
  skip_if_not_installed("DBI")
  connection <- DBI::dbConnect(RSQLite::SQLite(), ":memory:")
  withr::defer(DBI::dbDisconnect(connection))
  expect_refused(fit_archive(connection, withr::local_tempfile(), by = "coil", query = "SELECT 1",
                             part = 1), "argument", "`part` is for files, not for a query", "part")
})

test_that("formulas of fit_least_squares() need numbers of one length", {
  x <- 1:5
  y <- letters[1:5]
  expect_refused(fit_least_squares(y ~ a * x, start = c(a = 1)), "column",
                 "variable `y` must be numeric, not text of length 5", "y")
  y <- c(1.1, 2, 2.9, 4.2, 5)
  expect_refused(fit_least_squares(y ~ c(a, 2 * a), start = c(a = 1)), "argument",
                 "the formula gives 2 values for 5 responses", "fn")
})

test_that("resamples that fail are told, and a plot needs something that moves", {
  d <- with_test_seed(61, made_readings(sd_reading = 30, n = 1, times = c(0, 8, 64)))
  fit <- quietly_fitted(d, control = fit_control(max_iterations = 1))
  out <- expect_told(resample_fit(fit, n_resamples = 20, seed = 2), "fit",
                     "of 20 resamples did not converge and are NA")
  expect_gt(out$failed, 0)
  expect_equal(sum(is.na(out$estimates[, 1L])), out$failed)
  still <- structure(list(estimates = cbind(n = rep(1, 3)), failed = 0L, type = "parametric",
                          n_resamples = 3, seed = 1), class = "softanneal_resample")
  expect_refused(ggplot2::autoplot(still), "too_few", "no parameter varies", "object")
})

test_that("grain counts and grain fits refuse empty and twice-used columns", {
  expect_refused(count_intercepts(numeric(), 500, 200), "too_few", "there are no fields",
                 "intersections")
  expect_refused(count_grains(c(0, 0), 0, magnification = 200), "too_few",
                 "nothing was counted in any field", "inside")
  growth <- utils::read.csv(extdata("grain_bellbrass_growth.csv"))
  expect_refused(fit_grain_growth(transform(growth, m = grain_mm), grain = m), "column",
                 "column 'm' has the name of a parameter", "m")
  expect_refused(fit_grain_growth(growth, time = "temp_c"), "argument",
                 "column 'temp_c' is named for two purposes", "temp_c")
  expect_refused(fit_grain_growth(transform(growth, time_min = 0)), "too_few",
                 "no grain size was measured after time zero", "time_min")
  one <- growth[growth$temp_c == growth$temp_c[1L], ]
  fit <- suppressWarnings(fit_grain_growth(one, d0_mm = 0.009, m = 2))
  new <- data.frame(temp_c = growth$temp_c[1L] + c(0, 50), time_min = max(one$time_min))
  value <- expect_told(predict(fit, new), "outside", "1 of 2 predictions are NA", 1L, 2L)
  expect_identical(is.na(as.vector(value)), c(FALSE, TRUE))
})

test_that("layouts and tables of the package", {
  expect_refused(indent_layout(2e4, 2e4, n_readings = 6, steps = 4, scale = "HV5",
                               diameter_mm = 0.05), "range",
                 "more than a million indentations", "length_mm")
  expect_refused(fact_table("no-such-table.csv"), "file", "lacks its table 'no-such-table.csv'")
})

test_that("answers of a class outside the table of the dial are refused", {
  design <- class_design(scale = "HRB")
  truth <- design$truth
  expect_true(all(is.finite(estimator_covariance(truth, design))))
  truth$par[["h_soft"]] <- 20
  expect_refused(estimator_covariance(truth, design), "range",
                 "the true hardness is outside the conversion table", "parameters")
  # a class meets that earlier, in its readings, and says why no draw will do
  soft <- class_design(parameters = truth$par, temp_ref_c = truth$temp_ref_c, scale = "HRB",
                       sd_groups = NULL)
  expect_refused(answer_key(1, seed = 20, design = soft), "too_few",
                 "outside the brass table", "design")
})

test_that("a sheet needs pandoc, a printer that prints, and room to be written", {
  skip_on_cran()
  skip_if_not_installed("rmarkdown")
  skip_if_not_installed("knitr")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc")
  plan <- plan_anneal(c(290, 320), c(4, 8, 16), plan_guess(recryst_1h_c = 330, draws = 8))
  folder <- withr::local_tempdir()
  pdf <- file.path(folder, "sheet.pdf")
  # a program that prints nothing
  browser <- file.path(folder, "browser")
  writeLines(c("#!/bin/sh", "echo no display", "exit 3"), browser)
  Sys.chmod(browser, "755")
  withr::with_envvar(c(SOFTANNEAL_BROWSER = browser), {
    expect_refused(bench_sheet(plan, pdf), "file", "did not print the sheet: no display", "file")
  })
  # a LaTeX that does not
  latex <- file.path(folder, LATEX)
  writeLines(c("#!/bin/sh", "exit 1"), latex)
  Sys.chmod(latex, "755")
  path <- paste(folder, Sys.getenv("PATH"), sep = .Platform$path.sep)
  withr::with_envvar(c(SOFTANNEAL_BROWSER = "none", PATH = path), {
    utils::capture.output(expect_refused(bench_sheet(plan, pdf), "file",
                                         "LaTeX did not print the sheet", "file"))
  })
  expect_false(file.exists(pdf))
  expect_refused(place_sheet(file.path(folder, "none"), pdf), "file", "could not be written",
                 "file")
})

test_that("without pandoc sheet and report say so", {
  skip_if_not_installed("rmarkdown")
  skip_if_not_installed("knitr")
  found <- rmarkdown::find_pandoc()
  withr::defer(rmarkdown::find_pandoc(cache = FALSE, dir = found$dir))
  empty <- withr::local_tempdir()
  withr::local_envvar(PATH = empty, RSTUDIO_PANDOC = empty, HOME = empty)
  rmarkdown::find_pandoc(cache = FALSE)
  skip_if(rmarkdown::pandoc_available(), "pandoc cannot be hidden")
  plan <- plan_anneal(c(290, 320), c(4, 8, 16), plan_guess(recryst_1h_c = 330, draws = 8))
  file <- withr::local_tempfile(fileext = ".html")
  expect_refused(bench_sheet(plan, file), "package", "pandoc is needed to write the sheet")
  expect_refused(softening_report(bell_readings(), withr::local_tempfile()), "package",
                 "pandoc is needed to write the report")
  expect_false(file.exists(file))
})

test_that("a fit needs readings after an anneal, and marking a key without gaps", {
  rolled <- as.data.frame(bell_readings())
  rolled <- rolled[rolled$time_min == 0, ]
  expect_refused(fit_softening(rolled, temp_ref_c = 330), "too_few",
                 "no reading was taken after a time in the furnace", "data")
  key <- answer_key(1, seed = 20)
  key$lower[2L] <- NA
  answers <- data.frame(group = "group-01", quantity = "n", value = 1.5)
  expect_refused(mark_answers(answers, key), "missing", "column `lower` of the key has missing values",
                 "lower", 2L)
})
