# The rate of each temperature on its own, and the straight line through ln k over 1/T: the route by
# hand, with what it gives for the activation energy beside that of the fit of all readings.

# ln k of each temperature on its own, the rest of the curve (levels, recovery, incubation) fixed at the
# global fit: one parameter per temperature, or two where the exponent is its own. NA where its readings
# do not fix it; then `lower` and `upper` are the limits of its profile.
rates_by_temperature <- function(fit, own_n = FALSE, level = 0.95) {
  d <- fit$readings
  temps <- different_temperatures(d$temp_k[d$time_min > 0])
  set <- fit$settings$set
  j <- match("ln_k_ref", set$terms)
  rates <- which(is_rate(set$terms))
  energies <- match(term_process(set$terms[rates]),
                    ifelse(is_energy(set$terms), term_process(set$terms), NA))
  exponents <- which(base_term(set$terms) == "n")
  variance <- if (fit$se == "model") fit$sigma^2 else fit$between / fit$df_interval
  out <- lapply(seq_along(temps), function(i) {
    temp_k <- temps[i]
    pick <- which(same_number(d$temp_k, temp_k) & d$time_min > 0)
    e <- inverse_temperature(temp_k - ZERO_CELSIUS, fit$temp_ref_c)
    start <- unname(fit$par)
    start[rates] <- start[rates] + start[energies] * e # every rate moves to the new reference
    held <- rep(1L, length(start))
    n <- if (length(exponents) > 1L) exponents[i] else exponents
    held[if (own_n) c(j, n) else j] <- 0L
    one <- take_readings(d, pick)
    one$ref_k <- temp_k
    r <- run_softening(one, set, control_vector(NULL, "squares"), start, held, level,
                       clusters = fit$se != "model", every = own_n)
    converged <- has_converged(r$counts[["end"]])
    se <- sqrt(variance * diag(r$model))
    # known to a factor of about 50, as elsewhere, and an own exponent with it
    known <- converged && all(parameter_states(r$state[held == 0L]) == "determined") && isTRUE(se[j] <= 2)
    limit <- if (converged) r$limit[2L * j - 1:0] else c(NA, NA)
    limit[is.nan(limit)] <- NA
    own <- if (known && own_n) se[n] else NA_real_
    data.frame(temp_c = temp_k - ZERO_CELSIUS, ln_k = if (known) r$par[j] else NA_real_,
               std.error = if (known) se[j] else NA_real_, n = if (known || !own_n) r$par[n] else NA_real_,
               std.error_n = own, lower = as.double(limit[1L]), upper = as.double(limit[2L]),
               converged = converged)
  })
  do.call(rbind, out)
}

