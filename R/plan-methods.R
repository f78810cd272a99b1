# What a plan shows of itself: print, table, timetable plot. The cautions come with each.

#' @param x,object A plan.
#' @param row.names,optional Ignored.
#' @rdname plan_anneal
#' @export
as.data.frame.softanneal_plan <- function(x, row.names = NULL, optional = FALSE, ...) x$steps

#' @rdname plan_anneal
#' @export
format.softanneal_plan <- function(x, ...) {
  set <- x$settings
  g <- glance.softanneal_plan(x)
  t <- x$temperatures
  c(paste0("Annealing plan, ", x$guess$alloy$material, ": ", g$pieces,
           if (g$pieces == 1) " specimen, " else " specimens, ", g$steps,
           if (g$steps == 1) " step, " else " steps, ", g$readings,
           " readings (", set$n_readings, " per step, ", set$scale, ")"),
    paste0("  ", set$furnaces, if (set$furnaces == 1) " furnace, " else " furnaces, ", g$sessions,
           if (g$sessions == 1) " session of " else " sessions of ", format(set$session_min),
           " min from ", clock_text(set$start), "; last reading done ", g$end_clock,
           if (g$sessions > 1) " of the last session",
           if (g$unbooked) paste0("; ", g$unbooked, " steps do not fit")),
    sprintf("  %g %s (T/Tm %.2f): furnace %d, t50 %s min (%s to %s)%s",
            t$temp_c, degree_c(), t$homologous, t$furnace, format_quantity(t$t50_min, 2L),
            format_quantity(t$t50_low_min, 2L), format_quantity(t$t50_high_min, 2L),
            ifelse(nzchar(t$note), paste0("; ", t$note), "")))
}

#' @rdname plan_anneal
#' @export
print.softanneal_plan <- function(x, ...) {
  width <- getOption("width")
  for (line in format(x)) {
    writeLines(strwrap(line, width, exdent = 4, indent = 2 * grepl("^ ", line)))
  }
  cat("\n")
  print(plan_table(x), row.names = FALSE, right = FALSE)
  cat("\n")
  if (!is.null(x$improvement)) writeLines(strwrap(improvement_sentence(x), width))
  q <- tidy.softanneal_plan(x)
  q <- q[q$term == "q_kj_mol", ]
  if (nrow(q)) writeLines(strwrap(energy_expectation(q), width))
  writeLines(strwrap(CAUTION_LINE, width))
  invisible(x)
}

# Where a step is read in a later session than it was annealed in.
read_later <- function(steps) {
  ifelse(!is.na(steps$session) & steps$read_session > steps$session,
         paste0(" (session ", steps$read_session, ")"), "")
}

# The reading to expect, on the scale of the dial, or of the guess where that has no conversion.
expected_words <- function(x) {
  s <- x$steps
  dial <- s$dial %or% rep(NA_real_, nrow(s))
  ifelse(is.na(dial), paste(format_quantity(s$hardness), x$guess$scale),
         paste(format_quantity(dial), x$settings$scale))
}

# The timetable as text, one row per step.
plan_table <- function(x) {
  s <- x$steps
  dash <- \(v) ifelse(is.na(v), "-", v)
  later <- read_later(s)
  out <- data.frame(
    Piece = s$specimen, Step = s$step, "deg C" = s$temp_c, "Time (min)" = s$time_min,
    Furnace = ifelse(s$step == 0, "-", s$furnace), In = dash(s$in_clock), Out = dash(s$out_clock),
    Read = paste0(dash(s$read_clock), later), Done = dash(s$end_clock),
    Expect = expected_words(x), check.names = FALSE)
  names(out)[names(out) == "deg C"] <- degree_c()
  if (x$settings$sessions > 1) out <- cbind(Session = dash(s$session), out)
  out
}

improvement_sentence <- function(x) {
  i <- x$improvement
  what <- switch(i$aim, q = "the activation energy",
                 t50 = "the times to half softening",
                 hardness = paste0("the time to ", format(i$hardness), " ", x$guess$scale),
                 determinant = "all parameters together")
  at <- if (!is.null(i$at_c)) paste0(" at ", in_degrees(paste(format(i$at_c), collapse = ", ")))
  paste0("Chosen for ", what, at, ". Efficiency of the original plan: ",
         format_quantity(100 * i$efficiency, 2L), " %.",
         if (!is.null(i$width)) paste0(" Expected interval after the run: ",
                                       format_quantity(100 * i$width, 2L), " % of the width before."),
         if (i$counted < 1) paste0(" Counted over the ", round(100 * i$counted),
                                   " % of the draws in which it is reached."))
}

