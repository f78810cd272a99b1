# Conversion of 1e7 readings against stats::approx() on the same table, as a ratio of times
# in one run. Run: Rscript conversion.R [readings]. Ours is the monotone cubic with all its
# checks; approx() is linear and unchecked. The first runs touch fresh memory and are slower;
# median and best of all runs are given.
library(softanneal)

given <- commandArgs(trailingOnly = TRUE)
n <- if (length(given)) as.numeric(given[1L]) else 1e7
runs <- 15L

cells <- subset(as.data.frame(conversion_tables("brass")), used & scale == "HRB")
cells <- cells[order(cells$value), ]
set.seed(1)
readings <- stats::runif(n, min(cells$value), max(cells$value))

seconds <- matrix(NA_real_, runs, 2L, dimnames = list(NULL, c("ours", "approx")))
for (run in seq_len(runs)) {
  gc(verbose = FALSE)
  seconds[run, "ours"] <- system.time(
    ours <- convert_hardness(readings, "HRB", "HV")
  )[["elapsed"]]
  seconds[run, "approx"] <- system.time(
    linear <- stats::approx(cells$value, cells$hv, readings)$y
  )[["elapsed"]]
}
stopifnot(max(abs(ours - linear)) < 0.5)

middle <- apply(seconds, 2L, stats::median)
best <- apply(seconds, 2L, min)
cat(sprintf("%.0f readings, %d runs, ms median (best)\n", n, runs))
cat(sprintf("convert_hardness %.0f (%.0f), approx %.0f (%.0f)\n", 1e3 * middle[["ours"]],
            1e3 * best[["ours"]], 1e3 * middle[["approx"]], 1e3 * best[["approx"]]))
cat(sprintf("ratio approx / convert_hardness: median %.1f, best %.1f\n",
            middle[["approx"]] / middle[["ours"]], best[["approx"]] / best[["ours"]]))

pass <- stats::median(replicate(runs, {
  gc(verbose = FALSE)
  system.time(readings + 1)[["elapsed"]]
}))
cat(sprintf("floor: one pass that reads and writes as many numbers, %.0f ms\n", 1e3 * pass))

mixed <- rep_len(c("HRB", "HRF", "HV"), n)
values <- rep_len(c(70, 90, 120), n)
mixed_time <- system.time(convert_hardness(values, mixed, "HV"))[["elapsed"]]
cat(sprintf("one column of three scales as text: %.0f ms\n", 1e3 * mixed_time))
