# Components of error of softening fits: what is estimated, from which labels, and the intervals.

# Readings whose furnaces are off, on pieces with offsets.
bench_readings <- function(temps = c(290, 310, 330, 350), u = 2, piece = 2, step = 0.5, reading = 1.5,
                           each = 1L, q = 140, ..., run = NULL) {
  d <- made_readings(temps = rep(temps, each = 1L), times = c(0, 4, 8, 16, 32, 64), n = 5,
                     sd_reading = 0, q = q, ...)
  parts <- lapply(seq_len(each), function(k) {
    d$specimen <- paste(d$specimen, k)
    d
  })
  d <- do.call(rbind, parts)
  id <- match(d$specimen, unique(d$specimen))
  run <- if (is.null(run)) id else run[id]
  off <- stats::rnorm(max(run), sd = u)[run]
  k <- arrhenius_rate(d$temp_c + off, jmak_time(0.5, 1, 1.6) / 12, 330, q)
  at <- paste(id, d$time_min)
  at <- match(at, unique(at))
  d$hardness <- 160 - 80 * jmak_fraction(d$time_min, k, 1.6) +
    stats::rnorm(max(id), sd = piece)[id] + stats::rnorm(max(at), sd = step)[at] +
    stats::rnorm(nrow(d), sd = reading)
  d
}

components <- function(...) quietly_fitted(..., se = "components")

test_that("the fit is that of lme on the model linearised at its own modes", {
  skip_if_not_installed("nlme")
  compared <- 0L
  for (seed in 1:4) {
    d <- with_test_seed(seed, bench_readings(u = 3, piece = 3))
    fit <- components(d)
    e <- fit$errors
    expect_identical(e$m$counts[c(1L, 3L)], c(0L, 1L))
    p <- e$problems[[1L]]
    lin <- data.frame(y = p[[1L]], p[[2L]], g = p[[3L]], piece = e$steps$piece[e$structure$order])
    names(lin)[2:6] <- paste0("x", 1:5)
    if (any(e$m$variance[1:3] < 1e-8)) next
    compared <- compared + 1L
    # noise of the readings is part of the step here: readings are equal in number
    by_lme <- nlme::lme(y ~ 0 + x1 + x2 + x3 + x4 + x5, lin,
                        random = list(piece = nlme::pdDiag(~ 1 + g)),
                        control = nlme::lmeControl(msMaxIter = 1000, msTol = 1e-12,
                                                   tolerance = 1e-12))
    sd <- as.numeric(nlme::VarCorr(by_lme)[c("g", "(Intercept)", "Residual"), "StdDev"])
    own <- sqrt(unname(e$m$variance[1:3]) + c(0, 0, e$steps$sd_reading^2 / 5))
    if (e$m$variance[[3L]] > 0) expect_equal(own, sd, tolerance = 1e-5)
    expect_lt(max(abs(nlme::fixef(by_lme)) / sqrt(diag(by_lme$varFix))), 1e-4) # at the estimate
    expect_equal(unname(e$m$cov), unname(as.matrix(by_lme$varFix)), tolerance = 1e-4)
  }
  expect_gt(compared, 0L)
})

test_that("derivatives in the furnace temperature are those of the model", {
  set <- function(model, par) {
    d <- with_test_seed(1, bench_readings(u = 2))
    fit <- quietly_fitted(d, model = model, fixed = par, se = "components")
    e <- fit$errors
    o <- e$structure$order
    s <- e$steps
    mode <- rep(0, length(o))
    has <- e$form[[3L]] >= 0L
    mode[has] <- e$m$mode[e$form[[3L]][has] + 1L]
    temp <- s$key[o] - 273.15 + mode
    value <- function(by) {
      softening_values(fit, temp + by, s$time[o])$fit
    }
    expect_equal(e$m$g, (value(1e-3) - value(-1e-3)) / 2e-3, tolerance = 1e-5)
    expect_gt(max(abs(e$m$g)), 1)
  }
  set("jmak", c(n = 1.5))
  # a recovery with an energy of its own moves by that one
  set("recovery_jmak", c(dh_rec = 8, ln_k_rec = -1, q_rec_kj_mol = 60))
})

