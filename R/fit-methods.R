# Base methods of every fit: coefficients, covariance, intervals, residuals, likelihood.
# Intervals use t quantiles, so that confint(), summary() and tidy(conf.int = TRUE) agree.

#' @export
coef.softanneal_fit <- function(object, ...) object$coefficients

#' Methods of fits
#'
#' What every fit of this package answers, by the usual generics of R. Intervals use t
#' quantiles on `object$df_interval` degrees of freedom, so that `confint()`, `summary()` and
#' `tidy(conf.int = TRUE)` agree.
#'
#' @param object A fit.
#' @param ... Must be empty, or further fits for `anova()`.
#' @param thickness_mm For `summary()`: thickness of brass sheet in mm, see [softening-history].
#' @param type For `vcov()` of a softening fit: `"cluster"`, `"steps"` or `"model"` instead of
#'   the one chosen in the fit. For `residuals()`: `"response"` (data minus fit), `"pearson"`
#'   (times the root of the weights) or `"standardized"` (also divided by sigma and by the
#'   root of one minus the leverage).
#' @param parm Parameters, by name or number; all by default.
#' @param level Confidence level.
#' @param method `"wald"`: estimate plus and minus t times standard error, and the limits of
#'   the profile for parameters that have none or whose linear interval would pass a natural bound (an
#'   exponent of 0.1, an energy of 0); with a Huber loss it ends there.
#'   `"profile"`: ends of the profile likelihood, infinite where the data give only a bound. `"boot"`:
#'   percentiles of [resample_fit()].
#' @param nsim Number of simulated responses.
#' @param seed `NULL` for the session's random numbers, or one whole number; then `.Random.seed` is restored.
#' @return `coef()` a named vector, `vcov()` and `confint()` matrices, `residuals()` and
#'   `fitted()` vectors in the order of the data (padded with `NA` after
#'   [stats::na.exclude()]), `logLik()` an object of class `logLik` for [stats::AIC()],
#'   `simulate()` a data frame with columns `sim_1`, `sim_2`, ... and the attribute `seed` (`NA`: no weight),
#'   `anova()` a table of class `anova`: for one softening fit its lack of fit, for several
#'   nested fits (added terms, or parameters that the smaller one has `fixed`) the F tests between them. They
#'   take the errors of the fits: with components of error F is that of their likelihood ratio L for N steps
#'   and p parameters, (exp(L/N) - 1) (N - p)/q with q added ones; with `se = "cluster"` or `"steps"` the
#'   misfit of the step means is its denominator; with `"model"` the scatter of readings.
#' @name fit-methods
#' @seealso [fit_softening()], [fit-tables], [predict-fit], [fit-generics]
#' @examples
#' tungsten <- example_data("tungsten")
#' fit <- fit_softening(tungsten)
#' confint(fit)
#' confint(fit, "n", method = "profile")
#' AIC(fit)
#' head(residuals(fit, "standardized"))
#' @export
vcov.softanneal_fit <- function(object, type = NULL, ...) {
  if (is.null(type)) return(object$vcov)
  if (!inherits(object, "softanneal_fit_softening")) {
    abort("argument", "`type` is for softening fits", arg = "type",
          remedy = "Leave it out.")
  }
  type <- check_choice(type, c("cluster", "model", "steps", "components"), "type")
  refit(object, se = type)$vcov
}

# The same fit with other settings of the inference, from where it stands.
refit <- function(object, se = object$se, level = object$level, every = FALSE) {
  set <- object$settings$set
  set$start <- unname(object$par)
  d <- object$readings
  control <- control_vector(object$settings$control, object$loss)
  r <- run_softening(d, set, control, level = level, clusters = se != "model", every = every)
  suppressWarnings(softening_object(r, d, set, object$model, se, object$loss, level,
                                    object$settings$control, object$call),
                   classes = "softanneal_warning_fit")
}

#' @rdname fit-methods
#' @export
confint.softanneal_fit <- function(object, parm, level = 0.95,
                                   method = c("wald", "profile", "boot"), ...) {
  check_dots_empty(...)
  level <- check_level(level)
  method <- check_choice(method, c("wald", "profile", "boot"), "method")
  terms <- names(object$coefficients)
  parm <- if (missing(parm)) terms else check_parm(parm, terms)
  out <- switch(method, wald = wald_limits(object, level),
                profile = profile_limits(object, parm, level),
                boot = boot_limits(object, level))
  out <- within_dial(object, out, level)[parm, , drop = FALSE]
  out[is.nan(out)] <- NA_real_
  tail <- (1 - level) / 2
  colnames(out) <- paste(format(100 * c(tail, 1 - tail), trim = TRUE, digits = 3), "%")
  out
}

