# Uncertainty after the GUM (JCGM 100:2008): law of propagation (clause 5), effective degrees
# of freedom (Welch-Satterthwaite, annex G.4), expanded uncertainty (clause 6). First the
# general function, then what it is needed for here: a mean of readings, or a difference.

#' Propagate uncertainties through a formula
#'
#' The law of propagation of uncertainty of the GUM (JCGM 100:2008, clause 5): combined standard
#' uncertainty of a result computed from uncertain inputs, first order, with correlations where
#' given; effective degrees of freedom after Welch and Satterthwaite (annex G.4.1), and the
#' expanded uncertainty.
#'
#' Sensitivities are exact derivatives if `model` is a formula that [stats::D()] can
#' differentiate, otherwise central differences of fourth order with steps of a tenth of a
#' standard uncertainty. First order means: if the model is strongly curved within one
#' standard uncertainty, the result is too small; compare with a simulation then.
#'
#' @param model The measurement model: a one-sided formula (`~ a * b`) or a function whose
#'   arguments are the inputs.
#' @param estimate Named numbers: best estimates of the inputs.
#' @param std_uncertainty Their standard uncertainties: named, or in the order of `estimate`.
#' @param df Their degrees of freedom (`Inf`: known well), one or one each, named or in order.
#' @param correlation Correlation matrix of the inputs, or `NULL` for none. Effective degrees
#'   of freedom are not defined for correlated inputs: `Inf` is used where the inputs' are all
#'   infinite, `NA` otherwise, and then the coverage factor is the normal one, with a
#'   `softanneal_warning_fit`.
#' @param level Level of the expanded uncertainty.
#' @param whole_df `TRUE` cuts the effective degrees of freedom down to a whole number for the
#'   coverage factor (GUM G.4.1, note).
#' @return An object of class `softanneal_budget`, a list with `estimate`, `std_uncertainty`,
#'   `df`, `coverage` (factor k), `expanded`, `level`, and `table`: one row per input with `input`,
#'   `estimate`, `std_uncertainty`, `df`, `sensitivity`, `contribution` (sensitivity times
#'   standard uncertainty, in the unit of the result) and `share` (of the combined variance; `NA`
#'   with correlations). `tidy()` gives the table, `as.data.frame()` too.
#' @section Errors:
#'   `softanneal_error_argument` for estimates without names, a model that uses unknown names or
#'   gives no single finite number, or lengths that do not fit; `softanneal_error_range` for a
#'   matrix that is not a correlation matrix and for negative uncertainties.
#' @seealso [uncertainty_budget()]
#' @examples
#' # a length of 50 mm measured as the sum of two blocks
#' propagate_uncertainty(~ a + b, c(a = 30, b = 20), c(0.002, 0.001), df = c(10, Inf))
#' # end gauge, GUM H.1 (nm)
#' propagate_uncertainty(~ ls + d - ls * (da * th + as * dth),
#'   c(ls = 50000623, d = 215, da = 0, th = -0.1, as = 11.5e-6, dth = 0),
#'   c(25, 9.7, 0.58e-6, 0.41, 1.2e-6, 0.029), df = c(18, 25.6, 50, Inf, Inf, 2), level = 0.99)
#' @export
propagate_uncertainty <- function(model, estimate, std_uncertainty, df = Inf, correlation = NULL,
                                  level = 0.95, whole_df = TRUE) {
  estimate <- check_inputs(estimate)
  inputs <- names(estimate)
  u <- match_inputs(std_uncertainty, inputs, "std_uncertainty", lower = 0)
  df <- match_inputs(df, inputs, "df", lower = 0, infinite = TRUE)
  check_level(level)
  check_flag(whole_df, "whole_df")
  model <- check_model(model, inputs)
  value <- model_value(model, estimate)
  sensitivity <- model_gradient(model, estimate, u)
  r <- check_correlation(correlation, inputs)
  combine_uncertainty(value, inputs, estimate, u, df, sensitivity, r, level, whole_df)
}

