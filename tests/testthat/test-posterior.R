# The density against one written here with full covariance matrices; its gradient; the draws of posteriors
# that are known in closed form; chains, seeds, priors; answers of draws.

small <- bell_readings()
fit <- fit_softening(small)
post <- fit_posterior(fit, prior = prior_brass(), seed = 1)

quietly <- function(code) suppressWarnings(code, classes = "softanneal_warning")

density_at <- posterior_density

# ln density of the values that C gives for unknowns, by stats::dnorm() and a dense covariance; the Jacobian
# of the transformation by differences.
plain_density <- function(fit, p, values, prior) {
  e <- fit$errors
  s <- e$steps
  terms <- names(fit$par)
  par <- values[seq_along(terms)]
  names(par) <- terms
  sd <- values[length(terms) + 1:5] # furnace, specimen, step, operator, reading
  d <- values[-seq_len(length(terms) + 5L)]
  shift <- ifelse(p$prior$run < 0, 0, d[pmax(p$prior$run, 0L) + 1L])
  k <- exp(par[["ln_k_ref"]] - par[["q_kj_mol"]] * 1000 / 8.31446261815324 *
             (1 / (s$key + shift) - 1 / fit$readings$ref_k))
  left <- exp(-(k * s$time)^par[["n"]])
  curve <- par[["h_soft"]] + (par[["h_worked"]] - par[["h_soft"]]) * left
  v <- diag(sd[3]^2 + sd[5]^2 / s$weight) + sd[2]^2 * outer(s$piece, s$piece, `==`)
  if (!is.null(s$share)) v <- v + sd[4]^2 * tcrossprod(s$share)
  root <- chol(v)
  z <- backsolve(root, s$mean - curve, transpose = TRUE)
  df <- s$df_reading
  -sum(log(diag(root))) - sum(z^2) / 2 - df * log(sd[5]) - df * s$sd_reading^2 / 2 / sd[5]^2 +
    sum(stats::dnorm(d, 0, sd[1], log = TRUE)) + prior(par, sd)
}

test_that("a posterior is drawn as curves after a time, with the quantiles of its draws", {
  picture <- plot_isochronal(post, c(8, 32))
  drawn <- ggplot2::layer_data(picture, 2L)
  curves <- posterior_curves(post, drawn$x, c(8, 32)[drawn$group])
  expect_equal(drawn$y, apply(curves, 1L, stats::median), tolerance = 0.01)
  ribbon <- ggplot2::layer_data(picture, 1L)
  some <- posterior_curves(post, ribbon$x[3:5], c(8, 8, 8))
  expect_equal(ribbon$ymax[3:5], apply(some, 1L, stats::quantile, 0.975), tolerance = 0.02)
  expect_match(picture$labels$caption, "Band: 95 % of the draws", fixed = TRUE)
  for (verb in list(plot_arrhenius, plot_residuals, rates)) {
    expect_refused(verb(post), "argument", "holds the fit of its readings as `$fit`", "fit")
  }
})

