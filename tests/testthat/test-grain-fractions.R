fraction_table <- function(n = 2.2, theta0 = 0, q = 165) {
  d <- expand.grid(time_min = c(3, 6, 12, 24, 48, 96), temp_c = c(310, 325, 340, 355))
  d$fraction <- jmak_fraction(d$time_min, arrhenius_rate(d$temp_c, 0.05, 340, q), n, theta0)
  d$specimen <- paste0("R", seq_len(nrow(d)))
  d
}

counted <- function() {
  read.csv(system.file("extdata", "grain_bellbrass_fractions.csv", package = "softanneal"))
}

test_that("exact fractions give the law back by all routes, without starting values", {
  truth <- c(ln_k_ref = log(0.05), n = 2.2, q_kj_mol = 165)
  d <- fraction_table()
  for (variance in c("proportional", "constant")) {
    fit <- suppressWarnings(fit_recrystallisation(d, variance = variance, temp_ref_c = 340))
    expect_equal(coef(fit), truth, tolerance = 1e-6)
  }
  inner <- d[d$fraction < 1 - 1e-9, ]
  hand <- suppressWarnings(fit_recrystallisation(inner, method = "double_log", temp_ref_c = 340))
  expect_equal(coef(hand), truth, tolerance = 1e-6)
  late <- suppressWarnings(fit_recrystallisation(fraction_table(theta0 = 0.15), incubation = TRUE,
                                                 variance = "constant", temp_ref_c = 340))
  expect_equal(coef(late), c(truth, theta0 = 0.15), tolerance = 1e-5)
  for (n in c(0.6, 1, 4)) {
    fit <- suppressWarnings(fit_recrystallisation(fraction_table(n), variance = "constant"))
    expect_equal(coef(fit)[["n"]], n, tolerance = 1e-6)
  }
})

test_that("derivatives of the law agree with central differences", {
  skip_if_not_installed("numDeriv")
  par <- c(ln_k_ref = -3, n = 1.7, q_kj_mol = 150, theta0 = 0.1)
  time <- c(1, 5, 20, 80)
  e <- c(-0.02, 0, 0.01, 0.02)
  law <- recryst_law(par, time, e)
  slopes <- numDeriv::jacobian(\(p) recryst_law(stats::setNames(p, names(par)), time, e)$x, par)
  expect_equal(unname(law$jac), slopes, tolerance = 1e-7)
  expect_equal(law$x, jmak_fraction(time, exp(-3 + 150 * e), 1.7, 0.1))
  extreme <- recryst_law(c(ln_k_ref = 800, n = 5, q_kj_mol = 2000, theta0 = 0), c(0, 1, 1e6), c(1,
                                                                                                1,
                                                                                                1))
  expect_equal(extreme$x, c(0, 1, 1))
  expect_true(all(is.finite(extreme$jac)))
})

test_that("the direct fit with constant variance is that of stats::nls", {
  d <- counted()
  fit <- fit_recrystallisation(d, variance = "constant", temp_ref_c = 340)
  d$e <- -1000 / 8.31446261815324 * (1 / (d$temp_c + 273.15) - 1 / 613.15)
  other <- stats::nls(fraction ~ 1 - exp(-(exp(lk + q * e) * time_min)^n), d,
                      start = list(lk = -3, n = 2, q = 160))
  expect_equal(unname(coef(fit)), unname(coef(other)), tolerance = 1e-5)
  expect_equal(unname(vcov(fit)), unname(vcov(other)), tolerance = 1e-4)
  expect_equal(c(logLik(fit)), c(logLik(other)), tolerance = 1e-8)
})

