# Published values of time-temperature parameters, calorimeter peaks, fractions and lifetimes.

worked <- function(id, file = "worked_timetemp.csv") {
  table <- fact_table(file)
  table$recomputed[table$id == id]
}

test_that("LM1, LM2: textbook creep lives (seen), T = t + 273 there", {
  expect_match(worked("LM1"), "232.914 h", fixed = TRUE)
  expect_equal(larson_miller(1073 - 273.15, parameter_k = 24e3)$time_h, 232.914, tolerance = 3e-6)
  # 8760 h a year
  expect_equal(larson_miller(1000 - 273.15, parameter_k = 25e3)$time_h / 8760, 11.4155, tolerance = 1e-5)
})

test_that("LM3: constant of 24 creep ruptures", {
  creep <- fact_table("master_creep.csv")
  expect_identical(nrow(creep), 24L)
  expect_equal((creep$temp_c + 273.15) * 1.8, creep$temp_f + 459.67, tolerance = 1e-6)
  s <- log10(creep$stress)
  # criterion of the own fit in the facts: share of the scatter of P left by a quadratic in log
  # stress
  left <- function(c) {
    p <- larson_miller(creep$temp_c, time_h = creep$time_h, constant = c)$parameter_k
    stats::deviance(stats::lm(p ~ stats::poly(s, 2))) / sum((p - mean(p))^2)
  }
  expect_match(worked("LM3"), "= 23.5 (own fit)", fixed = TRUE)
  expect_equal(stats::optimize(left, c(5, 60))$minimum, 23.5, tolerance = 0.002)
  # least squares of log time is linear in C: the same as lm()
  creep$s <- s
  fit <- fit_master_curve(creep, s, time = time_h, time_unit = "h", errors_in = "time")
  kelvin <- creep$temp_c + 273.15
  line <- stats::lm(log10(creep$time_h) ~ I(1 / kelvin) + I(s / kelvin) + I(s^2 / kelvin))
  expect_equal(coef(fit)[["constant"]], -coef(line)[[1]], tolerance = 1e-8)
  expect_equal(vcov(fit)["constant", "constant"], vcov(line)[1, 1], tolerance = 1e-6)
  # the interval of C holds the value of the other criterion
  limits <- confint(fit, "constant")
  expect_true(limits[1] < 23.5 && 23.5 < limits[2])
  # a linear parameter has a quadratic profile: both intervals are one
  expect_equal(confint(fit, "constant", method = "profile"), limits, tolerance = 1e-5)
})

test_that("HJ2, HJ3: the constant in other units of time, and the ramp (tempering practice)", {
  expect_match(worked("HJ2"), "16.4437 s-based = 18.2218 min-based", fixed = TRUE)
  expect_equal(shift_constant(20, "h", "s"), 16.4437, tolerance = 1e-5)
  expect_equal(shift_constant(20, "h", "min"), 18.2218, tolerance = 1e-5)
  expect_match(worked("HJ3"), "0.21087 h", fixed = TRUE)
  # the formula printed in practice is an approximation, 5 to 15 % long
  expect_equal(0.21087 / ramp_hold(600, 100), 1.1, tolerance = 0.05)
})

test_that("a ramp counts as much as small steps of equal parameter add up to", {
  for (case in list(c(600, 100, 20), c(350, 20, 20), c(700, 600, 16))) {
    rate <- case[2L]
    temp <- seq(case[1L] / 2, case[1L], length.out = 5e4)
    step_h <- (temp[2L] - temp[1L]) / rate
    t <- step_h
    for (k in seq_along(temp)[-1L]) {
      # the time so far as one at the new temperature with the same parameter, then the step
      p <- (temp[k - 1L] + 273.15) * (case[3L] + log10(t))
      t <- 10^(p / (temp[k] + 273.15) - case[3L]) + step_h
    }
    expect_equal(ramp_hold(case[1L], rate, case[3L]), t, tolerance = 1e-3)
  }
  expect_identical(ramp_hold(c(600, NA), 100)[2L], NA_real_)
})

test_that("KI2: Kissinger's line on peaks derived from published rates of copper", {
  expect_match(worked("KI2"), "Kissinger slope Q=93.412", fixed = TRUE)
  peaks <- data.frame(rate_k_min = c(2.5, 5, 10, 20, 40),
                      peak_c = c(414.1297, 424.2138, 434.7838, 445.8748, 457.5253) - 273.15)
  fit <- fit_kissinger(peaks)
  # R = 8.314 there, four decimals of the peaks
  expect_equal(coef(fit)[["q_kj_mol"]], 93.412 * 8.31446261815324 / 8.314, tolerance = 1e-5)
  # the bias against the Q that made the peaks: 0.2 %
  expect_equal(coef(fit)[["q_kj_mol"]] / 93.63, 1 - 0.0023, tolerance = 5e-4)
})

