# The table of all conditions the package raises, from its sources: place (file and line), kind
# (error, warning, message), class and the beginning of the message; and what is needed to see
# which of them the tests raise. From the top of the package:
#   Rscript inst/scripts/dev/conditions.R              prints the table
# A class that is computed is found as every piece of text in that argument; where it is handed
# in from elsewhere the table says "(given)".

CONDITION_KINDS <- c(abort = "error", warn = "warning", say = "message")

# The calls of abort(), warn() and say() in one file, with line and column of the function name.
raised_in <- function(file) {
  parts <- utils::getParseData(parse(file, keep.source = TRUE))
  at <- which(parts$token == "SYMBOL_FUNCTION_CALL" & parts$text %in% names(CONDITION_KINDS))
  rows <- lapply(at, function(i) {
    # parent of the name is the expression of the function, its parent the whole call
    whole <- parts$parent[parts$id == parts$parent[i]]
    call <- str2lang(utils::getParseText(parts, whole))
    classes <- text_in(call[[2L]], conditional = TRUE)
    data.frame(place = paste0(basename(file), ":", parts$line1[i], ":", parts$col1[i]),
               kind = CONDITION_KINDS[[parts$text[i]]],
               class = if (length(classes)) classes else "(given)",
               message = substr(paste(text_in(call[[3L]]), collapse = "..."), 1L, 60L),
               fields = paste(names(call)[-(1:3)], collapse = " "))
  })
  do.call(rbind, rows)
}

# Text constants in an expression; of `if (a == "b") "c" else "d"` only what can come out.
text_in <- function(x, conditional = FALSE) {
  if (is.character(x)) return(x)
  if (!is.call(x)) return(character())
  parts <- as.list(x)[-1L]
  if (conditional && identical(x[[1L]], as.name("if"))) parts <- parts[-1L]
  unlist(lapply(parts, text_in, conditional = conditional))
}

# `parts` adds the names of what is given besides class and message.
condition_table <- function(top = ".", parts = FALSE) {
  files <- list.files(file.path(top, "R"), "[.]R$", full.names = TRUE)
  table <- do.call(rbind, lapply(files, raised_in))
  rownames(table) <- NULL
  if (parts) table else table[names(table) != "fields"]
}

# Classes on the help page: softanneal_<kind>_<class> in the source of R/checks.R.
documented_conditions <- function(top = ".") {
  page <- grep("^#' \\| `softanneal_", readLines(file.path(top, "R", "checks.R")), value = TRUE)
  sub("^#' \\| `softanneal_([a-z_]+)`.*", "\\1", page)
}

# Rewrites the R files of a copy of the package so that each abort(), warn() and say() notes its
# place, kind, class and message in the file that the variable SOFTANNEAL_CONDITIONS names. Lines
# keep their numbers. What is added stands in R/zzz-noted.R.
note_conditions <- function(copy) {
  for (file in list.files(file.path(copy, "R"), "[.]R$", full.names = TRUE)) {
    parts <- utils::getParseData(parse(file, keep.source = TRUE))
    parts <- parts[parts$token == "SYMBOL_FUNCTION_CALL" &
                     parts$text %in% names(CONDITION_KINDS), ]
    lines <- readLines(file, encoding = "UTF-8")
    # from the end, so that columns stay true
    for (i in order(-parts$line1, -parts$col1)) {
      line <- parts$line1[i]
      from <- parts$col1[i]
      lines[line] <- paste0(
        substr(lines[line], 1L, from - 1L), "noted(", parts$text[i], ", \"", basename(file), ":",
        line, ":", from, "\", \"", CONDITION_KINDS[[parts$text[i]]], "\")",
        substr(lines[line], parts$col2[i] + 1L, nchar(lines[line])))
    }
    writeLines(lines, file, useBytes = TRUE)
  }
  writeLines(c(
    "NOTED <- new.env()",
    "noted <- function(raise, place, kind) function(what, message, ...) {",
    "  file <- Sys.getenv(\"SOFTANNEAL_CONDITIONS\")",
    "  key <- paste(place, kind, what, sep = \"\\t\")",
    "  if (nzchar(file) && is.null(NOTED[[key]])) {",
    "    text <- gsub(\"[\\t\\r\\n]+\", \" \", substr(valid_text(message), 1L, 300L))",
    "    cat(key, \"\\t\", text, \"\\n\", sep = \"\", file = file, append = TRUE)",
    "    NOTED[[key]] <- TRUE",
    "  }",
    "  raise(what, message, ...)",
    "}"), file.path(copy, "R", "zzz-noted.R"))
}

# The table with a column `raised`, from what was noted during a run of the tests.
raised_conditions <- function(table, notes) {
  noted <- strsplit(readLines(notes, warn = FALSE), "\t", fixed = TRUE)
  noted <- do.call(rbind, lapply(noted, utils::head, 3L))
  exact <- paste(noted[, 1L], noted[, 2L], noted[, 3L])
  place <- paste(noted[, 1L], noted[, 2L])
  table$raised <- ifelse(table$class == "(given)", paste(table$place, table$kind) %in% place,
                         paste(table$place, table$kind, table$class) %in% exact)
  table
}

report_conditions <- function(table) {
  missing <- table[!table$raised, setdiff(names(table), "raised")]
  if (nrow(missing)) {
    cat("\nNot raised by any test:\n")
    print(missing, right = FALSE, row.names = FALSE)
  }
  cat("\n", sum(table$raised), " of ", nrow(table), " conditions raised by the tests\n", sep = "")
}

if (sys.nframe() == 0L) print(condition_table(), right = FALSE, row.names = FALSE)
