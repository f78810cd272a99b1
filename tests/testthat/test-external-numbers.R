# The rate laws against the same formulas in 200 bits (GNU MPFR through the package Rmpfr), over
# arguments far beyond any furnace. Bounds: rounding of one ulp (2.2e-16) in k t is multiplied by
# n, so 1e-14; where a power is formed by logarithms of numbers up to e^6000, 5e-12.

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
  sine <- sin(exactly(68) / 180 * Rmpfr::Const("pi", exact_bits))
  expect_lt(max(relative(vickers_number(force, d), 2 * exactly(force) * sine / exactly(d)^2 / g)),
            1e-14)
  ball <- exactly(10)
  # D - sqrt(D^2 - d^2) loses digits for small indentations unless written as a quotient
  brinell <- 2 * exactly(force) / g /
    (Rmpfr::Const("pi", exact_bits) * ball * (ball - sqrt(ball^2 - exactly(d)^2)))
  expect_lt(max(relative(brinell_number(force, 10, d), brinell)), 1e-12)
})

test_that("knoop numbers, Rockwell numbers and depths", {
  skip_if_not_installed("Rmpfr")
  force <- 10^seq(-3, 4, 0.5)
  d <- 10^seq(-4, 2, length.out = length(force))
  wanted <- exactly(force) / exactly(KGF) / (exactly(0.07028) * exactly(d)^2)
  expect_lt(max(relative(knoop_number(force, d), wanted)), 1e-14)
  info <- hardness_scales()
  info <- info[info$test == "Rockwell", ]
  for (k in seq_len(nrow(info))) {
    n <- exactly(info$n[k])
    s <- exactly(info$s_mm[k])
    number <- seq(-20, info$n[k], length.out = 15)
    expect_lt(max(as.numeric(abs(exactly(rockwell_depth(number, info$scale[k])) -
                                   (n - exactly(number)) * s) / (n * s))), 1e-15)
    depth <- seq(0, 0.4, length.out = 15)
    expect_lt(max(as.numeric(abs(exactly(rockwell_number(depth, info$scale[k])) -
                                   (n - exactly(depth) / s)) / (n + exactly(depth) / s))), 1e-15)
  }
})

test_that("recovery_loss(): k t from 1e-300 to 1e300 and beyond the doubles", {
  skip_if_not_installed("Rmpfr")
  d <- expand.grid(e = c(-300, -200, -30, -16, -8, -3, 0, 0.3, 1, 5, 12, 20, 100, 300),
                   k = c(1e-12, 0.3, 1e8), loss = c(1e-3, 7))
  time <- 10^pmin(d$e - log10(d$k), 307)
  wanted <- exactly(d$loss) * log1p(exactly(d$k) * exactly(time))
  expect_lt(max(relative(recovery_loss(time, d$loss, d$k), wanted)), 1e-14)
  beyond <- recovery_loss(1e300, 2, 1e300)
  expect_lt(relative(beyond, 2 * 600 * log(exactly(10))), 1e-14)
})

test_that("time-temperature parameters: 1 to 5000 K, times from 1e-12 to 1e12 h", {
  skip_if_not_installed("Rmpfr")
  d <- expand.grid(temp_k = c(1, 77, 293.15, 600, 1273.15, 5000), log_h = c(-12, -3, 0, 0.7, 5, 12),
                   constant = c(13, 20, 46))
  temp_c <- d$temp_k - 273.15
  kelvin <- exactly(temp_c) + exactly(273.15)
  time <- 10^d$log_h
  wanted <- kelvin * (exactly(d$constant) + log10(exactly(time)))
  p <- larson_miller(temp_c, time_h = time, constant = d$constant)$parameter_k
  expect_lt(max(relative(p, wanted)), 1e-14 * 25) # C + log10 t loses up to a factor 25 here (13 - 12)
  minutes <- kelvin * (exactly(d$constant) + log10(exactly(60 * time) / 60))
  p <- hollomon_jaffe(temp_c, time_min = 60 * time, constant = d$constant)$parameter_k
  expect_lt(max(relative(p, minutes)), 1e-14 * 25)
  # times: the rounding of an exponent of up to 46 + 12, times ln 10
  p <- as.numeric(wanted)
  back <- larson_miller(temp_c, parameter_k = p, constant = d$constant)$time_h
  truth <- exactly(10)^(exactly(p) / kelvin - exactly(d$constant))
  expect_lt(max(relative(back, truth)), 1e-13)
  back <- larson_miller(parameter_k = p, time_h = time, constant = d$constant)$temp_c
  expect_lt(max(abs(back - temp_c) / d$temp_k), 1e-13)
})

