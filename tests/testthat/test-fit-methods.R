# Every method on every kind of fit, and the conventions of base R and broom.

fits <- function() {
  d <- with_test_seed(31, made_readings(sd_step = 1))
  gap <- d
  gap$hardness[5] <- NA
  list(ordinary = fit_softening(d),
       model_errors = fit_softening(d, se = "model"),
       padded = suppressWarnings(fit_softening(gap)),
       weighted = fit_softening(d, weights = rep(c(1, 2), length.out = nrow(d))),
       zero_weights = fit_softening(d, weights = rep(c(1, 0), length.out = nrow(d))),
       one_temperature = quietly_fitted(d[d$temp_c == 330, ]),
       on_bound = quietly_fitted(d, "jmak_incubation", upper = c(n = 1.2)),
       open = quietly_fitted(d[d$temp_c == 290 & d$time_min < 20 | d$temp_c == 370, ],
                             "recovery_jmak"),
       one_free = quietly_fitted(d, fixed = c(h_worked = 160, h_soft = 80, n = 1.6, q_kj_mol = 140)),
       perfect = fit_softening(made_readings(sd_reading = 0)),
       limited = quietly_fitted(d, control = fit_control(max_iterations = 1)),
       huber = fit_softening(d, loss = "huber"),
       line = fit_arrhenius(data.frame(temp_c = c(300, 330, 360), k = c(0.01, 0.05, 0.2)), rate = k),
       formula = fit_least_squares(hardness ~ a + b * time_min, c(a = 150, b = -1), data = d))
}

all_fits <- fits()

for (name in names(all_fits)) {
  test_that(paste0("all methods answer for a fit that is ", name), {
    if (!name %in% c("ordinary", "open", "padded", "line")) skip_on_cran()
    f <- all_fits[[name]]
    b <- coef(f)
    expect_type(b, "double")
    v <- vcov(f)
    expect_equal(dimnames(v), list(names(b), names(b)))
    expect_equal(v, t(v))
    expect_equal(is.na(diag(v)), !f$states == "determined" | is.na(f$df_interval) |
                   f$df_interval <= 0, ignore_attr = TRUE)
    ci <- confint(f)
    expect_true(is.matrix(ci))
    expect_equal(colnames(ci), c("2.5 %", "97.5 %"))
    expect_equal(rownames(ci), names(b))
    t <- tidy(f, conf.int = TRUE)
    expect_named(t, c("term", "estimate", "std.error", "statistic", "p.value", "conf.low",
                      "conf.high"))
    expect_equal(t$conf.low, unname(ci[, 1L]))
    expect_equal(t$conf.high, unname(ci[, 2L]))
    expect_named(tidy(f), names(t)[1:5])
    s <- summary(f)
    expect_equal(unname(s$coefficients[, "Std. Error"]), t$std.error)
    expect_equal(colnames(s$coefficients), c("Estimate", "Std. Error", "t value", "Pr(>|t|)"))
    g <- glance(f)
    expect_equal(nrow(g), 1L)
    expect_named(g, c("sigma", "isConv", "finTol", "logLik", "AIC", "BIC", "deviance",
                      "df.residual", "nobs", "stop_message", "n_undetermined"))
    expect_equal(g$AIC, AIC(f))
    expect_equal(nobs(f), attr(logLik(f), "nobs"))
    expect_equal(df.residual(f), nobs(f) - f$estimated)
    if (name != "huber") expect_equal(sigma(f)^2, deviance(f) / df.residual(f))
    a <- augment(f)
    expect_true(all(c(".fitted", ".resid", ".se.fit") %in% names(a)))
    expect_equal(nrow(a), length(residuals(f)))
    expect_equal(fitted(f), a$.fitted, ignore_attr = TRUE)
    p <- predict(f, interval = "prediction", se.fit = TRUE)
    expect_named(p, c("fit", "se.fit", "df", "residual.scale"))
    expect_equal(colnames(p$fit), c("fit", "lwr", "upr"))
    expect_equal(nrow(p$fit), length(residuals(f)))
    expect_length(residuals(f, "pearson"), length(residuals(f)))
    expect_length(residuals(f, "standardized"), length(residuals(f)))
    sims <- simulate(f, nsim = 2, seed = 1)
    expect_named(sims, c("sim_1", "sim_2"))
    expect_equal(nrow(sims), length(residuals(f)))
    expect_identical(sims, simulate(f, nsim = 2, seed = 1))
    expect_false(is.null(attr(sims, "seed")))
    expect_s3_class(formula(f), "formula")
    expect_equal(family(f)$family, "gaussian")
    expect_match(format(f), "parameters")
    expect_output(print(f), "Estimate")
    expect_output(print(summary(f)), "Std. Error")
    expect_invisible(print(f)) |> capture.output()
    expect_s3_class(as.data.frame(f), "data.frame")
    expect_true(is.null(weights(f)) || is.numeric(weights(f)))
    if (name != "formula") expect_s3_class(ggplot2::autoplot(f), "ggplot")
  })
}

