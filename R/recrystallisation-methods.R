# Predictions, simulation, tables and plots of fit_recrystallisation().

# Fraction with limits made on the scale of ln(-ln(1 - X)), where the law is nearly linear.
recryst_prediction <- function(object, temp, time) {
  terms <- names(object$coefficients)
  law <- recryst_law(full_recryst(object$coefficients), time,
                     inverse_temperature(temp, object$temp_ref_c))
  moving <- object$states == "determined"
  g <- law$jac[, terms[moving], drop = FALSE]
  v <- object$vcov[moving, moving, drop = FALSE]
  se <- gradient_se(g, v)
  if (any(!object$states %in% c("determined", "fixed", "at lower bound", "at upper bound"))) {
    se[] <- NA_real_
  }
  list(x = law$x, se = se, eta = law$eta, se_eta = ifelse(law$per_eta > 0, se / law$per_eta, 0))
}

#' @rdname predict-fit
#' @export
predict.softanneal_fit_recrystallisation <- function(object, newdata = NULL,
                                                     interval = c("none", "confidence",
                                                                  "prediction"),
                                                     level = 0.95, se.fit = FALSE, ...) {
  check_dots_empty(...)
  interval <- check_choice(interval, c("none", "confidence", "prediction"), "interval")
  level <- check_level(level)
  se.fit <- check_flag(se.fit, "se.fit")
  seen <- object$data[object$columns[c("time", "temp")]]
  new <- if (is.null(newdata)) seen else {
    plain_newdata(newdata, object$columns[c("time", "temp")], list(time_column, temperature_column))
  }
  time <- new[[1L]]
  temp <- new[[2L]]
  if (!is.null(newdata)) {
    elsewhere <- other_temperature(object, temp)
    warn_beyond(list("deg C" = ifelse(elsewhere, NA, temp), min = ifelse(elsewhere, NA, time)),
                list("deg C" = range(seen[[2L]]), min = c(0, max(seen[[1L]]))))
  }
  part <- recryst_prediction(object, temp, time)
  fit <- part$x
  if (interval != "none") {
    t <- interval_t(object, level)
    limits <- if (interval == "confidence") {
      half <- t * part$se_eta
      cbind(-expm1(-exp(part$eta - half)), -expm1(-exp(part$eta + half)))
    } else {
      half <- t * sqrt(part$se^2 + fraction_variance(object, part$x))
      cbind(pmax(part$x - half, 0), pmin(part$x + half, 1))
    }
    fit <- cbind(fit = part$x, lwr = limits[, 1L], upr = limits[, 2L])
  }
  out <- if (se.fit) {
    list(fit = fit, se.fit = part$se, df = object$df_interval, residual.scale = object$sigma)
  } else fit
  out <- blank_prediction(out, other_temperature(object, temp),
                          paste("one temperature was measured,",
                                                 "so there is no prediction at other temperatures"))
  if (is.null(newdata)) pad_prediction(out, object$na.action) else out
}

# Variance of one new fraction (of case weight 1) about the curve.
fraction_variance <- function(object, x) {
  if (object$method == "double_log") return((object$sigma * (1 - x) * log1p(-x))^2)
  if (object$variance == "constant") return(rep(object$sigma^2, length(x)))
  object$sigma^2 * pmax(x * (1 - x), object$edge * (1 - object$edge))
}

# As of glm(): those given, in the order of the data, or those of the last round of reweighting.
#' @export
weights.softanneal_fit_recrystallisation <- function(object, type = c("prior", "working"), ...) {
  check_dots_empty(...)
  type <- check_choice(type, c("prior", "working"), "type")
  w <- if (type == "prior") object$case_weights else object$weights
  if (is.null(w)) NULL else stats::naresid(object$na.action, w)
}

#' @export
simulate.softanneal_fit_recrystallisation <- function(object, nsim = 1, seed = NULL, ...) {
  points <- (1 + object$phi) * (if (is.null(object$case_weights)) 1 else object$case_weights)
  if (object$variance != "proportional" || is.na(object$phi) || min(points[points > 0]) <= 1) {
    return(simulate.softanneal_fit(object, nsim, seed, ...))
  }
  check_dots_empty(...)
  nsim <- check_number(nsim, "nsim", 1, 1e6, whole = TRUE)
  state <- begin_seed(seed)
  on.exit(end_seed(state), add = TRUE)
  x <- object$fitted.values
  w <- if (is.null(object$case_weights)) 1 else object$case_weights
  phi <- pmax((1 + object$phi) * w - 1, 1e-3)
  sims <- lapply(seq_len(nsim), \(k) {
    new <- stats::rbeta(length(x), x * phi, (1 - x) * phi)
    new[object$case_weights == 0] <- NA_real_
    stats::naresid(object$na.action, new)
  })
  out <- as.data.frame(stats::setNames(sims, paste0("sim_", seq_len(nsim))))
  attr(out, "seed") <- state$attribute
  out
}

#' @export
format.softanneal_fit_recrystallisation <- function(x, ...) {
  paste0("<recrystallisation fit (", if (x$method == "direct") paste0(x$variance, " variance") else
    "double-log line", "): ", x$nobs, " values, ", x$estimated, " parameters",
    if (!x$convergence$converged) ", not converged", ">")
}

