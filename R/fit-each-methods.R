# Tables, predictions and printing of many fits. Everything is computed from the matrices of the
# object, one column per group; long tables only exist when asked for.

#' Tables and predictions of many fits
#'
#' Tables come from the estimates alone; predictions need conditions, and `augment()` the readings, with their
#' key columns. Up to 200,000 readings stay in the object, so that `fits[["A"]]` is the full fit of a group,
#' as [fit_softening()] gives it, and [time_to()] and relatives answer for all groups. A key that is called
#' like a column of a table gets "by_" before its name there.
#'
#' @param x,object Fits of many groups from [fit_each()].
#' @param conf.int,conf.level Whether to add `conf.low` and `conf.high`, and at which level. In groups
#'   with a parameter that is not determined they are the limits of the profile at the level of the fit,
#'   and `NA` at any other.
#' @param newdata Data frame with the key columns, `temp_c` and `time_min`; any rows, any order. Without it
#'   the rows that were fitted.
#' @param data For `augment()`: readings with the columns that were fitted, any rows, any order; without
#'   `newdata` the rows that were fitted.
#' @param interval,level,se.fit,scale As in [predict.softanneal_fit_softening()]; each group is converted
#'   by the table of its own metal.
#' @param name Name of one group.
#' @param i Groups to keep: numbers, or a logical vector with one value per group. With `[[`: the number of
#'   one group, or its name as `coef()` shows it (the keys joined by " / ").
#' @param row.names,optional Ignored.
#' @param ... Must be empty; for `tidy()`, `glance()` and `augment()` see [fit-tables].
#' @return `as.data.frame()`: one row per group: keys, `status` (see [fit_each()]), the estimates
#'   under their names, their standard errors as `se_n` and so on (`NA` where the readings do not determine
#'   the parameter), `undetermined` (those parameters, in words), `sigma` (residual standard deviation, in
#'   the unit of hardness), `df.residual`, `nobs`, `missing` (readings left out), `n_steps`,
#'   `temp_ref_c` (where `ln_k_ref` stands). `summary()`: counts by status, and quartiles of each
#'   parameter over the groups that are `ok` or `open`. `tidy()`: one row per group and
#'   parameter: keys, `term`, `estimate`, `std.error`,
#'   `statistic`, `p.value`, with `conf.int` also `conf.low`, `conf.high`, then `state` (as in
#'   [fit_softening()]) and `status`. `glance()`: one row per group: keys, `sigma`, `isConv`,
#'   `logLik`, `AIC`, `BIC`, `deviance`, `df.residual`, `nobs`, `stop_message`, `n_undetermined`, `status`,
#'   `missing`, `n_steps`, `lack_of_fit.p.value` (F test against the scatter within steps).
#'   `coef()`: a matrix, one row per group. `predict()`: as from [stats::predict.lm()], one value a
#'   row of `newdata`; `NA` where the group is unknown or has no fit (one warning), standard errors
#'   `NA` where a parameter of the group is not determined. `augment()`: the rows given, with `.hardness`
#'   (the reading on the scale of the fit), `.fitted`, `.resid` (both for `data`), `.se.fit`, and
#'   with `interval` `.lower`,
#'   `.upper`. `length()`: the number of groups. `as.list()`: the full fits, `NULL` for a
#'   group without one. `print()` shows up to ten groups
#'   one by one, more by the quartiles of their estimates.
#' @section Errors:
#'   `softanneal_error_argument` for groups that are not there, `softanneal_error_model` for a group without a
#'   fit, or where no readings were kept.
#' @name fits-tables
#' @seealso [fit_each()], [fits-methods], [fit-tables]
#' @examples
#' bell <- as.data.frame(example_data("bellbrass_readings"))
#' fits <- fit_each(rbind(cbind(coil = "A", bell), cbind(coil = "B", bell)), by = coil)
#' glance(fits)
#' coef(fits)
#' summary(fits[1])
#' fits[["B"]]
#' predict(fits, data.frame(coil = "B", temp_c = 330, time_min = c(5, 10)), interval = "confidence")
NULL

fits_se <- function(x) {
  p <- nrow(x$par)
  diagonal <- cumsum(seq_len(p))
  se <- suppressWarnings(sqrt(x$cov[diagonal, , drop = FALSE])) # rounding below zero is NaN
  se[x$state != 0L | is.nan(se)] <- NA_real_
  se
}

# Estimates, NA for the energies of groups at one temperature.
fits_par <- function(x) {
  par <- x$par
  energy <- which(grepl("^q_", x$set$terms) & !x$set$held)
  one <- group_count(x, "estimated") < nrow(par) - sum(x$set$held)
  par[energy, one] <- NA_real_
  par[is.nan(par)] <- NA_real_
  par
}

