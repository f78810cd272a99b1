# Summaries, outliers, comparison with a baseline, laboratories and budgets: behaviour. Published
# values are in test-external-precision.R.

steps <- function(n = 5) {
  data.frame(specimen = rep(c("B", "A"), each = 2 * n), temp_c = 330,
             time_min = rep(rep(c(4, 8), each = n), 2),
             hardness = c(88, 88.5, 87.5, 88, 89, 80, 79.5, 81, 80.5, 80, 90, 91, 90.5, 90, 92, 70,
                          71, 72, 71, 70.5)[
               rep(1:5, 4 * n / 5) + rep(0:3 * 5, each = n)], scale = "HRF")
}

test_that("a summary agrees with mean, sd and t.test of each group, in order of appearance", {
  d <- steps()
  s <- summarise_readings(d)
  expect_identical(s$specimen, c("B", "B", "A", "A"))
  for (i in 1:4) {
    x <- d$hardness[d$specimen == s$specimen[i] & d$time_min == s$time_min[i]]
    test <- t.test(x)
    expect_equal(s$mean[i], mean(x))
    expect_equal(s$sd[i], sd(x))
    expect_equal(c(s$conf.low[i], s$conf.high[i]), as.vector(test$conf.int))
    expect_equal(c(s$min[i], s$max[i]), range(x))
    expect_equal(s$n[i], 5)
  }
  shuffled <- summarise_readings(d[20:1, ])
  expect_equal(shuffled$mean, rev(s$mean))
})

test_that("a summary keeps the class of the input and names of chosen columns", {
  d <- stats::setNames(steps(), c("piece", "oven", "minutes", "reading", "scale"))
  s <- summarise_readings(d, hardness = reading, specimen = "piece", temp = oven, time = minutes)
  expect_named(s, c("piece", "oven", "minutes", "scale", "n", "n_missing", "mean", "sd", "std.error",
                    "conf.low", "conf.high",
                    "min", "max"))
  expect_s3_class(ggplot2::autoplot(s), "ggplot")
  skip_if_not_installed("data.table")
  dt <- summarise_readings(data.table::as.data.table(steps()))
  expect_s3_class(dt, c("softanneal_steps", "data.table", "data.frame"), exact = TRUE)
  expect_s3_class(summarise_readings(read_readings(steps())), c("softanneal_steps", "data.frame"),
                  exact = TRUE)
})

test_that("HV columns are means of converted readings", {
  s <- summarise_readings(steps(), in_hv = TRUE)
  hv <- convert_hardness(steps()$hardness[1:5], "HRF", "HV")
  expect_equal(s$mean_hv[1], mean(hv))
  expect_equal(s$sd_hv[1], sd(hv))
})

test_that("five equal readings are known to the step of the dial, not exactly", {
  d <- data.frame(specimen = "K", temp_c = 350, time_min = rep(c(8, 16), each = 5), scale = "HR30T",
                  hardness = c(69, 69, 69, 69, 69, 68.5, 70, 71, 69, 67))
  s <- summarise_readings(d, in_hv = TRUE)
  u <- 0.5 / sqrt(12) # JCGM 100, F.2.2.1
  expect_equal(s$sd[1L], 0)
  expect_equal(s$std.error[1L], u)
  expect_equal(s$conf.high[1L] - s$mean[1L], qnorm(0.975) * u)
  expect_equal(s$std.error[2L], sd(d$hardness[6:10]) / sqrt(5)) # where the scatter is larger it counts
  expect_equal(s$conf.high[2L], t.test(d$hardness[6:10])$conf.int[2L])
  slope <- diff(convert_hardness(c(68.99, 69.01), "HR30T", "HV")) / 0.02
  expect_equal(s$std.error_hv[1L], u * slope, tolerance = 0.01)
  expect_equal(s$conf.high_hv[1L] - s$conf.low_hv[1L], 2 * qnorm(0.975) * u * slope, tolerance = 0.01)
})

