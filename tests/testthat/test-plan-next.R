# What is worth most next, and what tells two models apart: against dense matrices, closed forms and limits.

post <- fit_posterior(bell_softening(), prior = prior_brass(), seed = 1)

test_that("the variance as it is is that of the posterior, and choices follow the readings", {
  goal <- next_goal(post, "q", NULL, NULL)
  one <- next_choices(post, 330, 6, list(calibration = 30, heat = 5, read = 0.5, handle = 1), 0.5)
  v <- value_next(post, one, goal, 100)
  expect_equal(exp(mean(v[, 1L]) / 2), stats::sd(post$draws[, "q_kj_mol"]), tolerance = 0.25)
  expect_true(all(v[, -1L] <= v[, 1L]))
  # the same by a dense matrix here, at one draw: offsets and furnace errors in the covariance of all steps
  s <- bell_softening()$errors$steps
  pick <- some_draws(post, 100)[7L]
  par <- post$draws[pick, post$terms]
  sd <- post$draws[pick, post$sds]
  at <- inverse_temperature(ifelse(s$time == 0, post$fit$temp_ref_c, s$key - 273.15), post$fit$temp_ref_c)
  curve <- function(p, d) {
    e <- at + (d != 0) * (inverse_temperature(s$key - 273.15 + d, post$fit$temp_ref_c) - at)
    .Call(C_sa_call_hardness, post$fit$settings$set$kind, log(s$time), as.double(e), as.double(p))[, 1L]
  }
  h <- 1e-4
  jac <- vapply(seq_along(par), function(j) {
    (curve(replace(par, j, par[j] + h), 0) - curve(replace(par, j, par[j] - h), 0)) / (2 * h)
  }, numeric(length(s$mean)))
  slope <- ifelse(s$time == 0, 0, (curve(par, h) - curve(par, -h)) / (2 * h))
  run <- posterior_runs(s)$run
  cov <- diag(sd[["sd_step"]]^2 + sd[["sd_reading"]]^2 / s$weight) +
    sd[["sd_specimen"]]^2 * outer(s$piece, s$piece, `==`) +
    sd[["sd_furnace_c"]]^2 * outer(slope, slope) * outer(run, run, `==`)
  m <- crossprod(jac, solve(cov, jac)) + prior_information(post)
  expect_equal(v[7L, 1L], log(solve(m)[5L, 5L]), tolerance = 1e-4)
  # furnaces known to nothing at all: their errors go
  known <- one
  known$calibrated[known$table$choice == "calibration"] <- 1e-6
  w <- value_next(post, known, goal, 100)
  cov <- cov - sd[["sd_furnace_c"]]^2 * outer(slope, slope) * outer(run, run, `==`)
  m <- crossprod(jac, solve(cov, jac)) + prior_information(post)
  column <- which(known$table$choice == "calibration") + 1L
  expect_equal(w[7L, column], log(solve(m)[5L, 5L]), tolerance = 1e-4)
})

test_that("choices are ranked by what they narrow per hour", {
  x <- plan_next(post, "q")
  expect_setequal(x$choice, c("specimen", "step", "readings", "calibration"))
  expect_true(all(x$width > 0 & x$width <= 1))
  expect_false(is.unsorted(-x$gain_per_h))
  expect_equal(x$gain_per_h, 100 * (1 - x$width) / (x$minutes / 60))
  last <- x[x$choice == "readings", ]
  expect_equal(last$minutes, 4 * (1 + 6 * 0.5))
  more <- plan_next(post, "q", n_readings = 60)
  expect_lt(min(more$width[more$choice == "specimen"]), min(x$width[x$choice == "specimen"]))
  t50 <- plan_next(post, "t50", at_c = 330, temp_c = c(330, 410))
  new <- t50[t50$choice == "specimen", ]
  expect_lt(new$width[new$temp_c == 330], new$width[new$temp_c == 410])
  expect_s3_class(plan_next(post, "hardness", at_c = 330, hardness = 100, temp_c = 330), "data.frame")
})

test_that("what cannot be valued is refused", {
  expect_refused(plan_next(bell_softening()), "argument", "must come from fit_posterior()", "posterior")
  expect_refused(plan_next(post, "q", at_c = 330), "argument", "not used when aim", "at_c")
  expect_refused(plan_next(post, "hardness"), "argument", "needs `hardness`", "hardness")
  expect_refused(plan_next(post, "q", hardness = 90), "argument", "not used when aim", "hardness")
  expect_refused(plan_next(post, "hardness", hardness = 20), "range", "no value at any draw", "hardness")
  held <- post
  held$fixed <- "q_kj_mol"
  expect_refused(plan_next(held, "q"), "argument", "fixed by the prior", "aim")
  held$fit$settings$set$no_energy <- "q_kj_mol"
  expect_refused(plan_next(held, "t50"), "model", "one temperature, and nothing is believed", "posterior")
  along <- post
  along$fit$readings$history <- list()
  expect_refused(plan_next(along), "model", "at constant temperatures", "posterior")
})

