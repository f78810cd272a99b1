# Text of people and files on its way into another language. One function a target, and every
# writer goes through it: markdown_text() for Markdown, HTML and Word, latex_text() for LaTeX,
# yaml_text() for a header that knitr reads, json_text() for the data of a page, code_text() for R
# code, escape_cells() for CSV, file_names() for names of files. Nothing so written is ever evaluated,
# and it reads as typed.

#' Text from data inside an R Markdown document
#'
#' Writes every punctuation character as a numbered entity, which no reader of Markdown takes for
#' markup, so that a name such as `<b>A</b>`, `a|b` or `\\(x\\)` is shown as it stands and never
#' acts, in HTML as in Word. (A backslash would not do: before a bracket it begins a formula.) The
#' report templates of the package use it for everything that comes from data.
#'
#' Characters that are not seen but turn the order of others (directional marks) or join them
#' (zero width) are shown by their number, such as `<U+202E>`.
#'
#' @param x Text, factor or numbers.
#' @return Character vector of the same length; `NA` becomes empty, line ends become blanks.
#' @seealso [softening_report()], [lab_project()]
#' @examples
#' markdown_text("<script>alert(1)</script> | *A*")
#' @export
markdown_text <- function(x) {
  text <- shown_text(x)
  by_character(text, "[!-/:-@\\[-`{-~]", function(code) paste0("&#", code, ";"))
}

# Valid UTF-8 on one line, with what cannot be seen shown; "" for NA.
UNSEEN <- "[\u00ad\u061c\u180e\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]"

shown_text <- function(x, arg = "x") {
  if (inherits(x, "numeric_version")) x <- as.character(x)
  text <- gsub("[[:cntrl:]]+", " ", enc2utf8(check_names(x, arg)), perl = TRUE)
  text <- gsub("[\u2028\u2029\u0080-\u009f]+", " ", text, perl = TRUE)
  text[is.na(text)] <- ""
  # the joiner within an emoji and between letters of some scripts is part of what is seen
  by_character(text, UNSEEN, function(code) sprintf("<U+%04X>", code))
}

# Every character that `pattern` finds, replaced by what `write` makes of its code point.
by_character <- function(text, pattern, write) {
  hit <- gregexpr(pattern, text, perl = TRUE)
  if (all(unlist(hit) == -1L)) return(text)
  found <- regmatches(text, hit)
  regmatches(text, hit) <- lapply(found, function(x) {
    if (length(x)) write(vapply(x, utf8ToInt, 0L)) else x
  })
  text
}

# For LaTeX: what a font of Latin letters lacks by number, its special characters by name.
latin_text <- function(x) {
  by_character(shown_text(x), "[^\\x01-\\x7e\u00a1-\u017f\u2013\u2014\u2018-\u201d\u2026]",
               function(code) sprintf("<U+%04X>", code))
}

LATEX_NAMES <- c("\\" = "\\textbackslash{}", "#" = "\\#", "$" = "\\$", "%" = "\\%", "&" = "\\&",
                 "_" = "\\_", "{" = "\\{", "}" = "\\}", "~" = "\\textasciitilde{}",
                 "^" = "\\textasciicircum{}", "|" = "\\textbar{}", "`" = "\\textasciigrave{}",
                 "<" = "\\textless{}", ">" = "\\textgreater{}", "\"" = "\\textquotedbl{}",
                 "'" = "\\textquotesingle{}",
                 # at the start of a row these would belong to the line end before it
                 "[" = "{[}", "*" = "{*}", "\u00b0" = "\\textdegree{}")

latex_text <- function(x) {
  text <- by_character(latin_text(x), "[\\\\#$%&_{}~^|`<>\"'\\[*\u00b0]",
                       function(code) LATEX_NAMES[vapply(code, intToUtf8, "")])
  text[] <- gsub("([-,])(?=\\1)", "\\1{}", text, perl = TRUE) # two of these would become one character
  text
}

# A YAML scalar in double quotes, all but letters, digits and blanks by number: no reader of the
# header, knitr with its inline code least of all, finds a mark in it.
yaml_text <- function(x) {
  text <- enc2utf8(check_names(x, "x"))
  paste0("\"", by_character(text, "[^A-Za-z0-9 ]", function(code) {
    ifelse(code < 256L, sprintf("\\x%02x", code),
           ifelse(code < 65536L, sprintf("\\u%04x", code), sprintf("\\U%08x", code)))
  }), "\"")
}

