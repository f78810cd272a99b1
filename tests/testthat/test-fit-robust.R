# Standard errors where leverage, weights of zero or outliers would spoil them.

test_that("cluster errors stay near those of the steps where steps decide parameters nearly alone", {
  d <- with_test_seed(21, do.call(rbind, lapply(1:80, function(i) {
    cbind(coil = i, made_readings(sd_step = 1, q = stats::runif(1, 100, 220),
                                  exponent = stats::runif(1, 0.8, 3), half_min = stats::runif(1, 6, 25)))
  })))
  errors <- function(se) {
    fits <- suppressWarnings(fit_each(d, coil, se = se), classes = "softanneal_warning_fit")
    x <- tidy(fits)
    matrix(x$std.error, 5L)
  }
  ratio <- errors("cluster") / errors("steps")
  # steps scatter alike here, so both estimate the same
  expect_lt(max(ratio, na.rm = TRUE), 3)
  medians <- apply(ratio, 1L, stats::median, na.rm = TRUE)
  expect_true(all(abs(medians - 1) < 0.2))
})

test_that("readings of weight zero are as if they were not there", {
  skip_on_cran()
  d <- with_test_seed(31, made_readings(sd_step = 1, n = 3))
  idle <- d[c(5, 20, 33), ]
  idle$hardness <- c(400, 20, 300)
  idle$temp_c <- c(290, 500, 330)
  idle$time_min[2:3] <- c(7, 0)
  all <- rbind(idle, d)
  all$w <- rep(c(0, 1), c(3L, nrow(d)))
  d$w <- 1
  cases <- list(list(), list(se = "cluster"), list(se = "steps"), list(se = "model"),
                list(loss = "huber"), list(se = "cluster", n_by = "by temperature"))
  for (case in cases) {
    with <- do.call(fit_softening, c(list(all, weights = quote(w)), case))
    without <- do.call(fit_softening, c(list(d, weights = quote(w)), case))
    for (field in c("coefficients", "vcov", "sigma", "deviance", "df.residual", "df_interval", "nobs",
                    "states", "limits", "lack_of_fit", "temp_ref_c", "between", "errors")) {
      expect_identical(with[[field]], without[[field]], label = paste(names(case), case, field))
    }
    expect_identical(confint(with), confint(without))
  }
  expect_length(fitted(with), nrow(all))
  expect_equal(which(is.na(residuals(with))), 1:3, ignore_attr = TRUE)
  expect_output(print(with), "3 of weight zero more left out", fixed = TRUE)
  two <- cbind(coil = "A", all)
  a <- fit_each(two, coil, weights = two$w)
  b <- fit_each(two[-(1:3), ], coil, weights = two$w[-(1:3)])
  expect_identical(a$par, b$par)
  expect_identical(a$cov, b$cov)
  expect_identical(a$sums, b$sums)
  # the robust scale of any formula
  x <- data.frame(x = 1:20, y = 3 * 1:20 + rep_len(c(0.3, -0.2, 0.1, -0.3, 0.4, -0.1, 0), 20))
  x$y[7] <- 60
  far <- rbind(x, data.frame(x = 21:60, y = 0))
  fit <- function(d, w) {
    fit_least_squares(y ~ a + b * x, c(a = 0, b = 1), data = d, weights = w, loss = "huber")
  }
  expect_equal(coef(fit(far, rep(1:0, c(20, 40)))), coef(fit(x, rep(1, 20))), tolerance = 1e-10)
  expect_equal(vcov(fit(far, rep(1:0, c(20, 40)))), vcov(fit(x, rep(1, 20))), tolerance = 1e-8)
})

