# What captions say follows what is drawn: a band or bar without a single interval is not mentioned.

percent_text <- function(level) paste(format(100 * level), "%")

caption_of <- function(...) {
  parts <- c(...)
  if (length(parts)) paste(parts, collapse = "\n")
}

# `low`: lower ends of the intervals as drawn.
band_words <- function(low, level, what) {
  if (any(!is.na(low))) paste0("Band: ", percent_text(level), " ", what, ".")
}

points_words <- function(what, low, level, bars) {
  paste0("Points: ", what, if (any(!is.na(low))) {
    paste0(", with ", percent_text(level), " ", bars)
  }, ".")
}

# Title of the time axis: along histories times are equivalent ones.
time_title <- function(fit) {
  if (is.null(fit$readings$history)) "Time at temperature (min)" else
    "Equivalent time at temperature (min)"
}