test_that("profiles follow the joint sum of squares of parameters and furnace errors, dense covariance", {
  d <- with_test_seed(3, bench_readings(u = 2))
  fit <- components(d)
  e <- fit$errors
  v <- c(2, 3, 0.7, 0)
  p <- e$problems[[1L]]
  piece <- e$form[[2L]]
  furnace <- e$form[[3L]]
  runs <- sort(unique(furnace))
  run <- match(furnace, runs)
  W <- solve(diag(p[[4L]] + v[3L]) + v[2L] * outer(piece, piece, "=="))
  o <- e$structure$order
  temp <- e$steps$key[o] - 273.15
  sum_at <- function(x) {
    moved <- fit
    moved$par[] <- x[1:5]
    off <- x[-(1:5)]
    r <- softening_values(moved, temp + off[run], e$steps$time[o])$fit - e$steps$mean[o]
    drop(crossprod(r, W %*% r)) + sum(off^2) / v[1L]
  }
  # the minimum and one end of a profile by a general optimiser
  scale <- c(1, 1, 0.05, 0.05, 3, rep(1, length(runs)))
  start <- c(unname(fit$par), numeric(length(runs)))
  best <- stats::optim(start / scale, function(b) sum_at(b * scale), method = "BFGS",
                       control = list(reltol = 1e-14, maxit = 500))
  errors <- likelihood_errors(fit, 0.95)
  errors[[4L]] <- v
  set <- fit$settings$set
  rise <- 4
  r <- .Call(C_sa_call_mixed_profile, e$input,
             list(set$kind, set$lower, set$upper, set$natural, set$held), fit$readings$ref_k,
             unname(fit$par), e$form, errors, list(p[[3L]], e$m$mode, rep(0, 5L)), rep(rise, 5L))
  expect_identical(r[[1L]], rep(0L, 5L))
  for (j in 3:5) {
    for (end in 1:2) {
      at <- r[[2L]][end, j]
      others <- stats::optim(best$par[-j], function(b) {
        full <- numeric(length(scale))
        full[-j] <- b * scale[-j]
        full[j] <- at
        sum_at(full)
      }, method = "BFGS", control = list(reltol = 1e-14, maxit = 500))
      expect_equal(others$value - best$value, rise, tolerance = 0.01)
    }
  }
})

test_that("runs are those named, or set temperatures, and pieces of one run share its error", {
  d <- with_test_seed(5, bench_readings(temps = c(300, 320, 340), each = 2L))
  by_temperature <- components(d)
  expect_identical(by_temperature$errors$steps$runs, c("300 C", "320 C", "340 C"))
  expect_true(by_temperature$errors$steps$assumed)
  d$furnace <- d$specimen
  named <- components(d)
  expect_length(named$errors$steps$runs, 6L)
  expect_false(named$errors$steps$assumed)
  expect_false(isTRUE(all.equal(vcov(named), vcov(by_temperature))))
  # a column `run` does the same, and one of another name where it is asked for
  names(d)[names(d) == "furnace"] <- "run"
  expect_equal(vcov(components(d)), vcov(named))
  names(d)[names(d) == "run"] <- "charge"
  expect_equal(vcov(components(d)), vcov(by_temperature))
  expect_equal(vcov(components(d, furnace = charge)), vcov(named))
  expect_refused(fit_softening(d, se = "components", furnace = oven), "column", "oven")
})

