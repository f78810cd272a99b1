# Ideal strip of constant volume: 2.00 x 20.0 x 100 mm to 1.00 mm with 2 % spread.
ideal_strip <- function() {
  data.frame(specimen = "a", pass = 0:2, thickness_mm = c(2, 1.5, 1), width_mm = c(20, 20.2, 20.4),
             length_mm = c(100, 2 * 20 * 100 / (1.5 * 20.2), 2 * 20 * 100 / (1 * 20.4)))
}

test_that("reductions, spread, elongation and strains by hand", {
  got <- cold_work(ideal_strip())
  expect_equal(got$reduction_pct, c(0, 25, 50))
  expect_equal(got$pass_reduction_pct, c(0, 25, 100 / 3))
  expect_equal(got$spread_pct, c(0, 1, 2))
  expect_equal(got$area_reduction_pct, 100 * (1 - c(1, 0.75 * 1.01, 0.5 * 1.02)))
  expect_equal(got$elongation_pct, 100 * (1 / c(1, 0.75 * 1.01, 0.5 * 1.02) - 1))
  expect_equal(got$true_strain, log(c(1, 4 / 3, 2)))
  expect_equal(got$effective_strain, 2 / sqrt(3) * log(c(1, 4 / 3, 2)))
  expect_equal(got$volume_ratio, c(1, 1, 1))
  expect_true(all(is.na(got$finding)))
})

test_that("uncertainties agree with a simulation of the measurements", {
  strip <- ideal_strip()
  got <- cold_work(strip, u_thickness_mm = 0.02, u_width_mm = 0.1, u_length_mm = 1)
  withr::with_seed(20, {
    n <- 40000
    noisy <- \(x, u) rnorm(n, x, u)
    t0 <- noisy(2, 0.02)
    t <- noisy(1, 0.02)
    w0 <- noisy(20, 0.1)
    w <- noisy(20.4, 0.1)
    l0 <- noisy(100, 1)
    l <- noisy(strip$length_mm[3], 1)
  })
  # relative standard error of a simulated standard deviation: 1/sqrt(2 n) = 0.35 %
  expect_equal(got$u_reduction_pct[3], 100 * sd(t / t0), tolerance = 0.02)
  expect_equal(got$u_true_strain[3], sd(log(t0 / t)), tolerance = 0.02)
  expect_equal(got$u_effective_strain[3], 2 / sqrt(3) * sd(log(t0 / t)), tolerance = 0.02)
  expect_equal(got$u_volume_ratio[3], sd(t * w * l / (t0 * w0 * l0)), tolerance = 0.02)
  expect_equal(unlist(got[1, c("u_reduction_pct", "u_true_strain", "u_volume_ratio")]),
               c(u_reduction_pct = 0, u_true_strain = 0, u_volume_ratio = 0))
})

test_that("a wrong size is a finding, and a larger stated uncertainty takes it back", {
  strip <- ideal_strip()
  strip$length_mm[3] <- strip$length_mm[3] * 1.08
  got <- cold_work(strip)
  expect_match(got$finding[3], "volume 8.* % too large")
  expect_match(got$finding[3], format(ideal_strip()$length_mm[3], digits = 4), fixed = TRUE)
  expect_true(all(is.na(got$finding[1:2])))
  expect_true(all(is.na(cold_work(strip, u_thickness_mm = 0.06)$finding)))
  expect_true(all(is.na(cold_work(strip, u_length_mm = c(0.5, 0.5, 15))$finding)))
  expect_output(print(got), "row 3: volume")
  expect_output(print(cold_work(ideal_strip())), "Findings: none")
})

test_that("thickness that grows is refused, within the uncertainty it is a finding", {
  strip <- ideal_strip()
  strip$thickness_mm[3] <- 1.6
  cnd <- expect_error(cold_work(strip), class = "softanneal_error_range")
  expect_match(conditionMessage(cnd), "thickness grows in rolling")
  expect_equal(cnd$rows, 3L)
  strip$thickness_mm[3] <- 1.51
  strip$length_mm <- NA
  expect_match(cold_work(strip)$finding[3], "within the measuring uncertainty")
})

