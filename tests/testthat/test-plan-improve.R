# Better plans. Truth: the criterion written out in plain R with numeric derivatives, all plans of
# small problems one by one. That the errors promised are those of whole runs, simulated and fitted, is
# the matter of test-extended-statistics.R.

small_guess <- function(...) {
  plan_guess("C26000", recryst_1h_c = 330, sd_prior = c(recryst_1h_c = 15, q_kj_mol = 20), draws = 8, ...)
}

hardness_of <- function(b, guess, temp_c, time_min) {
  k <- exp(b[["ln_k_ref"]] - b[["q_kj_mol"]] / 8.31446261815324e-3 *
             (1 / (temp_c + 273.15) - 1 / (guess$temp_ref_c + 273.15)))
  b[["h_soft"]] + (b[["h_worked"]] - b[["h_soft"]]) * exp(-(k * time_min)^b[["n"]])
}

slopes <- function(b, f) {
  vapply(seq_along(b), function(j) {
    h <- 1e-5 * max(1, abs(b[j]))
    up <- down <- b
    up[j] <- b[j] + h
    down[j] <- b[j] - h
    (f(up) - f(down)) / (2 * h)
  }, f(b))
}

# ln of the time to a share or hardness, by the formula.
ln_time_to <- function(b, guess, temp_c, hardness = NULL) {
  left <- if (is.null(hardness)) 0.5 else {
    (hardness - b[["h_soft"]]) / (b[["h_worked"]] - b[["h_soft"]])
  }
  log(-log(left)) / b[["n"]] - b[["ln_k_ref"]] + b[["q_kj_mol"]] / 8.31446261815324e-3 *
    (1 / (temp_c + 273.15) - 1 / (guess$temp_ref_c + 273.15))
}

# A function of a plan (data frame temp_c, time_min, pieces at time zero) that gives its criterion.
by_hand_criterion <- function(guess, n, temps, times, aim, at_c = NULL, hardness = NULL) {
  drop <- guess$par[["h_worked"]] - guess$par[["h_soft"]]
  floor <- diag(1 / c(drop, drop, 10, 5, 1000)^2)
  w <- 1 / (guess$sd_step^2 + guess$sd_reading^2 / n)
  grid <- expand.grid(temp_c = temps, time_min = c(0, times))
  per_draw <- lapply(seq_len(nrow(guess$draws)), function(r) {
    b <- guess$draws[r, ]
    list(jac = slopes(b, function(x) hardness_of(x, guess, grid$temp_c, grid$time_min)),
         aims = lapply(at_c, function(t) slopes(b, function(x) ln_time_to(x, guess, t, hardness))))
  })
  key <- paste(grid$temp_c, grid$time_min)
  function(plan, pieces) {
    rows <- match(c(paste(plan$temp_c, plan$time_min), rep(paste(temps[1L], 0), pieces)), key)
    mean(vapply(per_draw, function(d) {
      m <- w * crossprod(d$jac[rows, , drop = FALSE]) + floor
      switch(aim, determinant = -as.numeric(determinant(m)$modulus) / 5,
             q = log(solve(m)[5, 5]),
             mean(vapply(d$aims, function(g) log(drop(g %*% solve(m, g))), 0)))
    }, 0))
  }
}

# All pieces there can be, then all sets of pieces within the limit: the least criterion.
by_hand_best <- function(criterion, temps, times, most, pieces, heat, limit) {
  sets <- unlist(lapply(seq_len(most), function(k) {
    utils::combn(seq_along(times), k, simplify = FALSE)
  }), recursive = FALSE)
  one <- do.call(c, lapply(seq_along(temps), function(a) {
    lapply(sets, function(s) data.frame(temp_c = temps[a], time_min = times[s], heat = heat[a]))
  }))
  minutes <- vapply(one, function(p) max(p$time_min) + sum(p$heat), 0)
  index <- if (pieces == 1L) matrix(seq_along(one)) else {
    as.matrix(expand.grid(seq_along(one), seq_along(one)))
  }
  index <- index[apply(index, 1L, function(i) !is.unsorted(i)), , drop = FALSE]
  index <- index[rowSums(matrix(minutes[index], nrow(index))) <= limit + 1e-9, , drop = FALSE]
  min(apply(index, 1L, function(i) criterion(do.call(rbind, one[i]), pieces)))
}

