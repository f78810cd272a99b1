# Histories of steps, fits along histories, and their answers and plots.

test_that("histories of steps hold as long and as hot as planned", {
  ideal <- anneal_history(steps())
  expect_equal(equivalent_time(ideal, 180, 370)$equivalent_min[2L], 64, tolerance = 1e-12)
  log <- anneal_history(steps(), thickness_mm = 0.95, dip_c = 9)
  expect_s3_class(log, "softanneal_history")
  expect_identical(names(log), c("specimen", "time_s", "temp_c", "step", "furnace_min"))
  expect_equal(tapply(log$furnace_min, log$specimen, max)[["B370"]], 64, tolerance = 1e-9)
  expect_identical(max(log$step), 6L)
  expect_true(all(tapply(log$time_s, log$specimen, \(t) all(diff(t) >= 0))))
  # real pieces get less than ideal ones; a door dip costs a little more
  dry <- anneal_history(steps(), thickness_mm = 0.95)
  real <- equivalent_time(log, 180, 370)$equivalent_min
  expect_true(all(real < equivalent_time(dry, 180, 370)$equivalent_min))
  expect_true(all(equivalent_time(dry, 180, 370)$equivalent_min <
                    equivalent_time(ideal, 180, 370)$equivalent_min))
  # rows of readings say the same as rows of steps
  again <- anneal_history(rbind(data.frame(specimen = "B330", time_min = 0, temp_c = NA),
                                steps()[rep(1:24, each = 3), ]))
  expect_equal(again, ideal)
  expect_error(anneal_history(transform(steps(), specimen = "one")),
               class = "softanneal_error_duplicate")
  expect_error(anneal_history(transform(steps(), temp_c = 15)), class = "softanneal_error_range")
  expect_error(anneal_history(transform(steps(), time_min = 0)), class = "softanneal_error_too_few")
  expect_error(anneal_history(transform(steps(), temp_c = NA_real_)),
               class = "softanneal_error_missing")
})

# Every fourth point of each piece with its last: a log as good as any, and quicker to fit along.
coarse <- function(log) {
  first <- !duplicated(log$specimen)
  place <- seq_len(nrow(log)) - which(first)[cumsum(first)]
  log[place %% 4L == 0L | !duplicated(log$specimen, fromLast = TRUE), ]
}

test_that("thinned points stay on the curve", {
  full <- heat_up(0.95, door_opening(410, 9), until_min = 16, n_points = 2000)$history
  thin <- thin_history(full$time_s, full$temp_c)
  expect_lt(max(abs(stats::approx(thin$time_s, thin$temp_c, full$time_s)$y - full$temp_c)), 0.07)
  expect_lt(nrow(thin), 200)
  expect_identical(range(thin$time_s), range(full$time_s))
})

test_that("fits along histories find the true values of exact data, every model", {
  # recovery and hardening need readings well below recrystallisation
  plan <- steps(c(200, 225, 250, 280, 310, 340, 370), c(2, 8, 32, 256))
  log <- coarse(anneal_history(plan, thickness_mm = 0.5, dip_c = 9))
  # the three others hold nothing that these do not; all of them in the extended tests
  most <- c("jmak", "recovery_jmak_incubation", "hardening_recovery_jmak", "austin_rickett")
  expect_setequal(unlist(lapply(most, model_terms)), unlist(lapply(model_names(), model_terms)))
  for (model in if (on_cran()) "jmak" else if (extended_tests()) model_names() else most) {
    par <- model_values(model)
    fit <- suppressWarnings(fit_softening(simulated(log, par, plan = plan, model = model), model,
                                          history = log, temp_ref_c = 370))
    expect_true(fit$convergence$converged)
    expect_equal(coef(fit), par, tolerance = 1e-5)
    expect_equal(unname(fitted(fit)), unname(predict(fit)))
  }
})

test_that("the energy need not be near the typical one", {
  log <- coarse(anneal_history(steps(), thickness_mm = 0.95))
  for (q in c(70, 500)) {
    par <- replace(truth, "q_kj_mol", q)
    fit <- suppressWarnings(fit_softening(simulated(log, par), history = log, temp_ref_c = 370))
    expect_equal(coef(fit), par, tolerance = 1e-6)
  }
})

