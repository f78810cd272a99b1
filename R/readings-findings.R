# Doubts about a table of readings, as a table of findings. Nothing here alters data, and a
# finding is a question to the person at the bench, with the reason and what to do.

#' Check a table of readings
#'
#' Looks through readings for doubtful values, order and conditions, and returns a table of
#' findings: where, what, why, and what to do about it. The data are not altered. What cannot be a
#' reading at all is refused by [read_readings()] before.
#'
#' @section What is looked at:
#' | check | level | what |
#' |---|---|---|
#' | `duplicate` | error, warning | the same reading number twice; a series of three or more unnumbered readings twice in a step, where equal readings are too rare for chance |
#' | `names` | warning | names of specimens that differ in case, blanks or hyphens only |
#' | `time order` | error | accumulated time falls while the step number rises |
#' | `times` | warning | times of one specimen are those of the others in another unit, or the single steps of their schedule; or doubling times whose first is there twice, as where single steps were not added up |
#' | `specimens` | warning | the times at which specimens are half-way soft do not lie on a line against 1/T, and one slip would put them there: labels exchanged, hours or seconds, Kelvin or Fahrenheit |
#' | `temperatures` | warning | the metal softens far too slowly or too fast for temperatures that in Kelvin or Fahrenheit (or read so, though degrees Celsius) would be as usual; or all end in .15 |
#' | `other stock`, `other scale` | warning | a specimen was much harder or softer before the furnace than the others; or would agree if its scale were another; likewise a whole group, laboratory or operator, or several specimens, at the same heat treatments as the others |
#' | `mixed scales` | warning | several scales within one step, unless all are read side by side on every specimen |
#' | `scale changed` | warning | a specimen continues in another scale |
#' | `two temperatures` | note | a specimen was annealed at more than one temperature |
#' | `useful range` | warning | reading outside the range of its scale in ISO 6508-1 (ranges from memory) |
#' | `thickness` | warning, note | sheet thinner than ASTM E18 allows for the reading; or (note) than ISO 6508-1 (15 h, cone 10 h), ISO 6507-1 (1.5 d) or ISO 6506-1 (8 h) |
#' | `spacing` | warning | centres of indentations nearer than 3 d, or nearer than 2.5 d to an edge |
#' | `outlier` | warning | reading far from the others of its step, by the scatter of all other steps of its scale, see [find_outliers()]; a slip of the pen is named where it explains the number clearly better than another cause |
#' | `rise` | warning | mean of a step above that of the step before it (same specimen, temperature and scale, after annealing) by more than the scatter of readings and of the other steps explains; t tests at alpha divided by the number of pairs |
#' | `drift` | warning | readings rise or fall along their number, over all steps together |
#' | `warm specimen` | warning | a note states that the specimen was warm or hot |
#' | `few readings` | note | fewer than five readings per step, all scales together (common practice, no source) |
#' | `missing` | note | no hardness |
#'
#' How often a slip is found was counted in 150 or 300 simulated benches of 3 to 5 specimens, 20 K apart
#' at least (`README.md` in the benchmarks of the sources): times of one specimen in hours or not added up
#' and HRB labelled HV 100 %, Kelvin or Fahrenheit in one specimen 97 %, labels of two temperatures
#' exchanged 92 %, one specimen 12 % softer or harder 89 %. Fewer than 1 % of sound benches had a finding,
#' and 6 % where everything scatters 1.5 times as much. A group on another of five scales was found in all
#' of 400 tables of 3 or 6 groups; a sound group was suspected in 1 of 200 tables of [simulate_class()].
#'
#' The two thickness rules disagree: by the E18 tables themselves, 15 h asks for 1.6 to 3 times
#' their thickness on HRB and HRF, and for about as much or less on HR15T and HR30T. Say in the
#' report which rule was followed.
#'
#' Thickness needs a column `thickness_mm` or the argument, spacing a column `position_mm` (centre
#' from one end, along one line of a specimen; all steps on it count) and for the far edge
#' `length_mm`. Diameters follow from the hardness number, as in [indent_spacing()].
#'
#' @param data Table of readings, see [read_readings()].
#' @inheritParams summarise_readings
#' @param thickness_mm,length_mm Thickness and length of the specimens in mm, if no such column is
#'   there.
#' @param level Level of the outlier, rise and drift tests, 1 - alpha, over the whole table.
#' @param material Metal, as in [fit_softening()]: a name, or a column; by default the column `material` if
#'   there is one. What is known of it is compared with the temperatures.
#' @return A data frame of class `softanneal_findings`, worst first, with the columns `level`
#'   (`"error"`, `"warning"`, `"note"`), `check`, `row` (the first row concerned), `n` (rows
#'   concerned), `what`, `why`, `remedy`, for tables from files `where` (cells of the sheet), and `rows`
#'   (a list of row numbers). No findings give no
#'   rows. [as.data.frame()] leaves out `rows`.
#' @section Errors:
#'   `softanneal_error_too_few` for a table without rows, `softanneal_error_column` for columns
#'   twice or of the wrong kind, `softanneal_error_argument`. What is wrong with the readings
#'   themselves is a finding, never an error.
#' @seealso [read_readings()], [summarise_readings()], [find_outliers()], [fit_softening()]
#' @examples
#' r <- data.frame(specimen = "A", temp_c = 330, time_min = rep(c(0, 4), each = 5),
#'                 hardness = c(92, 91.5, 92, 92.5, 92, 74, 73.5, 74, 74.5, 74), scale = "HRF")
#' check_readings(r, thickness_mm = 0.71)
#' @export
check_readings <- function(data, hardness = hardness, specimen = specimen, temp = temp_c,
                           time = time_min, reading_scale = scale, thickness_mm = NULL,
                           length_mm = NULL, level = 0.95, material = "brass") {
  pick <- reading_columns(rlang::enquo(hardness), rlang::enquo(specimen), rlang::enquo(temp),
                          rlang::enquo(time), rlang::enquo(reading_scale))
  check_data(data, limits = TRUE)
  limited <- if (pick$hardness %in% names(data)) limit_rows(data)
  if (length(limited)) data[[pick$hardness]][limited] <- NA # a limit is no reading
  check_level(level)
  alpha <- 1 - level
  r <- readings_parts(data, pick, thickness_mm, length_mm)
  r$material <- metal_of_rows(data, rlang::enquo(material), !missing(material))
  r$limited <- seq_len(r$n) %in% limited
  r[c("sets", "stock")] <- reading_sets(data)
  found <- c(find_names(r), find_repeats(r), find_time_order(r), find_schedules(r), find_pieces(r),
             find_temperature_unit(r), find_other_scale(r), find_scales(r), find_temperatures(r),
             find_range(r), find_thin(r), find_spacing(r), find_far(r, alpha), find_rises(r, alpha),
             find_drift(r, alpha), find_warm(r), find_few(r))
  findings_table(found, r)
}

