# Outliers within the readings of one step, reported and never removed.
# Grubbs (two-sided): F. E. Grubbs, Technometrics 11 (1969) 1-21; critical value from the
# t quantile. Generalised ESD: B. Rosner, Technometrics 25 (1983) 165-172. Both as in the
# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1 and 1.3.5.17.3.

#' Find outliers among the readings of a step
#'
#' Tests within each group (specimen, temperature, time and scale; group, laboratory and the like where
#' they differ within one) whether a reading lies too far from the others for one normal distribution.
#' Readings are reported, never removed: an indentation is thrown out for a cause seen on the specimen,
#' not for its value.
#'
#' @section Tests:
#' `"pooled"` (for tables of several groups) compares the reading farthest from the others of its group
#' with the scatter of all other groups of its scale: ln(variance) as a parabola in the level of the
#' group, since what is constant in HV is not constant on a Rockwell scale. t test, two-sided, at
#' `(1 - level) / (2 N)` for N readings, so the level holds for the whole table, repeated without what
#' was found. Few groups give few degrees of freedom.
#'
#' `"grubbs"` tests each group for itself, two-sided, by its own standard deviation:
#' \deqn{G = \max|x_i - \bar x| / s, \quad G_c = \frac{n-1}{\sqrt n}\sqrt{\frac{t^2}{n-2+t^2}}}{
#' G = max|x - mean|/s, Gc = (n-1)/sqrt(n) sqrt(t^2/(n-2+t^2))}
#' with t the upper alpha/(2n) quantile of Student's t with n - 2 degrees of freedom. The
#' p-value is the Bonferroni upper bound, close for groups as small as these. Of 28 clean groups tested
#' at 95 % each, one or two are flagged on average.
#'
#' `"esd"` (generalised extreme studentised deviate) allows for up to `max_outliers` outliers: the
#' farthest reading is set aside and the test repeated; the number of outliers is the last step
#' at which the statistic exceeds its critical value. Rosner found it accurate from about 25
#' readings, usable from 15.
#'
#' With few readings per step, given to the nearest half or whole point, equal readings and one
#' beside them give the largest G that so many readings can give. A reading that differs
#' from the mean of the others by no more than one `resolution` is therefore never called an
#' outlier, and the variance of rounding, resolution squared over 12 (JCGM 100, F.2.2.1), is
#' added to s^2: three readings of which two are equal would otherwise always look extreme.
#'
#' @param data Table of readings, or a numeric vector that is one group.
#' @inheritParams summarise_readings
#' @param method `"pooled"`, `"grubbs"` or `"esd"`; one group alone is tested by `"grubbs"`.
#' @param level 1 - alpha: level of the test of the whole table (`"pooled"`) or of each group.
#' @param max_outliers Largest number of outliers in a group, for `"esd"`.
#' @param resolution Smallest step of the readings. `NULL` takes the coarsest of 1, 0.5, 0.2,
#'   0.1, 0.05, 0.02 and 0.01 of which all readings are multiples, or 0. Not used by `"pooled"`, which
#'   finds it for each scale.
#' @return A data frame of class `softanneal_outliers`, one row for each group and test step: the
#'   key columns, `row` (in `data`), `value`, `n`, `mean`, `sd` (of the readings tested; `"pooled"`: that
#'   of the other groups at this level), `statistic`, `critical`, `p.value` (not for `"esd"`; `"pooled"`:
#'   for the whole table), `outlier` (`TRUE`/`FALSE`). Groups with
#'   fewer than three readings or without spread have `NA` for the statistic and are not outliers;
#'   too small ones are counted by one `softanneal_warning_too_few`.
#' @section Errors:
#'   `softanneal_error_column` for a missing or text column, `softanneal_error_missing` for
#'   infinite readings or a group without a name, `softanneal_error_range` for a `level` outside 0
#'   and 1, `softanneal_error_too_few` for a table without rows, `softanneal_error_argument`.
#' @seealso [check_readings()], [summarise_readings()], [compare_laboratories()]
#' @examples
#' # eight readings with one far off (NIST/SEMATECH e-Handbook 1.3.5.17.1)
#' find_outliers(c(199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57))
#' @export
find_outliers <- function(data, method = c("pooled", "grubbs", "esd"), level = 0.95, max_outliers = 3,
                          resolution = NULL, hardness = hardness, specimen = specimen,
                          temp = temp_c, time = time_min, reading_scale = scale, by = NULL) {
  method <- check_choice(method, c("pooled", "grubbs", "esd"), "method")
  check_level(level)
  max_outliers <- check_number(max_outliers, "max_outliers", 1, 1e4, whole = TRUE)
  if (is.data.frame(data)) {
    pick <- reading_columns(rlang::enquo(hardness), rlang::enquo(specimen), rlang::enquo(temp),
                            rlang::enquo(time), rlang::enquo(reading_scale))
    check_data(data)
    x <- numeric_column(data, pick$hardness, na = TRUE)
    by <- keys_or_groups(rlang::enquo(by), data)
    keys <- step_keys(data, pick, by)
    # readings of several groups or persons in one step are not one sample
    if (is.null(by)) keys <- c(keys, lapply(stats::setNames(nm = pooled_within(data, keys)), \(b) data[[b]]))
    groups <- group_rows(keys)
    scale <- as.character(keys[[pick$scale]])
    keys <- lapply(keys, `[`, groups$first)
  } else {
    x <- check_numeric(data, "data", na = TRUE)
    groups <- list(id = rep(1L, length(x)), first = 1L)
    keys <- list()
  }
  resolution <- if (is.null(resolution)) find_resolution(x) else
    check_number(resolution, "resolution", 0)
  k <- length(groups$first)
  if (method == "pooled" && k == 1L) method <- "grubbs"
  out <- if (method == "pooled") {
    table <- pooled_outliers(x, groups$id, k, scale, 1 - level)
    table <- table[order(table$group, -abs(table$statistic)), ]
    list(group = table$group, table = as.list(table[setdiff(names(table), c("group", "others"))]))
  } else {
    outlier_table(x, groups$id, k, method, 1 - level, if (method == "grubbs") 1 else max_outliers, resolution)
  }
  out <- structure(c(lapply(keys, `[`, out$group), out$table),
                   class = c("softanneal_outliers", "data.frame"),
                   row.names = .set_row_names(length(out$group)), method = method, alpha = 1 - level,
                   resolution = resolution)
  small <- sum(tabulate(groups$id[!is.na(x)], length(groups$first)) < 3L)
  if (small) {
    warn("too_few", paste0(small, " of ", length(groups$first),
                           " groups have fewer than three readings and cannot be tested."),
                           n = small)
  }
  out
}

