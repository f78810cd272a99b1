# The fit object that every fitting function returns, the settings of the solver, and the
# names of its ends. A fit is a plain list of data only: it works after saveRDS() in a new
# session, and nothing looks anything up elsewhere.

#' Settings of the least-squares solver
#'
#' @param ftol,xtol,gtol Relative tolerances: reduction of the sum of squares, step in scaled
#'   parameters, cosine of the angle between residuals and a column of the Jacobian.
#' @param initial_radius First trust radius as a multiple of the length of the scaled start.
#' @param huber Tuning constant of the Huber loss in robust standard deviations, used with
#'   `loss = "huber"`; 1.345 keeps 95 % of the efficiency at the normal distribution.
#' @param max_iterations Most iterations; when reached, the fit is returned with a warning.
#' @return A list of class `softanneal_control`.
#' @section Errors:
#'   `softanneal_error_range` for a tolerance below 0 or above 1 or a limit that is not positive,
#'   `softanneal_error_argument`.
#' @source Huber P J (1964) Ann. Math. Statist. 35, 73 \doi{10.1214/aoms/1177703732} (loss). Holland P W,
#'   Welsch R E (1977) Commun. Statist. A6, 813 \doi{10.1080/03610927708827533} (constant 1.345).
#' @seealso [fit_softening()], [fit_least_squares()]
#' @examples
#' fit_control(max_iterations = 50)
#' @export
fit_control <- function(ftol = 1e-14, xtol = 1e-12, gtol = 1e-10, initial_radius = 1,
                        huber = 1.345, max_iterations = 1000) {
  out <- list(ftol = check_number(ftol, "ftol", 0, 1), xtol = check_number(xtol, "xtol", 0, 1),
              gtol = check_number(gtol, "gtol", 0, 1),
              initial_radius = check_number(initial_radius, "initial_radius", 0, open = TRUE),
              huber = check_number(huber, "huber", 0, open = TRUE),
              max_iterations = check_number(max_iterations, "max_iterations", 1, 1e6, whole = TRUE))
  structure(out, class = "softanneal_control")
}

DEFAULT_CONTROL <- c(ftol = 1e-14, xtol = 1e-12, gtol = 1e-10, initial_radius = 1, huber = 1.345,
                     max_iterations = 1000)

# The named vector the solver takes; least squares unless the loss is "huber".
control_vector <- function(control, loss) {
  if (is.null(control)) {
    x <- DEFAULT_CONTROL
  } else {
    if (!inherits(control, "softanneal_control")) {
      abort("argument", "`control` must come from fit_control()", arg = "control",
            remedy = "Write `control = fit_control(...)`.")
    }
    x <- unlist(control)
  }
  if (loss != "huber") x[["huber"]] <- 0
  x
}

# Builds the object from what every fit knows; `...` are fields of its own class.
new_fit <- function(class, coefficients, vcov, sigma, deviance, df.residual, df_interval, nobs,
                    fitted.values, residuals, weights, states, limits, convergence, call, formula,
                    na.action = NULL, units = NULL, ...) {
  fit <- list(coefficients = coefficients, vcov = vcov, sigma = sigma, deviance = deviance,
              df.residual = df.residual, df_interval = df_interval, nobs = nobs,
              fitted.values = fitted.values, residuals = residuals, weights = weights,
              states = states, limits = limits, convergence = convergence, call = call,
              formula = formula, na.action = na.action, units = units, ...,
              version = PACKAGE_VERSION)
  class(fit) <- c(class, "softanneal_fit")
  fit
}

PACKAGE_VERSION <- "0.1.0"

# The call as an object keeps it. do.call() puts functions and formulas themselves where a script
# has their names; they would carry whole environments into a saved file.
plain_call <- function(call, name) {
  call[[1L]] <- as.name(name)
  for (j in seq_along(call)[-1L]) {
    x <- call[[j]]
    if (inherits(x, "formula")) environment(call[[j]]) <- baseenv()
    if (is.function(x)) call[[j]] <- function_name(x, names(call)[j])
    # a function written in the call brings the text of its whole file with it
    if (is.call(x) && !inherits(x, "formula")) call[[j]] <- utils::removeSource(x)
  }
  call
}

# The three na.action functions by name, any other by the name of its argument.
function_name <- function(f, arg) {
  for (name in c("na.exclude", "na.omit", "na.fail")) {
    if (identical(f, getExportedValue("stats", name))) {
      return(call("::", quote(stats), as.name(name)))
    }
  }
  as.name(arg)
}

