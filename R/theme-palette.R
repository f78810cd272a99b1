# Colours, shapes and line types of all plots. Temperatures are ordered, so they take an ordered
# ramp from dark to light; kinds and specimens take four colours that stay apart for colour-deficient
# eyes. Each member has a contrast of 3:1 on white at least (WCAG 2.1, 1.4.11), and colour
# never stands alone: shape or line type goes with it.

# Relative luminance of sRGB colours (WCAG 2.1).
luminance <- function(colour) {
  v <- grDevices::col2rgb(colour) / 255
  v <- ifelse(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055)^2.4)
  drop(c(0.2126, 0.7152, 0.0722) %*% v)
}

contrast <- function(colour, ground = "white") {
  l <- cbind(luminance(colour), luminance(ground)) + 0.05
  unname(pmax(l[, 1L], l[, 2L]) / pmin(l[, 1L], l[, 2L]))
}

# n colours evenly spaced in lightness (CIE L*) on the part of the ramp that shows on the ground.
ramp_colours <- function(n, dark = picture_state$dark) {
  if (n < 1L) return(character())
  all <- grDevices::hcl.colors(512L, "Batlow")
  lightness <- grDevices::convertColor(t(grDevices::col2rgb(all)) / 255, "sRGB", "Lab")[, 1L]
  keep <- contrast(all, if (dark) "#222222" else "white") >= 3
  all <- all[keep]
  lightness <- lightness[keep]
  ends <- if (n == 1L) rep(mean(range(lightness)), 2L) else range(lightness)
  all[vapply(seq(ends[1L], ends[2L], length.out = n),
             function(l) which.min(abs(lightness - l)), 0L)]
}

# For kinds, specimens and marks: blue, vermilion, green, purple of Okabe and Ito (2008); a ramp
# where there are more.
group_colours <- function(n) {
  if (n > 4L) return(ramp_colours(n))
  unname(grDevices::palette.colors(9, "Okabe-Ito")[c(6, 7, 4, 8)][seq_len(n)])
}

# Where nothing is told apart: lines and points, their counterpart, and marks in between that
# show on light and dark grounds alike.
MAIN_COLOUR <- "#0072B2"
SECOND_COLOUR <- "#D55E00"
INK <- "#6B6B6B"
PALE <- "#BFD7EA"

# A colour that hardly shows on its ground, such as the middle grey of ggplot2::theme_dark(), mixed with
# white until it does.
visible_on <- function(colour, ground, least = 2) {
  colour <- as.vector(colour)
  for (k in which(!is.na(colour) & contrast(colour, ground) < least)) {
    tints <- grDevices::colorRampPalette(c(colour[k], "white"))(41L)
    colour[k] <- c(tints[contrast(tints, ground) >= 1.15 * least & luminance(tints) > luminance(ground)],
                   "#FFFFFF")[1L]
  }
  colour
}

group_shapes <- function(n) rep_len(c(16, 17, 15, 18, 8, 4, 3, 1, 2, 0, 5, 6), n)

group_lines <- function(n) rep_len(c("solid", "22", "42", "1242", "82", "12", "6222"), n)

# Colour, fill, shape and line type under one legend; the colours are chosen when the plot is
# drawn, since only then its ground is known.
level_scales <- function(levels, title, lines = TRUE, ordered = TRUE) {
  n <- length(levels)
  colours <- function() if (ordered) ramp_colours(n) else group_colours(n)
  late <- function(scale) {
    scale$palette <- function(...) stats::setNames(colours(), levels)
    scale
  }
  named <- function(x) stats::setNames(x, levels)
  out <- list(late(ggplot2::scale_colour_manual(title, values = named(colours()), drop = FALSE)),
              late(ggplot2::scale_fill_manual(title, values = named(colours()), drop = FALSE)),
              ggplot2::scale_shape_manual(title, values = named(group_shapes(n)), drop = FALSE))
  if (!lines) return(out)
  c(out, list(ggplot2::scale_linetype_manual(title, values = named(group_lines(n)), drop = FALSE)))
}

temperature_scales <- function(levels, lines = TRUE) level_scales(levels, "Annealed at", lines)

temperature_label <- function(temp_c) {
  in_degrees(format(signif(temp_c, 5), trim = TRUE, drop0trailing = TRUE))
}

temperature_factor <- function(temp_c, all = temp_c) {
  levels <- different_temperatures(all)
  factor(temperature_label(signif(temp_c, 10)), unique(temperature_label(levels)))
}
