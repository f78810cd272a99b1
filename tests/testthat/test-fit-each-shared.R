# Parameters in common to groups: against nls() with indexed parameters, against one fit of all, by hand.

# lots in HV: a true curve each, step and reading errors
lots <- function(q = c(180, 180, 180), n = 1.5, seed = 61, sd_step = 1, sd = 0.8) {
  with_test_seed(seed, do.call(rbind, lapply(seq_along(q), function(k) {
    d <- expand.grid(reading = 1:3, time_min = c(0, 2, 5, 12, 30, 80), temp_c = c(300, 320, 345))
    rate <- exp(log(0.05) + 0.2 * k + q[k] * softanneal:::inverse_temperature(d$temp_c, 320))
    fraction <- 1 - exp(-(rate * d$time_min)^n)
    step <- interaction(d$time_min, d$temp_c, drop = TRUE)
    d$hardness <- 165 + 2 * k - (85 + k) * fraction + stats::rnorm(nlevels(step), sd = sd_step)[step] +
      stats::rnorm(nrow(d), sd = sd)
    cbind(lot = paste0("L", k), specimen = paste0("p", d$temp_c), d, scale = "HV")
  })))
}

test_that("the shared fit is that of nls() with one parameter for all groups", {
  d <- lots()
  d <- d[with_test_seed(62, sample(nrow(d))), ]
  fits <- fit_each(d, by = lot)
  a <- anova(fits, share = list("q_kj_mol", c("q_kj_mol", "n"), "ln_k_ref"))
  expect_output(print(a), "furnaces or the specimens of the groups count as\\s+differences between groups")
  ref <- 1 / mean(1 / (d$temp_c[d$time_min > 0] + 273.15)) - 273.15
  d$e <- softanneal:::inverse_temperature(d$temp_c, ref)
  d$k <- match(d$lot, paste0("L", 1:3))
  by_nls <- function(shared) {
    own <- c("w", "s", "l", "n", "q")
    start <- list(w = rep(165, 3), s = rep(80, 3), l = rep(-2.6, 3), n = rep(1.5, 3), q = rep(180, 3))
    formula <- "hardness ~ s + (w - s) * exp(-(exp(l + q * e) * time_min)^n)"
    for (p in own) {
      if (p %in% shared) start[[p]] <- start[[p]][1L] else {
        formula <- gsub(paste0("\\b", p, "\\b"), paste0(p, "[k]"), formula)
      }
    }
    stats::nls(stats::as.formula(formula), d, start)
  }
  for (j in 1:3) {
    f <- by_nls(list("q", c("q", "n"), "l")[[j]])
    expect_equal(a[["Res.Sum Sq"]][j + 1L], stats::deviance(f), tolerance = 1e-8)
    expect_equal(a[["Res.Df"]][j + 1L], stats::df.residual(f))
    mine <- subset(attr(a, "shared"), test == unique(test)[j])
    theirs <- stats::coef(f)[list("q", c("n", "q"), "l")[[j]]]
    expect_equal(mine$estimate, unname(theirs), tolerance = 1e-6)
    # standard errors: the same information, another scatter
    scatter <- mine$std.error / summary(f)$coefficients[names(theirs), 2L]
    expect_equal(unname(scatter), rep(scatter[[1L]], length(scatter)), tolerance = 1e-5)
  }
  expect_equal(a[["Res.Sum Sq"]][1L], deviance(fits), tolerance = 1e-9)
})

test_that("F is taken against the scatter of step means, or of readings where these are asked for", {
  d <- lots(seed = 63)
  fits <- fit_each(d, by = lot)
  a <- anova(fits, share = "n")
  mean_of <- stats::aggregate(hardness ~ lot + specimen + temp_c + time_min, d, mean)
  mean_of$scale <- "HV"
  steps <- fit_each(mean_of, by = lot)
  b <- anova(steps, share = "n")
  # balanced steps of three readings: the fit of their means is the same fit
  expect_equal(a[["F value"]][2L], b[["F value"]][2L], tolerance = 1e-6)
  expect_equal(a[["Pr(>F)"]][2L], b[["Pr(>F)"]][2L], tolerance = 1e-6)
  expect_equal(attr(a, "shared")$std.error, attr(b, "shared")$std.error, tolerance = 1e-5)
  r <- anova(fit_each(d, by = lot, se = "model"), share = "n")
  expect_equal(r[["F value"]][2L], (r[["Sum Sq"]][2L] / 2) / (r[["Res.Sum Sq"]][1L] / r[["Res.Df"]][1L]))
  expect_match(paste(attr(r, "heading"), collapse = " "), "scatter of readings, 147 degrees")
  expect_equal(a[["Sum Sq"]][2L], r[["Sum Sq"]][2L], tolerance = 1e-7)
})