test_that("the density is that of the model, with operators too", {
  two <- transform(small, operator = rep(c("A", "B"), length.out = nrow(small)))
  for (data in list(small, two)) {
    f <- fit_softening(data)
    prior <- prior_softening(q_kj_mol = c(mean = 150, sd = 20), n = c(median = 1.5, factor = 1.3),
                             ln_k_ref = c(mean = -2, sd = 1, temp_c = 350))
    p <- posterior_problem(f, prior)
    believed <- function(par, sd) {
      at_350 <- par[["ln_k_ref"]] + par[["q_kj_mol"]] * inverse_temperature(350, f$temp_ref_c)
      scale <- c(3, 5, 3, 5, 5)
      used <- p$presence
      stats::dnorm(par[["q_kj_mol"]], 150, 20, log = TRUE) + stats::dlnorm(par[["n"]], log(1.5), log(1.3),
                                                                           log = TRUE) +
        stats::dnorm(at_350, -2, 1, log = TRUE) + sum(stats::dnorm(sd[used], 0, scale[used], log = TRUE))
    }
    d <- nrow(density_at(p, numeric())$gradient)
    u <- with_test_seed(4, {
      start <- c(stats::qlogis((p$par - p$lower) / (p$upper - p$lower)), numeric(d - length(p$par)))
      start + matrix(stats::rnorm(6 * d, sd = 0.05), d)
    })
    got <- density_at(p, u)
    wanted <- apply(got$values, 2L, plain_density, fit = f, p = p, prior = believed)
    # ln |d values / d unknowns|: parameters and standard deviations one by one, furnace errors by sd times z
    jacobian <- apply(u, 2L, function(x) {
      n <- d - length(p$runs)
      j <- vapply(seq_len(d), function(k) {
        h <- 1e-5
        (density_at(p, replace(x, k, x[k] + h))$values - density_at(p,
                                                                    replace(x, k, x[k] - h))$values) / (2 * h)
      }, numeric(nrow(got$values)))
      j <- j[c(seq_along(p$par), length(p$par) + which(p$presence), length(p$par) + 5L + seq_along(p$runs)), ]
      as.numeric(determinant(j)$modulus)
    })
    expect_equal(diff(got$value), diff(wanted + jacobian), tolerance = 1e-6)
    slope <- vapply(seq_len(d), function(k) {
      h <- 1e-5
      diff(density_at(p, cbind(replace(u[, 1], k, u[k, 1] - h),
                               replace(u[, 1], k, u[k, 1] + h)))$value) / (2 * h)
    }, 0)
    expect_equal(got$gradient[, 1L], slope, tolerance = 1e-5)
  }
})

test_that("the temperature for one hour is normal before the readings, not the rate", {
  p <- posterior_problem(fit, prior_softening(recryst_1h_c = c(mean = 330, sd = 15)))
  flat <- posterior_problem(fit, prior_softening())
  d <- nrow(density_at(p, numeric())$gradient)
  u <- with_test_seed(5, stats::qlogis((p$par - p$lower) / (p$upper - p$lower)) +
                      matrix(stats::rnorm(15, sd = 0.1), 5L))
  u <- rbind(u, matrix(0, d - 5L, 3L))
  own <- density_at(p, u)$value - density_at(flat, u)$value
  v <- density_at(p, u)$values
  hour <- function(ln_k, n, q) {
    e <- (log(-log(0.01)) / n - log(60) - ln_k) / q
    1 / (1 / fit$readings$ref_k - e * 8.31446261815324 / 1000) - 273.15
  }
  temp <- hour(v[3L, ], v[4L, ], v[5L, ])
  slope <- (hour(v[3L, ] + 1e-6, v[4L, ], v[5L, ]) - hour(v[3L, ] - 1e-6, v[4L, ], v[5L, ])) / 2e-6
  expect_equal(diff(own), diff(stats::dnorm(temp, 330, 15, log = TRUE) + log(abs(slope))), tolerance = 1e-6)
  up <- density_at(p, u[, 1] + 1e-5 * diag(d)[, 1:5])$value
  down <- density_at(p, u[, 1] - 1e-5 * diag(d)[, 1:5])$value
  expect_equal(density_at(p, u[, 1])$gradient[1:5], (up - down) / 2e-5, tolerance = 1e-5)
})

test_that("draws agree with what the fit says, and the chains with each other", {
  t <- tidy(post, conf.int = TRUE)
  expect_true(all(t$rhat < 1.02))
  expect_gt(min(t$ess_bulk, t$ess_tail), 800)
  own <- match(names(coef(fit)), t$term)
  # the errors of the fit are marginalised on a grid of other priors: about the same
  expect_lt(max(abs(t$estimate[own] - coef(fit)) / t$std.error[own]), 0.3)
  expect_lt(max(abs(log(t$std.error[own] / sqrt(diag(vcov(fit)))))), log(1.6))
  expect_equal(nrow(as.data.frame(post)), 4000L)
  expect_equal(coef(post), apply(post$draws[, names(coef(fit))], 2L, stats::median))
  expect_equal(vcov(post), stats::cov(post$draws[, names(coef(fit))]))
  expect_equal(nobs(post), 168L)
})