test_that("the search finds the best of all plans in small problems", {
  skip_on_cran()
  g <- small_guess()
  temps <- c(300, 330, 360)
  times <- c(3, 8, 20, 50)
  plan <- plan_anneal(c(300, 330), c(8, 20), g, n_readings = 5, heat_up_min = 2, furnaces = 2,
                      session_min = 240)
  cases <- list(list("q", NULL, NULL), list("t50", c(300, 340), NULL), list("hardness", 320, 110),
                list("determinant", NULL, NULL))
  for (case in cases) {
    better <- suppressWarnings(
      improve_plan(plan, case[[1L]], at_c = case[[2L]], hardness = case[[3L]], temp_c = temps,
                   time_min = times, max_steps = 2, furnace_min = 80),
      classes = "softanneal_warning_assumption")
    criterion <- by_hand_criterion(g, 5, temps, times, case[[1L]], case[[2L]], case[[3L]])
    # central differences are good to about 1e-9 here; criteria of different plans differ by more
    own <- better$steps[better$steps$step > 0, ]
    i <- better$improvement
    expect_equal(i$criterion, criterion(own, 2), tolerance = 1e-6, info = case[[1L]])
    expect_equal(i$criterion_given, criterion(plan$steps[plan$steps$step > 0, ], 2),
                 tolerance = 1e-6, info = case[[1L]])
    expect_equal(i$criterion, by_hand_best(criterion, temps, times, 2, 2, c(2, 2, 2), 80),
                 tolerance = 1e-6, info = case[[1L]])
    expect_equal(i$efficiency, exp(i$criterion - i$criterion_given))
    expect_lte(i$efficiency, 1)
  }
})

test_that("a better plan keeps its limits, and is better", {
  g <- plan_guess(recryst_1h_c = 330, draws = 16)
  plan <- plan_anneal(c(290, 320, 350), c(4, 8, 16, 32), g, furnaces = 2, session_min = 240)
  better <- improve_plan(plan, "q", temp_c = seq(280, 360, 20), time_min = c(2, 4, 8, 16, 32, 64),
                         max_steps = 3, furnace_min = 100, starts = 4)
  s <- better$steps[better$steps$step > 0, ]
  expect_s3_class(better, "softanneal_plan")
  expect_true(all(s$temp_c %in% seq(280, 360, 20)) && all(s$time_min %in% c(2, 4, 8, 16, 32, 64)))
  expect_lte(max(table(s$specimen)), 3)
  expect_lte(sum(s$furnace_min), 100)
  expect_equal(length(unique(s$specimen)), 3)
  expect_false(anyNA(better$steps$read_min))
  expect_lt(better$improvement$efficiency, 1)
  expect_match(paste(capture.output(print(better)), collapse = " "),
               "Efficiency of the +original +plan: +[0-9.]+ +%")
  # fewer indentations than asked: the strip decides
  narrow <- plan_anneal(c(290, 320), c(4, 8), g, length_mm = 26, width_mm = 7, n_readings = 3)
  room <- narrow$layout$capacity %/% 3 - 1
  more <- improve_plan(narrow, "q", max_steps = 60, starts = 2, furnace_min = 300)
  expect_lte(max(more$steps$step), room)
  # a session too short for the best plan: the limit falls until all steps have a place
  tight <- plan_anneal(c(290, 330), c(4, 8, 16), g, session_min = 118, furnace_change_min = 20)
  fits <- improve_plan(tight, "q", furnace_min = 150, starts = 2, time_min = c(4, 8, 16, 32, 64))
  expect_false(anyNA(fits$steps$read_min))
  expect_lt(fits$improvement$furnace_min, 150)
})

test_that("the same seed gives the same plan, and the session keeps its random numbers", {
  plan <- plan_anneal(c(300, 330), c(4, 8, 16), small_guess(), furnaces = 2)
  set.seed(9)
  before <- .Random.seed
  a <- improve_plan(plan, "t50", starts = 3)
  expect_identical(.Random.seed, before)
  b <- improve_plan(plan, "t50", starts = 3)
  expect_identical(a$steps, b$steps)
  # more starts are never worse
  more <- improve_plan(plan, "t50", starts = 12)
  expect_lte(more$improvement$criterion, a$improvement$criterion + 1e-12)
})

