# Readings used by several test files.

extdata <- function(name) {
  system.file("extdata", name, package = "softanneal", mustWork = TRUE)
}

tungsten_readings <- function() {
  suppressMessages(read_readings(extdata("tungsten_isothermal.csv"), specimen = "plate"))
}

bell_readings <- function() {
  suppressMessages(read_readings(extdata("bellbrass_readings.csv")))
}

# Their fit with the defaults, made once: tests that only look at it share it.
bell_softening <- local({
  fit <- NULL
  function() {
    if (is.null(fit)) fit <<- fit_softening(bell_readings())
    fit
  }
})

# Errors of a simulated bench: those named, and no others.
errors_alone <- function(...) replace(0 * bench_errors(), names(c(...)), c(...))

# Readings of a known truth: hardness in HV, `sd_step` shared by the readings of a step.
made_readings <- function(temps = c(290, 330, 370), times = c(0, 4, 8, 16, 32, 64), n = 4,
                          sd_step = 0, sd_reading = 1, q = 140, exponent = 1.6, half_min = 12,
                          worked = 160, soft = 80, theta0 = 0) {
  d <- expand.grid(reading = seq_len(n), time_min = times, temp_c = temps, KEEP.OUT.ATTRS = FALSE)
  k <- arrhenius_rate(d$temp_c, (jmak_time(0.5, 1, exponent) + theta0) / half_min, 330, q)
  x <- jmak_fraction(d$time_min, k, exponent, theta0)
  step <- interaction(d$time_min, d$temp_c, drop = TRUE)
  d$hardness <- soft + (worked - soft) * (1 - x) +
    stats::rnorm(nlevels(step), sd = sd_step)[step] + stats::rnorm(nrow(d), sd = sd_reading)
  d$specimen <- paste0("piece-", d$temp_c)
  d$scale <- "HV"
  d
}

# The same seed everywhere, and the session's stream as it was.
with_test_seed <- function(seed, code) {
  withr::with_seed(seed, code, .rng_kind = "Mersenne-Twister", .rng_normal_kind = "Inversion",
                   .rng_sample_kind = "Rejection")
}

quietly_fitted <- function(...) {
  withCallingHandlers(fit_softening(...),
                      softanneal_warning_fit = function(w) invokeRestart("muffleWarning"))
}

# TRUE when `SOFTANNEAL_EXTENDED_TESTS=true` asks for the long tests.
extended_tests <- function() identical(Sys.getenv("SOFTANNEAL_EXTENDED_TESTS"), "true")

# read_readings() without the labels of columns, to compare values; the labels have tests of their
# own in test-rstudio.R
read_bare <- function(...) {
  out <- read_readings(...)
  for (name in names(out)) {
    if (is.null(attr(out[[name]], "label"))) next
    if (inherits(out, "data.table")) {
      data.table::setattr(out[[name]], "label", NULL)
    } else {
      attr(out[[name]], "label") <- NULL
    }
  }
  out
}

# An answer without the warnings that say what is open or outside.
quiet_answer <- function(code) {
  suppressWarnings(code, classes = c("softanneal_warning_outside", "softanneal_warning_extrapolation"))
}
