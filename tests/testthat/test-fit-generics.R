# What other packages ask of a fit: against nls() and lm(), and tried in these packages where they are.

hv_lot <- function(seed = 71) with_test_seed(seed, made_readings(n = 3, sd_step = 1))

same_nls <- function(d, f) {
  d$e <- softanneal:::inverse_temperature(d$temp_c, f$temp_ref_c)
  stats::nls(hardness ~ h_soft + (h_worked - h_soft) * exp(-(exp(ln_k_ref + q_kj_mol * e) * time_min)^n), d,
             as.list(coef(f)))
}

test_that("leverage and influence are those of the linearised fit", {
  d <- hv_lot()
  f <- fit_softening(d, se = "model")
  jac <- softanneal:::reading_jacobian(f)
  hat <- diag(jac %*% solve(crossprod(jac), t(jac)))
  expect_equal(unname(hatvalues(f)), hat, tolerance = 1e-8)
  expect_equal(sum(hatvalues(f)), 5)
  line <- stats::lm(I(fitted(f) + residuals(f)) ~ 0 + jac + offset(fitted(f)))
  expect_equal(unname(cooks.distance(f)), unname(stats::cooks.distance(line)), tolerance = 1e-6)
  expect_equal(unname(rstandard(f)), unname(stats::rstandard(line)), tolerance = 1e-6)
  # rows that were left out stay in their places
  d$hardness[c(2, 9)] <- NA
  g <- suppressWarnings(fit_softening(d, se = "model"), classes = "softanneal_warning_missing")
  for (x in list(hatvalues(g), cooks.distance(g), rstandard(g))) {
    expect_identical(unname(which(is.na(x))), c(2L, 9L))
  }
  expect_identical(nrow(model.frame(g)), nrow(d) - 2L)
})

test_that("model.frame() and terms() are those of the variables", {
  d <- hv_lot()
  f <- fit_softening(d, se = "model")
  m <- model.frame(f)
  expect_named(m, c("hardness", "time_min", "temp_c"))
  expect_equal(m$hardness, d$hardness)
  expect_equal(m$temp_c, d$temp_c)
  expect_identical(attr(terms(f), "term.labels"), c("time_min", "temp_c"))
  strained <- rbind(transform(d, eps = 0.4), transform(hv_lot(72), eps = 0.8,
                                                       specimen = paste0("b", specimen)))
  s <- suppressWarnings(fit_softening(strained, strain = eps, se = "model"))
  expect_named(model.frame(s), c("hardness", "time_min", "temp_c", "strain"))
  expect_named(model.frame(fit_hall_petch(data.frame(grain_mm = c(0.01, 0.02, 0.04, 0.08),
                                                     hardness = c(120, 105, 92, 84)))),
               c("hardness", "grain_mm"))
  life <- data.frame(temp_c = rep(c(300, 320, 340), each = 3),
                     time_min = c(90, 120, 150, 30, 42, 50, 12, 16, 19))
  expect_refused(softanneal:::estfun.softanneal_fit(fit_lifetime(life)), "model", "keeps no derivatives", "x")
})

test_that("sandwich makes of a fit what it makes of the same nls()", {
  skip_if_not_installed("sandwich")
  d <- hv_lot()
  f <- fit_softening(d, se = "model")
  by_nls <- same_nls(d, f)
  order <- names(coef(f))
  expect_equal(sandwich::sandwich(f), sandwich::sandwich(by_nls)[order, order], tolerance = 1e-5)
  step <- paste(d$temp_c, d$time_min)
  expect_equal(sandwich::vcovCL(f, cluster = step), sandwich::vcovCL(by_nls, cluster = step)[order, order],
               tolerance = 1e-5)
  skip_if_not_installed("lmtest")
  test <- getExportedValue("lmtest", "coeftest")(f, vcov. = sandwich::sandwich)
  expect_equal(unname(test[, 1L]), unname(coef(f)))
})

