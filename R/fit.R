# The main job: one softening model fitted to hardness readings at all temperatures at once.
# R checks and shapes; grouping, start values, solver, covariances and profiles are C
# (src/softening.c). Temperatures go in as K, times as minutes, energies as kJ/mol.

#' Softening kinetics from hardness readings
#'
#' Fits one model of softening to the readings of all temperatures and times at once. No starting values
#' are needed. Standard errors take into account that specimens, furnace runs and steps have errors of
#' their own; a parameter the data do not determine gets a limit, not a standard error.
#'
#' Four pages describe the parts:
#'
#' * [softening-models]: equations, models, parameters with units and bounds;
#' * [softening-inference]: steps, standard errors, lack of fit, limits; errors in [softening-errors];
#' * [softening-history]: thermocouple logs;
#' * [softening-strain]: several reductions, an exponent for each temperature, grain growth.
#'
#' @section Arguments by job:
#' * **Data**: `data`, `time`, `temp`, `hardness`, `reading_scale`, `specimen`, `furnace`, `operator`,
#'   `strain`, `history`, `log_time`, `weights`, `material`, `na.action`.
#' * **Model**: `model`, `scale`, `temp_ref_c`, `strain_ref`, `h_soft_by`, `n_by`, `growth_exponent`, `fixed`,
#'   `lower`, `upper`.
#' * **Inference**: `se`, `u_temp_c`, `u_temp_exact`, `loss`, `level`.
#' * **Control**: `start`, `control`.
#'
#' @param data A data frame of readings, one row per reading, as from [read_readings()].
#' @param model Which model, see [softening-models].
#' @param scale `"HV"`, or `"as read"` for a fit on the scale of the readings.
#' @param se Standard errors: `"components"`, `"cluster"`, `"steps"` or `"model"`, see
#'   [softening-inference].
#' @param start Optional named vector of starting values for all parameters of the model.
#' @param ... Must be empty.
#' @param time,temp,hardness,reading_scale,specimen Columns (bare or quoted): accumulated
#'   time in the furnace in min (durations and units are converted, clock times refused, see
#'   [with_units()]), temperature in degrees Celsius (may be `NA` where the
#'   time is zero), hardness, its scale, and the specimen. `specimen` may be absent:
#'   each temperature and time is then one step.
#' @param history Temperature histories of the specimens: a data frame with columns `specimen`,
#'   `time_s` (s) and `temp_c` (degrees Celsius), see [softening-history]; without a specimen column one
#'   history for all. `NULL` for constant temperature.
#' @param log_time Column (bare or quoted) of the time in s at which a reading was taken, on
#'   the clock of `history`; clock times if those of the history are. The time column may then be absent.
#' @param weights Case weights, one per row, such as `1 / sd^2` of a mean (columns of `data` are
#'   seen); `NULL` for equal. Rows of weight zero are left out, as if they were not there.
#' @param material Conversion table for Rockwell readings, see [conversion_tables()], or the column that
#'   names it; without it a column `material` counts, if there is one. Several metals are refused: fit each
#'   by [fit_each()].
#' @param fixed Named vector of parameters to fix, such as `c(n = 1)`.
#' @param lower,upper Named vectors of bounds to use instead of the default ones.
#' @param temp_ref_c Reference temperature of the rates in degrees Celsius; by default that of
#'   the mean of 1/T over the readings after time zero.
#' @param loss `"squares"`, or `"huber"` for a loss less sensitive to outliers (repeat readings are
#'   then not merged, and limits are not searched).
#' @param level Level used to classify a parameter as not determined, and of the intervals printed.
#' @param na.action What to do with readings that are missing: [stats::na.exclude()] (left
#'   out with a warning, fitted values padded), [stats::na.omit()] or [stats::na.fail()].
#' @param control Settings of the solver from [fit_control()].
#' @param strain Column (bare or quoted) of the strain of cold work, above zero, for several
#'   reductions in one fit, see [softening-strain]; or of the reduction in per cent, if the column is
#'   called `reduction_pct` or `cold_work_pct`: its effective strain is fitted. Not together with `history`.
#' @param strain_ref Strain at which `ln_k_ref` and `h_worked` are stated; by default the geometric
#'   mean of the strains in the data.
#' @param h_soft_by `"shared"`: one soft level for all strains. `"by strain"`: it follows a power of the
#'   strain, with the further parameter `h_soft_strain`, see [softening-strain].
#' @param n_by One n for all temperatures (`"shared"`) or one for each (`"by temperature"`), see
#'   [softening-strain]. Not together with `history`.
#' @param growth_exponent `NULL`, or the exponent of grain growth after recrystallisation: 2, 3 or 4, see
#'   [softening-strain].
#' @param furnace,operator Columns (bare or quoted) of the furnace run and of the person who read,
#'   used by `se = "components"` where they are there. Without a column `furnace` (or `run`)
#'   specimens of one set temperature count as one run.
#' @param u_temp_c Standard uncertainty of the furnace temperature in K, as from its calibration
#'   certificate: one number, or named by furnace run or specimen.
#' @param u_temp_exact Whether `u_temp_c` is taken as exact; otherwise as known to about 50 %.
#' @param property Name and unit of another property than hardness, such as `"Yield stress (MPa)"` or
#'   `"Recrystallised fraction"`, see there.
#' @param limit Column (bare or quoted), used where it is there, that says `"at least"` or `"at most"` for
#'   readings that are a limit only, and is empty for the others; [read_readings()] makes it of cells such as
#'   `> 100`.
#' @param outside_table What becomes of readings that the conversion table does not reach: `"stop"` with an
#'   error, except up to two points beyond, where the last slope is continued with a warning; or `"limit"`:
#'   at least, or at most, the hardness at the end of the table.
#' @section Limits: A reading known as a limit contributes the probability to lie beyond it (Tobin 1958) at
#'   the residual standard deviation: as a reading whose value and weight come from the fit itself, found
#'   again until they stand. The coefficients are then those of maximum likelihood; errors, profiles and
#'   answers take the likelihood of a limit as quadratic. With `se = "components"` a limit is judged
#'   within its own step, given the offset of its specimen and the error of its furnace (expectation
#'   propagation, Minka 2001), together with all standard deviations; the estimates agree with the maximum of
#'   the whole likelihood, these standard deviations given, to a hundredth of their standard error.
#'   `weights()` of a limit is its share of a full reading, and `residuals()` is that of its working
#'   value. There are no `logLik()`, `simulate()`, bootstrap, posterior and no test of lack of fit.
#'   Where all readings of the as-rolled or the soft state are limits, intervals of `h_worked` and `h_soft`
#'   end where these limits would contradict them, and prints say that the dial ends there. Limits are not
#'   used with Huber loss; [fit_each()] and all functions of step means refuse a table with
#'   limits, or give no mean.
#' @section Other properties: With `property` the column `hardness` holds it (`hardness = yield_mpa`), in its
#'   own unit and not below zero; no scale is needed, and nothing is converted. `h_worked` and `h_soft` are
#'   then its values as rolled and annealed, and `hardness` in the answers is the property. It may rise, as
#'   conductivity, fraction or grain size do, in models without recovery, hardening and grain growth. The
#'   model takes it as linear in the recrystallised fraction, which is an assumption, and a poor one for grain
#'   size.
#' @return An object of class `softanneal_fit_softening` over `softanneal_fit`: a list with
#'   `coefficients`, `vcov`, `sigma`, `states` (whether each parameter is determined), `limits`,
#'   `lack_of_fit`, `convergence`, `conditions` (means by temperature and time), with `se = "components"`
#'   also `errors`, and more; with methods for all usual generics, see [fit-methods]. Warnings of class
#'   `softanneal_warning_fit` name parameters that are not determined and a missing convergence once.
#' @section Errors:
#'   `softanneal_error_column` (a column is missing or not numeric), `softanneal_error_range`
#'   (negative time, temperature below absolute zero, hardness zero or less, or outside the
#'   conversion table), `softanneal_error_missing` (infinite values), `softanneal_error_scale`
#'   (unknown or mixed scales), `softanneal_error_too_few` (fewer steps than
#'   parameters, one strain only with `strain`, one temperature only with an exponent for each),
#'   `softanneal_error_argument`; see [softanneal-conditions].
#' @references Avrami M (1939) J. Chem. Phys. 7, 1103 \doi{10.1063/1.1750380}. Tobin J (1958) Econometrica
#'   26, 24 \doi{10.2307/1907382}. Minka T P (2001) Uncertainty in Artificial Intelligence
#'   17, 362. All others stand on the four pages above.
#' @seealso [read_readings()] and [check_readings()] before; [time_to()], [temp_for()],
#'   [identifiability()], [autoplot.softanneal_fit_softening()] and [plot_arrhenius()] after.
#' @examples
#' readings <- example_data("bellbrass_readings")
#' fit <- fit_softening(readings)
#' fit
#' time_to(fit, softening = 0.5)
#'
#' # published hardness of tungsten, one reading per step
#' tungsten <- example_data("tungsten")
#' summary(fit_softening(tungsten))
#' @export
fit_softening <- function(data,
                          model = "jmak",
                          scale = c("HV", "as read"),
                          se = c("components", "cluster", "steps", "model"),
                          start = NULL, ..., time = time_min, temp = temp_c, hardness = hardness,
                          reading_scale = scale, specimen = specimen, history = NULL,
                          log_time = NULL, weights = NULL,
                          material = "brass", fixed = NULL, lower = NULL, upper = NULL,
                          temp_ref_c = NULL, loss = c("squares", "huber"), level = 0.95,
                          na.action = stats::na.exclude, control = NULL, strain = NULL,
                          strain_ref = NULL, h_soft_by = c("shared", "by strain"),
                          n_by = c("shared", "by temperature"), growth_exponent = NULL, furnace = furnace,
                          operator = operator, u_temp_c = NULL, u_temp_exact = FALSE, property = NULL,
                          limit = limit, outside_table = c("stop", "limit")) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_softening")
  automatic <- missing(se)
  se <- check_choice(se, SE_CHOICES, "se")
  loss <- check_choice(loss, c("squares", "huber"), "loss")
  level <- check_level(level)
  model <- check_model_name(model)
  property <- check_property(property, !missing(scale))
  scale <- if (is.null(property)) check_fit_scale(scale) else "as read"
  columns <- list(time = column_name(rlang::enquo(time)), temp = column_name(rlang::enquo(temp)),
                  hardness = column_name(rlang::enquo(hardness)),
                  scale = column_name(rlang::enquo(reading_scale)),
                  specimen = column_name(rlang::enquo(specimen)),
                  furnace = column_name(rlang::enquo(furnace)),
                  operator = column_name(rlang::enquo(operator)),
                  limit = column_name(rlang::enquo(limit)))
  outside_table <- check_choice(outside_table, c("stop", "limit"), "outside_table")
  if (!missing(log_time)) columns$log_time <- column_name(rlang::enquo(log_time))
  if (!missing(strain)) columns$strain <- column_name(rlang::enquo(strain))
  if (is.null(columns$strain) && !is.null(strain_ref)) {
    abort("argument", "`strain_ref` is given without `strain`", arg = "strain_ref",
          remedy = "Name the column of strains with `strain`.")
  }
  h_soft_by <- check_choice(h_soft_by, c("shared", "by strain"), "h_soft_by")
  if (is.null(columns$strain) && h_soft_by == "by strain") {
    abort("argument", "`h_soft_by` is \"by strain\" without `strain`", arg = "h_soft_by",
          remedy = "Name the column of strains with `strain`.")
  }
  if (h_soft_by == "by strain" && !is.null(growth_exponent)) {
    abort("argument", "`h_soft_by` cannot be combined with `growth_exponent`", arg = "h_soft_by",
          remedy = "Grain growth levels the grain sizes: use h_soft_by = \"shared\", or earlier readings.")
  }
  n_by <- check_choice(n_by, EXPONENT_CHOICES, "n_by")
  check_groups_at_all(!is.null(columns$strain), n_by, history)
  check_data(data, groups = FALSE, limits = TRUE)
  tell_pooled(data, c(unlist(columns), columns_in(rlang::enquo(weights), data)))
  weights <- weights_in(rlang::enquo(weights), data)
  material <- one_metal(data, rlang::enquo(material), !missing(material))
  d <- softening_data(data, columns, scale, material, weights, na.action, temp_ref_c, history,
                      strain_ref, property, outside_table)
  if (!is.null(d$side) && loss == "huber") {
    abort("argument", "limits among the readings are not fitted with Huber loss", arg = "loss",
          remedy = "Choose loss = \"squares\".")
  }
  tell_odd_pieces(d, data)
  d <- with_furnace_uncertainty(d, u_temp_c, u_temp_exact)
  if (h_soft_by == "by strain") d$soft_by_strain <- TRUE
  if (n_by == "by temperature") d <- with_exponents(d)
  d <- with_growth(d, growth_exponent)
  softening_fit(d, model, se, automatic, start, fixed, lower, upper, loss, level, control, call)
}

