# Several cold reductions in one fit, and an exponent for each temperature.

made_strains <- function(strains = c(0.3, 0.6, 1.1), power = 1.8, hardening = 0.2, ...) {
  do.call(rbind, lapply(strains, function(strain) {
    d <- made_readings(half_min = 12 * (strain / 0.6)^-power, worked = 160 * (strain / 0.6)^hardening,
                       ...)
    d$specimen <- paste0(d$specimen, "-", strain)
    d$strain <- strain
    d
  }))
}

strain_fit <- function(...) {
  quietly_fitted(with_test_seed(81, made_strains(sd_step = 0.5)), ..., strain = strain,
                 strain_ref = 0.6, se = "cluster")
}

test_that("exact readings give the true parameters back", {
  f <- quietly_fitted(made_strains(sd_reading = 0), strain = strain, strain_ref = 0.6)
  expect_equal(coef(f)[c("h_worked", "h_soft", "n", "q_kj_mol", "k_strain", "h_strain")],
               c(h_worked = 160, h_soft = 80, n = 1.6, q_kj_mol = 140, k_strain = 1.8,
                 h_strain = 0.2), tolerance = 1e-6)
  # 12 min to half softening at 330 C and the reference strain
  expect_equal(time_to(f, temp_c = 330, strain = 0.6)$time_min, 12, tolerance = 1e-6)
  # another reference changes only what holds at it
  g <- quietly_fitted(made_strains(sd_reading = 0), strain = strain)
  ref <- (0.3 * 0.6 * 1.1)^(1 / 3)
  expect_equal(g$readings$strain_ref, ref)
  expect_equal(coef(g)[["h_worked"]], 160 * (ref / 0.6)^0.2, tolerance = 1e-6)
  expect_equal(coef(g)[["ln_k_ref"]], coef(f)[["ln_k_ref"]] + 1.8 * log(ref / 0.6), tolerance = 1e-6)
})

test_that("intervals cover the truth as often as they say", {
  skip_on_cran()
  covered <- vapply(1:40, function(k) {
    f <- quietly_fitted(with_test_seed(800 + k, made_strains(sd_step = 1, n = 2)), strain = strain,
                        strain_ref = 0.6, se = "steps")
    i <- confint(f)[c("k_strain", "h_strain", "q_kj_mol"), ]
    i[, 1L] < c(1.8, 0.2, 140) & c(1.8, 0.2, 140) < i[, 2L]
  }, logical(3L))
  # 120 near-independent trials at 0.95: fewer than 105 happens once in 1e4
  expect_gte(sum(covered), 105)
})