test_that("AV6, AV8: exponents from two fractions (textbook, recomputed)", {
  two <- data.frame(temp_c = 600, time_min = c(12.6, 28.2), fraction = c(0.2, 0.8))
  for (method in c("direct", "double_log")) {
    fit <- suppressWarnings(fit_recrystallisation(two, method = method))
    expect_equal(coef(fit)[["n"]], 2.45254, tolerance = 1e-5)
    expect_equal(exp(coef(fit)[["ln_k_ref"]])^coef(fit)[["n"]], 4.4657e-4, tolerance = 1e-4)
  }
  steel <- data.frame(temp_c = 600, time_min = c(13.1, 29.1), fraction = c(0.2, 0.7))
  fit <- suppressWarnings(fit_recrystallisation(steel))
  expect_equal(coef(fit)[["n"]], 2.11191, tolerance = 1e-5)
  expect_equal(suppressWarnings(predict(fit, data.frame(temp_c = 600, time_min = 22.8))), 0.51285,
               tolerance = 1e-5)
})

test_that("AR3: lognormal lives of Device-A (Meeker and Escobar, Ex. 19.5; answer from memory)", {
  expect_match(worked("AR3", "worked_lifetimes.csv"),
               paste("b0=-13.46865 (se 2.8872), Ea=0.627853 (se 0.08284), sigma=0.977823,",
                     "loglik=-321.7028"),
               fixed = TRUE)
  lives <- fact_table("master_devicea.csv")
  fit <- fit_lifetime(lives, time_h, event = failed, weights = number)
  # kJ/mol to eV by the constant of the book, 11605 K/eV
  ev <- 8.31446261815324 * 11605 / 1000
  expect_equal(coef(fit)[["q_kj_mol"]] / ev, 0.627853, tolerance = 1e-5)
  expect_equal(sqrt(vcov(fit)["q_kj_mol", "q_kj_mol"]) / ev, 0.08284, tolerance = 1e-4)
  expect_equal(coef(fit)[["scale"]], 0.977823, tolerance = 1e-5)
  expect_equal(c(logLik(fit)), -321.7028, tolerance = 1e-6)
  b0 <- coef(fit)[["ln_t_ref"]] - coef(fit)[["q_kj_mol"]] * 1000 / 8.31446261815324 /
    (fit$temp_ref_c + 273.15)
  expect_equal(b0, -13.46865, tolerance = 1e-5)
  expect_identical(nobs(fit), 165)
})

test_that("AR4: exponential lives at three temperatures (Yang, Example 7.1; seen)", {
  expect_match(worked("AR4", "worked_lifetimes.csv"), "Ea=0.323193 eV; AF=3.46043", fixed = TRUE)
  lives <- data.frame(temp_c = rep(c(85, 100, 115), each = 2),
                      time_h = c(2385, 2537, 1655, 1738, 1025, 1163))
  # the published figure: straight line of the log mean lives
  means <- stats::aggregate(time_h ~ temp_c, lives, mean)
  line <- fit_arrhenius(means, time = time_h)
  per_ev <- 96.4853321 # kJ/mol in one eV a particle (CODATA 2018)
  expect_equal(coef(line)[["q_kj_mol"]] / per_ev, 0.323193, tolerance = 2e-4)
  af <- arrhenius_rate(70, 1, 35, coef(line)[["q_kj_mol"]])
  expect_equal(af, 3.46043, tolerance = 2e-3)
  # and by likelihood, close to it
  fit <- fit_lifetime(lives, time_h, distribution = "exponential")
  expect_equal(coef(fit)[["q_kj_mol"]] / per_ev, 0.323, tolerance = 0.01)
})

test_that("survival::survreg as reference: three laws, weights and censoring", {
  skip_if_not_installed("survival")
  lives <- fact_table("master_devicea.csv")
  lives$x <- 1000 / 8.31446261815324 / (lives$temp_c + 273.15)
  for (law in c("lognormal", "weibull", "exponential")) {
    fit <- fit_lifetime(lives, time_h, event = failed, weights = number, distribution = law)
    other <- survival::survreg(survival::Surv(time_h, failed) ~ x, lives, weights = number,
                               dist = law,
                               control = survival::survreg.control(rel.tolerance = 1e-12))
    expect_equal(c(logLik(fit)), other$loglik[2], tolerance = 1e-8)
    expect_equal(coef(fit)[["q_kj_mol"]], coef(other)[["x"]], tolerance = 1e-6)
    expect_equal(vcov(fit)["q_kj_mol", "q_kj_mol"], vcov(other)["x", "x"], tolerance = 1e-4)
    if (law != "exponential") {
      expect_equal(coef(fit)[["scale"]], other$scale, tolerance = 1e-6)
      # survreg gives the variance of ln scale
      expect_equal(vcov(fit)["scale", "scale"] / other$scale^2, vcov(other)[3, 3], tolerance = 1e-4)
    }
    q <- predict(fit, data.frame(temp_c = c(10, 80)), p = 0.1, se.fit = TRUE)
    r <- stats::predict(other, data.frame(x = 1000 / 8.31446261815324 / (c(10, 80) + 273.15)),
                        type = "quantile", p = 0.1, se.fit = TRUE)
    expect_equal(q$fit, unname(r$fit), tolerance = 1e-5)
    expect_equal(q$se.fit, unname(r$se.fit), tolerance = 1e-3)
  }
})
