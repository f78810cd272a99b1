# The planning room: guess, timetable, expectations, better plans. Truth by hand: the formulas
# written out again in plain R, and rules that every timetable must keep.

guess_330 <- function(...) plan_guess("C26000", recryst_1h_c = 330, ...)

# Hardness by the formula of the model 'jmak', in plain R.
by_hand_hardness <- function(b, guess, temp_c, time_min) {
  k <- exp(b[["ln_k_ref"]] - b[["q_kj_mol"]] / 8.31446261815324e-3 *
             (1 / (temp_c + 273.15) - 1 / (guess$temp_ref_c + 273.15)))
  x <- 1 - exp(-(k * time_min)^b[["n"]])
  x * b[["h_soft"]] + (1 - x) * b[["h_worked"]]
}

by_hand_gradient <- function(b, f) {
  sapply(seq_along(b), function(j) {
    h <- 1e-5 * max(1, abs(b[j]))
    up <- down <- b
    up[j] <- b[j] + h
    down[j] <- b[j] - h
    (f(up) - f(down)) / (2 * h)
  })
}

test_that("a guess holds the values of the table and of the user, and its draws mirror", {
  g <- plan_guess("C26000", recryst_1h_c = 330, sd_prior = c(n = 0.2, recryst_1h_c = 10))
  expect_s3_class(g, "softanneal_guess")
  # complete after one hour at the one-hour temperature
  expect_equal(jmak_fraction(60, exp(g$par[["ln_k_ref"]]), g$par[["n"]]), 0.99, tolerance = 1e-12)
  expect_equal(dim(g$draws), c(64L, 5L))
  # the first half mirrors the second: normal terms about the value, lognormal ones about its log
  mirror <- (g$draws[1:32, ] + g$draws[33:64, ]) / 2
  expect_equal(unname(mirror[, "h_worked"]), rep(160, 32), tolerance = 1e-12)
  expect_equal(unname(sqrt(g$draws[1:32, "q_kj_mol"] * g$draws[33:64, "q_kj_mol"])), rep(140, 32),
               tolerance = 1e-12)
  # each draw completes in an hour at its own temperature, normal about 330 with 10 deg C
  own <- apply(g$draws, 1L, function(b) {
    stats::uniroot(function(t) by_hand_hardness(b, g, t, 60) - (0.99 * b[["h_soft"]] +
                                                                  0.01 * b[["h_worked"]]),
                   c(100, 700), tol = 1e-9)$root
  })
  expect_equal(mean(own), 330, tolerance = 1e-6)
  # standard error of a standard deviation from 64 draws: 10 / sqrt(126) = 0.9
  expect_lt(abs(sd(own) - 10), 3)
  t <- as.data.frame(g)
  expect_named(t, c("quantity", "value", "sd", "unit", "source", "how_got"))
  expect_match(t$source[t$quantity == "recryst_1h_c"], "given by the user")
  expect_match(t$how_got[t$quantity == "n"], "spread given")
  expect_false(anyNA(t))
  expect_output(print(g), "recryst_1h_c +330 (\\+-|\u00b1) 10 (deg C|\u00b0C)")
})

test_that("every metal of the thermal table has a guess, and draws leave the session alone", {
  for (metal in c("C26000", "copper", "aluminium 1100", "carbon steel")) {
    g <- plan_guess(metal)
    expect_true(all(g$draws[, "h_worked"] > g$draws[, "h_soft"]), info = metal)
    expect_true(all(is.finite(g$draws)), info = metal)
    expect_true(all(nzchar(g$table$source) & nzchar(g$table$how_got)), info = metal)
  }
  set.seed(4)
  before <- .Random.seed
  a <- plan_guess()$draws
  expect_identical(.Random.seed, before)
  set.seed(5)
  expect_identical(plan_guess()$draws, a)
  expect_false(identical(plan_guess(seed = 2)$draws, a))
})

