# Band of the curve: by the delta method where the readings determine all parameters, otherwise by
# the likelihood of the hardness itself at each place (src/answers_curve.c).

# Likelihood interval of the hardness at temperatures and times: its ends, -Inf and Inf where open, NA
# where the model has no value there; and, where it is wider than `narrow`, the values that are about as
# good as the best (FLAT_RISE). `half`: guess of the half width, NA allowed. `rise`: share of the threshold
# that the ends stand for. `along`: places that are marks in histories: list(points, number of the history
# or 0, minutes in it).
curve_limits <- function(fit, place, log_time, half, level, narrow, rise = 1, along = NULL) {
  n <- length(log_time)
  out <- matrix(NA_real_, n, 4L)
  ok <- known_places(place) & !is.na(log_time)
  if (!has_likelihood(fit) || !any(ok)) return(out)
  coordinate <- if (is.matrix(place)) place[, 1L] else place
  span <- abs(fit$par[["h_worked"]] - fit$par[["h_soft"]])
  step <- ifelse(is.finite(half) & half > 0, half, 0.1 * span)
  step <- pmin(pmax(step, 0.002 * span), 0.5 * span)
  # neighbours next to each other, each place once
  rows <- cbind(coordinate, log_time, step, group_part(place),
                rise * likelihood_threshold(fit, level), deparse.level = 0)[ok, , drop = FALSE]
  key <- rows[, c(4:5, 1:2), drop = FALSE]
  if (!is.null(along)) {
    along[2:3] <- lapply(along[2:3], `[`, ok)
    key <- cbind(key, as.double(along[[2L]]), along[[3L]], deparse.level = 0)
  }
  rising <- if (is.null(along)) order(key[, 1L], key[, 2L], key[, 3L], key[, 4L]) else {
    order(key[, 5L], key[, 6L])
  }
  rows <- rows[rising, , drop = FALSE]
  new <- !duplicated(key[rising, , drop = FALSE])
  if (!is.null(along)) along[2:3] <- lapply(along[2:3], function(x) x[rising][new])
  ends <- .Call(
    C_sa_call_curve_interval, likelihood_conditions(fit, level),
    fit$settings$set[c("kind", "lower", "upper", "natural", "held")],
    fit$temp_ref_c + ZERO_CELSIUS, unname(fit$par), rows[new, , drop = FALSE],
    as.double(c(fit$lack_of_fit$misfit, FLAT_RISE, narrow)), along)
  out[which(ok)[rising], ] <- ends[cumsum(new), , drop = FALSE]
  out
}

# What the likelihood of an answer is computed from, as pose() in src/glue_answers.c takes it: sums of
# squares of conditions, or under components of error their joint likelihood with the errors of furnaces.
likelihood_conditions <- function(fit, level) {
  e <- fit$errors
  if (!is.null(e)) return(c(e$input, list(e$form, likelihood_errors(fit, level))))
  at <- fit$conditions
  key <- if (is.null(at$place)) list(at$temp_c + ZERO_CELSIUS, at$time_min) else {
    list(at$place, at$passed_min)
  }
  list(key[[1L]], as.double(key[[2L]]), at$mean, at$weight, fit$readings$history,
       if (!is.null(at$strain)) log(at$strain / fit$readings$strain_ref),
       fit$readings$exponent_k)
}

# Rise of the sum at the ends of the interval.
likelihood_threshold <- function(fit, level) {
  if (!is.null(fit$errors)) return(stats::qnorm(0.5 + level / 2)^2)
  at <- fit$conditions
  max(interval_t(fit, level)^2 * profile_variance(fit), 1e-12 * sum(at$weight * at$mean^2))
}

has_likelihood <- function(fit) {
  if (fit$loss == "huber" || is.na(interval_t(fit, 0.95))) return(FALSE)
  if (!is.null(fit$errors)) return(all(is.finite(fit$errors$sd[, "estimate"])))
  profile_variance(fit) > 0
}

# Whether the likelihood can and should be asked: something is open, and there is a likelihood.
needs_likelihood <- function(fit) has_open(fit) && has_likelihood(fit)