#' @export
augment.softanneal_fit_recrystallisation <- function(x, data = NULL, newdata = NULL,
                                                     interval = c("none", "confidence",
                                                                  "prediction"),
                                                     level = 0.95, ...) {
  out <- augment.softanneal_fit(x, data, newdata, interval, level, ...)
  # fitted values are fractions; so must the residuals be, also those of the double-log route
  if (is.null(newdata) && x$method == "double_log") {
    read <- stats::naresid(x$na.action, x$data[[x$columns[["fraction"]]]])
    out[[".resid"]] <- read - out[[".fitted"]]
  }
  out
}

#' @param object A fit of `fit_recrystallisation()`.
#' @param level Level of the band in the plot.
#' @param axes `"fraction"` for X over time, `"double_log"` for the straight lines of the Avrami
#'   plot (fractions of 0 and 1 have no place there; the caption counts them).
#' @rdname fit_recrystallisation
#' @method autoplot softanneal_fit_recrystallisation
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_recrystallisation)
autoplot.softanneal_fit_recrystallisation <- function(object, axes = c("fraction", "double_log"),
                                                      level = 0.95, ...) {
  check_dots_empty(...)
  axes <- check_choice(axes, c("fraction", "double_log"), "axes")
  level <- check_level(level)
  stretched <- axes == "double_log"
  columns <- object$columns
  points <- data.frame(time = object$data[[columns[["time"]]]],
                       temp = object$data[[columns[["temp"]]]],
                       x = object$data[[columns[["fraction"]]]])
  temps <- different_temperatures(points$temp)
  out <- if (stretched) points$x <= 0 | points$x >= 1 | points$time <= 0 else points$time <= 0
  lost <- sum(out)
  points <- points[!out, ]
  place <- function(x) if (stretched) log(-log1p(-x)) else x
  points$y <- place(points$x)
  points$temperature <- temperature_factor(points$temp, temps)
  span <- range(points$time)
  grid <- exp(seq(log(span[1L] / 1.5), log(span[2L] * 1.2), length.out = 160L))
  curve <- data.frame(time = rep(grid, length(temps)), temp = rep(temps, each = length(grid)))
  part <- recryst_prediction(object, curve$temp, curve$time)
  half <- interval_t(object, level) * part$se_eta
  low <- -expm1(-exp(part$eta - half))
  high <- -expm1(-exp(part$eta + half))
  curve$y <- if (stretched) part$eta else part$x
  curve$low <- if (stretched) part$eta - half else low
  curve$high <- if (stretched) part$eta + half else high
  curve$temperature <- temperature_factor(curve$temp, temps)
  if (stretched) {
    room <- range(points$y) + c(-0.6, 0.6)
    curve <- curve[is.finite(curve$y) & curve$y >= room[1L] & curve$y <= room[2L], ]
    curve$low <- pmax(curve$low, room[1L])
    curve$high <- pmin(curve$high, room[2L])
  }
  picture <- ggplot2::ggplot(curve, ggplot2::aes(.data[["time"]], .data[["y"]],
                                                 colour = .data[["temperature"]]))
  if (any(!is.na(curve$low))) {
    picture <- picture + ggplot2::geom_ribbon(
      ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]], fill = .data[["temperature"]]),
      alpha = 0.18, colour = NA, show.legend = FALSE)
  }
  title <- recryst_title(object)
  picture +
    ggplot2::geom_line(ggplot2::aes(linetype = .data[["temperature"]]), linewidth = 0.6) +
    ggplot2::geom_point(ggplot2::aes(shape = .data[["temperature"]]), data = points, size = 2.2) +
    ggplot2::scale_x_log10("Time at temperature (min, logarithmic)", breaks = log_breaks(span),
                           labels = axis_numbers) +
    temperature_scales(levels(points$temperature)) +
    ggplot2::labs(y = if (stretched) "ln(-ln(1 - X)), X recrystallised fraction (no unit)" else
      "Recrystallised fraction X (no unit)", title = title,
      caption = paste0("Points: data. Band: ", format(100 * level), " % of the curve.",
                       if (lost) paste0("\n", lost, if (lost == 1L) " row" else " rows", " (",
                                        if (stretched) "fraction 0 or 1, or ",
                                        "time zero) not drawn.")),
      alt = paste0("Recrystallised fraction", if (stretched) " on the double-log scale",
                   " over time in min, ", nrow(points), " values at ", length(temps),
                   if (length(temps) == 1L) " temperature" else " temperatures",
                   " with fitted curves. ", title, ".")) +
    plain_theme()
}

recryst_title <- function(fit) {
  se <- sqrt(diag(fit$vcov))
  b <- fit$coefficients
  paste0(if (fit$method == "direct") "Recrystallisation" else "Recrystallisation, double-log method",
         ": n ", with_error(b[["n"]], se[["n"]]), ", Q ",
         if (is.na(b[["q_kj_mol"]])) "not estimable from one temperature" else {
           with_error(b[["q_kj_mol"]], se[["q_kj_mol"]], "kJ/mol")
         })
}