test_that("a guess refuses what cannot be", {
  expect_error(plan_guess(q_kj_mol = 0), class = "softanneal_error_range")
  expect_error(plan_guess(q_kj_mol = -10), class = "softanneal_error_range")
  expect_error(plan_guess(n = 0), class = "softanneal_error_range")
  expect_error(plan_guess(h_soft = -5), class = "softanneal_error_range")
  expect_error(plan_guess(h_worked = 60), class = "softanneal_error_range")
  expect_error(plan_guess(sd_prior = c(n = -1)), class = "softanneal_error_range")
  expect_refused(plan_guess(sd_prior = c(m = 1)), "argument", "`sd_prior` names unknown", "sd_prior")
  expect_error(plan_guess(sd_prior = 1), class = "softanneal_error_argument")
  expect_error(plan_guess(recryst_1h_c = 920), "solidus", class = "softanneal_error_range")
  expect_error(plan_guess(sd_reading = 0, sd_step = 0), class = "softanneal_error_range")
  expect_error(plan_guess(draws = 3), class = "softanneal_error_argument")
  expect_error(plan_guess(n = NA_real_), class = "softanneal_error_missing")
  expect_error(plan_guess(spread = 1), class = "softanneal_error_argument")
  expect_error(plan_guess("unobtainium"), class = "softanneal_error_argument")
  odd <- thermal_material("nickel silver", density_kg_m3 = 8700, heat_j_kgk = 377,
                          conductivity_w_mk = 33, solidus_c = 1000)
  expect_error(plan_guess(odd), "no default", class = "softanneal_error_argument")
  full <- plan_guess(odd, recryst_1h_c = 480, q_kj_mol = 170, n = 1.5, h_worked = 200, h_soft = 90,
                     sd_prior = c(recryst_1h_c = 40, q_kj_mol = 40, n = 0.4, h_worked = 10, h_soft = 8))
  expect_equal(full$par[["q_kj_mol"]], 170)
})

test_that("a fit is a guess: values, scatter, fixed and undetermined parameters", {
  data <- read_readings(system.file("extdata", "bellbrass_readings.csv", package = "softanneal"))
  fit <- fit_softening(data)
  g <- plan_guess(fit = fit)
  expect_identical(g$par, fit$par)
  expect_equal(unname(apply(g$draws, 2L, sd)), unname(sqrt(diag(vcov(fit)))), tolerance = 0.35)
  expect_gt(g$sd_reading, 0)
  held <- plan_guess(fit = fit_softening(data, fixed = c(n = 1.5)) |>
                       suppressWarnings(classes = "softanneal_warning_fit"))
  expect_false(held$estimated[["n"]])
  expect_true(all(held$draws[, "n"] == 1.5))
  one <- suppressWarnings(fit_softening(data[data$temp_c == 330, ]),
                          classes = "softanneal_warning_fit")
  blind <- plan_guess(fit = one)
  expect_true(blind$estimated[["q_kj_mol"]])
  expect_equal(blind$par[["q_kj_mol"]], plan_guess()$par[["q_kj_mol"]])
  expect_gt(sd(blind$draws[, "q_kj_mol"]), 20)
  # finished before the first reading: Q open, its draws wide but finite
  two <- suppressWarnings(
    fit_softening(data[data$temp_c == 330 | data$temp_c == 410 & data$time_min > 0, ]),
    classes = "softanneal_warning_fit")
  expect_true(any(two$states != "determined"))
  expect_true(all(is.finite(plan_guess(fit = two)$draws)))
  expect_error(plan_guess(fit = fit, n = 2), class = "softanneal_error_argument")
  expect_error(plan_guess(fit = data), class = "softanneal_error_argument")
  # and a plan takes the fit itself
  expect_s3_class(plan_anneal(c(290, 310), c(8, 16), fit), "softanneal_plan")
})

