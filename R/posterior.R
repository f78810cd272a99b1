# Draws from the posterior of a softening model under components of error. The sampler and the density are C
# (src/sampler.c, src/posterior.c); R states the problem and looks at what came out.

#' Posterior of a softening model
#'
#' What is known after the readings, of every parameter and of the standard deviations of the errors
#' together:
#' draws from the posterior of a prior ([prior_softening()]) and the readings under the error model of
#' [softening-errors]. Where the readings leave a parameter open, the prior closes it, and the print says
#' so.
#'
#' Offsets of specimens and operators are integrated out; errors of furnace temperatures, which bend the
#' curves, are
#' drawn with the parameters. All is exact: no curve is linearised, no standard deviation is fixed at its
#' estimate. Specimens of one furnace run share one error of temperature, through all their steps.
#' A posterior of a fit along temperature histories takes longer by what its integrals take.
#'
#' The sampler is the no-U-turn sampler with the analytic derivatives of the model. It starts from the fit
#' and its
#' curvature, adapts in `n_warmup` moves a chain, and gives the same draws for the same seed on any
#' number of threads. `rhat` compares the chains (1 is well; above 1.01 run longer), `ess_bulk` and
#' `ess_tail`
#' say how many independent draws they are worth for the middle and for the ends of an interval. A
#' divergence is a
#' trajectory that met a part of the posterior too narrow for its step: a few bias the ends, many all of it.
#'
#' `share_prior` in [summary()] is the standard deviation of the posterior over that of the prior. Above
#' 0.71 the
#' readings add less information than the prior holds, and the answer is mostly the prior's; answers of
#' [time_to()]
#' and [temp_for()] say so in their `note`, and on which bounds they lean where nothing was believed. The
#' print
#' names each quantity on which prior and readings disagree: the posterior lies further out in what was
#' believed
#' than 99 % of posteriors would if the prior were true. An energy may be met by furnace errors nobody
#' believes in: where the energy that the readings alone give lies beyond 99 % of what was believed of energy
#' and furnace together (Box 1980), the print says which furnace error the readings need to agree with the
#' prior, and the `note` of answers says that both disagree.
#'
#' The draws are in the format of the package posterior where it is installed: `posterior::as_draws()` and
#' its
#' relatives take the object, and with them all packages that take draws.
#'
#' @param data A data frame of readings as for [fit_softening()], or a fit of it with `se = "components"`.
#' @param model Which model, see [softening-models]; with a fit that of the fit.
#' @param prior A prior of [prior_softening()] or [prior_brass()]; `NULL` for flat parameters and weak
#'   standard deviations.
#' @param ... Further arguments of [fit_softening()] where `data` is a data frame.
#' @param chains Number of chains.
#' @param n_draws Draws kept of each chain.
#' @param n_warmup Moves of each chain before them, at least 100.
#' @param accept Acceptance aimed at, between 0.6 and 0.99; nearer to 1 the steps are smaller: the cure of
#'   divergences.
#' @param seed Seed of the draws, a whole number; `NULL` takes one from the random numbers of the session.
#' @param level Level of the intervals printed.
#' @return An object of class `softanneal_posterior`: `draws` (a matrix, chains below each other:
#'   parameters,
#'   standard deviations, furnace errors in K, `lp__`), `chains`, `terms`, `sds`, `furnaces`, `diagnostics`
#'   (a
#'   data frame with `term`, `rhat`, `ess_bulk`, `ess_tail`), `moves` (a data frame, one row a chain:
#'   `step`, `accept`,
#'   `mean_steps`, `divergent`, `deepest`), `prior`, `prior_sd`, `fit` (that of [fit_softening()]), `seed`,
#'   `level`.
#'   Methods: [posterior-methods]; [time_to()], [temp_for()], [recryst_temperature()] and [process_window()]
#'   answer
#'   from it. One warning of class `softanneal_warning_sampling` says what is wrong with the chains.
#' @section Errors:
#'   Those of [fit_softening()]; `softanneal_error_argument` for a prior that speaks of what the model has
#'   not, or of
#'   what the fit has fixed; `softanneal_error_scale` for levels believed in HV where the fit is of another
#'   property, or an earlier fit in another scale; `softanneal_error_range` for a belief outside the bounds;
#'   `softanneal_error_model` for a fit without components of error, more than 64 furnace runs, or an earlier
#'   fit
#'   whose rate and exponent mean something else.
#' @source Hoffman M D, Gelman A (2014) J. Mach. Learn. Res. 15, 1593; Betancourt M (2017) arXiv:1701.02434;
#'   Vehtari A
#'   and others (2021) Bayesian Analysis 16, 667. Predictive checks: Box GEP (1980) Journal of the Royal
#'   Statistical Society A 143, 383. Prior and readings in conflict: Evans M, Moshonov H (2006)
#'   ibid.
#'   1, 893.
#' @seealso [prior_softening()], [pool_fits()].
#' @examples
#' readings <- example_data("bellbrass_readings")
#' post <- fit_posterior(readings, prior = prior_brass(), seed = 1)
#' post
#' time_to(post, hardness = 100, temp_c = 330)
#' @export
fit_posterior <- function(data, model = "jmak", prior = NULL, ..., chains = 4, n_draws = 1000, n_warmup = 500,
                          accept = 0.9, seed = NULL, level = 0.95) {
  call <- plain_call(match.call(), "fit_posterior")
  prior <- check_prior(prior)
  chains <- check_number(chains, "chains", 1, 100, whole = TRUE)
  n_draws <- check_number(n_draws, "n_draws", 20, 1e6, whole = TRUE)
  n_warmup <- check_number(n_warmup, "n_warmup", 100, 1e6, whole = TRUE)
  accept <- check_number(accept, "accept", 0.6, 0.99)
  level <- check_level(level)
  if (inherits(data, "softanneal_fit_softening")) {
    if (!missing(model) || ...length()) {
      abort("argument", "`data` is a fit, which has its model and its readings already", arg = "data",
            remedy = "Leave the arguments of fit_softening() out, or give the readings.")
    }
    fit <- data
  } else {
    fit <- fit_softening(data, model, se = "components", ...)
  }
  no_limits(fit, "there is no posterior", "data")
  if (is.null(fit$errors)) {
    abort("model", "a posterior needs a fit with components of error", arg = "data",
          remedy = "Fit with se = \"components\" and more steps than parameters.")
  }
  seed <- posterior_seed(seed)
  prior$table <- in_scale_of_fit(prior$table, fit)
  problem <- posterior_problem(fit, prior)
  raw <- .Call(C_sa_call_posterior, problem$fit, problem$prior,
               list(chains = chains, warmup = n_warmup, draws = n_draws, seed = seed, accept = accept,
                    spread = 1.5,
                    sd = problem$start_sd))
  posterior_object(raw, problem, fit, prior, chains, seed, level, call)
}

