# Cold work from dimensions measured before and after each pass: reductions, spread,
# elongation, strains with propagated uncertainty, and the check that volume stayed constant.
# Lengths in mm, reductions in per cent, strains as natural logarithms.

# Columns cold_work() adds, in order.
COLD_WORK_COLUMNS <- c(
  "pass_reduction_pct", "reduction_pct", "u_reduction_pct", "area_reduction_pct", "spread_pct",
  "elongation_pct", "true_strain", "u_true_strain", "effective_strain", "u_effective_strain",
  "volume_ratio", "u_volume_ratio", "finding")

#' Cold work from the dimensions of a rolled strip
#'
#' Thickness and area reduction, width spread, elongation and strains of each pass against the
#' strip before rolling, with standard uncertainties, and a check of the measurements: metal
#' keeps its volume in rolling.
#'
#' With `t`, `w`, `l` now and `t0`, `w0`, `l0` before rolling (pass 0):
#' thickness reduction `1 - t/t0` ("cold work" of the trade; ASTM B601), area reduction
#' `1 - t w/(t0 w0)`, spread `w/w0 - 1`, elongation `l/l0 - 1`, true thickness strain `ln(t0/t)`,
#' and plane-strain effective strain `2/sqrt(3) ln(t0/t)` (von Mises; Dieter, *Mechanical
#' Metallurgy*, rolling: no spread). The volume ratio `t w l/(t0 w0 l0)` is 1 if the measurements agree.
#'
#' Standard uncertainties are propagated to first order (JCGM 100:2008, 5.1.2), readings taken
#' as independent: `u(ln t0/t)^2 = (u_t/t)^2 + (u_t/t0)^2`, and so on. A finding is reported
#' where the volume ratio differs from 1 by more than `coverage_factor` of its standard uncertainty,
#' with the length that the other sizes would ask for. Where a strip was cut between passes,
#' leave its length `NA`. Rolling after an anneal starts a new specimen with its own pass 0.
#'
#' @param data A data frame, one row per pass of a specimen.
#' @param specimen,pass,thickness,width,length Columns; bare or quoted. Pass 0 is the strip
#'   before rolling; passes are whole numbers. Sizes in mm. Columns of width and length may be
#'   absent.
#' @param u_thickness_mm,u_width_mm,u_length_mm Standard uncertainty of one measurement in mm;
#'   one, or one per row. The defaults (micrometer 0.01, caliper 0.05, rule 0.5) are assumptions.
#' @param coverage_factor Number of standard uncertainties that count as disagreement.
#' @return `data` (same rows, order, columns and class, groups dropped) with class
#'   `softanneal_cold_work` and the columns `pass_reduction_pct` (% against the pass before),
#'   `reduction_pct`, `u_reduction_pct`, `area_reduction_pct`, `spread_pct`, `elongation_pct`
#'   (% against pass 0), `true_strain`, `u_true_strain`, `effective_strain`,
#'   `u_effective_strain`, `volume_ratio`, `u_volume_ratio` and `finding` (text, `NA` where all
#'   is well). What needs a size that is not there is `NA`; one warning of class
#'   `softanneal_warning_missing` counts the rows with a missing thickness.
#' @details Errors: `softanneal_error_range` for sizes that are not positive and for a thickness
#'   that grows from one pass to the next by more than `coverage_factor` standard uncertainties;
#'   `softanneal_error_duplicate` for a pass given twice; `softanneal_error_too_few` for a
#'   specimen without pass 0; `softanneal_error_column` for missing or text columns.
#' @section Safety: Rolls draw in: fingers, sleeves and hair away from the gap. Local rules, the
#'   maker's instructions and qualified supervision come first. See [cautions()].
#' @seealso [nearest_temper()], [fit_hardening()]
#' @examples
#' strip <- data.frame(
#'   specimen = "B1", pass = 0:4, thickness_mm = c(1.60, 1.40, 1.22, 1.07, 0.95),
#'   width_mm = c(25.0, 25.1, 25.2, 25.2, 25.3), length_mm = c(150, 171, 195, 222, 250))
#' cold_work(strip)
#' cold_work(strip)$effective_strain
#' @export
cold_work <- function(data, specimen = specimen, pass = pass, thickness = thickness_mm,
                      width = width_mm, length = length_mm, u_thickness_mm = 0.01,
                      u_width_mm = 0.05, u_length_mm = 0.5, coverage_factor = 2) {
  columns <- c(
    specimen = column_name(rlang::enquo(specimen)), pass = column_name(rlang::enquo(pass)),
    thickness = column_name(rlang::enquo(thickness)),
    width = column_name(rlang::enquo(width)), length = column_name(rlang::enquo(length)))
  check_data(data, rows = FALSE)
  taken <- intersect(COLD_WORK_COLUMNS, names(data))
  if (base::length(taken)) {
    abort("column", paste0("`data` already has ", in_quotes(taken, " and ")), arg = taken[1L],
          remedy = "Remove or rename them, so that nothing is overwritten.")
  }
  n <- nrow(data)
  piece <- any_column(data, columns[["specimen"]])
  if (anyNA(piece)) {
    abort("missing", paste0("column `", columns[["specimen"]], "` must not be missing"),
          arg = columns[["specimen"]], rows = which(is.na(piece)), remedy = "Name every specimen.")
  }
  piece <- match(piece, unique(piece))
  sizes <- list(t = roll_size(data, columns[["thickness"]], needed = TRUE),
                w = roll_size(data, columns[["width"]]), l = roll_size(data, columns[["length"]]))
  u <- list(t = one_a_row(u_thickness_mm, "u_thickness_mm", n),
            w = one_a_row(u_width_mm, "u_width_mm", n),
            l = one_a_row(u_length_mm, "u_length_mm", n))
  coverage_factor <- check_number(coverage_factor, "coverage_factor", 0, open = TRUE)
  at <- pass_order(data, columns, piece)
  check_thinning(sizes$t, u$t, at$before, coverage_factor, columns[["thickness"]])

  first <- at$first
  ratio <- lapply(sizes, \(x) x / x[first])
  # relative variance of now/before; pass 0 against itself has none
  variance <- Map(\(x, ux) ifelse(first == seq_len(n), 0, (ux / x)^2 + (ux[first] / x[first])^2),
                  sizes, u)
  strain <- -log(ratio$t)
  volume <- ratio$t * ratio$w * ratio$l
  u_volume <- sqrt(variance$t + variance$w + variance$l)
  plane <- 2 / sqrt(3)
  added <- data.frame(
    pass_reduction_pct = ifelse(is.na(at$before), 0, 100 * (1 - sizes$t / sizes$t[at$before])),
    reduction_pct = 100 * (1 - ratio$t), u_reduction_pct = 100 * ratio$t * sqrt(variance$t),
    area_reduction_pct = 100 * (1 - ratio$t * ratio$w), spread_pct = 100 * (ratio$w - 1),
    elongation_pct = 100 * (ratio$l - 1), true_strain = strain, u_true_strain = sqrt(variance$t),
    effective_strain = plane * strain, u_effective_strain = plane * sqrt(variance$t),
    volume_ratio = volume, u_volume_ratio = volume * u_volume)
  added$finding <- roll_findings(sizes, at$before, volume, u_volume, coverage_factor)
  lost <- which(is.na(sizes$t))
  if (base::length(lost)) {
    warn("missing", paste0(base::length(lost), " of ", n, " rows have no thickness (",
                           in_rows(lost), "): their cold work is NA."), n = base::length(lost),
         rows = lost)
  }
  out <- as.data.frame(data)
  out[names(added)] <- added
  out <- table_like(out, data)
  class(out) <- c("softanneal_cold_work", class(out))
  out
}

