# The shape of Austin and Rickett, X = (k t)^n / (1 + (k t)^n), by its own formula everywhere.

rickett_truth <- c(h_worked = 160, h_soft = 80, ln_k_ref = log(1 / 12), n = 1.8, q_kj_mol = 140)

rickett_curve <- function(temp_c, time_min, p = rickett_truth, ref_c = 330) {
  y <- (exp(p[["ln_k_ref"]] + p[["q_kj_mol"]] * inverse_temperature(temp_c, ref_c)) *
          time_min)^p[["n"]]
  p[["h_soft"]] + (p[["h_worked"]] - p[["h_soft"]]) / (1 + y)
}

rickett_readings <- function(sd = 1) {
  d <- made_readings(temps = c(300, 330, 360), n = 4)
  d$hardness <- rickett_curve(d$temp_c, d$time_min) +
    rep(stats::rnorm(nrow(d) / 4, sd = sd / 2), each = 4) + stats::rnorm(nrow(d), sd = sd)
  d
}

test_that("the fit is that of nls, starts by itself, and finds exact values", {
  d <- with_test_seed(5, rickett_readings())
  f <- fit_softening(d, "austin_rickett", se = "model")
  d$e <- inverse_temperature(d$temp_c, f$temp_ref_c)
  ref <- stats::nls(hardness ~ hs + (hw - hs) / (1 + (exp(lk + q * e) * time_min)^n), d,
                    start = list(hw = 165, hs = 75, lk = -2, n = 1.4, q = 120),
                    control = stats::nls.control(tol = 1e-7))
  expect_equal(coef(f), coef(ref), tolerance = 1e-5, ignore_attr = TRUE)
  expect_equal(sqrt(diag(vcov(f))), sqrt(diag(vcov(ref))), tolerance = 1e-4, ignore_attr = TRUE)
  exact <- fit_softening(with_test_seed(5, rickett_readings(0)), "austin_rickett", temp_ref_c = 330)
  expect_equal(coef(exact), rickett_truth, tolerance = 1e-6)
  expect_match(paste(header_lines(f), collapse = " "), "recrystallisation with a slow end")
})

test_that("times, temperatures and states answer in its shape", {
  f <- fit_softening(with_test_seed(5, rickett_readings(0)), "austin_rickett", temp_ref_c = 330)
  k <- exp(coef(f)[["ln_k_ref"]] + coef(f)[["q_kj_mol"]] * inverse_temperature(345, 330))
  for (x in c(0.02, 0.5, 0.99, 0.9999)) {
    t <- (x / (1 - x))^(1 / coef(f)[["n"]]) / k
    expect_equal(time_to(f, fraction = x, temp_c = 345)$time_min, t, tolerance = 1e-8)
    expect_equal(time_to(f, softening = x, temp_c = 345)$time_min, t, tolerance = 1e-8)
  }
  expect_equal(temp_for(f, softening = 0.5, time_min = 12)$temp_c, 330, tolerance = 1e-6)
  i <- identifiability(fit_softening(with_test_seed(5, rickett_readings()), "austin_rickett"))
  expect_identical(unique(i$state), "determined")
})

test_that("the likelihood interval of a time is that of nls with the time as parameter", {
  d <- with_test_seed(5, rickett_readings())
  f <- fit_softening(d, "austin_rickett", se = "model")
  t <- time_to(f, softening = 0.9, temp_c = 345, method = "profile")
  e345 <- inverse_temperature(345, f$temp_ref_c)
  d$e <- inverse_temperature(d$temp_c, f$temp_ref_c) - e345
  sum_at <- function(lt) {
    d$lt <- log(d$time_min) - lt
    stats::deviance(stats::nls(hardness ~ hs + (hw - hs) / (1 + 9 * exp(n * (q * e + lt))), d,
                               start = list(hw = 160, hs = 80, n = 1.8, q = 140)))
  }
  top <- deviance(f) + stats::qt(0.975, df.residual(f))^2 * sigma(f)^2
  ends <- unlist(as.data.frame(t)[c("conf.low", "conf.high")])
  expect_equal(unname(vapply(log(ends), sum_at, 0)), rep(top, 2), tolerance = 1e-5)
})

test_that("the Avrami plot has its own ordinate, in which the points are straight", {
  f <- fit_softening(with_test_seed(5, rickett_readings(0.01)), "austin_rickett")
  p <- plot_avrami(f)
  points <- p$data[p$data$where == "inside", ]
  line <- stats::lm(y ~ log(time_min) + factor(temp_c), points)
  expect_gt(summary(line)$r.squared, 0.999)
  expect_equal(coef(line)[[2L]], 1.8, tolerance = 0.02)
  expect_match(ggplot2::ggplot_build(p)$layout$panel_scales_y[[1L]]$name, "ln(X/(1 - X))", fixed = TRUE)
})

test_that("draws, plans, groups and comparisons take it", {
  r <- simulate_readings(c(h_worked = 160, h_soft = 80, t50_rex_min = 12, n = 1.8, q_kj_mol = 140),
                         model = "austin_rickett", temp_c = c(300, 330), time_min = c(0, 12, 40),
                         n_readings = 1, scale = "HV", sd = errors_alone(), resolution = 0)
  expect_equal(as.vector(r$hardness), rickett_curve(r$temp_c, r$time_min), tolerance = 1e-12,
               ignore_attr = TRUE)
  d <- with_test_seed(5, rickett_readings())
  f <- fit_softening(d, "austin_rickett", se = "cluster")
  guess <- plan_guess(fit = f)
  expect_identical(guess$model, "austin_rickett")
  h <- guess_hardness(guess, c(300, 345), c(9, 9))[1L, ]
  expect_equal(h, rickett_curve(c(300, 345), 9, as.list(coef(f)), f$temp_ref_c), tolerance = 1e-10)
  each <- fit_each(rbind(cbind(d, coil = 1), cbind(d, coil = 2)), coil, model = "austin_rickett")
  expect_equal(unlist(coef(each)[2L, names(coef(f))]), coef(f), tolerance = 1e-7)
  table <- compare_models(d, c("jmak", "austin_rickett"), cross_validate = FALSE)
  expect_identical(table$model[1L], "austin_rickett")
  class <- simulate_class(1, seed = 3, parameters = rickett_truth, model = "austin_rickett")
  key <- answer_key(1, seed = 3, parameters = rickett_truth, model = "austin_rickett")
  k <- key$value[key$quantity == "k_per_min"]
  expect_equal(key$value[key$quantity == "t50_min"], 1 / k, tolerance = 1e-8)
  right <- data.frame(group = key$group, quantity = key$quantity, temp_c = key$temp_c,
                      value = signif(key$value, 4))
  expect_true(all(mark_answers(right, key)$mark %in% c("right", "within tolerance")))
})