test_that("improve_plan refuses what it cannot do", {
  plan <- plan_anneal(c(300, 330), c(4, 8, 16), small_guess(), furnaces = 2)
  expect_error(improve_plan("plan"), class = "softanneal_error_argument")
  expect_error(improve_plan(plan, "k"), class = "softanneal_error_argument")
  expect_error(improve_plan(plan, "hardness"), class = "softanneal_error_argument")
  expect_error(improve_plan(plan, "q", hardness = 100), class = "softanneal_error_argument")
  expect_error(improve_plan(plan, "q", at_c = 300), class = "softanneal_error_argument")
  expect_error(improve_plan(plan, "q", temp_c = c(300, 915)), "solidus",
               class = "softanneal_error_range")
  expect_error(improve_plan(plan, "q", time_min = c(0, 4)), class = "softanneal_error_range")
  expect_error(improve_plan(plan, "q", time_min = 1:65), class = "softanneal_error_argument")
  expect_error(improve_plan(plan, "q", furnace_min = 3), "too short",
               class = "softanneal_error_range")
  expect_error(improve_plan(plan, "hardness", hardness = 500), "no draw",
               class = "softanneal_error_range")
  expect_error(improve_plan(plan, "q", starts = 0), class = "softanneal_error_range")
  expect_error(improve_plan(plan, "q", n_specimens = 0), class = "softanneal_error_range")
  expect_error(improve_plan(plan, "q", steps = 3), class = "softanneal_error_argument")
  own <- plan_anneal(c(300, 330), c(4, 8), small_guess(), heat_up_min = c(1, 2))
  expect_error(improve_plan(own), class = "softanneal_error_argument")
})

test_that("plans improve for other models: recovery, incubation, fixed parameters", {
  skip_on_cran()
  data <- read_readings(system.file("extdata", "bellbrass_readings.csv", package = "softanneal"))
  quiet <- function(x) suppressWarnings(x, classes = c("softanneal_warning_fit",
                                                       "softanneal_warning_assumption"))
  held <- quiet(fit_softening(data, fixed = c(q_kj_mol = 140)))
  plan <- quiet(plan_anneal(c(300, 330), c(4, 8, 16), plan_guess(fit = held, draws = 8)))
  expect_error(improve_plan(plan, "q"), "is fixed by the prior", class = "softanneal_error_argument")
  expect_lte(quiet(improve_plan(plan, "determinant", starts = 2))$improvement$efficiency, 1)
  for (model in c("jmak_incubation", "recovery_jmak", "recovery_jmak_incubation")) {
    fit <- quiet(fit_softening(data, model = model))
    plan <- quiet(plan_anneal(c(290, 320, 350), c(4, 8, 16), plan_guess(fit = fit, draws = 8)))
    better <- quiet(improve_plan(plan, "q", starts = 2))
    expect_lte(better$improvement$efficiency, 1 + 1e-12)
    expect_true(is.finite(better$improvement$criterion))
  }
})

test_that("limits that no session has room for are refused", {
  skip_on_cran()
  plan <- suppressWarnings(plan_anneal(c(300, 330), c(5, 10, 20), session_min = 120))
  expect_refused(improve_plan(plan, "q", time_min = c(100, 101), furnace_min = 2000), "range",
                 "no plan within these limits fits into the sessions", "furnace_min")
})

test_that("a plan that is worse with the errors of furnaces is not returned as better", {
  quiet <- function(x) suppressWarnings(x, classes = "softanneal_warning")
  plan_of <- function(u_temp_c) {
    g <- plan_guess(recryst_1h_c = 330, u_temp_c = u_temp_c, sd_step = 0.5, sd_piece = 0, draws = 8)
    quiet(plan_anneal(c(300, 330, 360), c(4, 16, 64), g, n_readings = 3, session_min = 1400))
  }
  error <- function(plan) with(as.data.frame(tidy(plan)), std.error[term == "q_kj_mol"])
  plan <- plan_of(5)
  expect_message(stays <- quiet(improve_plan(plan, starts = 1)), "the plan given stays",
                 class = "softanneal_message_plan")
  treatments <- c("specimen", "temp_c", "time_min")
  expect_setequal(do.call(paste, stays$steps[treatments]), do.call(paste, plan$steps[treatments]))
  expect_equal(stays$improvement$efficiency, 1)
  expect_equal(error(stays), error(plan), tolerance = 1e-8)
  plan <- plan_of(2)
  expect_no_message(better <- quiet(improve_plan(plan, starts = 1)))
  expect_lt(error(better), error(plan))
})
