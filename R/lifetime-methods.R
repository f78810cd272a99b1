# Methods of lifetime fits where likelihood takes the place of least squares, and their plot.

#' @rdname predict-fit
#' @param p For a lifetime fit: share of the specimens that has had the event; one number, or one a
#'   row (a single row is repeated for several).
#' @export
predict.softanneal_fit_lifetime <- function(object, newdata = NULL, p = 0.5,
                                            interval = c("none", "confidence", "prediction"),
                                            level = 0.95, se.fit = FALSE, ...) {
  check_dots_empty(...)
  interval <- check_choice(interval, c("none", "confidence", "prediction"), "interval")
  level <- check_level(level)
  se.fit <- check_flag(se.fit, "se.fit")
  p <- check_numeric(p, "p", 0, 1, open = TRUE)
  temp <- if (is.null(newdata)) object$lives$temp else {
    check_data(newdata, "newdata", rows = FALSE)
    temperature_column(newdata, object$columns[["temp"]], "newdata")
  }
  if (!is.null(newdata)) {
    warn_beyond(list("deg C" = ifelse(untold_temperature(object, temp), NA, temp)),
                list("deg C" = range(object$lives$temp)))
  }
  x <- common_length(temp = temp, p = p)
  if (interval == "prediction" && any(x$p != 0.5)) {
    abort("argument", "a prediction interval is for one new specimen, so `p` has no meaning",
          arg = "p", remedy = "Leave `p` out.")
  }
  part <- lifetime_line(object, x$temp, x$p)
  fit <- exp(part$ln_time)
  if (interval != "none") {
    z <- stats::qnorm(0.5 + level / 2)
    ends <- if (interval == "confidence") outer(part$se, c(-z, z)) else {
      new_piece_ends(object, part$se, level)
    }
    fit <- cbind(fit = fit, lwr = exp(part$ln_time + ends[, 1L]),
                 upr = exp(part$ln_time + ends[, 2L]))
  }
  out <- if (se.fit) list(fit = fit, se.fit = exp(part$ln_time) * part$se, df = Inf,
                          residual.scale = object$sigma) else fit
  out <- blank_prediction(out, untold_temperature(object, x$temp), paste(
    "the event came at one temperature only: no prediction at other temperatures"))
  if (is.null(newdata) && length(p) == 1L) pad_prediction(out, object$na.action) else out
}

# Ends of the interval of one new specimen about its median, scatter and error of the line added.
new_piece_ends <- function(object, se, level) {
  tail <- (1 - level) / 2
  centre <- lifetime_quantile(object$distribution, 0.5)
  reach <- object$sigma * (lifetime_quantile(object$distribution, c(tail, 1 - tail)) - centre)
  z <- stats::qnorm(0.5 + level / 2)
  cbind(-sqrt(reach[1L]^2 + (z * se)^2), sqrt(reach[2L]^2 + (z * se)^2))
}

# ln of the quantile and its standard error.
lifetime_line <- function(object, temp, p) {
  e <- -inverse_temperature(temp, object$temp_ref_c)
  w <- lifetime_quantile(object$distribution, p)
  b <- object$coefficients
  g <- cbind(ln_t_ref = 1, q_kj_mol = e, scale = w)[, names(b), drop = FALSE]
  v <- object$vcov
  if (is.na(v["q_kj_mol", "q_kj_mol"])) v["q_kj_mol", ] <- v[, "q_kj_mol"] <- 0
  ln_time <- lifetime_location(b, e) + w * object$sigma
  ln_time[is.na(temp) | untold_temperature(object, temp)] <- NA_real_
  list(ln_time = ln_time, se = gradient_se(g, v))
}

# A fit without a value of Q still tells times at the only temperature with events.
untold_temperature <- function(object, temp) {
  if (object$direction == 0L) return(other_temperature(object, temp))
  at <- object$lives$temp[object$lives$event & object$lives$w > 0][1L]
  !is.na(temp) & !same_temperature(temp, at)
}

#' @export
logLik.softanneal_fit_lifetime <- function(object, ...) {
  structure(-object$deviance / 2, df = object$estimated, nobs = object$nobs, class = "logLik")
}

#' @export
residuals.softanneal_fit_lifetime <- function(object, type = c("response", "pearson",
                                                                "standardized"), ...) {
  type <- check_choice(type, c("response", "pearson", "standardized"), "type")
  r <- object$residuals
  if (type != "response") r <- r / object$sigma
  if (type == "pearson" && !is.null(object$weights)) r <- r * sqrt(object$weights)
  stats::naresid(object$na.action, r)
}

