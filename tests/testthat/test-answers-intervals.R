# Intervals of times and temperatures by three routes.

regular_fit <- function(...) {
  fit_softening(with_test_seed(61, made_readings(sd_step = 1)), se = "steps", ...)
}

open_fit <- function() { # the hotter temperature over before its first reading
  quietly_fitted(with_test_seed(71, made_readings(
    temps = c(300, 420), times = c(0, 5, 10, 20, 40, 80), q = 150, half_min = 6, sd_step = 0.5)),
    se = "cluster")
}

test_that("the three routes agree in a regular case", {
  skip_on_cran()
  f <- regular_fit()
  for (aim in list(list(softening = 0.5), list(hardness = 100), list(fraction = 0.9))) {
    ask <- function(...) as.data.frame(do.call(time_to, c(list(f), aim, list(...))))
    delta <- ask()
    profile <- ask(method = "profile")
    boot <- ask(method = "bootstrap", n_resamples = 400, seed = 1)
    expect_equal(profile[c("time_min", "std.error")], delta[c("time_min", "std.error")])
    half <- function(x) log(x$conf.high / x$conf.low) / 2
    expect_equal(half(profile), half(delta), tolerance = 0.05)
    # 400 draws give a 95 % half width to about 5 %; three times that, and the normal quantile
    # of the bootstrap is some 3 % below that of t
    expect_equal(half(boot), half(delta), tolerance = 0.15)
    expect_equal(boot$std.error, delta$std.error, tolerance = 0.15)
    expect_equal(profile$note, delta$note)
  }
  ask <- function(...) as.data.frame(temp_for(f, c(10, 30), hardness = 110, ...))
  width <- function(x) x$conf.high - x$conf.low
  expect_equal(width(ask(method = "profile")), width(ask()), tolerance = 0.05)
  expect_equal(width(ask(method = "bootstrap", n_resamples = 200, seed = 2)), width(ask()), tolerance = 0.2)
  expect_identical(ask(method = "bootstrap", n_resamples = 20, seed = 2),
                   ask(method = "bootstrap", n_resamples = 20, seed = 2))
})

test_that("at the ends a refit by nls() with the time fixed has risen by the threshold", {
  f <- regular_fit()
  d <- f$readings
  at <- as.data.frame(time_to(f, temp_c = 350, method = "profile", level = 0.9))
  data <- data.frame(h = d$hardness, t = d$time_min, e = inverse_temperature(d$temp_k - 273.15, 350))
  held <- function(t50) {
    m <- nls(h ~ hw + (hs - hw) * (1 - exp(-log(2) * (t / t50 * exp(q * e))^n)), data,
             start = list(hw = 160, hs = 80, q = 140, n = 1.6), control = nls.control(tol = 1e-8))
    deviance(m)
  }
  variance <- f$between / f$df_interval
  rise <- qt(0.95, f$df_interval)^2 * variance
  expect_equal(held(at$conf.low) - deviance(f), rise, tolerance = 1e-4)
  expect_equal(held(at$conf.high) - deviance(f), rise, tolerance = 1e-4)
  expect_equal(held(at$time_min) - deviance(f), 0, tolerance = 1e-6)
  # the same region seen from the temperature: at an end of one the other is at its end too
  back <- as.data.frame(temp_for(f, at$conf.low, method = "profile", level = 0.9))
  expect_equal(back$conf.low, 350, tolerance = 1e-5)
  back <- as.data.frame(temp_for(f, at$conf.high, method = "profile", level = 0.9))
  expect_equal(back$conf.high, 350, tolerance = 1e-5)
})

test_that("a fraction of the plain model has the interval of ln k", {
  # ln t of X = 1 - 1/e at the reference temperature is -ln k_ref
  for (model in c("jmak", "jmak_incubation")) {
    f <- quietly_fitted(with_test_seed(62, made_readings(sd_step = 0.5)), model,
                        se = "cluster", fixed = if (model == "jmak_incubation") c(theta0 = 0))
    a <- time_to(f, fraction = 1 - exp(-1), temp_c = f$temp_ref_c, method = "profile")
    expect_equal(-log(c(a$conf.high, a$conf.low)),
                 unname(confint(f, "ln_k_ref", method = "profile")[1L, ]), tolerance = 1e-5)
  }
})

