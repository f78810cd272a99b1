# The methods of fits, for many fits: by group where a fit has a matrix, in the order of the rows where it
# has one number per reading, summed where groups are independent (likelihood, deviance).

#' Methods of many fits
#'
#' What one fit answers, [fit_each()] answers for all its groups.
#'
#' @param object,x,model,fitted Fits of many groups from [fit_each()].
#' @param ... Of `profile()`: as in [profile()][profile.softanneal_fit_softening] of one fit; else must be
#'   empty.
#' @param type `"response"` (data minus fit) or `"pearson"` (times the root of the weights).
#' @param parm,level,method As in [confint()][fit-methods] of one fit; `"profile"` and `"boot"` fit each group
#'   anew.
#' @param formula The fits, of `model.frame()`.
#' @param nsim,seed Number of draws, and seed, as in [simulate()][fit-methods] of one fit.
#' @return `residuals()`, `fitted()`, `predict()` without `newdata` and `weights()`: one value per row of the
#'   data, in their order; `NA` for rows that were left out and for groups without a fit. `vcov()` and
#'   `confint()`: a list of matrices, one per group. `logLik()`, with which [AIC()] and [BIC()] work,
#'   `deviance()` and `df.residual()`: sums over groups, `NA` with a warning where a group has no fit;
#'   `sigma()`: pooled over groups ([glance()] has each of these by group). [anova()][share]: the
#'   lack-of-fit test pooled over groups, or whether parameters are common to them. `update()` works as
#'   usual. `names()`: the groups. `hatvalues()`, `rstandard()`, `cooks.distance()` and `simulate()`, as of
#'   one fit ([fit-generics]): one value, or row, per row of the data. `model.frame()`: the readings that were
#'   used, with the keys of their group. `profile()`: a list, one table per group. These fit each group anew.
#'   `lapply()` and `purrr::map()` go through the full fits of the groups.
#' @section Errors:
#'   `softanneal_error_model` where no readings were kept, `softanneal_error_argument`.
#' @name fits-methods
#' @seealso [fit_each()], [fits-tables], [share]
#' @examples
#' bell <- as.data.frame(example_data("bellbrass_readings"))
#' fits <- fit_each(rbind(cbind(coil = "A", bell), cbind(coil = "B", bell)), by = coil)
#' head(residuals(fits))
#' confint(fits)[["A"]]
#' AIC(fits)
#' sapply(fits, sigma)
NULL

# The readings that were kept, which know their rows.
kept_in_rows <- function(x) {
  kept <- group_readings(x, seq_along(x$df_interval))
  if (is.null(x$readings$row)) {
    abort("model", "these fits of an earlier version do not know the order of their rows", arg = "object",
          remedy = "Fit the groups anew by fit_each().")
  }
  kept
}

# Readings with their keys, in the order of the rows of the data.
kept_data <- function(x) {
  kept <- kept_in_rows(x)
  of <- rep(seq_along(x$readings$size), x$readings$size)
  data <- c(lapply(x$keys, `[`, of), as.list(kept$columns)[setdiff(names(kept$columns), names(x$keys))])
  if (!is.null(x$columns$material)) data[[x$columns$material]] <- group_material(x, of)
  order <- order(x$readings$row)
  structure(lapply(data, `[`, order), class = "data.frame", row.names = .set_row_names(length(order)))
}

# Values and fitted values of these rows; what was told at the fit is not told again.
kept_augmented <- function(object) {
  suppressWarnings(augment.softanneal_fits(object, data = kept_data(object)),
                   classes = c("softanneal_warning_outside", "softanneal_warning_extrapolation"))
}

#' @rdname fits-methods
#' @export
residuals.softanneal_fits <- function(object, type = c("response", "pearson"), ...) {
  check_dots_empty(...)
  type <- check_choice(type, c("response", "pearson"), "type")
  r <- kept_augmented(object)$.resid
  w <- if (type == "pearson") weights.softanneal_fits(object)
  if (is.null(w)) r else r * sqrt(w)
}

#' @rdname fits-methods
#' @export
fitted.softanneal_fits <- function(object, ...) {
  check_dots_empty(...)
  a <- kept_augmented(object)
  replace(a$.fitted, is.na(a$.resid), NA_real_)
}

#' @rdname fits-methods
#' @export
weights.softanneal_fits <- function(object, ...) {
  w <- kept_in_rows(object)$weights
  if (!is.null(w)) w[order(object$readings$row)]
}

