# Least squares for any R residual function or model formula, by the same compiled solver
# that fits the softening models. Derivatives of a formula are taken symbolically where R
# can, otherwise by central differences.

#' Nonlinear least squares for a formula or a residual function
#'
#' The solver of this package for any model: Levenberg-Marquardt in a trust region with
#' bounds, weights, optional Huber loss, and named ends. It is the same compiled core that
#' fits the softening models, and it is tested on certified problems.
#'
#' The fit keeps numbers, not where they came from: variables of the formula that are not in `data`
#' are stored with the fit as they were. A function of your own in the formula is known to
#' `predict(newdata = )` by its name: it must be there, unchanged, where you predict.
#'
#' @param fn A model formula `response ~ expression`, with parameters named as in `start` and
#'   variables found in `data` or where the formula was written; or a function of the named
#'   parameter vector (and of `data`, when given) that returns the residuals.
#' @param start Named numeric vector (or list) of starting values.
#' @param lower,upper Bounds of the parameters: one number, one for each, or a named vector
#'   for some of them.
#' @param jac For a function `fn`: a function of the same arguments that returns the matrix of
#'   derivatives of the residuals, one column per parameter. Without it central differences are
#'   used.
#' @param weights Case weights, zero or more, one for each residual: the sum of weights times
#'   squared residuals is made small.
#' @param data A data frame with the variables of the formula, or the second argument of `fn`.
#' @param loss `"squares"`, or `"huber"` for a loss less sensitive to outliers, with the standard errors of
#'   M-estimation (Huber P J, 1981, Robust Statistics, section 7.6).
#' @param na.action What to do with rows in which a variable of the formula is missing:
#'   [stats::na.exclude()] (the default: left out with a warning, fitted values padded),
#'   [stats::na.omit()] or [stats::na.fail()].
#' @param control Settings from [fit_control()].
#' @param ... Must be empty.
#' @return An object of class `softanneal_fit_least_squares`, over `softanneal_fit`, with the
#'   usual methods: `coef()`, `vcov()`, `confint()`, `summary()`, `predict()` (formula only),
#'   `residuals()`, `logLik()`, `tidy()`, `glance()`, `augment()` and so on. A parameter that
#'   lies on a bound, or that the data do not determine, has no standard error. If the solver
#'   does not converge the fit is returned with a warning of class `softanneal_warning_fit`.
#' @section Errors:
#'   `softanneal_error_argument` for malformed arguments, `softanneal_error_missing` when the
#'   model is not finite at the start, `softanneal_error_too_few` when there are fewer
#'   residuals than parameters, `softanneal_error_column` for a variable that is not there.
#' @source More J J (1978) The Levenberg-Marquardt algorithm: implementation and theory
#'   \doi{10.1007/BFb0067700}, Lecture Notes in Mathematics 630, 105.
#' @seealso [fit_softening()] for hardness readings; [fit_arrhenius()] for rates.
#' @examples
#' # Fraction recrystallised at two times gives rate and exponent (two points, two numbers)
#' d <- data.frame(time_s = c(12.6, 28.2), fraction = c(0.2, 0.8))
#' fit <- suppressWarnings(
#'   fit_least_squares(fraction ~ 1 - exp(-(k * time_s)^n), c(k = 0.05, n = 2), data = d))
#' coef(fit)
#' @export
fit_least_squares <- function(fn, start, ..., lower = -Inf, upper = Inf, jac = NULL,
                              weights = NULL, data = NULL, loss = c("squares", "huber"),
                              na.action = stats::na.exclude, control = fit_control()) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_least_squares")
  weights <- weights_in(rlang::enquo(weights), data)
  loss <- check_choice(loss, c("squares", "huber"), "loss")
  start <- check_start(start)
  lower <- check_bounds(lower, names(start), "lower", -Inf)
  upper <- check_bounds(upper, names(start), "upper", Inf)
  outside <- which(start < lower | start > upper)
  if (length(outside)) {
    abort("range", paste0("`start` lies outside the bounds for ",
                          in_quotes(names(start)[outside], " and ")), arg = "start",
          remedy = "Start inside `lower` and `upper`.")
  }
  problem <- if (inherits(fn, "formula")) {
    if (!is.null(jac)) {
      abort("argument", "`jac` goes with a residual function, not with a formula", arg = "jac",
            remedy = "Leave it out; a formula is differentiated for you.")
    }
    formula_problem(fn, start, data, weights, na.action)
  } else {
    function_problem(fn, jac, start, data, weights)
  }
  n <- problem$n
  p <- length(start)
  if (n < p) {
    abort("too_few", paste0("there are ", n, " residuals for ", p, " parameters"), arg = "start",
          remedy = "Give more data, or a model with fewer parameters.")
  }
  settings <- control_vector(control, loss)
  r <- .Call(C_sa_call_least_squares,
             list(residuals = problem$residuals, jacobian = problem$jacobian, start = start,
                  lower = lower, upper = upper,
                  root_weight = if (!is.null(problem$weights)) sqrt(problem$weights),
                  size = as.double(n)), settings)
  r$huber <- settings[["huber"]]
  least_squares_fit(r, problem, call, loss)
}

