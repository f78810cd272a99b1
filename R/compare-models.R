# Models of the same readings side by side: information criteria on the step means, lack of fit,
# and how well each predicts a temperature it has not seen.

#' Compare softening models
#'
#' Fits several models to the same readings and lists their criteria side by side.
#'
#' The information criteria count steps, not readings: with several readings per step
#' the step means are the independent observations, so the likelihood is that of the weighted
#' means about the curve (with `se = "cluster"` and the like; with the default components of error it is
#' that of [softening-errors], under which furnace errors do not pass for a richer model). `AICc` is
#' corrected for few steps. Cross-validation leaves out one
#' temperature at a time, fits the others, and predicts the step means of the one left out; a
#' model that is too rich does worse there although it fits better. It needs three temperatures.
#'
#' @param data Readings, as for [fit_softening()].
#' @param models Names of models; `NULL` for those of [fit_softening()] without hardening at low
#'   temperature.
#' @param cross_validate Whether to cross-validate.
#' @param ... Further arguments of [fit_softening()].
#' @return A data frame of class `softanneal_model_table`, in the order of `AICc`: `model`,
#'   `parameters`, `sigma`, `AICc`, `delta` (difference to the best), `BIC`, `lack_of_fit.p.value`,
#'   `cv_rmse` (root mean square error of the step means left out, in the scale of the fit; `NA`
#'   with fewer than three temperatures), `n_undetermined` (parameters without standard error), `note`
#'   (what the fit reports of them, or why it could not be made).
#' @section Errors: those of [fit_softening()]; a model with too few steps is a row with
#'   its reason, not an error.
#' @source Hurvich C M, Tsai C-L (1989) Biometrika 76, 297 \doi{10.1093/biomet/76.2.297} (AICc); Schwarz G
#'   (1978) Ann. Statist. 6, 461 \doi{10.1214/aos/1176344136} (BIC); Stone M (1974) J. R. Statist. Soc. B
#'   36, 111 \doi{10.1111/j.2517-6161.1974.tb00994.x} (cross-validation).
#' @seealso [softening-models], [fit_softening()], [identifiability()]
#' @examples
#' readings <- example_data("bellbrass_readings")
#' compare_models(readings, c("jmak", "jmak_incubation"))
#' @export
compare_models <- function(data, models = NULL, ..., cross_validate = TRUE) {
  check_data(data, groups = FALSE)
  cross_validate <- check_flag(cross_validate, "cross_validate")
  if (is.null(models)) models <- usual_models()
  if (!is.character(models) || !length(models) || anyDuplicated(models)) {
    abort("argument", "`models` must name each model once", arg = "models",
          remedy = paste0("Choose from ", in_quotes(model_names()), "."))
  }
  for (m in models) check_model_name(m, "models")
  said_once(by_aicc(do.call(rbind, lapply(models, compare_row, data = data, cross_validate = cross_validate,
                                          ...))))
}

# The same message of many fits of the same readings, once.
said_once <- function(code) {
  said <- character()
  withCallingHandlers(code, softanneal_message = function(m) {
    if (conditionMessage(m) %in% said) rlang::cnd_muffle(m)
    said <<- c(said, conditionMessage(m))
  })
}

by_aicc <- function(out) {
  out <- out[order(out$AICc), ]
  out$delta <- out$AICc - min(out$AICc, Inf, na.rm = TRUE)
  rownames(out) <- NULL
  columns <- c("model", "parameters", "sigma", "AICc", "delta", "BIC", "lack_of_fit.p.value", "cv_rmse",
               "n_undetermined", "note")
  structure(out[columns], class = c("softanneal_model_table", "data.frame"))
}

