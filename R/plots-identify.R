# What the readings determine: one line per parameter, also for those that are fixed.

#' @rdname identifiability
#' @param object,x What `identifiability()` returned.
#' @method autoplot softanneal_identifiability
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_identifiability)
autoplot.softanneal_identifiability <- function(object, ...) {
  check_dots_empty(...)
  d <- as.data.frame(object)
  d$lower <- d$conf.low
  d$upper <- d$conf.high
  # each parameter on its own scale: estimate at 0, the nearer end at 1; open ends as arrows
  unit <- pmin(abs(d$estimate - d$lower), abs(d$upper - d$estimate), na.rm = TRUE)
  unit[!is.finite(unit) | unit == 0] <- pmax(abs(d$estimate - d$lower), abs(d$upper - d$estimate))[
    !is.finite(unit) | unit == 0]
  unit[!is.finite(unit) | unit == 0] <- 1
  d$left <- pmax((d$lower - d$estimate) / unit, -4)
  d$right <- pmin((d$upper - d$estimate) / unit, 4)
  d$open_left <- !is.na(d$lower) & d$lower == -Inf
  d$open_right <- !is.na(d$upper) & d$upper == Inf
  # ends beyond the plot that are not open ends
  cut <- (is.finite(d$lower) & d$left == -4) | (is.finite(d$upper) & d$right == 4)
  cut <- cut & !is.na(cut)
  kinds <- c("determined", "bounded", "not determined", "fixed")
  kind <- ifelse(d$state %in% kinds[-2L], d$state, kinds[2L])
  # an energy that one temperature cannot give is not a fixed one
  kind[d$state == "fixed" & is.na(d$estimate)] <- kinds[3L]
  d$kind <- factor(kind, kinds)
  words <- c("determine", "bound", "do not determine", "were not asked for")
  keys <- paste0(words, c(" it", " it", " it", " it: it is fixed"))
  label <- property_labels(d$term, attr(object, "property"), unit = FALSE)
  d$name <- label
  given <- d$state == "fixed" & !is.na(d$estimate)
  d$name[given] <- paste0(d$name[given], " = ", format_quantity(d$estimate[given]))
  d$name <- factor(d$name, rev(d$name))
  present <- kinds %in% d$kind
  key <- function(scale, values) {
    # one state is said in the caption
    scale("The readings", values = stats::setNames(values, kinds), limits = kinds[present],
          labels = keys[present], guide = if (sum(present) > 1L) "legend" else "none")
  }
  arrow <- ggplot2::arrow(length = ggplot2::unit(0.12, "inches"), type = "closed")
  ggplot2::ggplot(d, ggplot2::aes(y = .data[["name"]], colour = .data[["kind"]])) +
    ggplot2::geom_segment(ggplot2::aes(x = .data[["left"]], xend = .data[["right"]],
                                       yend = .data[["name"]], linetype = .data[["kind"]]),
                          data = d[!is.na(d$left) & !is.na(d$right), ], linewidth = 0.8) +
    ggplot2::geom_segment(ggplot2::aes(x = .data[["right"]], xend = .data[["right"]] + 0.25,
                                       yend = .data[["name"]]), data = d[d$open_right, ],
                          arrow = arrow, show.legend = FALSE) +
    ggplot2::geom_segment(ggplot2::aes(x = .data[["left"]], xend = .data[["left"]] - 0.25,
                                       yend = .data[["name"]]), data = d[d$open_left, ],
                          arrow = arrow, show.legend = FALSE) +
    ggplot2::geom_point(ggplot2::aes(x = 0, shape = .data[["kind"]]), size = 2.6) +
    key(ggplot2::scale_colour_manual, group_colours(4)) +
    key(ggplot2::scale_shape_manual, group_shapes(4)) +
    key(ggplot2::scale_linetype_manual, group_lines(4)) +
    ggplot2::scale_y_discrete(drop = FALSE) +
    ggplot2::labs(x = "Profile interval about the estimate (in units of its nearer end)",
                  y = "Parameter", title = "What the readings determine",
                  caption = caption_of(
                    if (sum(present) == 1L) paste("The readings", words[present], "all parameters."),
                    if (any(d$open_left | d$open_right)) "Arrows: no limit on that side.",
                    if (any(cut)) "Bars to 4 or -4: the limit lies further out.",
                    if (any(given)) "Parameters with a value and without a bar are fixed.",
                    if (any(kind == kinds[3L] & is.na(d$estimate))) "No energy from one temperature."),
                  alt = paste0("Profile intervals of ", nrow(d), " parameters: ",
                               paste(label,
                                     ifelse(kind == kinds[3L], kinds[3L], d$state),
                                     collapse = ", "), ".")) +
    plain_theme()
}

#' @rdname identifiability
#' @export
plot.softanneal_identifiability <- draw_picture
