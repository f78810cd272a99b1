# The forward model: hardness, recrystallised fraction and reduced time along histories, from
# parameters or from a fit, and predictions of a fit along a history.

#' Softening along a temperature history
#'
#' Hardness, recrystallised fraction and reduced time at each point of a temperature history,
#' or at times asked, for given parameters or those of a fit. The model and its parameters are
#' those of [fit_softening()]; k t is replaced by the integral of k(T(t)) dt, for
#' each of recrystallisation, recovery and hardening with its own energy.
#'
#' The result is an estimate, not a release for use: mind [cautions()] and try it on a
#' sample first.
#'
#' @param history Temperature histories: a data frame with one row a point (temperature linear
#'   between points), or a result of [anneal_history()], [heat_up()] or [cool_down()].
#' @param parameters A fit of [fit_softening()], or a named vector with all parameters of one
#'   model: `h_worked`, `h_soft` (any hardness scale linear in strength), `ln_k_ref` (k in
#'   1/min at `temp_ref_c`), `n`, `q_kj_mol`, and as the model asks `theta0`, `dh_rec`, `ln_k_rec`,
#'   `q_rec_kj_mol`, `dh_hard`, `ln_k_hard`, `q_hard_kj_mol`.
#' @param model Name of the model: that of a fit, or by default `"jmak"`.
#' @param temp_ref_c Reference temperature of the rates in degrees Celsius; needed with a
#'   vector, taken from a fit.
#' @param time_min Times asked, in min after the first point of each history; by default every
#'   point.
#' @param specimen,time,temp Columns (bare or quoted) of specimen, time in s and temperature in
#'   degrees Celsius. Without a specimen column all rows are one history.
#' @param ... Must be empty.
#' @return A data frame of class `softanneal_softening`, one row a point of the history in its
#'   order, or a row for each specimen and time asked: `specimen` (where the history names
#'   specimens), `time_s` (s, on the clock of the history), `temp_c` (degrees Celsius), `theta`
#'   (reduced time of recrystallisation, no unit; `Inf` beyond 1e308), `fraction`
#'   (recrystallised, 0 to 1), `hardness` (scale of the parameters). A `plot()` shows temperature
#'   and hardness one above the other.
#' @section Errors:
#'   `softanneal_error_argument` (parameters missing, unknown or without reference temperature),
#'   `softanneal_error_range` (a parameter outside its domain, time outside the history, time
#'   that falls), `softanneal_error_missing`, `softanneal_error_column`,
#'   `softanneal_error_model` (a fit without activation energy).
#' @source Additivity: Scheil E (1935) Arch. Eisenhuettenwes. 8, 565; Cahn J W (1956) Acta
#'   Metall. 4, 572. Models: see [fit_softening()].
#' @seealso [equivalent_time()], [predict.softanneal_fit_softening()] for intervals.
#' @examples
#' strip <- anneal_history(data.frame(specimen = "A1", temp_c = 370, time_min = c(4, 8, 16)),
#'                         thickness_mm = 0.95, dip_c = 9)
#' along <- soften(strip, c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.1), n = 1.5,
#'                          q_kj_mol = 180), temp_ref_c = 370)
#' along[c(1, nrow(along)), ]
#' plot(along)
#' @order 1
#' @export
soften <- function(history, parameters, model = NULL, temp_ref_c = NULL, time_min = NULL, ...,
                   specimen = specimen, time = time_s, temp = temp_c) {
  check_dots_empty(...)
  p <- forward_parameters(parameters, model, temp_ref_c)
  h <- history_points(history, column_name(rlang::enexpr(specimen)),
                      column_name(rlang::enexpr(time)), column_name(rlang::enexpr(temp)))
  out <- if (is.null(time_min)) all_points(h) else asked_points(h, time_min)
  m <- .Call(C_sa_call_soften, p$kind, h$points, out$mark, out$mark_first, p$ref_k, p$par)
  columns <- list(time_s = out$mark, temp_c = out$temp_c, theta = exp(m$ln_theta),
                  fraction = m$fraction, hardness = m$hardness)
  if (!is.null(h$specimen)) {
    columns <- c(list(specimen = rep(h$specimen, diff(out$mark_first))), columns)
  }
  result <- list2DF(columns)
  if (!is.null(h$order) && is.null(time_min)) { # back to the rows as they were given
    result[h$order, ] <- result
    rownames(result) <- NULL
  }
  structure(result, class = c("softanneal_softening", "data.frame"), scale = p$scale)
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
      abort("model", "the fit knows one temperature only and has no activation energy",
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
          arg = "temp_ref_c", remedy = "Give the reference temperature of `ln_k_ref` in deg C.")
  }
  ref_k <- check_number(temp_ref_c, "temp_ref_c", -ZERO_CELSIUS, open = TRUE) + ZERO_CELSIUS
  check_parameters(par)
  list(kind = model_code(model), par = as.double(par), ref_k = ref_k, scale = NULL,
       terms = names(par), model = model)
}

all_points <- function(h) {
  list(mark = h$points[[1L]], mark_first = h$points[[3L]], temp_c = h$points[[2L]])
}