test_that("rows keep order, specimens stay apart, keys keep their type", {
  two <- rbind(ideal_strip(), transform(ideal_strip(), specimen = "b", length_mm = NA_real_,
                                        thickness_mm = c(2, 1.8, 1.6)))
  two$specimen <- factor(two$specimen)
  two$note <- letters[1:6]
  mixed <- two[c(6, 1, 3, 4, 2, 5), ]
  got <- cold_work(mixed)
  expect_identical(got$specimen, mixed$specimen)
  expect_identical(got$note, mixed$note)
  straight <- cold_work(two)
  expect_equal(got$effective_strain, straight$effective_strain[c(6, 1, 3, 4, 2, 5)])
  expect_equal(got$pass_reduction_pct, straight$pass_reduction_pct[c(6, 1, 3, 4, 2, 5)])
  expect_equal(straight$reduction_pct[4:6], c(0, 10, 20))
})

test_that("other table classes, other names, absent columns, no rows", {
  strip <- ideal_strip()
  plain <- cold_work(strip)
  expect_s3_class(plain, c("softanneal_cold_work", "data.frame"), exact = TRUE)
  names(strip) <- c("piece", "n", "t", "w", "l")
  other <- cold_work(strip, specimen = piece, pass = "n", thickness = t, width = w, length = l)
  expect_equal(other$effective_strain, plain$effective_strain)
  only <- cold_work(ideal_strip()[1:3])
  expect_equal(only$reduction_pct, plain$reduction_pct)
  expect_true(all(is.na(only$volume_ratio)))
  none <- cold_work(ideal_strip()[0, ])
  expect_identical(nrow(none), 0L)
  expect_true(all(COLD_WORK_COLUMNS %in% names(none)))
  skip_if_not_installed("tibble")
  expect_s3_class(cold_work(tibble::as_tibble(ideal_strip())), "tbl_df")
  skip_if_not_installed("data.table")
  keyed <- cold_work(data.table::as.data.table(ideal_strip()))
  expect_s3_class(keyed, "data.table")
  expect_equal(ggplot2::layer_data(ggplot2::autoplot(keyed), 2)$y,
               ggplot2::layer_data(ggplot2::autoplot(plain), 2)$y)
  skip_if_not_installed("units")
  metric <- ideal_strip()
  metric$thickness_mm <- units::set_units(metric$thickness_mm / 10, "cm")
  expect_equal(cold_work(metric)$reduction_pct, plain$reduction_pct)
})

test_that("missing and impossible sizes are named", {
  strip <- ideal_strip()
  strip$thickness_mm[2] <- NA
  expect_warning(got <- cold_work(strip), class = "softanneal_warning_missing")
  expect_true(is.na(got$reduction_pct[2]))
  expect_equal(got$reduction_pct[3], 50)
  for (bad in list(0, -1)) {
    strip <- ideal_strip()
    strip$width_mm[2] <- bad
    cnd <- expect_error(cold_work(strip), class = "softanneal_error_range")
    expect_equal(cnd$arg, "width_mm")
    expect_equal(cnd$rows, 2L)
  }
  strip <- ideal_strip()
  strip$length_mm[2] <- Inf
  expect_error(cold_work(strip), class = "softanneal_error_missing")
  expect_error(cold_work(transform(ideal_strip(), pass = 1:3)), class = "softanneal_error_too_few")
  expect_error(cold_work(transform(ideal_strip(), pass = c(0, 1, 1))),
               class = "softanneal_error_duplicate")
  expect_error(cold_work(transform(ideal_strip(), pass = c(0, 1, 1.5))),
               class = "softanneal_error_range")
  expect_error(cold_work(transform(ideal_strip(), thickness_mm = c("2", "1,5", "1"))),
               class = "softanneal_error_column")
  expect_error(cold_work(ideal_strip()[-3]), class = "softanneal_error_column")
  expect_error(cold_work(transform(ideal_strip(), specimen = NA)),
               class = "softanneal_error_missing")
  expect_error(cold_work(cold_work(ideal_strip())), class = "softanneal_error_column")
  expect_error(cold_work(1:3), class = "softanneal_error_argument")
  expect_error(cold_work(ideal_strip(), u_width_mm = c(1, 2)), class = "softanneal_error_argument")
  expect_error(cold_work(ideal_strip(), u_width_mm = -1), class = "softanneal_error_range")
})