test_that("packages for any model take a fit", {
  f <- fit_softening(hv_lot(), se = "model")
  call <- function(package, name) {
    skip_if_not_installed(package)
    getExportedValue(package, name)
  }
  expect_equal(call("knitr", "kable")(tidy(f), digits = 3, format = "pipe")[3L],
               grep("h_worked", knitr::kable(tidy(f), digits = 3, format = "pipe"), value = TRUE))
  delta <- call("car", "deltaMethod")(f, "q_kj_mol / n")
  expect_equal(delta[["Estimate"]], coef(f)[["q_kj_mol"]] / coef(f)[["n"]])
  gradient <- c(0, 0, 0, -coef(f)[["q_kj_mol"]] / coef(f)[["n"]]^2, 1 / coef(f)[["n"]])
  expect_equal(delta[["SE"]], sqrt(sum(gradient * vcov(f) %*% gradient)), tolerance = 1e-5)
})

test_that("insight and parameters find what they need", {
  skip_if_not_installed("insight")
  insight <- function(name, ...) getExportedValue("insight", name)(...)
  d <- hv_lot()
  f <- fit_softening(d, se = "model")
  expect_equal(insight("get_parameters", f)$Estimate, unname(coef(f)))
  expect_equal(unname(insight("get_varcov", f)), unname(vcov(f)))
  expect_equal(insight("n_obs", f), nobs(f))
  expect_identical(insight("find_response", f), "hardness")
  expect_equal(insight("get_loglikelihood", f), logLik(f))
  expect_equal(insight("get_df", f), nobs(f) - length(coef(f)))
  expect_equal(insight("get_df", f, type = "wald"), f$df_interval)
  expect_equal(insight("get_df", f, type = "model"), length(coef(f)) + 1)
  expect_identical(insight("get_df", f, type = "normal"), Inf)
  asked <- insight("get_statistic", f)
  expect_equal(asked$Statistic, unname(coef(f) / sqrt(diag(vcov(f)))))
  expect_equal(nrow(suppressWarnings(insight("get_data", f))), nobs(f)) # says that it took the model frame
})

test_that("performance has its table, and a sandwich of many fits is refused", {
  f <- fit_softening(hv_lot(), se = "model")
  made <- softanneal:::model_performance.softanneal_fit(f)
  expect_equal(made$AIC, stats::AIC(f))
  expect_equal(made$RMSE, sqrt(deviance(f) / nobs(f)))
  expect_equal(made$Sigma, sigma(f))
  fits <- fit_each(transform(hv_lot(), lot = "a"), by = lot)
  expect_refused(softanneal:::bread.softanneal_fits(fits), "argument", "a single fit for bread()", "x")
  expect_refused(softanneal:::estfun.softanneal_fits(fits), "argument", "a single fit for estfun()", "x")
  skip_if_not_installed("performance")
  expect_equal(getExportedValue("performance", "model_performance")(f)$BIC, stats::BIC(f))
})

test_that("tables take arguments of other methods and refuse slips", {
  d <- hv_lot()
  f <- fit_softening(d, se = "model")
  fits <- fit_each(transform(d, lot = "a"), by = lot)
  for (x in list(f, fits)) {
    expect_identical(tidy(x, vcov = "HC1", parametric = TRUE), tidy(x))
    expect_identical(glance(x, vcov_type = "classical"), glance(x))
    expect_identical(augment(x, type.predict = "response"), augment(x))
    expect_refused(tidy(x, conf.lvl = 0.9), "argument", "unknown argument 'conf.lvl'", "conf.lvl")
    expect_refused(tidy(x, conf_int = TRUE), "argument", "unknown argument 'conf_int'", "conf_int")
    expect_refused(glance(x, 3), "argument", "unknown argument '(unnamed)'")
    expect_refused(augment(x, levle = 0.9), "argument", "unknown argument")
    expect_told(tidy(x, exponentiate = TRUE), "assumption", "'exponentiate' is not supported", n = 1L)
  }
})
