truth <- c(h_worked = 160, h_soft = 78, t50_rex_min = 12, n = 1.6, q_kj_mol = 140)
exact <- errors_alone()

test_that("without scatter and rounding the readings are the model, by its own formula", {
  r <- simulate_readings(truth, temp_c = c(300, 330), time_min = c(0, 12, 40), n_readings = 2,
                         scale = "HV", sd = exact, resolution = 0)
  # half of the recrystallisation after 12 min at 330 degrees Celsius
  expect_equal(as.vector(r$hardness[r$temp_c == 330 & r$time_min == 12]), rep((160 + 78) / 2, 2))
  k <- log(2)^(1 / 1.6) / 12 * exp(-140000 / 8.314462618 * (1 / 573.15 - 1 / 603.15))
  expect_equal(as.vector(r$hardness[r$temp_c == 300 & r$time_min == 40]),
               rep(78 + 82 * exp(-(k * 40)^1.6), 2))
  expect_equal(as.vector(r$hardness[r$time_min == 0]), rep(160, 4))
})

test_that("t50_rex_min and ln_k_ref are two ways to say the same, with incubation too", {
  by_rate <- truth
  names(by_rate)[3] <- "ln_k_ref"
  by_rate[["ln_k_ref"]] <- log(log(2)^(1 / 1.6) / 12)
  a <- simulate_readings(truth, seed = 4)
  b <- simulate_readings(by_rate, seed = 4)
  expect_equal(a$hardness, b$hardness)
  r <- simulate_readings(c(truth, theta0 = 0.3), temp_c = 330, time_min = c(0, 12), scale = "HV",
                         model = "jmak_incubation",
                         sd = exact, resolution = 0)
  expect_equal(as.vector(r$hardness[r$time_min == 12]), rep(119, 6))
  expect_identical(attr(r, "truth")$model, "jmak_incubation")
})

test_that("the model with recovery falls by its logarithm before recrystallisation", {
  r <- simulate_readings(c(h_worked = 160, h_soft = 78, t50_rex_min = 1e6, n = 2, q_kj_mol = 150,
                           dh_rec = 4, ln_k_rec = log(0.5), q_rec_kj_mol = 80),
                         model = "recovery_jmak", temp_c = 330, time_min = c(0, 10), n_readings = 1,
                         scale = "HV", sd = exact, resolution = 0)
  expect_equal(as.vector(r$hardness), c(160, 160 - 4 * log(1 + 0.5 * 10)), tolerance = 1e-6)
})

test_that("columns, order, steps and labels are those of readings", {
  r <- simulate_readings(seed = 1, operators = c("Ann", "Bob"))
  expect_s3_class(r, c("softanneal_readings", "data.frame"), exact = TRUE)
  expect_named(r, c("specimen", "temp_c", "step", "time_min", "reading", "hardness", "scale",
                    "operator"))
  expect_identical(nrow(r), 168L)
  expect_identical(as.vector(unique(r$step)), 0:6)
  expect_identical(as.vector(r$operator[c(1, 7, 13)]), c("Ann", "Bob", "Ann"))
  expect_identical(attr(r$temp_c, "label"), "Temperature (\u00b0C)")
  expect_identical(attr(r$time_min, "label"), "Time in the furnace (min)")
  expect_true(all(r$hardness %% 0.5 == 0))
  # a schedule without a reading before the furnace starts at step 1
  s <- simulate_readings(seed = 1, schedule = data.frame(
    specimen = c("x", "x", "y"), temp_c = c(330, 330, 370), time_min = c(8, 4, 4)))
  expect_identical(as.vector(s$time_min[s$reading == 1]), c(4, 8, 4))
  expect_identical(as.vector(s$step[s$reading == 1]), c(1L, 2L, 1L))
})

test_that("a scale for each reading, converted by the table", {
  r <- simulate_readings(truth, temp_c = 330, time_min = c(0, 12), n_readings = 2,
                         scale = c("HRF", "HR30TW"), sd = exact, resolution = 0)
  expect_identical(as.vector(r$scale), c("HRF", "HR30T", "HRF", "HR30T"))
  expect_equal(as.vector(r$hardness), convert_hardness(c(160, 160, 119, 119), "HV", r$scale))
})