fits_fitted <- function(x) group_count(x, "status") < register()$fitted_statuses

fits_deviance <- function(x) {
  out <- group_sum(x, "misfit") + group_sum(x, "pure_error")
  out[is.nan(out)] <- NA_real_
  out
}

fits_df <- function(x) {
  ifelse(fits_fitted(x), group_count(x, "used") - group_count(x, "estimated"), NA_integer_)
}

# As logLik() of one fit, without the constant of case weights, which are not always kept.
fits_loglik <- function(x) {
  n <- group_count(x, "used")
  -n / 2 * (log(2 * pi) + 1 - log(n) + log(fits_deviance(x)))
}

fits_sigma <- function(x) {
  df <- fits_df(x)
  sqrt(fits_deviance(x) / ifelse(!is.na(df) & df > 0L, df, NA))
}

TIDY_COLUMNS <- c("term", "estimate", "std.error", "statistic", "p.value", "conf.low", "conf.high", "state",
                  "status")
GLANCE_COLUMNS <- c("sigma", "isConv", "logLik", "AIC", "BIC", "deviance", "df.residual", "nobs",
                    "stop_message", "n_undetermined", "status", "missing", "n_steps", "lack_of_fit.p.value")

#' @rdname fits-tables
#' @export
tidy.softanneal_fits <- function(x, conf.int = FALSE, conf.level = 0.95, ...) {
  check_dots_broom(..., known = c("conf.int", "conf.level"))
  conf.int <- check_flag(conf.int, "conf.int")
  conf.level <- check_level(conf.level, "conf.level")
  terms <- x$set$terms
  p <- length(terms)
  groups <- ncol(x$par)
  se <- as.vector(fits_se(x))
  estimate <- as.vector(fits_par(x))
  df <- rep(ifelse(x$df_interval > 0L, x$df_interval, NA), each = p)
  out <- lapply(key_columns(x$keys, TIDY_COLUMNS), rep, each = p)
  out$term <- rep(terms, groups)
  out$estimate <- estimate
  out$std.error <- se
  out$statistic <- estimate / se
  out$p.value <- 2 * stats::pt(-abs(out$statistic), df)
  if (conf.int) {
    half <- stats::qt(0.5 + conf.level / 2, df) * se
    limits <- fits_limits(x, conf.level)
    by_profile <- is.na(se) | has_profile(x)
    out$conf.low <- ifelse(by_profile, limits[1L, ], estimate - half)
    out$conf.high <- ifelse(by_profile, limits[2L, ], estimate + half)
  }
  fitted <- rep(fits_fitted(x), each = p)
  out$state <- ifelse(fitted, parameter_states(as.vector(x$state)), NA_character_)
  out$status <- rep(group_status(x), each = p)
  as_table(structure(out, class = "data.frame", row.names = .set_row_names(p * groups)))
}

#' @rdname fits-tables
#' @export
glance.softanneal_fits <- function(x, ...) {
  check_dots_broom(...)
  n <- group_count(x, "used")
  fitted <- fits_fitted(x)
  deviance <- fits_deviance(x)
  k <- group_count(x, "estimated") + 1
  log_lik <- fits_loglik(x)
  df_misfit <- group_count(x, "conditions") - group_count(x, "estimated")
  df_pure <- n - group_count(x, "conditions")
  tested <- fitted & df_misfit > 0L & df_pure > 0L & group_sum(x, "pure_error") > 0
  f <- ifelse(tested, (group_sum(x, "misfit") / df_misfit) /
                (group_sum(x, "pure_error") / df_pure), NA)
  lof <- rep(NA_real_, length(f))
  t <- which(tested)
  lof[t] <- stats::pf(f[t], df_misfit[t], df_pure[t], lower.tail = FALSE)
  end <- group_count(x, "end")
  out <- key_columns(x$keys, GLANCE_COLUMNS)
  out$sigma <- fits_sigma(x)
  out$isConv <- fitted & has_converged(end)
  out$logLik <- unname(log_lik)
  out$AIC <- unname(-2 * log_lik + 2 * k)
  out$BIC <- unname(-2 * log_lik + log(n) * k)
  out$deviance <- unname(deviance)
  out$df.residual <- fits_df(x)
  out$nobs <- unname(n)
  out$stop_message <- ifelse(end >= 0L, end_words(pmax(end, 0L)), NA_character_)
  out$n_undetermined <- ifelse(fitted, unname(colSums(x$state > 1L)), NA)
  out$status <- group_status(x)
  out$missing <- group_count(x, "missing")
  out$n_steps <- group_count(x, "treatments")
  out$lack_of_fit.p.value <- lof
  as_table(out)
}

