# Columns of a table as arguments: the one reader for every function that takes them. A column is
# named bare, in quotes, as .data$x or .data[["x"]], as all_of(variable), passed on by a wrapper as
# {{ x }}, or injected with !!. The caller hands over rlang::enquo(argument).

column_name <- function(column) {
  where <- NULL
  while (rlang::is_quosure(column)) {
    if (rlang::quo_is_missing(column)) {
      abort("argument", "a column argument has no value", arg = "column",
            remedy = "Give the bare or quoted name of a column.")
    }
    where <- rlang::quo_get_env(column)
    column <- rlang::quo_get_expr(column)
  }
  if (is_pronoun_call(column)) {
    part <- column[[3L]]
    if (identical(column[[1L]], quote(`$`))) return(as.character(part))
    # the name may be in a variable of the caller
    column <- if (is.character(part) || is.null(where)) part else {
      tryCatch(eval(part, where), error = function(e) part)
    }
    if (is.symbol(column)) column <- NULL
  }
  if (is_all_of(column)) column <- all_of_names(column, where)
  if (is.symbol(column) && nzchar(as.character(column))) return(as.character(column))
  if (is.character(column) && length(column) == 1L && !is.na(column)) return(column)
  abort("argument", paste0("a column argument must be one name, not `",
                           paste(deparse(column), collapse = " "), "`"), arg = "column",
        remedy = "Give the bare or quoted name of a column; compute the column first.")
}

is_pronoun_call <- function(x) {
  is.call(x) && length(x) == 3L && identical(x[[2L]], quote(.data)) &&
    (identical(x[[1L]], quote(`$`)) || identical(x[[1L]], quote(`[[`)))
}

# all_of(names), with or without the name of a package before it; tidyselect itself is not needed.
is_all_of <- function(x) {
  if (!is.call(x) || rlang::is_quosure(x) || length(x) != 2L) return(FALSE)
  f <- x[[1L]]
  if (is.call(f) && length(f) == 3L && identical(f[[1L]], quote(`::`))) f <- f[[3L]]
  identical(f, quote(all_of))
}

# A name as it is written in code: bare, in backticks where it must be, and as text in quotes.
bare_name <- function(name) deparse1(as.name(name), backtick = TRUE)
name_in_quotes <- function(name) encodeString(name, quote = "\"")

all_of_names <- function(call, where) {
  names <- tryCatch(eval(call[[2L]], if (is.null(where)) baseenv() else where), error = function(e) {
    abort("argument", paste0("`", deparse1(call), "` cannot be computed: ", conditionMessage(e)),
          arg = "column", remedy = "Give a variable that holds names of columns.")
  })
  if (is.character(names)) return(names)
  abort("argument", paste0("`", deparse1(call), "` must hold names of columns, not ", describe(names)),
        arg = "column", remedy = "Give the names as text.")
}

# Columns that an expression in the columns, such as weights = 1 / sd^2, speaks of.
columns_in <- function(expression, data) {
  texts <- function(e) if (is.character(e)) e else if (is.call(e)) unlist(lapply(as.list(e), texts))
  e <- rlang::quo_squash(expression)
  intersect(c(all.vars(e), texts(e)), names(data))
}

# NULL where the argument is NULL.
optional_column <- function(column) if (is_null_column(column)) NULL else column_name(column)

# Whether nothing is named: NULL, or an argument without a value.
is_null_column <- function(column) {
  while (rlang::is_quosure(column)) {
    if (rlang::quo_is_missing(column)) return(TRUE)
    column <- rlang::quo_get_expr(column)
  }
  is.null(column)
}

# Names of key columns: one as above, text with several, or c() of either.
key_names <- function(keys) {
  if (is_null_column(keys)) {
    abort("argument", "`by` is missing", arg = "by",
          remedy = "Name the column that identifies the groups, such as by = coil.")
  }
  where <- NULL
  while (rlang::is_quosure(keys)) {
    where <- rlang::quo_get_env(keys)
    keys <- rlang::quo_get_expr(keys)
  }
  if (identical(keys, quote(character())) || identical(keys, character())) return(character())
  one <- function(key) {
    if (is.character(key)) return(key)
    if (is_all_of(key)) return(all_of_names(key, where))
    column_name(if (is.null(where) || rlang::is_quosure(key)) key else
      rlang::new_quosure(key, where))
  }
  names <- if (is.call(keys) && identical(keys[[1L]], quote(c))) {
    unlist(lapply(as.list(keys)[-1L], one))
  } else one(keys)
  if (length(names) == 0L || anyNA(names) || anyDuplicated(names)) {
    abort("argument", "`by` must name each key column once", arg = "by",
          remedy = "Such as by = coil, or by = c(mill, coil).")
  }
  names
}

# Key columns as given, or those the table is grouped by; NULL for neither.
keys_or_groups <- function(keys, data) {
  if (is_unread(data)) check_data(data)
  groups <- groups_of(data)
  if (is_null_column(keys)) return(if (length(groups)) groups)
  keys <- key_names(keys)
  if (length(groups) && !setequal(groups, keys)) {
    abort("argument", paste0("`data` is grouped by ", in_quotes(groups, " and "), ", and `by` names ",
                             if (length(keys)) in_quotes(keys, " and ") else "nothing"), arg = "by",
          remedy = "Leave `by` out, or use dplyr::ungroup().")
  }
  keys
}

# The names in the column arguments of a table of readings, for functions that take them all.
# Columns of readings as fit_softening() names them.
softening_columns <- function(time, temp, hardness, reading_scale, specimen) {
  lapply(list(time = time, temp = temp, hardness = hardness, scale = reading_scale, specimen = specimen),
         column_name)
}

reading_columns <- function(hardness, specimen, temp, time, reading_scale) {
  lapply(list(hardness = hardness, specimen = specimen, temp_c = temp, time_min = time,
              scale = reading_scale), column_name)
}
