# A marked plot fitted to the size of its device in inches. What the user set stays: another
# size of text, a legend put elsewhere, guides of their own. Building a plot takes most of the time, so
# one that was measured keeps what was built (attribute `built`) for drawing, as long as nothing is changed.

fit_picture <- function(p, size) {
  class(p) <- setdiff(class(p), "softanneal_picture")
  theme <- picture_theme_of(p)
  text <- ggplot2::calc_element("text", theme)$size
  if (isTRUE(attr(p, "auto_size")) && isTRUE(all.equal(text, BASE_SIZE))) {
    text <- BASE_SIZE * min(max(sqrt(min(size / c(7, 4.6))), 0.58), 1.6)
    p <- p + ggplot2::theme(text = ggplot2::element_text(size = text),
                            legend.key.size = ggplot2::unit(1.15 * text, "points"),
                            legend.key.width = ggplot2::unit(2 * text, "points"),
                            strip.text = ggplot2::element_text(margin = ggplot2::margin(
                              0.3 * text, 0.3 * text, 0.3 * text, 0.3 * text)))
  }
  if (isTRUE(attr(p, "auto_size"))) p$layers <- lapply(p$layers, scale_layer, text / BASE_SIZE)
  p <- show_on_ground(p, theme)
  # another complete theme puts the texts over the panel alone
  p <- p + ggplot2::theme(plot.title.position = "plot", plot.caption.position = "plot",
                          plot.caption = ggplot2::element_text(hjust = 0))
  p <- wrap_texts(fit_lanes(p, size), size)
  p <- uncrowd_axis(p)
  named <- label_ends(p, size)
  wrap_axes(wrap_strips(if (is.null(named)) fit_legend(p, size) else measured(named), size), size)
}

measured <- function(p) {
  attr(p, "built") <- ggplot2::ggplotGrob(p)
  p
}

# ---- texts -----------------------------------------------------------------------------------

wrap_texts <- function(p, size) {
  theme <- picture_theme_of(p)
  for (part in c("title", "subtitle", "caption")) {
    text <- p$labels[[part]]
    if (!is.character(text)) next
    element <- ggplot2::calc_element(paste0("plot.", part), theme)
    p$labels[[part]] <- wrap_text(text, size[1L] - 0.2, element)
  }
  p
}

# Titles of the axes are wrapped to the panels that are left for them.
wrap_axes <- function(p, size) {
  theme <- picture_theme_of(p)
  if (is.null(attr(p, "built"))) p <- measured(p)
  g <- attr(p, "built")
  panel <- size - c(sum(grid::convertWidth(g$widths, "inches", valueOnly = TRUE)),
                    sum(grid::convertHeight(g$heights, "inches", valueOnly = TRUE)))
  p$scales <- p$scales$clone()
  changed <- FALSE
  for (axis in c("x", "y")) {
    # a title that is a little longer than its panel still has room beside it
    across <- if (axis == "x") panel[1L] * 1.02 else panel[2L] * 1.02
    element <- ggplot2::calc_element(paste0("axis.title.", axis), theme)
    wrapped <- function(text) {
      out <- if (is.character(text)) wrap_text(text, across, element) else text
      if (!identical(out, text)) changed <<- TRUE
      out
    }
    p$labels[[axis]] <- wrapped(p$labels[[axis]])
    scale <- p$scales$get_scales(axis)
    if (is.null(scale)) next
    if (is.character(scale$name)) scale$name <- wrapped(scale$name)
    second <- scale$secondary.axis
    if (!is.null(second) && is.character(second$name)) {
      scale$secondary.axis <- renamed_axis(second, wrapped(second$name))
    }
  }
  if (changed) measured(p) else p
}

# A heir finds what it inherits by its name in this frame, so each has a frame of its own.
renamed_axis <- function(axis, name) ggplot2::ggproto(NULL, axis, name = name)

# Lines that fit stay; else all is set anew, word by word.
wrap_text <- function(text, width, element) {
  if (!length(text) || !nzchar(text)) return(text)
  font <- grid::gpar(fontsize = element$size, fontfamily = element$family, fontface = element$face)
  wide <- function(x) {
    grid::convertWidth(grid::grobWidth(grid::textGrob(x, gp = font)), "inches", valueOnly = TRUE)
  }
  if (wide(text) <= width) return(text)
  words <- strsplit(gsub("\\s+", " ", text), " ", fixed = TRUE)[[1L]]
  lines <- words[1L]
  for (word in words[-1L]) {
    longer <- paste(lines[length(lines)], word)
    if (wide(longer) <= width) lines[length(lines)] <- longer else lines <- c(lines, word)
  }
  paste(lines, collapse = "\n")
}

