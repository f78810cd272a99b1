# Print and plot of many fits.

#' @export
format.softanneal_fits <- function(x, ...) {
  what <- if (is.null(property_of(x))) "softening fits " else paste0("fits of ", property_word(x), ", ")
  paste0("<", what, x$set$model, ": ", ncol(x$par), " groups, ",
         sum(group_count(x, "status") == 0L), " ok>")
}

#' @export
print.softanneal_fits <- function(x, digits = 4L, ...) {
  if (length(x) <= GROUPS_SHOWN) print_groups(x, digits) else print_fits(summary(x), digits)
  lines <- status_lines(x)
  cat("", lines, sep = "\n")
  if (length(lines)) cat("as.data.frame(), tidy() and glance() give all groups.\n")
  cat(strwrap(paste("Errors shared by a specimen or a furnace run are not counted; fit_softening() of one",
                    "group counts them."), width = 0.95 * getOption("width"), exdent = 2), sep = "\n")
  invisible(x)
}

# Up to so many groups are printed one by one.
GROUPS_SHOWN <- 10L

print_fits_header <- function(model, groups, keys, scale, temp_ref_c, property = NULL) {
  what <- list(readings = list(property = property), par = UP_AND_DOWN)
  cat(strwrap(paste0(in_property("Softening fits", what), if (!is.null(property)) ", model", " '", model,
                     "' of ", count(groups, "group"), " by ",
                     paste(keys, collapse = ", "), if (nzchar(scale)) paste0(", in ", scale),
                     if (is.na(temp_ref_c)) {
                       "; rates in 1/min at the reference of each group"
                     } else {
                       paste0("; rates in 1/min at ", format(temp_ref_c), " degrees Celsius")
                     }), width = 0.95 * getOption("width"), exdent = 2), sep = "\n")
}

print_groups <- function(x, digits) {
  ref <- if (is.nan(x$set$ref_k)) NA_real_ else x$set$ref_k - ZERO_CELSIUS
  print_fits_header(x$set$model, length(x), names(x$keys), x$set$scale, ref, property_of(x))
  par <- fits_par(x)
  se <- fits_se(x)
  limits <- array(fits_limits(x, x$set$level), c(2L, dim(par)))
  cells <- matrix("-", ncol(par), nrow(par))
  for (j in which(rowSums(!is.na(par)) > 0L)) {
    known <- !is.na(se[j, ])
    state <- parameter_states(x$state[j, ])
    text <- format_quantity(par[j, ], digits) # a fixed value, or one on its bound
    text[known] <- paste(format_by_error(par[j, known], se[j, known], digits), plus_minus(),
                         format_quantity(se[j, known], 2L))
    text[is_undetermined(state)] <- "-"
    low <- state == "only a lower limit"
    high <- state == "only an upper limit"
    text[low] <- paste(">=", format_quantity(limits[1L, j, low]))
    text[high] <- paste("<=", format_quantity(limits[2L, j, high]))
    cells[, j] <- ifelse(fits_fitted(x) & text != "NA", text, "-")
  }
  sigma <- fits_sigma(x)
  m <- cbind(cells, ifelse(is.na(sigma), "-", format_quantity(sigma, 3L)))
  dimnames(m) <- list(group_labels(x), c(x$set$terms, "sigma"))
  cat("\n")
  print_table(m)
  cat("\n", sum(group_status(x) == "ok"), " of ", count(length(x), "group"), " ok", sep = "")
}

status_lines <- function(x) {
  status <- group_status(x)
  kinds <- setdiff(intersect(group_statuses(), unique(status)), "ok")
  lines <- vapply(kinds, function(kind) status_line(x, which(status == kind), kind), "")
  strwrap(lines, exdent = 4, indent = 2)
}

