# Reduced time along temperature histories. A history is a data frame of specimen, time_s (s)
# and temp_c (degrees Celsius), one row per point, temperature linear between points; it is
# checked and integrated in C (src/history.c). Rates in 1/min, energies in kJ/mol.

# A history made ready for C: `points` is list(time, temp, first), `specimen` the names in
# order, `order` the rows of `data` where they had to be grouped by specimen (else NULL).
history_points <- function(data, specimen = "specimen", time = "time_s", temp = "temp_c",
                           arg = "history") {
  if (inherits(data, "softanneal_heat")) data <- data$history
  check_data(data, arg)
  time_s <- history_column(data, time, arg, "s")
  temp_c <- history_column(data, temp, arg, "degree_C")
  n <- nrow(data)
  furnace <- if ("furnace_min" %in% names(data)) {
    numeric_column(data, "furnace_min", arg, "min", 0)
  }
  name <- if (specimen %in% names(data) || specimen != "specimen") any_column(data, specimen, arg)
  first <- c(0L, n)
  order <- NULL
  if (!is.null(name)) {
    # the names of a long log are looked at in C; R sees one of each run
    plain <- typeof(name) %in% c("logical", "integer", "double", "character")
    start <- if (plain) .Call(C_sa_call_runs, list(name), NULL, n) + 1L else seq_len(n)
    all_names <- name[start]
    if (anyNA(all_names)) {
      abort("missing", paste0("column `", specimen, "` must not be missing"), arg = specimen,
            rows = which(is.na(name)), remedy = "Name the specimen in every row.")
    }
    first <- c(start - 1L, n)
    if (anyDuplicated(all_names)) {
      all_names <- unique(all_names)
      id <- match(name, all_names)
      if (is.unsorted(id)) {
        order <- order(id, method = "radix")
        time_s <- time_s[order]
        temp_c <- temp_c[order]
        furnace <- furnace[order]
      }
      first <- c(0L, as.integer(cumsum(tabulate(id, length(all_names)))))
    }
    name <- all_names
  }
  points <- list(time_s = time_s, temp_c = temp_c, first = first)
  fault <- .Call(C_sa_call_history_check, points)
  if (fault[1L] > 0L) history_fault(fault, order, time, temp)
  step <- if (!is.null(furnace) && is.numeric(data[["step"]])) {
    if (is.null(order)) data[["step"]] else data[["step"]][order]
  }
  list(points = points, specimen = name, order = order, furnace_min = furnace, step = step, n = n)
}

# Plain doubles pass as they are: their values are checked in C.
history_column <- function(data, column, arg, unit) {
  x <- any_column(data, column, arg)
  if (is.double(x) && is.null(attributes(x))) return(x)
  numeric_column(data, column, arg, unit, na = TRUE)
}

history_fault <- function(fault, order, time, temp) {
  row <- if (is.null(order)) fault[2L] else order[fault[2L]]
  switch(fault[1L],
         abort("missing", paste0("columns `", time, "` and `", temp, "` must hold finite numbers"),
               arg = temp, rows = row, remedy = "Correct or leave out these rows of the log."),
         abort("range", paste0("column `", temp, "` must be above -273.15"), arg = temp, rows = row,
               remedy = "Temperatures are in degrees Celsius."),
         abort("range", paste0("column `", time, "` must not fall within a specimen"), arg = time,
               rows = row,
               remedy = "Put the rows in order of time, or correct the clock of the log."),
         abort("range", paste0("columns `", time, "` and `", temp, "` hold an implausible ",
                               "time or temperature"), arg = temp, rows = row,
               remedy = "Give seconds, and degrees Celsius between -272 and 99000."))
}

# First and last time of each history in s, and how many there are.
history_span <- function(h) {
  first <- h$points$first
  count <- length(first) - 1L
  list(count = count, start = h$points$time_s[first[-(count + 1L)] + 1L],
       end = h$points$time_s[first[-1L]])
}

# ln of the integral of exp(q e) dt (min) at marks, sorted by history and time.
reduced_time <- function(h, mark, mark_first, q, ref_k, slope = FALSE) {
  .Call(C_sa_call_reduced_time, h$points, mark, mark_first, as.double(q), as.double(ref_k),
        as.integer(slope))
}

