# Profiles of a fit of fractions: one parameter fixed, the others fitted again with the weights of
# the fit. They tell whether the fractions give Q a value or only a limit, as when the hottest
# temperature was over before its first specimen.

# Deviance with `term` fixed at `value`, from the best of some starts that keep the rate at one of
# the temperatures or at all of them.
held_deviance <- function(fit, term, value) {
  s <- fit$settings
  b <- full_recryst(fit$coefficients)
  e <- inverse_temperature(s$d$temp, s$d$ref)
  free <- setdiff(s$terms, term)
  shift <- if (term == "q_kj_mol") unique((b[[term]] - value) * e) else 0
  starts <- lapply(unique(c(0, shift)), \(by) {
    b[[term]] <- value
    b[["ln_k_ref"]] <- b[["ln_k_ref"]] + (if (term == "ln_k_ref") 0 else by)
    pmin(pmax(b[free], s$bounds$lower[free]), s$bounds$upper[free])
  })
  all <- function(par) {
    b[free] <- par[free]
    b[[term]] <- value
    b
  }
  residuals <- \(par) s$d$x - recryst_law(all(par), s$d$time, e)$x
  rss <- vapply(starts, \(start) sum(s$w * residuals(start)^2), 0)
  min(vapply(starts[utils::head(order(rss), 2L)], \(start) {
    quiet_fit(residuals, start, lower = s$bounds$lower[free], upper = s$bounds$upper[free],
              jac = \(par) -recryst_law(all(par), s$d$time, e)$jac[, free, drop = FALSE],
              weights = s$w, control = s$control)$deviance
  }, 0))
}

# Ends of the profile interval: where the deviance has risen by t^2 variances; a bound of nature
# (or of the user) that lies inside the interval is its end, and the edge of the search is none.
profile_ends <- function(fit, term, level) {
  t <- interval_t(fit, level)
  if (is.na(t) || is.na(fit$sigma)) return(c(NA_real_, NA_real_))
  s <- fit$settings
  best <- fit$coefficients[[term]]
  rise <- \(value) held_deviance(fit, term, value) - fit$deviance - (t * fit$sigma)^2
  vapply(1:2, \(side) {
    edge <- (if (side == 1L) s$bounds$lower else s$bounds$upper)[[term]]
    beyond <- if (side == 1L) -Inf else Inf
    natural <- s$natural[[term]][side]
    if (abs(best - edge) < 1e-9 * max(1, abs(edge))) return(if (natural) edge else beyond)
    step <- sqrt(fit$vcov[term, term])
    if (is.na(step) || step > abs(best) + 1) step <- 0.05 * (abs(best) + 1)
    near <- best
    for (k in 1:40) {
      far <- best + sign(side - 1.5) * step * 1.6^k
      far <- if (side == 1L) max(far, edge) else min(far, edge)
      if (rise(far) > 0) {
        return(stats::uniroot(rise, sort(c(near, far)), tol = 1e-7 * (1 + abs(best)))$root)
      }
      if (far == edge) return(if (natural) edge else beyond)
      near <- far
    }
    beyond
  }, 0)
}

# Does the upper end of the search fit as well as the best Q does?
fits_any_energy <- function(fit, level) {
  s <- fit$settings
  rise <- held_deviance(fit, "q_kj_mol", s$bounds$upper[["q_kj_mol"]]) - fit$deviance
  isTRUE(rise <= (interval_t(fit, level) * fit$sigma)^2)
}

# Q without a value: its state, its limits at `level`, and no errors for what leans on it.
with_recryst_limits <- function(fit, level) {
  terms <- names(fit$coefficients)
  fit$level <- level
  fit$limits <- matrix(NA_real_, length(terms), 2L, dimnames = list(terms, c("lower", "upper")))
  if (!"q_kj_mol" %in% fit$settings$terms || is.na(fit$sigma)) return(fit)
  se <- sqrt(fit$vcov["q_kj_mol", "q_kj_mol"])
  wide <- is.na(se) || se > 0.15 * abs(fit$coefficients[["q_kj_mol"]])
  # a curve that was over at its first specimen may look well fixed from near by
  if (fit$states[["q_kj_mol"]] == "determined" && !wide && !fits_any_energy(fit, level)) return(fit)
  ends <- profile_ends(fit, "q_kj_mol", level)
  fit$limits["q_kj_mol", ] <- ends
  if (fit$states[["q_kj_mol"]] == "at lower bound" || anyNA(ends) || all(is.finite(ends))) {
    return(fit)
  }
  fit$states[["q_kj_mol"]] <- if (all(is.infinite(ends))) "not determined" else {
    if (ends[2L] == Inf) "only a lower limit" else "only an upper limit"
  }
  fit$states[["ln_k_ref"]] <- "not determined"
  for (term in c("q_kj_mol", "ln_k_ref")) fit$vcov[term, ] <- fit$vcov[, term] <- NA_real_
  fit
}

