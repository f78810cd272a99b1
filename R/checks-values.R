# Checks of values that several families of files share: lengths and times in their unit, seeds, missing
# rows.

# An argument as plain double in a unit; class units is converted, everything else checked.
in_unit <- function(x, unit, arg, lower = -Inf, upper = Inf, open = FALSE) {
  if (inherits(x, c("units", "difftime"))) x <- plain_class(x, unit, arg)
  check_numeric(x, arg, lower, upper, open)
}

check_seed <- function(seed) {
  check_number(seed, "seed", -.Machine$integer.max, .Machine$integer.max, whole = TRUE,
               remedy = "Give one whole number.")
}

check_softening <- function(fit, arg = "fit") {
  if (!inherits(fit, "softanneal_fit_softening")) {
    abort("argument", paste0("`", arg, "` must come from fit_softening(), not ", describe(fit)),
          arg = arg, remedy = if (inherits(fit, "softanneal_posterior")) {
            "A posterior holds the fit of its readings as `$fit`, and is drawn itself by plot()."
          } else if (inherits(fit, "softanneal_fits")) {
            "Take the fit of one group, such as fits[[1]], or all by lapply()."
          } else "Fit the readings first.")
  }
}

# Rows with a missing value as base R's na.action, with one warning; NULL when there are none.
missing_rows <- function(values, n, na.action) {
  kind <- na_kind(na.action)
  bad <- logical(n)
  counts <- integer()
  for (name in names(values)) {
    x <- values[[name]]
    if (length(x) != n || !anyNA(x)) next
    miss <- is.na(x)
    bad <- bad | miss
    counts[name] <- sum(miss)
  }
  if (!any(bad)) return(NULL)
  rows <- which(bad)
  each <- paste0(names(counts), ": ", counts, collapse = ", ")
  if (kind == "fail") {
    abort("missing", paste0("missing values (", each, ")"), arg = names(counts), rows = rows,
          remedy = "Complete these rows, or choose na.action = na.exclude.")
  }
  warn("missing", paste0(length(rows), " of ", n, " rows were left out for missing values (", each,
                         "; ", in_rows(rows), ")."), n = length(rows), rows = rows)
  structure(rows, class = kind)
}

na_kind <- function(na.action) {
  if (identical(na.action, stats::na.exclude)) return("exclude")
  if (identical(na.action, stats::na.omit)) return("omit")
  if (identical(na.action, stats::na.fail)) return("fail")
  abort("argument", "`na.action` must be na.exclude, na.omit or na.fail", arg = "na.action",
        remedy = "Give one of these functions, without quotes.")
}

# An argument of class `units` or `difftime` in the unit its name ends with. Differences of temperature
# (`dip_c`, `tolerance_c`) have no conversion there, and a name without a unit has no unit.
bench_units <- function(x, arg) {
  unit <- c("_c" = "degree_C", "_min" = "min", "_h" = "h", "_s" = "s", "_mm" = "mm",
            "_kj_mol" = "kJ/mol", "_n" = "N", "_k_h" = "K/h", "_k_min" = "K/min", "_um" = "um")
  ends <- names(unit)[endsWith(arg, names(unit))]
  if (length(ends) && !arg %in% c("dip_c", "tolerance_c")) {
    unit <- unit[[ends[which.max(nchar(ends))]]]
    return(if (inherits(x, "difftime")) plain_class(x, unit, arg) else plain_units(x, unit, arg))
  }
  abort("units", paste0("`", arg, "` must be a plain number here, and has a unit"), arg = arg,
        remedy = "Convert it and drop the unit.")
}