test_that("the response is fitted value plus residual", {
  d <- with_test_seed(31, made_readings(sd_step = 1))
  expect_equal(fitted(all_fits$ordinary) + residuals(all_fits$ordinary), d$hardness)
  expect_equal(sum(is.na(residuals(all_fits$padded))), 1L)
})

test_that("a fit works in a new session after saving, and without its data", {
  f <- all_fits$ordinary
  path <- withr::local_tempfile(fileext = ".rds")
  saveRDS(f, path)
  g <- readRDS(path)
  new <- data.frame(temp_c = 300, time_min = 10)
  expect_equal(predict(g, new, interval = "confidence"), predict(f, new, interval = "confidence"))
  expect_equal(time_to(g), time_to(f))
  expect_equal(confint(g, method = "profile"), confint(f, method = "profile"))
  # nothing but data inside
  walk <- function(x) {
    if (is.environment(x) && !identical(x, baseenv())) return(FALSE)
    if (typeof(x) %in% c("closure", "externalptr")) return(FALSE)
    if (is.list(x)) all(vapply(x, walk, NA)) else TRUE
  }
  expect_true(walk(unclass(f)))
  expect_lt(as.numeric(utils::object.size(f$call)), 20000)
})

test_that("update() refits with another argument", {
  d <- with_test_seed(31, made_readings(sd_step = 1))
  f <- fit_softening(d, se = "cluster")
  g <- update(f, se = "model")
  expect_equal(coef(g), coef(f))
  expect_equal(g$se, "model")
  expect_equal(update(f, data = d[d$reading < 4, ])$nobs, 54L)
})

test_that("levels nest, and names and numbers select parameters", {
  f <- all_fits$ordinary
  wide <- confint(f, level = 0.99)
  narrow <- confint(f, c("n", "q_kj_mol"), level = 0.5)
  expect_equal(rownames(narrow), c("n", "q_kj_mol"))
  expect_true(all(wide["n", 1] < narrow["n", 1], wide["n", 2] > narrow["n", 2]))
  expect_equal(confint(f, 4:5), confint(f, c("n", "q_kj_mol")))
  expect_error(confint(f, "m"), class = "softanneal_error_argument")
  expect_error(confint(f, level = 95), class = "softanneal_error_range")
  expect_error(vcov(f, type = "other"), class = "softanneal_error_argument")
  expect_error(vcov(all_fits$line, type = "model"), class = "softanneal_error_argument")
  expect_error(confint(all_fits$line, method = "profile"), class = "softanneal_error_model")
})