#' @export
confint.softanneal_fit_lifetime <- function(object, parm, level = 0.95,
                                            method = c("wald", "profile", "boot"), ...) {
  check_dots_empty(...)
  level <- check_level(level)
  method <- check_choice(method, c("wald", "profile", "boot"), "method")
  parm <- parm_or_profiled(if (!missing(parm)) parm, names(object$coefficients), method, "q_kj_mol")
  if (method == "boot") {
    abort("model", "bootstrap is unavailable for lifetime fits", arg = "method",
          remedy = "Use \"wald\" or \"profile\".")
  }
  if (method == "wald") {
    return(confint.softanneal_fit(with_lifetime_limits(object, level), parm, level))
  }
  if (!identical(parm, "q_kj_mol") || is.na(object$coefficients[["q_kj_mol"]])) {
    abort("model", "only an estimated activation energy has a profile", arg = "parm",
          remedy = "Ask for \"q_kj_mol\", or use method = \"wald\".")
  }
  tail <- (1 - level) / 2
  matrix(lifetime_profile_limits(object, level), 1L, dimnames = list("q_kj_mol", paste(
    format(100 * c(tail, 1 - tail), trim = TRUE, digits = 3), "%")))
}

lifetime_profile_limits <- function(object, level) {
  if (object$direction != 0L) return(with_lifetime_limits(object, level)$limits["q_kj_mol", ])
  q <- object$coefficients[["q_kj_mol"]]
  drop <- function(x) -object$deviance - 2 * lifetime_profile(object$lives, x) -
    stats::qchisq(level, 1)
  reach <- 2 * sqrt(object$vcov["q_kj_mol", "q_kj_mol"])
  vapply(c(-1, 1), \(side) {
    far <- q + side * reach
    for (k in 1:30) {
      if (drop(far) > 0) return(stats::uniroot(drop, sort(c(q, far)), tol = 1e-9)$root)
      far <- far + side * reach * k
    }
    side * Inf
  }, 0)
}

#' @export
tidy.softanneal_fit_lifetime <- function(x, conf.int = FALSE, conf.level = 0.95, ...) {
  level <- check_level(conf.level, "conf.level")
  tidy.softanneal_fit(with_lifetime_limits(x, level), conf.int, level, ...)
}

#' @export
anova.softanneal_fit_lifetime <- function(object, ...) {
  fits <- c(list(object), list(...))
  ok <- vapply(fits, inherits, NA, "softanneal_fit_lifetime")
  laws <- vapply(fits, \(f) if (is.null(f$distribution)) "" else f$distribution, "")
  if (length(fits) != 2L || !all(ok) || !setequal(laws, c("exponential", "weibull"))) {
    abort("model", "`anova()` compares one exponential with one Weibull fit", arg = "...",
          remedy = "Other laws are not nested: use AIC().")
  }
  if (!isTRUE(all.equal(fits[[1L]]$lives[c("y", "temp", "event", "w")],
                        fits[[2L]]$lives[c("y", "temp", "event", "w")]))) {
    abort("model", "the fits do not use the same times", arg = "...",
          remedy = "Fit both laws to the same data.")
  }
  fits <- fits[order(laws)]
  value <- vapply(fits, \(f) -f$deviance / 2, 0)
  chi <- max(2 * diff(value), 0)
  out <- data.frame(logLik = value, Df = c(NA, 1), Chisq = c(NA, chi),
                    "Pr(>Chisq)" = c(NA, stats::pchisq(chi, 1, lower.tail = FALSE)),
                    check.names = FALSE, row.names = sort(laws))
  structure(out, heading = "Likelihood ratio of nested laws\n", class = c("anova", "data.frame"))
}

#' @export
simulate.softanneal_fit_lifetime <- function(object, nsim = 1, seed = NULL, ...) {
  check_dots_empty(...)
  nsim <- check_number(nsim, "nsim", 1, 1e6, whole = TRUE)
  state <- begin_seed(seed)
  on.exit(end_seed(state), add = TRUE)
  centre <- log(object$fitted.values) - lifetime_quantile(object$distribution, 0.5) * object$sigma
  sims <- lapply(seq_len(nsim), \(k) {
    w <- lifetime_quantile(object$distribution, stats::runif(length(centre)))
    stats::naresid(object$na.action, exp(centre + object$sigma * w))
  })
  out <- as.data.frame(stats::setNames(sims, paste0("sim_", seq_len(nsim))))
  attr(out, "seed") <- state$attribute
  out
}

#' @export
family.softanneal_fit_lifetime <- function(object, ...) {
  abort("model", "a lifetime fit has no family of a linear model", arg = "object",
        remedy = "Its law is in `object$distribution`.")
}

#' @export
format.softanneal_fit_lifetime <- function(x, ...) {
  paste0("<lifetime fit (", x$distribution, "): ", format(x$nobs), " specimens, ", format(x$events),
         " events, ", x$estimated, " parameters",
         if (!x$convergence$converged) ", not converged", ">")
}

#' @export
print.softanneal_fit_lifetime <- function(x, digits = max(3L, getOption("digits") - 3L), ...) {
  cat(strwrap(header_lines(x), width = 0.95 * getOption("width"), exdent = 2), sep = "\n")
  cat("\n")
  print_table(estimate_table(x))
  cat("\nLog-likelihood ", format(-x$deviance / 2, digits = digits + 3L), "\n",
      if (x$convergence$converged) "Converged: " else "Not converged: ", x$convergence$end, " (",
      x$convergence$iterations, " iterations)\n", sep = "")
  remarks <- fit_remarks(x)
  if (length(remarks)) cat("\n", paste0(strwrap(remarks, exdent = 2), "\n"), sep = "")
  invisible(x)
}

