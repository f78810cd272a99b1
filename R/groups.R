# Readings in groups, all groups at once: rows, statistics, the coarsest step of a dial, outliers.

# Groups of rows that agree in all columns: `id` per row in order of first appearance and
# `first`, the row where each group appears first. Codes are combined as doubles and coded
# anew after each column, so they stay exact.
group_rows <- function(columns) {
  id <- match(columns[[1L]], unique(columns[[1L]]))
  for (x in columns[-1L]) {
    code <- match(x, unique(x))
    both <- (id - 1) * max(code, 1L) + code
    id <- match(both, unique(both))
  }
  list(id = id, first = which(!duplicated(id)))
}

# Key columns of a step, checked: no missing value may divide groups silently.
step_keys <- function(data, pick, by = NULL) {
  columns <- unique(c(pick$specimen, pick$temp_c, pick$time_min, pick$scale, by))
  keys <- stats::setNames(lapply(columns, function(name) any_column(data, name)), columns)
  temp <- numeric_column(data, pick$temp_c, unit = "degC", lower = -ZERO_CELSIUS, na = TRUE)
  time <- numeric_column(data, pick$time_min, unit = "min", lower = 0)
  keys[[pick$temp_c]] <- temperature_of_piece(temp, time, keys[[pick$specimen]])
  keys[[pick$time_min]] <- time
  for (name in columns) {
    lost <- is.na(keys[[name]])
    if (name == pick$temp_c) lost <- lost & !time %in% 0
    if (any(lost)) {
      abort("missing", paste0("column `", name, "` must not be missing"), arg = name,
            rows = which(lost), remedy = "Fill in these cells.")
    }
  }
  keys
}

# As rolled a specimen has met no furnace: without a temperature these rows take that of their specimen,
# where it has one only, and stay without otherwise.
temperature_of_piece <- function(temp, time, specimen) {
  none <- which(is.na(temp) & time %in% 0)
  if (!length(none)) return(temp)
  heated <- which(!is.na(temp))
  pairs <- unique(data.frame(piece = match(specimen[heated], unique(specimen)), temp = temp[heated]))
  pairs <- pairs[!pairs$piece %in% pairs$piece[duplicated(pairs$piece)], ]
  temp[none] <- pairs$temp[match(match(specimen[none], unique(specimen)), pairs$piece)]
  temp
}

# n, n_missing, mean, sd, se, interval and range by group. `id` from 1 to k. The spread is
# taken around the mean in a second pass, which keeps the digits of close readings.
# `missing_what`: name for the warning about missing values, NULL for none. `least`: standard uncertainty
# below which that of a mean cannot fall.
group_statistics <- function(x, id, k, level = 0.95, missing_what = NULL, least = 0) {
  there <- !is.na(x)
  n <- tabulate(id[there], k)
  total <- rep(0, k)
  if (any(there)) {
    sums <- rowsum(x[there], id[there], reorder = FALSE)
    total[as.integer(rownames(sums))] <- sums[, 1L]
  }
  mean <- ifelse(n > 0L, total / n, NA_real_)
  away <- x - mean[id]
  square <- rep(0, k)
  slip <- rep(0, k)
  if (any(there)) {
    sums <- rowsum(cbind(away, away^2)[there, , drop = FALSE], id[there], reorder = FALSE)
    at <- as.integer(rownames(sums))
    slip[at] <- sums[, 1L]
    square[at] <- sums[, 2L]
  }
  # corrected two-pass algorithm: the rounding error of the mean is taken out of the squares
  square <- pmax(square - ifelse(n > 0L, slip^2 / n, 0), 0)
  mean <- mean + ifelse(n > 0L, slip / n, 0)
  sd <- ifelse(n > 1L, sqrt(square / pmax(n - 1L, 1L)), NA_real_)
  se <- sd / sqrt(n)
  half <- pmax(stats::qt((1 + level) / 2, pmax(n - 1L, 1L)) * se, stats::qnorm((1 + level) / 2) * least)
  se <- pmax(se, least)
  ends <- group_range(x, id, k)
  if (!is.null(missing_what)) {
    if (any(!there)) {
      warn("missing", paste0(sum(!there), " of ", length(x), " rows have no ", missing_what,
                             " and are left out (", in_rows(which(!there)), ")."),
           n = sum(!there), rows = which(!there))
    }
    if (any(n == 1L)) {
      warn("too_few", paste0(sum(n == 1L), " of ", k,
                             " groups hold one reading only: their spread is NA."),
           n = sum(n == 1L), rows = which(n == 1L))
    }
  }
  list(n = n, n_missing = tabulate(id, k) - n, mean = mean, sd = sd, std.error = se,
       conf.low = mean - half, conf.high = mean + half, min = ends$min, max = ends$max)
}

