# Answers from a fit: how long at which temperature. The inverse of the curve and its gradient
# are C (sa_model_time_to() in src/model.c); intervals are on ln t, where they are nearly
# symmetric.

#' Time to a hardness or softened fraction
#'
#' The time in the furnace after which a specimen has reached a hardness, a softened
#' fraction, or a recrystallised fraction, at constant temperature, with its interval.
#'
#' Where hardness rises before it falls (models with hardening), the time is that of the last
#' fall through the target.
#'
#' The interval is for the curve, not for a single reading. It counts the time at temperature: a
#' real specimen needs its heat-up time besides.
#'
#' * `"auto"` (default): the delta method where all parameters are determined and the likelihood
#'   agrees with it (both ends within a tenth of the half width), the profile elsewhere; the column
#'   `method` says which. For a Huber loss, or a rate fixed by the call, always the delta method.
#' * `"delta"`: on the logarithm of time, from the covariance chosen in the fit.
#' * `"profile"`: the likelihood interval. The curve is tied to pass the target at a given time
#'   and everything else is refitted, from the neighbouring value and from other shapes of curve;
#'   the ends are the times at which the sum of squares has
#'   risen by t squared times the variance. It needs no symmetry, and it is open (`conf.low` 0
#'   or `conf.high` `Inf`) where the readings give only a bound.
#' * `"bootstrap"`: percentiles over the refits of [resample_fit()]. A resample whose curve never
#'   reaches the target counts as infinitely long.
#'
#' With `se = "components"` the delta interval is that marginalised over the standard deviations of the
#' error model, and the profile is that of the joint likelihood of parameters and errors of furnace
#' temperatures, with standard deviations that give normal errors the same intervals. Where the activation
#' energy is open the furnace stands at what was stated or assumed of it, and moves curves by no more than
#' an energy of 60 RT would: energies are hardly above those of self-diffusion, some 18 R times the melting
#' point (Brown A M, Ashby M F (1980) Acta Metallurgica 28, 1085; value from memory), and nothing
#' recrystallises below 0.3 of it.
#'
#' Where the interval is open, or values that are as good as the best fill more than a quarter of it, or
#' the answer leans on a parameter that is not determined (the sum of squares does not rise towards an end
#' as towards the other: a quarter of its rise stands below 0.25 or above 0.8 of the way), there is no
#' best value: `time_min` is `NA`, `note` gives "at most 18 min" or the like, and the warning names
#' readings that would settle it. In the commonest class design (two halves of a strip at 350 and 450
#' degrees Celsius, first reading after 10 min, the hotter half finished by then)
#' these intervals cover 97 to 100 % of 200 simulated sets, errors of specimens and furnaces left out
#' (`inst/benchmarks/answers.R`). A hardness that recovery alone reaches, before recrystallisation begins,
#' does not depend on the rate that the profile works with: its interval is that of the delta method, and
#' with `method = "profile"` it is `NA` with a note.
#'
#' **Scale of the target.** A hardness in the scale in which all readings were taken goes through the same
#' conversion as they did, and its error cancels. Otherwise the standard uncertainty of the conversion
#' between the scale of the target and that of the readings ([convert_hardness()]; of several the largest)
#' is an error of the target. It moves the time by `u_conversion`; relative to the time it is added to both
#' sides of the interval of ln t as the root of the sum of squares, and it is not in `std.error`. Where the
#' table does not reach it is `NA`, the interval is without it, and the note says so.
#'
#' A time is an estimate, not a release for use: mind [cautions()] and try it on a
#' sample first.
#'
#' @param fit A fit of [fit_softening()], or fits of many groups of [fit_each()]; or a posterior of
#'   [fit_posterior()], whose answers are medians and quantiles of the draws (`method` is `"posterior"`).
#' @param hardness Hardness wanted, in the scale `scale`.
#' @param softening Softened fraction, the part of the way from `h_worked` to `h_soft`, between 0 and
#'   1; 0.5 (t50) is the default target.
#' @param fraction Recrystallised fraction, between 0 and 1. Give only one of the three.
#' @param temp_c Temperatures in degrees Celsius; by default those of the readings.
#' @param level Level of the interval.
#' @param ... Must be empty.
#' @param scale Scale of `hardness`, such as `"HRB"`; by default that of the fit. It is converted by the
#'   table of the fit's `material`.
#' @param strain For a fit with strain: strains of the cold work, by default those read.
#' @param method `"auto"`, `"delta"`, `"profile"` or `"bootstrap"`; see Details.
#' @param n_resamples,seed For the bootstrap: number of resamples and seed, as in [resample_fit()].
#' @return A data frame, for fits of many groups with their key columns first (and "by_" before the name
#'   of a key that is called like a column of the answer), one row for each target and temperature (and
#'   strain, in a column named like that of the readings): `temp_c`, the target (`hardness`, `softening`
#'   or `fraction`; for a hardness its `scale` too), `time_min`, `std.error` (in min: `time_min`
#'   times the standard error of its natural logarithm, by the delta method or over the resamples),
#'   for a hardness `u_conversion` (in min), `conf.low`,
#'   `conf.high` in min, `method` (that of the interval), and `note`. `time_min` is
#'   `NA` with one warning where the curve never reaches the target, or where the readings leave
#'   only an interval. The delta interval is `NA` where
#'   the readings do not determine the time: when it depends on a parameter that is not determined,
#'   or is known to worse than a factor of about 50 while a parameter is not determined; see `note`.
#'   The profile interval is then open on one side or on both; it is `NA` for a hardness that is
#'   reached by grain growth only. A group without a fit, or without an answer, has a row of `NA` with the
#'   reason in `note`, and one warning counts them.
#' @section Errors:
#'   `softanneal_error_argument` when more than one target is given or `fit` is not a softening
#'   fit, `softanneal_error_range` for fractions outside 0 and 1 and temperatures below absolute
#'   zero, `softanneal_error_model` for a profile of a fit with Huber loss, or with `ln_k_ref`
#'   fixed or bounded by the call.
#' @source Delta method on ln t with the implicit derivative, see Bates D M, Watts D G (1988) Nonlinear
#'   Regression Analysis and Its Applications \doi{10.1002/9780470316757}, section 2; likelihood interval
#'   of a function of the parameters, chapter 6 there. Percentiles: Davison A C, Hinkley D V (1997)
#'   Bootstrap Methods and their Application \doi{10.1017/CBO9780511802843}, section 5.3.
#' @seealso [temp_for()], [recryst_temperature()], [process_window()], [predict-fit]
#' @examples
#' tungsten <- example_data("tungsten")
#' fit <- fit_softening(tungsten)
#' time_to(fit)
#' time_to(fit, hardness = 400, temp_c = c(1150, 1250))
#' time_to(fit, temp_c = 1200, method = "profile")
#' @export
time_to <- function(fit, hardness = NULL, softening = NULL, fraction = NULL, temp_c = NULL, ...,
                    level = 0.95, method = c("auto", "delta", "profile", "bootstrap"),
                    n_resamples = 999, seed = NULL, strain = NULL, scale = NULL) {
  check_dots_empty(...)
  if (is_many(fit)) {
    level <- check_level(level)
    return(time_to_each(fit, hardness, softening, fraction, temp_c, level = level, strain = strain,
                        method = check_choice(method, INTERVAL_METHODS, "method"),
                        n_resamples = n_resamples, seed = seed, scale = scale))
  }
  if (is_posterior(fit)) {
    check_posterior_method(method, INTERVAL_METHODS)
    return(time_to_posterior(fit, hardness, softening, fraction, temp_c, level, strain, scale))
  }
  check_softening(fit)
  method <- check_interval_method(fit, method, n_resamples, seed, !missing(n_resamples) || !missing(seed))
  aim <- check_target(hardness, softening, fraction, fit, scale)
  what <- aim$what
  target <- aim$target
  at <- fit$conditions
  read_at <- sort(unique(signif(at$temp_c[at$time_min > 0], 12)))
  temp_c <- if (is.null(temp_c)) read_at else check_temperature(temp_c, "temp_c")
  level <- check_level(level)
  strain <- check_strain(fit, strain)
  grid <- answer_grid(fit, "temp_c", temp_c, what, target, strain)
  at_strain <- if (!is.null(strain)) grid[[strain_name(fit)]]
  ans <- solve_times(fit, grid$temp_c, grid[[what]], what, at_strain, level)
  limits <- ans$ln_time + ans$half * rep(c(-1, 1), each = nrow(grid))
  if (!is.null(aim$scale)) grid$scale <- rep_len(aim$scale, nrow(grid))
  grid$time_min <- exp(ans$ln_time)
  grid$std.error <- ans$se
  if (!is.null(aim$scale)) {
    grid$u_conversion <- rep(aim$u, each = length(temp_c), length.out = nrow(grid)) *
      abs(ln_time_per_hardness(fit, grid$temp_c, grid$hardness, at_strain))
  }
  by <- rep(method, nrow(grid))
  lost <- untied <- leaning <- further <- logical(nrow(grid))
  if (method %in% c("auto", "profile")) {
    part <- answer_limits(fit, fit_places(fit, grid$temp_c, at_strain), ans, grid[[what]], what, "time",
                          limits, ans$pooled, level, method)
    limits <- part$limits
    by <- part$by
    lost <- part$lost
    leaning <- part$leaning
    untied <- part$untied
    end <- unreached_ends(fit, is.na(ans$ln_time), grid[[what]], what, "time", level, grid$temp_c, NULL,
                          at_strain)
    further <- !is.na(end)
    limits[further, ] <- cbind(end[further], Inf)
    by[further] <- "profile"
    stays <- !is.na(ans$ln_time) & may_stay_above(fit, grid[[what]], what, level)
    limits[stays, 2L] <- Inf
    by[stays] <- "profile"
    lost <- lost | further | stays
  } else if (method == "bootstrap") {
    known <- which(!is.na(ans$ln_time))
    part <- bootstrap_answers(fit, function(par) {
      ln_time_at(fit, grid$temp_c[known], grid[[what]][known], what, par, at_strain[known])
    }, length(known), Inf, level, n_resamples, seed)
    limits[known, ] <- part$limits
    grid$std.error[known] <- part$sd
  }
  limits <- widened(limits, ans$ln_time, grid$u_conversion, level)
  grid$conf.low <- exp(limits[, 1L])
  grid$conf.high <- exp(limits[, 2L])
  grid$method <- by
  grid$note <- answer_notes(fit, grid, read_at, ans)
  grid$note[further] <- BY_BEST
  ends <- cbind(grid$conf.low, grid$conf.high)
  if (method != "delta") grid$note <- open_notes(grid$note, ends, "min", lost, leaning, fit)
  grid$note[untied & grid$note %in% c("", UNDETERMINED)] <- UNTIED
  if (method == "profile") grid$note <- growth_notes(fit, grid, what)
  grid$note <- misfit_notes(grid$note, fit, grid$time_min)
  if (!is.null(aim$scale)) grid$note <- conversion_notes(grid$note, grid$time_min, grid$u_conversion)
  # from ln t to minutes: in the unit of the time
  for (name in intersect(c("std.error", "u_conversion"), names(grid))) {
    grid[[name]] <- grid[[name]] * exp(ans$ln_time)
  }
  grid$time_min[lost] <- NA_real_
  if (has_open(fit)) grid$std.error[by == "profile"] <- NA_real_
  warn_no_answer(fit, grid, "time_min", "times", lost, scale)
  as_table(as_wanted(grid, aim))
}

