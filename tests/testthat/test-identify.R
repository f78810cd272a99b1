test_that("the classic case names what is open, why, and the reading that would settle it", {
  d <- with_test_seed(71, made_readings(temps = c(300, 420), times = c(0, 5, 10, 20, 40, 80),
                                        q = 150, half_min = 6, sd_step = 0.5))
  f <- quietly_fitted(d)
  i <- identifiability(f)
  expect_s3_class(i, "softanneal_identifiability")
  expect_named(i, c("term", "estimate", "state", "conf.low", "conf.high", "reason", "advice"))
  q <- i[i$term == "q_kj_mol", ]
  expect_equal(q$state, "only a lower limit")
  expect_equal(q$conf.high, Inf)
  expect_match(q$reason, "420.*was over before the first reading")
  expect_match(q$advice, "^Read at ")
  expect_equal(i$state[i$term == "n"], "determined")
  expect_output(print(i), "only a lower limit")
  # the advised reading settles it
  words <- regmatches(q$advice, gregexpr("[0-9.]+", q$advice))[[1L]]
  extra <- d[rep(1, 8), ]
  extra$temp_c <- as.numeric(words[1L])
  extra$time_min <- as.numeric(words[2L]) * rep(c(0.7, 1, 1.4, 2), 2)
  k <- arrhenius_rate(extra$temp_c, jmak_time(0.5, 1, 1.6) / 6, 330, 150)
  extra$hardness <- 160 - 80 * jmak_fraction(extra$time_min, k, 1.6) + with_test_seed(72, rnorm(8))
  extra$specimen <- "new"
  settled <- quietly_fitted(rbind(d, extra))
  expect_equal(settled$states[["q_kj_mol"]], "determined")
  p <- ggplot2::autoplot(i)
  expect_s3_class(p, "ggplot")
  expect_match(ggplot2::get_alt_text(p), "Activation energy only a lower limit")
})

test_that("a regular fit is determined throughout, with the profile limits", {
  f <- fit_softening(with_test_seed(73, made_readings(sd_step = 0.5)))
  i <- identifiability(f)
  expect_true(all(i$state == "determined"))
  expect_equal(cbind(i$conf.low, i$conf.high), confint(f, method = "profile"), ignore_attr = TRUE)
  expect_length(attr(i, "singular"), 5L)
  expect_gt(attr(i, "condition"), 1)
  wide <- identifiability(f, level = 0.99)
  expect_true(all(wide$conf.low < i$conf.low, wide$conf.high > i$conf.high))
})

test_that("other reasons are given in words", {
  skip_on_cran()
  d <- with_test_seed(74, made_readings(temps = 330))
  one <- identifiability(quietly_fitted(d))
  expect_match(one$reason[one$term == "q_kj_mol"], "one temperature")
  held <- identifiability(quietly_fitted(with_test_seed(74, made_readings()), fixed = c(n = 1.6)))
  expect_match(held$reason[held$term == "n"], "fixed by the call")
  w <- quietly_fitted(tungsten_readings(), "jmak_incubation")
  expect_match(identifiability(w)$reason[6L], "delay alone")
  huber <- fit_softening(with_test_seed(74, made_readings()), loss = "huber")
  expect_error(identifiability(huber), class = "softanneal_error_model")
  expect_error(identifiability(1), class = "softanneal_error_argument")
})

test_that("residual and profile plots carry their data", {
  skip_on_cran()
  f <- fit_softening(with_test_seed(75, made_readings(sd_step = 2)))
  p <- plot_residuals(f)
  expect_s3_class(p, "ggplot")
  expect_match(ggplot2::get_alt_text(p), "in [0-9]+ of 18 steps")
  expect_equal(nrow(ggplot2::layer_data(p, 2L)), 72L)
  q <- ggplot2::autoplot(profile(f, c("n", "q_kj_mol"), n_points = 3))
  expect_s3_class(q, "ggplot")
  expect_match(ggplot2::get_alt_text(q), "Exponent n, Activation energy")
  path <- withr::local_tempfile(fileext = ".pdf")
  grDevices::pdf(path)
  expect_s3_class(plot(profile(f, "n", n_points = 3)), "softanneal_profile")
  expect_s3_class(plot(process_window(f, c(95, 125), n_points = 5)), "softanneal_window")
  grDevices::dev.off()
})

test_that("a profile wakes a process that stands idle before it calls an end", {
  # at the lower end of Q, that is where hardening without a share in the minimum has to set in
  d <- with_test_seed(6, made_readings(n = 2, times = c(0, 8, 16, 32, 64), sd_step = 0.5))
  f <- quietly_fitted(d, "hardening_jmak", se = "model")
  low <- confint(f, "q_kj_mol", method = "profile")[[1L]]
  # at the end all fits with that Q, searched from every start, have risen by the threshold
  held <- quietly_fitted(d, "hardening_jmak", se = "model", fixed = c(q_kj_mol = low))
  rise <- stats::qt(0.975, df.residual(f))^2 * sigma(f)^2
  expect_equal((deviance(held) - deviance(f)) / rise, 1, tolerance = 0.01)
})
