# Conversion of hardness numbers between the scales of one table. The tables come from
# R/sysdata.rda (built by inst/scripts/dev/make-scale-tables.R), the curve through them from
# src/scale.c. Outside a table there is no number: NA, and one warning for all of them.

#' Convert hardness numbers from one scale to another
#'
#' Converts within the conversion table of one material, in compiled code, by a monotone
#' cubic that passes through the points of the table and never overshoots them. Nothing is
#' extrapolated.
#'
#' Hardness scales measure different things (depth, area; different loads), so a conversion
#' holds for one kind of material only, and is an estimate: use it where the same scale could not be
#' measured, and state it where you report it (`format_hardness()`).
#'
#' @section Tables:
#' - `"brass"`: ASTM E140 Table 4, cartridge brass 70/30. HV, HRB, HRF, HR15T, HR30T, HR45T,
#'   HBW 10/500; - `"brass_gb"`: GB/T 3771-1983, other brasses (62 % copper, leaded). HB 30D2, HV, HRB,
#' HRF, HR15T, HR30T, HR45T;
#' - `"copper"`: ASTM E140 Table 7, copper No. 102 to 142. HV, HV 0.1, HK, HK 0.5, HRB, HRF,
#'   HR15T, HR30T, HR45T, HBW 10/500, HBW 2/20, and on thinner strip `HR15T (0.25 mm)` and
#'   `HR15T (0.51 mm)`;
#' - `"aluminium"`: ASTM E140 Table 9, wrought products. HBW 10/500, HV, HRB, HRE, HRH, HR15T,
#'   HR30T, HR45T, HR15W;
#' - `"steel"`: ASTM E140 Table 2, non-austenitic, Rockwell B range. HRB, HV, HBW 10/3000, HK,
#'   HRA, HRF, HR15T, HR30T, HR45T;
#' - `"steel_din"`: DIN 50150, unalloyed and low-alloy. HV, HB 30D2, HRB.
#'
#' The four ASTM tables are **values from memory**, apart from the cells that
#' [conversion_tables()] marks as seen; the other two were seen. Before a number decides
#' anything that matters, check it against your own copy of the standard.
#'
#' The Rockwell columns of the copper table hold for strip of 1.02 mm (0.040 in), Brinell
#' 10/500 for 2.03 mm (0.080 in).
#'
#' Cells in doubt are kept out of the interpolation, and stay visible in
#' [conversion_tables()] with their reason: brass HRF at HV 60 and at HV 45 (so HRF ends at
#' 43); copper HV 0.1 at HV 122 and HV 40, HK at HV 86 and HV 40 (so both end at HV 42).
#' Two HR15T cells of steel and three cells of GB/T 3771 are used as corrected, with the
#' figure of the source in their note.
#'
#' @section Interpolation: Blank cells between two given ones are filled from the curve of their column
#'   against the leading scale of the table; a pair of scales is then interpolated directly through all
#'   rows in which at least one of the two is given (both, if one is the leading scale). Slopes after
#'   Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246 \doi{10.1137/0717021}. Where a scale has
#'   the same number in several rows (aluminium HR15T 89), converting *from* it gives the middle of these
#'   rows. There and back gives the number again within the rounding of the table.
#'
#' @section Uncertainty:
#' The standard uncertainty of `interval = TRUE` is that of the *conversion*, not of the
#' reading. It is the root of the sum of squares (JCGM 100:2008, 5.1.2) of:
#' 1. the table error of the scale wanted: the larger of its rounding (resolution over root
#'    12) and the root mean square by which its cells differ from the curve through all
#'    other cells; none for the leading scale of a table;
#' 2. the same of the scale given, times the slope of the conversion;
#' 3. the disagreement of two tables for one kind of metal, in per cent of HV, for each of the
#'    two scales: the ASTM brass table against GB/T 3771, the ASTM steel table against DIN
#'    50150, root mean square, at HV 100 and above and below it. A scale only one table has
#'    takes the pooled figure of its pair of tables; copper and aluminium, which have no second
#'    table, take the pooled figure of brass and steel.
#'
#' All figures are computed from the tables when the package is built; they stand in
#' `attr(conversion_tables(), "spread")`. Where a row has no HV the disagreement is that of the
#' nearest row that has one. Below HV 100 the two brass tables part by up to 6 HRB: it is
#' another kind of brass, as the interval states. The interval is normal.
#'
#' @param x Hardness numbers, numeric. `NA` gives `NA`; text, factors, infinite values and
#'   columns with units are errors.
#' @param from,to Scale of `x`, and scale wanted: one name, or one for each `x` (text or
#'   factor), so that a column with mixed scales converts in one call. See
#'   [standardise_scale()] for the spellings.
#' @param material Which table, one of the names above (`"aluminum"` works too); one, or one for each
#'   number.
#' @param interval `TRUE` returns a table with the standard uncertainty of the conversion and
#'   an interval.
#' @param level Level of the interval, between 0 and 1.
#' @param round `TRUE` rounds the numbers as ASTM E140 asks for converted ones: to whole
#'   numbers. The default keeps all digits, for computing.
#' @return A numeric vector of the length of `x`, in the scale `to`; or with
#'   `interval = TRUE` a data frame with a row for each `x` and the columns `x`, `from`, `to`,
#'   `value`, `std_uncertainty`, `lower`, `upper` (the last four in the scale `to`).
#'   Numbers outside the table give `NA` and one warning of class
#'   `softanneal_warning_outside`. The same scale on both sides returns `x` itself.
#'
#'   Errors: `softanneal_error_scale` for an unknown scale, material or pair,
#'   `softanneal_error_argument` for text or lengths that do not fit,
#'   `softanneal_error_missing` for infinite or `NaN` numbers, `softanneal_error_units` for a
#'   column with units.
#' @seealso [conversion_tables()], [hardness_scales()], [format_hardness()]
#' @examples
#' convert_hardness(c(93.5, 80, 42), "HRB", "HV")
#' # a column with mixed scales
#' convert_hardness(c(80, 77, 131), c("HRB", "HR15T", "HV10"), "HV")
#' convert_hardness(150, "HV", c("HRB", "HRF"), interval = TRUE)
#' @export
convert_hardness <- function(x, from, to, material = "brass", interval = FALSE, level = 0.95,
                             round = FALSE) {
  check_flag(interval, "interval")
  check_flag(round, "round")
  check_level(level)
  if (length(material) > 1L) return(convert_metals(x, from, to, material, interval, level, round))
  x <- check_hardness(x, "x")
  table <- table_of(material)
  n <- shared_length(x = x, from = from, to = to)
  if (length(x) != n) x <- rep_len(x, n)
  pairs <- scale_pairs(from, to, table, material)
  out <- .Call(C_sa_call_convert, x, pairs$code, pairs$curves, 0L)
  check_counts(x, out, pairs, "x")
  value <- if (round) round(out$value) else out$value
  if (!interval) return(value)
  conversion_interval(x, value, pairs, table, material, level)
}

