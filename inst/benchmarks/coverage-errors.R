# Coverage of 95 % intervals where pieces, furnaces, operators and steps scatter, for each kind of
# standard error. Designs: A four temperatures, one specimen each; B two; C three with two specimens
# each, runs named; S the same with the two of a temperature in one run; D eight; E half seen; H two
# halves of a strip at 350 and 450 degrees, the hotter one soft before its first reading (energy and rate
# drawn for each set). Scatter in HV and K. The last columns: median width of the interval of Q where it
# has two ends, and the share in % of the intervals that are NA, which count as misses. About 0.5 s per
# set and kind:
#   Rscript inst/benchmarks/coverage-errors.R [sets [cells [kinds [file]]]]
# for example  Rscript inst/benchmarks/coverage-errors.R 200 A:step,A:furnace components,cluster
# With `file` the rows of the table (those of these cells and kinds anew, others as they are) go there:
# that of the vignette is inst/benchmarks/coverage-errors.csv.
library(softanneal)

args <- commandArgs(trailingOnly = TRUE)
sets <- if (length(args)) as.integer(args[1L]) else 200L
split_by_comma <- function(x) strsplit(x, ",", fixed = TRUE)[[1L]]
cells <- if (length(args) > 1L) split_by_comma(args[2L]) else {
  c("A:step", "A:piece", "A:furnace", "A:both", "A:operator", "B:furnace", "C:both", "S:both", "D:both",
    "E:both")
}
kinds <- if (length(args) > 2L) split_by_comma(args[3L]) else {
  c("components", "cluster", "steps", "model")
}
file <- if (length(args) > 3L) args[4L]

accumulated <- c(0, 4, 8, 16, 32, 64, 128)
design <- function(temp_c, each = 1L, times = accumulated, one_run = FALSE) {
  list(temp_c = temp_c, each = each, times = times, one_run = one_run)
}
designs <- list(A = design(c(290, 310, 330, 350)), B = design(c(335, 350)),
                C = design(c(290, 320, 350), 2L), S = design(c(290, 320, 350), 2L, one_run = TRUE),
                D = design(seq(290, 360, 10)), E = design(c(270, 290, 310), times = c(0, 4, 8, 16, 32)),
                H = c(design(c(350, 450), times = c(0, 10, 20, 40, 80)), drawn = TRUE))
scatters <- list(step = list(sd_step = 1.5), step1 = list(sd_step = 1), piece = list(sd_piece = 2),
                 furnace = list(u_temp_c = 2),
                 both = list(u_temp_c = 2, sd_piece = 2), furnace1 = list(u_temp_c = 1),
                 furnace4 = list(u_temp_c = 4), operator = list(sd_operator = 2),
                 outliers = list(outliers = 0.02), insertion = list(u_temp_c = 2, insertion = TRUE))
usual <- truth <- c(h_worked = 160, h_soft = 78, n = 1.6, q_kj_mol = 140)
half <- usual_half <- c(temp_c = 320, time_min = 16) # half softened
rate <- function(temp_c) {
  arrhenius_rate(temp_c, jmak_time(0.5, 1, truth[["n"]]) / half[[2L]], half[[1L]], truth[["q_kj_mol"]])
}
curve <- function(temp_c, time_min) {
  truth[["h_soft"]] + (truth[["h_worked"]] - truth[["h_soft"]]) *
    (1 - jmak_fraction(time_min, rate(temp_c), truth[["n"]]))
}
time_at <- function(temp_c, fraction) jmak_time(fraction, rate(temp_c), truth[["n"]])
temp_at <- function(time_min, fraction) {
  uniroot(function(temp_c) log(time_at(temp_c, fraction) / time_min), c(150, 500), tol = 1e-10)$root
}

