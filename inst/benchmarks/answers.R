# Coverage of the 95 % intervals of answers in the commonest class design: two halves of a strip, at
# 350 and 450 deg C, hardness after 0, 10, 20, 40 and 80 min, five readings each. The hotter half is
# often finished before its first reading. Truth drawn anew for each set: Q 120 to 190 kJ/mol, half
# softening at 350 deg C after 15 to 40 min, n 1.4, 160 to 78 HV. Step sd 1 HV, reading sd 1.5 HV.
#   Rscript inst/benchmarks/answers.R [number of data sets] [piece sd, HV] [furnace sd, K]
library(softanneal)

args <- as.double(commandArgs(trailingOnly = TRUE))
given <- function(k, default) if (length(args) >= k) args[k] else default
sets <- given(1L, 200)
sd_piece <- given(2L, 0)
sd_furnace <- given(3L, 0)
worked <- 160
soft <- 78
n <- 1.4
quiet <- function(x) suppressWarnings(x, classes = c(
  "softanneal_warning_fit", "softanneal_warning_outside", "softanneal_warning_extrapolation"))

one_set <- function() {
  q <- runif(1, 120, 190)
  half_min <- runif(1, 15, 40)
  rate <- function(temp_c) arrhenius_rate(temp_c, jmak_time(0.5, 1, n) / half_min, 350, q)
  hardness <- function(temp_c, time_min) {
    soft + (worked - soft) * (1 - jmak_fraction(time_min, rate(temp_c), n))
  }
  time <- function(temp_c, fraction) jmak_time(fraction, rate(temp_c), n)
  temperature <- function(time_min, fraction) {
    uniroot(function(t) log(time(t, fraction) / time_min), c(50, 900), tol = 1e-9)$root
  }
  d <- expand.grid(reading = 1:5, time_min = c(0, 10, 20, 40, 80), temp_c = c(350, 450))
  step <- interaction(d$time_min, d$temp_c, drop = TRUE)
  half <- factor(d$temp_c)
  true_c <- d$temp_c + rnorm(2, sd = sd_furnace)[half]
  d$hardness <- hardness(true_c, d$time_min) + rnorm(2, sd = sd_piece)[half] +
    rnorm(nlevels(step), sd = 1)[step] + rnorm(nrow(d), sd = 1.5)
  d$specimen <- paste0("half-", d$temp_c)
  d$scale <- "HV"
  fit <- quiet(fit_softening(d))
  share <- function(h) (worked - h) / (worked - soft)
  ends <- function(x) c(x$conf.low, x$conf.high)
  places <- data.frame(temp_c = c(350, 400, 450, 450), time_min = c(25, 8, 5, 15))
  new <- hardness(places$temp_c, places$time_min) + rnorm(4, sd = 1) + rnorm(4, sd = 1.5)
  band <- quiet(predict(fit, places, interval = "confidence"))
  reading <- quiet(predict(fit, places, interval = "prediction"))
  window <- quiet(process_window(fit, c(90, 120), temp_c = c(350, 375, 400, 425),
                                 time_min = c(5, 10, 20, 40)))
  truth <- hardness(window$temp_c, window$time_min)
  sd <- sqrt(1 + 1.5^2)
  chance <- pnorm(120, truth, sd) - pnorm(90, truth, sd)
  limits <- confint(fit)
  par <- c(h_worked = worked, h_soft = soft, n = n, q_kj_mol = q)
  out <- rbind(
    "time to 100 HV at 400 deg C" = c(time(400, share(100)),
                                      ends(quiet(time_to(fit, hardness = 100, temp_c = 400)))),
    "time to half softening, 350" = c(half_min, ends(quiet(time_to(fit, temp_c = 350)))),
    "time to half softening, 450" = c(time(450, 0.5), ends(quiet(time_to(fit, temp_c = 450)))),
    "temperature for 100 HV in 30 min" = c(temperature(30, share(100)),
                                           ends(quiet(temp_for(fit, 30, hardness = 100)))),
    "recrystallisation temperature" = c(temperature(60, 0.5),
                                        ends(quiet(recryst_temperature(fit, fraction = 0.5)))))
  curve <- cbind(hardness(places$temp_c, places$time_min), band[, 2:3])
  rownames(curve) <- paste("curve at", places$temp_c, "deg C,", places$time_min, "min")
  value <- cbind(new, reading[, 2:3])
  rownames(value) <- paste("new reading at", places$temp_c, "deg C,", places$time_min, "min")
  p <- cbind(par, limits[names(par), ])
  out <- rbind(out, curve, value, p)
  list(hit = out[, 2L] <= out[, 1L] & out[, 1L] <= out[, 3L],
       open = !is.finite(out[, 2L]) | !is.finite(out[, 3L]) | out[, 2L] == 0,
       claimed = sum(window$inside), false = sum(window$inside & chance < 0.75),
       state = fit$states[["q_kj_mol"]])
}

set.seed(14, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
done <- lapply(seq_len(sets), function(k) one_set())
hit <- vapply(done, `[[`, done[[1L]]$hit, "hit")
open <- vapply(done, `[[`, done[[1L]]$open, "open")
cat("Coverage in % of 95 % intervals over", sets, "sets (Monte Carlo standard error",
    round(100 * sqrt(0.95 * 0.05 / sets), 1), "%), and share that is open, in %\n")
print(cbind(coverage = round(100 * rowMeans(hit, na.rm = TRUE), 1),
            missing = rowSums(is.na(hit)), open = round(100 * rowMeans(open, na.rm = TRUE), 1)))
cat("States of Q:\n")
print(table(vapply(done, `[[`, "", "state")))
claimed <- sum(vapply(done, `[[`, 0L, "claimed"))
cat("Window of 90 to 120 HV, probability 0.9: ", claimed, " points called inside, ",
    sum(vapply(done, `[[`, 0L, "false")), " of them with a true probability below 0.75\n", sep = "")
