decay <- data.frame(t = c(0, 1, 2, 4, 7, 11), y = c(9.8, 6.3, 3.9, 1.6, 0.5, 0.3))

test_that("bounds, fixed parameters and weights are honoured", {
  free <- fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = decay)
  expect_true(all(free$states == "determined"))
  f <- suppressWarnings(fit_least_squares(y ~ a * exp(-b * t) + c0, c(a = 5, b = 0.2, c0 = 0.5),
                                          lower = c(c0 = 0.4), data = decay))
  expect_equal(coef(f)[["c0"]], 0.4)
  expect_equal(f$states[["c0"]], "at lower bound")
  expect_true(is.na(vcov(f)["c0", "c0"]))
  # with the bound active the others are the fit with c0 given
  at <- fit_least_squares(y ~ a * exp(-b * t) + 0.4, c(a = 5, b = 0.2), data = decay)
  expect_equal(coef(f)[c("a", "b")], coef(at), tolerance = 1e-7)
  w <- c(1, 1, 2, 2, 1, 0)
  mine <- fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), weights = w, data = decay)
  ref <- stats::nls(y ~ a * exp(-b * t), decay, c(a = 5, b = 0.2), weights = w)
  expect_equal(coef(mine), coef(ref), tolerance = 1e-6)
  expect_equal(vcov(mine), vcov(ref), tolerance = 1e-5)
  expect_equal(as.numeric(logLik(mine)), as.numeric(logLik(ref)), tolerance = 1e-8)
  expect_equal(nobs(mine), 5)
})

test_that("a residual function with derivatives, without, and a formula agree", {
  r <- function(p, d) p[["a"]] * exp(-p[["b"]] * d$t) - d$y
  j <- function(p, d) cbind(exp(-p[["b"]] * d$t), -p[["a"]] * d$t * exp(-p[["b"]] * d$t))
  start <- c(a = 5, b = 0.2)
  f0 <- fit_least_squares(y ~ a * exp(-b * t), start, data = decay)
  f1 <- fit_least_squares(r, start, data = decay)
  f2 <- fit_least_squares(r, start, jac = j, data = decay)
  expect_equal(coef(f1), coef(f0), tolerance = 1e-8)
  expect_equal(coef(f2), coef(f0), tolerance = 1e-9)
  expect_equal(vcov(f1), vcov(f0), tolerance = 1e-6)
  expect_error(predict(f1), class = "softanneal_error_model")
  expect_error(fitted(f1), class = "softanneal_error_model")
  expect_error(formula(f1), class = "softanneal_error_model")
  expect_error(simulate(f1), class = "softanneal_error_model")
  expect_error(augment(f1), class = "softanneal_error_model")
  expect_equal(residuals(f1), r(coef(f1), decay), tolerance = 1e-12)
})

test_that("predictions of a formula agree with the delta method by hand", {
  f <- fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = decay)
  p <- predict(f, data.frame(t = c(3, NA, 5), other = 1), interval = "confidence", se.fit = TRUE)
  b <- coef(f)
  g <- cbind(exp(-b[["b"]] * c(3, 5)), -b[["a"]] * c(3, 5) * exp(-b[["b"]] * c(3, 5)))
  se <- sqrt(diag(g %*% vcov(f) %*% t(g)))
  expect_equal(p$se.fit[c(1, 3)], se, tolerance = 1e-10)
  expect_equal(p$fit[c(1, 3), "upr"] - p$fit[c(1, 3), "fit"], qt(0.975, 4) * se,
               tolerance = 1e-10, ignore_attr = TRUE)
  expect_true(is.na(p$fit[2, 1]))
  expect_equal(nrow(predict(f, data.frame(t = numeric()), interval = "prediction")), 0L)
  expect_error(predict(f, data.frame(x = 1)), class = "softanneal_error_column")
})

test_that("derivatives that R cannot form are taken numerically", {
  bend <- function(t, b) exp(-b * t)
  f <- fit_least_squares(y ~ a * bend(t, b), c(a = 5, b = 0.2), data = decay)
  g <- fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = decay)
  expect_equal(coef(f), coef(g), tolerance = 1e-8)
  expect_equal(predict(f, decay, se.fit = TRUE)$se.fit, predict(g, decay, se.fit = TRUE)$se.fit,
               tolerance = 1e-6)
})

