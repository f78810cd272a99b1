# Wide sheets: several readings in a row ("HRB 1" ... "HRB 5", "Reading 1 (HRF)"), two scales side by
# side, or times or temperatures across the top. Found by their headers or named by the caller, and
# made long.

# A header of a wide sheet: list(kind, stem, number, scale) for a reading, list(kind, change) for a
# time or temperature across the top; NULL for any other.
parse_wide <- function(name) {
  text <- fold_header(name)
  if (!nzchar(text) || nchar(text) > 60L) return(NULL)
  number <- "([0-9]+(?:[.,][0-9]+)?)"
  # "4 min", "after 4 min", "330 C", "Time (min) 4"
  quantity <- NULL
  shape <- paste0("^(?:after |nach |apres |at |bei |t ?= ?)?", number, " ?(\u00b0 ?)?([a-z]+)$")
  if (grepl(shape, text, perl = TRUE)) {
    value <- sub(shape, "\\1", text, perl = TRUE)
    unit <- UNIT_SPELLINGS[sub(shape, "\\3", text, perl = TRUE)]
    quantity <- if (unit %in% c("min", "s", "h", "d")) "time" else if (unit %in% c("c", "k", "f")) "temp"
  } else if (grepl(paste0("^.{3,} ", number, "$"), text, perl = TRUE)) {
    value <- sub(paste0("^.* ", number, "$"), "\\1", text, perl = TRUE)
    role <- tryCatch(parse_header(sub(paste0(" ", number, "$"), "", text, perl = TRUE)),
                     softanneal_error = function(e) NULL)
    if (!is.null(role) && role$column %in% c("time_min", "temp_c") && !is.na(role$unit)) {
      quantity <- sub("_.*", "", role$column)
      unit <- role$unit
    }
  }
  if (!is.null(quantity)) {
    change <- QUANTITIES[[quantity]]$units[[unit]]
    return(list(kind = quantity, stem = quantity, number = NA_integer_, scale = NA_character_,
                value = change[1L] + change[2L] * as.numeric(sub(",", ".", value))))
  }
  # "HRF (1)"
  text <- sub("[ ]*[[(]([0-9]{1,2})[])]$", " \\1", text)
  scale <- NA_character_
  inside <- sub("^.*[[(]([^])]*)[])].*$", "\\1", text)
  if (!identical(inside, text)) {
    scale <- known_scale(inside)
    if (is.na(scale)) return(NULL)
    text <- trimws(sub("[[(][^])]*[])]", " ", text))
  }
  shape <- "^(.*?)[ _.:#-]*(?:no|nr|n|\u00b0)?[ _.:#\u00b0-]*([0-9]{1,2})$"
  if (!grepl(shape, text, perl = TRUE)) {
    # one scale beside another: "HRB", "HRF"
    whole <- known_scale(text)
    if (is.na(scale) && grepl("^h[rvkb]", text) && !is.na(whole)) {
      return(list(kind = "scale", stem = "", number = NA_integer_, scale = whole))
    }
    return(NULL)
  }
  stem <- gsub("_", " ", sub(shape, "\\1", text, perl = TRUE))
  index <- as.integer(sub(shape, "\\2", text, perl = TRUE))
  # "HV10" and "HR30T 1": what is a scale as a whole is not a number of a reading
  if (grepl("^h[rvkb]", text) && !grepl("[ _.:#-]", text) && !is.na(known_scale(text))) {
    return(list(kind = "scale", stem = "", number = NA_integer_, scale = known_scale(text)))
  }
  parts <- strsplit(stem, " ", fixed = TRUE)[[1L]]
  as_scale <- vapply(seq_along(parts), \(i) if (grepl("^h[rvkb]", parts[i])) known_scale(parts[i]) else
    NA_character_, "")
  if (is.na(scale) && any(!is.na(as_scale))) {
    scale <- as_scale[!is.na(as_scale)][1L]
    parts <- parts[is.na(as_scale)]
    stem <- "scale"
  }
  words <- header_words()
  words <- words$word[words$column %in% c("reading", "hardness")]
  plain <- c("", "r", "h", "m", "x", "value", "wert", "test", "point", "punkt", "punto", "i",
             "trial", "measurement")
  rest <- paste(parts, collapse = " ")
  if (!rest %in% c(plain, words) && !all(parts %in% c(plain, words))) return(NULL)
  list(kind = "reading", stem = if (nzchar(rest)) rest else stem, number = index, scale = scale)
}

NO_WIDE <- list(at = integer())