#' @export
summary.softanneal_fit_lifetime <- function(object, ...) {
  out <- summary.softanneal_fit(object, ...)
  colnames(out$coefficients)[3:4] <- c("z value", "Pr(>|z|)")
  out$log_likelihood <- -object$deviance / 2
  class(out) <- c("summary.softanneal_fit_lifetime", class(out))
  out
}

#' @export
print.summary.softanneal_fit_lifetime <- function(x, digits = max(3L, getOption("digits") - 3L),
                                                  ...) {
  cat(strwrap(x$header, width = 0.95 * getOption("width"), exdent = 2), sep = "\n")
  cat("\n")
  stats::printCoefmat(x$coefficients, digits = digits, na.print = "-", signif.stars = FALSE)
  cat("\n95 % intervals (normal):\n")
  print_table(x$intervals[, 4L, drop = FALSE])
  cat("\nLog-likelihood ", format(x$log_likelihood, digits = digits + 3L), " with ", x$df[1L],
      " parameters\n", if (x$convergence$converged) "Converged: " else "Not converged: ",
      x$convergence$end, " (", x$convergence$iterations, " iterations)\n", sep = "")
  if (length(x$remarks)) cat(paste0(strwrap(x$remarks, exdent = 2), "\n"), sep = "")
  invisible(x)
}

#' @param object A fit of `fit_lifetime()`.
#' @param level Level of the band in the plot.
#' @param unit Unit of the times for the plot.
#' @rdname fit_lifetime
#' @method autoplot softanneal_fit_lifetime
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_lifetime)
autoplot.softanneal_fit_lifetime <- function(object, level = 0.95, unit = "min", ...) {
  check_dots_empty(...)
  level <- check_level(level)
  unit <- check_string(unit, "unit")
  l <- object$lives
  inverse <- function(temp_c) 1000 / (temp_c + ZERO_CELSIUS)
  kinds <- c("event", "still running (time is longer)")
  points <- data.frame(x = inverse(l$temp), time = exp(l$y),
                       kind = factor(kinds[2L - l$event], kinds))[l$w > 0, ]
  grid <- if (one_temperature(l$temp)) l$temp[1L] else temperature_grid(l$temp)
  part <- lifetime_line(object, grid, rep(0.5, length(grid)))
  z <- stats::qnorm(0.5 + level / 2)
  line <- data.frame(x = inverse(grid), time = exp(part$ln_time),
                     low = exp(part$ln_time - z * part$se),
                     high = exp(part$ln_time + z * part$se))
  line <- line[!is.na(line$time), ]
  ticks <- pretty(l$temp, 5)
  ticks <- ticks[ticks >= min(grid) & ticks <= max(grid)]
  q <- object$coefficients[["q_kj_mol"]]
  q_text <- if (is.na(q)) "not estimable from one temperature" else if (object$direction != 0L) {
    paste0(if (object$direction > 0L) "at least " else "at most ", format_quantity(q), " kJ/mol")
  } else with_error(q, sqrt(object$vcov["q_kj_mol", "q_kj_mol"]), "kJ/mol")
  picture <- ggplot2::ggplot(line, ggplot2::aes(.data[["x"]], .data[["time"]]))
  if (nrow(line) > 1L && !all(is.na(line$low))) {
    picture <- picture + ggplot2::geom_ribbon(
      ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]]), fill = MAIN_COLOUR,
      alpha = 0.18)
  }
  if (nrow(line) > 1L) {
    picture <- picture + ggplot2::geom_line(colour = MAIN_COLOUR, linewidth = 0.6)
  }
  picture +
    ggplot2::geom_point(ggplot2::aes(shape = .data[["kind"]], colour = .data[["kind"]]),
                        data = points, size = 2.2) +
    ggplot2::scale_shape_manual("Piece", values = stats::setNames(c(16, 2), kinds), drop = FALSE) +
    ggplot2::scale_colour_manual("Piece", values = stats::setNames(c(MAIN_COLOUR, SECOND_COLOUR),
                                                                   kinds), drop = FALSE) +
    ggplot2::scale_x_continuous("Inverse temperature 1000/T (1/K)",
                                sec.axis = ggplot2::sec_axis(~., breaks = inverse(ticks),
                                                             labels = ticks,
                                                             name = "Temperature (\u00b0C)")) +
    ggplot2::scale_y_log10(paste0("Time (", unit, ", logarithmic)"),
                           breaks = log_breaks(range(points$time, line$time)),
                           labels = plain_numbers) +
    ggplot2::labs(title = paste0("Times to the event, ", object$distribution, ": Q ", q_text),
                  caption = if (nrow(line) < 2L) "No line: the data give no value of Q." else {
                    paste0("Line: median. Band: ", format(100 * level), " % of the median.")
                  },
                  alt = paste0("Times in ", unit, " over inverse temperature, ", sum(l$event),
                               " rows with events and ", sum(!l$event), " censored rows at ",
                               length(unique(signif(l$temp, 12))),
                               " temperatures; activation energy ",
                               q_text, ".")) +
    plain_theme() +
    ggplot2::theme(legend.position = "bottom")
}
