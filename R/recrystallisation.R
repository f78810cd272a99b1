# Recrystallisation kinetics from measured fractions (micrographs, calorimeter) over all
# temperatures at once. Times in min, temperatures in degrees Celsius, rate k inside the power:
# X = 1 - exp(-(k t - theta0)^n). The estimation is in R/recrystallisation-solve.R.

RECRYST_UNITS <- c(ln_k_ref = "", n = "", q_kj_mol = "kJ/mol", theta0 = "")

#' Recrystallisation kinetics from measured fractions
#'
#' Fits the law of Johnson, Mehl, Avrami and Kolmogorov with an Arrhenius rate,
#' \deqn{X = 1 - \exp(-\max(k t - \theta_0, 0)^n),\quad \ln k = \ln k_{ref} - \frac{Q}{R}
#'   \left(\frac{1}{T} - \frac{1}{T_{ref}}\right)}{X = 1 - exp(-max(k t - theta0, 0)^n),
#'   ln k = ln k_ref - (Q/R) (1/T - 1/Tref)}
#' to recrystallised fractions at one or more temperatures.
#'
#' **`method = "direct"`** works on the fractions themselves. With `variance = "proportional"` the
#' variance is that of a proportion, \eqn{X(1-X)/(1+\phi)}{X (1 - X)/(1 + phi)}: small near 0
#' and 1, as when grid points are counted. 1 + phi is the number of independent points behind a
#' fraction, common to all rows (relative numbers go into `weights`); so it does not move the
#' estimates and follows from the scatter, `1 + phi = 1/sigma^2`. The weights 1/(X(1-X)) are
#' taken from the fitted curve and renewed until convergence (iterative
#' reweighting, a quasi-likelihood). Within `edge` of 0 and 1 they no longer grow, because a
#' fraction is never read better than the resolution of the micrograph; a row there counts as
#' the part of a degree of freedom that its scatter can still show (`df_interval` in the fit).
#'
#' With `variance = "constant"` every fraction is equally good, as from a calorimeter with one
#' error of its baseline. On counts it makes errors too small: rows read before the start and
#' after the end scatter little and lower the estimate for all (in a simulation with 60 points a
#' specimen, its 95 % intervals covered Q in 68 and n in 77 of 100 cases; those of the proportional
#' variance in 95).
#'
#' **`method = "double_log"`** is the classical double-log method: a straight line through
#' ln(-ln(1 - X)) over ln t. It treats all points on that stretched scale as equally good, so
#' that the least certain ones, near 0 and 1, pull most, and it must leave out every 0 and 1,
#' which bends the ends. It is here for teaching; the example shows its bias.
#' It has no `theta0`.
#'
#' Several fields of one specimen are not independent: fit the mean of each specimen. The
#' straight line gives the starting values of the direct fit.
#'
#' With one temperature Q cannot be estimated: it is `NA`, with a warning, and predictions at
#' other temperatures are `NA`. Where a temperature was over before its first specimen (or not
#' begun at its last), the fractions give Q only a limit: its error is `NA` then, the limit is that
#' of the profile likelihood, and predictions have no errors. `profile()` and
#' `confint(method = "profile")` go through the parameters of a direct fit.
#'
#' @param data A data frame, one row per specimen (step).
#' @param fraction Column of recrystallised fractions, 0 to 1 (not per cent). Fractions computed from
#'   hardness may lie less than 0.1 outside by their scatter: the direct fit takes them as they are (the curve
#'   stays between 0 and 1), the double-log method leaves them out.
#' @param time,temp Columns of times in min and temperatures in degrees Celsius. All column
#'   arguments take names bare or quoted.
#' @param specimen Column of specimen names; kept with the data when it is there.
#' @param method,variance See Details.
#' @param incubation Whether to estimate the incubation `theta0` (reduced time `k t` before the
#'   first grain).
#' @param edge Minimum distance from 0 and 1 at which the proportional variance is evaluated.
#' @param lower,upper Bounds as named vectors for some of `ln_k_ref`, `n`, `q_kj_mol`, `theta0`.
#'   Without them `n` is kept between 0.05 and 20, `q_kj_mol` between 0 and 2000, `theta0` above 0.
#' @param weights Case weights, one per row, such as the number of points counted; `NULL` for equal. Rows of
#'   weight zero do not count. Their unit does not matter: ten times the weights give the same estimates and
#'   errors.
#' @param temp_ref_c Reference temperature in degrees Celsius; by default that of the mean of 1/T.
#' @param na.action,control As in [fit_least_squares()].
#' @param ... Must be empty.
#' @return An object of class `softanneal_fit_recrystallisation` over `softanneal_fit` with the
#'   coefficients `ln_k_ref` (ln of k in 1/min at `temp_ref_c`), `n`, `q_kj_mol` and, if asked,
#'   `theta0`, and all methods of [fit_least_squares()]. `predict()` returns fractions;
#'   confidence limits are made on the double-log scale and stay between 0 and 1. `residuals()`,
#'   `fitted()` and `sigma()` of a double-log fit are on its stretched scale. `simulate()` draws
#'   beta-distributed fractions under the proportional variance, otherwise normal ones, which may
#'   leave 0 to 1. `weights()` returns the case weights, `weights(type = "working")` those of the last
#'   reweighting. The field `phi` is the estimate of phi (per unit of weight), or `NA`.
#' @section Errors: `softanneal_error_range` (fraction not between -0.1 and 1.1, negative time),
#'   `softanneal_error_too_few` (all fractions 0, all 1, or fewer informative steps than
#'   parameters), `softanneal_error_column`, `softanneal_error_argument`. Warnings:
#'   `softanneal_warning_fit` names parameters that the data do not determine,
#'   `softanneal_warning_outside` counts the rows that the double-log route leaves out.
#' @source Avrami M (1939) J. Chem. Phys. 7, 1103 \doi{10.1063/1.1750380}. Quasi-likelihood and
#'   reweighting: Wedderburn R W M (1974) Biometrika 61, 439 \doi{10.1093/biomet/61.3.439}. Variance with
#'   phi: Ferrari S L P, Cribari-Neto F (2004) J. Appl. Stat. 31, 799 \doi{10.1080/0266476042000214501}.
#' @seealso [jmak_fraction()], [fit_softening()] for hardness readings, [fit_lifetime()]
#' @examples
#' # Larkfield Bell Works, simulated: n = 2.2, Q = 165 kJ/mol, k = 0.05 per min at 340 degrees
#' # Celsius, 60 points counted on each specimen
#' counted <- read.csv(system.file("extdata", "grain_bellbrass_fractions.csv",
#'                                 package = "softanneal"))
#' fit <- fit_recrystallisation(counted)
#' fit
#' predict(fit, data.frame(temp_c = 330, time_min = c(10, 30)), interval = "confidence")
#' # the double-log method on the same counts loses 11 of 24 rows
#' hand <- suppressWarnings(fit_recrystallisation(counted, method = "double_log"))
#' rbind(direct = coef(fit), double_log = coef(hand))
#' # its bias: counts drawn from the fitted law, fitted again by both routes. The direct fit comes
#' # back to the n it was drawn from; the double-log method finds it too low,
#' # with a larger standard deviation.
#' set.seed(1)
#' again <- replicate(20, {
#'   counted$fraction <- rbinom(24, 60, fitted(fit)) / 60
#'   c(direct = coef(fit_recrystallisation(counted))[["n"]],
#'     double_log = suppressWarnings(
#'       coef(fit_recrystallisation(counted, method = "double_log"))[["n"]]))
#' })
#' rbind(drawn_from = coef(fit)[["n"]], mean = rowMeans(again), sd = apply(again, 1, sd))
#' @order 1
#' @export
fit_recrystallisation <- function(data, fraction = fraction, time = time_min, temp = temp_c, ...,
                                  specimen = specimen, method = c("direct", "double_log"),
                                  variance = c("proportional", "constant"), incubation = FALSE,
                                  edge = 0.01, lower = NULL, upper = NULL, weights = NULL,
                                  temp_ref_c = NULL, na.action = stats::na.exclude,
                                  control = fit_control()) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_recrystallisation")
  columns <- c(fraction = column_name(rlang::enquo(fraction)), time = column_name(rlang::enquo(time)),
               temp = column_name(rlang::enquo(temp)), specimen = column_name(rlang::enquo(specimen)))
  method <- check_choice(method, c("direct", "double_log"), "method")
  asked <- !missing(variance)
  variance <- check_choice(variance, c("proportional", "constant"), "variance")
  incubation <- check_flag(incubation, "incubation")
  edge <- check_number(edge, "edge", 0, 0.5, open = TRUE)
  if (method == "double_log") {
    if (incubation || asked && variance == "proportional") {
      abort("argument", paste0("`method = \"double_log\"` has no ",
                               if (incubation) "incubation" else "proportional variance"),
            arg = if (incubation) "incubation" else "variance",
            remedy = "Use `method = \"direct\"`.")
    }
    variance <- "constant"
  }
  weights <- weights_in(rlang::enquo(weights), data)
  d <- fraction_data(data, columns, method, weights, na.action)
  energy <- !one_temperature(d$temp)
  terms <- c("ln_k_ref", "n", if (energy) "q_kj_mol", if (incubation) "theta0")
  check_fractions(d, terms, columns, method)
  # rows of weight zero are as if they were not there
  d$ref <- mean_inverse_temperature(if (is.null(d$w)) d$temp else d$temp[d$w > 0], temp_ref_c)
  bounds <- recryst_bounds(lower, upper, terms)
  fit <- if (method == "direct") direct_fit(d, terms, bounds, variance, edge, control) else {
    double_log_fit(d, terms, bounds, control)
  }
  # the bounds of n, Q and theta0 at their lower end are of nature, the user's are answers too
  natural <- lapply(stats::setNames(terms, terms), \(term) {
    c(term %in% c("q_kj_mol", "n", "theta0") || term %in% names(lower), term %in% names(upper))
  })
  complete_recryst(fit, d, call, columns, method, variance, edge, energy,
                   list(terms = terms, bounds = bounds, natural = natural, control = control))
}

