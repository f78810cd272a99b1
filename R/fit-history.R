# The fit along the temperature histories to which its readings are joined (fit-join.R).

# Energy in kJ/mol at which start values and the reference temperature are taken. Twin:
# SA_TYPICAL_ENERGY in src/glue_history.h.
TYPICAL_ENERGY <- 200

# The readings `d` with their places in the histories, the reference temperature, and the
# clock at a typical energy: mean of e along each history, ln of the time at it.
follow_history <- function(d, history, log_s, temp_ref_c, rows, step, timed) {
  h <- history_points(history)
  joined <- join_history(h, d$specimen, d$time_min, log_s, rows, step, read = TRUE, timed = timed)
  d$place <- joined$place
  d$passed_min <- joined$passed_min
  d$history <- h$points
  d$time_min[d$place == 0] <- 0
  after <- which(d$place > 0)
  if (!length(after)) {
    abort("too_few", "there is no reading after an anneal", arg = "data",
          remedy = "Softening needs readings at times above zero.")
  }
  guess_k <- mean(d$temp_k[after])
  clock <- places_clock(d$history, d$place[after], d$passed_min[after], TYPICAL_ENERGY, guess_k)
  inverse_k <- 1 / guess_k - clock[, 2L] * GAS_CONSTANT / 1000 # 1/T averaged by progress
  d$ref_k <- if (is.null(temp_ref_c)) 1 / mean(inverse_k) else {
    check_number(temp_ref_c, "temp_ref_c", -ZERO_CELSIUS, open = TRUE) + ZERO_CELSIUS
  }
  d$clock <- list(log_min = clock[, 1L] - TYPICAL_ENERGY * clock[, 2L],
                  energy_slope = clock[, 2L])
  d
}

# ln of the integral of exp(q e) dt (min) and its slope in q at places in histories, in the
# order given.
places_clock <- function(points, place, passed_min, q, ref_k) {
  at <- history_marks(points, place, passed_min)
  out <- matrix(NA_real_, length(place), 2L)
  out[at$order, ] <- reduced_time(list(points = points), at$mark, at$mark_first, q, ref_k, TRUE)
  out
}

# Marks in order of history and time, and where they came from. Twin: glue_follow() in
# src/glue_softening.c.
history_marks <- function(points, place, passed_min) {
  span <- history_span(list(points = points))
  o <- order(place, passed_min, method = "radix")
  id <- as.integer(place[o])
  list(order = o, mark = pmin(span$start[id] + 60 * passed_min[o], span$end[id]),
       mark_first = c(0L, as.integer(cumsum(tabulate(id, span$count)))))
}

# Temperature (K) that labels each condition and the isothermal time (min) at it that is
# equivalent to its history, at the fitted energy.
equivalent_conditions <- function(d, r) {
  temp_k <- d$temp_k[match(seq_along(r$time) - 1L, r$condition)]
  time <- numeric(length(temp_k))
  on <- which(r$temp_k > 0)
  q <- r$par[5L]
  clock <- places_clock(d$history, r$temp_k[on], r$time[on], q, d$ref_k)
  e <- inverse_temperature(temp_k[on] - ZERO_CELSIUS, d$ref_k - ZERO_CELSIUS)
  time[on] <- exp(clock[, 1L] - q * e)
  list(temp_k, time)
}

# Hardness and its standard error at places in histories: of a fit along histories, or at the
# points of another history.
history_values <- function(object, points, place, passed_min) {
  n <- length(place)
  fit <- rep(object$par[["h_worked"]], n)
  gradient <- matrix(0, n, length(object$par), dimnames = list(NULL, names(object$par)))
  gradient[, "h_worked"] <- 1
  on <- which(place > 0)
  ln_theta <- rep(-Inf, n)
  if (length(on)) {
    at <- history_marks(points, place[on], passed_min[on])
    m <- .Call(C_sa_call_soften, object$settings$set$kind, points, at$mark, at$mark_first,
               object$temp_ref_c + ZERO_CELSIUS, unname(object$par))
    rows <- on[at$order]
    ln_theta[rows] <- m$ln_theta
    fit[rows] <- m$hardness
    gradient[rows, ] <- m$gradient
  }
  list(fit = fit, se = doubtful_se(object, delta_se(object, gradient)), ln_theta = ln_theta)
}

