# NIST Statistical Reference Datasets, nonlinear regression (itl.nist.gov/div898/strd): data
# and certified values of inst/extdata/strd_nls_*.csv.gz. Every set from both certified starts.

strd_data <- utils::read.csv(extdata("strd_nls_data.csv.gz"))
strd_certified <- utils::read.csv(extdata("strd_nls_certified.csv.gz"))

# Correct digits: minus the logarithm of the relative error, 11 at most (digits certified).
digits <- function(x, certified) min(11, -log10(abs(x - certified) / abs(certified)))

strd_problem <- function(set) {
  known <- strd_certified[strd_certified$dataset == set, ]
  list(known = known, data = strd_data[strd_data$dataset == set, ],
       formula = stats::as.formula(sub("=", "~", known$model[1L]), env = globalenv()),
       start = function(k) stats::setNames(known[[paste0("start", k)]], known$par))
}

sets <- unique(strd_data$dataset)

test_that("all 27 sets are there, with their certified values", {
  expect_setequal(sets, c(
    "Misra1a", "Chwirut2", "Chwirut1", "Lanczos3", "Gauss1", "Gauss2", "DanWood", "Misra1b",
    "Kirby2", "Hahn1", "Nelson", "MGH17", "Lanczos1", "Lanczos2", "Gauss3", "Misra1c", "Misra1d",
    "Roszman1", "ENSO", "MGH09", "Thurber", "BoxBOD", "Rat42", "MGH10", "Eckerle4", "Rat43",
    "Bennett5"))
  expect_setequal(strd_certified$dataset, sets)
  expect_false(anyNA(strd_certified$certified_sd))
})

# Lanczos1 are the values of its model rounded to 14 digits: the certified sum of squares, 1.4e-25,
# is the square of that rounding, and residuals in double precision keep 2 to 3 digits of it.
rounded_data <- "Lanczos1"

for (set in sets) {
  test_that(paste0(set, ": 8 digits of parameters and 6 of standard deviations, both starts"), {
    s <- strd_problem(set)
    for (k in 1:2) {
      fit <- fit_least_squares(s$formula, s$start(k), data = s$data)
      label <- paste(set, "start", k)
      expect_true(fit$convergence$converged, label = label)
      expect_gte(digits(coef(fit), s$known$certified), 8, label = paste(label, "parameters"))
      expect_gte(digits(sqrt(diag(vcov(fit))), s$known$certified_sd),
                 if (set %in% rounded_data) 2 else 6, label = paste(label, "standard deviations"))
      expect_gte(digits(deviance(fit), s$known$RSS[1L]), if (set %in% rounded_data) 2 else 8,
                 label = paste(label, "sum of squares"))
      expect_equal(df.residual(fit), s$known$df[1L])
    }
  })
}

test_that("a residual function without derivatives reaches the same digits", {
  for (set in c("Misra1a", "Rat43", "MGH10", "Thurber", "ENSO", "Gauss2")) {
    s <- strd_problem(set)
    response <- eval(s$formula[[2L]], s$data)
    residuals <- function(par, data) eval(s$formula[[3L]], c(as.list(par), data)) - response
    fit <- fit_least_squares(residuals, s$start(1), data = s$data)
    expect_gte(digits(coef(fit), s$known$certified), 8, label = set)
    expect_gte(digits(sqrt(diag(vcov(fit))), s$known$certified_sd), 6, label = set)
  }
})

test_that("coefficients, errors and likelihood agree with nls on every set it can fit", {
  skip_on_cran()
  fitted <- 0
  for (set in sets) {
    s <- strd_problem(set)
    ref <- tryCatch(stats::nls(s$formula, s$data, s$start(2)), error = function(e) NULL)
    if (is.null(ref)) next
    fitted <- fitted + 1
    fit <- fit_least_squares(s$formula, s$start(2), data = s$data)
    expect_equal(coef(fit), coef(ref), tolerance = 1e-5, label = set)
    expect_equal(vcov(fit), vcov(ref), tolerance = 1e-4, label = set)
    expect_equal(as.numeric(logLik(fit)), as.numeric(logLik(ref)), tolerance = 1e-8, label = set)
    expect_equal(attr(logLik(fit), "df"), attr(logLik(ref), "df"))
    expect_equal(AIC(fit), AIC(ref), tolerance = 1e-8)
    expect_equal(fitted(fit), as.vector(fitted(ref)), tolerance = 1e-6)
  }
  expect_gte(fitted, 15)
})
