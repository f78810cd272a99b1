# Safety as data: hazards and precautions of each process, for bench sheets, reports and
# printed plans. The list is general good practice and no substitute for the local rules,
# the maker's instructions or supervised, qualified practice; every text form says so.
# Temperatures are in degrees Celsius; `from_temp_c` says from which temperature a row applies.

# The sentence every printed heat treatment carries.
CAUTION_DEFERENCE <- paste(
  "Local rules, the maker's instructions for furnace, rolls, saw and hardness tester, and",
  "supervised, qualified practice come first. This list is general; it is not a risk assessment.")
CAUTION_ESTIMATE <- "A predicted time or temperature is an estimate, not a release for use."

# One line for the foot of printed results about hot work.
CAUTION_LINE <- paste(
  "Hot metal: gloves, tongs, face shield, hot surfaces marked; overheated brass gives off zinc",
  "fume. Local rules, the furnace maker's instructions and qualified supervision come first;",
  "this is an estimate, not a release for use. See `cautions()`.")

CAUTION_PROCESSES <- c("rolling", "sawing", "furnace", "annealing", "quenching", "indenting")

#' Hazards and precautions of the work
#'
#' What can hurt people when sheet is rolled, sawn, annealed, quenched and measured, and what is
#' done against it, as a table that reports and bench sheets can print.
#'
#' Hotter work needs more: each row has the temperature from which it applies. Without
#' `temp_c` every row is given. The temperature steps (60, 250, 500, 700 and 900 degrees Celsius) are
#' cautious choices of this package: about 60 degrees Celsius is where touching bare metal for some
#' seconds burns skin (contact-burn thresholds as in ISO 13732-1, value from memory); metal
#' begins to glow visibly only above about 500 degrees Celsius; zinc boils at 907 degrees Celsius
#' and cartridge
#' brass C26000 begins to melt at 915 degrees Celsius.
#'
#' @param process Processes wanted: any of `"rolling"`, `"sawing"`, `"furnace"`, `"annealing"`,
#'   `"quenching"` and `"indenting"`; all of them by default.
#' @param temp_c The hottest temperature of the work in degrees Celsius, or `NULL` for all rows.
#' @return A data frame of class `softanneal_cautions`, one row per precaution, with columns
#'   `process`, `hazard`, `precaution` (text) and `from_temp_c` (degrees Celsius; `NA` where it applies
#'   at every temperature). `format()` gives lines of plain text, `print()` shows them.
#' @details Errors: `softanneal_error_argument` for an unknown process,
#'   `softanneal_error_range` for a temperature below absolute zero.
#' @section Safety: `r CAUTION_DEFERENCE`
#' @seealso [plan_anneal()], [bench_sheet()]
#' @examples
#' cautions("annealing", temp_c = 410)
#' nrow(cautions(temp_c = 250)) < nrow(cautions(temp_c = 750))
#' @export
cautions <- function(process = c("rolling", "sawing", "furnace", "annealing", "quenching",
                                 "indenting"),
                     temp_c = NULL) {
  if (!is.character(process) || !length(process) || anyNA(process)) {
    abort("argument", paste0("`process` must name processes in text, not ", describe(process)),
          arg = "process", remedy = paste0("Choose from ", in_quotes(CAUTION_PROCESSES), "."))
  }
  unknown <- setdiff(process, CAUTION_PROCESSES)
  if (length(unknown)) {
    abort("argument", paste0("`process` names no known process: ", in_quotes(unknown, " and ")),
          arg = "process", remedy = paste0("Choose from ", in_quotes(CAUTION_PROCESSES), "."))
  }
  temp_c <- check_number(temp_c, "temp_c", -ZERO_CELSIUS, null = TRUE)
  all <- caution_table()
  keep <- all$process %in% process
  if (!is.null(temp_c)) keep <- keep & (is.na(all$from_temp_c) | all$from_temp_c <= temp_c)
  out <- all[keep, , drop = FALSE]
  out <- out[order(match(out$process, unique(process))), , drop = FALSE]
  rownames(out) <- NULL
  structure(out, class = c("softanneal_cautions", "data.frame"), temp_c = temp_c)
}

