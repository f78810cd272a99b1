# The route by hand: rates of each temperature against nls() per temperature, the line against lm().

shared_fit <- function(..., se = "cluster") {
  d <- with_test_seed(5, made_readings(times = c(0, 1, 2, 4, 8, 16, 32, 64), n = 5, sd_step = 0.6))
  fit_softening(d, ..., se = se)
}

# nls() of one temperature with levels (and exponent) of the fit; readings, not means.
hand_rate <- function(fit, temp, n = NULL) {
  d <- data.frame(hardness = fit$readings$hardness, time_min = fit$readings$time_min)
  d <- d[abs(fit$readings$temp_k - 273.15 - temp) < 1e-6 & d$time_min > 0, ]
  top <- fit$par[["h_worked"]]
  soft <- fit$par[["h_soft"]]
  e <- inverse_temperature(temp, fit$temp_ref_c)
  start <- list(ln_k = fit$par[["ln_k_ref"]] + fit$par[["q_kj_mol"]] * e)
  if (is.null(n)) {
    stats::nls(hardness ~ soft + (top - soft) * exp(-(exp(ln_k) * time_min)^m), d,
               start = c(start, m = fit$par[["n"]]))
  } else {
    stats::nls(hardness ~ soft + (top - soft) * exp(-(exp(ln_k) * time_min)^n), d, start = start)
  }
}

test_that("rates with the exponent of the fit are those of nls() at each temperature", {
  f <- shared_fit(se = "model")
  r <- as.data.frame(rates(f))
  expect_identical(r$temp_c, c(290, 330, 370))
  for (k in 1:3) {
    hand <- hand_rate(f, r$temp_c[k], f$par[["n"]])
    expect_equal(r$ln_k[k], stats::coef(hand)[["ln_k"]], tolerance = 1e-6)
    # sigma is that of the fit of all readings
    expect_equal(r$std.error[k], f$sigma * sqrt(summary(hand)$cov.unscaled[1, 1]), tolerance = 1e-4)
    t <- stats::qt(0.975, f$df.residual)
    expect_equal(log(c(r$conf.low[k], r$conf.high[k])), r$ln_k[k] + c(-t, t) * r$std.error[k])
  }
  expect_equal(r$k_per_min, exp(r$ln_k))
  expect_equal(r$n, rep(f$par[["n"]], 3))
  expect_true(all(is.na(r$std.error_n)))
  expect_identical(r$reason, rep("", 3))
})

test_that("rates with an exponent each are those of nls(), and so are the exponents", {
  f <- shared_fit(se = "model")
  r <- as.data.frame(rates(f, n = "own"))
  for (k in 1:3) {
    hand <- hand_rate(f, r$temp_c[k])
    expect_equal(c(r$ln_k[k], r$n[k]), unname(stats::coef(hand)), tolerance = 1e-5)
    expect_equal(c(r$std.error[k], r$std.error_n[k]),
                 unname(f$sigma * sqrt(diag(summary(hand)$cov.unscaled))), tolerance = 1e-3)
  }
})

test_that("the line is lm() of ln k over 1/T with the weights of the rates", {
  f <- shared_fit()
  r <- rates(f)
  d <- as.data.frame(r)
  line <- stats::lm(ln_k ~ I(-1000 / 8.314462618 / (temp_c + 273.15)), d, weights = 1 / d$std.error^2)
  a <- r$activation
  expect_identical(a$route, c("line", "fit"))
  expect_equal(a$q_kj_mol[1], unname(stats::coef(line)[2]), tolerance = 1e-8)
  expect_equal(a$std.error[1], summary(line)$coefficients[2, 2], tolerance = 1e-6)
  expect_equal(unlist(a[1, c("conf.low", "conf.high")], use.names = FALSE),
               unname(stats::confint(line)[2, ]), tolerance = 1e-6)
  expect_equal(a$df[1], 1)
  expect_equal(a$q_kj_mol[2], stats::coef(f)[["q_kj_mol"]])
  expect_equal(unlist(a[2, c("conf.low", "conf.high")], use.names = FALSE),
               as.vector(stats::confint(f, "q_kj_mol")))
  # the truth of the simulation
  expect_lt(abs(a$q_kj_mol[1] - 140), 10)
})

test_that("two rates make an exact line with the errors of the rates", {
  d <- with_test_seed(6, made_readings(temps = c(310, 340)))
  f <- fit_softening(d, se = "cluster")
  r <- rates(f)
  a <- r$activation[1, ]
  k <- r$rates
  e <- diff(1 / (k$temp_c + 273.15)) * 1000 / 8.314462618
  expect_equal(a$q_kj_mol, -diff(k$ln_k) / e)
  expect_equal(a$std.error, sqrt(sum(k$std.error^2)) / abs(e))
  expect_equal(a$conf.high - a$q_kj_mol, stats::qt(0.975, f$df_interval) * a$std.error)
  expect_match(a$note, "two rates")
})

