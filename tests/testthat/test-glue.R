# The C entry points on tiny input: nothing is lost when R collects garbage at every chance, and
# a call of the wrong shape is an error of R, not a crash.

# Entry points of the package by name, as they are registered.
entry_points <- function() {
  getDLLRegisteredRoutines(getLoadedDLLs()[["softanneal"]], addNames = TRUE)$.Call
}

# Calls and functions differ between the two copies of the package; numbers may not.
strip_calls <- function(x) {
  if (!is.list(x)) return(x)
  lapply(unclass(x)[!vapply(x, \(part) is.function(part) || is.language(part), NA)], strip_calls)
}

# What user-level functions do in C, on a few values; `p` holds the functions.
tiny_calls <- function(p) {
  bell <- bell_readings()
  small <- bell[bell$time_min %in% c(0, 4, 16, 64) & bell$temp_c %in% c(330, 370), ]
  log <- data.frame(specimen = "A", time_s = c(0, 60, 600), temp_c = c(20, 370, 370))
  par <- c(h_worked = 180, h_soft = 75, ln_k_ref = -2.3, n = 1.5, q_kj_mol = 180)
  fit <- suppressWarnings(fit_softening(small, se = "model"))
  small$coil <- small$specimen
  plan <- plan_anneal(c(300, 330), c(4, 8, 16), plan_guess(recryst_1h_c = 330, draws = 2))
  fits <- suppressWarnings(fit_each(small, coil))
  list(
    fraction = function() p$jmak_fraction(c(0, 1, NA), 1, 2),
    time = function() p$jmak_time(c(0, 0.5, NA), 1, 2),
    rate = function() p$arrhenius_rate(c(300, NA), 1, 330, 150),
    convert = function() p$convert_hardness(c(80, 90), "HRB", "HV", interval = TRUE),
    labels = function() p$convert_hardness(c(80, 77), c("HRB", "HR15T"), "HV"),
    heat = function() p$heat_up(1, 400, until_min = 1, n_points = 3),
    equivalent = function() p$equivalent_time(log, 180, 370),
    soften = function() p$soften(log, par, temp_ref_c = 370),
    least_squares = function() p$fit_least_squares(function(x) x - c(1, 2), c(a = 0, b = 0)),
    jacobian = function() p$fit_least_squares(function(x) c(x - 1, x - 2), c(a = 0),
                                              jac = function(x) matrix(1, 2, 1)),
    softening = function() coef(suppressWarnings(p$fit_softening(small, se = "model"))),
    time_to = function() p$time_to(fit, softening = 0.5, temp_c = 350),
    time_limits = function() {
      suppressWarnings(p$time_to(fit, softening = 0.5, temp_c = 350, method = "profile"))
    },
    values = function() p$softening_values(fit, c(330, 350), c(4, 8)),
    each = function() as.data.frame(suppressWarnings(p$fit_each(small, coil))),
    each_values = function() {
      suppressWarnings(p$predict.softanneal_fits(fits, small[c(2, 9), ], se.fit = TRUE))
    },
    plan = function() p$improve_plan(plan, "q", temp_c = c(300, 330), time_min = c(4, 8, 16),
                                     n_specimens = 1, starts = 1)$improvement)
}

test_that("results are the same when R collects garbage at every allocation in C", {
  calm <- tiny_calls(asNamespace("softanneal"))
  package <- tortured_package()
  tortured <- tiny_calls(package)
  for (name in names(calm)) {
    before <- package$torture_count
    expect_equal(strip_calls(tortured[[name]]()), strip_calls(calm[[name]]()), tolerance = 0,
                 label = name)
    expect_gt(package$torture_count, before, label = name)
  }
  # every entry point that is registered was among them
  expect_setequal(unique(package$torture_names), names(entry_points()))
})

test_that("entry points refuse arguments of the wrong type or length", {
  odd <- list(NULL, character(), "a", list(), 1i, 1:3, numeric(), TRUE)
  points <- entry_points()
  expect_gt(length(points), 8L)
  for (name in names(points)) {
    for (value in odd) {
      args <- rep(list(value), points[[name]]$numParameters)
      out <- tryCatch({
        do.call(.Call, c(list(points[[name]]), args))
        "result"
      }, error = function(e) "error")
      expect_true(out %in% c("result", "error"), label = paste(name, typeof(value)))
    }
  }
})