test_that("each effect has the standard deviation asked for, where it belongs", {
  many <- function(...) {
    x <- c(...)
    simulate_readings(truth, temp_c = seq(250, 449), time_min = c(0, 1), n_readings = 5,
                      scale = "HV", resolution = 0, seed = 8, sd = errors_alone(x),
                      operators = if ("operator" %in% names(x)) letters[1:20])
  }
  effect <- function(r) as.vector(r$hardness) - attr(r, "truth")$hardness_hv
  # 2000, 400, 200 draws: relative error of a standard deviation about 1/sqrt(2 n)
  expect_equal(sd(effect(many(reading = 2))), 2, tolerance = 0.06)
  e <- many(step = 2)
  step <- interaction(e$specimen, e$time_min)
  expect_lt(max(tapply(effect(e), step, sd)), 1e-9)
  expect_equal(sd(tapply(effect(e), step, mean)), 2, tolerance = 0.12)
  e <- many(specimen = 2)
  expect_lt(max(tapply(effect(e), e$specimen, sd)), 1e-9)
  expect_equal(sd(tapply(effect(e), e$specimen, mean)), 2, tolerance = 0.17)
  e <- many(operator = 1)
  expect_lt(max(tapply(effect(e), e$operator, sd)), 1e-9)
  expect_equal(sd(tapply(effect(e), e$operator, mean)), 1, tolerance = 0.5)
  e <- many(machine = 1)
  expect_lt(sd(effect(e)), 1e-9)
  expect_gt(abs(mean(effect(e))), 0)
})

test_that("a seed gives the same readings and leaves the session as found", {
  set.seed(99)
  before <- .Random.seed
  a <- simulate_readings(seed = 12)
  expect_identical(.Random.seed, before)
  expect_identical(simulate_readings(seed = 12), a)
  expect_false(identical(simulate_readings(seed = 13)$hardness, a$hardness))
  set.seed(5)
  b <- simulate_readings()
  set.seed(5)
  expect_identical(simulate_readings(), b)
  # other kinds of generator: same readings, kinds as found
  old <- RNGkind("Wichmann-Hill", "Box-Muller")
  withr::defer(RNGkind(old[1], old[2], old[3]))
  kinds <- RNGkind()
  expect_identical(simulate_readings(seed = 12)$hardness, a$hardness)
  expect_identical(RNGkind(), kinds)
  rm(".Random.seed", envir = globalenv())
  expect_identical(simulate_readings(seed = 12)$hardness, a$hardness)
  expect_false(exists(".Random.seed", envir = globalenv()))
  expect_identical(RNGkind(), kinds)
})

test_that("known numbers of one seed, so that a change of the generator is noticed", {
  r <- simulate_readings(seed = 12, sd = errors_alone(step = 1.5, reading = 1.5))
  expect_identical(as.vector(r$hardness[1:6]), c(70.5, 70.5, 71, 70.5, 71, 70.5))
})

test_that("blunders change what they say and nothing else", {
  clean <- simulate_readings(seed = 3, scale = "HV")
  expect_identical(nrow(attr(clean, "truth")$blunders), 0L)
  r <- simulate_readings(seed = 3, scale = "HV",
                         blunders = c(outlier = 2, mislabel = 1, warm = 1, forgotten = 3))
  t <- attr(r, "truth")
  expect_identical(t$clean, as.vector(clean$hardness))
  expect_identical(as.vector(table(t$blunders$blunder)[c("outlier", "mislabel", "warm", "forgotten")]),
                   c(2L, 1L, 1L, 3L))
  of <- function(k) r$specimen == t$blunders$specimen[k] & r$time_min == t$blunders$time_min[k]
  changed <- is.na(r$hardness) | r$hardness != clean$hardness
  expected <- rep(FALSE, nrow(r))
  for (k in seq_len(nrow(t$blunders))) {
    here <- of(k) & (is.na(t$blunders$reading[k]) | r$reading %in% t$blunders$reading[k])
    difference <- as.vector(r$hardness - clean$hardness)[here]
    switch(t$blunders$blunder[k],
           outlier = expect_true(all(abs(difference) > 8 * 1.5 - 1)),
           warm = {
             expect_true(all(difference <= -3.5 & difference >= -7.5))
             expect_identical(as.vector(r$note[here]), rep("still warm when read", 6))
             expect_true(all(is.na(r$note[!here])))
           },
           forgotten = expect_true(is.na(difference)),
           mislabel = {
             next_time <- min(r$time_min[r$time_min > t$blunders$time_min[k]])
             other <- r$specimen == t$blunders$specimen[k] & r$time_min == next_time
             expect_identical(as.vector(r$hardness[here]), as.vector(clean$hardness[other]))
             expect_identical(as.vector(r$hardness[other]), as.vector(clean$hardness[here]))
             expected <- expected | other
           })
    expected <- expected | here
  }
  expect_true(all(expected[changed]))
  expect_identical(sum(is.na(r$hardness)), 3L)
})

