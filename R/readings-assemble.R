# Puts a sheet into the standard long form and checks that every row can be a reading.
# Checks here are about the impossible; doubts are the business of check_readings().

# The most a scale can show. Rockwell: HR = N - h/S with h >= 0, so 0 to N (ISO 6508-1; N is
# 130 with a ball on the regular scales, else 100). Others are positive and open above.
scale_top <- function(scale) {
  ifelse(grepl("^HR[BEFGHK]$", scale), 130, ifelse(grepl("^HR", scale), 100, Inf))
}

abort_scale <- function(scale, column, rows = NULL) {
  abort("scale", paste0("'", scale, "' in `", column, "` is not a hardness scale known here"),
        arg = column, rows = rows, remedy = "See `hardness_scales()` for the names.")
}

assemble_readings <- function(raw, template, columns, readings, constants, times = NULL) {
  dec <- attr(raw, "dec")
  place <- attr(raw, "place")
  rows <- attr(raw, "rows") %or% seq_len(nrow(raw))
  attr(raw, "rows") <- NULL
  wide <- wide_columns(raw, readings, columns)
  given <- c(names(constants), if (!is.null(wide$time_min)) "time_min")
  roles <- understand_headers(raw, columns, wide$at, given)
  filled <- fill_down(raw, roles, wide)
  raw <- filled$raw
  attr(raw, "place") <- NULL
  origin <- list(row = rows, names = list(), place = place, sheet = seq_len(nrow(raw)))
  said <- character()
  scale_read <- shown <- NULL
  bounds <- list()
  clock <- FALSE
  for (j in seq_along(raw)) {
    role <- roles[[j]]
    if (is.null(role)) next
    name <- names(raw)[j]
    at <- if (!is.null(place)) c(place, letter = place$letters[j])
    if (role$column == "hardness") {
      limits <- cell_limits(raw[[j]])
      if (!is.null(limits)) {
        raw[[j]] <- limits$text
        bounds <- list(limits$limit)
        shown <- limits$shown
      }
      within <- cell_scales(raw[[j]], at, name)
      if (!is.null(within)) {
        scale_read <- one_scale(within, role$scale, raw, roles, constants, name, at)
        said <- c(said, paste0("scale taken from cells such as '", raw[[j]][within$at[1L]], "'"))
        raw[[j]] <- within$text
      }
    }
    if (role$column %in% READINGS_NUMBERS) {
      if (role$column == "time_min" && of_spreadsheet(raw[[j]])) raw[[j]] <- format(raw[[j]], "%H:%M:%S")
      if (role$column == "time_min" && !identical(role$clock, "m:s")) clock <- is_clock(raw[[j]])
      if (role$column == "time_min" && is.null(times %or% role$times)) refuse_added_times(raw[[j]], name, at)
      by_class <- inherits(raw[[j]], c("units", "difftime"))
      value <- column_numbers(raw[[j]], name, role$column, dec, at, role$clock)
      said <- c(said, attr(value, "told"))
      attr(value, "told") <- NULL
      if (role$column == "time_min" && !by_class) {
        refuse_day_fractions(value, name, role$unit, at)
        refuse_minutes_behind_point(value, name, role$unit, name %in% columns, at)
      }
      # identity is left out: 0 + 1 * x could turn -0 and cost a copy
      raw[[j]] <- if (by_class || identical(role$change, c(0, 1)) || is.null(role$change)) value else
        in_minutes_stay(role$change[1L] + role$change[2L] * value, raw[[j]], value)
    }
    scale_read <- role$scale %or% scale_read
    note <- describe_change(name, role)
    if (isTRUE(role$mean)) {
      note <- paste0(note, ", a column of means: each counts as one reading, and the scatter of readings is ",
                     "not known (name columns of readings by `readings` where there are any)")
    }
    said <- c(said, note)
    origin$names[[role$column]] <- name
    origin$letters[[role$column]] <- place$letters[j]
    names(raw)[j] <- role$column
  }
  if (!is.null(wide$scale)) {
    if (length(unique(wide$scale)) == 1L) scale_read <- wide$scale[1L]
    said <- c(said, if (is.null(wide$found)) paste("readings in", paste(unique(wide$scale), collapse = ", ")))
  }
  if (!is.null(wide$found)) said <- c(said, describe_wide(raw, wide))
  for (j in wide$at) {
    at <- if (!is.null(place)) c(place, letter = place$letters[j])
    limits <- cell_limits(raw[[j]])
    bounds[[match(j, wide$at)]] <- limits$limit %or% rep(NA_character_, nrow(raw))
    if (!is.null(limits)) {
      raw[[j]] <- limits$text
      shown <- limits$shown
    }
    within <- cell_scales(raw[[j]], at, names(raw)[j])
    if (is.null(within)) next
    header <- if (is.null(wide$scale)) scale_read else wide$scale[match(j, wide$at)]
    scale_read <- one_scale(within, header, raw, roles, constants, names(raw)[j], at) %or% scale_read
    raw[[j]] <- within$text
  }
  raw <- agreed_scale(raw, constants, scale_read, wide)
  check_roles(raw, constants, attr(raw, "scale_read"), wide)
  scale_read <- attr(raw, "scale_read")
  attr(raw, "scale_read") <- NULL
  for (j in wide$at) {
    at <- if (!is.null(place)) c(place, letter = place$letters[j])
    raw[[j]] <- column_numbers(raw[[j]], names(raw)[j], "hardness", dec, at)
  }
  raw <- retype_extras(raw, wide$at, dec)
  for (column in names(constants)) raw[[column]] <- rep(constants[[column]], nrow(raw))
  if (!is.null(scale_read)) raw$scale <- rep(scale_read, nrow(raw))
  if (length(wide$at)) {
    long <- lengthen(raw, wide)
    raw <- long$data
    origin$row <- rows[long$row]
    origin$sheet <- long$row
    origin$column <- long$column
    if (!is.null(place)) origin$letter <- place$letters[long$at]
  }
  if (!is.null(shown)) {
    if ("limit" %in% names(raw)) {
      abort("column", "limits are said twice: by a column and by cells", arg = "limit",
            remedy = "Leave one of them out.")
    }
    raw$limit <- as.vector(do.call(rbind, bounds))
    said <- c(said, paste0(count(sum(!is.na(raw$limit)), "cell"), " such as '", shown,
                           "' in column `limit` as at least or at most"))
  }
  in_out <- all(CLOCK_COLUMNS %in% names(origin$names))
  if (!in_out && !"time_min" %in% names(raw)) refuse_clock_without_colon(raw, origin)
  refuse_missing_columns(setdiff(READINGS_NEEDED, c(names(raw), if (in_out) "time_min")), names(raw),
                         setdiff(names(raw), c(READINGS_NEEDED, READINGS_OPTIONAL)))
  if (in_out) {
    timed <- furnace_times(raw, times, origin)
    raw <- timed$raw
    said <- c(said, timed$said)
    times <- "accumulated" # they are now
  } else said <- c(said, idle_clocks(raw, origin))
  rolled <- if (is.null(place)) list(raw = raw) else as_rolled_temperatures(raw)
  raw <- rolled$raw
  said <- c(said, filled$said, rolled$said)
  said_times <- NULL
  for (role in roles) if (identical(role$column, "time_min")) said_times <- role$times
  refuse_times_of_day(raw, clock[if (length(clock) > 1L) origin$sheet else 1L], times %or% said_times, origin)
  summed <- accumulate_times(raw, times, said_times, origin)
  raw <- summed$raw
  said <- c(said, summed$said)
  if (length(said)) say("units", paste0("Columns understood: ", paste(said, collapse = "; "), "."))
  raw <- validate_readings(raw, origin, isTRUE(attr(constants, "property")))
  tell_mean_rows(raw, origin)
  attr(raw, "dec") <- NULL
  if (!is.null(place)) raw <- with_places(raw, origin)
  readings_like(label_columns(raw), template)
}

