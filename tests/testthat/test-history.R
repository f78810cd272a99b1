# Temperature histories: integral, forward model, limits of the numbers, bad input.

test_that("constant temperature gives the isothermal result", {
  minutes <- c(0, 0.5, 3, 10, 25)
  hold <- data.frame(time_s = c(5, 605, 1505), temp_c = 352)
  expect_equal(equivalent_time(hold, 210, 352)$equivalent_min, 25, tolerance = 1e-12)
  k <- arrhenius_rate(352, 0.1, 370, 180)
  for (model in model_names()) {
    par <- model_values(model)
    along <- soften(hold, par, model, temp_ref_c = 370, time_min = minutes)
    expect_equal(along$theta, k * minutes, tolerance = 1e-12)
    theta0 <- if ("theta0" %in% names(par)) par[["theta0"]] else 0
    expect_equal(along$fraction, fraction_of(model, k * minutes, 1.5, theta0), tolerance = 1e-11)
    m <- .Call(C_sa_call_hardness, model_code(model), log(minutes),
               rep(inverse_temperature(352, 370), 5L), unname(par))
    expect_equal(along$hardness, m[, 1L], tolerance = 1e-12)
  }
  loss <- recovery_loss(minutes, 5, arrhenius_rate(352, 0.8, 370, 140))
  along <- soften(hold, model_values("recovery_jmak"), "recovery_jmak", temp_ref_c = 370, time_min = minutes)
  expect_equal(along$hardness, 75 * along$fraction + (1 - along$fraction) * (180 - loss),
               tolerance = 1e-12)
})

test_that("points added on the straight lines change nothing", {
  coarse <- strip_log()
  set.seed(2)
  extra <- sort(stats::runif(3000, 0, 599))
  keep <- coarse$time_s < 600
  fine <- rbind(coarse, data.frame(specimen = "A1", time_s = extra,
                                   temp_c = stats::approx(coarse$time_s[seq_len(4)],
                                                          coarse$temp_c[seq_len(4)], extra)$y))
  fine <- fine[order(fine$time_s), ] # the jump at 600 s keeps its order
  for (q in c(0, 60, 180, 700)) {
    a <- log(equivalent_time(coarse, q, 370)$equivalent_min)
    expect_lt(abs(log(equivalent_time(fine, q, 370)$equivalent_min) - a), 1e-12)
  }
  expect_equal(equivalent_time(coarse, 0, 370)$equivalent_min, 15, tolerance = 1e-14)
})

test_that("steps add up: a history in two parts has the sum of the times", {
  whole <- strip_log()
  parts <- list(whole[1:3, ], whole[3:6, ])
  each <- vapply(parts, \(x) equivalent_time(x, 180, 350)$equivalent_min, 0)
  expect_equal(sum(each), equivalent_time(whole, 180, 350)$equivalent_min, tolerance = 1e-12)
})

test_that("a piece read backwards in time, or in reversed temperature, gives the same time", {
  up <- data.frame(time_s = c(0, 300), temp_c = c(20, 400))
  down <- data.frame(time_s = c(0, 300), temp_c = c(400, 20))
  expect_equal(equivalent_time(up, 200, 370)$equivalent_min, equivalent_time(down, 200, 370)$equivalent_min,
               tolerance = 1e-14)
})

test_that("numbers far from 1 neither overflow nor vanish", {
  hold <- data.frame(time_s = c(0, 600), temp_c = 370)
  for (ln_k in c(-690, 690)) {
    par <- replace(truth, "ln_k_ref", ln_k)
    along <- soften(hold, par, temp_ref_c = 370)
    expect_equal(log(along$theta[2L]), ln_k + log(10), tolerance = 1e-14)
    expect_equal(along$hardness[2L], if (ln_k < 0) 180 else 75)
  }
  # far below and above the reference temperature, with the steepest energy
  expect_equal(log(equivalent_time(hold, 2000, 20)$equivalent_min),
               log(10) + 2000 * inverse_temperature(370, 20), tolerance = 1e-13)
  # a furnace that reaches its heat late: nothing early is lost, nothing late overflows
  late <- data.frame(time_s = c(0, 100, 110, 200), temp_c = c(20, 20, 1100, 1100))
  early <- soften(late, replace(truth, "q_kj_mol", 1500), temp_ref_c = 20,
                  time_min = c(1, 200 / 60))
  expect_equal(early$theta[1L], 0.1, tolerance = 1e-12)
  expect_gt(early$theta[2L], 1e200)
})