test_that("errors of Huber loss are those of M-estimation", {
  # by hand: sum of psi^2 over (mean of psi')^2, with the correction of Huber (1981), section 7.6
  d <- with_test_seed(32, made_readings(n = 2))
  d$hardness[c(4, 17, 30)] <- d$hardness[c(4, 17, 30)] + 12
  fit <- fit_softening(d, loss = "huber", se = "model")
  r <- residuals(fit)
  scale <- 1.4826 * stats::median(abs(r))
  expect_equal(sigma(fit), scale, tolerance = 1e-6)
  bent <- pmin(pmax(r, -1.345 * scale), 1.345 * scale)
  m <- mean(abs(r) < 1.345 * scale)
  k <- 1 + 5 / length(r) * (1 - m) / m
  x <- fit$conditions$jacobian[fit$conditions$of_reading + 1L, ]
  by_hand <- k^2 * sum(bent^2) / (length(r) - 5) / m^2 * solve(crossprod(x))
  expect_equal(vcov(fit), by_hand, tolerance = 1e-6, ignore_attr = TRUE)
})

test_that("Huber intervals cover with outliers", {
  skip_if_not(extended_tests(), "extended test: SOFTANNEAL_EXTENDED_TESTS is not \"true\"")
  for (n in c(20L, 40L)) {
    hit <- with_test_seed(34, replicate(2000, {
      x <- seq_len(n)
      d <- data.frame(x, y = 1 + 3 * x + stats::rnorm(n) * ifelse(stats::runif(n) < 0.05, 6, 1))
      ci <- confint(fit_least_squares(y ~ a + b * x, c(a = 0, b = 1), data = d, loss = "huber"))
      ci[2L, 1L] <= 3 && 3 <= ci[2L, 2L]
    }))
    message("Huber loss, slope of ", n, " points with 5 % outliers: ", mean(hit))
    expect_gt(mean(hit), 0.92)
    expect_lt(mean(hit), 0.97)
  }
})

test_that("a model with many minima ends in the lowest one that is known", {
  # 3 HV of noise about two finished curves: the first basin found has a sum half as large again
  d <- expand.grid(reading = 1:2, time_min = c(0, 4, 8, 16, 32, 64), temp_c = c(378, 405))
  d$hardness <- c(158, 159.2, 81.5, 83.8, 74.8, 79.8, 80, 80.9, 78.8, 78.7, 78.6, 83.8, 159, 156.7, 83.7,
                  83.9, 79.9, 79.7, 80.3, 80, 83.9, 86.3, 80.1, 79.4)
  d$scale <- "HV"
  fit <- quietly_fitted(d, "hardening_jmak", se = "model")
  from <- c(h_worked = 158.2, h_soft = 0, ln_k_ref = -1.98, n = 0.287, q_kj_mol = 35.7, dh_hard = 635,
            ln_k_hard = -4.3, q_hard_kj_mol = 45.5)
  known <- quietly_fitted(d, "hardening_jmak", se = "model", start = from)
  expect_lt(deviance(fit), 1.001 * deviance(known))
})

test_that("the case bootstrap of few steps says that its errors are too large", {
  short <- with_test_seed(3, made_readings(sd_step = 1))
  fit <- fit_softening(short, se = "cluster")
  expect_warning(b <- resample_fit(fit, 100, "case", seed = 1), "only 6 steps",
                 class = "softanneal_warning_fit")
  expect_gt(stats::sd(b$estimates[, "q_kj_mol"], na.rm = TRUE),
            1.5 * sqrt(vcov(fit, type = "steps")["q_kj_mol", "q_kj_mol"]))
  long <- with_test_seed(3, made_readings(times = c(0, 2, 4, 8, 12, 16, 24, 32, 48, 64), sd_step = 1))
  expect_silent(resample_fit(fit_softening(long, se = "cluster"), 20, "case", seed = 1))
})

test_that("the profile of a fixed parameter is NA", {
  fit <- fit_softening(bell_readings(), fixed = c(n = 1.6), se = "steps")
  ends <- confint(fit, method = "profile")
  expect_identical(unname(ends["n", ]), c(NA_real_, NA_real_))
  expect_false(anyNA(ends[c("h_worked", "q_kj_mol"), ]))
})