# The object from the solver's list.
least_squares_fit <- function(r, problem, call, loss) {
  terms <- names(r$par)
  p <- length(terms)
  w <- problem$weights
  used <- if (is.null(w)) problem$n else sum(w > 0)
  df <- used - p
  sigma <- if (df > 0L) sqrt(r$objective / df) else NA_real_
  variance <- sigma^2
  if (loss == "huber" && df > 0L) {
    sigma <- r$scale
    variance <- robust_variance(r$resid[if (is.null(w)) TRUE else w > 0], p, r$scale, r$huber)
  }
  states <- rep("determined", p)
  states[r$loading > 1e-8] <- "not determined"
  states[r$at_bound < 0L] <- "at lower bound"
  states[r$at_bound > 0L] <- "at upper bound"
  vcov <- variance * r$cov
  vcov[states != "determined", ] <- NA_real_
  vcov[, states != "determined"] <- NA_real_
  dimnames(vcov) <- list(terms, terms)
  residuals <- problem$report(r$par)
  fit <- new_fit(
    "softanneal_fit_least_squares", coefficients = r$par, vcov = vcov, sigma = sigma,
    deviance = r$objective, df.residual = df, df_interval = df, nobs = used,
    fitted.values = if (is.null(problem$response)) NULL else problem$response - residuals,
    residuals = residuals, weights = w, states = stats::setNames(states, terms), limits = NULL,
    convergence = convergence_list(r$end, r$iterations, r$evaluations, r$cosine, r$rank),
    call = call, formula = problem$formula, na.action = problem$na.action, loss = loss,
    data = problem$data, constants = problem$constants, functions = problem$functions,
    estimated = p, se = "model", cov_unscaled = r$cov,
    conditions = list(jacobian = plain_jacobian(r$jac, w, problem, r$par),
                      of_reading = seq_len(problem$n) - 1L))
  warn_fit(fit)
}

# Variance of M-estimation, for the inverse of the normal matrix: mean square of the bent residuals over
# the squared share of those not bent, with the correction for small samples of Huber (1981), section
# 7.6. Twin: sa_softening_pseudo() in src/inference.c.
robust_variance <- function(resid, p, scale, huber) {
  limit <- if (scale > 0) huber * scale else Inf
  m <- mean(abs(resid) <= limit)
  k <- 1 + p / length(resid) * (1 - m) / m
  sum((k * pmin(pmax(resid, -limit), limit) / m)^2) / (length(resid) - p)
}

# The solver's Jacobian without its weights; rows of weight zero, which it does not hold, anew.
plain_jacobian <- function(jac, w, problem, par) {
  if (is.null(w)) return(jac)
  out <- jac / ifelse(w > 0, sqrt(w), 1)
  if (any(w == 0)) {
    full <- if (is.null(problem$jacobian)) central_jacobian(problem$residuals, par) else {
      matrix(problem$jacobian(par), length(w))
    }
    out[w == 0, ] <- full[w == 0, ]
  }
  out
}