#' @export
confint.softanneal_fit_recrystallisation <- function(object, parm, level = 0.95,
                                                     method = c("wald", "profile", "boot"), ...) {
  check_dots_empty(...)
  level <- check_level(level)
  method <- check_choice(method, c("wald", "profile", "boot"), "method")
  fitted_terms <- object$settings$terms
  parm <- if (missing(parm)) {
    if (method == "profile") fitted_terms else names(object$coefficients)
  } else check_parm(parm, names(object$coefficients))
  if (method == "wald") {
    return(confint.softanneal_fit(with_recryst_limits(object, level), parm, level))
  }
  check_recryst_profile(object, method, parm)
  tail <- (1 - level) / 2
  out <- t(vapply(parm, \(term) profile_ends(object, term, level), c(0, 0)))
  dimnames(out) <- list(parm, paste(format(100 * c(tail, 1 - tail), trim = TRUE, digits = 3), "%"))
  out
}

check_recryst_profile <- function(object, method, parm) {
  if (method == "boot") {
    abort("model", "bootstrap is unavailable for fits of fractions", arg = "method",
          remedy = "Use \"wald\" or \"profile\", or refit the responses of simulate().")
  }
  if (object$method == "double_log") {
    abort("model", "the double-log route has no profile", arg = "method",
          remedy = "Use \"wald\", or fit with `method = \"direct\"`.")
  }
  if (!all(parm %in% object$settings$terms)) {
    abort("model", "an activation energy from one temperature has no profile", arg = "parm",
          remedy = "Leave `q_kj_mol` out.")
  }
}

#' @export
tidy.softanneal_fit_recrystallisation <- function(x, conf.int = FALSE, conf.level = 0.95, ...) {
  level <- check_level(conf.level, "conf.level")
  tidy.softanneal_fit(with_recryst_limits(x, level), conf.int, level, ...)
}

#' @param fitted A fit of `fit_recrystallisation()`.
#' @param parm Parameters whose profile is drawn up, by name or number.
#' @param n_points Number of values on each side of the estimate.
#' @rdname fit_recrystallisation
#' @export
profile.softanneal_fit_recrystallisation <- function(fitted, parm, level = 0.99, n_points = 8, ...) {
  check_dots_empty(...)
  level <- check_level(level)
  n_points <- check_number(n_points, "n_points", 2, 1000, whole = TRUE)
  parm <- if (missing(parm)) fitted$settings$terms else {
    check_parm(parm, names(fitted$coefficients))
  }
  check_recryst_profile(fitted, "profile", parm)
  out <- lapply(parm, \(term) {
    best <- fitted$coefficients[[term]]
    ends <- profile_ends(fitted, term, level)
    open <- !is.finite(ends)
    ends[open] <- best + c(-1, 1)[open] * max(abs(ends[!open] - best), 0.5 * abs(best) + 1)
    value <- unique(c(seq(ends[1L], best, length.out = n_points + 1L),
                      seq(best, ends[2L], length.out = n_points + 1L)))
    deviance <- vapply(value, \(v) {
      if (v == best) fitted$deviance else held_deviance(fitted, term, v)
    }, 0)
    rise <- deviance - fitted$deviance
    rise[abs(rise) <= 1e-8 * fitted$deviance] <- 0
    data.frame(term = term, value = value, deviance = deviance,
               tau = sign(value - best) * sqrt(ifelse(rise < 0, NA_real_, rise)) / fitted$sigma)
  })
  out <- do.call(rbind, out)
  lower <- which(is.na(out$tau) & !is.na(out$deviance) & out$deviance < fitted$deviance)
  if (length(lower)) {
    at <- lower[which.min(out$deviance[lower])]
    warn("fit", paste0("The profile meets a lower minimum near ", out$term[at], " = ",
                       format(signif(out$value[at], 4)), ": `tau` is NA there. Fit again with bounds ",
                       "around this value."), n = length(lower))
  }
  structure(out, class = c("softanneal_profile", "data.frame"))
}
