# Statistical behaviour over many simulated data sets, with its Monte Carlo error. Long (some three
# minutes): only with SOFTANNEAL_EXTENDED_TESTS=true. Each test prints its numbers. Limits are four
# standard errors of the simulation (once in 16 000 by chance) about what is claimed; where a method
# is an approximation the room given to it stands beside the test.

skip_unless_extended <- function() {
  skip_if_not(extended_tests(), "extended test: SOFTANNEAL_EXTENDED_TESTS is not \"true\"")
}

monte_carlo_error <- function(p, n) sqrt(p * (1 - p) / n)

# Shares of `hits` (one column per cell) within four standard errors of `p`, and `room` on top.
expect_share <- function(hits, p, room = 0, title) {
  hits <- as.matrix(hits)
  share <- colMeans(hits)
  limit <- 4 * monte_carlo_error(p, nrow(hits)) + room
  message(title, ", ", nrow(hits), " data sets, claimed ", p, ", Monte Carlo standard error ",
          signif(monte_carlo_error(p, nrow(hits)), 2), ": ",
          paste0(if (is.null(names(share))) "" else paste0(names(share), " "),
                 formatC(share, digits = 4, format = "f"), collapse = ", "))
  expect_true(all(abs(share - p) <= limit), label = paste(title, "within", signif(limit, 3)))
}

scenario <- list(temps = c(290, 330, 370, 410), times = c(0, 4, 8, 16, 32, 64, 128), n = 6)
truth <- c(h_worked = 160, h_soft = 80, n = 1.6, q_kj_mol = 140)

# Estimates and hits of all kinds of interval over `sets` data sets.
coverage_study <- function(sets, seed, sd_step, sd_reading) {
  new <- data.frame(temp_c = 330, time_min = 20)
  curve <- 80 + 80 * (1 - jmak_fraction(20, jmak_time(0.5, 1, 1.6) / 12, 1.6))
  with_test_seed(seed, lapply(seq_len(sets), function(k) {
    d <- do.call(made_readings, c(scenario, sd_step = sd_step, sd_reading = sd_reading))
    hits <- lapply(c(cluster = "cluster", steps = "steps", model = "model"), function(kind) {
      f <- fit_softening(d, se = kind)
      ci <- confint(f)[names(truth), ]
      half <- time_to(f, temp_c = 330)
      p <- predict(f, new, interval = "confidence")
      c(ci[, 1L] <= truth & truth <= ci[, 2L],
        t50 = half$conf.low <= 12 && 12 <= half$conf.high,
        curve = p[, "lwr"] <= curve && curve <= p[, "upr"])
    })
    f <- fit_softening(d)
    error <- \(type) sqrt(diag(vcov(f, type = type)))[names(truth)]
    list(hits = hits, estimate = coef(f)[names(truth)], lack_of_fit = f$lack_of_fit$p_value,
         steps = error("steps"), cluster = error("cluster"))
  }))
}

hits_of <- function(study, kind) t(vapply(study, \(s) as.numeric(s$hits[[kind]]), numeric(6L))) |>
  `colnames<-`(c(names(truth), "t50", "curve"))

test_that("intervals cover and estimates are unbiased where readings of a step share errors", {
  skip_on_cran()
  skip_unless_extended()
  study <- coverage_study(1000L, 601, sd_step = 1.5, sd_reading = 1.5)
  # pooled over steps that scatter alike: the exact kind here
  expect_share(hits_of(study, "steps"), 0.95, title = "coverage, se = 'steps'")
  # sandwich with t on steps minus parameters: with 28 steps, few of which carry Q, too seldom, as the
  # help page says (0.87 for Q, 0.92 to 0.95 for the others)
  expect_share(hits_of(study, "cluster"), 0.91, 0.04, "coverage, se = 'cluster'")
  # readings taken as independent cover far too seldom, as the help page says
  expect_true(all(colMeans(hits_of(study, "model")) < 0.80))
  estimate <- t(vapply(study, \(s) s$estimate, truth))
  spread <- apply(estimate, 2L, stats::sd)
  bias <- (colMeans(estimate) - truth) / spread
  message("bias in standard deviations of the estimate (Monte Carlo error ",
          signif(1 / sqrt(nrow(estimate)), 2), "): ",
          paste(names(truth), round(bias, 3), collapse = ", "))
  # curvature biases a nonlinear estimate by a small part of its scatter
  expect_true(all(abs(bias) < 4 / sqrt(nrow(estimate)) + 0.05))
  # the errors stated are those seen (the spread itself is known to 2.2 %)
  ratio <- \(kind) apply(vapply(study, `[[`, truth, kind), 1L, stats::median) / spread
  message("median stated error over that seen: steps ", paste(round(ratio("steps"), 2), collapse = ", "),
          "; cluster ", paste(round(ratio("cluster"), 2), collapse = ", "))
  expect_true(all(abs(ratio("steps") - 1) < 0.1))
  expect_true(all(abs(ratio("cluster") - 1) < 0.2))
})

