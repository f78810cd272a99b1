# Minimum thickness of a specimen for a hardness test: the table lookup of ASTM E18, the depth
# rules of ISO 6508-1, ISO 6507-1 and ISO 6506-1. Readings in the units of their scale,
# lengths in mm, forces in N inside (1 kgf = 9.80665 N). Nothing is interpolated: between two
# tabulated thicknesses the thicker one holds.

#' Minimum thickness for a hardness reading
#'
#' The minimum thickness of a specimen at which a reading is unaffected by the anvil.
#'
#' Rockwell and superficial Rockwell scales have two rules, which do not agree:
#'
#' * `rule = "E18"`: the minimum-thickness tables of ASTM E18. Each tabulated thickness has a
#'   lowest reading; the answer is the thinnest tabulated thickness whose lowest reading is not
#'   above the reading asked for. Readings softer than the table reaches give `NA` with a
#'   warning; scales without a table (HRD, HRE, HRG, HRH, HRK) too. The HRF column is from
#'   memory, the others were read in a reprint.
#' * `rule = "ISO"`: ISO 6508-1:2015, 6.4 (values from memory): 15 times the permanent depth for
#'   a ball, 10 times for a cone, the depth being `(N - reading) S`.
#'
#' For HRB and HRF the ISO rule asks for about twice the thickness of E18; for HR15T it asks
#' for less. The stricter of both is `rule = "both"`.
#'
#' Vickers (`"HV5"`: 5 kgf) has one rule: 1.5 times the mean diagonal `sqrt(1.8544 F / HV)`,
#' ISO 6507-1, 6.3. Brinell (`"HBW 10/500"`: ball of 10 mm, 500 kgf) too: 8 times the depth
#' `F / (pi D HBW)`, ISO 6506-1:2014, 6.3. Here `rule` changes nothing.
#'
#' @param hardness Readings.
#' @param scale Their scales, such as `"HRB"`, `"HR30T"`, `"HV5"` or `"HBW 2.5/62.5"`; one, or
#'   one for each reading. `"HRBW"` (tungsten-carbide ball) is `"HRB"` here.
#' @param rule `"E18"`, `"ISO"` or `"both"` (the larger of the two; `NA` if either is).
#' @return Minimum thicknesses in mm, a number for each reading. `NA` where the reading is `NA`,
#'   or where the rule has no answer, which one warning of class `softanneal_warning_outside`
#'   counts.
#' @details Errors: `softanneal_error_scale` for an unknown scale, or Vickers and Brinell
#'   scales without their force; `softanneal_error_range` for readings beyond the end of the
#'   scale or Vickers and Brinell numbers that are not positive.
#' @references ASTM E18 (minimum-thickness tables); ISO 6508-1:2015; ISO 6507-1:2018;
#'   ISO 6506-1:2014. The tables with the status of each row are in
#'   `system.file("extdata", "thickness_e18.csv", package = "softanneal")`.
#' @seealso [choose_scale()], [indent_spacing()]
#' @examples
#' minimum_thickness(c(91, 62, 40), "HRB")
#' minimum_thickness(62, "HRB", rule = "ISO")
#' minimum_thickness(c(80, 55), c("HR15T", "HR30T"))
#' minimum_thickness(70, "HV5")
#' @export
minimum_thickness <- function(hardness, scale, rule = c("E18", "ISO", "both")) {
  rule <- check_choice(rule, c("E18", "ISO", "both"), "rule")
  hardness <- check_numeric(hardness, "hardness", na = TRUE)
  given <- common_length(hardness = hardness, scale = as_scale_names(scale))
  out <- thickness_by_rule(given$hardness, given$scale, rule)
  lost <- which(is.na(out) & !is.na(given$hardness))
  if (length(lost)) {
    warn("outside", paste0(
      "No minimum thickness for ", length(lost), " of ", length(out), " readings (",
      in_rows(lost), "): the E18 tables do not reach this scale or so soft a reading. ",
      "`rule = \"ISO\"` has an answer."), n = length(lost), rows = lost)
  }
  out
}

# The numbers without the warning; scale names already checked.
thickness_by_rule <- function(hardness, scale, rule) {
  out <- rep(NA_real_, length(hardness))
  for (one in unique(scale)) {
    rows <- scale == one
    test <- test_geometry(one)
    check_readings_on(hardness[rows], which(rows), test)
    out[rows] <- if (test$method != "Rockwell" || rule == "ISO") {
      thickness_iso(hardness[rows], test)
    } else if (rule == "E18") {
      thickness_e18(hardness[rows], test$scale)
    } else {
      pmax(thickness_e18(hardness[rows], test$scale), thickness_iso(hardness[rows], test))
    }
  }
  out
}

# Thinnest tabulated thickness whose lowest permitted reading is not above the reading.
thickness_e18 <- function(hardness, scale) {
  rows <- fact_table("thickness_e18.csv")
  rows <- rows[rows$scale == scale, , drop = FALSE]
  rows <- rows[order(rows$thickness_mm), , drop = FALSE]
  if (!nrow(rows)) return(rep(NA_real_, length(hardness)))
  # lowest readings fall with thickness: count those above the reading
  first <- findInterval(-hardness, -rows$lowest_reading, left.open = TRUE) + 1L
  rows$thickness_mm[first]
}