test_that("the double-log route is the straight line of lm(), with errors carried over", {
  d <- counted()
  expect_warning(hand <- fit_recrystallisation(d, method = "double_log", temp_ref_c = 340),
                 class = "softanneal_warning_outside")
  inner <- d$fraction > 0 & d$fraction < 1
  e <- -1000 / 8.31446261815324 * (1 / (d$temp_c + 273.15) - 1 / 613.15)
  line <- stats::lm(log(-log(1 - fraction)) ~ log(time_min) + e, cbind(d, e), subset = inner)
  b <- coef(line)
  expect_equal(unname(coef(hand)), unname(c(b[1] / b[2], b[2], b[3] / b[2])), tolerance = 1e-7)
  expect_equal(vcov(hand)["n", "n"], vcov(line)[2, 2], tolerance = 1e-7)
  expect_identical(nobs(hand), sum(inner))
  expect_equal(unname(residuals(hand)[inner]), unname(stats::residuals(line)), tolerance = 1e-6)
  # tables are on the scale of the fraction
  table <- augment(hand, data = d)
  expect_equal((table$.fitted + table$.resid)[inner], d$fraction[inner])
})

test_that("reweighting ends where the weights are those of the fitted curve", {
  d <- counted()
  fit <- fit_recrystallisation(d)
  x <- fitted(fit)
  expect_equal(weights(fit, "working"), 1 / pmax(x * (1 - x), 0.01 * 0.99), tolerance = 1e-7)
  # at the solution the weighted residuals are orthogonal to the derivatives
  g <- recryst_law(c(coef(fit), theta0 = 0), d$time_min,
                   -1000 / 8.31446261815324 * (1 / (d$temp_c + 273.15) -
                                                 1 / (fit$temp_ref_c + 273.15)))$jac[, 1:3]
  score <- crossprod(g, weights(fit, "working") * residuals(fit))
  expect_lt(max(abs(score) / sqrt(colSums(weights(fit, "working") * g^2))), 1e-6)
  expect_equal(fit$phi, 1 / sigma(fit)^2 - 1)
  # rows that can no longer scatter do not count as degrees of freedom
  expect_lt(fit$df_interval, df.residual(fit))
  long <- rbind(d, transform(d[d$temp_c == 355, ], time_min = 1e4, fraction = 1))
  more <- fit_recrystallisation(long, temp_ref_c = fit$temp_ref_c)
  expect_equal(sigma(more), sigma(fit), tolerance = 1e-6)
  expect_equal(vcov(more), vcov(fit), tolerance = 1e-5)
})

test_that("counts drawn from the law come back unbiased, and the double-log method is biased", {
  skip_on_cran()
  d <- fraction_table()
  set.seed(42)
  n <- replicate(40, {
    new <- transform(d, fraction = stats::rbinom(24, 60, fraction) / 60)
    c(coef(fit_recrystallisation(new))[["n"]],
      suppressWarnings(coef(fit_recrystallisation(new, method = "double_log"))[["n"]]))
  })
  se <- apply(n, 1, stats::sd) / sqrt(40)
  expect_lt(abs(mean(n[1, ]) - 2.2), 3 * se[1])
  expect_gt(2.2 - mean(n[2, ]), 4 * se[2])
})

