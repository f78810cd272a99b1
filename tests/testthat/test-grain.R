test_that("all measures of grain size lead to the same number", {
  full <- grain_size(number = c(-1, 0, 4.5, 12))
  expect_equal(grain_size(diameter_mm = full$diameter_mm)$number, full$number)
  expect_equal(grain_size(grains_per_mm2 = full$grains_per_mm2)$number, full$number)
  expect_equal(grain_size(intercept_mm = full$intercept_mm)$number, full$number)
  expect_equal(full$area_mm2, full$diameter_mm^2)
  expect_equal(full$intercepts_per_mm * full$intercept_mm, rep(1, 4))
  expect_identical(nrow(grain_size(number = numeric())), 0L)
  expect_true(all(is.na(grain_size(number = c(3, NA))[2, ])))
})

test_that("grain_size() refuses what it cannot use", {
  expect_error(grain_size(), class = "softanneal_error_argument")
  expect_error(grain_size(number = 3, diameter_mm = 1), class = "softanneal_error_argument")
  expect_error(grain_size(diameter_mm = 0), class = "softanneal_error_range")
  expect_error(grain_size(diameter_mm = Inf), class = "softanneal_error_missing")
  expect_error(grain_size(number = factor(1)), class = "softanneal_error_argument")
  expect_error(grain_size(number = "8"), class = "softanneal_error_argument")
})

test_that("counts of intercepts follow the t interval of their fields", {
  x <- c(92, 85, 97, 90, 88)
  out <- count_intercepts(x, line_mm = 500, magnification = 200)
  value <- x / 2.5
  expect_equal(out$summary$mean, mean(value))
  expect_equal(c(out$summary$conf.low, out$summary$conf.high),
               as.numeric(stats::t.test(value)$conf.int))
  expect_equal(out$summary$accuracy_pct,
               100 * diff(c(stats::t.test(value)$conf.int)) / 2 / mean(value))
  # the number of the mean, not the mean of the numbers
  expect_equal(out$summary$number, grain_size(intercept_mm = 1 / mean(value))$number)
  expect_lt(out$summary$number_low, out$summary$number)
  expect_output(print(out), "relative accuracy 6.2 %")
  expect_identical(as.data.frame(out), out$summary)
})

test_that("planimetric counts: half of the cut grains, and the corners of a rectangle", {
  circle <- count_grains(40, 20, area_mm2 = 5000, magnification = 100)
  # f = M^2/5000 grains per mm2 for a grain counted (ASTM E112, from memory): 2 at 100 diameters
  expect_equal(circle$summary$mean, 2 * 50)
  expect_equal(count_grains(40, 20, 5000, 100, shape = "rectangle")$summary$mean, 2 * 51)
  expect_true(is.na(circle$summary$accuracy_pct))
  expect_output(print(circle), "one field")
  wide <- count_grains(c(2, 40), c(0, 0), 5000, 100)
  expect_true(is.na(wide$summary$number_low))
  expect_output(print(wide), "over 10 %")
})

test_that("counts refuse bad input", {
  expect_error(count_intercepts(c(0, 0), 500, 100), class = "softanneal_error_too_few")
  expect_error(count_intercepts(numeric(), 500, 100), class = "softanneal_error_too_few")
  expect_error(count_intercepts(c(5, NA), 500, 100), class = "softanneal_error_missing")
  expect_error(count_intercepts(5, -1, 100), class = "softanneal_error_range")
  expect_error(count_grains(c(1, 2, 3), c(1, 2), magnification = 100),
               class = "softanneal_error_argument")
})