# Readings of a design; `more`: minutes of a last step of the first specimen, with one reading, kept apart.
draw <- function(design, u_temp_c = 0, sd_piece = 0, sd_step = 0.5, sd_reading = 1.5, sd_operator = 0,
                 outliers = 0, insertion = FALSE, n_readings = 5L, more = NULL) {
  specimen <- rep(design$temp_c, each = design$each)
  run <- if (design$one_run) rep(seq_along(design$temp_c), each = design$each) else seq_along(specimen)
  off_run <- rnorm(max(run), sd = u_temp_c)
  person <- rnorm(2L, sd = sd_operator)
  out <- do.call(rbind, lapply(seq_along(specimen), function(k) {
    times <- c(design$times, if (k == 1L) more)
    off <- if (insertion) rnorm(length(times), sd = u_temp_c) else off_run[run[k]]
    y <- curve(specimen[k] + off, times) + rnorm(1L, sd = sd_piece) + rnorm(length(times), sd = sd_step)
    at <- rep(seq_along(times), each = n_readings)
    at <- at[!(times[at] %in% more & duplicated(at))]
    e <- rnorm(length(at), sd = sd_reading)
    e <- e + ifelse(runif(length(at)) < outliers, 10 * sd_reading, 0)
    by <- (seq_along(at) + k) %% 2L + 1L
    data.frame(specimen = paste0("piece-", k), furnace = paste0("run-", run[k]), operator = c("r", "s")[by],
               temp_c = specimen[k], time_min = times[at], hardness = pmax(y[at] + person[by] + e, 1),
               scale = "HV")
  }))
  if (sd_operator == 0) out$operator <- NULL
  out
}

quantities <- c(names(truth), "time to 100 HV", "temperature for 100 HV", "recrystallisation temperature",
                "window edge", "reading, new specimen", "reading, same specimen")

one_set <- function(design, scatter, kind) {
  more <- 24
  truth <<- usual
  half <<- usual_half
  ask <- 320
  if (isTRUE(design$drawn)) {
    truth[c("n", "q_kj_mol")] <<- c(1.4, runif(1L, 120, 190))
    half <<- c(temp_c = 350, time_min = runif(1L, 15, 40))
    ask <- 400
  }
  answers <- c(time_at(ask, 60 / 82), temp_at(16, 60 / 82), temp_at(60, 0.5), time_at(ask, 40 / 82))
  d <- do.call(draw, c(list(design, more = more), scatter))
  same <- d[d$time_min == more, ]
  d <- d[d$time_min != more, ]
  new <- do.call(draw, c(list(list(temp_c = ask, each = 1L, times = c(0, 16), one_run = FALSE),
                              n_readings = 1L), scatter))
  fit <- suppressWarnings(fit_softening(d, se = kind))
  ci <- confint(fit)[names(truth), ]
  within <- function(x, value) x$conf.low <= value & value <= x$conf.high
  found <- suppressWarnings(c(
    within(time_to(fit, hardness = 100, temp_c = ask), answers[1L]),
    within(temp_for(fit, 16, hardness = 100), answers[2L]), within(recryst_temperature(fit), answers[3L]),
    within(time_to(fit, hardness = 120, temp_c = ask), answers[4L])))
  read <- function(row, ...) {
    p <- suppressWarnings(predict(fit, row, interval = "prediction", ...))
    p[, "lwr"] <= row$hardness & row$hardness <= p[, "upr"]
  }
  c(ci[, 1L] <= truth & truth <= ci[, 2L], found, read(new[new$time_min == 16, ]),
    if (kind == "components") read(same[1L, ], specimen = "same") else read(same[1L, ]),
    ci["q_kj_mol", 2L] - ci["q_kj_mol", 1L])
}

cat("Coverage in % of 95 % intervals over", sets, "data sets (Monte Carlo standard error about",
    round(100 * sqrt(0.95 * 0.05 / sets), 1), "%)\n")
table <- NULL
for (cell in cells) {
  part <- strsplit(cell, ":", fixed = TRUE)[[1L]]
  cat("\nDesign", part[1L], "scatter", part[2L], "\n")
  out <- t(vapply(kinds, function(kind) {
    set.seed(20, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
    hits <- vapply(seq_len(sets), function(s) {
      one_set(designs[[part[1L]]], scatters[[part[2L]]], kind)
    }, numeric(length(quantities) + 1L))
    width <- nrow(hits)
    q <- hits[width, is.finite(hits[width, ])]
    hits <- hits[-width, , drop = FALSE]
    c(100 * rowMeans(!is.na(hits) & hits != 0), median(q), 100 * mean(is.na(hits)))
  }, numeric(length(quantities) + 2L)))
  colnames(out) <- c(quantities, "width of Q (kJ/mol)", "no interval")
  print(round(out))
  table <- rbind(table, data.frame(design = part[1L], scatter = part[2L], se = kinds, sets = sets,
                                   round(out, 1), row.names = NULL, check.names = FALSE))
  if (!is.null(file)) {
    old <- if (file.exists(file)) read.csv(file, check.names = FALSE)
    if (!is.null(old)) old[setdiff(names(table), names(old))] <- NA
    key <- function(x) paste(x$design, x$scatter, x$se)
    write.csv(rbind(old[!key(old) %in% key(table), ], table), file, row.names = FALSE)
  }
}
