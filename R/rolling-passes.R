# The passes that bring a strip to wanted reductions within the limits of a mill.

#' Plan the passes of a rolling run
#'
#' Thicknesses to roll to, pass by pass, so that one strip reaches each wanted reduction in turn and a piece
#' can be cut off there: as few passes as the mill allows, and these as light as they can be.
#'
#' A pass takes at most `max_pass_pct` of the thickness it starts from and at most `max_draft_mm`. With
#' `roll_radius_mm` and `friction` the rolls must also be able to draw the strip in: the draft is at most
#' `friction^2 * roll_radius_mm` (Dieter, *Mechanical Metallurgy*, rolling). The thickness after each
#' pass is a whole number of `dial_step_mm`, so `reduction_pct` is what comes out, and `wanted_pct` what was
#' asked. Rolls and stand give way under load: the gap is set smaller than the thickness by what the mill
#' springs, which the first passes show. Measure after each pass, and compare by [cold_work()].
#'
#' @param thickness_mm Thickness of the annealed strip in mm.
#' @param reduction_pct Wanted reductions of the thickness in per cent, any order.
#' @param max_pass_pct Largest reduction of one pass in per cent of the thickness before it (the default of
#'   20 is common practice for a hand or laboratory mill, no source).
#' @param ... Must be empty.
#' @param max_draft_mm Largest draft (thickness before less thickness after) in mm; `NULL` for no such limit.
#' @param roll_radius_mm,friction Radius of the work rolls in mm and coefficient of friction, for the limit of
#'   the bite; both or none.
#' @param dial_step_mm Step of the gap's dial in mm.
#' @param length_mm Length of the strip before rolling in mm; adds `length_mm` (no spread).
#' @return A data frame, one row per pass: `pass` (0: the strip before), `thickness_mm` after it, `draft_mm`,
#'   `pass_reduction_pct`, `reduction_pct` (against the strip before), `effective_strain`
#'   (`2/sqrt(3) ln(t0/t)`), `wanted_pct` (`NA` for passes between), `temper` (nearest, see
#'   [nearest_temper()]; `NA` beyond the named ones), and with `length_mm` the length to expect.
#' @section Errors:
#'   `softanneal_error_range` for reductions that are not between 0 and 100 %, or limits so small that a pass
#'   is less than a step of the dial; `softanneal_error_argument` for `friction` without `roll_radius_mm`.
#' @section Safety: Rolls draw in: fingers, sleeves and hair away from the gap. Local rules, the
#'   maker's instructions and qualified supervision come first. See [cautions()].
#' @seealso [cold_work()], [nearest_temper()], [plan_anneal()]
#' @examples
#' plan_rolling(1.60, c(20, 40, 60))
#' plan_rolling(1.60, c(20, 40, 60), roll_radius_mm = 40, friction = 0.06, length_mm = 150)
#' @export
plan_rolling <- function(thickness_mm, reduction_pct, max_pass_pct = 20, ..., max_draft_mm = NULL,
                         roll_radius_mm = NULL, friction = NULL, dial_step_mm = 0.01, length_mm = NULL) {
  check_dots_empty(...)
  start <- check_number(in_unit(thickness_mm, "mm", "thickness_mm", 0, open = TRUE), "thickness_mm")
  wanted <- sort(unique(check_numeric(reduction_pct, "reduction_pct", 0, 100, open = TRUE)))
  if (!length(wanted)) {
    abort("too_few", "`reduction_pct` has no reduction", arg = "reduction_pct", remedy = "Give at least one.")
  }
  share <- check_number(max_pass_pct, "max_pass_pct", 0, 100, open = TRUE) / 100
  step <- check_number(dial_step_mm, "dial_step_mm", 0, open = TRUE)
  length_mm <- check_number(length_mm, "length_mm", 0, open = TRUE, null = TRUE)
  draft <- most_draft(max_draft_mm, roll_radius_mm, friction)
  t <- start
  of <- NA_real_
  for (aim in wanted) {
    target <- round(start * (1 - aim / 100) / step) * step
    if (target <= 0) {
      abort("range", paste0("a reduction by ", format(aim), " % of ", format(start),
                            " mm leaves less than a step of the dial"), arg = "reduction_pct",
            remedy = "Ask for less, or give a finer `dial_step_mm`.")
    }
    passes <- passes_between(t[length(t)], target, share, draft, step)
    if (!length(passes)) { # two aims within a step of the dial are one pass
      of[length(of)] <- aim
      next
    }
    t <- c(t, passes)
    of <- c(of, rep(NA_real_, length(passes) - 1L), aim)
  }
  before <- c(NA, t[-length(t)])
  total <- 100 * (1 - t / start)
  temper <- suppressWarnings(nearest_temper(pmax(total, 0)), classes = "softanneal_warning_outside")$temper
  out <- data.frame(pass = seq_along(t) - 1L, thickness_mm = t, draft_mm = before - t,
                    pass_reduction_pct = 100 * (1 - t / before), reduction_pct = total,
                    effective_strain = 2 / sqrt(3) * log(start / t), wanted_pct = of, temper = temper)
  if (!is.null(length_mm)) out$length_mm <- length_mm * start / t
  as_table(out)
}

most_draft <- function(max_draft_mm, roll_radius_mm, friction) {
  draft <- check_number(max_draft_mm, "max_draft_mm", 0, open = TRUE, null = TRUE) %or% Inf
  radius <- check_number(roll_radius_mm, "roll_radius_mm", 0, open = TRUE, null = TRUE)
  friction <- check_number(friction, "friction", 0, 1, open = TRUE, null = TRUE)
  if (is.null(radius) != is.null(friction)) {
    abort("argument", "the bite needs both `roll_radius_mm` and `friction`",
          arg = if (is.null(radius)) "roll_radius_mm" else "friction", remedy = "Give both, or none.")
  }
  if (is.null(radius)) draft else min(draft, friction^2 * radius)
}

# Thicknesses after each pass, on the dial: as few passes as the limits allow, and of these the most even.
passes_between <- function(from, to, share, draft, step) {
  aim <- round(to / step)
  if (aim >= round(from / step)) return(numeric())
  # a pass cannot be heavier than the limits when the dial is rounded up
  thinnest <- function(n, share) max(aim, ceiling(n - min(n * share, draft / step) - 1e-9))
  roll <- function(share) {
    out <- numeric()
    n <- from / step
    while (n > aim) {
      after <- thinnest(n, share)
      if (after >= n - 1e-9) return(NULL)
      out <- c(out, after)
      n <- after
    }
    out
  }
  fewest <- roll(share)
  if (is.null(fewest)) {
    abort("range", "the limits of the mill allow passes of less than a step of the dial only",
          arg = "max_pass_pct", remedy = "Correct the limits, or give a finer `dial_step_mm`.")
  }
  low <- 0
  high <- share
  best <- fewest
  for (k in 1:40) {
    middle <- (low + high) / 2
    found <- roll(middle)
    if (!is.null(found) && length(found) == length(fewest)) {
      best <- found
      high <- middle
    } else low <- middle
  }
  best * step
}