check_inputs <- function(estimate) {
  inputs <- names(estimate)
  estimate <- check_numeric(estimate, "estimate")
  if (!length(estimate) || is.null(inputs) || any(is.na(inputs) | inputs == "") || anyDuplicated(inputs)) {
    abort("argument", "`estimate` must be named numbers, each name once", arg = "estimate",
          remedy = "Write e.g. `c(length = 50, width = 20)`.")
  }
  stats::setNames(estimate, inputs)
}

match_inputs <- function(x, inputs, arg, lower, infinite = FALSE) {
  given <- names(x)
  if (inherits(x, "units")) x <- bench_units(x, arg)
  plain <- x
  if (infinite && is.numeric(x)) plain[is.infinite(x) & x > 0] <- .Machine$double.xmax
  plain <- check_numeric(plain, arg, lower)
  if (infinite) plain[plain == .Machine$double.xmax] <- Inf
  if (length(plain) == 1L && is.null(given)) plain <- rep(plain, length(inputs))
  if (length(plain) != length(inputs) || (!is.null(given) && !setequal(given, inputs))) {
    abort("argument", paste0("`", arg, "` must have one value for each of ",
                             in_quotes(inputs, " and ")), arg = arg,
          remedy = "Give them in the order or with the names of `estimate`.")
  }
  stats::setNames(plain, given %or% inputs)[inputs]
}

check_model <- function(model, inputs) {
  if (is.function(model)) {
    wanted <- names(formals(args(model)))
  } else if (inherits(model, "formula") && length(model) == 2L) {
    wanted <- all.vars(model)
  } else {
    abort("argument", "`model` must be a one-sided formula or a function", arg = "model",
          remedy = "Write e.g. `~ a * b`.")
  }
  unknown <- setdiff(inputs, wanted)
  if (length(unknown) && !"..." %in% wanted) {
    abort("argument", paste0("`model` does not use ", in_quotes(unknown, " and ")), arg = "model",
          remedy = "Check the names of `estimate`.")
  }
  model
}

model_value <- function(model, estimate) {
  value <- if (is.function(model)) do.call(model, as.list(estimate)) else
    eval(model[[2L]], as.list(estimate), environment(model))
  if (!is.numeric(value) || length(value) != 1L || !is.finite(value)) {
    abort("argument", paste0("`model` must give one finite number, not ", describe(value)),
          arg = "model",
          remedy = "Check it at the estimates.")
  }
  as.double(value)
}

model_gradient <- function(model, estimate, u) {
  if (!is.function(model)) {
    exact <- tryCatch(vapply(names(estimate), function(name) {
      as.double(eval(stats::D(model[[2L]], name), as.list(estimate), environment(model)))
    }, 0), error = function(e) NULL)
    if (!is.null(exact) && all(is.finite(exact))) return(exact)
  }
  vapply(names(estimate), function(name) {
    step <- if (u[[name]] > 0) u[[name]] / 10 else 1e-4 * max(abs(estimate[[name]]), 1e-8)
    at <- function(k) model_value(model, replace(estimate, name, estimate[[name]] + k * step))
    (at(-2) - 8 * at(-1) + 8 * at(1) - at(2)) / (12 * step)
  }, 0)
}

check_correlation <- function(correlation, inputs) {
  if (is.null(correlation)) return(NULL)
  k <- length(inputs)
  if (!is.matrix(correlation) || !is.numeric(correlation) ||
      !identical(dim(correlation), c(k, k))) {
    abort("argument", paste0("`correlation` must be a numeric matrix of ", k, " by ", k),
          arg = "correlation",
          remedy = "Use `diag()` and fill in the pairs.")
  }
  if (!is.null(colnames(correlation))) {
    if (!setequal(colnames(correlation), inputs) ||
        !identical(rownames(correlation), colnames(correlation))) {
      abort("argument", "`correlation` has other names than `estimate`", arg = "correlation",
            remedy = "Name both alike.")
    }
    correlation <- correlation[inputs, inputs]
  }
  values <- if (all(is.finite(correlation))) eigen(correlation, only.values = TRUE)$values else NA
  if (anyNA(values) || !isSymmetric(unname(correlation)) ||
      any(abs(diag(correlation) - 1) > 1e-12) || is.complex(values) || min(values) < -1e-8) {
    abort("range", "`correlation` is not a correlation matrix", arg = "correlation",
          remedy = "It must be symmetric with 1 on the diagonal and no impossible combination.")
  }
  correlation
}

