# What plans, guesses, precision and lifetimes refuse or tell, one condition after the other.

plan_of <- function(...) {
  suppressWarnings(plan_anneal(c(290, 320), c(4, 8, 16),
                               plan_guess(recryst_1h_c = 330, draws = 8), ...))
}

test_that("plans that cannot be improved say why", {
  plan <- plan_of()
  plan$layout$capacity <- plan$settings$n_readings
  expect_refused(improve_plan(plan), "range", "no room for the readings of one step", "plan")
  many <- data.frame(specimen = "P", temp_c = 300, time_min = seq_len(65))
  plan <- suppressWarnings(plan_anneal(many, guess = plan_guess(recryst_1h_c = 330, draws = 8),
                                       length_mm = 2000, sessions = 30))
  expect_refused(improve_plan(plan, time_min = c(4, 8)), "argument",
                 "the plan has 65 different times", "plan")
  soft <- plan_guess(recryst_1h_c = 330, h_soft = 30, draws = 8)
  expect_refused(plan_anneal(c(290, 320), c(4, 8), soft, scale = "HRB"), "range",
                 "the softest reading cannot be converted from HV to HRB", "min_hardness")
})

test_that("a search that ends otherwise than it should says so", {
  skip_on_cran()
  plan <- plan_of()
  ended <- function(ending) {
    copied_package(.Call = function(...) {
      out <- base::.Call(...)
      if (is.list(out) && !is.null(out$counted)) out[names(ending)] <- ending
      out
    })
  }
  # what the kernel does at the iteration limit, and where the model has no finite value
  better <- expect_told(suppressWarnings(ended(list(at_limit = TRUE))$improve_plan(plan, starts = 2),
                                         classes = c("softanneal_warning_outside",
                                                     "softanneal_warning_assumption")),
                        "fit", "stopped at the iteration limit", 1L)
  expect_s3_class(better, "softanneal_plan")
  expect_refused(ended(list(finite = FALSE))$improve_plan(plan, starts = 2), "range",
                 "the model cannot be evaluated at the allowed temperatures", "temp_c")
})

test_that("profiles ask for what was estimated by squares", {
  fit <- suppressWarnings(fit_softening(bell_readings(), loss = "huber"))
  expect_refused(identifiability(fit), "model", "Huber loss has no profile likelihood", "fit")
})

pieces_reached <- data.frame(temp_c = rep(c(290, 320, 350), each = 4),
                             time_min = c(151, 204, 240, 240, 38, 55, 61, 47, 13, 17, 11, 15),
                             reached = c(1, 1, 0, 0, rep(1, 8)))

test_that("lifetimes are compared on the same times, and profiled in Q alone", {
  fit <- suppressWarnings(fit_lifetime(pieces_reached, event = "reached",
                                       distribution = "weibull"))
  other <- suppressWarnings(fit_lifetime(pieces_reached[-1L, ], event = "reached",
                                         distribution = "exponential"))
  expect_refused(anova(fit, other), "model", "the fits do not use the same times")
  expect_refused(confint(fit, "ln_t_ref", method = "profile"), "model",
                 "only an estimated activation energy has a profile", "parm")
})

test_that("two states are compared on one scale and with enough pairs", {
  now <- data.frame(hardness = c(91.5, 92, 91), scale = "HRF")
  before <- data.frame(hardness = c(75, 76, 74), scale = "HRB")
  expect_refused(compare_baseline(now, before), "scale", "`x` is in 'HRF' and `baseline` in 'HRB'")
  expect_refused(compare_baseline(now, now, scale = "HRB"), "scale",
                 "`scale` is 'HRB' and `x` is in 'HRF'", "scale")
  paired <- expect_told(compare_baseline(c(91.5, NA, 91, 92), c(92, 91.5, 92.5, 91), margin = 1.5,
                                         paired = TRUE),
                        "missing", "1 of 4 pairs lack a reading", 1L, 2L)
  whole <- compare_baseline(c(91.5, 91, 92), c(92, 92.5, 91), margin = 1.5, paired = TRUE)
  expect_equal(paired$difference, whole$difference)
  expect_refused(suppressWarnings(compare_baseline(c(91, NA), c(91, 92), margin = 1,
                                                   paired = TRUE)),
                 "too_few", "there are 1 pair of readings and 2 are needed", "x")
  expect_refused(compare_baseline(c(pi, pi), c(1 / 7, 1 / 7), margin = 1), "too_few",
                 "zero variance and resolution", "x")
})