test_that("a jump counts for nothing, wherever it leads", {
  spike <- data.frame(time_s = c(0, 10, 10, 10, 20), temp_c = c(20, 20, 2000, 20, 20))
  expect_equal(equivalent_time(spike, 900, 20)$equivalent_min, 1 / 3, tolerance = 1e-13)
  start <- data.frame(time_s = c(0, 0, 60), temp_c = c(2500, 20, 20))
  expect_equal(equivalent_time(start, 900, 20)$equivalent_min, 1, tolerance = 1e-13)
})

test_that("the slope of the clock is the derivative in q", {
  h <- history_points(strip_log())
  mark <- c(0, 30, 60, 400, 600, 900)
  for (q in c(1, 90, 250, 900)) {
    got <- reduced_time(h, mark, c(0L, 6L), q, 640, slope = TRUE)
    step <- 1e-3 * q
    up <- reduced_time(h, mark, c(0L, 6L), q + step, 640)
    down <- reduced_time(h, mark, c(0L, 6L), q - step, 640)
    expect_equal(got[-1L, 2L], ((up - down) / (2 * step))[-1L, 1L], tolerance = 1e-5)
    expect_equal(got[1L, 1L], -Inf)
  }
})

test_that("gradients along a history agree with numerical ones for every model", {
  skip_if_not_installed("numDeriv")
  h <- history_points(strip_log())
  mark <- c(100, 250, 420, 600)
  for (model in model_names()) {
    par <- model_values(model)
    kind <- model_code(model)
    value <- \(b) .Call(C_sa_call_soften, kind, h$points, mark, c(0L, 4L), 643.15, b)$hardness
    exact <- .Call(C_sa_call_soften, kind, h$points, mark, c(0L, 4L), 643.15, unname(par))$gradient
    expect_equal(unname(exact), numDeriv::jacobian(value, unname(par)), tolerance = 1e-6)
  }
})

test_that("hardening at low temperature: the curve rises, then falls; gradients agree", {
  skip_if_not_installed("numDeriv")
  minutes <- c(0, 0.1, 1, 5, 20, 100, 1000)
  for (model in c("hardening_jmak", "hardening_recovery_jmak")) {
    par <- unname(model_values(model))
    kind <- model_code(model)
    e <- rep(inverse_temperature(300, 370), length(minutes))
    value <- \(b) .Call(C_sa_call_hardness, kind, log(minutes), e, b)[, 1L]
    exact <- .Call(C_sa_call_hardness, kind, log(minutes), e, par)
    expect_equal(unname(exact[, -1L]), numDeriv::jacobian(value, par), tolerance = 1e-6)
    # below 300 C the gain is seen whole: first-order rise, by hand
    slow <- .Call(C_sa_call_hardness, kind, log(minutes[-1L]),
                  rep(inverse_temperature(180, 370), 6L),
                  replace(par, match("h_soft", model_terms(model)), 0))[, 1L]
    k_hard <- arrhenius_rate(180, 10, 370, 110)
    rise <- 180 + 9 * (1 - exp(-k_hard * minutes[-1L]))
    if ("dh_rec" %in% model_terms(model)) {
      rise <- rise - recovery_loss(minutes[-1L], 5, arrhenius_rate(180, 0.8, 370, 140))
    }
    expect_equal(slow, rise, tolerance = 1e-5) # 1e-6 of it recrystallises
    expect_gt(max(exact[, 1L]), 184)
    expect_lt(min(exact[, 1L]), 100)
  }
})

