# The main job: one softening model fitted to hardness readings at all temperatures at once.
# R checks and shapes; grouping, start values, solver, covariances and profiles are C
# (src/softening.c). Temperatures go in as K, times as minutes, energies as kJ/mol.

#' Softening kinetics from hardness readings
#'
#' Fits one model of softening to the readings of all temperatures and times at once. Nobody
#' has to give starting values. Standard errors respect that the readings of one heat
#' treatment share its errors, and what the data cannot fix gets no standard error but a
#' limit, or a plain statement that it is not determined.
#'
#' The hardness of a piece is a mixture of recrystallised and unrecrystallised metal,
#' \deqn{H = X H_{soft} + (1 - X) H_u, \quad
#'   X = 1 - \exp(-\max(k t - \theta_0, 0)^n), \quad
#'   k = k_{ref} \exp\left(-\frac{Q}{R}\left(\frac1T - \frac1{T_{ref}}\right)\right)}{H =
#'   X H_soft + (1 - X) H_u, X = 1 - exp(-max(k t - theta0, 0)^n), k = k_ref exp(-(Q/R) (1/T -
#'   1/T_ref))}
#'
#' | model | adds | parameters |
#' |---|---|---|
#' | `"jmak"` | recrystallisation alone | `h_worked`, `h_soft`, `ln_k_ref`, `n`, `q_kj_mol` |
#' | `"jmak_incubation"` | incubation | `theta0` |
#' | `"recovery_jmak"` | logarithmic recovery: \eqn{H_u = H_{worked} - A \ln(1 + k_r t)}, never below `h_soft` | `dh_rec` (A), `ln_k_rec`, `q_rec_kj_mol` |
#' | `"recovery_jmak_incubation"` | recovery and incubation | `dh_rec`, `ln_k_rec`, `q_rec_kj_mol`, `theta0` |
#' | `"hardening_jmak"` | hardening at low temperature: \eqn{H_u = H_{worked} + B (1 - \exp(-k_h t))} | `dh_hard` (B), `ln_k_hard`, `q_hard_kj_mol` |
#' | `"hardening_recovery_jmak"` | hardening and recovery | all of both, never below `h_soft` |
#' | `"austin_rickett"` | recrystallisation alone, by \eqn{X = (k t)^n / (1 + (k t)^n)}, which ends more slowly | those of `"jmak"` |
#'
#' `ln_k_ref`, `ln_k_rec` and `ln_k_hard` are natural logarithms of rates in 1/min at
#' `temp_ref_c`; hardness levels, `dh_rec` and `dh_hard` are in the scale of the fit; energies in kJ/mol; `n` and
#' `theta0` have no unit.
#'
#' Cold-worked alpha brass gains some hardness near 200 to 250 degrees Celsius before it
#' softens; a model that can only fall is wrong there. The first-order term with its own rate
#' and energy is this package's choice. Readings well below recrystallisation are needed to see
#' it; without them its parameters are reported as not determined.
#'
#' The models with hardening can have several minima, some with an amplitude far beyond any
#' metal that trades against n. The search begins where hardening is small beside the
#' softening; give `start`, or `upper = c(dh_hard = ...)`, to look elsewhere or to keep it there.
#'
#' **Scale.** The rule of mixtures holds on a scale that is linear in strength, so Rockwell
#' readings are converted to Vickers first (`scale = "HV"`, see [convert_hardness()]). With
#' `scale = "as read"` the fit is done on the numbers as they were read; on a Rockwell scale
#' this bends the curve and biases n and k, and `print()` says so.
#'
#' **Replicates.** Readings at one temperature and time enter the solver as their mean and
#' weight, which gives the same least-squares fit exactly; their scatter is the pure error of
#' the lack-of-fit test in `summary()`. That test also reacts to errors common to all readings
#' of a step (furnace, position, piece), since these are misfit to the curve but not scatter
#' within the step.
#'
#' **Standard errors.** `se = "components"` (default): offsets of specimens, errors of the furnace
#' temperature, operators, steps and readings together, see [softening-errors]; the estimates are then
#' generalised least squares. The others are least squares and leave specimens and furnaces out; their
#' intervals hold where only steps and readings scatter. `"cluster"`: sandwich over steps, each residual
#' divided by one minus its leverage, with t quantiles on steps minus parameters; biased upwards where
#' few steps carry a parameter. `"steps"`: the variance of the step means about the curve, pooled.
#' `"model"`: the usual formula for independent readings; with shared errors its intervals cover far
#' too seldom. With Huber loss the default is `"cluster"`.
#'
#' **What the data do not fix.** A parameter with a wide interval, at a bound, or in a
#' direction the readings do not see is followed along its profile likelihood. If the sum of
#' squares does not rise by the threshold of the `level` interval before the edge of what is
#' searched (Q up to 2000 kJ/mol, n from 0.1 to 10, ln k within 40 of the times read, theta0 up
#' to 50), the fit says that only an upper or a lower limit is known, and its standard error is
#' `NA`. One temperature alone says nothing about Q, which is then `NA`.
#'
#' **Temperature histories.** Without `history` each piece is taken as at its temperature for
#' exactly its time. With the thermocouple log of each piece (or one from [anneal_history()])
#' rates act along the real history, by additivity: k t is replaced by the integral of
#' k(T(t)) dt, for recrystallisation and recovery each with its own energy. Ignoring a heat-up
#' that is not short against the times biases ln k down and n up, and Q where the hot steps are
#' the short ones. A reading is joined to the history of its `specimen`: at the log time in
#' `log_time` where that column is named; else, where the history has a column `furnace_min`
#' (accumulated time in the furnace in min), at the last point with the accumulated time of the
#' reading, which is after the cooling of its step; else at its time in min after the first
#' point of the log. Readings at time zero are as rolled and need no history. The
#' temperature column only labels such readings; in the fit their `time_min` is the equivalent
#' time at that temperature (see [equivalent_time()]) at the fitted Q.
#'
#' **Several cold reductions.** With `strain`, the column of the strain of cold work (true or
#' effective, see [cold_work()]; one meaning throughout), pieces rolled to different reductions
#' enter one fit. More cold work recrystallises faster and starts harder:
#' \deqn{\ln k = \ln k_{ref} + s \ln\frac{\varepsilon}{\varepsilon_{ref}} - \frac{Q}{R}
#'   \left(\frac1T - \frac1{T_{ref}}\right), \quad
#'   H_{worked}(\varepsilon) = H_{worked} \left(\frac{\varepsilon}{\varepsilon_{ref}}\right)^w}{ln k
#'   = ln k_ref + s ln(strain/strain_ref) - (Q/R) (1/T - 1/T_ref), H_worked(strain) = H_worked
#'   (strain/strain_ref)^w}
#' with the parameters `k_strain` (s) and `h_strain` (w) and no unit. The worked hardness follows
#' a power law (Hollomon 1945), as flow stress does: for two reductions this is as good as a level
#' for each, and for more it lets the fit predict reductions between them; `summary()` and
#' [plot_residuals()] show when the levels do not lie on such a law. `h_soft` is common, since the
#' grain size after recrystallisation of 70/30 brass hardly depends on the cold work within the
#' usual range (33 to 55 % reduction, 30 min at 600 degrees Celsius); recovery, hardening,
#' incubation and n are common too, which is an assumption. No power of strain holds near the
#' least cold work that recrystallises at all, about 5 % reduction: strains below 0.05 draw a
#' warning.
#'
#' **Exponent.** `n_by = "by temperature"` gives each temperature an n of its own, `n_290`,
#' `n_330` and so on, with one rate law. `anova()` of this fit and that with one n is the F test of
#' whether they differ; it takes the readings as independent, so with errors common to the readings
#' of a step it finds differences too often: fit the step means then. Such a fit knows no
#' temperatures between those read, and [temp_for()] and [process_window()] refuse it.
#'
#' **Grain growth.** With `growth_exponent`, the exponent m of the law \eqn{d^m = d_0^m + \int K_g dt} (2, 3 or
#' 4), recrystallised metal softens further as its grains grow. By the Hall-Petch relation
#' \eqn{H = H_i + k_H d^{-1/2}} its hardness is
#' \deqn{H_{soft}(t) = H_{soft} - F \left(1 - (1 + \theta_g)^{-1/(2m)}\right), \quad
#'   \theta_g = \int \frac{K_g}{d_0^m} dt}{H_soft(t) = H_soft - F (1 - (1 + theta_g)^(-1/(2 m))),
#'   theta_g = integral of K_g / d_0^m dt}
#' with the parameters `dh_grow` (F = H_soft - H_i, between zero and the lowest reading),
#' `ln_k_grow` (of K_g / d_0^m in 1/min at `temp_ref_c`) and `q_grow_kj_mol`; hardness alone tells
#' no diameter. m cannot be told from hardness either and is given. The growth runs from the
#' start of the anneal, so that it follows a temperature history as the other rates do. Grains in
#' truth begin to grow once they are there: with exact readings of growth that starts at 99 %
#' recrystallised, the curve is met within 0.5 HV and `h_soft` within 3 % where k is 35 times
#' the rate of growth; at 3.5 times the curve is still met within 1 HV, but `h_soft` then is 10 HV
#' too high, since it stands for time zero. Unless the grains grow a great deal, only the product of
#' `dh_grow` and the rate
#' shows: hold `dh_grow` then, with H_i from [fit_hall_petch()].
#'
#' @param data A data frame of readings, one row a reading, as from [read_readings()].
#' @param model Which model; see Details.
#' @param scale `"HV"`, or `"as read"` for a fit on the scale of the readings.
#' @param se Standard errors: `"components"`, `"cluster"`, `"steps"` or `"model"`; see Details.
#' @param start Optional named vector of starting values for all parameters of the model.
#' @param ... Must be empty.
#' @param time,temp,hardness,reading_scale,specimen Columns (bare or quoted): accumulated
#'   time in min, temperature in degrees Celsius (may be `NA` where the time is zero), hardness,
#'   its scale, and the piece of metal. `specimen` may be absent: each temperature and time is
#'   then one heat treatment.
#' @param history Temperature histories of the specimens: a data frame with columns `specimen`,
#'   `time_s` (s) and `temp_c` (degrees Celsius), see Details; without a specimen column one
#'   history for all. `NULL` for constant temperature.
#' @param log_time Column (bare or quoted) of the time in s at which a reading was taken, on
#'   the clock of `history`. The time column may then be absent.
#' @param weights Case weights, one for each row, such as `1 / sd^2` of a mean (columns of `data` are
#'   seen); `NULL` for equal.
#' @param material Conversion table for Rockwell readings, see [conversion_tables()].
#' @param fixed Named vector of parameters to hold, such as `c(n = 1)`.
#' @param lower,upper Named vectors of bounds to use instead of the default ones.
#' @param temp_ref_c Reference temperature of the rates in degrees Celsius; by default that of
#'   the mean of 1/T over the readings after time zero.
#' @param loss `"squares"`, or `"huber"` for a loss that outliers pull less (replicates are
#'   then not merged, and limits are not searched).
#' @param level Level of the intervals at which a parameter counts as open.
#' @param na.action What to do with readings that are missing: [stats::na.exclude()] (left
#'   out with a warning, fitted values padded), [stats::na.omit()] or [stats::na.fail()].
#' @param control Settings of the solver from [fit_control()].
#' @param strain Column (bare or quoted) of the strain of cold work, above zero, for several
#'   reductions in one fit; see Details. Not together with `history`.
#' @param strain_ref Strain at which `ln_k_ref` and `h_worked` hold; by default the geometric
#'   mean of the strains read.
#' @param n_by One n for all temperatures (`"shared"`) or one for each
#'   (`"by temperature"`); see Details. Not together with `history`.
#' @param growth_exponent `NULL`, or the exponent of grain growth after recrystallisation: 2, 3 or 4; see
#'   Details.
#' @param furnace,operator Columns (bare or quoted) of the furnace run and of the person who read,
#'   used by `se = "components"` where they are there. Without a column `furnace` (or `run`)
#'   specimens of one set temperature count as one run.
#' @param u_temp_c Standard uncertainty of the furnace temperature in K, as from its calibration
#'   certificate: one number, or named by furnace run or specimen.
#' @param u_temp_exact Whether `u_temp_c` is taken as exact; otherwise as known to about 50 %.
#' @return An object of class `softanneal_fit_softening` over `softanneal_fit`: a list with
#'   `coefficients`, `vcov`, `sigma`, `states` (how far each parameter is fixed), `limits`,
#'   `lack_of_fit`, `convergence`, `conditions` (means by temperature and time) and more, with
#'   methods for all usual generics. Warnings of class `softanneal_warning_fit` name open
#'   parameters and a missing convergence once.
#' @section Errors:
#'   `softanneal_error_column` (a column is missing or not numeric), `softanneal_error_range`
#'   (negative time, temperature below absolute zero, hardness zero or less, or outside the
#'   conversion table), `softanneal_error_missing` (infinite values), `softanneal_error_scale`
#'   (unknown or mixed scales), `softanneal_error_too_few` (fewer heat treatments than
#'   parameters, one strain only with `strain`, one temperature only with an exponent for each),
#'   `softanneal_error_argument`.
#' @source Model: Avrami M (1939) J. Chem. Phys. 7, 1103; Austin J B, Rickett R L (1939) Trans.
#'   AIME 135, 396 (value from memory); recovery: Kuhlmann D (1948) Z.
#'   Phys. 124, 468; rule of mixtures in hardness: Humphreys F J, Hatherly M, Recrystallization
#'   and Related Annealing Phenomena. Cluster covariance: MacKinnon J G, White H (1985) J.
#'   Econometrics 29, 305; Mancl L A, DeRouen T A (2001) Biometrics 57, 126. Lack of fit:
#'   Draper N R, Smith H, Applied Regression Analysis. Profiles: Bates D M, Watts D G (1988)
#'   Nonlinear Regression Analysis and Its Applications. Power law of hardening: Hollomon J H
#'   (1945) Trans. AIME 162, 268 (from memory). Grain growth: Burke J E, Turnbull D (1952) Prog.
#'   Metal Phys. 3, 220 (from memory). Hall E O (1951) Proc. Phys. Soc. B 64, 747; Petch N J (1953)
#'   J. Iron Steel Inst. 174, 25 (from memory); grain size of brass after cold work of 33 to
#'   55 %: J. Korean Inst. Metals (article 133504 of that journal); least cold work: Callister W D,
#'   Materials Science and
#'   Engineering, figure 7.23. The power of strain in the rate is an empirical form, and this
#'   package's choice.
#' @seealso [time_to()] for the question of the shop floor, [autoplot.softanneal_fit_softening()]
#'   and [plot_arrhenius()] for pictures.
#' @examples
#' tungsten <- read_readings(
#'   system.file("extdata", "tungsten_isothermal.csv", package = "softanneal"),
#'   specimen = "plate")
#' fit <- fit_softening(tungsten)
#' fit
#' time_to(fit, softening = 0.5)
#'
#' # An exponent for each temperature, or one for all?
#' bell <- read_readings(
#'   system.file("extdata", "bellbrass_readings.csv", package = "softanneal"))
#' bell <- bell[bell$temp_c %in% c(290, 330), ]
#' anova(fit_softening(bell), fit_softening(bell, n_by = "by temperature"))
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
                          strain_ref = NULL, n_by = c("shared", "by temperature"),
                          growth_exponent = NULL, furnace = furnace, operator = operator,
                          u_temp_c = NULL, u_temp_exact = FALSE) {
  check_dots_empty(...)
  call <- plain_call(match.call(), "fit_softening")
  automatic <- missing(se)
  se <- check_choice(se, SE_CHOICES, "se")
  loss <- check_choice(loss, c("squares", "huber"), "loss")
  level <- check_level(level)
  model <- check_model_name(model)
  scale <- check_choice(scale, c("HV", "as read"), "scale")
  columns <- list(time = column_name(rlang::enquo(time)), temp = column_name(rlang::enquo(temp)),
                  hardness = column_name(rlang::enquo(hardness)),
                  scale = column_name(rlang::enquo(reading_scale)),
                  specimen = column_name(rlang::enquo(specimen)),
                  furnace = column_name(rlang::enquo(furnace)),
                  operator = column_name(rlang::enquo(operator)))
  if (!missing(log_time)) columns$log_time <- column_name(rlang::enquo(log_time))
  if (!missing(strain)) columns$strain <- column_name(rlang::enquo(strain))
  if (is.null(columns$strain) && !is.null(strain_ref)) {
    abort("argument", "`strain_ref` is given without `strain`", arg = "strain_ref",
          remedy = "Name the column of strains with `strain`.")
  }
  n_by <- check_choice(n_by, EXPONENT_CHOICES, "n_by")
  check_groups_at_all(!is.null(columns$strain), n_by, history)
  check_data(data)
  tell_pooled(data, unlist(columns))
  weights <- weights_in(rlang::enquo(weights), data)
  d <- softening_data(data, columns, scale, material, weights, na.action, temp_ref_c, history,
                      strain_ref)
  d <- with_furnace_uncertainty(d, u_temp_c, u_temp_exact)
  if (n_by == "by temperature") d <- with_exponents(d)
  d <- with_growth(d, growth_exponent)
  softening_fit(d, model, se, automatic, start, fixed, lower, upper, loss, level, control, call)
}