# Names of specimens with their group and laboratory, where there are several.
own_pieces <- function(data, specimen, time) {
  for (name in c("group", "laboratory")) {
    x <- data[[name]]
    if (is.null(x) || !is.atomic(x) || length(unique(x)) < 2L) next
    specimen <- paste(as.character(specimen), "of", name, as.character(x))
  }
  pieces_of_lots(data, specimen, time, "group")
}

# Groups, laboratories, strips and reductions, within which pieces are compared; NULL for one.
part_of_rows <- function(data) {
  names <- c(several_of(data, c("group", "laboratory", "strip", STRAIN_COLUMNS)), lot_columns(data))
  if (length(names)) do.call(paste, lapply(unname(unclass(data)[names]), as.character))
}

# The columns the checks need, as plain vectors; optional ones NULL where absent.
readings_parts <- function(data, pick, thickness_mm, length_mm) {
  keys <- step_keys(data, pick)
  names(keys) <- c("specimen", "temp", "time", "scale")
  # "A" of one group is another specimen than "A" of the next
  keys$specimen <- own_pieces(data, keys$specimen, keys$time)
  known <- known_scale(as.character(keys$scale))
  if (anyNA(known)) abort_scale(as.character(keys$scale)[is.na(known)][1L], pick$scale, which(is.na(known)))
  n <- nrow(data)
  optional <- function(name, lower = -Inf) {
    if (name %in% names(data)) numeric_column(data, name, lower = lower, na = TRUE)
  }
  fixed <- function(value, name) {
    if (is.null(value)) return(optional(name, 0))
    if (name %in% names(data)) {
      abort("argument", paste0("`", name, "` is given twice: as column and as argument"),
            arg = name, remedy = "Leave one of them out.")
    }
    rep(check_number(value, name, 0, open = TRUE), n)
  }
  list(n = n, h = numeric_column(data, pick$hardness, upper = 1e6, na = TRUE), specimen = keys$specimen,
       temp = keys$temp, time = keys$time, scale = known, step = optional("step"),
       reading = optional_order(data),
       position = optional("position_mm", 0), thickness = fixed(thickness_mm, "thickness_mm"),
       length = fixed(length_mm, "length_mm"),
       note = if ("note" %in% names(data)) as.character(data$note),
       group = data[["group"]], operator = data[["operator"]], part = part_of_rows(data),
       treatment = group_rows(keys[c("specimen", "temp", "time")]),
       cell = group_rows(c(keys[1:3], list(known),
                           if (!is.null(data[["operator"]])) list(data[["operator"]]))),
       sheet_row = data[["sheet_row"]], sheet_column = data[["sheet_column"]])
}

