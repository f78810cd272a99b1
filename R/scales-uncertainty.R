# Uncertainty of a conversion: what the tables themselves say about it. The figures are in
# scale_spread (R/sysdata.rda), computed by inst/scripts/dev/make-scale-tables.R; the rule is on
# the page of convert_hardness(). Numbers in the unit of the scale, disagreements relative to HV.

# The table of convert_hardness(interval = TRUE). `pairs` as of scale_pairs().
conversion_interval <- function(x, value, pairs, table, material, level) {
  u <- conversion_uncertainty(x, pairs, table, material)
  u[is.na(value)] <- NA_real_
  half <- stats::qnorm((1 + level) / 2) * u
  k <- if (is.null(pairs$code)) rep(1L, length(x)) else pairs$code + 1L
  as_table(data.frame(
    x = x, from = pairs$scales[pairs$from[k]], to = pairs$scales[pairs$to[k]], value = value,
    std_uncertainty = u, lower = value - half, upper = value + half, stringsAsFactors = FALSE
  ))
}

conversion_uncertainty <- function(x, pairs, table, material) {
  u <- numeric(length(x))
  members <- if (is.null(pairs$code)) list(seq_along(x)) else split(seq_along(x), pairs$code)
  used <- if (is.null(pairs$code)) 1L else as.integer(names(members)) + 1L
  for (m in seq_along(used)) {
    k <- used[m]
    if (pairs$from[k] == pairs$to[k]) next
    rows <- members[[m]]
    u[rows] <- pair_uncertainty(x[rows], pairs$from[k], pairs$to[k], table, material)
  }
  u
}

# Standard uncertainty for one pair of scales, in the scale wanted.
pair_uncertainty <- function(x, i, j, table, material) {
  scales <- colnames(table$value)
  spread <- scale_spread[scale_spread$material == material, ]
  spread <- spread[match(scales, spread$scale), ]
  slope <- convert_columns(x, i, j, table)$derivative
  hv <- which(scales == "HV")

  # Vickers number of each x, at the nearest end where the row has none.
  at <- x
  if (i != hv) {
    range <- range(pair_points(table, i, hv)[[1L]])
    at <- pmin(pmax(x, range[1L]), range[2L])
  }
  to_hv <- convert_columns(at, i, hv, table)
  vickers <- pmin(pmax(to_hv$value, min_given(table, hv, j)), max_given(table, hv, j))
  relative <- function(k) {
    ifelse(vickers >= 100, spread$relative_from_100[k], spread$relative_below_100[k])
  }
  per_hv <- convert_columns(vickers, hv, j, table)$derivative
  sqrt(spread$table_error[j]^2 + (spread$table_error[i] * slope)^2 +
         (relative(i)^2 + relative(j)^2) * (vickers * per_hv)^2)
}

min_given <- function(table, i, j) if (i == j) -Inf else pair_points(table, i, j)[[1L]][1L]
max_given <- function(table, i, j) {
  if (i == j) return(Inf)
  x <- pair_points(table, i, j)[[1L]]
  x[length(x)]
}

# Value, derivative and flag for one pair of columns.
convert_columns <- function(x, i, j, table) {
  .Call(C_sa_call_convert, x, NULL, list(pair_points(table, i, j)), 1L)
}