asked_points <- function(h, time_min) {
  asked <- 60 * check_numeric(time_min, "time_min", 0)
  span <- history_span(h)
  short <- which(outer(asked, (span$end - span$start) * (1 + 1e-9), ">"), arr.ind = TRUE)
  if (nrow(short)) {
    abort("range", paste0("`time_min` (", format(time_min[short[1L, 1L]]), ") lies beyond the end ",
                          "of the history (", format(min(span$end - span$start) / 60), " min)"),
          arg = "time_min", remedy = "Ask for times within every history.")
  }
  first <- h$points[[3L]]
  temp <- lapply(seq_len(span$count), function(k) {
    rows <- seq.int(first[k] + 1L, first[k + 1L])
    at <- span$start[k] + sort(asked)
    if (length(rows) == 1L) return(rep(h$points[[2L]][rows], length(at)))
    stats::approx(h$points[[1L]][rows], h$points[[2L]][rows], at, rule = 2, ties = "ordered")$y
  })
  list(mark = as.double(pmin(rep(span$start, each = length(asked)) + rep(sort(asked), span$count),
                             rep(span$end, each = length(asked)))),
       mark_first = as.integer(length(asked) * seq.int(0L, span$count)),
       temp_c = as.double(unlist(temp)))
}

# Values of a fit at the rows of a history, or at readings joined to it; one warning for what
# lies outside the readings of the fit.
predict_history <- function(object, newdata, history) {
  if (length(object$settings$set$no_energy)) forward_parameters(object)
  columns <- object$readings$columns
  h <- history_points(history)
  span <- history_span(h)
  if (is.null(newdata)) {
    id <- rep.int(seq_len(span$count), diff(h$points[[3L]]))
    part <- history_values(object, h$points, id, (h$points[[1L]] - span$start[id]) / 60)
    hottest <- unlist(lapply(split(h$points[[2L]], id), cummax), use.names = FALSE)
    back <- if (is.null(h$order)) seq_along(id) else order(h$order)
    part <- lapply(part, `[`, back)
    warn_history(object, hottest[back], part)
    return(part)
  }
  check_data(newdata, "newdata", rows = FALSE)
  log_s <- if (!is.null(columns$log_time)) {
    numeric_column(newdata, columns$log_time, "newdata", "s", na = TRUE)
  }
  time <- if (!is.null(log_s) && !columns$time %in% names(newdata)) log_s / 60 else {
    numeric_column(newdata, columns$time, "newdata", "min", 0, na = TRUE)
  }
  known <- which(!is.na(time) & if (is.null(log_s)) TRUE else !is.na(log_s))
  specimen <- if (columns$specimen %in% names(newdata)) newdata[[columns$specimen]]
  joined <- join_history(h, specimen[known], time[known], log_s[known], known)
  part <- history_values(object, h$points, joined$place, joined$passed_min)
  hottest <- hottest_before(h, joined)
  warn_history(object, hottest, part, known)
  full <- rep(NA_real_, nrow(newdata))
  lapply(part, function(x) replace(full, known, x))
}

# Highest temperature each reading has seen.
hottest_before <- function(h, joined) {
  span <- history_span(h)
  out <- rep(-Inf, length(joined$place))
  for (k in setdiff(unique(joined$place), 0)) {
    rows <- seq.int(h$points[[3L]][k] + 1L, h$points[[3L]][k + 1L])
    pick <- which(joined$place == k)
    passed <- (h$points[[1L]][rows] - span$start[k]) / 60
    at <- pmax(findInterval(joined$passed_min[pick] * (1 + 1e-12), passed), 1L)
    out[pick] <- cummax(h$points[[2L]][rows])[at]
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
      length(outside), " of ", length(hottest), " points of the history lie outside the readings (",
      format(read[1L], digits = 4), " to ", format(read[2L], digits = 4),
      " degrees Celsius, reduced time up to ", format_quantity(exp(furthest)), "; ", in_rows(rows[outside]),
      ")."), n = length(outside),
      rows = rows[outside])
  }
}

#' @export
print.softanneal_softening <- function(x, ...) {
  if (!all(c("time_s", "temp_c", "hardness", "fraction") %in% names(x))) return(NextMethod())
  group <- if (is.null(x$specimen)) rep("piece", nrow(x)) else as.character(x$specimen)
  scale <- attr(x, "scale")
  cat("Softening along a temperature history, ", nrow(x), " points\n", sep = "")
  for (one in utils::head(unique(group), 12L)) {
    own <- x[group == one, ]
    last <- own[nrow(own), ]
    cat("  ", one, ": up to ", format(max(own$temp_c), digits = 4), " deg C, ",
        format_quantity((last$time_s - own$time_s[1L]) / 60), " min; at the end hardness ",
        format(last$hardness, digits = 4), if (!is.null(scale)) paste0(" ", scale), ", ",
        format_quantity(100 * last$fraction), " % recrystallised\n", sep = "")
  }
  if (length(unique(group)) > 12L) cat("  and ", length(unique(group)) - 12L, " more\n", sep = "")
  writeLines(strwrap(CAUTION_ESTIMATE))
  invisible(x)
}

#' @export
as.data.frame.softanneal_softening <- function(x, ...) {
  structure(x, class = "data.frame", scale = NULL)
}
