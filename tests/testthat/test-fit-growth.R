# Softening by grain growth after recrystallisation.

# Readings of a known truth: growth from the start of the anneal, or from 99 % recrystallised.
grown_readings <- function(m = 2, sd = 0.5, dh_grow = 40, rate = 0.5, energy = 150, late = FALSE, n = 4) {
  d <- made_readings(temps = c(330, 370, 410, 450), times = c(0, 2, 4, 8, 16, 32, 64, 128), n = n,
                     sd_reading = 0)
  k <- arrhenius_rate(d$temp_c, jmak_time(0.5, 1, 1.6) / 12, 330, 140)
  x <- jmak_fraction(d$time_min, k, 1.6)
  after <- pmax(d$time_min - if (late) jmak_time(0.99, k, 1.6) else 0, 0)
  grown <- arrhenius_rate(d$temp_c, rate, 410, energy) * after
  soft <- 80 - dh_grow * (1 - (1 + grown)^(-1 / (2 * m)))
  d$hardness <- 160 * (1 - x) + x * soft + stats::rnorm(nrow(d), sd = sd)
  d
}

growth_fit <- function(..., m = 2) {
  quietly_fitted(with_test_seed(91, grown_readings(m = m)), ..., growth_exponent = m)
}

test_that("exact readings give the true parameters back for each exponent", {
  skip_on_cran()
  truth <- c(h_worked = 160, h_soft = 80, n = 1.6, q_kj_mol = 140, dh_grow = 40, ln_k_grow = log(0.5),
             q_grow_kj_mol = 150)
  for (m in 2:4) {
    f <- quietly_fitted(grown_readings(m, sd = 0), growth_exponent = m, temp_ref_c = 410)
    expect_equal(coef(f)[names(truth)], truth, tolerance = 1e-6)
    # the wrong exponent fits worse
    other <- quietly_fitted(grown_readings(m, sd = 0), growth_exponent = if (m == 2) 3 else 2)
    expect_gt(deviance(other), deviance(f) + 1e-6)
  }
})

test_that("the textbook law of growth and Hall-Petch are behind the curve", {
  # 45 + 35 d^(-1/2) with d^3 = 1 + K t, both from their own functions
  k <- 0.03
  t <- c(0, 10, 100, 1000)
  d <- (1 + k * t)^(1 / 3)
  code <- 2L * 32L
  par <- c(160, 80, 30, 1, 0, 35, log(k), 0) # recrystallised at once
  h <- .Call(C_sa_call_hardness, code, log(t[-1L]), rep(0, 3), par)[, 1L]
  expect_equal(h, 45 + 35 / sqrt(d[-1L]), tolerance = 1e-12)
})

test_that("nls() finds the same fit and errors", {
  d <- with_test_seed(92, grown_readings(3))
  f <- quietly_fitted(d, growth_exponent = 3, se = "model")
  d$e <- inverse_temperature(d$temp_c, f$temp_ref_c)
  ref <- nls(hardness ~ (hw - hs + fa * (1 - (1 + exp(lg + qg * e) * time_min)^(-1 / 6))) *
               exp(-(exp(lk + q * e) * time_min)^n) + hs -
               fa * (1 - (1 + exp(lg + qg * e) * time_min)^(-1 / 6)), d,
             start = list(hw = 160, hs = 80, lk = f$par[["ln_k_ref"]], n = 1.6, q = 140, fa = 40,
                          lg = f$par[["ln_k_grow"]], qg = 150))
  expect_equal(deviance(f), deviance(ref), tolerance = 1e-8)
  expect_equal(coef(f), coef(ref), tolerance = 1e-4, ignore_attr = TRUE)
  expect_equal(sqrt(diag(vcov(f))), coef(summary(ref))[, 2L], tolerance = 1e-3, ignore_attr = TRUE)
  plain <- quietly_fitted(d, se = "model")
  a <- anova(plain, f)
  expect_equal(rownames(a), c("jmak", "jmak, grain growth"))
  expect_equal(a[["F value"]][2L], ((deviance(plain) - deviance(ref)) / 3) /
                 (deviance(ref) / (nrow(d) - 8)), tolerance = 1e-6)
})

