# Coverage of 95 % intervals where pieces, furnaces and steps all scatter, for each kind of standard
# error. Designs: A four temperatures, one specimen each; B two; C three with two specimens each, runs
# named; D eight. Scatter in HV and K. About 0.3 s per set and kind:
#   Rscript inst/benchmarks/coverage-errors.R [sets [cells [kinds]]]
# for example  Rscript inst/benchmarks/coverage-errors.R 200 A:step,A:furnace components,cluster
library(softanneal)

args <- commandArgs(trailingOnly = TRUE)
sets <- if (length(args)) as.integer(args[1L]) else 200L
split_by_comma <- function(x) strsplit(x, ",", fixed = TRUE)[[1L]]
cells <- if (length(args) > 1L) split_by_comma(args[2L]) else {
  c("A:step", "A:piece", "A:furnace", "A:both", "C:both", "B:furnace")
}
kinds <- if (length(args) > 2L) split_by_comma(args[3L]) else {
  c("components", "cluster", "steps", "model")
}

designs <- list(A = list(temp_c = c(290, 310, 330, 350), each = 1L),
                B = list(temp_c = c(335, 350), each = 1L),
                C = list(temp_c = c(290, 320, 350), each = 2L),
                D = list(temp_c = seq(290, 360, 10), each = 1L))
scatters <- list(step = list(sd_step = 1.5), piece = list(sd_piece = 2), furnace = list(u_temp_c = 2),
                 both = list(u_temp_c = 2, sd_piece = 2), furnace1 = list(u_temp_c = 1),
                 furnace4 = list(u_temp_c = 4),
                 insertion = list(u_temp_c = 2, insertion = TRUE))
times <- c(0, 4, 8, 16, 32, 64, 128)
truth <- c(h_worked = 160, h_soft = 78, n = 1.6, q_kj_mol = 140)
rate <- function(temp_c) {
  arrhenius_rate(temp_c, jmak_time(0.5, 1, truth[["n"]]) / 16, 320, truth[["q_kj_mol"]])
}
curve <- function(temp_c, time_min) {
  truth[["h_soft"]] + (truth[["h_worked"]] - truth[["h_soft"]]) *
    (1 - jmak_fraction(time_min, rate(temp_c), truth[["n"]]))
}

draw <- function(design, u_temp_c = 0, sd_piece = 0, sd_step = 0.5, sd_reading = 1.5,
                 insertion = FALSE, n_readings = 5L) {
  specimen <- rep(design$temp_c, each = design$each)
  do.call(rbind, lapply(seq_along(specimen), function(k) {
    off <- rnorm(if (insertion) length(times) else 1L, sd = u_temp_c)
    y <- curve(specimen[k] + off, times) + rnorm(1L, sd = sd_piece) +
      rnorm(length(times), sd = sd_step)
    at <- rep(seq_along(times), each = n_readings)
    data.frame(specimen = paste0("piece-", k), furnace = paste0("run-", k), temp_c = specimen[k],
               time_min = times[at], hardness = y[at] + rnorm(length(at), sd = sd_reading),
               scale = "HV")
  }))
}

quantities <- c(names(truth), "time to 100 HV", "new reading")
to_100 <- jmak_time((160 - 100) / 82, rate(320), truth[["n"]])

one_set <- function(design, scatter, kind) {
  d <- do.call(draw, c(list(design), scatter))
  new <- do.call(draw, c(list(list(temp_c = 320, each = 1L), n_readings = 1L), scatter))
  fit <- suppressWarnings(fit_softening(d, se = kind))
  ci <- confint(fit)[names(truth), ]
  t <- suppressWarnings(time_to(fit, hardness = 100, temp_c = 320))
  p <- predict(fit, data.frame(temp_c = 320, time_min = 16), interval = "prediction")
  y <- new$hardness[new$time_min == 16]
  c(ci[, 1L] <= truth & truth <= ci[, 2L], t$conf.low <= to_100 & to_100 <= t$conf.high,
    p[, "lwr"] <= y & y <= p[, "upr"])
}

cat("Coverage in % of 95 % intervals over", sets, "data sets (Monte Carlo standard error about",
    round(100 * sqrt(0.95 * 0.05 / sets), 1), "%)\n")
for (cell in cells) {
  part <- strsplit(cell, ":", fixed = TRUE)[[1L]]
  cat("\nDesign", part[1L], "scatter", part[2L], "\n")
  out <- t(vapply(kinds, function(kind) {
    set.seed(20, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
    hits <- vapply(seq_len(sets), function(s) {
      one_set(designs[[part[1L]]], scatters[[part[2L]]], kind)
    }, logical(length(quantities)))
    round(100 * rowMeans(hits, na.rm = TRUE))
  }, numeric(length(quantities))))
  colnames(out) <- quantities
  print(out)
}