#' @rdname fits-tables
#' @export
as.data.frame.softanneal_fits <- function(x, row.names = NULL, optional = FALSE, ...) {
  terms <- x$set$terms
  par <- fits_par(x)
  se <- fits_se(x)
  out <- as.list(key_columns(x$keys, c("status", terms, paste0("se_", terms), "undetermined", "sigma",
                                       "df.residual", "nobs", "missing", "n_steps", "temp_ref_c")))
  out$status <- group_status(x)
  for (j in seq_along(terms)) out[[terms[j]]] <- par[j, ]
  for (j in seq_along(terms)) out[[paste0("se_", terms[j])]] <- se[j, ]
  out$undetermined <- open_words(x)
  out$sigma <- fits_sigma(x)
  out$df.residual <- fits_df(x)
  out$nobs <- group_count(x, "used")
  out$missing <- group_count(x, "missing")
  out$n_steps <- group_count(x, "treatments")
  ref <- group_sum(x, "ref_k") - ZERO_CELSIUS
  out$temp_ref_c <- unname(ifelse(is.nan(ref), NA_real_, ref))
  structure(out, class = "data.frame", row.names = .set_row_names(ncol(par)))
}

# "q_kj_mol: only a lower limit; n: not determined", empty where all is determined.
open_words <- function(x) {
  out <- ifelse(fits_fitted(x), "", NA_character_)
  for (g in x$with_limits) {
    state <- x$state[, g]
    odd <- which(state > 1L)
    if (length(odd)) out[g] <- paste0(x$set$terms[odd], ": ", parameter_states(state[odd]), collapse = "; ")
  }
  out
}

#' @rdname fits-tables
#' @export
coef.softanneal_fits <- function(object, ...) {
  out <- t(fits_par(object))
  dimnames(out) <- list(group_labels(object), object$set$terms)
  out
}

#' @rdname fits-tables
#' @export
nobs.softanneal_fits <- function(object, ...) sum(group_count(object, "used")[fits_fitted(object)])

#' @rdname fits-tables
#' @export
predict.softanneal_fits <- function(object, newdata,
                                    interval = c("none", "confidence", "prediction"),
                                    level = 0.95, se.fit = FALSE, ..., scale = NULL) {
  check_dots_empty(...)
  scale <- check_scale(scale)
  interval <- check_choice(interval, c("none", "confidence", "prediction"), "interval")
  level <- check_level(level)
  se.fit <- check_flag(se.fit, "se.fit")
  read <- missing(newdata)
  if (read) newdata <- kept_data(object)
  check_data(newdata, "newdata", rows = FALSE)
  each_predictions(object, newdata, interval, level, se.fit, scale, TRUE)
}

# `judge`: groups with something open answer by their own fit, which knows what leans on it.
each_predictions <- function(object, newdata, interval, level, se.fit, scale = NULL, judge = FALSE) {
  temp <- numeric_column(newdata, object$columns$temp, "newdata", "degree_C", -ZERO_CELSIUS,
                         open = TRUE, na = TRUE)
  time <- numeric_column(newdata, object$columns$time, "newdata", "min", 0, na = TRUE)
  group <- match_groups(object, newdata)
  usable <- fits_fitted(object)[pmax(group, 1L)] & group > 0L
  if (!all(usable)) {
    warn("outside", paste0(sum(!usable), " of ", length(usable), " rows belong to groups that ",
                           "are unknown or have no fit; they are NA (", in_rows(which(!usable)),
                           ")."), n = sum(!usable), rows = which(!usable))
  }
  in_asked <- function(out) {
    converted_prediction(out, scale, object$set$scale, group_material(object, pmax(group, 1L)))
  }
  if (!any(usable)) {
    none <- rep(NA_real_, length(group))
    return(in_asked(finish_fits(object, none, none, pmax(group, 1L), interval, level, se.fit)))
  }
  group[!usable] <- 0L
  warn_outside_groups(object, group, temp, time)
  m <- .Call(C_sa_call_batch_hardness, object$set$kind, group, temp + ZERO_CELSIUS, time,
             as.double(group_sum(object, "ref_k")), as.double(object$par), as.double(object$cov))
  at <- pmax(group, 1L)
  # at one temperature nothing is known at another
  lost <- is.na(fits_par(object)["q_kj_mol" == object$set$terms, at]) & time > 0 &
    abs(temp + ZERO_CELSIUS - group_sum(object, "hot_k")[at]) > 1e-6
  m[which(lost), ] <- NA_real_
  open <- colSums(object$state > 1L)[at] > 0L
  se <- sqrt(pmax(m[, 2L], 0))
  se[open | is.nan(se)] <- NA_real_ # nothing known without degrees of freedom
  out <- finish_fits(object, m[, 1L], se, at, interval, level, se.fit)
  if (judge) out <- judge_open_groups(object, out, replace(group, !open, 0L), temp, time, interval, level)
  in_asked(out)
}

