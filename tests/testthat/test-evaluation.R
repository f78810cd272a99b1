# Where values come from and what conditions carry: weights from the data first, groups of dplyr respected
# or refused, columns by all_of(), calls of conditions, classes of tables.

test_that("weights are looked up in the data before the session, in every fit", {
  skip_on_cran()
  bell <- transform(as.data.frame(bell_readings()), coil = "a")
  bell <- bell[bell$temp_c %in% c(330, 370) & bell$reading == 1, ]
  growth <- utils::read.csv(extdata("grain_bellbrass_growth.csv"))
  grains <- data.frame(grain_mm = c(0.01, 0.02, 0.04, 0.08), hardness = c(120, 105, 92, 84))
  peaks <- data.frame(rate_k_min = c(2.5, 5, 10, 20), peak_c = c(141, 151, 161.6, 172.7))
  rates <- data.frame(temp_c = c(290, 310, 330), rate = c(0.01, 0.03, 0.09))
  creep <- utils::read.csv(extdata("master_creep.csv"))
  creep$log_stress <- log10(creep$stress)
  hardening <- data.frame(effective_strain = c(0, 0.2, 0.4, 0.8, 1.2), hardness = c(70, 120, 140, 160, 170))
  counted <- utils::read.csv(extdata("grain_bellbrass_fractions.csv"))
  calls <- list(
    list(bell, \(d, ...) coef(fit_each(d, by = coil, ...))),
    list(bell, \(d, ...) coef(fit_softening(d, se = "model", ...))),
    list(counted, \(d, ...) coef(fit_recrystallisation(d, ...))),
    list(growth, \(d, ...) coef(fit_grain_growth(d, d0_mm = 0.009, ...))),
    list(grains, \(d, ...) coef(fit_hall_petch(d, ...))), list(peaks, \(d, ...) coef(fit_kissinger(d, ...))),
    list(rates, \(d, ...) coef(fit_arrhenius(d, rate = rate, ...))),
    list(creep, \(d, ...) coef(fit_master_curve(d, log_stress, time = time_h, time_unit = "h",
                                                errors_in = "time", ...))),
    list(hardening, \(d, ...) coef(fit_hardening(d, ...))),
    list(grains, \(d, ...) coef(fit_least_squares(hardness ~ a + b / sqrt(grain_mm), c(a = 60, b = 5),
                                                  data = d, ...))))
  quiet <- function(x) suppressWarnings(x, classes = "softanneal_warning")
  for (k in seq_along(calls)) {
    d <- calls[[k]][[1L]]
    f <- calls[[k]][[2L]]
    d$w <- seq(1, 4, length.out = nrow(d))
    w <- rev(d$w) # a variable of the session by the same name
    wanted <- quiet(f(d, weights = d$w))
    expect_equal(quiet(f(d, weights = w)), wanted, label = paste("weights, call", k))
    expect_equal(quiet(f(d, weights = "w")), wanted, label = paste("weights by name, call", k))
    expect_equal(quiet(f(d, weights = .data$w * 1)), wanted, label = paste("weights by .data, call", k))
    expect_false(isTRUE(all.equal(quiet(f(d, weights = .env$w)), wanted)), label = paste("other, call", k))
  }
  # a column of the name that the package uses inside is no weight
  names(grains)[2L] <- "weights"
  expect_equal(coef(fit_hall_petch(grains, hardness = weights)),
               coef(fit_hall_petch(stats::setNames(grains, c("grain_mm", "hardness")))))
})

