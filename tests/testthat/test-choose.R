test_that("least thickness steps through the E18 table and never interpolates", {
  # rows of the E18 HRB column: 0.61 mm from 94, 0.66 mm from 87, ..., 0.96 mm from 28
  expect_equal(least_thickness(c(99, 94, 93.9, 87, 28), "HRB"), c(0.61, 0.61, 0.66, 0.66, 0.96))
  expect_equal(least_thickness(c(80, 55), c("HR15T", "HR30TW")), c(0.41, 0.51))
  expect_equal(least_thickness(c(60, NA), "HRB"), c(0.86, NA))
  expect_equal(least_thickness(numeric(), "HRB"), numeric())
  expect_equal(least_thickness(60, factor("HRB")), 0.86)
})

test_that("a reading or scale the E18 tables do not reach is NA with one counted warning", {
  expect_warning(out <- least_thickness(c(20, 60, 10), "HRB"), class = "softanneal_warning_outside")
  expect_equal(out, c(NA, 0.86, NA))
  cnd <- tryCatch(least_thickness(c(20, 60, 10), "HRB"), warning = identity)
  expect_equal(cnd$n, 2L)
  expect_equal(cnd$rows, c(1L, 3L))
  expect_warning(least_thickness(80, "HRE"), class = "softanneal_warning_outside")
  expect_equal(least_thickness(80, "HRE", rule = "ISO"), 15 * 50 * 0.002)
})

test_that("depth rules of the ISO standards", {
  # ISO 6508-1:2015 6.4 (from memory): 15 h for a ball, 10 h for a cone, h = (N - HR) S
  expect_equal(least_thickness(62, "HRB", "ISO"), 15 * (130 - 62) * 0.002)
  expect_equal(least_thickness(62, "HRC", "ISO"), 10 * (100 - 62) * 0.002)
  expect_equal(least_thickness(70, "HR30T", "ISO"), 15 * 30 * 0.001)
  expect_equal(least_thickness(70, "HR30T", "both"),
               max(least_thickness(70, "HR30T"), least_thickness(70, "HR30T", "ISO")))
  # Vickers: 1.5 times the diagonal (ISO 6507-1 6.3), any rule
  expect_equal(least_thickness(70, "HV5", "ISO"), 1.5 * sqrt(1.8544 * 5 / 70), tolerance = 1e-5)
  expect_equal(least_thickness(70, "HV5"), least_thickness(70, "HV5", "ISO"))
  # Brinell: 8 times the depth F / (pi D HBW)
  expect_equal(least_thickness(100, "HBW 2.5/62.5"), 8 * 62.5 / (pi * 2.5 * 100))
  expect_equal(least_thickness(100, "HBW_10_500"), 8 * 500 / (pi * 10 * 100))
})

test_that("scales and readings that cannot be are refused", {
  expect_error(least_thickness(70, "HV"), class = "softanneal_error_scale")
  expect_error(least_thickness(70, "HRZ"), class = "softanneal_error_scale")
  expect_error(least_thickness(70, 3), class = "softanneal_error_scale")
  expect_error(least_thickness(140, "HRB"), class = "softanneal_error_range")
  expect_error(least_thickness(0, "HV5"), class = "softanneal_error_range")
  expect_error(least_thickness("soft", "HRB"), class = "softanneal_error_argument")
  expect_error(least_thickness(Inf, "HRB"), class = "softanneal_error_missing")
  expect_error(least_thickness(60, "HRB", "E19"), class = "softanneal_error_argument")
  expect_error(least_thickness(c(60, 70, 80), c("HRB", "HRF")), class = "softanneal_error_argument")
})