#' @rdname fits-tables
#' @export
summary.softanneal_fits <- function(object, ...) {
  check_dots_empty(...)
  status <- group_status(object)
  good <- status %in% c("ok", "open")
  m <- matrix(NA_real_, length(object$set$terms), 6L)
  if (any(good)) {
    quartile <- function(m, probs) {
      apply(m, 1L, stats::quantile, probs = probs, na.rm = TRUE, names = FALSE)
    }
    m[, 1:5] <- t(quartile(fits_par(object)[, good, drop = FALSE], c(0, 0.25, 0.5, 0.75, 1)))
    m[, 6L] <- quartile(fits_se(object)[, good, drop = FALSE], 0.5)
  }
  parameters <- data.frame(term = object$set$terms, least = m[, 1L], lower = m[, 2L],
                           median = m[, 3L], upper = m[, 4L], most = m[, 5L], std.error = m[, 6L],
                           unit = unlist(term_units(object$set$terms, object$set$scale),
                                         use.names = FALSE))
  counts <- table(factor(status, group_statuses()))
  lof <- glance(object)$lack_of_fit.p.value
  out <- list(
    model = object$set$model, keys = names(object$keys), scale = object$set$scale,
    temp_ref_c = if (is.nan(object$set$ref_k)) NA_real_ else object$set$ref_k - ZERO_CELSIUS,
    groups = length(status),
    status = data.frame(status = group_statuses(), groups = as.vector(counts),
                        meaning = c("", unname(group_reasons(object)[group_statuses()[-1L]]))),
    parameters = parameters, missing = sum(group_count(object, "missing")),
    nobs = nobs(object), lack_of_fit = sum(lof < 0.01, na.rm = TRUE),
    lack_of_fit_groups = group_labels(object, which(lof < 0.01)),
    lack_of_fit_tested = sum(!is.na(lof)))
  out$property <- property_of(object)
  structure(out, class = "summary.softanneal_fits")
}

# What print() of fits and of their summary share.
print_fits <- function(x, digits) {
  print_fits_header(x$model, x$groups, x$keys, x$scale, x$temp_ref_c, x$property)
  p <- x$parameters
  if (!all(is.na(p$median))) {
    m <- cbind(signif(as.matrix(p[2:6]), digits), signif(p$std.error, 2L))
    m <- apply(m, 2L, function(column) format(column, digits = digits, trim = TRUE))
    m <- cbind(matrix(m, nrow(p)), p$unit)
    dimnames(m) <- list(p$term, c("Min", "25 %", "Median", "75 %", "Max", "Median std. error",
                                  "Unit"))
    cat("\n")
    print_table(m)
  }
  cat("\n", x$status$groups[1L], " of ", x$groups, " groups ok", sep = "")
}

#' @export
print.summary.softanneal_fits <- function(x, digits = 4L, ...) {
  print_fits(x, digits)
  cat("\n")
  odd <- x$status[x$status$groups > 0L & x$status$status != "ok", ]
  if (nrow(odd)) {
    cat(strwrap(paste0(odd$status, ", ", odd$groups, " ", odd$meaning), indent = 2, exdent = 4),
        sep = "\n")
  }
  cat(format(x$nobs, big.mark = ","), " readings fitted, ", format(x$missing, big.mark = ","),
      " left out with a missing value\n", sep = "")
  if (x$lack_of_fit_tested) {
    cat(strwrap(lack_words(x), exdent = 2), sep = "\n")
  }
  invisible(x)
}

# What the test of lack of fit compares, and what it means for a group.
lack_words <- function(x) {
  c(paste0("Lack of fit is significant (p < 0.01) in ", x$lack_of_fit, " of ",
           count(x$lack_of_fit_tested, "group"), "; by chance about ",
           signif(0.01 * x$lack_of_fit_tested, 2),
           if (length(x$lack_of_fit_groups)) paste0(". These are: ", listed(x$lack_of_fit_groups, 6L)), "."),
    if (x$lack_of_fit) {
      paste("The step means are then off the curve by more than their readings scatter. Either all readings",
            "of a step share an error (furnace, position, specimen), which is usual and which the standard",
            "errors by step allow for, or the model has the wrong shape: plot_residuals(fits[[\"name\"]])",
            "shows which.")
    })
}

