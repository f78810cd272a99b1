# One global fit of 60 readings and 5 parameters against minpack.lm::nlsLM on the same data,
# from the same start, to the same minimum; as ratios within one run. Install the package
# first (not load_all(), which builds without optimisation), then:
#   Rscript inst/benchmarks/fit.R
library(softanneal)
stopifnot(requireNamespace("minpack.lm", quietly = TRUE))

set.seed(1)
d <- expand.grid(reading = 1:3, time_min = c(0, 4, 8, 16, 32), temp_c = c(290, 330, 370, 410))
k <- arrhenius_rate(d$temp_c, jmak_time(0.5, 1, 1.6) / 12, 330, 140)
d$hardness <- 80 + 80 * (1 - jmak_fraction(d$time_min, k, 1.6)) + rnorm(nrow(d), sd = 1.5)
d$scale <- "HV"
stopifnot(nrow(d) == 60L)

start <- c(h_worked = 165, h_soft = 75, ln_k_ref = -2, n = 1.3, q_kj_mol = 120)
fit <- fit_softening(d, start = start)
d$e <- softanneal:::inverse_temperature(d$temp_c, fit$temp_ref_c)
formula <- hardness ~ hs + (hw - hs) * exp(-(exp(lk + q * e) * time_min)^n)
short <- stats::setNames(as.list(start), c("hw", "hs", "lk", "n", "q"))
reference <- minpack.lm::nlsLM(formula, d, start = short)
stopifnot(all.equal(unname(coef(reference)), unname(coef(fit)), tolerance = 1e-6))

control <- softanneal:::control_vector(NULL, "squares")
set <- fit$settings$set
set$start <- unname(start)
tasks <- list(
  "nlsLM, from the start" = function() minpack.lm::nlsLM(formula, d, start = short),
  "compiled fit, from the start" = function() {
    softanneal:::run_softening(fit$readings, set, control, clusters = TRUE)
  },
  "compiled fit, own starts" = function() {
    softanneal:::run_softening(fit$readings, set, control, clusters = TRUE, use_start = FALSE)
  },
  "fit_softening(), from the start" = function() fit_softening(d, start = start),
  "fit_softening(), own starts" = function() fit_softening(d))
rounds <- 15L
seconds <- matrix(NA_real_, rounds, length(tasks), dimnames = list(NULL, names(tasks)))
for (task in tasks) for (i in 1:20) task() # warm: byte code, caches
for (r in seq_len(rounds)) { # tasks in turn, so that the machine's mood hits all alike
  for (name in names(tasks)) {
    times <- if (startsWith(name, "compiled")) 400L else 60L
    task <- tasks[[name]]
    t0 <- proc.time()[["elapsed"]]
    for (i in seq_len(times)) task()
    seconds[r, name] <- (proc.time()[["elapsed"]] - t0) / times
  }
}
median_us <- apply(seconds, 2L, stats::median) * 1e6
out <- data.frame(task = names(tasks), microseconds = round(median_us, 1),
                  times_faster_than_nlsLM = round(median_us[1L] / median_us, 1))
print(out, row.names = FALSE)
cat("R", as.character(getRversion()), "on", Sys.info()[["machine"]], "; softanneal",
    as.character(utils::packageVersion("softanneal")), "; minpack.lm",
    as.character(utils::packageVersion("minpack.lm")), "\n")
