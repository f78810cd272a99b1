# Thresholds, decisions and drawn numbers, with a case on either side of each. What a wrong one would
# do is tried by the mutants of inst/scripts/dev/mutants.R.

test_that("means drawn have the t interval of their own readings", {
  d <- with_test_seed(41, made_readings(sd_step = 1))
  p <- ggplot2::autoplot(fit_softening(d, level = 0.9), level = 0.9)
  lines <- which(vapply(p$layers, \(l) inherits(l$geom, "GeomLinerange"), NA))
  drawn <- do.call(rbind, lapply(lines, \(k) ggplot2::layer_data(p, k)[c("ymin", "ymax")]))
  # as rolled is one step
  step <- paste(d$time_min, ifelse(d$time_min > 0, d$temp_c, 0))
  own <- do.call(rbind, lapply(split(d$hardness, step), \(x) {
    c(stats::t.test(x, conf.level = 0.9)$conf.int)
  }))
  expect_equal(sort(drawn$ymin), sort(own[, 1L]), tolerance = 1e-10, ignore_attr = TRUE)
  expect_equal(sort(drawn$ymax), sort(own[, 2L]), tolerance = 1e-10, ignore_attr = TRUE)
})

test_that("a reason speaks of softening not begun, or over, within a tenth of the drop", {
  f <- fit_softening(with_test_seed(71, made_readings()))
  # the fit with the mean of one condition at a given share of the drop
  at_share <- function(temp_c, time_min, share) {
    k <- abs(f$conditions$temp_c - temp_c) < 1e-6 & f$conditions$time_min %in% time_min
    f$conditions$mean[k] <- f$par[["h_worked"]] - share * (f$par[["h_worked"]] - f$par[["h_soft"]])
    f
  }
  reason <- function(...) reason_for(at_share(...), "q_kj_mol", "only an upper limit")
  times <- sort(unique(f$conditions$time_min))[-1L]
  expect_match(reason(290, 64, 0.099), "290.*had not begun at the last reading")
  expect_no_match(reason(290, 64, 0.101), "had not begun")
  expect_match(reason(370, times, 0.901), "370.*was over before the first reading")
  expect_no_match(reason(370, times, 0.899), "was over")
  for (t in c(290, 330, 370)) f <- at_share(t, 64, 0.949)
  expect_match(reason_for(f, "h_soft", "only an upper limit"), "No temperature has reached")
  expect_no_match(reason_for(at_share(370, 64, 0.951), "h_soft", "only an upper limit"),
                  "No temperature has reached")
})

test_that("temperatures and times within 1e-9 are one condition, in any order of rows", {
  d <- with_test_seed(81, made_readings())
  d$specimen <- rep(c("a", "b"), length.out = nrow(d))
  near <- function(temp, time) {
    e <- d
    off <- rep_len(c(0, 0, 1, 1), nrow(e))
    e$temp_c <- ifelse(e$temp_c == 330, e$temp_c + off * temp * 603.15, e$temp_c)
    e$time_min <- e$time_min * (1 + off * time)
    e
  }
  counts <- function(e) {
    f <- fit_softening(e)
    one <- as.data.frame(suppressWarnings(fit_each(cbind(coil = 1, e), coil)))
    expect_equal(one$sigma, sigma(fit_softening(e, se = "model")), tolerance = 1e-6)
    c(length(f$conditions$mean), max(f$conditions$of_reading) + 1, one$n_steps)
  }
  want <- counts(d)
  expect_identical(want, c(16, 16, 32))
  expect_identical(counts(near(0.5e-9, 0)), want)
  expect_identical(counts(near(0, 0.5e-9)), want)
  expect_identical(counts(near(0.5e-9, 0.5e-9)), want)
  expect_identical(counts(near(2e-9, 0))[1L], 16 + 5) # not at time zero, which has no temperature
  expect_identical(counts(near(0, 2e-9))[1L], 16 + 15)
  expect_equal(coef(fit_softening(near(0.5e-9, 0.5e-9))), coef(fit_softening(d)), tolerance = 1e-8)
})

# Q may be anything from 28 kJ/mol upwards: its error by the curvature is about its own size.
wide_readings <- function() {
  data.frame(temp_c = rep(c(310, 390), each = 8), time_min = rep(c(0, 16, 32, 64), each = 2),
             hardness = c(148, 156, 150, 149, 117, 114, 72, 74, 158, 158, 78, 77, 83, 88, 68, 73),
             scale = "HV")
}

