# Do prior and readings agree? Each belief is put on the scale where it is standard normal before the
# readings. There the mean of the posterior has, over readings as the prior expects them, mean 0 and variance
# 1 less that of the posterior (law of total variance): a mean far out in that distribution is a conflict of
# prior and readings (Evans and Moshonov 2006, Bayesian Analysis 1, 893). Standard deviations may grow until
# the readings say nothing against a belief: so the estimate of the readings alone is compared with it too.

CONFLICT <- stats::qnorm(0.995)
LEAST_GAIN <- 1 / 3 # least share of the variance that readings are taken to remove: of less they cannot say

# P(belief <= x) before the readings, by its form, within bounds.
belief_below <- function(form, a, b, x, bounds) {
  p <- function(v) {
    switch(form, normal = stats::pnorm(v, a, b), lognormal = stats::plnorm(v, log(a), log(b)),
           "half-normal" = 2 * stats::pnorm(v, 0, b) - 1, flat = stats::punif(v, a, b))
  }
  (p(x) - p(bounds[1L])) / (p(bounds[2L]) - p(bounds[1L]))
}

# Beliefs that readings can contradict, and draws of what they speak of.
tested_beliefs <- function(x) {
  own <- x$prior$table[!x$prior$table$quantity %in% names(PRIOR_SDS), ]
  t <- rbind(own, x$prior_table)[c("quantity", "form", "a", "b")]
  j <- x$prior$joint
  if (!is.null(j)) {
    t <- rbind(t, data.frame(quantity = names(j$mean), form = "normal", a = unname(j$mean),
                             b = unname(sqrt(diag(j$cov)))))
  }
  t <- t[t$form != "fixed" & !t$quantity %in% x$fixed, ]
  at <- if ("ln_k_ref" %in% own$quantity) x$prior$rate_temp_c else j$temp_ref_c
  e <- if (is.null(at)) 0 else inverse_temperature(at, x$fit$temp_ref_c)
  list(table = t, draws = function(q) {
    if (q == "recryst_1h_c") return(hour_draws(x))
    d <- x$draws[, q]
    if (is_rate(q) && energy_of(q) %in% x$terms) d <- d + e * x$draws[, energy_of(q)]
    d
  }, bounds = function(q) {
    if (q %in% x$terms && !is_rate(q)) return(x$bounds[match(q, x$terms), ])
    if (q %in% names(PRIOR_SDS)) c(0, Inf) else c(-Inf, Inf)
  })
}

# Standard normal distance of readings from each belief; named.
conflict_distance <- function(x) {
  b <- tested_beliefs(x)
  t <- b$table
  out <- vapply(seq_len(nrow(t)), function(k) {
    p <- belief_below(t$form[k], t$a[k], t$b[k], b$draws(t$quantity[k]), b$bounds(t$quantity[k]))
    z <- stats::qnorm(pmin(pmax(p, 1e-15), 1 - 1e-15))
    mean(z) / sqrt(max(1 - stats::var(z), LEAST_GAIN))
  }, 0)
  stats::setNames(out, t$quantity)
}

prior_conflicts <- function(x) {
  d <- conflict_distance(x)
  unique(c(names(d)[which(abs(d) > CONFLICT)], fit_conflicts(x)))
}

# Prior-predictive check of what the readings alone give for levels and exponents, with the errors they show
# (the energy: furnace_conflict()).
fit_conflicts <- function(x) {
  t <- tested_beliefs(x)$table
  fit <- x$fit
  seen <- names(fit$par)[fit$states %in% "determined" & is.finite(diag(fit$vcov))]
  free <- setdiff(seen[!is_rate(seen)], "q_kj_mol")
  t <- t[t$quantity %in% free & t$form %in% c("normal", "lognormal"), ]
  p <- stats::ppoints(100L)
  off <- vapply(seq_len(nrow(t)), function(k) {
    q <- t$quantity[k]
    believed <- belief_quantiles(t$form[k], t$a[k], t$b[k], p)
    is_conflict((fit$par[[q]] - believed) / sqrt(fit$vcov[q, q]))
  }, NA)
  t$quantity[off]
}

# Two-sided, over the values believed.
is_conflict <- function(distance) {
  below <- mean(stats::pnorm(distance))
  2 * min(below, 1 - below) < 2 * stats::pnorm(-CONFLICT)
}

