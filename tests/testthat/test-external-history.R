# Reduced time against closed forms, worked cases and an independent solver of the rate
# equations.

# Rate law of worked case AR1 (pure copper; slope and intercept of ln(1/t50) over 1/T fitted to
# six rates, which are values from memory): 1/t50 = exp(25.57026 - 11261.717/T) per min, and
# K = (ln 2)^(1/n) / t50 with n = 3.
copper <- function(ref_k = 375) {
  list(par = c(h_worked = 1, h_soft = 0, n = 3, q_kj_mol = 11261.717 * GAS_CONSTANT / 1000,
               ln_k_ref = log(log(2)) / 3 + 25.57026 - 11261.717 / ref_k),
       ref_c = ref_k - ZERO_CELSIUS)
}

ramp <- function(from_k, to_k, per_min, points = 2L) {
  temp <- seq(from_k, to_k, length.out = points)
  data.frame(time_s = 60 * (temp - from_k) / per_min, temp_c = temp - ZERO_CELSIUS)
}

test_that("linear heating of copper: temperatures of half and of fastest change (case KI2)", {
  # derived from AR1 by integration to high accuracy; K at half and at the peak of dX/dT
  rate <- c(2.5, 5, 10, 20, 40)
  half_k <- c(412.5051, 422.5144, 433.0044, 444.0098, 455.5686)
  peak_k <- c(414.1297, 424.2138, 434.7838, 445.8748, 457.5253)
  peak_x <- c(0.6239, 0.6237, 0.6235, 0.6233, 0.6231)
  law <- copper()
  for (j in seq_along(rate)) {
    at <- function(k) (k - 293) / rate[j]
    x <- soften(ramp(293, 480, rate[j]), law$par, temp_ref_c = law$ref_c,
                time_min = c(at(half_k[j]), at(peak_k[j])))$fraction
    expect_equal(x[1L], 0.5, tolerance = 1e-5) # T50 is given to 1e-4 K
    expect_equal(x[2L], peak_x[j], tolerance = 2e-4)
    grid <- peak_k[j] + seq(-0.5, 0.5, 0.01)
    x <- soften(ramp(293, 480, rate[j]), law$par, temp_ref_c = law$ref_c,
                time_min = at(grid))$fraction
    expect_lt(abs((grid[-1L] - 0.005)[which.max(diff(x))] - peak_k[j]), 0.02)
  }
})

test_that("two steps of one piece add up (case AD1)", {
  # 30 min at 88 C, then 102 C until half recrystallised, additive: derived from AR1 with
  # T = C + 273. Rates 0.00360429 and 0.0115510 per min, second step 77.212 min, X after the
  # first 8.759e-4.
  law <- copper()
  k <- arrhenius_rate(c(88, 102) - 0.15, exp(law$par[["ln_k_ref"]]), law$ref_c,
                      law$par[["q_kj_mol"]]) / log(2)^(1 / 3)
  expect_equal(k, c(0.00360429, 0.0115510), tolerance = 2e-6)
  steps <- data.frame(time_s = 60 * c(0, 30, 30, 150), temp_c = c(88, 88, 102, 102) - 0.15)
  x <- soften(steps, law$par, temp_ref_c = law$ref_c, time_min = c(30, 30 + 77.212))$fraction
  expect_equal(x[1L], 8.759e-4, tolerance = 1e-4)
  expect_equal(x[2L], 0.5, tolerance = 1e-5)
})

