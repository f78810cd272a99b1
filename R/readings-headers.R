# What a header says: quantity, unit, scale, number of a reading. The words are those of
# inst/extdata/header_words.csv; a header is understood only if it is one of them, alone or with a
# unit of its quantity; anything else is left alone.

READINGS_NEEDED <- c("specimen", "temp_c", "time_min", "hardness", "scale")
READINGS_OPTIONAL <- c("step", "reading", "group", "operator", "laboratory", "furnace",
                       "position_mm", "thickness_mm", "note", "limit")
READINGS_NUMBERS <- c("temp_c", "time_min", "hardness", "position_mm", "thickness_mm", "step")

# Quantity -> standard column and the units of the bench: standard = a + b * value.
# 1 in = 25.4 mm and 0 deg F = 459.67 deg R exactly (definitions).
QUANTITIES <- list(
  time = list(column = "time_min", units = list(
    min = c(0, 1), s = c(0, 1 / 60), h = c(0, 60), d = c(0, 1440))),
  temp = list(column = "temp_c", units = list(
    c = c(0, 1), k = c(-ZERO_CELSIUS, 1), f = c(-160 / 9, 5 / 9))),
  thickness = list(column = "thickness_mm", units = list(
    mm = c(0, 1), um = c(0, 1e-3), "in" = c(0, 25.4))),
  position = list(column = "position_mm", units = list(
    mm = c(0, 1), um = c(0, 1e-3), "in" = c(0, 25.4))))

UNIT_SPELLINGS <- c(
  min = "min", mins = "min", minute = "min", minutes = "min", minuten = "min", minuto = "min",
  minutos = "min", minuti = "min", s = "s", sec = "s", secs = "s",
  second = "s", seconds = "s", sekunden = "s", secondes = "s", segundos = "s", secondi = "s",
  h = "h", hr = "h", hrs = "h", hour = "h", hours = "h", std = "h", stunde = "h", stunden = "h",
  heure = "h", heures = "h", hora = "h", horas = "h", ora = "h", ore = "h", d = "d", day = "d",
  days = "d", c = "c", degc = "c", celsius = "c", gradc = "c", gradcelsius = "c",
  k = "k", kelvin = "k", degk = "k", f = "f", degf = "f", fahrenheit = "f", mm = "mm", um = "um",
  micron = "um", microns = "um", "in" = "in", inch = "in", inches = "in")

# Letters with accents as plain ones, signs of one specimen as they are typed, Chinese units.
PLAIN_LETTERS <- matrix(ncol = 2L, byrow = TRUE, c(
  "\u200b", "", "\ufeff", "",
  "\u00e4", "a", "\u00c4", "a", "\u00f6", "o", "\u00d6", "o", "\u00fc", "u", "\u00dc", "u",
  "\u00df", "ss", "\u00e9", "e", "\u00c9", "e", "\u00e8", "e", "\u00c8", "e", "\u00ea", "e",
  "\u00ca", "e", "\u00e0", "a", "\u00e2", "a", "\u00e1", "a", "\u00c1", "a", "\u00e7", "c",
  "\u00f1", "n", "\u00d1", "n", "\u00f3", "o", "\u00d3", "o", "\u00ed", "i", "\u00cd", "i",
  "\u00fa", "u", "\u00da", "u", "\u00f4", "o", "\u00fb", "u", "\u00ee", "i", "\u00b5", "u",
  "\u03bc", "u", "\u2103", "\u00b0c", "\u00ba", "\u00b0", "\u00a0", " ", "\u2019", "'",
  "\u2013", "-", "\uff08", "(", "\uff09", ")", "\uff0f", "/", "\u5206\u949f", "min",
  "\u5c0f\u65f6", "h", "\u79d2", "s", "\u6444\u6c0f\u5ea6", "celsius", "\u03d1", "theta",
  "\u03b8", "theta", "\u00ec", "i", "\u00f2", "o", "\u00f9", "u"))

