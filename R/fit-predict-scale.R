# Hardness in another scale than that of the fit.

in_scale <- function(x, from, to, material) {
  suppressWarnings(convert_hardness(x, from, to, material = material),
                   classes = "softanneal_warning_outside")
}

# A prediction in another scale than that of the fit: values and ends are converted, standard errors by
# the slope there.
prediction_in_scale <- function(object, out, scale) {
  converted_prediction(out, check_scale(scale), object$scale, object$readings$material, property_of(object))
}

# Numbers that are no hardness of a known scale cannot be converted to `scale`.
refuse_no_scale <- function(own, property, scale) {
  if (!is.null(property)) {
    abort("scale", paste0("the fit is of ", property[["name"]], ", which cannot be given in ", scale),
          arg = "scale", remedy = "Leave `scale` out: values are in the unit of the property.")
  }
  if (!is.na(known_scale(own))) return(invisible())
  abort("scale", paste0("the readings were fitted as read, and their numbers cannot be converted to ", scale),
        arg = "scale", remedy = "Fit with scale = \"HV\", or leave `scale` out.")
}

# `material`: the conversion table, one or one per prediction.
converted_prediction <- function(out, scale, own, material, property = NULL) {
  if (is.null(scale) || scale == own) return(out)
  refuse_no_scale(own, property, scale)
  for (one in unique(material)) scale_codes(scale, table_of(one), one, "scale")
  if (length(unique(material)) == 1L) material <- material[1L]
  to <- function(x) {
    x[] <- in_scale(as.vector(x), own, scale, if (length(material) == 1L) material else {
      rep_len(material, length(x))
    })
    x
  }
  both <- is.list(out)
  value <- if (both) out$fit else out
  changed <- to(value)
  gone <- which(rowSums(is.na(as.matrix(changed)) & is.finite(as.matrix(value))) > 0L)
  if (length(gone)) {
    warn("outside", paste0(length(gone), " of ", NROW(value), " predictions are NA, in part or whole: ",
                           "they cannot be converted to ", scale, " (", in_rows(gone), ")."),
         n = length(gone), rows = gone)
  }
  if (!both) return(changed)
  middle <- if (is.matrix(value)) value[, "fit"] else value
  h <- 1e-4 * abs(middle)
  out$se.fit <- out$se.fit * abs(to(middle + h) - to(middle - h)) / (2 * h)
  out$fit <- changed
  out
}
