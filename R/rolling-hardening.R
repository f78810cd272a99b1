# Hardness or strength against strain of cold work: saturating (Voce) and power laws (Hollomon,
# Swift), fitted by the least-squares core with starting values from the data. Strain without
# unit; response in the unit or scale of its column, best one linear in strength (HV, MPa).

# Right-hand sides; `x` stands for the strain column.
HARDENING_MODELS <- list(
  voce = quote(h_sat - (h_sat - h_0) * exp(-x / strain_c)),
  swift = quote(k * (strain_0 + x)^n),
  hollomon = quote(k * x^n))

# Minimum strain offset of the Swift law: at zero its slope against n has no value.
LEAST_OFFSET <- 1e-6

#' Hardening curve of cold work
#'
#' Fits hardness or strength against the strain of cold work.
#'
#' | `model` | law | source |
#' |---|---|---|
#' | `"voce"` | `h_sat - (h_sat - h_0) exp(-strain/strain_c)` | Voce, J. Inst. Met. 74 (1948) 537 |
#' | `"swift"` | `k (strain_0 + strain)^n` | Swift, J. Mech. Phys. Solids 1 (1952) 1 |
#' | `"hollomon"` | `k strain^n` | Hollomon, Trans. AIME 162 (1945) 268 |
#'
#' (Sources from memory.) Voce's law saturates at `h_sat`; a power law goes on rising.
#' Hollomon's law is zero at zero strain, so readings of the annealed strip are refused with it;
#' Swift's offset stands for the hardness before rolling. Compare the laws on the same data by
#' `AIC(fit_1, fit_2)`: smaller is better, differences below 2 are not meaningful. Hollomon within Swift
#' is nested: [anova()].
#'
#' Fit a response that is linear in strength: HV, or MPa. On Rockwell scales the curve bends
#' by the scale ([convert_hardness()]). Readings of one pass share the strip and its
#' measured thickness, so they are not independent: fit the means of the passes, or take the
#' standard errors as too small. Starting values are optional; several are tried.
#'
#' @param data A data frame, one row per reading or mean; such as [cold_work()] with a hardness
#'   column.
#' @param hardness Column of hardness or strength; bare or quoted. Above zero.
#' @param strain Column of strains, zero or more; by default that of [cold_work()].
#' @param model Law, see Details.
#' @param weights Case weights, such as 1/u^2; `NULL` for equal.
#' @param na.action,control As in [fit_least_squares()].
#' @param ... Must be empty.
#' @return An object of class `softanneal_fit_hardening` over `softanneal_fit_least_squares` and
#'   `softanneal_fit`, with all methods of [fit_least_squares()] and a plot. `h_sat`, `h_0`
#'   and `k` are in the unit of the response, the others have none. With strains far below
#'   saturation `h_sat` is poorly determined, and its interval shows it.
#' @details Errors: `softanneal_error_too_few` with fewer different strains than parameters;
#'   `softanneal_error_range` for negative strains, hardness that is not positive, or zero strain
#'   with `"hollomon"`; `softanneal_error_column` for missing columns or one named like a
#'   parameter.
#' @seealso [cold_work()], [fit_least_squares()]
#' @examples
#' # Tensile strength of C26000 by reduction (copper association design guide)
#' brass <- data.frame(reduction_pct = c(11, 21, 37, 50, 60),
#'                     strength_ksi = c(54, 62, 76, 86, 94))
#' brass$effective_strain <- 2 / sqrt(3) * log(1 / (1 - brass$reduction_pct / 100))
#' voce <- fit_hardening(brass, hardness = strength_ksi)
#' swift <- fit_hardening(brass, hardness = strength_ksi, model = "swift")
#' voce
#' AIC(voce, swift)
#' predict(voce, data.frame(effective_strain = 0.6), interval = "confidence")
#' @export
fit_hardening <- function(data, hardness = hardness, strain = effective_strain, ...,
                          model = c("voce", "swift", "hollomon"), weights = NULL,
                          na.action = stats::na.exclude, control = fit_control()) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_hardening")
  response <- column_name(rlang::enquo(hardness))
  predictor <- column_name(rlang::enquo(strain))
  model <- check_choice(model, names(HARDENING_MODELS), "model")
  check_data(data, groups = FALSE)
  weights <- weights_in(rlang::enquo(weights), data)
  terms <- setdiff(all.vars(HARDENING_MODELS[[model]]), "x")
  clash <- intersect(c(response, predictor), terms)
  if (length(clash)) {
    abort("column", paste0("column ", in_quotes(clash, " and "), " has the name of a parameter"),
          arg = clash[1L], remedy = "Rename it.")
  }
  y <- numeric_column(data, response, lower = 0, open = TRUE, na = TRUE)
  x <- numeric_column(data, predictor, lower = 0, na = TRUE)
  percent <- which(x > 6 | (grepl("_pct$", predictor) & x > 0))
  if (length(percent)) {
    abort("range", paste0("column `", predictor, "` holds ", format(x[percent[1L]]), ", which is no strain; ",
                          format(x[percent[1L]]), " %?"), arg = predictor, rows = percent,
          remedy = paste("Give the effective strain, 2 / sqrt(3) * log(100 / (100 - reduction_pct));",
                         "see `cold_work()`."))
  }
  known <- !is.na(x) & !is.na(y)
  unstrained <- which(x == 0 & known)
  if (model == "hollomon" && length(unstrained)) {
    abort("range", paste0("Hollomon's law is zero at zero strain, and column `", predictor,
                          "` has zero"), arg = predictor, rows = unstrained,
          remedy = "Leave the annealed readings out, or use `model = \"swift\"`.")
  }
  if (length(unique(x[known])) < length(terms)) {
    abort("too_few", paste0("there are ", length(unique(x[known])), " different strains for ",
                            length(terms), " parameters"), arg = predictor,
          remedy = "Measure after more passes, or choose a law with fewer parameters.")
  }
  law <- do.call(substitute, list(HARDENING_MODELS[[model]], list(x = as.name(predictor))))
  formula <- stats::as.formula(call("~", as.name(response), law), env = baseenv())
  lower <- c(h_sat = 0, h_0 = 0, strain_c = 1e-6, k = 0, n = -Inf, strain_0 = LEAST_OFFSET)[terms]
  fit <- rlang::inject(fit_least_squares(
    formula, hardening_start(x[known], y[known], model)[terms], lower = lower, weights = !!weights,
    data = as.data.frame(data)[c(response, predictor)], na.action = na.action, control = control))
  fit$call <- call
  fit$model <- model
  class(fit) <- c("softanneal_fit_hardening", class(fit))
  fit
}