test_that("a furnace set to several temperatures errs at each of them anew", {
  d <- with_test_seed(5, bench_readings(temps = c(300, 320, 340)))
  alone <- components(d)
  oven <- components(transform(d, furnace = "oven"))
  expect_identical(oven$errors$steps$runs, paste("oven at", c(300, 320, 340), "C"))
  expect_equal(vcov(oven), vcov(alone))
  expect_match(gsub("\\s+", " ", paste(capture.output(print(oven)), collapse = " ")),
               "3 runs (each temperature of a furnace)", fixed = TRUE)
  expect_equal(vcov(components(transform(d, furnace = ifelse(temp_c == 320, "B", "A")))), vcov(alone))
  # as measured in one setting temperatures are up to 5 K apart
  at <- softanneal:::at_settings
  all <- rep(TRUE, 4L)
  expect_identical(at(rep("A", 4L), c(300, 304.9, 309.8, 300), all), rep("A", 4L))
  expect_identical(at(rep("A", 4L), c(300, 305, 309, 300), all), paste("A at", c(300, 307, 307, 300), "C"))
  expect_identical(at(c("A", "A", "B", NA), c(20, 300, 350, 400), c(FALSE, TRUE, TRUE, TRUE)),
                   c("A", "A", "B", NA))
  # an uncertainty may be stated by furnace, or by furnace and temperature
  two <- transform(d, furnace = "oven")
  stated <- components(two, u_temp_c = c(oven = 1))
  expect_equal(vcov(components(two, u_temp_c = 1)), vcov(stated))
  by_run <- stats::setNames(rep(1, 3L), paste("oven at", c(300, 320, 340), "C"))
  expect_equal(vcov(components(two, u_temp_c = by_run)), vcov(stated))
})

test_that("a fit without specimens says what its intervals leave out", {
  d <- with_test_seed(7, bench_readings(temps = c(300, 320, 340)))
  said <- softanneal:::specimen_sentence
  expect_length(said(components(d)), 0L)
  bare <- components(d[names(d) != "specimen"])
  expect_match(said(bare), "h_worked' and 'h_soft', which are then too narrow", fixed = TRUE)
  expect_output(print(bare), "No column names the specimens")
  expect_match(summary(bare)$remarks, "No column names the specimens", all = FALSE)
  # one step a temperature: a coupon each
  once <- d[d$time_min %in% c(0, 16), names(d) != "specimen"]
  expect_length(said(suppressWarnings(components(once, fixed = c(n = 1.5)))), 0L)
})

test_that("a stated furnace uncertainty enters, widens Q, and is checked", {
  d <- with_test_seed(6, bench_readings(temps = c(335, 350), u = 0))
  none <- components(d, u_temp_c = 0)
  one <- components(d, u_temp_c = 1, u_temp_exact = TRUE)
  two <- components(d, u_temp_c = 2, u_temp_exact = TRUE)
  loose <- components(d, u_temp_c = 2)
  unknown <- components(d)
  width <- function(fit) diff(confint(fit, "q_kj_mol")[1L, ])
  expect_false(unknown$errors$visible)
  # one error a run or one an insertion: readings that cannot tell get the wider of both
  e <- unknown$errors
  ends <- function(problems) {
    g <- diag(5L)[, e$free, drop = FALSE]
    components_grid(problems, e$prior, g, c(0.025, 0.975))$quantile
  }
  alone <- vapply(e$problems, function(x) ends(list(x)), matrix(0, 5L, 2L))
  widths <- alone[, 2L, ] - alone[, 1L, ]
  both <- ends(e$problems)
  expect_equal(both[, 2L] - both[, 1L], pmax(widths[, 1L], widths[, 2L]), tolerance = 0.005)
  expect_gt(widths[5L, 1L], 1.2 * widths[5L, 2L])
  # d ln k = Q d / (R T^2) at two temperatures: an error of 1 K at each moves Q by this
  R <- 8.314462618e-3
  t <- c(335, 350) + 273.15
  part <- coef(one)[["q_kj_mol"]] / t^2 / abs(diff(1 / t))
  expected <- 2 * 1.96 * sqrt(sum(part^2))
  own <- sqrt(width(one)^2 - width(none)^2)
  expect_equal(own[[1L]], expected, tolerance = 0.1)
  sd <- function(fit) subset(tidy(fit, effects = "ran_pars"), grepl("furnace", group))$estimate
  expect_equal(c(sd(one), sd(two)), c(1, 2), tolerance = 1e-6)
  expect_lt(width(none), width(one))
  expect_lt(width(one), width(two))
  expect_lt(width(two), width(loose))
  by_name <- components(d, u_temp_c = c("335" = 2, "350" = 2), u_temp_exact = TRUE)
  expect_equal(vcov(by_name), vcov(two))
  by_piece <- components(d, u_temp_c = c("piece-335 1" = 2, "piece-350 1" = 2), u_temp_exact = TRUE)
  expect_equal(vcov(by_piece), vcov(two))
  expect_refused(fit_softening(d, se = "components", u_temp_c = c("335" = 2)), "argument", "350 C",
                 "u_temp_c")
  expect_refused(fit_softening(d, se = "components", u_temp_c = -1), "range", "u_temp_c")
  expect_refused(fit_softening(d, se = "components", u_temp_c = c(1, 2)), "argument", "named",
                 "u_temp_c")
  expect_refused(fit_softening(d, se = "components", u_temp_exact = TRUE), "argument",
                 "without `u_temp_c`", "u_temp_exact")
  expect_refused(fit_softening(d, se = "components", loss = "huber"), "argument", "Huber", "se")
})