fold_header <- function(text) {
  text <- enc2utf8(valid_text(as.character(text)))
  odd <- grep("[^ -~]", text, useBytes = TRUE)
  for (i in if (length(odd)) seq_len(nrow(PLAIN_LETTERS))) {
    text[odd] <- gsub(PLAIN_LETTERS[i, 1L], PLAIN_LETTERS[i, 2L], text[odd], fixed = TRUE)
  }
  text <- trimws(tolower(gsub("[[:space:]]+", " ", gsub("&deg;", "\u00b0", text, fixed = TRUE))))
  text <- gsub("(superficial )?rockwell (hardness )?(15|30|45)[ -]?([ntwxy])", "hr\\3\\4", text)
  text <- gsub("rockwell (hardness )?([abcdefghk])($|[^a-z])", "hr\\2\\3", text)
  sub("^vickers( hardness)?($|[^a-z])", "hv\\2", text)
}

# The table of words, longest first, read once a session.
header_words <- local({
  table <- NULL
  function() {
    if (is.null(table)) {
      path <- system.file("extdata", "header_words.csv", package = "softanneal", mustWork = TRUE)
      x <- utils::read.csv(path, encoding = "UTF-8", na.strings = character())
      x$word <- fold_header(x$word)
      x <- x[!duplicated(x$word), ]
      table <<- x[order(-nchar(x$word)), ]
    }
    table
  }
})

# The word a folded header begins with, and what follows; NULL for none.
leading_word <- function(text) {
  words <- header_words()
  at <- which(startsWith(text, words$word))
  for (i in at) {
    rest <- substring(text, nchar(words$word[i]) + 1L)
    if (!grepl("^[a-z0-9]", rest) || words$language[i] == "zh") {
      return(list(column = words$column[i], word = words$word[i], times = words$times[i],
                  language = words$language[i], rest = rest))
    }
  }
  NULL
}

# "HRB mean", "Mittel HV": the scale of a column of means, NA for any other. It is the hardness only where no
# column of readings is.
mean_header <- function(name) {
  text <- fold_header(name)
  mean <- "(^|[[ _.(])(mean|average|avg|mittel|mittelwert|mw|moyenne|moy|media|promedio)([] _.)]|$)"
  if (!grepl(mean, text)) return(NA_character_)
  rest <- gsub("^[ _.,()-]+|[ _.,()-]+$", "", sub(mean, " ", text))
  role <- tryCatch(parse_header(rest), softanneal_error = function(e) NULL)
  if (identical(role$column, "hardness") && !is.null(role$scale)) role$scale else NA_character_
}

# "_", ".", "," and the like between a word and its unit.
HEADER_GAP <- "^[ _.,/:;-]+|[ _.,/:;-]+$"

# One header: list(column, unit, scale, change, times, exact) or NULL where it is not one of ours.
parse_header <- function(name, is_units = FALSE) {
  text <- fold_header(name)
  standard <- gsub("[ .]+", "_", text)
  if (standard %in% c(READINGS_NEEDED, READINGS_OPTIONAL)) {
    unit <- c(time_min = "min", temp_c = "c", position_mm = "mm", thickness_mm = "mm")[standard]
    return(list(column = standard, unit = unname(unit), change = c(0, 1), exact = TRUE))
  }
  if (standard %in% CLOCK_COLUMNS) return(list(column = standard, change = c(0, 1), exact = TRUE))
  if (grepl("^h[rvkb]", text)) {
    scale <- known_scale(sub("[ _]+(hardness|value|number|reading)$", "", text))
    if (!is.na(scale)) return(list(column = "hardness", scale = scale))
  }
  # T (C) and t (min): the unit tells one from the other
  if (grepl("^t[ _./]*[[(/ _]", text) && is.null(leading_word(text))) text <- sub("^t", "time", text)
  found <- leading_word(gsub("_", " ", text))
  if (is.null(found)) return(unit_alone(text))
  quantity <- found$column
  rest <- gsub(HEADER_GAP, "", found$rest)
  if (quantity == "hardness") {
    bracketed <- grepl("^[[(].*[])]$", rest)
    rest <- gsub("^[[(]|[])]$", "", rest)
    scale <- if (rest == "") NA_character_ else known_scale(gsub("_", " ", rest))
    if (is.na(scale) && rest == "") return(list(column = "hardness", change = c(0, 1)))
    if (is.na(scale) && bracketed && !is.null(parse_wide(name))) return(NULL)
    if (is.na(scale) && bracketed) abort_scale(rest, name)
    return(if (!is.na(scale)) list(column = "hardness", scale = scale, change = c(0, 1)))
  }
  if (!quantity %in% names(QUANTITIES)) {
    if (quantity == "furnace" && grepl("^[[(]?(\u00b0|deg)? ?[ckf][])]?$", rest)) {
      quantity <- "temp"
    } else {
      plain <- gsub("[ .:#()_\u00b0-]", "", rest)
      if (!plain %in% c("", "no", "nr", "n", "id", "number", "nummer", "name", "code", "label",
                        "used")) return(NULL)
      if (found$language == "zh" && nzchar(plain)) return(NULL)
      return(list(column = quantity, change = c(0, 1),
                  rank = if (found$word %in% c("strip", "streifen", "blech", "tole")) 3 else 2))
    }
  }
  parse_quantity(name, quantity, rest, found, is_units)
}

