# Coverage of the 95 % intervals in the design of the scenario: four temperatures, seven times,
# six readings a step, with scatter between steps and between readings. Also what happens when
# the readings of a step are taken as independent. About a minute:
#   Rscript inst/benchmarks/coverage.R [number of data sets]
library(softanneal)

args <- commandArgs(trailingOnly = TRUE)
sets <- if (length(args)) as.integer(args[1L]) else 1000L
truth <- c(h_worked = 160, h_soft = 78, n = 1.6, q_kj_mol = 140)
plan <- expand.grid(reading = 1:6, time_min = c(0, 4, 8, 16, 32, 64, 128),
                    temp_c = c(290, 330, 370, 410))
k <- arrhenius_rate(plan$temp_c, jmak_time(0.5, 1, truth[["n"]]) / 12, 330, truth[["q_kj_mol"]])
mean <- truth[["h_soft"]] + (truth[["h_worked"]] - truth[["h_soft"]]) *
  (1 - jmak_fraction(plan$time_min, k, truth[["n"]]))
step <- interaction(plan$time_min, plan$temp_c, drop = TRUE)
plan$specimen <- paste0("piece-", plan$temp_c)
plan$scale <- "HV"
ask <- data.frame(temp_c = 330, time_min = 20)
curve <- truth[["h_soft"]] + (truth[["h_worked"]] - truth[["h_soft"]]) *
  (1 - jmak_fraction(20, jmak_time(0.5, 1, truth[["n"]]) / 12, truth[["n"]]))

study <- function(sd_step, sd_reading) {
  kinds <- c("cluster", "steps", "model")
  hits <- array(NA, c(sets, length(kinds), 6L),
                dimnames = list(NULL, kinds, c(names(truth), "t50 at 330", "curve at 20 min")))
  for (s in seq_len(sets)) {
    plan$hardness <- mean + rnorm(nlevels(step), sd = sd_step)[step] +
      rnorm(nrow(plan), sd = sd_reading)
    for (kind in kinds) {
      fit <- fit_softening(plan, se = kind)
      ci <- confint(fit)[names(truth), ]
      t50 <- time_to(fit, temp_c = 330)
      p <- predict(fit, ask, interval = "confidence")
      hits[s, kind, ] <- c(ci[, 1L] <= truth & truth <= ci[, 2L],
                           t50$conf.low <= 12 & 12 <= t50$conf.high,
                           p[, "lwr"] <= curve & curve <= p[, "upr"])
    }
  }
  round(100 * t(apply(hits, 2:3, base::mean)), 1)
}

set.seed(20, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
cat("Coverage in % of 95 % intervals over", sets, "data sets (Monte Carlo standard error about",
    round(100 * sqrt(0.95 * 0.05 / sets), 1), "%)\n\n")
cat("Scatter between steps 1.5 HV, between readings 1.5 HV:\n")
print(study(1.5, 1.5))
cat("\nNo scatter between steps, readings 1.5 HV:\n")
print(study(0, 1.5))