#' @rdname fits-methods
#' @export
vcov.softanneal_fits <- function(object, ...) {
  check_dots_empty(...)
  terms <- object$set$terms
  p <- length(terms)
  at <- matrix(0L, p, p)
  at[upper.tri(at, TRUE)] <- seq_len(p * (p + 1L) / 2L)
  at <- pmax(at, t(at))
  se <- fits_se(object)
  out <- lapply(seq_len(ncol(object$par)), function(g) {
    m <- matrix(object$cov[at, g], p, dimnames = list(terms, terms))
    m[is.na(se[, g]), ] <- NA_real_
    m[, is.na(se[, g])] <- NA_real_
    m
  })
  stats::setNames(out, group_labels(object))
}

#' @rdname fits-methods
#' @export
confint.softanneal_fits <- function(object, parm, level = 0.95, method = c("wald", "profile", "boot"), ...) {
  check_dots_empty(...)
  level <- check_level(level)
  method <- check_choice(method, c("wald", "profile", "boot"), "method")
  terms <- object$set$terms
  parm <- if (missing(parm)) terms else check_parm(parm, terms)
  if (method != "wald" || level != object$set$level) { # limits at other levels need the readings
    return(lapply(as.list(object), function(f) if (!is.null(f)) stats::confint(f, parm, level, method)))
  }
  t <- tidy.softanneal_fits(object, conf.int = TRUE, conf.level = level)
  tail <- (1 - level) / 2
  ends <- list(terms, paste(format(100 * c(tail, 1 - tail), trim = TRUE, digits = 3), "%"))
  rows <- split(seq_len(nrow(t)), rep(seq_len(ncol(object$par)), each = length(terms)))
  out <- lapply(rows, function(k) {
    matrix(c(t$conf.low[k], t$conf.high[k]), ncol = 2L, dimnames = ends)[parm, , drop = FALSE]
  })
  stats::setNames(out, group_labels(object))
}

# A sum over all groups, which is not one where a group has no fit.
over_groups <- function(object, value) {
  lost <- !fits_fitted(object)
  if (any(lost)) {
    warn("fit", paste0(sum(lost), " of ", length(lost), " groups have no fit, so there is no sum over ",
                       "all; take those with one, fits[fitted groups]."), n = sum(lost))
    return(value[1L] * NA)
  }
  sum(value)
}

#' @rdname fits-methods
#' @export
logLik.softanneal_fits <- function(object, ...) {
  check_dots_empty(...)
  w <- object$readings$weights
  structure(over_groups(object, fits_loglik(object)) + if (is.null(w)) 0 else sum(log(w[w > 0])) / 2,
            df = sum(group_count(object, "estimated") + 1L), nobs = nobs.softanneal_fits(object),
            class = "logLik")
}

#' @rdname fits-methods
#' @export
deviance.softanneal_fits <- function(object, ...) over_groups(object, fits_deviance(object))

#' @rdname fits-methods
#' @export
df.residual.softanneal_fits <- function(object, ...) over_groups(object, fits_df(object))

#' @rdname fits-methods
#' @export
sigma.softanneal_fits <- function(object, ...) {
  sqrt(deviance.softanneal_fits(object) / suppressWarnings(df.residual.softanneal_fits(object)))
}

#' @rdname fits-methods
#' @export
formula.softanneal_fits <- function(x, ...) SOFTENING_FORMULA

#' @rdname fits-methods
#' @export
family.softanneal_fits <- function(object, ...) stats::gaussian()

#' @rdname fits-methods
#' @export
names.softanneal_fits <- function(x) group_labels(x)

# For stats::update(), which evaluates the call anew.
#' @rdname fits-methods
#' @importFrom stats getCall
#' @export
getCall.softanneal_fits <- function(x, ...) {
  x <- unclass(x)
  if (is.null(x$call)) {
    abort("model", "these fits do not hold their call", arg = "object",
          remedy = "Fit the groups anew by fit_each().")
  }
  x$call
}

# A list for vctrs and what is built on it (purrr, dplyr): as many elements as groups, each taken by `[[`.
#' @rawNamespace S3method(vctrs::vec_proxy,softanneal_fits)
#' @noRd
vec_proxy.softanneal_fits <- function(x, ...) stats::setNames(as.list(seq_len(length(x))), names(x))

#' @rawNamespace S3method(vctrs::vec_restore,softanneal_fits)
#' @noRd
vec_restore.softanneal_fits <- function(x, to, ...) to[as.integer(unlist(x))]

# The sandwich of many fits is one for each: asked of all at once it is refused.
#' @rawNamespace S3method(sandwich::estfun,softanneal_fits)
#' @noRd
estfun.softanneal_fits <- function(x, ...) one_at_a_time("estfun")

#' @rawNamespace S3method(sandwich::bread,softanneal_fits)
#' @noRd
bread.softanneal_fits <- function(x, ...) one_at_a_time("bread")

one_at_a_time <- function(name) {
  abort("argument", paste0("`x` must be a single fit for ", name, "(), not fits of many groups"), arg = "x",
        remedy = "Use lapply(fits, sandwich::sandwich).")
}