# Where each reading stands on its sheet, as the person sees it, travels in two columns.
with_places <- function(raw, origin) {
  raw$sheet_row <- as.integer(origin$place$row[origin$sheet])
  letter <- origin[["letter"]] %or% rep(origin$letters$hardness %or% NA_character_, nrow(raw))
  raw$sheet_column <- unname(letter)
  attr(raw, "sheet") <- list(file = origin$place$path, sheet = origin$place$sheet)
  raw
}

# Clock times (0:04:00) are minutes whatever the unit of the header.
in_minutes_stay <- function(changed, text, value) {
  clock <- if (is.character(text)) grep("^[0-9]{1,3}:[0-5][0-9]:[0-5][0-9]$", text)
  replace(changed, clock, value[clock])
}

# The one scale that cells name, in agreement with header, column and argument.
one_scale <- function(within, header, raw, roles, constants, name, place) {
  first <- within$scale[1L]
  odd <- within$at[within$scale != first]
  other <- known_scale(as.character(header %or% constants$scale %or% NA))
  if (is.na(other)) {
    at <- which(vapply(roles, \(r) identical(r$column, "scale"), NA))
    if (!length(at)) at <- which(names(raw) == "scale")
    if (length(at)) {
      listed <- known_scale(as.character(raw[[at[1L]]]))
      odd <- within$at[is.na(listed[within$at]) | listed[within$at] != within$scale]
      other <- NULL
    }
  } else odd <- within$at[within$scale != other]
  if (length(odd)) {
    shown <- within$scale[match(odd[1L], within$at)]
    abort("column", paste0("column `", name, "` holds '", raw[[name]][odd[1L]], "', and ",
                           if (identical(other, NA_character_)) paste0("other cells have ", first) else
                             "its scale is said otherwise elsewhere"),
          arg = name, rows = odd, cells = raw[[name]][odd], where = place_text(place, odd),
          remedy = paste0("Correct the scale, or the reading: ", shown, " in one of the two is wrong."))
  }
  if (identical(other, NA_character_)) first
}

