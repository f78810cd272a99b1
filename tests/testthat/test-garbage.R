# Garbage at every argument of every exported function, one argument at a time: a result or
# a condition of our own must come out. The values and the valid calls are in helper-garbage.R.

# Functions without arguments to throw at, or whose work is opening windows.
WITHOUT_ARGUMENTS <- c("addin_bench", "addin_chain", "addin_explore", "addin_fit", "addin_import",
                       "addin_practice", "addin_report", "class_secret", "hardness_scales")
# Those that set documents take seconds when they are not refused: tests of their own below.
DOCUMENTS <- c("softening_report", "bench_sheet", "explore_page", "practice_page")

test_that("there is a valid call for every exported function, with every argument of it", {
  skip_on_cran()
  withr::local_dir(withr::local_tempdir())
  calls <- valid_calls()
  expect_setequal(c(names(calls), WITHOUT_ARGUMENTS), getNamespaceExports("softanneal"))
  for (f in WITHOUT_ARGUMENTS) expect_null(formals(f))
  ends <- vapply(setdiff(names(calls), DOCUMENTS),
                 function(f) outcome(f, named_arguments(f, calls[[f]])), "")
  # what gives classes of package units is refused without it
  if (!requireNamespace("units", quietly = TRUE)) {
    expect_identical(ends[["with_units"]], "refused")
    ends <- ends[names(ends) != "with_units"]
  }
  expect_identical(names(ends)[ends != "result"], character())
  # generics have the arguments of their method
  for (f in setdiff(names(calls), c("augment", "glance", "tidy"))) {
    missed <- setdiff(names(formals(f)), c(names(named_arguments(f, calls[[f]])), "...",
                                           LEFT_OUT[[f]]))
    expect_identical(missed, character(), label = paste0(f, "(): ", toString(missed)))
  }
})

test_that("garbage gives a result or a classed condition, never an error from inside", {
  skip_on_cran()
  withr::local_dir(withr::local_tempdir())
  calls <- valid_calls()
  quick <- setdiff(names(calls), DOCUMENTS)
  values <- c(garbage_values(), more_garbage())
  tries <- 0L
  for (f in quick) {
    args <- named_arguments(f, calls[[f]])
    # an archive with other settings would be refused for its folder alone
    prepare <- if (f == "fit_archive") {
      function() unlink(args$out_dir, recursive = TRUE)
    } else function() NULL
    thrown <- throw_garbage(f, args, values = values, prepare = prepare,
                            every = if (f == "anneal_history") 13L else 6L)
    tries <- tries + nrow(thrown)
    found <- findings_of(thrown, f)
    expect_identical(found, character(), label = paste0(f, "(): ", paste(found, collapse = "\n")))
  }
  expect_gt(tries, 4000L)
})

test_that("random garbage in several arguments at once", {
  skip_on_cran()
  withr::local_dir(withr::local_tempdir())
  calls <- valid_calls()
  calls <- calls[setdiff(names(calls), DOCUMENTS)]
  values <- c(garbage_values(), more_garbage())
  # SOFTANNEAL_GARBAGE_SEED and _ROUNDS choose another part of the rounds
  first <- as.integer(Sys.getenv("SOFTANNEAL_GARBAGE_SEED", "1"))
  rounds <- as.integer(Sys.getenv("SOFTANNEAL_GARBAGE_ROUNDS",
                                  if (extended_tests()) "20000" else "500"))
  found <- character()
  ends <- integer(2L)
  for (seed in first + seq_len(rounds) - 1L) {
    unlink(calls$fit_archive[[2L]], recursive = TRUE)
    round <- random_round(seed, calls, values)
    k <- match(round$outcome, c("result", "refused"))
    if (is.na(k)) found <- c(found, round_finding(round, seed)) else ends[k] <- ends[k] + 1L
  }
  expect_identical(found, character(), label = paste(found, collapse = "\n"))
  # the rounds reach both ends: not all is refused at the door
  expect_gt(min(ends) / rounds, 0.05)
})

test_that("a document of garbage is refused before a file is written", {
  skip_on_cran()
  withr::local_dir(withr::local_tempdir())
  skip_if_not_installed("rmarkdown")
  calls <- valid_calls()
  values <- garbage_values()[c("nan", "none", "two", "bytes", "list", "fun", "no_rows", "formula")]
  among <- list(softening_report = c("readings", "out_dir", "model", "scale", "material", "level",
                                     "overwrite"),
                bench_sheet = c("plan", "file", "title", "overwrite"),
                explore_page = c("fit", "file", "title", "dial", "level", "overwrite", "open"),
                practice_page = setdiff(names(formals(practice_page)), "..."))
  for (f in DOCUMENTS) {
    args <- named_arguments(f, calls[[f]])
    for (arg in among[[f]]) {
      # a title may be any text
      for (name in setdiff(names(values), if (arg == "title") "bytes")) {
        with <- args
        with[arg] <- list(values[[name]])
        expect_identical(outcome(f, with), "refused", label = paste(f, arg, name))
      }
    }
    expect_false(file.exists(args[[intersect(names(args), c("file", "out_dir"))]]))
  }
})

test_that("garbage at the methods of fits", {
  skip_on_cran()
  withr::local_dir(withr::local_tempdir())
  fit <- bell_softening()
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
  skip_on_cran()
  log <- data.frame(time_s = c(0, 60), temp_c = c(20, 1e12))
  expect_error(equivalent_time(log, 0, 370), class = "softanneal_error_range")
  log$temp_c <- c(400, -273.15 + 1e-6)
  expect_error(equivalent_time(log, 0, 370), class = "softanneal_error_range")
  log <- data.frame(time_s = c(-1e308, 1e308), temp_c = 370)
  expect_error(equivalent_time(log, 150, 370), class = "softanneal_error_range")
})

test_that("units that do not belong are refused, those of the bench converted", {
  skip_on_cran()
  skip_if_not_installed("units")
  expect_error(arrhenius_rate(300, 1, 330, units::set_units(150, "kg")),
               class = "softanneal_error_units")
  expect_equal(arrhenius_rate(units::set_units(573.15, "K"), 1, 330, 150),
               arrhenius_rate(300, 1, 330, 150), tolerance = 1e-12)
  expect_equal(larson_miller(600, time_min = units::set_units(2, "h")),
               larson_miller(600, time_h = 2))
  expect_error(jmak_fraction(units::set_units(3, "K"), 1, 1), class = "softanneal_error_units")
  expect_error(heat_up(1, 400, tolerance_c = units::set_units(2, "K")),
               class = "softanneal_error_units")
})
