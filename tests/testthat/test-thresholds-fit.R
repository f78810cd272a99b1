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