test_that("missing and single readings are counted and said once", {
  d <- steps()
  d$hardness[1] <- NA
  w <- expect_warning(s <- summarise_readings(d), class = "softanneal_warning_missing")
  expect_identical(w$rows, 1L)
  expect_identical(s$n, c(4L, 5L, 5L, 5L))
  expect_identical(s$n_missing[1], 1L)
  expect_warning(one <- summarise_readings(steps()[c(1, 6:10), ]),
                 class = "softanneal_warning_too_few")
  expect_true(is.na(one$sd[1]) && is.na(one$conf.low[1]) && one$mean[1] == 88)
  empty <- steps()
  empty$hardness[1:5] <- NA
  s <- suppressWarnings(summarise_readings(empty))
  expect_true(is.na(s$mean[1]) && is.na(s$max[1]) && s$n[1] == 0L)
  expect_equal(s$mean[-1], summarise_readings(steps())$mean[-1])
  broken <- steps()
  broken$specimen[3] <- NA
  expect_error(summarise_readings(broken), class = "softanneal_error_missing")
})

test_that("close readings on a large offset keep their spread", {
  x <- c(1e9 + 1:5)
  d <- transform(steps()[1:5, ], hardness = x)
  expect_equal(summarise_readings(d)$sd, sd(1:5), tolerance = 1e-12)
})

test_that("outliers are found in groups and nothing is removed", {
  d <- steps()
  d$hardness[13] <- 60
  o <- find_outliers(d)
  expect_identical(nrow(o), 4L)
  expect_identical(o$row[o$outlier], 13L)
  expect_output(print(o), "not removed")
  expect_output(print(find_outliers(steps())), "No outliers")
  esd <- find_outliers(d, method = "esd", max_outliers = 2)
  expect_identical(nrow(esd), 8L)
  expect_identical(esd$row[esd$outlier], 13L)
})

# A bench on HRB whose scatter is constant in HV: three times as large on the soft end of the scale.
hrb_bench <- function(n = 3L) {
  hv <- rep(c(165, 150, 130, 110, 95, 85, 80), each = n, times = 4)
  at <- c(165, 150, 130, 110, 95, 85, 80)
  hrb <- convert_hardness(at, "HV", "HRB")
  slope <- (convert_hardness(at + 4, "HV", "HRB") - convert_hardness(at - 4, "HV", "HRB")) / 8
  sd <- 1.5 * slope[match(hv, at)]
  d <- data.frame(specimen = rep(c("A", "B", "C", "D"), each = 7L * n), temp_c = 330,
                  time_min = rep(c(0, 4, 8, 16, 32, 64, 128), each = n, times = 4), scale = "HRB",
                  hardness = round(hrb[match(hv, at)] + stats::rnorm(28L * n, 0, sd), 1))
  structure(d, sd = sd)
}

test_that("outliers by the scatter of other steps: scatter constant in HV, read on HRB", {
  with_test_seed(31, {
    benches <- lapply(1:30, \(i) hrb_bench(if (i %% 2L) 3L else 5L))
    places <- lapply(benches, \(d) sample(nrow(d), 1L))
  })
  flagged <- vapply(benches, \(d) any(find_outliers(d)$outlier), NA)
  expect_lte(sum(flagged), 3L)
  # each step for itself: one in twenty of 28 clean steps
  expect_gt(sum(vapply(benches, \(d) any(find_outliers(d, "grubbs")$outlier), NA)), 10L)
  found <- mapply(function(d, i) {
    d$hardness[i] <- d$hardness[i] - 8 * attr(d, "sd")[i]
    o <- find_outliers(d)
    i %in% o$row[o$outlier]
  }, benches, places)
  expect_gte(sum(found), 28L)
})

test_that("a slip of the pen is named where it explains the number better than another cause", {
  with_test_seed(32, {
    true <- stats::runif(200, 60, 150)
    others <- true + stats::rnorm(200, 0, 0.7)
    astray <- round(true + sample(c(-1, 1), 200, TRUE) * stats::runif(200, 8, 14) * 1.5, 1)
  })
  expect_lte(mean(nzchar(mapply(likely_slip, astray, others, 1.5))), 0.1)
  expect_true(all(mapply(likely_slip, true / 10, others, 1.5) == "decimal point?"))
  expect_identical(likely_slip(131, 150, 2), "")
})

test_that("readings of several groups in one step are no sample", {
  d <- rbind(transform(steps(), group = "a"), transform(steps(), group = "b"))
  d$hardness <- d$hardness + ifelse(d$group == "b", 20, 0)
  o <- find_outliers(d)
  expect_identical(nrow(o), 8L)
  expect_true("group" %in% names(o))
  expect_identical(nrow(find_outliers(d, by = character())), 4L)
})

