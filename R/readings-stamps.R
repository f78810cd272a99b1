# Clock times (POSIXct) in a column of minutes.

# Clock times of a column of minutes as minutes from the first of each specimen (or of each of `by`), said by
# a message; any other column stays as it is.
from_clock <- function(data, column, by) {
  x <- .subset2(data, column)
  if (!inherits(x, "POSIXt")) return(data)
  x <- as.POSIXct(x)
  by <- intersect(by, names(data))
  id <- group_rows(c(list(integer(length(x))), unclass(data)[by]))$id
  s <- as.numeric(x)
  s[!is.finite(s)] <- NA
  first <- vapply(split(s, id), function(v) if (all(is.na(v))) NA_real_ else min(v, na.rm = TRUE), 0)
  data[[column]] <- (s - unname(first)[id]) / 60
  say("units", paste0(
    "Column `", column, "` holds clock times: minutes are counted from the first of ",
    if (length(by)) paste("each", in_quotes(by, " and ")) else "all",
    ". Of pieces that leave the furnace between their steps give the minutes in the furnace."))
  data
}

# What clock times are counted for: each specimen, or each temperature where none are named.
clock_keys <- function(data, specimen, temp) if (specimen %in% names(data)) specimen else temp