#' Rates of each temperature
#'
#' The rate k of each temperature from the readings of that temperature alone, with its standard error
#' and interval, and the straight line through ln k over 1/T: the classical route to the activation
#' energy. Its Q stands beside that of the fit of all readings at once.
#'
#' The hardness levels (and recovery, hardening and incubation, where the model has them) are those of
#' `fit`; `n = "shared"` takes its exponent too, `n = "own"` estimates one for each temperature. The
#' standard errors are those of ln k with all this taken as known, from the variance of the step means about
#' the curves of `fit` (with `se = "model"`, of the readings). An error of the furnace temperature moves a
#' rate as a whole: a temperature alone does not show it, the scatter about the line does.
#'
#' The line has the weights 1/`std.error`^2. Its interval comes from the scatter of the rates about it, on
#' their number less two degrees of freedom. With two rates the line is exact, and the interval
#' comes from their standard errors. Both routes use the same readings, so they agree where the
#' curves have one shape; they are no independent estimates. A line through rates with an exponent each is the
#' less certain one: the line weighs what each temperature shows alone, the fit all that they
#' share.
#'
#' @param fit A fit of [fit_softening()] without a history.
#' @param n `"shared"`: the exponent of `fit`; `"own"`: one for each temperature.
#' @param level Level of the intervals.
#' @param x,object Rates from `rates()`.
#' @param base_size Size of the text of the plot in points.
#' @param row.names,optional Ignored.
#' @param ... Must be empty.
#' @return An object of class `softanneal_rates`, a list of `rates`, `activation` and `line`.
#'   `as.data.frame()` and [tidy()] return `rates`, one row per temperature: `temp_c`, `n_steps` (steps
#'   read), `n_between` (of them, steps between the two levels: neither within three standard deviations of a
#'   mean of a level nor beyond it), `ln_k` (k in 1/min), `std.error` (of ln k), `k_per_min`,
#'   `conf.low`, `conf.high` (of k, in 1/min), `n`, `std.error_n` (`NA` for a shared exponent),
#'   and `reason`: why a rate is `NA`. Where the readings give only a limit of the rate,
#'   `conf.low` or `conf.high` is that limit. `activation` has two rows, the `"line"` through the rates and
#'   the `"fit"` of all readings: `route`, `q_kj_mol`, `std.error`, `conf.low`, `conf.high`, `df`, `note`.
#'   `line` is the fit of [fit_arrhenius()], `NULL` with fewer than two rates. `plot()` draws the rates with
#'   both lines. One warning of class `softanneal_warning_outside` counts the rates that are
#'   `NA`.
#' @section Errors:
#'   `softanneal_error_argument` unless `fit` comes from [fit_softening()], `softanneal_error_model` for a fit
#'   along histories.
#' @source Rates from one temperature each, then the line: Burke J (1965) The Kinetics of Phase
#'   Transformations in Metals, chapter 2 (from memory). Weighted line: Draper N R, Smith H (1998) Applied
#'   Regression Analysis \doi{10.1002/9781118625590}, section 9.2 (from memory).
#' @seealso [fit_arrhenius()] for rates from elsewhere, [plot_arrhenius()], [plot_avrami()].
#' @examples
#' fit <- fit_softening(example_data("tungsten"))
#' rates(fit)
#' rates(fit, n = "own")
#' plot(rates(fit))
#' @export
rates <- function(fit, n = c("shared", "own"), ..., level = 0.95) {
  check_dots_empty(...)
  check_softening(fit)
  n <- check_choice(n, c("shared", "own"), "n")
  level <- check_level(level)
  if (!is.null(fit$readings$history)) {
    abort("model", "a reading along a history belongs to no single temperature", arg = "fit",
          remedy = "Fit the readings with constant temperatures, without `history`.")
  }
  r <- rates_by_temperature(fit, n == "own", level)
  half <- interval_t(fit, level) * r$std.error
  ends <- cbind(ifelse(is.na(r$ln_k), r$lower, r$ln_k - half),
                ifelse(is.na(r$ln_k), r$upper, r$ln_k + half))
  steps <- steps_between(fit, r$temp_c)
  table <- data.frame(temp_c = r$temp_c, n_steps = steps$n_steps, n_between = steps$n_between,
                      ln_k = r$ln_k, std.error = r$std.error, k_per_min = exp(r$ln_k),
                      conf.low = exp(ends[, 1L]), conf.high = exp(ends[, 2L]), n = r$n,
                      std.error_n = r$std.error_n, reason = in_property(rate_reasons(r, steps), fit))
  lost <- which(is.na(table$ln_k))
  if (length(lost)) {
    warn("outside", paste0(length(lost), " of ", nrow(table), " rates are NA; the column `reason` says why (",
                           in_rows(lost), ")."), n = length(lost), rows = lost)
  }
  line <- rate_line(table, fit)
  structure(list(rates = table, activation = activation_table(line, fit, level), line = line,
                 exponent = n, level = level, model = fit$model, strain_ref = fit$readings$strain_ref,
                 ln_k_ref = fit$coefficients[["ln_k_ref"]], temp_ref_c = fit$temp_ref_c,
                 version = PACKAGE_VERSION),
            class = "softanneal_rates")
}

softened_fraction <- function(fit, hardness, strain) {
  worked <- worked_hardness(fit, strain)
  (worked - hardness) / (worked - soft_hardness(fit, strain))
}

# Standard deviation of the step means about their curves.
scatter_of_means <- function(fit) {
  at <- fit$conditions
  r <- at$mean - condition_values(fit)
  df <- length(r) - fit$estimated
  if (df > 0L) sqrt(sum(r^2) / df) else NA_real_
}

