# Where indentations may stand: distances after ISO 6507-1 (Vickers), ISO 6508-1 and ASTM E18
# (Rockwell) and the Brinell rule, and a layout of all readings of a run on one strip, drawn to
# scale. Lengths in mm. Rules with sources: inst/extdata/indentation_rules.csv.

# A diameter computed from a Rockwell reading is enlarged by this share: the depth recovers
# when the force is removed, the diameter changes little. Own choice: with it no computed diameter is
# more than 1 % below the Brinell diameter of the same row of ASTM E140 for brass (tests).
ROCKWELL_ALLOWANCE <- 0.20

#' Distances between indentations and from the edge
#'
#' Minimum distance between the centres of two indentations, and from a centre to the edge of the
#' specimen: 3 and 2.5 times the diameter (mean diagonal) of the indentation. For Vickers tests on
#' light metals, lead, tin and their alloys: 6 and 3 times.
#'
#' The diameter is computed from the reading. Vickers: the diagonal, ISO 6507-1. Brinell: the
#' cap of depth `F / (pi D HBW)`, ISO 6506-1. Rockwell: from the permanent depth, to which the
#' part made by the preliminary force is added (depth proportional to force on a ball, to its
#' square root on a cone), enlarged by 20 % because the depth recovers more than the
#' diameter (own estimate, checked against the Brinell numbers of ASTM E140). A measured diameter
#' is better: give it as `diameter_mm`.
#'
#' @inheritParams minimum_thickness
#' @param hardness Readings; the softest gives the largest indentation. Not needed with
#'   `diameter_mm`.
#' @param diameter_mm Measured diameter or mean diagonal in mm, or `NULL` to compute it.
#' @param alloy_group `"copper"` (copper alloys, steel) or `"light"` (light metals, lead, tin).
#' @return A data frame with columns `scale`, `hardness`, `diameter_mm`, `centre_mm` (minimum
#'   distance between centres), `edge_mm` (minimum distance from centre to edge) and `source`.
#' @details Errors: `softanneal_error_scale` for an unknown scale; `softanneal_error_range` for
#'   impossible readings or diameters; `softanneal_error_argument` with neither reading nor
#'   diameter.
#' @references ISO 6507-1:2018; ISO 6508-1 (distances as restated by an instrument maker); ASTM
#'   E18 (from memory). `system.file("extdata", "indentation_rules.csv", package = "softanneal")`.
#' @seealso [indent_layout()], [minimum_thickness()], [choose_scale()]
#' @examples
#' indent_spacing(c(70, 170), "HV5")
#' indent_spacing(30, "HR30T")
#' indent_spacing(scale = "HRB", diameter_mm = 1.02)
#' @export
indent_spacing <- function(hardness = NULL, scale, diameter_mm = NULL,
                           alloy_group = c("copper", "light")) {
  alloy_group <- check_choice(alloy_group, c("copper", "light"), "alloy_group")
  if (is.null(hardness) && is.null(diameter_mm)) {
    abort("argument", "neither `hardness` nor `diameter_mm` is given", arg = "hardness",
          remedy = "Give the softest reading expected, or a measured diameter.")
  }
  hardness <- if (is.null(hardness)) NA_real_ else check_numeric(hardness, "hardness", na = TRUE)
  given <- list(hardness = hardness, scale = as_scale_names(scale))
  if (!is.null(diameter_mm)) {
    given$diameter_mm <- in_unit(diameter_mm, "mm", "diameter_mm", 0, open = TRUE)
  }
  given <- do.call(common_length, given)
  rules <- fact_table("indentation_rules.csv")
  out <- data.frame(scale = given$scale, hardness = given$hardness,
                    diameter_mm = rep_len(NA_real_, length(given$scale)),
                    centre_mm = rep_len(NA_real_, length(given$scale)),
                    edge_mm = rep_len(NA_real_, length(given$scale)),
                    source = rep_len(NA_character_, length(given$scale)))
  if (!is.null(diameter_mm)) out$diameter_mm <- given$diameter_mm
  for (one in unique(given$scale)) {
    rows <- which(given$scale == one)
    test <- test_geometry(one)
    if (is.null(diameter_mm)) {
      check_readings_on(given$hardness[rows], rows, test)
      allowance <- if (test$method == "Rockwell") 1 + ROCKWELL_ALLOWANCE else 1
      out$diameter_mm[rows] <- allowance * indent_diameter(given$hardness[rows], test)
    }
    wanted <- test$method == "Vickers" & alloy_group == "light"
    rule <- rules[rules$method == test$method & (rules$metal == "light") == wanted, ]
    out$centre_mm[rows] <- rule$centre_factor * out$diameter_mm[rows]
    out$edge_mm[rows] <- rule$edge_factor * out$diameter_mm[rows]
    out$source[rows] <- rule$source
  }
  lost <- which(is.na(out$diameter_mm) & !is.na(out$hardness))
  if (length(lost)) {
    warn("outside", paste0("No diameter for ", length(lost), " of ", nrow(out), " readings (",
                           in_rows(lost), "): the depth would exceed the ball radius."),
         n = length(lost), rows = lost)
  }
  out
}