test_that("all in common is one fit of all; a true difference is found", {
  d <- lots(seed = 64)
  fits <- fit_each(d, by = lot)
  all <- anova(fits, share = fits$set$terms)
  one <- suppressWarnings(fit_softening(d, se = "model"))
  expect_equal(all[["Res.Sum Sq"]][2L], deviance(one), tolerance = 1e-8)
  expect_lt(all[["Pr(>F)"]][2L], 1e-4) # rates and levels of the lots differ
  expect_gt(anova(fits, share = "q_kj_mol")[["Pr(>F)"]][2L], 0.001)
  other <- anova(fit_each(lots(c(180, 180, 230), seed = 64), by = lot), share = list("q_kj_mol", "n"))
  expect_lt(other[["Pr(>F)"]][2L], 1e-4)
  expect_gt(other[["Pr(>F)"]][3L], 0.001)
  # order of groups and of rows is nothing to it; weights that are all the same neither
  same <- anova(fits[c(3, 1, 2)], share = "q_kj_mol")
  expect_equal(same[["F value"]], anova(fits, share = "q_kj_mol")[["F value"]], tolerance = 1e-6)
  d$w <- 4
  weighted <- anova(fit_each(d, by = lot, weights = w), share = "q_kj_mol")
  expect_equal(weighted[["F value"]], same[["F value"]], tolerance = 1e-6)
  expect_output(print(same), "q_kj_mol in common: 1[0-9.]+, standard error")
})

test_that("fixed parameters and other models go the same way", {
  d <- lots(seed = 65)
  fits <- fit_each(d, by = lot, fixed = c(n = 1.5))
  a <- anova(fits, share = "q_kj_mol")
  expect_identical(a[["Res.Df"]], c(162 - 12, 162 - 10))
  expect_refused(anova(fits, share = "n"), "argument", "`share` must name free parameters", "share")
  slow <- suppressWarnings(fit_each(d, by = lot, model = "jmak_incubation"))
  b <- suppressWarnings(anova(slow, share = "q_kj_mol"), classes = "softanneal_warning_fit")
  expect_true(b[["Sum Sq"]][2L] >= 0)
})

test_that("what cannot be shared is refused, and groups without a fit are told", {
  d <- lots(seed = 66)
  fits <- fit_each(d, by = lot)
  for (share in list("k", 1, character(), c("n", "n"), list("n", "k"))) {
    expect_refused(anova(fits, share = share), "argument", "`share` must name free parameters", "share")
  }
  expect_refused(anova(fits[1], share = "n"), "too_few", "there is one group with a complete fit", "object")
  few <- suppressWarnings(fit_each(rbind(d, transform(d[1:3, ], lot = "L9")), by = lot))
  a <- expect_told(anova(few, share = "n"), "fit", "1 of 4 groups have no complete fit", n = 1L)
  expect_equal(a, anova(fits, share = "n"), tolerance = 1e-7)
  # without share: the lack-of-fit test of all groups
  pooled <- anova(fits)
  each <- lapply(fits, anova)
  for (column in c("Df", "Sum Sq")) {
    expect_equal(pooled[[column]], Reduce(`+`, lapply(each, `[[`, column)), tolerance = 1e-7)
  }
  expect_equal(pooled[["F value"]][1L], pooled[["Mean Sq"]][1L] / pooled[["Mean Sq"]][2L])
})

test_that("a shared fit that stops at the iteration limit says so", {
  fits <- fit_each(lots(), by = lot)
  stopped <- copied_package()
  fitted <- stopped$shared_fit
  stopped$shared_fit <- function(...) utils::modifyList(fitted(...), list(converged = FALSE))
  expect_warning(stopped$anova.softanneal_fits(fits, share = "n"),
                 "common 'n' stopped at the iteration limit", class = "softanneal_warning_fit")
})
