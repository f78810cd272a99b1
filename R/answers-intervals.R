# Intervals of times and temperatures to a target, by the delta method, by the likelihood, and by
# resampling. Likelihood: the curve is tied to meet the target at a time (or temperature), the
# rest refitted, in C (src/answers.c). Inside, times are ln(t/min) and temperatures mol/kJ.

INTERVAL_METHODS <- c("auto", "delta", "profile", "bootstrap")

# An end of a profile further than this share of the half width from that of the delta method:
# the profile is the one to believe.
AS_GOOD <- 0.1

# What a bootstrap needs, checked; `given`: whether `times` or `seed` was named in the call.
check_interval_method <- function(fit, method, n_resamples, seed, given) {
  method <- check_choice(method, INTERVAL_METHODS, "method")
  if (given && method != "bootstrap") {
    abort("argument", paste0("`n_resamples` and `seed` are for method = \"bootstrap\", not \"", method,
                             "\""), arg = "n_resamples",
          remedy = "Leave them out, or ask for the bootstrap.")
  }
  if (method == "profile") check_profile_answer(fit)
  if (method == "auto" && (fit$loss == "huber" || !free_rate(fit))) method <- "delta"
  method
}

check_profile_answer <- function(fit) {
  if (fit$loss == "huber") {
    abort("model", "a fit with Huber loss has no profile likelihood", arg = "method",
          remedy = "Use method = \"delta\" or \"bootstrap\", or fit with loss = \"squares\".")
  }
  if (!free_rate(fit)) {
    abort("model", "a profile needs a free rate, and `ln_k_ref` is fixed or bounded by the call",
          arg = "method", remedy = "Use method = \"delta\" or \"bootstrap\".")
  }
}

free_rate <- function(fit) {
  set <- fit$settings$set
  j <- match("ln_k_ref", set$terms)
  set$held[j] == 0L && !any(set$natural[j + c(0L, length(set$terms))] == 1L)
}

# The ends that method "auto" or "profile" gives, in the coordinates of meeting_limits(): those of
# the delta method (`delta`) stand in "auto" where the likelihood agrees with them. `half`: half widths
# by the delta method from the variance that the likelihood is measured in. Returns the ends, the
# method of each row, whether its likelihood has no best value, and whether there is no interval because
# no rate ties the curve to the target.
answer_limits <- function(fit, place, ans, target, what, moved, delta, half, level, method) {
  here <- if (moved == "time") ans$ln_time else if (is.matrix(place)) place[, 1L] else place
  limits <- function(rise, rows = seq_along(here)) {
    meeting_limits(fit, place_rows(place, rows), ans$log_time[rows], target[rows], what, moved,
                   (half[rows, 1L] + half[rows, 2L]) / 2, level, rise)
  }
  profile <- limits(1)
  away <- abs(cbind(here - profile[, 1L], profile[, 2L] - here) - half)
  agree <- is.finite(delta[, 1L]) & rowSums(away <= AS_GOOD * half) == 2L
  known <- !is.na(profile[, 1L]) & !is.na(profile[, 2L])
  use <- if (method == "profile") rep(TRUE, length(here)) else known & !(agree %in% TRUE)
  flat <- leaning <- logical(length(here))
  if (has_open(fit) && any(known & use)) {
    narrow <- NARROW[[moved]]
    if (moved == "temperature") { # of the coordinate
      narrow <- narrow * 1000 / GAS_CONSTANT / (celsius_at(here, fit$temp_ref_c) + ZERO_CELSIUS)^2
    }
    wide <- which(use & (is.finite(profile[, 2L] - profile[, 1L]) & profile[, 2L] - profile[, 1L] > narrow))
    near <- matrix(NA_real_, length(here), 2L)
    near[wide, ] <- limits(FLAT_RISE, wide)
    flat <- use & is_flat(profile, near, narrow)
    temp_c <- celsius_at(if (is.matrix(place)) place[, 1L] else place, fit$temp_ref_c)
    wide <- setdiff(wide, which(flat | among_readings(fit, temp_c, exp(ans$log_time))))
    leaning[wide] <- leans(here[wide], profile[wide, , drop = FALSE], limits(QUARTER, wide))
  }
  delta[use, ] <- profile[use, ]
  # neither mixture nor joint likelihood has its middle at the estimate: the interval holds it at any level
  delta <- cbind(pmin(delta[, 1L], here), pmax(delta[, 2L], here))
  list(limits = delta, by = ifelse(use, "profile", "delta"),
       leaning = leaning, lost = use & known & (flat | leaning | rowSums(!is.finite(profile)) > 0L),
       untied = !is.na(here) & !known & is.na(delta[, 1L]) & has_likelihood(fit) &
         !met_in_growth(fit, target, what))
}