test_that("a parameter the readings do not show comes out as it went in", {
  # one temperature: the energy is the prior's, and normal
  one <- small[small$temp_c == 330, ]
  p <- quietly(fit_posterior(one, prior = prior_softening(q_kj_mol = c(mean = 140, sd = 10)), seed = 2))
  q <- p$draws[, "q_kj_mol"]
  expect_lt(abs(mean(q) - 140), 4 * 10 / sqrt(1000))
  expect_lt(abs(stats::sd(q) - 10), 1)
  expect_output(print(p), "Mostly the prior's, the readings add less than it holds: .*q_kj_mol")
  expect_equal(stats::setNames(p$prior_sd[["q_kj_mol"]], NULL), 10)
  # with all else known and one level free, the posterior is normal in closed form
  known <- prior_softening(h_worked = c(value = 162), h_soft = c(mean = 80, sd = 2), n = c(value = 1.5),
                           q_kj_mol = c(value = 140), ln_k_ref = c(mean = -1.94, sd = 1e-4,
                                                                   temp_c = fit$temp_ref_c),
                           sd_furnace_c = c(value = 0), sd_specimen = c(value = 1), sd_step = c(value = 2),
                           sd_reading = c(value = 1.6))
  p <- fit_posterior(fit, prior = known, seed = 3)
  s <- fit$errors$steps
  left <- exp(-(exp(-1.94 + 140 * inverse_temperature(s$key - 273.15, fit$temp_ref_c)) * s$time)^1.5)
  v <- diag(4 + 1.6^2 / s$weight) + outer(s$piece, s$piece, `==`)
  w <- solve(v, 1 - left)
  precision <- sum(w * (1 - left)) + 1 / 4
  middle <- (sum(w * (s$mean - 162 * left)) + 80 / 4) / precision
  expect_lt(abs(mean(p$draws[, "h_soft"]) - middle), 4 / sqrt(precision * 1500))
  expect_equal(stats::sd(p$draws[, "h_soft"]), 1 / sqrt(precision), tolerance = 0.06)
})

test_that("draws depend on the seed alone", {
  a <- fit_posterior(fit, chains = 2, n_draws = 20, n_warmup = 100, seed = 9) |> quietly()
  b <- fit_posterior(fit, chains = 1, n_draws = 20, n_warmup = 100, seed = 9) |> quietly()
  expect_identical(a$draws[1:20, ], b$draws)
  expect_false(isTRUE(all.equal(a$draws[1:20, ], a$draws[21:40, ])))
  d <- with_test_seed(1, fit_posterior(small, chains = 1, n_draws = 20, n_warmup = 100) |> quietly())
  e <- with_test_seed(1, fit_posterior(small, chains = 1, n_draws = 20, n_warmup = 100) |> quietly())
  expect_identical(d$draws, e$draws)
  expect_warning(fit_posterior(fit, n_draws = 20, n_warmup = 100, seed = 9), "effective draws",
                 class = "softanneal_warning_sampling")
})

test_that("effective draws and R-hat are those of Vehtari and others", {
  skip_if_not_installed("posterior")
  x <- with_test_seed(6, stats::filter(matrix(stats::rnorm(3001 * 3), 3001), 0.6, "recursive"))
  x <- cbind(matrix(x[, 1:3], 3001) + rep(c(0, 0, 0.4), each = 3001))
  own <- chain_table(cbind(a = as.vector(x), b = exp(as.vector(x))), 3L)
  expect_equal(own$rhat[1L], posterior::rhat(x), tolerance = 1e-10)
  expect_equal(own$ess_bulk[1L], posterior::ess_bulk(x), tolerance = 1e-8)
  expect_equal(own$ess_tail[1L], posterior::ess_tail(x), tolerance = 1e-8)
  expect_equal(own$rhat[2L], posterior::rhat(exp(x)), tolerance = 1e-10)
  long <- with_test_seed(7, matrix(stats::rnorm(1e5), ncol = 2L)) # beyond what an integer product holds
  expect_equal(effective_draws(long), posterior::ess_mean(long), tolerance = 0.05)
  s <- posterior::summarise_draws(posterior::as_draws(post))
  expect_equal(as.numeric(s$ess_bulk), post$diagnostics$ess_bulk, tolerance = 1e-8)
  expect_equal(posterior::as_draws_df(post)$n, unname(post$draws[, "n"]))
  expect_equal(dim(posterior::as_draws_matrix(post)), dim(post$draws))
  expect_equal(posterior::nchains(posterior::as_draws_list(post)), 4L)
  expect_s3_class(posterior::as_draws_rvars(post), "draws_rvars")
  expect_s3_class(posterior::as_draws_array(post), "draws_array")
})

