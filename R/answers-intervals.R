# Intervals of times and temperatures to a target, by the delta method, by the likelihood, and by
# resampling. Likelihood: the curve is tied to meet the target at a time (or temperature), the
# rest refitted, in C (src/answers.c). Inside, times are ln(t/min) and temperatures mol/kJ.

INTERVAL_METHODS <- c("delta", "profile", "bootstrap")

# What a bootstrap needs, checked; `given`: whether `times` or `seed` was named in the call.
check_interval_method <- function(fit, method, n_resamples, seed, given) {
  method <- check_choice(method, INTERVAL_METHODS, "method")
  if (given && method != "bootstrap") {
    abort("argument", paste0("`n_resamples` and `seed` are for method = \"bootstrap\", not \"", method,
                             "\""), arg = "n_resamples",
          remedy = "Leave them out, or ask for the bootstrap.")
  }
  if (method == "profile") check_profile_answer(fit)
  method
}

check_profile_answer <- function(fit) {
  if (fit$loss == "huber") {
    abort("model", "a fit with Huber loss has no profile likelihood", arg = "method",
          remedy = "Use method = \"delta\" or \"bootstrap\", or fit with loss = \"squares\".")
  }
  set <- fit$settings$set
  j <- match("ln_k_ref", set$terms)
  if (set$held[j] == 1L || any(set$natural[j + c(0L, length(set$terms))] == 1L)) {
    abort("model", "a profile needs a free rate, and `ln_k_ref` is held or bounded by the call",
          arg = "method", remedy = "Use method = \"delta\" or \"bootstrap\".")
  }
}

# Ends of the likelihood interval of ln t (`moved` "time") or of the coordinate of temperature at
# each meeting, -Inf and Inf where open; `place` as from fit_places(). `half`: half widths by
# the delta method, NA allowed.
meeting_limits <- function(fit, place, ln_time, target, what, moved, half, level,
                           in_growth = met_in_growth(fit, target, what)) {
  coordinate <- if (is.matrix(place)) place[, 1L] else place
  n <- length(ln_time)
  out <- matrix(NA_real_, n, 2L)
  t <- interval_t(fit, level)
  ok <- is.finite(ln_time) & known_places(place) & !in_growth
  if (is.na(t) || !any(ok)) return(out)
  at <- fit$conditions
  set <- fit$settings$set
  key <- if (is.null(at$place)) list(at$temp_c + ZERO_CELSIUS, at$time_min) else {
    list(at$place, at$passed_min)
  }
  by_time <- moved == "time"
  energy <- match("q_kj_mol", set$terms)
  if (!by_time && set$natural[energy + length(set$terms)] == 0L) set$upper[energy] <- 1e5
  # a factor of e^40 in time, or the temperatures that temp_for() looks at
  edge <- if (by_time) range(ln_time[ok]) + c(-40, 40) else {
    inverse_temperature(TEMPERATURES_SEARCHED, fit$temp_ref_c)
  }
  step <- ifelse(is.finite(half) & half > 0, half, if (by_time) 0.3 else 0.001)
  step <- pmin(pmax(step, if (by_time) 1e-4 else 1e-7), if (by_time) 2 else 0.01)
  threshold <- max(t^2 * profile_variance(fit), 1e-12 * sum(at$weight * at$mean^2))
  out[ok, ] <- .Call(
    C_sa_call_meeting_interval,
    list(key[[1L]], as.double(key[[2L]]), at$mean, at$weight, fit$readings$history,
         if (!is.null(at$strain)) log(at$strain / fit$readings$strain_ref),
         fit$readings$exponent_k),
    set[c("kind", "lower", "upper", "natural", "held")], fit$temp_ref_c + ZERO_CELSIUS,
    unname(fit$par), cbind(coordinate, ln_time, target, step, group_part(place),
                            deparse.level = 0)[ok, , drop = FALSE],
    as.double(c(target_code(what), !by_time, fit$lack_of_fit$misfit, threshold, edge)))
  out
}

# Targets that the grown grains reach, not recrystallisation: no rate of recrystallisation ties a
# curve to them.
met_in_growth <- function(fit, target, what) {
  n <- length(target)
  if (is.null(fit$readings$growth) || what == "fraction") return(logical(n))
  soft <- fit$par[["h_soft"]]
  # a margin of a hundredth of the softening, where the share left is too small to tie to
  if (what == "softening") target > 0.99 else target < soft + 0.01 * (fit$par[["h_worked"]] - soft)
}

target_code <- function(what) match(what, c("hardness", "softening", "fraction")) - 1L

# Percentile limits and standard deviations of `answer(par)`, a vector of n values, over
# resamples. A resample that never gets there counts as `never`.
bootstrap_answers <- function(fit, answer, n, never, level, n_resamples, seed) {
  estimates <- resample_fit(fit, n_resamples = n_resamples, seed = seed)$estimates
  estimates <- estimates[!is.na(estimates[, 1L]), , drop = FALSE]
  lost <- colSums(is.na(estimates)) > 0L # energies of one temperature
  estimates[, lost] <- rep(fit$par[lost], each = nrow(estimates))
  draws <- vapply(seq_len(nrow(estimates)), function(k) answer(estimates[k, ]), numeric(n))
  draws <- matrix(draws, n)
  draws[is.na(draws)] <- never
  tail <- (1 - level) / 2
  limits <- t(apply(draws, 1L, stats::quantile, probs = c(tail, 1 - tail), type = 1L,
                    names = FALSE))
  list(limits = limits, sd = apply(draws, 1L, function(x) {
    if (all(is.finite(x))) stats::sd(x) else NA_real_
  }))
}

# What an interval that is open says, beside what the note said before.
open_notes <- function(note, limits, quantity) {
  low <- limits[, 1L] == -Inf
  high <- limits[, 2L] == Inf
  words <- ifelse(is.na(low), NA_character_, ifelse(
    low & high, paste("the readings give no limit of this", quantity), ifelse(
      low, paste("the readings give only a longest", quantity), ifelse(
        high, paste("the readings give only a shortest", quantity), ""))))
  if (quantity == "temperature") {
    words <- sub("longest", "highest", sub("shortest", "lowest", words))
  }
  note[!is.na(words) & note == "not determined by the readings"] <- ""
  add <- which(!is.na(words) & nzchar(words))
  note[add] <- ifelse(nzchar(note[add]), paste0(note[add], "; ", words[add]), words[add])
  note
}

growth_notes <- function(fit, grid, what) {
  grown <- met_in_growth(fit, grid[[what]], what) & grid$note != "target not reached"
  words <- "reached by grain growth: no profile"
  ifelse(grown, ifelse(nzchar(grid$note), paste0(grid$note, "; ", words), words), grid$note)
}
