#' softanneal: softening and recrystallisation kinetics from hardness readings
#'
#' From the rolling mill to the furnace and back: checked hardness readings, scale
#' conversion, softening curves with recrystallisation kinetics, honest intervals,
#' and the time a furnace needs for a wanted hardness.
#'
#' Temperatures are in degrees Celsius, times in minutes, lengths in mm and
#' activation energies in kJ/mol, as on the bench. Every argument says its unit in
#' its name or on its page.
#'
#' @section Safety:
#' A prediction is an estimate, not a release for use. Furnaces, hot metal, rolls
#' and saws hurt people: follow the local rules and the maker's instructions, and
#' work under qualified supervision.
#'
#' @keywords internal
#' @useDynLib softanneal, .registration = TRUE, .fixes = "C_"
#' @importFrom generics tidy glance augment
#' @importFrom stats anova coef confint deviance df.residual family fitted formula logLik nobs
#' @importFrom stats predict profile residuals sigma simulate vcov weights
"_PACKAGE"

#' @export
generics::tidy

#' @export
generics::glance

#' @export
generics::augment

# The pronoun of ggplot2::aes(), and the standard column names, defaults of the column
# arguments, which take names unevaluated. Nothing of rlang or ggplot2 is imported by name, so
# that neither is loaded before it is needed.
utils::globalVariables(c(
  ".data", "effective_strain", "grain_mm", "group", "hardness", "length_mm", "peak_c",
  "rate_k_min", "specimen", "strain", "temp_c", "thickness_mm", "time_min", "time_s", "width_mm"))

# plot() of every class with a picture: `plot.class <- draw_picture` beside its autoplot() method.
draw_picture <- function(x, ...) {
  print(ggplot2::autoplot(x, ...))
  invisible(x)
}
