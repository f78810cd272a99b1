pieces <- data.frame(temp_c = rep(c(290, 320, 350), each = 4),
                     time_min = c(151, 204, 240, 240, 38, 55, 61, 47, 13, 17, 11, 15),
                     reached = c(1, 1, 0, 0, rep(1, 8)))

test_that("without censoring the lognormal fit is the straight line of ln t", {
  d <- pieces[pieces$reached == 1, ]
  fit <- fit_lifetime(d, temp_ref_c = 320)
  e <- 1000 / 8.31446261815324 * (1 / (d$temp_c + 273.15) - 1 / 593.15)
  line <- stats::lm(log(time_min) ~ e, d)
  expect_equal(unname(coef(fit)[1:2]), unname(coef(line)), tolerance = 1e-8)
  # likelihood divides by n, the line by n - 2
  expect_equal(coef(fit)[["scale"]], stats::sigma(line) * sqrt(8 / 10), tolerance = 1e-8)
  expect_equal(unname(vcov(fit)[1:2, 1:2]), unname(vcov(line)) * 8 / 10, tolerance = 1e-7)
  # likelihood of the times, not of their logarithms
  expect_equal(c(logLik(fit)), c(logLik(line)) - sum(log(d$time_min)), tolerance = 1e-9)
})

test_that("gradient and Hessian agree with differences for all laws", {
  skip_if_not_installed("numDeriv")
  d <- list(y = log(pieces$time_min), event = pieces$reached == 1, w = rep(c(1, 3), 6),
            e = seq(-0.01, 0.012, length.out = 12))
  theta <- c(5, 60, 1.4)
  for (law in c("lognormal", "weibull")) {
    d$law <- law
    at <- lifetime_likelihood(d, theta)
    value <- \(x) lifetime_likelihood(d, x)$value
    expect_equal(unname(at$gradient), numDeriv::grad(value, theta), tolerance = 1e-6)
    expect_equal(unname(at$hessian), numDeriv::hessian(value, theta), tolerance = 1e-5)
  }
})

test_that("censored pieces count: left out, Q comes out too low", {
  fit <- fit_lifetime(pieces, event = reached)
  without <- fit_lifetime(pieces[pieces$reached == 1, ])
  expect_gt(coef(fit)[["q_kj_mol"]], coef(without)[["q_kj_mol"]])
  expect_gt(predict(fit, data.frame(temp_c = 290)), predict(without, data.frame(temp_c = 290)))
  as_logical <- fit_lifetime(transform(pieces, reached = reached == 1), event = reached)
  expect_identical(coef(as_logical), coef(fit))
})

test_that("counts of like pieces are copies", {
  w <- rep(c(1, 2, 3), 4)
  copies <- pieces[rep(1:12, w), ]
  fit <- fit_lifetime(cbind(pieces, w), event = reached, weights = w)
  other <- fit_lifetime(copies, event = reached)
  expect_equal(coef(fit), coef(other), tolerance = 1e-8)
  expect_equal(vcov(fit), vcov(other), tolerance = 1e-7)
  expect_equal(logLik(fit), logLik(other), ignore_attr = TRUE)
})

test_that("the methods of a lifetime fit", {
  d <- pieces
  d$time_min[6] <- NA
  expect_warning(fit <- fit_lifetime(d, event = reached), class = "softanneal_warning_missing")
  expect_identical(which(is.na(residuals(fit))), 6L)
  expect_equal(log(fitted(fit)) + residuals(fit), log(d$time_min))
  expect_equal(residuals(fit, "standardized"), residuals(fit) / coef(fit)[["scale"]])
  table <- tidy(fit, conf.int = TRUE, conf.level = 0.9)
  expect_equal(table$conf.low, unname(confint(fit, level = 0.9)[, 1]))
  expect_equal(unname(confint(fit)[, 2]),
               unname(coef(fit) + stats::qnorm(0.975) * sqrt(diag(vcov(fit)))))
  expect_identical(nrow(glance(fit)), 1L)
  expect_identical(nrow(augment(fit)), 12L)
  limits <- confint(fit, "q_kj_mol", method = "profile")
  top <- c(logLik(fit))
  for (q in limits) expect_equal(2 * (top - lifetime_profile(fit$lives, q)), stats::qchisq(0.95, 1),
                                 tolerance = 1e-5)
  p <- predict(fit, data.frame(temp_c = c(300, NA)), p = c(0.5, 0.9), interval = "confidence")
  expect_true(p[1, "lwr"] < p[1, "fit"] && all(is.na(p[2, ])))
  # limits row by row, and all rows at once
  three <- data.frame(temp_c = c(295, 310, 345))
  part <- predict(fit, three, interval = "confidence", se.fit = TRUE)
  expect_equal(part$fit[, "upr"], part$fit[, "fit"] * exp(stats::qnorm(0.975) * part$se.fit /
                                                             part$fit[, "fit"]))
  expect_equal(part$fit[2, , drop = FALSE],
               predict(fit, three[2, , drop = FALSE], interval = "confidence"))
  wide <- predict(fit, data.frame(temp_c = 300), interval = "prediction")
  expect_true(wide[, "lwr"] < p[1, "lwr"] && wide[, "upr"] > p[1, "upr"])
  expect_identical(predict(fit, data.frame(temp_c = 300), p = c(0.5, 0.9))[1], p[[1, "fit"]])
  expect_warning(predict(fit, data.frame(temp_c = 400)), class = "softanneal_warning_extrapolation")
  s <- simulate(fit, 200, seed = 3)
  expect_identical(dim(s), c(12L, 200L))
  expect_equal(stats::median(unlist(log(s[1, ]))), log(fitted(fit)[1]), tolerance = 0.02)
  expect_output(print(fit), "10 events|9 events")
  expect_output(print(summary(fit)), "normal")
  expect_error(family(fit), class = "softanneal_error_model")
  expect_error(confint(fit, method = "boot"), class = "softanneal_error_model")
  expect_error(predict(fit, data.frame(temp_c = 300), p = 0.1, interval = "prediction"),
               class = "softanneal_error_argument")
  file <- tempfile(fileext = ".rds")
  on.exit(unlink(file))
  saveRDS(fit, file)
  expect_identical(predict(readRDS(file), data.frame(temp_c = 300)),
                   predict(fit, data.frame(temp_c = 300)))
})