energy_expectation <- function(q) {
  if (is.na(q$std.error) || q$std.error > q$estimate) {
    return(paste("The activation energy will not be determined by these steps: add a temperature",
                 "between, or shorter first steps at the hottest."))
  }
  reach <- if (is.finite(q$std.error.high) && q$std.error.high < 1e4) {
    paste0(format_quantity(q$std.error.low, 2L), " to ", format_quantity(q$std.error.high, 2L))
  } else {
    paste0(format_quantity(q$std.error.low, 2L), " to not determined")
  }
  paste0("Expected standard error of the activation energy: ", format_quantity(q$std.error, 2L),
         " kJ/mol (", reach, " over the spread of the guess).")
}

#' @rdname plan_anneal
#' @export
plot.softanneal_plan <- draw_picture

#' @param what `autoplot()`: `"timetable"`, or `"expected"` for the hardness to expect at each
#'   temperature over time with the middle 90 % of the guess, and the readings planned.
#' @rdname plan_anneal
#' @method autoplot softanneal_plan
#' @rawNamespace S3method(ggplot2::autoplot,softanneal_plan)
autoplot.softanneal_plan <- function(object, what = c("timetable", "expected"), ...) {
  check_dots_empty(...)
  if (check_choice(what, c("timetable", "expected"), "what") == "expected") {
    return(plot_expected(object))
  }
  set <- object$settings
  s <- object$steps[!is.na(object$steps$read_min), ]
  bars <- plan_bars(s)
  # one lane a specimen, by furnace and temperature, the lowest on top; below, the machine. Specimens and
  # steps without a place are named too
  all <- object$steps
  lanes <- unique(all[order(all$furnace, all$temp_c, all$specimen),
                      c("furnace", "specimen", "temp_c")])
  lanes <- lanes[!duplicated(lanes$specimen), ]
  lost <- all[is.na(all$read_min), ]
  several <- set$furnaces > 1
  piece <- paste0(lanes$specimen, ", ", temperature_label(lanes$temp_c))
  open <- tabulate(match(lost$specimen, lanes$specimen), nrow(lanes))
  names <- c(paste0(if (several) paste0(ifelse(is.na(lanes$furnace), "No furnace",
                                               paste("Furnace", lanes$furnace)), ": "),
                    piece, ifelse(open > 0L, paste0(" (", open, " unbooked)"), "")), "Hardness tester")
  short <- c(paste0(if (several) paste0(ifelse(is.na(lanes$furnace), "F-", paste0("F", lanes$furnace)), ": "),
                    piece, ifelse(open > 0L, paste0(" (", open, ")"), "")), "Hardness tester")
  without <- if (nrow(lost)) paste("Without a place:", nrow(lost), "of", nrow(all), "steps")
  bars$lane <- factor(ifelse(bars$what == "read", "Hardness tester",
                             names[match(bars$specimen, lanes$specimen)]), rev(names))
  bars$y <- as.integer(bars$lane)
  bars$at <- temperature_factor(bars$temp_c, all$temp_c)
  bars$session <- factor(paste("Session", bars$session),
                         paste("Session", sort(unique(bars$session))))
  half <- ifelse(bars$what == "cool", 0.1, 0.28)
  bars$low <- bars$y - half
  bars$high <- bars$y + half
  every <- c(5, 10, 15, 20, 30, 60, 120)
  every <- every[which(set$session_min / every <= 12)[1L]]
  if (is.na(every)) every <- 180
  breaks <- seq(0, set$session_min, by = every)
  crowded <- length(breaks) > 9L
  marks <- bars[bars$what == "heat", ]
  marks$middle <- (marks$from + marks$to) / 2
  # readings once more as circles in the lane of their specimen, so that colour is not needed
  rings <- bars[bars$what == "read", ]
  rings$middle <- (rings$from + rings$to) / 2
  rings$y <- length(names) + 1L -
    match(rings$specimen, lanes$specimen)
  levels <- levels(bars$at)
  ends <- data.frame(session = levels(bars$session), x = set$session_min)
  ends$session <- factor(ends$session, levels(bars$session))
  g <- glance.softanneal_plan(object)
  alt <- paste0("Timetable of ", g$pieces, " specimens and ", g$steps, " annealing steps at ",
                paste(levels, collapse = ", "), " in ", set$furnaces,
                if (set$furnaces == 1) " furnace" else " furnaces", ", ", g$sessions,
                if (g$sessions == 1) " session" else " sessions", " from ", clock_text(set$start),
                "; the last reading is done at ", g$end_clock, ".",
                if (nrow(lost)) paste0(" ", nrow(lost), " of ", nrow(all), " rows have no place: ",
                                       lost_words(lost), "."))
  p <- ggplot2::ggplot() +
    ggplot2::geom_rect(
      ggplot2::aes(xmin = .data[["from"]], xmax = .data[["to"]], ymin = .data[["low"]],
                   ymax = .data[["high"]], fill = .data[["at"]], alpha = .data[["what"]]),
      data = bars, colour = INK, linewidth = 0.2) +
    ggplot2::geom_text(ggplot2::aes(.data[["middle"]], .data[["y"]] + 0.3, label = .data[["step"]]),
                       data = marks, vjust = -0.15, size = 2.9) +
    ggplot2::geom_point(ggplot2::aes(.data[["middle"]], .data[["y"]]), data = rings, shape = 21,
                        size = 1.6, fill = "white", colour = INK) +
    ggplot2::geom_vline(ggplot2::aes(xintercept = .data[["x"]]), data = ends,
                        linetype = "dashed", colour = INK) +
    temperature_scales(levels, lines = FALSE)[2L] +
    ggplot2::scale_alpha_manual("", values = c(heat = 1, cool = 0.35, read = 0.7),
                                labels = c(heat = "in the furnace",
                                           cool = "cooling", read = "readings"),
                                breaks = c("heat", "cool", "read")) +
    ggplot2::scale_x_continuous("Clock time (h:min)", breaks = breaks,
                                labels = paste0(" ", clock_text(set$start + breaks), " "),
                                limits = c(0, set$session_min),
                                expand = ggplot2::expansion(mult = c(0.01, 0.03))) +
    ggplot2::scale_y_continuous(NULL, breaks = seq_along(names), labels = rev(names),
                                limits = c(0.5, length(names) + 0.75),
                                expand = ggplot2::expansion(0)) +
    ggplot2::guides(fill = "none") + # the labels of the lanes say the temperature
    ggplot2::labs(title = "Timetable", alt = alt,
                  subtitle = "Number: step. Circle: readings of this specimen.",
                  caption = caption_of(
                    if (nrow(lost)) paste0(without, " (", lost_words(lost), ")."), CAUTION_LINE)) +
    plain_theme() +
    many_lanes(nlevels(bars$session), rev(short), numbers = 2L, caption = caption_of(
      "Circle: readings of this specimen.", if (several) "F1: furnace 1.",
      if (nrow(lost)) paste0(without, ", counted in parentheses."), CAUTION_LINE)) +
    ggplot2::theme(panel.grid.major.y = ggplot2::element_blank(), legend.position = "bottom",
                   legend.box = "vertical", legend.margin = ggplot2::margin(0, 0, 0, 0),
                   axis.text.x = ggplot2::element_text(angle = if (crowded) 45 else 0,
                                                       hjust = if (crowded) 1 else 0.5))
  if (nlevels(bars$session) > 1L) {
    p <- p + ggplot2::facet_wrap(ggplot2::vars(.data[["session"]]), ncol = 1)
  }
  p
}