test_that("recovery, hardening and histories are followed as well", {
  skip_on_cran()
  bell <- bell_readings()
  for (model in c("recovery_jmak", "hardening_jmak")) {
    f <- quietly_fitted(bell, model)
    a <- time_to(f, hardness = 100, temp_c = 330, method = "profile")
    expect_true(a$conf.low < a$time_min && a$time_min < a$conf.high)
    expect_lt(log(a$conf.high / a$conf.low), 0.5)
  }
  constant <- do.call(rbind, lapply(c(290, 330, 370), function(t) {
    data.frame(specimen = paste0("piece-", t), time_s = c(0, 7200), temp_c = t)
  }))
  d <- with_test_seed(61, made_readings(sd_step = 1))
  along <- fit_softening(d, se = "steps", history = constant)
  plain <- fit_softening(d, se = "steps")
  ask <- function(f) as.data.frame(time_to(f, temp_c = 330, method = "profile"))
  expect_equal(ask(along), ask(plain), tolerance = 1e-5)
})

test_that("intervals are open where the readings give only a bound", {
  f <- open_fit()
  expect_equal(f$states[["q_kj_mol"]], "only a lower limit")
  a <- as.data.frame(quiet_answer(time_to(f, temp_c = c(250, 300, 350, 420), method = "profile")))
  expect_equal(a$conf.high[1L], Inf)
  expect_equal(a$conf.low[3:4], c(0, 0))
  expect_true(all(is.finite(unlist(a[2L, c("conf.low", "conf.high")]))))
  expect_match(a$note[1L], "at least .* min: no upper limit")
  expect_match(a$note[4L], "at most .* min: no lower limit")
  expect_lt(a$conf.high[4L], 5)
  expect_true(all(is.na(time_to(f, temp_c = c(250, 420), method = "delta")$conf.low)))
  t <- as.data.frame(quiet_answer(temp_for(f, c(1, 60), method = "profile")))
  # however large the energy, half softening in 1 min needs more than the 300 C of 28 min
  expect_equal(t$conf.low[1L], 300, tolerance = 1e-3)
  expect_equal(t$conf.high[2L], 300, tolerance = 1e-3)
})

test_that("what cannot be answered is an error or NA, not a guess", {
  f <- regular_fit()
  expect_warning(a <- time_to(f, hardness = 20, method = "profile"), class = "softanneal_warning_outside")
  expect_true(all(is.na(a$conf.low)))
  expect_warning(time_to(f, hardness = c(20, 100), method = "bootstrap", n_resamples = 5, seed = 1),
                 class = "softanneal_warning_outside")
  huber <- quietly_fitted(with_test_seed(61, made_readings(sd_step = 1)), loss = "huber")
  expect_error(time_to(huber, method = "profile"), class = "softanneal_error_model")
  held <- quietly_fitted(with_test_seed(61, made_readings(sd_step = 1)), fixed = c(ln_k_ref = -2.5))
  expect_error(temp_for(held, 10, method = "profile"), class = "softanneal_error_model")
  expect_error(time_to(f, method = "exact"), class = "softanneal_error_argument")
  expect_error(time_to(f, seed = 1), class = "softanneal_error_argument")
  expect_error(time_to(f, method = "bootstrap", n_resamples = 0), class = "softanneal_error_range")
  one <- quietly_fitted(with_test_seed(61, made_readings(temps = 330)))
  expect_warning(a <- time_to(one, temp_c = c(330, 350), method = "profile"),
                 class = "softanneal_warning_outside")
  expect_true(is.finite(a$conf.low[1L]) && is.na(a$conf.low[2L]))
  expect_warning(b <- time_to(one, temp_c = c(330, 350), method = "bootstrap", n_resamples = 50, seed = 1),
                 class = "softanneal_warning_outside")
  expect_equal(log(b$conf.high[1L] / b$conf.low[1L]), log(a$conf.high[1L] / a$conf.low[1L]),
               tolerance = 0.35)
})

