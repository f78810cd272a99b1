# Textbook problems. Numbers of inst/extdata/worked_avrami.csv and worked_arrhenius.csv; each
# row names its source and how it was obtained. Compared with the recomputed column, since
# official answers are often rounded or read off a graph.

# k from one point (X at t): the time a unit rate would need, over the time it took.
rate_from <- function(x, time, n) jmak_time(x, k = 1, n = n) / time

half_life <- function(k, n) jmak_time(0.5, k, n)

test_that("Callister, rate from one point: problems with n = 2.5, 5.0, 2.4 and 2.8", {
  # Callister, Materials Science and Engineering; published answers of the first two from memory
  cases <- data.frame(n = c(2.5, 5, 2.4, 2.8), x = c(0.40, 0.30, 0.30, 0.30),
                      t = c(200, 100, 100, 100), k = c(9.0302e-7, 3.5667e-11, 5.6529e-6, NA),
                      t50 = c(225.97, 114.21, 131.896, 126.781),
                      rate = c(4.4254e-3, 8.7557e-3, 7.5818e-3, 7.8876e-3))
  k <- rate_from(cases$x, cases$t, cases$n)
  expect_equal(half_life(k, cases$n), cases$t50, tolerance = 3e-5)
  expect_equal(1 / half_life(k, cases$n), cases$rate, tolerance = 3e-5)
  # the textbook's constant stands outside the power
  expect_equal((k^cases$n)[1:3], cases$k[1:3], tolerance = 3e-5)
})

test_that("Callister 8e problem 10.6: n = 1.7, half in 100 s, 99 % in 305 s", {
  k <- jmak_time(0.5, 1, 1.7) / 100
  expect_equal(jmak_time(0.99, k, 1.7), 304.63, tolerance = 2e-5)
  expect_equal(jmak_time(0.99, k, 1.7), 305, tolerance = 2e-3) # as published
})

test_that("Callister 7e problem 10.7: n = 2, k = 5e-4, rate 2.69e-2 per s", {
  expect_equal(1 / jmak_time(0.5, 5e-4, 2, form = "constant"), 2.6858e-2, tolerance = 2e-5)
})

test_that("Callister 8e problems 10.9 and 10.10: two points give n and k", {
  two_points <- function(t, x) {
    f <- suppressWarnings(fit_least_squares(x ~ 1 - exp(-(k * t)^n), c(k = 1 / max(t), n = 2),
                                            data = data.frame(t = t, x = x)))
    expect_equal(deviance(f), 0, tolerance = 1e-20)
    coef(f)
  }
  b <- two_points(c(12.6, 28.2), c(0.2, 0.8))
  expect_equal(b[["n"]], 2.45254, tolerance = 1e-5)
  expect_equal(b[["k"]]^b[["n"]], 4.4657e-4, tolerance = 2e-5)
  # the published 35.7 s is hand rounding (from memory); 36.33 s is the exact arithmetic
  expect_equal(jmak_time(0.95, b[["k"]], b[["n"]]), 36.33, tolerance = 2e-4)
  b <- two_points(c(13.1, 29.1), c(0.20, 0.70))
  expect_equal(b[["n"]], 2.11191, tolerance = 1e-5)
  expect_equal(b[["k"]]^b[["n"]], 9.75018e-4, tolerance = 1e-5)
  expect_equal(jmak_fraction(22.8, b[["k"]], b[["n"]]), 0.51285, tolerance = 2e-5)
})

test_that("ratio of the times to 99 % and to half depends on n alone", {
  # derived from the definition
  expect_equal(jmak_time(0.99, 0.02, 1:4) / jmak_time(0.5, 0.02, 1:4),
               c(6.6439, 2.57757, 1.87994, 1.60548), tolerance = 1e-5)
})

test_that("the file of textbook problems is carried whole, with its sources", {
  a <- utils::read.csv(extdata("worked_avrami.csv"))
  expect_equal(nrow(a), 9L)
  expect_true(all(nzchar(a$source)))
  r <- utils::read.csv(extdata("worked_arrhenius.csv"))
  expect_true(all(c("AR1", "AR4", "AR5", "AR6") %in% r$id))
})

copper <- data.frame(temp_c = c(135, 119, 113, 102, 88, 43),
                     rate = c(0.105, 4.4e-2, 2.9e-2, 1.25e-2, 4.2e-3, 3.8e-5))

