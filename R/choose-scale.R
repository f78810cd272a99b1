# Which hardness scale suits a sheet of given thickness between full hard and soft: inside the
# useful range of the scale at both ends, and thick enough at the soft end, where the
# indentation is deepest. Readings in the units of their scales, thickness in mm.

#' Hardness scales that suit a sheet from full hard to soft
#'
#' Ranks the Rockwell, superficial Rockwell and Vickers scales for a run of annealing: a scale
#' suits when the hard and the soft reading both lie in its useful range and the sheet is thick
#' enough for the soft one, where the indentation is deepest.
#'
#' The readings are converted with the table of the material ([convert_hardness()]). A scale the
#' table does not reach at one end does not suit. The useful ranges are those of ISO 6508-1
#' (values from memory, see [hardness_scales()]); Vickers has none.
#'
#' Thickness: see [minimum_thickness()]. With `rule = "E18"` readings softer than the E18 tables
#' reach are judged by the ISO rule instead, as `rule` states in that row.
#'
#' Rank: scales that suit come first. Among them Rockwell and superficial scales, which read
#' directly, come before Vickers; a wider span between hard and soft reading comes before a
#' narrower one, as the machines read all of them to about the same number of points; a larger
#' Vickers force before a smaller one, as it takes in more grains.
#'
#' @param thickness_mm Thickness of the sheet in mm.
#' @param as_rolled,annealed Expected readings at full hard and fully soft, on `scale`.
#' @param scale Scale of `as_rolled` and `annealed`.
#' @param material Conversion table, see [convert_hardness()].
#' @param rule Thickness rule: `"E18"`, `"ISO"` or `"both"` (the stricter).
#' @param vickers_kgf Vickers forces to consider besides, in kgf; `NULL` for none.
#' @return A data frame of class `softanneal_choice`, one row per scale in order of rank, with
#'   columns `rank`, `scale`, `suits` (logical), `as_rolled`, `annealed` (readings on that scale),
#'   `span` (their difference), `range_low`, `range_high`, `min_thickness_mm` (minimum thickness at the soft
#'   reading), `rule` (the rule it comes from) and `reason` (text).
#' @details Errors: `softanneal_error_range` for a thickness that is not positive or a `as_rolled`
#'   reading not above `annealed`; `softanneal_error_scale` for an unknown scale or material.
#' @seealso [minimum_thickness()], [indent_spacing()], [indent_layout()]
#' @examples
#' choose_scale(0.95, as_rolled = 175, annealed = 65)
#' choose_scale(0.40, as_rolled = 175, annealed = 65, rule = "ISO")
#' @export
choose_scale <- function(thickness_mm, as_rolled, annealed, scale = "HV", material = "brass",
                         rule = c("E18", "ISO", "both"), vickers_kgf = c(1, 5, 10)) {
  rule <- check_choice(rule, c("E18", "ISO", "both"), "rule")
  thickness_mm <- in_unit(thickness_mm, "mm", "thickness_mm", 0, open = TRUE)
  thickness_mm <- check_number(thickness_mm, "thickness_mm")
  as_rolled <- check_number(as_rolled, "as_rolled")
  annealed <- check_number(annealed, "annealed")
  scale <- check_string(scale, "scale")
  if (as_rolled <= annealed) {
    abort("range", paste0("`as_rolled` (", format(as_rolled), ") is not above `annealed` (",
                          format(annealed), ")"),
          arg = "as_rolled", remedy = "Give the full-hard reading first.")
  }
  vickers <- if (!is.null(vickers_kgf)) {
    paste0("HV", vapply(check_numeric(vickers_kgf, "vickers_kgf", 0, open = TRUE), format, ""))
  }
  candidates <- c(intersect(colnames(table_of(material)$value), rockwell_scales()$scale), vickers)
  rows <- lapply(candidates, \(one) judge_scale(one, thickness_mm, c(as_rolled, annealed), scale, material,
                                                rule))
  out <- do.call(rbind, rows)
  is_vickers <- grepl("^HV", out$scale)
  merit <- out$span
  merit[is_vickers] <- as.numeric(sub("^HV", "", out$scale[is_vickers]))
  out <- out[order(!out$suits, is_vickers, -merit), ]
  out <- cbind(rank = seq_len(nrow(out)), out)
  rownames(out) <- NULL
  structure(out, class = c("softanneal_choice", "data.frame"), thickness_mm = thickness_mm,
            asked = paste0(format(as_rolled), " to ", format(annealed), " ", scale), material = material)
}

