# How often find_outliers() finds one reading moved by 8 sd, and how often it, and the check for a series
# pasted twice, find fault with a clean bench: 2 HV between pieces, 1 HV between steps, 2 K between
# furnaces, read on a dial. The scatter of readings is constant in HV, constant in HRB, or grows to 2.5
# times on the steep part. Run: Rscript inst/benchmarks/checks.R [benches] (package installed).

library(softanneal)
benches <- as.integer(c(commandArgs(TRUE), 60)[1L])

TEMPS <- c(290, 330, 370, 410)
TIMES <- c(0, 4, 8, 16, 32, 64, 128)
HV_GRID <- seq(58, 200, 0.5)
HRB_GRID <- convert_hardness(HV_GRID, "HV", "HRB")
to_hrb <- function(hv) stats::approx(HV_GRID, HRB_GRID, hv, rule = 2)$y

# Four pieces, seven steps, `n` readings on a dial of step `dial`; attribute "sd" is that of each reading.
bench <- function(n, scatter, dial, scale = "HRB", numbered = TRUE) {
  d <- expand.grid(reading = seq_len(n), time_min = TIMES, temp_c = TEMPS, KEEP.OUT.ATTRS = FALSE)
  piece <- match(d$temp_c, TEMPS)
  k <- arrhenius_rate(d$temp_c + stats::rnorm(4, 0, 2)[piece], 0.06, 330, 140)
  part <- jmak_fraction(d$time_min, k, 1.6)
  hv <- 160 - 80 * part + stats::rnorm(4, 0, 2)[piece]
  hv <- hv + stats::rnorm(28)[match(d$time_min, TIMES) + 7 * (piece - 1)]
  e <- stats::rnorm(nrow(d))
  sd <- switch(scatter, "HV" = 1.5, "steep" = 1.2 * (1 + 6 * part * (1 - part)), "HRB" = 0.7)
  if (scale == "HV") {
    if (scatter == "HRB") sd <- 0.7 * 3
    d$hardness <- hv + sd * e
  } else if (scatter == "HRB") {
    d$hardness <- to_hrb(hv) + sd * e
  } else {
    d$hardness <- to_hrb(hv + sd * e)
    sd <- sd * (to_hrb(hv + 4) - to_hrb(hv - 4)) / 8
  }
  d$hardness <- round(d$hardness / dial) * dial
  d$specimen <- paste0("piece-", d$temp_c)
  d$scale <- scale
  if (!numbered) d$reading <- NULL
  structure(d, sd = rep_len(sd, nrow(d)))
}

set.seed(20)
out <- NULL
for (scatter in c("HV", "HRB", "steep")) for (n in c(3, 5, 6)) for (dial in c(0.1, 0.5, 1)) {
  slip <- clean <- twice <- logical(benches)
  for (i in seq_len(benches)) {
    d <- bench(n, scatter, dial)
    clean[i] <- any(find_outliers(d)$outlier)
    at <- sample(nrow(d), 1L)
    away <- sample(c(-1, 1), 1L) * 8 * attr(d, "sd")[at]
    d$hardness[at] <- round((d$hardness[at] + away) / dial) * dial
    o <- find_outliers(d)
    slip[i] <- at %in% o$row[o$outlier]
    if (n == 6) twice[i] <- "duplicate" %in% check_readings(bench(n, scatter, dial, numbered = FALSE))$check
  }
  out <- rbind(out, data.frame(scatter, n, dial, found = mean(slip), false_alarm = mean(clean),
                               duplicate_alarm = if (n == 6) mean(twice) else NA))
}
print(out, row.names = FALSE)

# Mistakes of one piece (or two), planted one at a time; what is not about the mistake is a false alarm.
plant <- function(d, what) {
  own <- unique(d$specimen)
  i <- d$specimen == sample(own, 1L)
  switch(what,
    hours = d$time_min[i] <- d$time_min[i] / 60,
    steps = d$time_min[i] <- c(0, 4, 4, 8, 16, 32, 64)[match(d$time_min[i], TIMES)],
    stock = d$hardness[i] <- d$hardness[i] * 0.8,
    scale = d$hardness[i] <- round(to_hrb(d$hardness[i]) * 2) / 2,
    kelvin = d$temp_c[i] <- d$temp_c[i] + 273,
    fahrenheit = d$temp_c[i] <- d$temp_c[i] * 1.8 + 32)
  d
}

seen <- c("times", "specimens", "other stock", "other scale")
across <- NULL
for (what in c("none", "hours", "steps", "labels", "stock", "scale", "kelvin", "fahrenheit")) {
  hit <- vapply(seq_len(benches), function(i) {
    d <- bench(sample(c(3, 5, 6), 1L), sample(c("HV", "steep"), 1L), 0.5, "HV")
    if (what == "labels") { # the labels are written on the pieces: names and temperatures change places
      j <- sample(3L, 1L)
      d$temp_c <- TEMPS[replace(1:4, j + 0:1, j + 1:0)][match(d$temp_c, TEMPS)]
      d$specimen <- paste0("piece-", d$temp_c)
    } else if (what != "none") d <- plant(d, what)
    any(check_readings(d)$check %in% seen)
  }, NA)
  across <- rbind(across, data.frame(planted = what, found = mean(hit)))
}
print(across, row.names = FALSE)
