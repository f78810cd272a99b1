# How soon a long call gives the session back when the user interrupts it, and whether the session
# works afterwards. Each call runs in a fork of this process, which gets SIGINT after a while; the
# processor time from there to the prompt is measured, which a busy machine does not lengthen. Run
# by hand where forks exist (it takes minutes and much memory), with the package installed:
#   Rscript inst/scripts/dev/check-interrupts.R [SCALE]     SCALE of the sizes, 1 by default
library(softanneal)
if (.Platform$OS.type == "windows") {
  cat("Left out: there are no forks on this system.\n")
  quit()
}
scale <- as.numeric(c(commandArgs(trailingOnly = TRUE), "1")[1L])
size <- function(n) as.integer(round(n * scale))
quiet <- function(expr) suppressWarnings(suppressMessages(expr))
set.seed(1)

bell <- quiet(read_readings(system.file("extdata", "bellbrass_readings.csv",
                                        package = "softanneal")))
fit <- quiet(fit_softening(bell))
one <- bell[bell$temp_c %in% c(330, 370), c("temp_c", "time_min", "hardness", "scale")]
groups <- data.frame(coil = rep(seq_len(size(1e6)), each = 12L),
                     temp_c = rep(c(300, 330, 360), each = 4L), time_min = c(0, 8, 24, 64),
                     hardness = c(160, 150, 120, 95, 160, 130, 92, 82, 160, 95, 80, 79) +
                       stats::runif(size(1e6) * 12, -3, 3), scale = "HV")
many <- groups[sample.int(nrow(groups), size(4e6)), ]
many$coil <- 1L
log <- data.frame(specimen = "A", time_s = seq_len(size(1e7)) / 10,
                  temp_c = 300 + 60 * sin(seq_len(size(1e7)) / 1e5))
plan <- plan_anneal(c(300, 330), c(4, 8, 16, 32), plan_guess(recryst_1h_c = 330, draws = 500))
hrb <- stats::runif(size(1e8), 30, 90)
x <- stats::runif(size(3e7), 0, 50)
at <- seq(0, 1, length.out = size(2e6))

calls <- list(
  "fit_each(), many groups" = function() fit_each(groups, coil),
  "fit_each(), one large group" = function() for (i in 1:20) fit_each(many, coil),
  "fit_softening(), many readings, robust" = function() {
    fit_softening(many[seq_len(size(2e5)), -1L], loss = "huber")
  },
  "fit_softening(), model of many starts" = function() {
    for (i in 1:500) fit_softening(one, model = "hardening_recovery_jmak")
  },
  "resample_fit()" = function() resample_fit(fit, n_resamples = size(2e5), type = "case", seed = 1),
  "improve_plan()" = function() {
    improve_plan(plan, "q", temp_c = seq(250, 450, by = 0.5), time_min = seq(2, 120, by = 2),
                 max_steps = 20, n_specimens = 4, starts = 50)
  },
  "confint(), profile" = function() for (i in 1:1000) confint(fit, method = "profile"),
  "time_to(), intervals" = function() {
    time_to(fit, softening = rep(0.5, size(2e3)), temp_c = seq(300, 380, length.out = size(2e3)))
  },
  "soften()" = function() {
    brass <- c(h_worked = 180, h_soft = 75, ln_k_ref = -2.3, n = 1.5, q_kj_mol = 180)
    for (i in 1:20) soften(log, brass, temp_ref_c = 370)
  },
  "equivalent_time()" = function() for (i in 1:100) equivalent_time(log, 180, 370),
  "convert_hardness()" = function() for (i in 1:20) convert_hardness(hrb, "HRB", "HV"),
  "jmak_fraction()" = function() for (i in 1:20) jmak_fraction(x, 0.05, 1.5),
  "predict(), many times" = function() {
    later <- data.frame(temp_c = 330, time_min = 100 * at)
    for (i in 1:20) predict(fit, later, interval = "confidence")
  },
  "fit_least_squares(), slow function" = function() {
    fit_least_squares(function(par) par[[1L]] * exp(-par[[2L]] * x[1:1e6]) - 1 / (1 + x[1:1e6]),
                      c(a = 5, b = 3))
  },
  "heat_up()" = function() {
    heat_up(rep(0.01, size(2e4)), 800, h_w_m2k = 1e5, until_min = 60)
  })

# Processor time of a process so far, s (clock ticks of 10 ms; utime and stime of Linux).
spent <- function(pid) {
  file <- sprintf("/proc/%d/stat", pid)
  if (!file.exists(file)) return(NA_real_)
  field <- strsplit(sub("^.*[)] ", "", readLines(file, warn = FALSE)), " ")[[1L]]
  sum(as.numeric(field[12:13])) / 100
}

interrupted <- function(name, after) {
  marker <- tempfile()
  job <- parallel::mcparallel({
    call <- calls[[name]]
    file.create(marker)
    end <- tryCatch({
      quiet(call())
      "finished"
    }, interrupt = function(e) "stopped")
    at_end <- c(wall = as.numeric(Sys.time()), own = spent(Sys.getpid()))
    works <- isTRUE(all.equal(coef(quiet(fit_softening(bell))), coef(fit)))
    list(end = end, at_end = at_end, works = works)
  }, mc.set.seed = FALSE)
  while (!file.exists(marker)) Sys.sleep(0.01)
  Sys.sleep(after)
  sent <- c(wall = as.numeric(Sys.time()), own = spent(job$pid))
  tools::pskill(job$pid, tools::SIGINT)
  answer <- parallel::mccollect(job)[[1L]]
  if (!is.list(answer)) {
    print(answer)
    return(data.frame(call = name, after = after, end = "lost", cpu = NA, wall = NA, works = FALSE))
  }
  data.frame(call = name, after = after, end = answer$end,
             cpu = round(answer$at_end[["own"]] - sent[["own"]], 2),
             wall = round(answer$at_end[["wall"]] - sent[["wall"]], 2), works = answer$works)
}

only <- c(commandArgs(trailingOnly = TRUE), "", "")[2L]
out <- NULL
for (name in grep(only, names(calls), value = TRUE, fixed = TRUE)) {
  for (after in c(0.3, 1, 2.5)) {
    row <- interrupted(name, after)
    cat(sprintf("%-42s after %.1f s: %s, %.2f s of processor, %.2f s of time\n", name, after, row$end,
                row$cpu, row$wall))
    out <- rbind(out, row)
  }
}
cat("\nProcessor time from the signal to the prompt, largest of each call (s):\n")
stopped <- out[out$end == "stopped", ]
print(sort(tapply(stopped$cpu, stopped$call, max), decreasing = TRUE))
lost <- !out$works | out$end == "lost"
if (any(lost)) {
  print(out[lost, ])
  stop("A session did not survive.")
}