# Numbers below the axis that would overlap are left out, unless the plot has its own rule.
uncrowd_axis <- function(p) {
  scale <- p$scales$get_scales("x")
  own <- !is.null(scale) && inherits(scale$guide, "guide")
  if (own || "x" %in% names(guides_of(p))) return(p)
  p + ggplot2::guides(x = ggplot2::guide_axis(check.overlap = TRUE))
}

guides_of <- function(p) {
  g <- p$guides
  if (is.list(g)) g else if (!is.null(g)) g$guides else list()
}

# ---- legend ----------------------------------------------------------------------------------

# The first arrangement that leaves enough for the panels, else the best of them.
fit_legend <- function(p, size) {
  position <- picture_theme_of(p)$legend.position
  if (!is.character(position) || position == "none") return(p)
  small <- function(scale) {
    text <- ggplot2::calc_element("text", picture_theme_of(p))$size * scale
    ggplot2::theme(legend.text = ggplot2::element_text(size = 0.8 * text),
                   legend.title = ggplot2::element_text(size = 0.9 * text),
                   strip.text = ggplot2::element_text(size = 0.8 * text),
                   legend.key.size = ggplot2::unit(text, "points"),
                   legend.key.width = ggplot2::unit(1.7 * text, "points"),
                   legend.spacing = ggplot2::unit(0.2 * text, "points"),
                   legend.margin = ggplot2::margin(1, 1, 1, 1))
  }
  below <- function(scale, columns) {
    p + ggplot2::theme(legend.position = "bottom", legend.box = "vertical") + small(scale) +
      legend_columns(p, columns)
  }
  tries <- list(\() p, \() p + small(0.95), \() p + small(0.8), \() below(0.95, 5L),
                \() below(0.85, 4L), \() below(0.8, 3L), \() below(0.75, 1L))
  best <- NULL
  score <- -Inf
  for (one in tries) {
    try <- measured(one())
    room <- panel_room(try, size)
    if (room >= 0.42) return(try)
    if (room > score) {
      score <- room
      best <- try
    }
  }
  best
}

legend_columns <- function(p, columns) {
  title <- ggplot2::guide_legend(ncol = columns, title.position = "top")
  mapped <- c("colour", "fill", "shape", "linetype")
  mapped <- mapped[vapply(mapped, function(a) {
    s <- p$scales$get_scales(a)
    !is.null(s) && identical(s$guide, "legend") && !a %in% names(guides_of(p))
  }, NA)]
  do.call(ggplot2::guides, stats::setNames(rep(list(title), length(mapped)), mapped))
}

# The smaller share of the device that panels keep; a legend that is cut counts as none.
panel_room <- function(p, size) {
  g <- attr(p, "built") %or% ggplot2::ggplotGrob(p)
  inches <- function(x, convert) sum(convert(x, "inches", valueOnly = TRUE))
  room <- 1 - c(inches(g$widths, grid::convertWidth), inches(g$heights, grid::convertHeight)) / size
  boxes <- which(grepl("^guide-box", g$layout$name))
  panels <- g$layout[grepl("^panel", g$layout$name), ]
  beside <- c(inches(g$widths[seq_len(min(panels$l) - 1L)], grid::convertWidth),
              inches(g$widths[-seq_len(max(panels$r))], grid::convertWidth))
  for (k in boxes) {
    box <- g$grobs[[k]]
    if (!inherits(box, "gtable")) next
    need <- c(inches(box$widths, grid::convertWidth), inches(box$heights, grid::convertHeight))
    limit <- size * c(0.99, 0.95)
    # above and below the panels it stands in their middle
    if (g$layout$l[k] == min(panels$l)) limit[1L] <- size[1L] - abs(diff(beside))
    if (any(need > limit)) return(min(room) - 1)
  }
  min(room)
}

# ---- labels at the ends of the curves ----------------------------------------------------------