check_start <- function(start) {
  if (typeof(start) == "list" && !is.object(start) && all(lengths(start) == 1L)) start <- unlist(start)
  name <- names(start)
  x <- check_numeric(start, "start")
  if (length(x) == 0L || is.null(name) || any(is.na(name) | name == "") || anyDuplicated(name)) {
    abort("argument", "`start` must be a named vector, each name once", arg = "start",
          remedy = "For example `start = c(a = 1, b = 0.5)`.")
  }
  names(x) <- name
  x
}

# Bounds in the order of the parameters; a named vector may give some of them.
check_bounds <- function(x, terms, arg, default) {
  if (!is.numeric(x) || anyNA(x)) {
    abort("argument", paste0("`", arg, "` must be numeric without missing values, not ",
                             describe(x)), arg = arg)
  }
  if (!is.null(names(x))) {
    unknown <- setdiff(names(x), terms)
    if (length(unknown)) {
      abort("argument", paste0("`", arg, "` names unknown parameters ", in_quotes(unknown, " and ")),
            arg = arg, remedy = paste0("The parameters are ", in_quotes(terms, " and "), "."))
    }
    out <- stats::setNames(rep(default, length(terms)), terms)
    out[names(x)] <- x
    return(as.double(out))
  }
  if (!length(x) %in% c(1L, length(terms))) {
    abort("argument", paste0("`", arg, "` must have length 1 or ", length(terms), ", not ",
                             length(x)), arg = arg)
  }
  rep_len(as.double(x), length(terms))
}

# `weights` as written in the call, seen from the columns of the data first; or the name of a column.
weights_in <- function(quo, data) {
  named <- rlang::quo_get_expr(quo)
  if (is_all_of(named) || is.character(named) && length(named) == 1L) {
    check_data(data)
    return(any_column(data, column_name(quo)))
  }
  tryCatch(rlang::eval_tidy(quo, if (is.data.frame(data)) data), error = function(e) {
    if (inherits(e, "softanneal_error")) rlang::cnd_signal(e)
    abort("argument", paste0("`weights` cannot be computed: ", conditionMessage(e)), arg = "weights",
          remedy = "Give one number per row, or an expression in the columns of `data`.")
  })
}

check_weights <- function(weights, n) {
  if (is.null(weights)) return(NULL)
  weights <- check_numeric(weights, "weights", 0)
  if (length(weights) != n) {
    abort("argument", paste0("`weights` has length ", length(weights), " where there are ", n,
                             " rows"), arg = "weights", remedy = "Give one weight per row.")
  }
  if (!any(weights > 0)) {
    abort("range", "`weights` must not all be zero", arg = "weights",
          remedy = "Give at least some rows a positive weight.")
  }
  weights
}

# A formula as residual function and Jacobian of the solver.
formula_problem <- function(formula, start, data, weights, na.action) {
  if (length(formula) != 3L) {
    abort("argument", "`fn` must be a formula with a response, such as y ~ a * exp(-b * t)",
          arg = "fn", remedy = "Write the response on the left.")
  }
  if (!is.null(data)) check_data(data, groups = FALSE)
  variables <- setdiff(all.vars(formula), names(start))
  where <- environment(formula)
  values <- lapply(stats::setNames(variables, variables), function(v) {
    if (v %in% names(data)) return(numeric_column(data, v, na = TRUE))
    if (!exists(v, envir = where)) {
      abort("column", paste0("variable `", v, "` is neither in `data` nor defined"), arg = v,
            remedy = "Add it to `data`, or give it a start value if it is a parameter.")
    }
    x <- get(v, envir = where)
    if (!is.numeric(x)) {
      abort("column", paste0("variable `", v, "` must be numeric, not ", describe(x)), arg = v)
    }
    as.double(x)
  })
  n <- if (is.null(data)) max(lengths(values), 0L) else nrow(data)
  vectors <- values[!lengths(values) %in% c(1L, n)]
  values <- values[lengths(values) == n | lengths(values) == 1L]
  weights <- check_weights(weights, n)
  gone <- missing_rows(values, n, na.action)
  if (!is.null(gone)) {
    values <- lapply(values, function(x) if (length(x) == n) x[-gone] else x)
    weights <- weights[-gone]
  }
  response <- eval(formula[[2L]], values, where)
  model <- formula[[3L]]
  terms <- names(start)
  n <- length(response)
  value <- function(par) {
    out <- eval(model, c(as.list(par), values), where)
    if (length(out) == 1L) rep_len(as.double(out), n) else as.double(out)
  }
  first <- value(start)
  if (length(first) != n) {
    abort("argument", paste0("the formula gives ", length(first), " values for ", n, " responses"),
          arg = "fn", remedy = "Check the lengths of its variables.")
  }
  check_finite_start(first)
  kept <- formula
  environment(kept) <- baseenv() # the fit is data alone: what else the formula needs goes with it
  list(n = n, weights = weights, response = response, formula = kept, na.action = gone,
       data = as.data.frame(values[lengths(values) == n], optional = TRUE),
       constants = c(values[lengths(values) != n], vectors), functions = own_functions(model, where),
       residuals = function(par) value(par) - response,
       jacobian = formula_jacobian(model, terms, values, where, n),
       report = function(par) response - value(par))
}