# Data as JSON inside a page of HTML: letters of ASCII alone, and no character with which a tag or comment
# could begin. Doubles are exact: those that need more than the 15 digits of jsonlite, or are not finite,
# go as their bytes (page.js reads them). Vectors of one element are scalars unless in I().
json_text <- function(x) {
  need_package("jsonlite", "to write the page")
  text <- jsonlite::toJSON(plain_json(x), auto_unbox = TRUE, digits = NA, na = "null", null = "null")
  by_character(enc2utf8(as.character(text)), "[<>&\\x7f]|[^\\x01-\\x7f]", function(code) {
    over <- code - 65536L
    ifelse(code < 65536L, sprintf("\\u%04x", code),
           sprintf("\\u%04x\\u%04x", 55296L + over %/% 1024L, 56320L + over %% 1024L))
  })
}

plain_json <- function(x) {
  if (is.null(x)) return(NULL)
  if (is.data.frame(x)) return(lapply(as.list(x), function(v) plain_json(I(v))))
  if (is.matrix(x)) return(lapply(seq_len(nrow(x)), function(i) plain_json(I(as.vector(x[i, ])))))
  if (is.list(x)) return(lapply(x, plain_json))
  whole <- inherits(x, "AsIs") || length(x) != 1L
  x <- if (is.factor(x)) as.character(x) else as.vector(unclass(x))
  names(x) <- NULL
  if (is.character(x)) x <- enc2utf8(valid_text(x))
  short <- function(v) as.double(formatC(v, digits = 15L, format = "g", width = 1L,
                                       decimal.mark = "."))
  if (is.double(x) && !(all(is.finite(x)) && identical(short(x), x))) {
    bytes <- jsonlite::base64_enc(writeBin(x, raw(), endian = "little"))
    return(stats::setNames(list(gsub("[^A-Za-z0-9+/=]", "", bytes)), if (whole) "#doubles" else "#double"))
  }
  if (whole) I(x) else x
}

# A string of R code, in double quotes; R itself refuses code with marks that turn its order.
code_text <- function(x) {
  by_character(encodeString(x, quote = "\""), UNSEEN, function(code) sprintf("\\u%04x", code))
}

# Text cells that a spreadsheet would take for a formula get an apostrophe before them; so do
# those that begin with one and would then look alike. Numbers such as -3 are left as they are.
# plain_cells() takes the apostrophe off again.
FORMULA_START <- "^'*[=+@\t\r\n-]"

escape_cells <- function(x) {
  x <- valid_text(x)
  formula <- grepl(FORMULA_START, x, useBytes = TRUE) &
    !grepl("^[+-]?[0-9.]+([eE][+-]?[0-9]+)?$", x, useBytes = TRUE)
  x[formula] <- paste0("'", x[formula])
  x
}

plain_cells <- function(x) {
  escaped <- grepl(paste0("^'", substring(FORMULA_START, 2L)), x, useBytes = TRUE)
  x[escaped] <- substring(x[escaped], 2L)
  x
}

# Names of files from names of people's choice: letters, digits, _ and - of it, at most 60 of them;
# never empty, hidden, an option or a device of Windows; distinct where case does not count.
DEVICES <- "^(con|prn|aux|nul|com[0-9]|lpt[0-9])$"

file_names <- function(x, ext, empty = "group") {
  name <- gsub("[^\\p{L}\\p{N}_-]+", "-", enc2utf8(check_names(x, "x")), perl = TRUE)
  name <- gsub("^-+|-+$", "", substr(name, 1L, 60L))
  name[!nzchar(name)] <- empty
  device <- grepl(DEVICES, name, ignore.case = TRUE)
  name[device] <- paste0(name[device], "_")
  taken <- character()
  for (k in seq_along(name)) {
    wanted <- name[k]
    n <- 1L
    while (tolower(wanted) %in% taken) {
      n <- n + 1L
      wanted <- paste0(name[k], "-", n)
    }
    name[k] <- wanted
    taken[k] <- tolower(wanted)
  }
  paste0(name, ".", ext)
}

# A name that begins with a dot is hidden from most people.
check_seen <- function(path, arg) {
  if (startsWith(basename(path), ".")) {
    abort("file", paste0("the name '", basename(path), "' would make a hidden file"), arg = arg,
          remedy = "Give the file a name that does not begin with a dot.")
  }
}