# The length to which arguments of length 1 are recycled, without recycling long columns of
# text here; common_length() words the error.
shared_length <- function(...) {
  sizes <- lengths(list(...))
  n <- if (any(sizes == 0L)) 0L else max(sizes)
  if (!all(sizes %in% c(1L, n))) common_length(...)
  n
}

# Plain doubles, checked without a pass over long vectors: missing and infinite ones are
# counted by the kernel and looked at afterwards (check_counts).
check_hardness <- function(x, arg) {
  if (inherits(x, "units")) {
    abort("units", paste0("`", arg, "` must be plain numbers, not a column with units"),
          arg = arg, remedy = "A hardness number belongs to its scale: drop the units.")
  }
  if (is.logical(x) && all(is.na(x))) return(as.double(x))
  if (!is.numeric(x) || is.object(x)) {
    abort("argument", paste0("`", arg, "` must be numeric, not ", describe(x)), arg = arg,
          remedy = "Give the readings as numbers and the scale in its own argument.")
  }
  if (is.double(x) && is.null(attributes(x))) x else as.double(x)
}

# Pairs of scales that occur: columns `from` and `to` (integer), a curve for each (NULL:
# the same scale), and for each reading the code of its pair, from 0 (NULL: only one pair,
# both names given once).
scale_pairs <- function(from, to, table, material) {
  a <- scale_codes(from, table, material, "from")
  b <- scale_codes(to, table, material, "to")
  if (length(a) == 1L && length(b) == 1L) {
    pair <- list(a, b)
    code <- NULL
  } else {
    width <- ncol(table$value)
    key <- (a - 1L) * width + b
    keys <- which(tabulate(key, width^2) > 0L)
    code <- if (length(keys) != 1L) match(seq_len(width^2), keys)[key] - 1L
    pair <- list((keys - 1L) %/% width + 1L, (keys - 1L) %% width + 1L)
  }
  if (length(code) == 0L && !is.null(code)) pair <- list(1L, 1L)
  list(from = pair[[1L]], to = pair[[2L]], code = code, scales = colnames(table$value),
       curves = Map(\(i, j) pair_points(table, i, j), pair[[1L]], pair[[2L]]))
}