test_that("a linear ramp agrees with the exponential integral to 1e-12 (case AD2)", {
  skip_if_not_installed("Rmpfr")
  # int exp(-a/T) dT = T exp(-x) - a E1(x), x = a/T, in 200 bits; Ei(-x) = -E1(x)
  closed <- function(from_k, to_k, seconds, q, ref_k) {
    bits <- 200
    a <- Rmpfr::mpfr(q, bits) * 1000 / Rmpfr::mpfr(GAS_CONSTANT, bits)
    area <- function(k) {
      k <- Rmpfr::mpfr(k, bits)
      k * exp(-a / k + a / ref_k) + a * exp(a / ref_k) * Rmpfr::Ei(-a / k)
    }
    value <- (area(to_k) - area(from_k)) / (Rmpfr::mpfr(to_k, bits) - from_k) * seconds / 60
    as.numeric(log(value))
  }
  cases <- data.frame(
    from = c(293.15, 293.15, 673.15, 500, 500, 300, 1000, 293.15, 400, 640),
    to = c(673.15, 1173.15, 293.15, 500.001, 540, 1300, 640, 1273.15, 401, 640.5),
    q = c(180, 350, 93.63, 150, 400, 0.5, 2, 2000, 1200, 250))
  for (j in seq_len(nrow(cases))) {
    log <- data.frame(time_s = c(0, 600), temp_c = c(cases$from[j], cases$to[j]) - ZERO_CELSIUS)
    k <- log$temp_c + ZERO_CELSIUS # as the package sees them
    truth <- closed(k[1L], k[2L], 600, cases$q[j], 373.15 + 200)
    ours <- log(equivalent_time(log, cases$q[j], 300)$equivalent_min)
    # rounding of the exponent itself, about 250 at most here, is the limit
    expect_lt(abs(ours - truth), 1e-12)
  }
  # the integral E1(27), about 6e-14, where an absolute tolerance loses its digits
  log <- data.frame(time_s = c(0, 60), temp_c = c(400, 800) - ZERO_CELSIUS)
  q <- 27 * 400 * GAS_CONSTANT / 1000
  expect_lt(abs(log(equivalent_time(log, q, 300)$equivalent_min) -
                  closed(400, 800, 60, q, 573.15)), 1e-12)
})

test_that("hardness along a history agrees with the rate equations solved by deSolve", {
  skip_if_not_installed("deSolve")
  log <- data.frame(time_s = c(0, 90, 240, 600, 630, 700, 1500, 1600, 2400),
                    temp_c = c(20, 240, 352, 369, 355, 371, 371, 90, 30))
  par <- c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.12), n = 1.6, q_kj_mol = 190, dh_rec = 6,
           ln_k_rec = log(2), q_rec_kj_mol = 120)
  ref_c <- 370
  temp <- stats::approxfun(log$time_s, log$temp_c, rule = 2)
  rates <- function(t, y, p) {
    e <- inverse_temperature(temp(t), ref_c)
    k <- exp(par[["ln_k_ref"]] + par[["q_kj_mol"]] * e) / 60
    k_rec <- exp(par[["ln_k_rec"]] + par[["q_rec_kj_mol"]] * e) / 60
    # theta, fraction in rate form dX/dt = n k theta^(n - 1) (1 - X), recovery dH_u/dt
    list(c(k, par[["n"]] * k * max(y[1L], 0)^(par[["n"]] - 1) * (1 - y[2L]),
           -par[["dh_rec"]] * k_rec * exp((y[3L] - par[["h_worked"]]) / par[["dh_rec"]])))
  }
  out <- c(0, 0, par[["h_worked"]])
  solved <- matrix(out, 1L)
  for (j in seq_len(nrow(log) - 1L)) { # piece by piece: the temperature has corners
    out <- deSolve::lsoda(out, log$time_s[j + 0:1], rates, NULL, rtol = 1e-11,
                          atol = c(1e-18, 1e-14, 1e-12))[2L, -1L]
    solved <- rbind(solved, out)
  }
  hardness <- solved[, 2L] * par[["h_soft"]] + (1 - solved[, 2L]) * solved[, 3L]
  ours <- soften(log, par, "recovery_jmak", temp_ref_c = ref_c)
  expect_lt(max(abs(ours$theta / solved[, 1L] - 1)[-1L]), 1e-6)
  expect_lt(max(abs(ours$fraction - solved[, 2L])), 1e-6)
  expect_lt(max(abs(ours$hardness - hardness)), 1e-6 * 180)
  expect_gt(diff(range(hardness)), 50) # the case moves
})
