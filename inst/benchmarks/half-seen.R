# Half-seen curves: does a fit call a parameter determined that is open? Simulated sets in which softening
# has hardly begun (one piece at each of three or two temperatures, five readings); every parameter is
# fixed at the edges of its search and the others fitted from many random starts by the same solver. Where
# the sum of squares stays below that of the 95 % interval, that side is open. Prints for each design how
# often, and how many of these the fit calls determined; from the top of the sources:
#   Rscript inst/benchmarks/half-seen.R [sets [starts [errors]]]
library(softanneal)

args <- commandArgs(trailingOnly = TRUE)
sets <- if (length(args)) as.integer(args[1L]) else 100L
starts <- if (length(args) > 1L) as.integer(args[2L]) else 60L
se <- if (length(args) > 2L) args[3L] else "model"
source(file.path("inst", "benchmarks", "random-starts.R"))

DESIGNS <- list(
  "270, 290, 310 degrees to 32 min" = list(c(270, 290, 310), c(0, 4, 8, 16, 32), 1.6, 12),
  "280, 300 degrees to 32 min" = list(c(280, 300), c(0, 4, 8, 16, 32), 1.6, 12),
  "one step of the hottest softened" = list(c(250, 270, 290), c(0, 4, 8, 16, 32), 2.5, 9))
EDGES <- list(h_soft = 0, n = c(0.1, 10), q_kj_mol = c(0, 2000))

half_seen <- function(design) {
  d <- expand.grid(reading = 1:5, time_min = design[[2L]], temp_c = design[[1L]])
  rate <- arrhenius_rate(d$temp_c, jmak_time(0.5, 1, design[[3L]]) / design[[4L]], 330, 140)
  step <- interaction(d$time_min, d$temp_c)
  d$hardness <- 160 - 80 * jmak_fraction(d$time_min, rate, design[[3L]]) +
    rnorm(nlevels(step), sd = 0.5)[step] + rnorm(nrow(d), sd = 1.5)
  d$specimen <- paste(d$temp_c)
  d$scale <- "HV"
  d
}

random_start <- function() {
  c(runif(1, 140, 180), runif(1, 0, 150), -runif(1, 0, 9), exp(runif(1, log(0.15), log(8))),
    runif(1, 0, 800))
}

for (name in names(DESIGNS)) {
  set.seed(41, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  d <- do.call(rbind, lapply(seq_len(sets), function(i) cbind(set = i, half_seen(DESIGNS[[name]]))))
  fits <- lapply(split(d, d$set), function(x) quiet(fit_softening(x, se = se)))
  states <- vapply(fits, function(f) f$states, character(5L))
  each <- quiet(fit_each(d, "set", se = "model"))
  free <- lowest_sums(d, each, starts, random_start)
  df <- nrow(d) / sets - 5
  for (term in names(EDGES)) {
    for (value in EDGES[[term]]) {
      sums <- lowest_sums(d, each, starts, random_start, term, value)
      open <- (sums - free) / (free / df) < qt(0.975, df)^2
      cat(sprintf("%-34s %-8s at %4g: open in %3d of %d sets, of these called determined: %d\n", name,
                  term, value, sum(open), sets, sum(open & states[term, ] == "determined")))
    }
  }
}