# The points of one pair, list(x, y) with x ascending. Rows in which neither number stands
# in the table are not used, nor, against the leading scale, rows that are filled.
pair_points <- function(table, i, j) {
  if (i == j) return(NULL)
  scales <- colnames(table$value)
  given <- table$given[, c(i, j)]
  x <- table$value[, i]
  y <- table$value[, j]
  rows <- if (table$pivot %in% scales[c(i, j)]) given[, 1L] & given[, 2L]
          else (given[, 1L] | given[, 2L]) & !is.na(x) & !is.na(y)
  x <- x[rows]
  y <- y[rows]
  if (length(x) < 2L) {
    abort("scale", paste0("the table has no rows that hold both '", scales[i], "' and '",
                          scales[j], "'"), arg = "to", remedy = "Convert by way of 'HV'.")
  }
  if (anyDuplicated(x)) {
    y <- as.vector(tapply(y, x, \(part) (min(part) + max(part)) / 2))
    x <- unique(x)
  }
  list(x, y)
}

# Errors and the one warning, from the counts of the kernel.
check_counts <- function(x, counts, pairs, arg) {
  if (counts$missing > 0 && any(bad <- is.nan(x))) {
    abort("missing", paste0("`", arg, "` must not be NaN"), arg = arg, rows = which(bad),
          remedy = "Use NA for a reading that was not taken.")
  }
  if (counts$outside == 0) return(invisible())
  if (any(bad <- is.infinite(x))) {
    abort("missing", paste0("`", arg, "` must be finite, not ", x[which(bad)[1L]]), arg = arg,
          rows = which(bad), remedy = "Use NA for a reading that was not taken.")
  }
  ranges <- vapply(seq_along(pairs$curves), function(k) {
    curve <- pairs$curves[[k]]
    if (is.null(curve)) return(NA_character_)
    paste0(pairs$scales[pairs$from[k]], " ", format(curve[[1L]][1L]), " to ",
           format(curve[[1L]][length(curve[[1L]])]), " (to ", pairs$scales[pairs$to[k]], ")")
  }, "")
  out <- outside_rows(x, pairs)
  shown <- unique(if (is.null(pairs$code)) ranges else ranges[pairs$code[out] + 1L])
  warn("outside",
       paste0(counts$outside, " of ", length(x), " hardness numbers ",
              if (counts$outside == 1) "is" else "are", " NA: outside the table, which covers ",
              paste(utils::head(shown, 3L), collapse = "; "),
              if (length(shown) > 3L) paste0("; and ", length(shown) - 3L, " more pairs"), "."),
       n = counts$outside, rows = out)
}

outside_rows <- function(x, pairs) {
  low <- vapply(pairs$curves, \(p) if (is.null(p)) -Inf else p[[1L]][1L], 0)
  high <- vapply(pairs$curves, \(p) if (is.null(p)) Inf else p[[1L]][length(p[[1L]])], 0)
  k <- if (is.null(pairs$code)) 1L else pairs$code + 1L
  which(x < low[k] | x > high[k])
}

# Vickers numbers for the fitting functions: list(hv, flag, derivative), where flag is 0
# (converted), 1 (missing), 2 (outside the table) and derivative is d HV / d x. No warning.
# `scale`: one name or one for each x. Readings in HV cost no more than a comparison.
to_vickers <- function(x, scale, material = "brass") {
  x <- as.double(x)
  if (all_vickers(scale)) {
    flag <- integer(length(x))
    if (anyNA(x)) flag[is.na(x)] <- 1L
    return(list(hv = x, flag = flag, derivative = rep(1, length(x))))
  }
  table <- table_of(material)
  pairs <- scale_pairs(scale, "HV", table, material)
  out <- .Call(C_sa_call_convert, x, pairs$code, pairs$curves, 1L)
  list(hv = out$value, flag = out$flag, derivative = out$derivative)
}

all_vickers <- function(scale) {
  if (is.factor(scale)) {
    occurring <- levels(scale)[unique(as.integer(scale))]
    return(length(scale) > 0L && !anyNA(occurring) && all(occurring == "HV"))
  }
  length(scale) > 0L && !anyNA(scale) && all(scale == "HV")
}