test_that("one outlier moves a Huber fit far less", {
  d <- decay
  d$y[3] <- d$y[3] + 5
  clean <- coef(fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = decay))
  square <- coef(fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = d))
  huber <- coef(fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = d, loss = "huber"))
  expect_lt(sum(abs(huber - clean)), 0.3 * sum(abs(square - clean)))
})

test_that("the Huber location estimate solves its equation", {
  # mean of psi((x - m)/s) is zero with s = 1.4826 median |x - m| (Huber 1964)
  x <- c(9.9, 10.2, 10.1, 9.8, 10.3, 14)
  f <- fit_least_squares(x ~ m + 0 * x, c(m = 10), data = data.frame(x = x), loss = "huber")
  r <- x - coef(f)[["m"]]
  s <- 1.4826 * median(abs(r))
  expect_equal(mean(pmax(pmin(r / s, 1.345), -1.345)), 0, tolerance = 1e-7)
})

test_that("exact data are fitted and reported as exact", {
  d <- data.frame(t = 0:5)
  d$y <- 3 * exp(-0.4 * d$t)
  f <- fit_least_squares(y ~ a * exp(-b * t), c(a = 1, b = 1), data = d)
  expect_equal(coef(f), c(a = 3, b = 0.4), tolerance = 1e-10)
  expect_true(f$convergence$converged)
})

test_that("what the data do not determine has no standard error", {
  expect_warning(f <- fit_least_squares(y ~ a * c0 * exp(-b * t), c(a = 5, b = 0.2, c0 = 1),
                                        data = decay), class = "softanneal_warning_fit")
  expect_equal(unname(f$states[c("a", "c0")]), rep("not determined", 2))
  expect_true(all(is.na(diag(vcov(f))[c("a", "c0")])))
  expect_true(is.finite(vcov(f)["b", "b"]))
  expect_output(print(f), "not determined")
  expect_s3_class(tidy(f), "data.frame")
})

test_that("a fit to a function of the user says that it has no plot", {
  f <- fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = decay)
  e <- expect_error(plot(f), "no plot of a fit by fit_least_squares", class = "softanneal_error_model")
  expect_identical(e$arg, "x")
})

test_that("the iteration limit is a state, not an error", {
  expect_warning(f <- fit_least_squares(y ~ a * exp(-b * t), c(a = 500, b = 5), data = decay,
                                        control = fit_control(max_iterations = 1)),
                 class = "softanneal_warning_fit")
  expect_false(f$convergence$converged)
  expect_false(glance(f)$isConv)
  expect_output(print(f), "Not converged")
})

test_that("a fit may run inside a fit, and an error in the user's function passes through", {
  outer <- function(p) {
    inner <- fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = decay)
    p[["m"]] - coef(inner)
  }
  f <- fit_least_squares(outer, c(m = 1))
  expect_equal(coef(f)[["m"]], mean(coef(fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2),
                                                           data = decay))), tolerance = 1e-8)
  calls <- 0
  bad <- function(p) {
    calls <<- calls + 1
    if (calls > 2) stop("measured in the wrong room")
    c(p[["m"]] - 1, p[["m"]] - 2)
  }
  expect_error(fit_least_squares(bad, c(m = 10)), "wrong room")
  grows <- function(p) {
    calls <<- calls + 1
    rep(p[["m"]], calls)
  }
  expect_error(fit_least_squares(grows, c(m = 10)), class = "softanneal_error_argument")
})

test_that("rows with missing values are counted, left out once, and padded", {
  d <- rbind(decay, data.frame(t = c(3, NA), y = c(NA, 1)))
  expect_warning(f <- fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = d),
                 class = "softanneal_warning_missing")
  expect_equal(nobs(f), 6)
  expect_length(residuals(f), 8L)
  expect_equal(which(is.na(residuals(f))), 7:8)
  expect_warning(g <- fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = d,
                                        na.action = na.omit), class = "softanneal_warning_missing")
  expect_length(residuals(g), 6L)
  expect_error(fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = d,
                                 na.action = na.fail), class = "softanneal_error_missing")
  expect_error(fit_least_squares(y ~ a * exp(-b * t), c(a = 5, b = 0.2), data = d,
                                 na.action = "drop"), class = "softanneal_error_argument")
})

