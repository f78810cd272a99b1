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
#' @param history Temperature histories: a data frame with one row per point (temperature linear
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
#' @return A data frame of class `softanneal_softening`, one row per point of the history in its
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
#'   Metall. 4, 572. Models: see [softening-models].
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
  h <- history_points(history, column_name(rlang::enquo(specimen)),
                      column_name(rlang::enquo(time)), column_name(rlang::enquo(temp)))
  out <- if (is.null(time_min)) all_points(h) else asked_points(h, time_min)
  m <- .Call(C_sa_call_soften, p$kind, h$points, out$mark, out$mark_first, p$ref_k, p$par)
  columns <- list(time_s = out$mark, temp_c = out$temp_c, theta = exp(m$ln_theta),
                  fraction = m$fraction, hardness = m$hardness)
  if (!is.null(h$specimen)) {
    columns <- c(list(specimen = rep(h$specimen, diff(out$mark_first))), columns)
  }
  clock <- .subset2(if (inherits(history, "softanneal_heat")) history$history else history,
                    column_name(rlang::enquo(time)))
  if (inherits(clock, "POSIXt")) columns$time_s <- .POSIXct(columns$time_s, attr(clock, "tzone")[1L])
  result <- list2DF(columns)
  if (!is.null(h$order) && is.null(time_min)) { # back to the rows as they were given
    result[h$order, ] <- result
    rownames(result) <- NULL
  }
  structure(result, class = c("softanneal_softening", "data.frame"), scale = p$scale)
}

all_points <- function(h) {
  list(mark = h$points$time_s, mark_first = h$points$first, temp_c = h$points$temp_c)
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
  first <- h$points$first
  temp <- lapply(seq_len(span$count), function(k) {
    rows <- seq.int(first[k] + 1L, first[k + 1L])
    at <- span$start[k] + sort(asked)
    if (length(rows) == 1L) return(rep(h$points$temp_c[rows], length(at)))
    stats::approx(h$points$time_s[rows], h$points$temp_c[rows], at, rule = 2, ties = "ordered")$y
  })
  list(mark = as.double(pmin(rep(span$start, each = length(asked)) + rep(sort(asked), span$count),
                             rep(span$end, each = length(asked)))),
       mark_first = as.integer(length(asked) * seq.int(0L, span$count)),
       temp_c = as.double(unlist(temp)))
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
    cat("  ", one, ": up to ", in_degrees(format(max(own$temp_c), digits = 4)), ", ",
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
