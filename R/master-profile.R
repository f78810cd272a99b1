# Profile of the constant of a master curve, intervals from it, and the plot of the curve.
# With the other parameters linear, each point of the profile is one QR decomposition.

#' @param fitted A fit of `fit_master_curve()`.
#' @param n_points Number of values of C.
#' @rdname fit_master_curve
#' @export
profile.softanneal_fit_master_curve <- function(fitted, n_points = 81, ...) {
  check_dots_empty(...)
  check_estimated_constant(fitted)
  n_points <- check_number(n_points, "n_points", 5, 1e5, whole = TRUE)
  m <- fitted$master
  best <- fitted$coefficients[["constant"]]
  limits <- constant_limits(fitted, 0.999)
  limits[!is.finite(limits)] <- m$range[!is.finite(limits)]
  values <- sort(unique(c(best, seq(limits[1L], limits[2L], length.out = n_points))))
  deviance <- profile_deviance(m$here, values, m$degree, m$errors_in)
  structure(data.frame(term = "constant", value = values, deviance = deviance,
                       tau = sign(values - best) *
                         sqrt(pmax(deviance - fitted$deviance, 0)) / fitted$sigma),
            class = c("softanneal_profile", "data.frame"))
}

check_estimated_constant <- function(fit) {
  if (!is.null(fit$master$held)) {
    abort("model", "the constant is fixed, so it has no profile", arg = "constant",
          remedy = "Fit with `constant = NULL`.")
  }
}

# Where the profile rises by t^2 variances; infinite where it does not within the range.
constant_limits <- function(fit, level) {
  m <- fit$master
  best <- fit$coefficients[["constant"]]
  t <- interval_t(fit, level)
  if (is.na(t) || is.na(fit$sigma)) return(c(NA_real_, NA_real_))
  rise <- function(c) profile_deviance(m$here, c, m$degree, m$errors_in) - fit$deviance -
    (t * fit$sigma)^2
  one_side <- function(end, none) {
    grid <- seq(best, end, length.out = 201L)[-1L]
    over <- which(vapply(grid, rise, 0) > 0)
    if (!length(over)) return(none)
    at <- over[1L]
    stats::uniroot(rise, sort(c(if (at == 1L) best else grid[at - 1L], grid[at])), tol = 1e-9)$root
  }
  c(one_side(m$range[1L], -Inf), one_side(m$range[2L], Inf))
}

#' @rdname fit-methods
#' @export
confint.softanneal_fit_master_curve <- function(object, parm, level = 0.95,
                                                method = c("wald", "profile", "boot"), ...) {
  check_dots_empty(...)
  level <- check_level(level)
  method <- check_choice(method, c("wald", "profile", "boot"), "method")
  parm <- parm_or_profiled(if (!missing(parm)) parm, names(object$coefficients), method, "constant")
  if (method != "profile") return(confint.softanneal_fit(object, parm, level, method))
  check_estimated_constant(object)
  if (!identical(parm, "constant")) {
    abort("model", "only the constant of a master curve has a profile", arg = "parm",
          remedy = "Ask for \"constant\", or use method = \"wald\".")
  }
  tail <- (1 - level) / 2
  matrix(constant_limits(object, level), 1L, dimnames = list(
    "constant", paste(format(100 * c(tail, 1 - tail), trim = TRUE, digits = 3), "%")))
}

#' @param object A fit of `fit_master_curve()`.
#' @param level Level of the band in the plot (for the curve, C fixed at its estimate).
#' @param unit Unit or scale of the response for the plot.
#' @rdname fit_master_curve
#' @method autoplot softanneal_fit_master_curve
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_master_curve)
autoplot.softanneal_fit_master_curve <- function(object, level = 0.95, unit = NULL, ...) {
  check_dots_empty(...)
  level <- check_level(level)
  m <- object$master
  c_used <- master_constant(object)
  points <- data.frame(p = master_parameter(m$here$temp, m$here$hours, c_used) / 1000,
                       response = m$here$response, temp = m$here$temp)
  temps <- different_temperatures(points$temp)
  points$temperature <- temperature_factor(points$temp, temps)
  curve <- master_band(object, level)
  band <- if (m$errors_in == "time") {
    ggplot2::geom_ribbon(ggplot2::aes(xmin = .data[["low"]], xmax = .data[["high"]],
                                      y = .data[["response"]]), data = curve, orientation = "y",
                         fill = INK, alpha = 0.2, inherit.aes = FALSE)
  } else {
    ggplot2::geom_ribbon(ggplot2::aes(.data[["p"]], ymin = .data[["low"]], ymax = .data[["high"]]),
                         data = curve, fill = INK, alpha = 0.2, inherit.aes = FALSE)
  }
  c_text <- if (is.null(m$held)) {
    with_error(c_used, sqrt(object$vcov["constant", "constant"]))
  } else paste("fixed at", format(c_used))
  title <- paste0("Master curve: C ", c_text, " (t in h)")
  ggplot2::ggplot(points, ggplot2::aes(.data[["p"]], .data[["response"]])) +
    (if (!all(is.na(curve$low))) band) +
    ggplot2::geom_path(data = curve[c("p", "response")], colour = INK, linewidth = 0.6) +
    ggplot2::geom_point(ggplot2::aes(colour = .data[["temperature"]],
                                     shape = .data[["temperature"]]), size = 2.4) +
    temperature_scales(levels(points$temperature), lines = FALSE) +
    ggplot2::labs(x = "Parameter P = T (C + log10 t) (1000 K)",
                  y = response_title(object$columns[["response"]], unit), title = title,
                  caption = paste0("Band: ", format(100 * level), " % of the curve, C fixed."),
                  alt = paste0(object$columns[["response"]],
                               " over the time-temperature parameter, ",
                               nrow(points), " points at ", length(temps),
                               " temperatures between P = ",
                               format_quantity(min(points$p)), " and ",
                               format_quantity(max(points$p)), " thousand K with one curve. ",
                               title,
                               ".")) +
    plain_theme()
}

# Curve and band over the data, from the polynomial alone (C held), P in thousands of K.
master_band <- function(object, level) {
  m <- object$master
  c_used <- master_constant(object)
  b <- object$coefficients[paste0("b", 0:m$degree)]
  line <- master_line(m$here, c_used, m$degree, m$errors_in, m$scaling)
  v <- object$sigma^2 * chol2inv(qr.R(line$qr))
  t <- interval_t(object, level)
  by_time <- m$errors_in == "time"
  x <- if (by_time) m$here$response else master_parameter(m$here$temp, m$here$hours, c_used)
  grid <- seq(min(x), max(x), length.out = 121L)
  z <- outer((grid - m$scaling[["centre"]]) / m$scaling[["width"]], 0:m$degree, `^`)
  value <- drop(z %*% b)
  half <- t * gradient_se(z, v)
  if (by_time) {
    return(data.frame(p = value / 1000, response = grid, low = (value - half) / 1000,
                      high = (value + half) / 1000))
  }
  data.frame(p = grid / 1000, response = value, low = value - half, high = value + half)
}