combine_uncertainty <- function(value, inputs, estimate, u, df, sensitivity, r, level, whole_df,
                                ...) {
  part <- sensitivity * u
  variance <- if (is.null(r)) sum(part^2) else max(sum(part * (r %*% part)), 0)
  if (!is.finite(sum(part^4))) {
    abort("range", "the uncertainties are too large to be combined",
          arg = inputs[which.max(abs(part))],
          remedy = "Check the values and their units.")
  }
  combined <- sqrt(variance)
  if (!is.null(r)) {
    total_df <- if (all(is.infinite(df[part != 0]))) Inf else NA_real_
    if (is.na(total_df)) {
      warn("fit", paste("effective degrees of freedom are not defined for correlated inputs;",
                        "the normal coverage factor is used."), n = 1L)
    }
  } else {
    lost <- sum(part[part != 0]^4 / df[part != 0])
    total_df <- if (lost > 0) combined^4 / lost else Inf
  }
  use <- if (is.na(total_df)) Inf else if (whole_df) max(floor(total_df + 1e-9), 1) else total_df
  coverage <- stats::qt((1 + level) / 2, use)
  table <- data.frame(input = inputs, estimate = unname(estimate), std_uncertainty = unname(u),
                      df = unname(df),
                      sensitivity = unname(sensitivity), contribution = unname(part),
                      share = NA_real_)
  if (is.null(r) && variance > 0) table$share <- unname(part^2 / variance)
  structure(list(estimate = value, std_uncertainty = combined, df = total_df, coverage = coverage,
                 expanded = coverage * combined, level = level, table = table, ...),
                 class = "softanneal_budget")
}

#' @rdname propagate_uncertainty
#' @param x An object of class `softanneal_budget`.
#' @param ... Ignored.
#' @export
print.softanneal_budget <- function(x, ...) {
  unit <- if (is.null(x$unit)) "" else paste0(" ", x$unit)
  cat("Uncertainty budget (GUM)", if (!is.null(x$title)) paste0(": ", x$title), "\n", sep = "")
  shown <- x$table[intersect(c("input", "std_uncertainty", "df", "sensitivity", "contribution",
                               "share"), names(x$table))]
  shown$share <- ifelse(is.na(shown$share), "", paste(round(100 * shown$share), "%"))
  print(shown, row.names = FALSE, digits = 3)
  if (!is.null(x$table$how)) {
    cat(paste0("  ", x$table$input, ": ", x$table$how, "\n"), sep = "")
  }
  cat("result ", format_with(x$estimate, x$expanded), " ", plus_minus(), " ",
      format_with(x$expanded, x$expanded),
      unit, " (", format(100 * x$level),
      " %, k = ", format(round(x$coverage, 2)), "); standard uncertainty ",
      format(signif(x$std_uncertainty, 2)), unit,
      ", effective degrees of freedom ", if (is.na(x$df)) "not defined" else format(round(x$df, 1)),
      "\n", sep = "")
  invisible(x)
}

# A number to the second significant digit of its uncertainty (GUM 7.2.6).
format_with <- function(value, uncertainty) {
  if (!is.finite(uncertainty) || uncertainty <= 0) return(format(value))
  places <- 1 - floor(log10(uncertainty))
  format(round(value, places), nsmall = max(0, min(places, 12)))
}

#' @rdname propagate_uncertainty
#' @export
tidy.softanneal_budget <- function(x, ...) as_table(x$table)

#' @rdname propagate_uncertainty
#' @export
as.data.frame.softanneal_budget <- function(x, ...) x$table