# `fit`: where it is made already.
compare_row <- function(model, data, cross_validate, ..., fit = NULL) {
  quiet <- function(...) suppressWarnings(fit_softening(..., model = model),
                                          classes = "softanneal_warning")
  if (is.null(fit)) fit <- tryCatch(quiet(data, ...), softanneal_error_too_few = function(e) e,
                                    # a model that a rising property has not
                                    softanneal_error_model = function(e) e)
  if (inherits(fit, "error")) {
    return(data.frame(model = model, parameters = length(model_terms(model)),
                      sigma = NA_real_, AICc = NA_real_, BIC = NA_real_,
                      lack_of_fit.p.value = NA_real_, cv_rmse = NA_real_,
                      n_undetermined = NA_integer_, note = conditionMessage(fit)))
  }
  g <- length(unique(fit$conditions$cluster_of))
  p <- fit$estimated + 1 # with the variance
  minus2 <- g * (log(2 * pi * fit$between / g) + 1)
  if (!is.null(fit$errors)) { # what all models share, the scatter of the readings, cancels
    likelihood <- stats::logLik(fit)
    minus2 <- -2 * as.numeric(likelihood)
    p <- attr(likelihood, "df")
  }
  aicc <- if (g > p + 1) minus2 + 2 * p + 2 * p * (p + 1) / (g - p - 1) else NA_real_
  data.frame(model = model, parameters = fit$estimated, sigma = fit$sigma, AICc = aicc,
             BIC = minus2 + log(g) * p, lack_of_fit.p.value = fit$lack_of_fit$p_value,
             cv_rmse = if (cross_validate) leave_temperature_out(fit, data, quiet, ...) else NA_real_,
             n_undetermined = sum(!fit$states %in% c("determined", "fixed")),
             note = paste(c(fit_remarks(fit), if (is_misfit(fit)) paste0(MISFIT, ".")), collapse = " "))
}

# Root mean square error of step means at temperatures left out, weighted by their readings.
leave_temperature_out <- function(fit, data, quiet, ...) {
  d <- fit$readings
  temps <- different_temperatures(d$temp_k[d$time_min > 0])
  if (length(temps) < 3L) return(NA_real_)
  kept <- if (is.null(fit$na.action)) seq_len(nrow(data)) else {
    seq_len(nrow(data))[-as.integer(fit$na.action)]
  }
  at <- fit$conditions
  total <- weight <- 0
  for (t in temps) {
    rows <- kept[!same_number(d$temp_k, t) | d$time_min == 0]
    part <- tryCatch(quiet(data[rows, , drop = FALSE], ...), softanneal_error_too_few = function(e) NULL)
    if (is.null(part)) return(NA_real_)
    test <- which(same_temperature(at$temp_c, t - ZERO_CELSIUS) & at$time_min > 0)
    guess <- softening_values(part, at$temp_c[test], at$time_min[test], at$strain[test])$fit
    total <- total + sum(at$weight[test] * (guess - at$mean[test])^2)
    weight <- weight + sum(at$weight[test])
  }
  sqrt(total / weight)
}

#' @export
print.softanneal_model_table <- function(x, ...) {
  cat("Softening models of the same readings, best by AICc first\n")
  m <- cbind(Parameters = x$parameters, "Residual sd" = format_quantity(x$sigma, 4),
             "AICc difference" = format_quantity(x$delta, 3), BIC = format_quantity(x$BIC, 5),
             "Lack of fit p" = ifelse(is.na(x$lack_of_fit.p.value), "\u2013",
                                        format.pval(x$lack_of_fit.p.value, 2, eps = 1e-6)),
             "Left-out error" = ifelse(is.na(x$cv_rmse), "\u2013",
                                        format_quantity(x$cv_rmse, 3)), `Not determined` = x$n_undetermined)
  rownames(m) <- x$model
  print_table(m)
  cat("Left-out error: step means of a temperature predicted from the others.\n")
  odd <- grepl(MISFIT, x$note, fixed = TRUE)
  if (any(odd)) {
    cat(strwrap(paste0(if (all(odd)) "None of these models describes the readings" else {
      paste0("The readings are not described by ", in_quotes(x$model[odd], " and "))
    }, ": the step means leave the curves in the same way at all temperatures",
    if (all(odd)) ", and intervals of the answers assume the curves", "."), exdent = 2), sep = "\n")
  }
  invisible(x)
}
