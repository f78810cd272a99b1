# Intervals under components of error: quantiles of the mixture over the grid of standard deviations.
# `fit$errors` is data alone; the mixture is computed anew from it by one compiled call.

# error_interval(fit, gradient, level): the interval of every quantity whose gradient in the
# parameters stands in a row of `gradient` (one column per parameter of `fit$par`). Returns a list:
#   se     half the width of the central 68.27 % interval (the standard error of the quantity),
#   lower, upper   distances from the estimate to the ends at `level` (lower is negative).
# For the other standard errors of a fit the same from t quantiles and its covariance, so that
# callers need not ask which it is. `extra`: variances that a new reading adds, a matrix with columns
# furnace, specimen, step, operator (multiples of the squared standard deviations) and a constant.
error_interval <- function(fit, gradient, level = fit$level, extra = NULL) {
  gradient <- rbind(gradient)
  if (!identical(fit$se, "components") || is.null(fit$errors)) {
    se <- delta_se(fit, gradient)
    if (!is.null(extra)) se <- sqrt(se^2 + extra[, ncol(extra)])
    half <- interval_t(fit, level) * se
    return(list(se = se, lower = -half, upper = half))
  }
  q <- mixture_quantiles(fit$errors, gradient, c(0.5 - level / 2, 0.5 + level / 2, CENTRAL), extra)
  open <- rowSums(gradient[, is_undetermined(fit$states), drop = FALSE] != 0) > 0L
  q[open, ] <- NA_real_
  list(se = (q[, 4L] - q[, 3L]) / 2, lower = q[, 1L], upper = q[, 2L])
}

CENTRAL <- stats::pnorm(c(-1, 1))

# Quantiles of g'(par - estimate); `gradient` has a column for every parameter.
mixture_quantiles <- function(errors, gradient, probability, extra = NULL) {
  g <- gradient[, errors$free, drop = FALSE]
  storage.mode(g) <- "double"
  out <- matrix(NA_real_, nrow(g), length(probability))
  ok <- which(rowSums(!is.finite(g)) == 0L)
  if (!length(ok)) return(out)
  r <- components_grid(errors$problems, errors$prior, g[ok, , drop = FALSE],
                       as.double(probability), if (!is.null(extra)) extra[ok, , drop = FALSE])
  if (r$status == 0L) out[ok, ] <- r$quantile
  out
}

# Standard errors, covariance of like correlation, degrees of freedom that give the width of the
# intervals on the whole, and what the readings say of the standard deviations.
components_summary <- function(errors, p, level) {
  identity <- diag(p)
  probability <- c(CENTRAL, 0.025, 0.975, if (level != 0.95) c(0.5 - level / 2, 0.5 + level / 2))
  g <- identity[, errors$free, drop = FALSE]
  r <- components_grid(errors$problems, errors$prior, g, as.double(probability))
  vcov <- matrix(NA_real_, p, p)
  if (r$status != 0L) return(list(vcov = vcov, df = NA_real_, quantile = NULL))
  q <- r$quantile
  if (level == 0.95) q <- q[, c(1:4, 3:4), drop = FALSE]
  free <- errors$free
  se <- (q[, 2L] - q[, 1L]) / 2
  sd <- marginal_sds(r, errors$prior)
  middle <- sd[, "estimate"]^2
  at <- components_reml(errors$problems[[1L]], sqrt(middle), integer(4L),
                        diag(length(free))[0L, , drop = FALSE])
  cor <- stats::cov2cor(at$cov)
  vcov[, ] <- 0
  vcov[free, free] <- cor * tcrossprod(se[free])
  ratio <- stats::median(((q[, 4L] - q[, 3L]) / 2 / se)[free])
  list(vcov = vcov, df = matching_df(ratio), quantile = q, sd = sd, structure = r$structure,
       nodes = r[c("sd", "weight")],
       modes = at[c("mode", "mode_sd", "operator", "operator_sd")])
}

# t whose 95 % and 68.27 % intervals stand in that ratio.
matching_df <- function(ratio) {
  of <- function(df) stats::qt(0.975, df) / stats::qt(CENTRAL[2L], df)
  if (!is.finite(ratio) || ratio <= of(1e4)) return(1e4)
  if (ratio >= of(1)) return(1)
  stats::uniroot(function(u) of(exp(u)) - ratio, c(0, log(1e4)), tol = 1e-6)$root |> exp()
}

# Median and 95 % interval of each standard deviation, from its nodes and their weights.
marginal_sds <- function(r, prior, tails = c(0.025, 0.975)) {
  out <- t(vapply(seq_len(4L), function(k) {
    seen <- unique(r$sd[, k])
    node <- signif(seen, 10)
    x <- sort(unique(node))
    if (length(x) == 1L) return(c(x, NA, NA))
    mass <- cumsum(rowsum(r$weight, match(node, x)[match(r$sd[, k], seen)])[, 1L])
    mass <- mass / mass[length(mass)]
    # mass of a node lies evenly between the middles of its neighbours
    edge <- c(max(0, 1.5 * x[1L] - 0.5 * x[2L]), (x[-1L] + x[-length(x)]) / 2,
              1.5 * x[length(x)] - 0.5 * x[length(x) - 1L])
    stats::approx(c(0, mass), edge, c(0.5, tails), ties = "ordered")$y
  }, numeric(3L)))
  dimnames(out) <- list(ERROR_COMPONENTS, c("estimate", "conf.low", "conf.high"))
  out
}

# Has softening come near its end at fewer than two temperatures? Then the soft level hangs on one curve.
soft_once <- function(fit) {
  if (fit$states[["h_soft"]] == "fixed") return(FALSE)
  p <- progress(fit)
  !is.null(p) && sum(p$last > OVER, na.rm = TRUE) < 2L
}

# Standard deviations of equal prior mass. Twin: sa_prior_nodes() in src/components_grid.c.
prior_nodes <- function(prior, n = 200L) {
  p <- (seq_len(n) - 0.5) / n
  switch(names(PRIOR_KINDS)[match(prior[1L], PRIOR_KINDS)],
         fixed = prior[[2L]],
         half_cauchy = prior[[2L]] * tan(p * atan(prior[[3L]] / prior[[2L]])),
         half_normal = prior[[2L]] * stats::qnorm(0.5 + p / 2),
         log_normal = prior[[2L]] * exp(prior[[4L]] * stats::qnorm(p)))
}