test_that("one step of the display is not an outlier, and small groups are not tested", {
  x <- c(90, 90, 90, 90, 90.5)
  expect_false(find_outliers(x)$outlier)
  expect_true(find_outliers(x, resolution = 0)$outlier)
  expect_equal(find_resolution(c(90, 91.5, 92)), 0.5)
  expect_equal(find_resolution(c(1.1, 2.2, 3.3)), 0.1)
  expect_equal(find_resolution(c(pi, exp(1))), 0)
  expect_warning(small <- find_outliers(c(1, 2)), class = "softanneal_warning_too_few")
  expect_false(small$outlier)
  expect_true(is.na(small$statistic))
  expect_false(find_outliers(rep(90, 6))$outlier)
  expect_error(find_outliers("a"), class = "softanneal_error_argument")
})

test_that("the Grubbs test keeps its level: false alarms in about alpha of normal samples", {
  set.seed(11)
  k <- 4000
  x <- rnorm(5 * k)
  flagged <- outlier_table(x, rep(seq_len(k), each = 5), k, "grubbs", 0.05, 1, 0)$table$outlier
  # binomial standard deviation 0.0034
  expect_lt(abs(mean(flagged) - 0.05), 0.014)
})

test_that("a baseline comparison gives one of three answers", {
  skip_on_cran()
  rolled <- c(92.0, 91.5, 92.5, 92.0, 91.0)
  same <- compare_baseline(c(91.5, 92.0, 91.5, 91.0, 92.0), rolled, scale = "HRF")
  expect_identical(same$verdict, "unchanged")
  expect_equal(same$margin, 1.5)
  expect_match(same$margin_source, "value from memory")
  changed <- compare_baseline(c(78, 79, 77.5, 78.5, 78), rolled, margin = 1.5)
  expect_identical(changed$verdict, "changed")
  unsure <- compare_baseline(c(90, 93), c(91, 92), margin = 1.5)
  expect_identical(unsure$verdict, "cannot tell")
  expect_gt(unsure$n_needed, 2)
  expect_output(print(unsure), "cannot tell with so few readings")
  expect_equal(same$conf.int, as.vector(t.test(c(91.5, 92.0, 91.5, 91.0, 92.0), rolled)$conf.int))
  expect_identical(nrow(tidy(same)), 1L)
  expect_error(compare_baseline(rolled, rolled), class = "softanneal_error_argument")
  expect_error(compare_baseline(rolled, rolled, scale = "HV10"),
               class = "softanneal_error_argument")
  expect_error(compare_baseline(92, rolled, margin = 1), class = "softanneal_error_too_few")
  expect_error(compare_baseline(transform(steps(), scale = rep(c("HRF", "HRB"), 10)), steps()),
               class = "softanneal_error_scale")
  expect_error(compare_baseline(rolled, rolled[-1], margin = 1, paired = TRUE),
               class = "softanneal_error_argument")
  expect_warning(compare_baseline(c(rolled, NA), rolled, margin = 1),
                 class = "softanneal_warning_missing")
})

test_that("trade facts: small relaxation is unchanged, a large change is questioned", {
  # common practice, no source: at room temperature a small relaxation is possible, a substantial
  # change is not expected; recrystallisation is far above room temperature; five readings per step
  rolled <- c(92.0, 91.5, 92.5, 92.0, 91.5)
  relaxed <- compare_baseline(rolled - 0.3, rolled, scale = "HRF")
  expect_identical(relaxed$verdict, "unchanged")
  expect_false(grepl("not expected", paste(capture.output(print(relaxed)), collapse = " ")))
  fallen <- compare_baseline(rolled - 8, rolled, scale = "HRF")
  expect_output(print(fallen), "not expected at room temperature")
  expect_output(print(fallen), "common practice, no source")
  # five readings of a usual scatter are enough to detect a change of two margins, two are not
  sd <- 0.7
  expect_gt(baseline_power(c(5, 5), sd, 3, 0.05, FALSE)[["detect"]], 0.8)
  expect_lt(baseline_power(c(2, 2), sd, 3, 0.05, FALSE)[["detect"]], 0.8)
})

test_that("readings all alike fall back on their rounding", {
  flat <- compare_baseline(rep(92, 5), rep(92, 5), margin = 1.5)
  expect_identical(flat$rounded_to, 1)
  expect_equal(flat$std.error, 1 / sqrt(12) * sqrt(2 / 5))
  expect_true(all(is.finite(flat$power)))
  expect_output(print(flat), "rounding")
})

