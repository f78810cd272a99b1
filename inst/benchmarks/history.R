# The reduced time of a log of 1e7 samples against one vectorised exp() over the same numbers,
# as a ratio of times in one run. Run: Rscript history.R [samples]. equivalent_time() is timed
# as the user calls it, with its checks; median and best of all runs are given.
library(softanneal)

given <- commandArgs(trailingOnly = TRUE)
n <- if (length(given)) as.numeric(given[1L]) else 1e7
runs <- 15L

# a furnace logged ten times a second: a slow wave of 3 and noise of 0.5 degrees Celsius
set.seed(1)
log <- data.frame(time_s = seq_len(n) / 10,
                  temp_c = 400 + 3 * sin(seq_len(n) / 1e4) + stats::rnorm(n, sd = 0.5))
exponent <- -180 / (8.314462618e-3 * (log$temp_c + 273.15))

seconds <- matrix(NA_real_, runs, 2L, dimnames = list(NULL, c("history", "exp")))
for (run in seq_len(runs)) {
  gc(verbose = FALSE)
  seconds[run, "history"] <- system.time(
    ours <- equivalent_time(log, q_kj_mol = 180, temp_c = 400)$equivalent_min
  )[["elapsed"]]
  seconds[run, "exp"] <- system.time(each <- exp(exponent))[["elapsed"]]
}
# the trapezium rule on the same numbers, good to the noise of so fine a log
at_400 <- exp(-180 / (8.314462618e-3 * 673.15))
stopifnot(abs(mean(each) / at_400 * (n - 1) / 600 / ours - 1) < 1e-4)

middle <- apply(seconds, 2L, stats::median)
best <- apply(seconds, 2L, min)
cat(sprintf("%.0f samples, %d runs, ms median (best)\n", n, runs))
cat(sprintf("equivalent_time %.0f (%.0f), exp %.0f (%.0f)\n", 1e3 * middle[["history"]],
            1e3 * best[["history"]], 1e3 * middle[["exp"]], 1e3 * best[["exp"]]))
cat(sprintf("ratio equivalent_time / exp: median %.2f, best %.2f\n",
            middle[["history"]] / middle[["exp"]], best[["history"]] / best[["exp"]]))
