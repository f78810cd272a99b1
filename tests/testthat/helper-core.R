# Cases for inst/pages/core.js: what R finds, and the call of core-api.js that must find the same. Compared
# by core/compare.js in node.

core_case <- function(name, call, arguments, want, tolerance = 1e-10, only = NULL) {
  tolerance <- as.list(tolerance)
  if (is.null(names(tolerance))) names(tolerance) <- "all"
  list(name = name, call = call, arguments = unname(arguments), want = want, tolerance = tolerance,
       only = only)
}

core_readings <- function(d) {
  columns <- intersect(c("temp_c", "time_min", "hardness", "specimen", "furnace", "operator", "weight"),
                       names(d))
  lapply(as.list(d)[columns], function(x) I(if (is.factor(x)) as.character(x) else x))
}

# A fit: parameters to 1e-8 where the data fix them; states, sums, standard errors, intervals to 1e-10.
core_fit_case <- function(name, d, ..., options = list(), se = "components", u_temp_c = NULL,
                          tolerance = list()) {
  fit <- suppressWarnings(fit_softening(d, ..., se = se, u_temp_c = u_temp_c))
  page <- page_fit(fit)
  sure <- I(which(fit$states %in% c("determined", "fixed")) - 1L)
  known <- I(which(fit$states == "determined") - 1L)
  want <- list(par = page$par, states = page$states, deviance = fit$deviance, temp_ref_c = page$temp_ref_c,
               std_error = page$std_error, conf = page$conf, cov_null = page$cov_null, nobs = fit$nobs,
               fitted = I(fit$fitted.values), converged = page$converged)
  if (any(is_open(fit))) want$cov_null <- NULL # the directions that are open have rounding in them
  if (!is.null(fit$errors)) want$sd <- I(c(unname(fit$errors$sd[, "estimate"]), fit$errors$steps$sd_reading))
  usual <- list(all = 1e-10, par = 1e-8, temp_ref_c = 1e-12, nobs = 0)
  tolerance <- utils::modifyList(usual, tolerance)
  list(core_case(name, "fit", list(core_readings(d), c(options, list(se = se, u_temp_c = u_temp_c,
                                                                     model = fit$model))),
                 want, tolerance, list(par = sure, std_error = known, conf = known)), fit)
}

# Readings that fix every parameter of a model: its curve and a small scatter without chance.
CORE_PARAMETERS <- list(
  jmak = c(160, 78, -2, 1.6, 140), jmak_incubation = c(160, 78, -2, 1.6, 140, 0.4),
  recovery_jmak = c(160, 78, -2.5, 1.8, 150, 15, -1, 110),
  recovery_jmak_incubation = c(160, 78, -2.5, 1.8, 150, 15, -1, 110, 0.4),
  hardening_jmak = c(160, 78, -2.5, 1.8, 150, 15, 1, 110),
  hardening_recovery_jmak = c(160, 78, -3.5, 1.8, 150, 18, -2.5, 130, 14, 2, 90),
  austin_rickett = c(160, 78, -2, 1.6, 140))

core_data_of <- function(model) {
  d <- expand.grid(time_min = c(0, 1, 2, 4, 8, 16, 32, 64, 128), temp_c = c(270, 300, 330, 360, 390))
  h <- .Call(C_sa_call_hardness, model_code(model), log(d$time_min),
             as.double(inverse_temperature(d$temp_c, 330)), as.double(CORE_PARAMETERS[[model]]))[, 1L]
  d$hardness <- h + 0.05 * sin(12.9 * seq_along(h))
  d$specimen <- paste("strip", d$temp_c)
  d$scale <- "HV"
  d
}