test_that("expected evidence is the divergence of normal distributions", {
  a <- list(mean = c(1, 2), cov = matrix(c(2, 0.5, 0.5, 1), 2))
  b <- list(mean = c(0, 2.5), cov = matrix(c(1, -0.2, -0.2, 3), 2))
  expect_equal(normal_divergence(a, a), 0)
  w <- solve(b$cov)
  d <- b$mean - a$mean
  expect_equal(normal_divergence(a, b),
               0.5 * (sum(diag(w %*% a$cov)) + drop(d %*% w %*% d) - 2 + log(det(b$cov) / det(a$cov))))
  same <- plan_apart(post, post)
  expect_equal(same$expected, rep(0, nrow(same)), tolerance = 1e-8)
  slow <- post # its exponent is another: told apart most where the curve bends
  slow$draws[, "n"] <- post$draws[, "n"] + 0.5
  x <- plan_apart(post, slow, temp_c = c(250, 330), time_min = c(4, 16, 64))
  expect_equal(x$temp_c, c(330, 250))
  expect_gt(x$expected[1L], 1)
  expect_equal(x$minutes, rep(64 + 4 * 9, 2L))
  expect_gt(plan_apart(post, slow, temp_c = 330, n_readings = 60)$expected,
            plan_apart(post, slow, temp_c = 330)$expected)
  slow$fit$scale <- "HR30T"
  expect_refused(plan_apart(post, slow), "scale", "`first` is in HV", "second")
  expect_refused(plan_apart(post, bell_softening()), "argument", "must come from fit_posterior()", "second")
})

test_that("plans average over a posterior", {
  guess <- plan_guess(fit = post, draws = 16)
  expect_equal(nrow(guess$draws), 16L)
  expect_equal(guess$par, coef(post))
  expect_equal(guess$u_temp_c, stats::median(post$draws[, "sd_furnace_c"]))
  expect_equal(plan_guess(fit = post, draws = 16, u_temp_c = 4)$u_temp_c, 4)
  plan <- suppressWarnings(plan_anneal(c(290, 330), c(4, 16, 64), guess))
  better <- suppressWarnings(improve_plan(plan, "q", starts = 1))
  i <- better$improvement
  expect_lt(i$width, 1)
  expect_gt(i$width, 0.2)
  # the criterion knows steps and readings alone: with nothing else stated it is what is promised
  bare <- plan_guess(fit = post, draws = 16, sd_piece = 0, u_temp_c = 0, sd_step = 2, sd_reading = 1.5)
  bare <- suppressWarnings(plan_anneal(c(290, 330), c(4, 16, 64), bare))
  alone <- suppressWarnings(improve_plan(bare, "q", starts = 1))$improvement
  expect_equal(exp(alone$criterion / 2) / alone$width, stats::sd(post$draws[, "q_kj_mol"]), tolerance = 0.01)
  expect_gt(i$width, 1.1 * alone$width)
  expect_output(print(better), "Expected interval after the run")
  expect_identical(check_guess(post)$par, guess$par)
  expect_refused(plan_guess(fit = post, n = 2), "argument", "has it already", "fit")
})

test_that("a promised interval has errors of furnaces and specimens, as unknowns that are integrated out", {
  guess <- plan_guess(fit = post, draws = 4)
  plan <- suppressWarnings(plan_anneal(c(290, 330), c(4, 16, 64), guess, specimens_per_temp = 2))
  s <- plan$steps[!is.na(plan$steps$read_min), ]
  # parameters, then an offset of each specimen and an error of each furnace in standard deviations
  curve <- function(par, temp_c) {
    k <- exp(par[["ln_k_ref"]] + par[["q_kj_mol"]] * inverse_temperature(temp_c, guess$temp_ref_c))
    par[["h_soft"]] + (par[["h_worked"]] - par[["h_soft"]]) * exp(-(k * s$time_min)^par[["n"]])
  }
  known <- solve(stats::cov(post$draws[, post$terms])) + diag(1 / widest(guess$par)^2)
  ratio <- vapply(1:4, function(r) {
    par <- guess$draws[r, ]
    sd <- guess$sd_draws[r, ]
    h <- 1e-5 * pmax(abs(par), 1)
    moved <- function(j, by) curve(replace(par, j, par[j] + by), s$temp_c)
    jac <- vapply(1:5, function(j) (moved(j, h[j]) - moved(j, -h[j])) / 2 / h[j], s$temp_c)
    slope <- (curve(par, s$temp_c + 0.01) - curve(par, s$temp_c - 0.01)) / 0.02
    all <- cbind(jac, stats::model.matrix(~ 0 + factor(s$specimen)) * sd[["sd_specimen"]],
                 stats::model.matrix(~ 0 + factor(s$temp_c)) * slope * sd[["sd_furnace_c"]])
    info <- crossprod(all) / (sd[["sd_step"]]^2 + sd[["sd_reading"]]^2 / plan$settings$n_readings)
    info <- info + diag(rep(0:1, c(5, ncol(all) - 5L)))
    info[1:5, 1:5] <- info[1:5, 1:5] + known
    c(q = solve(info)[5, 5] / solve(known)[5, 5],
      det = (det(solve(info)[1:5, 1:5]) / det(solve(known)))^(1 / 5))
  }, numeric(2L))
  promised <- function(aim, ...) promised_width(plan, check_goal(plan, aim, ..., hardness = NULL))
  expect_equal(promised("q", at_c = NULL), exp(mean(log(ratio["q", ])) / 2), tolerance = 1e-5)
  expect_equal(promised("determinant", at_c = NULL), exp(mean(log(ratio["det", ])) / 2), tolerance = 1e-5)
  # ln t50 at the reference temperature is ln ln 2 / n - ln k
  to <- function(par) c(0, 0, -1, -log(log(2)) / par[["n"]]^2, 0)
  half <- check_goal(plan, "t50", guess$temp_ref_c, NULL)
  at_half <- log_variance(known, guess, guess$draws[1L, ], half, 1:5)
  g <- to(guess$draws[1L, ])
  expect_equal(at_half, log(drop(g %*% solve(known, g))), tolerance = 1e-6)
})

test_that("no step is proposed above the solidus", {
  expect_error(plan_next(post, "q", temp_c = 1200), class = "softanneal_error_range")
})
