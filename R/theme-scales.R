# The look of this package's plots for plots of the user.

#' Colours, shapes and theme of the package's plots
#'
#' Temperatures are ordered: their colours go from dark to light, evenly in lightness, each with a contrast
#' of 3:1 to the ground (WCAG 2.1, 1.4.11), and stay apart in grey and for the common colour deficiencies.
#' Add shape or line type, since colour alone does not reach everybody.
#'
#' @param name Title of the legend; by default "Annealed at" with the unit.
#' @param discrete `TRUE` for factors, such as `factor(temp_c)`; `FALSE` for numbers.
#' @param dark Whether the ground is dark.
#' @param ... Further arguments of the scale of ggplot2, such as `labels`.
#' @param base_size Size of the text in points.
#' @param legend Where the legend stands: `"right"`, `"bottom"`, `"none"` and so on.
#' @return A scale, or a complete theme, for [ggplot2::ggplot()] or [ggplot2::theme_set()].
#' @section Errors: `softanneal_error_argument` for arguments of the wrong type.
#' @references World Wide Web Consortium (2018) Web Content Accessibility Guidelines 2.1.
#' @seealso [geom_softening()]; the plots of the package, such as [autoplot.softanneal_fit_softening()],
#'   keep a theme set by [ggplot2::theme_set()].
#' @examples
#' library(ggplot2)
#' tungsten <- example_data("tungsten")
#' ggplot(tungsten, aes(time_min, hardness, colour = factor(temp_c), shape = factor(temp_c))) +
#'   geom_point() +
#'   scale_colour_temperature() +
#'   scale_shape_temperature() +
#'   theme_softanneal()
#' @export
scale_colour_temperature <- function(name = NULL, ..., discrete = TRUE, dark = FALSE) {
  ramp_scale("colour", name, list(...), discrete, dark)
}

#' @rdname scale_colour_temperature
#' @export
scale_color_temperature <- scale_colour_temperature

#' @rdname scale_colour_temperature
#' @export
scale_fill_temperature <- function(name = NULL, ..., discrete = TRUE, dark = FALSE) {
  ramp_scale("fill", name, list(...), discrete, dark)
}

#' @rdname scale_colour_temperature
#' @export
scale_shape_temperature <- function(name = NULL, ...) {
  with_palette(ggplot2::scale_shape_discrete(name = name %or% RAMP_TITLE, ...), group_shapes)
}

#' @rdname scale_colour_temperature
#' @export
scale_linetype_temperature <- function(name = NULL, ...) {
  with_palette(ggplot2::scale_linetype_discrete(name = name %or% RAMP_TITLE, ...), group_lines)
}

#' @rdname scale_colour_temperature
#' @export
theme_softanneal <- function(base_size = 12, legend = "right") {
  base_size <- check_number(base_size, "base_size", 0, 100, open = TRUE)
  ggplot2::theme_bw(base_size = base_size) + finish_theme(check_string(legend, "legend"))
}

RAMP_TITLE <- "Annealed at (\u00b0C)"

ramp_scale <- function(aesthetic, name, further, discrete, dark) {
  discrete <- check_flag(discrete, "discrete")
  dark <- check_flag(dark, "dark")
  make <- function(kind) getExportedValue("ggplot2", paste("scale", aesthetic, kind, sep = "_"))
  if (discrete) {
    scale <- do.call(make("hue"), c(list(name = name %or% RAMP_TITLE), further))
    return(with_palette(scale, function(n) ramp_colours(n, dark)))
  }
  do.call(make("gradientn"), c(list(name = name %or% RAMP_TITLE, colours = ramp_colours(9L, dark)), further))
}

with_palette <- function(scale, palette) {
  scale$palette <- palette
  scale
}