# Parameters of an interval where only one has a profile.
parm_or_profiled <- function(parm, terms, method, profiled) {
  if (!is.null(parm)) return(check_parm(parm, terms))
  if (method == "profile") profiled else terms
}

check_parm <- function(parm, terms) {
  if (is.numeric(parm) && all(parm %in% seq_along(terms))) return(terms[parm])
  if (is.character(parm) && all(parm %in% terms)) return(parm)
  abort("argument", paste0("`parm` must name parameters: ", in_quotes(terms, " and ")), arg = "parm",
        remedy = "Give names or numbers of parameters.")
}

wald_limits <- function(object, level) {
  b <- object$coefficients
  se <- sqrt(diag(object$vcov))
  if (!is.null(object$errors)) {
    ends <- error_interval(object, diag(length(b)), level)
    out <- cbind(b + ends$lower, b + ends$upper)
    out[is.na(se), ] <- NA_real_
  } else {
    t <- interval_t(object, level)
    out <- cbind(b - t * se, b + t * se)
  }
  dimnames(out) <- list(names(b), c("lower", "upper"))
  open <- !object$states %in% c("determined", "fixed")
  # in a fit with something open, or with a bent valley, the determined ones have ends of their profiles too
  traced <- object$states == "determined" & has_ends(object)
  if (any(open | traced) && !is.null(object$limits)) {
    limits <- if (level == object$level) object$limits else if (!is.null(object$errors)) {
      components_profile(object, object$errors, level)$limits
    } else refit(object, level = level)$limits
    traced <- traced & !is.na(limits[, 1L])
    out[open | traced, ] <- limits[open | traced, , drop = FALSE]
  }
  within_nature(object, out, level)
}

interval_t <- function(object, level) {
  if (is.na(object$df_interval) || object$df_interval <= 0) return(NA_real_)
  t <- stats::qt(0.5 + level / 2, object$df_interval)
  # a standard error is half the central 68.27 % interval there
  if (identical(object$se, "components")) t <- t / stats::qt(CENTRAL[2L], object$df_interval)
  t
}

#' @rdname fit-methods
#' @export
residuals.softanneal_fit <- function(object, type = c("response", "pearson", "standardized"), ...) {
  type <- check_choice(type, c("response", "pearson", "standardized"), "type")
  r <- object$residuals
  if (type != "response" && !is.null(object$weights)) r <- r * sqrt(object$weights)
  if (type == "standardized") r <- r / (object$sigma * sqrt(pmax(1 - leverage(object), 0)))
  stats::naresid(object$na.action, r)
}

# Leverage of each reading (after weights); NA where the fit keeps no Jacobian.
leverage <- function(object) {
  jac <- reading_jacobian(object)
  if (is.null(jac)) return(rep(NA_real_, length(object$residuals)))
  w <- if (is.null(object$weights)) 1 else object$weights
  w * rowSums((jac %*% unscaled_cov(object)) * jac)
}

reading_jacobian <- function(object) {
  if (is.null(object$conditions)) return(NULL)
  object$conditions$jacobian[object$conditions$of_reading + 1L, , drop = FALSE]
}

unscaled_cov <- function(object) object$cov_unscaled

#' @export
fitted.softanneal_fit <- function(object, ...) {
  if (is.null(object$fitted.values)) {
    abort("model", "a fit of a residual function has no fitted values", arg = "object",
          remedy = "Fit a formula instead.")
  }
  stats::napredict(object$na.action, object$fitted.values)
}

#' @export
weights.softanneal_fit <- function(object, ...) object$weights

#' @export
deviance.softanneal_fit <- function(object, ...) object$deviance

#' @export
df.residual.softanneal_fit <- function(object, ...) object$df.residual

#' @export
sigma.softanneal_fit <- function(object, ...) object$sigma

#' @export
nobs.softanneal_fit <- function(object, ...) object$nobs