test_that("chances are those of the verdicts: power.t.test where it applies, simulation elsewhere", {
  # with a margin far above the scatter nothing is called unchanged that is not, and Welch is Student
  # for many readings
  expect_equal(baseline_power(c(400, 400), 12, 2, 0.05, FALSE)[["detect"]],
               power.t.test(400, 2, 12, strict = TRUE)$power, tolerance = 1e-3)
  expect_equal(baseline_power(c(40, 40), 3, 1, 0.05, TRUE)[["detect"]],
               power.t.test(40, 1, 3, type = "paired", strict = TRUE)$power, tolerance = 1e-3)
  for (n in list(c(5, 5), c(3, 8), c(4, 12))) {
    p <- baseline_power(n, 0.9, 1.5, 0.05, FALSE)
    seen <- with_test_seed(7, vapply(c(detect = 1.5, prove = 0), function(shift) {
      k <- 20000
      x <- matrix(rnorm(n[1L] * k, shift, 0.9), k)
      y <- matrix(rnorm(n[2L] * k, 0, 0.9), k)
      d <- rowMeans(x) - rowMeans(y)
      a <- rowSums((x - rowMeans(x))^2) / (n[1L] - 1) / n[1L]
      b <- rowSums((y - rowMeans(y))^2) / (n[2L] - 1) / n[2L]
      df <- (a + b)^2 / (a^2 / (n[1L] - 1) + b^2 / (n[2L] - 1))
      same <- abs(d) + qt(0.95, df) * sqrt(a + b) <= 1.5
      changed <- !same & abs(d) > qt(0.975, df) * sqrt(a + b)
      mean(if (shift > 0) changed else same)
    }, 0))
    # standard error of a share 0.0035
    expect_lt(max(abs(p - seen)), 0.0125)
  }
})

test_that("laboratories: unequal cells agree with the ANOVA of stats, errors are named", {
  set.seed(3)
  d <- data.frame(group = rep(1:5, c(3, 4, 5, 4, 6)), specimen = "ring")
  d$hardness <- 60 + rnorm(5)[d$group] + rnorm(nrow(d), 0, 0.5)
  l <- compare_laboratories(d)
  a <- anova(lm(hardness ~ factor(group), d))
  w <- l$components
  expect_equal(w$statistic[1], a$`F value`[1])
  expect_equal(w$variance[w$term == "within"], a$`Mean Sq`[2])
  expect_equal(w$p.value[1], a$`Pr(>F)`[1])
  expect_true(all(w$conf.low <= w$sd & w$sd <= w$conf.high))
  expect_equal(sum(l$cells$h), 0, tolerance = 1e-12)
  expect_error(compare_laboratories(d[1:3, ]), class = "softanneal_error_too_few")
  expect_error(compare_laboratories(d[c(1, 4:22), ]), class = "softanneal_error_too_few")
  expect_error(compare_laboratories(d, cell_mean = "hardness"), class = "softanneal_error_argument")
  two <- compare_laboratories(d[d$group < 3, ])
  expect_true(all(is.na(two$cells$h_critical)))
  expect_output(print(two), "2 laboratories")
})

test_that("variance component intervals cover as often as they say", {
  set.seed(5)
  p <- 8
  n <- 4
  inside <- replicate(600, {
    means <- rnorm(p, 0, sqrt(1 + 0.5 / n))
    ms <- 0.5 * rchisq(1, p * (n - 1)) / (p * (n - 1))
    v <- var(means)
    w <- variance_components("m", n * v, ms, v, rep(n, p), max(v - ms / n, 0), 0.9)
    true <- sqrt(c(0.5, 1, 1.5))
    w$conf.low <= true & true <= w$conf.high
  })
  # binomial standard deviation 0.012
  expect_true(all(abs(rowMeans(inside) - 0.9) < 0.045))
})

