# Fits in packages that take any model, each where it is installed.

others_fit <- local({
  f <- NULL
  function() {
    if (is.null(f)) f <<- fit_softening(with_test_seed(71, made_readings(n = 3, sd_step = 1)), se = "model")
    f
  }
})

of_package <- function(package, name) {
  skip_if_not_installed(package)
  getExportedValue(package, name)
}

test_that("parameters gives the table of tidy()", {
  f <- others_fit()
  m <- of_package("parameters", "model_parameters")(f, ci = 0.9)
  wanted <- tidy(f, conf.int = TRUE, conf.level = 0.9)
  expect_identical(m$Parameter, wanted$term)
  expect_equal(m$Coefficient, wanted$estimate)
  expect_equal(m$SE, wanted$std.error)
  expect_equal(m$CI_low, wanted$conf.low)
  expect_equal(m$p, wanted$p.value)
  shown <- paste(capture.output(print(m), type = "output"), collapse = " ")
  expect_match(shown, "q_kj_mol")
  expect_null(attr(m, "ci_method")) # which would be put down as an interval of Wald where it is none
})

test_that("emmeans gives predictions with their errors, and contrasts of them", {
  f <- others_fit()
  means <- of_package("emmeans", "emmeans")
  at <- data.frame(temp_c = c(300, 320), time_min = 10)
  s <- as.data.frame(means(f, "temp_c", at = list(temp_c = at$temp_c, time_min = 10)))
  p <- predict(f, at, interval = "confidence", se.fit = TRUE)
  expect_equal(s$emmean, unname(p$fit[, "fit"]))
  expect_equal(s$SE, unname(p$se.fit))
  expect_equal(s$lower.CL, unname(p$fit[, "lwr"]))
  # a contrast by the gradient of the difference
  both <- as.data.frame(graphics::pairs(means(f, "temp_c", at = list(temp_c = at$temp_c, time_min = 10))))
  g <- softanneal:::softening_values(f, at$temp_c, at$time_min)$gradient
  expect_equal(both$SE, sqrt(drop((g[1, ] - g[2, ]) %*% vcov(f) %*% (g[1, ] - g[2, ]))))
  one <- suppressWarnings(fit_softening(with_test_seed(71, made_readings(310, n = 3)), se = "model"))
  same <- means(one, "time_min", at = list(temp_c = 310, time_min = c(5, 10)))
  wanted <- predict(one, data.frame(temp_c = 310, time_min = c(5, 10)))
  expect_equal(as.data.frame(same)$emmean, unname(wanted))
  half <- suppressWarnings(fit_softening(with_test_seed(5, made_readings(c(290, 450), n = 2)), se = "model"))
  expect_refused(means(half, "temp_c"), "model", "need a fit with all parameters determined")
})

test_that("marginaleffects finds predictions, coefficients and covariance", {
  f <- others_fit()
  at <- data.frame(temp_c = c(300, 320), time_min = c(10, 20))
  # its generics ask for these, also where it is not installed
  expect_equal(softanneal:::get_predict.softanneal_fit_softening(f, at)$estimate, unname(predict(f, at)))
  expect_identical(softanneal:::get_coef.softanneal_fit(f), coef(f))
  expect_identical(softanneal:::get_vcov.softanneal_fit(f), vcov(f))
  expect_identical(softanneal:::get_vcov.softanneal_fit(f, diag(5)), diag(5))
  expect_identical(softanneal:::get_vcov.softanneal_fit(f, stats::vcov), vcov(f))
  moved <- softanneal:::set_coef.softanneal_fit(f, c(h_soft = 90))
  expect_equal(coef(moved)[["h_soft"]], 90)
  expect_gt(softanneal:::get_predict.softanneal_fit_softening(moved, at)$estimate[2], predict(f, at)[[2]])
  early <- data.frame(temp_c = 300, time_min = -1e-5)
  expect_equal(softanneal:::get_predict.softanneal_fit_softening(f, early)$estimate, coef(f)[["h_worked"]])
  expect_null(softanneal:::get_vcov.softanneal_fit(f, FALSE))
  expect_refused(softanneal:::get_vcov.softanneal_fit(f, "HC1"), "argument", "not \"HC1\"")
  withr::local_options(marginaleffects_model_classes = "mine")
  softanneal:::known_to_marginaleffects()
  softanneal:::known_to_marginaleffects()
  expect_identical(getOption("marginaleffects_model_classes"), c("mine", OWN_CLASSES))
  # the variables of a nonlinear law, whose right side is no formula of terms
  growth <- fit_grain_growth(utils::read.csv(extdata("grain_bellbrass_growth.csv")), d0_mm = 0.009)
  expect_identical(labels(terms(growth)), c("temp_c", "time_min"))
  expect_named(model.frame(growth), c("grain_mm", "temp_c", "time_min"))
  line <- fit_hall_petch(data.frame(grain_mm = c(0.01, 0.02, 0.04, 0.08), hardness = c(120, 105, 92, 84)))
  expect_identical(labels(terms(line)), "grain_mm")
  skip_if_not_installed("marginaleffects")
  if (!exists("%||%")) { # of R 4.4, which marginaleffects uses
    assign("%||%", rlang::`%||%`, globalenv())
    withr::defer(rm("%||%", envir = globalenv()))
  }
  slopes <- of_package("marginaleffects", "slopes")(f, newdata = at, variables = "temp_c")
  h <- 1e-4
  beside <- function(d) unname(predict(f, transform(at, temp_c = temp_c + d)))
  expect_equal(slopes$estimate, (beside(h) - beside(-h)) / 2 / h, tolerance = 1e-4)
  p <- of_package("marginaleffects", "predictions")(f, newdata = at)
  expect_equal(p$std.error, unname(predict(f, at, se.fit = TRUE)$se.fit), tolerance = 1e-4)
  by <- of_package("marginaleffects", "comparisons")(f, newdata = at, variables = list(time_min = 5))
  shift <- function(d) unname(predict(f, transform(at, time_min = time_min + d)))
  expect_equal(by$estimate, shift(5) - shift(0), tolerance = 1e-6)
  robust <- function() of_package("marginaleffects", "predictions")(f, newdata = at, vcov = "HC1")
  expect_refused(robust(), "argument", "HC1")
  # other fits: grain growth, whose slope at m is ((d^m - d0^m) / t) / (m d^(m - 1))
  at <- data.frame(temp_c = 600, time_min = 60)
  p <- of_package("marginaleffects", "predictions")(growth, newdata = at)
  wanted <- predict(growth, at, se.fit = TRUE)
  expect_equal(c(p$estimate, p$std.error), unname(c(wanted$fit, wanted$se.fit)), tolerance = 1e-4)
  m <- coef(growth)[["m"]]
  s <- of_package("marginaleffects", "slopes")(growth, newdata = at, variables = "time_min")
  expect_equal(s$estimate, (p$estimate^m - 0.009^m) / 60 / (m * p$estimate^(m - 1)), tolerance = 1e-4)
})

test_that("modelsummary and gt take fits and their tables", {
  f <- others_fit()
  table <- of_package("modelsummary", "modelsummary")(list(f, f), output = "data.frame")
  expect_match(table[table$term == "n" & table$statistic == "estimate", "(1)"],
               format(round(coef(f)[["n"]], 3)), fixed = TRUE)
  expect_true("Num.Obs." %in% table$term)
  expect_s3_class(of_package("gt", "gt")(tidy(f)), "gt_tbl")
})