# Starting values: for each value of the one parameter that is not linear (after taking
# logarithms for the power laws) the others follow from a straight line; the best of a grid.
hardening_start <- function(x, y, model) {
  if (model == "hollomon") return(power_line(x, y, 0)$par)
  span <- max(x)
  grid <- span * 2^seq(-5, 3, 0.5)
  tried <- lapply(grid, if (model == "voce") \(g) voce_line(x, y, g) else \(g) power_line(x, y, g))
  tried[[which.min(vapply(tried, `[[`, 0, "rss"))]]$par
}

voce_line <- function(x, y, strain_c) {
  line <- stats::lm.fit(cbind(1, exp(-x / strain_c)), y)
  b <- line$coefficients
  # the line has h_sat as intercept and h_0 - h_sat as slope; both start inside their bounds
  list(par = c(h_sat = max(b[[1L]], 1e-3 * max(y)), h_0 = max(b[[1L]] + b[[2L]], 1e-3 * max(y)),
               strain_c = strain_c), rss = sum(line$residuals^2))
}

power_line <- function(x, y, strain_0) {
  line <- stats::lm.fit(cbind(1, log(strain_0 + x)), log(y))
  b <- line$coefficients
  k <- exp(b[[1L]])
  list(par = c(k = k, n = b[[2L]], strain_0 = strain_0),
       rss = sum((y - k * (strain_0 + x)^b[[2L]])^2))
}

#' @export
header_lines.softanneal_fit_hardening <- function(x) {
  words <- c(voce = "saturating (Voce)", swift = "power law with offset (Swift)",
             hollomon = "power law (Hollomon)")
  c(paste0("Hardening curve, ", words[[x$model]]),
    paste(deparse(x$formula, width.cutoff = 200L), collapse = " "), count_line(x))
}

#' @param object A fit of `fit_hardening()`.
#' @param level Level of the band in the plot.
#' @rdname fit_hardening
#' @method autoplot softanneal_fit_hardening
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_hardening)
autoplot.softanneal_fit_hardening <- function(object, level = 0.95, ...) {
  check_dots_empty(...)
  names <- c(all.vars(object$formula[[2L]]), setdiff(all.vars(object$formula[[3L]]),
                                                     names(object$coefficients)))
  points <- data.frame(strain = object$data[[names[2L]]], value = object$data[[names[1L]]])
  seen <- range(points$strain)
  from <- if (object$model == "hollomon") seen[1L] / 2 else 0
  at <- sort(unique(c(seq(from, 1.15 * seen[2L], length.out = 200), seen)))
  band <- stats::predict(object, stats::setNames(data.frame(at), names[2L]),
                         interval = "confidence", level = level)
  curve <- data.frame(strain = at, value = band[, "fit"], low = band[, "lwr"], high = band[, "upr"])
  part <- function(rows, name) {
    if (sum(rows) > 1L) cbind(curve[rows, , drop = FALSE], part = name)
  }
  curve <- rbind(part(at <= seen[1L], "below the data"),
                 part(at >= seen[1L] & at <= seen[2L], "within the data"),
                 part(at >= seen[2L], "beyond the data"))
  curve$line <- factor(ifelse(curve$part == "within the data", "within the data", "extrapolated"),
                       c("within the data", "extrapolated"))
  alt <- paste0(names[1L], " against ", names[2L], ": ", nrow(points), " points up to strain ",
                format(seen[2L], digits = 3), " and the fitted ", object$model, " curve from ",
                format(curve$value[1L], digits = 3), " to ",
                format(curve$value[nrow(curve)], digits = 3), " with ", format(100 * level),
                " % band.")
  picture <- ggplot2::ggplot(curve, ggplot2::aes(.data[["strain"]], .data[["value"]]))
  if (!all(is.na(curve$low))) {
    picture <- picture + ggplot2::geom_ribbon(
      ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]], group = .data[["part"]]),
      fill = MAIN_COLOUR, alpha = 0.18)
  }
  picture +
    ggplot2::geom_line(ggplot2::aes(group = .data[["part"]], linetype = .data[["line"]]),
                       colour = MAIN_COLOUR, linewidth = 0.8) +
    ggplot2::geom_point(data = points, size = 2.2, colour = SECOND_COLOUR) +
    ggplot2::labs(x = paste(if (names[2L] == "effective_strain") "Effective strain" else names[2L],
                            "(no unit)"),
                  y = if (names[1L] == "hardness") "Hardness (scale of the data)" else names[1L],
                  linetype = "Curve",
                  title = "Work hardening", alt = alt,
                  caption = paste0("Band: ", format(100 * level), " % of the curve.")) +
    plain_theme()
}