# "Minutes", "total hours": the unit is the quantity. "Min" may be a minimum, "Second" a number.
UNITS_ALONE <- c("mins", "minutes", "minuten", "minutos", "minuti", "seconds", "sekunden", "secondes",
                 "segundos", "secondi", "hours", "stunden", "heures", "horas")

unit_alone <- function(text) {
  times <- NULL
  whole <- "(^| )(total|cumulative|accumulated|gesamt|kumuliert|cumules|acumulados|totali)( |$)"
  if (grepl(whole, text)) {
    times <- "accumulated"
    text <- trimws(sub(whole, " ", text))
  }
  if (!text %in% UNITS_ALONE) return(NULL)
  unit <- UNIT_SPELLINGS[text]
  list(column = "time_min", unit = unname(unit), change = QUANTITIES$time$units[[unit]], times = times,
       rank = 3)
}

# A time, temperature or length: unit, and whether a time is that of one step or the sum so far.
parse_quantity <- function(name, quantity, rest, found, is_units) {
  times <- if (quantity == "time" && nzchar(found$times)) found$times
  said <- c(accumulated = "accum[a-z.]*|cumul[a-z.]*|total|kumuliert|gesamt|acumulado|so far|sum",
            step = "(per |each |of |this )?step|increment|je schritt|pro schritt|par etape|por paso")
  if (quantity == "time") for (kind in names(said)) {
    shape <- paste0("(^|[^a-z])(", said[[kind]], ")([^a-z]|$)")
    if (grepl(shape, rest)) {
      times <- kind
      rest <- gsub(HEADER_GAP, "", sub("[[(] *[])]", "", sub(shape, "\\1\\3", rest)))
    }
  }
  bracketed <- grepl("^[[(].*[])]$", rest)
  rest <- trimws(gsub("^[[(]|[])]$", "", rest))
  rest <- sub("^in ", "", rest)
  about <- QUANTITIES[[quantity]]
  if (rest == "") {
    if (is_units) return(list(column = about$column, unit = NA, change = c(0, 1), times = times))
    abort("units", paste0("the column '", name, "' has no unit"), arg = name, column = about$column,
          bare = about$column,
          remedy = paste0("Say it in the header or by `columns = c(", about$column, " = \"", name,
                          "\")`."))
  }
  clock <- if (quantity == "time") clock_of_header(rest)
  if (!is.null(clock)) {
    return(list(column = "time_min", unit = "min", change = c(0, 1), times = times, clock = clock, rank = 2))
  }
  spelled <- gsub("\u00b0|[ ._]|deg(rees?)?", "", rest)
  unit <- unname(UNIT_SPELLINGS[spelled])
  # "T (C)", and "temps" as the plural of temperature
  other <- c(time = "temp", temp = "time")[quantity]
  if (!is.na(unit) && !is.na(other) && !unit %in% names(about$units) &&
      (found$word %in% c("time", "temps") || grepl("(^| )t( |$)", found$word)) &&
      !startsWith(fold_header(name), "time") &&
      unit %in% names(QUANTITIES[[other]]$units)) {
    about <- QUANTITIES[[other]]
  }
  if (is.na(unit) || !unit %in% names(about$units)) {
    if (!bracketed && spelled != "m") return(NULL)
    abort("units", paste0("the unit '", rest, "' of column '", name, "' is ",
                          if (spelled == "m") "ambiguous" else "unknown"), arg = name,
          column = about$column, remedy = paste0("Use one of ", in_quotes(names(about$units)), "."))
  }
  list(column = about$column, unit = unit, change = about$units[[unit]], times = times,
       rank = if (found$word %in% c("time", "temp", "temperature", quantity)) 2 else 3)
}
