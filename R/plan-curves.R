# What a plan expects to see: the curve of the guess at each of its temperatures, the middle 90 %
# of the draws, and the readings planned. Time at temperature in min, hardness on the scale of the
# guess; the draws say what is believed, not what will be read (no scatter of readings in them).

EXPECTED_GRID <- 121L

expected_curves <- function(plan) {
  steps <- plan$steps
  after <- steps[steps$step > 0, ]
  temps <- plan$temperatures$temp_c
  span <- range(after$time_min)
  grid <- exp(seq(log(span[1L] / 1.3), log(span[2L] * 1.1), length.out = EXPECTED_GRID))
  curve <- data.frame(temp_c = rep(temps, each = length(grid)),
                      time_min = rep(grid, length(temps)))
  h <- guess_hardness(plan$guess, curve$temp_c, curve$time_min)
  spread <- middle(h[-1L, , drop = FALSE])
  curve$hardness <- h[1L, ]
  curve$low <- spread[1L, ]
  curve$high <- spread[2L, ]
  curve$temperature <- temperature_factor(curve$temp_c)
  # specimens of one temperature are read at the same expected hardness
  marks <- unique(steps[c("temp_c", "step", "time_min", "hardness")])
  zero <- zero_place(after$time_min)
  marks$at <- ifelse(marks$step == 0, zero, marks$time_min)
  marks$temperature <- temperature_factor(marks$temp_c, temps)
  marks$booked <- vapply(seq_len(nrow(marks)), \(k) {
    any(!is.na(steps$read_min[steps$temp_c == marks$temp_c[k] & steps$step == marks$step[k] &
                                steps$time_min == marks$time_min[k]]))
  }, NA)
  list(curve = curve, marks = marks, zero = zero, has_zero = any(steps$step == 0),
       times = after$time_min)
}

plot_expected <- function(plan) {
  e <- expected_curves(plan)
  levels <- levels(e$curve$temperature)
  known <- plan$temperatures
  lost <- sum(!e$marks$booked)
  caption <- paste0(
    "Line: the guess; band: middle 90 % of its draws. Points: readings planned",
    if (e$has_zero) " (0: before the first anneal)",
    if (lost) paste0("; hollow: ", lost, " without a place in the timetable"), ". ", CAUTION_LINE)
  alt <- paste0(
    "Hardness to expect over time for ", nrow(known), " temperatures, one panel each: ",
    paste0(temperature_label(known$temp_c), " half soft after ", format_quantity(known$t50_min, 2L),
           " min (", format_quantity(known$t50_low_min, 2L), " to ",
           format_quantity(known$t50_high_min, 2L), ")", collapse = "; "),
    ". Bands show the middle 90 % of the guess.")
  ggplot2::ggplot(e$curve, ggplot2::aes(.data[["time_min"]], .data[["hardness"]])) +
    ggplot2::geom_ribbon(ggplot2::aes(ymin = .data[["low"]], ymax = .data[["high"]],
                                      fill = .data[["temperature"]]), alpha = 0.25) +
    ggplot2::geom_line(ggplot2::aes(colour = .data[["temperature"]]), linewidth = 0.6) +
    ggplot2::geom_point(ggplot2::aes(.data[["at"]], colour = .data[["temperature"]],
                                     shape = .data[["booked"]]), data = e$marks, size = 2.2) +
    ggplot2::facet_wrap(ggplot2::vars(.data[["temperature"]])) +
    temperature_scales(levels, lines = FALSE)[1:2] +
    ggplot2::scale_shape_manual(values = c("TRUE" = 16, "FALSE" = 1)) +
    time_axis(TRUE, e$zero, e$times, e$has_zero) +
    ggplot2::guides(colour = "none", fill = "none", shape = "none") +
    ggplot2::labs(y = hardness_title(plan$guess$scale), title = "What to expect", alt = alt,
                  caption = paste(strwrap(caption, 100), collapse = "\n")) +
    plain_theme()
}