group_range <- function(x, id, k) {
  order <- order(id, x, na.last = NA)
  sorted <- id[order]
  first <- which(!duplicated(sorted))
  last <- c(first[-1L] - 1L, length(sorted))[seq_along(first)]
  out <- list(min = rep(NA_real_, k), max = rep(NA_real_, k))
  out$min[sorted[first]] <- x[order[first]]
  out$max[sorted[first]] <- x[order[last]]
  out
}

# The tests, all groups at once; round i sets aside the reading of each group that lay
# farthest in round i - 1. Returns rows sorted by group and round.
outlier_table <- function(x, id, k, method, alpha, rounds, resolution) {
  there <- !is.na(x)
  parts <- list()
  left <- there
  for (i in seq_len(rounds)) {
    stats <- group_statistics(ifelse(left, x, NA_real_), id, k)
    usable <- stats$n >= 3L
    if (!any(usable) && i > 1L) break
    away <- ifelse(left, abs(x - stats$mean[id]), NA_real_)
    order <- order(id, -away, na.last = NA)
    far <- rep(NA_integer_, k)
    first <- order[!duplicated(id[order])]
    far[id[first]] <- first
    spread <- usable & !is.na(stats$sd) & stats$sd > 0
    # readings on a dial scatter by its rounding as well, resolution^2 / 12 (GUM F.2.2.1)
    scatter <- sqrt(stats$sd^2 + resolution^2 / 12)
    statistic <- ifelse(spread, away[far] / scatter, NA_real_)
    n <- stats$n
    critical <- ifelse(usable, extreme_critical(n, alpha), NA_real_)
    # deviation from the mean of the others, x - mean of the rest = (x - mean) n / (n - 1)
    coarse <- away[far] * n / (n - 1) <= resolution * (1 + 1e-9)
    parts[[i]] <- list(group = seq_len(k), round = rep(i, k), row = far, value = x[far], n = n,
                       mean = stats$mean,
                       sd = stats$sd, statistic = statistic, critical = critical,
                       exceeds = spread & !coarse & statistic > critical)
    left[far[usable]] <- FALSE
  }
  all <- lapply(stats::setNames(nm = names(parts[[1L]])),
                function(name) unlist(lapply(parts, `[[`, name)))
  keep <- all$round == 1L | all$n >= 3L
  all <- lapply(all, `[`, keep)
  sorted <- order(all$group, all$round)
  all <- lapply(all, `[`, sorted)
  exceeds <- !is.na(all$exceeds) & all$exceeds
  last <- rep(0L, k)
  last[all$group[exceeds]] <- all$round[exceeds] # rounds ascend, so the last one stays
  table <- all[c("row", "value", "n", "mean", "sd", "statistic", "critical")]
  table$p.value <- rep(NA_real_, length(all$row))
  if (method == "grubbs") table$p.value <- extreme_p(all$statistic, all$n)
  table$outlier <- all$round <= last[all$group]
  list(group = all$group, table = table)
}

# Critical value of the largest absolute studentised deviate of n readings, `sides` sided.
# Rosner's lambda_i is the same expression with n - i + 1 readings left.
extreme_critical <- function(n, alpha, sides = 2) {
  m <- pmax(n, 3)
  t <- stats::qt(alpha / (sides * m), m - 2, lower.tail = FALSE)
  ifelse(n >= 3, (m - 1) / sqrt(m) * sqrt(t^2 / (m - 2 + t^2)), NA_real_)
}

extreme_p <- function(g, n, sides = 2) {
  top <- (n - 1)^2 / n
  t <- sqrt(g^2 * n * (n - 2) / pmax((n - 1)^2 - n * g^2, 0))
  p <- pmin(1, sides * n * stats::pt(t, pmax(n - 2, 1), lower.tail = FALSE))
  ifelse(is.na(g), NA_real_, ifelse(g^2 >= top, 0, p))
}

# Standard uncertainty from the step of the dial, resolution / sqrt(12) (JCGM 100, F.2.2.1), of each reading
# in its own scale. However many readings agree, their mean is not known better.
dial_uncertainty <- function(x, scale) {
  scale <- rep_len(as.character(scale), length(x))
  seen <- unique(scale)
  step <- vapply(seen, function(s) find_resolution(x[scale == s]), 0)
  unname(step[match(scale, seen)]) / sqrt(12)
}

# The coarsest common step of readings. 1e-6 of a step is allowed for decimal rounding.
find_resolution <- function(x) {
  x <- unique(x[!is.na(x)])
  for (step in c(1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)) {
    if (length(x) && all(abs(x / step - round(x / step)) < 1e-6)) return(step)
  }
  0
}
