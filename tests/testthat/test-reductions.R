# Reductions in per cent where a strain is wanted: converted by the name of their column, asked otherwise.

three_reductions <- function() {
  d <- with_test_seed(54, do.call(rbind, lapply(c(20, 40, 60), function(r) {
    cbind(made_readings(n = 2, half_min = 300 / r, worked = 120 + r), reduction_pct = r)
  })))
  d$specimen <- paste(d$specimen, d$reduction_pct)
  d
}

test_that("reduction_pct as strain is the effective strain", {
  d <- three_reductions()
  d$eps <- 2 / sqrt(3) * log(100 / (100 - d$reduction_pct))
  expect_message(f <- quietly_fitted(d, strain = reduction_pct, se = "cluster"),
                 class = "softanneal_message_units")
  d$reduction_pct <- NULL
  g <- quietly_fitted(d, strain = eps, se = "cluster")
  expect_equal(coef(f), coef(g))
  half <- time_to(f)
  expect_true("strain" %in% names(half))
  at <- data.frame(temp_c = 330, time_min = 10, reduction_pct = 36.3)
  eps <- 2 / sqrt(3) * log(100 / 63.7)
  expect_equal(predict(f, at), predict(g, data.frame(temp_c = 330, time_min = 10, eps = eps)))
  expect_equal(predict(f, at), predict(f, data.frame(temp_c = 330, time_min = 10, strain = eps)))
  expect_refused(time_to(f, strain = 36.3), "range", "36.3 %?", arg = "strain")
  expect_refused(predict(f, data.frame(temp_c = 330, time_min = 10, strain = 36.3)), "range", "36.3 %?")
  expect_refused(quietly_fitted(transform(d, cold = 40), strain = cold), "range", "0.59 for 40 %")
  expect_refused(quietly_fitted(transform(d, reduction_pct = 100), strain = reduction_pct), "range",
                 "below 100 %")
  expect_refused(quietly_fitted(transform(d, reduction = rep(c(0.2, 0.4), length.out = nrow(d))),
                                strain = reduction), "column", "may be a share")
  expect_refused(fit_hardening(data.frame(hardness = c(100, 120, 140, 150), reduction_pct = c(5, 10, 20, 40)),
                               strain = reduction_pct), "range", "5 %?")
})

test_that("several fits of the same readings say what they say once", {
  d <- three_reductions()
  said <- testthat::capture_messages(suppressWarnings(
    compare_models(d, c("jmak", "jmak_incubation"), strain = reduction_pct, se = "cluster",
                   cross_validate = FALSE)))
  expect_identical(sum(grepl("is a reduction in per cent", said)), 1L)
})

test_that("groups do not pool reductions or laboratories without a word", {
  d <- cbind(three_reductions(), coil = 1)
  expect_refused(fit_each(d, coil), "argument", "several reductions within a group")
  expect_length(suppressWarnings(fit_each(d, c(coil, reduction_pct))), 3L)
  d$reduction_pct <- NULL
  d$laboratory <- rep(c("north", "south"), length.out = nrow(d))
  expect_told(suppressWarnings(fit_each(d, coil), classes = "softanneal_warning_fit"), "assumption",
              "several values of `laboratory`", n = 2L)
})

test_that("a target and a scale that are meant on the dial are recognised", {
  f <- bell_softening()
  w <- expect_told(time_to(f, hardness = 60, temp_c = 330), "outside", "if 60 is meant in HR30T")
  expect_true(is.na(w$time_min))
  told <- tryCatch(time_to(f, hardness = 60), softanneal_warning_outside = conditionMessage)
  expect_match(told, "The fit is in HV, from 16[0-9] to")
  expect_refused(fit_softening(bell_readings(), scale = "HRB"), "argument",
                 "`scale` is the scale of the fit, 'HV' or 'as read', not 'HRB'", arg = "scale")
  expect_refused(fit_each(bell_readings(), specimen, scale = "HRF"), "argument", "scale of the fit")
})

test_that("columns named like a reduction are not taken as strain, nor fitted as one curve, in silence", {
  d <- three_reductions()
  share <- function(name) stats::setNames(transform(d, reduction_pct = reduction_pct / 100),
                                          sub("reduction_pct", name, names(d)))
  for (name in c("cold_work", "rolling_reduction", "CW", "deformation", "Walzgrad", "Reduction %")) {
    expect_refused(do.call(fit_softening, list(share(name), strain = name)), "column", "may be a share",
                   arg = name)
    if (name != "CW") expect_refused(fit_softening(share(name)), "argument", "several reductions")
  }
  expect_refused(fit_each(cbind(share("cold_work"), coil = 1), coil), "argument",
                 "several reductions within a group")
  expect_refused(fit_softening(share("reduction_pct"), strain = reduction_pct), "range", "a fraction?")
  expect_false(any(softanneal:::named_reduction(c("strain", "eps", "work", "workpiece", "cold", "cwt"))))
})
