# Many fits against general-purpose solvers, as ratios within one run. Processor time of this
# process, so that other programs on the machine disturb little; threads by the clock. Install the
# package first (not load_all(), which builds without optimisation), then:
#   Rscript inst/benchmarks/each.R [most groups of the scaling series, default 1e5]
library(softanneal)
stopifnot(requireNamespace("minpack.lm", quietly = TRUE))
given <- commandArgs(trailingOnly = TRUE)
most <- if (length(given)) as.numeric(given[1L]) else 1e5

# Groups of known, different truth; readings of one step share an error.
make_groups <- function(groups, temps, times, readings, seed = 1) {
  set.seed(seed)
  d <- expand.grid(reading = seq_len(readings), time_min = times, temp_c = temps,
                   coil = seq_len(groups), KEEP.OUT.ATTRS = FALSE)
  draw <- function(low, high) runif(groups, low, high)[d$coil]
  n <- draw(1, 2.5)
  rate <- log(2)^(1 / n) / draw(8, 20) *
    exp(-draw(100, 220) / 8.314462618e-3 * (1 / (d$temp_c + 273.15) - 1 / 593.15))
  worked <- draw(140, 180)
  soft <- draw(70, 90)
  step <- rnorm(nrow(d) / readings, sd = 0.5)
  d$hardness <- soft + (worked - soft) * exp(-(rate * d$time_min)^n) +
    rep(step, each = readings) + rnorm(nrow(d))
  d$scale <- "HV"
  d$reading <- NULL
  d
}

cpu <- function(code) {
  t <- system.time(code, gcFirst = FALSE)
  t[["user.self"]] + t[["sys.self"]]
}

quiet <- function(...) suppressWarnings(fit_each(...))

# --- against other solvers: 1,000 groups of 60 readings, 12 conditions, 5 parameters -----------
d <- make_groups(1000, c(305, 335), c(0, 4, 8, 16, 32, 64), 5)
d$e <- -(1 / (d$temp_c + 273.15) - 1 / 593.15) / 8.314462618e-3
formula <- hardness ~ hs + (hw - hs) * exp(-(exp(lk + q * e) * time_min)^n)
fits <- quiet(d, coil)
deviances <- glance(fits)$deviance
sample_size <- 60L
some <- lapply(seq_len(sample_size), function(i) d[d$coil == i, ])
starts <- lapply(some, function(x) {
  list(hw = max(x$hardness), hs = min(x$hardness), lk = -2.7, n = 1.5, q = 160)
})
solvers <- list(
  nlsLM = function(x, start) minpack.lm::nlsLM(formula, x, start = start),
  nls = function(x, start) stats::nls(formula, x, start = start))
if (requireNamespace("gslnls", quietly = TRUE)) {
  solvers$gsl_nls <- function(x, start) gslnls::gsl_nls(formula, x, start = start)
}
rounds <- 7L
each <- replicate(rounds, NA_real_)
other <- matrix(NA_real_, rounds, length(solvers), dimnames = list(NULL, names(solvers)))
same <- integer(length(solvers))
for (r in seq_len(rounds)) { # in turn, so that the mood of the machine hits all alike
  each[r] <- cpu(for (i in 1:10) quiet(d, coil)) / 10000
  for (s in seq_along(solvers)) {
    got <- vector("list", sample_size)
    other[r, s] <- cpu(for (i in seq_len(sample_size)) {
      got[[i]] <- tryCatch(solvers[[s]](some[[i]], starts[[i]]), error = function(e) NULL)
    }) / sample_size
    same[s] <- sum(vapply(seq_len(sample_size), function(i) {
      !is.null(got[[i]]) && stats::deviance(got[[i]]) / deviances[i] < 1 + 1e-6
    }, NA))
    below <- vapply(got, function(g) if (is.null(g)) Inf else stats::deviance(g), 0)
    stopifnot(all(below / deviances[seq_len(sample_size)] > 1 - 1e-6)) # nobody finds a lower one
  }
}
middle <- apply(other, 2L, stats::median)
print(data.frame(solver = c("fit_each", names(solvers)),
                 us_a_fit = round(1e6 * c(stats::median(each), middle), 1),
                 fit_each_faster = round(c(1, middle / stats::median(each)), 1),
                 at_the_minimum = c("all", paste(same, "of", sample_size))), row.names = FALSE)

# The compiled part alone, against its floor: two exponentials for each condition and evaluation,
# and one pass over the readings (here anyNA(), which reads each number once).
prepared <- softanneal:::each_data(d, "coil", fits$columns, fits$set)
kernel <- stats::median(replicate(rounds, cpu(
  for (i in 1:10) softanneal:::run_batch(prepared, fits$set, 1L)))) / 10000
x <- runif(1e6)
exponential <- stats::median(replicate(rounds, cpu(exp(x)))) / 1e6
count <- mean(softanneal:::group_count(fits, "evaluations") *
                softanneal:::group_count(fits, "conditions"))
pass <- stats::median(replicate(rounds, cpu(for (i in 1:50) anyNA(x)))) / 5e7
floor_us <- 1e6 * (2 * count * exponential + 60 * 4 * pass)
cat(sprintf(paste0("compiled part %.1f us, preparation and object %.1f us; floor %.1f us: ",
                   "%.0f x 2 exponentials of %.1f ns, 240 numbers read at %.1f ns; ",
                   "compiled part / floor %.1f\n"),
            1e6 * kernel, 1e6 * (stats::median(each) - kernel), floor_us, count, 1e9 * exponential,
            1e9 * pass, 1e6 * kernel / floor_us))