test_that("answers are quantiles of the answers of the draws", {
  skip_on_cran()
  d <- post$draws
  half <- function(temp) {
    exp(log(log(2)) / d[, "n"] - d[, "ln_k_ref"] - d[, "q_kj_mol"] * inverse_temperature(temp,
                                                                                         fit$temp_ref_c))
  }
  t <- time_to(post, temp_c = c(300, 350))
  q <- vapply(c(300, 350), function(temp) stats::quantile(half(temp), c(0.025, 0.5, 0.975), names = FALSE),
              numeric(3))
  expect_equal(rbind(t$conf.low, t$time_min, t$conf.high), q, tolerance = 1e-3)
  expect_equal(t$method, rep("posterior", 2L))
  back <- temp_for(post, t$time_min[1L], softening = 0.5)
  expect_equal(back$temp_c, 300, tolerance = 1e-3)
  usual <- time_to(fit, hardness = 80, scale = "HRF", temp_c = 350)
  own <- time_to(post, hardness = 80, scale = "HRF", temp_c = 350)
  expect_equal(own$time_min, usual$time_min, tolerance = 0.05)
  expect_equal(own$hardness, 80)
  expect_equal(recryst_temperature(post, 0.99)$temp_c, tidy(post)$estimate[6L], tolerance = 1e-3)
  expect_warning(time_to(post, hardness = 10), "target not reached|are NA",
                 class = "softanneal_warning_outside")
  expect_refused(time_to(post, method = "delta"), "model", "one kind of interval", "method")
  curve <- predict(post, data.frame(temp_c = 330, time_min = c(0, 16)), interval = "confidence")
  new <- predict(post, data.frame(temp_c = 330, time_min = c(0, 16)), interval = "prediction")
  expect_true(all(new[, "upr"] - new[, "lwr"] > curve[, "upr"] - curve[, "lwr"]))
  expect_equal(curve[, "fit"], new[, "fit"])
  usual <- predict(fit, data.frame(temp_c = 330, time_min = c(0, 16)), interval = "prediction")
  expect_equal(new[, "fit"], usual[, "fit"], tolerance = 0.02)
  expect_lt(max(abs(log((new[, "upr"] - new[, "lwr"]) / (usual[, "upr"] - usual[, "lwr"])))), log(1.4))
  expect_length(predict(post, n_draws = 50), 168L)
  w <- process_window(post, c(95, 125), temp_c = c(330, 350), time_min = c(4, 16), n_points = 5)
  v <- process_window(fit, c(95, 125), temp_c = c(330, 350), time_min = c(4, 16), n_points = 5)
  expect_lt(max(abs(w$probability - v$probability)), 0.12)
  expect_output(print(w), "window|limits|hardness")
})

test_that("priors say what is believed, once, and in numbers that can be", {
  expect_refused(prior_softening(hardness = c(mean = 1, sd = 1)), "argument", "no quantity 'hardness'",
                 "hardness")
  expect_refused(prior_softening(n = c(mean = 1)), "argument", "forms of a belief", "n")
  expect_refused(prior_softening(n = 1.5), "argument", "named numeric vector", "n")
  expect_refused(prior_softening(n = c(mean = 1.5, sd = 0)), "range", "cannot be normal", "n")
  expect_refused(prior_softening(n = c(median = 1.5, factor = 1)), "range", "cannot be lognormal", "n")
  expect_refused(prior_softening(h_soft = c(lower = 90, upper = 60)), "range", "cannot be flat", "h_soft")
  expect_refused(prior_softening(sd_step = c(mean = 1, sd = 1)), "range", "not normal", "sd_step")
  expect_refused(prior_softening(ln_k_ref = c(mean = -2, sd = 1)), "argument", "at which temperature",
                 "ln_k_ref")
  expect_refused(prior_softening(ln_k_ref = c(median = 2, factor = 2, temp_c = 300)), "argument",
                 "a mean and an sd", "ln_k_ref")
  expect_refused(prior_softening(from = fit, n = c(mean = 1, sd = 1)), "argument", "more than one belief",
                 "n")
  expect_refused(prior_brass(ln_k_ref = c(mean = -2, sd = 1, temp_c = 300),
                             recryst_1h_c = c(mean = 300, sd = 9)), "argument", "more than one belief")
  expect_refused(fit_posterior(fit, prior = "brass"), "argument", "must come from", "prior")
  expect_refused(fit_posterior(fit, "jmak"), "argument", "is a fit", "data")
  expect_refused(fit_posterior(fit, prior = prior_softening(dh_rec = c(scale = 5))), "argument",
                 "speaks of 'dh_rec'", "prior")
  expect_refused(fit_posterior(fit, prior = prior_softening(n = c(mean = 50, sd = 1))), "range",
                 "outside the bounds", "prior")
  expect_refused(fit_posterior(fit, prior = prior_softening(sd_step = c(lower = 0, upper = 2))),
                 "argument", "cannot be flat")
  expect_refused(fit_posterior(update(fit, se = "cluster")), "model", "components of error", "data")
  held <- quietly(update(fit, fixed = c(n = 1.5)))
  expect_refused(fit_posterior(held, prior = prior_softening(n = c(mean = 1.5, sd = 1))), "argument",
                 "which is fixed in the fit", "prior")
  stated <- update(fit, u_temp_c = 2)
  expect_refused(fit_posterior(stated, prior = prior_softening(sd_furnace_c = c(scale = 1))), "argument",
                 "u_temp_c")
  expect_output(print(prior_brass()), "Callister")
  expect_output(print(prior_softening(from = fit, widen = 2)), "times 2")
  expect_match(format(prior_brass()), "recryst_1h_c")
  expect_equal(nrow(as.data.frame(prior_softening())), 5L)
})

