# Before and after the readings: densities of priors and draws, and groups before and after pooling.

# Density of a belief at x; NULL where it has none.
belief_density <- function(form, a, b, x) {
  switch(form, normal = stats::dnorm(x, a, b), lognormal = stats::dlnorm(x, log(a), log(b)),
         "half-normal" = ifelse(x < 0, 0, 2 * stats::dnorm(x, 0, b)), flat = ifelse(x < a | x > b, 0,
                                                                                    1 / (b - a)))
}

belief_range <- function(form, a, b) {
  switch(form, normal = a + c(-3.5, 3.5) * b, lognormal = a * b^c(-3.5, 3.5), "half-normal" = c(0, 3.5 * b),
         flat = c(a, b) + c(-0.1, 0.1) * (b - a))
}

# Beliefs that can be drawn, those of an earlier fit as normal ones.
drawn_beliefs <- function(prior) {
  t <- prior$table
  if (!is.null(prior$joint)) {
    t <- rbind(t, data.frame(quantity = names(prior$joint$mean), form = "normal",
                             a = unname(prior$joint$mean),
                             b = unname(sqrt(diag(prior$joint$cov))), unit = "", source = "", how_got = ""))
  }
  t[t$form != "fixed", ]
}

BELIEF_WORDS <- c(recryst_1h_c = "Recrystallised in 1 h (deg C)", sd_furnace_c = "SD of furnace (K)",
                  sd_specimen = "SD of specimens", sd_step = "SD of steps", sd_operator = "SD of operators",
                  sd_reading = "SD of readings")

quantity_label <- function(terms, scale = "HV") {
  own <- terms %in% names(BELIEF_WORDS)
  out <- terms
  hardness <- terms %in% c("sd_specimen", "sd_step", "sd_operator", "sd_reading")
  out[own] <- paste0(BELIEF_WORDS[terms[own]], ifelse(hardness[own], paste0(" (", scale, ")"), ""))
  out[!own] <- parameter_label(terms[!own], scale)
  sub("deg C", degree_c(), out, fixed = TRUE)
}

belief_lines <- function(t, ranges, scale) {
  do.call(rbind, lapply(seq_len(nrow(t)), function(k) {
    x <- seq(ranges[[k]][1L], ranges[[k]][2L], length.out = 201L)
    data.frame(quantity = t$quantity[k], x = x, y = belief_density(t$form[k], t$a[k], t$b[k], x))
  }))
}

#' @rdname prior_softening
#' @method autoplot softanneal_prior
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_prior)
autoplot.softanneal_prior <- function(object, ...) {
  check_dots_empty(...)
  t <- drawn_beliefs(object)
  d <- belief_lines(t, Map(belief_range, t$form, t$a, t$b), "HV")
  d$panel <- factor(quantity_label(d$quantity), unique(quantity_label(t$quantity)))
  ggplot2::ggplot(d, ggplot2::aes(.data[["x"]], .data[["y"]])) +
    ggplot2::geom_area(stat = "identity", position = "identity", fill = PALE) +
    ggplot2::geom_line(colour = MAIN_COLOUR, linewidth = 0.8) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]), scales = "free",
                        labeller = ggplot2::label_wrap_gen(22)) +
    ggplot2::scale_y_continuous(breaks = NULL) +
    ggplot2::labs(x = "Value of the quantity above", y = "Density", title = "Believed before the readings",
                  caption = "What is not drawn is flat within the bounds of the model, or taken as known.",
                  alt = paste0("Prior densities of ", paste(quantity_label(t$quantity),
                                                            belief_words(t$form, t$a, t$b),
                                                            collapse = "; "), ".")) +
    plain_theme()
}

#' @rdname prior_softening
#' @export
plot.softanneal_prior <- draw_picture