posterior_seed <- function(seed) {
  if (is.null(seed)) return(floor(stats::runif(1, 0, .Machine$integer.max)))
  check_number(seed, "seed", -.Machine$integer.max, .Machine$integer.max, whole = TRUE)
}

posterior_object <- function(raw, problem, fit, prior, chains, seed, level, call) {
  if (!all(raw$started == 1L)) {
    abort("model", paste0("no start with a finite density was found for ",
                          count(sum(raw$started != 1L), "chain")),
          arg = "prior", remedy = "Check that the prior and the readings can be true together.")
  }
  draws <- t(raw$draws)
  p <- length(problem$terms)
  sds <- names(PRIOR_SDS)
  runs <- if (length(problem$runs)) paste0("furnace[", problem$runs, "]")
  colnames(draws) <- c(problem$terms, sds, runs, "lp__")
  draws[, runs] <- sweep(draws[, runs, drop = FALSE], 2L, problem$run_scale, `*`)
  draws[, "sd_furnace_c"] <- draws[, "sd_furnace_c"] * problem$scale
  draws <- draws[, c(rep(TRUE, p), problem$presence, rep(TRUE, length(runs) + 1L)), drop = FALSE]
  chain <- rep(seq_len(chains), each = nrow(draws) / chains)
  moves <- data.frame(chain = seq_len(chains), step = raw$steps,
                      accept = as.vector(tapply(raw$moves[1L, ], chain, mean)),
                      mean_steps = as.vector(tapply(raw$moves[3L, ], chain, mean)),
                      divergent = as.integer(tapply(raw$moves[4L, ], chain, sum)),
                      deepest = as.integer(tapply(raw$moves[2L, ] >= 10, chain, sum)))
  out <- structure(list(
    draws = draws, chains = as.integer(chains), terms = problem$terms, sds = sds[problem$presence],
    furnaces = runs %or% character(), fixed = problem$terms[problem$fixed],
    diagnostics = chain_table(draws, chains), moves = moves, prior = prior,
    prior_table = problem$table, bounds = cbind(lower = problem$lower, upper = problem$upper),
    fit = fit, seed = seed, level = level, call = call,
    version = PACKAGE_VERSION), class = "softanneal_posterior")
  out$prior_sd <- prior_spread(out)
  warn_chains(out)
  out
}