test_that("exponential within Weibull by the likelihood ratio", {
  one <- fit_lifetime(pieces, event = reached, distribution = "exponential")
  two <- fit_lifetime(pieces, event = reached, distribution = "weibull")
  table <- anova(two, one)
  expect_equal(table$Chisq[2], 2 * (c(logLik(two)) - c(logLik(one))))
  expect_error(anova(two, fit_lifetime(pieces, event = reached)), class = "softanneal_error_model")
  expect_identical(names(coef(one)), c("ln_t_ref", "q_kj_mol"))
})

test_that("events at one temperature give a limit of Q, not a number with an error", {
  d <- data.frame(temp_c = c(350, 350, 350, 300, 300), time_min = c(10, 14, 19, 120, 120),
                  event = c(1, 1, 1, 0, 0))
  expect_warning(fit <- fit_lifetime(d, event = event), class = "softanneal_warning_fit")
  expect_identical(fit$states[["q_kj_mol"]], "only a lower limit")
  limits <- confint(fit)["q_kj_mol", ]
  expect_identical(limits[[2]], Inf)
  # the limit is where the likelihood has fallen from its supremum, reached at an endless Q
  drop <- 2 * (lifetime_profile(fit$lives, 1900) - lifetime_profile(fit$lives, limits[[1]]))
  expect_equal(drop, stats::qchisq(0.95, 1), tolerance = 1e-5)
  expect_gt(confint(fit, level = 0.8)["q_kj_mol", 1], limits[[1]])
  expect_equal(tidy(fit, conf.int = TRUE, conf.level = 0.8)$conf.low[2],
               confint(fit, level = 0.8)["q_kj_mol", 1])
  # location and scale are those of the events alone
  expect_warning(alone <- fit_lifetime(d[1:3, ], event = event), class = "softanneal_warning_fit")
  expect_equal(coef(fit)[c("ln_t_ref", "scale")], coef(alone)[c("ln_t_ref", "scale")],
               tolerance = 1e-8)
  expect_equal(vcov(fit)["scale", "scale"], vcov(alone)["scale", "scale"], tolerance = 1e-7)
  expect_warning(p <- predict(fit, data.frame(temp_c = c(300, 350)), interval = "confidence"),
                 class = "softanneal_warning_outside")
  expect_true(is.na(p[1, 1]) && all(is.finite(p[2, ])))
  hot <- data.frame(temp_c = c(300, 300, 350), time_min = c(10, 14, 30), event = c(1, 1, 0))
  expect_warning(upper <- fit_lifetime(hot, event = event), class = "softanneal_warning_fit")
  expect_identical(upper$states[["q_kj_mol"]], "only an upper limit")
})

test_that("lifetimes refuse bad data", {
  expect_error(fit_lifetime(transform(pieces, time_min = 0)), class = "softanneal_error_range")
  expect_error(fit_lifetime(transform(pieces, reached = 2), event = reached),
               class = "softanneal_error_range")
  expect_error(fit_lifetime(transform(pieces, reached = 0), event = reached),
               class = "softanneal_error_too_few")
  expect_error(fit_lifetime(pieces[c(3, 5), ]), class = "softanneal_error_too_few")
  expect_error(fit_lifetime(pieces, event = gone), class = "softanneal_error_column")
  expect_error(fit_lifetime(transform(pieces, reached = "yes"), event = reached),
               class = "softanneal_error_column")
  expect_error(fit_lifetime(pieces, distribution = "normal"), class = "softanneal_error_argument")
  expect_error(fit_lifetime(pieces[0, ]), class = "softanneal_error_too_few")
})

test_that("plots of lifetimes, also without a line", {
  full <- ggplot2::autoplot(fit_lifetime(pieces, event = reached))
  expect_gt(nchar(ggplot2::get_alt_text(full)), 60)
  expect_gt(nrow(ggplot2::layer_data(full, 1)), 50)
  alone <- suppressWarnings(fit_lifetime(pieces[5:8, ]))
  expect_match(ggplot2::get_alt_text(ggplot2::autoplot(alone)), "not estimable")
})
