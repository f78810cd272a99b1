# Has the cold-worked strip changed since it was rolled? Difference of two means, and whether
# it lies within a margin. B. L. Welch, Biometrika 34 (1947) 28-35; two one-sided tests:
# D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657-680. In the scale read.

#' Has the strip changed since it was rolled?
#'
#' Compares readings taken now with readings taken before (the baseline) and answers in one
#' of three ways: *unchanged within the margin*, *changed*, or *cannot tell with so few
#' readings*. "No significant difference" alone does not prove sameness, so sameness is
#' tested in its own right, against a margin that you state.
#'
#' @section How it decides:
#' 1. The (1 - 2 alpha) interval of the difference lies within +- `margin` (two one-sided
#'    tests, each at alpha = 1 - `level`): *unchanged within the margin*.
#' 2. Otherwise, the `level` interval of the difference leaves out zero: *changed*.
#' 3. Otherwise: *cannot tell*, with the number of readings a side that would decide.
#'
#' If all readings of both sides are alike, the standard deviation of their rounding
#' (resolution / sqrt(12)) stands for the scatter, as the print states.
#'
#' Unpaired intervals are Welch's (variances need not be equal). With `paired = TRUE` the
#' readings belong together one by one (same spot of the strip) and the differences are used.
#'
#' @section The margin:
#' How much change would matter? By default the margin is the repeatability that
#' ASTM E18 Table A1.3 permits a Rockwell machine at this level (a value from memory): a
#' change smaller than that cannot be distinguished from tester variation. It is only a
#' fallback: state your own where something depends on it. Vickers and Brinell need one.
#'
#' @section What to expect:
#' Common practice, no source: at room temperature a small relaxation of cold-worked brass is
#' possible and a substantial change is not expected, since recrystallisation happens far
#' above room temperature; five readings per step are usual. A change larger than the margin
#' points first to a mixed-up specimen, another machine or scale, or a specimen that was warmed.
#'
#' @param x Readings now: a table with the columns below, or a numeric vector.
#' @param baseline Readings before, likewise.
#' @param margin Largest difference that counts as unchanged, in points of the scale.
#'   `NULL`: see section "The margin".
#' @param paired `TRUE` if the readings belong together one by one, in order.
#' @param level Level of the interval, and 1 - alpha of the tests.
#' @param scale Hardness scale, if `x` and `baseline` are numbers; its name is needed for the
#'   default margin only.
#' @param power Wanted chance of a decision, for the number of readings needed.
#' @param hardness,reading_scale Columns of hardness and scale in tables; bare or quoted.
#' @return An object of class `softanneal_comparison`, a list with `estimate` (mean now minus
#'   mean before), `std.error`, `df`, `conf.int` (at `level`), `equivalence` (interval at 1 - 2
#'   alpha, t and p of both one-sided tests), `p.value` (of no difference), `margin` and where it
#'   comes from, `verdict` (`"unchanged"`, `"changed"`, `"cannot tell"`), `power` (chances of
#'   detecting a change of one margin, and of proving sameness if nothing changed, with so many
#'   readings), `n_needed` (readings a side for both; `NA` above 1000), `n`, `means`, `sds`,
#'   `scale`. `tidy()` gives one row.
#' @section Errors:
#'   `softanneal_error_too_few` for fewer than two readings a side (or two pairs),
#'   `softanneal_error_scale` for unknown scales or two different ones,
#'   `softanneal_error_argument` where the margin must be stated, pairs are not as many, or a table
#'   holds several groups, laboratories, strips, operators or specimens,
#'   `softanneal_error_column`, `softanneal_error_missing`.
#' @seealso [compare_laboratories()], [uncertainty_budget()], [summarise_readings()]
#' @examples
#' rolled <- c(92.0, 91.5, 92.5, 92.0, 91.0)
#' after_a_month <- c(91.5, 92.0, 91.5, 91.0, 92.0)
#' compare_baseline(after_a_month, rolled, scale = "HRF")
#' compare_baseline(c(78, 79, 77.5, 78.5, 78), rolled, margin = 1.5)
#' @export
compare_baseline <- function(x, baseline, margin = NULL, paired = FALSE, level = 0.95, scale = NULL,
                             power = 0.8, hardness = hardness, reading_scale = scale) {
  hardness <- column_name(rlang::enquo(hardness))
  reading_scale <- column_name(rlang::enquo(reading_scale))
  check_flag(paired, "paired")
  # below one half the two one-sided tests have no sense
  check_number(level, "level", 0.5, 1, open = TRUE)
  check_level(power, "power")
  scale <- check_scale(scale)
  now <- one_state(x, hardness, reading_scale, scale, "x")
  before <- one_state(baseline, hardness, reading_scale, scale, "baseline")
  if (!is.null(now$scale) && !is.null(before$scale) && now$scale != before$scale) {
    abort("scale", paste0("`x` is in '", now$scale, "' and `baseline` in '", before$scale, "'"),
          arg = "scale",
          remedy = "Convert one of them with `convert_hardness()` first.")
  }
  one_piece(x, "x")
  one_piece(baseline, "baseline")
  if (paired) {
    pairs <- paired_readings(now$x, before$x)
    now$x <- pairs$now
    before$x <- pairs$before
  } else {
    now$x <- present(now$x, "x", 2L)
    before$x <- present(before$x, "baseline", 2L)
  }
  scale <- now$scale %or% before$scale
  margin <- state_margin(margin, scale, mean(before$x))
  spread <- difference_spread(now$x, before$x, paired)
  decide_baseline(spread, margin, level, power, now$x, before$x, paired, scale)
}