#' Plot of many fits
#'
#' Estimates of each group with their intervals, one panel per parameter. Up to `max_labels`
#' groups are drawn in rows with their names; more are drawn in the order of their estimates.
#'
#' @param object Fits of [fit_each()].
#' @param terms Parameters to draw; by default n and the activation energies.
#' @param level Level of the intervals.
#' @param max_labels Most groups drawn with their names.
#' @param ... Must be empty.
#' @return A ggplot object, with alt text. Filled circles: estimates with their interval; open
#'   triangles, upright or hanging: only a lower or an upper limit is known, drawn at that
#'   limit. What the readings do not determine is not drawn; the caption counts it. A group without a fit
#'   keeps its row, and the caption names it with its reason.
#' @seealso [fit_each()], [plot_groups()]
#' @examples
#' bell <- as.data.frame(example_data("bellbrass_readings"))
#' fits <- fit_each(rbind(cbind(coil = "A", bell), cbind(coil = "B", bell)), by = coil)
#' plot(fits)
#' @method autoplot softanneal_fits
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_fits)
autoplot.softanneal_fits <- function(object, terms = NULL, level = 0.95, max_labels = 40, ...) {
  check_dots_empty(...)
  level <- check_level(level)
  max_labels <- check_number(max_labels, "max_labels", 0)
  known <- object$set$terms
  if (is.null(terms)) terms <- intersect(c("n", grep("^q_", known, value = TRUE)), known)
  if (!is.character(terms) || !all(terms %in% known) || length(terms) == 0L) {
    abort("argument", paste0("`terms` must name parameters: ", in_quotes(known)), arg = "terms",
          remedy = "Such as terms = c(\"n\", \"q_kj_mol\").")
  }
  d <- fits_picture_data(object, terms, level)
  if (nrow(d) == 0L) {
    abort("too_few", "no group has an estimate to draw", arg = "object",
          remedy = "as.data.frame() gives the reason for each group.")
  }
  groups <- ncol(object$par)
  named <- groups <= max_labels
  # a group without a value keeps its row
  d$place <- if (named) groups + 1L - d$group else {
    stats::ave(d$estimate, d$panel, FUN = function(v) rank(v, ties.method = "first"))
  }
  absent <- groups * length(terms) - nrow(d)
  names <- short_names(group_labels(object))
  ggplot2::ggplot(d, ggplot2::aes(x = .data$estimate, y = .data$place)) +
    ggplot2::geom_segment(ggplot2::aes(x = .data$low, xend = .data$high, yend = .data$place),
                          data = d[!is.na(d$low), ], colour = MAIN_COLOUR,
                          alpha = if (named) 0.7 else 0.25, linewidth = if (named) 0.8 else 0.4) +
    ggplot2::geom_point(ggplot2::aes(colour = .data$kind, shape = .data$kind), show.legend = TRUE,
                        size = if (named) 2.2 else 1.1) +
    ggplot2::scale_colour_manual(NULL, values = stats::setNames(group_colours(3), PICTURE_KINDS)) +
    ggplot2::scale_shape_manual(NULL, values = stats::setNames(c(16, 2, 6), PICTURE_KINDS)) +
    ggplot2::facet_wrap(~ panel, scales = if (named) "free_x" else "free") +
    place_axis(names$short, named, paste(names(object$keys), collapse = " / ")) +
    ggplot2::labs(x = "Estimate (unit in the panel title)", title = "Estimates of the groups",
                  caption = caption_of(picture_caption(level, object$set$level, absent),
                                       no_fit_words(object), if (named) names$key),
                  alt = paste(c(fits_alt(d, absent), no_fit_words(object)), collapse = " ")) +
    plain_theme() + # a legend where there is something to tell apart
    ggplot2::theme(legend.position = if (length(unique(d$kind)) > 1L) "bottom" else "none")
}

PICTURE_KINDS <- c("estimate", "only a lower limit", "only an upper limit")

place_axis <- function(shown, named, title) {
  if (!named) return(ggplot2::scale_y_continuous("Groups in order of the estimate (rank)"))
  ggplot2::scale_y_continuous(title, breaks = rev(seq_along(shown)), labels = shown,
                              limits = c(1, length(shown)),
                              guide = ggplot2::guide_axis(check.overlap = TRUE),
                              minor_breaks = NULL, expand = ggplot2::expansion(add = 0.6))
}

# Groups without a fit, by name and reason; NULL where all have one.
no_fit_words <- function(object, most = 5L) {
  lost <- which(!fits_fitted(object))
  if (!length(lost)) return(NULL)
  shown <- utils::head(lost, most)
  paste0("No fit: ", paste0(group_labels(object, shown), " (", group_status(object)[shown], ")",
                            collapse = ", "),
         if (length(lost) > most) paste0(" and ", length(lost) - most, " more"), ".")
}

picture_caption <- function(level, limit_level, absent) {
  paste0("Lines: ", format(100 * level), " % intervals (t); limits: ", format(100 * limit_level),
         " %", if (absent) paste0("; ", absent, " value", if (absent > 1) "s", " not determined"), ".")
}

