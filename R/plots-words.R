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

# Data of steps with softened fraction `x`: `points` is 1 where limits leave its mean anywhere above (`x` is
# then that of the bound), -1 anywhere below, 0 without limits.
with_limits <- function(fit, d) {
  at <- fit$conditions
  steps <- limited_steps(fit)
  d$points <- rep(0, nrow(d))
  if (is.null(steps)) return(d)
  drop <- rep_len(worked_hardness(fit, at$strain) - soft_hardness(fit, at$strain), nrow(d))
  d$points <- -steps$side * sign(drop)
  own <- steps$side != 0
  d$x[own] <- softened_fraction(fit, ifelse(own, steps$bound, at$mean), at$strain)[own]
  d
}

# Their marks: hollow triangles that point to where the mean lies, as in the plot of the curves.
limit_marks <- function(d, y) {
  lapply(c(-1, 1)[c(-1, 1) %in% d$points], function(side) {
    ggplot2::geom_point(ggplot2::aes(y = .data[[y]], colour = .data[["temperature"]]),
                        data = d[d$points == side, ], shape = if (side > 0) 2 else 6, size = 2,
                        show.legend = FALSE)
  })
}

limit_mark_words <- function(d) {
  if (any(d$points != 0)) "Hollow triangles: steps with limits, at the bound; the mean lies where they point."
}

limits_in_alt <- function(n, what = "of them") {
  if (n) paste0(", ", n, " ", what, " with limits drawn as hollow triangles", if (what == "of them") ",")
}