test_that("states are those of the profiles where the half width lies between the yardsticks", {
  d <- wide_readings()
  f <- quietly_fitted(d, se = "model")
  expect_identical(unname(f$states[c("n", "q_kj_mol")]), rep("only a lower limit", 2L))
  # the proof, by fits with the parameter held far away
  rise <- function(d, f, ...) {
    (deviance(quietly_fitted(d, se = "model", fixed = c(...))) - deviance(f)) / sigma(f)^2
  }
  least <- stats::qt(0.975, df.residual(f))^2
  expect_lt(rise(d, f, q_kj_mol = 1500), least)
  expect_lt(rise(d, f, n = 9), least)
  # a rate that may be as small as one likes
  d <- data.frame(temp_c = rep(c(290, 310), each = 8), time_min = rep(c(0, 4, 8, 128), each = 2),
                  hardness = c(158, 154, 163, 173, 179, 169, 151, 147, 157, 164, 145, 153, 158,
                               155, 109, 107), scale = "HV")
  f <- quietly_fitted(d, se = "model")
  expect_identical(unname(f$states[c("h_soft", "ln_k_ref", "n", "q_kj_mol")]),
                   c("only an upper limit", "only an upper limit", "only a lower limit",
                     "only a lower limit"))
  expect_lt(rise(d, f, q_kj_mol = 1500), least)
})

test_that("many fits search all starts where the first minimum misfits the scatter", {
  d <- data.frame(coil = "443", temp_c = rep(c(310, 390), each = 10),
                  time_min = rep(c(0, 1, 2, 4, 32), each = 2), scale = "HV",
                  hardness = c(155, 152, 152, 149, 167, 159, 142, 143, 92, 90, 156, 158, 109, 117,
                               85, 88, 92, 90, 79, 80))
  each <- as.data.frame(suppressWarnings(fit_each(d, coil, se = "model")))
  expect_equal(each$sigma, sigma(quietly_fitted(d, se = "model")), tolerance = 1e-7)
})

test_that("no softening is told by the F test against one hardness", {
  skip_on_cran()
  groups <- do.call(rbind, lapply(1:60, function(i) with_test_seed(900 + i, {
    d <- made_readings(times = c(0, 4, 16, 64), n = 2, worked = 100, soft = 100 - i / 12, sd_reading = 2)
    cbind(coil = i, d)
  })))
  groups$specimen <- NULL
  each <- as.data.frame(suppressWarnings(fit_each(groups, coil, se = "model")))
  expected <- vapply(1:60, function(i) {
    d <- groups[groups$coil == i, ]
    level <- mean(d$hardness)
    means <- tapply(d$hardness, list(d$time_min, d$temp_c), mean)
    constant <- 2 * sum((means - level)^2)
    rss <- each$sigma[i]^2 * each$df.residual[i]
    pure <- sum((d$hardness - stats::ave(d$hardness, d$time_min, d$temp_c))^2)
    f <- (constant - (rss - pure)) / 4 / (rss / each$df.residual[i])
    f > stats::qf(CONSTANT_LEVEL, 4, each$df.residual[i])
  }, NA)
  open <- nzchar(each$undetermined)
  # both ends are there, also among groups that leave something open
  expect_gt(min(table(expected[open])), 4L)
  expect_identical(each$status[open] == "no softening", !expected[open])
  expect_false(any(each$status[!open] == "no softening"))
})

test_that("unrecrystallised metal is never softer than the soft level as it is then", {
  # recovery takes more than the whole drop while growth lowers the soft level
  par <- c(h_worked = 120, h_soft = 90, ln_k_ref = log(0.01), n = 1, q_kj_mol = 150, 60, log(0.5), 100,
           40, log(0.1), 120)
  kind <- model_code("recovery_jmak") + 32L # growth with m = 2
  t <- c(1, 1.35, 10, 30, 100, 300)
  soft <- 90 - 40 * (1 - (1 + 0.1 * t)^(-1 / 4))
  worked <- 120 - 60 * log1p(0.5 * t)
  x <- -expm1(-0.01 * t)
  got <- .Call(C_sa_call_hardness, kind, log(t), rep(0, 6), unname(par))[, 1L]
  expect_equal(got, x * soft + (1 - x) * pmax(worked, soft), tolerance = 1e-12)
  # one time at which it lies between the soft levels of the beginning and of then
  expect_true(any(worked < 90 & worked > soft))
})