# Values of a fit at the rows of a history, or at readings joined to it; one warning for what
# lies outside the readings of the fit.
predict_history <- function(object, newdata, history, level) {
  if (length(object$settings$set$no_energy)) forward_parameters(object)
  columns <- object$readings$columns
  h <- history_points(history)
  span <- history_span(h)
  if (is.null(newdata)) {
    id <- rep.int(seq_len(span$count), diff(h$points$first))
    part <- history_band(object, h$points, id, (h$points$time_s - span$start[id]) / 60, level)
    hottest <- unlist(lapply(split(h$points$temp_c, id), cummax), use.names = FALSE)
    back <- if (is.null(h$order)) seq_along(id) else order(h$order)
    part <- lapply(part, `[`, back)
    warn_history(object, hottest[back], part)
    return(part)
  }
  check_data(newdata, "newdata", rows = FALSE)
  log_s <- if (!is.null(columns$log_time)) {
    numeric_column(newdata, columns$log_time, "newdata", "s", na = TRUE)
  } else event_times(newdata, columns, history)
  time <- if (!is.null(log_s) && !columns$time %in% names(newdata)) log_s / 60 else {
    numeric_column(newdata, columns$time, "newdata", "min", 0, na = TRUE)
  }
  known <- which(!is.na(time) & if (is.null(log_s)) TRUE else !is.na(log_s))
  specimen <- if (columns$specimen %in% names(newdata)) newdata[[columns$specimen]]
  joined <- join_history(h, specimen[known], time[known], log_s[known], known)
  part <- history_band(object, h$points, joined$place, joined$passed_min, level)
  hottest <- hottest_before(h, joined)
  warn_history(object, hottest, part, known)
  full <- rep(NA, nrow(newdata))
  part <- lapply(part, function(x) replace(full, known, x))
  if (!is.null(part$lost)) part$lost <- part$lost %in% TRUE
  part
}

# Model number, parameters in order, reference temperature and scale of a forward model.
forward_parameters <- function(parameters, model = NULL, temp_ref_c = NULL) {
  if (inherits(parameters, "softanneal_fit_softening")) {
    if (!is.null(model) && !identical(model, parameters$model)) {
      abort("argument", paste0("`model` is '", model, "' but the fit is '", parameters$model, "'"),
            arg = "model", remedy = "Leave `model` out with a fit.")
    }
    if (!is.null(temp_ref_c)) {
      abort("argument", "`temp_ref_c` is given besides a fit, which has its own",
            arg = "temp_ref_c", remedy = "Leave it out.")
    }
    check_ungrouped(parameters, "parameters")
    if (length(parameters$settings$set$no_energy)) {
      abort("model", "the fit has one temperature and no activation energy",
            arg = "parameters", remedy = "Fit readings of several temperatures, or fix the energy.")
    }
    return(list(kind = parameters$settings$set$kind, par = unname(parameters$par),
                ref_k = parameters$temp_ref_c + ZERO_CELSIUS, scale = parameters$scale,
                terms = names(parameters$par), model = parameters$model))
  }
  parameters <- check_start_like(parameters, "parameters")
  model <- if (is.null(model)) "jmak" else check_model_name(model)
  par <- parameters_of(parameters, model)
  if (is.null(temp_ref_c)) {
    abort("argument", "`temp_ref_c` is missing: rates need the temperature they hold at",
          arg = "temp_ref_c", remedy = paste0("Give the reference temperature of `ln_k_ref` in ",
                                                degree_c(), "."))
  }
  ref_k <- check_number(temp_ref_c, "temp_ref_c", -ZERO_CELSIUS, open = TRUE) + ZERO_CELSIUS
  check_parameters(par)
  list(kind = model_code(model), par = as.double(par), ref_k = ref_k, scale = NULL,
       terms = names(par), model = model)
}

# Highest temperature each reading has seen.
hottest_before <- function(h, joined) {
  span <- history_span(h)
  out <- rep(-Inf, length(joined$place))
  for (k in setdiff(unique(joined$place), 0)) {
    rows <- seq.int(h$points$first[k] + 1L, h$points$first[k + 1L])
    pick <- which(joined$place == k)
    passed <- (h$points$time_s[rows] - span$start[k]) / 60
    at <- pmax(findInterval(joined$passed_min[pick] * (1 + 1e-12), passed), 1L)
    out[pick] <- cummax(h$points$temp_c[rows])[at]
  }
  out
}

# Outside the readings: hotter than any of them has been, or softened further, or softened
# noticeably (1 % of all) at temperatures below theirs.
warn_history <- function(object, hottest, part, rows = seq_along(hottest)) {
  at <- object$conditions
  after <- at$time_min > 0
  read <- range(if (is.null(at$place)) at$temp_c[after] else {
    hottest_before(list(points = object$readings$history), at)[after]
  })
  q <- object$par[["q_kj_mol"]]
  e <- inverse_temperature(at$temp_c[after], object$temp_ref_c)
  furthest <- max(log(at$time_min[after]) + q * e) + object$par[["ln_k_ref"]]
  drop <- abs(object$par[["h_worked"]] - part$fit)
  begun <- drop > 0.01 * abs(object$par[["h_worked"]] - object$par[["h_soft"]])
  outside <- which(hottest > read[2L] + 1e-9 | part$ln_theta > furthest + 1e-9 |
                     (begun & hottest < read[1L] - 1e-9))
  if (length(outside)) {
    warn("extrapolation", paste0(
      length(outside), " of ", length(hottest),
      " points of the history are outside the range of the data (",
      format(read[1L], digits = 4), " to ", format(read[2L], digits = 4),
      " degrees Celsius, reduced time up to ", format_quantity(exp(furthest)), "; ", in_rows(rows[outside]),
      ")."), n = length(outside),
      rows = rows[outside])
  }
}
