# Comparison of the groups of fit_each(): how fast each softens at one temperature, and how strongly that
# depends on temperature. Intervals of times are on ln t, where they are nearly symmetrical.

#' Comparison of groups
#'
#' Time to half softening at one temperature and activation energy of each group, with intervals, the
#' fastest on top; up to `max_labels` groups have their names.
#'
#' @param fits Fits of [fit_each()].
#' @param temp_c Temperature of the times in degrees Celsius; by default the median reference
#'   temperature of the groups.
#' @param max_labels Most groups drawn with their names; long names are shortened, with a key in
#'   the caption.
#' @inheritParams autoplot.softanneal_fit_softening
#' @return A ggplot object with alt text. Times are those of the recrystallisation of the model
#'   (t50_rex, the same as t50 for model `"jmak"`), by the delta method on ln t. A group without an
#'   interval in a panel has a point alone; a value that the readings do not determine is not
#'   drawn, and the caption counts it.
#' @section Errors:
#'   `softanneal_error_argument` unless `fits` comes from [fit_each()];
#'   `softanneal_error_too_few` where no group has a value.
#' @references Delta method: see [time_to()].
#' @seealso [fit_each()], [autoplot.softanneal_fits()], [share]
#' @examples
#' bell <- as.data.frame(example_data("bellbrass_readings"))
#' fits <- fit_each(rbind(cbind(coil = "A", bell), cbind(coil = "B", bell)), by = coil)
#' plot_groups(fits, temp_c = 340)
#' @export
plot_groups <- function(fits, temp_c = NULL, ..., level = 0.95, max_labels = 40, base_size = NULL) {
  check_dots_empty(...)
  if (!inherits(fits, "softanneal_fits")) {
    abort("argument", paste0("`fits` must come from fit_each(), not ", describe(fits)), arg = "fits",
          remedy = "Fit the groups by fit_each().")
  }
  level <- check_level(level)
  max_labels <- check_number(max_labels, "max_labels", 0)
  refs <- group_refs(fits)
  temp_c <- check_number(temp_c, "temp_c", -ZERO_CELSIUS, open = TRUE, null = TRUE) %or%
    round(stats::median(refs, na.rm = TRUE))
  values <- group_values(fits, temp_c, refs, level)
  groups_picture(values, group_labels(fits), paste(names(fits$keys), collapse = " / "), temp_c, level,
                 max_labels, base_size, words = \(text) in_property(text, fits))
}

# The plot of `values` (time, q and their ends, one row per group) with the names of the groups.
groups_picture <- function(values, labels, axis, temp_c, level, max_labels = 40, base_size = NULL,
                           words = identity) {
  if (all(is.na(values$time)) && all(is.na(values$q))) {
    abort("too_few", "no group has a t50 or an activation energy", arg = "fits",
          remedy = "as.data.frame() gives the reason for each group.")
  }
  order <- order(values$time, values$q, na.last = TRUE)
  place <- match(seq_along(order), rev(order))
  times <- stats::na.omit(values$time)
  wide <- length(times) > 0L && max(times) > 20 * min(times)
  change <- if (wide) log10 else identity
  panels <- c(paste0(if (wide) "log10 of the time to half" else "Time to half", " at ",
                     temperature_label(temp_c), " (min)"), "Activation energy (kJ/mol)")
  d <- data.frame(place = rep(place, 2L), value = c(change(values$time), values$q),
                  low = c(change(values$time_low), values$q_low),
                  high = c(change(values$time_high), values$q_high),
                  panel = factor(rep(panels, each = length(place)), panels))
  lost <- sum(is.na(d$value))
  d <- d[!is.na(d$value), ]
  named <- length(place) <= max_labels
  names <- short_names(labels)
  middle <- stats::aggregate(value ~ panel, d, stats::median)
  ggplot2::ggplot(d, ggplot2::aes(.data[["value"]], .data[["place"]])) +
    ggplot2::geom_vline(ggplot2::aes(xintercept = .data[["value"]]), data = middle, colour = INK,
                        linetype = "22", linewidth = 0.4) +
    ggplot2::geom_segment(ggplot2::aes(x = .data[["low"]], xend = .data[["high"]],
                                       yend = .data[["place"]]),
                          data = d[!is.na(d$low), ], colour = MAIN_COLOUR,
                          linewidth = if (named) 0.7 else 0.3, alpha = if (named) 0.8 else 0.4) +
    ggplot2::geom_point(colour = MAIN_COLOUR, size = if (named) 2 else 0.9) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["panel"]]), scales = "free_x") +
    (if (named) {
      ggplot2::scale_y_continuous(axis, breaks = place,
                                  labels = names$short, minor_breaks = NULL,
                                  guide = ggplot2::guide_axis(check.overlap = TRUE))
    } else ggplot2::scale_y_continuous("Groups, fastest on top (rank)", breaks = NULL)) +
    ggplot2::labs(
      x = "Estimate (unit in the panel title)", title = "Comparison of groups",
      caption = caption_of(
        if (any(!is.na(d$low))) paste0("Bars: ", percent_text(level), " intervals (t)."),
        "Dashed: median.", if (named) names$key,
        if (lost) paste0(lost, " value", if (lost > 1) "s", " not determined.")),
      alt = words(groups_alt(values, temp_c, labels, order))) +
    plain_theme(base_size)
}