# Scatter takes fractions computed from hardness beyond 0 and 1.
FRACTION_ROOM <- 0.1

# Columns checked and incomplete rows taken out; `time`, `temp`, `x` and weights `w`.
fraction_data <- function(data, columns, method, weights, na.action) {
  check_data(data, groups = FALSE)
  n <- nrow(data)
  x <- numeric_column(data, columns[["fraction"]], lower = -FRACTION_ROOM, upper = 1 + FRACTION_ROOM,
                      open = TRUE, na = TRUE,
                      remedy = "Fractions run from 0 to 1; divide percentages by 100.")
  time <- time_column(data, columns[["time"]])
  temp <- temperature_column(data, columns[["temp"]])
  has_name <- columns[["specimen"]] %in% names(data)
  if (!has_name && columns[["specimen"]] != "specimen") any_column(data, columns[["specimen"]])
  w <- check_weights(weights, n)
  known <- stats::setNames(list(x, time, temp), columns[c("fraction", "time", "temp")])
  gone <- missing_rows(known, n, na.action)
  if (method == "double_log") gone <- without_ends(x, time, temp, gone, na.action)
  keep <- setdiff(seq_len(n), as.integer(gone))
  list(x = x[keep], time = time[keep], temp = temp[keep], w = w[keep], gone = gone,
       specimen = if (has_name) data[[columns[["specimen"]]]][keep])
}

