# The conversion tables as data, with their provenance, and their plot. Everything the
# interpolation uses can be seen here, and everything it leaves out.

#' The hardness conversion tables
#'
#' All cells of the tables behind [convert_hardness()], one row per cell, with where each number
#' comes from and whether the interpolation uses it. The tables also stand as CSV files in
#' `system.file("extdata", package = "softanneal")`, names starting with `conversion_`.
#'
#' @param material Names of tables (see [convert_hardness()]); `NULL` for all.
#' @return A data frame of class `softanneal_conversion_tables` with the columns
#'   `material`, `standard`, `scale`, `meaning` (the scale in words), `value` (hardness
#'   number), `hv` (Vickers number of the same row, `NA` where the table has none),
#'   `pivot_scale` and `pivot` (leading scale of the table and its number in this row),
#'   `resolution` (step the column is rounded to),
#'   `status` (`"seen"`: read in a copy of the source; `"two sources"`; `"seen, corrected"`;
#'   `"from memory"`: recalled, not confirmed), `confidence`, `used` (`FALSE`: kept out of the
#'   interpolation, see `note`), `source`, `note`. The attribute `spread` holds the figures
#'   behind the uncertainty of a conversion. Blank cells of a table have no row.
#'
#'   Errors: `softanneal_error_scale` for an unknown material.
#' @seealso [convert_hardness()]; `autoplot()` draws the tables against HV.
#' @examples
#' brass <- conversion_tables("brass")
#' brass
#' subset(as.data.frame(brass), !used, c(scale, pivot, value, note))
#' plot(brass)
#' @export
conversion_tables <- function(material = NULL) {
  cells <- scale_cells
  spread <- scale_spread
  if (!is.null(material)) {
    if (!is.character(material) || length(material) == 0L) {
      abort("scale", paste0("`material` must name conversion tables, not be ",
                            describe(material)), arg = "material",
            remedy = paste0("Choose from ", in_quotes(names(scale_tables), " and "), "."))
    }
    for (name in material) table_of(name)
    material[material == "aluminum"] <- "aluminium"
    cells <- cells[cells$material %in% material, ]
    spread <- spread[spread$material %in% material, ]
    rownames(cells) <- rownames(spread) <- NULL
  }
  first <- c("material", "standard", "scale", "meaning", "value", "hv")
  cells <- cells[c(first, setdiff(names(cells), first))]
  structure(cells, spread = spread, class = c("softanneal_conversion_tables", "data.frame"))
}

#' @export
as.data.frame.softanneal_conversion_tables <- function(x, ...) {
  attr(x, "spread") <- NULL
  class(x) <- "data.frame"
  x
}

#' @export
format.softanneal_conversion_tables <- function(x, ...) {
  x <- as.data.frame(x)
  if (nrow(x) == 0L) return("No cells of a conversion table")
  unlist(lapply(split(x, factor(x$material, unique(x$material))), function(part) {
    used <- part[part$used, ]
    ranges <- vapply(split(used$value, factor(used$scale, unique(used$scale))),
                     \(v) paste(format(range(v), trim = TRUE, drop0trailing = TRUE),
                                collapse = " to "), "")
    marks <- table(factor(part$status, unique(part$status)))
    c(paste0(part$material[1L], ": ", part$standard[1L]),
      paste0("  ", names(ranges), " ", ranges),
      paste0("  ", nrow(part), " cells: ", paste(marks, names(marks), collapse = ", "),
             "; ", sum(!part$used), " kept out of the interpolation"))
  }), use.names = FALSE)
}

#' @export
print.softanneal_conversion_tables <- function(x, ...) {
  writeLines(c("Hardness conversion tables (numbers without unit, outside a range: NA)",
               format(x)))
  invisible(x)
}

# Points of the curve of one scale over HV, for the plot; NULL if HV is the scale itself.
curve_over_hv <- function(material, scale) {
  table <- scale_tables[[material]]
  column <- match(c("HV", scale), colnames(table$value))
  if (anyNA(column) || column[1L] == column[2L]) return(NULL)
  hv <- pair_points(table, column[1L], column[2L])[[1L]]
  at <- seq(hv[1L], hv[length(hv)], length.out = 200L)
  data.frame(material = material, scale = scale, hv = at,
             value = convert_columns(at, column[1L], column[2L], table)$value,
             stringsAsFactors = FALSE)
}