# Reading numbers if they are numbers; text such as "a" has no order that could drift.
optional_order <- function(data) {
  x <- data[["reading"]]
  if (!is.numeric(x) || !is.null(dim(x))) return(NULL)
  replace(as.double(x), !is.finite(x), NA)
}

finding <- function(level, check, rows, what, why, remedy) {
  if (!length(rows)) return(NULL)
  list(list(level = level, check = check, rows = rows, what = what, why = why, remedy = remedy))
}

findings_table <- function(found, r = NULL) {
  text <- function(name) vapply(found, `[[`, "", name)
  rows <- lapply(found, `[[`, "rows")
  out <- data.frame(level = text("level"), check = text("check"), row = vapply(rows, `[`, 0L, 1L),
                    n = lengths(rows), what = text("what"), why = text("why"),
                    remedy = text("remedy"))
  if (!is.null(r$sheet_row)) out$where <- vapply(rows, \(i) on_sheet(r, i), "")
  out$rows <- rows
  out <- out[order(match(out$level, c("error", "warning", "note")), out$row), ]
  rownames(out) <- NULL
  class(out) <- c("softanneal_findings", "data.frame")
  out
}

# Cells of the sheet, as the person sees them: D7, E9 and 3 more.
on_sheet <- function(r, rows, most = 5L) {
  cells <- unique(paste0(if (is.null(r$sheet_column)) "row " else r$sheet_column[rows], r$sheet_row[rows]))
  paste0(paste(utils::head(cells, most), collapse = ", "),
         if (length(cells) > most) paste(" and", length(cells) - most, "more"))
}

# "A-1", "a1" and "A 1" are probably one piece.
find_names <- function(r) {
  names <- unique(as.character(r$specimen))
  plain <- gsub("[^[:alnum:]]+", "", tolower(valid_text(names)))
  # "1.5" and "15" are numbers
  twice <- names[plain %in% plain[duplicated(plain)] & grepl("[[:alpha:]]", names)]
  if (length(twice) < 2L) return(NULL)
  finding("warning", "names", which(as.character(r$specimen) %in% twice),
          paste0("names of specimens that differ in case, blanks or hyphens only: ",
                 in_quotes(twice, " and ")),
          "they are taken as different specimens", "Write one name for one specimen.")
}

