# Methods under components of error: tables of broom.mixed, modes as nlme and lme4 give them,
# likelihood, new readings drawn and predicted.

TIDY_EFFECTS <- c("fixed", "ran_pars", "ran_vals")

# Standard deviations of the components in the columns of broom.mixed.
tidy_ran_pars <- function(x, conf.int, conf.level) {
  e <- x$errors
  sd <- e$sd
  stated <- if (is.null(e$stated)) 1 else sqrt(mean(e$steps$scale[e$steps$time > 0]^2))
  sd[1L, ] <- sd[1L, ] * stated
  keep <- c(TRUE, any(e$structure$piece >= 0L), TRUE, !is.null(e$steps$share))
  out <- data.frame(
    effect = "ran_pars", group = c("furnace", "specimen", "step", "operator")[keep],
    term = c("sd__temp_c", rep("sd__(Intercept)", 3L))[keep], estimate = unname(sd[keep, 1L]))
  if (conf.int) {
    ends <- sd_quantiles(e, conf.level)
    ends[1L, ] <- ends[1L, ] * stated
    out$conf.low <- ends[keep, 1L]
    out$conf.high <- ends[keep, 2L]
  }
  if (is.finite(e$steps$sd_reading)) {
    last <- data.frame(effect = "ran_pars", group = "Residual", term = "sd__Observation",
                       estimate = e$steps$sd_reading)
    if (conf.int) {
      last$conf.low <- sd_limit(e$steps, 0.5 + conf.level / 2)
      last$conf.high <- sd_limit(e$steps, 0.5 - conf.level / 2)
    }
    out <- rbind(out, last)
  }
  out
}

sd_quantiles <- function(e, level) {
  r <- components_grid(e$problems, e$prior, diag(length(e$free))[0L, , drop = FALSE], numeric())
  marginal_sds(r, e$prior, c(0.5 - level / 2, 0.5 + level / 2))[, 2:3, drop = FALSE]
}

# Conditional modes: offsets of specimens, errors of furnace runs, operators.
tidy_ran_vals <- function(x, conf.int, conf.level) {
  m <- modes_of(x)
  out <- data.frame(effect = rep("ran_vals", nrow(m)), group = m$group, level = m$level,
                    term = m$term, estimate = m$estimate, std.error = m$std.error)
  if (conf.int) {
    half <- stats::qnorm(0.5 + conf.level / 2) * m$std.error
    out$conf.low <- m$estimate - half
    out$conf.high <- m$estimate + half
  }
  out
}

modes_of <- function(x) {
  e <- x$errors
  s <- e$steps
  st <- e$structure
  specimen <- st$is_furnace == 0L
  after <- match(st$id, s$run)
  scale <- rep(1, length(st$id))
  scale[!specimen] <- s$scale[vapply(st$id[!specimen], function(k) {
    c(which(s$run == k & s$time > 0), which(s$run == k))[1L]
  }, 1L)]
  label <- character(length(st$id))
  label[specimen] <- as.character(s$label[match(st$id[specimen], s$piece)])
  label[!specimen] <- s$runs[st$id[!specimen]]
  seen <- !is.na(label) # runs of specimens that never saw a furnace
  people <- colnames(s$share)
  data.frame(
    group = c(ifelse(specimen, "specimen", "furnace")[seen], rep("operator", length(people))),
    level = c(label[seen], people),
    term = c(ifelse(specimen, "(Intercept)", "temp_c")[seen], rep("(Intercept)", length(people))),
    estimate = c((scale * e$mode)[seen], e$operator),
    std.error = c((scale * e$mode_sd)[seen], e$operator_sd))
}

#' Offsets of specimens and errors of furnace runs
#'
#' The conditional modes of the random parts of a fit with `se = "components"`, in the form of the
#' packages nlme and lme4: how far each specimen lies above the common curve, by how many K each
#' furnace run was off, and how far each operator reads above the others. They are drawn towards zero
#' as far as the readings do not speak for them. Also as `tidy(fit, effects = "ran_vals")`.
#'
#' @param object A fit of [fit_softening()] with `se = "components"`.
#' @param ... Must be empty.
#' @return A list of data frames `specimen` (hardness), `furnace` (K) and, where several people read,
#'   `operator`, with row names and one column.
#' @section Errors:
#'   `softanneal_error_model` for a fit with other standard errors.
#' @source Henderson C R (1975) Biometrics 31, 423 \doi{10.2307/2529430}.
#' @seealso [softening-errors], [components_of_error()]
#' @examples
#' readings <- example_data("bellbrass_readings")
#' fit <- fit_softening(readings, se = "components")
#' if (requireNamespace("nlme", quietly = TRUE)) nlme::ranef(fit)
#' @name ranef-fit
#' @aliases ranef.softanneal_fit_softening
#' @rawNamespace S3method(nlme::ranef,softanneal_fit_softening)
#' @rawNamespace S3method(lme4::ranef,softanneal_fit_softening)
ranef.softanneal_fit_softening <- function(object, ...) {
  check_dots_empty(...)
  need_components(object, "object")
  m <- modes_of(object)
  lapply(split(m, factor(m$group, unique(m$group))), function(part) {
    out <- data.frame(part$estimate, row.names = make.unique(part$level))
    names(out) <- part$term[1L]
    out
  })
}