# A scale said in the header and in a column too is not a contradiction where both agree.
agreed_scale <- function(raw, constants, scale_read, wide) {
  several <- length(unique(wide$scale)) > 1L
  if (!is.null(scale_read) && "scale" %in% names(raw) &&
      all(known_scale(as.character(raw$scale)) %in% scale_read)) {
    raw$scale <- NULL
  }
  if (!is.null(scale_read) && identical(known_scale(as.character(constants$scale %or% NA)), scale_read)) {
    scale_read <- NULL
  }
  if (several && "scale" %in% c(names(raw), names(constants))) scale_read <- wide$scale[1L]
  attr(raw, "scale_read") <- scale_read
  raw
}

describe_wide <- function(raw, wide) {
  names <- names(raw)[wide$at]
  what <- if (!is.null(wide$time_min)) "times across the top" else if (!is.null(wide$temp_c)) {
    "temperatures across the top"
  } else if (is.null(wide$number)) "scales side by side" else "readings"
  paste0("'", names[1L], "' to '", names[length(names)], "' are ", what,
         if (!is.null(wide$scale)) paste0(" in ", paste(unique(wide$scale), collapse = ", ")))
}

# As-rolled rows without a temperature take that of their specimen, where it has one only.
as_rolled_temperatures <- function(raw) {
  temp <- temperature_of_piece(raw$temp_c, raw$time_min, raw$specimen)
  filled <- sum(is.na(raw$temp_c) & !is.na(temp))
  if (!filled) return(list(raw = raw))
  raw$temp_c <- temp
  list(raw = raw, said = paste0("as-rolled rows without temperature take that of their specimen (",
                                filled, ")"))
}

# What is said about one column, or nothing where the header already was the standard name.
describe_change <- function(name, role) {
  if (!is.null(role$scale)) return(paste0("'", name, "' is `hardness` in ", role$scale))
  if (identical(name, role$column)) return(NULL)
  how <- if (identical(role$change, c(0, 1))) NULL else switch(
    role$unit, k = "K - 273.15", f = "(F - 32) * 5/9",
    if (role$change[2L] < 1) paste("divided by", format(1 / role$change[2L])) else
      paste("times", format(role$change[2L])))
  paste0("'", name, "' is `", role$column, "`", if (!is.null(how)) paste0(", ", how))
}

# One source for each quantity: column, constant, header or wide columns.
check_roles <- function(raw, constants, scale_read, wide) {
  both <- intersect(names(constants), names(raw))
  if (!is.null(scale_read) && "scale" %in% c(names(raw), names(constants))) both <- c(both, "scale")
  if (length(wide$at)) {
    both <- c(both, intersect(c("hardness", "reading"), names(raw)[-wide$at]))
  }
  if (length(both)) {
    abort("column", paste0("`", both[1L],
                           "` is given twice: by a column and by an argument or another header"),
          arg = both[1L], remedy = "Leave one of them out.")
  }
}

# Text columns that are none of ours get their natural type, as utils::read.table() does;
# names of specimens, groups and operators stay text ("007" is a name).
retype_extras <- function(raw, wide, dec) {
  if (is.null(dec)) return(raw)
  keep_text <- c("specimen", "scale", "group", "operator", "note", READINGS_NUMBERS, CLOCK_COLUMNS)
  free <- setdiff(which(!names(raw) %in% keep_text), wide)
  raw[free] <- lapply(raw[free], utils::type.convert, as.is = TRUE, dec = dec)
  raw
}