# From checked data to the object; used again by bootstrap, limits at other levels, updates.
softening_fit <- function(d, model, se, automatic, start, fixed, lower, upper, loss, level,
                          control, call) {
  set <- softening_setup(d, model, start, fixed, lower, upper)
  if (automatic && (se != "components" || loss == "huber")) {
    se <- if (d$n == set$clusters_at_most) "model" else "cluster"
  }
  if (se == "components" && loss == "huber") {
    abort("argument", "components of error are not estimated with Huber loss", arg = "se",
          remedy = "Choose se = \"cluster\", or loss = \"squares\".")
  }
  r <- run_softening(d, set, control_vector(control, loss), level = level,
                     clusters = se != "model", use_start = set$use_start)
  softening_object(r, d, set, model, se, loss, level, control, call)
}

softening_object <- function(r, d, set, model, se, loss, level, control, call) {
  terms <- set$terms
  errors <- NULL
  if (se == "components") {
    errors <- fit_components(r, d, set, level)
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
  used <- if (is.null(d$weights)) d$n else sum(d$weights > 0)
  df <- used - estimated
  deviance <- r$sums[["objective"]] + if (loss == "huber") 0 else r$sums[["pure_error"]]
  variance <- if (df > 0L) (if (loss == "huber") r$sums[["scale"]]^2 else deviance / df) else NA_real_
  df_steps <- counts[["treatments"]] - estimated
  df_interval <- if (se == "model") df else df_steps
  full <- switch(se, model = variance * r$model,
                 steps = (if (df_steps > 0L) r$sums[["between"]] / df_steps else NA_real_) * r$model,
                 components = , cluster = if (df_steps > 0L) r$cluster else r$cluster * NA_real_)
  states <- PARAMETER_STATES[r$state + 1L]
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
    sigma = sqrt(variance), deviance = deviance, df.residual = df, df_interval = df_interval,
    nobs = used, fitted.values = r$fitted, residuals = residuals, weights = d$weights,
    states = states, limits = limits,
    convergence = convergence_list(counts[["end"]], counts[["iterations"]], counts[["evaluations"]],
                                   r$sums[["cosine"]], counts[["rank"]],
                                   list(adopted = counts[["adopted"]])),
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
  warn_fit(fit)
}

# F test of the misfit of the means against the scatter about them.
lack_of_fit <- function(r, d, estimated, loss) {
  df_misfit <- r$counts[["conditions"]] - estimated
  df_pure <- d$n - r$counts[["conditions"]]
  out <- list(misfit = r$sums[["objective"]], df_misfit = df_misfit, pure_error = r$sums[["pure_error"]],
              df_pure = df_pure, f = NA_real_, p_value = NA_real_)
  if (loss == "squares" && df_misfit > 0L && df_pure > 0L && r$sums[["pure_error"]] > 0) {
    out$f <- (out$misfit / df_misfit) / (out$pure_error / df_pure)
    out$p_value <- stats::pf(out$f, df_misfit, df_pure, lower.tail = FALSE)
  }
  out
}