need_components <- function(fit, arg) {
  if (is.null(fit$errors)) {
    abort("model", "the fit has no components of error", arg = arg,
          remedy = "Fit with se = \"components\".")
  }
}

# Likelihood of the readings under the error model: means of steps with their covariance, deviations
# within steps with the scatter of the readings. At the REML estimates of the standard deviations.
components_loglik <- function(fit) {
  e <- fit$errors
  p <- length(e$free)
  ml <- e$m$criterion + as.numeric(determinant(e$m$cov)$modulus) + p * log(2 * pi)
  within <- 0
  s <- e$steps
  if (is.finite(s$sd_reading)) {
    within <- s$df_reading * (log(2 * pi * s$sd_reading^2) + 1) + sum(log(s$weight))
    if (!is.null(fit$weights)) within <- within - sum(log(fit$weights[fit$weights > 0]))
  }
  structure(-0.5 * (ml + within), df = fit$estimated + sum(e$estimated) + is.finite(s$sd_reading),
            nobs = fit$nobs, class = "logLik")
}

# Readings drawn from the description: a function that returns one set of hardness values.
components_draw <- function(fit) {
  e <- fit$errors
  s <- e$steps
  sd <- unname(e$sd[, "estimate"])
  step <- match(fit$conditions$cluster_of + 1L, s$keep)
  known <- !is.na(step)
  w <- if (is.null(fit$weights)) rep(1, length(step)) else fit$weights
  people <- if (!is.null(s$share)) match(fit$readings$operator, unique(fit$readings$operator))
  reading <- if (is.finite(s$sd_reading)) s$sd_reading else 0
  g <- numeric(length(s$mean))
  g[e$structure$order] <- e$problems[[1L]][[3L]]
  isothermal <- is.null(fit$readings$history)
  temp <- s$key - ZERO_CELSIUS
  insertion <- length(e$problems) > 1L && e$furnace_structure[2L] > 0.5
  key <- if (insertion) s$insertion else s$run
  strain <- if (!is.null(s$strain)) exp(s$strain) * fit$readings$strain_ref
  factor <- if (is.finite(s$sd_reading)) 1 else sqrt(mean(s$weight) / s$weight)
  nominal <- fit$fitted.values
  function() {
    d <- s$scale * sd[1L] * stats::rnorm(max(key))[key]
    moved <- if (isothermal) {
      at <- ifelse(s$time > 0, temp + d, temp)
      softening_values_of(fit, at, s$time, strain) - softening_values_of(fit, temp, s$time, strain)
    } else g * d / pmax(s$scale, 1e-12)
    b <- sd[2L] * stats::rnorm(max(s$piece))[s$piece]
    own <- moved + b + factor * sd[3L] * stats::rnorm(length(b))
    out <- nominal + own[step]
    if (!is.null(people)) out <- out + (sd[4L] * stats::rnorm(max(people)))[people]
    out <- out + reading_sd(reading, w) * stats::rnorm(length(out))
    out[!known] <- nominal[!known]
    out
  }
}

softening_values_of <- function(fit, temp_c, time, strain) {
  place <- fit_places(fit, temp_c, strain)
  if (is.matrix(place)) place[which(is.na(place[, 3L])), 3L] <- 0
  .Call(C_sa_call_hardness, fit$settings$set$kind, log(time), place, unname(fit$par))[, 1L]
}

# Variances that a new reading adds, in the columns of error_interval(): on a new specimen in a new
# run, or in a new step of one that was fitted. `slope`: dH/dT at each place.
reading_extra <- function(fit, slope, same = FALSE) {
  e <- fit$errors
  scale2 <- if (is.null(e$stated)) 1 else mean(e$steps$scale[e$steps$time > 0]^2)
  reading <- if (is.finite(e$steps$sd_reading)) e$steps$sd_reading^2 else 0
  new <- if (same) 0 else 1
  cbind(new * scale2 * slope^2, new, 1, as.double(!is.null(e$steps$share)), reading)
}

# dH/dT of the fitted curve.
temperature_slope <- function(fit, temp_c, time_min, strain = NULL) {
  temp_c <- ifelse(is.na(temp_c), fit$temp_ref_c, temp_c)
  out <- (softening_values(fit, temp_c + 1e-3, time_min, strain)$fit -
            softening_values(fit, temp_c - 1e-3, time_min, strain)$fit) / 2e-3
  out[!is.finite(out)] <- 0
  out
}