#' Draw the conversion tables
#'
#' One panel per scale: its number over the Vickers number of the same row, with the curve
#' [convert_hardness()] uses. Open points are values from memory, full points were seen in a
#' copy of the source, crosses are kept out of the interpolation. Rows without a Vickers
#' number are not drawn.
#'
#' @param object,x What [conversion_tables()] returns.
#' @param ... Must be empty.
#' @return A ggplot; `plot()` draws it and returns `x` invisibly.
#' @seealso [conversion_tables()], [convert_hardness()]
#' @examples
#' plot(conversion_tables("brass"))
#' @method autoplot softanneal_conversion_tables
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_conversion_tables)
autoplot.softanneal_conversion_tables <- function(object, ...) {
  check_dots_empty(...)
  cells <- as.data.frame(object)
  cells <- cells[cells$scale != "HV" & !is.na(cells$hv), ]
  if (nrow(cells) == 0L) {
    abort("too_few", "there is no cell with a Vickers number to draw", arg = "object",
          remedy = "Keep the rows of at least one scale beside HV.")
  }
  scales <- unique(cells$scale)
  materials <- unique(cells$material)
  pairs <- unique(cells[c("material", "scale")])
  curves <- do.call(rbind, Map(curve_over_hv, pairs$material, pairs$scale))
  cells$mark <- ifelse(!cells$used, "kept out",
                       ifelse(cells$status == "from memory", "from memory", "seen"))
  marks <- c("seen", "from memory", "kept out")
  cells$mark <- factor(cells$mark, marks)
  for (column in c("material", "scale")) {
    levels <- if (column == "material") materials else scales
    cells[[column]] <- factor(cells[[column]], levels)
    curves[[column]] <- factor(curves[[column]], levels)
  }
  # a table has the same colour and line in every selection
  known <- names(scale_tables)
  colours <- stats::setNames(group_colours(length(known)), known)
  lines <- stats::setNames(group_lines(length(known)), known)
  if (length(materials) == 1L) lines[] <- "solid"
  ggplot2::ggplot(cells, ggplot2::aes(.data$hv, .data$value, colour = .data$material)) +
    ggplot2::geom_line(ggplot2::aes(linetype = .data$material), data = curves) +
    ggplot2::geom_point(ggplot2::aes(shape = .data$mark), size = 1.1, stroke = 0.4) +
    ggplot2::facet_wrap(ggplot2::vars(.data$scale), scales = "free_y") +
    ggplot2::scale_colour_manual(values = colours[materials]) +
    ggplot2::scale_linetype_manual(values = lines[materials]) +
    ggplot2::scale_shape_manual(values = stats::setNames(c(16, 1, 4), marks)) +
    ggplot2::guides(
      colour = if (length(materials) > 1L) "legend" else "none",
      linetype = if (length(materials) > 1L) "legend" else "none",
      shape = ggplot2::guide_legend(override.aes = list(size = 2))
    ) +
    ggplot2::labs(
      x = "Vickers hardness (HV)", y = "Hardness number", title = "Hardness conversion",
      caption = "Number in the scale of the panel. Points: rows of the table. Line: interpolation.",
      shape = "Cell",
      colour = "Table", linetype = "Table", alt = conversion_alt(cells, materials, scales)
    ) +
    plain_theme() +
    ggplot2::theme(legend.position = "bottom", legend.box = "vertical",
                   plot.margin = ggplot2::margin(6, 14, 6, 6))
}

conversion_alt <- function(cells, materials, scales) {
  out <- sum(!cells$used)
  paste0(
    "Hardness conversion, table ", in_quotes(materials, " and "), ": ", length(scales),
    if (length(scales) == 1L) " panel" else " panels", " with the numbers of ",
    paste(scales, collapse = ", "), " over Vickers hardness from ", format(min(cells$hv)), " to ",
    format(max(cells$hv)), ". No curve ever falls as the Vickers number rises. ", nrow(cells),
    " points, ",
    sum(cells$mark == "from memory"), " from memory, ", out, " kept out of the interpolation."
  )
}

#' @rdname autoplot.softanneal_conversion_tables
#' @export
plot.softanneal_conversion_tables <- draw_picture