# An energy believed far from what the readings say may be met by errors of the furnace runs that nobody
# believes. Of the runs: `x`, 1/(RT) about its mean, mol/kJ; `slope`, d ln k / dT at the energy fitted, 1/K.
runs_of_energy <- function(fit) {
  s <- fit$errors$steps
  if (!"q_kj_mol" %in% names(fit$par) || !fit$states[["q_kj_mol"]] %in% "determined" ||
      !is.null(fit$readings$history)) return(NULL)
  heated <- s$time > 0 & s$run > 0L
  if (!any(heated)) return(NULL)
  kelvin <- as.vector(tapply(fit$conditions$temp_c[s$condition[heated]], s$run[heated], mean)) + ZERO_CELSIUS
  x <- 1000 / GAS_CONSTANT / kelvin
  x <- x - mean(x)
  if (length(x) < 2L || sum(x^2) < 1e-12) return(NULL)
  list(kelvin = kelvin, x = x, slope = 1000 * fit$par[["q_kj_mol"]] / GAS_CONSTANT / kelvin^2,
       scale = if (is.null(fit$errors$stated)) 1 else sqrt(mean(s$scale[s$time > 0]^2)))
}

# Quantiles of a belief by its form, at `p`.
belief_quantiles <- function(form, a, b, p) {
  switch(form, fixed = rep(b, length(p)), flat = stats::qunif(p, a, b), normal = stats::qnorm(p, a, b),
         lognormal = stats::qlnorm(p, log(a), log(b)), "half-normal" = stats::qnorm((1 + p) / 2, 0, b))
}

# Prior-predictive check (Box 1980, J. R. Statist. Soc. A 143, 383) of the energy the readings alone give,
# over what was believed of energy and furnace. NULL, or the largest error in K that a run must have for
# readings and belief to agree (the rate free), with the energy believed and fitted.
furnace_conflict <- function(x) {
  t <- tested_beliefs(x)$table
  own <- t[t$quantity == "q_kj_mol" & t$form != "flat", ]
  oven <- x$prior_table[x$prior_table$quantity == "sd_furnace_c", ]
  runs <- runs_of_energy(x$fit)
  if (nrow(own) != 1L || nrow(oven) != 1L || is.null(runs)) return(NULL)
  p <- stats::ppoints(100L)
  believed <- belief_quantiles(own$form, own$a, own$b, p)
  sd <- runs$scale * belief_quantiles(oven$form, oven$a, oven$b, p)
  fitted <- x$fit$par[["q_kj_mol"]]
  by_furnace <- sum((runs$x * runs$slope)^2) / sum(runs$x^2)^2
  rest <- max(x$fit$vcov["q_kj_mol", "q_kj_mol"] -
                by_furnace * x$fit$errors$sd["furnace", "estimate"]^2, 0)
  if (!is_conflict(outer(fitted - believed, sqrt(rest + by_furnace * sd^2), `/`))) return(NULL)
  middle <- stats::median(believed)
  off <- runs$x * (middle - fitted) / (runs$slope * middle / fitted)
  i <- which.max(abs(off))
  list(error = abs(off[i]), temp_c = runs$kelvin[i] - ZERO_CELSIUS, believed = middle, fitted = fitted,
       sd = stats::median(sd))
}

conflict_note <- function(x) {
  of <- c(if (!is.null(furnace_conflict(x))) "q_kj_mol", fit_conflicts(x))
  if (length(of)) paste("prior and readings disagree on", paste(of, collapse = ", ")) else ""
}

furnace_conflict_words <- function(x) {
  f <- furnace_conflict(x)
  if (is.null(f)) return(NULL)
  paste0("Prior and readings disagree on q_kj_mol (believed ", format(f$believed, digits = 3),
         " kJ/mol, the readings alone give ", format(f$fitted, digits = 3),
         "): the readings need a furnace error of ", format_quantity(f$error, 2L), " K at ",
         format(f$temp_c, digits = 4), " degrees Celsius to agree with the prior, where a sd of ",
         format_quantity(f$sd, 2L), " K was believed. Times at other temperatures are then the prior's. ",
         "Check the prior, its units and the furnace.")
}
