# What a hardness number is made of: the scales, Rockwell depth, and the numbers from force
# and size of the indentation. Forces in N, lengths in mm. Plain vectorised arithmetic.

# Standard acceleration of free fall, m/s^2 (exact by definition): 1 kgf in N.
KGF <- 9.80665

#' Hardness scales
#'
#' Indenter, forces, the constants of the Rockwell number and the range of use of each scale.
#'
#' @return A data frame with the columns `scale` (spelling of this package), `test` (Rockwell,
#'   Vickers, Brinell, Knoop), `indenter`, `ball_mm` (ball diameter), `preliminary_force_n`
#'   and `force_n` (preliminary and total test force, N), `n` and `s_mm` (the constants of
#'   the Rockwell number n - h / s, h the permanent depth in mm), `range_low`, `range_high`
#'   (ISO 6508-1), `note`, `status` (how the row was obtained: seen, or value from memory),
#'   `source`.
#' @seealso [rockwell_depth()], [standardise_scale()]
#' @examples
#' subset(hardness_scales(), test == "Rockwell", c(scale, force_n, n, s_mm))
#' @export
hardness_scales <- function() as_table(scale_info)

#' Rockwell number and depth of the indentation
#'
#' `rockwell_depth()` gives the permanent depth a Rockwell number stands for, h = (N - HR) S;
#' `rockwell_number()` gives the number of a depth, HR = N - h / S (ISO 6508-1, clause 4;
#' N and S from [hardness_scales()]). An HRB of 80 is 0.100 mm deep.
#'
#' @param hardness Rockwell numbers.
#' @param depth_mm Permanent depth under the preliminary force, mm.
#' @param scale Rockwell scale, one or one for each number (see [standardise_scale()]).
#' @return A numeric vector: depth in mm, or Rockwell number; `NA` where the input is `NA`.
#'   Errors: `softanneal_error_range` for a number above N or a negative depth,
#'   `softanneal_error_scale` for a scale that is not a Rockwell scale.
#' @seealso [minimum_thickness()], [vickers_number()], [hardness_scales()]
#' @examples
#' rockwell_depth(80, "HRB")
#' rockwell_number(0.1, c("HRB", "HR30T"))
#' @export
rockwell_depth <- function(hardness, scale) {
  hardness <- finite_hardness(hardness, "hardness")
  constants <- rockwell_constants(scale)
  all <- common_length(hardness = hardness, scale = constants$n)
  s_mm <- rep_len(constants$s_mm, length(all$scale))
  high <- which(all$hardness > all$scale)
  if (length(high)) {
    abort("range", paste0("a Rockwell number cannot be above ", all$scale[high[1L]],
                          ", as ", all$hardness[high[1L]], " is"), arg = "hardness",
          rows = high, remedy = "Check the number and its scale.")
  }
  (all$scale - all$hardness) * s_mm
}

#' @rdname rockwell_depth
#' @export
rockwell_number <- function(depth_mm, scale) {
  depth_mm <- check_numeric(depth_mm, "depth_mm", lower = 0, na = TRUE)
  constants <- rockwell_constants(scale)
  all <- common_length(depth_mm = depth_mm, scale = constants$n)
  all$scale - all$depth_mm / rep_len(constants$s_mm, length(all$scale))
}

# Rows of the scale table for Rockwell scales, anything else refused.
rockwell_constants <- function(scale) {
  row <- match(standardise_scale(scale), scale_info$scale)
  bad <- which(is.na(row) | is.na(scale_info$n[row]))
  if (length(bad)) {
    abort("scale", paste0("'", as.character(scale)[bad[1L]], "' is not a Rockwell scale"),
          arg = "scale", rows = if (length(scale) > 1L) bad,
          remedy = "`hardness_scales()` lists them.")
  }
  list(n = as.double(scale_info$n[row]), s_mm = scale_info$s_mm[row])
}

# Hardness numbers as plain doubles; NA passes, NaN and Inf do not.
finite_hardness <- function(x, arg) {
  check_numeric(check_hardness(x, arg), arg, na = TRUE,
                remedy = "Use NA for a reading that was not taken.")
}

