# The numbers in the cells of a column, and what stands there instead of one. A cell that is no
# number is refused with its place on the sheet and the likeliest reason.

# One column as numbers in the unit its header says; `units` and `difftime` columns are converted by
# their class to the unit of the bench. Text is read with the decimal mark of the file. `place`: the
# sheet and the letter of the column. The attribute `told` holds what was read otherwise than as a
# number.
column_numbers <- function(x, name, column, dec, place = NULL, clock = NULL) {
  if (is.character(x) || is.factor(x)) {
    x <- text_numbers(trimws(as.character(x)), name, dec, column, place, clock)
  } else if (!is.null(clock) && is.numeric(x)) {
    refuse_numbers_beside_clock(x, x, name, clock, place)
  }
  told <- attr(x, "told")
  bench <- c(time_min = "min", temp_c = "degC", position_mm = "mm", thickness_mm = "mm")
  frame <- structure(list(x), names = name, class = "data.frame",
                     row.names = .set_row_names(length(x)))
  out <- numeric_column(frame, name, "x", unit = if (column %in% names(bench)) bench[[column]], na = TRUE,
                        remedy = "Give a finite number.")
  if (!is.null(told)) attr(out, "told") <- told
  out
}

# Words for the state before the furnace where a time is wanted, folded as headers are.
AS_ROLLED_WORDS <- paste0(
  "^(0 ?[(-]? ?)?(as[ -]?(cold[ -]?)?(rolled|received|worked)|cold[ -]?rolled|",
  "before( the)? (anneal(ing)?|furnace)|",
  "unannealed|not annealed|full hard|walzhart|gewalzt|kaltgewalzt|kaltverfestigt|walzzustand|ungegluht|",
  "ungeglueht|unbehandelt|vor dem (gluhen|gluehen|ofen)|ausgangszustand|",
  "anlieferungszustand|hart|hartgewalzt|",
  "ecroui|brut de laminage|lamine|laminado|en bruto|bruto)[)]?$")

# Hard and narrow blanks, the typographic minus and digits of full width as they are typed elsewhere.
plain_signs <- function(text) {
  odd <- grep("[^ -~]", text, useBytes = TRUE)
  if (length(odd)) {
    text[odd] <- gsub("[\u00a0\u2007\u2009\u202f\u3000]", " ", text[odd])
    text[odd] <- trimws(chartr("\u2212\uff0e\uff10\uff11\uff12\uff13\uff14\uff15\uff16\uff17\uff18\uff19",
                               "-.0123456789", text[odd]))
  }
  text
}

text_numbers <- function(text, name, dec, column = "hardness", place = NULL, clock = NULL) {
  text <- valid_text(text)
  text <- plain_signs(text)
  text[!nzchar(text)] <- NA
  plain <- if (identical(dec, ",")) chartr(",.", ".,", text) else text
  number <- suppressWarnings(as.numeric(plain))
  # hexadecimal and the like are not readings
  number[grepl("[xXpP]|[Ii]nf|NaN", text)] <- NA
  bad <- which(is.na(number) & !is.na(text))
  told <- character()
  if (!is.null(clock)) refuse_numbers_beside_clock(number, text, name, clock, place)
  if (length(bad) && column == "time_min") {
    raw_rolled <- bad[grepl(AS_ROLLED_WORDS, fold_header(text[bad]))]
    number[raw_rolled] <- 0
    minutes <- clock_minutes(text[bad], clock)
    read <- bad[!is.na(minutes)]
    number[read] <- minutes[!is.na(minutes)]
    shown <- read[number[read] > 0][1L]
    if (is.na(shown)) shown <- read[1L]
    told <- c(if (length(raw_rolled)) paste0("'", text[raw_rolled[1L]], "' is time 0"),
              if (length(read)) {
                paste0("'", text[shown], "' is ", if (is.null(clock)) "hours, minutes and seconds" else
                  paste(format(number[shown], digits = 6), "min"))
              })
    bad <- setdiff(bad, c(raw_rolled, read))
  }
  if (length(bad) && column == "temp_c") {
    # as-rolled rows get the temperature of their specimen, or are refused as missing
    cold <- bad[grepl(paste0(AS_ROLLED_WORDS, "|^(rt|room( temperature)?|raumtemperatur)$"),
                      fold_header(text[bad]))]
    told <- c(told, if (length(cold)) paste0("'", text[cold[1L]], "' is no furnace temperature"))
    bad <- setdiff(bad, cold)
  }
  if (length(bad)) {
    hint <- if (identical(text[bad[1L]], name)) {
      list(what = "the header again", remedy = "Leave one header and one table on a sheet.")
    } else if (!is.null(clock) && grepl("^[0-9]+(:[0-9]+)+$", text[bad[1L]])) {
      list(what = paste("not", clock_shape(clock)), remedy = paste0(
        "Write ", clock_shape(clock), ", with no more than 59 ",
        if (clock == "m:s") "seconds." else "minutes."))
    } else cell_hint(text[bad[1L]], column, dec)
    abort("column", paste0("column `", name, "` must hold numbers, and holds '", text[bad[1L]],
                           "'", if (nzchar(hint$what)) paste0(" (", hint$what, ")")),
          arg = name, rows = bad, cells = text[bad], where = place_text(place, bad),
          remedy = hint$remedy)
  }
  if (length(told)) attr(number, "told") <- told
  number
}

