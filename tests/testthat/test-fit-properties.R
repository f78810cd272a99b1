# Properties that hold for any readings: exact data come back, rounding changes nothing, units
# are only units, order and names carry no meaning. Random truths and designs, fixed seeds.

# Readings of a model at constant temperature, without scatter: `p` may hold more than it needs.
exact_readings <- function(model, p, temps, n = 1,
                           times = c(0, 1, 2, 4, 8, 16, 32, 64, 128, 256)) {
  hold <- data.frame(specimen = rep(paste0("piece-", temps), each = 2),
                     time_s = c(0, 60 * max(times)), temp_c = rep(temps, each = 2))
  s <- soften(hold, p[model_terms(model)], model, temp_ref_c = 330, time_min = times)
  d <- data.frame(specimen = s$specimen, temp_c = s$temp_c, time_min = s$time_s / 60,
                  hardness = s$hardness, scale = "HV")
  d[rep(seq_len(nrow(d)), each = n), ]
}

random_truth <- function(seed) {
  r <- with_test_seed(seed, stats::runif(12))
  c(h_worked = 150 + 40 * r[1], h_soft = 70 + 15 * r[2], ln_k_ref = log(0.03 + 0.05 * r[3]),
    n = 1 + 1.2 * r[4], q_kj_mol = 130 + 80 * r[5], theta0 = 0.05 + 0.3 * r[6],
    dh_rec = 4 + 4 * r[7], ln_k_rec = log(0.5 + r[8]), q_rec_kj_mol = 80 + 40 * r[9],
    dh_hard = 5 + 5 * r[10], ln_k_hard = log(5 + 5 * r[11]), q_hard_kj_mol = 70 + 40 * r[12])
}

with_scatter <- function(d, seed, sd = 1) {
  d$hardness <- d$hardness + with_test_seed(seed, stats::rnorm(nrow(d), sd = sd))
  d
}

whole_range <- c(190, 230, 270, 310, 340, 370, 400)

test_that("exact readings of all six models give every parameter back, no slower than noisy ones", {
  skip_on_cran()
  evaluations <- c(exact = 0, noisy = 0)
  for (model in model_names()) for (seed in 1:3) {
    truth <- random_truth(seed)
    d <- exact_readings(model, truth, whole_range)
    # models with hardening have several minima: an amplitude of no metal is kept out
    upper <- if (grepl("hardening", model)) c(dh_hard = 20)
    f <- quietly_fitted(d, model, temp_ref_c = 330, upper = upper)
    label <- paste(model, seed)
    expect_true(f$convergence$converged, label = label)
    expect_equal(coef(f), truth[names(coef(f))], tolerance = 1e-8, label = label)
    expect_lt(deviance(f), 1e-18 * sum(d$hardness^2), label = label)
    expect_true(all(f$states == "determined"), label = label)
    g <- quietly_fitted(with_scatter(d, seed + 100), model, temp_ref_c = 330, upper = upper)
    evaluations <- evaluations + c(f$convergence$evaluations, g$convergence$evaluations)
  }
  expect_lt(evaluations[["exact"]], evaluations[["noisy"]])
})

# Random designs of up to five temperatures and replicates of unequal number.
random_readings <- function(seed, model = "jmak") {
  truth <- random_truth(seed)
  d <- exact_readings(model, truth, c(250, 290, 310, 330, 360, 390), n = 4)
  d <- d[with_test_seed(seed + 10, sort(sample(nrow(d), 170))), ]
  d <- with_scatter(d, seed + 20, 0.8)
  rownames(d) <- NULL
  d
}

# What the data do not determine may lie anywhere: it is compared by its state.
determined <- function(f) names(coef(f))[f$states == "determined"]

expect_same_fit <- function(g, f, tolerance = 1e-8, ...) {
  expect_gt(length(determined(f)), 3L)
  expect_equal(coef(g)[determined(f)], coef(f)[determined(f)], tolerance = tolerance, ...)
  expect_equal(vcov(g), vcov(f), tolerance = 10 * tolerance, ...)
  expect_equal(deviance(g), deviance(f), tolerance = tolerance, ...)
  expect_equal(g$states, f$states, ...)
}