condition_values <- function(fit) {
  id <- fit$conditions$of_reading + 1L
  fit$fitted.values[match(seq_along(fit$conditions$mean), id)]
}

# Distance of a fraction from 0 and 1 within which it says little: three standard deviations of a mean.
fraction_margin <- function(unit) {
  margin <- 3 * stats::median(unit)
  if (is.na(margin)) 0.01 else min(max(margin, 0.001), 0.25)
}

# Steps of each temperature, and where they stand between the two levels.
steps_between <- function(fit, temp_c) {
  at <- fit$conditions
  x <- softened_fraction(fit, at$mean, at$strain)
  margin <- fraction_margin(scatter_of_means(fit) /
                              abs(worked_hardness(fit, at$strain) - soft_hardness(fit, at$strain)))
  out <- lapply(temp_c, function(t) {
    own <- which(same_number(at$temp_c + ZERO_CELSIUS, t + ZERO_CELSIUS) & at$time_min > 0)
    low <- x[own] < margin
    high <- x[own] > 1 - margin
    time <- at$time_min[own]
    data.frame(n_steps = length(own), n_between = sum(!low & !high), n_low = sum(low), n_high = sum(high),
               first_min = min(time), last_min = max(time),
               last_low = max(time[low], -Inf), first_high = min(time[high], Inf))
  })
  do.call(rbind, out)
}

rate_reasons <- function(r, s) {
  min_text <- function(x) format_quantity(x, 4L)
  why <- ifelse(
    !r$converged, "the fit of this temperature stopped at the iteration limit", ifelse(
      s$n_high == s$n_steps, paste0("softening was over before the first reading (", min_text(s$first_min),
                                    " min)"), ifelse(
        s$n_low == s$n_steps, paste0("softening had not begun by the last reading (", min_text(s$last_min),
                                     " min)"), ifelse(
          s$n_between == 0L, paste0("no step between the two levels: softened between ",
                                    min_text(s$last_low), " and ", min_text(s$first_high), " min"), ifelse(
            s$n_between == 1L, "one step between the two levels", "its readings do not determine it")))))
  ifelse(is.na(r$ln_k), why, "")
}

# The weighted line, NULL where there is none.
rate_line <- function(table, fit) {
  known <- table[is.finite(table$ln_k) & is.finite(table$std.error) & table$std.error > 0, ]
  if (nrow(known) < 2L) return(NULL)
  ref <- 1 / mean(1 / (known$temp_c + ZERO_CELSIUS)) - ZERO_CELSIUS
  arrhenius_fit(known$k_per_min, known$temp_c, 1 / known$std.error^2, ref, FALSE, NULL,
                quote(fit_arrhenius(data = rates, rate = k_per_min, weights = 1 / std.error^2)), "temp_c")
}

activation_table <- function(line, fit, level) {
  own <- c(NA_real_, NA_real_)
  df <- NA_integer_
  se <- q <- NA_real_
  note <- "fewer than two rates"
  if (!is.null(line)) {
    exact <- line$df.residual == 0L
    q <- line$coefficients[["q_kj_mol"]]
    df <- if (exact) fit$df_interval else line$df.residual
    se <- sqrt(if (exact) line$cov_unscaled[2L, 2L] else line$vcov[2L, 2L])
    own <- q + c(-1, 1) * stats::qt(0.5 + level / 2, df) * se
    note <- if (exact) "two rates: error from their standard errors" else ""
  }
  all <- stats::confint(fit, "q_kj_mol", level = level)
  state <- fit$states[["q_kj_mol"]]
  single <- if (is_undetermined(state)) NA_real_ else fit$coefficients[["q_kj_mol"]]
  data.frame(route = c("line", "fit"), q_kj_mol = c(q, single),
             std.error = c(se, sqrt(fit$vcov["q_kj_mol", "q_kj_mol"])),
             conf.low = c(own[1L], all[[1L]]), conf.high = c(own[2L], all[[2L]]),
             df = c(df, fit$df_interval), note = c(note, if (state == "determined") "" else state))
}