test_that("prior and readings that disagree are named", {
  expect_length(prior_conflicts(post), 0L)
  p <- quietly(fit_posterior(fit, prior = prior_softening(sd_step = c(scale = 0.3)), seed = 1, chains = 2,
                             n_draws = 400))
  expect_equal(prior_conflicts(p), "sd_step")
  said <- paste(utils::capture.output(print(p)), collapse = " ")
  expect_match(said, "Prior and readings disagree on sd_step")
  expect_no_match(said, "hardly show[^.]*sd_step")
  # a standard deviation that grows takes the conflict from the draws, not from the readings alone
  far <- post
  se <- sqrt(fit$vcov["n", "n"])
  for (z in c(-4, 4)) {
    far$prior <- prior_softening(n = c(mean = fit$par[["n"]] + z * sqrt(2) * se, sd = se))
    expect_identical(fit_conflicts(far), "n")
  }
  expect_identical(conflict_note(far), "prior and readings disagree on n")
  # P(N(0, 2 se^2) beyond z) against 0.01: z = 2.576
  for (z in c(2.4, 2.8)) {
    far$prior <- prior_softening(n = c(mean = fit$par[["n"]] + z * sqrt(2) * se, sd = se))
    expect_identical(length(fit_conflicts(far)), as.integer(z > 2.576))
  }
  # against closed forms: a normal prior and normal draws of a posterior, on the scale of the prior
  x <- p
  x$prior <- prior_softening(q_kj_mol = c(mean = 100, sd = 20))
  x$prior_table <- x$prior_table[0L, ]
  z <- stats::qnorm(stats::ppoints(nrow(x$draws)))
  x$draws[, "q_kj_mol"] <- 100 + 20 * (1.2 + z * sqrt(0.75))
  expect_equal(conflict_distance(x), c(q_kj_mol = 1.2 / sqrt(1 / 3)), tolerance = 0.01)
  x$draws[, "q_kj_mol"] <- 100 + 20 * (2 + z * sqrt(0.25))
  expect_equal(conflict_distance(x), c(q_kj_mol = 2 / sqrt(0.75)), tolerance = 0.01)
  x$prior <- prior_softening(n = c(median = 2, factor = 1.5))
  x$draws[, "n"] <- 2 * 1.5^(-1 + z * 0.5)
  expect_equal(conflict_distance(x), c(n = -1 / sqrt(0.75)), tolerance = 0.01)
  x$prior <- prior_softening(h_soft = c(lower = 60, upper = 80))
  x$draws[, "h_soft"] <- 60 + 20 * stats::pnorm(1.5 + z * 0.5)
  expect_equal(conflict_distance(x), c(h_soft = 1.5 / sqrt(0.75)), tolerance = 0.01)
  # a rate is believed at its own temperature, an earlier fit at its own reference
  x$prior <- prior_softening(ln_k_ref = c(mean = -5, sd = 1, temp_c = 300))
  x$draws[, "ln_k_ref"] <- -5 + 0.5 * z - x$draws[, "q_kj_mol"] * inverse_temperature(300, x$fit$temp_ref_c)
  expect_equal(conflict_distance(x)[["ln_k_ref"]], 0, tolerance = 0.01)
  x$prior <- prior_softening(from = update(fit, temp_ref_c = 300))
  expect_gt(abs(conflict_distance(x)[["ln_k_ref"]]), CONFLICT)
})