#' Place the readings of a run on a strip
#'
#' Places `n_readings` readings for each of `steps` steps on a strip so that every indentation keeps its
#' distance from its neighbours and the edges, whenever it was made.
#'
#' The indentations stand in straight rows along the strip, in the number of rows and columns
#' that keeps them furthest apart, spread evenly over the free length and width. With
#' `order = "spread"` the readings of one step are spread over the whole strip, so that a
#' gradient along the strip (hardness, furnace) does not look like an effect of the step; with
#' `"block"` they stand together, which is easier to find. With `pattern = "staggered"` every
#' second row is shifted by half a pitch, and more may fit.
#'
#' If not all readings fit, whole steps are placed as far as they fit, the rest has `NA`, and one
#' warning of class `softanneal_warning_outside` names what would fit.
#'
#' @param width_mm,length_mm Width and length of the strip in mm.
#' @param n_readings Readings per step.
#' @param steps Number of steps, the reading before the first anneal included.
#' @param hardness The softest reading expected (largest indentation) on `scale`.
#' @param scale Scale, see [minimum_thickness()].
#' @param diameter_mm,alloy_group See [indent_spacing()].
#' @param margin_mm Length in mm kept free at the start of the strip, for a stamp or tongs.
#' @param order `"spread"` or `"block"`.
#' @param pattern `"grid"` or `"staggered"`.
#' @return An object of class `softanneal_layout`, a list with `positions` (a data frame with
#'   columns `step`, `reading`, `position_mm` along the strip and `across_mm`, from one corner),
#'   `fits` (logical), `capacity` (indentations that fit), `spacing` (row of [indent_spacing()]),
#'   and the sizes given. `as.data.frame()` gives the positions.
#' @details Errors: `softanneal_error_range` when not even one reading fits, or for sizes that are
#'   not positive.
#' @seealso [minimum_thickness()], [indent_spacing()]
#' @examples
#' layout <- indent_layout(20, 80, n_readings = 6, steps = 7, hardness = 30, scale = "HR30T")
#' layout
#' head(as.data.frame(layout))
#' plot(layout)
#' @export
indent_layout <- function(width_mm, length_mm, n_readings, steps, hardness = NULL, scale,
                          diameter_mm = NULL, alloy_group = c("copper", "light"), margin_mm = 0,
                          order = c("spread", "block"), pattern = c("grid", "staggered")) {
  # a sheet of 1 km, a million readings: beyond that a slip, not a strip
  width_mm <- check_number(in_unit(width_mm, "mm", "width_mm", 0, 1e6, open = TRUE), "width_mm")
  length_mm <- check_number(in_unit(length_mm, "mm", "length_mm", 0, 1e6, open = TRUE),
                            "length_mm")
  margin_mm <- check_number(in_unit(margin_mm, "mm", "margin_mm", 0), "margin_mm")
  n_readings <- check_number(n_readings, "n_readings", 1, 1000, whole = TRUE)
  steps <- check_number(steps, "steps", 1, 1000, whole = TRUE)
  order <- check_choice(order, c("spread", "block"), "order")
  pattern <- check_choice(pattern, c("grid", "staggered"), "pattern")
  spacing <- indent_spacing(hardness, scale, diameter_mm, alloy_group)
  if (nrow(spacing) != 1L || is.na(spacing$diameter_mm)) {
    abort("argument", "the layout needs one known diameter", arg = "hardness",
          remedy = "Give one softest reading, or one measured diameter.")
  }
  free <- c(length_mm - margin_mm, width_mm) - 2 * spacing$edge_mm
  if (any(free < 0)) {
    abort("range", paste0("the strip is too small for one reading: an indentation of ",
                          format(spacing$diameter_mm, digits = 2), " mm keeps ",
                          format(spacing$edge_mm, digits = 2), " mm from each edge, and ",
                          format(c(length_mm - margin_mm, width_mm)[which.min(free)]),
                          " mm are there"),
          arg = if (free[1L] < 0) "length_mm" else "width_mm",
          remedy = "Take a larger strip, or a scale with smaller indentations.")
  }
  if (prod(free / spacing$centre_mm + 1) > 1e6) {
    abort("range", "the strip has room for more than a million indentations", arg = "length_mm",
          remedy = "Check the sizes of strip and indentation, in mm.")
  }
  capacity <- layout_capacity(free, spacing$centre_mm, pattern)
  asked <- n_readings * steps
  placed_steps <- min(steps, capacity %/% n_readings)
  sites <- layout_sites(free, spacing$centre_mm, n_readings * placed_steps, pattern)
  index <- site_order(n_readings, placed_steps, order)
  positions <- data.frame(
    step = rep(seq_len(steps), each = n_readings), reading = rep(seq_len(n_readings), steps),
    position_mm = rep_len(NA_real_, asked), across_mm = rep_len(NA_real_, asked))
  rows <- seq_len(n_readings * placed_steps)
  positions$position_mm[rows] <- margin_mm + spacing$edge_mm + sites$along[index]
  positions$across_mm[rows] <- spacing$edge_mm + sites$across[index]
  out <- structure(list(positions = positions, fits = placed_steps == steps, capacity = capacity,
                        spacing = spacing, width_mm = width_mm, length_mm = length_mm,
                        margin_mm = margin_mm, order = order, pattern = pattern),
                   class = "softanneal_layout")
  if (!out$fits) tell_too_many(out, n_readings, steps, free)
  out
}

