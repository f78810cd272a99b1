# What a small device takes from a plot: numbers above lanes that would run into the next lane, and width
# from the titles of panels.

# One label on the vertical axis for each lane; `short`, `caption` are for lanes too low for the layer of
# numbers, which then goes, with the subtitle that explains it.
many_lanes <- function(panels, short, caption, numbers) {
  structure(list(panels = panels, short = short, caption = caption, numbers = numbers),
            class = "softanneal_lanes")
}

#' @rawNamespace S3method(ggplot2::ggplot_add,softanneal_lanes)
ggplot_add.softanneal_lanes <- function(object, plot, ...) {
  attr(plot, "lanes") <- c(unclass(object), list(own = plot$labels[c("subtitle", "caption")]))
  plot
}

# Points between two lanes.
lane_height <- function(p, size, lanes) {
  g <- ggplot2::ggplotGrob(wrap_texts(p, size))
  rest <- sum(grid::convertHeight(g$heights, "inches", valueOnly = TRUE))
  72 * (size[2L] - rest) / (lanes$panels * (length(lanes$short) + 0.25))
}

fit_lanes <- function(p, size) {
  lanes <- attr(p, "lanes")
  if (is.null(lanes)) return(p)
  theme <- picture_theme_of(p)
  text <- ggplot2::calc_element("text", theme)$size
  # a number of 0.69 of the text stands in less than half of the lane
  if (lane_height(p, size, lanes) >= 1.25 * text) return(p)
  p$layers <- p$layers[-lanes$numbers]
  if (identical(p$labels$subtitle, lanes$own$subtitle)) p$labels$subtitle <- NULL
  if (identical(p$labels$caption, lanes$own$caption)) p$labels$caption <- lanes$caption
  p$scales <- p$scales$clone()
  axis <- p$scales$get_scales("y")
  axis$labels <- lanes$short
  own <- ggplot2::calc_element("axis.text.y", theme)$size
  p <- p + ggplot2::theme(legend.margin = ggplot2::margin(0, 0, 0, 0),
                          legend.box.spacing = ggplot2::unit(0.3 * text, "points"),
                          legend.text = ggplot2::element_text(size = 0.7 * text),
                          legend.key.size = ggplot2::unit(0.8 * text, "points"))
  fits <- max(lane_height(p, size, lanes) / 1.05, 0.45 * text)
  p + ggplot2::theme(axis.text.y = ggplot2::element_text(size = min(own, fits))) +
    ggplot2::guides(y = ggplot2::guide_axis(check.overlap = TRUE))
}

# Titles of panels that are wider than their panel, line by line.
wrap_strips <- function(p, size) {
  facet <- p$facet
  if (is.null(facet$params$labeller)) return(p)
  if (is.null(attr(p, "built"))) p <- measured(p)
  g <- attr(p, "built")
  across <- sum(grid::unitType(g$widths) == "null")
  wide <- size[1L] - sum(grid::convertWidth(g$widths, "inches", valueOnly = TRUE))
  element <- ggplot2::calc_element("strip.text.x", picture_theme_of(p))
  if (across < 1L || wide <= 0 || !inherits(element, "element_text")) return(p)
  own <- match.fun(facet$params$labeller)
  changed <- FALSE
  wrapped <- function(text) {
    lines <- strsplit(as.character(text), "\n", fixed = TRUE)
    out <- vapply(lines, function(one) {
      paste(vapply(one, wrap_text, "", width = wide / across, element = element), collapse = "\n")
    }, "", USE.NAMES = FALSE)
    if (!identical(out, as.character(text))) changed <<- TRUE
    out
  }
  q <- with_labeller(p, structure(function(labels) lapply(own(labels), wrapped), class = "labeller"))
  q <- measured(q)
  if (changed) q else p
}

# An heir finds what it inherits by its name in this frame.
with_labeller <- function(p, labeller) {
  facet <- p$facet
  params <- facet$params
  params$labeller <- labeller
  p$facet <- ggplot2::ggproto(NULL, facet, params = params)
  p
}