test_that("derivatives agree with numDeriv", {
  skip_if_not_installed("numDeriv")
  extra <- list(NULL, 0.3, c(6, -1, 110), c(6, -1, 110, 0.3), c(5, -2, 60), c(6, -1, 110, 5, -2, 60))
  e <- inverse_temperature(rep(c(330, 380, 430), each = 4), 380)
  times <- rep(c(0, 3, 14, 55), 3)
  for (k in seq_along(extra)) {
    late <- k %in% c(2L, 4L) # theta0 stands last
    x <- extra[[k]]
    par <- c(160, 80, -2, 1.6, 140, if (late) x[-length(x)] else x, 35, -1.5, 170,
             if (late) x[length(x)])
    code <- k - 1L + 32L * 2L
    value <- function(b) .Call(C_sa_call_hardness, code, log(times), e, b)
    expect_equal(value(par)[, -1L], numDeriv::jacobian(function(b) value(b)[, 1L], par),
                 tolerance = 1e-6, label = model_names()[k])
    ask <- function(b) .Call(C_sa_call_time_to, code, e, rep(c(120, 70, 55), 4), 0L, b)
    expect_equal(ask(par)[, -1L], numDeriv::jacobian(function(b) ask(b)[, 1L], par), tolerance = 1e-6)
  }
})

test_that("intervals cover the truth as often as they say", {
  skip_on_cran()
  truth <- c(h_soft = 80, dh_grow = 40, q_grow_kj_mol = 150)
  covered <- vapply(1:40, function(k) {
    i <- confint(quietly_fitted(with_test_seed(950 + k, grown_readings(n = 2)), growth_exponent = 2,
                                se = "model"))[names(truth), ]
    i[, 1L] < truth & truth < i[, 2L]
  }, logical(3L))
  # h_soft and fall go together: 80 near-independent trials, fewer than 68 of 80 once in 1e4
  expect_gte(sum(covered[c(1L, 3L), ]), 68)
})

test_that("every model takes growth, with strain as well, and the methods know it", {
  skip_on_cran()
  d <- with_test_seed(91, grown_readings())
  f <- growth_fit()
  for (model in model_names()) {
    g <- growth_fit(model)
    expect_true(g$convergence$converged, label = model)
    # of another shape: not an extension of the plain model
    if (model == "austin_rickett") next
    expect_lte(deviance(g), deviance(f) * (1 + 1e-8), label = model)
  }
  expect_output(print(f), "grain growth, exponent m = 2")
  expect_equal(predict(f, d), fitted(f))
  expect_equal(unname(unlist(f$units)[c("dh_grow", "q_grow_kj_mol")]), c("HV", "kJ/mol"))
  two <- rbind(cbind(d, strain = 0.4), cbind(transform(d, hardness = hardness * (0.8 / 0.4)^0.1 *
                                                         (time_min == 0) + hardness * (time_min > 0)),
                                             strain = 0.8))
  both <- quietly_fitted(two, growth_exponent = 2, strain = strain)
  expect_true(all(c("k_strain", "dh_grow") %in% names(coef(both))))
  expect_true(both$convergence$converged)
  expect_s3_class(ggplot2::autoplot(f), "ggplot")
  expect_s3_class(plot_arrhenius(f), "ggplot")
  draws <- resample_fit(f, n_resamples = 60, seed = 1)$estimates
  expect_equal(sd(draws[, "q_grow_kj_mol"]), sqrt(vcov(f)["q_grow_kj_mol", "q_grow_kj_mol"]),
               tolerance = 0.4)
})

test_that("answers go on below the hardness of completion", {
  f <- growth_fit()
  a <- as.data.frame(time_to(f, hardness = c(100, 72), temp_c = 370))
  expect_equal(suppressWarnings(predict(f, data.frame(temp_c = 370, time_min = a$time_min))),
               c(100, 72), tolerance = 1e-9)
  expect_equal(temp_for(f, a$time_min[2L], hardness = 72)$temp_c, 370, tolerance = 1e-8)
  b <- as.data.frame(time_to(f, hardness = 72, temp_c = 370, method = "bootstrap",
                             n_resamples = 200, seed = 2))
  expect_equal(log(b$conf.high / b$conf.low), log(a$conf.high[2L] / a$conf.low[2L]), tolerance = 0.25)
  p <- as.data.frame(time_to(f, hardness = c(100, 72), temp_c = 370, method = "profile"))
  expect_equal(log(p$conf.high[1L] / p$conf.low[1L]), log(a$conf.high[1L] / a$conf.low[1L]),
               tolerance = 0.1)
  expect_true(is.na(p$conf.low[2L]))
  expect_match(p$note[2L], "no profile")
  expect_warning(time_to(f, hardness = 30, temp_c = 370), class = "softanneal_warning_outside")
})

