# What a posterior says of itself: print, tables, draws.

#' Methods of a posterior
#'
#' @param x,object A posterior of [fit_posterior()].
#' @param conf.int,conf.level Whether to add `conf.low` and `conf.high`, quantiles of the draws, and at
#'   which level.
#' @param newdata,interval,level,scale As for [predict.softanneal_fit_softening()].
#' @param n_draws Draws used for predictions; all by default.
#' @param ... For `tidy()` and `glance()` ignored as by broom; else must be empty.
#' @return `tidy()`: one row a parameter and standard deviation, with `term`, `estimate` (median),
#'   `std.error`
#'   (standard deviation of the draws), the interval when asked, `rhat`, `ess_bulk`, `ess_tail`,
#'   `share_prior`.
#'   `glance()`: `chains`, `draws`, `divergent`, `max_rhat`, `min_ess`, `nobs`. `predict()`: medians, or a
#'   matrix with
#'   `fit`, `lwr`, `upr`; a prediction is of a reading on a new specimen in a new furnace run and step.
#'   `coef()`:
#'   medians of the parameters; `vcov()`: covariance of their draws; `as.data.frame()`: the draws.
#' @section Errors: `softanneal_error_argument`, `softanneal_error_column`.
#' @name posterior-methods
#' @seealso [fit_posterior()], [prior_softening()], [time_to()]
#' @examples
#' readings <- example_data("bellbrass_readings")
#' post <- fit_posterior(readings, prior = prior_brass(), seed = 1)
#' tidy(post, conf.int = TRUE)
#' glance(post)
#' predict(post, data.frame(temp_c = 330, time_min = c(10, 30)), interval = "prediction")
NULL

posterior_table <- function(x, level) {
  d <- reported_draws(x)
  tail <- (1 - level) / 2
  q <- apply(d, 2L, stats::quantile, c(0.5, tail, 1 - tail), names = FALSE)
  sd <- apply(d, 2L, stats::sd)
  own <- x$diagnostics[match(colnames(d), x$diagnostics$term), ]
  hour <- which(colnames(d) == "recryst_1h_c")
  if (length(hour)) own[hour, ] <- chain_table(d[, hour, drop = FALSE], x$chains)
  data.frame(term = colnames(d), estimate = q[1L, ], std.error = unname(sd), conf.low = q[2L, ],
             conf.high = q[3L, ],
             rhat = own$rhat, ess_bulk = own$ess_bulk, ess_tail = own$ess_tail,
             share_prior = unname(sd / x$prior_sd[colnames(d)]))
}

#' @rdname posterior-methods
#' @export
tidy.softanneal_posterior <- function(x, conf.int = FALSE, conf.level = 0.95, ...) {
  check_dots_broom(..., known = c("conf.int", "conf.level"))
  conf.int <- check_flag(conf.int, "conf.int")
  out <- posterior_table(x, check_level(conf.level, "conf.level"))
  if (!conf.int) out[c("conf.low", "conf.high")] <- NULL
  as_table(out)
}

#' @rdname posterior-methods
#' @export
glance.softanneal_posterior <- function(x, ...) {
  check_dots_broom(...)
  d <- x$diagnostics
  as_table(data.frame(chains = x$chains, draws = nrow(x$draws), divergent = sum(x$moves$divergent),
                      max_rhat = max(d$rhat, na.rm = TRUE), min_ess = min(d$ess_bulk, d$ess_tail,
                                                                          na.rm = TRUE),
                      nobs = as.integer(x$fit$nobs)))
}

posterior_units <- function(terms, scale) {
  out <- rep("", length(terms))
  own <- terms %in% c("recryst_1h_c", names(PRIOR_SDS))
  out[!own] <- unlist(term_units(terms[!own], scale))
  out[terms == "recryst_1h_c"] <- "deg C"
  out[terms == "sd_furnace_c"] <- "K"
  out[terms %in% setdiff(names(PRIOR_SDS), "sd_furnace_c")] <- scale
  out
}