judge_scale <- function(one, thickness_mm, ends, scale, material, rule) {
  test <- test_geometry(one)
  # a reading outside the table is a reason not to use the scale, told in its row
  readings <- withCallingHandlers(
    convert_hardness(ends, scale, one, material = material),
    softanneal_warning_outside = function(w) invokeRestart("muffleWarning"))
  bounds <- rep(NA_real_, 2L)
  if (test$method == "Rockwell") bounds <- c(test$range_low, test$range_high)
  least <- thickness_by_rule(readings[2L], one, rule)
  used <- if (test$method == "Vickers") "ISO" else rule
  if (is.na(least) && !is.na(readings[2L]) && test$method == "Rockwell") {
    least <- thickness_by_rule(readings[2L], one, "ISO")
    used <- "ISO, beyond the E18 tables"
  }
  against <- c(
    if (anyNA(readings)) {
      paste0("the ", material, " conversion table does not reach the ",
             paste(c("hard", "soft")[is.na(readings)], collapse = " or the "), " end")
    },
    if (isTRUE(readings[1L] > bounds[2L])) {
      paste0("full hard reads ", round(readings[1L]), ", above its range (", bounds[2L], ")")
    },
    if (isTRUE(readings[2L] < bounds[1L])) {
      paste0("soft reads ", round(readings[2L]), ", below its range (", bounds[1L], ")")
    },
    if (isTRUE(least > thickness_mm)) {
      paste0("soft needs ", format(round(least, 2)), " mm (", used, "), the sheet has ",
             format(thickness_mm), " mm")
    })
  suits <- !length(against)
  data.frame(
    scale = one, suits = suits, as_rolled = readings[1L], annealed = readings[2L],
    span = readings[1L] - readings[2L], range_low = bounds[1L], range_high = bounds[2L],
    min_thickness_mm = least, rule = used,
    reason = if (suits) {
      paste0("reads ", round(readings[1L]), " to ", round(readings[2L]), ", needs ",
             format(round(least, 2)), " mm (", used, ")")
    } else {
      paste(against, collapse = "; ")
    })
}

#' @param x A choice as given by `choose_scale()`.
#' @param ... Ignored.
#' @rdname choose_scale
#' @export
print.softanneal_choice <- function(x, ...) {
  if (is.null(attr(x, "asked")) || !all(c("rank", "scale", "suits", "reason") %in% names(x))) {
    return(NextMethod())
  }
  cat("Hardness scales for ", attr(x, "material"), ", ", attr(x, "asked"), ", sheet of ",
      format(attr(x, "thickness_mm")), " mm\n", sep = "")
  for (suits in c(TRUE, FALSE)) {
    rows <- which(x$suits == suits)
    if (!length(rows)) {
      if (suits) cat("None suits.\n")
      next
    }
    cat(if (suits) "Suitable, best first:\n" else "Not suitable:\n")
    for (i in rows) {
      text <- strwrap(x$reason[i], width = getOption("width") - 9)
      writeLines(paste0("  ", format(c(x$scale[i], rep("", length(text) - 1L)), width = 7), text))
    }
  }
  invisible(x)
}

#' @export
as.data.frame.softanneal_choice <- function(x, ...) {
  structure(x, class = "data.frame", thickness_mm = NULL, asked = NULL, material = NULL)
}