# The rules that every timetable keeps.
expect_timetable <- function(plan) {
  s <- plan$steps[!is.na(plan$steps$read_min), ]
  set <- plan$settings
  L <- set$session_min
  reading <- ceiling(set$n_readings * set$reading_min)
  treated <- s$step > 0
  from <- (s$session - 1) * L + s$in_min
  out <- (s$session - 1) * L + s$out_min
  read <- (s$read_session - 1) * L + s$read_min
  expect_equal(s$out_min - s$in_min, ifelse(treated, s$hold_min + s$heat_up_min, NA))
  expect_equal(s$cold_min - s$out_min, ifelse(treated, s$cool_min, NA))
  expect_true(all(read[treated] >= (out + s$cool_min)[treated] - 1e-9))
  expect_true(all(s$in_min[treated] >= set$warmup_min & s$cold_min[treated] <= L + 1e-9))
  expect_true(all(s$read_min >= 0 & s$end_min <= L + 1e-9))
  for (one in split(seq_len(nrow(s)), s$specimen)) {
    one <- one[order(s$step[one])]
    expect_equal(s$step[one], seq(min(s$step), length.out = length(one)))
    expect_equal(cumsum(s$hold_min[one]), s$time_min[one])
    if (length(one) > 1L) {
      expect_true(all(from[one][-1L] >= (read + reading)[one][-length(one)] - 1e-9))
    }
  }
  apart <- function(start, length) {
    start <- sort(start)
    all(diff(start) >= length - 1e-9)
  }
  expect_true(apart(read, reading))
  doors <- c(from[treated], out[treated])
  expect_true(apart(doors, set$handling_min))
  if (set$n_operators == 1) {
    hands <- c(rep(set$handling_min, length(doors)), rep(reading, length(read)))
    start <- c(doors, read)
    o <- order(start)
    expect_true(all(start[o][-1L] >= (start + hands)[o][-length(o)] - 1e-9))
  }
  # one temperature per furnace at a time, with the time to change between
  for (f in unique(s$furnace)) {
    here <- which(treated & s$furnace == f)
    first <- tapply(from[here], s$temp_c[here], min)
    last <- tapply(out[here], s$temp_c[here], max)
    o <- order(first)
    gap <- first[o][-1L] - last[o][-length(o)]
    other_day <- floor(first[o][-1L] / L) > floor(last[o][-length(o)] / L)
    expect_true(all(gap >= set$furnace_change_min - 1e-9 | other_day))
  }
}

test_that("timetables keep the rules of furnace, tongs, machine and session", {
  skip_on_cran()
  g <- guess_330(draws = 8)
  quietly <- function(...) suppressWarnings(plan_anneal(...), classes = "softanneal_warning")
  expect_timetable(quietly(c(290, 330, 370), c(4, 8, 16, 32), g, furnaces = 2))
  expect_timetable(quietly(c(290, 330, 370), c(4, 8, 16, 32), g, n_operators = 1, sessions = 4))
  expect_timetable(quietly(c(370, 290, 330, 310), list(c(1, 2), 64, c(3.5, 7, 11), c(2, 100)), g,
                           furnaces = 3, session_min = 130, sessions = 9, warmup_min = 20,
                           handling_min = 1.5, reading_min = 0.7, n_operators = 1))
  expect_timetable(quietly(c(300, 320), c(5, 10, 20), g, specimens_per_temp = 4, furnaces = 1,
                           session_min = 400, n_readings = 3, baseline = FALSE, cooling = "water",
                           heat_up_min = c(2, 3)))
  set.seed(20)
  for (k in 1:6) {
    expect_timetable(quietly(sample(280:360, 4), cumsum(sample(1:20, 3)), g,
                             specimens_per_temp = sample(2, 1), furnaces = sample(3, 1),
                             n_operators = sample(2, 1), sessions = 3,
                             session_min = sample(90:240, 1), n_readings = sample(3:8, 1),
                             furnace_change_min = sample(0:60, 1)))
  }
})