test_that("draws of a guess stay within e^2 of an energy that the fit hardly fixes", {
  d <- with_test_seed(74, made_readings(temps = c(329.9, 330.1)))
  g <- plan_guess(fit = quietly_fitted(d))
  q <- g$draws[, match("q_kj_mol", names(g$par))]
  expect_equal(range(q) / g$par[["q_kj_mol"]], exp(c(-2, 2)), tolerance = 1e-12)
  # a draw whose levels meet keeps a twentieth of the drop
  sets <- rbind(c(100, 120), c(160, 100), c(82, 80), c(160, 1))
  colnames(sets) <- c("h_worked", "h_soft")
  kept <- keep_falling(sets, c(h_worked = 160, h_soft = 80))
  expect_equal(unname(kept), rbind(c(124, 120), c(160, 100), c(84, 80), c(160, 4)))
})

test_that("one step of the dial from the other readings is not an outlier, a little more is", {
  x <- 50 + c(0.001 * (-5:4), 1.02)
  outlier <- function(x, ...) any(find_outliers(x, resolution = 1, ...)$outlier)
  expect_true(outlier(x, method = "grubbs", level = 0.8))
  x[11L] <- 50.98
  expect_false(outlier(x, method = "grubbs", level = 0.8))
})

test_that("a relative difference of a class is added to the logarithm of a rate", {
  truth <- c(h_worked = 160, h_soft = 78, ln_k_ref = -2.5, n = 1.6, q_kj_mol = 140, dh_rec = 8,
             ln_k_rec = 1, q_rec_kj_mol = 100)
  sd <- c(h_worked = 3, h_soft = 2, ln_k_ref = 0.2, n = 0.1, q_kj_mol = 0.05, dh_rec = 1,
          ln_k_rec = 0.3, q_rec_kj_mol = 0.04)
  design <- class_design(truth, model = "recovery_jmak", sd_groups = sd)
  z <- with_test_seed(3, stats::rnorm(8))
  drawn <- with_test_seed(3, draw_truth(design)$par)
  added <- c("h_worked", "h_soft", "ln_k_ref", "dh_rec", "ln_k_rec")
  expect_equal(drawn[added], (truth + sd * z)[added])
  expect_equal(drawn[setdiff(names(truth), added)], (truth * exp(sd * z))[setdiff(names(truth), added)])
})

test_that("an energy that any larger value fits as well is a limit, however small its error looks", {
  d <- data.frame(temp_c = rep(c(320, 420), each = 5), time_min = rep(c(4, 8, 16, 32, 64), 2),
                  fraction = c(0.03, 0.1, 0.38, 0.8, 0.99, 0.985, 1, 1, 1, 1))
  f <- suppressWarnings(fit_recrystallisation(d, variance = "constant"))
  expect_identical(f$states[["q_kj_mol"]], "only a lower limit")
  high <- suppressWarnings(fit_recrystallisation(d, variance = "constant",
                                                 lower = c(q_kj_mol = 500)))
  expect_lt((deviance(high) - deviance(f)) / sigma(f)^2, stats::qt(0.975, f$df_interval)^2)
  d$fraction[6L] <- 0.96
  f <- suppressWarnings(fit_recrystallisation(d, variance = "constant"))
  expect_identical(f$states[["q_kj_mol"]], "determined")
})

test_that("an outlier is judged by its own step and by the others, with at most 40 degrees of freedom", {
  # a scale without a table and one level: the scatter is constant, 12 steps of 5 readings
  h <- with_test_seed(3, matrix(100 + stats::rnorm(60), 12L))
  h[4L, 2L] <- 108
  id <- as.vector(row(h))
  o <- pooled_of_scale(as.vector(h), id, 12L, 0.05, "as read", 12L)
  top <- o[o$value == 108, ]
  v <- apply(h, 1L, stats::var)[-4L]
  rest <- sum((h[4L, -2L] - mean(h[4L, -2L]))^2)
  # what a slip adds to the other steps counts no more than the 0.999 quantile
  t <- (108 - mean(h[4L, -2L])) / sqrt((40 * mean(v) + rest) / (40 + 3) * 5 / 4)
  expect_lt(max(v) / mean(v), stats::qchisq(0.999, 4) / 4)
  expect_equal(top$statistic, t, tolerance = 1e-3)
  expect_equal(log(top$p.value), log(4 * 60 * stats::pt(t, 43, lower.tail = FALSE)), tolerance = 1e-3)
  expect_equal(top$critical, stats::qt(0.05 / 240, 43, lower.tail = FALSE), tolerance = 1e-9)
  # a second one that hid behind the first
  h[4L, 3L] <- 106.5
  o <- pooled_of_scale(as.vector(h), id, 12L, 0.05, "as read", 12L)
  expect_setequal(o$value[o$outlier], c(108, 106.5))
  # variances with one that no constant scatter explains
  s2 <- c(rep(c(1, 0.8, 1.3, 0.9), 5L), 400)
  most <- stats::qchisq(0.999, 4) / 4
  sigma2 <- stats::uniroot(\(m) mean(pmin(s2, most * m)) - m, c(1.01, 10), tol = 1e-10)$root
  expect_equal(fit_scatter(s2, rep(4, 21L), matrix(1, 21L)), sigma2, tolerance = 1e-3)
  # one step of the dial, however unlikely
  h <- matrix(90, 10L, 5L)
  h[3L, 1L] <- 90.5
  o <- pooled_of_scale(as.vector(h), as.vector(row(h)), 10L, 0.9, "as read", 10L)
  hit <- o[o$value == 90.5, ]
  expect_gt(hit$statistic, hit$critical)
  expect_false(hit$outlier)
})