test_that("an energy that only unbelieved furnace errors allow is named, with these errors", {
  expect_null(furnace_conflict(post))
  fitted <- fit$par[["q_kj_mol"]]
  with_prior <- function(q, furnace) {
    x <- post
    x$prior <- prior_softening(q_kj_mol = q)
    x$prior_table[x$prior_table$quantity == "sd_furnace_c", c("form", "a", "b")] <- list("fixed", NA, furnace)
    x
  }
  # by hand, furnace known: the slope of ln k against 1/(RT) of runs that are off by 2 K each
  kelvin <- sort(unique(small$temp_c)) + 273.15
  x <- 1000 / 8.31446261815324 / kelvin
  slope <- 1000 * fitted / 8.31446261815324 / kelvin^2
  weight <- (x - mean(x)) / sum((x - mean(x))^2)
  by_furnace <- sum((weight * slope)^2)
  rest <- fit$vcov["q_kj_mol", "q_kj_mol"] - by_furnace * fit$errors$sd["furnace", "estimate"]^2
  sd <- sqrt(10^2 + max(rest, 0) + 2^2 * by_furnace)
  at <- function(z) furnace_conflict(with_prior(c(mean = fitted + z * sd, sd = 10), 2))
  expect_null(at(0.97 * stats::qnorm(0.995)))
  expect_null(at(-0.97 * stats::qnorm(0.995)))
  expect_false(is.null(at(1.03 * stats::qnorm(0.995))))
  expect_false(is.null(at(-1.03 * stats::qnorm(0.995))))
  expect_null(furnace_conflict(with_prior(c(lower = 500, upper = 600), 2))) # flat: no odds to compare
  # readings whose runs were off by what it says have the energy believed
  believed <- fitted + 4 * sd
  f <- at(4)
  off <- (x - mean(x)) * (believed - fitted) / (slope * believed / fitted)
  expect_equal(f$error, max(abs(off)), tolerance = 1e-6)
  moved <- transform(small, temp_c = temp_c + off[match(temp_c + 273.15, kelvin)])
  expect_equal(coef(quietly(fit_softening(moved)))[["q_kj_mol"]], believed, tolerance = 0.05)
  # said in print, summary and answers, and the furnace is then not called unseen
  p <- with_prior(c(mean = believed, sd = 10), 2)
  said <- paste(prior_sentence(p, posterior_table(p, 0.95)), collapse = " ")
  expect_match(said, paste0("a furnace error of ", format_quantity(f$error, 2L), " K at .* a sd of 2 K was"))
  expect_no_match(said, "hardly show[^.]*sd_furnace_c")
  expect_match(paste(summary(p)$remarks, collapse = " "), "furnace error of", fixed = TRUE)
  expect_match(quietly(time_to(p, softening = 0.5))$note, "prior and readings disagree on q_kj_mol")
  expect_match(quietly(temp_for(p, time_min = 20, softening = 0.5))$note, "prior and readings disagree")
})

test_that("answers say on which bounds they lean, and what is mostly the prior's", {
  open <- quietly(fit_posterior(small[small$temp_c == 330, ], seed = 2, chains = 2, n_draws = 400,
                                prior = prior_softening(q_kj_mol = c(mean = 140, sd = 40))))
  far <- quietly(time_to(open, temp_c = c(330, 450)))
  expect_no_match(far$note[1L], "prior|bounds")
  expect_match(far$note[2L], "^mostly the prior's, of q_kj_mol; temperature outside")
  x <- open
  x$prior <- prior_softening()
  x$prior_sd["q_kj_mol"] <- 2000 / sqrt(12)
  x$draws[, "q_kj_mol"] <- seq(0, 2000, length.out = nrow(x$draws))
  far <- quietly(time_to(x, temp_c = c(330, 450)))
  expect_no_match(far$note[1L], "bounds")
  expect_match(far$note[2L], "^leans on the bounds of q_kj_mol, not determined; temperature outside")
  expect_match(quietly(temp_for(x, 1, softening = 0.9))$note, "^leans on the bounds of q_kj_mol")
  expect_equal(never_notes(c(0, 0.001, 0.2, 0.6)),
               c("", "not reached in less than 1 % of the draws", "not reached in 20 % of the draws",
                 "target not reached"))
})

