hardening_data <- function(model) {
  x <- c(0.05, 0.1, 0.2, 0.35, 0.5, 0.8, 1.1)
  y <- switch(model, voce = 180 - 110 * exp(-x / 0.3), swift = 190 * (0.02 + x)^0.3,
              hollomon = 185 * x^0.25)
  data.frame(effective_strain = x, hardness = y)
}
TRUE_LAWS <- list(voce = c(h_sat = 180, h_0 = 70, strain_c = 0.3),
                  swift = c(k = 190, strain_0 = 0.02, n = 0.3), hollomon = c(k = 185, n = 0.25))

test_that("exact data give the law back, without starting values", {
  for (model in names(TRUE_LAWS)) {
    # exact data leave no scatter: the solver may say so, the estimates are what is tested
    fit <- suppressWarnings(fit_hardening(hardening_data(model), model = model))
    expect_equal(coef(fit)[names(TRUE_LAWS[[model]])], TRUE_LAWS[[model]], tolerance = 1e-6)
    expect_s3_class(fit, c("softanneal_fit_hardening", "softanneal_fit_least_squares",
                           "softanneal_fit"), exact = TRUE)
  }
})

test_that("stats::nls agrees on noisy data", {
  start <- TRUE_LAWS
  formulas <- list(
    voce = hardness ~ h_sat - (h_sat - h_0) * exp(-effective_strain / strain_c),
    swift = hardness ~ k * (strain_0 + effective_strain)^n,
    hollomon = hardness ~ k * effective_strain^n)
  for (model in names(formulas)) {
    d <- hardening_data(model)
    d$hardness <- d$hardness + c(1.2, -0.8, 0.5, -1.5, 0.9, 0.3, -0.6)
    fit <- fit_hardening(d, model = model)
    other <- stats::nls(formulas[[model]], d, start = as.list(start[[model]]),
                        algorithm = "port")
    terms <- names(start[[model]])
    expect_equal(coef(fit)[terms], coef(other)[terms], tolerance = 1e-5)
    expect_equal(sqrt(diag(vcov(fit)))[terms], sqrt(diag(vcov(other)))[terms], tolerance = 1e-4)
    expect_equal(AIC(fit), AIC(other), tolerance = 1e-8)
  }
})

test_that("the methods of a fit work on it", {
  d <- hardening_data("voce")
  d$hardness <- d$hardness + c(1.2, -0.8, 0.5, -1.5, 0.9, 0.3, -0.6)
  d$hardness[3] <- NA
  expect_warning(fit <- fit_hardening(d), class = "softanneal_warning_missing")
  expect_equal(nobs(fit), 6L)
  expect_length(residuals(fit), 7L)
  expect_equal(fitted(fit) + residuals(fit), d$hardness)
  new <- data.frame(effective_strain = c(0.3, NA, 0.6))
  band <- predict(fit, new, interval = "confidence")
  expect_equal(dim(band), c(3L, 3L))
  expect_true(all(is.na(band[2, ])))
  expect_true(all(band[c(1, 3), "lwr"] < band[c(1, 3), "fit"]))
  table <- tidy(fit, conf.int = TRUE)
  expect_equal(table$conf.low, unname(confint(fit)[, 1]))
  expect_equal(nrow(augment(fit)), 7L)
  expect_s3_class(suppressWarnings(update(fit, model = "swift")), "softanneal_fit_hardening")
  expect_equal(dim(simulate(fit, 3, seed = 1)), c(7L, 3L))
  expect_output(print(fit), "saturating \\(Voce\\)")
  saved <- tempfile(fileext = ".rds")
  on.exit(unlink(saved))
  saveRDS(fit, saved)
  expect_equal(predict(readRDS(saved), new), predict(fit, new))
})

test_that("other columns, weights and nesting", {
  d <- hardening_data("swift")
  d$hardness <- d$hardness + c(1.2, -0.8, 0.5, -1.5, 0.9, 0.3, -0.6)
  names(d) <- c("my strain", "HV")
  swift <- fit_hardening(d, hardness = HV, strain = "my strain", model = "swift")
  plain <- fit_hardening(d, hardness = HV, strain = "my strain", model = "hollomon")
  expect_s3_class(anova(plain, swift), "anova")
  twice <- fit_hardening(rbind(d, d[7, ]), hardness = HV, strain = "my strain", model = "hollomon")
  weighted <- fit_hardening(d, hardness = HV, strain = "my strain", model = "hollomon",
                            weights = c(1, 1, 1, 1, 1, 1, 2))
  expect_equal(coef(twice), coef(weighted), tolerance = 1e-8)
  voce <- fit_hardening(d, hardness = HV, strain = "my strain")
  expect_error(anova(plain, voce), class = "softanneal_error_model")
})

test_that("input that cannot be fitted is refused", {
  d <- hardening_data("voce")
  d$effective_strain[1] <- 0
  cnd <- expect_error(fit_hardening(d, model = "hollomon"), class = "softanneal_error_range")
  expect_equal(cnd$rows, 1L)
  expect_s3_class(suppressWarnings(fit_hardening(d, model = "swift")), "softanneal_fit")
  expect_error(fit_hardening(d[1:2, ]), class = "softanneal_error_too_few")
  expect_error(fit_hardening(d, hardness = HV), class = "softanneal_error_column")
  expect_error(fit_hardening(transform(d, hardness = 0)), class = "softanneal_error_range")
  expect_error(fit_hardening(transform(d, effective_strain = -1)), class = "softanneal_error_range")
  expect_error(fit_hardening(d, model = "ludwik"), class = "softanneal_error_argument")
  expect_error(fit_hardening(d, start = 1), class = "softanneal_error_argument")
  names(d)[1] <- "n"
  expect_error(fit_hardening(d, strain = n, model = "swift"), class = "softanneal_error_column")
})

test_that("the plot holds the points, the band, and marks extrapolation", {
  d <- hardening_data("voce")
  d$hardness <- d$hardness + c(1.2, -0.8, 0.5, -1.5, 0.9, 0.3, -0.6)
  picture <- ggplot2::autoplot(fit_hardening(d))
  expect_equal(ggplot2::layer_data(picture, 3)$y, d$hardness)
  lines <- ggplot2::layer_data(picture, 2)
  expect_equal(length(unique(lines$linetype)), 2L)
  expect_equal(length(unique(lines$group)), 3L)
  expect_match(ggplot2::get_alt_text(picture), "7 points")
})