test_that("by default an answer that leans on an open parameter has the profile and no best value", {
  f <- open_fit()
  w <- expect_warning(a <- time_to(f, temp_c = c(250, 300, 420)), "2 of 3 times are NA",
                      class = "softanneal_warning_outside")
  expect_match(conditionMessage(w), "over before the first reading")
  expect_match(conditionMessage(w), "temperature between")
  p <- suppressWarnings(time_to(f, temp_c = c(250, 300, 420), method = "profile"))
  expect_identical(a$method[c(1L, 3L)], c("profile", "profile"))
  expect_equal(a[c(1L, 3L), c("conf.low", "conf.high")], p[c(1L, 3L), c("conf.low", "conf.high")])
  expect_identical(is.na(a$time_min), c(TRUE, FALSE, TRUE))
  expect_true(all(is.na(a$std.error[c(1L, 3L)])))
  # where all is determined and the likelihood agrees with the delta method, that one stands
  g <- regular_fit()
  expect_identical(unique(time_to(g)$method), "delta")
  expect_identical(as.data.frame(time_to(g)), as.data.frame(time_to(g, method = "delta")))
  huber <- quietly_fitted(with_test_seed(61, made_readings(sd_step = 1)), loss = "huber")
  expect_identical(unique(time_to(huber)$method), "delta")
})

test_that("the band of an open curve is the profile of its hardness", {
  f <- open_fit()
  at <- data.frame(temp_c = c(300, 360, 420, 420), time_min = c(20, 2, 1, 40))
  b <- quiet_answer(predict(f, at, interval = "confidence"))
  d <- f$readings
  e <- inverse_temperature(d$temp_k - 273.15, f$temp_ref_c)
  # at an end: all curves through that hardness there, by a general minimiser from several starts,
  # levels by linear least squares with the tie as one reading of large weight
  tied <- function(temp, time, h) {
    own <- inverse_temperature(temp, f$temp_ref_c)
    low <- inverse_temperature(300, f$temp_ref_c)
    sum_of <- function(p) {
      left <- function(e, t) exp(-(exp(p[3L] + p[2L] * e) * t)^exp(p[1L]))
      s <- left(e, d$time_min)
      s0 <- left(own, time)
      if (!all(is.finite(c(s, s0)))) return(1e10)
      r <- .lm.fit(rbind(cbind(s, 1 - s), 1e4 * c(s0, 1 - s0)), c(d$hardness, 1e4 * h))$residuals
      sum(r[seq_along(s)]^2)
    }
    k300 <- f$par[["ln_k_ref"]] + f$par[["q_kj_mol"]] * low
    min(vapply(c(80, 150, 400), function(q) {
      o <- optim(c(log(f$par[["n"]]), q, k300 - q * low), sum_of,
                 control = list(maxit = 4000, parscale = c(0.1, 20, 0.5), reltol = 1e-13))
      optim(o$par, sum_of, control = list(maxit = 4000, reltol = 1e-13))$value
    }, 0))
  }
  rise <- qt(0.975, f$df_interval)^2 * f$between / f$df_interval
  for (k in 2:3) {
    for (end in c("lwr", "upr")) {
      expect_equal((tied(at$temp_c[k], at$time_min[k], b[k, end]) - deviance(f)) / rise, 1,
                   tolerance = 0.01)
    }
  }
  new <- quiet_answer(predict(f, at, interval = "prediction"))
  expect_true(all(new[, "lwr"] < b[, "lwr"] & b[, "upr"] < new[, "upr"]))
  expect_identical(is.na(b[, "fit"]), is.na(new[, "fit"]))
  expect_false(anyNA(b[c(1L, 4L), "fit"]))
  # a regular fit keeps its bands
  g <- regular_fit()
  p <- predict(g, at[1L, ], interval = "confidence", se.fit = TRUE)
  expect_equal(unname(p$fit[1L, "upr"] - p$fit[1L, "fit"]), qt(0.975, p$df) * p$se.fit)
})

test_that("windows, plots and reports keep to what is possible", {
  skip_on_cran()
  f <- open_fit()
  w <- process_window(f, c(90, 120), temp_c = c(300, 360, 420), time_min = c(2, 10, 40))
  expect_false(anyNA(w$probability))
  # 2 min at 360 and 420: anything between the plateaus is possible, so nothing is likely
  open <- w$time_min == 2 & w$temp_c > 300
  expect_true(all(w$probability[open] < 0.9))
  expect_false(any(w$inside[open]))
  p <- ggplot2::ggplot_build(ggplot2::autoplot(f))
  expect_true(max(p$data[[1L]]$ymax) > min(p$data[[1L]]$ymin) + 20)
  line <- ggplot2::ggplot_build(plot_arrhenius(f))
  expect_true(any(is.infinite(line$data[[1L]]$ymax)))
  expect_match(ggplot2::get_alt_text(plot_arrhenius(f)), "at least .* kJ/mol")
  expect_output(print(f), "What would settle it")
  expect_output(print(summary(f)), "at most .*no lower limit")
})