# Names of what is mostly the prior's.
mostly_prior <- function(table) table$term[which(table$share_prior > sqrt(0.5))]

prior_sentence <- function(x, table) {
  against <- prior_conflicts(x)
  oven <- furnace_conflict_words(x)
  if (!is.null(oven)) against <- setdiff(against, "q_kj_mol")
  terms <- setdiff(mostly_prior(table), against) # what pulls away from its prior is seen
  if (!is.null(oven)) terms <- setdiff(terms, "sd_furnace_c")
  sds <- terms %in% names(PRIOR_SDS)
  c(oven, if (length(against)) {
    paste0("Prior and readings disagree on ", listed(against), ": the readings lie far out in what was ",
           "believed of it, and the answer is a compromise. Check the prior, its units and the readings.")
  }, if (any(!sds)) paste0("Mostly the prior's, the readings add less than it holds: ", listed(terms[!sds]),
                          "."),
    if (any(sds)) paste0("The readings hardly show ", listed(terms[sds]), ": the prior decides."))
}

posterior_header <- function(x) {
  f <- x$fit
  c(paste0("Posterior of softening model '", f$model, "': ", model_words(f$model)),
    paste0(count(f$nobs, "reading"), " of ", count(length(f$errors$steps$mean), "step"), "; ",
           count(x$chains,
                 "chain"), " of ", thousands(nrow(x$draws) / x$chains), " draws, seed ", format(x$seed)),
    paste0("Rates in 1/min at the reference temperature ", format(f$temp_ref_c, digits = 5),
           " degrees Celsius"))
}

posterior_shown <- function(t, scale, level) {
  m <- cbind(Median = format_by_error(t$estimate, t$std.error),
             SD = format_by_error(t$std.error, t$std.error),
             Unit = posterior_units(t$term, scale),
             paste(format_by_error(t$conf.low, t$std.error), "to", format_by_error(t$conf.high, t$std.error)))
  colnames(m)[4L] <- paste(format(100 * level), "% interval")
  held <- t$std.error == 0
  m[held, c(2L, 4L)] <- "\u2013"
  rownames(m) <- t$term
  m
}

#' @export
print.softanneal_posterior <- function(x, ...) {
  t <- posterior_table(x, x$level)
  cat(strwrap(posterior_header(x), width = 0.95 * getOption("width"), exdent = 2), sep = "\n")
  cat("\n")
  print_table(posterior_shown(t, x$fit$scale, x$level))
  d <- x$diagnostics
  words <- c(paste0("Chains: rhat at most ", formatC(max(d$rhat, na.rm = TRUE), digits = 3, format = "f"),
                    ", at least ",
                    thousands(floor(min(d$ess_bulk, d$ess_tail, na.rm = TRUE))), " effective draws, ",
                    count(sum(x$moves$divergent), "divergence"), "."), chain_remarks(x), prior_sentence(x, t))
  cat("\n", paste0(strwrap(words, width = 0.95 * getOption("width"), exdent = 2), "\n"), sep = "")
  invisible(x)
}

#' @export
format.softanneal_posterior <- function(x, ...) {
  paste0("<posterior ", x$fit$model, ": ", thousands(nrow(x$draws)), " draws of ",
         count(x$fit$nobs, "reading"), ">")
}

#' @rdname posterior-methods
#' @export
summary.softanneal_posterior <- function(object, ...) {
  check_dots_empty(...)
  t <- posterior_table(object, object$level)
  structure(list(header = posterior_header(object), table = t, scale = object$fit$scale, level = object$level,
                 moves = object$moves, furnaces = furnace_table(object), prior = object$prior,
                 remarks = c(chain_remarks(object), prior_sentence(object, t))),
            class = "summary.softanneal_posterior")
}

