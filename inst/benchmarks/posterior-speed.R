# Effective draws a second of fit_posterior() on the 168 readings of the example, and of a random walk with
# the covariance of the posterior (mcmc::metrop()) on the same compiled density. Package installed, one core:
#   Rscript inst/benchmarks/posterior-speed.R
suppressMessages(library(softanneal))
space <- asNamespace("softanneal")
fit <- fit_softening(example_data("bellbrass_readings"))
ours <- system.time(post <- fit_posterior(fit, prior = prior_brass(), seed = 1))[["user.self"]]
least <- glance(post)$min_ess
cat("fit_posterior():", round(ours, 2), "s,", nrow(post$draws), "draws, least effective number",
    round(least), "\n")
if (requireNamespace("mcmc", quietly = TRUE)) {
  p <- space$posterior_problem(fit, prior_brass())
  density <- function(u) space$posterior_density(p, u)
  par <- post$draws[, post$terms]
  unknown <- cbind(qlogis(sweep(sweep(par, 2L, p$lower), 2L, p$upper - p$lower, `/`)),
                   apply(post$draws[, post$sds], 2L, identity), post$draws[, post$furnaces] /
                     post$draws[, "sd_furnace_c"])
  scale <- p$table$b[match(post$sds, p$table$quantity)]
  for (j in seq_along(post$sds)) {
    x <- post$draws[, post$sds[j]] / scale[j]
    unknown[, length(post$terms) + j] <- x + log(-expm1(-x))
  }
  root <- 2.4 / sqrt(ncol(unknown)) * t(chol(cov(unknown)))
  set.seed(1)
  walk <- system.time(m <- mcmc::metrop(function(u) density(u)$value, colMeans(unknown), nbatch = 1e5,
                                        scale = root))[["user.self"]]
  own <- apply(m$batch, 2L, function(v) space$effective_draws(space$split_chains(matrix(v))))
  cat("random walk:", round(walk, 1), "s, 1e5 draws, acceptance", round(m$accept, 2),
      ", least effective number",
      round(min(own)), "\n")
  cat("effective draws a second, ratio:", round(least / ours / (min(own) / walk)), "\n")
}