test_that("an answer that leans on an open parameter has no standard error", {
  t <- quiet_answer(temp_for(open_fit(), c(1, 60)))
  expect_true(all(is.na(t$std.error[t$method == "profile"])))
  expect_true("profile" %in% t$method)
})

test_that("a plan that cannot fix the energy says so instead of a number", {
  guess <- plan_guess(recryst_1h_c = 330)
  plan <- plan_anneal(c(350, 450), c(10, 20, 40, 80), guess)
  q <- as.data.frame(tidy(plan))
  q <- q[q$term == "q_kj_mol", ]
  expect_true(is.na(q$std.error) || q$std.error < 2000)
  expect_output(print(plan), "will not be determined")
})

test_that("an answer far out with an open energy has no interval of no width", {
  truth <- c(h_worked = 165, h_soft = 80, t50_rex_min = 40, n = 1.3, q_kj_mol = 150)
  for (seed in c(5, 23)) {
    r <- simulate_readings(truth, temp_c = c(350, 450), time_min = c(0, 10, 20, 40, 80), n_readings = 5,
                           scale = "HRB", temp_ref_c = 350, sd = bench_errors(), seed = seed)
    a <- suppressWarnings(time_to(quietly_fitted(r), temp_c = c(350, 440, 450, 460)))
    expect_gt(min(log(a$conf.high / a$conf.low)), 0.1)
    expect_true(a$conf.low[3L] < 0.73 && a$conf.high[3L] > 0.73) # the true time
    expect_true(is.na(a$time_min[3L]))
  }
})

test_that("the end of an answer far out moves steadily with the level", {
  truth <- c(h_worked = 165, h_soft = 80, t50_rex_min = 40, n = 1.3, q_kj_mol = 150)
  for (seed in c(5, 7)) { # a step past the range searched once hid the end at some levels
    r <- simulate_readings(truth, temp_c = c(350, 450), time_min = c(0, 10, 20, 40, 80), n_readings = 5,
                           scale = "HRB", temp_ref_c = 350, sd = bench_errors(), seed = seed)
    fit <- quietly_fitted(r)
    high <- vapply(c(0.5, 0.8, 0.9, 0.92, 0.95, 0.96, 0.99), function(level) {
      suppressWarnings(time_to(fit, temp_c = 450, level = level))$conf.high
    }, 0)
    expect_true(all(is.finite(high)))
    expect_true(all(diff(high) > 0))
    expect_lt(max(high), 10) # softening was over before the first reading, at 10 min
  }
})

test_that("a hardness below the best soft level is answered by \"at least\" where that level is open", {
  d <- with_test_seed(5, made_readings(temps = c(270, 290, 310), times = c(0, 4, 8, 16, 32), half_min = 12,
                                       sd_step = 0.5))
  fit <- quietly_fitted(d, se = "steps")
  expect_identical(fit$states[["h_soft"]], "only an upper limit")
  soft <- coef(fit)[["h_soft"]]
  at <- soft + c(4, -1, -10)
  expect_warning(t <- time_to(fit, hardness = at, temp_c = 310), "are NA",
                 class = "softanneal_warning_outside")
  expect_identical(t$conf.high[2:3], c(Inf, Inf))
  expect_true(all(diff(t$conf.low) > 0)) # lower targets later
  expect_match(t$note[2:3], "at least .* min: no upper limit .*; not reached by the best curve")
  # a curve held at a lower soft level is one of those as good: it gets there after that end
  held <- quietly_fitted(d, se = "steps", fixed = c(h_soft = soft - 15))
  expect_lt(deviance(held) / deviance(fit), 1.1)
  reached <- suppressWarnings(time_to(held, hardness = at[3L], temp_c = 310))
  expect_gt(reached$time_min, t$conf.low[3L])
  warm <- suppressWarnings(temp_for(fit, 32, hardness = at))
  expect_identical(warm$conf.high[2:3], c(Inf, Inf))
  expect_true(all(diff(warm$conf.low) > 0))
  # above the limit of the profile nothing changes: beyond reach is beyond reach
  expect_match(suppressWarnings(time_to(fit, hardness = 170, temp_c = 310))$note, "as rolled")
})

