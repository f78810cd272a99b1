# Maximum likelihood of fit_lifetime(). With alpha = location/scale, beta = Q/scale, gamma =
# 1/scale the log-likelihood is concave for normal and extreme-value scatter (Olsen 1978, Burridge
# 1981), so Newton steps with halving reach the maximum from anywhere.

# ln density and ln survival of the standard law with first and second derivatives.
standard_law <- function(law, z, event) {
  if (law != "lognormal") { # smallest extreme value: density exp(z - e^z), survival exp(-e^z)
    ez <- exp(pmin(z, 700))
    return(list(value = ifelse(event, z, 0) - ez, first = event - ez, second = -ez))
  }
  # hazard of the normal from logarithms, so that the far tail keeps its figures
  log_left <- stats::pnorm(z, lower.tail = FALSE, log.p = TRUE)
  hazard <- exp(stats::dnorm(z, log = TRUE) - log_left)
  list(value = ifelse(event, stats::dnorm(z, log = TRUE), log_left),
       first = ifelse(event, -z, -hazard),
       second = ifelse(event, -1, -hazard * (hazard - z)))
}

# Log-likelihood of the times with gradient and Hessian in (alpha, beta, gamma).
lifetime_likelihood <- function(d, theta, y = d$y) {
  z <- theta[3L] * y - theta[1L] - theta[2L] * d$e
  s <- standard_law(d$law, z, d$event)
  x <- cbind(-1, -d$e, y)
  events <- sum(d$w[d$event])
  gradient <- colSums(d$w * s$first * x)
  hessian <- crossprod(x, d$w * s$second * x)
  gradient[3L] <- gradient[3L] + events / theta[3L]
  hessian[3L, 3L] <- hessian[3L, 3L] - events / theta[3L]^2
  list(value = sum(d$w * s$value) + events * log(theta[3L]) - sum((d$w * d$y)[d$event]),
       gradient = gradient, hessian = hessian)
}

# Newton over the free ones of alpha, beta, gamma.
maximise_lifetime <- function(d, free, y = d$y) {
  seen <- d$event
  spread <- if (free[3L]) max(stats::sd(y[seen]), 1e-3) else 1
  theta <- c(stats::weighted.mean(y[seen], d$w[seen]) / spread, 0, 1 / spread)
  at <- lifetime_likelihood(d, theta, y)
  for (iteration in seq_len(200L)) {
    g <- at$gradient[free]
    h <- -at$hessian[free, free, drop = FALSE]
    scale <- sqrt(pmax(diag(h), 1e-300))
    step <- tryCatch(solve(h / outer(scale, scale), g / scale, tol = 1e-14) / scale,
                     error = function(e) NULL)
    if (is.null(step)) return(list(theta = theta, at = at, iteration = iteration, end = "singular"))
    gain <- sum(step * g)
    if (gain < 1e-20 * (1 + abs(at$value))) break
    for (half in 0:60) {
      new <- theta
      new[free] <- theta[free] + step / 2^half
      if (new[3L] <= 0) next
      there <- lifetime_likelihood(d, new, y)
      if (is.finite(there$value) && there$value >= at$value) break
    }
    if (half == 60) break
    settled <- max(abs(new - theta) / (abs(theta) + 1e-8)) < 1e-13
    theta <- new
    at <- there
    if (settled) break
  }
  list(theta = theta, at = at, iteration = iteration,
       end = if (iteration < 200L) "likelihood cannot rise further" else "iteration limit")
}

# The largest log-likelihood with Q fixed at q (kJ/mol).
lifetime_profile <- function(d, q) {
  maximise_lifetime(d, c(TRUE, FALSE, d$law != "exponential"), d$y - q * d$e)$at$value
}

# Does the likelihood rise without end in Q? +1 upwards, -1 downwards, 0 no. Q has a maximum if
# events lie at two temperatures, or if the censored specimens leave it no way: those hotter than
# the events push Q down, those colder push it up.
open_direction <- function(d) {
  hot <- different_temperatures(d$temp[d$event & d$w > 0])
  if (length(hot) > 1L) return(0L)
  other <- d$temp[!d$event & d$w > 0]
  other <- other[!same_temperature(other, hot)]
  colder <- any(other < hot)
  hotter <- any(other > hot)
  if (colder && !hotter) 1L else if (hotter && !colder) -1L else 0L
}

