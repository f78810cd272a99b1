# Numbers as students write them: "159,9 +- 0,6", "ca. 78", "1.43 x 10^-2", "Q = 139 kJ per mole". A cell is
# read only if all of it is understood: a name of the quantity, a word for about, a number, its uncertainty
# (not marked), a unit. All else is left for somebody to look at.

# A table of `number`, the `other` reading of a comma (NA: none), `digits` (the number as written, with a
# point), `unit` (written behind the number) and `doubt` (may be two numbers, or a power that lost its sign).
answer_cells <- function(text, comma, quantity) {
  cells <- lapply(seq_along(text), function(i) {
    cell <- if (!is.na(text[i])) read_answer_cell(answer_signs(text[i]), comma, quantity[i])
    cell %or% list(number = NA_real_, other = NA_real_, digits = text[i], unit = NA_character_,
                   doubt = FALSE)
  })
  columns <- c("number", "other", "digits", "unit", "doubt")
  as.data.frame(lapply(stats::setNames(columns, columns), function(name) unlist(lapply(cells, `[[`, name))))
}

# Spaces, signs, raised and lowered digits of Unicode in ASCII.
answer_signs <- function(x) {
  x <- gsub("[\u00a0\u2007\u2009\u202f]", " ", x)
  x <- gsub("[\u2212\u2010\u2011]", "-", x)
  x <- sub("^[\u2013\u2014](?=[0-9.,])", "-", x, perl = TRUE)
  x <- gsub("[\u2019\u02bc]", "'", x)
  x <- gsub("[\u00d7\u00b7\u22c5\u2219\u2715]", "*", x)
  raised <- "\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079\u207a\u207b"
  x <- gsub(paste0("([", raised, "]+)"), "^\\1", x)
  x <- chartr(raised, "0123456789+-", x)
  x <- chartr("\u2080\u2081\u2082\u2083\u2084\u2085\u2086\u2087\u2088\u2089", "0123456789", x)
  x <- gsub("\\( +", "(", gsub(" +", " ", x))
  trimws(gsub(" +\\)", ")", x))
}

# Names that may stand before "=". "ln k", "Q/R" or "T" are other quantities.
ANSWER_NAMES <- c(
  h_worked = "[Hh]|HV ?[0-9]*|[Hh]_?(?:w|0|worked)|[Hh]ardness", n = "[nN]|[Ee]xponent",
  h_soft = "[Hh]|HV ?[0-9]*|[Hh]_?(?:s|soft)|[Hh]ardness", k_per_min = "[kK]|k_per_min",
  t50_min = "t|t_?50|t_?\\(?1/2\\)?|t_?0[.,]5|t50_min|[Hh]alf[ -]time",
  q_kj_mol = "[QqE]|[QqE]_?a|q_kj_mol|[Aa]ctivation energy")

ABOUT_WORDS <- "^(?:approximately|approx\\.?|about|around|circa|ca\\.?|c\\.|etwa|rund|environ|~|\u2248|=) ?"

ANSWER_CELL <- local({
  mantissa <- "([-+]?(?:[0-9]{1,3}(?:[ '][0-9]{3})+(?:[.,][0-9]+)?|[0-9][0-9.,]*|[.,][0-9]+))"
  power <- paste0("(?: ?[eE] ?([-+]?[0-9]{1,3})| ?[x*] ?10 ?(?:(?:\\^|\\*\\*) ?[({]?([-+]?[0-9]{1,2})[)}]?|",
                  "([-+][0-9]{1,2})|([0-9]{1,2})))?")
  spread <- "(?: ?(?:\u00b1|\\+ ?/? ?-) ?[0-9]*[.,]?[0-9]+(?:[eE][-+]?[0-9]+)?(?: ?%)?)?"
  # (1.43 +- 0.02) x 10^-2 1/min; 139(2) kJ/mol +- 2 kJ/mol
  paste0("^(?:\\(", mantissa, spread, "\\)|", mantissa, "(?:\\([0-9.,]+\\))?)", power, "(?![0-9.,])", spread,
         "(?: ?([^\u00b1+]*[A-Za-z][^\u00b1+]*?))?(", spread, ")(?: ?((?:1/)?[A-Za-z/][^\u00b1+]*))?$")
})

