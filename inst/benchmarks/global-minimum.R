# Does the fit find the lowest minimum? Hard sets (two temperatures, 3 to 5 times, 3 HV) of each model
# against the best of many random starts, by the same compiled solver. Prints for each model the share of
# sets where the random starts find a sum of squares lower by more than 0.1 %, and the worst of them:
#   Rscript inst/benchmarks/global-minimum.R [sets [starts [models]]]
library(softanneal)

args <- commandArgs(trailingOnly = TRUE)
sets <- if (length(args)) as.integer(args[1L]) else 100L
starts <- if (length(args) > 1L) as.integer(args[2L]) else 60L
models <- if (length(args) > 2L) strsplit(args[3L], ",", fixed = TRUE)[[1L]] else softanneal:::model_names()
source(file.path("inst", "benchmarks", "random-starts.R"))

truth_of <- function(model) {
  all <- c(h_worked = 160, h_soft = 80, ln_k_ref = -runif(1, 2, 3.5), n = runif(1, 0.8, 3),
           q_kj_mol = runif(1, 100, 220), theta0 = runif(1, 0, 0.4), dh_rec = runif(1, 3, 20),
           ln_k_rec = -runif(1, 0.5, 3), q_rec_kj_mol = runif(1, 80, 150), dh_hard = runif(1, 3, 15),
           ln_k_hard = -runif(1, 0.5, 3), q_hard_kj_mol = runif(1, 50, 120))
  all[inside$model_terms(model)]
}

hard_set <- function(model) {
  temps <- sort(runif(2L, 290, 410))
  if (diff(temps) < 15) temps[2L] <- temps[2L] + 15
  least <- max(4L, (length(inside$model_terms(model)) + 2L) %/% 2L) # more conditions than parameters
  times <- c(0, 4, 8, 16, 32, 64)[seq_len(least - 1L + sample(7L - least, 1L))]
  d <- expand.grid(reading = 1:2, time_min = times, temp_c = temps)
  truth <- list(kind = inside$model_code(model), par = truth_of(model), temp_ref_c = 340)
  d$hardness <- inside$true_hardness(truth, d$temp_c, d$time_min)[, 1L] + rnorm(nrow(d), sd = 3)
  d$specimen <- paste(round(d$temp_c))
  d$scale <- "HV"
  d
}

random_start <- function(model) {
  all <- c(h_worked = runif(1, 140, 180), h_soft = runif(1, 50, 110), ln_k_ref = -runif(1, 0.5, 5),
           n = exp(runif(1, log(0.3), log(6))), q_kj_mol = runif(1, 20, 500),
           theta0 = if (runif(1) < 0.5) 0 else runif(1, 0, 2), dh_rec = runif(1, 0, 40),
           ln_k_rec = -runif(1, -3, 8), q_rec_kj_mol = runif(1, 0, 400), dh_hard = runif(1, 0, 30),
           ln_k_hard = -runif(1, -3, 6), q_hard_kj_mol = runif(1, 0, 300))
  all[inside$model_terms(model)]
}

for (model in models) {
  set.seed(40, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  d <- do.call(rbind, lapply(seq_len(sets), function(i) cbind(set = i, hard_set(model))))
  seconds <- system.time(one <- vapply(seq_len(sets), function(i) {
    deviance(quiet(fit_softening(d[d$set == i, ], model, se = "model")))
  }, 0))[["user.self"]]
  each <- quiet(fit_each(d, "set", model))
  of_each <- each$sums[1L, ] + each$sums[2L, ]
  best <- lowest_sums(d, each, starts, function() random_start(model))
  excess <- function(x) 100 * (x / best - 1)
  cat(sprintf("%-26s", model), sets, "sets, missed by more than 0.1 %: single fit",
      sum(excess(one) > 0.1), " fit_each", sum(excess(of_each) > 0.1), "; worst excess",
      signif(max(excess(one)), 3), "%; differ", sum(abs(one / of_each - 1) > 1e-3), ";",
      round(1000 * seconds / sets, 1), "ms a fit\n")
}
