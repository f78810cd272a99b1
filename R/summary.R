# Summary of a fit, with t50.

#' @rdname fit-methods
#' @export
summary.softanneal_fit <- function(object, ..., thickness_mm = NULL) {
  check_dots_empty(...)
  thickness_mm <- check_number(thickness_mm, "thickness_mm", 0, 100, open = TRUE, null = TRUE)
  if (!is.null(thickness_mm) && !inherits(object, "softanneal_fit_softening")) {
    abort("argument", "`thickness_mm` is for fits of fit_softening()", arg = "thickness_mm",
          remedy = "Leave it out.")
  }
  out <- list(coefficients = coefficient_table(object), sigma = object$sigma,
              df = c(object$estimated, object$df.residual), df_interval = object$df_interval,
              states = object$states, limits = object$limits, remarks = fit_words(object),
              convergence = object$convergence, header = header_lines(object),
              intervals = estimate_table(object),
              lack_of_fit = object$lack_of_fit, call = object$call)
  if (!is.null(object$errors)) {
    out$components <- components_of_error(object)
    out$remarks <- c(out$remarks, specimen_sentence(object), furnace_sentences(object))
  }
  if (inherits(object, "softanneal_fit_softening")) {
    out$remarks <- c(out$remarks, conversion_sentence(object), heat_up_sentence(object, thickness_mm))
    out$strain_name <- strain_name(object)
    out$property <- property_of(object)
    out$half_softening <- suppressWarnings(time_to(object), classes = "softanneal_warning_outside")
  }
  structure(out, class = "summary.softanneal_fit")
}

#' @export
print.summary.softanneal_fit <- function(x, digits = max(3L, getOption("digits") - 3L), ...) {
  cat(strwrap(x$header, width = 0.95 * getOption("width"), exdent = 2), sep = "\n")
  cat("\n")
  stats::printCoefmat(x$coefficients, digits = digits, na.print = "-", signif.stars = FALSE)
  cat(if (is.null(x$components)) {
    paste0("\n95 % intervals (t on ", format(x$df_interval), " degrees of freedom):\n")
  } else "\n95 % intervals:\n")
  print_table(x$intervals[, 4L, drop = FALSE])
  cat("\nResidual standard deviation ", format(x$sigma, digits = digits), " on ", x$df[2L],
      " degrees of freedom\n", sep = "")
  l <- x$lack_of_fit
  if (!is.null(l) && !is.na(l$f)) {
    cat("Lack of fit against the scatter within steps: F = ", format(l$f, digits = 3), " on ",
        l$df_misfit, " and ", l$df_pure, " degrees of freedom, ",
        p_words(l$p_value), "\n", sep = "")
    cat(strwrap(paste("This test also reacts to errors that all readings of one step share",
                      "(furnace, position, specimen)."), prefix = "  "), sep = "\n")
  } else if (!is.null(l)) {
    cat("No replicate readings: lack of fit cannot be tested\n")
  }
  if (!is.null(x$components)) {
    cat("\n")
    print(x$components)
  }
  if (!is.null(x$half_softening)) {
    half <- if (is.null(x$property)) "softening" else "of the change"
    cat("\nt50 (time to half ", half, "), min:\n", sep = "")
    h <- x$half_softening
    strain <- if (!is.null(x$strain_name)) cbind(Strain = format(signif(h[[x$strain_name]], 3)))
    print_table(cbind("Temperature, C" = format(h$temp_c), strain, Time = answer_text(h$time_min),
                      "95 % interval" = range_text(h$conf.low, h$conf.high),
                      Note = h$note))
  }
  cat("\n", if (x$convergence$converged) "Converged: " else "Not converged: ", x$convergence$end,
      " (", x$convergence$iterations, " iterations)\n", sep = "")
  if (length(x$remarks)) cat(paste0(strwrap(x$remarks, exdent = 2), "\n"), sep = "")
  invisible(x)
}
