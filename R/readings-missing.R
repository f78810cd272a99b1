# Columns a sheet of readings lacks, and headers without a unit, told all at once, with the column that
# probably is the one wanted.

# What a header says that is not among the words understood, folded.
LIKELY_HEADERS <- c(
  time_min = paste0("time|dura|soak|hold|zeit|dauer|temps|duree|tiempo|tempo|tijd|",
                    "(^|[^a-z])(min(utes?|uten)?|h|hours?|hrs?|sec(onds?)?|s)([^a-z]|$)"),
  temp_c = "temp|oven|furnace|ofen|grad|deg|four|horno|forno|celsius|kelvin|fahrenheit|\u00b0",
  specimen = "spec|name|label|(^|[^a-z])(id|no|nr|code)([^a-z]|$)|coupon|prob|stu?ck|muestra|amostra|monster",
  hardness = "hard|hart|dur[eo]|value|wert|reading|result|(^|[^a-z])h[rvb]",
  scale = "scale|skala|escala|method|(^|[^a-z])unit")

# The columns needed that are not there (`named`: those already taken) and, of the headers left over,
# the one that looks like each.
likely_columns <- function(lost, left) {
  folded <- fold_header(left)
  out <- stats::setNames(rep(NA_character_, length(lost)), lost)
  for (column in lost) {
    at <- grep(LIKELY_HEADERS[[column]], folded)
    # one of two that together say how long a piece was in the furnace is not its time
    half <- if (column == "time_min") grep("^(time|zeit|clock)[ _](in|out|ein|aus)([ _(]|$)", folded)
    at <- setdiff(at, half)
    at <- setdiff(at, match(out, left))
    if (length(at)) out[[column]] <- left[at[1L]]
  }
  out
}

# time_h = "soak hours": the standard column, or its quantity with the unit the header names.
named_by_unit <- function(column, header) {
  quantity <- c(time_min = "time", temp_c = "temp")[column]
  if (is.na(quantity)) return(column)
  words <- strsplit(gsub("[^a-z]+", " ", fold_header(header)), " ", fixed = TRUE)[[1L]]
  unit <- stats::na.omit(UNIT_SPELLINGS[words])
  unit <- unit[unit %in% names(QUANTITIES[[quantity]]$units)]
  if (length(unit)) paste0(quantity, "_", unit[1L]) else column
}

# Stops where columns are missing or (`bare`: headers by column) have no unit.
refuse_missing_columns <- function(lost, names, left, bare = character()) {
  if (!length(lost) && !length(bare)) return(invisible())
  likely <- likely_columns(lost, setdiff(left, bare))
  # a header such as "Durezza (HRF)" has the scale in it
  inside <- known_scale(sub("^.*[[(]([^])]*)[])]$", "\\1", likely["hardness"]))
  if (!is.na(inside)) {
    lost <- setdiff(lost, "scale")
    likely <- likely[lost]
  }
  known <- c(bare, likely[!is.na(likely)])
  wanted <- names(likely)[is.na(likely)]
  constant <- c(specimen = "specimen = \"A\"", temp_c = "temp_c = 330", time_min = "time_min = 0",
                scale = "scale = \"HRF\"")
  constant <- constant[intersect(wanted, names(constant))]
  ticks <- function(x) gsub("'", "`", in_quotes(x, " and "), fixed = TRUE)
  without <- if (length(bare)) {
    paste0("the column", if (length(bare) > 1L) "s", " ", in_quotes(bare, " and "),
           if (length(bare) > 1L) " have" else " has", " no unit")
  }
  by <- c(if (length(known)) paste0(Map(named_by_unit, names(known), known), " = ", name_in_quotes(known)),
          if (length(wanted)) paste(wanted, "= ..."))
  if (!length(lost)) what <- without else {
    what <- paste0("there ", if (length(lost) > 1L) "are no columns " else "is no column ", ticks(lost),
                   if (length(bare)) ", and ", without)
  }
  abort(if (length(lost)) "column" else "units", what,
        arg = c(lost, bare)[1L], columns = c(lost, names(bare)),
        remedy = paste0(
          "The columns are ", in_quotes(names, " and "), ". Name the right ",
          if (length(by) > 1L) "ones" else "one", " by `columns = c(", paste(by, collapse = ", "), ")`",
          if (length(constant)) {
            paste0(", or give ", if (length(constant) > 1L) "constants" else "a constant", ", e.g. `",
                   paste(constant, collapse = ", "), "`")
          },
          if ("hardness" %in% lost) ", or the columns of a wide sheet by `readings`", "."))
}
