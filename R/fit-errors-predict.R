# Predictions under components of error: of the curve, and of a new reading on a new specimen in a new
# furnace run or on one that was fitted, with what each component adds.

# Whether the fit predicts this way: all determined, at constant temperatures.
by_components <- function(fit) {
  !is.null(fit$errors) && is.null(fit$readings$history) && !any(is_open(fit))
}

# `specimen`: specimen of each row, or NULL for a new one.
predict_components <- function(object, temp_c, time_min, strain, interval, level, se.fit,
                               specimen = NULL) {
  e <- object$errors
  n <- length(temp_c)
  start <- !is.na(time_min) & time_min == 0
  temp_c <- ifelse(is.na(temp_c) & start, object$temp_ref_c, temp_c)
  own <- own_modes(object, specimen, n)
  at_c <- ifelse(start, temp_c, temp_c + own$furnace)
  place <- fit_places(object, at_c, strain)
  if (is.matrix(place)) place[which(start & is.na(place[, 3L])), 3L] <- 0
  known <- known_places(place) & !is.na(time_min)
  if (length(object$settings$set$no_energy)) {
    known <- known & (same_temperature(temp_c, object$temp_ref_c) | start)
  }
  p <- length(object$par)
  m <- matrix(NA_real_, n, p + 1L)
  if (any(known)) {
    m[known, ] <- .Call(C_sa_call_hardness, object$settings$set$kind, log(time_min[known]),
                        place_rows(place, known), unname(object$par))
  }
  fit <- m[, 1L] + own$offset
  gradient <- m[, -1L, drop = FALSE]
  curve <- error_interval(object, gradient, level)
  out <- fit
  if (interval != "none") {
    ends <- curve
    if (interval == "prediction") {
      slope <- temperature_slope(object, at_c, time_min, strain)
      extra <- reading_extra(object, slope, same = !is.null(specimen))
      extra[, 5L] <- extra[, 5L] + own$variance + slope^2 * own$furnace_variance
      ends <- error_interval(object, gradient, level, extra)
    }
    out <- cbind(fit = fit, lwr = fit + ends$lower, upr = fit + ends$upper)
    if (interval == "prediction") {
      attr(out, "components") <- prediction_parts(object, curve$se, slope, own, is.null(specimen))
    }
  }
  if (!check_flag(se.fit, "se.fit")) return(out)
  list(fit = out, se.fit = curve$se, df = object$df_interval, residual.scale = object$sigma)
}

# Standard deviations of what a new reading is made of: one row per row, one column per component.
prediction_parts <- function(object, se, slope, own, new) {
  e <- object$errors
  sd <- unname(e$sd[, "estimate"])
  scale <- if (is.null(e$stated)) 1 else sqrt(mean(e$steps$scale[e$steps$time > 0]^2))
  n <- length(se)
  reading <- if (is.finite(e$steps$sd_reading)) e$steps$sd_reading else 0
  cbind(curve = se,
        furnace = abs(slope) * if (new) scale * sd[1L] else sqrt(own$furnace_variance),
        specimen = if (new) rep(sd[2L], n) else sqrt(own$variance), step = rep(sd[3L], n),
        operator = rep(sd[4L], n), reading = rep(reading, n))
}

# Offset and furnace error of fitted specimens, zero for new ones.
own_modes <- function(object, specimen, n) {
  out <- list(offset = numeric(n), furnace = numeric(n), variance = numeric(n),
              furnace_variance = numeric(n))
  if (is.null(specimen)) return(out)
  s <- object$errors$steps
  known <- match(as.character(specimen), as.character(s$label))
  if (s$coupons || anyNA(known)) {
    abort("argument", "`newdata` names specimens that were not fitted", arg = "newdata",
          rows = which(is.na(known)),
          remedy = "Use specimen = \"new\", or names of specimens in the readings.")
  }
  m <- modes_of(object)
  piece <- m[m$group == "specimen", ]
  at <- match(as.character(specimen), piece$level)
  has <- !is.na(at)
  out$offset[has] <- piece$estimate[at[has]]
  out$variance[has] <- piece$std.error[at[has]]^2
  oven <- m[m$group == "furnace", ]
  run <- s$run[vapply(as.character(specimen), function(x) {
    own <- which(s$label == x)
    own[order(s$time[own] <= 0)][1L]
  }, 1L)]
  at <- match(s$runs[run], oven$level)
  has <- !is.na(at)
  out$furnace[has] <- oven$estimate[at[has]]
  out$furnace_variance[has] <- oven$std.error[at[has]]^2
  out
}
