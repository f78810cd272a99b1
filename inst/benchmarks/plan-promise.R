# Are the standard errors that a plan promises those of simulated runs? The bench of the plan is drawn by its
# formula with each scatter of the error description (one error a piece, a furnace temperature for all pieces
# at one setting, one error a step and a reading), fitted as any user would, and the standard deviations of
# the estimates stand over the errors promised. Monte Carlo error of a ratio: 1 / sqrt(2 runs). From the top:
#   Rscript inst/benchmarks/plan-promise.R [runs [pieces at a temperature]]
library(softanneal)

args <- commandArgs(trailingOnly = TRUE)
runs <- if (length(args)) as.integer(args[1L]) else 200L
pieces <- if (length(args) > 1L) as.integer(args[2L]) else 1L
scatters <- list("step 1.5 HV" = list(sd_step = 1.5, sd_piece = 0, u_temp_c = 0),
                 "piece 2 HV" = list(sd_step = 0.5, sd_piece = 2, u_temp_c = 0),
                 "furnace 2 K" = list(sd_step = 0.5, sd_piece = 0, u_temp_c = 2),
                 "furnace 2 K, piece 2 HV" = list(sd_step = 0.5, sd_piece = 2, u_temp_c = 2))
temp_c <- c(290, 310, 330, 350)

for (name in names(scatters)) {
  sd <- scatters[[name]]
  g <- do.call(plan_guess, c(list(recryst_1h_c = 330, draws = 8, sd_reading = 1.5), sd))
  plan <- suppressWarnings(plan_anneal(temp_c, c(4, 8, 16, 32, 64), g, n_readings = 6, furnaces = 2,
                                       specimens_per_temp = pieces, session_min = 1400))
  s <- plan$steps
  piece <- match(s$specimen, unique(s$specimen))
  setting <- match(s$temp_c, unique(s$temp_c))
  set.seed(71, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  found <- vapply(seq_len(runs), function(k) {
    off <- rnorm(max(setting), sd = sd$u_temp_c)[setting]
    h <- g$par[["h_soft"]] + (g$par[["h_worked"]] - g$par[["h_soft"]]) *
      exp(-(arrhenius_rate(s$temp_c + off, exp(g$par[["ln_k_ref"]]), g$temp_ref_c, g$par[["q_kj_mol"]]) *
              s$time_min)^g$par[["n"]]) + rnorm(max(piece), sd = sd$sd_piece)[piece] +
      rnorm(nrow(s), sd = sd$sd_step)
    rows <- rep(seq_len(nrow(s)), each = 6)
    d <- data.frame(specimen = s$specimen, furnace = s$furnace, temp_c = s$temp_c, time_min = s$time_min,
                    scale = "HV")[rows, ]
    d$hardness <- h[rows] + rnorm(length(rows), sd = 1.5)
    fit <- suppressWarnings(fit_softening(d, temp_ref_c = g$temp_ref_c))
    c(fit$par, log(suppressWarnings(time_to(fit, temp_c = temp_c))$time_min))
  }, numeric(5L + length(temp_c)))
  lost <- colSums(is.na(found)) > 0
  promised <- tidy(plan)
  cat("\n", name, ": ", runs, " runs, ", sum(lost), " without all estimates\n", sep = "")
  print(data.frame(term = promised$term, promised = signif(promised$std.error, 3),
                   ratio = round(apply(found[, !lost], 1L, sd) / promised$std.error, 2),
                   spread = round(apply(found[, !lost], 1L, \(x) IQR(x) / 1.349) / promised$std.error, 2)),
        row.names = FALSE)
}
