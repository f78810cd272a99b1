# Estimation of fit_recrystallisation(): the law with its derivatives, starting values from the
# double-log line, reweighting under the proportional variance, and the object.

# X, its derivatives by ln_k_ref, n, q_kj_mol, theta0, and ln(-ln(1 - X)) with those.
recryst_law <- function(par, time, e) {
  rate_time <- exp(pmin(par[["ln_k_ref"]] + par[["q_kj_mol"]] * e, 700)) * time
  u <- pmax(rate_time - par[["theta0"]], 0)
  n <- par[["n"]]
  on <- u > 0
  un <- ifelse(on, u^n, 0)
  left <- exp(-un)
  slope <- ifelse(on & left > 0, left * n * un / u, 0) # dX/du, zero before the first grain
  slope[!is.finite(slope)] <- 0
  by_rate <- slope * rate_time
  by_rate[!is.finite(by_rate)] <- 0 # long over: rate_time may overflow where slope is zero
  by_n <- ifelse(on & left > 0, left * un * log(ifelse(on, u, 1)), 0)
  by_n[!is.finite(by_n)] <- 0
  list(x = -expm1(-un), jac = cbind(ln_k_ref = by_rate, n = by_n, q_kj_mol = by_rate * e,
                                    theta0 = -slope),
       eta = ifelse(on, n * log(ifelse(on, u, 1)), -Inf),
       per_eta = left * un) # dX/d eta
}

full_recryst <- function(par) {
  out <- c(ln_k_ref = 0, n = 1, q_kj_mol = 0, theta0 = 0)
  known <- par[!is.na(par)]
  out[names(known)] <- known
  out
}

# Least squares with fixed weights through the core.
solve_fractions <- function(d, terms, start, bounds, w, control) {
  e <- inverse_temperature(d$temp, d$ref)
  quiet_fit(\(par) d$x - recryst_law(full_recryst(par), d$time, e)$x, start,
            lower = bounds$lower, upper = bounds$upper,
            jac = \(par) -recryst_law(full_recryst(par), d$time, e)$jac[, terms, drop = FALSE],
            weights = w, control = control)
}

direct_fit <- function(d, terms, bounds, variance, edge, control) {
  e <- inverse_temperature(d$temp, d$ref)
  starts <- recryst_starts(d, terms, bounds)
  # all starts coarsely, the best two to the end
  coarse <- fit_control(ftol = 1e-7, xtol = 1e-6, gtol = 1e-6, max_iterations = 40)
  first <- lapply(starts, \(start) solve_fractions(d, terms, start, bounds, d$w, coarse))
  rising <- order(vapply(first, `[[`, 0, "deviance"))[1:2]
  fits <- lapply(first[rising], \(f) {
    solve_fractions(d, terms, f$coefficients[terms], bounds, d$w, control)
  })
  fit <- fits[[which.min(vapply(fits, `[[`, 0, "deviance"))]]
  if (variance == "constant") return(fit)
  base <- if (is.null(d$w)) rep(1, length(d$x)) else d$w
  least <- edge * (1 - edge)
  old <- fit$coefficients
  # where a fitted fraction crosses the edge, plain reweighting can swing between two answers:
  # whenever the change does not shrink, half of the way is gone
  share <- 1
  before <- Inf
  for (round in seq_len(200L)) {
    x <- recryst_law(full_recryst(old), d$time, e)$x
    w <- base / pmax(x * (1 - x), least)
    fit <- solve_fractions(d, terms, old, bounds, w, control)
    change <- max(abs(fit$coefficients - old) / (abs(old) + 1e-3))
    settled <- change < 1e-9
    if (settled) break
    if (change > 0.9 * before) share <- max(share / 2, 1 / 16)
    before <- change
    old <- old + share * (fit$coefficients - old)
  }
  if (!settled) {
    fit$convergence$converged <- FALSE
    fit$convergence$end <- "reweighting limit"
  }
  proportional_scatter(fit, d, base, least)
}

# Rows whose fitted fraction lies beyond the edge scatter less than their weight says: of a row
# only the share v/max(v, edge) counts, or rows read long after the end would make the
# scatter, and with it every error, look too small.
proportional_scatter <- function(fit, d, base, least) {
  x <- recryst_law(full_recryst(fit$coefficients), d$time, inverse_temperature(d$temp, d$ref))$x
  v <- x * (1 - x)
  df <- sum((v / pmax(v, least))[base > 0]) - length(fit$coefficients)
  variance <- if (df > 0) fit$deviance / df else NA_real_
  fit$vcov <- fit$vcov / fit$sigma^2 * variance
  fit$sigma <- sqrt(variance)
  fit$df_interval <- df
  fit
}