test_that("few steps that show a part of the scatter badly count for half the others, up to 18", {
  h <- with_test_seed(5, outer(c(180, 170, 100, 95, 90, 88), rep(1, 8L)) *
                        (1 + 0.01 * matrix(stats::rnorm(48), 6L)))
  id <- as.vector(row(h))
  stats <- group_statistics(as.vector(h), id, 6L)
  other <- scatter_elsewhere(7 * stats$sd^2, rep(7L, 6L), stats$mean, "HV", 0, 1:6)
  o <- pooled_of_scale(as.vector(h), id, 6L, 0.05, "HV", 6L)
  df <- pmax(other$df, 17.5)[o$mean[match(stats$mean, o$mean)] * 0 + seq_len(6L)] + 6
  expect_true(any(other$df < 17))
  judged <- o$critical[match(stats$mean, o$mean)]
  few <- which(other$df < 17)
  expect_equal(judged[few], stats::qt(0.05 / (4 * 48), df[few], lower.tail = FALSE), tolerance = 1e-6)
})

test_that("marks follow the group's own numbers within 2 %, and blunders that change something", {
  key <- data.frame(quantity = c("k_per_min", "k_per_min", "q_kj_mol"), temp_c = c(330, 370, NA),
                    value = c(0.02, 0.1, 130), std.error = c(0.1, 0.1, 4), lower = c(0.01, 0.05, 120),
                    upper = c(0.04, 0.2, 140), reference = c(0.02, 0.1, 130), as_given = NA_real_)
  q <- log(0.3 / 0.02) * 8.314462618e-3 / (1 / 603.15 - 1 / 643.15)
  reason <- function(x, ...) {
    out <- data.frame(value = c(0.02, 0.3, x), mark = MARKS[c("right", "wrong", "none")])
    earlier_mistake(3L, x, transform(key, ...), out, "jmak", FALSE)
  }
  expect_match(reason(q * 1.019), "own k")
  expect_match(reason(q * 0.981), "own k")
  expect_null(reason(q * 1.03))
  # the readings as they are give 150.5; with 0.25 standard errors of the reference nothing was changed
  expect_match(reason(150.5, as_given = c(NA, NA, 150)), "blunders of the bench")
  expect_null(reason(152, as_given = c(NA, NA, 150)))
  expect_null(reason(130.9, as_given = c(NA, NA, 130.5)))
  expect_match(how_far(2.9 * 130, key[3L, ]), "standard errors")
  expect_match(how_far(3.1 * 130, key[3L, ]), "too large by the factor 3.1")
  # two digits are too coarse where their width is above the standard error
  rounds <- function(se) {
    at <- data.frame(quantity = "q_kj_mol", std.error = se)
    rounds_to(138, 140, digits_of("1.4e2"), identity, at)
  }
  expect_identical(rounds(10), "right")
  expect_identical(rounds(6), "coarse")
  # Q from deg C is that within a tenth
  key$std.error[3L] <- 1
  key[3L, c("lower", "upper")] <- c(128, 132)
  celsius <- slope_energy(log(key$value[1:2]), 1 / key$temp_c[1:2])
  of <- function(x) {
    fits <- fit_test(x, as.character(x), key[3L, ])
    unit_mistake(x, key[3L, ], key, "brass", fits)
  }
  expect_match(of(celsius * 1.05), "deg C in place of K")
  expect_null(of(celsius * 1.15))
})
