bell_fit <- function() {
  fit_softening(with_test_seed(61, made_readings(sd_step = 1)), se = "cluster")
}

test_that("temp_for() is the inverse of time_to()", {
  f <- bell_fit()
  for (args in list(list(softening = 0.5), list(hardness = 100), list(fraction = 0.9))) {
    t <- do.call(temp_for, c(list(f, c(10, 30)), args))
    back <- do.call(time_to, c(list(f, temp_c = t$temp_c[1L]), args))
    expect_equal(back$time_min, 10, tolerance = 1e-8)
    expect_true(all(t$conf.low < t$temp_c & t$temp_c < t$conf.high))
  }
  # the standard error by the bootstrap: 300 draws give it to about 4 %
  s <- fit_softening(with_test_seed(61, made_readings(sd_step = 1)), se = "steps")
  b <- resample_fit(s, n_resamples = 300, seed = 3)$estimates
  half <- jmak_time(0.5, 1, b[, "n"])
  inverse <- 1 / (s$temp_ref_c + 273.15) -
    (log(half / 20) - b[, "ln_k_ref"]) * 8.31446261815324 / 1000 / b[, "q_kj_mol"]
  expect_equal(sd(1 / inverse), temp_for(s, 20)$std.error, tolerance = 0.15)
})

test_that("impossible targets are NA with one warning, one temperature is refused", {
  f <- bell_fit()
  expect_warning(t <- temp_for(f, c(10, 20), hardness = 20), "2 of 2",
                 class = "softanneal_warning_outside")
  expect_true(all(is.na(t$temp_c)))
  expect_equal(t$note, rep("target not reached", 2))
  one <- quietly_fitted(with_test_seed(61, made_readings(temps = 330)))
  expect_error(temp_for(one, 10), class = "softanneal_error_model")
  expect_error(process_window(one, c(90, 120)), class = "softanneal_error_model")
  expect_error(temp_for(f, -1), class = "softanneal_error_range")
  expect_error(temp_for(f, 10, hardness = 100, fraction = 0.5), class = "softanneal_error_argument")
  expect_error(temp_for(3, 10), class = "softanneal_error_argument")
})

test_that("recrystallisation temperature of tungsten lies near its published one", {
  skip_on_cran()
  # Callister, Materials Science and Engineering, Table 7.2: tungsten 1200 C for complete
  # recrystallisation in 1 h, 0.40 of the melting point (value from memory); pieces and purity
  # differ, so only the neighbourhood is meant. Common practice, no source: 0.4 to 0.5 of the
  # melting point in K.
  f <- quietly_fitted(tungsten_readings())
  expect_warning(r <- recryst_temperature(f, solidus_c = 3410), NA)
  expect_gt(r$homologous, 0.38)
  expect_lt(r$homologous, 0.52)
  expect_equal(r$note, "temperature outside the readings")
  expect_equal(r$homologous, (r$temp_c + 273.15) / (3410 + 273.15))
  b <- recryst_temperature(bell_softening(), solidus_c = 915)
  expect_gt(b$homologous, 0.4)
  expect_lt(b$homologous, 0.5)
})

test_that("the process window is the t probability of a reading", {
  f <- bell_fit()
  w <- process_window(f, c(95, 125), n_points = 15)
  expect_s3_class(w, "softanneal_window")
  expect_equal(nrow(w), 225L)
  expect_equal(w$inside, w$probability >= 0.9)
  k <- which.max(w$probability)
  p <- predict(f, w[k, ], se.fit = TRUE, interval = "prediction")
  sd <- (p$fit[3L] - p$fit[1L]) / qt(0.975, p$df)
  expect_equal(w$probability[k], unname(pt((125 - p$fit[1L]) / sd, p$df) -
                                          pt((95 - p$fit[1L]) / sd, p$df)), tolerance = 1e-8)
  curve <- process_window(f, c(95, 125), target = "curve", temp_c = c(300, 320, 340),
                          time_min = c(5, 10, 40))
  expect_equal(nrow(curve), 9L)
  expect_output(print(w), "Process window: 95 to 125 HV")
  expect_output(print(w), "estimate")
  expect_output(print(process_window(f, c(10, 11), n_points = 5)), "No point of the grid")
  expect_good_window <- ggplot2::autoplot(w)
  expect_s3_class(expect_good_window, "ggplot")
  expect_match(ggplot2::get_alt_text(expect_good_window), "between 95 and 125 HV")
  expect_error(process_window(f, c(125, 95)), class = "softanneal_error_range")
  expect_error(process_window(f, 95), class = "softanneal_error_argument")
  expect_error(process_window(f, c(95, 125), temp_c = 300), class = "softanneal_error_argument")
  expect_error(process_window(f, c(95, 125), probability = 2), class = "softanneal_error_range")
})

