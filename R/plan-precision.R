# What a plan will tell: standard errors to expect from its readings, by linear theory at the
# guess and at every draw of it, with the errors of readings, steps, specimens and furnaces.

#' Standard errors to expect from a plan
#'
#' Linear theory (generalised least squares): the inverse of `X' V^-1 X` with `X` the gradients of the
#' hardness of the steps and `V` their covariance: `sd_step^2 + sd_reading^2 / n` for each step,
#' `sd_piece^2` between the steps of a specimen, and `u_temp_c^2` times the product of the slopes dH/dT
#' between steps at one temperature, whose specimens share a furnace. Only steps with a place in the
#' timetable count. More readings of a step only make `sd_reading` small; against the errors of specimens
#' and furnaces more specimens help, at more temperatures.
#'
#' @param x A plan of [plan_anneal()] or [improve_plan()].
#' @param ... Must be empty.
#' @return `tidy()`: a data frame with one row for each parameter the run has to find, and one for
#'   the natural logarithm of the time to half softening at each temperature (`term` `ln_t50`;
#'   time in min): `term`, `temp_c` (`NA` for parameters), `estimate` (the guess), `std.error` (at
#'   the guess; `NA` when the plan does not determine the term), `std.error.low` and
#'   `std.error.high` (ends of the middle 90 % over the draws of the guess; `Inf` where a draw
#'   leaves the term open). `glance()`: one row with `pieces`, `steps`, `readings`, `unbooked`
#'   (steps without a place), `furnace_min` (time in furnaces, summed over specimens), `sessions`
#'   used, `end_clock` of the last one.
#' @section Errors:
#'   `softanneal_error_argument` for an unknown argument.
#' @source Linear theory: Bates D M, Watts D G (1988) Nonlinear Regression Analysis and Its Applications
#'   \doi{10.1002/9780470316757}, ch. 2.
#' @seealso [plan_anneal()], [improve_plan()], [bench_sheet()]
#' @examples
#' guess <- plan_guess(recryst_1h_c = 330)
#' plan <- plan_anneal(c(290, 320, 350), c(4, 8, 16, 32), guess, furnaces = 2)
#' tidy(plan)
#' glance(plan)
#' @name tidy.softanneal_plan
#' @export
tidy.softanneal_plan <- function(x, ...) {
  check_dots_empty(...)
  guess <- x$guess
  s <- x$steps[!is.na(x$steps$read_min), ]
  temps <- x$temperatures$temp_c
  sets <- rbind(guess$par, guess$draws)
  se <- apply(sets, 1L, \(b) expected_errors(guess, b, s, x$settings$n_readings, temps))
  terms <- names(guess$par)[guess$estimated]
  energy <- which(is_energy(terms)) # an error beyond what a fit searches is none
  se[energy, ][se[energy, ] > 2000] <- NA_real_
  low_high <- apply(se[, -1L, drop = FALSE], 1L, \(v) {
    v[is.na(v)] <- Inf
    stats::quantile(v, c(0.05, 0.95), names = FALSE, type = 1L)
  })
  as_table(data.frame(
    term = c(terms, rep("ln_t50", length(temps))), temp_c = c(rep(NA, length(terms)), temps),
    estimate = c(unname(guess$par[terms]), log(guess_time(guess, temps, 0.5)[1L, ])),
    std.error = se[, 1L], std.error.low = low_high[1L, ], std.error.high = low_high[2L, ]))
}

#' @rdname tidy.softanneal_plan
#' @export
glance.softanneal_plan <- function(x, ...) {
  check_dots_empty(...)
  s <- x$steps
  booked <- !is.na(s$read_min)
  last <- max(s$read_session, na.rm = TRUE)
  end <- max(s$end_min[booked & s$read_session == last])
  as_table(data.frame(
    pieces = length(unique(s$specimen)), steps = sum(s$step > 0),
    readings = sum(s$readings[booked]), unbooked = sum(!booked),
    furnace_min = sum(s$furnace_min[booked]), sessions = last,
    end_clock = clock_text(x$settings$start + end)))
}

# Information in the mean of a step, its specimen and furnace aside.
step_information <- function(guess, n) 1 / (guess$sd_step^2 + guess$sd_reading^2 / n)

