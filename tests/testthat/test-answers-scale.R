# Hardness wanted and predicted in the scale of the dial, and what its conversion adds.

# Readings in HRB, and their fit in HV.
dial_fit <- function(scale = "HV", ...) {
  d <- with_test_seed(3, made_readings(sd_step = 0.5, ...))
  d$hardness <- convert_hardness(d$hardness, "HV", "HRB")
  d$scale <- "HRB"
  quietly_fitted(d, scale = scale)
}

test_that("a target in the scale of all readings has no error of conversion, one in another has", {
  fit <- dial_fit()
  own <- time_to(fit, hardness = c(60, 70), scale = "HRB", temp_c = 330)
  other <- time_to(fit, hardness = convert_hardness(c(60, 70), "HRB", "HV"), temp_c = 330)
  expect_identical(own$scale, rep("HRB", 2L))
  expect_identical(own$hardness, c(60, 70))
  expect_identical(other$scale, rep("HV", 2L))
  expect_equal(own$time_min, other$time_min)
  expect_equal(own$std.error, other$std.error)
  expect_identical(own$u_conversion, c(0, 0))
  # HV per HRB, minutes per HV: by differences of the functions themselves
  u <- convert_hardness(c(60, 70), "HRB", "HV", interval = TRUE)$std_uncertainty
  later <- time_to(fit, hardness = other$hardness + 0.01, temp_c = 330)$time_min
  expect_equal(other$u_conversion, u * abs(later - other$time_min) / 0.01, tolerance = 0.02)
  for (end in c("conf.low", "conf.high")) {
    expect_equal(log(other[[end]] / other$time_min)^2,
                 log(own[[end]] / own$time_min)^2 +
                   (stats::qnorm(0.975) * other$u_conversion / other$time_min)^2)
  }
  named <- temp_for(fit, 20, hardness = 70, scale = "HRB")
  plain <- temp_for(fit, 20, hardness = convert_hardness(70, "HRB", "HV"))
  expect_equal(named$temp_c, plain$temp_c)
  expect_identical(named$u_conversion, 0)
  # back through the curve: the temperature that the error of the target is worth
  moved <- temp_for(fit, 20, hardness = plain$hardness + 0.01)$temp_c
  expect_equal(plain$u_conversion, u[2L] * abs(moved - plain$temp_c) / 0.01, tolerance = 0.02)
  expect_equal((plain$conf.high - plain$temp_c)^2,
               (named$conf.high - named$temp_c)^2 + (stats::qnorm(0.975) * plain$u_conversion)^2)
  # fractions know nothing of scales
  expect_false("u_conversion" %in% names(time_to(fit, fraction = 0.5)))
})

test_that("where the table does not reach the error of conversion is not known, and that is said", {
  d <- with_test_seed(3, made_readings(temps = c(290, 330), times = c(0, 4, 8, 12), soft = 55))
  d <- d[d$hardness > 85, ]
  d$hardness <- convert_hardness(d$hardness, "HV", "HR45T")
  d$scale <- "HR45T"
  fit <- quietly_fitted(d, fixed = c(h_soft = 55))
  both <- list(time_to(fit, hardness = c(65, 100), temp_c = 330), temp_for(fit, 30, hardness = c(65, 100)))
  for (a in both) {
    expect_identical(is.na(a$u_conversion), c(TRUE, FALSE))
    expect_identical(grepl("the table does not reach there", a$note), c(TRUE, FALSE))
    expect_true(all(is.finite(a$conf.low)))
  }
})

