# Tempers of rolled copper alloys: the Brown and Sharpe gauge numbers of reduction behind the
# H tempers of ASTM B601, and tables of limits with source and status of every row. Reductions
# in per cent; tensile strength in MPa or ksi, hardness on the scale named in `unit`.

# One number on the Brown and Sharpe gauge divides the thickness by 92^(1/39): 39 steps from
# 0.46 in to 0.005 in (ratio 92).
bs_reduction <- function(numbers) 100 * (1 - 92^(-numbers / 39))
bs_numbers <- function(reduction_pct) -39 * log1p(-reduction_pct / 100) / log(92)

#' Nearest rolled temper to a reduction
#'
#' The rolled temper of ASTM B601 whose reduction is nearest to the reductions given, as Brown &
#' Sharpe gauge numbers of reduction: `n` numbers reduce the thickness by `1 - 92^(-n/39)`.
#'
#' Reductions below a quarter number (2.9 %) are called annealed, `"O"`. The tempers are those of
#' `system.file("extdata", "temper_b601.csv", package = "softanneal")`: H01 to H10 as in printed
#' tables, H00, H12 and H14 computed only. The name of a temper states how far metal was
#' rolled, not that it meets the limits of a standard: that takes a test, see [temper_limits()].
#'
#' @param reduction_pct Thickness reductions from the annealed state, in %; or the result of
#'   [cold_work()].
#' @return A data frame, one row per reduction: `reduction_pct`, `bs_numbers` (Brown and Sharpe gauge
#'   numbers of reduction, computed), `temper`, `name`, `temper_pct` (reduction of that temper, %),
#'   `status` (how the temper's reduction was obtained). `NA` gives `NA`; a reduction beyond 15 numbers
#'   (82.4 %) has no named temper: `NA`, with one warning of class `softanneal_warning_outside`.
#' @details Errors: `softanneal_error_range` for reductions below 0 or not below 100 %.
#' @references ASTM B601 (temper designations); ASTM B258 (gauge numbers: 39 steps,
#'   ratio 92 in all).
#' @seealso [temper_limits()], [cold_work()], [plan_rolling()]
#' @examples
#' nearest_temper(c(0, 11, 21, 37, 40.6, 60))
#' @export
nearest_temper <- function(reduction_pct) {
  if (inherits(reduction_pct, "softanneal_cold_work")) reduction_pct <- reduction_pct$reduction_pct
  reduction_pct <- check_numeric(reduction_pct, "reduction_pct", na = TRUE)
  bad <- which(reduction_pct < 0 | reduction_pct >= 100)
  if (length(bad)) {
    abort("range", paste0("`reduction_pct` must be from 0 to below 100, not ",
                          format(reduction_pct[bad[1L]])), arg = "reduction_pct",
          rows = if (length(reduction_pct) > 1L) bad, remedy = "Give per cent of the thickness.")
  }
  table <- fact_table("temper_b601.csv")
  table <- rbind(data.frame(temper = "O", name = "annealed", bs_numbers = 0, printed_pct = 0,
                            status = "by definition", source = NA_character_), table)
  numbers <- bs_numbers(reduction_pct)
  middle <- (table$bs_numbers[-1L] + table$bs_numbers[-nrow(table)]) / 2
  row <- findInterval(numbers, middle) + 1L
  beyond <- which(numbers > 15)
  row[beyond] <- NA_integer_
  if (length(beyond)) {
    warn("outside", paste0("No temper is named for ", length(beyond), " of ", length(numbers),
                           " reductions (", in_rows(beyond), "): they lie beyond H14."),
         n = length(beyond), rows = beyond)
  }
  data.frame(reduction_pct = reduction_pct, bs_numbers = numbers, temper = table$temper[row],
             name = table$name[row], temper_pct = bs_reduction(table$bs_numbers[row]),
             status = table$status[row])
}

#' Limits and typical values of tempers
#'
#' Tensile strength, hardness and other properties of the tempers of cartridge brass C26000 (ASTM
#' B36/B36M, and typical values) and of CuZn30, CuZn39Pb2 and copper (EN 1652), each row with its
#' source and how it was obtained. Many rows are **values from memory**, as `status` states. Before
#' a number decides anything that matters, check it against your own copy of the standard.
#'
#' In EN 1652 R numbers are the lowest tensile strength in MPa and H numbers the lowest Vickers
#' hardness; CuZn30 (CW505L) is the European neighbour of C26000.
#'
#' @param temper Tempers wanted, such as `"H04"` or `"R410"`; `NULL` for all.
#' @param alloy Alloys wanted: `"C26000"`, `"CuZn30"`, `"CuZn39Pb2"`, `"copper"`.
#' @param unit Units or scales wanted, such as `"MPa"`, `"HRB"`; `NULL` for all.
#' @param thickness_mm Sheet thickness in mm, to pick the rows that hold for it; `NULL` for all.
#' @return A data frame with columns `alloy`, `standard`, `temper`, `name`, `quantity`, `unit`,
#'   `over_mm`, `upto_mm` (thickness for which the row holds, `NA` open), `low`, `typical`,
#'   `high`, `status`, `source`.
#' @details Errors: `softanneal_error_argument` for a temper, alloy or unit not in the table, with
#'   those it has.
#' @seealso [nearest_temper()], [process_window()], [cold_work()]
#' @examples
#' temper_limits("H04", unit = c("MPa", "HRB"), thickness_mm = 0.95)
#' temper_limits(alloy = "CuZn30")[c("temper", "quantity", "unit", "low", "high", "status")]
#' @export
temper_limits <- function(temper = NULL, alloy = c("C26000", "CuZn30"), unit = NULL,
                          thickness_mm = NULL) {
  table <- fact_table("temper_limits.csv.gz")
  keep <- rep(TRUE, nrow(table))
  for (column in c("alloy", "temper", "unit")) {
    wanted <- get(column)
    if (is.null(wanted)) next
    if (is.factor(wanted)) wanted <- as.character(wanted)
    if (!is.character(wanted) || anyNA(wanted)) {
      abort("argument", paste0("`", column, "` must be text, not ", describe(wanted)), arg = column)
    }
    unknown <- setdiff(wanted, table[[column]][keep])
    if (length(unknown)) {
      abort("argument", paste0("the table has no ", column, " ", in_quotes(unknown, " and ")),
            arg = column,
            remedy = paste0("It has ", in_quotes(unique(table[[column]][keep]), " and "), "."))
    }
    keep <- keep & table[[column]] %in% wanted
  }
  if (!is.null(thickness_mm)) {
    t <- check_number(in_unit(thickness_mm, "mm", "thickness_mm", 0, open = TRUE), "thickness_mm")
    keep <- keep & (is.na(table$over_mm) | t > table$over_mm) &
      (is.na(table$upto_mm) | t <= table$upto_mm)
  }
  out <- table[keep, , drop = FALSE]
  rownames(out) <- NULL
  as_table(out, aside = c("standard", "name", "status", "source"))
}