fits_picture_data <- function(object, terms, level) {
  rows <- match(terms, object$set$terms)
  panel <- if (is.null(property_of(object))) parameter_label(terms, object$set$scale) else {
    property_labels(terms, property_of(object))
  }
  par <- fits_par(object)[rows, , drop = FALSE]
  se <- fits_se(object)[rows, , drop = FALSE]
  groups <- ncol(par)
  df <- ifelse(object$df_interval > 0, object$df_interval, NA)
  half <- se * rep(stats::qt(0.5 + level / 2, df), each = length(rows))
  limits <- array(fits_limits(object, object$set$level), c(2L, nrow(object$par), groups))
  state <- as.vector(object$state[rows, ])
  kind <- PICTURE_KINDS[match(parameter_states(state),
                              c("determined", "only a lower limit", "only an upper limit"))]
  kind[state == 1L] <- PICTURE_KINDS[1L] # held at a value
  value <- as.vector(par)
  low <- as.vector(par - half)
  high <- as.vector(par + half)
  traced <- which(as.vector(matrix(has_profile(object), nrow(object$par))[rows, ]) & state == 0L)
  at_level <- array(fits_limits(object, level), dim(limits))
  low[traced] <- as.vector(at_level[1L, rows, ])[traced]
  high[traced] <- as.vector(at_level[2L, rows, ])[traced]
  lower <- which(kind == PICTURE_KINDS[2L])
  upper <- which(kind == PICTURE_KINDS[3L])
  value[lower] <- as.vector(limits[1L, rows, ])[lower]
  value[upper] <- as.vector(limits[2L, rows, ])[upper]
  d <- data.frame(group = rep(seq_len(groups), each = length(rows)),
                  label = rep(group_labels(object), each = length(rows)),
                  panel = factor(rep(panel, groups), panel), estimate = value,
                  low = low, high = high,
                  kind = factor(kind, PICTURE_KINDS))
  status <- rep(group_status(object), each = length(rows))
  d[!is.na(d$estimate) & !is.na(kind) & status %in% c("ok", "open", "one temperature"), ]
}

fits_alt <- function(d, absent) {
  known <- d[d$kind == PICTURE_KINDS[1L], ]
  panels <- vapply(split(known$estimate, known$panel, drop = TRUE), function(v) {
    paste0("from ", format(signif(min(v), 3)), " to ", format(signif(max(v), 3)), ", median ",
           format(signif(stats::median(v), 3)))
  }, "")
  groups <- length(unique(d$group))
  paste0("Estimates of ", groups, " group", if (groups != 1L) "s", " with intervals: ",
         paste(names(panels), panels, collapse = "; "), ". ",
         count_values(nrow(d) - nrow(known)), " only limited to one side; ", count_values(absent),
         " not determined.")
}

# What `draw` draws of each group's fit, as a list with the names of the groups; a group without a plot is
# NULL there, and one warning tells which and why.
pictures_of_groups <- function(fits, draw, ...) {
  labels <- group_labels(fits)
  # what the groups leave open was told by fit_each()
  each <- suppressWarnings(as.list(fits), classes = "softanneal_warning_fit")
  parts <- lapply(each, function(fit) {
    if (is.null(fit)) return("no fit")
    tryCatch(draw(fit, ...), softanneal_error_too_few = without_remedy,
             softanneal_error_model = without_remedy)
  })
  lost <- vapply(parts, is.character, NA)
  if (all(lost)) {
    abort("too_few", paste0("no group has this plot (", labels[1L], ": ", parts[[1L]], ")"), arg = "fit",
          remedy = "as.data.frame() gives the status of each group.")
  }
  if (any(lost)) {
    shown <- utils::head(which(lost), 5L)
    warn("fit", paste0(sum(lost), " of ", length(lost), " groups have no such plot: ",
                       paste0(labels[shown], " (", unlist(parts[shown]), ")", collapse = "; "),
                       if (sum(lost) > 5L) " and others", "."), n = sum(lost))
  }
  out <- lapply(seq_along(parts), function(g) if (!lost[g]) named_picture(parts[[g]], labels[g]))
  stats::setNames(out, labels)
}

without_remedy <- function(e) {
  sub("[.]$", "", sub(paste("", e$remedy), "", conditionMessage(e), fixed = TRUE))
}

# A plot with the name of its group in the title and in the alternative text.
named_picture <- function(p, label) {
  p + ggplot2::labs(title = paste0(label, ": ", p$labels$title),
                    alt = paste0("Group ", label, ". ", ggplot2::get_alt_text(p)))
}

count_values <- function(n) if (n == 1L) "1 value is" else paste(n, "values are")

#' @export
plot.softanneal_fits <- draw_picture