test_that("ignoring the heat-up biases rate, exponent and energy; the history removes it", {
  skip_on_cran()
  log <- anneal_history(steps(), support = "free", cool_support = "free", thickness_mm = 0.95, dip_c = 9)
  set.seed(11)
  data <- simulated(log, sd = 1, each = 5L)
  with <- fit_softening(data, history = log, temp_ref_c = 370)
  without <- suppressWarnings(fit_softening(data, temp_ref_c = 370))
  inside <- confint(with)
  expect_true(all(inside[, 1L] < truth & truth < inside[, 2L]))
  # without: the rate is less than half the true one, the curve far too steep, Q too low
  expect_lt(coef(without)[["ln_k_ref"]], truth[["ln_k_ref"]] - log(2))
  expect_gt(coef(without)[["n"]], 2 * truth[["n"]])
  expect_lt(coef(without)[["q_kj_mol"]], truth[["q_kj_mol"]] - 50)
  expect_gt(sigma(without), 3 * sigma(with))
})

test_that("short ideal steps fit the same with and without their history", {
  log <- anneal_history(steps())
  set.seed(4)
  data <- simulated(log, sd = 1, each = 4L)
  a <- fit_softening(data, history = log, temp_ref_c = 370)
  b <- fit_softening(data, temp_ref_c = 370)
  expect_equal(coef(a), coef(b), tolerance = 1e-7)
  expect_equal(vcov(a), vcov(b), tolerance = 1e-5)
  expect_equal(sort(a$conditions$time_min), sort(b$conditions$time_min), tolerance = 1e-9)
  expect_equal(confint(a, "n", method = "profile"), confint(b, "n", method = "profile"),
               tolerance = 1e-5)
  expect_equal(time_to(a)$time_min, time_to(b)$time_min, tolerance = 1e-6)
})

test_that("all methods work on a fit along histories", {
  skip_on_cran()
  log <- coarse(anneal_history(steps(), thickness_mm = 0.95))
  set.seed(5)
  data <- simulated(log, sd = 1, each = 3L)
  data$hardness[5] <- NA
  fit <- suppressWarnings(fit_softening(data, history = log))
  expect_length(residuals(fit), nrow(data))
  expect_identical(is.na(residuals(fit)), seq_len(nrow(data)) == 5L)
  expect_equal(suppressWarnings(stats::update(fit, temp_ref_c = 400))$deviance, fit$deviance,
               tolerance = 1e-9)
  expect_s3_class(summary(fit), "summary.softanneal_fit")
  expect_equal(nrow(suppressWarnings(augment(fit))), nrow(data))
  draws <- suppressWarnings(resample_fit(fit, n_resamples = 5, type = "case", seed = 1),
                            classes = "softanneal_warning_fit") # few steps
  expect_identical(draws$failed, 0L)
  expect_true(all(abs(draws$estimates[, "q_kj_mol"] - 180) < 30))
  expect_s3_class(profile(fit, "n"), "softanneal_profile")
  for (picture in list(ggplot2::autoplot(fit), plot_arrhenius(fit), plot_avrami(fit),
                       plot_isochronal(fit, c(4, 16)))) {
    expect_s3_class(picture, "ggplot")
    expect_s3_class(ggplot2::ggplot_build(picture), "ggplot_built")
  }
  # readings by log time alone, without accumulated time
  by_clock <- data[names(data) != "time_min"]
  second <- suppressWarnings(fit_softening(by_clock, history = log, log_time = passed_s))
  expect_equal(coef(second), coef(fit), tolerance = 1e-6)
  huber <- suppressWarnings(fit_softening(data, history = log, loss = "huber"))
  expect_equal(coef(huber)[["q_kj_mol"]], 180, tolerance = 0.05)
})

test_that("predictions: isothermal as before, along a history, and marked outside", {
  skip_on_cran()
  log <- anneal_history(steps(), thickness_mm = 0.95)
  set.seed(6)
  data <- simulated(log, sd = 0.5, each = 3L)
  fit <- fit_softening(data, history = log, temp_ref_c = 370)
  inside <- data.frame(temp_c = c(350, 400), time_min = c(10, 2))
  expect_silent(p <- predict(fit, inside, interval = "confidence", se.fit = TRUE))
  m <- .Call(C_sa_call_hardness, 0L, log(c(10, 2)), inverse_temperature(c(350, 400), 370),
             unname(coef(fit)))
  expect_equal(unname(p$fit[, "fit"]), m[, 1L], tolerance = 1e-12)
  p <- predict(fit, history = log, interval = "prediction", se.fit = TRUE)
  expect_identical(dim(p$fit), c(nrow(log), 3L))
  expect_equal(unname(p$fit[, 1L]), soften(log, fit)$hardness, tolerance = 1e-12)
  expect_true(all(is.finite(p$se.fit)))
  expect_equal(suppressWarnings(predict(fit, data, history = log)), unname(fitted(fit)),
               tolerance = 1e-12)
  some <- predict(fit, transform(data, time_min = replace(time_min, 4, NA))[3:5, ], history = log)
  expect_identical(is.na(some), c(FALSE, TRUE, FALSE))
  hot <- data.frame(time_s = c(0, 60, 300), temp_c = c(20, 520, 520))
  w <- expect_warning(predict(fit, history = hot), class = "softanneal_warning_extrapolation")
  expect_identical(w$rows, 2:3)
  cold <- data.frame(time_s = c(0, 3e6), temp_c = 230)
  expect_warning(predict(fit, history = cold), class = "softanneal_warning_extrapolation")
})

