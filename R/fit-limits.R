# Readings that are a limit only: "> 100" in a sheet, or a dial beyond the end of its conversion table. The
# fit uses them by their likelihood: each counts as the reading and weight of src/censored.c at the estimate,
# found by repeated fits, so that all later work (profiles, components, answers) sees ordinary weighted
# readings.

# HV of limits: one that lies beyond the end of its table is a limit at that end, where it says less and stays
# true; NA where it says nothing.
limits_in_vickers <- function(value, scale, material, side) {
  scale <- rep_len(as.character(scale), length(value))
  hv <- to_vickers(value, scale, material)$hv
  table <- table_of(material)
  for (one in unique(scale[is.na(hv)])) {
    curve <- scale_pairs(one, "HV", table, material)$curves[[1L]]
    if (is.null(curve)) next
    n <- length(curve[[1L]])
    at <- is.na(hv) & scale == one
    hv[at & side > 0L & value > curve[[1L]][n]] <- curve[[2L]][n]
    hv[at & side < 0L & value < curve[[1L]][1L]] <- curve[[2L]][1L]
  }
  hv
}

# The sides of the readings of a fit. With outside_table = "limit" what its table does not reach becomes one.
fit_sides <- function(side, outside_table, value, read_on, scale, material) {
  if (outside_table == "stop" || scale == "as read" || identical(read_on, "HV")) return(side)
  hv <- to_vickers(value, read_on, material)$hv
  beyond <- is.na(hv) & !is.na(value)
  if (!any(beyond)) return(side)
  if (is.null(side)) side <- integer(length(value))
  high <- !is.na(limits_in_vickers(value, read_on, material, rep(1L, length(value))))
  side[beyond & side == 0L] <- ifelse(high, 1L, -1L)[beyond & side == 0L]
  side
}

MOST_LIMIT_ROUNDS <- 100L
MOST_COMPONENT_ROUNDS <- 200L
LIMIT_ROUNDS <- 40L

# The fit with its limits: `d` comes back with the readings and weights they count as.
run_with_limits <- function(d, set, control, level, clusters, use_start) {
  side <- d$side
  bound <- d$hardness
  prior <- d$weights
  own <- side == 0L
  estimated <- length(set$terms) - sum(set$held)
  if (sum(own) <= estimated) {
    abort("too_few", paste0(count(sum(own), "reading"), " beside ", count(sum(!own), "limit"), " for ",
                            estimated, " parameters: the scatter is unknown"), arg = "data",
          remedy = "Add readings, or fix parameters with `fixed`.")
  }
  least <- 1e-6 * max(abs(bound))
  before <- NULL
  for (round in seq_len(MOST_LIMIT_ROUNDS)) {
    r <- run_softening(d, set, control, level = level, clusters = clusters,
                       use_start = use_start || round > 1L)
    w <- if (is.null(prior)) 1 else prior[own]
    sd <- max(sqrt(sum(w * (bound[own] - r$fitted[own])^2) / (sum(own) - estimated)), least)
    now <- c(r$fitted[!own], sd)
    if (!is.null(before) && max(abs(now - before)) < 1e-6 * sd) break
    before <- now
    working <- .Call(C_sa_call_censored, side, bound, r$fitted, sd, prior)
    d$hardness <- working[, 1L]
    d$weights <- working[, 2L]
    set$start <- unname(r$par)
  }
  d$limits <- list(side = side, bound = bound, rounds = round, prior = prior,
                   settled = round < MOST_LIMIT_ROUNDS)
  d$side <- NULL
  list(r = r, d = d)
}

# Limits under components of error: a limit is seen against its own step, given specimen, furnace and the
# other readings (src/censored.c), so what it counts as, the curve and all standard deviations are found in
# turn until they stand. `least`: variance of exact readings; `again(input, par, errors)`: fit of step means.
settle_limits <- function(d, r, steps, structure, input, errors, m, least, again) {
  l <- d$limits
  o <- structure$order
  prior <- if (is.null(l$prior)) rep(1, d$n) else l$prior
  place <- match(match(r$cluster_of + 1L, steps$keep), o) - 1L # steps as they stand in their blocks
  used <- !is.na(place) & prior > 0
  at <- place[used]
  p <- prior[used]
  within <- at
  if (!is.null(steps$share)) within <- as.integer(factor(paste(at, d$operator[used])))
  replicated <- is.finite(steps$sd_reading)
  variance <- if (replicated) max(steps$sd_reading^2, least) else least
  if (!replicated) errors[[2L]] <- unname(mean(p) / rowsum(p, at)[, 1L])
  start <- errors[[4L]]
  sites <- list(d$hardness[used], numeric(sum(used)))
  before <- NULL
  for (round in seq_len(MOST_COMPONENT_ROUNDS)) {
    mean <- input[[3L]][o] - m$y
    cov <- step_covariance(structure, m, errors)
    cuts <- if (is.null(steps$share)) structure$first else c(0L, length(mean))
    s <- .Call(C_sa_call_limits, list(mean, cov, as.integer(cuts)),
               list(as.integer(at), l$side[used], l$bound[used], variance / p), sites)
    sites <- s[1:2]
    now <- c(mean, sqrt(c(m$variance, variance)))
    unit <- rep(1e-5 * sqrt(max(diag(cov)) + variance), length(now))
    if (round > LIMIT_ROUNDS) { # flat minima: within a fraction of the standard error
      x <- m$x[, seq_along(m$place), drop = FALSE]
      se <- sqrt(pmax(rowSums((x %*% matrix(m$cov, ncol(x))) * x), 0))
      unit <- pmax(unit, 0.02 * c(se, rep(max(sqrt(diag(cov))), length(now) - length(se))))
    }
    still <- !is.null(before) && all(abs(now - before) < unit)
    if (still && s$settled) break
    before <- now
    if (replicated) variance <- max(scatter_within(s, at, within, p, variance), least)
    precision <- rowsum(1 / s$variance, at)[, 1L]
    errors[[1L]] <- 1 / precision + if (replicated) least else 0
    input[[3L]][o] <- rowsum(s$site / s$variance, at)[, 1L] / precision
    errors[[4L]] <- pmax(unname(m$variance), 1e-4 * start) # a variance of zero would stay there
    m <- again(input, m$par, errors)
    if (m$counts[1L] > 1L && m$counts[1L] != 5L) return(NULL)
  }
  d$weights <- prior
  if (replicated) {
    d$weights[used] <- pmin(variance / s$variance, p)
    steps$sd_reading <- sqrt(variance)
    steps$weight[o] <- variance * precision
  } else { # the scatter of the step is that of its reading
    own <- (m$variance[[3L]] * errors[[2L]])[at + 1L] + least
    d$weights[used] <- p * own / (own + pmax(s$variance - least / p, 0))
  }
  steps$mean <- input[[3L]]
  d$hardness[used] <- s$site
  d$limits$rounds <- l$rounds + round
  d$limits$settled <- l$settled && still
  list(d = d, steps = steps, errors = errors, input = input, m = m)
}

