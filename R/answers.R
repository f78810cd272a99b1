# Answers from a fit: how long at which temperature. The inverse of the curve and its gradient
# are C (sa_model_time_to() in src/model.c); intervals are on ln t, where they are nearly
# symmetric.

#' How long at which temperature
#'
#' The time in the furnace after which a piece has reached a hardness, a share of its
#' softening, or a recrystallised fraction, at constant temperature, with its interval.
#'
#' Where hardness rises before it falls (models with hardening), the time is that of the last
#' fall through the target.
#'
#' The interval is for the curve, not for a single reading, and is computed on the logarithm
#' of time by the delta method from the covariance chosen in the fit. It counts the time at
#' temperature: a real piece needs its heat-up time besides.
#'
#' A time is an estimate, not a release for use: mind [cautions()] and try it on a
#' sample first.
#'
#' @param fit A fit of [fit_softening()].
#' @param hardness Hardness wanted, in the scale of the fit.
#' @param softening Share of the way from `h_worked` to `h_soft`, between 0 and 1; 0.5 is half
#'   softening. The default target.
#' @param fraction Recrystallised fraction, between 0 and 1. Give only one of the three.
#' @param temp_c Temperatures in degrees Celsius; by default those of the readings.
#' @param level Level of the interval.
#' @param ... Must be empty.
#' @return A data frame, one row for each target and temperature: `temp_c`, the target
#'   (`hardness`, `softening` or `fraction`), `time_min`, `std.error` (of the natural logarithm
#'   of time, about the relative error), `conf.low`, `conf.high` in min, and `note`. `time_min` is
#'   `NA` with one warning where the curve never reaches the target. The interval is `NA` where
#'   the readings do not determine the time: when it leans on a parameter that is not determined,
#'   or is known to worse than a factor of about 50 while a parameter is open; `note` says so.
#' @section Errors:
#'   `softanneal_error_argument` when more than one target is given or `fit` is no softening
#'   fit, `softanneal_error_range` for shares outside 0 and 1 and temperatures below absolute
#'   zero.
#' @source Delta method on ln t with the implicit derivative, see Bates D M, Watts D G (1988)
#'   Nonlinear Regression Analysis and Its Applications, section 2.
#' @examples
#' tungsten <- read_readings(
#'   system.file("extdata", "tungsten_isothermal.csv", package = "softanneal"),
#'   specimen = "plate")
#' fit <- fit_softening(tungsten)
#' time_to(fit)
#' time_to(fit, hardness = 400, temp_c = c(1150, 1250))
#' @export
time_to <- function(fit, hardness = NULL, softening = NULL, fraction = NULL, temp_c = NULL,
                    level = 0.95, ...) {
  check_dots_empty(...)
  check_softening(fit)
  aim <- check_target(hardness, softening, fraction)
  what <- aim$what
  target <- aim$target
  at <- fit$conditions
  read_at <- sort(unique(signif(at$temp_c[at$time_min > 0], 12)))
  temp_c <- if (is.null(temp_c)) read_at else check_temperature(temp_c, "temp_c")
  level <- check_level(level)
  grid <- data.frame(temp_c = rep(temp_c, length(target)), target = rep(target, each = length(temp_c)))
  names(grid)[2L] <- what
  ans <- solve_times(fit, grid$temp_c, grid[[what]], what)
  t <- interval_t(fit, level)
  grid$time_min <- exp(ans$ln_time)
  grid$std.error <- ans$se
  grid$conf.low <- exp(ans$ln_time - t * ans$se)
  grid$conf.high <- exp(ans$ln_time + t * ans$se)
  grid$note <- answer_notes(fit, grid, read_at, ans)
  never <- which(is.na(grid$time_min))
  if (length(never)) {
    warn("outside", paste0(length(never), " of ", nrow(grid), " times are NA; the column `note` ",
                           "says why (", in_rows(never), ")."), n = length(never),
         rows = never)
  }
  as_table(grid)
}

# ln t and its standard error; both NA where there is no answer.
solve_times <- function(fit, temp_c, target, what) {
  coordinate <- inverse_temperature(temp_c, fit$temp_ref_c)
  kind <- match(what, c("hardness", "softening", "fraction")) - 1L
  m <- .Call(C_sa_call_time_to, fit$settings$set$kind, as.double(coordinate), as.double(target),
             kind, unname(fit$par))
  se <- delta_se(fit, m[, -1L, drop = FALSE])
  open <- any(!fit$states %in% c("determined", "held"))
  lost <- is.na(se) | (open & !is.na(se) & se > 2)
  se[lost] <- NA_real_
  ln_time <- m[, 1L]
  other <- length(fit$settings$set$no_energy) > 0L & abs(coordinate) > 1e-9
  ln_time[other] <- se[other] <- NA_real_
  list(ln_time = ln_time, se = se, other = other)
}

answer_notes <- function(fit, grid, read_at, ans) {
  note <- rep("", nrow(grid))
  after <- fit$conditions$time_min[fit$conditions$time_min > 0]
  outside <- grid$temp_c < min(read_at) - 1e-9 | grid$temp_c > max(read_at) + 1e-9
  note[!is.na(grid$time_min) & grid$time_min > max(after)] <- "longer than any reading"
  note[!is.na(grid$time_min) & grid$time_min < min(after)] <- "before the first reading"
  note[outside] <- "temperature outside the readings"
  note[!is.na(grid$time_min) & is.na(ans$se)] <- "not determined by the readings"
  note[is.na(grid$time_min)] <- "target not reached"
  note[ans$other] <- "one temperature read: no rate at others"
  note
}
