# Argument checks and conditions. Every error of this package is raised here: its class
# is softanneal_error_<what> over softanneal_error, its message names argument, rows and
# remedy, and the same facts travel as fields. Nothing here alters data.

# 0 degrees Celsius in K. Twin: SA_ZERO_CELSIUS in src/status.h.
ZERO_CELSIUS <- 273.15

#' Conditions raised by softanneal
#'
#' Bad input stops with an error of class `softanneal_error_<what>`, which inherits from
#' `softanneal_error`. Its fields `arg`, `rows` and `remedy` repeat what the message states,
#' so that a script can act on them; its call is that of the function you called. Warnings are
#' of class `softanneal_warning_<what>` over `softanneal_warning`, with fields `n` and `rows`.
#'
#' | class | when |
#' |---|---|
#' | `softanneal_error_argument` | an argument has the wrong type, length or choice |
#' | `softanneal_error_range` | a value lies outside what physics or the scale allows |
#' | `softanneal_error_missing` | a value is missing or not finite where it must not be |
#' | `softanneal_error_column` | a table lacks a column, or a column has the wrong type |
#' | `softanneal_error_units` | a unit is unknown or cannot be converted |
#' | `softanneal_error_scale` | a hardness scale or conversion table is unknown |
#' | `softanneal_error_duplicate` | rows contradict or repeat each other |
#' | `softanneal_error_file` | a file cannot be read or written |
#' | `softanneal_error_too_few` | there are fewer values than the computation needs |
#' | `softanneal_error_model` | models cannot be compared, or a model does not offer what is asked |
#' | `softanneal_error_object` | a saved object was altered or is not whole |
#' | `softanneal_error_package` | a suggested package is needed and not installed |
#' | `softanneal_error_workers` | a worker of [future::plan()] was lost, or cannot be sent its work |
#'
#' | class | when |
#' |---|---|
#' | `softanneal_warning_missing` | rows were left out because a value is missing |
#' | `softanneal_warning_too_few` | groups are too small for what is asked; they are `NA` |
#' | `softanneal_warning_outside` | results are `NA` because they lie outside a table or range |
#' | `softanneal_warning_fit` | a fit did not converge, met a bound, or does not determine a parameter |
#' | `softanneal_warning_extrapolation` | a prediction lies outside the readings |
#' | `softanneal_warning_assumption` | an assumption of the computation does not hold |
#' | `softanneal_warning_sampling` | chains of a posterior disagree, diverged, or hold few effective draws |
#'
#' Messages are of class `softanneal_message_<what>` over `softanneal_message`.
#'
#' | class | when |
#' |---|---|
#' | `softanneal_message_file` | how a file was read: separator, decimal mark, encoding, empty rows |
#' | `softanneal_message_findings` | a report has errors or warnings of [check_readings()] |
#' | `softanneal_message_units` | a column was converted to the unit of the bench |
#' | `softanneal_message_history` | accumulated times differ a little from the steps of the log |
#' | `softanneal_message_groups` | a table was divided by columns such as `group` |
#' | `softanneal_message_plan` | the plan given stays: what [improve_plan()] found is worse with all errors |
#' | `softanneal_message_threads` | fewer threads can start than were asked for |
#'
#' @name softanneal-conditions
#' @seealso [base::tryCatch()], [base::warning()]
#' @examples
#' tryCatch(jmak_fraction(-1, k = 0.1, n = 2),
#'          softanneal_error_range = function(e) e$remedy)
NULL

# `where`: the place on a sheet, said instead of the rows.
abort <- function(what, message, arg = NULL, rows = NULL, remedy = NULL, ..., where = NULL, call = NULL) {
  if (is.null(where) && length(rows)) where <- in_rows(rows)
  text <- paste0(message, if (!is.null(where)) paste0(" (", where, ")"), ".",
                 if (!is.null(remedy)) paste0(" ", remedy))
  if (is.null(call)) call <- user_call()
  stop(errorCondition(text, class = c(paste0("softanneal_error_", what), "softanneal_error"),
                      arg = arg, rows = rows, remedy = remedy, where = where, ..., call = call))
}

warn <- function(what, message, n = NULL, rows = NULL, ..., call = NULL) {
  if (is.null(call)) call <- user_call()
  warning(warningCondition(message, class = c(paste0("softanneal_warning_", what),
                                              "softanneal_warning"),
                           n = n, rows = rows, ..., call = call))
}

