# Simulation-based calibration of fit_posterior() (Talts and others 2018, arXiv:1804.06788): truths are drawn
# from the prior, readings from the truths by code of their own, and the rank of each truth among draws of its
# posterior must be uniform. Package installed:
#   Rscript inst/benchmarks/posterior-sbc.R [SETS] [SEED]
suppressMessages(library(softanneal))
args <- as.numeric(commandArgs(trailingOnly = TRUE))
sets <- if (length(args)) args[1L] else 200
set.seed(if (length(args) > 1L) args[2L] else 1)
DRAWS <- 99
BINS <- 10

prior <- prior_softening(h_worked = c(mean = 160, sd = 8), h_soft = c(mean = 75, sd = 5),
                         recryst_1h_c = c(mean = 325, sd = 12), q_kj_mol = c(median = 140, factor = 1.2),
                         n = c(median = 1.5,
                               factor = 1.25), sd_specimen = c(scale = 2), sd_furnace_c = c(scale = 2),
                         sd_step = c(scale = 2), sd_reading = c(median = 1.5, factor = 1.3))

truth <- function() {
  x <- c(h_worked = rnorm(1, 160, 8), h_soft = rnorm(1, 75, 5), recryst_1h_c = rnorm(1, 325, 12),
         q_kj_mol = rlnorm(1, log(140), log(1.2)), n = rlnorm(1, log(1.5), log(1.25)),
         sd_specimen = abs(rnorm(1, 0, 2)), sd_furnace_c = abs(rnorm(1, 0, 2)), sd_step = abs(rnorm(1, 0, 2)),
         sd_reading = rlnorm(1, log(1.5), log(1.3)))
  ln_k_hour <- log(-log(0.01)) / x[["n"]] - log(60)
  shift <- 1000 / 8.31446261815324 * (1 / (x[["recryst_1h_c"]] + 273.15) - 1 / (330 + 273.15))
  c(x, ln_k_ref = ln_k_hour + x[["q_kj_mol"]] * shift)
}

readings <- function(x) {
  d <- expand.grid(reading = 1:3, time_min = c(0, 4, 10, 25, 60, 150), temp_c = c(300, 325, 350, 375))
  oven <- match(d$temp_c, unique(d$temp_c))
  step <- match(paste(d$temp_c, d$time_min), unique(paste(d$temp_c, d$time_min)))
  temp_k <- d$temp_c + 273.15 + rnorm(4, 0, x[["sd_furnace_c"]])[oven]
  k <- exp(x[["ln_k_ref"]] - x[["q_kj_mol"]] * 1000 / 8.31446261815324 * (1 / temp_k - 1 / 603.15))
  left <- exp(-(k * d$time_min)^x[["n"]])
  d$hardness <- x[["h_soft"]] + (x[["h_worked"]] - x[["h_soft"]]) * left +
    rnorm(4, 0, x[["sd_specimen"]])[oven] + rnorm(24, 0, x[["sd_step"]])[step] + rnorm(nrow(d), 0,
                                                                                       x[["sd_reading"]])
  d$specimen <- paste0("P", oven)
  d$scale <- "HV"
  d
}

ranks <- NULL
divergent <- failed <- 0
seconds <- system.time(for (i in seq_len(sets)) {
  x <- truth()
  post <- tryCatch(suppressWarnings({
    fit_posterior(readings(x), prior = prior, temp_ref_c = 330, chains = 2, n_draws = 495, n_warmup = 300,
                  seed = i)
  }, classes = "softanneal_warning"), softanneal_error = function(e) NULL)
  if (is.null(post)) {
    failed <- failed + 1
    next
  }
  divergent <- divergent + sum(post$moves$divergent)
  names <- setdiff(names(x), "recryst_1h_c")
  thin <- post$draws[seq(1, nrow(post$draws), length.out = DRAWS), names]
  ranks <- rbind(ranks, colSums(sweep(thin, 2L, x[names], `<`)))
})[[3L]]
n <- nrow(ranks)
expected <- n / BINS
out <- t(apply(ranks, 2L, function(r) {
  count <- tabulate(floor(r / (DRAWS + 1) * BINS) + 1L, BINS)
  chi <- sum((count - expected)^2 / expected)
  c(mean_rank = mean(r) / DRAWS, chi_squared = chi, p = pchisq(chi, BINS - 1, lower.tail = FALSE),
    cover_90 = mean(r >= 5 & r <= 94))
}))
print(round(out, 3))
cat(n, "sets,", failed, "without a fit,", divergent, "divergences in", n * 990, "draws,", round(seconds),
    "s\n")
cat("Monte Carlo error (one standard deviation): mean_rank", round(sqrt(1 / 12 / n), 3), ", cover_90",
    round(sqrt(0.09 / n), 3), "; chi-squared of", BINS - 1, "degrees of freedom\n")
