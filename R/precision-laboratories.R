# Repeatability and reproducibility between laboratories, machines or groups: ASTM E691 and
# ISO 5725-2. Consistency statistics h (between) and k (within) with critical values computed
# from t and F quantiles; variance components with intervals after Graybill and Wang.

#' Compare laboratories, machines or groups
#'
#' Each laboratory (or machine, operator, group of students) has measured the same material
#' several times. Gives the standard deviation within a laboratory (repeatability, s_r), that between
#' laboratories (s_L), both together (reproducibility, s_R), and the laboratories that stand out.
#'
#' @section What is computed:
#' For each material, with p laboratories, n_i readings, cell means and standard deviations s_i:
#' * repeatability sd s_r: pooled from the s_i;
#' * between-laboratory variance s_L^2 = (s_d^2 - s_r^2) / n, not below 0 (ISO 5725-2, 7.4.5; for
#'   equal n s_d^2 / n is the variance s_x^2 of the cell means, and n their common size);
#' * reproducibility sd s_R = sqrt(s_L^2 + s_r^2), which for equal n is that of ASTM E691, never
#'   below s_r;
#' * limits r = 2.8 s_r and R = 2.8 s_R, below which two results should differ in 95 % of cases
#'   (ASTM E691, 1.96 sqrt(2) rounded);
#' * h = (cell mean - mean of cell means) / s_x, with critical value
#'   (p - 1) t / sqrt(p (t^2 + p - 2)), t the 1 - alpha/2 quantile with p - 2 degrees of freedom;
#' * k = s_i / s_r, with critical value sqrt(p / (1 + (p - 1)/F)), F the 1 - alpha quantile with
#'   n_i - 1 and the sum of the other degrees of freedom (E691 gives both formulas for equal n);
#' * one-way variance components with F test. Intervals: chi-square for s_r^2; Graybill and Wang's
#'   modified large-sample method for s_L^2 and s_R^2 (F. A. Graybill and C.-M. Wang, JASA 75
#'   (1980) 869-873; N. Ting et al., J. Stat. Comput. Simul. 35 (1990) 135-143), with the harmonic
#'   mean of n_i if they differ (an approximation).
#'
#' **One result per cell.** Where each laboratory has one result of each of two or more materials, the
#'   means of laboratories and materials are taken out (two-way layout without repeats): the residual mean
#'   square holds repeatability and the interaction of laboratory and material together, so `s_r`, `r` and
#'   k are `NA`; s_L^2 = (MS_lab - MS_residual) / q for q materials, s_R^2 = s_L^2 + MS_residual;
#'   `components` has the rows `residual`, `between`, `total`. Tukey's test with one degree of freedom
#'   (Biometrics 5 (1949) 232 \doi{10.2307/3001938}) says whether differences grow with the material. It
#'   asks for the same laboratories on each material.
#'
#' With two laboratories h is the same for both and has no critical value (`NA`).
#'
#' A laboratory beyond a critical value should be investigated, not deleted.
#'
#' @param data Table with one row per reading; or, with `cell_mean`, `cell_sd` and `cell_n`, one row per
#'   cell.
#' @param lab,test_material,hardness Columns of laboratory, material and reading; bare or quoted.
#' @param cell_mean,cell_sd,cell_n Columns of cell means, standard
#'   deviations and numbers of readings, if the readings themselves are not at hand.
#' @param consistency_level Level of the critical values of h and k, 1 - alpha; 0.995 in ASTM E691.
#' @param level Level of the intervals.
#' @return An object of class `softanneal_laboratories`, a list of data frames:
#'   `precision`: one row per material with `material`, `p`, `n` (mean cell size), `mean`, `s_xbar`,
#'   `s_r`, `s_L`, `s_R`, `r`, `R`, in the unit of the readings; `cells`: one row per cell with
#'   `material`, `lab`, `n`, `mean`, `sd`, `h`, `k`, `h_critical`, `k_critical`, `h_beyond`,
#'   `k_beyond`; `components`: rows `within`, `between`, `total` for each material with
#'   `variance`, `sd`, `conf.low`, `conf.high` (of the sd), and the one-way test `statistic` (F),
#'   `df1`, `df2`, `p.value`. `tidy()` gives the components, `as.data.frame()` the precision.
#' @section Errors:
#'   `softanneal_error_too_few` for a material measured by one laboratory only, or a cell with one
#'   reading where not all cells of a full layout have one, `softanneal_error_duplicate` for two cells of
#'   a laboratory,
#'   `softanneal_error_column`, `softanneal_error_missing`, `softanneal_error_argument`.
#' @seealso [compare_baseline()], [find_outliers()], [uncertainty_budget()]
#' @examples
#' r <- data.frame(group = rep(c("bench 1", "bench 2", "bench 3"), each = 4), specimen = "ring",
#'                 hardness = c(61, 60.5, 61.5, 61, 62, 62.5, 62, 63, 60, 61.5, 61, 60.5))
#' compare_laboratories(r)
#' @export
compare_laboratories <- function(data, lab = group, test_material = specimen, hardness = hardness,
                                 cell_mean = NULL, cell_sd = NULL, cell_n = NULL,
                                 consistency_level = 0.995, level = 0.95) {
  lab <- column_name(rlang::enquo(lab))
  test_material <- column_name(rlang::enquo(test_material))
  hardness <- column_name(rlang::enquo(hardness))
  check_data(data, groups = FALSE)
  check_level(consistency_level, "consistency_level")
  check_level(level)
  keys <- list(material = any_column(data, test_material), lab = any_column(data, lab))
  for (i in 1:2) {
    if (anyNA(keys[[i]])) {
      name <- c(test_material, lab)[i]
      abort("missing", paste0("column `", name, "` must not be missing"), arg = name,
            rows = which(is.na(keys[[i]])),
            remedy = "Fill in these cells.")
    }
  }
  pooled <- pooled_within(data, keys, setdiff(c("time_min", "temp_c", "strip", STRAIN_COLUMNS),
                                              c(test_material, lab)))
  if (length(pooled)) {
    abort("argument", paste0("`", pooled[1L], "` varies within the readings of a laboratory, which would ",
                             "be pooled"), arg = "test_material",
          remedy = paste0("Keep one value, or name the states apart by `test_material = ", pooled[1L], "`."))
  }
  cell_mean <- optional_column(rlang::enquo(cell_mean))
  cell_sd <- optional_column(rlang::enquo(cell_sd))
  cell_n <- optional_column(rlang::enquo(cell_n))
  given <- !c(is.null(cell_mean), is.null(cell_sd), is.null(cell_n))
  if (any(given) && !all(given)) {
    abort("argument", "`cell_mean`, `cell_sd` and `cell_n` belong together", arg = "cell_mean",
          remedy = "Give all three or none.")
  }
  cells <- if (all(given)) given_cells(data, keys, cell_mean, cell_sd, cell_n) else
    cells_of(numeric_column(data, hardness, na = TRUE), keys)
  if (is_two_way(cells)) return(two_way_object(cells, 1 - consistency_level, level))
  laboratories_object(cells, 1 - consistency_level, level)
}

