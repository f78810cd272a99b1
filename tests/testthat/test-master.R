test_that("temperature, time and parameter: any two give the third, in hours and minutes", {
  temp <- c(450, 600, 750)
  p <- larson_miller(temp, time_h = 3)
  expect_named(p, c("temp_c", "time_h", "time_min", "parameter_k"))
  expect_equal(p$parameter_k, (temp + 273.15) * (20 + log10(3)))
  expect_equal(larson_miller(temp, time_min = 180), p)
  expect_equal(larson_miller(temp, parameter_k = p$parameter_k), p)
  expect_equal(larson_miller(time_min = 180, parameter_k = p$parameter_k), p)
  q <- hollomon_jaffe(temp, time_min = 40, constant = 15)
  expect_equal(hollomon_jaffe(temp, parameter_k = q$parameter_k, constant = 15), q)
  expect_equal(hollomon_jaffe(time_h = 2 / 3, parameter_k = q$parameter_k, constant = 15), q)
  expect_identical(nrow(larson_miller(numeric(), time_h = 1)), 0L)
  expect_equal(larson_miller(c(500, NA), time_h = 1)$parameter_k[2], NA_real_)
  expect_identical(lengths(larson_miller(500, parameter_k = c(18e3, 19e3, NA))),
                   c(temp_c = 3L, time_h = 3L, time_min = 3L, parameter_k = 3L))
})

test_that("the constant moves with the unit of time", {
  expect_equal(shift_constant(20, "h", "s"), 20 - log10(3600))
  expect_equal(shift_constant(shift_constant(20, "h", "min"), "min", "h"), 20)
  p <- hollomon_jaffe(600, time_h = 2, constant = 19.5)$parameter_k
  for (per in c("min", "s")) {
    expect_equal(hollomon_jaffe(600, time_h = 2, constant = shift_constant(19.5, "h", per),
                                constant_per = per)$parameter_k, p)
  }
  # the trap: the constant for hours taken as one for seconds is off by T log10(3600)
  expect_equal(hollomon_jaffe(600, time_h = 2, constant = 19.5,
                              constant_per = "s")$parameter_k - p, 873.15 * log10(3600))
})

test_that("parameters refuse bad input", {
  expect_error(larson_miller(600), class = "softanneal_error_argument")
  expect_error(larson_miller(600, time_h = 1, time_min = 60), class = "softanneal_error_argument")
  expect_refused(larson_miller(), "argument", "parameter, not 0", "temp_c")
  expect_refused(larson_miller(600, time_h = 1, parameter_k = 2e4), "argument", "not 3", "temp_c")
  expect_error(larson_miller(600, parameter_k = -1), class = "softanneal_error_range")
  expect_error(larson_miller(600, time_h = 0), class = "softanneal_error_range")
  expect_error(larson_miller(-300, time_h = 1), class = "softanneal_error_range")
  expect_error(larson_miller(600, time_h = 1e-21), class = "softanneal_error_range")
  expect_error(hollomon_jaffe(600, time_h = 1), class = "softanneal_error_argument")
  expect_error(larson_miller(600, time_h = 1, constant_per = "days"),
               class = "softanneal_error_argument")
  expect_error(ramp_hold(600, 1e21), class = "softanneal_error_range")
})

tempered <- function(sd = 0, constant = 17) {
  d <- expand.grid(temp_c = c(300, 400, 500, 600), time_min = c(6, 60, 600))
  z <- (hollomon_jaffe(d$temp_c, time_min = d$time_min,
                       constant = constant)$parameter_k - 13000) / 3000
  d$hardness <- 400 - 90 * z - 20 * z^2 + sd * rep_len(c(1, -1.4, 0.2, 0.9, -0.6), nrow(d))
  d
}

test_that("exact data give the constant back", {
  fit <- suppressWarnings(fit_master_curve(tempered()))
  expect_equal(coef(fit)[["constant"]], 17, tolerance = 1e-6)
  lower_degree <- fit_master_curve(tempered(), degree = 1)
  expect_gt(sigma(lower_degree), 1)
})

