# The name of a property other than hardness, with its unit.

MOST_LETTERS_OF_PROPERTY <- 60L

# c(name, unit) of "Yield stress (MPa)", NULL for none. `scale_given`: the call names a scale of hardness too.
check_property <- function(property, scale_given) {
  if (is.null(property)) return(NULL)
  property <- trimws(valid_text(check_string(property, "property")))
  # signs that standard fonts of PDF lack: ohm in letters, the Greek mu as the sign for micro
  property <- gsub("\u03bc", "\u00b5", gsub("[\u03a9\u2126]", "ohm", enc2utf8(property)), fixed = TRUE)
  unit <- if (grepl("[(][^()]*[)]$", property)) trimws(sub("^.*[(]([^()]*)[)]$", "\\1", property)) else ""
  name <- trimws(sub("[(][^()]*[)]$", "", property))
  if (!grepl("[[:alpha:]]", name) || nchar(property) > MOST_LETTERS_OF_PROPERTY ||
        grepl("[[:cntrl:]]", property)) {
    abort("argument", "`property` must name a property, with its unit in parentheses", arg = "property",
          remedy = "Such as property = \"Yield stress (MPa)\".")
  }
  if (nzchar(unit) && !is.na(known_scale(unit))) {
    abort("argument", paste0("`property` is for what is not a hardness, and ", unit, " is a hardness scale"),
          arg = "property",
          remedy = "Leave `property` out; scale = \"as read\" fits the numbers of the dial.")
  }
  if (scale_given) {
    abort("argument", "`property` and `scale` exclude each other: a property is fitted in its own unit",
          arg = "scale", remedy = "Leave `scale` out.")
  }
  c(name = name, unit = unit)
}