test_that("a small timetable is as worked out by hand", {
  g <- guess_330(draws = 8)
  p <- plan_anneal(300, c(4, 10), g, n_readings = 4, heat_up_min = 2, cool_min = 3, reading_min = 0.5,
                   session_min = 60, start = "13:30", specimen = "bell")
  s <- as.data.frame(p)
  # read 0-2; in 2, out 8 (2 + 4), cold 11, read 11-13; in 13, out 21 (2 + 6), cold 24, read to 26
  expect_equal(s$in_min, c(NA, 2, 13))
  expect_equal(s$out_min, c(NA, 8, 21))
  expect_equal(s$read_min, c(0, 11, 24))
  expect_equal(s$end_min, c(2, 13, 26))
  expect_equal(s$in_clock, c(NA, "13:32", "13:43"))
  expect_equal(s$end_clock, c("13:32", "13:43", "13:56"))
  expect_equal(s$specimen, rep("bell", 3))
  expect_equal(glance(p)$furnace_min, 14)
  expect_equal(glance(p)$end_clock, "13:56")
  expect_equal(glance(p)$readings, 12)
  expect_equal(s$hardness, by_hand_hardness(g$par, g, 300, c(0, 4, 10)), tolerance = 1e-12)
  limits <- sapply(c(0, 4, 10), function(t) {
    quantile(apply(g$draws, 1L, by_hand_hardness, guess = g, temp_c = 300, time_min = t),
             c(0.05, 0.95))
  })
  expect_equal(s$hardness_low, unname(limits[1L, ]), tolerance = 1e-12)
  expect_equal(s$hardness_high, unname(limits[2L, ]), tolerance = 1e-12)
  expect_equal(p$temperatures$homologous, 573.15 / 1188.15)
  # past midnight
  late <- plan_anneal(300, 4, g, session_min = 60, start = "23:50")
  expect_match(late$steps$end_clock[2L], "^00:")
})

test_that("heat-up allowance is the time that does not count, cooling that of the heat room", {
  g <- guess_330(draws = 8)
  p <- plan_anneal(c(290, 330), c(16, 32), g, support = "free", cooling = "air", session_min = 400)
  t <- p$temperatures
  cool <- cool_down(0.95, c(290, 330), support = "free", width_mm = 20, length_mm = 80)
  expect_equal(t$cool_min, ceiling(cool$summary$time_min))
  # by hand: integral of 1 - k(T(t)) / k(T) over the heat-up, less that of k over the cooling
  q <- g$par[["q_kj_mol"]]
  k <- function(celsius, at) exp(-q / 8.31446261815324e-3 * (1 / (celsius + 273.15) -
                                                               1 / (at + 273.15)))
  for (i in 1:2) {
    at <- t$temp_c[i]
    area <- function(h, f) {
      y <- f(h$temp_c)
      sum(diff(h$time_s) * (y[-1L] + y[-length(y)]) / 2) / 60
    }
    hot <- heat_up(0.95, at, support = "free", tolerance_c = 0.1, width_mm = 20, length_mm = 80,
                   n_points = 4000)$history
    cold <- cool_down(0.95, at, support = "free", width_mm = 20, length_mm = 80,
                      n_points = 4000)$history
    lost <- area(hot, function(x) 1 - k(x, at)) - area(cold, function(x) k(x, at))
    expect_lte(abs(t$heat_up_min[i] - lost), 0.125 + 0.01) # a quarter of a minute
  }
  expect_true(all(t$heat_up_low_min < t$heat_up_min & t$heat_up_min < t$heat_up_high_min))
  expect_match(paste(plan_anneal(290, 1, g, support = "free")$temperatures$note), "heat-up")
  wet <- plan_anneal(290, 4, g, cooling = "water")
  expect_equal(wet$temperatures$cool_min, 2)
  expect_true("quenching" %in% wet$cautions$process)
  expect_false("quenching" %in% p$cautions$process)
})

test_that("a temperature finished before its first reading draws one warning", {
  g <- guess_330()
  w <- expect_warning(plan_anneal(c(300, 420, 450), c(10, 20), g, furnaces = 3),
                      class = "softanneal_warning_assumption")
  expect_equal(w$temp_c, c(420, 450))
  expect_match(conditionMessage(w),
               "420 (deg C|\u00b0C) after .* min \\(.* to .*; first reading after 10 min")
  p <- suppressWarnings(plan_anneal(c(300, 420), c(10, 20), g, furnaces = 2))
  share <- apply(g$draws, 1L, function(b) {
    (b[["h_worked"]] - by_hand_hardness(b, g, 420, 10)) / (b[["h_worked"]] - b[["h_soft"]])
  })
  expect_equal(p$temperatures$finished[2L], mean(share >= 0.95))
  expect_silent(plan_anneal(300, c(10, 20), g))
  expect_match(plan_anneal(200, c(1, 2), g)$temperatures$note, "barely begun")
})

