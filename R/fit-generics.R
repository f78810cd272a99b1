# What other packages ask of a fit: design, leverage, influence, and the two parts of a sandwich.

#' Leverage, influence and parts for other packages
#'
#' With these a fit goes into `sandwich::sandwich()` and `sandwich::vcovCL()`, `lmtest::coeftest()`,
#' `car::deltaMethod()` and whatever asks a fit for its data.
#'
#' @param model,x,formula A fit.
#' @param ... Must be empty.
#' @return `hatvalues()`: leverage of each reading; `rstandard()`: standardised residuals;
#'   `cooks.distance()`: change of all fitted values, in units of sigma^2 times the number of parameters, if
#'   the reading were left out (to first order); in the order of the data, padded with `NA` after
#'   [stats::na.exclude()]. `terms()` of the variables, `model.frame()`: the readings that were used,
#'   hardness in the scale of the fit. `sandwich::estfun()`: derivative of half the sum of squares, one row
#'   per reading, and `sandwich::bread()`, as of [stats::nls()]. Columns of parameters that are fixed or not
#'   determined are zero.
#' @references Cook R D, Weisberg S (1982) Residuals and Influence in Regression, sections 2.2 and 3.5.
#' @name fit-generics
#' @seealso [fit-methods], [fit-tables], [tables]
#' @examples
#' fit <- fit_softening(example_data("tungsten"))
#' max(cooks.distance(fit))
#' head(model.frame(fit))
NULL

#' @rdname fit-generics
#' @importFrom stats hatvalues
#' @export
hatvalues.softanneal_fit <- function(model, ...) {
  check_dots_empty(...)
  stats::naresid(model$na.action, leverage(model))
}

#' @rdname fit-generics
#' @importFrom stats rstandard
#' @export
rstandard.softanneal_fit <- function(model, ...) {
  check_dots_empty(...)
  residuals.softanneal_fit(model, "standardized")
}

#' @rdname fit-generics
#' @importFrom stats cooks.distance
#' @export
cooks.distance.softanneal_fit <- function(model, ...) {
  check_dots_empty(...)
  h <- leverage(model)
  w <- if (is.null(model$weights)) 1 else model$weights
  r <- model$residuals * sqrt(w)
  stats::naresid(model$na.action, r^2 * h / (model$estimated * model$sigma^2 * (1 - h)^2))
}

#' @rdname fit-generics
#' @importFrom stats terms
#' @export
terms.softanneal_fit <- function(x, ...) {
  # of a nonlinear law, the variables: what stands on the right is no formula of a linear model
  law <- stats::formula(x)
  columns <- c(names(fit_data(x)), all.vars(SOFTENING_FORMULA), "strain")
  used <- intersect(all.vars(law[[length(law)]]), columns)
  used <- setdiff(used, names(x$coefficients))
  right <- if (length(used)) Reduce(function(a, b) call("+", a, b), lapply(used, as.name)) else 1
  if (length(law) == 3L) law[[3L]] <- right else law[[2L]] <- right
  stats::terms(law)
}

#' @rdname fit-generics
#' @importFrom stats model.frame
#' @export
model.frame.softanneal_fit <- function(formula, ...) {
  check_dots_empty(...)
  x <- formula
  x["na.action"] <- list(NULL)
  out <- as.data.frame(fit_data(x))
  if (!is.null(x$readings$strain)) names(out)[names(out) == x$readings$columns$strain] <- "strain"
  asked <- intersect(all.vars(stats::formula(x)), names(out))
  out <- out[asked]
  attr(out, "terms") <- terms.softanneal_fit(x)
  out
}

free_jacobian <- function(x) {
  jac <- reading_jacobian(x)
  if (is.null(jac)) {
    abort("model", "this fit keeps no derivatives", arg = "x", remedy = "Fit a formula or readings.")
  }
  jac <- jac * rep(as.numeric(x$states == "determined"), each = nrow(jac))
  colnames(jac) <- names(x$coefficients)
  jac
}

#' @rawNamespace S3method(sandwich::estfun,softanneal_fit)
#' @noRd
estfun.softanneal_fit <- function(x, ...) {
  w <- if (is.null(x$weights)) 1 else x$weights
  free_jacobian(x) * (w * x$residuals)
}

#' @rawNamespace S3method(sandwich::bread,softanneal_fit)
#' @noRd
bread.softanneal_fit <- function(x, ...) {
  out <- unscaled_cov(x) * x$nobs
  dimnames(out) <- list(names(x$coefficients), names(x$coefficients))
  out
}