# The text of the functions of a formula that are not those a new session would find.
own_functions <- function(model, where) {
  called <- setdiff(all.names(model), all.vars(model))
  found <- lapply(stats::setNames(called, called), get0, envir = where, mode = "function")
  own <- !vapply(called, \(f) identical(found[[f]], get0(f, baseenv(), mode = "function")), NA)
  vapply(found[own], \(f) paste(deparse(f), collapse = "\n"), "")
}

# The functions of the model as the caller of predict() knows them. Another function of the same
# name would give wrong numbers, so the text must be that of the fit.
known_functions <- function(functions, where) {
  lapply(stats::setNames(names(functions), names(functions)), function(name) {
    f <- get0(name, envir = where, mode = "function")
    if (is.null(f) || !identical(paste(deparse(f), collapse = "\n"), functions[[name]])) {
      abort("model", paste0("the function `", name, "` of the model is ",
                            if (is.null(f)) "not there" else "not the one it was fitted with"),
            arg = name, remedy = "Define it as it was when the model was fitted.")
    }
    f
  })
}

# Symbolic derivatives as a function, or NULL where R cannot differentiate.
formula_jacobian <- function(model, terms, values, where, n) {
  expression <- tryCatch(stats::deriv(model, terms), error = function(e) NULL)
  if (is.null(expression)) return(NULL)
  function(par) {
    g <- attr(eval(expression, c(as.list(par), values), where), "gradient")
    if (nrow(g) == n) as.double(g) else as.double(g[rep_len(1L, n), , drop = FALSE])
  }
}

check_finite_start <- function(first) {
  bad <- which(!is.finite(first))
  if (length(bad)) {
    abort("missing", "the model is not finite at the start", arg = "start", rows = bad,
          remedy = "Choose starting values at which the model can be evaluated.")
  }
}

function_problem <- function(fn, jac, start, data, weights) {
  if (!is.function(fn)) {
    abort("argument", paste0("`fn` must be a formula or a function, not ", describe(fn)), arg = "fn")
  }
  if (!is.null(jac) && !is.function(jac)) {
    abort("argument", paste0("`jac` must be a function, not ", describe(jac)), arg = "jac")
  }
  ask <- function(f) {
    force(f)
    if (is.null(data)) function(par) f(par) else function(par) f(par, data)
  }
  raw <- ask(fn)
  first <- raw(start)
  if (!is.numeric(first)) {
    abort("argument", paste0("`fn` must return numbers, not ", describe(first)), arg = "fn",
          remedy = "Return the vector of residuals.")
  }
  check_finite_start(first)
  n <- length(first)
  size_checked <- function(f, length, arg) {
    value <- ask(f)
    function(par) {
      out <- value(par)
      if (!is.numeric(out) || length(out) != length) {
        abort("argument", paste0("`", arg, "` must return ", length, " numbers at every call, not ",
                                 describe(out)), arg = arg)
      }
      as.double(out)
    }
  }
  list(n = n, weights = check_weights(weights, n), response = NULL, formula = NULL,
       na.action = NULL, data = NULL, residuals = size_checked(fn, n, "fn"),
       jacobian = if (!is.null(jac)) size_checked(jac, n * length(start), "jac"),
       report = function(par) as.double(raw(par)))
}