test_that("fits with hardening find its parameters and answer on the falling side", {
  grid <- expand.grid(time_min = c(1, 4, 16, 64, 256),
                      temp_c = c(200, 225, 250, 280, 310, 340, 370))
  data <- rbind(data.frame(time_min = 0, temp_c = NA), grid)
  e <- inverse_temperature(ifelse(is.na(data$temp_c), 370, data$temp_c), 370)
  data$scale <- "HV"
  for (model in c("hardening_jmak", "hardening_recovery_jmak")) {
    par <- model_values(model)
    data$hardness <- .Call(C_sa_call_hardness, model_code(model),
                           log(data$time_min), e, unname(par))[, 1L]
    fit <- suppressWarnings(fit_softening(data, model, temp_ref_c = 370))
    expect_equal(coef(fit), par, tolerance = 1e-6)
    when <- time_to(fit, hardness = c(184, 120), temp_c = 330)
    at <- data.frame(temp_c = 330, time_min = when$time_min)
    expect_equal(unname(predict(fit, at)), c(184, 120), tolerance = 1e-9)
    later <- transform(at, time_min = 1.01 * time_min)
    expect_true(all(predict(fit, later) < c(184, 120)))
    expect_warning(time_to(fit, hardness = 195, temp_c = 300), class = "softanneal_warning_outside")
  }
  # readings without any rise do not determine it
  flat <- subset(data, is.na(temp_c) | temp_c >= 340)
  flat$hardness <- .Call(C_sa_call_hardness, 0L, log(flat$time_min),
                         inverse_temperature(ifelse(is.na(flat$temp_c), 370, flat$temp_c), 370),
                         unname(truth))[, 1L]
  fit <- suppressWarnings(fit_softening(flat, "hardening_jmak", temp_ref_c = 370))
  expect_true(any(fit$states[c("dh_hard", "ln_k_hard", "q_hard_kj_mol")] != "determined"))
})

test_that("a long even log loses no digits", {
  n <- 300000
  long <- data.frame(time_s = seq(0, by = 0.1, length.out = n), temp_c = 411.3)
  expect_equal(equivalent_time(long, 233, 411.3)$equivalent_min, (n - 1) / 600, tolerance = 1e-12)
  # the same log in many small pieces of temperature, against every tenth of its straight lines
  saw <- data.frame(time_s = 0:3000, temp_c = 380 + 10 * abs((0:3000 %% 20) - 10) / 10)
  corners <- saw[saw$time_s %% 10 == 0, ]
  expect_equal(equivalent_time(saw, 190, 380)$equivalent_min,
               equivalent_time(corners, 190, 380)$equivalent_min, tolerance = 1e-12)
})