#' @export
formula.softanneal_fit <- function(x, ...) {
  if (is.null(x$formula)) {
    abort("model", "a fit of a residual function has no formula", arg = "x",
          remedy = "Fit a formula instead.")
  }
  x$formula
}

#' @export
family.softanneal_fit <- function(object, ...) stats::gaussian()

#' @rdname fit-methods
#' @export
logLik.softanneal_fit <- function(object, ...) {
  no_limits(object, "there is no likelihood to compare models by")
  if (!is.null(object$errors)) return(components_loglik(object))
  n <- object$nobs
  w <- object$weights
  log_w <- if (is.null(w)) 0 else sum(log(w[w > 0]))
  value <- -n / 2 * (log(2 * pi) + 1 - log(n) + log(object$deviance)) + log_w / 2
  structure(value, df = object$estimated + 1L, nobs = n, class = "logLik")
}

#' @rdname fit-methods
#' @export
simulate.softanneal_fit <- function(object, nsim = 1, seed = NULL, ...) {
  check_dots_empty(...)
  nsim <- check_number(nsim, "nsim", 1, 1e6, whole = TRUE)
  state <- begin_seed(seed)
  on.exit(end_seed(state), add = TRUE)
  no_limits(object, "there are no simulated readings")
  mean <- object$fitted.values
  if (is.null(mean)) {
    abort("model", "a fit of a residual function cannot be simulated", arg = "object",
          remedy = "Fit a formula instead.")
  }
  if (!is.null(object$errors)) {
    draw <- components_draw(object)
    sims <- lapply(seq_len(nsim), function(k) {
      new <- draw()
      new[object$weights == 0] <- NA_real_
      stats::naresid(object$na.action, new)
    })
    names(sims) <- paste0("sim_", seq_len(nsim))
    return(structure(as.data.frame(sims), seed = state$attribute))
  }
  n <- length(mean)
  error <- error_components(object)
  if (is.na(error$reading)) {
    abort("too_few", "the fit has no residual degrees of freedom, so its scatter is unknown",
          arg = "object", remedy = "Fit fewer parameters, or take more readings.")
  }
  sd_reading <- reading_sd(error$reading, object$weights)
  sims <- lapply(seq_len(nsim), function(k) {
    step <- if (error$step > 0) {
      stats::rnorm(max(error$cluster), sd = error$step)[error$cluster]
    } else 0
    new <- mean + step + stats::rnorm(n, sd = sd_reading)
    new[object$weights == 0] <- NA_real_
    stats::naresid(object$na.action, new)
  })
  names(sims) <- paste0("sim_", seq_len(nsim))
  out <- as.data.frame(sims)
  attr(out, "seed") <- state$attribute
  out
}

# Standard deviation of each reading; a reading of weight zero has none.
reading_sd <- function(sd, weights) {
  if (is.null(weights)) return(sd)
  ifelse(weights > 0, sd / sqrt(weights), 0)
}

# Scatter of single readings and of whole steps, from the mean squares within and
# between treatments (one-way random effects; expectations as in Searle, Casella and
# McCulloch 1992, Variance Components, chapter 3). Without replicates all is reading scatter.
error_components <- function(object) {
  out <- list(reading = object$sigma, step = 0, cluster = NULL)
  if (is.null(object$conditions) || identical(object$se, "model")) return(out)
  cluster <- object$conditions$cluster_of + 1L
  w <- if (is.null(object$weights)) rep(1, length(cluster)) else object$weights
  r <- object$residuals
  size <- tabulate(cluster)
  df_within <- length(r) - length(size)
  df_between <- length(size) - object$estimated
  if (df_within <= 0 || df_between <= 0) return(out)
  total <- rowsum(w, cluster)[, 1L]
  centre <- rowsum(w * r, cluster)[, 1L] / total
  within <- sum(w * (r - centre[cluster])^2) / df_within
  between <- object$between / df_between
  list(reading = sqrt(within), step = sqrt(max(0, (between - within) / mean(total))),
       cluster = cluster)
}

#' @export
as.data.frame.softanneal_fit <- function(x, ...) as.data.frame(augment(x))

#' @export
plot.softanneal_fit <- function(x, ...) {
  if (class(x)[1L] == "softanneal_fit_least_squares") {
    abort("model", "there is no plot of a fit by fit_least_squares()", arg = "x",
          remedy = "Plot residuals() over fitted(), or over a variable of your own.")
  }
  draw_picture(x, ...)
}
