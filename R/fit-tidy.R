# Tables of a fit in the conventions of broom: tidy(), glance(), augment(). The generics are
# those of the generics package, so nothing is masked when broom is attached as well.

#' Tables of a fit
#'
#' `tidy()` has one row per parameter, `glance()` one row per fit, `augment()` one row per row of
#' the data, with the columns that broom uses.
#'
#' @param x A fit.
#' @param conf.int,conf.level Whether to add `conf.low` and `conf.high`, and at which level.
#' @param effects Of a fit with `se = "components"`, as in broom.mixed: `"fixed"`, the parameters;
#'   `"ran_pars"`, the standard deviations of the errors; `"ran_vals"`, the offset of each specimen and
#'   the temperature error of each furnace run.
#' @param data,newdata The data of the fit with its other columns (as many rows as were given
#'   to the fit), or new conditions; not both.
#' @param interval,level For `augment()`: `"confidence"` or `"prediction"` adds `.lower` and
#'   `.upper`.
#' @param ... Ignored, as by broom; a slip of an argument that there is (`conf.lvl`), or one without a
#'   name, is refused, and one that would change the numbers (`exponentiate`) warned of.
#' @return Data frames, see [tables]. `tidy()`: `term`,
#'   `estimate`, `std.error`, `statistic`, `p.value`, then `conf.low`, `conf.high` when asked.
#'   `std.error` is `NA` for a parameter the data do not fix; its limits are then those of the
#'   profile and may be infinite. `statistic` and `p.value` test against zero.
#'   `glance()`: `sigma`, `isConv`, `finTol`, `logLik`, `AIC`, `BIC`, `deviance`,
#'   `df.residual`, `nobs` (`logLik`, `AIC` and `BIC` are `NA`, with a warning, where there are limits among
#'   the readings), then `stop_message` (how the solver ended, in words) and
#'   `n_undetermined` (number of parameters without standard error).
#'   `augment()`: the data with `.fitted`, `.resid`,
#'   `.se.fit` and, when asked, `.lower`, `.upper`; no `.resid` for `newdata`. Of a softening fit also
#'   `.hardness`, the readings in the scale of the fit (HV, whatever the dials), as `.fitted`
#'   and `.resid` are (not of a fit with `property`, whose column is in its unit already), and where there are
#'   limits `.limit` ("at least", "at most"), whose `.resid` is that of the value they count as.
#' @name fit-tables
#' @seealso [fit-methods], [tables], [fits-tables]
#' @examples
#' tungsten <- example_data("tungsten")
#' fit <- fit_softening(tungsten)
#' tidy(fit, conf.int = TRUE)
#' glance(fit)
#' head(augment(fit))
NULL

#' @rdname fit-tables
#' @export
tidy.softanneal_fit <- function(x, conf.int = FALSE, conf.level = 0.95, effects = "fixed", ...) {
  check_dots_broom(..., known = c("conf.int", "conf.level", "effects"))
  conf.int <- check_flag(conf.int, "conf.int")
  effects <- check_choice(effects, TIDY_EFFECTS, "effects")
  if (effects != "fixed") {
    need_components(x, "x")
    conf.level <- check_level(conf.level, "conf.level")
    table <- if (effects == "ran_pars") tidy_ran_pars else tidy_ran_vals
    return(as_table(table(x, conf.int, conf.level)))
  }
  m <- coefficient_table(x)
  out <- data.frame(term = rownames(m), estimate = unname(m[, 1L]), std.error = unname(m[, 2L]),
                    statistic = unname(m[, 3L]), p.value = unname(m[, 4L]))
  if (conf.int) {
    limits <- confint.softanneal_fit(x, level = check_level(conf.level, "conf.level"))
    out$conf.low <- unname(limits[, 1L])
    out$conf.high <- unname(limits[, 2L])
  }
  as_table(out)
}

coefficient_table <- function(object) {
  b <- object$coefficients
  se <- sqrt(diag(object$vcov))
  t <- b / se
  df <- object$df_interval
  p <- if (is.na(df) || df <= 0) rep(NA_real_, length(b)) else 2 * stats::pt(-abs(t), df)
  cbind(Estimate = b, "Std. Error" = se, "t value" = t, "Pr(>|t|)" = p)
}

#' @rdname fit-tables
#' @export
glance.softanneal_fit <- function(x, ...) {
  check_dots_broom(...)
  ll <- if (is.null(x$readings$limits)) stats::logLik(x) else {
    warn("missing", paste("logLik, AIC and BIC are NA: there is no likelihood to compare models by of a fit",
                          "with limits (at least, at most) among its readings."), n = 3L)
    structure(NA_real_, df = x$estimated + 1L, nobs = x$nobs, class = "logLik")
  }
  as_table(data.frame(
    sigma = x$sigma, isConv = x$convergence$converged, finTol = x$convergence$cosine,
    logLik = as.numeric(ll), AIC = stats::AIC(ll), BIC = stats::BIC(ll), deviance = x$deviance,
    df.residual = as.integer(x$df.residual), nobs = as.integer(x$nobs), stop_message = x$convergence$end,
    n_undetermined = sum(!x$states %in% c("determined", "fixed"))))
}