test_that("grain_growth() and its inverse agree, in all three ways to give K", {
  d <- grain_growth(c(0, 10, 1000), d0_mm = 0.01, k_ref = 1e-6, m = 3.1)
  expect_equal(d[1], 0.01)
  expect_equal(grain_growth_time(d, d0_mm = 0.01, k_ref = 1e-6, m = 3.1), c(0, 10, 1000))
  k0 <- 1e-5 * exp(120000 / 8.31446261815324 / 873.15)
  expect_equal(grain_growth(60, 0.01, k0 = k0, q_kj_mol = 120, temp_c = 550),
               grain_growth(60, 0.01, k_ref = 1e-5, temp_ref_c = 600, q_kj_mol = 120, temp_c = 550))
  expect_equal(grain_growth(60, 0.01, k_ref = 1e-5, temp_ref_c = 600, q_kj_mol = 120, temp_c = 600),
               grain_growth(60, 0.01, k_ref = 1e-5))
  expect_equal(grain_growth(4, 0, k_ref = 0.01), 0.2) # from nothing: root of K t
  expect_equal(grain_growth(c(1, NA), 0.01, k_ref = 1e-5)[2], NA_real_)
  expect_identical(grain_growth(numeric(), 0.01, k_ref = 1e-5), numeric())
})

test_that("grain_growth() names missing and contradicting arguments", {
  expect_error(grain_growth(1, 0.01), class = "softanneal_error_argument")
  expect_error(grain_growth(1, 0.01, k_ref = 1, temp_c = 500), class = "softanneal_error_argument")
  expect_error(grain_growth(1, 0.01, k_ref = 1, k0 = 1), class = "softanneal_error_argument")
  expect_error(grain_growth(-1, 0.01, k_ref = 1), class = "softanneal_error_range")
  expect_error(grain_growth_time(0.005, 0.01, k_ref = 1), class = "softanneal_error_range")
})

growth_table <- function(sd = 0) {
  d <- expand.grid(time_min = c(5, 20, 80, 320), temp_c = c(500, 560, 620))
  d$grain_mm <- grain_growth(d$time_min, 0.01, k_ref = 2e-6, m = 2.4, temp_ref_c = 560,
                             q_kj_mol = 130,
                             temp_c = d$temp_c)
  d$grain_mm <- d$grain_mm * exp(sd * rep_len(c(1, -0.5, 0.3, -1.2, 0.7, -0.2, 0.9), nrow(d)))
  d
}

test_that("exact sizes give the growth law back without starting values", {
  fit <- suppressWarnings(fit_grain_growth(growth_table(), temp_ref_c = 560))
  expect_equal(coef(fit), c(ln_k_ref = log(2e-6), m = 2.4, q_kj_mol = 130, d0_mm = 0.01),
               tolerance = 1e-6)
  expect_equal(grain_growth(50, 0.01, k0 = fit$law$k0, q_kj_mol = fit$law$q_kj_mol, m = fit$law$m,
                            temp_c = 600),
               grain_growth(50, 0.01, k_ref = 2e-6, temp_ref_c = 560, q_kj_mol = 130, m = 2.4,
                            temp_c = 600), tolerance = 1e-6)
})