# Steps without a place, in words.
lost_words <- function(lost, most = 6L) {
  each <- split(lost$step, factor(lost$specimen, unique(lost$specimen)))
  words <- paste0(names(each), " step", ifelse(lengths(each) > 1L, "s ", " "),
                  vapply(each, number_runs, ""))
  if (length(words) > most) {
    words <- c(words[seq_len(most)], paste("and", length(words) - most, "more specimens"))
  }
  paste(words, collapse = "; ")
}

# 3, 4, 5, 8 as "3 to 5, 8".
number_runs <- function(x) {
  x <- sort(unique(x))
  runs <- split(x, cumsum(c(1, diff(x) != 1)))
  paste(vapply(runs, function(r) {
    if (length(r) > 2L) paste(r[1L], "to", r[length(r)]) else paste(r, collapse = ", ")
  }, ""), collapse = ", ")
}

# Stretches of time: in the furnace, cooling, readings.
plan_bars <- function(s) {
  heated <- s[s$step > 0, ]
  bar <- function(d, what, from, to, session) {
    data.frame(specimen = d$specimen, temp_c = d$temp_c, step = d$step, what = rep(what, nrow(d)),
               from = d[[from]], to = d[[to]], session = d[[session]])
  }
  out <- rbind(bar(heated, "heat", "in_min", "out_min", "session"),
               bar(heated, "cool", "out_min", "cold_min", "session"),
               bar(s, "read", "read_min", "end_min", "read_session"))
  out$what <- factor(out$what, c("heat", "cool", "read"))
  out
}
