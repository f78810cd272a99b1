# Garbage at every argument of every exported function, one argument at a time: a result or
# a condition of our own must come out. The values and the valid calls are in helper-garbage.R.

# Functions without arguments to throw at, or whose work is opening windows.
# Those that write archives and sheets have their own bad arguments in test-fit-archive.R and
# test-bench-sheet.R.
WITHOUT_ARGUMENTS <- c("addin_fit", "addin_import", "addin_report", "hardness_scales",
                       "bench_sheet", "fit_archive", "read_archive")

test_that("there is a valid call for every exported function", {
  withr::local_dir(withr::local_tempdir())
  calls <- valid_calls()
  expect_setequal(c(names(calls), WITHOUT_ARGUMENTS), getNamespaceExports("softanneal"))
  ends <- vapply(setdiff(names(calls), "softening_report"),
                 function(f) outcome(f, named_arguments(f, calls[[f]])), "")
  expect_identical(names(ends)[ends != "result"], character())
})

test_that("garbage gives a result or a classed condition, never an error from inside", {
  withr::local_dir(withr::local_tempdir())
  calls <- valid_calls()
  quick <- setdiff(names(calls), c("softening_report", WITHOUT_ARGUMENTS))
  values <- garbage_values()
  tries <- 0L
  for (f in quick) {
    thrown <- throw_garbage(f, named_arguments(f, calls[[f]]), values = values,
                            every = if (f == "anneal_history") 9L else 4L)
    tries <- tries + nrow(thrown)
    found <- findings_of(thrown, f)
    expect_identical(found, character(), label = paste0(f, "(): ", paste(found, collapse = "\n")))
  }
  expect_gt(tries, 4000L)
})

test_that("a report of garbage is refused before a file is written", {
  withr::local_dir(withr::local_tempdir())
  skip_if_not_installed("rmarkdown")
  args <- named_arguments("softening_report", valid_calls()$softening_report)
  values <- garbage_values()[c("nan", "none", "two", "bytes", "list", "fun", "no_rows", "formula")]
  for (arg in c("readings", "out_dir", "model", "scale", "material", "level", "overwrite")) {
    for (name in names(values)) {
      with <- args
      with[arg] <- list(values[[name]])
      expect_identical(outcome("softening_report", with), "refused", label = paste(arg, name))
    }
  }
  expect_false(dir.exists(args$out_dir))
})

test_that("garbage at the methods of fits", {
  withr::local_dir(withr::local_tempdir())
  fit <- suppressWarnings(fit_softening(bell_readings()))
  new <- data.frame(temp_c = 330, time_min = c(1, 10))
  methods <- list(
    predict = list(fit, newdata = new, interval = "confidence", level = 0.9, se.fit = TRUE),
    confint = list(fit, parm = "n", level = 0.9, method = "wald"),
    residuals = list(fit, type = "response"), simulate = list(fit, nsim = 2, seed = 1),
    vcov = list(fit), summary = list(fit), logLik = list(fit), anova = list(fit),
    profile = list(fit, parm = "n"))
  values <- garbage_values()
  for (f in names(methods)) {
    args <- methods[[f]]
    thrown <- throw_garbage(f, args, among = setdiff(names(args), ""), values = values,
                            every = if (f == "profile") 4L else 1L)
    found <- findings_of(thrown, f)
    expect_identical(found, character(), label = paste0(f, "(): ", paste(found, collapse = "\n")))
  }
})

test_that("temperatures of no furnace are refused at once, not integrated for years", {
  log <- data.frame(time_s = c(0, 60), temp_c = c(20, 1e12))
  expect_error(equivalent_time(log, 0, 370), class = "softanneal_error_range")
  log$temp_c <- c(400, -273.15 + 1e-6)
  expect_error(equivalent_time(log, 0, 370), class = "softanneal_error_range")
  log <- data.frame(time_s = c(-1e308, 1e308), temp_c = 370)
  expect_error(equivalent_time(log, 150, 370), class = "softanneal_error_range")
})

test_that("units that do not belong are refused, those of the bench converted", {
  skip_if_not_installed("units")
  expect_error(arrhenius_rate(300, 1, 330, units::set_units(150, "kg")),
               class = "softanneal_error_units")
  expect_equal(arrhenius_rate(units::set_units(573.15, "K"), 1, 330, 150),
               arrhenius_rate(300, 1, 330, 150), tolerance = 1e-12)
  expect_equal(larson_miller(600, time_min = units::set_units(2, "h")),
               larson_miller(600, time_h = 2))
  expect_error(jmak_fraction(units::set_units(3, "K"), 1, 1), class = "softanneal_error_units")
  expect_error(heat_up(1, 400, within_c = units::set_units(2, "K")),
               class = "softanneal_error_units")
})
