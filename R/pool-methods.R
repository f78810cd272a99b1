# What pooled estimates say of themselves.

pool_table <- function(x, level = x$level) {
  n <- colSums(!is.na(x$estimates))
  t <- stats::qt((1 + level) / 2, pmax(n - 1L, 1L))
  se <- sqrt(diag(x$cov))
  new <- sqrt(diag(x$new))
  data.frame(term = names(x$mean), estimate = unname(x$mean), std.error = unname(se),
             conf.low = unname(x$mean - t * se), conf.high = unname(x$mean + t * se),
             sd_between = unname(sqrt(diag(x$between))), new.low = unname(x$mean - t * new),
             new.high = unname(x$mean + t * new), n_groups = as.integer(n))
}

#' @rdname pool_fits
#' @param x,object What `pool_fits()` returned.
#' @param conf.level Level of the intervals.
#' @export
tidy.softanneal_pool <- function(x, conf.level = 0.95, ...) {
  check_dots_broom(..., known = "conf.level")
  as_table(pool_table(x, check_level(conf.level, "conf.level")))
}

#' @rdname pool_fits
#' @param row.names,optional Ignored.
#' @export
as.data.frame.softanneal_pool <- function(x, row.names = NULL, optional = FALSE, ...) {
  p <- length(x$mean)
  n <- nrow(x$groups)
  row <- rep(seq_len(n), each = p)
  z <- stats::qnorm((1 + x$level) / 2)
  drawn <- as.vector(t(x$drawn))
  se <- as.vector(t(x$drawn_se))
  out <- data.frame(term = rep(names(x$mean), n), estimate = as.vector(t(x$estimates)),
                    std.error = as.vector(t(x$std.errors)), drawn = drawn, drawn_se = se,
                    conf.low = drawn - z * se, conf.high = drawn + z * se, distance = x$distance[row],
                    p.value = x$p.value[row])
  keys <- x$groups[row, , drop = FALSE]
  clash <- names(keys) %in% names(out)
  names(keys)[clash] <- paste0("by_", names(keys)[clash])
  rownames(keys) <- NULL
  as_table(cbind(keys, out))
}

pool_labels <- function(keys) {
  valid_text(do.call(paste, c(lapply(keys, as.character), sep = " / ")))
}

#' @export
print.softanneal_pool <- function(x, ...) {
  t <- pool_table(x)
  told <- sum(x$told > 0L)
  cat(strwrap(c(paste0(count(nrow(x$groups), "group"), " pooled, model '", x$model, "'",
                       if (told < nrow(x$groups)) paste0("; ", nrow(x$groups) - told,
                                                         " determine none of these"), ""),
                paste0("Rates in 1/min at ", format(x$temp_ref_c, digits = 5), " degrees Celsius")),
              width = 0.95 * getOption("width"), exdent = 2), sep = "\n")
  cat("\n")
  m <- cbind(Mean = format_by_error(t$estimate, t$std.error),
             paste(format_by_error(t$conf.low, t$std.error), "to", format_by_error(t$conf.high, t$std.error)),
             "SD between" = format_quantity(t$sd_between, 2L),
             "New group" = paste(format_by_error(t$new.low, t$std.error), "to",
                                 format_by_error(t$new.high, t$std.error)), Groups = t$n_groups)
  colnames(m)[2L] <- paste(format(100 * x$level), "% interval")
  rownames(m) <- t$term
  print_table(m)
  apart <- which(x$p.value < 0.05)
  apart <- apart[order(x$p.value[apart])]
  known <- x$told > 0L
  untested <- sum(is.na(x$p.value[known]))
  words <- if (length(apart)) {
    paste0("Stands apart (p below 0.05, of Holm over all groups): ", listed(pool_labels(x$groups)[apart]),
           ".")
  } else if (untested < sum(known)) {
    paste0("No group stands apart", if (length(x$mean) > 1L) {
      paste0("; all ", length(x$mean), " parameters are tested together, with little power: ",
             "pool the one in question alone (`terms`)")
    }, ".")
  }
  if (untested) {
    words <- c(words, paste0(if (untested == sum(known)) "No group" else {
      paste0(untested, " of ", sum(known), " groups")
    }, " could ", if (untested < sum(known)) "not ", "be tested for standing apart: a test needs two groups ",
    "more than the ", count(length(x$mean), "parameter"),
    " it determines. Pool fewer parameters, or more groups."))
  }
  words <- c(words, x$remarks)
  if (!x$converged) words <- c(words, "The covariance between groups did not converge.")
  cat("\n", paste0(strwrap(words, width = 0.95 * getOption("width"), exdent = 2), "\n"), sep = "")
  invisible(x)
}

#' @export
format.softanneal_pool <- function(x, ...) {
  paste0("<pool of ", count(nrow(x$groups), "group"), ": ", paste(names(x$mean), collapse = ", "), ">")
}

#' @export
coef.softanneal_pool <- function(object, ...) {
  check_dots_empty(...)
  object$mean
}

#' @export
vcov.softanneal_pool <- function(object, ...) {
  check_dots_empty(...)
  object$cov
}
