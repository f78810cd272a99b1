# Example data and the labels of columns.

package_file <- function(...) system.file(..., package = "softanneal", mustWork = TRUE)

test_that("labels are on every standard column and change no number", {
  plain <- data.frame(temp_c = 1:2 / 3, time_min = 3:4, other = 5:6, note = I(c("a", "b")))
  labelled <- label_columns(plain)
  expect_identical(attr(labelled$temp_c, "label"), "Temperature (\u00b0C)")
  expect_null(attr(labelled$other, "label"))
  expect_identical(as.vector(labelled$temp_c), plain$temp_c)
  expect_identical(labelled$note, plain$note)
  expect_identical(label_columns(plain[0, ])$temp_c + 1, plain$temp_c[0] + 1, ignore_attr = TRUE)
  expect_error(label_columns(3), class = "softanneal_error_argument")
  for (name in names(plain)) expect_null(attr(labelled[2:1, ][[name]], "label"))
  readings <- example_data("bellbrass_readings")
  expect_true(all(vapply(readings, function(x) is.character(attr(x, "label")), NA)))
})

test_that("readings carry their labels, whatever they are read from", {
  dir <- withr::local_tempdir()
  plain <- as.data.frame(example_data("bellbrass_readings"))[c("specimen", "temp_c", "time_min",
                                                               "hardness", "scale")]
  plain[] <- lapply(plain, as.vector)
  file <- file.path(dir, "r.csv")
  write.csv(plain, file, row.names = FALSE)
  wide <- data.frame(specimen = "A", time_h = c(0, 1), `temp (K)` = 603.15, r1 = c(80, 70),
                     r2 = 81:82, check.names = FALSE)
  read <- list(read_readings(plain), read_readings(file),
               suppressMessages(read_readings(wide, readings = "r", scale = "HRF")))
  for (package in c("tibble", "data.table")) {
    if (!requireNamespace(package, quietly = TRUE)) next
    convert <- if (package == "tibble") tibble::as_tibble else data.table::as.data.table
    read <- c(read, list(read_readings(convert(plain))))
  }
  for (r in read) {
    labels <- vapply(r, function(x) attr(x, "label"), "")
    expect_match(labels[["temp_c"]], "\u00b0C")
    expect_match(labels[["time_min"]], "(min)", fixed = TRUE)
    expect_match(labels[["hardness"]], "unit of its scale")
  }
  # read again, as when a table is checked twice
  expect_identical(read_readings(read[[1]]), read[[1]])
})

test_that("nothing is computed from labels: results are the same without", {
  skip_on_cran()
  labelled <- example_data("bellbrass_readings")
  bare <- labelled
  for (name in names(bare)) attr(bare[[name]], "label") <- NULL
  odd <- bare
  for (name in names(odd)) attr(odd[[name]], "label") <- "K"
  answers <- function(x) {
    list(fit = fit_softening(x)[c("par", "vcov")], checks = as.data.frame(check_readings(x)),
         steps = as.data.frame(summarise_readings(x)), printed = capture.output(print(x)),
         outliers = find_outliers(x), fits = tidy(fit_each(x, reading)))
  }
  with <- answers(labelled)
  for (other in list(bare, odd)) {
    without <- answers(other)
    expect_equal(without$fit$par, with$fit$par, tolerance = 1e-14)
    expect_identical(without$fit$vcov, with$fit$vcov)
    expect_identical(without$checks, with$checks)
    expect_equal(without$steps, with$steps, ignore_attr = TRUE)
    expect_identical(without$printed, with$printed)
    expect_equal(without$outliers, with$outliers, ignore_attr = TRUE)
    expect_equal(without$fits, with$fits, ignore_attr = TRUE)
  }
  # files and reports hold no trace of them
  dir <- withr::local_tempdir()
  write_class(cbind(group = "a", bare), file.path(dir, "bare"))
  write_class(label_columns(cbind(group = "a", labelled)), file.path(dir, "labelled"))
  expect_identical(readLines(file.path(dir, "bare", "a.csv")),
                   readLines(file.path(dir, "labelled", "a.csv")))
  skip_if_not_installed("rmarkdown")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc")
  softening_report(bare, file.path(dir, "one"))
  softening_report(labelled, file.path(dir, "two"))
  for (name in c("coefficients.csv", "half_softening.csv", "models.csv", "report.html")) {
    expect_identical(readLines(file.path(dir, "one", name)), readLines(file.path(dir, "two", name)),
                     info = name)
  }
})