# "row 3"; "rows 3, 7"; "rows 1, 2, 3, 4, 5 and 12 more"
in_rows <- function(rows, most = 5L) {
  shown <- utils::head(rows, most)
  more <- length(rows) - length(shown)
  paste0(if (length(rows) == 1L) "row " else "rows ", paste(shown, collapse = ", "),
         if (more > 0L) paste0(" and ", more, " more"))
}

# The names of choices in quotes: 'a', 'b' or 'c'
in_quotes <- function(x, last = " or ") {
  x <- paste0("'", x, "'")
  if (length(x) < 2L) return(x)
  paste0(paste(x[-length(x)], collapse = ", "), last, x[length(x)])
}

# What an argument is, in words a student understands
describe <- function(x) {
  if (is.null(x)) return("NULL")
  if (is_unread(x)) return("a table that has not been read yet")
  kind <- if (is.factor(x)) "a factor" else if (is.data.frame(x)) "a data frame" else switch(
    typeof(x), double = , integer = "a number", character = "text", logical = "TRUE/FALSE/NA",
    list = "a list", closure = "a function", environment = "an environment", paste("a", typeof(x)))
  if (is.atomic(x) && length(x) != 1L) paste0(kind, " of length ", length(x)) else kind
}

# Numeric vector with bounds. `length` fixes the length; `na = TRUE` lets NA pass.
# Returns x as plain double.
check_numeric <- function(x, arg, lower = -Inf, upper = Inf, open = FALSE, length = NULL,
                          na = FALSE, remedy = NULL) {
  if (is.double(x) && is.null(attributes(x)) && is.null(length) && length(x)) {
    least <- min(x)
    most <- max(x)
    if (is.finite(least) && is.finite(most) && # plain and within bounds: most columns are
        (if (open) least > lower && most < upper else least >= lower && most <= upper)) return(x)
  }
  if (inherits(x, c("units", "difftime"))) x <- bench_units(x, arg)
  if (!is.numeric(x) || is.factor(x)) {
    if (!(na && is.logical(x) && all(is.na(x)))) {
      abort("argument", paste0("`", arg, "` must be numeric, not ", describe(x)), arg = arg,
            remedy = remedy)
    }
  }
  if (!is.null(length) && length(x) != length) {
    abort("argument", paste0("`", arg, "` must have length ", length, ", not ", length(x)),
          arg = arg, remedy = remedy)
  }
  x <- as.double(x)
  if (anyNA(x)) {
    bad <- if (na) which(is.nan(x)) else which(is.na(x))
    if (length(bad)) {
      abort("missing", paste0("`", arg, "` must not be ", if (na) "NaN" else "missing"),
            arg = arg, rows = if (length(x) > 1L) bad,
            remedy = if (is.null(remedy)) "Give a number, or leave the row out yourself." else remedy)
    }
  }
  ok <- is.na(x) | (if (open) x > lower & x < upper else x >= lower & x <= upper) & is.finite(x)
  if (!all(ok)) {
    bad <- which(!ok)
    infinite <- any(is.infinite(x[bad]))
    abort(if (infinite) "missing" else "range",
          paste0("`", arg, "` must be ",
                 if (infinite) "finite" else describe_bounds(lower, upper, open),
                 ", not ", format(x[bad[1L]])),
          arg = arg, rows = if (length(x) > 1L) bad,
          remedy = if (is.null(remedy)) "Check the value and its unit." else remedy)
  }
  x
}

describe_bounds <- function(lower, upper, open = FALSE) {
  low <- is.finite(lower)
  high <- is.finite(upper)
  if (low && high) return(paste0(if (open) "strictly ", "between ", format(lower), " and ", format(upper)))
  if (low && lower == 0) return(if (open) "positive" else "zero or more")
  if (low) return(paste0(if (open) "above " else "at least ", format(lower)))
  paste0(if (open) "below " else "at most ", format(upper))
}