test_that("profile intervals meet their definition and agree with Wald where all is regular", {
  f <- fit_softening(with_test_seed(32, made_readings(sd_reading = 0.2, n = 6)), se = "model")
  w <- confint(f)
  p <- confint(f, method = "profile")
  expect_equal(p, w, tolerance = 0.02)
  trace <- profile(f, "n", level = 0.95)
  expect_s3_class(trace, "softanneal_profile")
  expect_named(trace, c("term", "value", "deviance", "tau"))
  expect_true(all(diff(trace$tau) > 0))
  held <- quietly_fitted(with_test_seed(32, made_readings(sd_reading = 0.2, n = 6)),
                         fixed = c(n = p["n", 1L]), se = "model")
  expect_equal((deviance(held) - deviance(f)) / sigma(f)^2, qt(0.975, df.residual(f))^2,
               tolerance = 1e-4)
  b <- with_test_seed(33, confint(f, method = "boot"))
  expect_equal(b, w, tolerance = 0.05)
})

test_that("nested fits compare by F, others are refused", {
  d <- with_test_seed(34, made_readings(theta0 = 0.5))
  small <- quietly_fitted(d)
  big <- quietly_fitted(d, "jmak_incubation")
  a <- anova(small, big)
  expect_s3_class(a, "anova")
  expect_equal(a$Df[2L], 1)
  expect_lt(a[["Pr(>F)"]][2L], 0.01)
  expect_equal(a, anova(big, small))
  expect_error(anova(small, fit_softening(d[-1, ])), class = "softanneal_error_model")
  expect_error(anova(small, small), class = "softanneal_error_model")
  expect_error(anova(small, 3), class = "softanneal_error_argument")
  expect_error(anova(all_fits$line), class = "softanneal_error_argument")
})

test_that("anova() takes the errors that the fits describe", {
  d <- with_test_seed(35, made_readings(theta0 = 0.3, sd_step = 1))
  fits <- function(se) lapply(c("jmak", "jmak_incubation"), function(m) quietly_fitted(d, m, se = se))
  # the ratio of likelihoods, as logLik() has them, over the steps
  f <- fits("components")
  a <- anova(f[[1L]], f[[2L]])
  ratio <- 2 * (as.numeric(logLik(f[[2L]])) - as.numeric(logLik(f[[1L]])))
  steps <- nrow(unique(d[c("specimen", "time_min")]))
  expect_equal(a$Steps, rep(steps, 2L))
  expect_equal(a[["F value"]][2L], (exp(ratio / steps) - 1) * (steps - 6))
  expect_equal(a[["Pr(>F)"]][2L], pf(a[["F value"]][2L], 1, steps - 6, lower.tail = FALSE))
  # with equal numbers of readings F of nls() of the step means
  d0 <- transform(d, temp_c = ifelse(time_min == 0, 300, temp_c)) # as rolled is one condition
  means <- aggregate(hardness ~ temp_c + time_min, d0, mean)
  means$w <- aggregate(hardness ~ temp_c + time_min, d0, length)$hardness
  means$e <- inverse_temperature(means$temp_c, f[[1L]]$temp_ref_c)
  plain <- nls(hardness ~ hs + (hw - hs) * exp(-(exp(lk + q * e) * time_min)^n), means,
               start = list(hw = 160, hs = 80, lk = -2.8, q = 130, n = 1.5), weights = w)
  held <- nls(hardness ~ hs + (hw - hs) * exp(-(exp(lk + q * e) * time_min)^1.5), means,
              start = list(hw = 160, hs = 80, lk = -2.8, q = 130), weights = w)
  for (se in c("cluster", "steps")) {
    large <- quietly_fitted(d, se = se)
    b <- anova(quietly_fitted(d, se = se, fixed = c(n = 1.5)), large)
    expect_equal(b[["F value"]][2L], anova(held, plain)[["F value"]][2L], tolerance = 1e-4)
    expect_equal(b[["Pr(>F)"]][2L], anova(held, plain)[["Pr(>F)"]][2L], tolerance = 1e-3)
    expect_equal(b[["Res.Sum Sq"]], anova(held, plain)[["Res.Sum Sq"]], tolerance = 1e-6)
    expect_equal(b$Res.Df, anova(held, plain)$Res.Df)
    expect_identical(rownames(b), c("jmak, n fixed", "jmak"))
  }
  expect_refused(anova(f[[1L]], fits("model")[[2L]]), "model", "describe errors differently", "...")
  # a parameter held elsewhere is another model
  other <- quietly_fitted(d, "jmak_incubation", fixed = c(n = 1.2))
  expect_refused(anova(quietly_fitted(d, fixed = c(n = 1.5)), other), "model", "not nested", "...")
  expect_equal(anova(quietly_fitted(d, fixed = c(n = 1.2)), other)$Df[2L], 1)
  # a likelihood that falls is no gain
  f[[2L]]$errors$m$criterion <- f[[2L]]$errors$m$criterion + 100
  expect_equal(anova(f[[1L]], f[[2L]])[["Pr(>F)"]][2L], 1)
})

