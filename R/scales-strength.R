# Strength from hardness, and the correction of Rockwell numbers on convex cylinders. Both
# are rough: each result carries its scatter or its provenance.

#' Estimate strength from hardness
#'
#' An estimate for the choice of a tool or a first plan, never a release: the scatter is
#' several per cent for tensile strength and far more for proof stress.
#'
#' - `"gb3771_sheet"`, `"gb3771_rod"`: tensile strength of brass sheet or rod, from the table
#'   of GB/T 3771-1983 (seen), HV 111.4 to 157.5, by monotone cubic;
#' - `"cahoon_tensile"`: tensile strength (HV / 2.9) (n / 0.217)^n with n = m - 2, Cahoon, Met.
#'   Trans. 3 (1972) 3040 (value from memory);
#' - `"cahoon_proof"`: 0.2 % proof stress (HV / 3) 0.1^n, Cahoon, Broughton and Kutzak, Met.
#'   Trans. 2 (1971) 1979 (seen);
#' - `"tabor"`: flow stress at about 8 % tensile strain HV / 2.9, Tabor, cited there (seen).
#'
#' HV is in kgf/mm^2 in these formulae (times 9.80665 gives MPa), m is the Meyer index. For
#' brass m is about 2.10 cold drawn and 2.44 annealed (Hoyt, in Tabor, The Hardness of Metals,
#' 1951; values from memory).
#'
#' The relative scatter of each method is computed from what it can be compared with: GB/T 3771
#' sheet against rod; the Cahoon tensile strength against GB/T 3771 sheet (m = 2.10) and
#' CuZn30 hard (HV 170, 540 MPa) and annealed (HV 70, 325 MPa); the proof stress against
#' CuZn30 hard (450 MPa) and annealed (125 MPa, which it misses by a third). The flow stress
#' rests on the same 2.9 and takes the scatter of the tensile strength. The uncertainty of the
#' conversion to HV is added.
#'
#' @param hardness Hardness numbers.
#' @param scale Their scale, one or one for each; converted to HV.
#' @param method One of the methods above.
#' @param meyer_index Meyer index m, 2 to 3, one or one for each; needed by the Cahoon
#'   methods, refused by the others.
#' @param material Conversion table for scales other than HV, see [convert_hardness()]. The
#'   GB/T 3771 methods are for brass and refuse other materials.
#' @param level Level of the interval.
#' @return A data frame with a row for each number: `hardness`, `scale`, `hv`, `method`,
#'   `strength_mpa`, `std_uncertainty`, `lower`, `upper` (MPa). Outside a table `NA`, with a
#'   warning of class `softanneal_warning_outside`.
#' @section Errors: `softanneal_error_argument` for an unknown method, a missing or unwanted Meyer
#'   index, or a material the method does not hold for; `softanneal_error_range` for a Vickers
#'   number that is not positive or an index outside 2 to 3; `softanneal_error_scale` for an unknown
#'   scale or material.
#' @seealso [convert_hardness()], [fit_hall_petch()]
#' @examples
#' estimate_strength(c(115, 130, 150))
#' estimate_strength(76, "HRB", method = "cahoon_tensile", meyer_index = 2.1)
#' @export
estimate_strength <- function(hardness, scale = "HV",
                              method = c("gb3771_sheet", "gb3771_rod", "cahoon_tensile",
                                         "cahoon_proof", "tabor"),
                              meyer_index = NULL, material = "brass", level = 0.95) {
  method <- check_choice(method, c("gb3771_sheet", "gb3771_rod", "cahoon_tensile",
                                   "cahoon_proof", "tabor"), "method")
  check_level(level)
  hardness <- finite_hardness(hardness, "hardness")
  low <- which(hardness <= 0 & rep_len(standardise_scale(scale) == "HV", length(hardness)))
  if (length(low)) {
    abort("range", "a Vickers number must be positive", arg = "hardness", rows = low,
          remedy = "Check the readings.")
  }
  table_of(material)
  gb <- startsWith(method, "gb3771")
  if (gb && !material %in% c("brass", "brass_gb")) {
    abort("argument", paste0("method '", method, "' holds for brass, not for ", material),
          arg = "method", remedy = "Take 'cahoon_tensile' with a Meyer index.")
  }
  hv <- convert_hardness(hardness, scale, "HV", material, interval = TRUE)
  n <- hardening_exponent(meyer_index, nrow(hv), method)
  estimate <- switch(
    method,
    gb3771_sheet = table_strength(hv$value, "sheet"),
    gb3771_rod = table_strength(hv$value, "rod"),
    cahoon_tensile = per_hv(hv$value, KGF / 2.9 * (n / 0.217)^n),
    cahoon_proof = per_hv(hv$value, KGF / 3 * 0.1^n),
    tabor = per_hv(hv$value, KGF / 2.9)
  )
  scatter <- scale_strength$scatter[[if (gb) "gb3771" else method]]
  u <- sqrt((scatter * estimate$value)^2 + (estimate$derivative * hv$std_uncertainty)^2)
  half <- stats::qnorm((1 + level) / 2) * u
  as_table(data.frame(
    hardness = hv$x, scale = hv$from, hv = hv$value, method = rep_len(method, nrow(hv)),
    strength_mpa = estimate$value, std_uncertainty = u, lower = estimate$value - half,
    upper = estimate$value + half, stringsAsFactors = FALSE
  ))
}