check_number <- function(x, arg, lower = -Inf, upper = Inf, open = FALSE, whole = FALSE,
                         null = FALSE, remedy = NULL) {
  if (null && is.null(x)) return(NULL)
  x <- check_numeric(x, arg, lower, upper, open, length = 1L, remedy = remedy)
  if (whole && x != round(x)) {
    abort("argument", paste0("`", arg, "` must be a whole number, not ", format(x)), arg = arg,
          remedy = remedy)
  }
  x
}

# Quantiles of levels nearer to 0 or 1 than 1e-9 are not told from those of 0 and 1.
check_level <- function(level, arg = "level") {
  level <- check_number(level, arg, 0, 1, open = TRUE)
  if (min(level, 1 - level) < 1e-9) {
    abort("range", paste0("`", arg, "` must be between 1e-9 and 1 - 1e-9, not ",
                          format(level, digits = 17L)), arg = arg, remedy = "For example 0.95.")
  }
  level
}

check_string <- function(x, arg, null = FALSE) {
  if (null && is.null(x)) return(NULL)
  if (!is.character(x) || length(x) != 1L || is.na(x)) {
    abort("argument", paste0("`", arg, "` must be one piece of text, not ", describe(x)), arg = arg,
          remedy = "Put it in quotes.")
  }
  x
}

check_flag <- function(x, arg) {
  if (!is.logical(x) || length(x) != 1L || is.na(x)) {
    abort("argument", paste0("`", arg, "` must be TRUE or FALSE, not ", describe(x)), arg = arg)
  }
  x
}

# As match.arg(), with our conditions. `choices` may be the default vector itself.
check_choice <- function(x, choices, arg) {
  if (identical(x, choices)) return(choices[1L])
  x <- check_string(x, arg)
  if (x %in% choices) return(x)
  abort("argument", paste0("`", arg, "` must be ", in_quotes(choices), ", not '", x, "'"), arg = arg,
        remedy = "Choose one of these.")
}

check_dots_empty <- function(...) {
  if (...length() == 0L) return(invisible())
  given <- ...names()
  given <- if (is.null(given)) rep("", ...length()) else given
  given[is.na(given) | given == ""] <- "(unnamed)"
  abort("argument", paste0("unknown argument ", in_quotes(given, " and ")), arg = given,
        remedy = "Check its spelling; nothing is ignored.")
}

# `groups`: whether groups of dplyr::group_by() may be there; a function that would ignore them refuses them.
check_data <- function(data, arg = "data", rows = TRUE, groups = TRUE, limits = FALSE) {
  if (!is.data.frame(data)) {
    abort("argument", paste0("`", arg, "` must be a data frame, not ", describe(data)), arg = arg,
          remedy = if (is_unread(data)) READ_IT_FIRST else {
            "Read a file with `read_readings()`, or build a table with `data.frame()`."
          })
  }
  if (rows && nrow(data) == 0L) {
    abort("too_few", paste0("`", arg, "` has no rows"), arg = arg,
          remedy = "Check that the file holds readings below its header.")
  }
  if (!groups && length(groups_of(data))) {
    abort("argument", paste0("`", arg, "` is grouped by ", in_quotes(groups_of(data), " and "),
                             ", and all its rows would be taken as one"), arg = arg,
          remedy = "Use dplyr::ungroup(), or a function with `by` such as fit_each().")
  }
  if (anyDuplicated(names(data))) {
    twice <- unique(names(data)[duplicated(names(data))])
    abort("column", paste0("`", arg, "` has more than one column ", in_quotes(twice, " and ")),
          arg = arg, remedy = "Rename one of them.")
  }
  if (!limits) refuse_limits(data, arg)
  invisible(data)
}

# One numeric column of a table as plain double, with `units` columns converted to `unit`
# (a unit symbol of the units package) and everything else refused by name and row.
numeric_column <- function(data, column, arg = "data", unit = NULL, lower = -Inf, upper = Inf,
                           open = FALSE, na = FALSE, remedy = NULL) {
  x <- any_column(data, column, arg)
  if (is.object(x)) x <- plain_class(x, unit, column)
  if (is.character(x) || is.factor(x)) {
    text <- valid_text(as.character(x))
    bad <- which(!is.na(text) & is.na(suppressWarnings(as.numeric(text))))
    shown <- if (length(bad)) paste0(", such as '", text[bad[1L]], "'") else ""
    abort("column", paste0("column `", column, "` must hold numbers, not text", shown), arg = column,
          rows = bad, remedy = "Correct these cells; use a decimal point and no unit.")
  }
  if (is.list(x) || !is.null(dim(x)) || !(is.numeric(x) || (is.logical(x) && all(is.na(x))))) {
    abort("column", paste0("column `", column, "` must hold numbers, not ", describe(x)),
          arg = column, remedy = "Give one number per row.")
  }
  check_numeric(x, column, lower, upper, open, na = na, remedy = remedy)
}

