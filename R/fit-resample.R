# Bootstrap of a softening fit: new readings drawn from the fit or from the data, refitted
# from the estimate by the compiled solver.

#' Bootstrap of a softening fit
#'
#' Checks standard errors and intervals of a fit by refitting new sets of readings, drawn from the fit or
#' from the data.
#'
#' @param fit A fit of [fit_softening()].
#' @param n_resamples Number of resamples.
#' @param type `"parametric"`: normal scatter of steps and readings about the curve, as
#'   [simulate()] draws it. `"residual"`: the residuals of whole steps, enlarged for
#'   their leverage, moved to other steps, with the scatter of the readings within them.
#'   `"case"`: whole steps drawn with replacement, temperature by temperature (and
#'   strain by strain); a warning says where a temperature has fewer than 10 steps: the errors are
#'   then far too large (up to seven steps 2 to 100 times, with ten 1.1 to 1.5 times those of the fit).
#' @param seed `NULL` for the session's random numbers, or one whole number; then
#'   `.Random.seed` is restored.
#' @param ... Must be empty.
#' @return A list of class `softanneal_resample`: `estimates` (matrix, one row per resample,
#'   one column per parameter), `failed` (number of resamples without a converged fit; their
#'   rows are `NA` and one warning counts them), `type`, `n_resamples`, `seed`.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()],
#'   `softanneal_error_range` for too few or too many resamples.
#' @source Davison A C, Hinkley D V (1997) Bootstrap Methods and their Application
#'   \doi{10.1017/CBO9780511802843}, chapters 3 and 6.
#' @seealso [softening-inference], [fit-methods], [profile.softanneal_fit_softening()]
#' @examples
#' tungsten <- example_data("tungsten")
#' fit <- fit_softening(tungsten)
#' resample_fit(fit, n_resamples = 50, seed = 1)
#' @export
resample_fit <- function(fit, n_resamples = 999, type = c("parametric", "residual", "case"), ...,
                         seed = NULL) {
  check_dots_empty(...)
  check_softening(fit)
  no_limits(fit, "there is no bootstrap", "fit")
  n_resamples <- check_number(n_resamples, "n_resamples", 1, 1e6, whole = TRUE)
  type <- check_choice(type, c("parametric", "residual", "case"), "type")
  if (type == "case") tell_few_steps(fit)
  state <- begin_seed(seed)
  on.exit(end_seed(state), add = TRUE)
  draw <- resampler(fit, type)
  set <- fit$settings$set
  # the batch knows the plain models at constant temperature
  plain <- set$kind == model_code(fit$model) && !is_grouped(fit)
  estimates <- if (plain && is.null(fit$readings$history) && fit$loss == "squares") {
    refit_many(fit, type, draw, n_resamples)
  } else {
    refit_each(fit, draw, n_resamples)
  }
  colnames(estimates) <- names(fit$par)
  estimates[, set$no_energy] <- NA_real_
  failed <- sum(is.na(estimates[, 1L]))
  if (failed > 0L) {
    warn("fit", paste0(failed, " of ", n_resamples, " resamples did not converge and are NA."), n = failed)
  }
  out <- list(estimates = estimates, failed = failed, type = type, n_resamples = n_resamples, seed = seed)
  out$property <- property_of(fit)
  structure(out, class = "softanneal_resample")
}

# Steps drawn with replacement leave whole parts of a short curve unseen.
FEW_STEPS <- 10L

tell_few_steps <- function(fit) {
  after <- fit$readings$time_min > 0
  at <- unique(data.frame(temp_k = fit$readings$temp_k, step = fit$conditions$cluster_of)[after, ])
  each <- tabulate(match(at$temp_k, unique(at$temp_k))) + !all(after) # as rolled is a step of each
  if (min(each) < FEW_STEPS) {
    warn("fit", paste0("Some temperature has only ", count(min(each), "step"), ": drawn with ",
                       "replacement they leave parts of its curve unseen, and errors of the case ",
                       "bootstrap come out far too large. Use type = \"parametric\" or \"residual\"."),
         n = min(each))
  }
}

