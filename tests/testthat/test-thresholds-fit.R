# Decisions that turn on a threshold, each just inside and just outside of it.

# Readings at three temperatures, each between two fractions of the softening.
between_fractions <- function(low, high, temps) {
  parts <- Map(function(low, high, temp) {
    k <- arrhenius_rate(temp, jmak_time(0.5, 1, 1.6) / 12, 330, 140)
    made_readings(temps = temp, times = c(0, jmak_time(seq(low, high, length.out = 5), k, 1.6)),
                  n = 2, sd_reading = 0.2)
  }, low, high, temps)
  quietly_fitted(with_test_seed(5, do.call(rbind, parts)), se = "model")
}

test_that("softening counts as over or not begun within a tenth of its end, not before", {
  fit <- between_fractions(c(0.02, 0.1, 0.75), c(0.3, 0.97, 0.97), c(300, 330, 370))
  p <- progress(fit)
  expect_true(p$first[3] > 0.6 && p$first[3] < 0.88 && p$last[1] > 0.15 && p$last[1] < 0.45)
  reason <- reason_for(fit, "q_kj_mol", "not determined")
  expect_no_match(reason, "was over|had not begun")
  far <- between_fractions(c(0.005, 0.1, 0.96), c(0.05, 0.97, 0.999), c(300, 330, 370))
  expect_match(reason_for(far, "q_kj_mol", "not determined"), "370 .*was over before the first")
  expect_no_match(reason_for(far, "q_kj_mol", "not determined"), "300|330")
})

test_that("the soft plateau counts as reached from 95 % on", {
  fit <- between_fractions(c(0.05, 0.1), c(0.5, 0.8), c(310, 330))
  fit$par[["h_soft"]] <- 80 # the value behind the readings, whatever so few of them give
  p <- progress(fit)
  expect_true(max(p$last) > 0.6 && max(p$last) < 0.9)
  expect_match(reason_for(fit, "h_soft", "not determined"), "No temperature has reached its soft plateau")
})

test_that("a reading is advised where the ends differ by two standard deviations, not by less", {
  fit <- between_fractions(c(0.02, 0.1, 0.3), c(0.5, 0.9, 0.99), c(310, 330, 350))
  sd <- sqrt(reading_variance(fit))
  ends <- function(shift) cbind(unname(fit$par), unname(fit$par) + c(0, shift * sd, 0, 0, 0))
  at <- candidate_readings(fit, NULL, NULL)
  expect_match(advice_for(fit, ends(3), at), "^Read at ")
  expect_match(advice_for(fit, ends(1.5), at), "No single reading would settle it")
})

test_that("draws of a guess keep a twentieth of the drop, and stay within e^2 of a fit", {
  par <- c(h_worked = 160, h_soft = 80)
  sets <- rbind(c(h_worked = 100, h_soft = 120), c(170, 60), c(90, -5))
  kept <- keep_falling(sets, par)
  expect_equal(unname(kept[, "h_worked"] - kept[, "h_soft"]), c(4, 110, 86))
  expect_equal(unname(kept[3, "h_soft"]), 4)
  fit <- between_fractions(c(0.02, 0.1, 0.3), c(0.5, 0.9, 0.99), c(310, 330, 350))
  fit$states[] <- "determined"
  fit$cov_full[] <- 0
  diag(fit$cov_full)[match(c("n", "q_kj_mol"), names(fit$par))] <- (3 * fit$par[c("n", "q_kj_mol")])^2
  g <- plan_guess(fit = fit, draws = 400)
  for (term in c("n", "q_kj_mol")) {
    ratio <- log(g$draws[, term] / fit$par[[term]])
    expect_equal(range(ratio), c(-2, 2), tolerance = 1e-8)
  }
})

test_that("intervals from components: degrees of freedom, edges, open parameters, what is known of a piece", {
  # t whose intervals of 95 and 68.27 % stand in the ratio
  for (df in c(2, 7, 40)) {
    expect_equal(matching_df(stats::qt(0.975, df) / stats::qt(stats::pnorm(1), df)), df, tolerance = 1e-4)
  }
  # mass of equal nodes 1, 2, 3, 4 is even from 0.5 to 4.5
  r <- list(sd = matrix(1:4, 4L, 4L), weight = rep(1, 4L))
  even <- marginal_sds(r, NULL)
  expect_equal(unname(even[1L, ]), c(2.5, 0.5 + 4 * 0.025, 0.5 + 4 * 0.975), tolerance = 1e-12)
  # as rolled a piece joins the run it meets later
  steps <- error_runs(list(run = c("a", "b", "a", "b"), label_c = rep(330, 4)), 1:4, c(0, 0, 8, 8),
                      c(1L, 2L, 1L, 2L), 1:4)
  expect_identical(steps$run[1:2], steps$run[3:4])
  d <- with_test_seed(12, made_readings(temps = c(310, 330, 350), sd_step = 1, n = 2, sd_reading = 0.3))
  fit <- quietly_fitted(d, se = "components")
  gradient <- diag(length(fit$par))
  expect_true(all(is.finite(error_interval(fit, gradient)$se)))
  open <- fit
  open$states[["q_kj_mol"]] <- "not determined"
  is_q <- names(fit$par) == "q_kj_mol"
  expect_identical(is.na(error_interval(open, gradient)$se), is_q)
  # the interval of a new reading on a piece that was fitted holds what is not known of the piece
  at <- data.frame(temp_c = 330, time_min = 12, specimen = d$specimen[d$temp_c == 330][1L])
  half <- function(fit) {
    m <- predict(fit, at, interval = "prediction", specimen = "same", level = 2 * stats::pnorm(1) - 1)
    (m[, "upr"] - m[, "lwr"])[[1L]] / 2
  }
  parts <- attr(predict(fit, at, interval = "prediction", specimen = "same"), "components")
  slope <- temperature_slope(fit, 330 + own_modes(fit, at$specimen, 1L)$furnace, 12, NULL)
  unsure <- fit
  unsure$errors$mode_sd <- fit$errors$mode_sd + 5
  m <- modes_of(unsure)
  of <- function(group) m$std.error[m$group == group & m$level %in% c(at$specimen, "330 C")]
  wider <- half(fit)^2 - sum(parts[, c("furnace", "specimen")]^2) + of("specimen")^2 +
    slope^2 * of("furnace")^2
  expect_equal(half(unsure), sqrt(wider), tolerance = 0.02)
})

test_that("profiles of components end where the likelihood has risen by the squared quantile", {
  d <- with_test_seed(12, made_readings(temps = c(310, 330, 350), sd_step = 1, n = 2, sd_reading = 0.3))
  fit <- quietly_fitted(d, se = "components")
  ends <- components_profile(fit, fit$errors, 0.95)$limits["q_kj_mol", ]
  expect_equal(diff(ends)[[1L]], diff(confint(fit, "q_kj_mol")[1L, ])[[1L]], tolerance = 0.15)
})