# --- two threads, by the clock ---------------------------------------------------------------
big <- make_groups(20000, c(305, 335), c(0, 4, 8, 16, 32, 64), 5)
big <- softanneal:::each_data(big, "coil", fits$columns, fits$set)
clock <- function(threads) system.time(softanneal:::run_batch(big, fits$set, threads))[["elapsed"]]
pairs <- replicate(rounds, c(clock(1L), clock(2L)))
cat(sprintf("two threads: best %.2f, median %.2f times one\n", min(pairs[1L, ]) / min(pairs[2L, ]),
            stats::median(pairs[1L, ] / pairs[2L, ])))
rm(big)

# --- cost against the number of groups of 20 readings -------------------------------------------
# Memory, input included, as multiples of the input: the most that R held at any time, garbage not
# yet collected too (gc), and the most that a fresh process held (VmHWM of Linux) beyond what it
# held with the package loaded and warm, before the readings.
fresh_peak <- function(d) {
  if (!file.exists("/proc/self/clear_refs")) return(NA_real_)
  file <- tempfile(fileext = ".rds")
  on.exit(unlink(file))
  saveRDS(d, file, compress = FALSE)
  code <- c(
    "library(softanneal)",
    "kb <- function(what) {",
    "  line <- grep(what, readLines('/proc/self/status'), value = TRUE)",
    "  as.numeric(gsub('[^0-9]', '', line))",
    "}",
    "small <- data.frame(coil = 1, temp_c = rep(c(300, 330), each = 6), time_min = 2^(0:5),",
    "                    hardness = c(160, 158, 150, 130, 100, 90, 155, 140, 110, 92, 88, 87),",
    "                    scale = 'HV')",
    "for (i in 1:9) suppressWarnings(fit_each(small, coil))",
    "invisible(gc()); empty <- kb('VmRSS')",
    "d <- readRDS(commandArgs(TRUE)[1])",
    "invisible(gc()); writeLines('5', '/proc/self/clear_refs') # starts VmHWM anew",
    "fits <- suppressWarnings(fit_each(d, coil))",
    "cat((kb('VmHWM') - empty) * 1024 / as.numeric(object.size(d)))")
  script <- tempfile(fileext = ".R")
  writeLines(code, script)
  as.numeric(system2(file.path(R.home("bin"), "Rscript"), c(script, file), stdout = TRUE))
}
sizes <- 10^seq(3, log10(most), by = 0.5)
seconds <- memory <- fresh <- numeric(length(sizes))
for (k in seq_along(sizes)) {
  d <- make_groups(round(sizes[k]), c(290, 310, 330, 350), c(0, 5, 15, 30, 60), 1)
  invisible(gc(reset = TRUE))
  before <- sum(gc(reset = TRUE)[, 2L])
  seconds[k] <- cpu(fits <- quiet(d, coil))
  most_used <- sum(gc()[, 6L])
  memory[k] <- (most_used - before) / as.numeric(utils::object.size(d)) * 2^20 + 1
  rm(fits)
  fresh[k] <- fresh_peak(d)
}
slope <- stats::coef(stats::lm(log(seconds) ~ log(sizes)))[[2L]]
print(data.frame(groups = round(sizes), seconds = round(seconds, 3),
                 us_a_fit = round(1e6 * seconds / sizes, 1), memory_gc = round(memory, 2),
                 memory_fresh_process = round(fresh, 2)),
      row.names = FALSE)
cat(sprintf("exponent of time in the number of groups: %.3f\n", slope))

# --- bootstrap ------------------------------------------------------------------------------------
d <- make_groups(1, c(305, 335), c(0, 4, 8, 16, 32, 64), 5, seed = 3)
fit <- fit_softening(d)
d$e <- softanneal:::inverse_temperature(d$temp_c, fit$temp_ref_c)
reference <- minpack.lm::nlsLM(formula, d, start = starts[[1L]])
at <- as.list(coef(reference))
statistic <- function(x) coef(minpack.lm::nlsLM(formula, x, start = at))
generate <- function(x, mle) {
  x$hardness <- mle + rnorm(nrow(x), sd = sigma(reference))
  x
}
times <- 2000L
ours <- replicate(5L, cpu(resample_fit(fit, times, seed = 1)) / times)
theirs <- if (requireNamespace("boot", quietly = TRUE)) {
  replicate(3L, cpu(boot::boot(d, statistic, R = 200, sim = "parametric", ran.gen = generate,
                               mle = fitted(reference))) / 200)
} else NA
normal <- stats::median(replicate(5L, cpu(rnorm(72 * times)) / times)) # 60 readings, 12 steps
cat(sprintf("bootstrap floor: %.1f us for the random numbers of a resample\n", 1e6 * normal))
cat(sprintf("bootstrap: %.1f us a resample, boot + nlsLM %.0f us, %.0f times\n",
            1e6 * stats::median(ours), 1e6 * stats::median(theirs),
            stats::median(theirs) / stats::median(ours)))