test_that("bad input has clear conditions", {
  g <- guess_330(draws = 8)
  e <- expect_error(plan_anneal(c(400, 915), c(4, 8), g), class = "softanneal_error_range")
  expect_match(conditionMessage(e), paste("begins to melt at", in_degrees(915)))
  expect_equal(e$rows, 3:4)
  expect_error(plan_anneal(950, 4, g), "solidus", class = "softanneal_error_range")
  e <- expect_error(plan_anneal(300, c(4, 16, 8), g), class = "softanneal_error_range")
  expect_equal(e$rows, 3L)
  expect_match(conditionMessage(e), "8 min follows 16 min")
  expect_error(plan_anneal(300, c(4, 4), g), class = "softanneal_error_range")
  expect_error(plan_anneal(300, c(0, 4), g), class = "softanneal_error_range")
  expect_error(plan_anneal(300, c(4, NA), g), class = "softanneal_error_missing")
  expect_error(plan_anneal(300, c(4, Inf), g), class = "softanneal_error_missing")
  expect_error(plan_anneal(300, "4", g), class = "softanneal_error_argument")
  expect_error(plan_anneal(factor(300), 4, g), class = "softanneal_error_argument")
  expect_error(plan_anneal(numeric(), 4, g), class = "softanneal_error_too_few")
  expect_error(plan_anneal(300, numeric(), g), class = "softanneal_error_too_few")
  expect_error(plan_anneal(15, 4, g), class = "softanneal_error_range")
  expect_error(plan_anneal(c(300, 310), list(4), g), class = "softanneal_error_argument")
  expect_error(plan_anneal(300, 4, g, width_mm = 3), "too small for one reading",
               class = "softanneal_error_range")
  for (bad in c("thickness_mm", "width_mm", "length_mm", "session_min", "reading_min",
                "handling_min")) {
    for (value in c(0, -1)) {
      expect_error(do.call(plan_anneal, c(list(300, 4, g), stats::setNames(list(value), bad))),
                   class = "softanneal_error_range", info = bad)
    }
  }
  expect_error(plan_anneal(300, 60, g, session_min = 50), "too short for any step",
               class = "softanneal_error_range")
  expect_error(plan_anneal(300, 4, g, furnaces = 0), class = "softanneal_error_range")
  expect_error(plan_anneal(300, 4, g, n_operators = 3), class = "softanneal_error_range")
  expect_error(plan_anneal(300, 4, g, n_readings = 2.5), class = "softanneal_error_argument")
  expect_error(plan_anneal(300, 4, g, start = "9 am"), class = "softanneal_error_argument")
  expect_error(plan_anneal(300, 4, g, start = "25:00"), class = "softanneal_error_argument")
  expect_error(plan_anneal(300, 4, "brass"), class = "softanneal_error_argument")
  expect_error(plan_anneal(300, 4, g, readings = 5), class = "softanneal_error_argument")
  expect_error(plan_anneal(300, 4, g, scale = "HV", specimen = c("a", "b")),
               class = "softanneal_error_argument")
  expect_error(plan_anneal(300, 4, g, scale = "HRC"), class = "softanneal_error")
})

test_that("steps without a place are NA with one warning that says what would hold them", {
  g <- guess_330(draws = 8)
  w <- expect_warning(p <- plan_anneal(c(290, 310), c(4, 8, 16), g, session_min = 60),
                      class = "softanneal_warning_outside")
  lost <- is.na(p$steps$read_min)
  expect_equal(w$n, sum(lost))
  expect_gt(sum(lost), 0)
  needed <- as.numeric(sub(".*\\. ([0-9]+) sessions would.*", "\\1", conditionMessage(w)))
  expect_silent(full <- plan_anneal(c(290, 310), c(4, 8, 16), g, session_min = 60,
                                    sessions = needed))
  expect_equal(max(full$steps$read_session), needed)
  expect_warning(plan_anneal(290, c(4, 500), g, sessions = 5), "longer than a session",
                 class = "softanneal_warning_outside")
  # fewer places on the strip than readings
  expect_warning(plan_anneal(290, c(4, 8, 16), g, length_mm = 26, width_mm = 6),
                 class = "softanneal_warning_outside")
})

