# Predictions with their uncertainty, by the delta method on the covariance chosen in the fit.
# Rows and order are those of newdata; NA in gives NA out.

#' Predictions of a fit
#'
#' Hardness (or rate, or response of a formula) at new conditions, with standard error, confidence interval
#' of the curve or prediction interval of one new reading.
#'
#' @param object A fit of [fit_softening()], [fit_arrhenius()] or a formula in
#'   [fit_least_squares()].
#' @param newdata Data frame of new conditions; without it, the conditions of the data. A
#'   softening fit needs the columns `temp_c` and `time_min`, and that of the strains where it was
#'   fitted with `strain`; an Arrhenius fit `temp_c`, a
#'   formula its variables. Further columns are ignored.
#' @param interval `"none"`, `"confidence"` for the curve, `"prediction"` for a single new
#'   reading in a new step, with all errors the standard errors of the fit take into account.
#' @param level Level of the interval.
#' @param se.fit Whether to return standard errors too.
#' @param history For a softening fit: temperature histories as in [soften()]. Alone, the
#'   prediction is for each of their rows; with `newdata`, for the readings of that table,
#'   which are joined to the history of their specimen, see [softening-history] (by the column
#'   of `log_time` of the fit where it has one).
#' @param specimen For a fit with `se = "components"`: a reading on a `"new"` specimen in a new furnace
#'   run, or on the `"same"` specimen, named in `newdata`, in a new step. The attribute `components` of
#'   a prediction holds the standard deviation that each component brings.
#' @param scale For a softening fit: scale of the values returned, such as `"HRB"`; converted
#'   from that of the fit by the table of its `material`, without the uncertainty of that conversion
#'   ([convert_hardness()]): in the scale of the readings it cancels.
#' @param ... Must be empty.
#' @return As from [stats::predict.lm()]: a vector, or a matrix with columns `fit`, `lwr`,
#'   `upr`; with `se.fit = TRUE` a list with `fit`, `se.fit`, `df` and `residual.scale`. As
#'   many values as rows in `newdata`, in its order. Hardness is in the scale of the fit.
#'   Where a parameter is not determined, intervals are profiles of the hardness itself at each place,
#'   along histories too (standard errors are then `NA`), and a value for which the
#'   readings give only an interval is `NA`, with one warning of class `softanneal_warning_outside`. With
#'   `se = "components"` a prediction interval along histories leaves out the furnace temperature. A fit
#'   with an exponent for each temperature gives `NA` at others.
#'   Conditions hotter, colder longer, or of other strains than those in the data give one
#'   warning of class `softanneal_warning_extrapolation`.
#' @section Errors:
#'   `softanneal_error_column` for a missing column, `softanneal_error_range` for negative
#'   times or temperatures below absolute zero.
#' @seealso [fit_softening()], [time_to()], [temp_for()], [softening-errors], [geom_softening()]
#' @examples
#' tungsten <- example_data("tungsten")
#' fit <- fit_softening(tungsten)
#' predict(fit, data.frame(temp_c = 1200, time_min = c(300, 600, 900)), interval = "confidence")
#' @name predict-fit
NULL

#' @rdname predict-fit
#' @export
predict.softanneal_fit_softening <- function(object, newdata = NULL,
                                             interval = c("none", "confidence", "prediction"),
                                             level = 0.95, se.fit = FALSE, history = NULL,
                                             specimen = c("new", "same"), scale = NULL, ...) {
  check_dots_empty(...)
  prediction_in_scale(object, predicted(object, newdata, interval, level, se.fit, history, specimen), scale)
}

predicted <- function(object, newdata, interval, level, se.fit, history, specimen) {
  interval <- check_choice(interval, c("none", "confidence", "prediction"), "interval")
  specimen <- check_choice(specimen, c("new", "same"), "specimen")
  if (specimen == "same") need_components(object, "specimen")
  if (!is.null(history)) {
    part <- predict_history(object, newdata, history, check_level(level))
    warn_open_values(object, part)
    return(finish_band(object, part, interval, level, se.fit))
  }
  if (is.null(newdata)) {
    at <- object$conditions
    if (by_components(object)) {
      pick <- at$of_reading + 1L
      out <- predict_components(object, at$temp_c[pick], at$time_min[pick], at$strain[pick], interval,
                                check_level(level), se.fit,
                                if (specimen == "same") object$readings$specimen)
      return(pad_prediction(out, object$na.action))
    }
    part <- if (is.null(at$place)) {
      softening_band(object, at$temp_c, at$time_min, at$strain, check_level(level))
    } else {
      history_band(object, object$readings$history, at$place, at$passed_min, check_level(level))
    }
    out <- finish_band(object, lapply(part, `[`, at$of_reading + 1L), interval, level, se.fit)
    return(pad_prediction(out, object$na.action))
  }
  check_data(newdata, "newdata", rows = FALSE)
  temp <- numeric_column(newdata, object$readings$columns$temp, "newdata", "degree_C",
                         -ZERO_CELSIUS, open = TRUE, na = TRUE,
                         remedy = "Temperatures are in degrees Celsius, above -273.15.")
  time <- numeric_column(newdata, object$readings$columns$time, "newdata", "min", 0, na = TRUE,
                         remedy = "Times are zero or more, in minutes.")
  strain <- strain_of_newdata(object, newdata)
  warn_extrapolation(object, temp, time, strain)
  if (by_components(object)) {
    return(predict_components(object, temp, time, strain, interval, check_level(level), se.fit,
                              if (specimen == "same") {
                                any_column(newdata, object$readings$columns$specimen, "newdata")
                              }))
  }
  part <- softening_band(object, temp, time, strain, check_level(level))
  warn_open_values(object, part)
  finish_band(object, part, interval, level, se.fit)
}

