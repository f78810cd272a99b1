# Readings of several metals in one table: the conversion table of each row, by its name or by a column.

# Names of alloys that have a conversion table under another name.
TABLE_OF_ALLOY <- c(C26000 = "brass", CuZn30 = "brass", aluminum = "aluminium",
                    "aluminium 1100" = "aluminium", "carbon steel" = "steel")

# The argument `material` of a function with a table: the name of a conversion table, a column (bare or
# quoted), or, where nothing is given, the column `material` if there is one. Returns `name`, one or one
# per row, and `column` (NULL without). Names that no table has stay: they count where one is needed.
material_of_rows <- function(data, quo, given) {
  column <- metal_column(data, quo, given)
  if (!is.null(column)) return(list(name = materials_in(data, column), column = column))
  name <- if (given) rlang::eval_tidy(quo) else "brass"
  # stops, and says what it must be
  if (!is.character(name) || length(name) != 1L || is.na(name)) table_of(name)
  list(name = valid_text(name), column = NULL)
}

# The tables named in a column: one, or one per row.
materials_in <- function(data, column) {
  x <- any_column(data, column)
  if (anyNA(x)) {
    abort("missing", paste0("column `", column, "` must name a metal in every row"), arg = column,
          rows = which(is.na(x)), remedy = "Fill in these cells, such as brass or copper.")
  }
  own <- unique(x)
  name <- table_names(valid_text(as.character(own)))
  if (length(unique(name)) == 1L) name[1L] else name[match(x, own)]
}

metal_column <- function(data, quo, given) {
  if (!is.data.frame(data)) return(NULL)
  if (!given) return(if ("material" %in% names(data)) "material")
  named <- rlang::quo_get_expr(quo)
  if (is.symbol(named) && as.character(named) %in% names(data)) return(as.character(named))
  if (rlang::is_quosure(named) || is_pronoun_call(named) || is_all_of(named)) return(column_name(quo))
  if (is.symbol(named) && !exists(as.character(named), rlang::quo_get_env(quo))) {
    any_column(data, as.character(named)) # stops, with the columns there are
  }
  value <- rlang::eval_tidy(quo)
  known <- is.character(value) && length(value) == 1L && !is.na(value)
  if (known) value <- valid_text(value)
  if (known && is.na(match(table_names(value), names(scale_tables))) && value %in% names(data)) value
}

table_names <- function(x) {
  known <- match(tolower(x), tolower(names(TABLE_OF_ALLOY)))
  plain <- match(tolower(x), names(scale_tables))
  ifelse(!is.na(plain), names(scale_tables)[plain], ifelse(is.na(known), x, TABLE_OF_ALLOY[known]))
}

# For functions of one metal: several stop with the call that fits each.
one_metal <- function(data, quo, given) {
  found <- material_of_rows(data, quo, given)
  if (length(found$name) > 1L) {
    metals <- unique(found$name)
    abort("argument", paste0("column `", found$column, "` holds ", listed(metals, 4L),
                             ", and one curve cannot fit several metals"), arg = "material",
          remedy = paste0("Fit each for itself: fit_each(by = \"", found$column,
                          "\"), or fit the rows of one."))
  }
  found$name
}

# convert_hardness() where `material` names a table for each number.
convert_metals <- function(x, from, to, material, interval, level, round) {
  x <- check_hardness(x, "x")
  if (!is.character(material) || anyNA(material)) {
    abort("scale", paste0("`material` must name conversion tables, not be ", describe(material)),
          arg = "material", remedy = paste0("Choose from ", in_quotes(names(scale_tables), " and "), "."))
  }
  n <- shared_length(x = x, from = from, to = to, material = material)
  x <- check_numeric(rep_len(x, n), "x", na = TRUE)
  from <- rep_len(as.character(from), n)
  to <- rep_len(as.character(to), n)
  material <- rep_len(material, n)
  parts <- list()
  outside <- list()
  for (one in unique(material)) {
    at <- which(material == one)
    check_scales_of(from, at, one, "from")
    check_scales_of(to, at, one, "to")
    parts[[one]] <- withCallingHandlers(
      convert_hardness(x[at], from[at], to[at], one, interval, level, round),
      softanneal_warning_outside = function(w) {
        outside[[one]] <<- at[w$rows]
        invokeRestart("muffleWarning")
      })
  }
  if (length(outside)) {
    rows <- sort(unlist(outside, use.names = FALSE))
    warn("outside", paste0(length(rows), " of ", n, " hardness numbers are NA: outside the tables for ",
                           in_quotes(names(outside), " and "), " (", in_rows(rows), ")."),
         n = length(rows), rows = rows)
  }
  order <- order(unlist(lapply(unique(material), function(one) which(material == one))))
  if (!interval) return(unlist(parts, use.names = FALSE)[order])
  as_table(plain_frame(do.call(rbind, lapply(unname(parts), plain_frame))[order, , drop = FALSE]))
}

# The scales of the rows `at` are in the table of their metal.
check_scales_of <- function(scale, at, material, arg) {
  table <- table_of(material)
  lost <- at[!scale_in_table(read_scales(scale[at])$name, table) %in% colnames(table$value)]
  if (length(lost)) {
    abort("scale", paste0("`", arg, "`: no numbers of '", scale[lost[1L]], "' are in the ", material,
                          " table"), arg = arg, rows = lost,
          remedy = paste0("It has ", in_quotes(colnames(table$value), " and "), "."))
  }
}
