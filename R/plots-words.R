# What captions say follows what is drawn: a band or bar without a single interval is not mentioned.

percent_text <- function(level) paste(format(100 * level), "%")

# `low`: lower ends of the intervals as drawn.
band_words <- function(low, level, what) {
  if (any(!is.na(low))) paste0("Band: ", percent_text(level), " ", what, ".")
}

points_words <- function(what, low, level, bars) {
  paste0("Points: ", what, if (any(!is.na(low))) {
    paste0(", with ", percent_text(level), " ", bars)
  }, ".")
}

# A model with an open parameter is one of many.
model_remark <- function(fit) {
  if (any(is_open(fit))) "Other models of this kind fit as well: the readings leave a parameter open."
}

# Title of the time axis: along histories times are equivalent ones.
time_title <- function(fit) {
  if (is.null(fit$readings$history)) "Time at temperature (min)" else
    "Equivalent time at temperature (min)"
}
