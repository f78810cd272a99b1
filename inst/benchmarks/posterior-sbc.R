# Simulation-based calibration of fit_posterior() (Talts and others 2018, arXiv:1804.06788): truths are drawn
# from the prior, readings from the truths by code of their own, and the rank of each truth among draws of its
# posterior must be uniform. One table a model, the first with two operators, so that each error term has its
# rank. Package installed:
#   Rscript inst/benchmarks/posterior-sbc.R [SETS] [SEED] [MODEL ...]
suppressMessages(library(softanneal))
args <- commandArgs(trailingOnly = TRUE)
sets <- if (length(args)) as.numeric(args[1L]) else 100
set.seed(if (length(args) > 1L) as.numeric(args[2L]) else 1)
models <- c("jmak", "jmak_incubation", "recovery_jmak", "recovery_jmak_incubation", "hardening_jmak",
            "hardening_recovery_jmak", "austin_rickett")
if (length(args) > 2L) models <- args[-(1:2)]
DRAWS <- 99
BINS <- 10
REF_C <- 330
GAS <- 8.31446261815324

# What is believed: named as in prior_softening(); the rates hold at REF_C.
BELIEFS <- list(
  h_worked = c(mean = 160, sd = 8), h_soft = c(mean = 75, sd = 5),
  ln_k_ref = c(mean = -2, sd = 0.5, temp_c = REF_C),
  q_kj_mol = c(median = 140, factor = 1.2), n = c(median = 1.5, factor = 1.25),
  theta0 = c(median = 0.3, factor = 1.6),
  dh_rec = c(median = 5, factor = 1.4), ln_k_rec = c(mean = -1, sd = 0.7),
  q_rec_kj_mol = c(median = 120, factor = 1.2),
  dh_hard = c(median = 9, factor = 1.4), ln_k_hard = c(mean = 0, sd = 0.7),
  q_hard_kj_mol = c(median = 110, factor = 1.2))
ERRORS <- list(sd_specimen = c(scale = 2), sd_furnace_c = c(scale = 2), sd_step = c(scale = 2),
               sd_operator = c(scale = 2), sd_reading = c(median = 1.5, factor = 1.3))

truth_of <- function(b) {
  if ("scale" %in% names(b)) abs(rnorm(1, 0, b[["scale"]])) else if ("factor" %in% names(b)) {
    rlnorm(1, log(b[["median"]]), log(b[["factor"]]))
  } else rnorm(1, b[["mean"]], b[["sd"]])
}

readings <- function(x, model, operators) {
  d <- expand.grid(reading = 1:4, time_min = c(0, 4, 10, 25, 60, 150), temp_c = c(300, 325, 350, 375))
  oven <- match(d$temp_c, unique(d$temp_c))
  step <- match(paste(d$temp_c, d$time_min), unique(paste(d$temp_c, d$time_min)))
  temp_k <- d$temp_c + 273.15 + rnorm(4, 0, x[["sd_furnace_c"]])[oven]
  theta <- function(ln_k, q) d$time_min * exp(ln_k - q * 1000 / GAS * (1 / temp_k - 1 / (REF_C + 273.15)))
  delay <- if ("theta0" %in% names(x)) x[["theta0"]] else 0
  y <- pmax(theta(x[["ln_k_ref"]], x[["q_kj_mol"]]) - delay, 0)^x[["n"]]
  left <- if (model == "austin_rickett") 1 / (1 + y) else exp(-y)
  worked <- x[["h_worked"]]
  if ("dh_rec" %in% names(x)) {
    worked <- worked - x[["dh_rec"]] * log1p(theta(x[["ln_k_rec"]], x[["q_rec_kj_mol"]]))
  }
  if ("dh_hard" %in% names(x)) {
    worked <- worked - x[["dh_hard"]] * expm1(-theta(x[["ln_k_hard"]], x[["q_hard_kj_mol"]]))
  }
  worked <- pmax(worked, x[["h_soft"]]) # recovery never softens below the recrystallised metal
  d$hardness <- x[["h_soft"]] + (worked - x[["h_soft"]]) * left +
    rnorm(4, 0, x[["sd_specimen"]])[oven] + rnorm(24, 0, x[["sd_step"]])[step] +
    rnorm(nrow(d), 0, x[["sd_reading"]])
  if (operators) {
    d$operator <- c("A", "B")[1 + d$reading %% 2]
    d$hardness <- d$hardness + rnorm(2, 0, x[["sd_operator"]])[1 + d$reading %% 2]
  }
  d$specimen <- paste0("P", oven)
  d$scale <- "HV"
  d
}

one_model <- function(model, operators) {
  terms <- names(coef(suppressWarnings(fit_softening(example_data("bellbrass_readings"), model))))
  errors <- if (operators) ERRORS else ERRORS[names(ERRORS) != "sd_operator"]
  prior <- do.call(prior_softening, c(BELIEFS[terms], errors))
  ranks <- NULL
  divergent <- failed <- 0
  seconds <- system.time(for (i in seq_len(sets)) {
    x <- vapply(c(BELIEFS[terms], errors), truth_of, 0)
    post <- tryCatch(suppressWarnings({
      fit_posterior(readings(x, model, operators), model, prior = prior, temp_ref_c = REF_C, chains = 2,
                    n_draws = 495, n_warmup = 300, seed = i)
    }, classes = "softanneal_warning"), softanneal_error = function(e) {
      message(conditionMessage(e))
      NULL
    })
    if (is.null(post)) {
      failed <- failed + 1
      next
    }
    divergent <- divergent + sum(post$moves$divergent)
    thin <- post$draws[seq(1, nrow(post$draws), length.out = DRAWS), names(x)]
    ranks <- rbind(ranks, colSums(sweep(thin, 2L, x, `<`)))
  })[[3L]]
  n <- nrow(ranks)
  expected <- n / BINS
  out <- t(apply(ranks, 2L, function(r) {
    count <- tabulate(floor(r / (DRAWS + 1) * BINS) + 1L, BINS)
    chi <- sum((count - expected)^2 / expected)
    c(mean_rank = mean(r) / DRAWS, chi_squared = chi, p = pchisq(chi, BINS - 1, lower.tail = FALSE),
      cover_90 = mean(r >= 5 & r <= 94))
  }))
  cat("\n", model, if (operators) ", two operators", "\n", sep = "")
  print(round(out, 3))
  cat(n, "sets,", failed, "without a fit,", divergent, "divergences in", n * 990, "draws,", round(seconds),
      "s\n")
  cat("Monte Carlo error (one standard deviation): mean_rank", round(sqrt(1 / 12 / n), 3), ", cover_90",
      round(sqrt(0.09 / n), 3), "; chi-squared of", BINS - 1, "degrees of freedom; least p of",
      nrow(out), "by Bonferroni", round(min(1, min(out[, "p"]) * nrow(out)), 3), "\n")
}

for (model in models) one_model(model, operators = model == "jmak")