test_that("the methods of a fraction fit", {
  d <- counted()
  d$fraction[5] <- NA
  expect_warning(fit <- fit_recrystallisation(d), class = "softanneal_warning_missing")
  expect_equal(fitted(fit) + residuals(fit), d$fraction)
  expect_length(residuals(fit, "standardized"), 24)
  table <- tidy(fit, conf.int = TRUE)
  expect_equal(table$conf.high, unname(confint(fit)[, 2]))
  expect_identical(names(table)[1:2], c("term", "estimate"))
  expect_identical(nrow(glance(fit)), 1L)
  expect_identical(nrow(augment(fit, interval = "confidence")), 24L)
  new <- data.frame(temp_c = 330, time_min = c(0, 10, NA, 90))
  p <- predict(fit, new, interval = "confidence")
  expect_equal(p[1, ], c(fit = 0, lwr = 0, upr = 0))
  expect_true(all(is.na(p[3, ])))
  expect_true(all(p[-3, ] >= 0 & p[-3, ] <= 1))
  expect_true(all(predict(fit, new[-3, ], interval = "prediction")[, "upr"] <= 1))
  expect_equal(predict(fit, new[2, ]), p[2, "fit"], ignore_attr = TRUE)
  s <- simulate(fit, 3, seed = 7)
  expect_identical(s, simulate(fit, 3, seed = 7))
  expect_true(all(is.na(s[5, ])) && all(s[-5, ] >= 0 & s[-5, ] <= 1))
  expect_identical(dim(simulate(fit_recrystallisation(counted(), variance = "constant"), 2,
                                seed = 1)),
                   c(24L, 2L))
  expect_s3_class(update(fit, data = counted(), variance = "constant"),
                  "softanneal_fit_recrystallisation")
  expect_output(print(fit), "independent points")
  expect_output(print(summary(fit)), "95 % intervals")
  plain <- fit_recrystallisation(counted(), variance = "constant")
  late <- suppressWarnings(fit_recrystallisation(counted(), variance = "constant",
                                                 incubation = TRUE))
  expect_equal(anova(plain, late)[["Df"]][2], 1)
  expect_error(anova(plain, fit_recrystallisation(counted())), class = "softanneal_error_model")
  file <- tempfile(fileext = ".rds")
  on.exit(unlink(file))
  saveRDS(fit, file)
  expect_identical(predict(readRDS(file), new), predict(fit, new))
})

test_that("one temperature leaves Q open, and says so", {
  d <- counted()
  d <- d[d$temp_c == 340, ]
  expect_warning(fit <- fit_recrystallisation(d, variance = "constant"),
                 class = "softanneal_warning_fit")
  expect_true(is.na(coef(fit)[["q_kj_mol"]]))
  expect_warning(p <- predict(fit, data.frame(temp_c = c(340, 350), time_min = 10)),
                 class = "softanneal_warning_outside")
  expect_true(is.finite(p[1]) && is.na(p[2]))
})

test_that("bounds are kept and told; weights count as copies", {
  d <- counted()
  expect_warning(fit <- fit_recrystallisation(d, upper = c(n = 1.5)),
                 class = "softanneal_warning_fit")
  expect_identical(fit$states[["n"]], "at upper bound")
  expect_true(is.na(vcov(fit)["n", "n"]))
  expect_error(fit_recrystallisation(d, lower = c(m = 1)), class = "softanneal_error_argument")
  expect_error(fit_recrystallisation(d, lower = 1), class = "softanneal_error_argument")
  expect_error(fit_recrystallisation(d, lower = c(n = 3), upper = c(n = 2)),
               class = "softanneal_error_range")
  w <- rep(1:2, 12)
  expect_equal(coef(fit_recrystallisation(d, weights = w)),
               coef(fit_recrystallisation(d[rep(1:24, w), ], temp_ref_c = fit$temp_ref_c)),
               tolerance = 1e-6)
})

test_that("bad fractions are refused by name and row", {
  d <- counted()
  e <- expect_error(fit_recrystallisation(transform(d, fraction = 100 * fraction)),
                    class = "softanneal_error_range")
  expect_match(conditionMessage(e), "divide percentages by 100")
  e <- expect_error(fit_recrystallisation(transform(d, fraction = ifelse(seq_along(fraction) == 4,
                                                                         -0.1,
                                                                         fraction))),
                    class = "softanneal_error_range")
  expect_identical(e$rows, 4L)
  expect_error(fit_recrystallisation(transform(d, fraction = 0)),
               class = "softanneal_error_too_few")
  expect_error(fit_recrystallisation(transform(d, fraction = 1)),
               class = "softanneal_error_too_few")
  expect_error(suppressWarnings(fit_recrystallisation(transform(d, fraction = rep(0:1, 12)),
                                                      method = "double_log")),
               class = "softanneal_error_too_few")
  expect_error(fit_recrystallisation(d[1:2, ]), class = "softanneal_error_too_few")
  expect_error(fit_recrystallisation(transform(d, fraction = "half")),
               class = "softanneal_error_column")
  expect_error(fit_recrystallisation(d, fraction = x), class = "softanneal_error_column")
  expect_error(fit_recrystallisation(d, method = "double_log", incubation = TRUE),
               class = "softanneal_error_argument")
  expect_error(fit_recrystallisation(d, method = "double_log", variance = "proportional"),
               class = "softanneal_error_argument")
})