# NULL where they do not fit: panels too low for the lines of text, or facets.
label_ends <- function(p, size) {
  ends <- attr(p, "ends")
  if (is.null(ends)) return(NULL)
  theme <- picture_theme_of(p)
  if (!identical(theme$legend.position, "right")) return(NULL)
  # colours that show on the panel would vanish beside it
  outside <- ggplot2::calc_element("plot.background", theme)$fill
  if (is.null(outside) || is.na(outside)) outside <- "white"
  if (contrast(ground_of(theme), outside) >= 2) return(NULL)
  text <- 0.8 * ggplot2::calc_element("text", theme)$size
  bare <- p + ggplot2::theme(legend.position = "none")
  font <- grid::gpar(fontsize = text)
  wide <- max(grid::convertWidth(grid::stringWidth(ends$label), "inches", valueOnly = TRUE)) *
    text / grid::get.gpar("fontsize")$fontsize
  built <- ggplot2::ggplot_build(bare)
  # axes and titles alone are measured: of one layer without rows
  frame <- built
  frame$plot$layers <- frame$plot$layers[1L]
  frame$data <- list(frame$data[[1L]][0L, ])
  g <- ggplot2::ggplot_gtable(frame)
  high <- size[2L] - sum(grid::convertHeight(g$heights, "inches", valueOnly = TRUE))
  broad <- size[1L] - sum(grid::convertWidth(g$widths, "inches", valueOnly = TRUE))
  margin <- wide + 3.2 * text / 72
  line <- 1.15 * text / 72
  if (line * nrow(ends) > high || broad - margin < 0.42 * size[1L]) return(NULL)
  built <- built$layout$panel_params[[1L]]
  per_inch <- diff(built$y.range) / high
  across <- diff(built$x.range) / (broad - margin)
  # ends that meet keep the order of the others
  near <- round(ends$y / (0.02 * diff(built$y.range)))
  trend <- if (sum((near - mean(near)) * seq_along(near)) > 0) 1 else -1
  ends$at <- spread_out(near * 0.02 * diff(built$y.range) +
                          trend * seq_along(near) * 1e-4 * diff(built$y.range),
                        line * per_inch, built$y.range)
  edge <- built$x.range[2L]
  untransform <- function(x, axis) {
    scale <- bare$scales$get_scales(axis)
    if (is.null(scale$trans)) x else scale$trans$inverse(x)
  }
  mark <- data.frame(from = untransform(ends$x, "x"), y = untransform(ends$y, "y"),
                     to = untransform(edge + across * 0.9 * text / 72, "x"),
                     glyph = untransform(edge + across * 1.5 * text / 72, "x"),
                     text = untransform(edge + across * 2.1 * text / 72, "x"),
                     at = untransform(ends$at, "y"), label = factor(ends$label, ends$label))
  data <- ggplot2::aes(colour = .data[["label"]])
  bare + ggplot2::geom_segment(ggplot2::aes(.data[["from"]], .data[["y"]], xend = .data[["to"]],
                                            yend = .data[["at"]], colour = .data[["label"]]),
                               data = mark, linewidth = 0.25, inherit.aes = FALSE) +
    ggplot2::geom_point(ggplot2::aes(.data[["glyph"]], .data[["at"]], colour = .data[["label"]],
                                     shape = .data[["label"]]), data = mark,
                        size = text / 4.2, inherit.aes = FALSE) +
    ggplot2::geom_text(ggplot2::aes(.data[["text"]], .data[["at"]], label = .data[["label"]],
                                    colour = .data[["label"]]), data = mark, hjust = 0,
                       size = text / ggplot2::.pt, inherit.aes = FALSE) +
    ggplot2::coord_cartesian(xlim = untransform(built$x.range, "x"),
                             ylim = untransform(built$y.range, "y"), expand = FALSE,
                             clip = "off") +
    ggplot2::theme(plot.margin = ggplot2::margin(5.5, 5.5 + 72 * margin, 5.5, 5.5))
}

# Places at least `gap` apart in the order of y, within the limits, as near to y as that allows.
spread_out <- function(y, gap, limits) {
  order <- order(y)
  at <- y[order]
  n <- length(at)
  low <- limits[1L] + gap / 2
  for (pass in seq_len(200L)) {
    moved <- FALSE
    for (i in seq_len(n - 1L)) {
      short <- gap - (at[i + 1L] - at[i])
      if (short > gap * 1e-3) {
        at[i] <- at[i] - short / 2
        at[i + 1L] <- at[i + 1L] + short / 2
        moved <- TRUE
      }
    }
    if (at[1L] < low) at[1L] <- low
    if (at[n] > limits[2L] - gap / 2) at[n] <- limits[2L] - gap / 2
    if (!moved) break
  }
  out <- numeric(n)
  out[order] <- at
  out
}

# Points and words of a layer grow and shrink with the text.
scale_layer <- function(layer, factor) {
  size <- layer$aes_params$size
  if (is.null(size) || !is.numeric(size)) return(layer)
  least <- if (inherits(layer$geom, "GeomPoint")) 0.7 else 0.6
  ggplot2::ggproto(NULL, layer,
                   aes_params = utils::modifyList(layer$aes_params,
                                                  list(size = size * max(factor, least))))
}