test_that("predictions keep rows and order, pass NA, and do not lean on other rows", {
  f <- all_fits$ordinary
  new <- data.frame(note = letters[1:5], time_min = c(20, 5, NA, 0, 20),
                    temp_c = c(330, 290, 330, NA, 330))
  p <- predict(f, new, interval = "confidence")
  expect_equal(nrow(p), 5L)
  expect_equal(unname(is.na(p[, 1L])), c(FALSE, FALSE, TRUE, FALSE, FALSE))
  expect_equal(p[1L, ], p[5L, ])
  one <- do.call(rbind, lapply(1:5, function(i) predict(f, new[i, ], interval = "confidence")))
  expect_equal(one, p)
  expect_equal(unname(p[4L, 1L]), coef(f)[["h_worked"]])
  expect_length(predict(f, new[0, ]), 0L)
  expect_warning(predict(f, data.frame(temp_c = 500, time_min = 10)), "1 of 1 conditions",
                 class = "softanneal_warning_extrapolation")
  expect_error(predict(f, data.frame(temp_c = 300)), class = "softanneal_error_column")
  expect_error(predict(f, data.frame(temp_c = 300, time_min = -1)), class = "softanneal_error_range")
  expect_error(predict(f, new, intervall = "confidence"), class = "softanneal_error_argument")
  # a prediction interval holds reading and treatment scatter besides the curve's error
  f <- fit_softening(with_test_seed(31, made_readings(sd_step = 1)), se = "cluster")
  both <- predict(f, new[1, ], interval = "prediction", se.fit = TRUE)
  e <- softanneal:::error_components(f)
  expect_equal(unname(both$fit[3L] - both$fit[1L]),
               qt(0.975, f$df_interval) * unname(sqrt(both$se.fit^2 + e$reading^2 + e$step^2)))
})

test_that("augment() takes the data or new data, in their class", {
  d <- with_test_seed(31, made_readings(sd_step = 1))
  f <- all_fits$ordinary
  a <- augment(f, d, interval = "confidence")
  expect_equal(as.list(a)[names(d)], as.list(d))
  expect_true(all(c(".lower", ".upper") %in% names(a)))
  n <- augment(f, newdata = d[1:3, c("temp_c", "time_min")])
  expect_false(".resid" %in% names(n))
  expect_error(augment(f, d, newdata = d), class = "softanneal_error_argument")
  expect_error(augment(f, d[1:3, ]), class = "softanneal_error_argument")
  skip_if_not_installed("broom")
  expect_identical(broom::tidy(f), tidy(f))
  expect_identical(broom::glance(f), glance(f))
})