# Ends of the likelihood interval of ln t (`moved` "time") or of the coordinate of temperature at
# each meeting, -Inf and Inf where open; `place` as from fit_places(). `half`: half widths by
# the delta method, NA allowed. `rise`: share of the threshold that the ends stand for.
meeting_limits <- function(fit, place, ln_time, target, what, moved, half, level, rise = 1,
                           in_growth = met_in_growth(fit, target, what)) {
  coordinate <- if (is.matrix(place)) place[, 1L] else place
  n <- length(ln_time)
  out <- matrix(NA_real_, n, 2L)
  ok <- is.finite(ln_time) & known_places(place) & !in_growth
  if (!has_likelihood(fit) || !any(ok)) return(out)
  set <- fit$settings$set
  by_time <- moved == "time"
  energy <- match("q_kj_mol", set$terms)
  if (set$natural[energy + length(set$terms)] == 0L) set$upper[energy] <- 1e5
  # a factor of e^40 beyond the answers and the times read, or the temperatures that temp_for() looks at
  after <- fit$conditions$time_min[fit$conditions$time_min > 0]
  edge <- if (by_time) range(ln_time[ok], log(after)) + c(-40, 40) else {
    inverse_temperature(TEMPERATURES_SEARCHED, fit$temp_ref_c)
  }
  step <- ifelse(is.finite(half) & half > 0, half, if (by_time) 0.3 else 0.001)
  step <- pmin(pmax(step, if (by_time) 1e-4 else 1e-7), if (by_time) 2 else 0.01)
  threshold <- rise * likelihood_threshold(fit, level)
  out[ok, ] <- .Call(
    C_sa_call_meeting_interval,
    likelihood_conditions(fit, level),
    set[c("kind", "lower", "upper", "natural", "held")], fit$temp_ref_c + ZERO_CELSIUS,
    unname(fit$par), cbind(coordinate, ln_time, target, step, group_part(place), threshold,
                            deparse.level = 0)[ok, , drop = FALSE],
    as.double(c(target_code(what), !by_time, fit$lack_of_fit$misfit, edge, has_open(fit))))
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

# What an interval that is open says, beside what the note said before. `limits` and `unit` as
# they are printed; `lost`: rows whose likelihood has no best value; `leaning`: those whose estimate leans on
# a parameter that is not determined.
open_notes <- function(note, limits, unit, lost, leaning, fit, never = 0) {
  open <- paste(names(fit$states)[is_open(fit)], collapse = ", ")
  number <- function(x) paste(format_quantity(x), unit)
  low <- !is.na(limits[, 1L]) & limits[, 1L] == never
  high <- !is.na(limits[, 2L]) & limits[, 2L] == Inf
  words <- ifelse(low & high, "no limit from the readings", ifelse(
    low, paste0("at most ", number(limits[, 2L]), ": no lower limit from the readings"), ifelse(
      high, paste0("at least ", number(limits[, 1L]), ": no upper limit from the readings"), ifelse(
        leaning, paste0("only an interval: leans on ", open, ", not determined"), ifelse(
          lost, "any value of the interval is as good", "")))))
  note[!is.na(limits[, 1L]) & note == UNDETERMINED] <- ""
  add <- which(nzchar(words))
  note[add] <- ifelse(nzchar(note[add]), paste0(words[add], "; ", note[add]), words[add])
  note
}

# An interval and an answer as text; an answer that only its interval gives is a dash.
range_text <- function(low, high, never = 0) {
  ifelse(is.na(low), "\u2013", ifelse(
    low == never & high == Inf, "any", ifelse(
      low == never, paste("at most", format_quantity(high)), ifelse(
        high == Inf, paste("at least", format_quantity(low)),
        paste(format_quantity(low), "to", format_quantity(high))))))
}

answer_text <- function(x) ifelse(is.na(x), "\u2013", format_quantity(x))

UNDETERMINED <- "not determined by the readings"

# Targets without an answer: beyond the end of the curve, or before its beginning.
NOT_REACHED <- "target not reached"
PASSED_BEFORE <- "target passed already as rolled"

# Hardening goes beyond the level as rolled first, so that more may be passed later.
missed_note <- function(fit, hardness, strain = NULL) {
  if (is.null(hardness) || any(term_process(names(fit$par)) == "hardening")) return(NOT_REACHED)
  worked <- worked_hardness(fit, strain)
  ifelse((hardness - worked) * sign(worked - fit$par[["h_soft"]]) > 0, PASSED_BEFORE, NOT_REACHED)
}

UNTIED <- "no interval: the target is met without recrystallisation"

growth_notes <- function(fit, grid, what) {
  grown <- met_in_growth(fit, grid[[what]], what) & !grid$note %in% c(NOT_REACHED, PASSED_BEFORE)
  words <- "reached by grain growth: no profile"
  ifelse(grown, ifelse(nzchar(grid$note), paste0(grid$note, "; ", words), words), grid$note)
}