test_that("columns may be named by all_of()", {
  d <- transform(as.data.frame(bell_readings()), coil = "a", mill = "m")
  wanted <- coef(fit_softening(d, se = "model"))
  name <- "hardness"
  expect_equal(coef(fit_softening(d, hardness = all_of(name), se = "model")), wanted)
  expect_equal(coef(fit_softening(d, hardness = tidyselect::all_of(name), se = "model")), wanted)
  expect_equal(coef(fit_softening(d, hardness = dplyr::all_of(name), se = "model")), wanted)
  keys <- c("mill", "coil")
  expect_named(fit_each(d, by = all_of(keys))$keys, keys)
  expect_named(fit_each(d, by = c(mill, all_of("coil")))$keys, keys)
  expect_refused(fit_softening(d, hardness = all_of(nowhere)), "argument", "cannot be computed")
  expect_refused(fit_softening(d, hardness = all_of(1)), "argument", "must hold names of columns")
  expect_refused(fit_softening(d, hardness = all_of(keys)), "argument", "must be one name")
})

test_that("names that are no names of R stand in messages as they are written in code", {
  d <- as.data.frame(bell_readings())
  d <- rbind(cbind(d, lot = "a"), cbind(transform(d, hardness = hardness + 0.3), lot = "b"))
  names(d)[names(d) == "lot"] <- "lot \"1\""
  told <- expect_warning(fit_softening(d, se = "model"), "fit_each\\(by = \"lot \\\\\"1\\\\\"\"\\) fits each")
  expect_match(conditionMessage(told), "operator = `lot \"1\"` or furnace = `lot \"1\"` takes", fixed = TRUE)
  # what weighs the readings is no group
  names(d)[names(d) == "lot \"1\""] <- "w"
  d$w <- ifelse(d$w == "a", 1, 2)
  expect_warning(fit_softening(d, se = "model"), "values of `w`")
  expect_no_warning(fit_softening(d, weights = w, se = "model"))
  expect_no_warning(fit_softening(d, weights = .data[["w"]], se = "model"))
  expect_no_warning(fit_softening(d, weights = 1 / w^2, se = "model"))
  # a column that is not there is told alone
  expect_no_warning(expect_refused(fit_softening(d, time = nope), "column", "no column `nope`"))
  e <- expect_error(refuse_missing_columns("hardness", "HV \"x\"", "HV \"x\""),
                    class = "softanneal_error_column")
  expect_match(conditionMessage(e), "`columns = c(hardness = \"HV \\\"x\\\"\")`", fixed = TRUE)
})

test_that("groups of group_by() are respected or refused", {
  skip_if_not_installed("dplyr")
  bell <- as.data.frame(bell_readings())
  two <- rbind(transform(bell, coil = "A"), transform(bell[bell$time_min < 64, ], coil = "B"))
  grouped <- dplyr::group_by(two, coil)
  expect_equal(coef(fit_each(grouped)), coef(fit_each(two, by = coil)))
  expect_equal(coef(fit_each(grouped, by = coil)), coef(fit_each(two, by = coil)))
  expect_refused(fit_each(grouped, by = specimen), "argument", "is grouped by 'coil'", "by")
  expect_refused(fit_softening(grouped), "argument", "is grouped by 'coil'", "data")
  expect_refused(compare_models(grouped), "argument", "is grouped by 'coil'", "data")
  expect_identical(summarise_readings(grouped)$mean, summarise_readings(two, by = "coil")$mean)
  expect_identical(nrow(find_outliers(grouped)), nrow(find_outliers(two, by = "coil")))
  expect_no_error(fit_each(dplyr::rowwise(two), by = coil))
  skip_if_not_installed("rmarkdown")
  skip_if_not(rmarkdown::pandoc_available())
  expect_refused(softening_report(grouped, tempfile(), by = specimen), "argument", "grouped by 'coil'", "by")
  # the folder is looked at for files of groups before anything is fitted
  folder <- withr::local_tempdir()
  file.create(file.path(folder, "groups.png"))
  expect_refused(softening_report(grouped, folder), "file", "there are results in", "out_dir")
})