# A band of the curve as predict() returns it; a new reading adds its own scatter to both ends.
finish_band <- function(object, part, interval, level, se.fit) {
  if (is.null(part$lower)) {
    return(finish_prediction(object, part$fit, part$se, interval, level, se.fit))
  }
  shown <- part$fit
  shown[part$lost] <- NA_real_
  out <- finish_prediction(object, shown, part$se, interval, level, se.fit)
  if (interval == "none") return(out)
  ends <- band_ends(object, part, interval, level)
  if (is.list(out)) out$fit[, 2:3] <- ends else out[, 2:3] <- ends
  out
}

band_ends <- function(object, part, interval, level) {
  ends <- cbind(part$lower, part$upper)
  if (interval == "confidence") return(ends)
  own <- interval_t(object, level) * sqrt(reading_variance(object))
  away <- abs(ends - part$fit)
  # the curve may well lie at an end where its likelihood is flat: no cancelling there
  added <- sqrt(away^2 + own^2)
  added[part$lost, ] <- away[part$lost, ] + own
  pmax(part$fit + added * rep(c(-1, 1), each = nrow(ends)), 0)
}

warn_open_values <- function(object, part) {
  rows <- which(part$lost %or% FALSE)
  if (!length(rows)) return(invisible())
  settle <- settling(object)
  warn("outside", paste0(
    length(rows), " of ", length(part$fit), " predictions are NA: the readings leave the curve there ",
    "open, and only an interval can be given (", in_rows(rows), ").",
    if (nzchar(settle)) paste0("\n", settle)), n = length(rows), rows = rows)
}

# Hardness and standard error at temperatures and times, NA where not determined.
softening_values <- function(object, temp_c, time_min, strain = NULL) {
  n <- length(temp_c)
  temp_c <- ifelse(is.na(temp_c) & !is.na(time_min) & time_min == 0, object$temp_ref_c, temp_c)
  coordinate <- inverse_temperature(temp_c, object$temp_ref_c)
  place <- fit_places(object, temp_c, strain)
  if (is.matrix(place)) place[which(time_min == 0 & is.na(place[, 3L])), 3L] <- 0
  known <- known_places(place) & !is.na(time_min)
  if (length(object$settings$set$no_energy)) {
    known <- known & (same_temperature(temp_c, object$temp_ref_c) | time_min == 0)
  }
  fit <- se <- rep(NA_real_, n)
  gradient <- matrix(NA_real_, n, length(object$par))
  if (any(known)) {
    m <- .Call(C_sa_call_hardness, object$settings$set$kind, log(time_min[known]),
               place_rows(place, known), unname(object$par))
    fit[known] <- m[, 1L]
    gradient[known, ] <- m[, -1L, drop = FALSE]
    se[known] <- delta_se(object, gradient[known, , drop = FALSE])
  }
  list(fit = fit, se = doubtful_se(object, se), gradient = gradient)
}

# With an open parameter, an interval wider than the whole softening says nothing.
doubtful_se <- function(object, se) {
  span <- abs(object$par[["h_worked"]] - object$par[["h_soft"]])
  if (any(!object$states %in% c("determined", "fixed"))) {
    se[!is.na(se) & se > span / 2] <- NA_real_
  }
  se
}

# Standard errors sqrt(g' V g) of quantities with gradients g in the rows of `gradient`.
gradient_se <- function(gradient, cov) {
  storage.mode(cov) <- "double" # one that is NA throughout may be logical
  .Call(C_sa_call_gradient_se, gradient, cov)
}

# The same for a fit, NA where the readings do not determine the quantity.
delta_se <- function(object, gradient) {
  se <- gradient_se(gradient, object$cov_full)
  lost <- gradient_se(gradient, object$cov_null)
  se[lost > 1e-6] <- NA_real_
  se
}

warn_extrapolation <- function(object, temp, time, strain = NULL) {
  at <- object$conditions
  after <- at$time_min > 0
  hot <- range(at$temp_c[after])
  outside <- which(!is.na(temp) & !is.na(time) & time > 0 &
                     (is_outside(temp, hot) | is_outside(time, c(0, max(at$time_min))) |
                        strain_outside(object, strain)))
  if (length(outside)) {
    warn("extrapolation", paste0(
      length(outside), " of ", length(temp), " conditions are outside the range of the data (",
      format(hot[1L]), " to ", format(hot[2L]), " degrees Celsius, up to ",
      format(max(at$time_min)), " min",
      if (!is.null(strain)) {
        paste0(", strain ", paste(format(signif(range(read_strains(object)), 3)), collapse = " to "))
      },
      "; ", in_rows(outside), ")."), n = length(outside),
      rows = outside)
  }
}