test_that("vcov, confint, tidy, summary and error_interval agree", {
  d <- with_test_seed(7, bench_readings())
  fit <- components(d)
  ends <- error_interval(fit, diag(5L), 0.9)
  expect_equal(unname(confint(fit, level = 0.9)), unname(cbind(ends$lower, ends$upper) + coef(fit)))
  expect_equal(ends$se, unname(sqrt(diag(vcov(fit)))), tolerance = 1e-8)
  tidied <- tidy(fit, conf.int = TRUE, conf.level = 0.9)
  expect_equal(tidied$conf.low, unname(confint(fit, level = 0.9)[, 1L]))
  expect_equal(tidied$std.error, ends$se, tolerance = 1e-8)
  # a difference of two parameters, from the same mixture
  both <- error_interval(fit, rbind(c(1, -1, 0, 0, 0)), 0.95)
  expect_lt(both$lower, 0)
  expect_gt(both$upper, 0)
  other <- fit_softening(d, se = "steps")
  half <- error_interval(other, diag(5L), 0.95)$upper
  expect_equal(half, unname(confint(other)[, 2L] - coef(other)))
})

test_that("the likelihood is that of all readings with their dense covariance", {
  d <- with_test_seed(8, bench_readings(u = 3, piece = 3, step = 2))
  fit <- components(d)
  e <- fit$errors
  p <- e$problems[[1L]]
  o <- e$structure$order
  step <- match(fit$conditions$cluster_of + 1L, e$steps$keep[o]) # row of the problem
  # readings against the linearised curve: deviation from the mean of the step plus that of the mean
  r <- fit$readings$hardness - e$steps$mean[o][step] + p[[1L]][step]
  v <- e$m$variance
  V <- v[[2L]] * outer(p[[6L]][step], p[[6L]][step], "==") +
    v[[1L]] * tcrossprod(p[[3L]][step]) * outer(p[[7L]][step], p[[7L]][step], "==") +
    (v[[3L]] + 0 * p[[4L]][step]) * outer(step, step, "==") +
    diag(e$steps$sd_reading^2, length(r))
  value <- -0.5 * (length(r) * log(2 * pi) + as.numeric(determinant(V)$modulus) +
                     drop(crossprod(r, solve(V, r))))
  expect_equal(as.numeric(logLik(fit)), value, tolerance = 1e-6)
  expect_identical(attr(logLik(fit), "df"), 9L)
})

test_that("tables of the components follow broom.mixed and nlme", {
  d <- with_test_seed(9, bench_readings(u = 4, piece = 5))
  fit <- components(d)
  pars <- tidy(fit, effects = "ran_pars", conf.int = TRUE)
  expect_named(pars, c("effect", "group", "term", "estimate", "conf.low", "conf.high"))
  expect_identical(pars$group, c("furnace", "specimen", "step", "Residual"))
  expect_true(all(pars$conf.low < pars$estimate & pars$estimate < pars$conf.high))
  vals <- tidy(fit, effects = "ran_vals")
  expect_named(vals, c("effect", "group", "level", "term", "estimate", "std.error"))
  expect_setequal(vals$level[vals$group == "specimen"], unique(d$specimen))
  modes <- ranef.softanneal_fit_softening(fit)
  expect_named(modes, c("specimen", "furnace"), ignore.order = TRUE)
  expect_equal(modes$furnace[["temp_c"]], vals$estimate[vals$group == "furnace"])
  skip_if_not_installed("nlme")
  expect_equal(nlme::ranef(fit), modes)
  expect_refused(tidy(fit_softening(d, se = "steps"), effects = "ran_pars"), "model", "components")
  expect_refused(tidy(fit, effects = "random"), "argument", "effects")
})

