# Contrast, colour distance, sizes and themes of all plots.

# Linear-RGB matrices of full protanopia, deuteranopia and tritanopia (Machado, Oliveira and Fernandes 2009,
# IEEE Trans. Vis. Comput. Graph. 15, 1291, table for severity 1.0)
DEFICIENCIES <- list(
  protan = rbind(c(0.152286, 1.052583, -0.204868), c(0.114503, 0.786281, 0.099216),
                 c(-0.003882, -0.048116, 1.051998)),
  deutan = rbind(c(0.367322, 0.860646, -0.227968), c(0.280085, 0.672501, 0.047413),
                 c(-0.011820, 0.042940, 0.968881)),
  tritan = rbind(c(1.255528, -0.076749, -0.178779), c(-0.078411, 0.930809, 0.147602),
                 c(0.004733, 0.691367, 0.303900)))

linear <- function(colour) {
  v <- grDevices::col2rgb(colour) / 255
  ifelse(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055)^2.4)
}

encoded <- function(v) {
  v <- pmin(pmax(v, 0), 1)
  t(ifelse(v <= 0.0031308, 12.92 * v, 1.055 * v^(1 / 2.4) - 0.055))
}

# smallest distance in CIE Lab between two of the colours, for each way of seeing
least_distance <- function(colours) {
  v <- linear(colours)
  y <- drop(c(0.2126, 0.7152, 0.0722) %*% v)
  seen <- c(list(full = v, grey = rbind(y, y, y)), lapply(DEFICIENCIES, `%*%`, v))
  vapply(seen, \(one) min(dist(grDevices::convertColor(encoded(one), "sRGB", "Lab"))), 0)
}

contrast_on <- function(colours, ground) {
  y <- drop(c(0.2126, 0.7152, 0.0722) %*% linear(c(ground, colours))) + 0.05
  pmax(y[-1], y[1]) / pmin(y[-1], y[1])
}

test_that("temperatures go from dark to light, apart in grey and for three deficiencies", {
  skip_on_cran()
  for (n in 1:12) {
    ramp <- softanneal:::ramp_colours(n, dark = FALSE)
    expect_true(all(contrast_on(ramp, "white") >= 3))
    lit <- softanneal:::ramp_colours(n, dark = TRUE)
    expect_true(all(contrast_on(lit, "#222222") >= 3))
    for (colours in list(ramp, lit)) {
      lightness <- grDevices::convertColor(t(grDevices::col2rgb(colours)) / 255, "sRGB", "Lab")[, 1]
      expect_false(is.unsorted(lightness, strictly = n > 1))
    }
  }
  expect_true(all(least_distance(softanneal:::ramp_colours(4)) > 14))
  expect_true(all(least_distance(softanneal:::ramp_colours(9)) > 5))
})

test_that("kinds stay apart for colour-deficient eyes, shapes and lines beside them", {
  skip_on_cran()
  four <- softanneal:::group_colours(4)
  expect_true(all(contrast_on(four, "white") >= 3))
  expect_true(all(least_distance(four)[c("full", "protan", "deutan", "tritan")] > 15))
  for (one in c(softanneal:::MAIN_COLOUR, softanneal:::SECOND_COLOUR, softanneal:::INK)) {
    expect_true(all(contrast_on(one, "white") >= 3 & contrast_on(one, "#1A1A1A") >= 3))
  }
  expect_length(unique(softanneal:::group_shapes(9)), 9L)
  expect_length(unique(softanneal:::group_lines(7)), 7L)
})

# the plot as it is drawn on a page of this size
drawn <- function(p, width, height) {
  grDevices::pdf(NULL, width, height)
  on.exit(grDevices::dev.off())
  grid::grid.newpage()
  softanneal:::fit_picture(p, c(width, height))
}

lines_of <- function(p) strsplit(p$labels$caption, "\n", fixed = TRUE)[[1L]]

nine_temperatures <- function() {
  quietly_fitted(simulate_readings(temp_c = seq(280, 440, 20), seed = 3))
}

