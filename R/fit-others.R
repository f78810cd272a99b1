# Methods for packages that ask any model for predictions: marginaleffects, emmeans, parameters. They are
# registered when one of these is loaded, and none is needed otherwise.

#' Predictions, slopes and means by other packages
#'
#' `marginaleffects::predictions()`, `comparisons()` and `slopes()`, and `emmeans::emmeans()`, take a fit of
#' [fit_softening()]: hardness over `temp_c` and `time_min`, with standard errors by the delta method from
#' `vcov()`. marginaleffects takes the fits of recrystallised fractions, grain growth, Hall-Petch lines,
#' rates, lifetimes, hardening and master curves too, by what their `predict()` gives.
#' `parameters::model_parameters()` gives the table of [tidy()] under its own names; insight and
#' `performance::model_performance()` take all these fits.
#'
#' Times and temperatures are numbers: without `newdata`, `variables` or `at` these packages take the
#' readings, or means over them, of which few have a meaning here. Name the conditions, as in the examples.
#' marginaleffects takes normal quantiles unless `df` is given, and asks for R 4.4. Intervals of [predict()]
#' with `se = "components"` and of open parameters are better than those of the delta method. `emmeans` needs
#' a fit with all parameters determined (`softanneal_error_model`).
#'
#' `modelsummary::modelsummary()`, `knitr::kable()` and `gt::gt()` take fits or their tables as they are;
#' those of [fit_each()] as a list, `modelsummary(as.list(fits))`. `vcov` of marginaleffects is a matrix or a
#' function, such as `sandwich::sandwich`: words such as "HC3" are refused.
#'
#' @name fit-others
#' @seealso [fit-generics], [predict-fit]
#' @examples
#' fit <- fit_softening(example_data("tungsten"))
#' if (requireNamespace("marginaleffects", quietly = TRUE)) {
#'   at <- data.frame(temp_c = 1200, time_min = c(300, 600))
#'   marginaleffects::slopes(fit, newdata = at, variables = "temp_c")
#' }
#' if (requireNamespace("emmeans", quietly = TRUE)) {
#'   emmeans::emmeans(fit, "temp_c", at = list(temp_c = c(1150, 1200), time_min = 300))
#' }
NULL

# Class names that marginaleffects takes besides its own are those of this option; it is set when that package
# is loaded, and keeps what stands there.
MODEL_CLASSES <- "marginaleffects_model_classes"

OWN_CLASSES <- paste0("softanneal_fit_", c("softening", "recrystallisation", "grain_growth", "hall_petch",
                                           "arrhenius", "lifetime", "hardening", "master_curve"))

known_to_marginaleffects <- function(...) {
  known <- getOption(MODEL_CLASSES)
  ours <- setdiff(OWN_CLASSES, known)
  if (length(ours)) do.call(options, stats::setNames(list(c(known, ours)), MODEL_CLASSES))
  invisible()
}

greet_marginaleffects <- function() {
  if (isNamespaceLoaded("marginaleffects")) known_to_marginaleffects()
  setHook(packageEvent("marginaleffects", "onLoad"), known_to_marginaleffects)
}

#' @rawNamespace S3method(marginaleffects::get_predict,softanneal_fit_softening)
#' @noRd
get_predict.softanneal_fit_softening <- function(model, newdata, type = "response", ...) {
  strain <- if (!is.null(strain_name(model))) newdata[["strain"]] %or% newdata[[strain_name(model)]]
  # a step to the left of time zero for a difference is none
  time <- pmax(newdata[["time_min"]], 0)
  data.frame(rowid = newdata[["rowid"]] %or% seq_len(nrow(newdata)),
             estimate = softening_values(model, newdata[["temp_c"]], time, strain)$fit)
}

# Other fits: predict() takes its values from the coefficients. Of steps beside a row nothing is told.
#' @rawNamespace S3method(marginaleffects::get_predict,softanneal_fit)
#' @noRd
get_predict.softanneal_fit <- function(model, newdata, type = "response", ...) {
  value <- suppressWarnings(stats::predict(model, as.data.frame(newdata)), classes = "softanneal_warning")
  data.frame(rowid = newdata[["rowid"]] %or% seq_len(nrow(newdata)), estimate = unname(value))
}

#' @rawNamespace S3method(marginaleffects::get_coef,softanneal_fit)
#' @noRd
get_coef.softanneal_fit <- function(model, ...) stats::coef(model)

#' @rawNamespace S3method(marginaleffects::set_coef,softanneal_fit)
#' @noRd
set_coef.softanneal_fit <- function(model, coefs, ...) {
  model$coefficients[names(coefs)] <- coefs
  if (!is.null(model$par)) model$par[names(coefs)] <- coefs
  model
}

