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
  several <- sum(key == shared) > 1L
  found <- NULL
  for (i in seq_len(k)) {
    t <- times[[i]]
    rows <- which(piece$id == i & r$time > 0)
    single <- single_steps(r$time[rows], t, if (several && key[i] != shared) common)
    if (length(single)) {
      found <- c(found, finding("warning", "times", rows, paste0(
        "times of ", r$specimen[rows[1L]], " look like those of single steps (",
        paste(format(utils::head(single, 4L), trim = TRUE), collapse = ", "),
        if (length(single) > 4L) " ...", " min)"),
        if (several && key[i] != shared) "added up they are the times of the other specimens" else
          "each doubles the one before, and the first is there twice: sums would be the next of the row",
        "If these are single steps, read the file with `times = \"step\"`."))
    }
    if (key[i] == shared || length(t) < 2L || !several) next
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

# The steps that readings at the times `t` would be if the times were not added up; NULL where nothing
# speaks for it. With the schedule of the others: its differences; without: 4, 4, 8, 16, twice the readings
# at the first time and doubling from there.
single_steps <- function(time, t, common) {
  n <- tabulate(match(time, t), length(t))
  if (!is.null(common)) {
    step <- diff(c(0, common))
    values <- sort(unique(step))
    if (length(values) != length(t) || any(abs(values / t - 1) > 1e-6)) return(NULL)
    # rows of a step stand for as many steps as the schedule has of this length
    per <- n / tabulate(match(step, values), length(values))
    return(if (max(abs(per / per[1L] - 1)) < 0.35) step)
  }
  doubled <- length(t) > 2L && all(n[-1L] == n[2L]) && n[1L] == 2 * n[2L] &&
    max(abs(t[-1L] / t[-length(t)] - 2)) < 1e-6
  if (doubled) c(t[1L], t)
}