paired_readings <- function(now, before) {
  if (length(now) != length(before)) {
    abort("argument", paste0("paired readings must be as many: ", length(now), " and ",
                             length(before)),
          arg = "paired", remedy = "Give one reading before for each reading now, in order.")
  }
  whole <- !is.na(now) & !is.na(before)
  if (any(!whole)) {
    warn("missing", paste0(sum(!whole), " of ", length(now),
                           " pairs lack a reading and are left out."),
         n = sum(!whole), rows = which(!whole))
  }
  if (sum(whole) < 2L) {
    abort("too_few", paste0("there are ", count(sum(whole), "pair"),
                            " of readings and 2 are needed"),
          arg = "x", remedy = "Take more readings; five a step is common practice.")
  }
  list(now = now[whole], before = before[whole])
}

state_margin <- function(margin, scale, level) {
  if (!is.null(margin)) {
    return(list(value = check_number(margin, "margin", 0, open = TRUE),
                source = "stated by the user"))
  }
  found <- if (!is.null(scale)) machine_tolerance(scale, level)
  if (is.null(found)) {
    abort("argument", paste0("`margin` must be stated: there is no machine repeatability for ",
                             if (is.null(scale)) "readings without a scale" else
                               paste(format(level, digits = 3), scale)),
          arg = "margin", remedy = "Say which difference, in points of the scale, does not matter.")
  }
  list(value = found$repeatability,
       source = paste0("repeatability of a testing machine, ASTM E18 Table A1.3, ", scale, " ",
                       found$range,
                       if (found$memory) " (value from memory)"))
}

difference_spread <- function(now, before, paired) {
  n <- c(length(now), length(before))
  if (paired) {
    d <- now - before
    return(list(estimate = mean(d), se = stats::sd(d) / sqrt(length(d)), df = length(d) - 1, n = n))
  }
  v <- c(stats::var(now), stats::var(before)) / n
  list(estimate = mean(now) - mean(before), se = sqrt(sum(v)),
       df = if (sum(v) > 0) sum(v)^2 / sum(v^2 / (n - 1)) else sum(n) - 2, n = n)
}

decide_baseline <- function(spread, margin, level, power, now, before, paired, scale) {
  d <- spread$estimate
  se <- spread$se
  step <- find_resolution(c(now, before))
  rounded <- se == 0
  if (rounded) {
    if (step == 0) {
      abort("too_few", "the readings have zero variance and resolution", arg = "x",
            remedy = "Record the readings as the machine shows them.")
    }
    # readings all alike: their scatter hides in the rounding, whose sd is step/sqrt(12)
    se <- step / sqrt(12) * if (paired) sqrt(2 / length(now)) else sqrt(sum(1 / spread$n))
  }
  alpha <- 1 - level
  half <- stats::qt((1 + level) / 2, spread$df) * se
  half_eq <- stats::qt(level, spread$df) * se
  # the two one-sided tests: d > -margin, and d < margin
  t_low <- (d + margin$value) / se
  t_high <- (d - margin$value) / se
  p <- c(stats::pt(t_low, spread$df, lower.tail = FALSE), stats::pt(t_high, spread$df))
  differs <- abs(d) > half
  verdict <- if (max(p) <= alpha) "unchanged" else if (differs) "changed" else "cannot tell"
  sd <- if (paired) se * sqrt(length(now)) else if (rounded) step / sqrt(12) else
    sqrt(((length(now) - 1) * stats::var(now) + (length(before) - 1) * stats::var(before)) /
           (length(now) + length(before) - 2))
  chance <- function(n) baseline_power(n, sd, margin$value, alpha, paired)
  structure(list(estimate = d, std.error = se, df = spread$df, conf.int = d + c(-1, 1) * half,
                 p.value = 2 * stats::pt(-abs(d / se), spread$df),
                 equivalence = list(conf.int = d + c(-1, 1) * half_eq,
                                    statistic = c(lower = t_low, upper = t_high),
                                    p.value = c(lower = p[1L], upper = p[2L])),
                 differs = differs, rounded_to = if (rounded) step, margin = margin$value,
                 margin_source = margin$source, verdict = verdict,
                 power = chance(spread$n), n_needed = readings_needed(chance, power),
                 wanted_power = power,
                 n = spread$n, means = c(now = mean(now), before = mean(before)),
                 sds = c(now = stats::sd(now), before = stats::sd(before)), paired = paired,
                 level = level,
                 scale = scale), class = "softanneal_comparison")
}

