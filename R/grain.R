# Grain size of ASTM E112: the grain-size number and the sizes that go with it. Lengths in mm at
# true size (magnification 1), areas in mm2. The number is defined by the grains in one square
# inch at 100 diameters, N = 2^(G - 1); by intercepts it is fixed at 0.32 mm for G = 0.

# Grains per mm2 at G = 0: half a grain in (25.4/100)^2 mm2.
GRAINS_AT_ZERO <- 0.5 / 0.254^2
# Mean lineal intercept at G = 0, mm (ASTM E112, intercept procedure).
INTERCEPT_AT_ZERO_MM <- 0.32

#' Grain-size number and grain sizes
#'
#' Turns any one measure of grain size into the grain-size number G of ASTM E112 and all other
#' measures.
#'
#' | measure | law |
#' |---|---|
#' | grains in 1 square inch at 100 diameters | `2^(G - 1)` |
#' | grains per mm2 | `2^(G - 1) / 0.254^2`; printed as `G = 3.321928 log10(N_A) - 2.954` |
#' | mean area | `1 / N_A` |
#' | mean diameter | root of the mean area |
#' | mean intercept | `0.32 mm * 2^(-G/2)`; printed as `G = -6.643856 log10(l) - 3.288` |
#'
#' The mean diameter is the side of a square of the mean area, as in the table of the standard.
#' The mean intercept of a straight line is shorter (0.89 of it). The two definitions of G, by
#' area and by intercept, differ by 0.015 for grains whose mean intercept is root(pi)/2 of the
#' mean diameter, far below the scatter of any count. Annealed tempers of
#' brass (OS025 and the like) name the mean diameter in thousandths of a mm.
#'
#' Each twin counts as part of its grain in annealed brass: twin boundaries are not counted, or
#' the number comes out too fine.
#'
#' @param number Grain-size number G; may be negative (written 00 for -1).
#' @param intercept_mm Mean lineal intercept in mm.
#' @param diameter_mm Mean diameter in mm.
#' @param grains_per_mm2 Grains per mm2 at true size. Give one of these four.
#' @return A data frame, one row per value, in
#'   order: `number` (G), `intercept_mm`, `diameter_mm`, `area_mm2`, `grains_per_mm2`,
#'   `grains_per_in2_100x`, `intercepts_per_mm`. `NA` in gives a row of `NA`.
#' @section Errors: `softanneal_error_argument` unless exactly one measure is given,
#'   `softanneal_error_range` for sizes that are not positive; see [softanneal-conditions].
#' @source ASTM E112, Standard Test Methods for Determining Average Grain Size: definition of G,
#'   equations of the planimetric and intercept procedures, Table 4. Values of the table as
#'   `system.file("extdata", "grain_e112.csv", package = "softanneal")`, computed; its printed
#'   values are from memory, as stated.
#' @seealso [count_intercepts()] and [count_grains()] for measurements, [fit_hall_petch()].
#' @examples
#' grain_size(number = 5:8)
#' # the annealed tempers OS015, OS025, OS035, OS050
#' grain_size(diameter_mm = c(0.015, 0.025, 0.035, 0.050))$number
#' @export
grain_size <- function(number = NULL, intercept_mm = NULL, diameter_mm = NULL,
                       grains_per_mm2 = NULL) {
  given <- list(number = number, intercept_mm = intercept_mm, diameter_mm = diameter_mm,
                grains_per_mm2 = grains_per_mm2)
  given <- given[!vapply(given, is.null, NA)]
  if (length(given) != 1L) {
    abort("argument", paste0("give one measure of grain size, not ", length(given)),
          arg = names(given),
          remedy = "One of `number`, `intercept_mm`, `diameter_mm`, `grains_per_mm2`.")
  }
  what <- names(given)
  lower <- if (what == "number") -Inf else 0
  x <- check_numeric(given[[1L]], what, lower, open = TRUE, na = TRUE)
  grain_table(switch(what, number = x, intercept_mm = number_of_intercept(x),
                     diameter_mm = number_of_density(1 / x^2),
                     grains_per_mm2 = number_of_density(x)))
}

grain_table <- function(g) {
  density <- GRAINS_AT_ZERO * 2^g
  intercept <- INTERCEPT_AT_ZERO_MM * 2^(-g / 2)
  as_table(data.frame(number = g, intercept_mm = intercept, diameter_mm = 1 / sqrt(density),
                      area_mm2 = 1 / density, grains_per_mm2 = density,
                      grains_per_in2_100x = 2^(g - 1), intercepts_per_mm = 1 / intercept))
}

number_of_density <- function(grains_per_mm2) log2(grains_per_mm2 / GRAINS_AT_ZERO)

number_of_intercept <- function(intercept_mm) -2 * log2(intercept_mm / INTERCEPT_AT_ZERO_MM)