find_repeats <- function(r) {
  twice <- integer()
  if (!is.null(r$reading)) {
    key <- list(r$specimen, r$temp, r$time, r$scale, r$reading)
    more <- list(r$step, r$group, r$operator, r$position)
    key <- c(key, more[!vapply(more, is.null, NA)])
    twice <- which(duplicated(group_rows(key)$id) & !is.na(r$reading))
  }
  c(finding("error", "duplicate", twice, "the same reading number twice within one step",
            "a row was probably entered twice, or numbered wrongly",
            "Correct the number or leave out the repeated row."),
    finding("warning", "duplicate", repeated_blocks(r),
            "the second half of the readings of a step repeats the first",
            paste("equal readings are common, a whole series of them in the same order is not:",
                  "perhaps it was pasted twice"),
            "Compare with the sheet; number the readings (column `reading`)."))
}

# Rows in the second half of a step of six or more readings that repeat the
# first half in order. Readings all alike say nothing, nor do numbered ones; and on a coarse dial
# equal readings are common: p, the share of equal pairs within steps, makes m of them in a row an
# event of chance p^m in each step, which must be rare over all steps.
repeated_blocks <- function(r) {
  numbered <- !is.null(r$reading) && !anyNA(r$reading)
  if (numbered) return(integer())
  order <- order(r$cell$id)
  id <- r$cell$id[order]
  h <- r$h[order]
  size <- tabulate(id, length(r$cell$first))
  start <- cumsum(c(0L, size))[id]
  place <- seq_len(r$n) - start
  half <- size[id] / 2
  second <- half >= 3 & half == floor(half) & place > half
  other <- seq_len(r$n) - half
  alike <- rep(FALSE, r$n)
  alike[second] <- h[second] == h[other[second]]
  alike[is.na(alike)] <- FALSE
  whole <- tabulate(id[alike], length(size)) * 2 == size
  if (!any(whole & size > 0)) return(integer())
  equal <- rowsum(rep(1, sum(!is.na(r$h))), paste(r$cell$id, r$h)[!is.na(r$h)])[, 1L]
  n <- tabulate(r$cell$id[!is.na(r$h)], length(size))
  p <- sum(equal * (equal - 1)) / sum(n * (n - 1))
  tried <- size[size >= 6 & size %% 2 == 0]
  chance <- vapply(size / 2, \(m) sum(p^(tried / 2)[tried / 2 <= m]), 0)
  # a single step knows its own readings only
  whole <- whole & (chance < 0.02 | length(size) == 1L)
  range <- group_range(r$h, r$cell$id, length(size))
  sort(order[second & (whole & range$min < range$max)[id]])
}

find_time_order <- function(r) {
  if (is.null(r$step)) return(NULL)
  order <- order(match(r$specimen, unique(r$specimen)), r$step)
  s <- r$specimen[order]
  same <- c(FALSE, s[-1L] == s[-r$n])[seq_len(r$n)]
  # the longest time of all earlier steps of the specimen: cummax within specimens, by adding
  # an offset that grows from specimen to specimen
  offset <- cumsum(!same) * (max(r$time) + 1)
  highest <- cummax(r$time[order] + offset) - offset
  finding("error", "time order", sort(order[which(r$time[order] < highest - 1e-9)]),
          "accumulated time falls while the step number rises",
          "time in the furnace only adds up; perhaps the times of single steps were written down",
          "Write the sum of all times so far, or correct the step.")
}

find_scales <- function(r) {
  per_cell <- group_rows(list(r$treatment$id, r$scale))
  kinds <- tabulate(r$treatment$id[per_cell$first], length(r$treatment$first))
  mixed <- which(kinds[r$treatment$id] > 1L)
  # all scales on every specimen and step: read side by side, and meant so
  if (length(mixed) == r$n && all(kinds == length(unique(r$scale)))) return(NULL)
  by_specimen <- group_rows(list(r$specimen))
  pairs <- group_rows(list(r$specimen, r$scale))
  number <- tabulate(by_specimen$id[pairs$first], length(by_specimen$first))
  first <- r$scale[by_specimen$first][by_specimen$id]
  changed <- which(number[by_specimen$id] > 1L & r$scale != first)
  c(finding("warning", "mixed scales", mixed, "several scales within one step",
            "points of different scales cannot be averaged",
            paste("Check the column; convert with `convert_hardness()`,",
                  "or summarise each scale for itself.")),
    finding("warning", "scale changed", setdiff(changed, mixed),
            "a specimen continues in another scale",
            "a change of scale looks like softening or hides it, and conversion adds uncertainty",
            "Read the whole specimen in one scale, or convert all to HV."))
}