test_that("a master curve has the least squares of a plain search, and its methods", {
  d <- tempered(3)
  fit <- fit_master_curve(d)
  rss <- function(c) {
    p <- hollomon_jaffe(d$temp_c, time_min = d$time_min, constant = c)$parameter_k
    stats::deviance(stats::lm(d$hardness ~ stats::poly(p, 2)))
  }
  best <- stats::optimize(rss, c(5, 60), tol = 1e-9)
  expect_equal(deviance(fit), best$objective, tolerance = 1e-8)
  expect_equal(coef(fit)[["constant"]], best$minimum, tolerance = 1e-5)
  # profile limits are where the sum of squares has risen by t^2 variances
  limits <- confint(fit, "constant", method = "profile")
  rise <- (vapply(limits, rss, 0) - deviance(fit)) / sigma(fit)^2
  expect_equal(sqrt(rise), rep(stats::qt(0.975, 8), 2), tolerance = 1e-5)
  trace <- profile(fit)
  expect_s3_class(trace, "softanneal_profile")
  expect_equal(min(trace$deviance), deviance(fit), tolerance = 1e-8)
  expect_identical(nrow(tidy(fit)), 4L)
  expect_equal(confint(fit)[, 1], stats::setNames(tidy(fit, conf.int = TRUE)$conf.low,
                                                  names(coef(fit))))
  expect_equal(fitted(fit) + residuals(fit), d$hardness)
  p <- predict(fit, data.frame(temp_c = 450, time_min = c(30, 90)), interval = "confidence")
  expect_true(all(p[, "lwr"] < p[, "fit"]))
  expect_warning(predict(fit, data.frame(temp_c = 900, time_min = 30)),
                 class = "softanneal_warning_extrapolation")
  expect_output(print(fit), "C for t in hours")
  held <- fit_master_curve(d, constant = 17)
  expect_identical(names(coef(held)), c("b0", "b1", "b2"))
  expect_equal(anova(held, fit)[["Df"]][2], 1)
  expect_error(confint(held, "b0", method = "profile"), class = "softanneal_error_model")
  expect_error(confint(fit, "b0", method = "profile"), class = "softanneal_error_model")
})

test_that("hours and minutes, weights and missing rows", {
  d <- tempered(3)
  d$time_h <- d$time_min / 60
  expect_equal(coef(fit_master_curve(d, time = time_h, time_unit = "h")), coef(fit_master_curve(d)),
               tolerance = 1e-6)
  w <- rep(c(1, 2), 6)
  twice <- rbind(d, d[w == 2, ])
  expect_equal(coef(fit_master_curve(d, weights = w)), coef(fit_master_curve(twice)),
               tolerance = 1e-6)
  d$hardness[2] <- NA
  expect_warning(fit <- fit_master_curve(d), class = "softanneal_warning_missing")
  expect_identical(which(is.na(fitted(fit))), 2L)
})

test_that("master curves refuse bad data, and tell when C runs away", {
  d <- tempered(3)
  expect_error(fit_master_curve(d[d$temp_c == 300, ]), class = "softanneal_error_too_few")
  expect_error(fit_master_curve(d[1:3, ]), class = "softanneal_error_too_few")
  expect_error(fit_master_curve(d, response = hv), class = "softanneal_error_column")
  expect_error(fit_master_curve(transform(d, time_min = 0)), class = "softanneal_error_range")
  expect_error(fit_master_curve(d, degree = 2.5), class = "softanneal_error_argument")
  expect_warning(fit <- fit_master_curve(d, range = c(25, 60)), class = "softanneal_warning_fit")
  expect_identical(fit$states[["constant"]], "at lower bound")
  expect_true(is.na(vcov(fit)["constant", "constant"]))
})

test_that("Kissinger's line is that of lm()", {
  d <- data.frame(rate_k_min = c(2, 5, 10, 20), peak_c = c(290, 305.5, 317, 330))
  fit <- fit_kissinger(d)
  kelvin <- d$peak_c + 273.15
  line <- stats::lm(log(d$rate_k_min / kelvin^2) ~ I(1000 / kelvin / 8.31446261815324))
  expect_equal(coef(fit)[["q_kj_mol"]], -coef(line)[[2]])
  expect_equal(sqrt(vcov(fit)["q_kj_mol", "q_kj_mol"]), sqrt(vcov(line)[2, 2]))
  q <- coef(fit)[["q_kj_mol"]] * 1000 / 8.31446261815324
  expect_equal(fit$frequency_per_min, q * exp(coef(line)[[1]]))
  expect_equal(fitted(fit), unname(stats::fitted(line)))
  expect_error(fit_kissinger(d[c(1, 1), ]), class = "softanneal_error_too_few")
  expect_error(fit_kissinger(transform(d, rate_k_min = 0)), class = "softanneal_error_range")
  two <- fit_kissinger(d[1:2, ])
  expect_true(all(is.na(vcov(two))))
  expect_s3_class(ggplot2::autoplot(two), "ggplot")
})

test_that("plots of master curves and peaks carry alt text", {
  d <- tempered(3)
  pictures <- list(ggplot2::autoplot(fit_master_curve(d), unit = "HV"),
                   ggplot2::autoplot(fit_master_curve(d, errors_in = "time")),
                   ggplot2::autoplot(fit_master_curve(d, constant = 17)),
                   ggplot2::autoplot(fit_kissinger(data.frame(rate_k_min = c(2, 5, 10, 20),
                                                              peak_c = c(290, 305.5, 317, 330)))))
  for (p in pictures) {
    expect_gt(nchar(ggplot2::get_alt_text(p)), 60)
    expect_gt(nrow(ggplot2::layer_data(p, 1)), 2)
  }
})