# Ways to fill a free field (length, width) with rows and columns: straight rows, or every
# second row aside by half a pitch, with as many columns as the others (`extra` = 1) or one less.
# Columns: rows, columns, extra, count (sites) and gap (minimum distance between two centres).
layout_ways <- function(free, pitch, pattern) {
  staggered <- pattern == "staggered"
  # rows two apart stand in line, so staggered rows may come as close as half a pitch
  most <- floor(c(free[2L] / pitch * (if (staggered) 2 else 1), free[1L] / pitch) * (1 + 1e-9)) + 1
  ways <- expand.grid(rows = seq_len(most[1L]), columns = seq_len(most[2L]),
                      extra = if (staggered) 0:1 else 1L)
  odd <- ways$rows %/% 2
  ways$count <- ways$rows * ways$columns - odd * (1L - ways$extra)
  ways$dx <- free[1L] / (ways$columns - 1 + if (staggered) ways$extra / 2 else 0)
  ways$dy <- free[2L] / (ways$rows - 1)
  # one row or column in a field without room has no distance to keep
  ways$dx[is.nan(ways$dx)] <- Inf
  ways$dy[is.nan(ways$dy)] <- Inf
  in_row <- ifelse(ways$columns > 1, ways$dx, Inf)
  ways$gap <- if (staggered) {
    aside <- ifelse(is.finite(ways$dx), ways$dx / 2, 0)
    pmin(in_row, ifelse(ways$rows > 1, sqrt(aside^2 + ways$dy^2), Inf),
         ifelse(ways$rows > 2, 2 * ways$dy, Inf))
  } else {
    pmin(in_row, ways$dy)
  }
  ways[ways$gap >= pitch * (1 - 1e-9) & ways$count > 0, , drop = FALSE]
}