test_that("nls() finds the same fit, with a level of its own for each of two reductions", {
  d <- with_test_seed(82, made_strains(c(0.4, 0.9), sd_step = 0.5))
  f <- quietly_fitted(d, strain = strain, se = "model")
  d$e <- inverse_temperature(d$temp_c, f$temp_ref_c)
  d$x <- log(d$strain / f$readings$strain_ref)
  d$low <- d$strain == 0.4
  ref <- nls(hardness ~ hs + (ifelse(low, h1, h2) - hs) * exp(-(exp(lk + q * e + s * x) * time_min)^n),
             d, start = list(h1 = 150, h2 = 170, hs = 80, lk = -2.5, n = 1.5, q = 130, s = 1.5))
  expect_equal(deviance(f), deviance(ref), tolerance = 1e-8)
  expect_equal(coef(f)[c("h_soft", "ln_k_ref", "n", "q_kj_mol", "k_strain")],
               coef(ref)[c("hs", "lk", "n", "q", "s")], tolerance = 1e-4, ignore_attr = TRUE)
  expect_equal(sqrt(diag(vcov(f)))[c("k_strain", "n")],
               coef(summary(ref))[c("s", "n"), 2L], tolerance = 1e-3, ignore_attr = TRUE)
  expect_equal(worked_hardness(f, c(0.4, 0.9)), unname(coef(ref)[c("h1", "h2")]), tolerance = 1e-5)
  # and a soft level for each
  d$hardness <- d$hardness + ifelse(d$low, 0, 4 * (1 - (d$hardness - 80) / 100))
  g <- quietly_fitted(d, strain = strain, se = "model", h_soft_by = "by strain")
  ref <- nls(hardness ~ ifelse(low, s1, s2) + (ifelse(low, h1 - s1, h2 - s2)) *
               exp(-(exp(lk + q * e + s * x) * time_min)^n),
             d, start = list(h1 = 150, h2 = 170, s1 = 80, s2 = 84, lk = -2.5, n = 1.5, q = 130, s = 1.5))
  expect_equal(deviance(g), deviance(ref), tolerance = 1e-8)
  expect_equal(soft_hardness(g, c(0.4, 0.9)), unname(coef(ref)[c("s1", "s2")]), tolerance = 1e-5)
  expect_equal(predict(g, data.frame(temp_c = 370, time_min = 1e4, strain = c(0.4, 0.9))) |>
                 suppressWarnings(), soft_hardness(g, c(0.4, 0.9)), tolerance = 1e-8)
  common <- quietly_fitted(d, strain = strain, se = "model")
  a <- anova(common, g)
  rss <- c(deviance(common), deviance(ref))
  expect_equal(a[["F value"]][2L], (rss[1L] - rss[2L]) / (rss[2L] / df.residual(ref)), tolerance = 1e-6)
  expect_identical(rownames(a)[2L], "jmak, h_soft by strain")
  half <- as.data.frame(time_to(g, temp_c = 330))
  middle <- (worked_hardness(g, half$strain) + soft_hardness(g, half$strain)) / 2
  expect_equal(predict(g, half), middle, tolerance = 1e-8)
  expect_equal(range(softened_fraction(g, soft_hardness(g, c(0.4, 0.9)), c(0.4, 0.9))), c(1, 1))
})

test_that("derivatives of every grouped model agree with numDeriv", {
  skip_if_not_installed("numDeriv")
  extra <- list(NULL, 0.3, c(6, -1, 110), c(6, -1, 110, 0.3), c(5, -2, 60), c(6, -1, 110, 5, -2, 60))
  place <- cbind(inverse_temperature(rep(c(290, 330, 370), each = 4), 330),
                 rep(c(-0.5, 0.4), 6), rep(0:2, each = 4))
  times <- rep(c(0, 3, 14, 55), 3)
  for (k in c(seq_along(extra), -3L)) { # below zero: with a soft level by strain
    soft <- k < 0L
    k <- abs(k)
    par <- c(160, 80, -2, 1.6, 140, 1.7, 0.2, if (soft) 0.15, 1.2, 2.1, extra[[k]])
    code <- k - 1L + 16L + (if (soft) 128L else 0L) + 2L * 256L
    value <- function(b) .Call(C_sa_call_hardness, code, log(times), place, b)
    expect_equal(value(par)[, -1L], numDeriv::jacobian(function(b) value(b)[, 1L], par),
                 tolerance = 1e-6, label = model_names()[k])
    for (kind in 0:2) {
      target <- rep(c(120, 0.4, 0.6)[kind + 1L], 12)
      ask <- function(b) .Call(C_sa_call_time_to, code, place, target, kind, b)
      expect_equal(ask(par)[, -1L], numDeriv::jacobian(function(b) ask(b)[, 1L], par),
                   tolerance = 1e-6)
    }
  }
})

