# How often does compare_models() prefer a richer model where the plain one is true? Readings of a plain
# JMAK curve with a furnace error of each piece of 2 K (and without), and the share of sets in which a model
# with more parameters lies below the plain one by more than 4 in AICc; and how often anova() of the plain fit
# and that with recovery, or with n held at its true value, is below 0.05. From the top of the sources:
#   Rscript inst/benchmarks/compare-models.R [sets]
library(softanneal)

args <- commandArgs(trailingOnly = TRUE)
sets <- if (length(args)) as.integer(args[1L]) else 100L
temp_c <- c(290, 310, 330, 350)
time_min <- c(0, 4, 8, 16, 32, 64, 128)

for (furnace in c(2, 0)) {
  set.seed(31, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  lower <- vapply(seq_len(sets), function(k) {
    d <- expand.grid(reading = 1:5, time_min = time_min, temp_c = temp_c)
    step <- interaction(d$time_min, d$temp_c)
    true_c <- d$temp_c + rnorm(length(temp_c), sd = furnace)[match(d$temp_c, temp_c)]
    rate <- arrhenius_rate(true_c, jmak_time(0.5, 1, 1.6) / 16, 320, 140)
    d$hardness <- 160 - 82 * jmak_fraction(d$time_min, rate, 1.6) + rnorm(nlevels(step), sd = 0.5)[step] +
      rnorm(nrow(d), sd = 1.5)
    d$specimen <- paste0("piece-", d$temp_c)
    d$scale <- "HV"
    m <- suppressWarnings(suppressMessages(compare_models(d, cross_validate = FALSE)))
    plain <- m$AICc[m$model == "jmak"]
    richer <- m$parameters > m$parameters[m$model == "jmak"]
    quiet <- function(...) suppressWarnings(suppressMessages(fit_softening(d, ...)))
    fit <- quiet()
    c(plain - min(m$AICc[richer], na.rm = TRUE), anova(fit, quiet("recovery_jmak"))[2L, "Pr(>F)"],
      anova(quiet(fixed = c(n = 1.6)), fit)[2L, "Pr(>F)"])
  }, numeric(3L))
  cat("furnace ", furnace, " K: a richer model preferred by AICc > 4 in ", sum(lower[1L, ] > 4), " of ",
      sets, " sets, > 2 in ", sum(lower[1L, ] > 2), "; anova() below 0.05 for recovery in ",
      sum(lower[2L, ] < 0.05), ", for the true n in ", sum(lower[3L, ] < 0.05), "\n", sep = "")
}