# Standard errors of the estimated parameters and of ln t50 at `temps` from the steps `s` of a plan;
# NA where singular.
expected_errors <- function(guess, par, s, n_readings, temps) {
  moving <- guess$estimated
  hardness <- function(temp_c) {
    e <- inverse_temperature(temp_c, guess$temp_ref_c)
    .Call(C_sa_call_hardness, guess$kind, log(as.double(s$time_min)), as.double(e), as.double(par))
  }
  jac <- hardness(s$temp_c)[, -1L, drop = FALSE][, moving, drop = FALSE]
  lost <- rep(NA_real_, sum(moving) + length(temps))
  size <- sqrt(colSums(jac^2))
  if (any(size == 0) || nrow(jac) < ncol(jac)) return(lost)
  # singular values of the scaled Jacobian, as in the fit (RANK_TOLERANCE of src/inference.c)
  d <- svd(sweep(jac, 2L, size, `/`), nu = 0, nv = 0)$d
  if (min(d) < 1e-9 * max(d)) return(lost)
  # guesses saved by an earlier version know neither
  sd_piece <- if (is.null(guess$sd_piece)) 0 else guess$sd_piece
  u_temp_c <- if (is.null(guess$u_temp_c)) 0 else guess$u_temp_c
  slope <- 10 * (hardness(s$temp_c + 0.05)[, 1L] - hardness(s$temp_c - 0.05)[, 1L]) # HV per K
  v <- steps_covariance(s, slope, sd_piece, u_temp_c, 1 / step_information(guess, n_readings))
  white <- svd(sweep(backsolve(chol(v), jac, transpose = TRUE), 2L, size, `/`), nu = 0)
  root <- sweep(white$v, 2L, white$d, `/`) / size # cov = root root'
  at <- .Call(C_sa_call_time_to, guess$kind,
              as.double(inverse_temperature(temps, guess$temp_ref_c)), rep(0.5, length(temps)), 1L,
              as.double(par))[, -1L, drop = FALSE][, moving, drop = FALSE]
  c(sqrt(rowSums(root^2)), sqrt(rowSums((at %*% root)^2)))
}

# Covariance of the means of steps: specimens have offsets, and one furnace a temperature its error.
steps_covariance <- function(s, slope, sd_piece, u_temp_c, of_mean) {
  v <- outer(s$specimen, s$specimen, `==`) * sd_piece^2 +
    outer(s$temp_c, s$temp_c, `==`) * outer(slope, slope) * u_temp_c^2
  diag(v) <- diag(v) + of_mean
  v
}

# Expected width of the interval of what is asked after the run of a plan, as a share of that of the posterior
# the plan began with: geometric mean over its draws, each with its own standard deviations of the errors. The
# new run has specimens and furnaces of its own, so that what is known adds to what it will say.
promised_width <- function(plan, goal) {
  guess <- plan$guess
  s <- plan$steps[!is.na(plan$steps$read_min), ]
  p <- length(guess$par)
  known <- diag(1 / widest(guess$par)^2, p)
  known[upper.tri(known, TRUE)] <- known[upper.tri(known, TRUE)] + guess$known
  known[lower.tri(known)] <- t(known)[lower.tri(known)]
  moving <- which(guess$estimated)
  known <- known[moving, moving, drop = FALSE]
  sds <- guess$sd_draws %or% matrix(rep(c(guess$u_temp_c, guess$sd_piece, guess$sd_step, 0, guess$sd_reading),
                                        each = nrow(guess$draws)), nrow(guess$draws),
                                    dimnames = list(NULL, names(PRIOR_SDS)))
  gain <- vapply(seq_len(nrow(guess$draws)), function(k) {
    par <- guess$draws[k, ]
    at <- function(temp_c) {
      .Call(C_sa_call_hardness, guess$kind, log(as.double(s$time_min)),
            as.double(inverse_temperature(temp_c, guess$temp_ref_c)), as.double(par))
    }
    jac <- at(s$temp_c)[, 1L + moving, drop = FALSE]
    slope <- 10 * (at(s$temp_c + 0.05)[, 1L] - at(s$temp_c - 0.05)[, 1L]) # as above
    v <- steps_covariance(s, slope, sds[k, "sd_specimen"], sds[k, "sd_furnace_c"],
                          sds[k, "sd_step"]^2 + sds[k, "sd_reading"]^2 / plan$settings$n_readings)
    after <- known + crossprod(backsolve(chol(v), jac, transpose = TRUE))
    (log_variance(after, guess, par, goal, moving) - log_variance(known, guess, par, goal, moving)) / 2
  }, 0)
  exp(mean(gain, na.rm = TRUE))
}

# ln variance of the aim by an information of the parameters, mean over what is asked; NA where it has none.
log_variance <- function(information, guess, par, goal, moving) {
  root <- chol(information)
  aim <- PLAN_AIMS[goal$code + 1L]
  if (aim == "determinant") return(-2 * mean(log(diag(root))))
  to <- if (aim == "q") rbind(as.double(names(guess$par) == "q_kj_mol")) else {
    .Call(C_sa_call_time_to, guess$kind, goal$coordinate, rep(goal$target, length(goal$coordinate)),
          if (aim == "hardness") 0L else 1L, as.double(par))[, -1L, drop = FALSE]
  }
  mean(log(colSums(backsolve(root, t(to[, moving, drop = FALSE]), transpose = TRUE)^2)))
}

treatments_of <- function(steps) {
  steps[order(steps$specimen, steps$time_min), c("specimen", "temp_c", "time_min")]
}

# Has the plan given the smaller expected standard error of Q where furnaces and specimens count too?
stays_as_given <- function(plan, better) {
  error <- vapply(list(plan, better), function(x) {
    q <- tidy(x)
    q <- q$std.error[q$term == "q_kj_mol"]
    if (is.na(q)) Inf else q
  }, 0)
  if (error[2L] <= error[1L]) return(FALSE)
  say("plan", paste0("The search counts errors of steps and readings. With those of furnaces and specimens ",
                     "the plan found has an expected standard error of Q of ", format_quantity(error[2L], 3L),
                     " kJ/mol, that given ", format_quantity(error[1L], 3L), ": the plan given stays. Give ",
                     "`temp_c` or `n_specimens` to search among others."))
  TRUE
}
