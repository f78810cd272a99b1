# Band of the curve: by the delta method where the readings determine all parameters, otherwise by
# the likelihood of the hardness itself at each place (src/answers_curve.c).

# Ends of the likelihood interval of the hardness at temperatures and times, -Inf and Inf where
# open, NA where the model has no value there. `half`: guess of the half width, NA allowed.
curve_limits <- function(fit, place, log_time, half, level, rise = 1) {
  n <- length(log_time)
  out <- matrix(NA_real_, n, 2L)
  t <- interval_t(fit, level)
  ok <- known_places(place) & !is.na(log_time)
  if (is.na(t) || !any(ok)) return(out)
  coordinate <- if (is.matrix(place)) place[, 1L] else place
  span <- abs(fit$par[["h_worked"]] - fit$par[["h_soft"]])
  step <- ifelse(is.finite(half) & half > 0, half, 0.1 * span)
  step <- sqrt(rise) * pmin(pmax(step, 0.002 * span), 0.5 * span)
  at <- fit$conditions
  threshold <- max(rise * t^2 * profile_variance(fit), 1e-12 * sum(at$weight * at$mean^2))
  # neighbours next to each other, each place once
  rows <- cbind(coordinate, log_time, step, group_part(place), deparse.level = 0)[ok, , drop = FALSE]
  rising <- order(rows[, 4L], rows[, 5L], rows[, 1L], rows[, 2L])
  rows <- rows[rising, , drop = FALSE]
  new <- !duplicated(rows[, -3L, drop = FALSE])
  ends <- .Call(
    C_sa_call_curve_interval, likelihood_conditions(fit),
    fit$settings$set[c("kind", "lower", "upper", "natural", "held")],
    fit$temp_ref_c + ZERO_CELSIUS, unname(fit$par), rows[new, , drop = FALSE],
    as.double(c(fit$lack_of_fit$misfit, threshold)))
  out[which(ok)[rising], ] <- ends[cumsum(new), , drop = FALSE]
  out
}

# What the likelihood of an answer is computed from, as pose() in src/glue_answers.c takes it.
likelihood_conditions <- function(fit) {
  at <- fit$conditions
  key <- if (is.null(at$place)) list(at$temp_c + ZERO_CELSIUS, at$time_min) else {
    list(at$place, at$passed_min)
  }
  list(key[[1L]], as.double(key[[2L]]), at$mean, at$weight, fit$readings$history,
       if (!is.null(at$strain)) log(at$strain / fit$readings$strain_ref),
       fit$readings$exponent_k)
}

# Whether the likelihood can and should be asked: something is open, and there is a likelihood.
needs_likelihood <- function(fit) {
  has_open(fit) && fit$loss != "huber" && !is.na(interval_t(fit, 0.95)) &&
    profile_variance(fit) > 0
}

# Value, standard error, and ends of the interval of the curve. Where the likelihood has no best
# value the value is NA (`lost`).
softening_band <- function(fit, temp_c, time_min, strain = NULL, level = 0.95) {
  part <- softening_values(fit, temp_c, time_min, strain)
  half <- interval_t(fit, level) * part$se
  part$lower <- part$fit - half
  part$upper <- part$fit + half
  part$lost <- logical(length(half))
  if (!needs_likelihood(fit)) return(part)
  temp_c <- ifelse(is.na(temp_c) & !is.na(time_min) & time_min == 0, fit$temp_ref_c, temp_c)
  place <- fit_places(fit, temp_c, strain)
  if (is.matrix(place)) place[which(time_min == 0 & is.na(place[, 3L])), 3L] <- 0
  ok <- which(!is.na(part$fit))
  if (!length(ok)) return(part)
  log_time <- log(time_min)
  ends <- curve_limits(fit, place_rows(place, ok), log_time[ok], half[ok], level)
  narrow <- NARROW[["hardness"]] * abs(fit$par[["h_worked"]] - fit$par[["h_soft"]])
  near <- matrix(NA_real_, length(ok), 2L)
  wide <- which(rowSums(is.finite(ends)) == 2L & ends[, 2L] - ends[, 1L] > narrow)
  near[wide, ] <- curve_limits(fit, place_rows(place, ok[wide]), log_time[ok[wide]],
                               (ends[wide, 2L] - ends[wide, 1L]) / 2, level, FLAT_RISE)
  part$lost[ok] <- is_flat(ends, near, narrow)
  part$lower[ok] <- pmax(ends[, 1L], 0)
  part$upper[ok] <- ends[, 2L]
  part$se[ok] <- NA_real_
  part
}

# Values whose sum of squares rises by at most this share of the threshold are as good as the best.
# In a regular case they take up the root of it (a tenth) of the interval; where they take up more
# than a quarter of it there is no best value worth printing, unless the interval is narrow: below a
# factor of 1.5 in time, 10 degrees, a tenth of the softening.
FLAT_RISE <- 0.01

NARROW <- c(time = log(1.5), temperature = 10, hardness = 0.1)

is_flat <- function(profile, near, narrow) {
  width <- profile[, 2L] - profile[, 1L]
  open <- rowSums(!is.finite(profile)) > 0L
  !is.na(profile[, 1L]) & (open | (width > narrow & !(near[, 2L] - near[, 1L] <= FLAT_SPAN * width)))
}

has_open <- function(fit) any(!fit$states %in% c("determined", "fixed"))

FLAT_SPAN <- 0.25