read_answer_cell <- function(x, comma, quantity) {
  name <- ANSWER_NAMES[quantity]
  if (!is.na(name)) x <- sub(paste0("^(?:", name, ") ?(?:=|:|~|\u2248) ?(?=.)"), "", x, perl = TRUE)
  x <- sub(ABOUT_WORDS, "", x, ignore.case = TRUE, perl = TRUE)
  x <- sub("^\\(([^()]*)\\)$", "\\1", x)
  time <- if (identical(quantity, "t50_min")) read_clock(x)
  if (!is.null(time)) return(time)
  part <- regmatches(x, regexec(ANSWER_CELL, x, perl = TRUE))[[1L]]
  if (!length(part)) return(NULL)
  unit <- part[8L]
  # the unit of the uncertainty is that of the number
  again <- part[10L]
  same <- nzchar(part[9L]) && plain_answer_unit(again) == plain_answer_unit(unit)
  if (nzchar(again) && !same) return(NULL)
  found <- read_mantissa(paste0(part[2L], part[3L]), comma)
  if (is.null(found)) return(NULL)
  powers <- part[4:7][nzchar(part[4:7])]
  if (length(powers)) {
    found$point <- paste0(found$point, "e", powers)
    found$other <- NA_real_
  }
  list(number = as.numeric(found$point), other = found$other, digits = found$point,
       unit = if (nzchar(unit)) sub("[.]$", "", unit) else NA_character_,
       doubt = found$doubt || nzchar(part[7L]))
}

# Digits with marks between them: with a decimal point, and the other reading of one lone mark. NULL: neither
# decimal nor thousands.
read_mantissa <- function(text, comma) {
  whole <- "^[-+]?[1-9][0-9]{0,2}"
  give <- function(point, other = NA_real_, doubt = FALSE) list(point = point, other = other, doubt = doubt)
  if (grepl("[ ']", text)) {
    if (!grepl(paste0(whole, "(?:( [0-9]{3})+|('[0-9]{3})+)([.,][0-9]+)?$"), text)) return(NULL)
    return(give(sub(",", ".", gsub("[ ']", "", text), fixed = TRUE), doubt = grepl(" ", text, fixed = TRUE)))
  }
  marks <- gsub("[^.,]", "", text)
  if (!nzchar(marks)) return(give(text))
  if (nchar(marks) == 1L) {
    decimal <- if (comma) "," else "."
    point <- sub(",", ".", text, fixed = TRUE)
    if (marks == decimal) return(give(point))
    if (!grepl("[0-9]$", text)) return(NULL)
    either <- grepl(paste0(whole, "[.,][0-9]{3}$"), text)
    return(give(point, if (either) as.numeric(sub("[.,]", "", text)) else NA_real_))
  }
  # several: thousands, and the last one, if it is another, is the decimal mark
  for (mark in c(",", ".")) {
    other <- if (mark == ",") "." else ","
    if (grepl(paste0(whole, "([", mark, "][0-9]{3})+([", other, "][0-9]+)?$"), text)) {
      return(give(sub(",", ".", gsub(mark, "", text, fixed = TRUE), fixed = TRUE)))
    }
  }
  NULL
}

# "0:56:00" and "1 h 2 min 3 s", in the unit of the last part; "56:30" may be min:s or h:min.
read_clock <- function(x) {
  clock <- "^([0-9]{1,3}):([0-5][0-9]):([0-5][0-9](?:[.,][0-9]+)?)$"
  part <- regmatches(x, regexec(clock, x, perl = TRUE))[[1L]]
  if (!length(part)) {
    number <- "([0-9]+(?:[.,][0-9]+)?)"
    part <- regmatches(x, regexec(paste0(
      "^(?:([0-9]+) ?(?:h|hrs?|hours?)[ ,]*)?(?:", number, " ?(?:m|mins?|minutes?)[ ,]*)?(?:", number,
      " ?(?:s|secs?|seconds?))?$"), x, perl = TRUE))[[1L]]
    if (sum(nzchar(part[-1L])) < 2L) return(NULL)
  }
  last <- max(which(nzchar(part)))
  piece <- strsplit(part[last], "[.,]")[[1L]]
  if (any(grepl("[.,]", part[2:(last - 1L)]))) return(NULL)
  larger <- function(k) if (nzchar(part[k])) as.numeric(part[k]) else 0
  before <- if (last == 4L) 3600 * larger(2L) + 60 * larger(3L) else 60 * larger(2L)
  digits <- paste0(format(before + as.numeric(piece[1L]), scientific = FALSE), ".", c(piece, "")[2L])
  list(number = as.numeric(digits), other = NA_real_, digits = digits, unit = if (last == 4L) "s" else "min",
       doubt = FALSE)
}
