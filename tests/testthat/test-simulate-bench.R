# Errors of furnaces and clocks in simulated readings, and what the answer key makes of them.

drawn <- function(seed, sd, ...) {
  as.data.frame(simulate_readings(sd = sd, seed = seed, scale = "HV", resolution = 0, n_readings = 2, ...))
}

test_that("a furnace is off by one value for all that is in it", {
  truth <- softanneal:::true_model(softanneal:::WORKSHOP_TRUTH, "jmak", 330)
  curve <- function(temp_c, time_min) softanneal:::true_hardness(truth, temp_c, time_min)[, 1L]
  d <- drawn(3, errors_alone(temp_c = 3))
  off <- vapply(split(d, d$temp_c), function(one) {
    steep <- one[which.min(abs(one$hardness - 119)), ]
    found <- stats::uniroot(function(u) curve(steep$temp_c + u, steep$time_min) - steep$hardness,
                            c(-25, 25), tol = 1e-10)$root
    expect_equal(one$hardness, curve(one$temp_c + found, one$time_min), tolerance = 1e-8)
    found
  }, 0)
  expect_gt(min(abs(off)), 0.01)
  expect_identical(anyDuplicated(signif(off, 6)), 0L)
  # what the tables say is the set point
  expect_identical(sort(unique(d$temp_c)), c(290, 330, 370, 410))
  # specimens of one named furnace share its error, those of two do not
  schedule <- data.frame(specimen = rep(c("a", "b", "c"), each = 2), temp_c = 330, time_min = c(0, 12),
                         furnace = rep(c("left", "left", "right"), each = 2))
  at <- drawn(5, errors_alone(temp_c = 3), schedule = schedule)
  hot <- tapply(at$hardness[at$time_min > 0], at$specimen[at$time_min > 0], mean)
  expect_equal(hot[["a"]], hot[["b"]])
  expect_gt(abs(hot[["a"]] - hot[["c"]]), 0.1)
  expect_named(at, c("specimen", "temp_c", "step", "time_min", "reading", "hardness", "scale"))
  schedule$furnace[3L] <- NA
  expect_error(drawn(5, errors_alone(temp_c = 3), schedule = schedule), "`furnace` of the schedule",
               class = "softanneal_error_missing")
})

test_that("errors of the clock accumulate over the steps of a specimen", {
  skip_on_cran()
  # far out on a straight stretch: hardness against time of a slow specimen
  d <- drawn(7, errors_alone(time_min = 0.5), temp_c = 330, time_min = c(0, 8, 10, 12, 14))
  truth <- softanneal:::true_model(softanneal:::WORKSHOP_TRUTH, "jmak", 330)
  expect_equal(d$hardness[d$time_min == 0], rep(160, 2L))
  draws <- vapply(1:300, function(seed) {
    x <- drawn(seed, errors_alone(time_min = 0.02), temp_c = 330, time_min = c(0, 8, 10, 12, 14))
    x$hardness[x$reading == 1]
  }, numeric(5L))
  steps <- data.frame(temp_c = 330, time_min = c(0, 8, 10, 12, 14))
  slope <- softanneal:::hardness_slope(truth, steps, 0, 1e-3)
  expect_equal(apply(draws, 1L, stats::sd)[-1L], 0.02 * abs(slope[-1L]) * sqrt(1:4), tolerance = 0.15)
  expect_gt(stats::cor(draws[4L, ], draws[5L, ]), 0.75) # sqrt(3/4) by theory
})

test_that("the tolerance of an answer key knows them: it is the scatter of the estimator", {
  skip_on_cran()
  sd <- bench_errors(temp_c = 1, time_min = 0.05, machine = 0, operator = 0)
  design <- class_design(scale = "HV", sd = sd, resolution = 0, n_readings = 2, temp_c = c(310, 330, 350))
  expected <- sqrt(diag(softanneal:::estimator_covariance(design$truth, design)))
  bench <- design$bench
  m <- softanneal:::true_hardness(design$truth, bench$steps$temp_c, bench$steps$time_min)[bench$row, ]
  estimates <- with_test_seed(4, replicate(600, {
    y <- softanneal:::draw_readings(design$truth, bench)$clean
    qr.coef(qr(m[, -1L], tol = 1e-14), y - m[, 1L])
  }))
  # the sd of 600 draws is known to 3 %
  expect_equal(apply(estimates, 1L, stats::sd), expected, tolerance = 0.1, ignore_attr = TRUE)
  without <- class_design(scale = "HV", sd = replace(sd, c("temp_c", "time_min"), 0), resolution = 0,
                          n_readings = 2, temp_c = c(310, 330, 350))
  expect_gt(expected[5L], sqrt(softanneal:::estimator_covariance(without$truth, without)[5L, 5L]))
})

test_that("sizes of a bench are given and changed by name", {
  expect_named(bench_errors(), names(softanneal:::BENCH_SD), ignore.order = TRUE)
  expect_true(all(bench_errors() > 0))
  expect_identical(bench_errors(specimen = 0)[["specimen"]], 0)
  expect_error(bench_errors(furnace = 1), "must name components", class = "softanneal_error_argument")
  expect_error(bench_errors(1), "must name components", class = "softanneal_error_argument")
  expect_error(bench_errors(step = -1), class = "softanneal_error_range")
})

test_that("the default is a real bench, and `only` leaves the other errors out", {
  drawn_with <- function(...) attr(simulate_readings(..., seed = 4), "truth")$sd
  expect_identical(drawn_with(), bench_errors())
  expect_identical(class_design()$bench$sd, bench_errors())
  expect_true(all(bench_errors() > 0))
  teaching <- bench_errors(step = 1.5, only = c("step", "reading"))
  expect_identical(teaching, replace(0 * bench_errors(), c("step", "reading"), c(1.5, 2)))
  expect_identical(drawn_with(sd = teaching), teaching)
  expect_error(bench_errors(only = "furnace"), "`only` must be", class = "softanneal_error_argument")
})