test_that("example data are made by the script, byte for byte", {
  script <- package_file("scripts", "make-extdata.R")
  env <- new.env(parent = globalenv())
  env$folder <- withr::local_tempdir()
  state <- keep_random()
  withr::defer(restore_random(state))
  sys.source(script, env)
  made <- list.files(env$folder)
  expect_setequal(made, paste0("bellbrass_", c("rolling", "readings", "history", "messy"), ".csv"))
  expect_identical(unname(tools::md5sum(file.path(env$folder, made))),
                   unname(tools::md5sum(package_file("extdata", made))))
})

test_that("example data have the rows, columns and truths of their page", {
  skip_on_cran()
  sets <- example_data()
  expect_identical(sets$name, c("bellbrass_rolling", "bellbrass_readings", "bellbrass_history",
                                "bellbrass_messy", "tungsten"))
  expect_true(all(file.exists(package_file("extdata", sets$file))))
  rolled <- cold_work(example_data("bellbrass_rolling"))
  expect_identical(nrow(rolled), 10L)
  expect_true(all(is.na(rolled$finding)))
  expect_equal(rolled$reduction_pct[rolled$pass == 4], rep(100 * (1 - 0.95 / 1.6), 2),
               tolerance = 0.02)
  readings <- example_data("bellbrass_readings")
  expect_identical(dim(readings), c(168L, 7L))
  expect_identical(as.vector(table(readings$scale)), c(84L, 84L))
  ends <- confint(fit_softening(readings), level = 0.999)
  expect_true(all(ends[c("h_worked", "h_soft", "n", "q_kj_mol"), 1] < c(160, 78, 1.6, 140)))
  expect_true(all(ends[c("h_worked", "h_soft", "n", "q_kj_mol"), 2] > c(160, 78, 1.6, 140)))
  log <- example_data("bellbrass_history")
  expect_named(log, c("specimen", "time_s", "temp_c"))
  expect_identical(nrow(log), 85L)
  expect_equal(max(log$temp_c), 330, tolerance = 0.005)
  expect_identical(which.max(diff(log$time_s) > 10), 1L)
  expect_identical(nrow(example_data("tungsten")), 82L)
  expect_identical(range(as.vector(example_data("tungsten")$temp_c)), c(1100, 1250))
  expect_error(example_data("brass"), class = "softanneal_error_argument")
  expect_error(example_data("tungsten", path = NA), class = "softanneal_error_argument")
})

test_that("the messy sheet teaches what it is for", {
  skip_on_cran()
  sheet <- example_data("bellbrass_messy", path = TRUE)
  raw <- example_data("bellbrass_messy")
  expect_true(all(vapply(raw, is.character, NA)))
  columns <- c(specimen = "Piece", temp_c = "Furnace temp (C)")
  read <- function(...) suppressMessages(read_readings(sheet, columns = columns, readings = "r",
                                                       ...))
  expect_error(read(), class = "softanneal_error")
  expect_error(read(skip = 1), "'n/a'", class = "softanneal_error_column")
  expect_error(read(skip = 1, na = c("", "n/a")), "39,0?", fixed = TRUE,
               class = "softanneal_error_column")
  expect_warning(r <- read(skip = 1, na = c("", "n/a", "39,0?")),
                 class = "softanneal_warning_missing")
  expect_identical(dim(r), c(90L, 9L))
  expect_identical(as.character(r$sheet_column[1:5]), c("D", "E", "F", "G", "H"))
  expect_identical(unique(r$scale), "HR30T")
  expect_identical(sum(is.na(r$hardness)), 3L)
  expect_identical(sum(grepl("warm", r$note)), 5L)
  # before the furnace softer than after 5 min: the exchange
  b <- tapply(r$hardness, interaction(r$specimen, r$time_min), mean, na.rm = TRUE)
  expect_lt(b[["bell-B.0"]], b[["bell-B.5"]] - 5)
  expect_identical(r$hardness[r$specimen == "bell-C" & r$time_min == 10 & r$reading == 2], 50.5)
})