test_that("a growth fit agrees with stats::nls and has its methods", {
  d <- growth_table(0.04)
  w <- 1 / d$grain_mm^2
  fit <- fit_grain_growth(d, weights = w, temp_ref_c = 560)
  d$e <- -1000 / 8.31446261815324 * (1 / (d$temp_c + 273.15) - 1 / 833.15)
  other <- stats::nls(grain_mm ~ (d0^m + exp(lk + q * e) * time_min)^(1 / m), d, weights = w,
                      start = list(lk = log(2e-6), m = 2.4, q = 130, d0 = 0.01))
  expect_equal(unname(coef(fit)), unname(coef(other)), tolerance = 1e-5)
  expect_equal(unname(vcov(fit)), unname(vcov(other)), tolerance = 1e-3)
  expect_equal(AIC(fit), AIC(other), tolerance = 1e-8)
  expect_equal(fitted(fit) + residuals(fit), d$grain_mm)
  table <- tidy(fit, conf.int = TRUE)
  expect_equal(table$conf.low, unname(confint(fit)[, 1]))
  expect_identical(nrow(glance(fit)), 1L)
  held <- fit_grain_growth(d, m = 2, weights = w)
  expect_identical(names(coef(held)), c("ln_k_ref", "q_kj_mol", "d0_mm"))
  expect_s3_class(anova(held, fit), "anova")
  expect_output(print(held), "Fixed: m = 2")
  new <- data.frame(time_min = c(10, NA, 40), temp_c = 520, other = "x")
  p <- predict(fit, new, interval = "confidence")
  expect_true(all(is.na(p[2, ])) && all(p[c(1, 3), "lwr"] < p[c(1, 3), "fit"]))
  expect_equal(predict(fit, new[3, ]), unname(p[3, "fit"]))
  expect_warning(predict(fit, data.frame(time_min = 10, temp_c = 700)),
                 class = "softanneal_warning_extrapolation")
  expect_identical(dim(simulate(fit, 2, seed = 1)), c(12L, 2L))
  file <- tempfile(fileext = ".rds")
  on.exit(unlink(file))
  saveRDS(fit, file)
  expect_equal(predict(readRDS(file), new), predict(fit, new))
})

test_that("initial sizes from a column or one number", {
  d <- growth_table()
  d$start <- 0.01
  by_column <- suppressWarnings(fit_grain_growth(d, d0 = start, temp_ref_c = 560))
  by_number <- suppressWarnings(fit_grain_growth(d, d0_mm = 0.01, temp_ref_c = 560))
  expect_equal(coef(by_column), coef(by_number), tolerance = 1e-8)
  expect_equal(coef(by_column)[["m"]], 2.4, tolerance = 1e-6)
  expect_error(fit_grain_growth(d, d0 = start, d0_mm = 0.01), class = "softanneal_error_argument")
  wrapped <- function(data, size) fit_grain_growth(data, grain = {{ size }}, d0_mm = 0.01)
  expect_equal(coef(suppressWarnings(wrapped(d, grain_mm)))[["m"]], 2.4, tolerance = 1e-6)
})

test_that("one temperature leaves Q open, and says so", {
  d <- growth_table(0.02)
  d <- d[d$temp_c == 560, ]
  expect_warning(fit <- fit_grain_growth(d, m = 2.4), class = "softanneal_warning_fit")
  expect_true(is.na(coef(fit)[["q_kj_mol"]]) && fit$states[["q_kj_mol"]] == "fixed")
  expect_warning(p <- predict(fit, data.frame(temp_c = c(560, 600), time_min = 30)),
                 class = "softanneal_warning_outside")
  expect_true(is.finite(p[1]) && is.na(p[2]))
  expect_true(all(is.finite(residuals(fit, "standardized"))))
  expect_output(print(summary(fit)), "cannot be estimated")
})

test_that("growth fits refuse bad data and keep missing rows in place", {
  d <- growth_table(0.02)
  expect_error(fit_grain_growth(d[1:2, ]), class = "softanneal_error_too_few")
  expect_error(fit_grain_growth(d[0, ]), class = "softanneal_error_too_few")
  expect_error(fit_grain_growth(transform(d, time_min = 0)), class = "softanneal_error_too_few")
  expect_error(fit_grain_growth(transform(d, grain_mm = -1)), class = "softanneal_error_range")
  expect_error(fit_grain_growth(transform(d, grain_mm = "big")), class = "softanneal_error_column")
  expect_error(fit_grain_growth(d, grain = size), class = "softanneal_error_column")
  expect_error(fit_grain_growth(transform(d, m = grain_mm), grain = m),
               class = "softanneal_error_column")
  expect_error(fit_grain_growth(d, d0_mm = 1), class = "softanneal_error_range")
  d$grain_mm[3] <- NA
  expect_warning(fit <- fit_grain_growth(d), class = "softanneal_warning_missing")
  expect_identical(is.na(residuals(fit)), seq_len(12) == 3)
})

