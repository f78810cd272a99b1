# How often check_readings() finds one reading moved by 8 sd, and how often it finds fault with a clean
# bench: simulated benches with 2 HV between pieces, 1 HV between steps, 2 K between furnaces, read on a
# dial. Run: Rscript inst/benchmarks/checks.R [benches] (package installed).

library(softanneal)
benches <- as.integer(c(commandArgs(TRUE), 60)[1L])

# Four pieces, seven steps, `n` readings of sd `sd` (points of the dial) on a dial of step `dial`.
bench <- function(n, sd, dial, scale = "HV", numbered = TRUE) {
  d <- expand.grid(reading = seq_len(n), time_min = c(0, 4, 8, 16, 32, 64, 128),
                   temp_c = c(290, 330, 370, 410), KEEP.OUT.ATTRS = FALSE)
  piece <- match(d$temp_c, unique(d$temp_c))
  heat <- d$temp_c + stats::rnorm(4, 0, 2)[piece]
  k <- arrhenius_rate(heat, 0.06, 330, 140)
  hv <- 160 - 80 * jmak_fraction(d$time_min, k, 1.6) + stats::rnorm(4, 0, 2)[piece]
  hv <- hv + stats::rnorm(28)[interaction(d$time_min, d$temp_c, drop = TRUE)]
  d$hardness <- if (scale == "HV") hv else suppressWarnings(convert_hardness(hv, "HV", scale))
  d$hardness <- round((d$hardness + stats::rnorm(nrow(d), 0, sd)) / dial) * dial
  d$specimen <- paste0("piece-", d$temp_c)
  d$scale <- scale
  if (!numbered) d$reading <- NULL
  d
}

seen <- function(d, check) {
  found <- suppressWarnings(check_readings(d))
  hit <- which(found$check == check)
  if (length(hit)) unlist(found$rows[hit]) else integer()
}

set.seed(20)
out <- NULL
for (n in c(3, 5, 6)) for (dial in c(0.1, 0.5, 1)) for (scale in c("HV", "HRF")) {
  sd <- if (scale == "HV") 1.5 else 0.5
  slip <- clean <- twice <- logical(benches)
  for (i in seq_len(benches)) {
    d <- bench(n, sd, dial, scale)
    clean[i] <- length(seen(d, "outlier")) > 0L
    at <- sample(nrow(d), 1L)
    d$hardness[at] <- d$hardness[at] + sample(c(-1, 1), 1L) * 8 * sd
    slip[i] <- at %in% seen(d, "outlier")
    twice[i] <- n == 6 && length(seen(bench(n, sd, dial, scale, numbered = FALSE), "duplicate")) > 0L
  }
  out <- rbind(out, data.frame(scale, n, dial, found = mean(slip), false_alarm = mean(clean),
                               duplicate_alarm = if (n == 6) mean(twice) else NA))
}
print(out, row.names = FALSE)