test_that("modes find the furnace that was off and the specimen that is harder", {
  d <- with_test_seed(10, bench_readings(u = 0, piece = 0, step = 0.3, temps = seq(290, 350, 10)))
  third <- d$specimen == unique(d$specimen)[3L]
  d$hardness[third] <- d$hardness[third] + 8
  hot <- d$temp_c == 340
  k <- arrhenius_rate(346, jmak_time(0.5, 1, 1.6) / 12, 330, 140)
  k0 <- arrhenius_rate(340, jmak_time(0.5, 1, 1.6) / 12, 330, 140)
  d$hardness[hot] <- d$hardness[hot] -
    80 * (jmak_fraction(d$time_min[hot], k, 1.6) - jmak_fraction(d$time_min[hot], k0, 1.6))
  modes <- ranef.softanneal_fit_softening(components(d))
  expect_equal(which.max(modes$specimen[[1L]]), 3L)
  expect_gt(max(modes$specimen[[1L]]), 5)
  expect_equal(which.max(modes$furnace[[1L]]), 6L)
  # 6 K less the 29 % that the line takes up, drawn towards zero
  expect_gt(max(modes$furnace[[1L]]), 2)
  expect_lt(max(modes$furnace[[1L]]), 4.3)
})

test_that("shares of the variance add up, and a known furnace takes nothing away", {
  d <- with_test_seed(11, bench_readings())
  fit <- components(d)
  x <- components_of_error(fit)
  expect_equal(colSums(as.data.frame(x)[c("q_share", "t50_share", "reading_share")]),
               c(q_share = 1, t50_share = 1, reading_share = 1))
  expect_true(all(x[c("q_share", "t50_share", "reading_share")] >= 0))
  expect_identical(x$component, c("furnace temperature", "specimen", "step", "reading"))
  expect_lt(components_of_error(components(d, u_temp_c = 0))$q_share[1L], 1e-10)
  expect_s3_class(ggplot2::autoplot(x), "ggplot")
  expect_output(print(x), "fraction of the variance of the activation energy")
  expect_refused(components_of_error(fit_softening(d, se = "model")), "model", "components")
})

test_that("a new reading is more uncertain on a new specimen than on one fitted, and it is covered", {
  skip_on_cran()
  d <- with_test_seed(12, bench_readings(u = 2, piece = 3))
  fit <- components(d)
  at <- data.frame(temp_c = 330, time_min = c(0, 6, 12, 40), specimen = "piece-330 1")
  wide <- predict(fit, at, interval = "prediction")
  own <- predict(fit, at, interval = "prediction", specimen = "same")
  curve <- predict(fit, at, interval = "confidence")
  width <- function(m) m[, "upr"] - m[, "lwr"]
  expect_true(all(width(wide) > width(own) & width(own) > width(curve)))
  parts <- attr(wide, "components")
  expect_identical(colnames(parts), c("curve", "furnace", "specimen", "step", "operator", "reading"))
  expect_identical(parts[1L, "furnace"][[1L]], 0)
  expect_gt(parts[3L, "furnace"], parts[4L, "furnace"])
  expect_refused(predict(fit, transform(at, specimen = "other"), interval = "prediction",
                         specimen = "same"), "argument", "not fitted", "newdata")
  # readings of the same bench, drawn anew: each fit predicts one of a new specimen
  hit <- with_test_seed(13, vapply(1:60, function(k) {
    fit <- components(bench_readings(u = 2, piece = 3, step = 0.5))
    off <- stats::rnorm(1, sd = 2)
    rate <- arrhenius_rate(330 + off, jmak_time(0.5, 1, 1.6) / 12, 330, 140)
    y <- 160 - 80 * jmak_fraction(12, rate, 1.6) + sqrt(3^2 + 0.5^2 + 1.5^2) * stats::rnorm(1)
    m <- predict(fit, data.frame(temp_c = 330, time_min = 12), interval = "prediction")
    m[1L, "lwr"] <= y && y <= m[1L, "upr"]
  }, NA))
  expect_gte(sum(hit), 52L) # 0.02 % of runs at 95 %
})