test_that("plots of fractions, plain and stretched", {
  fit <- fit_recrystallisation(counted())
  for (axes in c("fraction", "double_log")) {
    p <- ggplot2::autoplot(fit, axes = axes)
    expect_gt(nchar(ggplot2::get_alt_text(p)), 60)
    expect_true(all(is.finite(ggplot2::layer_data(p, 2)$y)))
  }
})

test_that("a temperature that was over before its first specimen gives Q a limit only", {
  skip_on_cran()
  d <- data.frame(temp_c = rep(c(320, 420), each = 5), time_min = rep(c(4, 8, 16, 32, 64), 2),
                  fraction = c(0.03, 0.1, 0.38, 0.8, 0.99, 1, 1, 1, 1, 1))
  for (variance in c("constant", "proportional")) {
    expect_warning(fit <- fit_recrystallisation(d, variance = variance),
                   class = "softanneal_warning_fit")
    expect_identical(fit$states[["q_kj_mol"]], "only a lower limit")
    expect_true(is.na(vcov(fit)["q_kj_mol", "q_kj_mol"]) && is.finite(vcov(fit)["n", "n"]))
    limits <- confint(fit)["q_kj_mol", ]
    expect_identical(limits[[2]], Inf)
    rise <- held_deviance(fit, "q_kj_mol", limits[[1]]) - deviance(fit)
    expect_equal(rise / sigma(fit)^2, stats::qt(0.975, fit$df_interval)^2, tolerance = 1e-3)
    # at the limit the first specimen of the hot temperature is not yet quite over
    expect_gt(limits[[1]], 30)
    expect_equal(tidy(fit, conf.int = TRUE, conf.level = 0.8)$conf.low[3],
                 confint(fit, level = 0.8)[["q_kj_mol", 1]])
    expect_gt(confint(fit, level = 0.8)["q_kj_mol", 1], limits[[1]])
    expect_true(is.na(predict(fit, d[2, ], se.fit = TRUE)$se.fit))
  }
})

test_that("profiles of a well determined fit are close to the Wald limits", {
  fit <- fit_recrystallisation(counted(), variance = "constant")
  limits <- confint(fit, method = "profile")
  expect_equal(limits, confint(fit), tolerance = 0.01)
  for (term in rownames(limits)) for (end in limits[term, ]) {
    expect_equal((held_deviance(fit, term, end) - deviance(fit)) / sigma(fit)^2,
                 stats::qt(0.975, 21)^2, tolerance = 1e-3)
  }
  trace <- profile(fit, "n")
  expect_equal(min(trace$deviance), deviance(fit))
  expect_error(confint(fit, method = "boot"), class = "softanneal_error_model")
  hand <- suppressWarnings(fit_recrystallisation(counted(), method = "double_log"))
  expect_error(confint(hand, method = "profile"), class = "softanneal_error_model")
  expect_match(format(fit), "constant variance")
})

test_that("reweighting settles where a fitted fraction lies on the edge of the weights", {
  d <- counted() # with these counts plain reweighting swings between two answers
  d$fraction <- c(0, 0, 0, 1, 8, 23, 0, 0, 0, 11, 39, 57, 0, 3, 19, 43, 60, 60, 3, 13, 53, 60, 60,
                  60) / 60
  fit <- expect_no_warning(fit_recrystallisation(d))
  expect_true(fit$convergence$converged)
  # a fixed point: the fit of least squares with the weights of its own fitted fractions
  w <- 1 / pmax(fitted(fit) * (1 - fitted(fit)), 0.01 * 0.99)
  e <- -(1 / (d$temp_c + 273.15) - 1 / (fit$temp_ref_c + 273.15)) / 8.314462618e-3
  reference <- stats::nls(fraction ~ 1 - exp(-(exp(lk + q * e) * time_min)^n), d, weights = w,
                          start = list(lk = -3.5, n = 2.2, q = 180),
                          control = stats::nls.control(tol = 1e-7))
  expect_equal(unname(coef(fit)), unname(coef(reference)), tolerance = 1e-6)
})

