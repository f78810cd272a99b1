# Do prior and readings agree? Each belief is put on the scale where it is standard normal before the
# readings.
# There the mean of the posterior has, over readings as the prior expects them, mean 0 and variance 1 less
# that
# of the posterior (law of total variance): a mean far out in that distribution is a conflict of prior and
# readings (Evans and Moshonov 2006, Bayesian Analysis 1, 893).

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
  names(d)[which(abs(d) > CONFLICT)]
}