test_that("a table of steps goes in, with names of its own", {
  g <- guess_330(draws = 8)
  steps <- data.frame(specimen = c("b", "b", "a"), temp_c = c(310, 310, 290),
                      time_min = c(4, 8, 16))
  p <- plan_anneal(steps, guess = g)
  expect_setequal(p$steps$specimen, c("a", "b"))
  expect_equal(sum(p$steps$step > 0), 3)
  if (requireNamespace("tibble", quietly = TRUE)) {
    expect_equal(plan_anneal(tibble::as_tibble(steps), guess = g)$steps, p$steps)
  }
  if (requireNamespace("data.table", quietly = TRUE)) {
    expect_equal(plan_anneal(data.table::as.data.table(steps), guess = g)$steps, p$steps)
  }
  if (requireNamespace("units", quietly = TRUE)) {
    hour <- steps
    hour$time_min <- units::set_units(steps$time_min / 60, "h")
    expect_equal(plan_anneal(hour, guess = g)$steps, p$steps)
  }
  expect_error(plan_anneal(steps[0, ], guess = g), class = "softanneal_error_too_few")
  expect_error(plan_anneal(steps["temp_c"], guess = g), class = "softanneal_error_column")
  expect_error(plan_anneal(transform(steps, temp_c = c(310, 320, 290)), guess = g),
               class = "softanneal_error_duplicate")
  e <- expect_error(plan_anneal(transform(steps, time_min = c(8, 4, 16)), guess = g),
                    class = "softanneal_error_range")
  expect_equal(e$rows, 2L)
  expect_error(plan_anneal(transform(steps, time_min = c("4", "8 min", "16")), guess = g),
               class = "softanneal_error_column")
  expect_error(plan_anneal(transform(steps, specimen = c("b", NA, "a")), guess = g),
               class = "softanneal_error_missing")
  expect_error(plan_anneal(steps, 4, g), class = "softanneal_error_argument")
})

test_that("a plan prints its timetable and ends with the cautions", {
  p <- plan_anneal(c(290, 320), c(4, 8), guess_330(draws = 8))
  out <- capture.output(same <- print(p))
  expect_identical(same, p)
  expect_match(paste(out, collapse = " "),
               "Local rules, the furnace maker's instructions and +qualified supervision")
  expect_match(out[length(out)], "cautions\\(\\)")
  expect_true(any(grepl("T/Tm 0.47", out)))
  expect_equal(nrow(as.data.frame(p)), 6L)
  expect_s3_class(p$cautions, "softanneal_cautions")
  expect_false(any(grepl("brass", plan_anneal(600, 4, plan_guess("carbon steel", draws = 8),
                                              scale = "HV10")$cautions$precaution)))
})

test_that("the plot shows each stretch of time, in every session", {
  p <- suppressWarnings(plan_anneal(c(290, 320), c(4, 8, 16), guess_330(draws = 8),
                                    session_min = 60, sessions = 3))
  g <- ggplot2::autoplot(p)
  expect_true(inherits(g, "ggplot"))
  s <- p$steps[!is.na(p$steps$read_min), ]
  expect_equal(nrow(ggplot2::layer_data(g, 1L)), 2 * sum(s$step > 0) + nrow(s))
  expect_setequal(ggplot2::layer_data(g, 1L)$xmin, c(s$in_min, s$out_min, s$read_min) |> na.omit())
  expect_match(ggplot2::get_alt_text(g), "2 specimens and 6 annealing steps")
  grDevices::pdf(NULL)
  on.exit(grDevices::dev.off())
  expect_identical(plot(p), p)
})