find_temperatures <- function(r) {
  heated <- which(r$time > 0)
  if (!length(heated)) return(NULL)
  pairs <- group_rows(list(r$specimen[heated], r$temp[heated]))
  who <- r$specimen[heated][pairs$first]
  several <- unique(who[duplicated(who)])
  finding("note", "two temperatures", heated[r$specimen[heated] %in% several],
          "a specimen was annealed at more than one temperature",
          "time adds up at one temperature only",
          "Give each specimen its own name, or fit with the temperature history.")
}

find_range <- function(r) {
  labels <- unique(r$scale)
  limits <- useful_range(labels)
  id <- match(r$scale, labels)
  out <- which(r$h < limits$low[id] | r$h > limits$high[id])
  names <- unique(id[out])
  finding("warning", "useful range", out,
          paste0("reading outside the useful range of its scale (",
                 paste0(labels[names], " ", limits$low[names], " to ", limits$high[names],
                        collapse = ", "), ")"),
          paste("a ball flattens or sinks in to its holder, the penetration of a cone is too shallow",
                "(ISO 6508-1; ranges from memory)"),
          "Choose another scale for this hardness.")
}

find_few <- function(r) {
  # readings of a step in all scales together
  n <- tabulate(r$treatment$id[!is.na(r$h) | r$limited], length(r$treatment$first))
  c(finding("note", "few readings", which(n[r$treatment$id] < 5L),
            paste(count(sum(n < 5L), "step"), "with fewer than five readings"),
            "the step sd is then poorly estimated (five readings: common practice, no source)",
            "Take more readings where there is room."),
    finding("note", "missing", which(is.na(r$h) & !r$limited), "no hardness", "the box is empty",
            "Fill it in if the reading was taken."))
}

find_warm <- function(r) {
  if (is.null(r$note)) return(NULL)
  text <- gsub("\\bnot (too )?(warm|hot)\\b", "", tolower(r$note))
  finding("warning", "warm specimen",
          grep("\\b(warm|hot|not (yet )?(cool|cold|cooled)|before cooling)\\b", text),
          "a note states that the specimen was warm or hot",
          "hot metal reads softer, and expansion moves the zero of the depth gauge",
          "Let specimens cool to room temperature; read these again.")
}

#' @rdname check_readings
#' @param x A table of findings.
#' @param n Number of findings shown.
#' @param ... Ignored.
#' @export
print.softanneal_findings <- function(x, ..., n = 12L) {
  if (!all(c("level", "what", "why", "remedy",
             "rows") %in% names(x))) return(invisible(print(plain_frame(x))))
  if (!nrow(x)) {
    cat("No findings.\n")
    return(invisible(x))
  }
  cat(count(nrow(x), "finding"), ", most serious first; data unchanged\n", sep = "")
  for (i in seq_len(min(n, nrow(x)))) {
    cat("\n", x$level[i], ": ", x$what[i], "\n", sep = "")
    cat(strwrap(paste0("where: ", in_rows(x$rows[[i]]),
                       if (!is.null(x$where)) paste0("; on the sheet ", x$where[i])), indent = 2,
                exdent = 4), sep = "\n")
    cat(strwrap(paste0("why: ", x$why[i]), indent = 2, exdent = 4), sep = "\n")
    cat(strwrap(paste0("do: ", x$remedy[i]), indent = 2, exdent = 4), sep = "\n")
  }
  if (nrow(x) > n) cat("\n... and ", count(nrow(x) - n, "more finding"), "\n", sep = "")
  invisible(x)
}

#' @rdname check_readings
#' @param row.names,optional As in [base::as.data.frame()].
#' @export
as.data.frame.softanneal_findings <- function(x, row.names = NULL, optional = FALSE, ...) {
  plain_frame(x)[setdiff(names(x), "rows")]
}