given_cells <- function(data, keys, cell_mean, cell_sd, cell_n) {
  for (name in c("cell_mean", "cell_sd", "cell_n")) check_string(get(name), name)
  cells <- data.frame(material = keys$material, lab = keys$lab,
                      n = numeric_column(data, cell_n, lower = 2),
                      mean = numeric_column(data, cell_mean),
                      sd = numeric_column(data, cell_sd, lower = 0))
  twice <- duplicated(cells[c("material", "lab")])
  if (any(twice)) {
    abort("duplicate", "a laboratory has two cells for one material", arg = "lab",
          rows = which(twice),
          remedy = "Give one row for each laboratory and material.")
  }
  cells
}

cells_of <- function(x, keys) {
  gone <- is.na(x)
  if (any(gone)) {
    warn("missing", paste0(sum(gone), " of ", length(x), " readings are missing and left out (",
                           in_rows(which(gone)), ")."),
         n = sum(gone), rows = which(gone))
  }
  groups <- group_rows(keys)
  stats <- group_statistics(x, groups$id, length(groups$first))
  cells <- data.frame(material = keys$material[groups$first], lab = keys$lab[groups$first],
                      n = stats$n,
                      mean = stats$mean, sd = stats$sd)
  small <- stats$n < 2L
  if (any(small) && !is_two_way(cells)) {
    abort("too_few", paste0("laboratory ", in_quotes(format(cells$lab[small][1L])),
                            " has fewer than two readings of ",
                            in_quotes(format(cells$material[small][1L]))), arg = "lab",
                            rows = groups$first[small],
          remedy = paste("Repeatability needs replicates: leave it out, or let it measure again. One result",
                         "in each cell is analysed where all laboratories have measured all materials."))
  }
  cells
}