test_that("the plot shows every row and marks findings", {
  strip <- ideal_strip()
  strip$length_mm[3] <- 300
  picture <- ggplot2::autoplot(cold_work(strip))
  points <- ggplot2::layer_data(picture, 2)
  expect_equal(nrow(points), 12L)
  expect_equal(points$y[points$PANEL == 2], cold_work(strip)$elongation_pct)
  expect_equal(sort(unique(points$shape)), c(16, 17))
  expect_match(ggplot2::get_alt_text(picture), "up to 50 %; 1 with a finding")
  # only the strain is left without width and length
  thin <- ggplot2::layer_data(ggplot2::autoplot(cold_work(strip[1:3])), 2)
  expect_equal(thin$y, 2 / sqrt(3) * log(c(1, 4 / 3, 2)))
})

test_that("the nearest temper is nearest in gauge numbers", {
  got <- nearest_temper(c(0, 2, 11, 21, 37, 50, NA))
  expect_equal(got$temper, c("O", "O", "H01", "H02", "H04", "H06", NA))
  expect_equal(bs_reduction(bs_numbers(c(0, 12, 37.1, 80))), c(0, 12, 37.1, 80))
  expect_equal(got$bs_numbers[4], log(1 - 0.21) / log(92) * -39)
  # half way between 4 and 6 numbers lies the border of H04 and H06
  border <- bs_reduction(5)
  expect_equal(nearest_temper(border + c(-0.01, 0.01))$temper, c("H04", "H06"))
  expect_warning(far <- nearest_temper(c(50, 90)), class = "softanneal_warning_outside")
  expect_equal(far$temper, c("H06", NA))
  expect_equal(nearest_temper(cold_work(ideal_strip()))$temper, c("O", "H02", "H06"))
  expect_identical(nrow(nearest_temper(numeric())), 0L)
  for (bad in list(-1, 100, 120)) {
    expect_error(nearest_temper(bad), class = "softanneal_error_range")
  }
  expect_error(nearest_temper("H04"), class = "softanneal_error_argument")
})

test_that("temper limits are picked by temper, alloy, unit and thickness, with provenance", {
  all <- temper_limits(alloy = c("C26000", "CuZn30", "CuZn39Pb2", "copper"))
  expect_false(anyNA(all$status))
  expect_false(anyNA(all$source))
  expect_true(all(is.na(all$low) | is.na(all$high) | all$low < all$high))
  expect_true(all(!is.na(all$low) | !is.na(all$typical) | !is.na(all$high)))
  thin <- temper_limits("H04", unit = "HRB", thickness_mm = 0.80)
  thick <- temper_limits("H04", unit = "HRB", thickness_mm = 0.95)
  limit <- \(x) unlist(x[x$standard == "ASTM B36/B36M", c("low", "high")], use.names = FALSE)
  expect_equal(limit(thin), c(79, 84))
  expect_equal(limit(thick), c(81, 86))
  expect_setequal(temper_limits(alloy = "CuZn30", unit = "HV")$temper,
                  c("H055", "H095", "H120", "H150"))
  expect_error(temper_limits("H99"), class = "softanneal_error_argument")
  expect_error(temper_limits(alloy = "gold"), class = "softanneal_error_argument")
  expect_error(temper_limits(4), class = "softanneal_error_argument")
  expect_error(temper_limits("H04", thickness_mm = 0), class = "softanneal_error_range")
})