#' @rdname posterior-methods
#' @method autoplot softanneal_posterior
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_posterior)
autoplot.softanneal_posterior <- function(object, ...) {
  check_dots_empty(...)
  draws <- reported_draws(object)
  draws <- draws[, !colnames(draws) %in% object$fixed, drop = FALSE]
  after <- do.call(rbind, lapply(colnames(draws), function(term) {
    v <- draws[, term]
    ends <- stats::quantile(v, c(0.001, 0.999), names = FALSE)
    if (ends[2L] <= ends[1L]) return(NULL)
    low <- if (term %in% object$sds) 0 else ends[1L]
    # a density that ends at zero is mirrored there
    both <- if (term %in% object$sds) c(v, -v) else v
    k <- stats::density(both, bw = stats::bw.nrd0(v), from = low, to = ends[2L], n = 201L)
    data.frame(quantity = term, x = k$x, y = k$y * (1 + (term %in% object$sds)), what = "posterior")
  }))
  t <- drawn_beliefs(object$prior)
  t <- rbind(t[!t$quantity %in% names(PRIOR_SDS), ], object$prior_table)
  t <- t[t$quantity %in% after$quantity & t$form != "fixed" & t$quantity != "ln_k_ref", ]
  before <- belief_lines(t, lapply(t$quantity, function(q) range(after$x[after$quantity == q])), NULL)
  if (!is.null(before)) before$what <- "prior"
  d <- rbind(after, before)
  d$what <- factor(d$what, c("prior", "posterior"))
  labels <- quantity_label(colnames(draws), object$fit$scale)
  d$panel <- factor(labels[match(d$quantity, colnames(draws))], unique(labels))
  table <- posterior_table(object, object$level)
  prior_led <- mostly_prior(table)
  many <- length(unique(labels)) > 12L # on a small device the titles leave the panels little
  ggplot2::ggplot(d, ggplot2::aes(.data[["x"]], .data[["y"]], colour = .data[["what"]],
                                  linetype = .data[["what"]])) +
    ggplot2::geom_line(linewidth = 0.8) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]), scales = "free",
                        ncol = if (many) 5L,
                        labeller = ggplot2::label_wrap_gen(if (many) 40 else 22)) +
    ggplot2::scale_colour_manual(NULL, values = c(prior = SECOND_COLOUR, posterior = MAIN_COLOUR)) +
    ggplot2::scale_linetype_manual(NULL, values = c(prior = "42", posterior = "solid")) +
    ggplot2::scale_x_continuous(n.breaks = 3, labels = axis_numbers) +
    ggplot2::scale_y_continuous(breaks = NULL) +
    ggplot2::labs(x = "Value of the quantity above", y = "Density", title = "Before and after the readings",
                  caption = caption_of(
                    paste("Solid: after the readings. Dashed: before;",
                          "without it flat within the bounds of the model."),
                    if (is_rate_believed(object$prior)) "The rate follows from other beliefs.",
                    if (length(prior_led)) {
                      paste0("Mostly the prior's: ", listed(quantity_label(prior_led, object$fit$scale)), ".")
                    }),
                  alt = paste0("Densities before and after the readings; medians after: ",
                               paste(quantity_label(table$term, object$fit$scale),
                                     format_by_error(table$estimate, table$std.error), collapse = ", "),
                               ".")) +
    plain_theme(legend = "none") +
    ggplot2::theme(strip.text = ggplot2::element_text(size = ggplot2::rel(if (many) 0.6 else 0.65)),
                   axis.text.x = ggplot2::element_text(size = ggplot2::rel(if (many) 0.65 else 0.8)),
                   panel.spacing.x = ggplot2::unit(0.7, "lines"),
                   panel.spacing.y = ggplot2::unit(if (many) 0.15 else 0.45, "lines"))
}

#' @rdname posterior-methods
#' @export
plot.softanneal_posterior <- draw_picture