laboratories_object <- function(cells, alpha, level) {
  materials <- unique(cells$material)
  parts <- lapply(materials, function(m) one_material(cells[cells$material == m, ], alpha, level))
  bind <- function(name) {
    out <- do.call(rbind, lapply(parts, `[[`, name))
    rownames(out) <- NULL
    out
  }
  structure(list(precision = bind("precision"), cells = bind("cells"),
                 components = bind("components"),
                 alpha = alpha, level = level), class = "softanneal_laboratories")
}

# One material of p >= 2 laboratories.
one_material <- function(cells, alpha, level) {
  p <- nrow(cells)
  material <- cells$material[1L]
  if (p < 2L) {
    abort("too_few", paste0("material '", material, "' was measured by one laboratory only"),
          arg = "lab",
          remedy = "A comparison needs two, and E691 asks for six or more.")
  }
  n <- cells$n
  df2 <- sum(n) - p
  ms_within <- sum((n - 1) * cells$sd^2) / df2
  mean <- sum(n * cells$mean) / sum(n)
  ms_between <- sum(n * (cells$mean - mean)^2) / (p - 1)
  # effective cell size of ISO 5725-2, 7.4.5.2
  size <- (sum(n) - sum(n^2) / sum(n)) / (p - 1)
  v_between <- max((ms_between - ms_within) / size, 0)
  s_r <- sqrt(ms_within)
  s_xbar <- stats::sd(cells$mean)
  cells$h <- if (s_xbar > 0) (cells$mean - mean(cells$mean)) / s_xbar else NA_real_
  cells$k <- if (s_r > 0) cells$sd / s_r else NA_real_
  cells$h_critical <- h_critical(p, alpha)
  cells$k_critical <- k_critical(p, n, alpha, df2)
  cells$h_beyond <- abs(cells$h) > cells$h_critical
  cells$k_beyond <- cells$k > cells$k_critical
  s_reproducibility <- sqrt(v_between + ms_within)
  precision <- data.frame(material = material, p = p, n = sum(n) / p, mean = mean, s_xbar = s_xbar,
                          s_r = s_r,
                          s_L = sqrt(v_between), s_R = s_reproducibility, r = 2.8 * s_r,
                          R = 2.8 * s_reproducibility)
  list(precision = precision, cells = cells,
       components = variance_components(material, ms_between, ms_within, s_xbar^2, n, v_between,
                                        level))
}

# Critical values of ASTM E691 (h: Student's t, k: F). `df2`: all degrees of freedom within.
h_critical <- function(p, alpha) {
  if (p < 3L) return(NA_real_)
  t <- stats::qt(1 - alpha / 2, p - 2)
  (p - 1) * t / sqrt(p * (t^2 + p - 2))
}

# k^2 = s_i^2 / s_r^2; with F = s_i^2 / (variance pooled from the others) it is
# df2 / ((n - 1) + (df2 - n + 1)/F), for equal n p / (1 + (p - 1)/F).
k_critical <- function(p, n, alpha, df2 = p * (n - 1)) {
  f <- stats::qf(1 - alpha, n - 1, df2 - (n - 1))
  sqrt(df2 / ((n - 1) + (df2 - (n - 1)) / f))
}