test_that("beliefs in HV are not taken for another unit", {
  stress <- transform(small, hardness = 3 * hardness)
  expect_refused(quietly(fit_posterior(stress, property = "yield stress (MPa)", prior = prior_brass())),
                 "scale", "'h_worked' and 'h_soft' in HV, and the fit is of yield stress", "prior")
  own <- prior_brass(h_worked = c(mean = 480, sd = 50), h_soft = c(mean = 230, sd = 30))
  rockwell <- fit_softening(small[small$scale == "HR30T", ], scale = "as read")
  expect_equal(in_scale_of_fit(own$table, rockwell), own$table)
  seen <- in_scale_of_fit(prior_brass()$table, rockwell)
  level <- match("h_worked", seen$quantity)
  expect_equal(seen$a[level], convert_hardness(160, "HV", "HR30T"))
  expect_equal(seen$b[level], diff(convert_hardness(c(145, 175), "HV", "HR30T")) / 2)
  expect_equal(seen$unit[level], "HR30T")
  expect_equal(in_scale_of_fit(prior_brass()$table, fit), prior_brass()$table)
  hard <- prior_brass()$table
  hard$a[hard$quantity == "h_worked"] <- 900
  expect_refused(in_scale_of_fit(hard, rockwell), "scale", "conversion table does not reach", "prior")
  expect_refused(fit_posterior(rockwell, prior = prior_softening(from = fit)), "scale", "is in HV", "prior")
  other <- quietly(update(fit, model = "austin_rickett"))
  expect_refused(fit_posterior(other, prior = prior_softening(from = fit)), "model", "mean something else",
                 "prior")
  incubation <- quietly(update(fit, model = "jmak_incubation"))
  expect_null(check_joint(prior_softening(from = fit)$joint, incubation))
})

test_that("what a posterior cannot do is refused by name", {
  along <- post
  along$fit$readings$history <- list()
  expect_refused(predict(along), "model", "temperature histories", "object")
  unknown <- fit
  unknown$states[] <- "not determined"
  expect_refused(prior_softening(from = unknown), "argument", "no parameter with a standard error", "from")
  several <- quietly(fit_softening(small, n_by = "by temperature"))
  expect_refused(fit_posterior(several, prior = prior_softening(recryst_1h_c = c(mean = 300, sd = 20))),
                 "model", "one exponent for all temperatures", "prior")
  runs <- data.frame(time = 1, scale = 1, run = seq_len(MOST_RUNS + 1L))
  expect_identical(posterior_runs(runs[-1L, ])$run, seq_len(MOST_RUNS) - 1L)
  expect_refused(posterior_runs(runs), "model", "furnace runs", "data")
  expect_refused(posterior_object(list(started = c(1L, 0L))), "model", "no start with a finite density",
                 "prior")
})

test_that("an earlier fit as prior counts at its own temperature", {
  later <- fit_softening(small, temp_ref_c = 400)
  two <- suppressWarnings(fit_posterior(later, prior = prior_softening(from = fit,
                                                                       sd_step = c(value = 300)), seed = 4))
  # readings that say nothing: the prior comes back, moved to the other reference
  at <- two$draws[, "ln_k_ref"] + two$draws[, "q_kj_mol"] * inverse_temperature(fit$temp_ref_c, 400)
  expect_lt(abs(mean(at) - coef(fit)[["ln_k_ref"]]), 0.1 * sqrt(vcov(fit)["ln_k_ref", "ln_k_ref"]))
  expect_equal(stats::sd(at), sqrt(vcov(fit)["ln_k_ref", "ln_k_ref"]), tolerance = 0.08)
  expect_equal(stats::cor(at, two$draws[, "n"]), stats::cov2cor(vcov(fit))["ln_k_ref", "n"], tolerance = 0.1)
})