layout_capacity <- function(free, pitch, pattern) max(layout_ways(free, pitch, pattern)$count)

# `wanted` sites as far apart as the field allows, ordered along the strip, then across.
layout_sites <- function(free, pitch, wanted, pattern) {
  if (wanted == 0) return(data.frame(along = numeric(), across = numeric()))
  ways <- layout_ways(free, pitch, pattern)
  ways <- ways[ways$count >= wanted, , drop = FALSE]
  way <- ways[order(-ways$gap, ways$count), , drop = FALSE][1L, ]
  in_row <- rep_len(c(way$columns, way$columns - (1 - way$extra)), way$rows)
  row <- rep(seq_len(way$rows), in_row)
  aside <- if (pattern == "staggered") 0.5 * (row %% 2 == 0) else 0
  at <- sequence(in_row) - 1 + aside
  sites <- data.frame(
    along = if (is.finite(way$dx)) at * way$dx else rep(free[1L] / 2, length(at)),
    across = if (is.finite(way$dy)) (row - 1) * way$dy else rep(free[2L] / 2, length(at)))
  sites[order(sites$along, sites$across), , drop = FALSE][seq_len(wanted), , drop = FALSE]
}

# For reading j of step k the site it takes: spread takes every steps-th site along the strip.
site_order <- function(n, steps, order) {
  if (order == "block") return(seq_len(n * steps))
  as.vector(outer(seq_len(n), seq_len(steps), \(j, k) (j - 1) * steps + k))
}

tell_too_many <- function(layout, n, steps, free) {
  staggered <- layout_capacity(free, layout$spacing$centre_mm, "staggered")
  rows <- floor(free[2L] / layout$spacing$centre_mm * (1 + 1e-9)) + 1
  needed <- (ceiling(n * steps / rows) - 1) * layout$spacing$centre_mm +
    2 * layout$spacing$edge_mm + layout$margin_mm
  lost <- which(is.na(layout$positions$position_mm))
  warn("outside", paste0(
    n * steps, " indentations do not fit: this strip holds ", layout$capacity, " (",
    layout$capacity %/% n, " steps of ", n, "), ", length(lost), " readings have no place (NA). ",
    if (layout$pattern == "grid" && staggered > layout$capacity) {
      paste0("Staggered rows hold ", staggered, ". ")
    },
    "In straight rows it would have to be ", format(ceiling(10 * needed) / 10), " mm long."),
    n = length(lost), rows = lost)
}

#' @param x,object A layout.
#' @param row.names,optional,... Ignored.
#' @rdname indent_layout
#' @export
as.data.frame.softanneal_layout <- function(x, row.names = NULL, optional = FALSE, ...) {
  x$positions
}

#' @rdname indent_layout
#' @export
print.softanneal_layout <- function(x, ...) {
  p <- x$positions
  placed <- sum(!is.na(p$position_mm))
  cat("Layout of ", nrow(p), " indentations (", max(p$step), " steps of ", max(p$reading), ", ",
      x$spacing$scale, ") on a strip of ", format(x$width_mm), " mm x ", format(x$length_mm),
      " mm\n", sep = "")
  cat("  indentation about ", format(x$spacing$diameter_mm, digits = 2), " mm; centres at least ",
      format(x$spacing$centre_mm, digits = 3), " mm apart, ",
      format(x$spacing$edge_mm, digits = 3), " mm from the edges\n", sep = "")
  cat("  ", if (x$fits) "all fit" else paste0("only ", placed, " fit"), "; the strip holds ",
      x$capacity, " in ", if (x$pattern == "grid") "straight" else "staggered", " rows\n", sep = "")
  writeLines(strwrap("Fingers off the specimen when the force comes on; eye protection; specimens cold.",
                     indent = 2, exdent = 2))
  invisible(x)
}

