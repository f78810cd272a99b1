# Hall-Petch line: strength or hardness over the inverse root of the grain size in mm. Linear in
# its parameters; fitted by the least-squares core so that it has the methods of all fits.

#' Hall-Petch line of hardness or strength on grain size
#'
#' Fits \eqn{H = H_0 + k\,d^{-1/2}}{H = h_0 + k d^(-1/2)} by (weighted) least squares.
#'
#' `h_0` stands for the strength of the metal without grain boundaries, `k` for their resistance.
#' A law of fully recrystallised, equiaxed grains of one metal; not of cold-worked ones, nor below
#' a grain size of about a thousandth of a mm. Use one measure of grain size throughout: a mean
#' intercept gives a `k` that is 0.94 times that of the mean diameter of [grain_size()]. Fit a
#' response that is linear in strength (MPa, HV), not a Rockwell number.
#'
#' @param data A data frame, one row per specimen.
#' @param hardness Column of hardness or strength; bare or quoted.
#' @param grain Column of grain sizes in mm, above zero; bare or quoted.
#' @param unit Unit or scale of the response for print and plot, such as `"HV"` or `"MPa"`.
#' @param weights Case weights, such as 1/u^2; `NULL` for equal.
#' @param na.action,control As in [fit_least_squares()].
#' @param ... Must be empty.
#' @return An object of class `softanneal_fit_hall_petch` over `softanneal_fit_least_squares` and
#'   `softanneal_fit` with the coefficients `h_0` (unit of the response) and `k` (that unit times
#'   mm^0.5), all methods of [fit_least_squares()] and a plot. With two grain sizes the line is
#'   exact and standard errors are `NA`.
#' @section Errors: `softanneal_error_too_few` for fewer than two grain sizes,
#'   `softanneal_error_range` for sizes that are not positive, `softanneal_error_column`.
#' @source Hall E O (1951) Proc. Phys. Soc. B 64, 747 \doi{10.1088/0370-1301/64/9/303}. Petch N J (1953)
#'   J. Iron Steel Inst. 174, 25. Hardness of brasses: Jindal P C, Armstrong R W (1967) Trans. Met. Soc.
#'   AIME (form and range of grain size). Published constants for brass with their marks:
#'   `system.file("extdata", "grain_hall_petch.csv", package = "softanneal")`.
#' @seealso [grain_size()], [fit_grain_growth()]
#' @examples
#' # iron, worked example: 300 MPa at 0.028 mm and 385 MPa at 0.010 mm
#' fit <- fit_hall_petch(data.frame(grain_mm = c(0.028, 0.010), yield_mpa = c(300, 385)),
#'                       hardness = yield_mpa, unit = "MPa")
#' coef(fit)
#' predict(fit, data.frame(grain_mm = 0.0158745))
#' @export
fit_hall_petch <- function(data, hardness = hardness, grain = grain_mm, ..., unit = NULL,
                           weights = NULL, na.action = stats::na.exclude, control = fit_control()) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_hall_petch")
  columns <- c(response = column_name(rlang::enquo(hardness)), grain = column_name(rlang::enquo(grain)))
  unit <- check_string(unit, "unit", null = TRUE)
  check_data(data, groups = FALSE)
  weights <- weights_in(rlang::enquo(weights), data)
  check_free_names(columns, c("h_0", "k"))
  plain <- as.data.frame(stats::setNames(list(
    numeric_column(data, columns[["response"]], na = TRUE),
    grain_column(data, columns[["grain"]])), columns), optional = TRUE)
  known <- stats::complete.cases(plain)
  if (length(unique(plain[known, 2L])) < 2L) {
    abort("too_few", "a Hall-Petch line needs two grain sizes or more", arg = columns[["grain"]],
          remedy = "Measure a specimen with another grain size.")
  }
  line <- stats::lm.fit(cbind(1, 1 / sqrt(plain[known, 2L])), plain[known, 1L])$coefficients
  formula <- stats::as.formula(
    call("~", as.name(columns[["response"]]),
         bquote(h_0 + k / sqrt(.(as.name(columns[["grain"]]))))),
    env = baseenv())
  fit <- quiet_fit(formula, c(h_0 = line[[1L]], k = line[[2L]]), weights = weights, data = plain,
                   na.action = na.action, control = control)
  fit$call <- call
  fit$model <- "Hall-Petch"
  fit$columns <- columns
  fit$unit <- unit
  fit$units <- list(h_0 = if (is.null(unit)) "" else unit,
                    k = if (is.null(unit)) "mm^0.5" else paste(unit, "mm^0.5"))
  class(fit) <- c("softanneal_fit_hall_petch", class(fit))
  warn_fit(fit)
}

