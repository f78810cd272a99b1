# Times of one specimen that make sense only in another unit, or as single steps: compared with the
# schedule most specimens share.

find_schedules <- function(r) {
  piece <- group_rows(list(r$specimen, r$temp))
  k <- length(piece$first)
  times <- lapply(split(r$time, factor(piece$id, seq_len(k))), \(t) sort(unique(t[t > 0])))
  key <- vapply(times, \(t) paste(signif(t, 8), collapse = " "), "")
  if (!any(nzchar(key))) return(NULL)
  shared <- names(sort(table(key[nzchar(key)]), decreasing = TRUE))[1L]
  common <- times[[match(shared, key)]]
  found <- NULL
  for (i in seq_len(k)) {
    t <- times[[i]]
    rows <- which(piece$id == i & r$time > 0)
    first <- sum(r$time[rows] == t[1L])
    rest <- if (length(t) > 1L) tabulate(match(r$time[rows], t[-1L])) else 0
    # 4, 4, 8, 16: twice the readings at the first time, and doubling from there
    doubled <- length(t) > 2L && all(rest == rest[1L]) && first == 2 * rest[1L] &&
      max(abs(t[-1L] / t[-length(t)] - 2)) < 1e-6
    if (doubled) {
      found <- c(found, finding("warning", "times", rows, paste0(
        "times of ", r$specimen[rows[1L]], " look like those of single steps (",
        paste(format(c(t[1L], utils::head(t, 3L)), trim = TRUE), collapse = ", "), " ... min)"),
        "each doubles the one before, and the first is there twice: sums would be the next of the row",
        "If these are single steps, read the file with `times = \"step\"`."))
    }
    if (key[i] == shared || length(t) < 2L || sum(key == shared) < 2L) next
    for (factor in c(60, 3600)) for (way in c(1, -1)) {
      other <- t * factor^way
      if (!all(vapply(other, \(x) min(abs(x / common - 1)) < 0.01, NA))) next
      found <- c(found, finding("warning", "times", rows, paste0(
        "times of ", r$specimen[rows[1L]], " are those of the other specimens ",
        if (way > 0) "divided" else "multiplied", " by ", factor),
        "hours, minutes or seconds were probably mixed",
        "Compare with the sheet, and write all times in minutes."))
    }
  }
  found
}