per_hv <- function(hv, factor) {
  list(value = hv * factor, derivative = rep_len(factor, length(hv)))
}

# n = m - 2 for the methods that use it; an index the method cannot use is refused.
hardening_exponent <- function(meyer_index, n, method) {
  if (!startsWith(method, "cahoon")) {
    if (is.null(meyer_index)) return(NA_real_)
    abort("argument", paste0("method '", method, "' does not use a Meyer index"),
          arg = "meyer_index", remedy = "Leave it out.")
  }
  if (is.null(meyer_index)) {
    abort("argument", "`meyer_index` is needed for this method", arg = "meyer_index",
          remedy = "For brass about 2.10 cold drawn, 2.44 annealed.")
  }
  m <- check_numeric(meyer_index, "meyer_index", lower = 2, upper = 3)
  if (!length(m) %in% c(1L, n)) {
    abort("argument", paste0("`meyer_index` has length ", length(m), " for ", n, " numbers"),
          arg = "meyer_index", remedy = "Give one value, or one for each.")
  }
  rep_len(m, n) - 2
}

# Tensile strength of the GB/T 3771 table, with the one warning for what lies outside.
table_strength <- function(hv, form) {
  points <- list(scale_strength$table$hv, scale_strength$table[[form]])
  out <- .Call(C_sa_call_convert, hv, NULL, list(points), 1L)
  outside <- which(out$flag == 2L)
  if (length(outside)) {
    range <- format(range(points[[1L]]))
    warn("outside", paste0(length(outside), " of ", length(hv), " strengths not estimated (NA): ",
                           "the table covers HV ", range[1L], " to ", range[2L], "."),
         n = length(outside), rows = outside)
  }
  out[c("value", "derivative")]
}

