# What a fit says of itself. Numbers are rounded by their uncertainty, by one rule in one
# function; parameters that the data do not fix are shown with their limits.

#' @export
format.softanneal_fit <- function(x, ...) {
  what <- if (inherits(x, "softanneal_fit_softening")) {
    if (is.null(property_of(x))) paste("softening fit", x$model) else {
      paste0("fit of ", property_word(x), ", ", x$model)
    }
  } else {
    if (inherits(x, "softanneal_fit_arrhenius")) "Arrhenius fit" else "least-squares fit"
  }
  paste0("<", what, ": ", x$nobs, " values, ", x$estimated, " parameters",
         if (!x$convergence$converged) ", not converged", ">")
}

# Estimates with error, unit and interval as a character table.
estimate_table <- function(x, level = 0.95) {
  se <- sqrt(diag(x$vcov))
  limits <- confint.softanneal_fit(x, level = level)
  unit <- if (is.null(x$units)) rep("", length(se)) else unlist(x$units)
  low <- format_by_limits(limits[, 1L], se)
  high <- format_by_limits(limits[, 2L], se)
  interval <- paste(low, "to", high)
  above <- which(limits[, 2L] == Inf)
  below <- which(limits[, 1L] == -Inf)
  interval[above] <- paste(low[above], "or more")
  interval[below] <- paste(high[below], "or less")
  interval[is.na(limits[, 1L]) | is.na(limits[, 2L])] <- "\u2013"
  interval[x$states == "not determined"] <- "not determined"
  estimate <- format_by_error(x$coefficients, se)
  open <- is_open(x)
  estimate[open] <- paste0("(", estimate[open], ")")
  out <- cbind(Estimate = estimate,
               "Std. error" = ifelse(is.na(se), "\u2013", format_by_error(se, se)), Unit = unit)
  out <- cbind(out, interval)
  colnames(out)[4L] <- paste0(format(100 * level), " % interval")
  rownames(out) <- names(x$coefficients)
  out
}

# Parameters that the data bound from one side at most.
is_open <- function(x) is_undetermined(x$states)

format_by_limits <- function(x, se) {
  ifelse(is.finite(x) & !is.na(se), format_by_error(x, se), format_quantity(x))
}

print_table <- function(m) {
  print(m, quote = FALSE, right = TRUE)
}

#' @export
print.softanneal_fit <- function(x, digits = max(3L, getOption("digits") - 3L), ...) {
  cat(strwrap(header_lines(x), width = 0.95 * getOption("width"), exdent = 2), sep = "\n")
  cat("\n")
  print_table(estimate_table(x))
  cat("\n", paste0(foot_lines(x, digits), "\n"), sep = "")
  remarks <- c(fit_words(x), if (x$se %in% "components") c(specimen_sentence(x), furnace_sentences(x)) else {
    shared_error_words(x)
  })
  if (any(is_open(x))) {
    remarks <- c(remarks, "In parentheses: not unique, other values fit as well.")
  }
  if (length(remarks)) cat("\n", paste0(strwrap(remarks, exdent = 2), "\n"), sep = "")
  invisible(x)
}

# What standard errors by step do not count.
shared_error_words <- function(x) {
  if (inherits(x, "softanneal_fit_softening") && x$se %in% c("cluster", "steps") && x$loss == "squares") {
    paste("Errors shared by a specimen or a furnace run are not counted in these standard errors;",
          "fit_softening() with se = \"components\" counts them.")
  }
}

header_lines <- function(x) UseMethod("header_lines")

#' @export
header_lines.default <- function(x) {
  lines <- "Least-squares fit"
  if (!is.null(x$formula)) lines <- c(lines, paste(deparse(x$formula), collapse = " "))
  c(lines, count_line(x))
}

count_line <- function(x, what = "values") {
  gone <- x$na.action
  idle <- sum(attr(gone, "weightless"))
  lost <- length(gone) - idle
  words <- c(if (lost) paste(lost, "missing"), if (idle) paste(idle, "of weight zero"))
  paste0(x$nobs, " ", what, if (length(words)) {
    paste0(" (", paste(words, collapse = ", "), " more left out)")
  })
}

#' @export
header_lines.softanneal_fit_softening <- function(x) {
  treatments <- length(unique(x$conditions$cluster_of))
  oven <- unique(signif(x$conditions$temp_c[x$conditions$time_min > 0], 12))
  what <- if (is.null(property_of(x))) "Softening fit" else paste0("Fit of ", property_word(x), ", model")
  c(paste0(what, " '", x$model, "': ", model_words(x$model)),
    paste0(count_line(x, "readings"), " of ", count(treatments, "step"), " at ", length(oven),
           if (length(oven) == 1L) " temperature (" else " temperatures (",
           paste(format(sort(oven)), collapse = ", "), " degrees Celsius)"),
    limit_words(x), group_sentences(x), scale_line(x),
    paste0("Rates in 1/min at the reference temperature ", format(x$temp_ref_c, digits = 5),
           " degrees Celsius; ", se_words(x)))
}

scale_line <- function(x) {
  if (!is.null(property_of(x))) return(if (nzchar(x$scale)) paste0("Fitted in ", x$scale))
  read <- unique(x$readings$scale_read)
  if (x$scale == "HV" && !all(read == "HV") && any(standardise_scale(read) != "HV")) {
    return(paste0("Readings in ", in_quotes(read, " and "), " converted to HV (", x$material,
                  " table)"))
  }
  if (grepl("^HR", x$scale)) {
    return(paste0("Fitted in ", x$scale, " as read: a Rockwell scale is not linear in strength, ",
                  "so the rates and n are biased"))
  }
  paste0("Fitted in ", x$scale)
}

se_words <- function(x) {
  switch(x$se, components = error_sentence(x), cluster = "cluster-robust standard errors by step",
         steps = "standard errors from the variance of the step means",
         model = if (any(duplicated(x$conditions$cluster_of))) {
           "standard errors as if all readings were independent"
         } else "standard errors from the scatter of the readings")
}

foot_lines <- function(x, digits) {
  c(paste0("Residual standard deviation ", format(x$sigma, digits = digits),
           if (!is.null(x$scale) && nzchar(x$scale)) paste0(" ", x$scale), " on ", x$df.residual,
           " degrees of freedom"),
    paste0(if (x$convergence$converged) "Converged: " else "Not converged: ", x$convergence$end,
           " (", x$convergence$iterations, " iterations)"))
}