test_that("growth follows a temperature history", {
  constant <- do.call(rbind, lapply(c(330, 370, 410, 450), function(t) {
    data.frame(specimen = paste0("piece-", t), time_s = c(0, 9000), temp_c = t)
  }))
  d <- with_test_seed(91, grown_readings())
  along <- quietly_fitted(d, growth_exponent = 2, history = constant, temp_ref_c = 400)
  plain <- quietly_fitted(d, growth_exponent = 2, temp_ref_c = 400)
  expect_equal(coef(along), coef(plain), tolerance = 1e-5)
  s <- soften(data.frame(time_s = c(0, 1800), temp_c = 430), plain)
  expect_equal(s$hardness[nrow(s)], predict(plain, data.frame(temp_c = 430, time_min = 30)),
               tolerance = 1e-8, ignore_attr = TRUE)
})

test_that("little growth gives no number for its fall, and a fixed fall helps", {
  d <- with_test_seed(93, grown_readings(rate = 0.002, sd = 1))
  f <- quietly_fitted(d, growth_exponent = 2)
  expect_true(any(c("not determined", "only a lower limit", "only an upper limit") %in%
                    f$states[c("dh_grow", "ln_k_grow")]))
  i <- identifiability(f)
  expect_match(i$reason[i$term == "dh_grow"], "product of the fall and its rate|no growth")
  held <- quietly_fitted(d, growth_exponent = 2, fixed = c(dh_grow = 40))
  expect_equal(coef(held)[["dh_grow"]], 40)
  expect_equal(held$states[["dh_grow"]], "fixed")
})

test_that("growth that begins late is described closely enough by growth from the start", {
  # recrystallisation about 35 times as fast as growth
  f <- quietly_fitted(grown_readings(rate = 0.05, late = TRUE, sd = 0), growth_exponent = 2, temp_ref_c = 410)
  expect_lt(max(abs(residuals(f))), 0.5)
  expect_equal(coef(f)[["h_soft"]], 80, tolerance = 0.03)
  # and 3.5 times: the curve still holds to 1 HV, but h_soft is high by the early growth
  near <- quietly_fitted(grown_readings(late = TRUE, sd = 0), growth_exponent = 2, temp_ref_c = 410)
  expect_lt(max(abs(residuals(near))), 1)
  expect_gt(coef(near)[["h_soft"]], 85)
})

test_that("bad growth is refused, and what needs a plain fit says so", {
  d <- with_test_seed(91, grown_readings())
  expect_error(fit_softening(d, growth_exponent = 1), class = "softanneal_error_range")
  expect_error(fit_softening(d, growth_exponent = 2.5), class = "softanneal_error_argument")
  expect_error(fit_softening(d, growth_exponent = "fast"), class = "softanneal_error_argument")
  expect_error(plan_guess(fit = growth_fit()), class = "softanneal_error_model")
  expect_error(fit_softening(d[d$temp_c == 330 & d$time_min < 20, ], growth_exponent = 2),
               class = "softanneal_error_too_few")
})

test_that("hardness levels that are fixed stay where they are fixed", {
  # the levels are solved for in the search for starting values; held ones must not move
  d <- with_test_seed(94, made_readings())
  d$e <- inverse_temperature(d$temp_c, 330)
  f <- quietly_fitted(d, fixed = c(h_soft = 78), temp_ref_c = 330, se = "cluster")
  expect_equal(coef(f)[["h_soft"]], 78)
  ref <- nls(hardness ~ 78 + (hw - 78) * exp(-(exp(lk + q * e) * time_min)^n), d,
             start = list(hw = 160, lk = -2.8, n = 1.6, q = 140))
  expect_equal(deviance(f), deviance(ref), tolerance = 1e-8)
  expect_equal(coef(f)[c("h_worked", "ln_k_ref", "n", "q_kj_mol")], coef(ref), tolerance = 1e-4,
               ignore_attr = TRUE)
  g <- quietly_fitted(d, "recovery_jmak", fixed = c(dh_rec = 3, h_worked = 162))
  expect_equal(coef(g)[c("dh_rec", "h_worked")], c(dh_rec = 3, h_worked = 162))
})