#' Correct Rockwell numbers measured on convex cylinders
#'
#' On a round bar or tube lateral support is reduced and the number reads low.
#' Adds the correction of ASTM E18 annex A6, interpolated linearly in reading and diameter.
#'
#' The corrections for HRA, HRC and HRD were seen, as those for HRB, HRF and HRG below a reading
#' of 60 and the first two diameters at 60; the rest are **values from memory**, as `status`
#' says.
#'
#' @param hardness Rockwell numbers read on the cylinder.
#' @param scale Their scale: HRA, HRC, HRD, HRB, HRF or HRG; one or one for each.
#' @param diameter_mm Diameter of the cylinder, mm; one or one for each. The table begins at
#'   6.4 mm and ends at 38 mm (cone scales) or 25 mm (ball scales).
#' @return A data frame with a row for each number: `hardness`, `scale`, `diameter_mm`,
#'   `correction`, `corrected`, `status` (`"from memory"` if one of the cells used is).
#'   Outside the table `NA`, with one warning of class `softanneal_warning_outside`.
#' @section Errors: `softanneal_error_scale` for a scale without corrections,
#'   `softanneal_error_range` for a diameter that is not positive, `softanneal_error_argument` for a
#'   wrong type or length.
#' @seealso [rockwell_depth()], [convert_hardness()]
#' @examples
#' cylinder_correction(c(60, 75), "HRB", diameter_mm = 10)
#' @export
cylinder_correction <- function(hardness, scale, diameter_mm) {
  hardness <- finite_hardness(hardness, "hardness")
  diameter_mm <- check_numeric(diameter_mm, "diameter_mm", lower = 0, open = TRUE, na = TRUE)
  all <- common_length(hardness = hardness, scale = standardise_scale(scale),
                       diameter_mm = diameter_mm)
  group <- unique(scale_cylinder$scales)
  which_group <- vapply(all$scale, \(s) {
    hit <- which(vapply(strsplit(group, " "), \(g) s %in% g, NA))
    if (length(hit)) hit else NA_integer_
  }, 0L, USE.NAMES = FALSE)
  if (anyNA(which_group)) {
    bad <- which(is.na(which_group))
    abort("scale", paste0("there are no cylinder corrections for '", all$scale[bad[1L]], "'"),
          arg = "scale", rows = if (length(all$scale) > 1L) bad,
          remedy = "Scales with corrections: HRA, HRC, HRD, HRB, HRF, HRG.")
  }
  out <- data.frame(hardness = all$hardness, scale = all$scale, diameter_mm = all$diameter_mm,
                    correction = rep_len(NA_real_, length(all$scale)),
                    corrected = rep_len(NA_real_, length(all$scale)),
                    status = rep_len(NA_character_, length(all$scale)), stringsAsFactors = FALSE)
  for (k in unique(which_group)) {
    rows <- which(which_group == k)
    found <- between_cells(scale_cylinder[scale_cylinder$scales == group[k], ],
                           all$hardness[rows], all$diameter_mm[rows])
    out[rows, c("correction", "status")] <- found
  }
  out$corrected <- out$hardness + out$correction
  outside <- which(is.na(out$correction) & !is.na(out$hardness) & !is.na(out$diameter_mm))
  if (length(outside)) {
    warn("outside", paste0(length(outside), " of ", nrow(out), " corrections not made (NA): the ",
                           "reading or the diameter is outside the table of ASTM E18."),
         n = length(outside), rows = outside)
  }
  as_table(out)
}

# Bilinear interpolation in a full grid of readings and diameters; a cell counts for the
# status only where its weight is not zero.
between_cells <- function(grid, reading, diameter) {
  a <- sort(unique(grid$reading))
  b <- sort(unique(grid$diameter_mm))
  at <- order(grid$diameter_mm, grid$reading)
  value <- matrix(grid$correction[at], length(a))
  memory <- matrix(grid$status[at] == "from memory", length(a))
  i <- findInterval(reading, a, rightmost.closed = TRUE)
  j <- findInterval(diameter, b, rightmost.closed = TRUE)
  inside <- !is.na(i) & !is.na(j) & i >= 1L & i < length(a) & j >= 1L & j < length(b)
  i[!inside] <- j[!inside] <- 1L
  p <- (reading - a[i]) / (a[i + 1L] - a[i])
  q <- (diameter - b[j]) / (b[j + 1L] - b[j])
  weight <- list((1 - p) * (1 - q), p * (1 - q), (1 - p) * q, p * q)
  cell <- list(cbind(i, j), cbind(i + 1L, j), cbind(i, j + 1L), cbind(i + 1L, j + 1L))
  correction <- Reduce(`+`, Map(\(w, c) w * value[c], weight, cell))
  recalled <- Reduce(`|`, Map(\(w, c) w > 0 & memory[c], weight, cell))
  correction[!inside] <- NA_real_
  data.frame(correction = correction,
             status = ifelse(inside, ifelse(recalled, "from memory", "seen"), NA_character_))
}