lifetime_object <- function(d, call, columns, energy) {
  has_scale <- d$law != "exponential"
  free <- c(TRUE, energy, has_scale)
  terms <- c("ln_t_ref", "q_kj_mol", if (has_scale) "scale")
  direction <- if (energy) open_direction(d) else 0L
  found <- if (direction == 0L) maximise_lifetime(d, free) else open_lifetime(d)
  gamma <- found$theta[3L]
  location <- found$theta[1L] / gamma
  q <- if (energy) found$theta[2L] / gamma else NA_real_
  if (direction != 0L) q <- found$q
  par <- stats::setNames(c(location, q, 1 / gamma)[c(TRUE, TRUE, has_scale)], terms)
  told <- free & c(TRUE, direction == 0L, TRUE)
  vcov <- lifetime_vcov(found, told, gamma, location, q)[c(TRUE, TRUE, has_scale),
                                                       c(TRUE, TRUE, has_scale), drop = FALSE]
  dimnames(vcov) <- list(terms, terms)
  states <- stats::setNames(rep("determined", length(terms)), terms)
  if (!energy) states[["q_kj_mol"]] <- "fixed"
  if (direction != 0L) {
    states[["q_kj_mol"]] <- if (direction > 0L) "only a lower limit" else "only an upper limit"
  }
  p <- sum(free)
  n <- sum(d$w)
  median <- lifetime_location(par, d$e) + lifetime_quantile(d$law, 0.5) * (1 / gamma)
  fit <- new_fit(
    "softanneal_fit_lifetime", coefficients = par, vcov = vcov, sigma = 1 / gamma,
    deviance = -2 * found$at$value, df.residual = n - p, df_interval = Inf, nobs = n,
    fitted.values = exp(median), residuals = d$y - median,
    weights = if ("weights" %in% names(columns)) d$w, states = states,
    limits = NULL, convergence = list(
      converged = found$end == "likelihood cannot rise further", end = found$end,
      iterations = found$iteration, evaluations = found$iteration,
      cosine = max(abs(found$at$gradient[told])), rank = p),
    call = call, formula = stats::as.formula(call("~", as.name(columns[["time"]]),
                                                  as.name(columns[["temp"]])), env = baseenv()),
    na.action = d$gone, units = list(ln_t_ref = "", q_kj_mol = "kJ/mol", scale = "")[terms],
    estimated = p, se = "model", level = 0.95, distribution = d$law, temp_ref_c = d$ref,
    columns = columns, events = sum(d$w[d$event]),
    lives = d[c("y", "temp", "event", "w", "law", "e")],
    direction = direction, model = d$law,
    data = as.data.frame(stats::setNames(list(exp(d$y), d$temp, d$event),
                                         c(columns[c("time", "temp")],
                                           if ("event" %in% names(columns)) columns[["event"]] else
                                             "event")), optional = TRUE))
  warn_fit(with_lifetime_limits(fit, 0.95))
}

lifetime_location <- function(par, e) {
  q <- par[["q_kj_mol"]]
  par[["ln_t_ref"]] + (if (is.na(q)) 0 else q) * e
}

# Quantile of the standard law.
lifetime_quantile <- function(law, p) if (law == "lognormal") stats::qnorm(p) else log(-log1p(-p))

# Events at one temperature (the reference), censored specimens on one side of it: in the limit
# these say nothing, and the events alone give location and scale. Q is then the end of its
# likelihood interval.
open_lifetime <- function(d) {
  same <- abs(d$e) < 1e-9
  near <- d
  for (field in c("y", "temp", "event", "w", "e")) near[[field]] <- d[[field]][same]
  found <- maximise_lifetime(near, c(TRUE, FALSE, d$law != "exponential"))
  found$q <- open_limit(d, found$at$value, 0.95)
  found
}

# Where the profile of Q falls half the chi-square quantile below its supremum.
open_limit <- function(d, top, level) {
  direction <- open_direction(d)
  drop <- function(q) 2 * (top - lifetime_profile(d, q)) - stats::qchisq(level, 1)
  inside <- direction * 2000
  outside <- -inside
  if (drop(inside) > 0) return(inside)
  if (drop(outside) < 0) return(-direction * Inf)
  stats::uniroot(drop, sort(c(inside, outside)), tol = 1e-8)$root
}

with_lifetime_limits <- function(fit, level) {
  terms <- names(fit$coefficients)
  fit$limits <- matrix(NA_real_, length(terms), 2L, dimnames = list(terms, c("lower", "upper")))
  fit$level <- level
  if (fit$direction != 0L) {
    q <- open_limit(fit$lives, -fit$deviance / 2, level)
    fit$limits["q_kj_mol", ] <- if (fit$direction > 0L) c(q, Inf) else c(-Inf, q)
  }
  fit
}

# Inverse of the observed information, carried from (alpha, beta, gamma) to (location, Q, scale).
lifetime_vcov <- function(found, free, gamma, location, q) {
  information <- -found$at$hessian[free, free, drop = FALSE]
  inverse <- tryCatch(solve(information), error = function(e) information * NA_real_)
  full <- matrix(NA_real_, 3L, 3L)
  full[free, free] <- inverse
  if (is.na(q) || !free[2L]) {
    full[2L, ] <- full[, 2L] <- 0
    q <- 0
  }
  if (!free[3L]) full[3L, ] <- full[, 3L] <- 0
  to <- rbind(c(1 / gamma, 0, -location / gamma), c(0, 1 / gamma, -q / gamma),
              c(0, 0, -1 / gamma^2))
  out <- to %*% full %*% t(to)
  if (!free[2L]) out[2L, ] <- out[, 2L] <- NA_real_
  out
}
