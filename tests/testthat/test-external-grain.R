# Published values of grain size, grain growth and the Hall-Petch line.

test_that("ASTM E112, Table 4: computed and printed values (printed: values from memory)", {
  table <- fact_table("grain_e112.csv")
  own <- grain_size(number = table$G)
  # rounded to the figures shown there
  expect_lt(max(abs(own$grains_per_mm2 / table$grains_per_mm2_1x - 1)), 2e-4)
  expect_lt(max(abs(own$area_mm2 - table$mean_area_mm2)), 6e-6)
  expect_lt(max(abs(own$diameter_mm - table$mean_diameter_mm_sqrt_area)), 6e-6)
  expect_lt(max(abs(own$intercept_mm - table$mean_intercept_mm)), 6e-6)
  expect_lt(max(abs(own$intercepts_per_mm / table$intercepts_per_mm - 1)), 1e-3)
  expect_lt(max(abs(own$grains_per_in2_100x / table$grains_per_in2_100x - 1)), 5e-4)
  printed <- !is.na(table$printed_NA_recalled)
  expect_gt(sum(printed), 10)
  expect_lt(max(abs(own$grains_per_mm2 / table$printed_NA_recalled - 1)[printed]), 2e-3)
  expect_lt(max(abs(own$diameter_mm - table$printed_diameter_mm_recalled)[printed]), 6e-5)
  expect_lt(max(abs(own$intercept_mm - table$printed_intercept_mm_recalled)[printed]), 6e-5)
})

test_that("ASTM E112: the equations with printed constants (planimetric and intercept procedures)",
          {
  number <- seq(-1, 12, 0.5)
  own <- grain_size(number = number)
  expect_lt(max(abs(3.321928 * log10(own$grains_per_mm2) - 2.954 - number)), 5e-4)
  expect_lt(max(abs(-6.643856 * log10(own$intercept_mm) - 3.288 - number)), 5e-4)
})

# Worked problems; the column `recomputed` holds the figures tested here.
recomputed <- function(id) {
  table <- fact_table("worked_grain_growth.csv")
  table$recomputed[table$id == id]
}

test_that("textbook GG1: growth at 500 degrees Celsius", {
  expect_match(recomputed("GG1"), "K=5.29408e-5 mm2/min; d=0.073221 mm", fixed = TRUE)
  k <- (2.7e-2^2 - 8.2e-3^2) / 12.5
  expect_equal(grain_growth(100, 8.2e-3, k_ref = k), 0.073221, tolerance = 1e-5)
  fit <- suppressWarnings(fit_grain_growth(
    data.frame(temp_c = 500, time_min = 12.5, grain_mm = 2.7e-2), d0_mm = 8.2e-3, m = 2))
  expect_equal(exp(coef(fit)[["ln_k_ref"]]), 5.29408e-5, tolerance = 1e-6)
  expect_equal(suppressWarnings(predict(fit, data.frame(temp_c = 500, time_min = 100))), 0.073221,
               tolerance = 1e-5)
})

test_that("textbook GG2: initial size of brass at 650 degrees Celsius", {
  expect_match(recomputed("GG2"), "K=4.725e-5 mm2/min; d0=0.010173 mm; d150=0.084800 mm",
               fixed = TRUE)
  fit <- suppressWarnings(fit_grain_growth(
    data.frame(temp_c = 650, time_min = c(30, 90), grain_mm = c(3.9e-2, 6.6e-2)), m = 2))
  expect_equal(exp(coef(fit)[["ln_k_ref"]]), 4.725e-5, tolerance = 1e-6)
  expect_equal(coef(fit)[["d0_mm"]], 0.010173, tolerance = 5e-5)
  expect_equal(suppressWarnings(predict(fit, data.frame(temp_c = 650, time_min = 150))), 0.0848,
               tolerance = 1e-5)
})

test_that("textbook GG3: time in hours", {
  expect_match(recomputed("GG3"), "d=0.055935 mm", fixed = TRUE)
  k <- (7.2e-2^2 - 2.1e-2^2) / 180
  expect_equal(k * 60, 1.581e-3, tolerance = 1e-6)
  expect_equal(grain_growth(1.7 * 60, 2.1e-2, k_ref = k), 0.055935, tolerance = 1e-5)
})

test_that("textbook GG5: grain growth and Hall-Petch of iron in one chain", {
  expect_match(recomputed("GG5"), "ky=21.124 MPa mm^0.5; s0=173.76; sy=341.42 MPa", fixed = TRUE)
  growth <- suppressWarnings(fit_grain_growth(
    data.frame(temp_c = 800, time_min = c(60, 600), grain_mm = c(0.010, 0.028)), m = 2))
  expect_equal(exp(coef(growth)[["ln_k_ref"]]) * 60, 7.6e-5, tolerance = 1e-6)
  expect_equal(coef(growth)[["d0_mm"]], 4.899e-3, tolerance = 1e-4)
  size <- suppressWarnings(predict(growth, data.frame(temp_c = 800, time_min = 180)))
  expect_equal(size, 0.0158745, tolerance = 1e-5)
  line <- fit_hall_petch(data.frame(grain_mm = c(0.028, 0.010), yield = c(300, 385)), yield,
                         unit = "MPa")
  expect_equal(coef(line), c(h_0 = 173.76, k = 21.124), tolerance = 1e-4)
  expect_equal(predict(line, data.frame(grain_mm = size)), 341.42, tolerance = 1e-5)
})

test_that("Hall-Petch constants of annealed brass (facts with their marks)", {
  facts <- fact_table("grain_hall_petch.csv")
  # yield of 70/30 brass after Suzuki as read in a textbook (seen): 97.17 MPa at 0.030 mm
  suzuki <- facts[grepl("reading of the Suzuki plot", facts$status), ]
  h_0 <- as.numeric(suzuki$sigma0_or_H0)
  k <- as.numeric(suzuki$k)
  fit <- fit_hall_petch(data.frame(grain_mm = c(0.005, 0.1), y = h_0 + k / sqrt(c(0.005, 0.1))), y)
  expect_equal(predict(fit, data.frame(grain_mm = 0.030)), 97.17, tolerance = 1e-4)
  # typical yields of the annealed tempers (values from memory): own line 37.8 and 14.2, NOT
  # published
  tempers <- fact_table("grain_annealed_brass.csv")
  line <- fit_hall_petch(tempers, typ_yield_0.5pct_MPa, nominal_grain_mm, unit = "MPa")
  expect_equal(coef(line), c(h_0 = 37.8, k = 14.2), tolerance = 0.005)
  # hardness through the recalled conversion table: own line 36.0 and 5.36 HV, NOT published
  tempers$hv <- suppressWarnings(convert_hardness(tempers$typ_HRF_handbook, "HRF", "HV", "brass"))
  in_hv <- fit_hall_petch(tempers[!is.na(tempers$hv), ], hv, nominal_grain_mm, unit = "HV")
  expect_equal(coef(in_hv)[["h_0"]], 36.0, tolerance = 0.1)
  expect_equal(coef(in_hv)[["k"]], 5.36, tolerance = 0.1)
})