test_that("the curves to expect are those of the guess and its draws, with the readings planned", {
  guess <- guess_330(draws = 32)
  p <- suppressWarnings(plan_anneal(c(290, 320), c(4, 8, 16, 64), guess, session_min = 60,
                                    sessions = 2))
  g <- ggplot2::autoplot(p, what = "expected")
  line <- ggplot2::layer_data(g, 2L)
  expect_identical(levels(factor(line$PANEL)), c("1", "2"))
  time <- 10^line$x
  temp <- c(290, 320)[line$PANEL]
  expect_equal(line$y, by_hand_hardness(guess$par, guess, temp, time), tolerance = 1e-9)
  band <- ggplot2::layer_data(g, 1L)
  k <- 200L
  draws <- apply(guess$draws, 1L, by_hand_hardness, guess, temp[k], time[k])
  expect_equal(c(band$ymin[k], band$ymax[k]), unname(quantile(draws, c(0.05, 0.95))),
               tolerance = 1e-9)
  points <- ggplot2::layer_data(g, 3L)
  s <- p$steps
  expect_equal(nrow(points), nrow(s))
  expect_equal(sum(points$shape == 1), sum(is.na(s$read_min)))
  expect_gt(sum(is.na(s$read_min)), 0)
  expect_setequal(points$y, s$hardness)
  expect_match(ggplot2::get_alt_text(g), "290 \u00b0C half soft after")
  expect_error(ggplot2::autoplot(p, what = "prices"), class = "softanneal_error_argument")
})

test_that("errors to expect are those of linear theory, by hand", {
  g <- guess_330(draws = 8, sd_reading = 3, sd_step = 1, sd_piece = 1.7, u_temp_c = 1.3)
  p <- plan_anneal(c(290, 330), c(8, 16, 32), g, n_readings = 5, furnaces = 2,
                   specimens_per_temp = 2)
  s <- p$steps
  hardness <- function(b, temp_c = s$temp_c) by_hand_hardness(b, g, temp_c, s$time_min)
  jac <- by_hand_gradient(g$par, hardness)
  slope <- (hardness(g$par, s$temp_c + 1e-3) - hardness(g$par, s$temp_c - 1e-3)) / 2e-3
  v <- diag(1 + 9 / 5, nrow(s)) + 1.7^2 * outer(s$specimen, s$specimen, `==`) +
    1.3^2 * outer(slope, slope) * outer(s$temp_c, s$temp_c, `==`)
  cov <- solve(t(jac) %*% solve(v, jac))
  t <- tidy(p)
  expect_equal(t$std.error[1:5], sqrt(diag(cov)), tolerance = 1e-4) # the slope is a difference
  ln_t50 <- function(b, temp) {
    log(log(2)^(1 / b[["n"]])) - b[["ln_k_ref"]] + b[["q_kj_mol"]] / 8.31446261815324e-3 *
      (1 / (temp + 273.15) - 1 / (g$temp_ref_c + 273.15))
  }
  for (k in 1:2) {
    d <- by_hand_gradient(g$par, function(b) ln_t50(b, c(290, 330)[k]))
    expect_equal(t$std.error[5L + k], sqrt(drop(d %*% cov %*% d)), tolerance = 1e-4)
    expect_equal(t$estimate[5L + k], ln_t50(g$par, c(290, 330)[k]), tolerance = 1e-9)
  }
  expect_true(all(t$std.error.low <= t$std.error.high))
  # one temperature says nothing about Q: NA, not a number
  blind <- tidy(plan_anneal(330, c(4, 8, 16, 32), g))
  expect_true(is.na(blind$std.error[blind$term == "q_kj_mol"]))
  expect_output(print(plan_anneal(330, c(4, 8, 16, 32), g)), "will not be determined")
})

test_that("furnaces and pieces, not readings, make the activation energy certain", {
  quiet <- function(x) suppressWarnings(x, classes = "softanneal_warning_assumption")
  error <- function(temps = c(290, 310, 330, 350), ...) {
    t <- tidy(quiet(plan_anneal(temps, c(8, 16, 32), guess_330(draws = 2), furnaces = 8,
                                session_min = 900, length_mm = 300, ...)))
    t$std.error[t$term == "q_kj_mol"]
  }
  one <- error()
  readings <- error(n_readings = 30) # five times as many
  expect_gt(readings / one, 0.9)
  expect_lt(error(seq(290, 350, length.out = 8)), 0.9 * readings) # twice as many pieces
  expect_lt(error(specimens_per_temp = 2), one)
  # a furnace error alone, at four temperatures: the line through four rates of known error
  far <- guess_330(draws = 2, sd_reading = 0.02, sd_step = 0, sd_piece = 0, u_temp_c = 2)
  temps <- c(290, 310, 330, 350)
  t <- tidy(quiet(plan_anneal(temps, c(8, 16, 32), far, furnaces = 4, session_min = 900)))
  kelvin <- temps + 273.15
  x <- -1 / 8.31446261815324e-3 / kelvin
  u <- far$par[["q_kj_mol"]] / (8.31446261815324e-3 * kelvin^2) * 2
  by_hand <- sqrt(solve(crossprod(cbind(1, x) / u))[2, 2])
  expect_equal(t$std.error[t$term == "q_kj_mol"], by_hand, tolerance = 0.01)
})