#' Hardness numbers from force and size of the indentation
#'
#' - `vickers_number()`: HV = 0.102 * 2 F sin(68 deg) / d^2, d the mean of the two diagonals
#'   (ISO 6507-1; rounded there to 0.1891 F / d^2);
#' - `brinell_number()`: HBW = 0.102 * 2 F / (pi D (D - sqrt(D^2 - d^2))) (ISO 6506-1);
#' - `knoop_number()`: HK = 0.102 F / (0.07028 d^2), d the long diagonal (ISO 4545-1:
#'   1.451 F / d^2).
#'
#' 0.102 stands for 1/9.80665, which is used. ISO 6506-1 requires 0.24 D <= d <= 0.60 D (seen in a
#' restatement); a number outside that is still computed.
#'
#' @param force_n Test force, N (1 kgf = 9.80665 N).
#' @param diagonal_mm,diagonal2_mm Diagonals of the Vickers indentation, or the long diagonal
#'   of the Knoop indentation, mm. Without the second one the first stands for the mean.
#' @param ball_mm Ball diameter D, mm.
#' @param diameter_mm Mean diameter d of the Brinell indentation, mm.
#' @return Numeric vector of hardness numbers; arguments of length 1 are recycled. `NA` in
#'   gives `NA` out. Errors: `softanneal_error_range` for forces or lengths that are not
#'   positive, or a Brinell indentation as wide as the ball.
#' @seealso [rockwell_depth()], [indent_spacing()], [hardness_scales()]
#' @examples
#' vickers_number(98.0665, 0.352, 0.348)
#' brinell_number(4903.325, ball_mm = 10, diameter_mm = 2.4)
#' knoop_number(4.903325, 0.26)
#' @export
vickers_number <- function(force_n, diagonal_mm, diagonal2_mm = diagonal_mm) {
  all <- positive(force_n = force_n, diagonal_mm = diagonal_mm, diagonal2_mm = diagonal2_mm)
  mean_mm <- (all$diagonal_mm + all$diagonal2_mm) / 2
  2 * sin(68 * pi / 180) * all$force_n / KGF / mean_mm^2
}

#' @rdname vickers_number
#' @export
brinell_number <- function(force_n, ball_mm, diameter_mm) {
  all <- positive(force_n = force_n, ball_mm = ball_mm, diameter_mm = diameter_mm)
  wide <- which(all$diameter_mm > all$ball_mm)
  if (length(wide)) {
    abort("range", "the indentation is wider than the ball", arg = "diameter_mm", rows = wide,
          remedy = "Give both in mm.")
  }
  # D - sqrt(D^2 - d^2) without cancellation for small d
  depth_mm <- all$diameter_mm^2 / (all$ball_mm + sqrt(all$ball_mm^2 - all$diameter_mm^2))
  2 * all$force_n / KGF / (pi * all$ball_mm * depth_mm)
}

#' @rdname vickers_number
#' @export
knoop_number <- function(force_n, diagonal_mm) {
  all <- positive(force_n = force_n, diagonal_mm = diagonal_mm)
  all$force_n / KGF / (0.07028 * all$diagonal_mm^2)
}

positive <- function(...) {
  given <- list(...)
  checked <- Map(\(x, arg) check_numeric(x, arg, lower = 0, open = TRUE, na = TRUE),
                 given, names(given))
  do.call(common_length, checked)
}

#' Hardness numbers as text
#'
#' Writes numbers with their scale, rounded to whole numbers, which is as much as a
#' converted number can carry. Given the measured number too, it follows in parentheses, so
#' that a converted number can be told from a measured one (ASTM E140, reporting; value from
#' memory).
#'
#' @param x Hardness numbers.
#' @param scale Their scale, one or one for each number.
#' @param measured,measured_scale The numbers `x` was converted from, and their scale; they
#'   keep their digits.
#' @param digits Digits after the decimal point for `x`.
#' @return Character vector, `NA` where `x` is `NA`.
#' @section Errors:
#'   `softanneal_error_argument` for text instead of numbers, lengths that do not fit, or only
#'   one of `measured` and `measured_scale`; `softanneal_error_missing` for infinite numbers.
#' @seealso [hardness_scales()], [standardise_scale()], [convert_hardness()]
#' @examples
#' hv <- convert_hardness(c(80, 42.5), "HRB", "HV")
#' format_hardness(hv, "HV", measured = c(80, 42.5), measured_scale = "HRB")
#' @export
format_hardness <- function(x, scale, measured = NULL, measured_scale = NULL, digits = 0) {
  digits <- check_number(digits, "digits", lower = 0, upper = 15, whole = TRUE)
  x <- finite_hardness(x, "x")
  all <- common_length(x = x, scale = standardise_scale(scale))
  text <- paste(formatC(all$x, format = "f", digits = digits), all$scale)
  if (is.null(measured) != is.null(measured_scale)) {
    abort("argument", "`measured` and `measured_scale` belong together", arg = "measured",
          remedy = "Give both or none.")
  }
  if (!is.null(measured)) {
    more <- common_length(x = all$x, measured = finite_hardness(measured, "measured"),
                          measured_scale = standardise_scale(measured_scale))
    text <- paste0(text, " (", vapply(more$measured, format, ""), " ", more$measured_scale, ")")
  }
  text[is.na(all$x)] <- NA_character_
  text
}
