# How often the 95 % intervals of fit_recrystallisation() hold the true values, by simulated
# counts of 60 points on each of 24 specimens. The figures stand on its help page. Run in the
# package folder: Rscript inst/scripts/dev/coverage-fractions.R [number of simulations]

times <- as.integer(c(commandArgs(TRUE), 300)[1])
pkgload::load_all(".", quiet = TRUE)
set.seed(1, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
truth <- c(n = 2.2, q_kj_mol = 165)
d <- expand.grid(time_min = c(3, 6, 12, 24, 48, 96), temp_c = c(310, 325, 340, 355))
x <- jmak_fraction(d$time_min, arrhenius_rate(d$temp_c, 0.05, 340, truth[["q_kj_mol"]]),
                   truth[["n"]])
routes <- list(proportional = list(variance = "proportional"),
               constant = list(variance = "constant"),
               double_log = list(method = "double_log"))
one <- function(i) {
  d$fraction <- stats::rbinom(nrow(d), 60, x) / 60
  vapply(routes, function(route) {
    fit <- suppressWarnings(do.call(fit_recrystallisation, c(list(d), route)))
    limits <- stats::confint(fit)[names(truth), ]
    c(stats::coef(fit)[names(truth)], held = limits[, 1] <= truth & truth <= limits[, 2])
  }, numeric(4))
}
all <- simplify2array(lapply(seq_len(times), one))
print(round(apply(all, 1:2, mean), 3))
print(round(apply(all[1:2, , ], 1:2, stats::sd), 3))
