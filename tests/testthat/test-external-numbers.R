# The rate laws against the same formulas in 200 bits (GNU MPFR through the package Rmpfr), over
# arguments far beyond any furnace. Bounds: rounding of one ulp (2.2e-16) in k t is multiplied by
# n, so 1e-14; where a power is formed by logarithms of numbers up to e^6000, 5e-12.

bits <- 200L
exactly <- function(x) Rmpfr::mpfr(x, bits)
relative <- function(got, truth) {
  truth <- truth + 0 * exactly(1)
  error <- abs(exactly(got) - truth) / abs(truth)
  # below the normal doubles a result may lose its digits, not its size
  small <- abs(truth) < exactly(2)^-1022
  out <- as.numeric(error)
  out[as.logical(small)] <- as.numeric(abs(exactly(got) - truth))[as.logical(small)]
  out[got == 0 & as.numeric(truth) == 0] <- 0
  out
}

test_that("jmak_fraction(): k t from 1e-300 to 1e300, n from 0.2 to 8", {
  skip_if_not_installed("Rmpfr")
  d <- expand.grid(e = c(-300, -150, -60, -20, -8, -3, -1, -0.3, 0, 0.1, 0.3, 1, 8, 150, 300),
                   n = c(0.2, 0.5, 1, 1.7, 2, 3.3, 8), k = c(1e-3, 1, 37))
  time <- 10^d$e / d$k
  truth <- function(power) -expm1(-power)
  got <- jmak_fraction(time, d$k, d$n)
  wanted <- truth((exactly(d$k) * exactly(time))^exactly(d$n))
  expect_lt(max(relative(got, wanted)), 1e-14)
  expect_true(all(got >= 0 & got <= 1))
  got <- jmak_fraction(time, d$k, d$n, form = "constant")
  wanted <- truth(exactly(d$k) * exactly(time)^exactly(d$n))
  expect_lt(max(relative(got, wanted)), 5e-12)
  # with incubation, away from theta = theta0 where the difference has no digits left
  late <- time * d$k > 1
  got <- jmak_fraction(time[late], d$k[late], d$n[late], theta0 = 0.5)
  wanted <- truth((exactly(d$k[late]) * exactly(time[late]) - 0.5)^exactly(d$n[late]))
  expect_lt(max(relative(got, wanted)), 1e-14)
})

test_that("jmak_time(): fractions from 1e-40 to all but 1e-15", {
  skip_if_not_installed("Rmpfr")
  d <- expand.grid(x = c(1e-40, 1e-20, 1e-8, 0.01, 0.3, 0.5, 0.9, 0.999, 1 - 1e-9, 1 - 1e-15),
                   n = c(0.2, 0.5, 1, 1.7, 3.3, 8), k = c(1e-30, 0.01, 1e30))
  power <- -log1p(-exactly(d$x))
  for (theta0 in c(0, 0.7)) {
    got <- jmak_time(d$x, d$k, d$n, theta0 = theta0)
    expect_lt(max(relative(got, (power^(1 / exactly(d$n)) + theta0) / exactly(d$k))), 1e-13)
  }
  got <- jmak_time(d$x, d$k, d$n, form = "constant")
  expect_lt(max(relative(got, (power / exactly(d$k))^(1 / exactly(d$n)))), 5e-13)
  # there and back
  sane <- d$k == 0.01 & d$x <= 0.999
  back <- jmak_fraction(jmak_time(d$x, d$k, d$n), d$k, d$n)
  expect_equal(back[sane], d$x[sane], tolerance = 1e-12)
})

test_that("arrhenius_rate(): 1 to 5000 K", {
  skip_if_not_installed("Rmpfr")
  d <- expand.grid(temp_k = c(1, 20, 77, 250, 293.15, 600, 603.15, 1273.15, 5000),
                   ref_k = c(300, 603.15, 1500), q = c(1e-6, 1, 60, 180, 600))
  temp_c <- d$temp_k - 273.15
  ref_c <- d$ref_k - 273.15
  got <- arrhenius_rate(temp_c, 0.1, ref_c, d$q)
  zero <- exactly(273.15)
  wanted <- exactly(0.1) * exp(-1000 * exactly(d$q) / exactly(GAS_CONSTANT) *
                                 (1 / (exactly(temp_c) + zero) - 1 / (exactly(ref_c) + zero)))
  normal <- abs(as.numeric(log(wanted))) < 700
  expect_gt(sum(normal), 80L)
  expect_lt(max(relative(got[normal], wanted[normal])), 1e-12)
  # beyond the doubles: 0 or Inf, never NaN
  expect_true(all(got[!normal] < 1e-300 | got[!normal] > 1e300))
})

test_that("hardness numbers from forces and lengths", {
  skip_if_not_installed("Rmpfr")
  force <- rep(c(9.80665, 98.0665, 4903.325), each = 4)
  d <- rep(c(0.01, 0.352, 1.1, 2.4), 3)
  # ISO 6507-1: HV = 0.102 * 2 F sin(136 deg / 2) / d^2, with 0.102 for 1/9.80665; ISO 6506-1
  g <- exactly("9.80665")
  sine <- sin(exactly(68) / 180 * Rmpfr::Const("pi", bits))
  expect_lt(max(relative(vickers_number(force, d), 2 * exactly(force) * sine / exactly(d)^2 / g)),
            1e-14)
  ball <- exactly(10)
  # D - sqrt(D^2 - d^2) loses digits for small indentations unless written as a quotient
  brinell <- 2 * exactly(force) / g /
    (Rmpfr::Const("pi", bits) * ball * (ball - sqrt(ball^2 - exactly(d)^2)))
  expect_lt(max(relative(brinell_number(force, 10, d), brinell)), 1e-12)
})
