# As few readings as parameters, no scatter, no change: every method answers in words or with NA.

few_data <- function() {
  d <- expand.grid(temp_c = c(300, 340), time_min = c(0, 5, 20, 80))
  d$specimen <- paste0("s", d$temp_c)
  d$scale <- "HV"
  k <- arrhenius_rate(d$temp_c, k_ref = 0.05, temp_ref_c = 320, q_kj_mol = 140)
  x <- jmak_fraction(d$time_min, k = k, n = 1.6)
  d$hardness <- 160 - 82 * x
  five <- d[c(1, 3, 5, 6, 7), ]
  twice <- rbind(d, d)
  list(five_rows = transform(five, hardness = hardness + c(1, -1, 0.5, -0.5, 1)), no_scatter = d,
       no_scatter_repeated = twice, constant = transform(d, hardness = 120),
       constant_repeated = transform(twice, hardness = 120),
       constant_nearly = transform(d, hardness = 120 + 1e-9 * seq_along(hardness)),
       two_levels = transform(d, hardness = ifelse(time_min > 0, 80, 160)),
       rounded = transform(twice, hardness = round(hardness)))
}

test_that("every method answers a fit of few or flat data, and what it cannot say is said", {
  skip_on_cran()
  withr::local_pdf(withr::local_tempfile(fileext = ".pdf"))
  drawn <- function(p) ggplot2::ggplot_build(p)
  methods <- list(
    print = print, summary = function(f) print(summary(f)), glance = glance,
    tidy = function(f) tidy(f, conf.int = TRUE), confint = stats::confint, vcov = stats::vcov,
    identifiability = function(f) {
      known <- identifiability(f)
      print(known)
      drawn(ggplot2::autoplot(known))
      expect_true(all(nzchar(known$reason)))
      expect_false(any(grepl("NA|NaN", c(known$reason, known$advice[!is.na(known$advice)]))))
    },
    plot = plot, # draws what autoplot() gives
    plot_avrami = function(f) drawn(plot_avrami(f)), plot_arrhenius = function(f) drawn(plot_arrhenius(f)),
    time_to = function(f) print(time_to(f)), recryst = recryst_temperature,
    predict = function(f) predict(f, data.frame(temp_c = 320, time_min = c(0, 10)), interval = "prediction"),
    simulate = function(f) stats::simulate(f, seed = 1), augment = augment,
    anova = stats::anova, residuals = function(f) residuals(f, type = "pearson"))
  found <- character()
  refused <- character()
  for (case in names(few_data())) {
    fit <- outcome("fit_softening", list(few_data()[[case]]))
    if (fit != "result") {
      if (fit != "refused") found <- c(found, paste(case, fit))
      next
    }
    fit <- suppressWarnings(fit_softening(few_data()[[case]]))
    for (name in names(methods)) {
      end <- outcome(methods[[name]], list(fit))
      if (end == "refused") refused <- c(refused, paste(case, name))
      if (!end %in% c("result", "refused")) found <- c(found, paste(case, name, end))
    }
  }
  expect_identical(found, character())
  # no scatter can be simulated where none can be estimated
  expect_true("five_rows simulate" %in% refused)
})

test_that("five readings for five parameters leave no errors, and the advice says so", {
  fit <- suppressWarnings(fit_softening(few_data()$five_rows))
  expect_identical(stats::df.residual(fit), 0L, ignore_attr = TRUE)
  expect_true(all(is.na(tidy(fit)$std.error)))
  known <- suppressWarnings(identifiability(fit))
  expect_match(known$advice[!is.na(known$advice) & nzchar(known$advice)],
               "scatter is not known: take more readings", all = FALSE)
  expect_error(stats::simulate(fit), class = "softanneal_error_too_few")
})

test_that("nested fits of which one leaves no degrees of freedom are compared without F", {
  six <- few_data()$no_scatter[c(1, 3, 5, 6, 7, 4), ]
  six$hardness <- six$hardness + c(1, -1, 0.5, -0.5, 1, 0)
  for (se in c("components", "cluster", "model")) {
    small <- suppressWarnings(fit_softening(six, se = se))
    large <- suppressWarnings(fit_softening(six, model = "jmak_incubation", se = se))
    expect_warning(a <- stats::anova(small, large), class = "softanneal_warning_too_few")
    expect_true(all(is.na(a[["F value"]])) && all(is.na(a[["Pr(>F)"]])))
  }
})

test_that("hardness that does not change is told to be no softening", {
  fit <- tryCatch(suppressWarnings(fit_softening(few_data()$constant)), softanneal_error = identity)
  skip_if(inherits(fit, "softanneal_error"), "refused at the door")
  known <- suppressWarnings(identifiability(fit))
  expect_match(known$reason, "no softening to see|fixed by the call|determine it", all = TRUE)
})

# A few rows at random, with or without scatter: "result", "refused", or what is wrong, in words. Wrong
# without a word: an error of estimate without degrees of freedom, an energy of data that do not change, a
# sum of squares above that of the truth.
few_round <- function(seed) with_test_seed(seed, {
  d <- few_data()$no_scatter
  d <- d[sort(sample(nrow(d), sample(5:8, 1L))), ]
  if (stats::runif(1L) < 0.3) d <- rbind(d, d)
  kind <- sample(c("exact", "rounded", "flat", "scatter"), 1L)
  truth <- d$hardness
  d$hardness <- switch(kind, exact = truth, rounded = round(truth), flat = rep(120, nrow(d)),
                       scatter = truth + stats::rnorm(nrow(d)))
  told <- function(what) paste0("seed ", seed, ", ", kind, ", ", nrow(d), " rows: ", what)
  # by the scatter of readings, without the shares of the steps
  fit <- tryCatch(suppressWarnings(fit_softening(d, se = sample(c("model", "cluster"), 1L))),
                  softanneal_error = function(e) NULL, error = conditionMessage)
  if (is.null(fit)) return("refused")
  if (is.character(fit)) return(told(fit))
  one <- sample(c("print", "summary", "glance", "identifiability", "time_to", "plot_avrami", "confint"), 1L)
  end <- outcome(get(one), list(fit), show = TRUE)
  if (!end %in% c("result", "refused")) return(told(paste(one, end)))
  errors <- tidy(fit)$std.error
  if (stats::df.residual(fit) == 0 && !all(is.na(errors))) return(told("errors without degrees of freedom"))
  if (kind == "flat" && fit$states[["q_kj_mol"]] == "determined") return(told("an energy without a change"))
  if (stats::deviance(fit) > sum((d$hardness - truth)^2) + 1e-4 && kind != "flat") {
    return(told("a sum of squares above that of the truth"))
  }
  "result"
})

test_that("a few rows at random give no answer that they cannot give", {
  skip_on_cran()
  withr::local_pdf(withr::local_tempfile(fileext = ".pdf"))
  rounds <- as.integer(Sys.getenv("SOFTANNEAL_FEW_ROUNDS", if (extended_tests()) "2000" else "20"))
  ends <- vapply(seq_len(rounds), few_round, "")
  found <- ends[!ends %in% c("result", "refused")]
  expect_identical(found, character(), label = paste(found, collapse = "\n"))
  expect_gt(mean(ends == "result"), 0.3)
})
