# Grain size from counts on the micrograph: lines (intercepts) and areas (grains). Lengths and
# areas are those on the plot in mm and mm2, divided by the magnification (its square).
# Statistics of the fields as in ASTM E112: 95 % interval by t, relative accuracy in per cent.

#' Grain size from counts of intercepts or grains
#'
#' Mean of several fields with the 95 % confidence interval, the relative accuracy that the
#' standard asks for, and the grain-size number.
#'
#' `count_intercepts()`: test lines (straight, or circles) of known length are laid over each
#' field and the grain boundaries crossed are counted; the mean intercept is the length at true
#' size over the count. Of a line, a tangent counts 1, a triple point 1.5, an end that just
#' touches a boundary 0.5 (standard, intercept procedures, from memory), so halves are possible.
#'
#' `count_grains()` (planimetric procedure of Jeffries): grains inside a known area, plus half of
#' those its edge cuts; on a rectangle each of the four corners cuts a grain that belongs to it
#' by a quarter, so that one more grain is counted: `inside + cut/2 + 1`.
#'
#' The interval is `mean +/- t s/sqrt(n)` over the fields and the relative accuracy is half of it
#' in per cent of the mean: 10 % or less is good enough for most purposes (standard, statistical
#' analysis). Fields should be spread over the specimen. With one field both are `NA`.
#' A call is for one specimen. For many, count by specimen: in `dplyr::summarise()` of a grouped table
#' `as.data.frame(count_intercepts(...))` gives a row for each (`dplyr::mutate()` refuses the result, since it
#' is not one per row).
#' In a rolled and recrystallised sheet, count in both directions and report it: the grains may not
#' be equiaxed.
#'
#' @param intersections Boundaries crossed in each field; zero or more, halves allowed.
#' @param line_mm Length of the test line on the micrograph in mm; one, or one per field.
#' @param inside Grains wholly inside the area in each field.
#' @param intercepted Grains cut by its edge in each field.
#' @param area_mm2 Area on the micrograph in mm2; one, or one per field. The circle of the standard is
#'   5000 mm2.
#' @param magnification Magnification of the micrograph (length on it over true length); one, or
#'   one per field.
#' @param shape `"circle"`, or `"rectangle"` for the count with corners.
#' @param level Confidence level; 0.95 in the standard.
#' @return A list of class `softanneal_grain_count`: `fields` (data frame, one row per field: the
#'   counts, `value` and `number`), and `summary` (one row: `quantity` (`"intercepts_per_mm"` or
#'   `"grains_per_mm2"`), `fields`, `mean`, `sd`, `conf.low`, `conf.high`, `accuracy_pct`,
#'   `number`, `number_low`, `number_high`, `intercept_mm`, `diameter_mm`). The number is that of
#'   the mean; its limits come from those of the mean (`NA` where a limit is not positive). Has
#'   `print()` and `as.data.frame()` (the summary).
#' @section Errors: `softanneal_error_range` for negative counts or sizes that are not positive,
#'   `softanneal_error_too_few` when nothing was counted, `softanneal_error_missing` for `NA`.
#' @source ASTM E112: planimetric (Jeffries) procedure, general intercept procedures, statistical
#'   analysis (95 % confidence interval and % relative accuracy, clause numbers 11, 12 to 14 and 15
#'   from memory). The rectangle with corners: same standard, from memory.
#' @seealso [grain_size()]
#' @examples
#' # Larkfield Bell Works: five fields at 200 diameters, line of 500 mm on each
#' count_intercepts(c(92, 85, 97, 90, 88), line_mm = 500, magnification = 200)
#' # and circles of 5000 mm2
#' count_grains(c(41, 38, 44), intercepted = c(22, 25, 20), area_mm2 = 5000, magnification = 200)
#' @export
count_intercepts <- function(intersections, line_mm, magnification, level = 0.95) {
  x <- common_length(
    intersections = check_numeric(intersections, "intersections", 0),
    line_mm = check_numeric(line_mm, "line_mm", 0, open = TRUE),
    magnification = check_numeric(magnification, "magnification", 0, open = TRUE))
  check_counted(x$intersections, "intersections")
  true_mm <- x$line_mm / x$magnification
  value <- x$intersections / true_mm
  grain_count(data.frame(intersections = x$intersections, true_mm = true_mm, value = value,
                         number = number_of_intercept(1 / value)),
              "intercepts_per_mm", \(v) number_of_intercept(1 / v), check_level(level))
}