# What a cell that is not a number probably is, and what to do.
cell_hint <- function(text, column, dec) {
  text <- substr(valid_text(text), 1L, 200L)
  is <- function(pattern) grepl(pattern, text, perl = TRUE, ignore.case = TRUE)
  say_so <- function(what, remedy) list(what = what, remedy = remedy)
  digits <- "[0-9]+([.,][0-9]+)?"
  if (is("^1899-12-3[01] ")) {
    return(say_so("a clock time of the spreadsheet", paste(
      "Write plain minutes and format the column as number: 4:30 is kept as hours and minutes.")))
  }
  if (column == "time_min" && is("[0-9]{1,2}:[0-9]{2}") &&
      is("^[0-9]{1,4}[-./][0-9]{1,2}[-./][0-9]{1,4}[ T]|[0-9] ?[ap][.]?m[.]?$|uhr$")) {
    return(say_so("a time of day", NOT_IN_FURNACE))
  }
  if (is("^[0-9]{4}-[0-9]{2}-[0-9]{2}( |$)") ||
      is("^[0-9]{1,2}[-. /](jan|feb|m[a\u00e4]r|apr|ma[iy]|jun|jul|aug|sep|o[ck]t|nov|de[cz])") ||
      is("^(jan|feb|m[a\u00e4]r|apr|ma[iy]|jun|jul|aug|sep|o[ck]t|nov|de[cz])[a-z]*[-. /][0-9]") ||
      is("^[0-9]{1,2}[./][0-9]{1,2}[./][0-9]{2,4}$")) {
    return(say_so("a date: the spreadsheet took 4.5 for 4 May or the like",
                  "Format the column as number or text, and type these cells again."))
  }
  if (is("^#")) return(say_so("an error of the spreadsheet", "Correct its formula."))
  if (is("^=")) return(say_so("a formula", "Save its value instead."))
  if (is("^[\"']+$|^-\"-$|^dito$|^ditto$|^\u3003$")) {
    return(say_so("the same as above", "Write the value again."))
  }
  if (is("^[0-9]{1,3}:[0-9]{2}$")) {
    return(say_so("minutes and seconds, or hours and minutes",
                  paste("Write plain minutes, or say which in the header, such as time (h:mm) or",
                        "time (mm:ss). A time of day is no time in the furnace.")))
  }
  if (is(paste0("^[<>\u2264\u2265] ?", digits))) {
    return(say_so("a limit", "Limits are understood as hardness alone."))
  }
  if (is(paste0("^[([]", digits, "[])]$|^", digits, " ?([*?!#]|[(][^)]*[)]).*$"))) {
    return(say_so("a number with a mark", "Write the number alone, and the mark into a column `note`."))
  }
  if (is("^[0-9]+[.,] [0-9]+$|^[0-9]+ [.,][0-9]+$|^[0-9]+[.,]{2}[0-9]+$|^[0-9]*[.,][0-9]+[.,][0-9]+$")) {
    return(say_so("a slip in the decimal mark", "Write one decimal mark, without blanks."))
  }
  if (is(paste0("^", digits, " ?(-|\u2013|to|bis|\\.\\.+) ?", digits, "$"))) {
    return(say_so("a range, not a reading", "Write each reading in a cell of its own."))
  }
  if (is(paste0("^", digits, " ?(\u00b1|\\+/?-) ?", digits, "$"))) {
    return(say_so("a mean with its error", "Write the readings themselves."))
  }
  if (is(paste0("^(ca\\.?|about|etwa|~|\u2248|approx\\.?) ?", digits))) {
    return(say_so("about a number", "Write the reading, or leave the cell empty."))
  }
  if (is("^[0-9]+\\.[0-9]{3},[0-9]+$|^[0-9]+,[0-9]{3}\\.[0-9]+$|^[0-9]{1,3}([ '][0-9]{3})+$")) {
    return(say_so("marks for thousands", "Write the number without them."))
  }
  if (is(paste0("^", digits, "[ /;]+", digits, "$"))) {
    return(say_so("two numbers", "Write each reading in a cell of its own."))
  }
  if (is("^[0-9ol|,. ]+$") && is("[ol|]") && is("[0-9]")) {
    return(say_so("a letter O or l for a digit", "Type the digit."))
  }
  if (is("^[^0-9]*$")) {
    return(say_so("", paste0("Leave the cell empty if there is no value, or name the mark by `na`, ",
                             "e.g. `na = c(\"\", \"", gsub("\"", "", text), "\")`.")))
  }
  say_so("", "Correct these cells: a number only, no unit, one decimal mark.")
}

