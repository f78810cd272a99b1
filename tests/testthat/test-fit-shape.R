# A curve of the wrong shape is named; errors of specimens and furnaces are not taken for one.

shape_bench <- function(seed, fraction) {
  d <- expand.grid(reading = 1:4, time_min = c(0, 2, 5, 12, 30, 75, 200, 500), temp_c = c(310, 340, 370))
  d$specimen <- paste(d$temp_c)
  with_test_seed(seed, {
    off <- stats::rnorm(3, 0, 1.5)[match(d$temp_c, c(310, 340, 370))]
    warm <- stats::rnorm(3, 0, 1.5)[match(d$temp_c, c(310, 340, 370))]
    step <- rep(stats::rnorm(24, 0, 0.6), each = 4)
    u <- 0.05 * exp(-145 / 8.314462618e-3 * (1 / (d$temp_c + warm + 273.15) - 1 / 613.15)) * d$time_min
    d$hardness <- 165 - 90 * fraction(u) + off + step + stats::rnorm(nrow(d))
  })
  d$scale <- "HV"
  d
}

test_that("a curve of the wrong shape is named, and furnace errors are not taken for one", {
  sound <- suppressWarnings(fit_softening(shape_bench(1, \(u) 1 - exp(-u^1.4))))
  wrong_readings <- shape_bench(1, \(u) u^1.4 / (1 + u^1.4))
  wrong <- suppressWarnings(fit_softening(wrong_readings))
  shown <- function(x) paste(capture.output(print(x)), collapse = " ")
  expect_no_match(shown(sound), "does not describe")
  expect_match(shown(wrong), "does not describe the readings", fixed = TRUE)
  expect_match(time_to(wrong, softening = 0.9, temp_c = 340)$note, "curve does not describe", fixed = TRUE)
  expect_match(temp_for(wrong, 30, softening = 0.9)$note, "curve does not describe", fixed = TRUE)
  expect_equal(time_to(sound, softening = 0.9, temp_c = 340)$note, "")
  m <- suppressWarnings(compare_models(wrong_readings, "jmak", cross_validate = FALSE))
  expect_match(shown(m), "None of these models describes", fixed = TRUE)
  # the test of two added terms as anova() of lm() has it
  s <- wrong$errors$steps
  at <- wrong$conditions
  curve <- tapply(wrong$fitted.values, at$of_reading, mean)[as.character(s$condition - 1)]
  x <- (coef(wrong)[["h_worked"]] - curve) / (coef(wrong)[["h_worked"]] - coef(wrong)[["h_soft"]])
  j <- at$jacobian[s$condition, ]
  piece <- factor(s$piece)
  w <- 1 / (wrong$errors$sd["step", "estimate"]^2 + sigma(wrong)^2 / s$weight)
  y <- s$mean - curve
  small <- stats::lm(y ~ j + piece + piece:j[, 3], weights = w)
  large <- stats::update(small, . ~ . + sin(pi * x) + sin(2 * pi * x))
  compared <- stats::anova(small, large)
  expect_equal(misfit_p(wrong), compared[2, "Pr(>F)"], tolerance = 1e-4)
  # the root mean square of the misfit over that expected, beside the interval, which itself stays
  times <- sqrt(compared[2, "F"])
  expect_equal(misfit_test(wrong)[["times"]], times, tolerance = 1e-4)
  a <- time_to(wrong, softening = 0.95, temp_c = 340)
  expect_match(a$note, paste0("interval assumes it: about ", format_quantity(times, 2L), " times as wide"))
  expect_match(shown(wrong), paste0("about ", format_quantity(times, 2L), " times as wide"))
  answer <- function(fit) {
    half <- time_to(fit, softening = 0.5)
    paste(report_answer(list(fit = fit, half_softening = half, level = 0.95)), collapse = " ")
  }
  expect_match(answer(wrong), "intervals, which assume a curve that the readings contradict", fixed = TRUE)
  expect_match(answer(sound), "95 % intervals.", fixed = TRUE)
  # the time to 0.95 of this logistic bench: far outside the interval, inside the one so widened
  truth <- log(19^(1 / 1.4) / 0.05)
  ends <- log(c(a$conf.low, a$conf.high))
  expect_gt(truth, ends[2L])
  expect_lt(truth, log(a$time_min) + times * (ends[2L] - log(a$time_min)))
})

test_that("a curve is said not to describe the readings at 0.001, with three degrees of freedom left", {
  # a part of the readings of the other law
  mixed <- function(part) {
    share <- \(u) (1 - part) * -expm1(-u^1.4) + part * u^1.4 / (1 + u^1.4)
    suppressWarnings(fit_softening(shape_bench(1, share)))
  }
  sounder <- mixed(0.6)
  expect_gt(misfit_p(sounder), 0.001)
  expect_lt(misfit_p(sounder), 0.003)
  expect_null(misfit_words(sounder))
  wrong <- mixed(0.7)
  expect_lt(misfit_p(wrong), 0.001)
  expect_gt(misfit_p(wrong), 1e-4)
  expect_match(misfit_words(wrong), "does not describe the readings", fixed = TRUE)
  # the parameters, offsets of specimens and rates take 8, the waves 2 of the steps
  first <- function(n) {
    f <- wrong
    at <- round(seq(1, 24, length.out = n))
    of_step <- lengths(f$errors$steps) == 24L
    f$errors$steps[of_step] <- lapply(f$errors$steps[of_step], `[`, at)
    misfit_p(f)
  }
  expect_identical(first(12L), NA_real_)
  expect_false(is.na(first(13L)))
  wrong$readings$limits <- list(side = 1L)
  expect_identical(misfit_p(wrong), NA_real_)
})
