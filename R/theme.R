# One finish for all plots. plain_theme() gives the look and marks the plot; print() of a marked
# plot fits it to the device: size of the text, wrapped captions and titles, a legend that
# shrinks, moves or becomes labels at the ends of the curves, and lighter colours on a dark ground.

picture_state <- new.env(parent = emptyenv())
picture_state$dark <- FALSE

BASE_SIZE <- 12

# A theme that the user has set is kept, and so is a `base_size` that was given.
plain_theme <- function(base_size = NULL, legend = "right") {
  base_size <- check_number(base_size, "base_size", 0, 100, open = TRUE, null = TRUE)
  own <- !identical(ggplot2::theme_get(), ggplot2::theme_grey())
  base <- if (own && is.null(base_size)) ggplot2::theme_get() else if (own) {
    ggplot2::theme_get() + ggplot2::theme(text = ggplot2::element_text(size = base_size))
  } else ggplot2::theme_bw(base_size = base_size %or% BASE_SIZE)
  list(base,
       finish_theme(legend),
       structure(list(auto = !own && is.null(base_size)), class = "softanneal_finish"))
}

finish_theme <- function(legend) {
  ggplot2::theme(panel.grid.minor = ggplot2::element_blank(),
                 plot.title = ggplot2::element_text(size = ggplot2::rel(1.1)),
                 plot.title.position = "plot", plot.caption.position = "plot",
                 plot.caption = ggplot2::element_text(hjust = 0, colour = INK),
                 strip.clip = "off", legend.position = legend,
                 legend.key.width = ggplot2::unit(1.6, "lines"))
}

#' @rawNamespace S3method(ggplot2::ggplot_add,softanneal_finish)
ggplot_add.softanneal_finish <- function(object, plot, ...) {
  class(plot) <- unique(c("softanneal_picture", class(plot)))
  attr(plot, "auto_size") <- object$auto
  own_aesthetics(plot)
}

# What the plot maps besides x and y (colour, shape, ends of bars) goes to the layers that stand: a layer that
# a user adds has other data, which lack these columns.
own_aesthetics <- function(plot) {
  shared <- plot$mapping[setdiff(names(plot$mapping), c("x", "y"))]
  if (!length(shared)) return(plot)
  plot$layers <- lapply(plot$layers, function(layer) {
    if (!isTRUE(layer$inherit.aes)) return(layer)
    own <- layer$mapping
    all <- c(as.list(own), as.list(shared)[setdiff(names(shared), names(own))])
    ggplot2::ggproto(NULL, layer, mapping = structure(all, class = "uneval"))
  })
  plot$mapping <- plot$mapping[intersect(names(plot$mapping), c("x", "y"))]
  plot
}

# Labels at the ends of curves in place of a legend, where they fit: x and y of each end in the
# units of the axes as drawn (logarithms on a logarithmic axis), and its label.
end_labels <- function(x, y, label) {
  structure(list(ends = data.frame(x = x, y = y, label = label)), class = "softanneal_ends")
}

#' @rawNamespace S3method(ggplot2::ggplot_add,softanneal_ends)
ggplot_add.softanneal_ends <- function(object, plot, ...) {
  attr(plot, "ends") <- object$ends
  plot
}

#' @export
print.softanneal_picture <- function(x, newpage = is.null(vp), vp = NULL, ...) {
  if (newpage) grid::grid.newpage() # before anything is measured, which would open a page
  theme <- picture_theme_of(x)
  picture_state$dark <- dark_ground(theme)
  on.exit(picture_state$dark <- FALSE)
  enter <- function() {
    if (is.character(vp)) return(grid::seekViewport(vp))
    if (!is.null(vp)) grid::pushViewport(vp)
    as.integer(!is.null(vp))
  }
  leave <- function(depth) if (depth > 0L) grid::upViewport(depth)
  depth <- enter()
  size <- c(grid::convertWidth(grid::unit(1, "npc"), "inches", valueOnly = TRUE),
            grid::convertHeight(grid::unit(1, "npc"), "inches", valueOnly = TRUE))
  leave(depth)
  picture <- fit_picture(x, size)
  depth <- enter()
  grid::grid.draw(attr(picture, "built"))
  leave(depth)
  ggplot2::set_last_plot(x)
  invisible(x)
}

#' @export
plot.softanneal_picture <- print.softanneal_picture

picture_theme_of <- function(p) {
  if (isTRUE(attr(p$theme, "complete"))) p$theme else ggplot2::theme_get() + p$theme
}

ground_of <- function(theme) {
  fill <- NULL
  for (part in c("panel.background", "plot.background")) {
    fill <- fill %or% ggplot2::calc_element(part, theme)$fill
  }
  if (is.null(fill) || is.na(fill)) "white" else fill
}

dark_ground <- function(theme) luminance(ground_of(theme)) < 0.18

# Colours of lines, points and texts, given or from a scale, that would vanish on the ground. Fills stay:
# they have outlines, and shades of a key have an order.
show_on_ground <- function(p, theme) {
  ground <- ground_of(theme)
  if (contrast(INK, ground) >= 2 && contrast(SECOND_COLOUR, ground) >= 2) return(p)
  p$layers <- lapply(p$layers, function(layer) {
    colour <- layer$aes_params$colour
    if (is.null(colour)) return(layer)
    seen <- list(colour = visible_on(colour, ground))
    if (inherits(layer$geom, "GeomLabel")) seen$fill <- ground # else light letters in a white box
    ggplot2::ggproto(NULL, layer, aes_params = utils::modifyList(layer$aes_params, seen))
  })
  p$scales <- p$scales$clone()
  p$scales$scales <- lapply(p$scales$scales, function(scale) {
    if (!"colour" %in% scale$aesthetics || is.null(scale$palette)) return(scale)
    own <- scale$palette
    ggplot2::ggproto(NULL, scale, palette = function(...) {
      found <- own(...)
      found[] <- visible_on(found, ground)
      found
    })
  })
  p
}