test_that("captions are wrapped to the device and panels keep their room", {
  skip_on_cran()
  f <- nine_temperatures()
  for (p in list(plot_arrhenius(f), ggplot2::autoplot(f) + ggplot2::theme_bw())) {
    for (size in list(c(3.4, 2.6), c(7, 5), c(13, 7.5))) {
      grDevices::pdf(NULL, size[1L], size[2L])
      grid::grid.newpage()
      q <- softanneal:::fit_picture(p, size)
      font <- ggplot2::calc_element("plot.caption", softanneal:::picture_theme_of(q))$size
      wide <- grid::convertWidth(grid::stringWidth(q$labels$caption), "inches", valueOnly = TRUE) *
        font / 12
      expect_lt(wide, size[1L])
      expect_gt(softanneal:::panel_room(q, size), 0.38)
      grDevices::dev.off()
    }
  }
  expect_gt(length(lines_of(drawn(plot_arrhenius(f), 3.4, 2.6))), length(lines_of(plot_arrhenius(f))))
})

test_that("the legend gives way to labels in the order of the curves where they fit", {
  skip_on_cran()
  f <- bell_softening()
  q <- drawn(ggplot2::autoplot(f), 7, 5)
  labels <- ggplot2::layer_data(q, length(q$layers))
  expect_setequal(labels$label, paste(c(290, 330, 370, 410), "\u00b0C"))
  expect_equal(as.character(labels$label[order(-labels$y)]), paste(c(290, 330, 370, 410), "\u00b0C"))
  expect_gt(min(diff(sort(labels$y))), 2)
  expect_identical(q$theme$legend.position, "none")
  kept <- drawn(ggplot2::autoplot(f) + ggplot2::theme(legend.position = "bottom"), 7, 5)
  expect_identical(kept$theme$legend.position, "bottom")
})

test_that("sizes and themes that the user sets stay", {
  skip_on_cran()
  f <- bell_softening()
  text <- function(p, width = 3.4, height = 2.6) {
    ggplot2::calc_element("text", softanneal:::picture_theme_of(drawn(p, width, height)))$size
  }
  p <- ggplot2::autoplot(f)
  expect_lt(text(p), 9)
  expect_equal(text(p, 7, 4.6), 12)
  expect_gt(text(p, 13, 7.5), 14)
  expect_equal(text(ggplot2::autoplot(f, base_size = 10)), 10)
  expect_equal(text(p + ggplot2::theme_bw(base_size = 9)), 9)
  old <- ggplot2::theme_set(ggplot2::theme_classic(base_size = 11))
  on.exit(ggplot2::theme_set(old))
  expect_equal(text(ggplot2::autoplot(f)), 11)
})

test_that("on a dark ground no mark is black and the ramp is light", {
  skip_on_cran()
  f <- bell_softening()
  dark <- ggplot2::theme(panel.background = ggplot2::element_rect(fill = "#1A1A1A"))
  p <- ggplot2::autoplot(f) + dark
  expect_true(softanneal:::dark_ground(softanneal:::picture_theme_of(p)))
  grDevices::pdf(NULL)
  on.exit(grDevices::dev.off())
  colours <- NULL
  state <- softanneal:::picture_state
  state$dark <- TRUE
  for (layer in ggplot2::ggplot_build(p)$data) colours <- c(colours, stats::na.omit(layer$colour))
  state$dark <- FALSE
  expect_true(all(contrast_on(unique(colours), "#1A1A1A") >= 3))
  expect_silent(print(p))
  expect_false(state$dark)
})

test_that("a plot with a second axis on one side only is drawn", {
  skip_on_cran()
  pieces <- data.frame(temp_c = rep(c(290, 320, 350), each = 2), time_min = c(151, 204, 38, 55, 13, 17))
  path <- withr::local_tempfile(fileext = ".pdf")
  grDevices::pdf(path)
  withr::defer(grDevices::dev.off())
  expect_no_error(print(ggplot2::autoplot(fit_lifetime(pieces))))
})