# The one door to the compiled fit: `d` from softening_data(), `set` from softening_setup(),
# `control` from control_vector(). `clusters`: states judged by the scatter between heat
# treatments; `every`: ends of the profiles of all parameters.
run_softening <- function(d, set, control, start = set$start, held = set$held, level = 0.95,
                          clusters = FALSE, use_start = TRUE, every = FALSE) {
  set$start <- start
  set$held <- held
  .Call(C_sa_call_softening, solver_readings(d), set,
        list(ref_k = d$ref_k, level = level, clusters = clusters, use_start = use_start,
             every = every), control)
}

convergence_list <- function(end, iterations, evaluations, cosine, rank, extra = NULL) {
  c(list(converged = has_converged(end), end = end_words(end), iterations = iterations,
         evaluations = evaluations, cosine = cosine, rank = rank), extra)
}

# One warning for all that is wrong with a fit; silent when nothing is.
warn_fit <- function(fit) {
  words <- fit_remarks(fit)
  if (length(words)) {
    warn("fit", paste(fit_words(fit), collapse = "\n"), n = length(words), states = fit$states,
         end = fit$convergence$end)
  }
  invisible(fit)
}

# Sentences about convergence and about parameters that the data do not fix.
fit_remarks <- function(fit) {
  words <- character()
  if (!fit$convergence$converged) {
    words <- paste0("The fit did not converge: ", fit$convergence$end, " after ",
                    fit$convergence$iterations, " iterations.")
  }
  words <- c(words, rise_words(fit), outside_words(fit), dial_words(fit))
  odd <- names(fit$states)[fit$states != "determined"]
  if (!length(odd)) return(words)
  c(words, vapply(odd, function(term) state_sentence(fit, term), ""))
}

# The same with what would settle it.
fit_words <- function(fit) {
  settle <- if (inherits(fit, "softanneal_fit_softening")) settling(fit) else ""
  in_property(c(fit_remarks(fit), if (nzchar(settle)) settle, misfit_words(fit)), fit)
}

# A hardness that rises on annealing, fitted as if it were softening.
rise_words <- function(fit) {
  if (!inherits(fit, "softanneal_fit_softening") || !is.null(property_of(fit))) return(NULL)
  if (!(fit$par[["h_soft"]] > fit$par[["h_worked"]])) return(NULL)
  paste0("The fitted hardness rises on annealing: 'h_soft' (", format_quantity(fit$par[["h_soft"]]),
         ") is above 'h_worked' (", format_quantity(fit$par[["h_worked"]]), "). That is no softening: look ",
         "for mixed-up steps, or name another quantity than hardness with `property`.")
}

# Estimates outside the interval of their own profile, which found a better minimum.
outside_words <- function(fit) {
  l <- fit$limits
  if (is.null(l) || is.null(fit$par)) return(NULL)
  room <- 1e-6 * pmax(abs(fit$par), 1e-6)
  out <- names(fit$par)[which(fit$states == "determined" &
                                (fit$par < l[, 1L] - room | fit$par > l[, 2L] + room))]
  if (length(out)) {
    paste0("The estimate of ", in_quotes(out, " and "), " lies outside its own interval: the errors are not ",
           "known well enough to name one value. Use the interval, and look for an odd specimen.")
  }
}

state_sentence <- function(fit, term) {
  limit <- if (is.null(fit$limits)) c(NA, NA) else fit$limits[term, ]
  unit <- if (is.null(fit$units)) "" else fit$units[[term]]
  quantity <- function(x) paste0(format(signif(x, 3)), if (nzchar(unit)) paste0(" ", unit))
  level <- paste0(format(100 * (if (is.null(fit$level)) 0.95 else fit$level)), " %")
  switch(
    fit$states[[term]],
    "fixed" = if (is.na(fit$coefficients[[term]])) {
      paste0(term, " cannot be estimated: all readings are at one temperature.")
    } else {
      paste0(term, " is fixed at ", quantity(fit$coefficients[[term]]), ".")
    },
    "at lower bound" = ,
    "at upper bound" = paste0(
      term, " lies on its bound at ", quantity(fit$coefficients[[term]]),
      if (all(is.finite(limit))) paste0("; ", level, " interval ", quantity(limit[[1L]]), " to ",
                                        quantity(limit[[2L]])), "."),
    "only an upper limit" = paste0("The data give only an upper limit of ", term, ": ",
                                   quantity(limit[[2L]]), " (", level, ")."),
    "only a lower limit" = paste0("The data give only a lower limit of ", term, ": ",
                                  quantity(limit[[1L]]), " (", level, ")."),
    paste0("The data do not determine ", term, "."))
}