test_that("grain size: numbers from -40 to 60, and there and back", {
  skip_if_not_installed("Rmpfr")
  g <- c(-40, -7.3, -1, 0, 0.01, 1, 5.5, 10, 14, 37.7, 60)
  t <- grain_size(number = g)
  two <- exactly(2)
  density <- two^(exactly(g) - 1) / exactly("0.254")^2
  expect_lt(max(relative(t$grains_per_mm2, density)), 1e-14)
  expect_lt(max(relative(t$intercept_mm, exactly("0.32") * two^(-exactly(g) / 2))), 1e-14)
  expect_lt(max(relative(t$diameter_mm, 1 / sqrt(density))), 1e-14)
  expect_lt(max(relative(t$area_mm2, 1 / density)), 1e-14)
  # a logarithm: absolute error of the number
  for (size in c("intercept_mm", "diameter_mm", "grains_per_mm2")) {
    expect_lt(max(abs(do.call(grain_size, t[size])$number - g)), 1e-13)
  }
})

test_that("grain growth: from grains of 1e-200 to 1 mm, exponents 1 to 10", {
  skip_if_not_installed("Rmpfr")
  d <- expand.grid(d0 = c(0, 1e-200, 1e-40, 1e-3, 0.02, 1), kt = c(0, 1e-30, 1e-8, 1e-3, 10),
                   m = c(1, 2, 3.7, 10))
  d <- d[d$d0 > 0 | d$kt > 0, ]
  got <- grain_growth(d$kt, d$d0, k_ref = 1, m = d$m)
  m <- exactly(d$m)
  wanted <- exp(log(exactly(d$d0)^m + exactly(d$kt)) / m)
  expect_lt(max(relative(got, wanted)), 1e-13)
  # and the time from one size to the next, where they are nearly the same too
  e <- expand.grid(d0 = c(1e-6, 0.01, 0.3), grow = c(1e-9, 1e-3, 1, 50), m = c(1, 2, 3.7, 10))
  to <- e$d0 * (1 + e$grow)
  got <- grain_growth_time(to, e$d0, k_ref = 1e-3, m = e$m)
  wanted <- (exactly(to)^exactly(e$m) - exactly(e$d0)^exactly(e$m)) / exactly(1e-3)
  # logarithms of 1e-6 (14) apart by 1e-9: 14 * 2.2e-16 / 1e-9 is lost in the subtraction
  expect_lt(max(relative(got, wanted)[e$grow > 1e-9]), 1e-11)
  expect_lt(max(relative(got, wanted)), 1e-5)
})

test_that("strength by formula", {
  skip_if_not_installed("Rmpfr")
  hv <- c(1e-3, 60, 112.5, 190, 5000)
  m <- c(2, 2.1, 2.2, 2.44, 3)
  n <- exactly(m) - 2
  tensile <- estimate_strength(hv, method = "cahoon_tensile", meyer_index = m)$strength_mpa
  # (n / 0.217)^n: m - 2 keeps 2.2e-16 * m / (m - 2) of n, at most 5e-15
  expect_lt(max(relative(tensile, exactly(hv) * exactly(KGF) / exactly(2.9) *
                           (n / exactly(0.217))^n)), 1e-13)
  proof <- estimate_strength(hv, method = "cahoon_proof", meyer_index = m)$strength_mpa
  expect_lt(max(relative(proof, exactly(hv) * exactly(KGF) / 3 * exactly(0.1)^n)), 1e-14)
  tabor <- estimate_strength(hv, method = "tabor")$strength_mpa
  expect_lt(max(relative(tabor, exactly(hv) * exactly(KGF) / exactly(2.9))), 1e-14)
})