test_that("intervals cover, and the lack-of-fit test keeps its level, without shared errors", {
  skip_on_cran()
  skip_unless_extended()
  study <- coverage_study(1000L, 602, sd_step = 0, sd_reading = 1.5)
  for (kind in c("steps", "model")) {
    expect_share(hits_of(study, kind), 0.95, title = paste0("coverage, se = '", kind, "'"))
  }
  expect_share(hits_of(study, "cluster"), 0.91, 0.04, "coverage, se = 'cluster'")
  p <- vapply(study, `[[`, 0, "lack_of_fit")
  for (alpha in c(0.01, 0.05, 0.1, 0.5)) {
    # nonlinearity in the parameters: 0.5 % of room
    expect_share(p < alpha, alpha, 0.005, paste("type I error of lack of fit at", alpha))
  }
})

test_that("compare_baseline(): both kinds of error", {
  skip_on_cran()
  skip_unless_extended()
  sets <- 4000L
  for (n in c(5L, 10L)) {
    # the same strip: how often is a change proclaimed?
    r <- with_test_seed(603, vapply(seq_len(sets), function(k) {
      b <- compare_baseline(stats::rnorm(n, 92, 0.7), stats::rnorm(n, 92, 0.7), margin = 0.3)
      c(b$p.value < 0.05, b$conf.int[1L] > 0 || b$conf.int[2L] < 0, b$verdict == "changed")
    }, logical(3L)))
    # Welch's degrees of freedom are an approximation, on the safe side for equal n: 1 % of room
    expect_share(t(r[1:2, ]), 0.05, 0.01, paste("type I error of a change, n =", n))
    # what is unchanged by the margin is not called changed, so the verdict errs less
    expect_lte(mean(r[3L, ]), mean(r[1L, ]))
    # paired readings: exactly Student's t
    r <- with_test_seed(604, vapply(seq_len(sets), function(k) {
      spot <- stats::rnorm(n, 92, 2)
      b <- compare_baseline(spot + stats::rnorm(n, 0, 0.7), spot + stats::rnorm(n, 0, 0.7),
                            margin = 0.3, paired = TRUE)
      b$p.value < 0.05
    }, NA))
    expect_share(r, 0.05, title = paste("type I error, paired, n =", n))
    # a change of just the margin: how often is it called unchanged?
    r <- with_test_seed(605, vapply(seq_len(sets), function(k) {
      b <- compare_baseline(stats::rnorm(n, 94, 0.7), stats::rnorm(n, 92, 0.7), margin = 2)
      b$verdict == "unchanged"
    }, NA))
    expect_share(r, 0.05, 0.01, paste("false proof of sameness at the margin, n =", n))
  }
})

test_that("find_outliers(): false alarms of Grubbs and of the generalised ESD", {
  skip_on_cran()
  skip_unless_extended()
  sets <- 20000L
  for (n in c(4L, 6L, 10L, 30L)) {
    d <- with_test_seed(606, data.frame(specimen = rep(seq_len(sets), each = n), temp_c = 330,
                                        time_min = 4, scale = "HV",
                                        hardness = stats::rnorm(n * sets, 100, 2)))
    for (alpha in c(0.01, 0.05)) {
      # Bonferroni's bound: exact for small n, never above alpha, below it by less than alpha/10
      o <- find_outliers(d, method = "grubbs", level = 1 - alpha, resolution = 0)
      expect_share(o$outlier, alpha, alpha / 10, paste("Grubbs, n =", n, "alpha =", alpha))
    }
  }
  # rounding to whole points is allowed for, and only lowers the share
  d$hardness <- round(d$hardness)
  expect_lte(mean(find_outliers(d, method = "grubbs")$outlier), 0.05)
  d <- with_test_seed(607, data.frame(specimen = rep(1:4000, each = 30L), temp_c = 330,
                                      time_min = 4, scale = "HV",
                                      hardness = stats::rnorm(30L * 4000L, 100, 2)))
  o <- find_outliers(d, method = "esd", max_outliers = 3, resolution = 0)
  any_out <- tapply(o$outlier, o$specimen, any)
  # Rosner (1983): close to alpha from 25 readings on; 1 % of room
  expect_share(as.vector(any_out), 0.05, 0.01, "generalised ESD, n = 30")
})