test_that("drawn readings scatter as described, and bootstrap follows", {
  d <- with_test_seed(14, bench_readings(u = 3, piece = 4, step = 1))
  fit <- components(d)
  sims <- simulate(fit, 400, seed = 1)
  e <- fit$errors$sd[, "estimate"]
  start <- d$time_min == 0 & !duplicated(paste(d$specimen, d$time_min))
  y <- as.matrix(sims)[start, ]
  expect_equal(stats::sd(y - rowMeans(y)),
               sqrt(e[["piece"]]^2 + e[["step"]]^2 + fit$errors$steps$sd_reading^2), tolerance = 0.1)
  # readings of one specimen share its offset
  between <- stats::cor(t(as.matrix(sims)[which(d$time_min == 0)[c(1L, 2L)], ]))[1L, 2L]
  expect_gt(between, 0.5)
  boot <- resample_fit(fit, 60, seed = 2)
  expect_equal(apply(boot$estimates, 2L, stats::sd)[["q_kj_mol"]], sqrt(vcov(fit)["q_kj_mol", "q_kj_mol"]),
               tolerance = 0.6)
})

test_that("two runs say what is assumed and what one degree does", {
  d <- with_test_seed(15, bench_readings(temps = c(335, 350), u = 0))
  fit <- components(d)
  expect_output(print(fit), "2 K (half-normal) is assumed", fixed = TRUE)
  expect_output(print(fit), "1 degree C at one run moves, 335 C: q_kj_mol by", fixed = TRUE)
  m <- furnace_sensitivity(fit)
  # ln k of a run moves by Q/(R T^2), Q by that over the difference of 1/(R T)
  t <- c(335, 350) + 273.15
  q <- coef(fit)[["q_kj_mol"]]
  expect_equal(unname(m[, "q_kj_mol"]), q / t^2 / abs(diff(1 / t)), tolerance = 0.05)
  four <- components(with_test_seed(16, bench_readings()))
  expect_output(print(four), "of 4 runs (specimens of one set temperature", fixed = TRUE)
  expect_length(furnace_sentences(four), 0L)
})

test_that("furnace errors do not pass for a richer model", {
  skip_on_cran()
  richer <- with_test_seed(17, vapply(1:6, function(k) {
    d <- bench_readings(u = 2, piece = 0)
    m <- suppressWarnings(compare_models(d, c("jmak", "recovery_jmak"), cross_validate = FALSE))
    m$AICc[m$model == "jmak"] - min(m$AICc) > 4
  }, NA))
  expect_lte(sum(richer), 1L)
})

test_that("a fit with nothing free takes other errors by default, and refuses components", {
  all <- c(h_worked = 162, h_soft = 78, ln_k_ref = -1.9, n = 1.5, q_kj_mol = 140)
  f <- suppressWarnings(fit_softening(bell_readings(), fixed = all))
  expect_equal(coef(f), all)
  expect_false(f$se == "components")
  expect_error(fit_softening(bell_readings(), fixed = all, se = "components"), "all parameters are fixed",
               class = "softanneal_error_argument")
})

test_that("one free parameter is enough for components", {
  fixed <- c(h_worked = 162, h_soft = 78, n = 1.5, q_kj_mol = 140)
  f <- suppressWarnings(fit_softening(bell_readings(), fixed = fixed))
  expect_identical(f$se, "components")
  expect_equal(coef(f)[names(fixed)], fixed)
  ends <- confint(f)["ln_k_ref", ]
  expect_true(ends[[1L]] < coef(f)[["ln_k_ref"]] && coef(f)[["ln_k_ref"]] < ends[[2L]])
})