# The monotone cubic of Fritsch and Carlson (1980) in 200 bits, as src/scale.c states it: through the
# points x, y of each of many curves (lists), at the numbers `at` (a list); all curves at once, since
# one exact operation costs the same for one number and for many.
exact_cubics <- function(x, y, at) {
  n <- lengths(x)
  flat <- function(v) { # of shorter curves what stands behind the end is never used
    lapply(seq_len(max(n)), function(i) {
      exactly(vapply(v, function(one) one[min(i, length(one))] + max(0, i - length(one)), 0))
    })
  }
  xs <- flat(x)
  ys <- flat(y)
  steps <- seq_len(max(n) - 1L)
  secant <- lapply(steps, function(i) (ys[[i + 1L]] - ys[[i]]) / (xs[[i + 1L]] - xs[[i]]))
  slope <- c(secant[1L], lapply(steps, function(i) {
    last <- as.numeric(i + 1L >= n)
    if (i == length(steps)) return(secant[[i]])
    last * secant[[i]] + (1 - last) * (secant[[i]] + secant[[i + 1L]]) / 2
  }))
  for (i in steps) {
    zero <- as.logical(secant[[i]] == 0)
    given <- secant[[i]] + zero
    a <- slope[[i]] / given
    b <- slope[[i + 1L]] / given
    a[a < 0] <- 0
    b[b < 0] <- 0
    length <- sqrt(a^2 + b^2)
    shrink <- exactly(rep(1, length(n)))
    far <- as.logical(length > 3)
    shrink[far] <- 3 / length[far]
    inside <- as.numeric(i < n)
    slope[[i]] <- inside * shrink * a * secant[[i]] + (1 - inside) * slope[[i]]
    slope[[i + 1L]] <- inside * shrink * b * secant[[i]] + (1 - inside) * slope[[i + 1L]]
  }
  curve <- rep(seq_along(at), lengths(at))
  k <- unlist(Map(function(v, x) findInterval(v, x, rightmost.closed = TRUE), at, x))
  pick <- function(values, k) do.call(c, values)[(k - 1L) * length(n) + curve]
  at <- unlist(at)
  h <- pick(xs, k + 1L) - pick(xs, k)
  t <- (exactly(at) - pick(xs, k)) / h
  value <- pick(ys, k) * (1 + 2 * t) * (1 - t)^2 + h * pick(slope, k) * t * (1 - t)^2 +
    pick(ys, k + 1L) * t^2 * (3 - 2 * t) + h * pick(slope, k + 1L) * t^2 * (t - 1)
  split_at <- split(seq_along(curve), curve)
  lapply(split_at, function(j) value[j])
}

test_that("conversions between all pairs of the brass table, and to HV in the others", {
  skip_on_cran()
  skip_if_not_installed("Rmpfr")
  pairs <- list()
  for (material in c("brass", "brass_gb", "copper", "aluminium", "steel", "steel_din")) {
    table <- table_of(material)
    scales <- colnames(table$value)
    for (from in scales) for (to in if (material == "brass") scales else intersect("HV", scales)) {
      if (from == to) next
      points <- pair_points(table, match(from, scales), match(to, scales))
      x <- points[[1L]]
      between <- x[-1L] - diff(x) * rep_len(c(0.5, 0.9, 0.13, 0.31), length(x) - 1L)
      at <- c(x, between)
      pairs <- c(pairs, list(list(x = x, y = points[[2L]], at = at, label = paste(material, from, to),
                                  got = convert_hardness(at, from, to, material))))
    }
  }
  expect_identical(length(pairs), 78L)
  part <- function(name) lapply(pairs, `[[`, name)
  wanted <- exact_cubics(part("x"), part("y"), part("at"))
  for (i in seq_along(pairs)) {
    # relative to the largest number of the pair: HRB passes through zero
    worst <- max(as.numeric(abs(exactly(pairs[[i]]$got) - wanted[[i]]))) / max(abs(pairs[[i]]$y))
    expect_lt(worst, 1e-12, label = pairs[[i]]$label)
  }
})
