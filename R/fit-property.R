# Softening fits of another property than hardness: yield stress, resistivity, fraction, grain size. Name and
# unit stand in the readings of the fit (`property`); words about hardness become words about the property.


property_of <- function(fit) if (of_many(fit)) fit$set$property else fit$readings$property

of_many <- function(fit) inherits(fit, "softanneal_fits")

model_of <- function(fit) if (of_many(fit)) fit$set$model else fit$model

# The values of a property in its unit; a column of class units is converted to it.
property_values <- function(data, column, property) {
  x <- any_column(data, column)
  unit <- property[["unit"]]
  own <- if (inherits(x, "units")) tryCatch(as.character(attr(x, "units")), error = function(e) "?")
  if (!nzchar(unit) && length(own) && !own[1L] %in% c("", "1")) {
    abort("units", paste0("column `", column, "` has the unit '", own[1L], "', and `property` names none"),
          arg = "property",
          remedy = paste0("Give it, such as property = \"", property[["name"]], " (", own[1L], ")\"."))
  }
  numeric_column(data, column, unit = if (nzchar(unit)) unit, lower = 0, na = TRUE,
                 remedy = "Values are zero or more; add a constant to changes of a property.")
}

# Levels for words that do not ask whether the property rises.
UP_AND_DOWN <- c(h_worked = 1, h_soft = 0)

# Whether the property rises on annealing.
property_rises <- function(fit) {
  if (is.null(property_of(fit))) return(FALSE)
  if (!of_many(fit)) return(fit$par[["h_soft"]] > fit$par[["h_worked"]])
  change <- fit$par[2L, ] - fit$par[1L, ]
  sum(change > 0, na.rm = TRUE) > sum(change < 0, na.rm = TRUE)
}

# Recovery, hardening and grain growth are terms of a hardness that falls.
refuse_rising_terms <- function(fit) {
  terms <- if (of_many(fit)) fit$set$terms else names(fit$par)
  if (!any(is_amplitude(terms)) || !property_rises(fit)) return(invisible())
  abort("model", paste0(property_of(fit)[["name"]], " rises on annealing, and model '", model_of(fit),
                        "' has a term of a property that falls"), arg = "model",
        remedy = "Fit model = \"jmak\" or another without recovery, hardening and grain growth.")
}

# Title of the axis: quantity and unit.
property_title <- function(fit) {
  property <- property_of(fit)
  if (is.null(property)) return(hardness_title(fit$scale))
  paste0(property[["name"]], if (nzchar(property[["unit"]])) paste0(" (", property[["unit"]], ")"))
}

# The name of the property within a sentence; capitals that are no beginning of a sentence stay.
property_word <- function(fit) {
  name <- property_of(fit)[["name"]]
  if (is.null(name)) return("hardness")
  if (!grepl("^[[:upper:]][[:lower:]]", name)) return(name)
  paste0(tolower(substr(name, 1L, 1L)), substring(name, 2L))
}

# Texts about hardness and softening as texts about the property of the fit.
in_property <- function(text, fit) {
  property <- property_of(fit)
  if (is.null(property) || is.null(text)) return(text)
  name <- property[["name"]]
  swap <- c("Softening curves" = paste(name, "curves"),
            "Softening fits" = paste("Fits of", property_word(fit)), "when soft\\b" = "when annealed",
            "\\bSoftened fraction\\b" = "Changed fraction",
            "\\bsoftened fraction\\b" = "changed fraction",
            "(the )?\\bsoftening\\b" = "the change", "\\bSoftening\\b" = "The change",
            "\\bHardness\\b" = name, "\\bhardness\\b" = property_word(fit),
            if (property_rises(fit)) {
              c("\\bfalls from\\b" = "rises from", "\\bfalling from\\b" = "rising from")
            })
  for (pattern in names(swap)) {
    # a name is text, not a replacement with references
    text <- gsub(pattern, gsub("\\", "\\\\", swap[[pattern]], fixed = TRUE), text, perl = TRUE)
  }
  if (nzchar(property[["unit"]])) return(text)
  # without a unit
  text <- gsub(" [(][)]", "", gsub(" in (?= |over)", " ", text, perl = TRUE))
  gsub(" +", " ", gsub(" ([.;,])", "\\1", text))
}

# Names of parameters of a fit of `property` (NULL: hardness), with the units that are always the same.
property_labels <- function(terms, property, unit = TRUE) {
  in_property(parameter_label(terms, property[["unit"]] %or% "", unit),
              list(readings = list(property = property), par = UP_AND_DOWN))
}

# " HV", or nothing where the scale has no name.
unit_after <- function(scale) if (scale %in% c("as read", "")) "" else paste0(" ", scale)
