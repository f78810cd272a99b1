# Curves and predictions over the draws of a posterior.

is_posterior <- function(x) inherits(x, "softanneal_posterior")

# Some of the draws, evenly spaced.
some_draws <- function(x, most) {
  n <- nrow(x$draws)
  if (is.null(most) || n <= most) seq_len(n) else unique(round(seq(1, n, length.out = most)))
}

# Hardness at places (rows) for each of the draws `pick` (columns). `shift`: errors of temperature in K, one
# a
# draw. As rolled the temperature has no meaning.
posterior_curves <- function(x, temp_c, time_min, strain = NULL, pick = seq_len(nrow(x$draws)),
                             shift = NULL) {
  f <- x$fit
  start <- !is.na(time_min) & time_min == 0
  temp_c[start & is.na(temp_c)] <- f$temp_ref_c
  place <- fit_places(f, temp_c, strain)
  if (is.matrix(place)) place[which(start & is.na(place[, 3L])), 3L] <- 0
  known <- known_places(place) & !is.na(time_min)
  if ("q_kj_mol" %in% x$fixed && length(f$settings$set$no_energy)) {
    known <- known & (same_temperature(temp_c, f$temp_ref_c) | start)
  }
  out <- matrix(NA_real_, length(temp_c), length(pick))
  if (!any(known)) return(out)
  place <- place_rows(place, known)
  log_time <- log(as.double(time_min[known]))
  at <- temp_c[known]
  kind <- f$settings$set$kind
  par <- x$draws[pick, x$terms, drop = FALSE]
  for (k in seq_along(pick)) {
    if (!is.null(shift)) place[seq_along(at)] <- inverse_temperature(at + shift[k], f$temp_ref_c)
    out[known, k] <- .Call(C_sa_call_hardness, kind, log_time, place, unname(par[k, ]))[, 1L]
  }
  out
}

# A standard deviation of each draw, zero where the model has none.
draws_of_sd <- function(x, name, pick) if (name %in% x$sds) x$draws[pick, name] else numeric(length(pick))

# Error of one new reading on a new specimen, besides that of the furnace: one a draw.
new_reading <- function(x, pick) {
  n <- length(pick)
  own <- c("sd_specimen", "sd_step", "sd_operator", "sd_reading")
  sqrt(rowSums(vapply(own, function(s) draws_of_sd(x, s, pick)^2, numeric(n)))) * stats::rnorm(n)
}

#' @rdname posterior-methods
#' @export
predict.softanneal_posterior <- function(object, newdata = NULL,
                                         interval = c("none", "confidence", "prediction"),
                                         level = 0.95, scale = NULL, n_draws = NULL, ...) {
  check_dots_empty(...)
  interval <- check_choice(interval, c("none", "confidence", "prediction"), "interval")
  level <- check_level(level)
  n_draws <- check_number(n_draws, "n_draws", 20, whole = TRUE, null = TRUE)
  f <- object$fit
  if (!is.null(f$readings$history)) {
    abort("model", "a posterior predicts at constant temperature, and this fit has temperature histories",
          arg = "object", remedy = "Predict with `predict(x$fit, history = )`.")
  }
  if (is.null(newdata)) {
    at <- f$conditions
    own <- at$of_reading + 1L
    temp <- at$temp_c[own]
    time <- at$time_min[own]
    strain <- at$strain[own]
  } else {
    check_data(newdata, "newdata", rows = FALSE)
    temp <- numeric_column(newdata, f$readings$columns$temp, "newdata", "degree_C", -ZERO_CELSIUS,
                           open = TRUE,
                           na = TRUE, remedy = "Temperatures are in degrees Celsius, above -273.15.")
    time <- numeric_column(newdata, f$readings$columns$time, "newdata", "min", 0, na = TRUE,
                           remedy = "Times are zero or more, in minutes.")
    strain <- strain_of_newdata(f, newdata)
    warn_extrapolation(f, temp, time, strain)
  }
  pick <- some_draws(object, n_draws)
  new <- interval == "prediction"
  state <- begin_seed(object$seed)
  on.exit(end_seed(state), add = TRUE)
  shift <- if (new) draws_of_sd(object, "sd_furnace_c", pick) * stats::rnorm(length(pick))
  curves <- posterior_curves(object, temp, time, strain, pick)
  out <- row_quantiles(curves, 0.5)
  if (interval != "none") {
    if (new) {
      curves <- posterior_curves(object, temp, time, strain, pick, shift)
      error <- vapply(seq_along(temp), function(i) new_reading(object, pick), numeric(length(pick)))
      curves <- curves + t(matrix(error, length(pick)))
    }
    tail <- (1 - level) / 2
    out <- cbind(fit = out, lwr = row_quantiles(curves, tail), upr = row_quantiles(curves, 1 - tail))
  }
  if (is.null(newdata)) out <- stats::napredict(f$na.action, out)
  prediction_in_scale(f, out, scale)
}

# Median and interval of curves at places, for pictures.
posterior_band <- function(x, at, level, most = 400) {
  curves <- posterior_curves(x, at$temp_c, at$time_min, pick = some_draws(x, most))
  list(middle = row_quantiles(curves, 0.5), low = row_quantiles(curves, (1 - level) / 2),
       high = row_quantiles(curves, (1 + level) / 2))
}

row_quantiles <- function(m, p) {
  apply(m, 1L, function(v) if (anyNA(v)) NA_real_ else stats::quantile(v, p, names = FALSE))
}