# Chances of a verdict with n[1] and n[2] readings of standard deviation sd, by the tests of
# decide_baseline() in their order: sameness is proved first (both one-sided tests pass where
# |d| <= margin - t se), then a change. Over the distribution of the two variances, on a grid of their
# quantiles, since Welch's degrees of freedom go with them; method of Phillips K F (1990)
# J. Pharmacokinet. Biopharm. 18, 137.
baseline_power <- function(n, sd, margin, alpha, paired) {
  u <- function(df, nodes) stats::qchisq((seq_len(nodes) - 0.5) / nodes, df) / df
  if (paired) {
    df <- n[1L] - 1
    se <- sd * sqrt(u(df, 4000L) / n[1L])
    true_se <- sd / sqrt(n[1L])
    weight <- 1
  } else {
    i <- rep(seq_len(120L), 120L)
    j <- rep(seq_len(120L), each = 120L)
    same_n <- n[1L] == n[2L] # then half of the grid is the mirror image of the other
    use <- if (same_n) i <= j else rep(TRUE, length(i))
    weight <- if (same_n) ifelse(i < j, 2, 1)[use] else 1
    a <- (u(n[1L] - 1, 120L) / n[1L])[i[use]]
    b <- (u(n[2L] - 1, 120L) / n[2L])[j[use]]
    df <- (a + b)^2 / (a^2 / (n[1L] - 1) + b^2 / (n[2L] - 1))
    se <- sd * sqrt(a + b)
    true_se <- sd * sqrt(sum(1 / n))
  }
  same <- pmax(margin - stats::qt(1 - alpha, df) * se, 0) # |d| that is proved to be unchanged
  changed <- pmax(stats::qt(1 - alpha / 2, df) * se, same)
  beyond <- function(limit, d) {
    stats::pnorm((limit - d) / true_se, lower.tail = FALSE) + stats::pnorm((-limit - d) / true_se)
  }
  mean_of <- function(p) sum(weight * p) / sum(rep_len(weight, length(p)))
  c(detect = mean_of(beyond(changed, margin)), prove = mean_of(1 - beyond(same, 0)))
}

# Smallest number of readings a side for both chances, by bisection (both rise with n).
readings_needed <- function(chance, power, most = 1000) {
  enough <- function(n) min(chance(c(n, n))) >= power
  if (!enough(most)) return(NA_real_)
  low <- 1
  high <- most
  while (high - low > 1) {
    middle <- floor((low + high) / 2)
    if (middle >= 2 && enough(middle)) high <- middle else low <- middle
  }
  high
}

#' @rdname compare_baseline
#' @param ... Ignored.
#' @export
print.softanneal_comparison <- function(x, ...) {
  unit <- x$scale %or% "points"
  number <- function(v) format(round(v, 2), nsmall = 2, trim = TRUE)
  span <- function(v) paste(number(v), collapse = " to ")
  cat("Comparison with the baseline (", if (x$paired) "paired" else "Welch", ")\n", sep = "")
  cat("  now    ", number(x$means[["now"]]), " ", unit, ", sd ", number(x$sds[["now"]]), ", n = ",
      x$n[1L], "\n", sep = "")
  cat("  before ", number(x$means[["before"]]), " ", unit, ", sd ", number(x$sds[["before"]]),
      ", n = ", x$n[2L], "\n", sep = "")
  cat("  change ", number(x$estimate), " ", unit, ", ", format(100 * x$level), " % interval ",
      span(x$conf.int), "\n", sep = "")
  cat("  margin ", plus_minus(), format(x$margin), " ", unit, ": ", x$margin_source, "\n", sep = "")
  if (!is.null(x$rounded_to)) {
    cat("  scatter not visible at a resolution of ", format(x$rounded_to),
        ": that of rounding is used\n", sep = "")
  }
  cat("Verdict: ", verdict_text(x), "\n", sep = "")
  cat("With so many readings and this scatter: ", percent(x$power[["detect"]]),
      " chance to detect a change of one margin, ",
      percent(x$power[["prove"]]), " chance to show sameness if nothing changed.\n", sep = "")
  invisible(x)
}