test_that("where no rate can be had, the row says why, with the limit there is", {
  d <- with_test_seed(7, made_readings(temps = c(230, 310, 340, 470), n = 5))
  f <- quietly_fitted(d, se = "cluster")
  expect_warning(r <- rates(f), "2 of 4 rates are NA", class = "softanneal_warning_outside")
  k <- as.data.frame(r)
  expect_identical(is.na(k$ln_k), c(TRUE, FALSE, FALSE, TRUE))
  expect_match(k$reason[1], "had not begun by the last reading (64 min)", fixed = TRUE)
  expect_match(k$reason[4], "over before the first reading (4 min)", fixed = TRUE)
  expect_identical(k$n_between[c(1, 4)], c(0L, 0L))
  # true rates on the side that the limits leave
  true <- arrhenius_rate(c(230, 470), jmak_time(0.5, 1, 1.6) / 12, 330, 140)
  expect_gt(k$conf.high[1], true[1])
  expect_lt(k$conf.low[4], true[2])
  expect_true(is.finite(k$conf.high[1]) && is.finite(k$conf.low[4]))
  said <- utils::capture.output(print(r))
  expect_match(paste(said, collapse = " "), "at least .* at most|at most .* at least")
  expect_true(all(nchar(said) <= 80L))
})

test_that("one step between the levels gives a rate with the shared exponent only", {
  skip_on_cran()
  f <- fit_softening(bell_readings(), se = "cluster")
  r <- suppressWarnings(as.data.frame(rates(f)))
  own <- suppressWarnings(as.data.frame(rates(f, n = "own")))
  expect_false(is.na(r$ln_k[3]))
  expect_identical(own$n_between[3], 1L)
  expect_true(is.na(own$ln_k[3]) && is.na(own$n[3]) && is.na(own$std.error[3]))
  expect_match(own$reason[3], "one step between the two levels")
})

test_that("one temperature, strain and own exponents of the fit are understood", {
  d <- with_test_seed(8, made_readings(temps = 330))
  f <- quietly_fitted(d, se = "cluster")
  r <- rates(f)
  expect_null(r$line)
  expect_identical(r$activation$note, c("fewer than two rates", "fixed"))
  expect_true(all(is.na(r$activation$q_kj_mol)))
  expect_equal(r$rates$ln_k, f$par[["ln_k_ref"]], tolerance = 1e-6)
  by <- shared_fit(n_by = "by temperature")
  own <- by$par[startsWith(names(by$par), "n_")]
  expect_equal(as.data.frame(rates(by))$n, unname(own))
  two <- with_test_seed(9, made_readings(n = 2))
  two <- rbind(transform(two, strain = 0.5), transform(two, strain = 1.0, hardness = hardness * 1.1))
  f <- quietly_fitted(two, strain = strain, se = "cluster")
  expect_output(print(rates(f)), "at strain")
})

test_that("rates are refused and told where they should be", {
  expect_refused(rates(1), "argument", "`fit` must come from fit_softening()", "fit")
  f <- shared_fit()
  expect_refused(rates(f, n = "free"), "argument", "`n` must be", "n")
  expect_refused(rates(f, level = 2), "range", "`level`", "level")
  log <- data.frame(specimen = "a", time_s = c(0, 6000), temp_c = 330)
  d <- with_test_seed(10, made_readings(temps = 330, times = c(0, 4, 8, 16, 32, 64)))
  d$specimen <- "a"
  along <- quietly_fitted(d, history = log, fixed = c(q_kj_mol = 140))
  expect_refused(rates(along), "model", "along a history belongs to no single temperature", "fit")
})

test_that("tables and picture of rates", {
  skip_on_cran()
  f <- shared_fit()
  r <- rates(f, n = "own")
  expect_s3_class(tidy(r), "softanneal_table")
  expect_identical(names(tidy(r)), names(as.data.frame(r)))
  expect_match(format(r), "rates of 3 temperatures")
  p <- ggplot2::autoplot(r)
  expect_match(ggplot2::get_alt_text(p), "dashed, that of all readings")
  drawn <- ggplot2::ggplot_build(p)$data
  expect_equal(sort(drawn[[length(drawn)]]$y), sort(r$rates$ln_k))
  # a furnace off by 15 K at one temperature: the scatter about the line says so
  d <- with_test_seed(5, made_readings(temps = c(290, 310, 330, 350, 370), n = 5, sd_reading = 0.5))
  off <- with_test_seed(11, made_readings(temps = 325, n = 5, sd_reading = 0.5))
  off$temp_c <- 310
  d <- rbind(d[d$temp_c != 310, ], off)
  expect_output(print(rates(suppressWarnings(fit_softening(d, se = "cluster")))), "scatter about the line")
})