# Starting values: the double-log line, also with its exponent and rate shifted (the line may
# be far off where few fractions lie between the ends), inside the bounds.
recryst_starts <- function(d, terms, bounds) {
  line <- double_log_line(d, "q_kj_mol" %in% terms)
  tries <- list(line, line + c(0, line[["n"]] * 0.5, 0), line * c(1, 0.6, 1),
                line + c(1, 0, 0), line - c(1, 0, 0))
  out <- lapply(tries, \(par) c(par, theta0 = 0.02))
  if ("theta0" %in% terms) {
    # a long incubation goes with a faster rate and a smaller exponent
    lags <- expand.grid(lag = c(0.05, 0.15, 0.4, 0.8, 1.5, 3), blunt = c(1, 0.7, 0.45, 0.25))
    out <- c(out, Map(\(lag, blunt) {
      c(ln_k_ref = line[["ln_k_ref"]] + log1p(lag), n = line[["n"]] * blunt,
        line["q_kj_mol"], theta0 = lag)
    }, lags$lag, lags$blunt))
  }
  inside <- function(par) {
    span <- pmin(bounds$upper - bounds$lower, 1)
    pmin(pmax(par[terms], bounds$lower + 1e-3 * span), bounds$upper - 1e-3 * span)
  }
  lapply(out, \(par) stats::setNames(inside(par), terms))
}

# eta = n ln k_ref + n Q e + n ln t by a straight line through the fractions, ends pulled in.
double_log_line <- function(d, energy) {
  use <- d$time > 0
  x <- pmin(pmax(d$x[use], 0.005), 0.995)
  e <- inverse_temperature(d$temp[use], d$ref)
  weight <- (1 - x) * log1p(-x) # dX/d eta: points near the ends count little
  m <- cbind(1, log(d$time[use]), if (energy) e)
  b <- stats::lm.wfit(m, log(-log1p(-x)), weight^2)$coefficients
  b[is.na(b)] <- 0
  n <- min(max(b[[2L]], 0.2), 8)
  c(ln_k_ref = b[[1L]] / n, n = n, q_kj_mol = if (energy) max(b[[3L]] / n, 1) else 0)
}

# The straight line itself, written with the parameters of the law so that the errors are theirs.
double_log_fit <- function(d, terms, bounds, control) {
  e <- inverse_temperature(d$temp, d$ref)
  energy <- "q_kj_mol" %in% terms
  start <- pmin(pmax(double_log_line(d, energy)[terms], bounds$lower), bounds$upper)
  y <- log(-log1p(-d$x))
  log_rate_time <- function(par) {
    par <- full_recryst(par)
    par[["ln_k_ref"]] + par[["q_kj_mol"]] * e + log(d$time)
  }
  fit <- quiet_fit(\(par) y - par[["n"]] * log_rate_time(par), stats::setNames(start, terms),
                   lower = bounds$lower, upper = bounds$upper,
                   jac = \(par) -cbind(par[["n"]], log_rate_time(par),
                                       if (energy) par[["n"]] * e),
                   weights = d$w, control = control)
  fit$fitted.values <- y - fit$residuals
  fit
}

complete_recryst <- function(fit, d, call, columns, method, variance, edge, energy, settings) {
  # the core differentiated residuals; the methods want derivatives of the fitted value
  fit$conditions$jacobian <- -fit$conditions$jacobian
  if (method == "direct") fit$fitted.values <- d$x - fit$residuals
  if (!energy) {
    fit <- add_open_energy(fit)
  }
  fit$call <- call
  fit$model <- paste0("jmak", if ("theta0" %in% names(fit$coefficients)) "_incubation")
  fit$formula <- stats::as.formula(call("~", as.name(columns[["fraction"]]), call(
    "+", as.name(columns[["time"]]), as.name(columns[["temp"]]))), env = baseenv())
  fit$na.action <- d$gone
  fit$columns <- columns
  fit$temp_ref_c <- d$ref
  fit$method <- method
  fit$variance <- variance
  fit$edge <- edge
  fit$case_weights <- d$w
  fit$scale <- if (method == "double_log") "on the double-log scale" else {
    c(constant = "(fraction)", proportional = "times root of X (1 - X)")[[variance]]
  }
  fit$phi <- if (variance == "proportional" && !is.na(fit$sigma)) 1 / fit$sigma^2 - 1 else NA_real_
  fit$units <- as.list(RECRYST_UNITS[names(fit$coefficients)])
  fit$data <- as.data.frame(stats::setNames(list(d$x, d$time, d$temp),
                                            columns[c("fraction", "time", "temp")]),
                            optional = TRUE)
  if (!is.null(d$specimen)) {
    fit$data <- cbind(stats::setNames(data.frame(d$specimen), columns[["specimen"]]), fit$data)
  }
  class(fit) <- c("softanneal_fit_recrystallisation", "softanneal_fit")
  fit$settings <- c(settings, list(d = d[c("x", "time", "temp", "ref")], w = fit$weights))
  if (is.null(fit$settings$w)) fit$settings$w <- rep(1, length(d$x))
  warn_fit(if (method == "direct") with_recryst_limits(fit, 0.95) else fit)
}