#' @rdname pool_fits
#' @param type `"shrinkage"`: each group before and after it is drawn to the mean; `"funnel"`: estimates
#'   against their
#'   standard errors.
#' @param most Most groups drawn in `"shrinkage"`: those that stand furthest apart.
#' @method autoplot softanneal_pool
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_pool)
autoplot.softanneal_pool <- function(object, type = c("shrinkage", "funnel"), most = 16, ...) {
  check_dots_empty(...)
  type <- check_choice(type, c("shrinkage", "funnel"), "type")
  most <- check_number(most, "most", 1, 1000, whole = TRUE)
  if (type == "funnel") return(pool_funnel(object))
  n <- nrow(object$groups)
  shown <- sort(utils::head(order(object$distance, decreasing = TRUE, na.last = TRUE), most))
  names <- short_names(make.unique(pool_labels(object$groups)[shown]))
  label <- names$short
  z <- stats::qnorm((1 + object$level) / 2)
  part <- function(value, se, what) {
    do.call(rbind, lapply(names(object$mean), function(term) {
      v <- value[shown, term]
      s <- z * se[shown, term]
      data.frame(label = label, term = term, x = v, low = v - s, high = v + s, what = what)
    }))
  }
  kinds <- c("alone", "with all groups")
  d <- rbind(part(object$estimates, object$std.errors, kinds[1L]),
             part(object$drawn, object$drawn_se, kinds[2L]))
  d <- d[!is.na(d$x), ]
  d$what <- factor(d$what, kinds)
  d$label <- factor(d$label, rev(label))
  labels <- parameter_label(names(object$mean), object$scale)
  d$panel <- factor(labels[match(d$term, names(object$mean))], labels)
  mean <- data.frame(panel = factor(labels, labels), x = unname(object$mean))
  shift <- ggplot2::position_dodge(width = 0.6)
  ggplot2::ggplot(d, ggplot2::aes(.data[["x"]], .data[["label"]], colour = .data[["what"]],
                                  shape = .data[["what"]])) +
    ggplot2::geom_vline(ggplot2::aes(xintercept = .data[["x"]]), data = mean, colour = INK, linetype = "42") +
    ggplot2::geom_linerange(ggplot2::aes(xmin = .data[["low"]], xmax = .data[["high"]]), position = shift) +
    ggplot2::geom_point(position = shift, size = 1.8) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]), scales = "free_x",
                        labeller = ggplot2::label_wrap_gen(18)) +
    ggplot2::scale_colour_manual("Group", values = stats::setNames(c(SECOND_COLOUR, MAIN_COLOUR), kinds)) +
    ggplot2::scale_shape_manual("Group", values = stats::setNames(c(1, 16), kinds)) +
    ggplot2::scale_y_discrete(guide = ggplot2::guide_axis(check.overlap = TRUE)) +
    ggplot2::labs(x = "Value of the parameter above", y = NULL, title = "Groups before and after pooling",
                  caption = caption_of(paste0("Bars: ", percent_text(object$level),
                                              " intervals. Dashed: mean of all."),
                                       if (n > length(shown)) {
                                         paste0("Drawn are the ", length(shown), " of ", n,
                                                " furthest from the mean.")
                                       }, names$key),
                  alt = paste0("Estimates of ", length(shown), " groups alone and drawn to the mean of ",
                               count(n, "group"), ": ", paste(names(object$mean),
                                                              format_quantity(object$mean),
                                                               collapse = ", "), ".")) +
    plain_theme(legend = "bottom")
}

pool_funnel <- function(object) {
  d <- do.call(rbind, lapply(names(object$mean), function(term) {
    data.frame(term = term, x = object$estimates[, term], se = object$std.errors[, term],
               apart = ifelse(!is.na(object$p.value) & object$p.value < 0.05, "yes", "no"))
  }))
  d <- d[!is.na(d$x), ]
  z <- stats::qnorm((1 + object$level) / 2)
  edge <- do.call(rbind, lapply(names(object$mean), function(term) {
    se <- seq(0, max(d$se[d$term == term]), length.out = 60L)
    half <- z * sqrt(object$between[term, term] + se^2)
    data.frame(term = term, se = c(se, NA, se), x = object$mean[[term]] + c(-half, NA, half))
  }))
  labels <- parameter_label(names(object$mean), object$scale)
  panel <- function(term) factor(labels[match(term, names(object$mean))], labels)
  d$panel <- panel(d$term)
  edge$panel <- panel(edge$term)
  told <- if (length(unique(d$apart)) > 1L) "legend" else "none" # else the caption is enough
  ggplot2::ggplot(d, ggplot2::aes(.data[["x"]], .data[["se"]])) +
    ggplot2::geom_path(data = edge, colour = INK, linetype = "42", na.rm = TRUE) +
    ggplot2::geom_point(ggplot2::aes(colour = .data[["apart"]], shape = .data[["apart"]]), size = 1.8) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]), scales = "free",
                        labeller = ggplot2::label_wrap_gen(18)) +
    ggplot2::scale_y_reverse() +
    ggplot2::scale_colour_manual("Stands apart", values = c(no = MAIN_COLOUR, yes = SECOND_COLOUR),
                                 guide = told) +
    ggplot2::scale_shape_manual("Stands apart", values = c(no = 16, yes = 17), guide = told) +
    ggplot2::labs(x = "Value of the parameter above", y = "Standard error of the group",
                  title = "Funnel of groups",
                  caption = paste0("Dashed: ", percent_text(object$level),
                                   " of groups whose spread is that between groups and their own error."),
                  alt = paste0("Estimates of ", count(nrow(object$groups), "group"),
                               " against their standard errors, ",
                               sum(object$p.value < 0.05, na.rm = TRUE), " apart.")) +
    plain_theme(legend = "bottom")
}

#' @rdname pool_fits
#' @export
plot.softanneal_pool <- draw_picture