test_that("every model takes strain, and every method knows it", {
  skip_on_cran()
  d <- with_test_seed(81, made_strains(sd_step = 0.5))
  plain <- strain_fit()
  for (model in model_names()) {
    f <- strain_fit(model)
    expect_true(f$convergence$converged, label = model)
    # of another shape: not an extension of the plain model
    if (model == "austin_rickett") next
    expect_lte(deviance(f), deviance(plain) * (1 + 1e-8), label = model)
  }
  expect_output(print(plain), "strains 0.3, 0.6, 1.1")
  expect_output(print(summary(plain)), "Strain")
  expect_equal(deparse(formula(plain)), "hardness ~ time_min + temp_c + strain")
  expect_equal(predict(plain, d), fitted(plain))
  expect_named(augment(plain)[1:6], c("specimen", "temp_c", "time_min", "hardness", "scale", "strain"))
  tau <- profile(plain, "k_strain", n_points = 3)
  expect_equal(tau$tau[c(1L, nrow(tau))] / qt(0.995, plain$df_interval), c(-1.05, 1.05),
               tolerance = 0.02)
  again <- suppressWarnings(resample_fit(plain, n_resamples = 60, seed = 4, type = "case"),
                            classes = "softanneal_warning_fit")$estimates # few steps
  expect_equal(sd(again[, "k_strain"]), sqrt(vcov(plain)["k_strain", "k_strain"]), tolerance = 0.4)
  m <- compare_models(d, c("jmak", "jmak_incubation"), strain = strain)
  expect_equal(m$model[1L], "jmak")
  expect_true(all(is.finite(m$cv_rmse)))
  a <- anova(quietly_fitted(d[setdiff(names(d), "strain")], se = plain$se), plain)
  expect_equal(a$Df[2L], 2)
  expect_lt(a[["Pr(>F)"]][2L], 1e-10)
  held <- strain_fit(fixed = c(k_strain = 1.8))
  expect_equal(coef(held)[["k_strain"]], 1.8)
  moved <- saveRDS(plain, path <- withr::local_tempfile())
  expect_equal(predict(readRDS(path), d[1:5, ]), predict(plain, d[1:5, ]))
})

test_that("answers come by strain", {
  f <- strain_fit()
  a <- as.data.frame(time_to(f, temp_c = c(300, 330)))
  expect_named(a, c("temp_c", "strain", "softening", "time_min", "std.error", "conf.low", "conf.high",
                    "method", "note"))
  expect_equal(a$strain, rep(c(0.3, 0.6, 1.1), each = 2))
  ratio <- coef(f)[["k_strain"]] * log(1.1 / 0.3)
  # softening = share of the way from each strain's own worked hardness, so only the rate differs
  expect_equal(log(a$time_min[2L] / a$time_min[6L]), ratio, tolerance = 1e-8)
  p <- as.data.frame(time_to(f, hardness = 100, temp_c = 330, strain = c(0.45, 2), method = "profile"))
  delta <- as.data.frame(time_to(f, hardness = 100, temp_c = 330, strain = c(0.45, 2)))
  expect_equal(log(p$conf.high / p$conf.low), log(delta$conf.high / delta$conf.low), tolerance = 0.15)
  expect_match(p$note[2L], "strain outside")
  t <- temp_for(f, 12, strain = 0.6)
  expect_equal(time_to(f, temp_c = t$temp_c, strain = 0.6)$time_min, 12, tolerance = 1e-8)
  w <- process_window(f, c(95, 120), strain = 0.6, n_points = 5)
  expect_equal(w$hardness, suppressWarnings(predict(f, cbind(as.data.frame(w), strain = 0.6))))
  expect_warning(predict(f, data.frame(temp_c = 330, time_min = 5, strain = 3)), "strain 0.3 to 1.1",
                 class = "softanneal_warning_extrapolation")
  expect_true(is.na(predict(f, data.frame(temp_c = 330, time_min = 5, strain = NA_real_))))
})

test_that("plots have a panel per strain", {
  skip_on_cran()
  f <- strain_fit()
  for (p in list(ggplot2::autoplot(f), plot_avrami(f))) {
    layout <- ggplot2::ggplot_build(p)$layout$layout
    expect_equal(as.character(layout$panel), c("Strain 0.3", "Strain 0.6", "Strain 1.1"))
  }
  expect_match(ggplot2::get_alt_text(ggplot2::autoplot(f)), "and strain 0.3")
  expect_equal(nrow(ggplot2::ggplot_build(plot_residuals(f))$layout$layout), 9L)
  # rates of each temperature alone lie on the line
  rates <- rates_by_temperature(f)
  line <- f$par[["ln_k_ref"]] + f$par[["q_kj_mol"]] * inverse_temperature(rates$temp_c, f$temp_ref_c)
  expect_true(all(abs(rates$ln_k - line) < 4 * rates$std.error))
})