test_that("before and after are drawn", {
  p <- ggplot2::ggplot_build(ggplot2::autoplot(post))
  expect_setequal(unique(p$data[[1]]$linetype), c("42", "solid"))
  expect_match(ggplot2::get_alt_text(ggplot2::autoplot(post)), "Activation energy (kJ/mol)", fixed = TRUE)
  picture <- ggplot2::autoplot(prior_brass())
  # each panel says the unit of its axis; n has none
  panels <- levels(picture$data$panel)
  expect_match(panels[panels != "Exponent n"], " \\((HV|K|kJ/mol|°C|deg C)\\)$")
  d <- ggplot2::ggplot_build(picture)$data[[2]]
  area <- vapply(split(d, d$PANEL), function(x) sum(diff(x$x) * (x$y[-1] + x$y[-nrow(x)]) / 2), 0)
  expect_equal(unname(area), rep(1, 10L), tolerance = 0.01)
})

test_that("a long random walk finds the same posterior", {
  skip_if_not(extended_tests(), "extended tests are not asked for")
  p <- posterior_problem(fit, prior_brass())
  long <- fit_posterior(fit, prior = prior_brass(), n_draws = 5000, seed = 12)
  d <- long$draws
  x <- sweep(d[, long$sds], 2L, p$table$b[match(long$sds, p$table$quantity)], `/`)
  u <- cbind(stats::qlogis(sweep(sweep(d[, long$terms], 2L, p$lower), 2L, p$upper - p$lower, `/`)),
             x + log(-expm1(-x)), d[, long$furnaces] / d[, "sd_furnace_c"])
  expect_equal(diff(density_at(p, t(u[1:2, ]))$value), diff(unname(d[1:2, "lp__"])))
  root <- 2.38 / sqrt(ncol(u)) * t(chol(stats::cov(u)))
  walk <- with_test_seed(13, {
    n <- 4e5
    at <- colMeans(u)
    now <- density_at(p, at)$value
    out <- matrix(0, n / 20, ncol(u))
    for (i in seq_len(n)) {
      to <- at + drop(root %*% stats::rnorm(length(at)))
      new <- density_at(p, to)$value
      if (log(stats::runif(1)) < new - now) {
        at <- to
        now <- new
      }
      if (i %% 20 == 0) out[i / 20, ] <- at
    }
    out[-seq_len(1000), ]
  })
  values <- t(density_at(p, t(walk))$values)
  values <- values[, c(seq_along(long$terms), length(long$terms) + which(p$presence))]
  both <- d[, c(long$terms, long$sds)]
  for (j in seq_len(ncol(both))) {
    own <- effective_draws(split_chains(matrix(both[, j], 5000)))
    other <- effective_draws(split_chains(matrix(values[, j])))
    error <- stats::sd(both[, j]) * sqrt(1 / own + 1 / other)
    expect_lt(abs(mean(both[, j]) - mean(values[, j])), 4 * error)
    for (q in c(0.05, 0.5, 0.95)) {
      place <- stats::quantile(both[, j], q, names = FALSE)
      share <- mean(values[, j] <= place)
      expect_lt(abs(share - q), 5 * sqrt(q * (1 - q) * (1 / own + 1 / other)))
    }
    cat(colnames(both)[j], "mean", format(mean(both[, j])), "and", format(mean(values[, j])), "error",
        format(error), "\n")
  }
})

test_that("panels of many parameters keep a height in a journal column", {
  skip_on_cran()
  rich <- suppressWarnings(suppressMessages(fit_posterior(
    example_data("bellbrass_readings"), "recovery_jmak", prior = prior_brass(), chains = 1, n_draws = 100,
    n_warmup = 100, seed = 1)))
  p <- ggplot2::autoplot(rich)
  expect_gt(nlevels(p$data$panel), 12)
  size <- c(3.4, 2.6)
  grDevices::pdf(NULL, size[1L], size[2L])
  on.exit(grDevices::dev.off())
  grid::grid.newpage()
  g <- attr(softanneal:::fit_picture(p, size), "built")
  rows <- length(unique(g$layout$t[grepl("^panel", g$layout$name)]))
  left <- size[2L] - sum(grid::convertHeight(g$heights, "inches", valueOnly = TRUE))
  expect_gt(left / rows, 0.08)
})
