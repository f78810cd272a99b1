# Scales, Rockwell depth, numbers from force and size, strength, cylinder corrections: shapes
# and conditions. Checks against published values are in test-external-scales.R.

test_that("hardness_scales lists the constants with provenance", {
  scales <- hardness_scales()
  expect_false(anyNA(scales[c("scale", "test", "indenter", "status", "source")]))
  expect_false(anyDuplicated(scales$scale) > 0)
  expect_true(all(unique(scale_cells$scale) %in%
                    c(scales$scale, "HR15T (0.25 mm)", "HR15T (0.51 mm)")))
  rockwell <- scales[scales$test == "Rockwell", ]
  expect_false(anyNA(rockwell[c("n", "s_mm", "force_n", "preliminary_force_n")]))
  expect_true(all(rockwell$force_n > rockwell$preliminary_force_n))
})

test_that("Rockwell depth goes both ways and refuses what cannot be", {
  numbers <- c(10, 55.5, 99, NA)
  expect_equal(rockwell_number(rockwell_depth(numbers, "HRB"), "HRB"), numbers)
  expect_equal(rockwell_depth(50, c("HRB", "HR30T", "HRC")), c(0.160, 0.050, 0.100))
  expect_error(rockwell_depth(131, "HRB"), class = "softanneal_error_range")
  expect_error(rockwell_depth(80, "HV"), class = "softanneal_error_scale")
  expect_error(rockwell_number(-0.1, "HRB"), class = "softanneal_error_range")
  expect_error(rockwell_depth("80", "HRB"), class = "softanneal_error_argument")
  expect_error(rockwell_depth(Inf, "HRB"), class = "softanneal_error_missing")
  expect_error(rockwell_depth(1:3, c("HRB", "HRF")), class = "softanneal_error_argument")
})

test_that("numbers from force and size check their arguments", {
  expect_equal(vickers_number(98.0665, 0.352, 0.348), vickers_number(98.0665, 0.35))
  expect_identical(vickers_number(NA_real_, 0.3), NA_real_)
  expect_identical(vickers_number(numeric(), 0.3), numeric())
  expect_error(vickers_number(-1, 0.3), class = "softanneal_error_range")
  expect_error(vickers_number(10, 0), class = "softanneal_error_range")
  expect_error(vickers_number("10", 0.3), class = "softanneal_error_argument")
  expect_error(brinell_number(4903, 10, 10.1), class = "softanneal_error_range")
  expect_error(knoop_number(9.8, Inf), class = "softanneal_error_missing")
  expect_error(vickers_number(c(1, 2), c(1, 2, 3)), class = "softanneal_error_argument")
  # A ball pressed in to its equator: contact area half the sphere.
  expect_equal(brinell_number(9.80665 * 50 * pi, 10, 10), 1)
})

test_that("numbers are written with their scale", {
  expect_identical(format_hardness(c(83.4, NA), "HV10"), c("83 HV", NA))
  expect_identical(format_hardness(83.6, "HV", measured = 42.5, measured_scale = "HRBW"),
                   "84 HV (42.5 HRB)")
  expect_identical(format_hardness(79.96, "HRB", digits = 1), "80.0 HRB")
  expect_error(format_hardness(80, "HV", measured = 1), class = "softanneal_error_argument")
  expect_error(format_hardness(80, "HV", digits = 1.5), class = "softanneal_error_argument")
})

test_that("strength estimates carry scatter and conversion", {
  out <- estimate_strength(c(115, NA), "HV")
  expect_named(out, c("hardness", "scale", "hv", "method", "strength_mpa", "std_uncertainty",
                      "lower", "upper"))
  expect_true(is.na(out$strength_mpa[2]))
  hrb <- estimate_strength(76, "HRB")
  hv <- estimate_strength(hrb$hv, "HV")
  expect_equal(hrb$strength_mpa, hv$strength_mpa)
  expect_gt(hrb$std_uncertainty, hv$std_uncertainty)
  expect_warning(estimate_strength(c(120, 200)), class = "softanneal_warning_outside")
  expect_error(estimate_strength(120, method = "cahoon_proof"),
               class = "softanneal_error_argument")
  expect_error(estimate_strength(120, method = "cahoon_proof", meyer_index = 1.5),
               class = "softanneal_error_range")
  e <- expect_error(estimate_strength(120, method = "tabor", meyer_index = 2.1),
                    class = "softanneal_error_argument")
  expect_equal(e$arg, "meyer_index")
  expect_error(estimate_strength(120, method = "cahoon_tensile", meyer_index = "2"),
               class = "softanneal_error_argument")
  expect_error(estimate_strength(120, material = "steel"), class = "softanneal_error_argument")
  expect_error(estimate_strength(-5), class = "softanneal_error_range")
  expect_error(estimate_strength("120"), class = "softanneal_error_argument")
  expect_error(estimate_strength(120, method = "guess"), class = "softanneal_error_argument")
  expect_error(estimate_strength(c(1, 2), method = "cahoon_proof", meyer_index = c(2, 2.1, 2.2)),
               class = "softanneal_error_argument")
  expect_identical(nrow(estimate_strength(numeric())), 0L)
})

test_that("cylinder corrections check their arguments", {
  expect_error(cylinder_correction(60, "HV", 10), class = "softanneal_error_scale")
  expect_error(cylinder_correction(60, "HRB", -1), class = "softanneal_error_range")
  expect_error(cylinder_correction(c(1, 2, 3), "HRB", c(10, 13)),
               class = "softanneal_error_argument")
  expect_warning(out <- cylinder_correction(c(60, 60, NA), "HRB", c(10, 50, 10)),
                 class = "softanneal_warning_outside")
  expect_identical(is.na(out$corrected), c(FALSE, TRUE, TRUE))
  expect_identical(nrow(cylinder_correction(numeric(), character(), 10)), 0L)
})