test_that("answers of time_to() invert the curve", {
  skip_on_cran()
  f <- all_fits$ordinary
  t <- time_to(f, hardness = c(100, 140))
  expect_named(t, c("temp_c", "hardness", "scale", "time_min", "std.error", "u_conversion", "conf.low",
                    "conf.high", "method", "note"))
  back <- suppressWarnings(predict(f, t))
  expect_equal(back, t$hardness, tolerance = 1e-9)
  half <- time_to(f)
  expect_equal(suppressWarnings(predict(f, half)), rep(mean(coef(f)[1:2]), 3), tolerance = 1e-9)
  x <- time_to(f, fraction = 0.9, temp_c = 350)
  expect_equal(jmak_fraction(x$time_min, arrhenius_rate(350, exp(coef(f)[["ln_k_ref"]]), f$temp_ref_c,
                                                        coef(f)[["q_kj_mol"]]), coef(f)[["n"]]), 0.9)
  expect_true(all(half$conf.low < half$time_min & half$time_min < half$conf.high))
  expect_warning(none <- time_to(f, hardness = c(50, 100), temp_c = 330),
                 class = "softanneal_warning_outside")
  expect_true(is.na(none$time_min[1L]))
  expect_equal(none$note[1L], "target not reached")
  expect_error(time_to(f, hardness = 100, fraction = 0.5), class = "softanneal_error_argument")
  expect_error(time_to(f, fraction = 1.5), class = "softanneal_error_range")
  expect_error(time_to(1), class = "softanneal_error_argument")
  rec <- quietly_fitted(tungsten_readings(), "recovery_jmak_incubation")
  early <- time_to(rec, hardness = 430, temp_c = 1200)
  expect_equal(suppressWarnings(predict(rec, early)), 430, tolerance = 1e-9)
})

test_that("a hardness that recovery alone reaches has an interval around it, or none", {
  skip_on_cran()
  rec <- quietly_fitted(tungsten_readings(), "recovery_jmak_incubation")
  x <- suppressWarnings(time_to(rec, hardness = c(432, 429, 425, 420, 400), temp_c = c(1150, 1250)))
  expect_true(all(x$conf.low < 0.95 * x$time_min & x$conf.high > 1.05 * x$time_min))
  # the rate of recrystallisation does not move it: no curve to follow
  none <- suppressWarnings(time_to(rec, hardness = c(430, 400), temp_c = 1200, method = "profile"))
  expect_identical(is.na(none$conf.low), c(TRUE, FALSE))
  expect_identical(is.na(none$conf.high), c(TRUE, FALSE))
  expect_match(none$note[1L], "met without recrystallisation", fixed = TRUE)
  at <- suppressWarnings(temp_for(rec, time_min = x$time_min[1:2], hardness = c(432, 429)))
  expect_true(all(at$conf.low < at$temp_c - 5 & at$conf.high > at$temp_c + 5))
})

test_that("a delta interval of a time agrees with the bootstrap", {
  d <- with_test_seed(35, made_readings(sd_step = 1))
  f <- fit_softening(d, se = "steps")
  b <- resample_fit(f, n_resamples = 300, seed = 2)
  e <- softanneal:::inverse_temperature(330, f$temp_ref_c)
  ln_t <- apply(b$estimates, 1L, function(p) {
    log(jmak_time(0.5, exp(p[["ln_k_ref"]] + p[["q_kj_mol"]] * e), p[["n"]]))
  })
  # 300 draws give a standard deviation to about 4 %
  at_330 <- time_to(f, temp_c = 330)
  expect_equal(sd(ln_t), at_330$std.error / at_330$time_min, tolerance = 0.15)
  expect_equal(sd(exp(ln_t)), at_330$std.error, tolerance = 0.2)
})