# Positions of the reading columns of a wide sheet, their numbers, scales, times or temperatures.
wide_columns <- function(raw, readings, columns = NULL) {
  if (is.null(readings)) return(find_wide(raw, columns))
  if (!is.character(readings) || !length(readings) || anyNA(readings)) {
    abort("argument", paste0("`readings` must be column names, not ", describe(readings)),
          arg = "readings",
          remedy = "Give the names of the reading columns, or the part before their number.")
  }
  readings <- valid_text(readings)
  if (length(readings) == 1L && !readings %in% names(raw)) {
    tail <- substring(names(raw), nchar(readings) + 1L)
    at <- which(startsWith(names(raw), readings) & grepl("^[ _.]*[0-9]+([ ]*[[(].*[])])?$", tail))
    if (!length(at)) {
      abort("column", paste0("`x` has no columns named '", readings, "' with a number behind it"),
            arg = "readings", remedy = paste0("It has ", in_quotes(names(raw), " and "), "."))
    }
  } else {
    for (name in readings) any_column(raw, name, "x")
    at <- match(readings, names(raw))
  }
  if (length(at) == 1L) {
    abort("argument", "`readings` names one column only", arg = "readings",
          remedy = paste0("Use `columns = c(hardness = \"", names(raw)[at], "\")`."))
  }
  parsed <- lapply(names(raw)[at], parse_wide)
  scale <- vapply(parsed, \(p) if (is.null(p)) NA_character_ else p$scale, "")
  number <- suppressWarnings(as.integer(sub("^.*?([0-9]+)([ ]*[[(].*[])])?$", "\\1", names(raw)[at])))
  if (anyNA(number) || anyDuplicated(paste(number, scale))) number <- seq_along(at)
  list(at = at, number = number, scale = if (!anyNA(scale)) scale)
}

# Wide columns by their headers alone: of one kind, two at least, beside a table without a column
# of hardness. `found`: they were not named by the caller.
find_wide <- function(raw, columns) {
  if ("hardness" %in% tolower(sub("_.*", "", names(columns)))) return(NO_WIDE)
  parsed <- lapply(names(raw), \(x) if (x %in% columns) NULL else parse_wide(x))
  there <- !vapply(parsed, is.null, NA)
  if (sum(there) < 2L) return(NO_WIDE)
  roles <- lapply(names(raw)[!there], \(x) tryCatch(parse_header(x), softanneal_error = function(e) NULL))
  column <- c(vapply(roles, \(r) if (is.null(r)) "" else r$column, ""), names(columns))
  if ("hardness" %in% column) return(NO_WIDE)
  kind <- vapply(parsed[there], `[[`, "", "kind")
  at <- which(there)
  pick <- function(k) at[kind == k]
  for (k in c("time", "temp")) {
    other <- c(time = "time_min", temp = "temp_c")[[k]]
    if (length(pick(k)) > 1L && !other %in% column) {
      value <- vapply(parsed[pick(k)], `[[`, 0, "value")
      if (anyDuplicated(value)) next
      out <- list(at = pick(k), number = NULL, found = TRUE)
      out[[other]] <- value
      return(out)
    }
  }
  use <- if (length(pick("reading")) > 1L) pick("reading") else if (length(pick("scale")) > 1L) pick("scale")
  if (is.null(use)) return(NO_WIDE)
  number <- vapply(parsed[use], `[[`, 0L, "number")
  scale <- vapply(parsed[use], `[[`, "", "scale")
  stem <- vapply(parsed[use], `[[`, "", "stem")
  bare <- stem %in% c("", "h", "m", "x", "i")
  # numbers alone are readings only if they count 1, 2, 3 ... and the rest of the table is there
  if (any(bare) && is.na(scale[1L]) &&
      !(identical(sort(number), seq_along(number)) && all(c("temp_c", "time_min") %in% column))) {
    return(NO_WIDE)
  }
  if (anyDuplicated(paste(number, scale)) && !anyNA(number)) {
    abort("column", paste0("columns ", in_quotes(names(raw)[use], " and "),
                           " number their readings twice"), arg = names(raw)[use][1L],
          remedy = "Name the reading columns by `readings`.")
  }
  if (anyNA(scale) && !all(is.na(scale))) {
    abort("scale", paste0("some of the columns ", in_quotes(names(raw)[use], " and "),
                          " name a scale, and some do not"), arg = names(raw)[use][is.na(scale)][1L],
          remedy = "Write the scale in each header, or in none and give `scale`.")
  }
  list(at = use, number = if (!anyNA(number)) number, scale = if (!anyNA(scale)) scale, found = TRUE)
}

# Wide to long, readings of one sheet row after one another.
lengthen <- function(raw, wide) {
  k <- length(wide$at)
  n <- nrow(raw)
  row <- rep(seq_len(n), each = k)
  long <- lapply(raw[-wide$at], `[`, row)
  if (!is.null(wide$time_min)) long$time_min <- rep(wide$time_min, n)
  if (!is.null(wide$temp_c)) long$temp_c <- rep(wide$temp_c, n)
  if (!is.null(wide$number)) long$reading <- rep(wide$number, n)
  long$hardness <- as.vector(do.call(rbind, unclass(raw)[wide$at]))
  if (length(unique(wide$scale)) > 1L) long$scale <- rep(wide$scale, n)
  list(data = structure(long, class = "data.frame", row.names = .set_row_names(n * k)), row = row,
       column = rep(names(raw)[wide$at], n), at = rep(wide$at, n))
}