# "line 7 of 'bench.csv', column D" or "cell D7 of sheet 'Tabelle1'", for rows of the table.
place_text <- function(place, rows, letter = place$letter, most = 5L) {
  if (is.null(place) || !length(rows)) return(NULL)
  at <- unique(place$row[rows])
  many <- length(at) > 1L
  shown <- utils::head(at, most)
  if (place$kind == "excel" && length(letter) == 1L) shown <- paste0(letter, shown)
  paste0(if (place$kind == "text") "line" else if (length(letter) == 1L) "cell" else "row",
         if (many) "s", " ", paste(shown, collapse = ", "),
         if (length(at) > most) paste(" and", length(at) - most, "more"), " of ",
         if (is.null(place$sheet)) paste0("'", basename(place$path), "'") else
           paste0("sheet '", place$sheet, "'"),
         if (place$kind == "text" && length(letter) == 1L) paste0(", column ", letter))
}

# Readings with their scale in the cell ("72 HRB"): numbers and the scale, where every cell that
# says one says the same.
cell_scales <- function(x, place, name) {
  if (!is.character(x)) return(NULL)
  shape <- "^([-+]?[0-9]+(?:[.,][0-9]+)?) ?(H[RVKB][A-Z0-9/ .]*)$"
  x <- valid_text(x)
  at <- grep(shape, substr(x, 1L, 40L), perl = TRUE, ignore.case = TRUE)
  if (!length(at)) return(NULL)
  scale <- known_scale(sub(shape, "\\2", x[at], perl = TRUE, ignore.case = TRUE))
  at <- at[!is.na(scale)]
  if (!length(at)) return(NULL)
  list(at = at, scale = scale[!is.na(scale)],
       text = replace(x, at, sub(shape, "\\1", x[at], perl = TRUE, ignore.case = TRUE)))
}

# Cells such as "> 100" or "at most 20": the text without its sign, and the side of each cell.
LIMIT_SHAPE <- paste0("^ *(>=|>|\u2265|at least|mind(?:estens|\\.)?|au moins|over|<=|<|\u2264|at most|",
                      "h\u00f6chstens|au plus|under) *([0-9]+(?:[.,][0-9]+)?(?: ?H[RVKB][A-Z0-9/ .]*)?) *$")

cell_limits <- function(x) {
  if (!is.character(x)) return(NULL)
  x <- valid_text(x)
  at <- grep(LIMIT_SHAPE, substr(x, 1L, 60L), perl = TRUE, ignore.case = TRUE)
  if (!length(at)) return(NULL)
  sign <- tolower(sub(LIMIT_SHAPE, "\\1", x[at], perl = TRUE, ignore.case = TRUE))
  most <- grepl("^(<|\u2264|at most|h\u00f6ch|au plus|under)", sign)
  list(text = replace(x, at, sub(LIMIT_SHAPE, "\\2", x[at], perl = TRUE, ignore.case = TRUE)),
       shown = x[at[1L]],
       limit = replace(rep(NA_character_, length(x)), at, ifelse(most, "at most", "at least")))
}

# Keys written once for several rows, as merged cells and tidy hands leave them: a column whose
# values never repeat below each other and that is empty in a third of its rows at least (times: in
# half, and not where each row is a step).
fill_down <- function(raw, roles, wide) {
  place <- attr(raw, "place")
  said <- character()
  if (!isTRUE(place$fill)) return(list(raw = raw, said = said))
  for (j in seq_along(raw)) {
    column <- roles[[j]]$column
    if (is.null(column) || !column %in% c("specimen", "temp_c", "time_min", "scale", "step", "group",
                                          "operator", "laboratory", "furnace", "thickness_mm")) next
    x <- raw[[j]]
    if (!is.character(x) || !anyNA(x) || is.na(x[1L])) next
    written <- which(!is.na(x))
    share <- mean(is.na(x))
    if (share < if (column %in% c("time_min", "step")) 0.5 else 1 / 3) next
    if (column %in% c("time_min", "step") && length(wide$at)) next
    if (length(written) > 1L && any(x[written[-1L]] == x[written[-length(written)]]) &&
        !column %in% c("scale", "time_min")) next
    raw[[j]] <- x[written][findInterval(seq_along(x), written)]
    said <- c(said, paste0("empty cells of '", names(raw)[j], "' taken as the value above (",
                           sum(is.na(x)), ")"))
  }
  list(raw = raw, said = said)
}