test_that("budgets need all inputs by name and readings inside the table", {
  expect_refused(propagate_uncertainty(~ a + b, c(a = 30, b = 20), c(0.1, 0.2, 0.3)), "argument",
                 "`std_uncertainty` must have one value for each of 'a' and 'b'",
                 "std_uncertainty")
  r <- diag(2)
  dimnames(r) <- list(c("a", "c"), c("a", "c"))
  expect_refused(propagate_uncertainty(~ a + b, c(a = 30, b = 20), c(0.1, 0.2), correlation = r),
                 "argument", "`correlation` has other names than `estimate`", "correlation")
  now <- data.frame(hardness = c(91.5, 92, 91), scale = "HRF")
  before <- data.frame(hardness = c(75, 76, 74), scale = "HRB")
  expect_refused(uncertainty_budget(now, reference = before), "scale",
                 "`x` is in 'HRF' and `reference` in 'HRB'", "scale")
  expect_refused(uncertainty_budget(c(20, 20.5, 21), scale = "HRF", in_hv = TRUE), "range",
                 "the mean of `x`, 20.5 HRF, lies outside the conversion table for brass", "x")
})

test_that("laboratories have one cell a material, and missing readings are told", {
  cells <- data.frame(group = c("a", "b", "a"), specimen = "ring", mean = c(61, 62, 63),
                      sd = 1, n = 5)
  expect_refused(compare_laboratories(cells, lab = "group", test_material = "specimen",
                                      cell_mean = "mean", cell_sd = "sd", cell_n = "n"),
                 "duplicate", "a laboratory has two cells for one material", "lab", 3L)
  d <- data.frame(group = rep(c("bench 1", "bench 2", "bench 3"), each = 4), specimen = "ring",
                  hardness = c(61, 60.5, 61.5, NA, 62, 62.5, 62, 63, 60, 61.5, 61, 60.5))
  out <- expect_told(compare_laboratories(d, lab = "group", test_material = "specimen"), "missing",
                     "1 of 12 readings are missing and left out (row 4)", 1L, 4L)
  expect_equal(as.data.frame(out), as.data.frame(
    compare_laboratories(d[-4L, ], lab = "group", test_material = "specimen")))
})

test_that("readings that no machine shows are refused, not squared into infinity", {
  expect_refused(compare_baseline(c(91.5, 1e308), c(92, 91.5), margin = 1), "range",
                 "`x` must be between -1e+06 and 1e+06", "x", 2L)
  huge <- data.frame(hardness = c(91.5, -1e308), scale = "HRF")
  expect_refused(uncertainty_budget(huge), "range", "between -1e+06 and 1e+06", "hardness", 2L)
})

test_that("sizes and times beyond all sense are refused, not computed with", {
  expect_refused(plan_of(thickness_mm = 5e-324), "range",
                 "heating or cooling of the specimens cannot be computed", "thickness_mm")
  expect_refused(cool_down(0.95, 400, until_min = 1e308), "range", "`until_min` must be",
                 "until_min")
  expect_refused(door_opening(410, at_min = 1e308), "range", "`at_min` must be", "at_min")
  expect_refused(class_design(blunders = expression(a)), "argument", "`blunders` must name blunders",
                 "blunders")
  expect_refused(fit_least_squares(function(p) p, start = as.POSIXlt("2021-03-04")), "argument",
                 "`start` must be numeric", "start")
  folder <- withr::local_tempdir()
  utils::write.csv(cbind(coil = "A", as.data.frame(bell_readings())), file.path(folder, "a.csv"),
                   row.names = FALSE)
  expect_refused(fit_archive(folder, file.path(folder, "new"), by = "coil", model = quote(a + b)),
                 "argument", "`model` must be a value, not unevaluated code", "model")
  expect_false(dir.exists(file.path(folder, "new")))
})