test_that("rolled copper: 93.7 kJ/mol and about 269 days at room temperature", {
  # Callister after Decker and Harker, Trans. AIME 188 (1950) 887; rates seen, answer from
  # memory. The recomputed Q with 273.15 and R = 8.314463 is 93.714.
  f <- fit_arrhenius(copper, rate = rate)
  expect_equal(coef(f)[["q_kj_mol"]], 93.714, tolerance = 1e-5)
  expect_equal(sqrt(vcov(f)[2, 2]), 2.288, tolerance = 2e-3)
  days <- exp(-predict(f, data.frame(temp_c = 20))) / 1440
  expect_equal(days, 268.6, tolerance = 5e-3) # recomputed with 293 K
  expect_equal(days, 250, tolerance = 0.10)   # the official answer is a graph reading
  # as t50, the same line
  copper$t50 <- 1 / copper$rate
  expect_equal(coef(fit_arrhenius(copper, time = t50)), coef(f), tolerance = 1e-12)
})

test_that("diffusion jumps: 5e5 per s at 400 C and 30 000 cal/mol give 1.08e9 at 750 C", {
  # Askeland, Essentials of Materials Science and Engineering, problem 5-4 (R = 1.987, 273)
  rate <- arrhenius_rate(750, 5e5, 400, 30000 * 4.184 / 1000)
  expect_equal(rate, 1.07734e9, tolerance = 5e-3)
})

test_that("complete in 2 h at 590 K, 1 h at 600 K, 30 min at 610 K, 15 min at 620 K: about 200 kJ/mol", {
  # Reed-Hill's illustration; pairwise values derived
  temp <- c(590, 600, 610, 620) - 273.15
  time <- c(120, 60, 30, 15)
  pair <- vapply(1:3, function(i) {
    coef(fit_arrhenius(data.frame(temp_c = temp[i + 0:1], t = time[i + 0:1]), time = t))[["q_kj_mol"]]
  }, 0)
  expect_equal(pair, c(204.0, 210.9, 218.0), tolerance = 3e-4)
})

test_that("accelerated life of Yang (2007), example 7.1: 0.323 eV and a factor 3.46", {
  # Life Cycle Reliability Engineering; exponential maximum likelihood with equal numbers at
  # each temperature is the regression of the log of the mean life
  life <- data.frame(temp_c = c(85, 100, 115),
                     hours = c(mean(c(2385, 2537)), mean(c(1655, 1738)), mean(c(1025, 1163))))
  f <- fit_arrhenius(life, time = hours)
  ev <- coef(f)[["q_kj_mol"]] / 96.48533212 # kJ/mol in 1 eV, CODATA 2018
  expect_equal(ev, 0.323193, tolerance = 0.015)
  factor <- exp(diff(predict(f, data.frame(temp_c = c(35, 70)))))
  expect_equal(factor, 3.46043, tolerance = 0.02)
})

test_that("activation energies of tungsten from half-loss times", {
  # Alfonso and others, rolled tungsten; times interpolated on the published curves (derived)
  t50 <- data.frame(temp_c = c(1100, 1150, 1175, 1200, 1225, 1250),
                    loss_h = c(106.2, 35.45, 20.10, 11.80, 7.99, 5.41),
                    x_h = c(112.6, 40.85, 20.88, 13.48, 9.017, 6.255))
  f <- fit_arrhenius(t50, time = loss_h)
  expect_equal(coef(f)[["q_kj_mol"]], 349.4, tolerance = 1e-3)
  expect_equal(sqrt(vcov(f)[2, 2]), 9.0, tolerance = 2e-2)
  f <- fit_arrhenius(t50, time = x_h)
  expect_equal(coef(f)[["q_kj_mol"]], 341.0, tolerance = 1e-3)
  expect_equal(sqrt(vcov(f)[2, 2]), 12.0, tolerance = 2e-2)
  w67 <- data.frame(temp_c = c(1150, 1175, 1200, 1250, 1350), h = c(1204, 486.5, 297.2, 38.51, 3.617))
  expect_equal(coef(fit_arrhenius(w67, time = h))[["q_kj_mol"]], 565.4, tolerance = 2e-3)
  yu <- data.frame(temp_c = c(1200, 1250, 1300, 1350), h = c(3.434, 2.309, 1.243, 0.773))
  expect_equal(coef(fit_arrhenius(yu, time = h))[["q_kj_mol"]], 202.1, tolerance = 2e-3)
})
