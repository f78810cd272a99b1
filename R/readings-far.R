# Readings far from the others of their step, by a standard deviation pooled over the other steps of
# the scale: with five readings per step's own sd cannot show more than 1.8 sd (Grubbs), and flags
# nothing at a level corrected for all steps.

find_far <- function(r, alpha) {
  far <- pooled_outliers(r$h, r$cell$id, length(r$cell$first), r$scale, alpha, find_resolution(r$h))
  if (!length(far$row)) return(NULL)
  by <- order(far$row)
  far <- lapply(far, \(x) unname(x[by]))
  most <- utils::head(order(-abs(far$t)), 3L)
  shown <- vapply(most, function(k) {
    i <- far$row[k]
    slip <- likely_slip(r$h[i], far$others[k], far$sd[k])
    paste0(r$specimen[i], ", ", format(r$temp[i]), " degrees Celsius, ", format(r$time[i]), " min",
           if (!is.null(r$reading) && !is.na(r$reading[i])) paste0(", reading ", r$reading[i]), ": ",
           format(r$h[i]), " where the others have ", format(far$others[k], digits = 3),
           if (nzchar(slip)) paste0("; ", slip))
  }, "")
  finding("warning", "outlier", far$row,
          paste0("reading far from the others of its step (",
                 paste(shown, collapse = "; "), if (length(far$row) > 3L) "; ...", ")"),
          paste0("t test against the scatter of the other steps, two-sided, alpha = ", format(alpha),
                 " over all readings together"),
          "Look at the indentation and the note; leave it out only for a cause you can name.")
}

# Readings beyond the t quantile at alpha / (4 N) (half of alpha, since readings of a dial are not
# normal), two-sided, the farthest of each step, again until none is
# found. `sd` is pooled over all steps of the scale but the one tested, rounding of the dial
# included; a single step is tested by Grubbs.
pooled_outliers <- function(h, id, k, scale, alpha, resolution) {
  out <- list(row = integer(), t = numeric(), others = numeric(), sd = numeric())
  class <- match(scale, unique(scale))
  of_cell <- class[match(seq_len(k), id)]
  left <- !is.na(h)
  total <- tabulate(class[left], max(class))
  for (round in seq_len(20L)) {
    stats <- group_statistics(ifelse(left, h, NA_real_), id, k)
    square <- ifelse(stats$n > 1L, (stats$n - 1L) * stats$sd^2, 0)
    df <- pmax(stats$n - 1L, 0L)
    all_square <- rowsum(square, of_cell)[, 1L][match(of_cell, sort(unique(of_cell)))]
    all_df <- rowsum(df, of_cell)[, 1L][match(of_cell, sort(unique(of_cell)))]
    df_others <- all_df - df
    variance <- ifelse(df_others > 0, (all_square - square) / pmax(df_others, 1), NA_real_)
    variance <- pmax(variance, resolution^2 / 12)
    n <- stats$n[id]
    away <- (h - stats$mean[id]) * n / pmax(n - 1, 1)
    t <- away / sqrt(variance[id] * n / pmax(n - 1, 1))
    crit <- stats::qt(alpha / (4 * total[class]), pmax(df_others[id], 1), lower.tail = FALSE)
    hit <- left & n >= 3L & df_others[id] > 0 & variance[id] > 0 & abs(t) > crit &
      abs(away) > resolution * (1 + 1e-9)
    hit <- which(hit)
    if (!length(hit)) break
    hit <- hit[order(id[hit], -abs(t[hit]))]
    hit <- hit[!duplicated(id[hit])]
    out <- Map(c, out, list(hit, t[hit], h[hit] - away[hit], sqrt(variance[id[hit]])))
    left[hit] <- FALSE
  }
  alone <- which(tabulate(of_cell, max(class)) == 1L)
  if (length(alone)) {
    at <- which(class %in% alone)
    own <- match(id[at], unique(id[at]))
    m <- max(own)
    table <- outlier_table(h[at], own, m, "grubbs", alpha / k, 1, resolution)$table
    hit <- which(table$outlier)
    others <- (table$mean * table$n - table$value) / (table$n - 1)
    out <- Map(c, out, list(at[table$row[hit]], table$statistic[hit], others[hit], table$sd[hit]))
  }
  out
}

# The likeliest slip of the pen behind a reading, if one would bring it among the others.
likely_slip <- function(value, others, sd) {
  near <- function(x) any(abs(x - others) <= max(4 * sd, 1))
  text <- format(value, digits = 15L)
  digits <- strsplit(text, "", fixed = TRUE)[[1L]]
  if (near(c(value * 10, value / 10, value * 100))) return("decimal point?")
  numeral <- which(digits %in% 0:9)
  swap <- vapply(seq_len(length(numeral) - 1L), function(i) {
    d <- digits
    d[numeral[i + 0:1]] <- d[numeral[i + 1:0]]
    as.numeric(paste(d, collapse = ""))
  }, 0)
  if (near(setdiff(swap, value))) return("digits exchanged?")
  typed <- unlist(lapply(numeral, function(i) vapply(0:9, function(v) {
    d <- digits
    d[i] <- as.character(v)
    as.numeric(paste(d, collapse = ""))
  }, 0)))
  if (near(setdiff(typed, value))) return("typed digit?")
  ""
}