group_refs <- function(fits) {
  common <- fits$set$ref_k
  k <- if (is.null(common) || is.nan(common)) group_sum(fits, "ref_k") else {
    rep(common, ncol(fits$par))
  }
  k - ZERO_CELSIUS
}

# ln t50 = ln(ln 2)/n - ln k(T); covariances are packed by columns of the upper triangle.
group_values <- function(fits, temp_c, refs, level) {
  terms <- fits$set$terms
  rows <- match(c("ln_k_ref", "n", "q_kj_mol"), terms)
  par <- fits_par(fits)[rows, , drop = FALSE]
  se <- fits_se(fits)
  df <- ifelse(fits$df_interval > 0, fits$df_interval, NA)
  t <- stats::qt(0.5 + level / 2, df)
  fitted <- group_status(fits) %in% c("ok", "open")
  known <- fits$state[rows, , drop = FALSE] <= 1L # determined or fixed
  e <- inverse_temperature(rep(temp_c, length(refs)), refs)
  at_ref <- abs(e) < 1e-12
  y <- log(log(2))
  ln_time <- y / par[2L, ] - par[1L, ] - ifelse(at_ref, 0, par[3L, ] * e)
  ln_time[!fitted | !known[1L, ] | !known[2L, ] | !(known[3L, ] | at_ref)] <- NA_real_
  g <- rbind(-1, -y / par[2L, ]^2, -e)
  g[3L, at_ref] <- 0
  variance <- 0
  for (i in 1:3) for (j in 1:3) {
    a <- min(rows[c(i, j)])
    b <- max(rows[c(i, j)])
    v <- fits$cov[b * (b - 1) / 2 + a, ]
    v[fits$state[rows[i], ] == 1L | fits$state[rows[j], ] == 1L] <- 0 # fixed
    part <- g[i, ] * g[j, ] * v
    part[g[i, ] == 0 | g[j, ] == 0] <- 0
    variance <- variance + part
  }
  half <- t * suppressWarnings(sqrt(variance)) # rounding below zero is NaN: no interval
  q <- ifelse(fitted & known[3L, ], par[3L, ], NA_real_)
  q_half <- t * se[rows[3L], ]
  data.frame(time = exp(ln_time), time_low = exp(ln_time - half), time_high = exp(ln_time + half),
             q = q, q_low = q - q_half, q_high = q + q_half)
}

groups_alt <- function(values, temp_c, labels, order) {
  known <- sum(!is.na(values$time))
  paste0("Times to half softening at ", temperature_label(temp_c), " and activation energies of ",
         count(length(labels), "group"), " with intervals, fastest first",
         if (known) paste0(": from ", format_quantity(min(values$time, na.rm = TRUE)), " min (",
                           labels[order[1L]], ") to ",
                           format_quantity(max(values$time, na.rm = TRUE)), " min (",
                           labels[order[known]], ")"),
         if (any(!is.na(values$q))) paste0("; activation energies from ",
                                           format_quantity(min(values$q, na.rm = TRUE)), " to ",
                                           format_quantity(max(values$q, na.rm = TRUE)), " kJ/mol"),
         ".")
}