test_that("fractions that scatter a little beyond 0 and 1 are fitted as they are", {
  d <- expand.grid(time_min = c(2, 4, 8, 16, 32, 64), temp_c = c(320, 350))
  k <- arrhenius_rate(d$temp_c, 0.05, 335, 160)
  d$fraction <- jmak_fraction(d$time_min, k, 2) + rep(c(-0.03, 0.02, -0.01, 0.03, 0.01, 0.04), 2)
  expect_true(min(d$fraction) < 0 && max(d$fraction) > 1)
  fit <- fit_recrystallisation(d, variance = "constant")
  d$e <- 1000 / 8.314462618 * (1 / (fit$temp_ref_c + 273.15) - 1 / (d$temp_c + 273.15))
  by_nls <- stats::nls(fraction ~ 1 - exp(-(exp(l + q * e) * time_min)^n), d,
                       start = c(l = -3, q = 160, n = 2))
  expect_equal(coef(fit)[["n"]], coef(by_nls)[["n"]], tolerance = 1e-5)
  expect_equal(coef(fit)[["q_kj_mol"]], coef(by_nls)[["q"]], tolerance = 1e-5)
  # counts are proportions: these weigh by the fitted curve and go the same way
  expect_equal(coef(fit_recrystallisation(d))[["q_kj_mol"]], 160, tolerance = 0.1)
})

test_that("a profile that meets a lower minimum says so and has no tau there", {
  d <- counted()
  fit <- fit_recrystallisation(d)
  fit$coefficients[["n"]] <- 1.05 * fit$coefficients[["n"]] # not the minimum
  fit$deviance <- 1.05 * fit$deviance
  expect_warning(p <- profile(fit, "n"), "lower minimum near n", class = "softanneal_warning_fit")
  expect_true(anyNA(p$tau))
  expect_true(all(p$deviance[is.na(p$tau)] < fit$deviance))
})

test_that("weights of fractions are those given, in any unit, and rows of weight zero do not count", {
  d <- utils::read.csv(extdata("grain_bellbrass_fractions.csv"))
  d$points <- rep(c(60, 120, 30), length.out = nrow(d))
  f <- fit_recrystallisation(d, weights = points)
  expect_identical(weights(f), d$points)
  expect_null(weights(fit_recrystallisation(d)))
  x <- pmin(pmax(fitted(f), 0.01), 0.99)
  expect_equal(unname(weights(f, "working")), unname(d$points / (x * (1 - x))), tolerance = 1e-4)
  expect_refused(weights(f, "mine"), "argument", "must be 'prior' or 'working'")
  more <- fit_recrystallisation(d, weights = 10 * points)
  expect_equal(tidy(more), tidy(f))
  said <- \(fit) grep("points per unit", capture.output(print(fit)), value = TRUE)
  expect_match(said(f), "1.84 independent points per unit of weight", fixed = TRUE)
  expect_match(said(more), "0.184 independent points", fixed = TRUE)
  drawn <- function(fit) stats::sd(unlist(simulate(fit, 5, seed = 1)[20, ]))
  expect_equal(drawn(more), drawn(f))
  zero <- fit_recrystallisation(transform(d, points = replace(points, 3, 0)), weights = points)
  without <- fit_recrystallisation(d[-3, ], weights = points)
  expect_equal(tidy(zero), tidy(without))
  expect_equal(zero$temp_ref_c, without$temp_ref_c)
  gap <- suppressWarnings(fit_recrystallisation(transform(d, fraction = replace(fraction, 5, NA)),
                                                weights = points))
  expect_identical(which(is.na(weights(gap))), 5L)
})