test_that("components are told of a fit with an exponent for each temperature", {
  bell <- bell_readings()
  fit <- suppressWarnings(fit_softening(bell, n_by = "by temperature", se = "components", u_temp_c = 1))
  parts <- components_of_error(fit, temp_c = 330)
  shares <- colSums(as.data.frame(parts)[c("q_share", "t50_share", "reading_share")])
  expect_equal(unname(shares), c(1, 1, 1), tolerance = 1e-8)
  expect_true(all(is.finite(parts$sd)))
  expect_output(print(summary(fit)), "Activation energy|q_kj_mol")
})

# Two halves of a strip in furnaces that are off, the hotter half finished before its first reading.
two_halves <- function(q = 150, half_min = 25, off = c(2, -2)) {
  d <- expand.grid(reading = 1:5, time_min = c(0, 10, 20, 40, 80), temp_c = c(350, 450))
  half <- match(d$temp_c, c(350, 450))
  k <- arrhenius_rate(d$temp_c + off[half], jmak_time(0.5, 1, 1.4) / half_min, 350, q)
  step <- interaction(d$time_min, d$temp_c, drop = TRUE)
  d$hardness <- 160 - 82 * jmak_fraction(d$time_min, k, 1.4) + stats::rnorm(nlevels(step))[step] +
    stats::rnorm(nrow(d), sd = 1.5)
  d$specimen <- paste("half", half)
  d$scale <- "HV"
  d
}

test_that("a time at the temperature that is determined knows the furnace, with an energy left open", {
  d <- with_test_seed(21, two_halves())
  f <- quietly_fitted(d, u_temp_c = 2)
  expect_identical(f$states[["q_kj_mol"]], "only a lower limit")
  a <- quiet_answer(time_to(f, temp_c = 350))
  exact <- quietly_fitted(d, u_temp_c = 0.01, u_temp_exact = TRUE)
  b <- quiet_answer(time_to(exact, temp_c = 350))
  # 2 degrees with an energy of at least the lower limit, and of at most 60 RT
  low <- f$limits["q_kj_mol", "lower"]
  furnace <- stats::qnorm(0.975) * 2 * effective_sds(f, 0.95)[1L] *
    c(low * 1000 / 8.314 / 623.15^2, 60 / 623.15)
  own <- log(b$conf.high / b$conf.low) / 2
  got <- log(a$conf.high / a$conf.low) / 2
  expect_gt(got, furnace[1L])
  expect_lt(got, 1.1 * (own + furnace[2L]))
  expect_true(a$conf.low < 25 && 25 < a$conf.high)
  # of a lognormal standard deviation, by simulation
  x <- with_test_seed(5, stats::rnorm(4e5) * exp(0.5 * stats::rnorm(4e5)))
  expect_equal(effective_sds(f, 0.95)[1L], stats::quantile(x, 0.975, names = FALSE) / stats::qnorm(0.975),
               tolerance = 0.02)
  # one state everywhere
  i <- identifiability(f)
  expect_identical(i$state, unname(f$states))
  expect_identical(summary(f)$states, f$states)
  shown <- components_of_error(f)
  expect_true(all(is.na(shown$q_share)))
  expect_output(print(shown), "Shares are left out")
  expect_s3_class(ggplot2::ggplot_build(ggplot2::autoplot(shown)), "ggplot_built")
})

test_that("answers of a fit that determines all are quantiles of the mixture", {
  f <- components(with_test_seed(8, bench_readings(u = 2)))
  expect_false(has_open(f))
  a <- time_to(f, temp_c = 320, method = "delta")
  row <- time_rows(f, 320, 0.5, "softening", f$par, NULL)
  ends <- error_interval(f, row[, -1L, drop = FALSE])
  expect_equal(log(c(a$conf.low, a$conf.high)), row[1L] + c(ends$lower, ends$upper))
  w <- temp_for(f, a$time_min, method = "delta")
  expect_equal(w$temp_c, 320, tolerance = 1e-6)
  # an end of one is an end of the other: ln t falls by Q/RT^2 a degree
  slope <- f$par[["q_kj_mol"]] * 1000 / 8.31446 * (1 / 593.15 - 1 / (w$conf.high + 273.15))
  expect_equal(slope, ends$upper, tolerance = 1e-3)
})