test_that("bad strains are refused by name and row", {
  skip_on_cran()
  d <- with_test_seed(81, made_strains())
  fit <- function(d, ...) quietly_fitted(d, ..., strain = strain)
  expect_error(fit(d[names(d) != "strain"]), class = "softanneal_error_column")
  expect_error(fit(transform(d, strain = "hard")), class = "softanneal_error_column")
  expect_error(fit(transform(d, strain = replace(strain, 3, 0))), class = "softanneal_error_range")
  expect_error(fit(transform(d, strain = replace(strain, 3, Inf))), class = "softanneal_error_missing")
  expect_warning(f <- fit(transform(d, strain = replace(strain, 3, NA))),
                 class = "softanneal_warning_missing")
  expect_length(residuals(f), nrow(d))
  expect_error(fit(transform(d, strain = 0.5)), class = "softanneal_error_too_few")
  expect_warning(fit(transform(d, strain = strain / 10)), class = "softanneal_warning_assumption")
  expect_error(fit_softening(d, strain_ref = 0.5), class = "softanneal_error_argument")
  expect_error(fit(d, strain_ref = -1), class = "softanneal_error_range")
  expect_error(fit_softening(d, h_soft_by = "by strain"), class = "softanneal_error_argument")
  expect_error(fit(d, h_soft_by = "by strain", growth_exponent = 2), class = "softanneal_error_argument")
  logs <- data.frame(time_s = c(0, 9000), temp_c = 330)
  expect_error(fit(d, history = logs), class = "softanneal_error_argument")
  f <- fit(d)
  expect_error(predict(f, data.frame(temp_c = 330, time_min = 5)), class = "softanneal_error_column")
  expect_error(process_window(f, c(95, 120)), class = "softanneal_error_argument")
  expect_error(time_to(f, strain = -1), class = "softanneal_error_range")
  expect_error(time_to(quietly_fitted(d), strain = 1), class = "softanneal_error_argument")
  expect_error(soften(data.frame(time_s = c(0, 600), temp_c = 330), f), class = "softanneal_error_model")
  expect_error(plan_guess(fit = f), class = "softanneal_error_model")
})

test_that("one strain under way gives only a bound of its power", {
  # the heavier reduction is over before its first reading
  d <- with_test_seed(83, made_strains(c(0.3, 1.5), power = 4, times = c(0, 5, 10, 20, 40, 80),
                                       temps = c(310, 340)))
  f <- quietly_fitted(d, strain = strain)
  expect_equal(f$states[["k_strain"]], "only a lower limit")
  expect_true(is.na(vcov(f)["k_strain", "k_strain"]))
  expect_equal(f$limits["k_strain", "upper"], Inf, ignore_attr = TRUE)
  i <- identifiability(f)
  expect_match(i$reason[i$term == "k_strain"], "too few strains")
  expect_warning(a <- as.data.frame(time_to(f, temp_c = 310, method = "profile")),
                 class = "softanneal_warning_outside")
  expect_equal(a$conf.low[2L], 0)
  expect_match(a$note[2L], "no lower limit from the readings")
})