any_column <- function(data, column, arg = "data") {
  x <- .subset2(data, column)
  if (is.null(x)) {
    abort("column", paste0("`", arg, "` has no column `", column, "`"), arg = column,
          remedy = paste0(
            "It has ", in_quotes(names(data), " and "), ". ",
            if (tolower(valid_text(column)) %in% tolower(valid_text(names(data)))) {
              paste0("`", names(data)[match(tolower(valid_text(column)),
                                         tolower(valid_text(names(data))))],
                     "` differs in case only: ")
            }, "Rename a column, or name the right one in the call."))
  }
  if (inherits(x, "POSIXlt")) x <- as.POSIXct(x)
  if (is.list(x) || !is.null(dim(x))) {
    abort("column", paste0("column `", column, "` must hold one value per row, and is ",
                           if (is.list(x)) "a list" else "a matrix"), arg = column,
          remedy = "Give one plain value per row.")
  }
  x
}

# A column of class `units` as plain numbers in the unit wanted.
plain_units <- function(x, unit, arg) {
  need_package("units", "to read a column of class 'units'")
  if (is.null(unit)) return(as.double(unclass(x)))
  tryCatch(as.double(units::set_units(x, unit, mode = "standard")), error = function(e) {
    abort("units", paste0("`", arg, "` cannot be converted to ", unit), arg = arg,
          remedy = "Check the unit of the column.")
  })
}

need_package <- function(package, why) {
  if (!requireNamespace(package, quietly = TRUE)) {
    abort("package", paste0("the package '", package, "' is needed ", why), arg = package,
          remedy = paste0("Install it with install.packages(\"", package, "\")."))
  }
  invisible(TRUE)
}

# Recycle to a common length; only length 1 is recycled.
common_length <- function(..., spread = TRUE) {
  x <- list(...)
  sizes <- lengths(x)
  n <- if (any(sizes == 0L)) 0L else max(sizes)
  odd <- which(sizes != 1L & sizes != n)
  if (length(odd)) {
    abort("argument", paste0("`", names(x)[odd[1L]], "` has length ", sizes[odd[1L]],
                             " where the others have ", n),
          arg = names(x)[odd[1L]], remedy = "Give one value, or one for each.")
  }
  lapply(x, function(one) {
    as_is <- length(one) == n || (n > 0L && !spread)
    if (as_is && is.null(attributes(one))) one else rep_len(one, n)
  })
}

# Bytes that are invalid in the encoding they claim, shown as <ff>: text functions and
# messages stop on them otherwise.
valid_text <- function(x) {
  bad <- which(!validEnc(x))
  x[bad] <- iconv(x[bad], "UTF-8", "UTF-8", sub = "byte")
  x
}

# Names of things (text, factor, numbers) as valid text; nothing else has an obvious name.
check_names <- function(x, arg) {
  if (!(is.atomic(x) || is.factor(x)) || is.null(x)) {
    abort("argument", paste0("`", arg, "` must be names, not ", describe(x)), arg = arg,
          remedy = "Give text.")
  }
  valid_text(as.character(x))
}

# A path as text: no stray bytes, and no longer than any file system takes.
check_path <- function(x, arg) {
  x <- check_string(x, arg)
  if (!nzchar(x) || !validEnc(x) || nchar(x, "bytes") > 4000L) {
    abort("file", paste0("`", arg, "` is not a valid path"), arg = arg,
          remedy = "Give the path of a folder, in quotes.")
  }
  x
}

# Files are written alike whatever the session prefers to print.
with_usual_digits <- function(code) {
  old <- options(scipen = 0L)
  on.exit(options(old))
  force(code)
}

# 12,345; with the decimal mark named, since options(OutDec = ",") would make both the same
thousands <- function(n) format(n, big.mark = ",", decimal.mark = ".", scientific = FALSE)