#' @rdname indent_layout
#' @export
plot.softanneal_layout <- draw_picture

#' @rdname indent_layout
#' @method autoplot softanneal_layout
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_layout)
autoplot.softanneal_layout <- function(object, ...) {
  check_dots_empty(...)
  layout_picture(object)
}

# The strip to scale with every indentation in its place.
layout_picture <- function(layout) {
  placed <- layout$positions[!is.na(layout$positions$position_mm), , drop = FALSE]
  edge <- layout$spacing$edge_mm
  turn <- seq(0, 2 * pi, length.out = 33)
  radius <- layout$spacing$diameter_mm / 2
  discs <- data.frame(
    x = rep(placed$position_mm, each = 33) + radius * cos(turn),
    y = rep(placed$across_mm, each = 33) + radius * sin(turn),
    site = rep(seq_len(nrow(placed)), each = 33), step = factor(rep(placed$step, each = 33)))
  steps <- max(layout$positions$step)
  alt <- paste0("Strip of ", format(layout$length_mm), " by ", format(layout$width_mm), " mm with ",
                nrow(placed), " indentations of ", format(layout$spacing$diameter_mm, digits = 2),
                " mm for ", length(unique(placed$step)), " of ", steps, " steps",
                if (!layout$fits) "; not all fit", ".")
  frame <- data.frame(
    xmin = c(0, layout$margin_mm + edge), xmax = c(layout$length_mm, layout$length_mm - edge),
    ymin = c(0, edge), ymax = c(layout$width_mm, layout$width_mm - edge), line = c("1", "2"))
  # an ordered ramp; the number identifies the step in any case
  coloured <- steps <= 7
  discs_layer <- if (coloured) {
    ggplot2::geom_polygon(ggplot2::aes(.data[["x"]], .data[["y"]], group = .data[["site"]],
                                       fill = .data[["step"]]), data = discs)
  } else {
    ggplot2::geom_polygon(ggplot2::aes(.data[["x"]], .data[["y"]], group = .data[["site"]]),
                          data = discs, fill = MAIN_COLOUR)
  }
  ggplot2::ggplot() +
    ggplot2::geom_rect(ggplot2::aes(xmin = .data[["xmin"]], xmax = .data[["xmax"]],
                                    ymin = .data[["ymin"]], ymax = .data[["ymax"]]),
                       data = frame[1L, ], fill = "#F7F3E6", colour = INK) +
    ggplot2::geom_rect(ggplot2::aes(xmin = .data[["xmin"]], xmax = .data[["xmax"]],
                                    ymin = .data[["ymin"]], ymax = .data[["ymax"]]),
                       data = frame[2L, ], fill = NA, colour = INK, linetype = "dashed") +
    discs_layer +
    ggplot2::geom_text(ggplot2::aes(.data[["position_mm"]], .data[["across_mm"]] + radius,
                                    label = .data[["step"]]), data = placed, vjust = -0.25,
                       size = 2.6) +
    ggplot2::scale_fill_manual(values = ramp_colours(max(steps, 1L)), guide = "none") +
    ggplot2::coord_fixed(expand = TRUE) +
    ggplot2::labs(x = "Along the strip (mm)", y = "Across (mm)", alt = alt,
                  title = "Indents on the strip",
                  caption = paste0("Number: step. Dashed: ", format(edge, digits = 3),
                                   " mm from the edges. Drawn to scale.")) +
    plain_theme() +
    ggplot2::theme(panel.grid = ggplot2::element_blank())
}