test_that("rounding, order of rows, order of replicates and names of pieces change nothing", {
  skip_on_cran()
  for (seed in 1:6) {
    model <- c("jmak", "jmak_incubation", "recovery_jmak")[seed %% 3 + 1]
    d <- random_readings(seed, model)
    f <- quietly_fitted(d, model)
    e <- d
    e$hardness <- e$hardness *
      (1 + .Machine$double.eps * with_test_seed(seed, sample(-1:1, nrow(e), TRUE)))
    expect_same_fit(quietly_fitted(e, model), f, 1e-6, label = paste("rounding", seed))
    o <- with_test_seed(seed + 30, sample(nrow(d)))
    g <- quietly_fitted(d[o, ], model)
    expect_same_fit(g, f, 1e-6, label = paste("rows", seed))
    expect_equal(residuals(g), residuals(f)[o], tolerance = 1e-6, ignore_attr = TRUE)
    # replicates trade places within their step
    swapped <- d
    step <- paste(d$temp_c, d$time_min)
    swapped$hardness <- stats::ave(d$hardness, step, FUN = rev)
    expect_same_fit(quietly_fitted(swapped, model), f, 1e-6, label = paste("replicates", seed))
    # names say nothing: another order of the alphabet, factors, numbers
    for (names in list(\(x) paste0("z", 9 - match(x, unique(x))), factor, \(x) match(x, unique(x)),
                       \(x) paste("\u00e4\u00df", x))) {
      renamed <- d
      renamed$specimen <- names(d$specimen)
      g <- quietly_fitted(renamed, model)
      expect_identical(coef(g), coef(f))
      expect_identical(vcov(g), vcov(f))
    }
  }
})

test_that("units are only units: K, degrees Fahrenheit, s, h, and the reference temperature", {
  skip_on_cran()
  skip_if_not_installed("units")
  for (seed in 1:4) {
    model <- c("jmak", "recovery_jmak")[seed %% 2 + 1]
    d <- random_readings(seed, model)
    f <- quietly_fitted(d, model, temp_ref_c = 330)
    for (time_unit in c("s", "min", "h")) for (temp_unit in c("K", "degree_C", "degree_F")) {
      u <- d
      u$time_min <- units::set_units(units::set_units(d$time_min, "min"), time_unit,
                                     mode = "standard")
      u$temp_c <- units::set_units(units::set_units(d$temp_c, "degree_C"), temp_unit,
                                   mode = "standard")
      g <- quietly_fitted(u, model, temp_ref_c = 330)
      # K and F round the temperature at 1e-16 of 600; steps must still be the same steps
      expect_equal(length(g$conditions$mean), length(f$conditions$mean))
      expect_same_fit(g, f, 1e-6, label = paste(seed, time_unit, temp_unit))
    }
    # the reference temperature moves ln k along the law of Arrhenius and nothing else
    h <- quietly_fitted(d, model, temp_ref_c = 300)
    rates <- grep("^ln_k", names(coef(f)), value = TRUE)
    expect_equal(coef(h)[setdiff(names(coef(f)), rates)],
                 coef(f)[setdiff(names(coef(f)), rates)], tolerance = 1e-6)
    energies <- sub("ln_k_", "q_", sub("ln_k_ref", "q", rates))
    expect_equal(unname(coef(h)[rates]),
                 unname(coef(f)[rates] + coef(f)[paste0(energies, "_kj_mol")] *
                          inverse_temperature(300, 330)), tolerance = 1e-6)
    expect_equal(deviance(h), deviance(f), tolerance = 1e-8)
    new <- data.frame(temp_c = c(300, 350), time_min = 10)
    expect_equal(predict(h, new, interval = "confidence"), predict(f, new, interval = "confidence"),
                 tolerance = 1e-6)
  }
})

test_that("a factor on hardness scales hardness, a factor on time scales the rates", {
  skip_on_cran()
  for (seed in 1:4) {
    model <- c("jmak", "recovery_jmak", "jmak_incubation", "jmak")[seed]
    d <- random_readings(seed, model)
    f <- quietly_fitted(d, model, se = "cluster")
    levels <- intersect(c("h_worked", "h_soft", "dh_rec"), names(coef(f)))
    rates <- grep("^ln_k", names(coef(f)), value = TRUE)
    for (by in c(0.01, 0.37, 10, 1000)) {
      factor <- ifelse(names(coef(f)) %in% levels, by, 1)
      g <- quietly_fitted(transform(d, hardness = by * hardness), model,
                          se = "cluster")
      expect_equal(coef(g), factor * coef(f), tolerance = 1e-6)
      expect_equal(vcov(g), outer(factor, factor) * vcov(f), tolerance = 1e-5)
      expect_equal(sigma(g), by * sigma(f), tolerance = 1e-7)
      expect_equal(predict(g, d[1:20, ]), by * predict(f, d[1:20, ]), tolerance = 1e-7)
      slow <- quietly_fitted(transform(d, time_min = by * time_min), model, se = "cluster")
      expect_equal(coef(slow), coef(f) - ifelse(names(coef(f)) %in% rates, log(by), 0),
                   tolerance = 1e-6)
      expect_equal(vcov(slow), vcov(f), tolerance = 1e-5)
    }
  }
})

