# Profile likelihoods of softening fits: one parameter fixed at a series of values, all others
# refitted. Ends of intervals are found in C (src/inference.c); here the traces are drawn up.

#' Profile likelihood of a softening fit
#'
#' Shows how well the data determine a parameter: it is fixed at a series of values and all others are
#' refitted. A flat side means that the data give no limit there.
#'
#' @param fitted A fit of [fit_softening()].
#' @param parm Parameters, by name or number; all that were estimated by default.
#' @param level The trace reaches a little beyond the interval of this level, where it has an
#'   end.
#' @param n_points Number of values on each side of the estimate.
#' @param ... Must be empty.
#' @return A data frame of class `softanneal_profile`: `term`, `value`, `deviance` (sum of
#'   squares with the others refitted), `tau` (signed root of its rise over the variance, to
#'   be compared with a t quantile), one row per value.
#' @section Errors:
#'   `softanneal_error_argument` for an unknown parameter, `softanneal_error_model` for a fit
#'   with Huber loss, which has no profile likelihood.
#' @source Bates D M, Watts D G (1988) Nonlinear Regression Analysis and Its Applications
#'   \doi{10.1002/9780470316757}, chapter 6.
#' @seealso [identifiability()], [softening-inference], [fit-methods]
#' @examples
#' tungsten <- example_data("tungsten")
#' fit <- fit_softening(tungsten)
#' profile(fit, "n")
#' @importFrom stats profile
#' @export
profile.softanneal_fit_softening <- function(fitted, parm, level = 0.99, n_points = 8, ...) {
  check_dots_empty(...)
  level <- check_level(level)
  n_points <- check_number(n_points, "n_points", 2, 1000, whole = TRUE)
  terms <- names(fitted$coefficients)
  parm <- if (missing(parm)) terms[fitted$states != "fixed"] else check_parm(parm, terms)
  if (!length(parm)) {
    abort("argument", "`parm` names no parameter", arg = "parm",
          remedy = paste0("Choose from ", in_quotes(terms), "."))
  }
  limits <- profile_limits(fitted, parm, level)
  variance <- profile_variance(fitted)
  out <- lapply(parm, function(term) {
    best <- fitted$par[[term]]
    j <- match(term, terms)
    ends <- limits[term, ]
    edge <- c(fitted$settings$set$lower[j], fitted$settings$set$upper[j])
    reach <- ends - best
    open <- !is.finite(reach)
    if (all(open)) reach <- c(-1, 1) * 0.1 * diff(edge) else {
      reach[open] <- c(-4, 4)[open] * max(abs(reach[!open]))
    }
    ends <- pmin(pmax(best + 1.05 * reach, edge[1L]), edge[2L])
    values <- unique(c(seq(ends[1L], best, length.out = n_points + 1L),
                       seq(best, ends[2L], length.out = n_points + 1L)))
    trace_parameter(fitted, term, values, variance)
  })
  out <- do.call(rbind, out)
  attr(out, "property") <- property_of(fitted)
  structure(out, t95 = interval_t(fitted, 0.95), class = c("softanneal_profile", "data.frame"))
}

# The variance that the rise of the sum of squares is measured in.
profile_variance <- function(object) {
  if (object$se == "model" || !isTRUE(object$df_interval > 0)) return(object$sigma^2)
  df <- if (object$se == "components") {
    length(unique(object$conditions$cluster_of)) - object$estimated
  } else object$df_interval
  object$between / df
}

# Deviance along one parameter, walked outwards from the estimate so that every refit starts
# at its neighbour.
trace_parameter <- function(object, term, values, variance) {
  set <- object$settings$set
  j <- match(term, set$terms)
  d <- object$readings
  control <- control_vector(object$settings$control, "squares")
  set$held[j] <- 1L
  deviance <- numeric(length(values))
  start_at <- which.min(abs(values - object$par[[j]]))
  walk <- list(rev(seq_len(start_at)), seq.int(start_at, length(values)))
  for (side in walk) {
    par <- unname(object$par)
    for (k in side) {
      par[j] <- values[k]
      r <- run_softening(d, set, control, par)
      par <- r$par
      deviance[k] <- r$sums[["objective"]] + r$sums[["pure_error"]]
    }
  }
  rise <- pmax(deviance - object$deviance, 0)
  data.frame(term = term, value = values, deviance = deviance,
             tau = sign(values - object$par[[j]]) * sqrt(rise / variance))
}

# Which parameters have ends of a profile.
has_ends <- function(object) {
  if (is.null(object$limits)) rep(FALSE, length(object$coefficients)) else !is.na(object$limits[, 1L])
}

profile_limits <- function(object, parm, level) {
  if (!inherits(object, "softanneal_fit_softening")) {
    abort("model", "profile intervals are for softening fits", arg = "method",
          remedy = "Use method = \"wald\".")
  }
  if (object$loss == "huber") {
    abort("model", "a fit with Huber loss has no profile likelihood", arg = "method",
          remedy = "Use method = \"wald\" or \"boot\", or fit with loss = \"squares\".")
  }
  limits <- if (!is.null(object$errors)) components_profile(object, object$errors, level)$limits else {
    refit(object, level = level, every = TRUE)$limits
  }
  limits[is.nan(limits)] <- NA_real_ # of what is held
  limits
}

boot_limits <- function(object, level) {
  draws <- resample_fit(object, n_resamples = 999)
  tail <- (1 - level) / 2
  t(apply(draws$estimates, 2L, stats::quantile, probs = c(tail, 1 - tail), na.rm = TRUE))
}

# A linear interval that passes the natural bound of its parameter is none: the profile takes its place, cut
# at the bound where there is no likelihood.
within_nature <- function(object, out, level) {
  set <- object$settings$set
  if (!inherits(object, "softanneal_fit_softening")) return(out)
  at <- which(object$states == "determined" & set$natural[seq_len(nrow(out))] == 1 & out[, 1L] < set$lower)
  if (!length(at)) return(out)
  if (has_likelihood(object)) out[at, ] <- profile_limits(object, rownames(out)[at], level)[at, ]
  out[at, 1L] <- pmax(out[at, 1L], set$lower[at])
  out
}
