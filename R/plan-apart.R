# Which specimen tells two models apart: divergence of what two posteriors expect of it.

#' Which specimen tells two models apart
#'
#' How much a new specimen, read after given times at a temperature, would favour the true one of two models:
#' the
#' expected difference in evidence.
#'
#' The readings that a posterior expects of a new specimen in a new furnace run are taken as normal, with the
#' mean
#' and covariance over its draws, errors of specimen, furnace, step and reading included. The
#' expected logarithm of the ratio of the evidences is the Kullback-Leibler divergence of the two (Lindley
#' 1956),
#' once where the first model is true and once where the second is. Above 3 the wrong one is some twenty
#' times less
#' likely after the specimen.
#'
#' @param first,second Two posteriors of [fit_posterior()] in one scale.
#' @param temp_c Temperatures of the specimen in degrees Celsius; by default those of the readings of `first`
#' and the
#'   middles between them.
#' @param time_min Accumulated times in min; by default those of the readings of `first`.
#' @param ... Must be empty.
#' @param n_readings Readings per step.
#' @param heat_up_min,reading_min,handling_min As in [plan_next()].
#' @return A data frame, one row a temperature, most telling first: `temp_c`, `minutes`, `evidence_first` and
#'   `evidence_second` (expected ln ratio of the evidences where this one is true), `expected` (their mean),
#'   `expected_per_h`.
#' @section Errors: `softanneal_error_argument`, `softanneal_error_model`, `softanneal_error_scale` for two
#' scales.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @source Lindley D V (1956) Ann. Math. Statist. 27, 986; Box G E P, Hill W J (1967) Technometrics 9, 57.
#' @seealso [compare_models()] for the readings there are.
#' @examples
#' readings <- example_data("bellbrass_readings")
#' jmak <- fit_posterior(readings, seed = 1, chains = 2)
#' slow_end <- fit_posterior(readings, "austin_rickett", seed = 1, chains = 2)
#' plan_apart(jmak, slow_end)
#' @export
plan_apart <- function(first, second, temp_c = NULL, time_min = NULL, ..., n_readings = 6, heat_up_min = 5,
                       reading_min = 0.5, handling_min = 1) {
  check_dots_empty(...)
  check_posterior(first, "first")
  check_posterior(second, "second")
  for (k in 1:2) {
    check_isothermal_posterior(list(first, second)[[k]], c("first", "second")[k])
    check_posterior_energy(list(first, second)[[k]], c("first", "second")[k])
  }
  if (first$fit$scale != second$fit$scale) {
    abort("scale", paste0("`first` is in ", first$fit$scale, ", and `second` in ", second$fit$scale),
          arg = "second", remedy = "Fit both in one scale.")
  }
  s <- first$fit$errors$steps
  read_c <- sort(unique(signif(s$key[s$time > 0] - ZERO_CELSIUS, 12)))
  temp_c <- if (is.null(temp_c)) sort(c(read_c, (read_c[-1L] + read_c[-length(read_c)]) / 2)) else {
    check_temperature(temp_c, "temp_c")
  }
  time_min <- if (is.null(time_min)) unique(s$time[s$time > 0]) else {
    check_numeric(time_min, "time_min", 0, open = TRUE)
  }
  time_min <- sort(unique(time_min))
  n_readings <- check_number(n_readings, "n_readings", 1, 1000, whole = TRUE)
  each <- check_number(heat_up_min, "heat_up_min", 0) + check_number(handling_min, "handling_min", 0) +
    n_readings * check_number(reading_min, "reading_min", 0, open = TRUE)
  evidence <- vapply(temp_c, function(t) {
    a <- expected_readings(first, t, time_min, n_readings)
    b <- expected_readings(second, t, time_min, n_readings)
    c(normal_divergence(a, b), normal_divergence(b, a))
  }, numeric(2L))
  minutes <- max(time_min) + (length(time_min) + 1) * each
  out <- data.frame(temp_c = temp_c, minutes = minutes, evidence_first = evidence[1L, ],
                    evidence_second = evidence[2L, ], expected = colMeans(evidence))
  out$expected_per_h <- out$expected / (minutes / 60)
  out <- out[order(-out$expected), ]
  rownames(out) <- NULL
  as_table(out)
}

APART_DRAWS <- 400L

# Mean and covariance of the means of the steps of a new specimen, the first as rolled.
expected_readings <- function(x, temp_c, time_min, n_readings) {
  pick <- some_draws(x, APART_DRAWS)
  state <- begin_seed(x$seed)
  on.exit(end_seed(state))
  time <- c(0, time_min)
  shift <- draws_of_sd(x, "sd_furnace_c", pick) * stats::rnorm(length(pick))
  curves <- posterior_curves(x, rep(temp_c, length(time)), time, pick = pick, shift = shift)
  square <- function(name) mean(draws_of_sd(x, name, pick)^2)
  cov <- stats::cov(t(curves)) + square("sd_specimen")
  diag(cov) <- diag(cov) + square("sd_step") + square("sd_operator") + square("sd_reading") / n_readings
  list(mean = rowMeans(curves), cov = cov)
}

# Kullback-Leibler divergence of two normal distributions, in nats.
normal_divergence <- function(a, b) {
  root <- chol(b$cov)
  gap <- backsolve(root, b$mean - a$mean, transpose = TRUE)
  part <- backsolve(root, t(chol(a$cov)), transpose = TRUE)
  0.5 * (sum(part^2) + sum(gap^2) - length(gap)) + sum(log(diag(root))) - sum(log(diag(chol(a$cov))))
}