# Value, standard error, and ends of the interval of the curve. Where the likelihood has no best
# value the value is NA (`lost`).
softening_band <- function(fit, temp_c, time_min, strain = NULL, level = 0.95) {
  part <- softening_values(fit, temp_c, time_min, strain)
  half <- interval_t(fit, level) * part$se
  part$lower <- part$fit - half
  part$upper <- part$fit + half
  part$lost <- logical(length(half))
  if (!needs_likelihood(fit)) return(mixture_band(fit, part, level))
  temp_c <- ifelse(is.na(temp_c) & !is.na(time_min) & time_min == 0, fit$temp_ref_c, temp_c)
  place <- fit_places(fit, temp_c, strain)
  if (is.matrix(place)) place[which(time_min == 0 & is.na(place[, 3L])), 3L] <- 0
  ok <- which(!is.na(part$fit))
  if (!length(ok)) return(part)
  log_time <- log(time_min)
  narrow <- NARROW[["hardness"]] * abs(fit$par[["h_worked"]] - fit$par[["h_soft"]])
  ends <- curve_limits(fit, place_rows(place, ok), log_time[ok], half[ok], level, narrow)
  part$lost[ok] <- is_flat(ends[, 1:2, drop = FALSE], ends[, 3:4, drop = FALSE], narrow)
  wide <- which(!part$lost[ok] & (ends[, 2L] - ends[, 1L] > narrow) %in% TRUE &
                  !among_readings(fit, temp_c[ok], time_min[ok]))
  quarter <- curve_limits(fit, place_rows(place, ok[wide]), log_time[ok[wide]], half[ok[wide]], level, Inf,
                          QUARTER)
  part$lost[ok[wide]] <- leans(part$fit[ok[wide]], ends[wide, 1:2, drop = FALSE],
                               quarter[, 1:2, drop = FALSE])
  part$lower[ok] <- pmax(ends[, 1L], 0)
  part$upper[ok] <- ends[, 2L]
  part$se[ok] <- NA_real_
  part
}

# The same along histories. Of many places at most MOST_MARKS of each history are asked, the others read off
# between their neighbours.
MOST_MARKS <- 100L
UNBOUNDED <- 1e12 # stands for Inf between neighbours

history_band <- function(fit, points, place, passed_min, level = 0.95) {
  part <- history_values(fit, points, place, passed_min)
  if (!needs_likelihood(fit)) return(part)
  narrow <- NARROW[["hardness"]] * abs(fit$par[["h_worked"]] - fit$par[["h_soft"]])
  half <- interval_t(fit, level) * part$se
  pick <- unlist(lapply(split(seq_along(place), place), function(rows) {
    rows <- rows[order(passed_min[rows])]
    rows[unique(round(seq(1, length(rows), length.out = min(length(rows), MOST_MARKS))))]
  }), use.names = FALSE)
  limits <- function(rows, narrow, rise = 1) {
    on <- place[rows] > 0
    curve_limits(fit, numeric(length(rows)), ifelse(on, 0, -Inf), half[rows], level, narrow, rise,
                 list(points, as.integer(place[rows]), as.double(passed_min[rows])))
  }
  ends <- limits(pick, narrow)
  lost <- is_flat(ends[, 1:2, drop = FALSE], ends[, 3:4, drop = FALSE], narrow)
  wide <- which(!lost & (ends[, 2L] - ends[, 1L] > narrow) %in% TRUE)
  lost[wide] <- leans(part$fit[pick[wide]], ends[wide, 1:2, drop = FALSE],
                      limits(pick[wide], Inf, QUARTER)[, 1:2, drop = FALSE])
  value <- cbind(pmax(ends[, 1L], 0), pmin(ends[, 2L], UNBOUNDED), lost)
  out <- matrix(NA_real_, length(place), 3L)
  for (rows in split(seq_along(place), place)) {
    at <- which(place[pick] == place[rows[1L]])
    for (k in 1:3) {
      out[rows, k] <- if (length(at) == 1L) value[at, k] else {
        stats::approx(passed_min[pick[at]], value[at, k], passed_min[rows], rule = 2, ties = "ordered")$y
      }
    }
  }
  part$lower <- out[, 1L]
  part$upper <- ifelse(out[, 2L] > 1e-3 * UNBOUNDED, Inf, out[, 2L])
  part$lost <- out[, 3L] > 0
  part$se[] <- NA_real_
  part
}

# Under components of error the ends are quantiles of the mixture.
mixture_band <- function(fit, part, level) {
  if (is.null(fit$errors) || has_open(fit)) return(part)
  ends <- error_interval(fit, part$gradient, level)
  part$se <- ends$se
  part$lower <- part$fit + ends$lower
  part$upper <- part$fit + ends$upper
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

# Where the sum has risen by a quarter of the threshold a regular interval is half as wide, on either side. An
# answer that leans on an open parameter has an end that the sum never rises towards (it is met where that
# parameter is infinite), or a side that goes on for long: its estimate is none.
QUARTER <- 0.25
LEANS <- c(0.25, 0.8)

leans <- function(here, profile, quarter) {
  share <- abs(quarter - here) / abs(profile - here)
  rowSums(share < LEANS[1L] | share > LEANS[2L], na.rm = TRUE) > 0
}

# Places at a temperature read, within the times read there: the readings beside them tell the curve.
among_readings <- function(fit, temp_c, time_min) {
  at <- fit$conditions
  out <- !is.na(time_min) & time_min == 0
  for (t in different_temperatures(at$temp_c[at$time_min > 0])) {
    read <- at$time_min[at$time_min > 0 & abs(at$temp_c - t) < 1e-6]
    out <- out | (abs(temp_c - t) < 1e-6 & time_min >= min(read) & time_min <= max(read)) %in% TRUE
  }
  out
}

has_open <- function(fit) any(!fit$states %in% c("determined", "fixed"))

FLAT_SPAN <- 0.25