# Covariance of the values of steps, without the errors of their readings.
step_covariance <- function(structure, m, errors) {
  v <- unname(m$variance)
  same <- function(id) outer(id, id, "==") & id >= 0L
  out <- v[2L] * same(structure$piece) + v[1L] * same(structure$furnace) * tcrossprod(m$g)
  if (!is.null(structure$share)) {
    out <- out + v[4L] * tcrossprod(structure$share[structure$order, , drop = FALSE])
  }
  diag(out) <- diag(out) + v[3L] * errors[[2L]] + ifelse(structure$furnace < 0L, v[1L] * m$g^2, 0)
  out
}

# Variance of a reading about its step: the sum of squares within steps that readings and limits let expect.
scatter_within <- function(s, at, within, p, variance) {
  own <- variance / p
  keep <- own / s$variance # of what a limit counts as, the share that is scatter of the reading
  error <- keep * (s$site - s$step_mean[at + 1L])
  step <- s$step_variance[at + 1L]
  group <- match(within, unique(within))
  total <- function(x) rowsum(x, group)[, 1L]
  whole <- total(p)
  centre <- total(p * error) / whole
  of_centre <- (total(p^2 * own * (1 - keep)) + total(p * keep)^2 * step[match(seq_along(whole), group)]) /
    whole^2
  squares <- total(p * (error^2 + own * (1 - keep) + keep^2 * step)) - whole * (centre^2 + of_centre)
  sum(squares) / (length(p) - length(whole))
}

# Fits with limits are repeated: the rounds are counted, and have an end.
with_rounds <- function(convergence, limits) {
  if (is.null(limits)) return(convergence)
  convergence$iterations <- limits$rounds
  if (!limits$settled) {
    convergence$converged <- FALSE
    convergence$end <- "values of limits did not come to rest"
  }
  convergence
}

# `.limit` of augment(), and the limit itself in place of the value that it counts as.
with_limit_column <- function(out, fit) {
  l <- fit$readings$limits
  if (is.null(l)) return(out)
  side <- stats::naresid(fit$na.action, as.double(l$side))
  bound <- stats::naresid(fit$na.action, l$bound)
  at <- which(side != 0)
  out[[".limit"]] <- c("at most", NA, "at least")[side + 2]
  if (".hardness" %in% names(out)) out[[".hardness"]][at] <- bound[at]
  out
}

# Readings of a fit that are readings.
is_reading <- function(d) if (is.null(d$limits)) rep(TRUE, d$n) else d$limits$side == 0L

# Steps (conditions) with limits among their readings: `side` 1 where the mean of the step is at least
# `bound`, -1 where at most, 0 for other steps and for one with limits to both sides.
limited_steps <- function(fit) {
  d <- fit$readings
  if (is.null(d$limits)) return(NULL)
  id <- factor(fit$conditions$of_reading + 1L, seq_along(fit$conditions$mean))
  side <- d$limits$side
  both <- as.vector(tapply(side > 0L, id, any) & tapply(side < 0L, id, any))
  value <- ifelse(side == 0L, d$hardness, d$limits$bound)
  total <- as.vector(tapply(side, id, sum))
  list(side = ifelse(both, 0L, sign(total)), bound = as.vector(tapply(value, id, mean)))
}

limit_words <- function(fit) {
  side <- fit$readings$limits$side
  if (is.null(side)) return(NULL)
  paste0(count(sum(side != 0L), "limit"), " among the readings (", paste(c(
    if (any(side > 0L)) paste(sum(side > 0L), "at least"),
    if (any(side < 0L)) paste(sum(side < 0L), "at most")
  ), collapse = ", "), "), used by their likelihood")
}

# Answers that the quadratic form of the likelihood cannot give.
no_limits <- function(fit, what, arg = "object") {
  if (is.null(fit$readings$limits)) return(invisible())
  abort("model", paste0(what, " of a fit with limits among its readings"), arg = arg,
        remedy = "Use the standard errors and intervals of the fit, or fit the readings without limits.")
}
