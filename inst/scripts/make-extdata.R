# Rebuilds the example data in inst/extdata, bit for bit. Run from the top of the package:
#   Rscript inst/scripts/make-extdata.R
# The workshop and its readings are invented. Their true values stand here and on the help
# page of the data; the published set of tungsten is not made here but carried over as it is.

# True values: hardness levels in HV, rate such that half of the softening at 330 degrees
# Celsius takes 12 min, exponent 1.6, activation energy 140 kJ/mol. Scatter: 1.5 HV between
# heat treatments, 1.5 HV between readings of one treatment; the dial is read to 0.5.
truth <- list(h_worked = 160, h_soft = 78, n = 1.6, q_kj_mol = 140, temp_c = 330, half_min = 12,
              sd_step = 1.5, sd_reading = 1.5)

pkgload::load_all(".", quiet = TRUE)
set.seed(70302, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
plan <- expand.grid(reading = 1:6, time_min = c(0, 4, 8, 16, 32, 64, 128),
                    temp_c = c(290, 330, 370, 410))
piece <- c("290" = "bell-A", "330" = "bell-B", "370" = "bell-C", "410" = "bell-D")
plan$specimen <- unname(piece[as.character(plan$temp_c)])
k <- arrhenius_rate(plan$temp_c, jmak_time(0.5, 1, truth$n) / truth$half_min, truth$temp_c,
                    truth$q_kj_mol)
fraction <- jmak_fraction(plan$time_min, k, truth$n)
step <- interaction(plan$specimen, plan$time_min, drop = TRUE)
hv <- truth$h_soft + (truth$h_worked - truth$h_soft) * (1 - fraction) +
  rnorm(nlevels(step), sd = truth$sd_step)[step] + rnorm(nrow(plan), sd = truth$sd_reading)
# the first three readings of a step on the HRF scale, the others on HR30T
plan$scale <- ifelse(plan$reading <= 3, "HRF", "HR30T")
plan$hardness <- round(2 * convert_hardness(hv, "HV", plan$scale, "brass")) / 2
plan$step <- match(plan$time_min, unique(plan$time_min)) - 1L
columns <- c("specimen", "temp_c", "step", "time_min", "reading", "hardness", "scale")
utils::write.csv(plan[columns], "inst/extdata/bellbrass_readings.csv", row.names = FALSE,
                 quote = FALSE)