caution_table <- function() {
  row <- function(process, hazard, precaution, from_temp_c = NA_real_) {
    data.frame(process = process, hazard = hazard, precaution = precaution,
               from_temp_c = from_temp_c)
  }
  rbind(
    row("rolling", "pinch point where the strip enters the rolls",
        paste("Keep fingers, sleeves, hair and cords away from the rolls; no gloves near turning",
              "rolls; feed long strip by hand only far from the gap, short pieces with a pusher;",
              "one person works rolls and stop switch.")),
    row("rolling", "sharp edges and whipping ends of strip",
        paste("Cut-resistant gloves when carrying strip (rolls at rest); deburr edges; guide the",
              "exit end.")),
    row("rolling", "splinters of cracked edges",
        "Eye protection; stop when edges crack, and anneal before rolling on."),
    row("sawing", "blade, and pinch point at the vice",
        paste("Clamp the piece, never hold it by hand; keep fingers out of vice and blade line;",
              "blade guard closed; power off before changing a blade or a piece.")),
    row("sawing", "chips in the eyes", "Eye protection for everyone near the saw."),
    row("sawing", "sharp burrs and hot fresh cuts",
        "Deburr with a file; let the cut cool or cool it before touching."),
    row("furnace", "hot surfaces that do not look hot",
        paste("Mark hot door, hearth, steel block and put-down place with a sign 'HOT'; put pieces",
              "down only on the marked refractory place."), 60),
    row("furnace", "burns at the open door",
        paste("Heat-resistant gloves, face shield and long tongs; stand to the side when opening;",
              "nobody within reach behind you."), 60),
    row("furnace", "heat and gas at the open door, and temperature lost",
        paste("Everything laid ready before opening; open, place or take, close the door quickly;",
              "never leave it open."), 60),
    row("furnace", "clothing that melts or catches fire",
        "Long sleeves and trousers of cotton or wool, closed shoes; no synthetic fibre.", 250),
    row("furnace", "strong heat radiation",
        paste("Reflective or heavy heat-protective gloves and apron, tinted face shield as the",
              "furnace maker states; short stays at the open door."), 700),
    row("furnace", "electric shock and overheating of an unattended furnace",
        paste("Switch heating off before reaching in where the maker asks for it; over-temperature",
              "cut-out set; no unattended run without permission.")),
    row("furnace", "wet or sealed things bursting",
        "Nothing wet, oily, coated, hollow or sealed into the furnace; degrease pieces first."),
    row("annealing", "hot metal handled",
        paste("Tongs and heat-resistant gloves with every piece; face shield on; count the pieces",
              "in and out; metal below about", in_degrees(500), "does not glow, so treat each as hot."), 60),
    row("annealing", "zinc fume from overheated brass (metal-fume fever)",
        paste("Never overheat brass: check alloy and set point, set the over-temperature limit,",
              "ventilate; white smoke or powder: leave the door shut, switch off, leave and report.")),
    row("annealing", "zinc loss and fume grow with temperature",
        "Working fume extraction; shortest time at temperature; no more metal than needed.", 700),
    row("annealing", "brass near its boiling zinc and its melting range",
        paste("Stop: C26000 begins to melt at", in_degrees(915), "and zinc boils at",
              paste0(in_degrees(907), ";"), "this is",
              "foundry work, not annealing."), 900),
    row("annealing", "radiant heat and glowing metal",
        "Heat-protective sleeves and apron besides gloves; cooling place shielded and marked.", 500),
    row("annealing", "pieces mixed up or handed on hot",
        "Stamp or tag pieces cold; hand nothing on until a contact thermometer shows it cold."),
    row("quenching", "steam and splashing hot water",
        paste("Face shield, gloves and apron; long tongs; move the piece in quickly and under;",
              "enough water, no oil; nobody over the tank."), 60),
    row("quenching", "piece still hot inside a wet surface",
        paste("Keep it under water until boiling has stopped for a good while, then check with a",
              "thermometer."), 60),
    row("indenting", "pinch point between indenter and anvil",
        "Fingers off the piece and away from the indenter once the force comes on."),
    row("indenting", "broken ball, cracked block or sprung piece",
        "Eye protection; flat, well supported pieces; right anvil; never test a hot piece.")
  )
}

#' @param x Cautions as given by `cautions()`.
#' @param width Width of the text in characters.
#' @param ... Ignored.
#' @rdname cautions
#' @export
format.softanneal_cautions <- function(x, width = 80, ...) {
  if (!all(c("process", "hazard", "precaution", "from_temp_c") %in% names(x))) return(NextMethod())
  width <- check_number(width, "width", 30)
  temp_c <- attr(x, "temp_c")
  title <- paste0("Hazards and precautions",
                  if (!is.null(temp_c)) paste0(" (work up to ", in_degrees(format(temp_c)), ")"))
  wrapped <- function(text, ...) strwrap(text, width = width, ...)
  lines <- title
  for (process in unique(x$process)) {
    lines <- c(lines, "", paste0(toupper(substring(process, 1, 1)), substring(process, 2)))
    rows <- which(x$process == process)
    from <- ifelse(is.na(x$from_temp_c[rows]), "",
                   paste0(" [from ", in_degrees(x$from_temp_c[rows]), "]"))
    for (i in seq_along(rows)) {
      lines <- c(lines, wrapped(paste0("- ", x$hazard[rows[i]], from[i], ": ",
                                       x$precaution[rows[i]]), exdent = 2))
    }
  }
  c(lines, "", wrapped(CAUTION_DEFERENCE), wrapped(CAUTION_ESTIMATE))
}

#' @rdname cautions
#' @export
print.softanneal_cautions <- function(x, ...) {
  if (!all(c("process", "hazard", "precaution", "from_temp_c") %in% names(x))) {
    return(NextMethod())
  }
  writeLines(format(x, ...))
  invisible(x)
}

# In a notebook a data frame becomes a table in pages, and the precautions would be out of sight.
#' @exportS3Method knitr::knit_print
knit_print.softanneal_cautions <- function(x, ...) knitr::normal_print(x)

#' @export
as.data.frame.softanneal_cautions <- function(x, ...) {
  structure(x, class = "data.frame", temp_c = NULL)
}