test_that("compare_laboratories(): level of F, and coverage of the intervals of the components", {
  skip_on_cran()
  skip_unless_extended()
  lab <- rep(1:8, each = 3L)
  r <- with_test_seed(608, t(vapply(seq_len(4000L), function(k) {
    x <- stats::rnorm(24L)
    none <- compare_laboratories(data.frame(group = lab, specimen = "a", hardness = x))$components
    y <- 60 + x + stats::rnorm(8L, sd = 1.5)[lab]
    some <- compare_laboratories(data.frame(group = lab, specimen = "a", hardness = y))$components
    inside <- some$conf.low <= sqrt(c(1, 2.25, 3.25)) & sqrt(c(1, 2.25, 3.25)) <= some$conf.high
    c(none$p.value[1L] < 0.05, inside)
  }, numeric(4L))))
  expect_share(r[, 1L], 0.05, title = "type I error of F between laboratories")
  expect_share(r[, 2L], 0.95, title = "coverage of the sd within")
  # Graybill and Wang's limits of the others are approximations: 1 % of room
  expect_share(r[, 3:4], 0.95, 0.01, "coverage of the sd between, and of the total")
})

test_that("standard errors that a plan promises are those of simulated runs", {
  skip_unless_extended()
  # One run: hardness by the formula, one error a step shared by its readings, one per reading;
  # then fitted as any user would. Linear theory has its own error (curvature, some per cent),
  # for which 15 % is allowed. A standard deviation from 500 runs scatters by 1/sqrt(2 * 499): 3 %.
  runs <- 500L
  g <- plan_guess(recryst_1h_c = 330, draws = 8, sd_reading = 2, sd_step = 1.5, sd_piece = 0,
                  u_temp_c = 0)
  plan <- plan_anneal(c(290, 310, 330, 350), c(4, 8, 16, 32, 64), g, n_readings = 6, furnaces = 2,
                      session_min = 400)
  s <- plan$steps
  at <- c(290, 310, 330, 350)
  hardness <- g$par[["h_soft"]] + (g$par[["h_worked"]] - g$par[["h_soft"]]) *
    exp(-(arrhenius_rate(s$temp_c, exp(g$par[["ln_k_ref"]]), g$temp_ref_c, g$par[["q_kj_mol"]]) *
            s$time_min)^g$par[["n"]])
  sums <- with_test_seed(71, vapply(seq_len(runs), function(k) {
    rows <- rep(seq_len(nrow(s)), each = 6)
    d <- data.frame(specimen = s$specimen[rows], temp_c = s$temp_c[rows],
                    time_min = s$time_min[rows], scale = "HV",
                    hardness = hardness[rows] + stats::rnorm(nrow(s), sd = 1.5)[rows] +
                      stats::rnorm(length(rows), sd = 2))
    fit <- suppressWarnings(fit_softening(d, temp_ref_c = g$temp_ref_c),
                            classes = "softanneal_warning_fit")
    c(fit$par, log(time_to(fit, temp_c = at)$time_min))
  }, numeric(9)))
  expect_false(anyNA(sums))
  ratio <- apply(sums, 1L, stats::sd) / tidy(plan)$std.error
  message("errors found over errors promised, ", runs, " runs: ", toString(signif(ratio, 3)))
  expect_lt(max(abs(ratio - 1)), 0.15)
  # and the middle is where the run started: bias below a third of the standard error
  bias <- rowMeans(sums) - tidy(plan)$estimate
  expect_lt(max(abs(bias) / tidy(plan)$std.error), 1 / 3)
})