# One warning for all answers that are NA, with what would settle those that the readings leave open.
warn_no_answer <- function(fit, grid, column, things, lost, scale = NULL) {
  never <- which(is.na(grid[[column]]))
  if (!length(never)) return(invisible())
  settle <- paste(c(if (any(lost)) settling(fit), if (is.null(scale)) scale_hint(fit, grid$hardness[never])),
                  collapse = "\n")
  warn("outside", paste0(length(never), " of ", nrow(grid), " ", things, " are NA; the column `note` ",
                         "gives the reason (", in_rows(never), ").",
                         if (nzchar(settle)) paste0("\n", settle)),
       n = length(never), rows = never)
}

# The targets as they were given.
as_wanted <- function(grid, aim) {
  if (!is.null(aim$scale)) grid$hardness <- aim$given[match(grid$hardness, aim$target)]
  grid
}

# One row for each value, target and strain, values fastest; strain only where there is one.
answer_grid <- function(fit, name, values, what, target, strain) {
  one <- data.frame(rep(values, length(target)), rep(target, each = length(values)))
  names(one) <- c(name, what)
  if (is.null(strain)) return(one)
  out <- one[rep(seq_len(nrow(one)), length(strain)), ]
  rownames(out) <- NULL
  out <- cbind(out[1L], rep(strain, each = nrow(one)), out[2L])
  names(out)[2L] <- strain_name(fit)
  out
}