test_that("models are compared on step means, and a temperature is predicted from the others", {
  skip_on_cran()
  d <- with_test_seed(62, made_readings(sd_step = 1, theta0 = 0.6, temps = c(290, 310, 330, 350)))
  m <- compare_models(d, c("jmak", "jmak_incubation"))
  expect_s3_class(m, "softanneal_model_table")
  expect_equal(m$model[1L], "jmak_incubation")
  expect_equal(m$delta[1L], 0)
  f <- quietly_fitted(d, "jmak")
  row <- m[m$model == "jmak", ]
  ll <- logLik(f)
  k <- attr(ll, "df")
  expect_equal(row$AICc, -2 * as.numeric(ll) + 2 * k + 2 * k * (k + 1) / (24 - k - 1),
               tolerance = 1e-8)
  # on independent step means with se = "cluster"
  m <- compare_models(d, c("jmak", "jmak_incubation"), se = "cluster")
  f <- quietly_fitted(d, "jmak", se = "cluster")
  g <- 24
  minus2 <- g * (log(2 * pi * f$between / g) + 1)
  row <- m[m$model == "jmak", ]
  expect_equal(row$AICc, minus2 + 12 + 2 * 6 * 7 / (g - 7), tolerance = 1e-8)
  expect_equal(row$BIC, minus2 + 6 * log(g), tolerance = 1e-8)
  # the left-out error by hand
  total <- weight <- 0
  for (t in unique(d$temp_c)) {
    part <- quietly_fitted(d[d$temp_c != t | d$time_min == 0, ])
    test <- stats::aggregate(hardness ~ time_min, d[d$temp_c == t & d$time_min > 0, ], mean)
    guess <- suppressWarnings(predict(part, data.frame(temp_c = t, time_min = test$time_min)))
    total <- total + 4 * sum((guess - test$hardness)^2)
    weight <- weight + 4 * nrow(test)
  }
  expect_equal(row$cv_rmse, sqrt(total / weight), tolerance = 1e-6)
  expect_output(print(m), "best by AICc first")
  few <- compare_models(d[d$temp_c < 315 & d$time_min %in% c(0, 8, 32), ])
  expect_true(all(is.na(few$cv_rmse)))
  expect_match(few$note[few$model == "recovery_jmak_incubation"], "combinations of temperature")
  expect_error(compare_models(d, "linear"), class = "softanneal_error_argument")
  expect_error(compare_models(d, character()), class = "softanneal_error_argument")
})

test_that("a process window may be asked for by temper", {
  f <- bell_fit()
  w <- process_window(f, temper = "H095", n_points = 15)
  expect_equal(attr(w, "limits"), c(95, 125)) # EN 1652, CuZn30; value from memory
  expect_equal(w$probability, process_window(f, c(95, 125), n_points = 15)$probability)
  expect_output(print(w), "temper H095, 95 to 125 HV .*from memory")
  soft <- process_window(f, temper = "OS035", n_points = 5)
  # ASTM B36/B36M, C26000: 65 to 76 HRF; value from memory
  expect_equal(attr(soft, "limits"), convert_hardness(c(65, 76), "HRF", "HV"))
  expect_error(process_window(f, temper = "H04"), "thickness", class = "softanneal_error_argument")
  thick <- process_window(f, temper = "H04", thickness_mm = 0.95, n_points = 5)
  expect_equal(attr(thick, "limits"), convert_hardness(c(81, 86), "HRB", "HV"))
  expect_error(process_window(f), class = "softanneal_error_argument")
  expect_error(process_window(f, c(95, 125), temper = "H095"), class = "softanneal_error_argument")
  read <- fit_softening(with_test_seed(61, made_readings()), scale = "as read")
  read$scale <- "HR15T"
  expect_error(process_window(read, temper = "H095"), class = "softanneal_error_scale")
})