test_that("no upper end where a soft level as good as the best lies above the target", {
  # hardness read at 290, 310 and 330 degrees C up to 8 min; the soft level may be 148 HV
  d <- data.frame(
    specimen = rep(c("A", "B", "C"), each = 12), temp_c = rep(c(290, 310, 330), each = 12),
    time_min = rep(rep(c(0, 2, 4, 8), each = 3), 3), scale = "HV",
    hardness = c(167, 165, 166, 164, 166, 165, 164, 163, 165, 162, 164, 163,
                 165, 166, 164, 164, 162, 163, 161, 162, 160, 157, 158, 156,
                 166, 165, 167, 162, 161, 163, 155, 156, 157, 144, 145, 143))
  fit <- quietly_fitted(d)
  end <- fit$limits["h_soft", "upper"]
  expect_identical(fit$states[["h_soft"]], "only an upper limit")
  at <- end + c(-20, -5, -0.5)
  t <- suppressWarnings(time_to(fit, hardness = at, temp_c = 330), "softanneal_warning_outside")
  expect_identical(t$conf.high, rep(Inf, 3L))
  expect_true(all(is.na(t$time_min)))
  k <- suppressWarnings(temp_for(fit, time_min = 60, hardness = at), "softanneal_warning_outside")
  expect_identical(k$conf.high, rep(Inf, 3L))
  # as the curve itself says: above the target for ever
  late <- suppressWarnings(predict(fit, data.frame(temp_c = 330, time_min = 1e5), interval = "confidence"))
  expect_true(all(late[, "upr"] >= at))
  expect_false(any(may_stay_above(fit, end + 0.5, "hardness", 0.95)))
  expect_identical(may_stay_above(fit, end - 0.5, "softening", 0.95), FALSE)
  each <- suppressWarnings(fit_each(cbind(d, lot = "a"), lot))
  t <- suppressWarnings(time_to(each, hardness = at[1L], temp_c = 330))
  expect_identical(t$conf.high, Inf)
})

test_that("a soft level seen at one temperature has its profile, and targets within that an answer", {
  for (seed in c(2, 19, 39)) { # linear intervals: 104 to 134, 104 to 129, 108 to 126 HV; true level 80
    d <- with_test_seed(seed, made_readings(temps = c(270, 290, 310), times = c(0, 4, 8, 16, 32),
                                            half_min = 12, sd_step = 1.5))
    fit <- quietly_fitted(d)
    expect_identical(fit$states[["h_soft"]], "determined")
    soft <- coef(fit)[["h_soft"]]
    # least squares of the step means: the level 95 is among those as good
    m <- aggregate(hardness ~ time_min + temp_c, d, mean)
    m$e <- (1 / (m$temp_c + 273.15) - 1 / 573.15) / 8.314462618e-3
    sum_at <- function(level) {
      curve <- function(p) level + (p[1L] - level) * exp(-(exp(p[2L] - p[3L] * m$e) * m$time_min)^exp(p[4L]))
      stats::nlminb(c(160, -3.5, 140, 0.5), function(p) sum((m$hardness - curve(p))^2))$objective
    }
    rise <- (sum_at(95) - sum_at(soft)) / (sum_at(soft) / (nrow(m) - 5))
    expect_lt(rise, qt(0.975, nrow(m) - 5)^2)
    ends <- confint(fit)["h_soft", ]
    expect_lt(ends[[1L]], 80) # holds the true level too
    expect_lt(ends[[2L]] - soft, 0.5 * (soft - ends[[1L]]))
    t <- suppressWarnings(time_to(fit, hardness = soft - 5, temp_c = 310), "softanneal_warning_outside")
    expect_identical(t$conf.high, Inf)
    expect_match(t$note, "not reached by the best curve")
    # a curve at the true level, as good, is there after that end
    held <- quietly_fitted(d, fixed = c(h_soft = 80))
    reached <- suppressWarnings(time_to(held, hardness = soft - 5, temp_c = 310))
    expect_gt(reached$time_min, t$conf.low)
    # below the interval nothing changes
    none <- suppressWarnings(time_to(fit, hardness = ends[[1L]] - 1, temp_c = 310))
    expect_true(is.na(none$conf.low))
  }
})