test_that("an Arrhenius fit is the linear model of ln(rate)", {
  d <- data.frame(temp_c = c(300, 320, 340, 360), k = c(0.011, 0.029, 0.06, 0.16), w = c(1, 2, 1, 3))
  f <- fit_arrhenius(d, rate = k, weights = d$w)
  ref <- stats::lm(log(k) ~ I(-1000 * (1 / (temp_c + 273.15) - 1 / (f$temp_ref_c + 273.15)) /
                                8.31446261815324), d, weights = w)
  expect_equal(unname(coef(f)), unname(coef(ref)), tolerance = 1e-10)
  expect_equal(vcov(f), vcov(ref), tolerance = 1e-10, ignore_attr = TRUE)
  expect_equal(as.numeric(logLik(f)), as.numeric(logLik(ref)), tolerance = 1e-10)
  p <- predict(f, data.frame(temp_c = 330), interval = "confidence")
  expect_equal(unname(p), unname(predict(ref, data.frame(temp_c = 330), interval = "confidence")),
               tolerance = 1e-10, ignore_attr = TRUE)
  two <- fit_arrhenius(d[1:2, ], rate = "k")
  expect_true(all(is.na(vcov(two))))
  expect_output(print(two), "Arrhenius fit")
  expect_error(fit_arrhenius(d[1, ], rate = k), class = "softanneal_error_too_few")
  expect_error(fit_arrhenius(d), class = "softanneal_error_argument")
  expect_error(fit_arrhenius(d, rate = k, time = k), class = "softanneal_error_argument")
  expect_error(fit_arrhenius(transform(d, k = -k), rate = k), class = "softanneal_error_range")
  expect_error(fit_arrhenius(d, rate = speed), class = "softanneal_error_column")
})

test_that("resample_fit() checks its arguments and prints", {
  f <- all_fits$ordinary
  b <- resample_fit(f, n_resamples = 20, seed = 1)
  expect_output(print(b), "20 parametric resamples")
  expect_equal(dim(as.data.frame(b)), c(20L, 5L))
  expect_identical(resample_fit(f, n_resamples = 20, seed = 1), b)
  expect_error(resample_fit(f, n_resamples = 0), class = "softanneal_error_range")
  expect_error(resample_fit(1), class = "softanneal_error_argument")
  expect_error(resample_fit(f, type = "wild"), class = "softanneal_error_argument")
  expect_error(resample_fit(f, seed = "x"), class = "softanneal_error_argument")
})

test_that("a fixed parameter has no profile: NA, not NaN; weights are seen from the data", {
  d <- with_test_seed(61, made_readings(sd_step = 1))
  held <- quietly_fitted(d, fixed = c(n = 1.6))
  ends <- unname(confint(held, "n", method = "profile")[1L, ])
  expect_true(all(is.na(ends)) && !any(is.nan(ends)))
  d$sd <- ifelse(d$time_min > 10, 2, 1)
  expect_equal(coef(quietly_fitted(d, weights = 1 / sd^2)), coef(quietly_fitted(d, weights = 1 / d$sd^2)))
  expect_error(fit_softening(d, weights = 1 / no_such_column), class = "softanneal_error_argument")
})

test_that("no linear interval passes a natural bound", {
  d <- with_test_seed(8, made_readings())
  fit <- quietly_fitted(d, se = "model")
  wide <- replace(fit, "vcov", list(1e4 * fit$vcov))
  profile <- confint(fit, method = "profile")
  expect_equal(confint(wide)[c("n", "q_kj_mol"), ], profile[c("n", "q_kj_mol"), ])
  # a level may lie anywhere: its line stays
  expect_equal(diff(confint(wide)["h_soft", ]), 100 * diff(confint(fit)["h_soft", ]))
  robust <- quietly_fitted(d, se = "model", loss = "huber")
  robust$vcov <- 1e4 * robust$vcov
  expect_identical(unname(confint(robust)[c("n", "q_kj_mol"), 1L]), c(0.1, 0))
})

test_that("a sum of squares that rises with more parameters leaves no F", {
  d <- with_test_seed(12, made_readings(sd_step = 1))
  small <- quietly_fitted(d, se = "model")
  large <- quietly_fitted(d, model = "jmak_incubation", se = "model")
  large$deviance <- 1.1 * small$deviance
  a <- stats::anova(small, large)
  expect_lt(a[["Sum Sq"]][2L], 0)
  expect_true(is.na(a[["F value"]][2L]) && is.na(a[["Pr(>F)"]][2L]))
  expect_match(attr(a, "heading")[2L], "rises: the larger fit is not at its lowest minimum")
})
