# Nested fits compared, under the errors that the fits describe; lack of fit of one.

#' @rdname fit-methods
#' @export
anova.softanneal_fit <- function(object, ...) {
  others <- list(...)
  if (length(others) == 0L) return(lack_of_fit_table(object))
  fits <- c(list(object), others)
  ok <- vapply(fits, inherits, NA, "softanneal_fit")
  if (!all(ok)) {
    abort("argument", "`anova()` compares fits of this package with each other", arg = "...",
          remedy = "Give fits only.")
  }
  for (fit in fits) no_limits(fit, "there is no F test", "...")
  n <- vapply(fits, stats::nobs, 0)
  scale <- vapply(fits, function(f) if (is.null(f$scale)) "" else f$scale, "")
  if (any(n != n[1L]) || any(scale != scale[1L])) {
    abort("model", "the fits do not use the same readings on the same scale", arg = "...",
          remedy = "Fit all models to the same data.")
  }
  errors <- vapply(fits, errors_compared, "")
  if (length(unique(errors)) > 1L) {
    abort("model", paste0("the fits describe errors differently: ", in_quotes(unique(errors), " and ")),
          arg = "...", remedy = "Fit all with the same `se`.")
  }
  df <- vapply(fits, stats::df.residual, 0)
  fits <- fits[order(df, decreasing = TRUE)]
  for (k in seq_along(fits)[-1L]) {
    if (!is_nested(fits[[k - 1L]], fits[[k]])) {
      abort("model", "the fits are not nested", arg = "...",
            remedy = "Compare models that differ by added terms or by what is `fixed`, or use AIC().")
    }
  }
  out <- if (errors[1L] == "components") by_likelihood(fits) else by_squares(fits, errors[1L] == "steps")
  held <- lapply(fits, function(x) names(x$coefficients)[x$states %in% "fixed"])
  names <- vapply(seq_along(fits), function(k) {
    x <- fits[[k]]
    own <- setdiff(held[[k]], Reduce(intersect, held))
    paste0(if (is.null(x$model)) "fit" else x$model, if (!is.null(x$readings$growth)) ", grain growth",
           if (isTRUE(x$readings$soft_by_strain)) ", h_soft by strain",
           if (!is.null(x$readings$exponent_k)) ", n by temperature",
           if (length(own)) paste0(", ", paste(own, collapse = " and "), " fixed"))
  }, "")
  attr(out, "row.names") <- make.unique(names)
  out
}

# Which errors the comparison counts: those of pieces and furnaces, of steps, or of readings alone.
errors_compared <- function(fit) {
  if (identical(fit$se, "components")) return("components")
  if (inherits(fit, "softanneal_fit_softening") && fit$se %in% c("cluster", "steps") &&
      fit$loss == "squares") return("steps")
  "readings"
}

# Is `small` a case of `large`: all its free terms free there too, and what is held in `large` the same?
is_nested <- function(small, large) {
  terms <- names(large$coefficients)
  larger <- c(terms, if (any(grepl("^n_", terms))) "n") # n for all lies within them
  if (!all(names(small$coefficients) %in% larger)) return(FALSE)
  free <- function(fit) names(fit$coefficients)[!fit$states %in% "fixed"]
  if (length(free(small)) >= length(free(large)) || !all(free(small) %in% c(free(large), "n"))) return(FALSE)
  held <- setdiff(intersect(terms, names(small$coefficients)), free(large))
  isTRUE(all.equal(unlist(small$par[held]), unlist(large$par[held]), tolerance = 1e-12))
}

# Sums of squares of the readings, or of the step means alone: those that the largest fit tells apart.
by_squares <- function(fits, on_means) {
  within <- if (on_means) fits[[length(fits)]]$lack_of_fit[c("pure_error", "df_pure")] else list(0, 0)
  rss <- vapply(fits, stats::deviance, 0) - within[[1L]]
  df <- vapply(fits, stats::df.residual, 0) - within[[2L]]
  added <- c(NA, -diff(df))
  gain <- c(NA, -diff(rss))
  f <- ifelse(df > 0, (gain / added) / (rss / df), NA_real_)
  none <- sum(df[-1L] <= 0)
  if (none) {
    warn("too_few", "A fit without residual degrees of freedom leaves no scatter: no F value", n = none)
  }
  rises <- (gain < -1e-8 * rss) %in% TRUE
  f[is.nan(f) | rises] <- NA_real_ # no scatter and no gain
  out <- data.frame(Res.Df = df, "Res.Sum Sq" = rss, Df = added, "Sum Sq" = gain, "F value" = f,
                    "Pr(>F)" = stats::pf(f, added, df, lower.tail = FALSE), check.names = FALSE)
  words <- c("Analysis of variance of nested fits\n", if (on_means) "Sums of squares of the step means.\n",
             if (any(rises)) "The sum of squares rises: the larger fit is not at its lowest minimum.\n")
  structure(out, heading = words, class = c("anova", "data.frame"))
}

# The ratio of likelihoods as an F: exact for independent steps of equal variance.
by_likelihood <- function(fits) {
  known <- !vapply(fits, function(x) is.null(x$errors), NA)
  if (!all(known)) {
    warn("too_few", "A fit with too few steps for components of error has no likelihood: no F value",
         n = sum(!known))
  }
  value <- vapply(fits, function(x) if (is.null(x$errors)) NA_real_ else as.double(stats::logLik(x)), 0)
  steps <- vapply(fits, function(x) if (is.null(x$errors)) NA else length(x$errors$steps$mean), 0L)
  below <- steps - vapply(fits, function(x) as.integer(x$estimated), 0L)
  added <- c(NA, diff(vapply(fits, function(x) as.double(x$estimated), 0)))
  ratio <- c(NA, 2 * diff(value))
  f <- ifelse((below > 0) %in% TRUE, expm1(pmax(ratio, 0) / steps) * below / added, NA_real_)
  out <- data.frame(Steps = steps, "Res.Df" = below, logLik = value, Df = added, "L.Ratio" = ratio,
                    "F value" = f, "Pr(>F)" = stats::pf(f, added, below, lower.tail = FALSE),
                    check.names = FALSE)
  structure(out, heading = c("Nested fits under their components of error\n",
                             "F from the ratio of likelihoods and the number of steps.\n"),
            class = c("anova", "data.frame"))
}

lack_of_fit_table <- function(object) {
  l <- object$lack_of_fit
  if (is.null(l)) {
    abort("argument", "`anova()` needs a second fit to compare with", arg = "...",
          remedy = "Give two nested fits.")
  }
  out <- data.frame(Df = c(l$df_misfit, l$df_pure), "Sum Sq" = c(l$misfit, l$pure_error),
                    "Mean Sq" = c(l$misfit / l$df_misfit, l$pure_error / l$df_pure),
                    "F value" = c(l$f, NA), "Pr(>F)" = c(l$p_value, NA), check.names = FALSE,
                    row.names = c("Lack of fit", "Pure error"))
  structure(out, heading = "Lack-of-fit test\n", class = c("anova", "data.frame"))
}