thickness_iso <- function(hardness, test) {
  switch(test$method,
         Rockwell = (if (test$indenter == "ball") 15 else 10) *
           (test$n_constant - hardness) * test$s_mm,
         Vickers = 1.5 * indent_diameter(hardness, test),
         Brinell = 8 * test$total_n / (KGF * pi * test$ball_diameter_mm * hardness))
}

check_readings_on <- function(hardness, rows, test) {
  bad <- if (test$method == "Rockwell") {
    hardness > test$n_constant
  } else {
    hardness <= 0
  }
  if (any(bad, na.rm = TRUE)) {
    bound <- if (test$method == "Rockwell") paste0("at most ", test$n_constant) else "positive"
    abort("range", paste0("`hardness` on ", test$scale, " must be ", bound, ", not ",
                          format(hardness[which(bad)[1L]])), arg = "hardness",
          rows = rows[which(bad)], remedy = "Check reading and scale.")
  }
}

# Text of a scale argument with the load of a Vickers scale, which makes the size of the
# indentation.
as_scale_names <- function(scale, arg = "scale") {
  if (is.factor(scale)) scale <- as.character(scale)
  if (!is.character(scale) || anyNA(scale)) {
    abort("scale", paste0("`", arg, "` must name hardness scales in text, not ", describe(scale)),
          arg = arg, remedy = "For example \"HRB\", \"HR30T\" or \"HV5\".")
  }
  read <- read_scales(scale)
  ifelse(is.na(read$test), read$name, read$test)
}

# Indenter, forces and constants of one scale: a list with method ("Rockwell", "Vickers",
# "Brinell"), scale, total_n and, as they apply, indenter, preliminary_n, ball_diameter_mm,
# n_constant, s_mm, range_low, range_high.
test_geometry <- function(scale, arg = "scale") {
  rockwell <- rockwell_scales()
  row <- match(scale, rockwell$scale)
  if (!is.na(row)) {
    r <- rockwell[row, ]
    return(list(method = "Rockwell", scale = scale, total_n = r$force_n,
                indenter = if (is.na(r$ball_mm)) "cone" else "ball", ball_diameter_mm = r$ball_mm,
                preliminary_n = r$preliminary_force_n, n_constant = r$n, s_mm = r$s_mm,
                range_low = r$range_low, range_high = r$range_high))
  }
  read <- read_scales(scale)
  if (startsWith(read$name, "HV") && isTRUE(read$force_kgf > 0)) {
    return(list(method = "Vickers", scale = scale, indenter = "pyramid",
                total_n = read$force_kgf * KGF))
  }
  if (isTRUE(read$ball_mm > 0 && read$force_kgf > 0)) {
    return(list(method = "Brinell", scale = scale, indenter = "ball",
                ball_diameter_mm = read$ball_mm, total_n = read$force_kgf * KGF))
  }
  remedy <- if (scale %in% c("HV", "HB", "HBW")) {
    "Say the force: \"HV5\" (5 kgf), \"HBW 2.5/62.5\" (ball in mm / force in kgf)."
  } else {
    paste0("Use ", in_quotes(rockwell$scale), ", \"HV5\" or \"HBW 2.5/62.5\".")
  }
  abort("scale", paste0("`", arg, "` has no test geometry for '", scale, "'"), arg = arg,
        remedy = remedy)
}

# Rockwell scales with a range of use in ISO 6508-1.
rockwell_scales <- function() {
  scales <- as.data.frame(hardness_scales())
  scales[scales$test == "Rockwell" & !is.na(scales$range_low), , drop = FALSE]
}

# Mean diameter (ball, cone) or diagonal (pyramid) of an indentation in mm.
indent_diameter <- function(hardness, test) {
  switch(test$method,
         # ISO 6507-1: HV = 2 sin(136 deg / 2) F / d^2 with F in kgf
         Vickers = sqrt(2 * sinpi(68 / 180) * test$total_n / KGF / hardness),
         Brinell = cap_diameter(test$total_n / (KGF * pi * test$ball_diameter_mm * hardness),
                                test$ball_diameter_mm),
         Rockwell = rockwell_diameter(hardness, test))
}

# Diameter of a spherical cap of this depth; a depth over half the ball has none, nor has a
# reading above the top of its scale.
cap_diameter <- function(depth, ball) {
  out <- rep(NA_real_, length(depth))
  ok <- !is.na(depth) & depth >= 0 & depth <= ball / 2
  out[ok] <- 2 * sqrt(depth[ok] * (ball - depth[ok]))
  out
}

# The reading gives the depth added between preliminary and total force. The whole permanent
# depth adds what the preliminary force made: depth is proportional to force on a ball
# (Brinell: area pi D h) and to its square root on a cone (area ~ h^2).
rockwell_diameter <- function(hardness, test) {
  added <- (test$n_constant - hardness) * test$s_mm
  share <- test$preliminary_n / test$total_n
  if (test$indenter == "ball") return(cap_diameter(added / (1 - share), test$ball_diameter_mm))
  cone_diameter(added / (1 - sqrt(share)))
}

# Cone of 120 deg with a tip of radius 0.2 mm (ISO 6508-1): the sphere touches the cone at the
# height tip (1 - sin 60 deg); the apex of the cone lies tip (1 / sin 60 deg - 1) below the tip.
cone_diameter <- function(depth) {
  tip <- 0.2
  sine <- sinpi(60 / 180)
  ball <- cap_diameter(pmin(depth, tip * (1 - sine)), 2 * tip)
  ifelse(depth <= tip * (1 - sine), ball, 2 * (depth + tip * (1 / sine - 1)) * tanpi(60 / 180))
}