test_that("predictions and windows in another scale are those of the fit, converted", {
  fit <- dial_fit()
  at <- data.frame(temp_c = 330, time_min = c(4, 12, 30))
  plain <- predict(fit, at, interval = "prediction", se.fit = TRUE)
  dial <- predict(fit, at, interval = "prediction", se.fit = TRUE, scale = "HRB")
  for (column in c("fit", "lwr", "upr")) {
    expect_equal(dial$fit[, column], convert_hardness(plain$fit[, column], "HV", "HRB"))
  }
  slope <- convert_hardness(plain$fit[, "fit"] + 0.05, "HV", "HRB") -
    convert_hardness(plain$fit[, "fit"] - 0.05, "HV", "HRB")
  expect_equal(dial$se.fit, plain$se.fit * slope / 0.1, tolerance = 0.02)
  expect_equal(predict(fit, at, scale = "HRB"), unname(dial$fit[, "fit"]))
  expect_identical(predict(fit, at, scale = "HV"), predict(fit, at))
  limits <- convert_hardness(c(50, 70), "HRB", "HV")
  window <- process_window(fit, c(50, 70), n_points = 6, scale = "HRB")
  expect_equal(window$hardness, process_window(fit, limits, n_points = 6)$hardness)
  expect_identical(attr(window, "u_conversion"), c(0, 0))
  # limits in HV have the error of the conversion of the readings beside that of the curve: below one limit
  low <- convert_hardness(c(20, 70), "HRB", "HV")
  own <- process_window(fit, c(20, 70), n_points = 6, scale = "HRB")
  other <- process_window(fit, low, n_points = 6)
  u <- convert_hardness(70, "HRB", "HV", interval = TRUE)$std_uncertainty
  expect_equal(attr(other, "u_conversion")[2L], u, tolerance = 0.01)
  far <- low[2L] - own$hardness
  sd <- far / qt(own$probability, fit$df_interval)
  seen <- own$probability > 0.001 & own$probability < 0.999
  expect_gt(sum(seen), 3)
  by_hand <- pt(far / sqrt(sd^2 + attr(other, "u_conversion")[2L]^2), fit$df_interval)
  expect_lt(max(abs(other$probability - by_hand)[seen]), 1e-3) # the lower limit takes the rest
  expect_gt(max(abs(own$probability - by_hand)[seen]), 0.02)
  expect_output(print(other), "Conversion of the limits: standard uncertainty")
  expect_output(print(summary(fit)), "Conversion to HV, common to all readings.*HV of h_worked")
  # soft brass lies below the table of HR45T
  expect_warning(gone <- predict(dial_fit(soft = 70), data.frame(temp_c = 370, time_min = c(4, 60)),
                                 scale = "HR45T"),
                 "1 of 2 predictions are NA.*cannot be converted to HR45T [(]row 2[)]",
                 class = "softanneal_warning_outside")
  expect_identical(is.na(gone), c(FALSE, TRUE))
})

test_that("what cannot be converted is refused", {
  fit <- dial_fit()
  expect_error(time_to(fit, fraction = 0.5, scale = "HRB"), "is for a hardness",
               class = "softanneal_error_argument")
  expect_error(time_to(fit, hardness = 300, scale = "HRB"), "cannot be converted",
               class = "softanneal_error_range")
  expect_error(time_to(fit, hardness = 60, scale = "Shore"), class = "softanneal_error_scale")
  expect_error(time_to(fit, hardness = 60, scale = "HRC"), "`scale`: the table",
               class = "softanneal_error_scale")
  expect_error(predict(fit, scale = "HRC"), "`scale`: the table", class = "softanneal_error_scale")
  expect_error(process_window(fit, temper = "OS035", scale = "HRB"), "temper has its own",
               class = "softanneal_error_argument")
  read <- dial_fit("as read")
  expect_identical(time_to(read, hardness = 70, temp_c = 330)$u_conversion, 0)
  expect_identical(time_to(read, hardness = 70, temp_c = 330)$scale, "HRB")
  numbers <- as.data.frame(with_test_seed(3, made_readings()))
  numbers$scale <- NULL
  numbers <- quietly_fitted(numbers, scale = "as read")
  expect_error(time_to(numbers, hardness = 100, scale = "HRB"), "fitted as read",
               class = "softanneal_error_scale")
  expect_error(predict(numbers, scale = "HRB"), "fitted as read", class = "softanneal_error_scale")
})

test_that("no hardness, time or temperature asked for gives the columns of any answer and no row", {
  fit <- bell_softening()
  for (ask in list(\(f, ...) time_to(f, ..., temp_c = 330), \(f, ...) temp_for(f, 10, ...))) {
    none <- ask(fit, hardness = numeric())
    expect_identical(nrow(none), 0L)
    expect_named(none, names(ask(fit, hardness = 100)))
    expect_identical(nrow(ask(fit, softening = numeric())), 0L)
  }
  expect_identical(nrow(temp_for(fit, numeric(), hardness = 100)), 0L)
  expect_identical(nrow(time_to(fit, hardness = 100, temp_c = numeric())), 0L)
  fits <- suppressWarnings(fit_each(transform(as.data.frame(bell_readings()), coil = "A"), coil))
  expect_identical(nrow(time_to(fits, hardness = numeric(), temp_c = 330)), 0L)
  expect_identical(nrow(temp_for(fits, numeric(), hardness = 100)), 0L)
})