test_that("an exponent for each temperature is fitted and tested against one for all", {
  exact <- do.call(rbind, Map(function(t, n) made_readings(temps = t, exponent = n, sd_reading = 0),
                              c(310, 330, 350), c(1, 1.5, 2)))
  # half softening in 12 min at 330 C means another k for each n; so give k itself
  k <- arrhenius_rate(exact$temp_c, 0.06, 330, 140)
  n <- c(`310` = 1, `330` = 1.5, `350` = 2)[as.character(exact$temp_c)]
  exact$hardness <- 80 + 80 * exp(-(k * exact$time_min)^n)
  f <- fit_softening(exact, n_by = "by temperature", temp_ref_c = 330)
  expect_equal(coef(f), c(h_worked = 160, h_soft = 80, ln_k_ref = log(0.06), n_310 = 1,
                          q_kj_mol = 140, n_330 = 1.5, n_350 = 2), tolerance = 1e-6)
  d <- exact
  d$hardness <- d$hardness + with_test_seed(84, rnorm(nrow(d)))
  one <- fit_softening(d, se = "model")
  each <- fit_softening(d, se = "model", n_by = "by temperature")
  a <- anova(each, one)
  expect_equal(rownames(a), c("jmak", "jmak, n by temperature"))
  expect_equal(a$Df[2L], 2)
  expect_lt(a[["Pr(>F)"]][2L], 1e-4)
  # the same fit by nls(), and its F test
  d$e <- inverse_temperature(d$temp_c, one$temp_ref_c)
  d$g <- match(d$temp_c, c(310, 330, 350))
  ref <- nls(hardness ~ hs + (hw - hs) * exp(-(exp(lk + q * e) * time_min)^n[g]), d,
             start = list(hw = 160, hs = 80, lk = -2.8, q = 130, n = c(1.2, 1.5, 1.8)))
  ref_one <- nls(hardness ~ hs + (hw - hs) * exp(-(exp(lk + q * e) * time_min)^n), d,
                 start = list(hw = 160, hs = 80, lk = -2.8, q = 130, n = 1.5))
  expect_equal(coef(each)[c("n_310", "n_330", "n_350", "q_kj_mol")],
               coef(ref)[c("n1", "n2", "n3", "q")], tolerance = 1e-4, ignore_attr = TRUE)
  expect_equal(a[["F value"]][2L], anova(ref_one, ref)[["F value"]][2L], tolerance = 1e-5)
  expect_error(anova(each, quietly_fitted(d, "jmak_incubation")), class = "softanneal_error_model")
})

test_that("readings of one exponent give no sign of three", {
  skip_on_cran()
  # p values of 40 sets of independent readings are uniform
  p <- vapply(1:40, function(k) {
    d <- with_test_seed(900 + k, made_readings(temps = c(310, 330, 350), n = 1))
    anova(quietly_fitted(d, se = "model"),
          quietly_fitted(d, se = "model", n_by = "by temperature"))[["Pr(>F)"]][2L]
  }, 0)
  expect_gt(stats::ks.test(p, "punif")$p.value, 1e-3)
})

test_that("a fit with several exponents answers at its own temperatures only", {
  skip_on_cran()
  d <- with_test_seed(85, made_readings(temps = c(310, 330, 350), sd_step = 0.5))
  f <- quietly_fitted(d, n_by = "by temperature")
  expect_output(print(f), "Exponent n of its own")
  expect_warning(a <- time_to(f, temp_c = c(310, 320)), class = "softanneal_warning_outside")
  expect_equal(a$note[2L], "no exponent for this temperature")
  expect_true(is.na(a$time_min[2L]) && is.finite(a$time_min[1L]))
  p <- as.data.frame(time_to(f, method = "profile"))
  delta <- as.data.frame(time_to(f))
  expect_equal(log(p$conf.high / p$conf.low), log(delta$conf.high / delta$conf.low), tolerance = 0.4)
  expect_equal(predict(f, data.frame(temp_c = c(330, 320, NA), time_min = c(10, 10, 0)))[2:3],
               c(NA, f$par[["h_worked"]]))
  expect_error(temp_for(f, 10), class = "softanneal_error_model")
  expect_error(process_window(f, c(90, 120)), class = "softanneal_error_model")
  expect_s3_class(plot_avrami(f), "ggplot")
  expect_s3_class(ggplot2::autoplot(f), "ggplot")
  expect_equal(coef(quietly_fitted(d, n_by = "by temperature", fixed = c(n_330 = 1.6)))[["n_330"]],
               1.6)
  expect_error(quietly_fitted(d, n_by = "by temperature", fixed = c(n = 1.6)),
               class = "softanneal_error_argument")
  expect_error(quietly_fitted(d[d$temp_c == 310, ], n_by = "by temperature"),
               class = "softanneal_error_too_few")
  expect_error(fit_softening(d, n_by = "each"), class = "softanneal_error_argument")
  many <- made_readings(temps = seq(300, 365, 5), times = c(0, 10))
  expect_error(fit_softening(many, n_by = "by temperature"), class = "softanneal_error_argument")
})
