# The methods of one fit, for many: against the fits of the groups one by one.

three_lots <- function() {
  bell <- as.data.frame(bell_readings())
  bell <- bell[bell$scale == "HRF", ]
  d <- rbind(transform(bell, lot = "B"), transform(bell[bell$time_min < 64, ], lot = "A"),
             transform(bell[bell$temp_c != 410, ], lot = "C"))
  d[with_test_seed(51, sample(nrow(d))), ]
}

test_that("residuals, fitted values and predictions stand in the order of the rows", {
  d <- three_lots()
  d$hardness[c(3, 40)] <- NA
  fits <- suppressWarnings(fit_each(d, by = lot), classes = "softanneal_warning_missing")
  expect_length(residuals(fits), nrow(d))
  for (lot in c("A", "B", "C")) {
    one <- suppressWarnings(fit_softening(d[d$lot == lot, ], se = "cluster"),
                            classes = "softanneal_warning_missing")
    expect_equal(residuals(fits)[d$lot == lot], unname(residuals(one)), tolerance = 1e-6)
    expect_equal(fitted(fits)[d$lot == lot], unname(fitted(one)), tolerance = 1e-6)
    expect_equal(stats::coef(fits[[lot]]), coef(fits)[lot, ], tolerance = 1e-6)
  }
  expect_identical(which(is.na(residuals(fits))), c(3L, 40L))
  expect_equal(predict(fits), predict(fits, d))
  expect_equal(augment(fits)$.fitted, predict(fits))
  expect_equal(augment(fits)$lot, d$lot)
  # leverage, influence and draws, which have a number for each reading too
  one <- suppressWarnings(fit_softening(d[d$lot == "B", ], se = "cluster"),
                          classes = "softanneal_warning_missing")
  asked <- list(hatvalues, rstandard, cooks.distance)
  for (ask in asked) expect_equal(ask(fits)[d$lot == "B"], unname(ask(one)), tolerance = 1e-6)
  expect_identical(which(is.na(hatvalues(fits))), c(3L, 40L))
  drawn <- simulate(fits, 2, seed = 3)
  expect_identical(which(is.na(drawn$sim_2)), c(3L, 40L))
  expect_identical(drawn, simulate(fits, 2, seed = 3))
  expect_lt(abs(stats::sd(drawn$sim_1 - fitted(fits), na.rm = TRUE) / sigma(fits) - 1), 0.25)
  frame <- model.frame(fits)
  expect_identical(frame$lot, d$lot[-c(3, 40)])
  expect_equal(frame$hardness, (fitted(fits) + residuals(fits))[-c(3, 40)], tolerance = 1e-6)
  expect_identical(terms(fits), terms(one))
  # of some groups: the rows of these
  some <- d$lot %in% c("A", "C")
  expect_equal(residuals(fits[c(3, 1)]), residuals(fits)[some])
  expect_identical(fits[c("C", "A")], fits[c(3, 1)])
  expect_refused(fits[c("A", "D")], "argument", "there is no group 'D'")
  # weights, which stand in the order of the rows too
  d$w <- seq(1, 2, length.out = nrow(d))
  weighted <- suppressWarnings(fit_each(d, by = lot, weights = w), classes = "softanneal_warning_missing")
  expect_identical(weights(weighted), d$w)
  expect_equal(residuals(weighted, "pearson"), residuals(weighted) * sqrt(d$w))
  expect_null(weights(fits))
  # two metals in one call: each by its own table
  d$metal <- ifelse(d$lot == "C", "brass", "copper")
  d$scale <- "HRF"
  d <- d[!is.na(d$hardness) & d$hardness < 95, ]
  metals <- suppressWarnings(fit_each(d, by = lot, material = metal))
  expect_equal(augment(metals)$.hardness[d$lot == "C"],
               convert_hardness(d$hardness[d$lot == "C"], "HRF", "HV", "brass"))
})

