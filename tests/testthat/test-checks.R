test_that("messages name argument, rows and remedy, and carry them as fields", {
  e <- tryCatch(softanneal:::abort("range", "`x` must be positive", arg = "x", rows = c(2, 9),
                                   remedy = "Measure again."), error = identity)
  expect_s3_class(e, c("softanneal_error_range", "softanneal_error", "error", "condition"))
  expect_equal(conditionMessage(e), "`x` must be positive (rows 2, 9). Measure again.")
  expect_equal(e$rows, c(2, 9))
  expect_equal(softanneal:::in_rows(1:9), "rows 1, 2, 3, 4, 5 and 4 more")
  expect_equal(softanneal:::in_rows(4), "row 4")
  w <- tryCatch(softanneal:::warn("outside", "2 of 5", n = 2), warning = identity)
  expect_s3_class(w, "softanneal_warning_outside")
  expect_equal(w$n, 2)
})

test_that("scalar checks refuse what they must", {
  num <- softanneal:::check_number
  expect_equal(num(3L, "x", 0), 3)
  expect_null(num(NULL, "x", null = TRUE))
  expect_error(num(NULL, "x"), class = "softanneal_error_argument")
  expect_error(num(NA, "x"), class = "softanneal_error_argument")
  expect_error(num(NA_real_, "x"), class = "softanneal_error_missing")
  expect_error(num(factor(1), "x"), class = "softanneal_error_argument")
  expect_error(num(1:2, "x"), class = "softanneal_error_argument")
  expect_error(num(1.5, "x", whole = TRUE), class = "softanneal_error_argument")
  expect_error(num(-1, "x", 0), "must be zero or more", class = "softanneal_error_range")
  expect_error(num(0, "x", 0, open = TRUE), "must be positive", class = "softanneal_error_range")
  expect_error(num(2, "x", 0, 1), "between 0 and 1", class = "softanneal_error_range")
  expect_error(num(2, "x", upper = 1), "at most 1", class = "softanneal_error_range")
  expect_error(num(1, "x", 3), "at least 3", class = "softanneal_error_range")
  expect_error(num(Inf, "x"), "finite", class = "softanneal_error_missing")
  expect_error(softanneal:::check_string(1, "x"), class = "softanneal_error_argument")
  expect_error(softanneal:::check_flag(NA, "x"), class = "softanneal_error_argument")
  expect_error(softanneal:::check_choice("c", c("a", "b"), "x"), "'a' or 'b'",
               class = "softanneal_error_argument")
  expect_error(softanneal:::check_dots_empty(a = 1, 2), "'a' and '\\(unnamed\\)'",
               class = "softanneal_error_argument")
})

test_that("columns of every odd kind are refused by name", {
  col <- softanneal:::numeric_column
  d <- data.frame(a = 1:2, b = c("1", "x"), c = factor(c("u", "v")), d = I(list(1, 2)))
  d$m <- matrix(1:4, 2)
  expect_equal(col(d, "a"), c(1, 2))
  e <- tryCatch(col(d, "b"), error = identity)
  expect_s3_class(e, "softanneal_error_column")
  expect_equal(e$rows, 2L)
  expect_match(conditionMessage(e), "'x'")
  for (bad in c("c", "d", "m", "z")) {
    expect_error(col(d, bad), class = "softanneal_error_column")
  }
  expect_equal(col(data.frame(x = NA), "x", na = TRUE), NA_real_)
  expect_error(col(data.frame(x = NaN), "x", na = TRUE), class = "softanneal_error_missing")
})

test_that("a missing suggested package is named with how to get it", {
  e <- tryCatch(softanneal:::need_package("nosuchpackage0", "to test"), error = identity)
  expect_s3_class(e, "softanneal_error_package")
  expect_match(conditionMessage(e), "install.packages")
})

test_that("only length one is recycled", {
  common <- softanneal:::common_length
  expect_equal(common(a = 1, b = 1:3)$a, c(1, 1, 1))
  expect_equal(common(a = 1, b = numeric())$a, numeric())
  expect_error(common(a = 1:2, b = 1:3), class = "softanneal_error_argument")
  expect_equal(common(a = 1, b = 1:3, spread = FALSE), list(a = 1, b = 1:3))
  expect_equal(common(a = 1, b = numeric(), spread = FALSE)$a, numeric())
  expect_equal(common(a = c(x = 1, y = 2), b = 1)$a, c(1, 2))
})

test_that("the version in fits is the version of the package", {
  expect_equal(softanneal:::PACKAGE_VERSION, as.character(utils::packageVersion("softanneal")))
})

test_that("levels whose quantiles are those of 0 and 1 are refused", {
  fit <- bell_softening()
  for (level in c(5e-324, 1 - 1e-12)) {
    expect_error(confint(fit, level = level), "between 1e-9 and 1 - 1e-9", class = "softanneal_error_range")
    expect_error(recryst_temperature(fit, level = level), class = "softanneal_error_range")
  }
  limits <- recryst_temperature(fit, level = 1e-9)
  expect_equal(limits$conf.low, limits$temp_c, tolerance = 1e-6)
})

test_that("a parameter without a name is refused", {
  parameters <- stats::setNames(1:2, c("a", NA))
  for (f in c("simulate_readings", "class_design")) {
    expect_error(do.call(f, list(parameters = parameters)), "named numeric",
                 class = "softanneal_error_argument")
  }
})

test_that("numbers, names and paths out of reach are refused by name", {
  expect_error(door_opening(400, recover_min = .Machine$double.xmax), "recover_min",
               class = "softanneal_error_range")
  expect_error(ramp_hold(600, 100, constant = 1e300), "at most 200", class = "softanneal_error_range")
  expect_error(plot_grain_sketch(2, numeric()), "no value", class = "softanneal_error_too_few")
  expect_error(propagate_uncertainty(~ a, stats::setNames(1, NA), c(a = 1)), "named numbers",
               class = "softanneal_error_argument")
  for (path in c("\xff\xfe", strrep("a", 1e6))) {
    expect_error(fit_archive(path, tempfile(), by = "coil"), "not a valid path",
                 class = "softanneal_error_file")
  }
  expect_error(fit_softening(bell_readings(), start = pairlist(n = 1)), "must be numeric",
               class = "softanneal_error_argument")
  expect_error(read_readings(as.data.frame(bell_readings()), columns = pairlist(a = 1)), "named text",
               class = "softanneal_error_argument")
  d <- with_test_seed(5, made_readings(n = 2))
  d$coil <- "a"
  one <- tidy(fit_each(transform(d, specimen = "x"), "coil"))
  for (odd in list(rep("\xff", nrow(d)), rep(1i, nrow(d)))) {
    d$specimen <- odd
    expect_identical(tidy(fit_each(d, "coil")), one)
  }
})