percent <- function(p) {
  paste0(if (p > 0.995) "over 99" else if (p < 0.005) "under 1" else round(100 * p), " %")
}

verdict_text <- function(x) {
  unit <- x$scale %or% "points"
  switch(x$verdict,
         unchanged = paste0("unchanged within the margin of ", format(x$margin), " ", unit, ".",
                            if (x$differs) " There is a difference, but smaller than the margin."),
         changed = paste0(
           "changed", if (x$estimate < 0) " (softer)" else " (harder)", ".",
           if (abs(x$estimate) > x$margin) paste0(
             " A substantial change is not expected at room temperature: look for a mixed-up",
             " specimen, another machine or scale, or a specimen that was warmed (common practice,",
             " no source).")
           else " The change may still be smaller than the margin."),
         `cannot tell` = paste0(
           "cannot tell with so few readings. ",
           if (is.na(x$n_needed)) "More than 1000 readings a side would be needed." else
             paste0("About ", x$n_needed, " readings a side would give a decision with ",
                    percent(x$wanted_power), " chance.")))
}

#' @rdname compare_baseline
#' @export
tidy.softanneal_comparison <- function(x, ...) {
  as_table(data.frame(
    term = "change", estimate = x$estimate, std.error = x$std.error,
    statistic = x$estimate / x$std.error,
    p.value = x$p.value, conf.low = x$conf.int[1L], conf.high = x$conf.int[2L], df = x$df,
    margin = x$margin,
    p.value.equivalence = max(x$equivalence$p.value), verdict = x$verdict))
}

#' @rdname compare_baseline
#' @param object An object from `compare_baseline()`.
#' @method autoplot softanneal_comparison
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_comparison)
autoplot.softanneal_comparison <- function(object, ...) {
  check_dots_empty(...)
  unit <- object$scale %or% "points"
  bars <- data.frame(
    kind = factor(c("difference", "equivalence"), c("equivalence", "difference")),
    estimate = object$estimate,
    low = c(object$conf.int[1L], object$equivalence$conf.int[1L]),
    high = c(object$conf.int[2L], object$equivalence$conf.int[2L]))
  percent <- format(100 * c(object$level, 2 * object$level - 1))
  labels <- c(difference = paste0("Is it zero?\n(", percent[1L], " %)"),
              equivalence = paste0("Within the margin?\n(", percent[2L], " %)"))
  ggplot2::ggplot(bars, ggplot2::aes(x = .data$estimate, y = .data$kind, shape = .data$kind)) +
    ggplot2::annotate("rect", xmin = -object$margin, xmax = object$margin, ymin = -Inf, ymax = Inf,
                      fill = INK, alpha = 0.18) +
    ggplot2::geom_vline(xintercept = 0, linetype = "dotted", colour = INK) +
    ggplot2::geom_vline(xintercept = c(-1, 1) * object$margin, linetype = "dashed", colour = INK) +
    ggplot2::geom_errorbarh(ggplot2::aes(xmin = .data$low, xmax = .data$high), height = 0.15,
                            colour = MAIN_COLOUR) +
    ggplot2::geom_point(size = 3, colour = MAIN_COLOUR, show.legend = FALSE) +
    ggplot2::scale_y_discrete(labels = labels) +
    ggplot2::labs(x = paste0("Change since the baseline (", unit, ")"), y = NULL,
                  title = "Change since the baseline",
                  caption = paste0("Grey between dashed lines: the margin. Verdict: ",
                                   object$verdict, "."),
                  alt = paste0("Intervals of the change of hardness since the baseline, ",
                               format(round(object$estimate, 2)), " ", unit,
                               ", from ", format(round(object$conf.int[1L], 2)), " to ",
                               format(round(object$conf.int[2L], 2)),
                               ", against a margin of plus or minus ", format(object$margin),
                               ". Verdict: ", object$verdict, ".")) +
    plain_theme()
}

#' @rdname compare_baseline
#' @export
plot.softanneal_comparison <- draw_picture
