# How much the readings of a step scatter, learnt from the other steps of its scale. The scatter may change
# with hardness: what is constant in HV grows towards the soft end of HRB, and steps on the steep part of
# a curve scatter more. So the variance of a step is a sum of parts none of which is negative: constant on
# the dial, constant in HV (on HV: in per cent), and largest half-way between hard and soft. Fitted to the
# variances of the steps as gamma variables with their degrees of freedom (McCullagh and Nelder 1989,
# Generalized Linear Models, chapter 8) by multiplicative updates (Fevotte, Bertin and Durrieu 2009,
# Neural Computation 21, 793-830).

# Levels in HV and points of the scale per HV, by the first table that has the scale; the tables differ
# little in slope, and only ratios of slopes count. A secant over 6 points evens out the rounding of a table.
level_in_hv <- function(level, scale) {
  if (startsWith(scale, "HV")) return(list(hv = level, slope = level))
  name <- read_scales(scale)$name
  for (material in c("brass", "copper", "aluminium", "steel")) {
    table <- scale_tables[[material]]
    if (!any(c(name, scale) %in% colnames(table$value))) next
    name <- if (scale %in% colnames(table$value)) scale else name
    ends <- range(table$value[!is.na(table$value[, name]) & !is.na(table$value[, "HV"]), name])
    inside <- pmin(pmax(level, ends[1L] + 3), ends[2L] - 3)
    hv <- lapply(c(-3, 0, 3), \(d) to_vickers(inside + d, name, material)$hv)
    slope <- 6 / (hv[[3L]] - hv[[1L]])
    if (!all(is.finite(slope) & slope > 0)) next
    return(list(hv = hv[[2L]] + (level - inside) / slope, slope = slope))
  }
  list(hv = level, slope = NULL)
}

# The parts at each level, of a size about 1.
scatter_parts <- function(level, scale, typical) {
  parts <- list(rep(1, length(level)))
  known <- level_in_hv(level, scale)
  if (!is.null(known$slope)) parts[[2L]] <- known$slope^2 / mean(known$slope^2)
  if (diff(range(level)) > 8 * sqrt(typical)) {
    p <- (known$hv - min(known$hv)) / diff(range(known$hv))
    parts[[length(parts) + 1L]] <- (4 * p * (1 - p) + 1e-6) * parts[[length(parts)]]
  }
  do.call(cbind, parts)
}

# Sizes of the parts. A variance that no part can explain (a slip in its step) counts no more than the
# 0.999 quantile of what is expected.
fit_scatter <- function(s2, df, parts) {
  most <- stats::qchisq(0.999, df) / df
  size <- rep(stats::median(s2 / (stats::qchisq(0.5, df) / df)) / ncol(parts), ncol(parts))
  # little is known of what shows nowhere: a part fades, it is never zero
  size <- pmax(size, mean(s2) * 1e-3 / ncol(parts))
  for (round in seq_len(30L)) {
    mu <- drop(parts %*% size)
    top <- crossprod(parts, df * pmin(s2, most * mu) / mu^2)
    size <- size * sqrt(drop(top / crossprod(parts, df / mu)))
  }
  size
}

# Variance expected at each of the steps asked for from all OTHER steps, and its degrees of freedom:
# 2 / var(ln variance), from the information of the parts that are there. `square`: sums of squares about
# the means, `df` their degrees of freedom, `floor`: variance of rounding. `exact`: steps left out one by
# one; without it all steps are judged by the fit to all.
scatter_elsewhere <- function(square, df, level, scale, floor, exact = NULL) {
  use <- which(df > 0)
  s2 <- square / pmax(df, 1)
  typical <- stats::median(s2[use] / (stats::qchisq(0.5, df[use]) / df[use]))
  parts <- scatter_parts(level, scale, max(typical, floor))
  # with few steps a part that changes with hardness cannot be told from chance
  parts <- parts[, seq_len(min(ncol(parts), 1L + length(use) %/% 6L)), drop = FALSE]
  s2 <- pmax(s2, floor / 4, 1e-12 * max(level)^2)
  from <- function(rows, to) {
    if (!length(rows)) return(list(NA_real_, NA_real_))
    x <- parts[rows, , drop = FALSE]
    size <- fit_scatter(s2[rows], df[rows], x)
    mu <- drop(x %*% size)
    there <- size > 1e-3 * sum(size)
    x <- x[, there, drop = FALSE]
    at <- parts[to, there, drop = FALSE]
    information <- crossprod(x, df[rows] / 2 / mu^2 * x)
    diag(information) <- diag(information) * (1 + 1e-8)
    expected <- drop(parts[to, , drop = FALSE] %*% size)
    list(pmax(expected, floor), pmax(2 / (rowSums((at %*% solve(information)) * at) / expected^2), 1))
  }
  all <- from(use, seq_along(level))
  out <- list(variance = all[[1L]] + 0 * level, df = all[[2L]] + 0 * level)
  for (i in exact) {
    one <- from(setdiff(use, i), i)
    out$variance[i] <- one[[1L]]
    out$df[i] <- one[[2L]]
  }
  out
}