test_that("specimens keep their names, types and rows in any order", {
  a <- strip_log()
  b <- transform(a, specimen = "B2", temp_c = temp_c - 15)
  mixed <- rbind(a, b)[c(1, 7, 2, 8, 3, 9, 4, 10, 5, 11, 6, 12), ]
  together <- equivalent_time(mixed, c(100, 180), 370)
  expect_identical(together$specimen, rep(c("A1", "B2"), each = 2))
  expect_identical(together$q_kj_mol, c(100, 180, 100, 180))
  expect_equal(together$equivalent_min[4L], equivalent_time(b, 180, 370)$equivalent_min)
  along <- soften(mixed, truth, temp_ref_c = 370)
  expect_identical(along$specimen, mixed$specimen)
  expect_identical(along$time_s, mixed$time_s)
  expect_equal(along$hardness[along$specimen == "B2"], soften(b, truth, temp_ref_c = 370)$hardness)
  number <- transform(a, specimen = 7L)
  expect_identical(equivalent_time(number, 100, 370)$specimen, 7L)
  expect_identical(equivalent_time(transform(a, specimen = factor("z")), 100, 370)$specimen,
                   factor("z"))
  expect_identical(equivalent_time(transform(a, specimen = 2i), 100, 370)$specimen, 2i)
  # one name in two encodings is one specimen, as for match()
  name <- rep("M\u00fcller", nrow(a))
  name[4:5] <- iconv(name[4:5], "UTF-8", "latin1")
  two <- equivalent_time(transform(a, specimen = name), 100, 370)
  expect_identical(two$specimen, name[1L])
  expect_equal(two$equivalent_min, equivalent_time(a, 100, 370)$equivalent_min)
  if (requireNamespace("tibble", quietly = TRUE)) {
    expect_equal(equivalent_time(tibble::as_tibble(a), 100, 370), equivalent_time(a, 100, 370))
  }
  if (requireNamespace("data.table", quietly = TRUE)) {
    expect_equal(equivalent_time(data.table::as.data.table(a), 100, 370),
                 equivalent_time(a, 100, 370))
  }
  renamed <- stats::setNames(a, c("piece", "clock", "celsius"))
  expect_equal(equivalent_time(renamed, 100, 370, specimen = piece, time = "clock",
                               temp = celsius)$equivalent_min, equivalent_time(a, 100, 370)$equivalent_min)
})

test_that("bad histories and parameters stop with their class and row", {
  a <- strip_log()
  expect_error(equivalent_time(a[0, ], 100, 370), class = "softanneal_error_too_few")
  expect_error(equivalent_time(a[-2], 100, 370), class = "softanneal_error_column")
  e <- expect_error(equivalent_time(a[c(1, 3, 2), ], 100, 370), class = "softanneal_error_range")
  expect_identical(e$rows, 3L)
  for (bad in c(NA, NaN, Inf)) {
    e <- expect_error(equivalent_time(transform(a, temp_c = replace(temp_c, 4, bad)), 100, 370),
                      class = "softanneal_error_missing")
    expect_identical(e$rows, 4L)
  }
  expect_error(equivalent_time(transform(a, temp_c = -300), 100, 370),
               class = "softanneal_error_range")
  expect_error(equivalent_time(transform(a, temp_c = "warm"), 100, 370),
               class = "softanneal_error_column")
  expect_error(equivalent_time(transform(a, specimen = NA), 100, 370),
               class = "softanneal_error_missing")
  e <- expect_error(equivalent_time(transform(a, specimen = c("x", NA, "x", NA, "y", "y")), 100, 370),
                    class = "softanneal_error_missing")
  expect_identical(e$rows, c(2L, 4L))
  expect_error(equivalent_time(a, -1, 370), class = "softanneal_error_range")
  expect_error(equivalent_time(a, 100, 370, speciman = x), class = "softanneal_error_argument")
  expect_error(soften(a, truth), class = "softanneal_error_argument")
  expect_error(soften(a, truth[-1], temp_ref_c = 370), class = "softanneal_error_argument")
  expect_error(soften(a, c(truth, colour = 1), temp_ref_c = 370),
               class = "softanneal_error_argument")
  expect_error(soften(a, replace(truth, "n", -1), temp_ref_c = 370),
               class = "softanneal_error_range")
  expect_error(soften(a, truth, "jmak_incubation", 370), class = "softanneal_error_argument")
  expect_error(soften(a, truth, temp_ref_c = 370, time_min = 16), class = "softanneal_error_range")
  expect_error(recovery_loss(-1, 1, 1), class = "softanneal_error_range")
  expect_identical(recovery_loss(c(NA, 0), 2, 1), c(NA, 0))
  expect_equal(recovery_loss(1e300, 2, 1e300), 2 * 600 * log(10), tolerance = 1e-14)
})

test_that("a history of one point has seen no time", {
  one <- soften(data.frame(time_s = 3, temp_c = 400), truth, temp_ref_c = 370)
  expect_identical(one$theta, 0)
  expect_identical(one$hardness, 180)
})