strain_outside <- function(object, strain) {
  if (is.null(strain)) return(FALSE)
  read <- range(read_strains(object))
  !is.na(strain) & is_outside(strain, read)
}

finish_prediction <- function(object, fit, se, interval, level, se.fit) {
  out <- fit
  if (interval != "none") {
    t <- interval_t(object, check_level(level))
    half <- t * if (interval == "confidence") se else sqrt(se^2 + reading_variance(object))
    out <- cbind(fit = fit, lwr = fit - half, upr = fit + half)
  }
  if (!check_flag(se.fit, "se.fit")) return(out)
  list(fit = out, se.fit = se, df = object$df_interval, residual.scale = object$sigma)
}

# Variance of one new reading about the curve, in a new step.
reading_variance <- function(object) {
  if (!is.null(object$errors)) { # without the furnace, whose part changes along the curve
    sd <- object$errors$sd[, "estimate"]
    reading <- object$errors$steps$sd_reading
    return(sum(sd[-1L]^2) + if (is.finite(reading)) reading^2 else 0)
  }
  e <- error_components(object)
  e$reading^2 + e$step^2
}

pad_prediction <- function(out, gone) {
  if (is.list(out)) {
    out$fit <- stats::napredict(gone, out$fit)
    out$se.fit <- stats::napredict(gone, out$se.fit)
    return(out)
  }
  stats::napredict(gone, out)
}

#' @rdname predict-fit
#' @export
predict.softanneal_fit_least_squares <- function(object, newdata = NULL,
                                                 interval = c("none", "confidence", "prediction"),
                                                 level = 0.95, se.fit = FALSE, ...) {
  check_dots_empty(...)
  interval <- check_choice(interval, c("none", "confidence", "prediction"), "interval")
  if (is.null(object$formula)) {
    abort("model", "a fit of a residual function cannot predict", arg = "object",
          remedy = "Fit a formula instead.")
  }
  if (is.null(newdata)) {
    fit <- unname(object$fitted.values)
    g <- object$conditions$jacobian
    dim(g) <- c(length(fit), length(object$coefficients))
  } else {
    at <- formula_values(object, newdata, parent.frame())
    fit <- at$fit
    g <- at$jacobian
  }
  moving <- object$states == "determined"
  v <- object$vcov[moving, moving, drop = FALSE]
  g <- g[, moving, drop = FALSE]
  se <- if (any(object$states == "not determined")) rep(NA_real_, length(fit)) else {
    gradient_se(g, v)
  }
  out <- finish_prediction(object, fit, se, interval, level, se.fit)
  if (is.null(newdata)) pad_prediction(out, object$na.action) else out
}

# The model of a formula and its derivatives at new data.
formula_values <- function(object, newdata, caller) {
  check_data(newdata, "newdata", rows = FALSE)
  model <- object$formula[[3L]]
  needed <- intersect(all.vars(model), names(object$data))
  values <- lapply(stats::setNames(needed, needed), function(v) {
    numeric_column(newdata, v, "newdata", na = TRUE)
  })
  where <- list2env(known_functions(object$functions, caller), parent = environment(object$formula))
  values <- c(values, object$constants)
  n <- nrow(newdata)
  value <- function(par) rep_len(as.double(eval(model, c(as.list(par), values), where)), n)
  b <- object$coefficients
  jacobian <- formula_jacobian(model, names(b), values, where, n)
  g <- if (is.null(jacobian)) central_jacobian(value, b) else jacobian(b)
  dim(g) <- c(n, length(b))
  list(fit = value(b), jacobian = g)
}

central_jacobian <- function(value, par) {
  vapply(seq_along(par), function(j) {
    h <- .Machine$double.eps^(1 / 3) * max(abs(par[j]), 1e-4)
    up <- down <- par
    up[j] <- par[j] + h
    down[j] <- par[j] - h
    (value(up) - value(down)) / (2 * h)
  }, value(par))
}

# ln t and its gradient in the parameters (columns), NA where there is none.
time_rows <- function(fit, temp_c, target, what, par, strain) {
  place <- fit_places(fit, temp_c, strain)
  known <- known_places(place)
  # no hardness is reached by softening where the fit rises
  if (is.null(property_of(fit)) && what != "fraction" && par[[2L]] > par[[1L]]) known[] <- FALSE
  out <- matrix(NA_real_, length(temp_c), length(par) + 1L)
  out[known, ] <- .Call(C_sa_call_time_to, fit$settings$set$kind, place_rows(place, known),
                        rep_len(as.double(target), length(temp_c))[known], target_code(what),
                        unname(par))
  out
}

target_code <- function(what) match(what, c("hardness", "softening", "fraction")) - 1L