# Sizes of a column in mm; an absent column of width or length is all NA.
roll_size <- function(data, column, needed = FALSE) {
  if (!needed && !column %in% names(data)) return(rep(NA_real_, nrow(data)))
  numeric_column(data, column, unit = "mm", lower = 0, open = TRUE, na = TRUE)
}

one_a_row <- function(x, arg, n) {
  x <- in_unit(x, "mm", arg, 0)
  if (!length(x) %in% c(1L, n)) {
    abort("argument", paste0("`", arg, "` has length ", length(x), " where the table has ", n,
                             " rows"), arg = arg, remedy = "Give one value, or one per row.")
  }
  rep_len(x, n)
}

# For each row the row of its pass 0 (first) and of the pass before it (NA for pass 0).
pass_order <- function(data, columns, piece) {
  column <- columns[["pass"]]
  pass <- numeric_column(data, column, lower = 0)
  odd <- which(pass != round(pass))
  if (length(odd)) {
    abort("range", paste0("column `", column, "` must hold whole numbers"), arg = column,
          rows = odd, remedy = "Number the passes 0, 1, 2, ...")
  }
  twice <- which(duplicated(data.frame(piece, pass)))
  if (length(twice)) {
    abort("duplicate", paste0("a specimen has the same pass twice in column `", column, "`"),
          arg = column, rows = twice,
          remedy = "Keep one row per pass; average repeated measurements.")
  }
  rows <- seq_along(pass)
  start <- rows[pass == 0]
  first <- start[match(piece, piece[start])]
  if (anyNA(first)) {
    without <- rows[is.na(first)]
    abort("too_few", paste0("a specimen has no pass 0 in column `", column, "`"), arg = column,
          rows = without, remedy = "Add its dimensions before rolling as pass 0.")
  }
  sorted <- order(piece, pass)
  before <- rep(NA_integer_, length(rows))
  if (length(rows) > 1L) {
    same <- piece[sorted][-1L] == piece[sorted][-length(rows)]
    before[sorted[-1L][same]] <- sorted[-length(rows)][same]
  }
  list(first = first, before = before)
}

check_thinning <- function(t, u, before, coverage_factor, column) {
  allowed <- coverage_factor * sqrt(u^2 + u[before]^2)
  bad <- which(t - t[before] > allowed)
  if (length(bad)) {
    i <- bad[1L]
    abort("range", paste0("thickness grows in rolling: column `", column, "` goes from ",
                          format(t[before[i]]), " to ", format(t[i]), " mm"), arg = column,
          rows = bad,
          remedy = paste0("Check the order of the passes and the readings; if the strip was ",
                          "changed between them, give it a name and a pass 0 of its own."))
  }
}