#' Isothermal time equivalent to a temperature history
#'
#' The time at one temperature that moves a thermally activated process as far as the whole
#' history did, with its heat-up, its cooling and its door dips,
#' \deqn{t_{eq} = \theta / k(T_{ref}), \quad \theta = \int k(T(t'))\, dt', \quad
#'   t_{eq} = \int \exp\left(-\frac{Q}{R}\left(\frac{1}{T(t')} - \frac{1}{T_{ref}}\right)\right)
#'   dt'}{t_eq = theta / k(T_ref), theta = integral of k(T(t')) dt', t_eq = integral of
#'   exp(-(Q/R) (1/T(t') - 1/T_ref)) dt'}
#' with \eqn{T_{ref}}{T_ref} the temperature `temp_c`.
#'
#' This is the additivity rule: what has happened so far depends on the reduced time alone. It
#' holds where one rate governs the whole process. The temperature is taken as linear between
#' the points of the history, and the integral is exact to better than 1e-10 of itself.
#'
#' @param history A temperature history: a data frame with one row per point, a result of
#'   [heat_up()] or [cool_down()], or of [anneal_history()]. Two rows at one time are a jump.
#' @param q_kj_mol Activation energy in kJ/mol, zero or more.
#' @param temp_c Temperature in degrees Celsius whose isothermal time is asked. `q_kj_mol` and
#'   `temp_c` may be vectors of one length; a single value is repeated.
#' @param specimen,time,temp Columns (bare or quoted) of specimen, time in s and temperature in
#'   degrees Celsius. Without a specimen column all rows are one history.
#' @param ... Must be empty.
#' @return A data frame, one row per specimen and pair of energy and temperature: `specimen`
#'   (where the history names specimens), `q_kj_mol`, `temp_c`, `history_min` (length of the
#'   history in min), `equivalent_min`.
#' @section Errors:
#'   `softanneal_error_column`, `softanneal_error_missing` (not finite),
#'   `softanneal_error_range` (time falls, temperature below absolute zero, negative energy).
#' @source Scheil E (1935) Arch. Eisenhuettenwes. 8, 565. Avrami M (1940) J. Chem. Phys. 8, 212
#'   \doi{10.1063/1.1750631}. Cahn J W (1956) Acta Metall. 4, 572.
#' @seealso [soften()] for the hardness along a history.
#' @examples
#' # 20 min in the furnace are not 20 min at temperature
#' strip <- anneal_history(data.frame(specimen = "A1", temp_c = 370, time_min = 20),
#'                         thickness_mm = 0.95)
#' equivalent_time(strip, q_kj_mol = 180, temp_c = 370)
#' @export
equivalent_time <- function(history, q_kj_mol, temp_c, ..., specimen = specimen, time = time_s,
                            temp = temp_c) {
  check_dots_empty(...)
  h <- history_points(history, column_name(rlang::enquo(specimen)),
                      column_name(rlang::enquo(time)), column_name(rlang::enquo(temp)))
  x <- common_length(q = check_numeric(q_kj_mol, "q_kj_mol", 0),
                     temp = check_temperature(temp_c, "temp_c"))
  span <- history_span(h)
  mark_first <- seq.int(0L, span$count)
  pairs <- length(x$q)
  ln_time <- vapply(seq_len(pairs), function(j) {
    reduced_time(h, span$end, mark_first, x$q[j], x$temp[j] + ZERO_CELSIUS)[, 1L]
  }, numeric(span$count))
  out <- data.frame(q_kj_mol = rep(x$q, span$count), temp_c = rep(x$temp, span$count),
                    history_min = rep((span$end - span$start) / 60, each = pairs),
                    equivalent_min = as.double(t(matrix(exp(ln_time), span$count, pairs))))
  if (!is.null(h$specimen)) {
    out <- cbind(data.frame(specimen = rep(h$specimen, each = pairs)), out)
  }
  as_table(out)
}

#' Hardness lost by recovery
#'
#' Logarithmic recovery of cold-worked metal at constant temperature,
#' \deqn{\Delta H = A \ln(1 + k_r t)}{loss = A ln(1 + k_r t)}
#'
#' Along a temperature history k t is the reduced time, `k` times [equivalent_time()]. The law
#' has no end; in [soften()] and [fit_softening()] recovery stops at the hardness of the
#' recrystallised metal.
#'
#' @param time Time, zero or more, in any unit of time.
#' @param loss Amplitude A, zero or more, in the unit of the hardness wanted.
#' @param k Rate of recovery in the inverse of the unit of `time`, positive.
#' @param ... Must be empty.
#' @return Numeric vector of hardness losses, as long as the longest argument; `NA` where an
#'   argument is `NA`.
#' @inheritSection jmak_fraction Errors
#' @source Kuhlmann D (1948) Z. Phys. 124, 468; form as in Humphreys F J, Hatherly M,
#'   Recrystallization and Related Annealing Phenomena.
#' @seealso [jmak_fraction()], [softening-models], [soften()]
#' @examples
#' recovery_loss(c(0, 1, 10, 100), loss = 4, k = 0.5)
#' @export
recovery_loss <- function(time, loss, k, ...) {
  check_dots_empty(...)
  x <- common_length(time = check_numeric(time, "time", 0, na = TRUE),
                     loss = check_numeric(loss, "loss", 0, na = TRUE),
                     k = check_numeric(k, "k", 0, open = TRUE, na = TRUE))
  kt <- x$k * x$time
  # where k t is too large for a number, the 1 is far below its rounding
  x$loss * ifelse(is.infinite(kt), log(x$k) + log(x$time), log1p(kt))
}