#' @rdname rates
#' @export
as.data.frame.softanneal_rates <- function(x, row.names = NULL, optional = FALSE, ...) x$rates

#' @rdname rates
#' @export
tidy.softanneal_rates <- function(x, ...) {
  check_dots_empty(...)
  as_table(x$rates)
}

#' @export
format.softanneal_rates <- function(x, ...) {
  paste0("<rates of ", nrow(x$rates), " temperatures, ", sum(is.na(x$rates$ln_k)), " not determined>")
}

#' @export
print.softanneal_rates <- function(x, ...) {
  r <- x$rates
  cat(strwrap(paste0(
    "Rates of each temperature, model '", x$model, "', the levels of the fit, ",
    if (x$exponent == "own") "an exponent of its own for each" else "the exponent of the fit",
    if (!is.null(x$strain_ref)) paste0(", at strain ", format(signif(x$strain_ref, 3)))), exdent = 2),
    sep = "\n")
  cat("\n")
  interval <- range_text(r$conf.low, r$conf.high)
  interval[is.na(r$conf.low) & is.na(r$conf.high)] <- "-"
  m <- cbind(format_quantity(r$temp_c, 5L), r$n_between, format_by_error(r$ln_k, r$std.error),
             format_quantity(r$std.error, 2L), format_quantity(r$k_per_min), interval,
             if (x$exponent == "own") paste0(format_by_error(r$n, r$std.error_n), " (",
                                             format_quantity(r$std.error_n, 2L), ")"))
  m[is.na(m) | m == "NA" | m == "NA (NA)"] <- "-"
  dimnames(m) <- list(rep("", nrow(m)), c(degree_c(), "Steps", "ln k", "Std. error", "k (1/min)",
                                          paste0(format(100 * x$level), " % interval"),
                                          if (x$exponent == "own") "n (std. error)"))
  print_table(m)
  lost <- nzchar(r$reason)
  if (any(lost)) {
    cat(strwrap(paste0(temperature_label(r$temp_c[lost]), ": ", r$reason[lost]), prefix = "  ", exdent = 2),
        sep = "\n")
  }
  cat("Steps: those between the two levels, which show the rate.\n\nActivation energy (kJ/mol):\n")
  a <- x$activation
  q <- cbind(format_by_error(a$q_kj_mol, a$std.error), format_quantity(a$std.error, 2L),
             range_text(a$conf.low, a$conf.high), format_quantity(a$df, 2L), a$note)
  q[is.na(q) | q %in% c("NA", "\u2013")] <- "-"
  dimnames(q) <- list(c("Line through ln k", "All readings together"),
                      c("Q", "Std. error", paste0(format(100 * x$level), " % interval"), "df", "Note"))
  print_table(q)
  words <- line_words(x)
  if (length(words)) cat(strwrap(words, exdent = 2), sep = "\n")
  invisible(x)
}

# Does the line scatter as the errors of the rates say, and do both routes agree?
line_words <- function(x) {
  a <- x$activation
  apart <- a$q_kj_mol[1L] - a$q_kj_mol[2L]
  inside <- a$q_kj_mol[2L] >= a$conf.low[1L] & a$q_kj_mol[2L] <= a$conf.high[1L]
  df <- if (is.null(x$line)) 0L else x$line$df.residual
  ratio <- if (df > 0L) sqrt(x$line$deviance / df)
  c(if (df > 0L) {
    paste0("By the standard errors of the rates alone, that of the line would be ",
           format_quantity(sqrt(x$line$cov_unscaled[2L, 2L]), 2L), " kJ/mol.")
  }, if (!is.na(inside)) {
    paste0("The line gives ", format_quantity(abs(apart), 2L), " kJ/mol ", if (apart < 0) "less" else "more",
           " than all readings together, ", if (inside) "within" else "outside", " the interval of the line.")
  }, if (!is.null(ratio)) {
    p <- stats::pchisq(x$line$deviance, df, lower.tail = FALSE)
    if (p < 0.01) {
      paste0("The rates scatter about the line ", format_quantity(ratio, 2L), " times as much as their own ",
             "errors: temperatures of the furnace may be off, or the curves differ in shape.")
    }
  })
}