#' @rdname find_outliers
#' @param x A table from `find_outliers()`.
#' @param ... Ignored.
#' @export
print.softanneal_outliers <- function(x, ...) {
  if (!all(c("outlier", "statistic") %in% names(x))) return(invisible(print(plain_frame(x))))
  found <- which(x$outlier)
  name <- switch(attr(x, "method"), grubbs = "Grubbs test",
                 pooled = "t test against the scatter of the other groups", "Generalised ESD test")
  cat(name, ", two-sided, level ", format(100 * (1 - attr(x, "alpha"))), " % for ",
      if (attr(x, "method") == "pooled") "the whole table" else
        paste("each group; resolution", format(attr(x, "resolution"))), "\n", sep = "")
  if (!length(found)) {
    cat("No outliers.\n")
  } else {
    cat(count(length(found), "outlier"),
        " (reported, not removed; look for the cause on the specimen):\n", sep = "")
    shown <- plain_frame(x)[found, setdiff(names(x), "outlier")]
    print(shown, row.names = FALSE, digits = 5)
  }
  invisible(x)
}

#' @rdname find_outliers
#' @param row.names,optional As in [base::as.data.frame()].
#' @export
as.data.frame.softanneal_outliers <- function(x, row.names = NULL, optional = FALSE, ...) {
  plain_frame(x)
}