# The double logarithm has no place for fractions of 0 and 1 nor for time zero.
without_ends <- function(x, time, temp, gone, na.action) {
  ends <- which(!is.na(x) & !is.na(time) & !is.na(temp) & (x <= 0 | x >= 1 | time <= 0))
  if (!length(ends)) return(gone)
  warn("outside", paste0(length(ends), " of ", length(x), " rows have a fraction of 0 or 1 or ",
                         "time zero and no place on the double-log scale (", in_rows(ends), ")."),
       n = length(ends), rows = ends)
  structure(sort(c(as.integer(gone), ends)), class = na_kind(na.action))
}

check_fractions <- function(d, terms, columns, method) {
  column <- columns[["fraction"]]
  if (!length(d$x)) {
    abort("too_few", "no complete row is left", arg = column,
          remedy = "Give fractions between 0 and 1.")
  }
  for (end in 0:1) if (all(if (end == 0) d$x <= 0 else d$x >= 1)) {
    abort("too_few", paste0("all fractions are ", end), arg = column,
          remedy = if (end == 0) "Anneal longer or hotter." else "Anneal shorter or cooler.")
  }
  after <- d$time > 0
  conditions <- nrow(unique(data.frame(d$time, d$temp)[after, ]))
  if (conditions < length(terms)) {
    abort("too_few", paste0("there are ", conditions, " different steps for ",
                            length(terms), " parameters"), arg = column,
          remedy = "Measure at more times or temperatures.")
  }
}