test_that("a Hall-Petch fit is the line of lm()", {
  d <- data.frame(grain_mm = c(0.012, 0.025, 0.05, 0.1), hardness = c(92, 76, 66, 58))
  fit <- fit_hall_petch(d, unit = "HV")
  line <- stats::lm(hardness ~ I(grain_mm^-0.5), d)
  expect_equal(unname(coef(fit)), unname(coef(line)))
  expect_equal(unname(vcov(fit)), unname(vcov(line)))
  expect_equal(unname(predict(fit, data.frame(grain_mm = 0.03), interval = "prediction")),
               unname(stats::predict(line, data.frame(grain_mm = 0.03), interval = "prediction")))
  expect_equal(c(logLik(fit)), c(logLik(line)))
  expect_output(print(fit), "HV mm\\^0.5")
  expect_warning(predict(fit, data.frame(grain_mm = 1)), class = "softanneal_warning_extrapolation")
  expect_error(fit_hall_petch(d[c(1, 1), ]), class = "softanneal_error_too_few")
  expect_error(fit_hall_petch(transform(d, grain_mm = 0)), class = "softanneal_error_range")
  expect_error(fit_hall_petch(d, unit = 3), class = "softanneal_error_argument")
})

test_that("tables of other classes and units columns go in", {
  skip_if_not_installed("tibble")
  d <- tibble::as_tibble(growth_table(0.02))
  plain <- fit_grain_growth(as.data.frame(d))
  expect_equal(coef(fit_grain_growth(d)), coef(plain))
  expect_s3_class(augment(plain, data = d), "tbl_df")
  skip_if_not_installed("units")
  d$grain_mm <- units::set_units(units::set_units(d$grain_mm, "mm"), "um")
  d$time_min <- units::set_units(units::set_units(d$time_min, "min"), "h")
  expect_equal(coef(fit_grain_growth(d)), coef(plain), tolerance = 1e-6)
})

test_that("plots of grain fits carry alt text and units", {
  d <- growth_table(0.03)
  pictures <- list(
    ggplot2::autoplot(fit_grain_growth(d)),
    ggplot2::autoplot(suppressWarnings(fit_grain_growth(d[d$temp_c == 560, ], m = 2.4))),
    ggplot2::autoplot(fit_hall_petch(data.frame(grain_mm = c(0.01, 0.03, 0.1), hardness = c(90, 70,
                                                                                            58)),
                                     unit = "HV")))
  for (p in pictures) {
    expect_s3_class(p, "ggplot")
    expect_gt(nchar(ggplot2::get_alt_text(p)), 60)
    expect_gt(nrow(ggplot2::layer_data(p, 1)), 2)
  }
})

test_that("a Hall-Petch fit without a unit says so, and prints no empty brackets", {
  f <- fit_hall_petch(data.frame(grain_mm = c(0.01, 0.03, 0.1), hardness = c(90, 70, 58)))
  expect_equal(ggplot2::autoplot(f)$labels$y, "hardness (unit of the data)")
  expect_false(any(grepl("()", capture.output(print(f)), fixed = TRUE)))
})

test_that("a column name with a blank goes through fit, plot and prediction", {
  d <- data.frame(grain_mm = c(0.04, 0.02, 0.01), y = c(80, 110, 150))
  names(d)[2] <- "Yield stress"
  line <- fit_hall_petch(d, hardness = "Yield stress", unit = "MPa")
  points <- ggplot2::layer_data(ggplot2::autoplot(line), 3L)
  expect_equal(sort(points$y), c(80, 110, 150))
  expect_equal(predict(line), unname(fitted(line)), ignore_attr = TRUE)
  expect_named(fit_least_squares(`Yield stress` ~ a + b / sqrt(grain_mm), c(a = 1, b = 1),
                                 data = d)$data, c("Yield stress", "grain_mm"), ignore.order = TRUE)
})
