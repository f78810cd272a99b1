test_that("fraction and time are inverse to each other in both forms", {
  x <- c(1e-12, 0.01, 0.3, 0.5, 0.99, 1 - 1e-9)
  for (n in c(0.4, 1, 2.5, 5)) {
    expect_equal(jmak_fraction(jmak_time(x, 0.03, n, 0.2), 0.03, n, 0.2), x, tolerance = 1e-9)
    t <- jmak_time(x, 0.03^n, n, form = "constant")
    expect_equal(jmak_fraction(t, 0.03^n, n, form = "constant"), x, tolerance = 1e-9)
    expect_equal(t, jmak_time(x, 0.03, n), tolerance = 1e-12)
  }
})

test_that("small fractions keep their digits and extremes stay finite", {
  # 1 - exp(-y) = y - y^2/2 for small y
  expect_equal(jmak_fraction(1e-6, 1, 2), 1e-12, tolerance = 1e-12)
  expect_equal(jmak_fraction(c(0, Inf)[1], 1, 2), 0)
  expect_equal(jmak_fraction(1e300, 1e-280, 0.5), 1)
  expect_equal(jmak_fraction(5, 0.1, 3, theta0 = 0.6), 0)
})

test_that("rates follow the law of Arrhenius and recycle", {
  t1 <- 330 + 273.15
  t2 <- 350 + 273.15
  expect_equal(arrhenius_rate(350, 2, 330, 150),
               2 * exp(-150000 / 8.31446261815324 * (1 / t2 - 1 / t1)), tolerance = 1e-13)
  expect_equal(arrhenius_rate(c(330, NA), 1:2, 330, 150), c(1, NA))
  expect_length(jmak_fraction(1:5, 0.1, 2), 5L)
  expect_length(jmak_fraction(numeric(), 0.1, 2), 0L)
})

test_that("bad arguments get a classed condition that names them", {
  expect_error(jmak_fraction(-1, 0.1, 2), class = "softanneal_error_range")
  expect_error(jmak_fraction(1, 0, 2), class = "softanneal_error_range")
  expect_error(jmak_fraction("a", 1, 2), class = "softanneal_error_argument")
  expect_error(jmak_fraction(1:3, 1:2, 2), class = "softanneal_error_argument")
  expect_error(jmak_fraction(Inf, 1, 2), class = "softanneal_error_missing")
  expect_error(jmak_time(1, 0.1, 2), class = "softanneal_error_range")
  expect_error(jmak_time(0.5, 0.1, 2, theta0 = 1, form = "constant"),
               class = "softanneal_error_argument")
  expect_error(jmak_time(0.5, 0.1, 2, form = "other"), class = "softanneal_error_argument")
  expect_error(arrhenius_rate(-300, 1, 330, 150), class = "softanneal_error_range")
  e <- tryCatch(jmak_fraction(c(1, -2), 0.1, 2), error = identity)
  expect_equal(e$arg, "time")
  expect_equal(e$rows, 2L)
  expect_match(conditionMessage(e), "`time` must be zero or more")
})
