# Rows of means without a name: the last reading of every step is the mean of those before it.

# Rows that are so in all of at least four steps, where readings that are none of the last are so too seldom
# for chance: share p of them, so p^steps below 0.001. Steps whose other readings are all alike say nothing.
MEAN_ROWS_CHANCE <- 0.001

mean_rows <- function(h, id) {
  steps <- split(seq_along(h)[!is.na(h)], id[!is.na(h)])
  steps <- steps[lengths(steps) >= 3L]
  steps <- steps[vapply(steps, \(i) length(unique(h[i[-length(i)]])) > 1L, NA)]
  if (length(steps) < 4L) return(integer())
  # to the digits that the column has
  last <- vapply(steps, \(i) i[length(i)], 0L)
  digits <- nchar(sub("^[^.]*[.]?", "", vapply(h[last], format, "", digits = 8L)))
  room <- 0.5 * 10^-max(digits) + 1e-9
  is_mean <- function(k, i) abs(h[k] - mean(h[setdiff(i, k)])) <= room
  if (!all(mapply(is_mean, last, steps))) return(integer())
  others <- unlist(Map(\(i) vapply(i[-length(i)], is_mean, NA, i = i[-length(i)]),
                       steps[lengths(steps) > 3L]))
  p <- (sum(others) + 1) / (length(others) + 2)
  if (p^length(steps) > MEAN_ROWS_CHANCE) integer() else unname(last)
}

tell_mean_rows <- function(raw, origin) {
  id <- group_rows(unclass(raw)[intersect(c("specimen", "temp_c", "time_min", "scale", "group", "laboratory",
                                            "operator"), names(raw))])$id
  rows <- mean_rows(raw$hardness, id)
  if (!length(rows)) return(invisible())
  warn("assumption", paste0("The last reading of every step is the mean of those before it (",
                            place_text(origin$place, origin$sheet[rows], origin$letters$hardness) %or%
                              in_rows(origin$row[rows]),
                            "): computed rows or columns count as readings here. Delete them."),
       n = length(rows), rows = origin$row[rows])
}