# ln t, its standard error and the distances to both ends of its interval (`half`); NA where there is no
# answer. `pooled`: these distances in the variance that the likelihood is measured in.
solve_times <- function(fit, temp_c, target, what, strain = NULL, level = fit$level) {
  coordinate <- inverse_temperature(temp_c, fit$temp_ref_c)
  m <- time_rows(fit, temp_c, target, what, fit$par, strain)
  se <- delta_se(fit, m[, -1L, drop = FALSE])
  open <- any(!fit$states %in% c("determined", "fixed"))
  lost <- is.na(se) | (open & !is.na(se) & se > 2)
  se[lost] <- NA_real_
  ln_time <- m[, 1L]
  other <- length(fit$settings$set$no_energy) > 0L & !same_temperature(temp_c, fit$temp_ref_c)
  ln_time[other] <- se[other] <- NA_real_
  gradient <- m[, -1L, drop = FALSE]
  half <- matrix(interval_t(fit, level) * se, length(se), 2L)
  if (is.null(fit$errors)) {
    pooled <- gradient_se(gradient, fit$cov_unscaled * profile_variance(fit))
    pooled <- matrix(interval_t(fit, level) * pooled, length(se), 2L)
  } else {
    if (!open) {
      ends <- error_interval(fit, gradient, level)
      se <- ends$se
      half <- cbind(-ends$lower, ends$upper)
    }
    half[is.na(ln_time), ] <- NA_real_
    pooled <- half
  }
  list(ln_time = ln_time, log_time = ln_time, se = se, half = half, pooled = pooled,
       other = other,
       no_exponent = !known_places(fit_places(fit, temp_c, strain)))
}

answer_notes <- function(fit, grid, read_at, ans) {
  note <- rep("", nrow(grid))
  after <- fit$conditions$time_min[fit$conditions$time_min > 0]
  outside <- is_outside(grid$temp_c, range(read_at))
  note[!is.na(grid$time_min) & grid$time_min > max(after)] <- "longer than any reading"
  note[!is.na(grid$time_min) & grid$time_min < min(after)] <- "before the first reading"
  note[outside] <- "temperature outside the readings"
  if (!is.null(strain_name(fit))) {
    note[strain_outside(fit, grid[[strain_name(fit)]])] <- "strain outside the readings"
  }
  note[!is.na(grid$time_min) & is.na(ans$se)] <- UNDETERMINED
  lost <- is.na(grid$time_min)
  note[lost] <- missed_note(fit, grid$hardness[lost], strain = grid[[strain_name(fit) %or% ""]][lost])
  note[ans$no_exponent] <- "no exponent for this temperature"
  note[ans$other] <- "one temperature read: no rate at others"
  note
}