test_that("propagation: exact and numerical derivatives agree, correlations count", {
  est <- c(a = 3, b = 2)
  u <- c(0.01, 0.02)
  f <- propagate_uncertainty(~ a^2 * exp(b), est, u)
  g <- propagate_uncertainty(function(a, b) a^2 * exp(b), est, u)
  expect_equal(f$std_uncertainty, g$std_uncertainty, tolerance = 1e-9)
  expect_equal(f$std_uncertainty, sqrt((6 * exp(2) * 0.01)^2 + (9 * exp(2) * 0.02)^2))
  same <- propagate_uncertainty(~ a - b, est, c(1, 1), correlation = matrix(1, 2, 2))
  expect_equal(same$std_uncertainty, 0)
  expect_warning(propagate_uncertainty(~ a - b, est, c(1, 1), df = 5, correlation = diag(2)),
                 class = "softanneal_warning_fit")
  expect_equal(propagate_uncertainty(~ a + b, est, c(b = 0.02, a = 0.01))$table$std_uncertainty,
               c(0.01, 0.02))
  expect_error(propagate_uncertainty(~ a, est, u), class = "softanneal_error_argument")
  expect_error(propagate_uncertainty(~ a + b, c(3, 2), u), class = "softanneal_error_argument")
  expect_error(propagate_uncertainty(~ a + b, est, c(-1, 1)), class = "softanneal_error_range")
  expect_error(propagate_uncertainty(~ a + b, est, u, correlation = matrix(c(1, 2, 2, 1), 2)),
               class = "softanneal_error_range")
  expect_error(propagate_uncertainty(function(a, b) NA, est, u),
               class = "softanneal_error_argument")
  expect_error(propagate_uncertainty("a", est, u), class = "softanneal_error_argument")
  expect_equal(sum(f$table$share), 1)
})

test_that("a budget adds up by hand", {
  x <- c(78, 79, 77.5, 78.5, 78)
  b <- uncertainty_budget(x, scale = "HRF", machine = 1.2, resolution = 0.1, specimen_sd = 0.3,
                          specimen_df = 4)
  parts <- c(sd(x) / sqrt(5), 0.1 / sqrt(12), 0.3, 1.2 / sqrt(3))
  expect_equal(b$std_uncertainty, sqrt(sum(parts^2)))
  expect_equal(b$df, sum(parts^2)^2 / (parts[1]^4 / 4 + parts[3]^4 / 4))
  expect_equal(b$expanded, qt(0.975, floor(b$df)) * b$std_uncertainty)
  expect_equal(b$estimate, mean(x))
  expect_output(print(b), "78.2")
  default <- uncertainty_budget(x, scale = "HRF")
  expect_match(default$table$how[default$table$input == "machine"], "value from memory")
})

test_that("the machine cancels in a change on one machine, and only there", {
  x <- c(78, 79, 77.5, 78.5, 78)
  y <- c(92.0, 91.5, 92.5, 92.0, 91.0)
  one <- uncertainty_budget(x, y, scale = "HRF")
  expect_equal(one$table$contribution[one$table$input == "machine"], 0)
  two <- uncertainty_budget(x, y, scale = "HRF", same_machine = FALSE)
  expect_equal(two$std_uncertainty^2 - one$std_uncertainty^2, 2 * (1 / sqrt(3))^2)
  expect_equal(one$estimate, mean(x) - mean(y))
  expect_error(uncertainty_budget(x, scale = "HV10"), class = "softanneal_error_argument")
  expect_error(uncertainty_budget(x), class = "softanneal_error_argument")
  expect_error(uncertainty_budget(78, scale = "HRF"), class = "softanneal_error_too_few")
  expect_equal(uncertainty_budget(78, scale = "HRF", repeatability_sd = 0.6)$df, Inf)
})

test_that("plots carry alternative text, units and all points", {
  r <- read_readings(steps())
  p <- ggplot2::autoplot(r)
  expect_s3_class(p, "ggplot")
  expect_match(ggplot2::get_alt_text(p), "degrees Celsius")
  expect_identical(nrow(ggplot2::layer_data(p, 1)), 20L)
  expect_equal(sort(ggplot2::layer_data(p, 3)$y), sort(summarise_readings(steps())$mean))
  l <- compare_laboratories(transform(steps(), group = specimen, specimen = time_min))
  expect_match(ggplot2::get_alt_text(ggplot2::autoplot(l)), "h and k")
  b <- uncertainty_budget(c(78, 79, 77.5), scale = "HRF")
  expect_equal(max(ggplot2::layer_data(ggplot2::autoplot(b), 1)$x), b$std_uncertainty)
  c1 <- compare_baseline(c(78, 79, 77.5), c(78, 79, 77), scale = "HRF")
  expect_match(ggplot2::get_alt_text(ggplot2::autoplot(c1)), "Verdict")
  expect_error(ggplot2::autoplot(r, colour = 1), class = "softanneal_error_argument")
  grDevices::pdf(NULL)
  on.exit(grDevices::dev.off())
  expect_identical(plot(b), b)
})
