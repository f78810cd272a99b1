# Hardness wanted or predicted in another scale than that of the fit: the conversion and what it adds to
# the uncertainty of an answer. A conversion that readings and target share cancels.

# A target in `scale` as a hardness of the fit: `scale`, `value` and `u`, its standard uncertainty from
# conversion in the scale of the fit.
target_of_scale <- function(fit, hardness, scale) {
  scale <- check_scale(scale)
  if (is.null(scale)) scale <- fit$scale
  read <- unique(fit$readings$scale_read)
  value <- hardness
  if (scale != fit$scale) {
    if (is.na(known_scale(fit$scale))) {
      abort("scale", paste0("the readings were fitted as read, and a hardness in ", scale,
                            " cannot be converted to their scale"), arg = "scale",
            remedy = "Fit with scale = \"HV\", or leave `scale` out.")
    }
    scale_codes(scale, table_of(fit$readings$material), fit$readings$material, "scale")
    value <- in_scale(hardness, scale, fit$scale, fit$readings$material)
    out <- which(is.na(value))
    if (length(out)) {
      abort("range", paste0("a hardness of ", format(hardness[out[1L]]), " ", scale,
                            " cannot be converted to ", fit$scale), arg = "hardness", rows = out,
            remedy = "Give it in another scale, or in the scale of the fit.")
    }
  }
  u <- numeric(length(value))
  for (other in setdiff(read[!is.na(known_scale(read))], scale)) {
    u <- pmax(u, shared_uncertainty(value, fit$scale, scale, other, fit$readings$material))
  }
  list(scale = scale, value = value, u = u)
}

# Standard uncertainty, in the scale of the fit, of a hardness given in `scale` for readings in `other`:
# that of the conversion between the two. Zero where the table does not reach: the value is then that of
# the fit's own scale.
shared_uncertainty <- function(value, fit_scale, scale, other, material) {
  in_own <- in_scale(value, fit_scale, scale, material)
  ok <- which(!is.na(in_own))
  u <- numeric(length(value))
  if (!length(ok)) return(u)
  of <- suppressWarnings(convert_hardness(in_own[ok], scale, other, material = material, interval = TRUE),
                         classes = "softanneal_warning_outside")
  # back to the scale of the fit by the slope there
  near <- pmax(1e-4 * value[ok], 1e-4)
  slope <- (in_scale(value[ok] + near, fit_scale, other, material) -
              in_scale(value[ok] - near, fit_scale, other, material)) / (2 * near)
  own <- of$std_uncertainty / abs(slope)
  u[ok] <- ifelse(is.finite(own), own, 0)
  u
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