test_that("a fit of readings from a plan gives back the truth, whatever the sheet", {
  skip_on_cran()
  truth <- c(h_worked = 160, h_soft = 78, ln_k_ref = log(0.03), n = 1.6, q_kj_mol = 140)
  g <- guess_330(draws = 8)
  for (thickness in c(0.95, 3)) {
    p <- suppressWarnings(plan_anneal(c(290, 310, 330, 350), c(4, 8, 16, 32, 64), g, furnaces = 4,
                                      thickness_mm = thickness, session_min = 600))
    s <- p$steps[order(p$steps$specimen, p$steps$step), ]
    s$total_min <- ave(s$furnace_min, s$specimen, FUN = cumsum)
    done <- s[s$step > 0, ]
    # what the pieces really go through, by the defaults of the forward model
    log <- anneal_history(data.frame(specimen = done$specimen, temp_c = done$temp_c,
                                     time_min = done$total_min), thickness_mm = thickness)
    hv <- soften(log, truth, model = "jmak", temp_ref_c = 320)$hardness
    at <- vapply(seq_len(nrow(done)), function(k) {
      max(which(log$specimen == done$specimen[k] & abs(log$furnace_min - done$total_min[k]) < 1e-9))
    }, 1L)
    d <- data.frame(specimen = s$specimen, temp_c = s$temp_c, time_min = s$time_min, scale = "HV",
                    hardness = 160)
    d$hardness[s$step > 0] <- hv[at]
    fit <- suppressWarnings(fit_softening(d, temp_ref_c = 320))
    expect_lt(abs(coef(fit)[["q_kj_mol"]] - 140), 2)
    expect_lt(abs(coef(fit)[["n"]] - 1.6), 0.03)
    expect_lt(abs(coef(fit)[["ln_k_ref"]] - log(0.03)), 0.03)
    # the clock in the furnace instead: the bias that the allowance takes away
    d$time_min <- s$total_min
    biased <- suppressWarnings(fit_softening(d, temp_ref_c = 320))
    off <- coef(biased) - truth[names(coef(biased))]
    expect_gt(abs(off[["q_kj_mol"]]), 4)
    # which the fit can tell, knowing the sheet
    shift <- heat_up_shift(biased, thickness)
    expect_equal(shift[["q_kj_mol"]], off[["q_kj_mol"]], tolerance = 0.4)
    expect_equal(shift[["ln_k_ref"]], off[["ln_k_ref"]], tolerance = 0.4)
    expect_match(summary(biased, thickness_mm = thickness)$remarks, "Heat-up: .*q_kj_mol about", all = FALSE)
  }
  rates <- fit_arrhenius(data.frame(temp_c = c(300, 330, 360), rate = c(0.1, 0.3, 0.9)), rate = rate)
  expect_error(summary(rates, thickness_mm = 1), class = "softanneal_error_argument")
})

test_that("a time of 0 and temperatures in kelvin are answered with what is meant", {
  expect_refused(plan_anneal(c(310, 340), c(0, 3, 10)), "range", "step 0", arg = "time_min", rows = 1L)
  expect_refused(plan_anneal(data.frame(temp_c = 310, time_min = c(0, 3))), "range", "planned anyway")
  expect_true(any(plan_anneal(310, c(3, 10))$steps$time_min == 0))
  expect_told(plan_anneal(c(583, 613), c(3, 10)), "assumption",
              "Kelvin? 583, 613 K are 310, 340 degrees Celsius")
  # hot, and no ordinary temperature in kelvin either
  w <- tryCatch(plan_anneal(480, c(3, 10)), softanneal_warning_assumption = conditionMessage)
  expect_no_match(w, "Kelvin?", fixed = TRUE)
})