# Estimates of the resamples one by one.
refit_each <- function(fit, draw, n_resamples) {
  control <- control_vector(fit$settings$control, fit$loss)
  start <- unname(fit$par)
  estimates <- matrix(NA_real_, n_resamples, length(start))
  for (k in seq_len(n_resamples)) {
    r <- run_softening(draw(), fit$settings$set, control, start)
    if (has_converged(r$counts[["end"]])) estimates[k, ] <- r$par
  }
  estimates
}

# The same in compiled calls over many resamples; blocks bound the memory.
refit_many <- function(fit, type, draw, n_resamples) {
  given <- fit$settings$set
  set <- list(kind = given$kind, terms = given$terms, se = "model", automatic = FALSE,
              level = fit$level, any_value = TRUE,
              ref_k = fit$readings$ref_k, start = unname(fit$par), held = given$held != 0L,
              lower = given$lower, upper = given$upper, natural = given$natural != 0L, use_start = TRUE,
              infer = FALSE, control = control_vector(fit$settings$control, fit$loss))
  estimates <- matrix(NA_real_, n_resamples, length(fit$par))
  block <- max(1L, min(n_resamples, floor(5e5 / fit$readings$n)))
  for (from in seq(1L, n_resamples, by = block)) {
    part <- from:min(n_resamples, from + block - 1L)
    r <- run_batch(if (type == "parametric" && is.null(fit$errors)) parametric_block(fit, length(part)) else {
      resample_block(draw, length(part))
    }, set, 1L)
    good <- has_converged(group_count(r, "end"))
    estimates[part[good], ] <- t(r$par[, good, drop = FALSE])
  }
  estimates
}

# Readings of some resamples, one after the other, as the compiled call takes them.
resample_block <- function(draw, n_resamples) {
  d <- lapply(seq_len(n_resamples), function(k) draw())
  field <- function(name) unlist(lapply(d, `[[`, name), use.names = FALSE)
  size <- vapply(d, `[[`, 1L, "n")
  list(temp_c = field("temp_k") - ZERO_CELSIUS, time_min = field("time_min"),
       hardness = field("hardness"), weights = field("weights"),
       first = cumsum(c(0L, size[-length(size)])), size = size)
}

# The same for parametric resamples, all drawn at once: the very numbers, in the very order, of
# one resample after the other.
parametric_block <- function(fit, n_resamples) {
  d <- fit$readings
  e <- error_components(fit)
  cluster <- fit$conditions$cluster_of + 1L
  steps <- if (e$step > 0) max(cluster) else 0L
  z <- matrix(stats::rnorm(n_resamples * (steps + d$n)), steps + d$n)
  y <- fit$fitted.values +
    reading_sd(e$reading, d$weights) * z[steps + seq_len(d$n), , drop = FALSE]
  if (steps > 0L) y <- y + e$step * z[cluster, , drop = FALSE]
  list(temp_c = rep(d$temp_k - ZERO_CELSIUS, n_resamples), time_min = rep(d$time_min, n_resamples),
       hardness = as.vector(y), weights = if (!is.null(d$weights)) rep(d$weights, n_resamples),
       first = (seq_len(n_resamples) - 1L) * d$n, size = rep(d$n, n_resamples))
}