#' @rdname fits-tables
#' @export
augment.softanneal_fits <- function(x, data = NULL, newdata = NULL,
                                    interval = c("none", "confidence", "prediction"), level = 0.95,
                                    ...) {
  check_dots_broom(..., known = c("data", "newdata", "interval", "level"))
  if (!is.null(data) && !is.null(newdata)) {
    abort("argument", "give either `data` or `newdata`", arg = "data",
          remedy = "Use `data` for readings, `newdata` for conditions.")
  }
  if (is.null(data) && is.null(newdata)) data <- kept_data(x)
  if (!is.null(newdata)) {
    return(add_predictions(newdata, stats::predict(x, newdata, interval, level, se.fit = TRUE)))
  }
  d <- each_data(data, names(x$keys), x$columns, x$set)
  if (!identical(d$scale, x$set$scale)) {
    abort("scale", paste0("the readings are in ", in_quotes(unique(d$scale), " and "),
                          ", and the fits in '", x$set$scale, "'"), arg = "data",
          remedy = "Give the readings that were fitted.")
  }
  # a reading that cannot be has no prediction and no residual
  cannot <- !(is.na(d$time_min) | d$time_min >= 0 & d$time_min < Inf) |
    !(is.na(d$temp_c) | d$temp_c > -ZERO_CELSIUS & d$temp_c < Inf)
  at <- data[names(x$keys)]
  at[[x$columns$temp]] <- replace(d$temp_c, cannot, NA)
  at[[x$columns$time]] <- replace(d$time_min, cannot, NA)
  interval <- check_choice(interval, c("none", "confidence", "prediction"), "interval")
  level <- check_level(level)
  prediction <- each_predictions(x, at, interval, level, TRUE)
  if (interval != "none") { # the ends that predict() gives; the fitted value stays beside its residual
    ends <- suppressWarnings(each_predictions(x, at, interval, level, TRUE, judge = TRUE)$fit,
                             "softanneal_warning")
    prediction$fit[, 2:3] <- ends[, 2:3]
  }
  value <- replace(d$hardness, !is.finite(d$hardness), NA)
  fitted <- if (is.matrix(prediction$fit)) prediction$fit[, 1L] else prediction$fit
  add_predictions(data, prediction, value - fitted, if (is.null(property_of(x))) value)
}

finish_fits <- function(object, fit, se, at, interval, level, se.fit) {
  df <- object$df_interval[at]
  sigma <- fits_sigma(object)[at]
  out <- fit
  if (interval != "none") {
    width <- if (interval == "confidence") se else sqrt(se^2 + sigma^2)
    half <- stats::qt(0.5 + level / 2, ifelse(df > 0, df, NA)) * width
    out <- cbind(fit = fit, lwr = fit - half, upr = fit + half)
  }
  if (!se.fit) return(out)
  list(fit = out, se.fit = se, df = df, residual.scale = sigma)
}

# Group of each row of newdata, 0 where unknown.
match_groups <- function(object, newdata) {
  keys <- names(object$keys)
  given <- lapply(keys, function(key) as_key(any_column(newdata, key, "newdata")))
  known <- lapply(object$keys, as_key)
  if (length(keys) == 1L) return(match(given[[1L]], known[[1L]], nomatch = 0L))
  ids <- Map(function(g, k) cbind(c(match(k, k), match(g, k, nomatch = 0L))), given, known)
  joined <- do.call(paste, c(ids, sep = "\r"))
  n <- ncol(object$par)
  match(joined[-seq_len(n)], joined[seq_len(n)], nomatch = 0L)
}

as_key <- function(x) if (is.factor(x)) as.character(x) else x

warn_outside_groups <- function(object, group, temp, time) {
  at <- pmax(group, 1L)
  kelvin <- temp + ZERO_CELSIUS
  cold <- group_sum(object, "cold_k")[at]
  hot <- group_sum(object, "hot_k")[at]
  longest <- group_sum(object, "longest_min")[at]
  outside <- which(group > 0L & time > 0 & (is_below(kelvin, cold) | is_above(kelvin, hot) |
                                              is_above(time, longest)))
  if (length(outside)) {
    warn("extrapolation", paste0(length(outside), " of ", length(group), " conditions are outside ",
                                 "the temperatures or times of their group (", in_rows(outside),
                                 ")."), n = length(outside), rows = outside)
  }
}