# Sentences about the chains; none when all is well.
chain_remarks <- function(x) {
  d <- x$diagnostics
  divergent <- sum(x$moves$divergent)
  apart <- d$term[which(d$rhat > 1.01)]
  few <- d$term[which(pmin(d$ess_bulk, d$ess_tail) < 100 * x$chains)]
  deep <- sum(x$moves$deepest)
  c(if (divergent > 1e-3 * nrow(x$draws)) {
    paste0(divergent, " of ", thousands(nrow(x$draws)),
           " trajectories diverged: a part of the posterior is too narrow ",
           "for the steps. Raise `accept`, or say more in the prior.")
  }, if (length(apart)) paste0("The chains do not agree (rhat above 1.01) on ", listed(apart),
                               ": raise `n_draws`."),
  if (length(few)) paste0("Fewer than ", 100 * x$chains, " effective draws of ", listed(few),
                          ": raise `n_draws`."),
  if (deep) paste0(deep, " trajectories met the longest length: the posterior is long and bent; say more in ",
                   "the prior."))
}

warn_chains <- function(x) {
  words <- chain_remarks(x)
  if (length(words)) warn("sampling", paste0("The draws are in doubt. ", paste(words, collapse = " ")),
                          n = length(words),
                          divergent = sum(x$moves$divergent))
}

# Standard deviation of each quantity before the readings, where it has one of its own.
prior_spread <- function(x) {
  of_form <- function(form, a, b) {
    switch(form, normal = b, flat = (b - a) / sqrt(12), "half-normal" = b * sqrt(1 - 2 / pi),
           lognormal = a * sqrt(expm1(log(b)^2)) * exp(log(b)^2 / 2), NA_real_)
  }
  width <- x$bounds[, "upper"] - x$bounds[, "lower"]
  out <- stats::setNames(width / sqrt(12), x$terms)
  rows <- rbind(x$prior$table[x$prior$table$quantity %in% x$terms, ], x$prior_table)
  rows <- rows[rows$quantity != "ln_k_ref", ]
  out[rows$quantity] <- mapply(of_form, rows$form, rows$a, rows$b)
  joint <- x$prior$joint
  if (!is.null(joint)) out[names(joint$mean)] <- sqrt(diag(joint$cov))
  # a rate that is believed at another temperature, or by one hour, is judged there
  if (is_rate_believed(x$prior)) out["ln_k_ref"] <- NA_real_
  out[x$fixed] <- NA_real_
  hour <- x$prior$table[x$prior$table$quantity == "recryst_1h_c", ]
  if (nrow(hour)) out["recryst_1h_c"] <- hour$b
  out[c(x$terms, if (nrow(hour)) "recryst_1h_c", x$sds)]
}

is_rate_believed <- function(prior) any(c("ln_k_ref", "recryst_1h_c") %in% prior$table$quantity)

# Draws of the temperature for one hour, in degrees Celsius.
hour_draws <- function(x) {
  d <- x$draws
  delay <- if ("theta0" %in% x$terms) d[, "theta0"] else 0
  ln_theta <- log(theta_at(x$fit$model, COMPLETE_FRACTION, d[, "n"], delay))
  e <- (ln_theta - log(60) - d[, "ln_k_ref"]) / d[, "q_kj_mol"]
  1 / (1 / (x$fit$temp_ref_c + ZERO_CELSIUS) - e * GAS_CONSTANT / 1000) - ZERO_CELSIUS
}

# Draws of what is reported: parameters, the temperature for one hour where it was believed, and
# standard deviations.
reported_draws <- function(x) {
  hour <- if ("recryst_1h_c" %in% names(x$prior_sd)) cbind(recryst_1h_c = hour_draws(x))
  cbind(x$draws[, x$terms, drop = FALSE], hour, x$draws[, x$sds, drop = FALSE])
}
