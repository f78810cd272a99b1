# Checks of values that several rooms share: lengths and times in their unit, seeds.

# An argument as plain double in a unit; class units is converted, everything else checked.
in_unit <- function(x, unit, arg, lower = -Inf, upper = Inf, open = FALSE) {
  if (inherits(x, "units")) x <- plain_units(x, unit, arg)
  check_numeric(x, arg, lower, upper, open)
}

check_seed <- function(seed) {
  check_number(seed, "seed", -.Machine$integer.max, .Machine$integer.max, whole = TRUE,
               remedy = "Give one whole number.")
}

check_softening <- function(fit, arg = "fit") {
  if (!inherits(fit, "softanneal_fit_softening")) {
    abort("argument", paste0("`", arg, "` must come from fit_softening(), not ", describe(fit)),
          arg = arg, remedy = "Fit the readings first.")
  }
}