#' @rdname count_intercepts
#' @export
count_grains <- function(inside, intercepted, area_mm2 = 5000, magnification,
                         shape = c("circle", "rectangle"), level = 0.95) {
  shape <- check_choice(shape, c("circle", "rectangle"), "shape")
  x <- common_length(
    inside = check_numeric(inside, "inside", 0), intercepted = check_numeric(intercepted, "intercepted", 0),
    area_mm2 = check_numeric(area_mm2, "area_mm2", 0, open = TRUE),
    magnification = check_numeric(magnification, "magnification", 0, open = TRUE))
  check_counted(x$inside + x$intercepted, "inside")
  grains <- x$inside + x$intercepted / 2 + (if (shape == "rectangle") 1 else 0)
  true_mm2 <- x$area_mm2 / x$magnification^2
  value <- grains / true_mm2
  grain_count(data.frame(inside = x$inside, intercepted = x$intercepted, grains = grains, true_mm2 = true_mm2,
                         value = value, number = number_of_density(value)),
              "grains_per_mm2", number_of_density, check_level(level))
}

check_counted <- function(x, arg) {
  if (length(x) == 0L) {
    abort("too_few", "there are no fields", arg = arg, remedy = "Count at least one field.")
  }
  if (sum(x) == 0) {
    abort("too_few", "nothing was counted in any field", arg = arg,
          remedy = "Use a longer line, a larger area, or a lower magnification.")
  }
}

grain_count <- function(fields, quantity, to_number, level) {
  n <- nrow(fields)
  mean <- mean(fields$value)
  sd <- if (n > 1L) stats::sd(fields$value) else NA_real_
  half <- if (n > 1L) stats::qt(0.5 + level / 2, n - 1) * sd / sqrt(n) else NA_real_
  limits <- mean + c(-1, 1) * half
  limit_numbers <- to_number(ifelse(limits > 0, limits, NA_real_))
  size <- grain_table(to_number(mean))
  summary <- data.frame(
    quantity = quantity, fields = n, mean = mean, sd = sd, conf.low = limits[1L],
    conf.high = limits[2L], accuracy_pct = 100 * half / mean, number = size$number,
    number_low = limit_numbers[1L], number_high = limit_numbers[2L],
    intercept_mm = size$intercept_mm, diameter_mm = size$diameter_mm)
  structure(list(fields = fields, summary = summary, level = level),
            class = "softanneal_grain_count")
}

#' @export
print.softanneal_grain_count <- function(x, digits = 3, ...) {
  s <- x$summary
  unit <- if (s$quantity == "grains_per_mm2") "grains per mm2" else "intercepts per mm"
  cat("Grain size from ", s$fields, if (s$fields == 1L) " field" else " fields", "\n", sep = "")
  cat("Mean ", format(s$mean, digits = digits), " ", unit, sep = "")
  if (is.na(s$sd)) {
    cat(" (one field: no interval)\n")
  } else {
    cat(", ", format(100 * x$level), " % interval ", format(s$conf.low, digits = digits), " to ",
        format(s$conf.high, digits = digits), ", relative accuracy ",
        format(s$accuracy_pct, digits = 2), " %",
        if (s$accuracy_pct > 10) " (over 10 %: count more)",
        "\n", sep = "")
  }
  cat("Grain-size number G = ", format(round(s$number, 1), nsmall = 1), sep = "")
  if (!is.na(s$number_low) && !is.na(s$number_high)) {
    cat(" (", format(round(s$number_low, 1), nsmall = 1), " to ",
        format(round(s$number_high, 1), nsmall = 1), ")", sep = "")
  }
  cat("; mean intercept ", format(s$intercept_mm, digits = digits), " mm, mean diameter ",
      format(s$diameter_mm, digits = digits), " mm\n", sep = "")
  invisible(x)
}

#' @export
as.data.frame.softanneal_grain_count <- function(x, ...) x$summary