roll_findings <- function(sizes, before, volume, u_volume, coverage_factor) {
  out <- rep(NA_character_, length(volume))
  grown <- which(sizes$t > sizes$t[before])
  out[grown] <- "thickness grew, within the measuring uncertainty"
  off <- which(abs(log(volume)) > coverage_factor * u_volume & u_volume > 0)
  for (i in off) {
    text <- paste0("volume ", format(abs(100 * (volume[i] - 1)), digits = 2), " % too ",
                   if (volume[i] > 1) "large" else "small",
                   ": check thickness, width and length (the other two ask for a length of ",
                   format(sizes$l[i] / volume[i], digits = 4), " mm)")
    out[i] <- if (is.na(out[i])) text else paste(out[i], text, sep = "; ")
  }
  out
}

#' @param x,object A table as given by `cold_work()`.
#' @param ... Ignored.
#' @rdname cold_work
#' @export
print.softanneal_cold_work <- function(x, ...) {
  plain <- as.data.frame(x)
  if (!all(COLD_WORK_COLUMNS %in% names(plain))) {
    print(plain, ...)
    return(invisible(x))
  }
  shown <- plain[setdiff(names(plain), "finding")]
  numbers <- c(pass_reduction_pct = 1, reduction_pct = 1, u_reduction_pct = 2,
               area_reduction_pct = 1, spread_pct = 2, elongation_pct = 1, true_strain = 3,
               u_true_strain = 3, effective_strain = 3, u_effective_strain = 3, volume_ratio = 3,
               u_volume_ratio = 3)
  for (name in names(numbers)) shown[[name]] <- round(shown[[name]], numbers[[name]])
  cat("Cold work: reductions, spread and elongation in % of pass 0\n")
  print(shown, row.names = FALSE, ...)
  found <- which(!is.na(plain$finding))
  for (i in found) writeLines(strwrap(paste0("row ", i, ": ", plain$finding[i]), exdent = 2))
  if (!length(found)) cat("Findings: none\n")
  invisible(x)
}

#' @export
as.data.frame.softanneal_cold_work <- function(x, ...) {
  class(x) <- setdiff(class(x), "softanneal_cold_work")
  as.data.frame(x, ...)
}

#' @rdname cold_work
#' @method autoplot softanneal_cold_work
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_cold_work)
autoplot.softanneal_cold_work <- function(object, ...) {
  check_dots_empty(...)
  object <- as.data.frame(object)
  shown <- list(
    "Effective strain (1)" = object[c("effective_strain", "u_effective_strain")],
    "Elongation (%)" = list(object$elongation_pct, NA_real_),
    "Spread (%)" = list(object$spread_pct, NA_real_),
    "Volume ratio (1)" = object[c("volume_ratio", "u_volume_ratio")])
  drawn <- do.call(rbind, lapply(names(shown), \(name) {
    data.frame(quantity = rep(name, nrow(object)), reduction = object$reduction_pct,
               value = as.double(shown[[name]][[1L]]),
               u = rep_len(shown[[name]][[2L]], nrow(object)),
               finding = ifelse(is.na(object$finding), "none", "yes"))
  }))
  drawn <- drawn[!is.na(drawn$reduction) & !is.na(drawn$value), , drop = FALSE]
  drawn$quantity <- factor(drawn$quantity, intersect(names(shown), drawn$quantity))
  alt <- paste0(paste(levels(drawn$quantity), collapse = ", "), " against thickness reduction, ",
                sum(!is.na(object$reduction_pct)), " rows",
                if (nrow(drawn)) paste0(", up to ", format(max(drawn$reduction), digits = 3), " %"),
                "; ", sum(!is.na(object$finding)), " with a finding.")
  key <- if (any(drawn$finding == "yes")) "legend" else "none"
  ggplot2::ggplot(drawn, ggplot2::aes(.data[["reduction"]], .data[["value"]])) +
    ggplot2::geom_errorbar(ggplot2::aes(ymin = .data[["value"]] - 2 * .data[["u"]],
                                        ymax = .data[["value"]] + 2 * .data[["u"]]), width = 0, colour = INK,
                           data = drawn[!is.na(drawn$u), , drop = FALSE]) +
    ggplot2::geom_point(ggplot2::aes(shape = .data[["finding"]], colour = .data[["finding"]]),
                        size = 2.5) +
    ggplot2::facet_wrap("quantity", scales = "free_y") +
    # a key where something was found
    ggplot2::scale_colour_manual(values = c(none = MAIN_COLOUR, yes = SECOND_COLOUR), guide = key) +
    ggplot2::scale_shape_manual(values = c(none = 16, yes = 17), guide = key) +
    ggplot2::labs(x = "Thickness reduction (%)", y = NULL, title = "Cold work",
                  colour = "Finding", shape = "Finding",
                  alt = alt, caption = "Bars: two standard uncertainties.") +
    plain_theme()
}

#' @rdname cold_work
#' @export
plot.softanneal_cold_work <- draw_picture