test_that("errors and warnings carry the call of the function that was called", {
  d <- as.data.frame(bell_readings())
  called <- function(x) {
    e <- tryCatch(x, softanneal_error = identity, softanneal_warning = identity)
    paste(deparse(conditionCall(e)), collapse = " ")
  }
  expect_identical(called(fit_softening(d, level = 3)), "fit_softening(d, level = 3)")
  expect_identical(called(fit_softening(d, hardness = nope)), "fit_softening(d, hardness = nope)")
  mine <- function(x) fit_softening(x, model = "none")
  expect_identical(called(mine(d)), "fit_softening(x, model = \"none\")")
  # an argument that is a call of this package is the call that failed
  expect_identical(called(time_to(fit_softening(d, level = 3))), "fit_softening(d, level = 3)")
  expect_identical(called(suppressMessages(lapply(list(d), fit_softening, level = 3))),
                   "fit_softening(X[[i]], ...)")
  expect_identical(called(do.call(fit_softening, list(d, level = 3))), "fit_softening(..., level = 3)")
  expect_identical(called(do.call("fit_softening", list(d, level = 3))), "fit_softening(..., level = 3)")
  expect_identical(called(jmak_fraction(-1, k = 0.1, n = 2)), "jmak_fraction(-1, k = 0.1, n = 2)")
  expect_identical(called(convert_hardness(200, "HRB", "HV")), "convert_hardness(200, \"HRB\", \"HV\")")
  fit <- fit_softening(d, se = "model")
  expect_match(called(confint(fit, "none")), "^confint(.softanneal_fit)?\\(fit, \"none\"\\)$")
})

test_that("tables are plain data frames, whatever is loaded", {
  fit <- fit_softening(bell_readings(), se = "cluster")
  tables <- list(tidy(fit), glance(fit), augment(fit), time_to(fit, temp_c = 330), hardness_scales(),
                 temp_for(fit, 30))
  for (x in tables) {
    expect_s3_class(x, c("softanneal_table", "data.frame"), exact = TRUE)
    expect_type(x[, 1L], typeof(x[[1L]]))
    expect_null(dim(x[, 1L]))
  }
  if (requireNamespace("tibble", quietly = TRUE)) {
    expect_null(dim(tidy(fit)[, "estimate"]))
    expect_s3_class(tibble::as_tibble(tidy(fit)), c("tbl_df", "tbl", "data.frame"), exact = TRUE)
    expect_s3_class(augment(fit, data = tibble::as_tibble(bell_readings())), "tbl_df")
  }
  if (requireNamespace("dplyr", quietly = TRUE)) {
    both <- dplyr::bind_rows(a = tidy(fit), b = tidy(fit), .id = "fit")
    expect_identical(nrow(both), 10L)
    expect_output(print(dplyr::filter(both, .data$fit == "a")), "h_worked")
  }
  long <- utils::capture.output(shown <- print(hardness_scales(), n = 3))
  expect_identical(shown, hardness_scales())
  expect_match(long[length(long)], "^[.]{3} and [0-9]+ more rows; print\\(n = \\) shows more$")
  expect_output(print(tidy(fit)), "estimate")
  expect_refused(print(tidy(fit), n = 0), "range", "`n` must be", "n")
})

test_that("augment() has the readings in the scale of the fit beside the fitted values", {
  bell <- transform(as.data.frame(bell_readings()), coil = "A")
  fit <- fit_softening(bell, se = "cluster")
  hv <- numeric(nrow(bell))
  for (scale in unique(bell$scale)) {
    at <- bell$scale == scale
    hv[at] <- convert_hardness(bell$hardness[at], scale, "HV")
  }
  a <- augment(fit, data = bell)
  expect_equal(a$.hardness, hv)
  expect_equal(a$.hardness, a$.fitted + a$.resid)
  expect_equal(a$hardness, bell$hardness)
  expect_equal(augment(fit_each(bell, by = coil), data = bell)$.hardness, hv)
  expect_false(".hardness" %in% names(augment(fit, newdata = data.frame(temp_c = 330, time_min = 8))))
})
