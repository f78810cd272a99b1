# Corners of the solver and of the batch: bounds with no room, exact data, many replicates.

test_that("differences are taken inwards at a bound and where the model ends", {
  x <- c(0.5, 1, 2, 4)
  y <- 3 * x^0.5
  # defined for a positive exponent only; the start lies on both bounds in turn
  model <- function(p) {
    if (p[["b"]] < 0.1 || p[["b"]] > 2) return(rep(NaN, 4))
    p[["a"]] * x^p[["b"]] - y
  }
  for (start in c(0.1, 2)) {
    fit <- fit_least_squares(model, c(a = 1, b = start), lower = c(0, 0.1), upper = c(10, 2))
    expect_equal(coef(fit), c(a = 3, b = 0.5), tolerance = 1e-7)
  }
  # without bounds the model itself has no value on one side of the start
  fit <- fit_least_squares(model, c(a = 1, b = 2))
  expect_equal(coef(fit), c(a = 3, b = 0.5), tolerance = 1e-7)
})

test_that("robust loss on exact readings ends at the exact values", {
  x <- 0:5
  fit <- fit_least_squares(function(p) p[["a"]] + p[["b"]] * x - (2 + 3 * x), c(a = 0, b = 1),
                           loss = "huber")
  expect_equal(coef(fit), c(a = 2, b = 3), tolerance = 1e-10)
})

test_that("many readings of one treatment count alike in any order, alone and in a batch", {
  d <- with_test_seed(81, made_readings(n = 40, times = c(0, 8, 16, 64)))
  d$coil <- "A"
  mixed <- d[with_test_seed(82, sample.int(nrow(d))), ]
  one <- suppressWarnings(fit_each(d, by = "coil"))
  other <- suppressWarnings(fit_each(mixed, by = "coil"))
  expect_identical(as.data.frame(other), as.data.frame(one))
  fit <- quietly_fitted(d)
  expect_equal(coef(one)[, names(coef(fit))], coef(fit), tolerance = 1e-6, ignore_attr = TRUE)
})

test_that("variables of a formula may stand outside the table", {
  x <- c(1, 2, 3, 4)
  y <- c(2.1, 3.9, 6.2, 7.8)
  inside <- fit_least_squares(y ~ a + b * x, start = c(a = 0, b = 1), data = data.frame(x, y))
  outside <- fit_least_squares(y ~ a + b * x, start = c(a = 0, b = 1))
  expect_equal(coef(outside), coef(inside))
  expect_equal(unname(coef(inside)), unname(coef(stats::lm(y ~ x))), tolerance = 1e-8)
  level <- fit_least_squares(y ~ a, start = c(a = 0))
  expect_equal(coef(level)[["a"]], mean(y), tolerance = 1e-10)
})

test_that("where one step alone has softened nothing is determined that other minima leave open", {
  for (seed in c(9004, 9006, 9010)) {
    d <- with_test_seed(seed, made_readings(temps = c(250, 270, 290), times = c(0, 4, 8, 16, 32), n = 5,
                                            sd_step = 0.5, sd_reading = 1.5, half_min = 9,
                                            exponent = 2.5))
    fit <- quietly_fitted(d, se = "model")
    rise <- stats::deviance(fit) / stats::df.residual(fit) *
      stats::qt(0.975, stats::df.residual(fit))^2
    # no softening is as good an end of it as any
    held <- quietly_fitted(d, se = "model", fixed = c(h_soft = 0),
                           start = replace(coef(fit), c("h_soft", "n"), c(0, 3)))
    expect_lt(stats::deviance(held), stats::deviance(fit) + rise)
    expect_identical(fit$states[["h_soft"]], "only an upper limit")
    expect_identical(quietly_fitted(d)$states[["h_soft"]], "only an upper limit")
    later <- suppressWarnings(time_to(fit, temp_c = 310, fraction = 0.5))
    expect_true(is.na(later$time_min) && later$conf.low == 0)
  }
})

test_that("annealed means that are all equal determine no rate, whatever the standard errors", {
  # Every annealed piece reads the soft level at its first reading: the curve fits without any misfit, so
  # that the scatter between treatments is zero. Any faster rate fits as well.
  done <- expand.grid(reading = 1:4, time_min = c(0, 4, 8, 16, 32, 64), temp_c = c(290, 330, 370))
  worked <- c(181.6, 181.2, 181.2, 182.5, 183.2, 181.4, 185, 180.7, 181.6, 181.4, 181.7, 180.5)
  done$hardness <- replace(rep(80, nrow(done)), done$time_min == 0, worked)
  done$temp_c[done$time_min == 0] <- NA
  done$scale <- "HV"
  for (se in c("model", "cluster", "steps", "components")) {
    f <- suppressWarnings(fit_softening(done, se = se))
    expect_false(any(f$states[c("ln_k_ref", "n", "q_kj_mol")] == "determined"), info = se)
    expect_true(all(is.na(sqrt(diag(vcov(f)))[c("ln_k_ref", "n", "q_kj_mol")])), info = se)
  }
  for (se in c("model", "cluster", "steps")) {
    each <- suppressWarnings(tidy(fit_each(transform(done, lot = "a"), by = "lot", se = se)))
    expect_identical(each$state[each$term %in% c("n", "q_kj_mol")], rep("not determined", 2L), info = se)
    expect_identical(unique(each$status), "open", info = se)
  }
})