#' @rdname fit-tables
#' @export
augment.softanneal_fit <- function(x, data = NULL, newdata = NULL,
                                   interval = c("none", "confidence", "prediction"), level = 0.95,
                                   ...) {
  check_dots_broom(..., known = c("data", "newdata", "interval", "level"))
  interval <- check_choice(interval, c("none", "confidence", "prediction"), "interval")
  if (!is.null(data) && !is.null(newdata)) {
    abort("argument", "give `data` or `newdata`, not both", arg = "newdata",
          remedy = "Use `data` for the readings of the fit, `newdata` for other conditions.")
  }
  if (!is.null(newdata)) {
    return(add_predictions(newdata, stats::predict(x, newdata, interval = interval, level = level,
                                                   se.fit = TRUE)))
  }
  if (is.null(data)) data <- named_property(fit_data(x), x)
  check_data(data, rows = FALSE, limits = TRUE)
  resid <- stats::residuals(x)
  if (nrow(data) != length(resid)) {
    abort("argument", paste0("`data` has ", nrow(data), " rows where the fit has ", length(resid)),
          arg = "data", remedy = "Give the table that was fitted.")
  }
  prediction <- stats::predict(x, interval = interval, level = level, se.fit = TRUE)
  # a property is there in its unit already
  own <- inherits(x, "softanneal_fit_softening") && is.null(property_of(x))
  in_scale <- if (own) stats::fitted(x) + resid
  out <- add_predictions(data, prediction, resid, in_scale)
  # the best curve at its own readings, also where predict() has an interval alone
  gone <- is.na(out[[".fitted"]])
  out[[".fitted"]][gone] <- unname(stats::fitted(x))[gone]
  if (inherits(x, "softanneal_fit_softening")) with_limit_column(out, x) else out
}

# Values of a property stand under the name they had in the table, without a scale.
named_property <- function(data, x) {
  name <- x$readings$columns$hardness
  if (is.null(name) || is.null(property_of(x))) return(data)
  data$scale <- NULL
  at <- names(data) == "hardness"
  if (!name %in% names(data)[!at]) names(data)[at] <- name
  data
}

# `hardness`: the readings in the scale of the fit, which the data may have in others.
add_predictions <- function(data, prediction, resid = NULL, hardness = NULL) {
  m <- prediction$fit
  if (!is.null(hardness)) data[[".hardness"]] <- unname(hardness)
  data[[".fitted"]] <- if (is.matrix(m)) unname(m[, 1L]) else unname(m)
  if (!is.null(resid)) data[[".resid"]] <- unname(resid)
  data[[".se.fit"]] <- unname(prediction$se.fit)
  if (is.matrix(m)) {
    data[[".lower"]] <- unname(m[, 2L])
    data[[".upper"]] <- unname(m[, 3L])
  }
  if (inherits(data, c("tbl_df", "data.table"))) data else as_table(data)
}

# The variables of the fit, padded like its residuals.
fit_data <- function(x) {
  if (is.null(x$readings)) {
    if (is.null(x$data)) {
      abort("model", "a fit of a residual function keeps no data", arg = "x",
            remedy = "Fit a formula instead.")
    }
    return(pad_rows(x$data, x$na.action))
  }
  d <- x$readings
  temp_c <- d$temp_k - ZERO_CELSIUS
  named <- which(!is.na(d$label_c) & d$time_min == 0) # as rolled: as the table names it
  temp_c[named] <- d$label_c[named]
  out <- data.frame(temp_c = temp_c, time_min = d$time_min, hardness = d$hardness,
                    scale = d$scale)
  limited <- which(!is_reading(d)) # the limit, not what it counts as
  out$hardness[limited] <- d$limits$bound[limited]
  if (!is.null(d$strain)) out[[d$columns$strain]] <- d$strain
  if (!is.null(d$specimen)) out <- cbind(specimen = d$specimen, out)
  pad_rows(out, x$na.action)
}

# Rows of NA where na.exclude() left rows out.
pad_rows <- function(data, gone) {
  if (!inherits(gone, "exclude")) return(data)
  n <- nrow(data) + length(gone)
  place <- rep(NA_integer_, n)
  place[-as.integer(gone)] <- seq_len(nrow(data))
  out <- data[place, , drop = FALSE]
  rownames(out) <- NULL
  out
}