test_that("readings that cannot be joined stop with class and rows", {
  log <- anneal_history(steps(), thickness_mm = 0.95)
  data <- simulated(log)
  fit <- function(...) suppressWarnings(fit_softening(..., temp_ref_c = 370))
  e <- expect_error(fit(transform(data, specimen = replace(specimen, 7, "lost")), history = log),
                    class = "softanneal_error_missing")
  expect_identical(e$rows, 7L)
  e <- expect_error(fit(transform(data, time_min = replace(time_min, 7, 65)), history = log),
                    class = "softanneal_error_range")
  expect_identical(e$rows, 7L)
  expect_error(fit(data[names(data) != "specimen"], history = log),
               class = "softanneal_error_column")
  expect_error(fit(data, log_time = passed_s), class = "softanneal_error_argument")
  expect_error(fit(data, history = 3), class = "softanneal_error_argument")
  expect_error(fit(data[1, ], history = log), class = "softanneal_error_too_few")
  back <- log
  back$furnace_min[3] <- 50
  expect_error(fit(data, history = back), class = "softanneal_error_range")
})

test_that("a plain log counts from its start; a reading within a step is interpolated", {
  h <- history_points(data.frame(specimen = "A", time_s = c(100, 400, 1000),
                                 temp_c = c(20, 380, 380)))
  at <- join_history(h, c("A", "A", "x"), c(5, 15, 0), NULL, 1:3)
  expect_equal(at, list(place = c(1, 1, 0), passed_min = c(5, 15, 0)))
  h$furnace_min <- c(0, 5, 15)
  at <- join_history(h, c("A", "A"), c(2.5, 10), NULL, 1:2)
  expect_equal(at$passed_min, c(2.5, 10))
  at <- join_history(h, "A", 1, 700, 1L)
  expect_equal(at$passed_min, 10)
  expect_error(join_history(h, "A", 1, 50, 1L), class = "softanneal_error_range")
})

test_that("one constant temperature leaves the energy unknown", {
  hold <- data.frame(time_s = c(0, 6000), temp_c = 370)
  minutes <- c(1, 2, 5, 10, 20, 50, 90)
  data <- data.frame(temp_c = 370, time_min = minutes, scale = "HV",
                     hardness = 180 - 105 * jmak_fraction(minutes, 0.1, 1.5))
  fit <- suppressWarnings(fit_softening(data, history = hold))
  expect_true(is.na(coef(fit)[["q_kj_mol"]]))
  expect_equal(coef(fit)[["n"]], 1.5, tolerance = 1e-6)
  expect_error(soften(hold, fit), class = "softanneal_error_model")
})

test_that("plots carry alt text, two panels and cuts that fall", {
  log <- anneal_history(steps(), thickness_mm = 0.95)
  along <- soften(log, truth, temp_ref_c = 370)
  p <- ggplot2::autoplot(along)
  expect_match(ggplot2::get_alt_text(p), "hardness below it, from 180 to")
  expect_identical(length(unique(ggplot2::layer_data(p)$PANEL)), 2L)
  cut <- plot_isochronal(truth, c(4, 16), temp_ref_c = 370)
  expect_match(ggplot2::get_alt_text(cut), "after 4, 16 min")
  drawn <- ggplot2::layer_data(cut, 1L)
  expect_true(all(tapply(drawn$y, drawn$group, \(y) all(diff(y) <= 0))))
  expect_error(plot_isochronal(truth, 1:8, temp_ref_c = 370), class = "softanneal_error_argument")
  expect_error(plot_isochronal(truth, 4, temp_c = c(400, 300), temp_ref_c = 370),
               class = "softanneal_error_range")
  expect_output(print(along), paste("B370: up to", in_degrees(370)))
  expect_output(print(log), "6 steps")
})