test_that("a layer of other data needs no inherit.aes = FALSE", {
  skip_on_cran()
  fit <- bell_softening()
  mine <- data.frame(time_min = c(5, 10), hardness = c(120, 90))
  steps <- summarise_readings(bell_readings())
  for (p in list(ggplot2::autoplot(fit), ggplot2::autoplot(bell_readings()), plot_avrami(fit),
                 plot_isochronal(fit), ggplot2::autoplot(identifiability(fit)), ggplot2::autoplot(steps))) {
    more <- p + ggplot2::geom_point(ggplot2::aes(.data$time_min, .data$hardness), data = mine)
    n <- length(more$layers)
    drawn <- ggplot2::ggplot_build(more)$data
    expect_identical(nrow(unique(drawn[[n]][c("x", "y")])), 2L)
    # and the layers that were there are as they were
    expect_identical(vapply(drawn[-n], nrow, 0L), vapply(ggplot2::ggplot_build(p)$data, nrow, 0L))
  }
  drawn <- ggplot2::ggplot_build(ggplot2::autoplot(fit))$data
  expect_gt(length(unique(drawn[[1L]]$colour)) + length(unique(drawn[[2L]]$colour)), 3L)
})

# inches that are left for the panels
panel_inches <- function(q, size) {
  g <- attr(q, "built")
  size - c(sum(grid::convertWidth(g$widths, "inches", valueOnly = TRUE)),
           sum(grid::convertHeight(g$heights, "inches", valueOnly = TRUE)))
}

font_of <- function(q, element) ggplot2::calc_element(element, softanneal:::picture_theme_of(q))$size

test_that("lanes of a timetable keep apart in a journal column", {
  skip_on_cran()
  plan <- suppressWarnings(plan_anneal(seq(280, 440, 20), c(8, 32), session_min = 150))
  p <- ggplot2::autoplot(plan)
  texts <- function(q) sum(vapply(q$layers, \(l) inherits(l$geom, "GeomText"), NA))
  for (size in list(c(3.4, 2.6), c(3.4, 2.1), c(7, 5))) {
    grDevices::pdf(NULL, size[1L], size[2L])
    grid::grid.newpage()
    q <- softanneal:::fit_picture(p, size)
    lane <- 72 * panel_inches(q, size)[2L] / 10.25
    expect_gt(lane, font_of(q, "axis.text.y"))
    # numbers of the steps stand where their lane has room for them
    expect_equal(texts(q), as.integer(lane > 1.2 * font_of(q, "text")))
    expect_gt(softanneal:::panel_room(q, size), 0)
    grDevices::dev.off()
  }
  labels <- drawn(p, 3.4, 2.6)$scales$get_scales("y")$labels
  expect_match(labels[-1], "^P\\d+, \\d+ .C")
  expect_equal(sum(as.integer(sub(".*\\((\\d+)\\)$", "\\1", grep(")", labels, fixed = TRUE, value = TRUE)))),
               sum(is.na(plan$steps$read_min)))
  expect_match(p$labels$caption, "gloves")
  expect_match(gsub("\n", " ", drawn(p, 3.4, 2.6)$labels$caption), "gloves")
  own <- drawn(p + ggplot2::labs(subtitle = "Bench 3"), 3.4, 2.6)
  expect_identical(own$labels$subtitle, "Bench 3")
})

test_that("titles of panels are not wider than their panel", {
  skip_on_cran()
  logs <- function(n) {
    do.call(rbind, lapply(seq_len(n), \(i) door_opening(400, 5 * i, specimen = paste("oven", i))))
  }
  for (case in list(list(6, 3.4, 3), list(4, 2.4, 2), list(4, 7, 2))) {
    p <- plot_furnace_log(logs(case[[1]]), 400)
    size <- c(case[[2]], 2.6)
    grDevices::pdf(NULL, size[1L], size[2L])
    grid::grid.newpage()
    q <- softanneal:::fit_picture(p, size)
    shown <- q$facet$params$labeller(data.frame(panel = levels(p$data$panel)))
    lines <- unlist(strsplit(shown[[1L]], "\n", fixed = TRUE))
    wide <- grid::convertWidth(grid::stringWidth(lines), "inches", valueOnly = TRUE) *
      font_of(q, "strip.text.x") / 12
    expect_lt(max(wide), 1.02 * panel_inches(q, size)[1L] / case[[3]])
    expect_equal(paste(lines, collapse = " "), gsub("\n", " ", paste(levels(p$data$panel), collapse = " ")))
    grDevices::dev.off()
  }
  expect_match(plot_furnace_log(logs(6), 400)$labels$caption, "time between the marks")
})