# Readings beyond the t quantile at alpha / (4 N) (half of alpha, since readings of a dial are not
# normal), two-sided, the farthest of each step, again until none is found. The first rows of the answer
# are the farthest readings of all steps, then come further ones that stand out.
pooled_outliers <- function(h, id, k, scale, alpha) {
  parts <- lapply(split(seq_along(h), match(scale, unique(scale))), function(rows) {
    own <- match(id[rows], unique(id[rows]))
    out <- pooled_of_scale(h[rows], own, max(own), alpha, as.character(scale[rows[1L]]), k)
    out$row <- rows[out$row]
    out$group <- id[out$row]
    out
  })
  do.call(rbind, parts)
}

pooled_of_scale <- function(h, id, k, alpha, scale, all_steps) {
  resolution <- find_resolution(h)
  left <- !is.na(h)
  total <- max(sum(left), 1L)
  if (k == 1L) { # nothing to pool with
    table <- outlier_table(h, id, k, "grubbs", alpha / all_steps, 1, resolution)$table
    out <- as.data.frame(table[c("row", "value", "n", "mean", "sd", "statistic", "critical", "p.value",
                                 "outlier")])
    out$others <- (out$mean * out$n - out$value) / pmax(out$n - 1, 1)
    out$p.value <- pmin(1, out$p.value * all_steps)
    return(out[!is.na(out$row), ])
  }
  out <- NULL
  for (round in seq_len(20L)) {
    now <- farthest_of_steps(h, id, k, left, alpha, scale, resolution, total)
    if (is.null(out)) out <- now
    hit <- now[now$outlier, ]
    if (round > 1L) {
      # what was hidden by a farther reading of another step
      out <- rbind(out[!out$row %in% hit$row, ], hit)
    }
    if (!nrow(hit)) break
    left[hit$row] <- FALSE
  }
  out
}

# The scatter of the other steps counts for no more degrees of freedom beside that of the step; and for no
# fewer where only a part is unsure that few steps show.
MOST_SCATTER_DF <- 40
LEAST_SCATTER_DF <- 18

farthest_of_steps <- function(h, id, k, left, alpha, scale, resolution, total) {
  x <- ifelse(left, h, NA_real_)
  stats <- group_statistics(x, id, k)
  df <- pmax(stats$n - 1L, 0L)
  square <- ifelse(stats$n > 1L, df * stats$sd^2, 0)
  level <- group_median(x, id, k)
  level[is.na(level)] <- mean(level, na.rm = TRUE)
  away <- (h - stats$mean[id]) * stats$n[id] / pmax(stats$n[id] - 1L, 1L)
  by <- order(id, -abs(ifelse(left, away, NA_real_)), na.last = NA)
  row <- by[!duplicated(id[by])]
  step <- id[row]
  n <- stats$n[step]
  # the other readings of the step, without the farthest
  rest <- pmax(square[step] - away[row]^2 * (n - 1) / pmax(n, 1), 0)
  judge <- function(exact) {
    other <- scatter_elsewhere(square, df, level, scale, resolution^2 / 12, exact)
    d0 <- pmin(pmax(other$df[step], pmin(LEAST_SCATTER_DF, (sum(df) - df[step]) / 2)), MOST_SCATTER_DF)
    d1 <- pmax(n - 2L, 0L)
    variance <- (d0 * other$variance[step] + rest) / (d0 + d1)
    list(t = abs(away[row]) / sqrt(variance * n / pmax(n - 1, 1)), sd = sqrt(variance), df = d0 + d1)
  }
  nothing <- rep(NA_real_, length(row))
  found <- if (sum(df) > 0) judge(NULL) else list(t = nothing, sd = nothing, df = nothing)
  limit <- function(df) stats::qt(alpha / (4 * total), df, lower.tail = FALSE)
  near <- which(n >= 3L & found$t > 0.4 * limit(found$df))
  near <- utils::head(near[order(-found$t[near])], 8L)
  if (length(near)) found <- judge(step[near])
  use <- n >= 3L & !is.na(found$t)
  critical <- ifelse(use, limit(found$df), NA_real_)
  outlier <- use & found$t > critical & abs(away[row]) > resolution * (1 + 1e-9)
  data.frame(row = row, value = h[row], n = n, mean = stats$mean[step], sd = found$sd,
             statistic = ifelse(use, found$t, NA_real_), critical = critical,
             p.value = ifelse(use, pmin(1, 4 * total * stats::pt(found$t, found$df, lower.tail = FALSE)),
                              NA_real_),
             outlier = outlier, others = h[row] - away[row])
}

group_median <- function(x, id, k) {
  by <- order(id, x, na.last = NA)
  n <- tabulate(id[by], k)
  before <- cumsum(n) - n
  out <- rep(NA_real_, k)
  there <- n > 0L
  low <- by[(before + (n + 1L) %/% 2L)[there]]
  high <- by[(before + n %/% 2L + 1L)[there]]
  out[there] <- (x[low] + x[high]) / 2
  out
}
