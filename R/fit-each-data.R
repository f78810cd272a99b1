# Readings of many groups made ready for the compiled call: columns found and converted, groups
# as runs of rows. Values are judged in C, group by group, so that a bad one stays a matter of
# its group; nothing is copied that can be passed as it is.

each_data <- function(data, keys, columns, set, weights = NULL, metal = NULL) {
  check_data(data)
  if (is.null(metal)) { # the column that was fitted, or the table
    column <- columns$material
    metal <- list(name = if (is.null(column)) set$material else materials_in(data, column), column = column)
  }
  n <- nrow(data)
  d <- key_runs(data, keys)
  d$material <- group_materials(metal$name, d, metal$column)
  d$temp_c <- light_column(data, columns$temp, "degree_C")
  d$time_min <- light_column(data, columns$time, "min")
  value <- each_values(data, columns$hardness, set$property)
  d["weights"] <- list(check_weights(weights, n))
  specimen <- if (columns$specimen %in% names(data) || columns$specimen != "specimen") {
    any_column(data, columns$specimen)
  }
  d["specimen"] <- list(ordered_codes(specimen))
  if (!is.null(set$property)) {
    d$scale <- set$property[["unit"]]
    d$hardness <- value
    return(d)
  }
  read_on <- each_scales(data, columns$scale, set$scale)
  if (set$scale == "as read" && length(read_on) > 1L) {
    abort("scale", paste0("the readings are on more than one scale: ",
                          in_quotes(unique(read_on), " and ")), arg = "scale",
          remedy = "Use scale = \"HV\", or fit one scale at a time.")
  }
  d$scale <- if (set$scale == "HV") "HV" else read_on
  d$hardness <- if (set$scale == "HV" && !identical(read_on, "HV")) {
    vickers_or_flag(value, read_on, metal$name)
  } else value
  d
}

# A numeric column without a scan of its values; text and lists get the message of
# numeric_column().
light_column <- function(data, column, unit = NULL) {
  x <- any_column(data, column)
  if (is.double(x) && is.null(dim(x)) && !is.object(x)) return(x)
  if (is.integer(x) && !is.object(x) && is.null(dim(x))) return(as.double(x))
  numeric_column(data, column, unit = unit, na = TRUE)
}

# Values of a property below zero are a matter of their group, as what cannot be.
each_values <- function(data, column, property) {
  x <- .subset2(data, column)
  if (is.null(property)) return(light_column(data, column))
  if (inherits(x, "units")) return(property_values(data, column, property))
  value <- light_column(data, column)
  replace(value, which(value < 0), Inf)
}

# As reading_scales(), without a copy where all rows name one scale.
each_scales <- function(data, column, scale) {
  x <- data[[column]]
  if (is.character(x) && !anyNA(x)) {
    if (length(.Call(C_sa_call_runs, list(x), NULL, length(x))) == 1L) return(x[1L])
  }
  reading_scales(data, column, scale)
}

# HV, NA where the reading is missing, -Inf where it lies outside the table. With several metals each part
# by its own table; `rows` and `total` are for the words of the warning.
vickers_or_flag <- function(value, read_on, material, rows = seq_along(value), total = length(value)) {
  if (length(material) > 1L) {
    out <- numeric(length(value))
    for (one in unique(material)) {
      at <- which(material == one)
      own <- if (length(read_on) == 1L) read_on else read_on[at]
      out[at] <- vickers_or_flag(value[at], own, one, at, total)
    }
    return(out)
  }
  known <- is.finite(value)
  scale <- if (length(read_on) == 1L) read_on else read_on[known]
  hv <- to_vickers(value[known], scale, material)$hv
  bad <- which(is.na(hv))
  if (length(bad)) {
    hv[bad] <- beyond_table(value[known], scale, material, bad)
    near <- bad[!is.na(hv[bad])]
    if (length(near)) {
      warn_continued(value[known][near], rep_len(as.character(scale), sum(known))[near],
                     rows[which(known)[near]], total, material)
    }
  }
  hv[is.na(hv)] <- -Inf
  out <- ifelse(is.na(value), NA_real_, -Inf)
  out[known] <- hv
  out
}