grain_column <- function(data, column, arg = "data") {
  numeric_column(data, column, arg, "mm", 0, open = TRUE, na = TRUE,
                 remedy = "Grain sizes are above zero, in mm.")
}

#' @export
header_lines.softanneal_fit_hall_petch <- function(x) {
  c(paste0("Hall-Petch line: ", x$columns[["response"]],
           if (!is.null(x[["unit"]])) paste0(" (", x[["unit"]], ")"),
           " = h_0 + k d^(-1/2), d in mm"), count_line(x))
}

#' @rdname predict-fit
#' @export
predict.softanneal_fit_hall_petch <- function(object, newdata = NULL,
                                              interval = c("none", "confidence", "prediction"),
                                              level = 0.95, se.fit = FALSE, ...) {
  check_dots_empty(...)
  if (!is.null(newdata)) {
    newdata <- plain_newdata(newdata, object$columns["grain"], list(grain_column))
    warn_beyond(list(mm = newdata[[1L]]),
                list(mm = range(object$data[[object$columns[["grain"]]]])))
  }
  predict.softanneal_fit_least_squares(object, newdata, interval, level, se.fit)
}

#' @param object A fit of `fit_hall_petch()`.
#' @param level Level of the band in the plot.
#' @rdname fit_hall_petch
#' @method autoplot softanneal_fit_hall_petch
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fit_hall_petch)
autoplot.softanneal_fit_hall_petch <- function(object, level = 0.95, ...) {
  check_dots_empty(...)
  level <- check_level(level)
  size <- object$data[[object$columns[["grain"]]]]
  points <- data.frame(x = 1 / sqrt(size), y = object$data[[object$columns[["response"]]]])
  room <- 0.05 * diff(range(points$x))
  grid <- seq(max(min(points$x) - room, 1e-6), max(points$x) + room, length.out = 101L)
  new <- stats::setNames(data.frame(1 / grid^2), object$columns[["grain"]])
  band <- predict.softanneal_fit_least_squares(object, new, "confidence", level)
  line <- data.frame(x = grid, y = band[, 1L], low = band[, 2L], high = band[, 3L])
  ticks <- c(1, 2, 5) * rep(10^(-5:2), each = 3L)
  ticks <- ticks[1 / sqrt(ticks) >= grid[1L] & 1 / sqrt(ticks) <= grid[101L]]
  b <- object$coefficients
  unit <- unlist(object$units)
  k_text <- with_error(b[["k"]], sqrt(object$vcov["k", "k"]), unit[["k"]])
  title <- paste0("Hall-Petch line: k ", k_text)
  line_with_band(line, points) +
    ggplot2::scale_x_continuous("Inverse root of grain size (1/mm^0.5)",
                                sec.axis = ggplot2::sec_axis(~., breaks = 1 / sqrt(ticks),
                                                             labels = plain_numbers(ticks),
                                                             name = "Grain size (mm)")) +
    ggplot2::labs(y = response_title(object$columns[["response"]], object[["unit"]]), title = title,
                  caption = paste0("Band: ", format(100 * level), " % of the line."),
                  alt = paste0(object$columns[["response"]],
                               " over the inverse root of grain size, ",
                               nrow(points), " points between ", format_quantity(min(size)),
                               " and ",
                               format_quantity(max(size)), " mm with a straight line. ", title,
                               ".")) +
    plain_theme()
}

response_title <- function(column, unit) {
  if (is.null(unit)) paste0(column, " (unit of the data)") else paste0(column, " (", unit, ")")
}