# From checked data to the object; used again by bootstrap, limits at other levels, updates.
softening_fit <- function(d, model, se, automatic, start, fixed, lower, upper, loss, level,
                          control, call) {
  set <- softening_setup(d, model, start, fixed, lower, upper)
  nothing_free <- all(set$held != 0L)
  if (automatic && (se != "components" || loss == "huber" || nothing_free)) {
    se <- if (d$n == set$clusters_at_most) "model" else "cluster"
  }
  if (se == "components" && loss == "huber") {
    abort("argument", "components of error are not estimated with Huber loss", arg = "se",
          remedy = "Choose se = \"cluster\", or loss = \"squares\".")
  }
  if (se == "components" && nothing_free) {
    abort("argument", "all parameters are fixed: there is nothing to estimate components of error with",
          arg = "se", remedy = "Choose se = \"cluster\", or leave a parameter free.")
  }
  if (is.null(d$side)) {
    r <- run_softening(d, set, control_vector(control, loss), level = level,
                       clusters = se != "model", use_start = set$use_start)
  } else {
    both <- run_with_limits(d, set, control_vector(control, loss), level, se != "model", set$use_start)
    d <- both$d
    r <- both$r
  }
  softening_object(r, d, set, model, se, loss, level, control, call)
}

softening_object <- function(r, d, set, model, se, loss, level, control, call) {
  terms <- set$terms
  errors <- NULL
  if (se == "components") {
    errors <- fit_components(r, d, set, level)
    if (!is.null(errors$readings)) d <- errors$readings
    errors$readings <- NULL
    if (!is.null(errors)) r <- at_estimate(r, errors$m$par, d, set, control_vector(control, loss))
  }
  place <- NULL
  if (!is.null(d$history)) { # conditions and readings get their equivalent time
    place <- list(place = r$temp_k, passed_min = r$time)
    r[c("temp_k", "time")] <- equivalent_conditions(d, r)
    d$time_min <- r$time[r$condition + 1L]
  }
  p <- length(terms)
  counts <- r$counts
  estimated <- p - sum(set$held)
  own <- is_reading(d)
  df <- sum(own) - estimated
  deviance <- r$sums[["objective"]] + if (loss == "huber") 0 else r$sums[["pure_error"]]
  if (!all(own)) {
    w <- if (is.null(d$weights)) 1 else d$weights[own]
    deviance <- sum(w * (d$hardness - r$fitted)[own]^2)
  }
  variance <- if (df > 0L) (if (loss == "huber") r$sums[["squares"]] else deviance) / df else NA_real_
  sigma <- if (loss == "huber" && df > 0L) r$sums[["scale"]] else sqrt(variance)
  df_steps <- counts[["treatments"]] - estimated
  df_interval <- if (se == "model") df else df_steps
  full <- switch(se, model = variance * r$model,
                 steps = (if (df_steps > 0L) r$sums[["between"]] / df_steps else NA_real_) * r$model,
                 components = , cluster = if (df_steps > 0L) r$cluster else r$cluster * NA_real_)
  states <- parameter_states(r$state)
  names(states) <- terms
  fixed_by_data <- r$state == 0L
  vcov <- full
  vcov[!fixed_by_data, ] <- NA_real_
  vcov[, !fixed_by_data] <- NA_real_
  dimnames(vcov) <- dimnames(full) <- list(terms, terms)
  limits <- matrix(r$limit, p, 2L, byrow = TRUE, dimnames = list(terms, c("lower", "upper")))
  par <- r$par
  names(par) <- terms
  coefficients <- par
  coefficients[set$no_energy] <- NA_real_
  residuals <- d$hardness - r$fitted
  fit <- new_fit(
    "softanneal_fit_softening", coefficients = coefficients, vcov = vcov,
    sigma = sigma, deviance = deviance, df.residual = df, df_interval = df_interval,
    nobs = d$n, fitted.values = r$fitted, residuals = residuals, weights = d$weights,
    states = states, limits = limits,
    convergence = with_rounds(convergence_list(
      counts[["end"]], counts[["iterations"]], counts[["evaluations"]], r$sums[["cosine"]], counts[["rank"]],
      list(adopted = counts[["adopted"]])), d$limits),
    call = call, formula = if (is.null(d$strain)) SOFTENING_FORMULA else STRAIN_FORMULA,
    na.action = d$na.action, units = term_units(terms, d$scale), model = model, se = se,
    loss = loss, level = level,
    scale = d$scale, material = d$material, temp_ref_c = d$ref_k - ZERO_CELSIUS,
    par = par, cov_full = full, cov_null = r$null,
    cov_unscaled = r$model, singular = r$singular,
    between = r$sums[["between"]], estimated = estimated,
    lack_of_fit = lack_of_fit(r, d, estimated, loss),
    conditions = c(list(temp_c = r$temp_k - ZERO_CELSIUS, time_min = r$time, mean = r$mean,
                        weight = r$weight, jacobian = r$jac, of_reading = r$condition,
                        cluster_of = r$cluster_of), place,
                   if (!is.null(d$strain)) list(strain = d$strain_ref * exp(r$strain))),
    settings = list(set = set, control = control), readings = d)
  if (se == "components") fit <- with_components(fit, errors)
  if (!is.null(fit$readings$limits)) fit <- states_by_dial(fit)
  refuse_rising_terms(fit)
  warn_fit(fit)
  fit
}

# F test of the misfit of the means against the scatter about them.
lack_of_fit <- function(r, d, estimated, loss) {
  df_misfit <- r$counts[["conditions"]] - estimated
  df_pure <- d$n - r$counts[["conditions"]]
  out <- list(misfit = r$sums[["objective"]], df_misfit = df_misfit, pure_error = r$sums[["pure_error"]],
              df_pure = df_pure, f = NA_real_, p_value = NA_real_)
  if (loss == "squares" && df_misfit > 0L && df_pure > 0L && r$sums[["pure_error"]] > 0 &&
        is.null(d$limits)) {
    out$f <- (out$misfit / df_misfit) / (out$pure_error / df_pure)
    out$p_value <- stats::pf(out$f, df_misfit, df_pure, lower.tail = FALSE)
  }
  out
}
