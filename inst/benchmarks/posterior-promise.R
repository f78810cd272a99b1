# What improve_plan() promises from a posterior, and what the run then gives: the expected width of the
# interval of Q as a share of that before, against posteriors of the old readings with new ones, drawn from
# truths and errors of draws of the first posterior by code of its own. Package installed:
#   Rscript inst/benchmarks/posterior-promise.R [BENCHES] [RUNS] [SEED]
suppressMessages(library(softanneal))
args <- as.numeric(commandArgs(trailingOnly = TRUE))
benches <- if (length(args)) args[1L] else 4
runs <- if (length(args) > 1L) args[2L] else 25
seed <- if (length(args) > 2L) args[3L] else 1
set.seed(seed)
quietly <- function(code) suppressWarnings(code, classes = "softanneal_warning")

new_readings <- function(x, steps, n_readings, ref_c) {
  piece <- match(steps$specimen, unique(steps$specimen))
  oven <- match(steps$temp_c, unique(steps$temp_c))
  temp_k <- steps$temp_c + 273.15 + rnorm(max(oven), 0, x[["sd_furnace_c"]])[oven]
  ln_k <- x[["ln_k_ref"]] - x[["q_kj_mol"]] * 1000 / 8.31446261815324 * (1 / temp_k - 1 / (ref_c + 273.15))
  left <- exp(-(steps$time_min * exp(ln_k))^x[["n"]])
  middle <- x[["h_soft"]] + (x[["h_worked"]] - x[["h_soft"]]) * left +
    rnorm(max(piece), 0, x[["sd_specimen"]])[piece] + rnorm(nrow(steps), 0, x[["sd_step"]])
  row <- rep(seq_len(nrow(steps)), each = n_readings)
  data.frame(specimen = paste0("new ", piece[row]), furnace = paste0("new ", oven[row]),
             temp_c = steps$temp_c[row], time_min = steps$time_min[row],
             hardness = middle[row] + rnorm(length(row), 0, x[["sd_reading"]]), scale = "HV")
}

designs <- list(c(290, 330, 370, 410), c(350, 410), c(310, 340, 370))
for (b in seq_len(benches)) {
  at <- designs[[1L + (b - 1L) %% length(designs)]]
  old <- as.data.frame(simulate_readings(temp_c = at, scale = "HV", resolution = 0.1, seed = 1000 * seed + b))
  old <- data.frame(specimen = paste0("old ", old$specimen), furnace = paste0("old ", old$temp_c),
                    old[c("temp_c", "time_min", "hardness", "scale")])
  fit <- quietly(fit_softening(old))
  post <- quietly(fit_posterior(fit, prior = prior_brass(), seed = b))
  guess <- plan_guess(fit = post, draws = 64)
  better <- quietly(improve_plan(quietly(plan_anneal(range(at), c(4, 16, 64), guess)), "q", starts = 2))
  steps <- better$steps[!is.na(better$steps$read_min), ]
  before <- sd(post$draws[, "q_kj_mol"])
  got <- vapply(seq_len(runs), function(i) {
    x <- post$draws[sample.int(nrow(post$draws), 1L), ]
    both <- rbind(old, new_readings(x, steps, better$settings$n_readings, fit$temp_ref_c))
    after <- tryCatch(quietly(fit_posterior(both, prior = prior_brass(), seed = i, chains = 2,
                                            n_draws = 500)), softanneal_error = function(e) NULL)
    if (is.null(after)) NA else sd(after$draws[, "q_kj_mol"]) / before
  }, 0)
  cat(sprintf("%d temperatures: promised %.2f, got %.2f (+- %.2f; %d runs, %d without a fit)\n", length(at),
              better$improvement$width, exp(mean(log(got), na.rm = TRUE)),
              sd(log(got), na.rm = TRUE) / sqrt(sum(!is.na(got))) * exp(mean(log(got), na.rm = TRUE)), runs,
              sum(is.na(got))))
}