test_that("simulated readings go through the fit, the file and back", {
  r <- simulate_readings(seed = 21, n_readings = 20, scale = "HV",
                         sd = errors_alone(step = 0.3, reading = 1.5))
  fit <- fit_softening(r)
  ends <- confint(fit, level = 0.9999)
  expect_true(all(ends["q_kj_mol", ] - 140 < c(0, Inf) & ends["q_kj_mol", ] - 140 > c(-Inf, 0)))
  file <- withr::local_tempfile(fileext = ".csv")
  write.csv(as.data.frame(r), file, row.names = FALSE)
  expect_equal(as.vector(read_readings(file)$hardness), as.vector(r$hardness))
})

test_that("what cannot be drawn is refused with its reason", {
  bad <- function(expr, what) expect_error(expr, class = paste0("softanneal_error_", what))
  bad(simulate_readings(c(h_worked = 160)), "argument")
  bad(simulate_readings(c(truth, ln_k_ref = -2)), "argument")
  bad(simulate_readings(c(truth, n = 2)), "argument")
  bad(simulate_readings(unname(truth)), "argument")
  bad(simulate_readings(replace(truth, "n", -1)), "range")
  bad(simulate_readings(replace(truth, "q_kj_mol", NA)), "argument")
  bad(simulate_readings(replace(truth, "h_worked", 400)), "range")
  bad(simulate_readings(truth, scale = "HRZ"), "scale")
  bad(simulate_readings(truth, scale = "HRC"), "scale")
  bad(simulate_readings(truth, scale = c("HRF", "HRB")), "argument")
  bad(simulate_readings(truth, scale = "HV", sd = c(step = 200), seed = 1), "range")
  bad(simulate_readings(truth, sd = c(machine = 60), seed = 2), "range")
  bad(simulate_readings(truth, sd = c(day = 1)), "argument")
  bad(simulate_readings(truth, sd = c(step = -1)), "range")
  bad(simulate_readings(truth, temp_c = c(330, 330)), "argument")
  bad(simulate_readings(truth, time_min = numeric()), "argument")
  bad(simulate_readings(truth, time_min = c(0, -4)), "range")
  bad(simulate_readings(truth, temp_c = NA_real_), "missing")
  bad(simulate_readings(truth, n_readings = 2.5), "argument")
  bad(simulate_readings(truth, blunders = "theft"), "argument")
  bad(simulate_readings(truth, blunders = 3), "argument")
  bad(simulate_readings(truth, blunders = c(warm = 0.5)), "argument")
  bad(simulate_readings(truth, blunders = c(warm = 100)), "too_few")
  bad(simulate_readings(truth, temp_c = 330, time_min = 0, blunders = "mislabel"), "too_few")
  bad(simulate_readings(truth, operators = 3), "argument")
  bad(simulate_readings(truth, specimen = c("a", "a", "b", "c")), "argument")
  bad(simulate_readings(truth, seed = 1.5), "argument")
  bad(simulate_readings(truth, seed = "one"), "argument")
  bad(simulate_readings(truth, colour = "red"), "argument")
  one <- data.frame(specimen = "x", temp_c = 330, time_min = 4)
  bad(simulate_readings(truth, schedule = one, specimen = "x"), "argument")
  bad(simulate_readings(truth, schedule = rbind(one, one)), "duplicate")
  bad(simulate_readings(truth, schedule = one["temp_c"]), "column")
  bad(simulate_readings(truth, schedule = transform(one, specimen = NA)), "missing")
})

test_that("more pieces than letters get numbers", {
  r <- simulate_readings(truth, temp_c = seq(300, 326), time_min = 0, n_readings = 1, seed = 1)
  expect_identical(as.vector(r$specimen[27]), "P27")
})