test_that("names of groups and their order change nothing in many fits", {
  d <- do.call(rbind, lapply(1:4, \(s) transform(random_readings(s), coil = paste0("coil-", s))))
  f <- coef(fit_each(d, by = "coil"))
  expect_false(anyNA(f))
  renamed <- transform(d, coil = paste0("q", 9 - as.integer(factor(coil))))
  g <- coef(fit_each(renamed, by = "coil"))
  expect_identical(unname(g[paste0("q", 9 - 1:4), ]), unname(f[paste0("coil-", 1:4), ]))
  o <- with_test_seed(8, sample(nrow(d)))
  g <- coef(fit_each(d[o, ], by = "coil"))
  expect_setequal(rownames(g), rownames(f))
  expect_equal(g[rownames(f), ], f, tolerance = 1e-8)
})

# The other fits, each with its table: order of the rows, and rounding.
other_fits <- list(
  arrhenius = list(\(d) fit_arrhenius(d, rate = rate),
                   data.frame(temp_c = c(135, 119, 113, 102, 88, 43),
                              rate = c(0.105, 4.4e-2, 2.9e-2, 1.25e-2, 4.2e-3, 3.8e-5))),
  kissinger = list(fit_kissinger, data.frame(rate_k_min = c(2.5, 5, 10, 20, 40),
                                             peak_c = c(140.98, 151.07, 161.63, 172.72, 184.38))),
  hall_petch = list(fit_hall_petch, data.frame(grain_mm = c(0.05, 0.028, 0.016, 0.010),
                                               hardness = c(60, 71, 80, 90))),
  hardening = list(fit_hardening, data.frame(hardness = c(54, 62, 76, 86, 94),
                                             effective_strain = c(0.13, 0.27, 0.53, 0.80, 1.06))),
  growth = list(\(d) fit_grain_growth(d, d0_mm = 0.009),
                utils::read.csv(extdata("grain_bellbrass_growth.csv"))),
  fractions = list(fit_recrystallisation,
                   utils::read.csv(extdata("grain_bellbrass_fractions.csv"))),
  lifetime = list(\(d) fit_lifetime(d, event = reached),
                  data.frame(temp_c = rep(c(290, 320, 350), each = 4),
                             time_min = c(151, 204, 240, 240, 38, 55, 61, 47, 13, 17, 11, 15),
                             reached = c(1, 1, 0, 0, rep(1, 8)))),
  master = list(\(d) fit_master_curve(transform(d, s = log10(stress)), s, time = time_h,
                                      time_unit = "h", errors_in = "time"),
                utils::read.csv(extdata("master_creep.csv"))))

for (name in names(other_fits)) {
  test_that(paste0("rows and rounding change nothing: ", name), {
    fit <- \(d) suppressWarnings(other_fits[[name]][[1L]](d))
    d <- other_fits[[name]][[2L]]
    f <- fit(d)
    for (seed in 1:3) {
      o <- with_test_seed(seed, sample(nrow(d)))
      g <- fit(d[o, ])
      expect_equal(coef(g), coef(f), tolerance = 1e-7)
      expect_equal(vcov(g), vcov(f), tolerance = 1e-6)
      numbers <- vapply(d, is.double, NA)
      e <- d
      e[numbers] <- lapply(d[numbers], \(x) {
        off <- with_test_seed(seed + 5, sample(-1:1, length(x), TRUE))
        x * (1 + .Machine$double.eps * ifelse(x == 1, 0, off)) # all and yes stay what they are
      })
      h <- fit(e)
      expect_equal(coef(h), coef(f), tolerance = 1e-7)
      expect_equal(vcov(h), vcov(f), tolerance = 1e-6)
    }
  })
}