#' @rawNamespace S3method(marginaleffects::get_vcov,softanneal_fit)
#' @noRd
get_vcov.softanneal_fit <- function(model, vcov = NULL, ...) {
  if (isFALSE(vcov)) return(NULL)
  if (is.matrix(vcov)) return(vcov)
  if (is.function(vcov)) return(vcov(model))
  if (!is.null(vcov) && !isTRUE(vcov)) {
    abort("argument", paste0("`vcov` must be a matrix or a function, not ", deparse1(vcov)), arg = "vcov",
          remedy = paste("Such as vcov = sandwich::sandwich; `se` of fit_softening() has steps,",
                         "specimens and runs in it already."))
  }
  stats::vcov(model)
}

#' @rawNamespace S3method(insight::get_data,softanneal_fit)
#' @noRd
get_data.softanneal_fit <- function(x, ...) {
  out <- stats::model.frame(x)
  attr(out, "terms") <- NULL
  out
}

# insight knows the classes of models by a list of its own, so each of its questions has a method.
#' @rawNamespace S3method(insight::get_loglikelihood,softanneal_fit)
#' @noRd
get_loglikelihood.softanneal_fit <- function(x, ...) stats::logLik(x)

# `type` as there: of the residuals, of the t of intervals (Wald), of a normal, or parameters.
#' @rawNamespace S3method(insight::get_df,softanneal_fit)
#' @noRd
get_df.softanneal_fit <- function(x, type = "residual", ...) {
  type <- check_choice(type, c("residual", "wald", "normal", "model"), "type")
  switch(type, residual = stats::df.residual(x), wald = x$df_interval, normal = Inf,
         model = attr(stats::logLik(x), "df"))
}

#' @rawNamespace S3method(insight::get_statistic,softanneal_fit)
#' @noRd
get_statistic.softanneal_fit <- function(x, ...) {
  t <- tidy.softanneal_fit(x)
  structure(data.frame(Parameter = t$term, Statistic = t$statistic), statistic = "t-statistic")
}

#' @rawNamespace S3method(performance::model_performance,softanneal_fit)
#' @noRd
model_performance.softanneal_fit <- function(model, ...) {
  ll <- stats::logLik(model)
  out <- data.frame(AIC = stats::AIC(ll), BIC = stats::BIC(ll),
                    RMSE = sqrt(mean(stats::residuals(model)^2)), Sigma = stats::sigma(model))
  structure(out, class = c("performance_model", "data.frame"))
}

#' @rawNamespace S3method(emmeans::recover_data,softanneal_fit_softening)
#' @noRd
recover_data.softanneal_fit_softening <- function(object, ...) {
  recover <- getExportedValue("emmeans", "recover_data")
  recover(object$call, stats::delete.response(stats::terms(object)), NULL,
          frame = stats::model.frame(object), ...)
}

# The hardness at the places of the grid, linear in itself, with its covariance by the delta method.
#' @rawNamespace S3method(emmeans::emm_basis,softanneal_fit_softening)
#' @noRd
emm_basis.softanneal_fit_softening <- function(object, trms, xlev, grid, ...) {
  if (any(is_open(object))) {
    abort("model", "means by emmeans need a fit with all parameters determined", arg = "object",
          remedy = "Use predict(interval = \"confidence\") at the conditions wanted.")
  }
  at <- softening_values(object, grid$temp_c, grid$time_min, grid[["strain"]])
  list(X = diag(1, nrow(grid)), bhat = at$fit, nbasis = matrix(NA),
       V = at$gradient %*% object$cov_full %*% t(at$gradient),
       dffun = function(k, dfargs) dfargs$df, dfargs = list(df = object$df_interval), misc = list())
}

#' @rawNamespace S3method(parameters::model_parameters,softanneal_fit)
#' @noRd
model_parameters.softanneal_fit <- function(model, ci = 0.95, ...) {
  m <- tidy.softanneal_fit(model, conf.int = TRUE, conf.level = ci)
  out <- data.frame(Parameter = m$term, Coefficient = m$estimate, SE = m$std.error, CI = ci,
                    CI_low = m$conf.low, CI_high = m$conf.high, t = m$statistic,
                    df_error = model$df_interval, p = m$p.value)
  structure(out, class = c("parameters_model", "see_parameters_model", "data.frame"), ci = ci, digits = 2,
            ci_digits = 2, p_digits = 3, footer_digits = 3, exponentiate = FALSE,
            coefficient_name = "Coefficient", pretty_names = stats::setNames(m$term, m$term),
            test_statistic = "t-statistic", n_obs = model$nobs, model_class = class(model)[1L],
            verbose = TRUE, show_summary = FALSE, no_caption = TRUE, title = "")
}