# A function that returns the readings of one resample.
resampler <- function(fit, type) {
  d <- fit$readings
  fitted <- fit$fitted.values
  cluster <- fit$conditions$cluster_of + 1L
  w <- if (is.null(d$weights)) rep(1, d$n) else d$weights
  if (type == "parametric" && !is.null(fit$errors)) {
    new <- components_draw(fit)
    return(function() {
      d$hardness <- new()
      d
    })
  }
  if (type == "parametric") {
    e <- error_components(fit)
    sd_reading <- reading_sd(e$reading, d$weights)
    return(function() {
      step <- if (e$step > 0) stats::rnorm(max(cluster), sd = e$step)[cluster] else 0
      d$hardness <- fitted + step + stats::rnorm(d$n, sd = sd_reading)
      d
    })
  }
  total <- rowsum(w, cluster)[, 1L]
  centre <- rowsum(w * fit$residuals, cluster)[, 1L] / total
  if (type == "residual") {
    share <- rowsum(w * leverage(fit) / w, cluster)[, 1L] # leverage of the whole treatment
    raised <- centre / sqrt(pmax(1 - share, 1e-6))
    raised <- raised - sum(total * raised) / sum(total)
    within <- fit$residuals - centre[cluster]
    sizes <- tabulate(cluster)
    return(function() {
      within_new <- within
      if (any(sizes > 1L)) {
        sd <- sqrt(sum(w * within^2) / (d$n - length(sizes)))
        within_new <- stats::rnorm(d$n, sd = reading_sd(sd, w))
        within_new <- within_new - (rowsum(w * within_new, cluster)[, 1L] / total)[cluster]
      }
      d$hardness <- fitted + sample(raised, replace = TRUE)[cluster] + within_new
      d
    })
  }
  rows <- split(seq_len(d$n), cluster)
  first <- vapply(rows, `[`, 0L, 1L)
  oven <- if (is.null(d$strain_ln)) d$temp_k[first] else paste(d$temp_k[first], d$strain_ln[first])
  groups <- split(seq_along(rows), oven)
  function() {
    pick <- unlist(lapply(groups, function(g) g[sample.int(length(g), replace = TRUE)]),
                   use.names = FALSE)
    new <- rows[pick]
    take <- unlist(new, use.names = FALSE)
    take_readings(d, take, rep.int(seq_along(new), lengths(new)))
  }
}

#' @export
print.softanneal_resample <- function(x, digits = 4, ...) {
  cat(x$n_resamples, " ", x$type, " resamples", if (x$failed) paste0(", ", x$failed, " failed"), "\n",
      sep = "")
  probs <- c(0.025, 0.5, 0.975)
  q <- t(apply(x$estimates, 2L, stats::quantile, probs = probs, na.rm = TRUE))
  print(signif(cbind(q, sd = apply(x$estimates, 2L, stats::sd, na.rm = TRUE)), digits))
  invisible(x)
}

#' @export
as.data.frame.softanneal_resample <- function(x, ...) as.data.frame(x$estimates)

#' @rdname resample_fit
#' @param object,x What `resample_fit()` returned.
#' @method autoplot softanneal_resample
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_resample)
autoplot.softanneal_resample <- function(object, ...) {
  check_dots_empty(...)
  m <- object$estimates
  moving <- apply(m, 2L, function(x) isTRUE(stats::sd(x, na.rm = TRUE) > 0))
  m <- m[, moving, drop = FALSE]
  if (ncol(m) == 0L) {
    abort("too_few", "no parameter varies between the resamples", arg = "object",
          remedy = "Draw more resamples, or let more parameters move.")
  }
  label <- property_labels(colnames(m), object$property)
  d <- data.frame(term = factor(rep(label, each = nrow(m)), label),
                  value = as.vector(m))
  d <- d[!is.na(d$value), ]
  q <- apply(m, 2L, stats::quantile, probs = c(0.025, 0.975), na.rm = TRUE)
  ends <- data.frame(term = factor(rep(label, each = 2L), label), value = as.vector(q))
  ggplot2::ggplot(d, ggplot2::aes(.data[["value"]])) +
    ggplot2::geom_histogram(bins = 30, fill = MAIN_COLOUR, colour = "white", linewidth = 0.2) +
    ggplot2::geom_vline(ggplot2::aes(xintercept = .data[["value"]]), data = ends, linetype = "22",
                        colour = SECOND_COLOUR) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["term"]]), scales = "free_x") +
    ggplot2::labs(x = "Estimate (unit of the parameter)", y = "Resamples (number)",
                  title = paste0("Bootstrap: ", object$n_resamples, " ", object$type, " resamples"),
                  caption = "Dashed: 2.5 and 97.5 % of the resamples.",
                  alt = paste0("Histograms of ", nrow(m), " bootstrap estimates of ",
                               paste(label, collapse = ", "), ".")) +
    plain_theme() + ggplot2::theme(panel.spacing.x = grid::unit(1.2, "lines"))
}

#' @rdname resample_fit
#' @export
plot.softanneal_resample <- draw_picture