test_that("covariances, intervals and likelihoods are those of the groups", {
  d <- three_lots()
  fits <- fit_each(d, by = lot)
  each <- lapply(fits, identity)
  expect_equal(profile(fits["A"], "n")$A, profile(each$A, "n"))
  expect_refused(identifiability(fits), "argument", "Take the fit of one group, such as fits[[1]]")
  expect_no_error(check_object(fits, near = TRUE)) # whose covariances may be negative
  expect_named(fits, c("A", "B", "C"))
  expect_equal(vcov(fits), lapply(each, vcov), tolerance = 1e-5)
  expect_equal(confint(fits), lapply(each, confint), tolerance = 1e-5)
  expect_equal(confint(fits, "n", level = 0.9), lapply(each, confint, "n", level = 0.9), tolerance = 1e-5)
  expect_equal(confint(fits[1], "n", method = "profile")[[1]], confint(each$A, "n", method = "profile"),
               tolerance = 1e-5)
  sums <- function(f) sum(vapply(each, f, 0))
  expect_equal(as.numeric(logLik(fits)), sums(logLik), tolerance = 1e-8)
  expect_equal(attr(logLik(fits), "df"), 18)
  expect_equal(AIC(fits), sums(AIC), tolerance = 1e-8)
  expect_equal(BIC(fits), -2 * sums(logLik) + log(nrow(d)) * 18, tolerance = 1e-8)
  expect_equal(deviance(fits), sums(deviance), tolerance = 1e-8)
  expect_equal(df.residual(fits), sums(df.residual))
  expect_equal(sigma(fits), sqrt(sums(deviance) / sums(df.residual)), tolerance = 1e-8)
  expect_identical(formula(fits), formula(each$A))
  expect_identical(family(fits)$family, "gaussian")
  again <- update(fits, fixed = c(n = 1.5))
  expect_equal(coef(again), coef(fit_each(d, by = lot, fixed = c(n = 1.5))))
  # a group without a fit has no likelihood, and nothing pretends a sum
  few <- rbind(d, data.frame(d[1:2, names(d) != "lot"], lot = "D"))
  lost <- suppressWarnings(fit_each(few, by = lot))
  expect_true(is.na(expect_told(logLik(lost), "fit", "1 of 4 groups have no fit", n = 1L)))
  expect_true(all(is.na(residuals(lost)[few$lot == "D"])))
  expect_true(all(is.na(vcov(lost)$D)))
})

test_that("lapply and purrr go through the fits, and vctrs picks groups", {
  d <- three_lots()
  fits <- fit_each(d, by = lot)
  expect_equal(vapply(fits, sigma, 0), vapply(c("A", "B", "C"), function(k) sigma(fits[[k]]), 0))
  skip_if_not_installed("purrr")
  expect_equal(purrr::map_dbl(fits, sigma), vapply(fits, sigma, 0))
  expect_identical(purrr::map(fits, \(f) f$nobs), lapply(fits, \(f) f$nobs))
  expect_equal(coef(vctrs::vec_slice(fits, 2:3)), coef(fits[2:3]))
})

test_that("fits of an earlier version, or without readings, say why they cannot", {
  fits <- fit_each(three_lots(), by = lot)
  old <- unclass(fits)
  old$readings$row <- NULL
  old$call <- NULL
  class(old) <- "softanneal_fits"
  expect_refused(residuals(old), "model", "do not know the order", "object")
  expect_refused(weights(old), "model", "do not know the order", "object")
  expect_refused(update(old, model = "jmak"), "model", "do not hold their call", "object")
  old <- unclass(fits)
  old["readings"] <- list(NULL)
  class(old) <- "softanneal_fits"
  expect_refused(fitted(old), "model", "keep no readings", "x")
  expect_refused(predict(old), "model", "keep no readings", "x")
})

test_that("a group answers to its name after a dollar sign", {
  bell <- as.data.frame(example_data("bellbrass_readings"))
  fits <- fit_each(rbind(cbind(coil = "A", bell), cbind(coil = "par", bell)), by = coil)
  expect_equal(coef(fits$A), coef(fits[["A"]]))
  expect_identical(fits$par, unclass(fits)$par) # a field goes first
  expect_null(fits$B)
  expect_null(fits$material)
})

test_that("each plot of one fit is a list of plots for many, those of the fits of the groups", {
  d <- three_lots()
  d <- rbind(d, transform(d[d$lot == "A", ][1:3, ], lot = "few"))
  fits <- suppressWarnings(fit_each(d, by = lot))
  one <- fits[["A"]]
  drawers <- list(plot_avrami, plot_residuals, plot_residual_map, plot_arrhenius, plot_collapse,
                  plot_hardness_map, function(x) plot_isochronal(x, c(8, 32)))
  for (draw in drawers) {
    plots <- expect_told(draw(fits), "fit", "1 of 4 groups have no such plot: few (no fit).", n = 1L)
    expect_named(plots, c("A", "B", "C", "few"))
    expect_null(plots$few)
    alone <- draw(one)
    expect_equal(ggplot2::layer_data(plots$A, 2L), ggplot2::layer_data(alone, 2L))
    expect_identical(plots$A$labels$title, paste0("A: ", alone$labels$title))
    expect_identical(ggplot2::get_alt_text(plots$A), paste0("Group A. ", ggplot2::get_alt_text(alone)))
    expect_s3_class(plots$B, "softanneal_picture")
  }
  # what a plot cannot show of any group is refused with the reason of the first
  single <- suppressWarnings(fit_each(d[d$temp_c %in% c(0, 330) & d$lot != "few", ], by = lot))
  expect_refused(plot_hardness_map(single), "too_few", "no group has this plot (A: ")
})