# Integer labels in an order that does not depend on the order of rows or the locale.
ordered_codes <- function(x) {
  if (is.null(x)) return(NULL)
  if (is.factor(x)) x <- as.character(x)
  if (is.integer(x) && !is.object(x) && !anyNA(x)) return(x)
  own <- unique(x[!is.na(x)])
  by <- if (is.character(own)) enc2utf8(valid_text(own)) else if (is.complex(own)) as.character(own) else own
  match(x, own[order(by, method = "radix")], nomatch = 0L)
}

# Groups as runs: first row (from 0) and size of each, in the order of the keys; `order` only
# where the rows of a group do not stand together.
key_runs <- function(data, keys) {
  columns <- lapply(keys, function(key) key_column(data, key))
  n <- nrow(data)
  starts <- .Call(C_sa_call_runs, columns, NULL, n)
  order <- NULL
  at <- starts + 1L
  if (duplicated_keys(columns, at)) {
    order <- do.call(base::order, c(unname(columns), list(method = "radix")))
    starts <- .Call(C_sa_call_runs, columns, order, n)
    at <- order[starts + 1L]
    sorted <- NULL
  } else {
    sorted <- do.call(base::order, c(lapply(columns, `[`, at), list(method = "radix")))
  }
  size <- diff(c(starts, n))
  if (!is.null(sorted) && is.unsorted(sorted)) {
    starts <- starts[sorted]
    size <- size[sorted]
    at <- at[sorted]
  }
  labels <- lapply(keys, function(key) data[[key]][at])
  names(labels) <- keys
  list(first = starts, size = as.integer(size), order = order,
       keys = structure(labels, class = "data.frame", row.names = .set_row_names(length(at))))
}

# A key in a type that the compiled run finder reads, in which equal keys are equal.
key_column <- function(data, key) {
  x <- any_column(data, key)
  if (anyNA(x)) {
    abort("missing", paste0("key column `", key, "` must not be missing"), arg = key,
          rows = which(is.na(x)), remedy = "Fill in the key, or leave these rows out yourself.")
  }
  if (is.factor(x) || is.logical(x) || is.integer(x)) return(as.integer(x))
  if (is.double(x)) return(as.double(x))
  if (is.character(x)) {
    bad <- which(Encoding(x) == "bytes" | !validEnc(x))
    if (length(bad)) {
      abort("column", paste0("key column `", key, "` has invalid text encoding"), arg = key,
            rows = bad, remedy = "Give the keys as text in one encoding.")
    }
    return(enc2utf8(x))
  }
  abort("column", paste0("key column `", key, "` must hold names or numbers, not ", describe(x)),
        arg = key, remedy = "Give one key a row.")
}

duplicated_keys <- function(columns, at) {
  if (length(columns) == 1L) return(anyDuplicated(columns[[1L]][at]) > 0L)
  picked <- lapply(columns, `[`, at)
  o <- do.call(base::order, c(unname(picked), list(method = "radix")))
  length(.Call(C_sa_call_runs, picked, o, length(at))) < length(at)
}

# One warning for all readings with a missing value.
warn_missing_rows <- function(d, columns) {
  gone <- is.na(d$time_min) | is.na(d$hardness)
  if (anyNA(d$temp_c)) gone <- gone | (is.na(d$temp_c) & !(d$time_min %in% 0))
  if (!any(gone)) return(invisible())
  rows <- which(gone)
  warn("missing", paste0(length(rows), " of ", length(gone), " rows are left out: a value of `",
                         columns$temp, "`, `", columns$time, "` or `", columns$hardness,
                         "` is missing (", in_rows(rows), ")."), n = length(rows), rows = rows)
}
