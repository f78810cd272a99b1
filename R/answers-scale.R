# Hardness wanted or predicted in another scale than that of the fit: the conversion and what it adds to
# the uncertainty of an answer. A conversion that readings and target share cancels.

# A target in `scale` as a hardness of the fit: `scale`, `value` and `u`, its standard uncertainty from
# conversion in the scale of the fit.
target_of_scale <- function(fit, hardness, scale) {
  scale <- check_scale(scale)
  if (is.null(scale)) scale <- fit$scale
  value <- hardness
  if (scale != fit$scale) {
    refuse_no_scale(fit$scale, property_of(fit), scale)
    scale_codes(scale, table_of(fit$readings$material), fit$readings$material, "scale")
    value <- in_scale(hardness, scale, fit$scale, fit$readings$material)
    out <- which(is.na(value))
    if (length(out)) {
      abort("range", paste0("a hardness of ", format(hardness[out[1L]]), " ", scale,
                            " cannot be converted to ", fit$scale), arg = "hardness", rows = out,
            remedy = "Give it in another scale, or in the scale of the fit.")
    }
  }
  list(scale = scale, value = value, u = converted_u(fit, value, scale))
}

# Standard uncertainty, in the scale of the fit, of hardnesses `value` that were given in `scale`.
converted_u <- function(fit, value, scale) {
  read <- unique(fit$readings$scale_read)
  u <- numeric(length(value))
  for (other in setdiff(read[!is.na(known_scale(read))], scale)) {
    u <- pmax(u, shared_uncertainty(value, fit$scale, scale, other, fit$readings$material))
  }
  u
}

# A target beyond both levels of a fit in HV that would lie between them as a number of the dial; NULL for
# none. Scales read come first.
scale_hint <- function(fit, hardness) {
  if (fit$scale != "HV" || !length(hardness)) return(NULL)
  strain <- check_strain(fit, NULL)
  levels <- c(min(soft_hardness(fit, strain)), max(worked_hardness(fit, strain)))
  off <- unique(hardness[hardness < levels[1L] | hardness > levels[2L]])
  material <- fit$readings$material
  read <- setdiff(known_scale(unique(as.character(fit$readings$scale_read))), c(NA, "HV"))
  dials <- intersect(unique(c(read, "HRB", "HRF", "HR30T", "HR15T")), colnames(table_of(material)$value))
  for (h in off) for (dial in dials) {
    hv <- in_scale(h, dial, "HV", material)
    if (!is.na(hv) && hv > levels[1L] && hv < levels[2L]) {
      return(paste0("The fit is in HV, from ", format_quantity(levels[2L]), " to ",
                    format_quantity(levels[1L]), "; if ", format(h), " is meant in ", dial, " (",
                    format_quantity(hv), " HV), give scale = \"", dial, "\"."))
    }
  }
  NULL
}

# Standard uncertainty, in the scale of the fit, of a hardness given in `scale` for readings in `other`:
# that of the conversion between the two; NA where the table does not reach.
shared_uncertainty <- function(value, fit_scale, scale, other, material) {
  in_own <- in_scale(value, fit_scale, scale, material)
  of <- suppressWarnings(convert_hardness(in_own, scale, other, material = material, interval = TRUE),
                         classes = "softanneal_warning_outside")
  # back to the scale of the fit by the slope there
  near <- pmax(1e-4 * value, 1e-4)
  slope <- (in_scale(value + near, fit_scale, other, material) -
              in_scale(value - near, fit_scale, other, material)) / (2 * near)
  u <- of$std_uncertainty / abs(slope)
  ifelse(is.finite(u), u, NA_real_)
}

# The line of conversion in the budget of the levels; NULL where nothing was converted.
conversion_sentence <- function(fit) {
  if (!is.null(property_of(fit)) || is.na(known_scale(fit$scale))) return(NULL)
  u <- converted_u(fit, fit$par[c("h_worked", "h_soft")], fit$scale)
  if (!anyNA(u) && all(u == 0)) return(NULL)
  size <- ifelse(is.na(u), "not known (beyond the table)", paste(format_quantity(u, 2L), fit$scale))
  paste0("Conversion to ", fit$scale, ", common to all readings and not in the errors above: standard ",
         "uncertainty ", size[1L], " of h_worked, ", size[2L], " of h_soft. Answers have it as ",
         "`u_conversion`; it cancels in the scale of the readings.")
}

# What an answer adds to its note where the uncertainty of its conversion is not known.
UNKNOWN_CONVERSION <- "without the uncertainty of conversion: the table does not reach there"

conversion_notes <- function(note, answer, u) {
  at <- which(is.na(u) & !is.na(answer))
  note[at] <- ifelse(nzchar(note[at]), paste0(note[at], "; ", UNKNOWN_CONVERSION), UNKNOWN_CONVERSION)
  note
}

# d ln t / d hardness at the answers, by a central difference.
ln_time_per_hardness <- function(fit, temp_c, target, strain) {
  h <- 1e-5 * target
  (ln_time_at(fit, temp_c, target + h, "hardness", strain = strain) -
     ln_time_at(fit, temp_c, target - h, "hardness", strain = strain)) / (2 * h)
}

# Ends of an interval about `centre` with an error of its own beside, `u`.
widened <- function(limits, centre, u, level) {
  extra <- stats::qnorm((1 + level) / 2) * ifelse(is.na(u), 0, u)
  at <- pmin(pmax(centre, limits[, 1L]), limits[, 2L])
  wider <- cbind(at - sqrt((at - limits[, 1L])^2 + extra^2), at + sqrt((limits[, 2L] - at)^2 + extra^2))
  use <- which(extra > 0 & !is.na(at))
  limits[use, ] <- wider[use, ]
  limits
}