furnace_table <- function(x) {
  d <- x$draws[, x$furnaces, drop = FALSE]
  data.frame(furnace = x$furnaces, estimate = unname(apply(d, 2L, stats::median)),
             std.error = unname(apply(d, 2L, stats::sd)))
}

#' @export
print.summary.softanneal_posterior <- function(x, ...) {
  cat(strwrap(x$header, width = 0.95 * getOption("width"), exdent = 2), sep = "\n")
  cat("\n")
  print_table(posterior_shown(x$table, x$scale, x$level))
  t <- x$table
  m <- cbind(rhat = formatC(t$rhat, digits = 3, format = "f"), "ESS bulk" = format(round(t$ess_bulk)),
             "ESS tail" = format(round(t$ess_tail)), "SD over prior's" = format_quantity(t$share_prior, 2L))
  rownames(m) <- t$term
  cat("\n")
  print_table(m)
  if (nrow(x$furnaces)) {
    cat("\nErrors of furnace temperatures (K):\n")
    m <- cbind(Median = format_quantity(x$furnaces$estimate, 2L),
               SD = format_quantity(x$furnaces$std.error, 2L))
    rownames(m) <- x$furnaces$furnace
    print_table(m)
  }
  cat("\n")
  print(x$prior)
  if (length(x$remarks)) {
    cat("\n", paste0(strwrap(x$remarks, width = 0.95 * getOption("width"), exdent = 2), "\n"), sep = "")
  }
  invisible(x)
}

#' @rdname posterior-methods
#' @export
coef.softanneal_posterior <- function(object, ...) {
  check_dots_empty(...)
  apply(object$draws[, object$terms, drop = FALSE], 2L, stats::median)
}

#' @rdname posterior-methods
#' @export
vcov.softanneal_posterior <- function(object, ...) {
  check_dots_empty(...)
  stats::cov(object$draws[, object$terms, drop = FALSE])
}

#' @rdname posterior-methods
#' @export
nobs.softanneal_posterior <- function(object, ...) as.integer(object$fit$nobs)

#' @rdname posterior-methods
#' @param row.names,optional Ignored.
#' @export
as.data.frame.softanneal_posterior <- function(x, row.names = NULL, optional = FALSE, ...) {
  n <- nrow(x$draws) / x$chains
  out <- data.frame(chain = rep(seq_len(x$chains), each = n), draw = rep(seq_len(n), x$chains))
  cbind(out, as.data.frame(x$draws, optional = TRUE))
}

# The package posterior: iterations x chains x variables.
draws_array <- function(x) {
  n <- nrow(x$draws) / x$chains
  array(x$draws, c(n, x$chains, ncol(x$draws)),
        list(NULL, NULL, colnames(x$draws)))
}

#' @rawNamespace S3method(posterior::as_draws,softanneal_posterior)
as_draws.softanneal_posterior <- function(x, ...) posterior::as_draws_array(draws_array(x))

#' @rawNamespace S3method(posterior::as_draws_array,softanneal_posterior)
as_draws_array.softanneal_posterior <- as_draws.softanneal_posterior

#' @rawNamespace S3method(posterior::as_draws_df,softanneal_posterior)
as_draws_df.softanneal_posterior <- function(x, ...) posterior::as_draws_df(as_draws.softanneal_posterior(x))

#' @rawNamespace S3method(posterior::as_draws_matrix,softanneal_posterior)
as_draws_matrix.softanneal_posterior <- function(x, ...) {
  posterior::as_draws_matrix(as_draws.softanneal_posterior(x))
}

#' @rawNamespace S3method(posterior::as_draws_list,softanneal_posterior)
as_draws_list.softanneal_posterior <- function(x, ...) {
  posterior::as_draws_list(as_draws.softanneal_posterior(x))
}

#' @rawNamespace S3method(posterior::as_draws_rvars,softanneal_posterior)
as_draws_rvars.softanneal_posterior <- function(x, ...) {
  posterior::as_draws_rvars(as_draws.softanneal_posterior(x))
}