variance_components <- function(material, ms_between, ms_within, v_means, n, v_between, level,
                                df2 = sum(n) - length(n)) {
  p <- length(n)
  df1 <- p - 1
  size <- p / sum(1 / n)
  tail <- (1 - level) / 2
  s1 <- size * v_means
  s2 <- ms_within
  chi <- function(prob, df) df / stats::qchisq(prob, df)
  g1 <- 1 - chi(1 - tail, df1)
  g2 <- 1 - chi(1 - tail, df2)
  h1 <- chi(tail, df1) - 1
  h2 <- chi(tail, df2) - 1
  f_high <- stats::qf(1 - tail, df1, df2)
  f_low <- stats::qf(tail, df1, df2)
  g12 <- ((f_high - 1)^2 - g1^2 * f_high^2 - h2^2) / f_high
  h12 <- ((1 - f_low)^2 - h1^2 * f_low^2 - g2^2) / f_low
  below <- sqrt(max(g1^2 * s1^2 + h2^2 * s2^2 + g12 * s1 * s2, 0))
  above <- sqrt(max(h1^2 * s1^2 + g2^2 * s2^2 + h12 * s1 * s2, 0))
  between <- pmax((s1 - s2 + c(-below, above)) / size, 0)
  sum_mean <- (s1 + (size - 1) * s2) / size
  total <- c(sum_mean - sqrt(g1^2 * s1^2 + (size - 1)^2 * g2^2 * s2^2) / size,
             sum_mean + sqrt(h1^2 * s1^2 + (size - 1)^2 * h2^2 * s2^2) / size)
  within <- s2 * c(chi(1 - tail, df2), chi(tail, df2))
  statistic <- if (ms_within > 0) ms_between / ms_within else NA_real_
  variance <- c(ms_within, v_between, v_between + ms_within)
  ends <- sqrt(pmax(rbind(within, between, total), 0))
  data.frame(material = material, term = c("within", "between", "total"), variance = variance,
             sd = sqrt(variance),
             conf.low = ends[, 1L], conf.high = ends[, 2L], statistic = statistic, df1 = df1,
             df2 = df2,
             p.value = stats::pf(statistic, df1, df2, lower.tail = FALSE), row.names = NULL)
}

#' @rdname compare_laboratories
#' @param x An object from `compare_laboratories()`.
#' @param ... Ignored.
#' @export
print.softanneal_laboratories <- function(x, ...) {
  cat("Precision of ", count(length(unique(x$cells$lab)), "laboratory", "laboratories"), " on ",
      count(nrow(x$precision), "material"), " (ASTM E691, ISO 5725-2)\n", sep = "")
  if (!is.null(x$non_additivity)) print_two_way(x)
  shown <- x$precision
  at <- match(c("s_r", "s_R", "r", "R"), names(shown))
  names(shown)[at] <- c("s_r (repeat)", "s_R (reprod)", "r limit", "R limit")
  print(shown, row.names = FALSE, digits = 4)
  beyond <- which(x$cells$h_beyond | x$cells$k_beyond)
  if (!length(beyond)) {
    cat("No laboratory stands out: all h and k are within their critical values (level ",
        format(100 * (1 - x$alpha)), " %).\n", sep = "")
  } else {
    cat("Beyond a critical value (level ", format(100 * (1 - x$alpha)),
        " %); ask, do not delete:\n", sep = "")
    print(x$cells[beyond, c("material", "lab", "h", "h_critical", "k", "k_critical")],
          row.names = FALSE, digits = 3)
  }
  invisible(x)
}

#' @rdname compare_laboratories
#' @export
tidy.softanneal_laboratories <- function(x, ...) as_table(x$components)

#' @rdname compare_laboratories
#' @export
as.data.frame.softanneal_laboratories <- function(x, ...) x$precision
