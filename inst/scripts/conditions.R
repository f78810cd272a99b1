# The table of all conditions the package raises, from its sources: file, kind (error, warning,
# message), class and the beginning of the message. From the top of the package:
#   Rscript inst/scripts/conditions.R              prints the table
# Functions that raise on behalf of others name their class as first argument, so a class that
# is computed is found as every piece of text in that argument.

raised_in <- function(file) {
  kinds <- c(abort = "error", warn = "warning", say = "message")
  found <- list()
  walk <- function(x) {
    if (is.call(x)) {
      name <- if (is.symbol(x[[1L]])) as.character(x[[1L]]) else ""
      if (name %in% names(kinds) && length(x) > 2L) {
        classes <- text_in(x[[2L]], conditional = TRUE)
        if (length(classes)) {
          found[[length(found) + 1L]] <<- data.frame(
            file = basename(file), kind = kinds[[name]], class = classes,
            message = substr(paste(text_in(x[[3L]]), collapse = "..."), 1L, 60L))
        }
      }
      for (part in as.list(x)) if (!missing(part)) walk(part)
    } else if (is.pairlist(x)) {
      for (part in as.list(x)) if (!missing(part) && !identical(part, quote(expr = ))) walk(part) # nolint
    }
  }
  for (x in as.list(parse(file, keep.source = FALSE))) walk(x)
  do.call(rbind, found)
}

# Text constants in an expression; of `if (a == "b") "c" else "d"` only what can come out.
text_in <- function(x, conditional = FALSE) {
  if (is.character(x)) return(x)
  if (!is.call(x)) return(character())
  parts <- as.list(x)[-1L]
  if (conditional && identical(x[[1L]], as.name("if"))) parts <- parts[-1L]
  unlist(lapply(parts, text_in, conditional = conditional))
}

condition_table <- function(top = ".") {
  files <- list.files(file.path(top, "R"), "[.]R$", full.names = TRUE)
  table <- do.call(rbind, lapply(files, raised_in))
  rownames(table) <- NULL
  table
}

# Classes on the help page: softanneal_<kind>_<class> in the source of R/checks.R.
documented_conditions <- function(top = ".") {
  page <- grep("^#' \\| `softanneal_", readLines(file.path(top, "R", "checks.R")), value = TRUE)
  sub("^#' \\| `softanneal_([a-z_]+)`.*", "\\1", page)
}

if (sys.nframe() == 0L) print(condition_table(), right = FALSE, row.names = FALSE)