test_that("bad input is refused by class", {
  fit <- function(...) fit_least_squares(...)
  f <- y ~ a * exp(-b * t)
  s <- c(a = 5, b = 0.2)
  expect_error(fit(f, c(5, 0.2), data = decay), class = "softanneal_error_argument")
  expect_error(fit(~ a * t, c(a = 1), data = decay), class = "softanneal_error_argument")
  expect_error(fit("y", s, data = decay), class = "softanneal_error_argument")
  expect_error(fit(f, s, jac = mean, data = decay), class = "softanneal_error_argument")
  expect_error(fit(function(p) "text", s), class = "softanneal_error_argument")
  expect_error(fit(function(p) p, s, jac = 3), class = "softanneal_error_argument")
  expect_error(fit(function(p) c(Inf, 1, 1), s), class = "softanneal_error_missing")
  expect_error(fit(y ~ a * z, c(a = 1), data = decay), class = "softanneal_error_column")
  expect_error(fit(f, s, data = decay[1, ]), class = "softanneal_error_too_few")
  expect_error(fit(f, s, data = decay, lower = c(zz = 1)), class = "softanneal_error_argument")
  expect_error(fit(f, s, data = decay, lower = 1:3), class = "softanneal_error_argument")
  expect_error(fit(f, s, data = decay, lower = "low"), class = "softanneal_error_argument")
  expect_error(fit(f, s, data = decay, upper = c(a = 1)), class = "softanneal_error_range")
  expect_error(fit(f, s, data = decay, weights = 1:2), class = "softanneal_error_argument")
  expect_error(fit(f, s, data = decay, weights = rep(0, 6)), class = "softanneal_error_range")
  expect_error(fit(f, s, data = decay, control = list()), class = "softanneal_error_argument")
  expect_error(fit(f, s, data = decay, extra = 1), class = "softanneal_error_argument")
  expect_error(fit(f, s, data = transform(decay, t = as.character(t), y = "a")),
               class = "softanneal_error_column")
  expect_error(fit_control(ftol = -1), class = "softanneal_error_range")
  expect_error(fit_control(max_iterations = 1.5), class = "softanneal_error_argument")
})

test_that("predictions at the data, also where a weight is zero, are those at the same new data", {
  d <- data.frame(x = 1:8, y = c(9.1, 7.2, 6.1, 4.9, 4.2, 3.3, 2.9, 2.2))
  for (model in c(y ~ a * exp(-b * x), y ~ a * 2^(-b * abs(x)))) {
    f <- fit_least_squares(model, c(a = 10, b = 0.2), data = d, weights = c(1, 0, 2, 1, 1, 0, 3, 1))
    expect_equal(predict(f, interval = "confidence", se.fit = TRUE),
                 predict(f, d, interval = "confidence", se.fit = TRUE), tolerance = 1e-8)
    expect_true(all(predict(f, se.fit = TRUE)$se.fit > 0))
  }
})

test_that("a formula takes its constants along, and its functions only by name", {
  d <- data.frame(x = 1:8, y = c(9.1, 7.2, 6.1, 4.9, 4.2, 3.3, 2.9, 2.2))
  base <- 2
  coefficients <- c(0.5, 0.25)
  fall <- function(x, b) exp(-b * x)
  f <- fit_least_squares(y ~ a * fall(x, b) + base * sum(coefficients) - 1.5, c(a = 10, b = 0.2),
                         data = d)
  expect_identical(environment(formula(f)), baseenv())
  new <- data.frame(x = c(0, 20))
  wanted <- coef(f)[["a"]] * exp(-coef(f)[["b"]] * c(0, 20))
  expect_equal(predict(f, new), wanted)
  base <- 100 # the fit keeps the 2 it was made with
  expect_equal(predict(f, new), wanted)
  # somewhere else the function is not known, or is another one
  elsewhere <- function(f, new) predict(f, new)
  environment(elsewhere) <- globalenv()
  expect_error(elsewhere(f, new), "`fall` of the model is not there",
               class = "softanneal_error_model")
  fall <- function(x, b) exp(-2 * b * x)
  expect_error(predict(f, new), "not the one it was fitted with", class = "softanneal_error_model")
  # what was fitted needs no function
  expect_equal(predict(f), fitted(f))
})