recryst_bounds <- function(lower, upper, terms) {
  pick <- function(x, arg, default) {
    if (!is.null(x) && is.null(names(x))) {
      abort("argument", paste0("`", arg, "` must be a named vector"), arg = arg,
            remedy = paste0("For example `", arg, " = c(n = 1)`."))
    }
    out <- default[terms]
    names(out) <- terms
    if (is.null(x)) return(out)
    given <- check_bounds(x, terms, arg, NA)
    ifelse(is.na(given), out, given)
  }
  low <- pick(lower, "lower", c(ln_k_ref = -Inf, n = 0.05, q_kj_mol = 0, theta0 = 0))
  high <- pick(upper, "upper", c(ln_k_ref = Inf, n = 20, q_kj_mol = 2000, theta0 = Inf))
  bad <- which(low >= high)
  if (length(bad)) {
    abort("range", paste0("`lower` is not below `upper` for ", in_quotes(terms[bad], " and ")),
          arg = "lower", remedy = "Give a lower bound below the upper one.")
  }
  list(lower = stats::setNames(low, terms), upper = stats::setNames(high, terms))
}

#' @export
header_lines.softanneal_fit_recrystallisation <- function(x) {
  temps <- sort(unique(signif(x$data[[x$columns[["temp"]]]], 12)))
  c(paste0("Recrystallisation fit, ", if (x$method == "direct") {
    paste0("direct, ", x$variance, " variance")
  } else "straight line on the double-log scale"),
  paste0(fraction_count(x), " at ", length(temps), if (length(temps) == 1L) " temperature (" else
    " temperatures (", paste(format(temps), collapse = ", "), " degrees Celsius)"),
  paste0("Rate k in 1/min at the reference temperature ", format(x$temp_ref_c, digits = 5),
         " degrees Celsius, X = 1 - exp(-(k t",
         if ("theta0" %in% names(x$coefficients)) " - theta0",
         ")^n)"),
  if (!is.na(x$phi)) phi_words(x))
}

# Points behind a fraction by its scatter; of weights the product counts, whatever their unit.
phi_words <- function(x) {
  w <- x$case_weights[x$case_weights > 0]
  if (is.null(x$case_weights)) {
    return(paste0("phi ", format_quantity(x$phi), ": scatter as of about ", format_quantity(x$phi + 1),
                  " independent points per fraction"))
  }
  points <- unique(format_quantity(range(w) * (x$phi + 1)))
  paste0("Scatter as of about ", format_quantity(x$phi + 1), " independent points per unit of weight, ",
         paste(points, collapse = " to "), " per fraction")
}

fraction_count <- function(x) {
  if (x$method == "direct") return(count_line(x))
  gone <- length(x$na.action)
  paste0(x$nobs, " values", if (gone) paste0(" (", gone, " more left out: missing, or no place on ",
                                             "the scale)"))
}
