# The numbers that plots compute before they draw, against formulas and refits of their own.

# The more worked strip softens four times as fast.
two_strains <- function() {
  do.call(rbind, lapply(c(0.4, 0.8), function(e) {
    part <- with_test_seed(10 * e, made_readings(sd_step = 0.2))
    part$specimen <- paste(part$specimen, e)
    part$time_min <- part$time_min * (0.8 / e)^2
    transform(part, strain = e)
  }))
}

bell_fit <- function() fit_softening(bell_readings(), se = "model")

test_that("intervals of step means are t intervals of their own readings", {
  d <- bell_readings()
  means <- condition_summary(bell_fit(), 0.9)
  own <- with(as.data.frame(d), hardness[temp_c == 330 & time_min == 16])
  hv <- convert_hardness(own, d$scale[d$temp_c == 330 & d$time_min == 16], "HV")
  row <- means[abs(means$temp_c - 330) < 1e-6 & means$time_min == 16, ]
  expect_equal(c(row$lower, row$upper), as.vector(stats::t.test(hv, conf.level = 0.9)$conf.int))
})

test_that("points, bars and margin of the Avrami plot follow from the means", {
  fit <- bell_fit()
  at <- fit$conditions
  id <- at$of_reading + 1L
  off <- at$mean - as.vector(tapply(fitted(fit), id, mean))
  df <- length(at$mean) - 5
  sd <- sqrt(sum(off^2) / df)
  unit <- sd / (coef(fit)[["h_worked"]] - coef(fit)[["h_soft"]])
  d <- avrami_points(fit, NULL, 0.8)
  expect_equal(d$margin, 3 * unit)
  p <- d$points[d$points$where == "inside", ]
  expect_gt(nrow(p), 4L)
  half <- stats::qt(0.9, df) * unit
  middle <- which.min(abs(p$x - 0.5))
  line <- \(x) log(-log(1 - x))
  expect_equal(p$y[middle], line(p$x[middle]))
  expect_equal(c(p$low[middle], p$high[middle]), line(p$x[middle] + c(-half, half)))
})

test_that("points of the Arrhenius plot are rates fitted at their temperature alone", {
  fit <- bell_fit()
  rates <- rates_by_temperature(fit)
  for (temp in rates$temp_c[!is.na(rates$ln_k)]) {
    keep <- abs(fit$readings$temp_k - 273.15 - temp) < 1e-6 & fit$readings$time_min > 0
    t <- fit$readings$time_min[keep]
    b <- coef(fit)
    squares <- \(v) sum((fit$readings$hardness[keep] - b[["h_soft"]] -
                           (b[["h_worked"]] - b[["h_soft"]]) * exp(-(exp(v) * t)^b[["n"]]))^2)
    best <- stats::optimize(squares, rates$ln_k[abs(rates$temp_c - temp) < 1e-6] + c(-1, 1), tol = 1e-9)
    expect_equal(rates$ln_k[abs(rates$temp_c - temp) < 1e-6], best$minimum, tolerance = 1e-5)
  }
})

test_that("t50 of groups and its interval are those of the delta method", {
  d <- as.data.frame(bell_readings())
  fits <- fit_each(cbind(coil = "A", d), by = coil, se = "model")
  fit <- bell_fit()
  for (temp in c(310, 350)) {
    v <- group_values(fits, temp, group_refs(fits), 0.9)
    t50 <- time_to(fit, temp_c = temp, level = 0.9, method = "delta")
    expect_equal(unlist(v[c("time", "time_low", "time_high")], use.names = FALSE),
                 unlist(t50[c("time_min", "conf.low", "conf.high")], use.names = FALSE), tolerance = 1e-4)
    ci <- confint(fit, "q_kj_mol", level = 0.9, method = "wald")
    expect_equal(c(v$q_low, v$q_high), as.vector(ci), tolerance = 1e-4)
  }
})

test_that("lines of the hardness map keep off the flat ends and are marked where they extrapolate", {
  lines <- map_lines(c(80, 160))
  expect_true(all(lines > 80 + 0.06 * 80 & lines < 160 - 0.06 * 80))
  expect_length(map_lines(c(100, 100.4)), 0L)
  expect_gt(length(map_lines(c(100, 101))), 0L)
  d <- bell_readings()
  cold <- quietly_fitted(d[d$temp_c < 350, ], se = "model")
  p <- plot_hardness_map(cold, temp_c = c(250, 450), time_min = c(1, 500))
  parts <- do.call(rbind, lapply(which(vapply(p$layers, \(l) inherits(l$geom, "GeomPath"), NA)),
                                 \(k) p$layers[[k]]$data))
  inside <- parts$temp_c >= 290 & parts$temp_c <= 330 & parts$time_min >= 4 & parts$time_min <= 128
  expect_identical(parts$inside, inside)
  expect_true(any(inside) && any(parts$temp_c > 330 & parts$time_min > 4 & parts$time_min < 128))
})

test_that("residuals count a step as one-sided from three readings on", {
  pair <- subset(as.data.frame(bell_readings()), !duplicated(paste(specimen, time_min)) |
                   duplicated(paste(specimen, time_min)) & !duplicated(paste(specimen, time_min, scale)))
  fit <- fit_softening(pair, se = "model")
  expect_equal(max(table(fit$conditions$cluster_of)), 2L)
  expect_match(ggplot2::get_alt_text(plot_residuals(fit)), "in 0 of 28 steps all readings")
})

test_that("cells of a process window meet halfway on the logarithm of time", {
  grid <- expand.grid(time_min = c(1, 4, 16), temp_c = c(300, 320, 360))
  layer <- window_cells(grid[5, ], grid, c("not determined", "outside the readings"))
  expect_equal(unlist(layer$data[c("x1", "x2", "y1", "y2")], use.names = FALSE), c(2, 8, 310, 340))
})

test_that("times that lie decades below the others stand at zero", {
  expect_equal(shortest_shown(c(0, 1e-3, 10, 100)), 0.01)
  expect_equal(shortest_shown(c(0, 1, 1e4)), 0)
})

test_that("other rates of the model move with the temperature of a point of the Arrhenius plot", {
  d <- with_test_seed(2, made_readings(times = c(0, 1, 2, 4, 8, 16, 32, 64), n = 2, sd_reading = 0.5))
  after <- d$time_min > 0
  d$hardness[after] <- d$hardness[after] -
    6 * log1p(arrhenius_rate(d$temp_c[after], 0.5, 330, 150) * d$time_min[after])
  fit <- quietly_fitted(d, model = "recovery_jmak", se = "model")
  rates <- rates_by_temperature(fit)
  temp <- rates$temp_c[which(!is.na(rates$ln_k))[1L]]
  at <- fit$conditions
  keep <- abs(at$temp_c - temp) < 1e-6 & at$time_min > 0
  squares <- function(v) {
    moved <- fit
    moved$par[["ln_k_ref"]] <- v - fit$par[["q_kj_mol"]] * inverse_temperature(temp, fit$temp_ref_c)
    sum(at$weight[keep] * (softening_values(moved, at$temp_c[keep], at$time_min[keep], NULL)$fit -
                             at$mean[keep])^2)
  }
  found <- rates$ln_k[abs(rates$temp_c - temp) < 1e-6]
  expect_equal(found, stats::optimize(squares, found + c(-1, 1), tol = 1e-9)$minimum, tolerance = 1e-5)
})

test_that("the collapse plot of several cold reductions has one curve for all, one panel per strain", {
  d <- two_strains()
  fit <- quietly_fitted(d, strain = strain, se = "model")
  p <- plot_collapse(fit)
  b <- coef(fit)
  expect_gt(b[["k_strain"]], 1.5)
  at <- fit$conditions
  after <- at$time_min > 0
  rate <- exp(b[["ln_k_ref"]] + b[["q_kj_mol"]] * inverse_temperature(at$temp_c, fit$temp_ref_c)) *
    (at$strain / sqrt(0.4 * 0.8))^b[["k_strain"]]
  expect_equal(sort(p$data$kt), sort((rate * at$time_min)[after]), tolerance = 1e-8)
  expect_lt(max(abs(p$data$x - (1 - exp(-p$data$kt^b[["n"]])))), 0.1)
  expect_length(unique(p$data$panel), 2L)
  expect_match(p$labels$caption, "one shape for all")
})

test_that("long names lose the words that all share, at either end", {
  s <- short_names(paste("a long name of a strip, furnace", 1:6))
  expect_identical(s$short, as.character(1:6))
  expect_match(s$key, "All names begin with 'a long name of a strip, furnace'.", fixed = TRUE)
  e <- short_names(paste0(c("A", "B"), " of the strip from the far end"))
  expect_identical(e$short, c("A", "B"))
  expect_identical(short_names("one name of more than eighteen letters")$short, "P1")
  log <- rbind(door_opening(410, dip_c = 9, specimen = "a long name of a strip, furnace 1"),
               door_opening(410, dip_c = 40, specimen = "a long name of a strip, furnace 2"))
  p <- plot_furnace_log(log, 410)
  expect_match(levels(p$data$panel), "^[12]\n")
  expect_match(p$labels$caption, "All names begin with")
  expect_match(ggplot2::get_alt_text(p), "furnace 1: 10.2 min", fixed = TRUE)
  h <- plot_history(log, target_c = 410)
  expect_identical(levels(h$data$specimen), c("1", "2"))
  expect_match(h$labels$caption, "Line: target 410 \u00b0C.\nAll names begin", fixed = TRUE)
})

test_that("colours that would vanish on a grey ground are lightened, others stay", {
  skip_on_cran()
  ground <- ground_of(ggplot2::theme_dark())
  drawn <- c(MAIN_COLOUR, SECOND_COLOUR, INK, ramp_colours(9, dark = FALSE), group_colours(4))
  expect_lt(min(contrast(drawn, ground)), 1.3)
  seen <- visible_on(drawn, ground)
  expect_true(all(contrast(seen, ground) >= 2))
  expect_identical(visible_on(drawn, "white"), drawn)
  expect_identical(visible_on(c(NA, "#FFFFFF"), ground), c(NA, "#FFFFFF"))
  fit <- bell_fit()
  grDevices::pdf(NULL)
  withr::defer(grDevices::dev.off())
  for (p in list(ggplot2::autoplot(fit), plot_arrhenius(fit), plot_collapse(fit))) {
    q <- show_on_ground(p + ggplot2::theme_dark(), ggplot2::theme_dark())
    for (k in seq_along(q$layers)) {
      colours <- stats::na.omit(unique(ggplot2::layer_data(q, k)$colour))
      if (length(colours)) expect_true(all(contrast(colours, ground) >= 2), label = paste("layer", k))
    }
    expect_identical(show_on_ground(p, ggplot2::theme_bw()), p)
  }
  boxes <- Filter(function(l) inherits(l$geom, "GeomLabel"),
                  show_on_ground(plot_hardness_map(fit), ggplot2::theme_dark())$layers)
  expect_identical(boxes[[1L]]$aes_params$fill, ground)
  # labels beside the panel would stand on white
  curves <- ggplot2::autoplot(fit)
  expect_null(label_ends(curves + ggplot2::theme_dark(), c(7, 5)))
  expect_false(is.null(label_ends(curves + ggplot2::theme_grey(), c(7, 5))))
})

test_that("captions say when a parameter is open, a line is missing or nothing is joined", {
  skip_on_cran()
  d <- bell_readings()
  half <- quietly_fitted(d[d$temp_c >= 370, ])
  rich <- quietly_fitted(d, model = "recovery_jmak")
  for (p in list(plot_avrami(half), plot_collapse(rich))) {
    expect_match(p$labels$caption, "the readings leave a parameter open", fixed = TRUE)
  }
  expect_no_match(plot_avrami(bell_fit())$labels$caption, "leave a parameter open")
  m <- plot_hardness_map(half)
  expect_no_match(m$labels$caption, "Lines|dashed")
  expect_match(ggplot2::get_alt_text(m), "with no line and")
  curves <- ggplot2::autoplot(half)
  expect_identical(anyNA(unlist(lapply(curves$layers, \(l) l$data$fit))),
                   grepl("No line where", curves$labels$caption))
  expect_match(curves$labels$caption, "No line where")
})

test_that("one temperature has one tick, no energy that is fixed, and no share of the furnace", {
  d <- bell_readings()
  one <- quietly_fitted(d[d$temp_c == 330, ])
  ticks <- plot_arrhenius(one)$scales$get_scales("x")$secondary.axis$breaks
  expect_equal(ticks, 1000 / (330 + 273.15))
  p <- ggplot2::autoplot(identifiability(one))
  expect_match(p$labels$caption, "No energy from one temperature", fixed = TRUE)
  expect_no_match(p$labels$caption, "fixed")
  expect_match(ggplot2::get_alt_text(p), "Activation energy not determined", fixed = TRUE)
  expect_true(all(is.na(components_of_error(one)$t50_share)))
  expect_match(furnace_sentences(one), "at one temperature")
})

test_that("the region of a hardness map is that of the strain asked for", {
  d <- two_strains()
  fit <- quietly_fitted(d, strain = strain, se = "model")
  frame <- plot_hardness_map(fit, strain = 0.8)$layers[[1L]]$data
  own <- d$time_min[d$strain == 0.8 & d$time_min > 0]
  expect_equal(c(frame$x1, frame$x2), range(own))
  # titles of panels stand on two lines, so that narrow ones show the strain
  built <- ggplot2::ggplot_build(plot_residuals(fit))
  title <- built$layout$facet$params$labeller(data.frame(panel = "290 \u00b0C, Strain 0.4"))
  expect_identical(title$panel, "290 \u00b0C,\nStrain 0.4")
})

test_that("plots keep groups, pieces and failed fits apart", {
  d <- with_test_seed(61, made_readings(n = 2, temps = c(300, 340)))
  d$specimen <- paste0(d$specimen, ifelse(d$reading == 1, "-a", "-b"))
  d$hardness <- d$hardness + ifelse(d$reading == 1, 3, -3)
  lines <- ggplot2::layer_data(plot_residuals(quietly_fitted(d, se = "cluster")), 3L)
  expect_length(unique(paste(lines$PANEL, lines$group)), 4L) # two pieces at each of two temperatures
  # the same specimen name in two groups
  bell <- as.data.frame(bell_readings())
  r <- read_readings(rbind(cbind(bell, group = "one"), cbind(bell, group = "two")))
  r$hardness[r$group == "two"] <- r$hardness[r$group == "two"] - 4
  p <- suppressMessages(ggplot2::autoplot(r))
  s <- p$data
  expect_equal(nrow(s), 2L * nrow(ggplot2::autoplot(bell_readings())$data))
  expect_false(anyDuplicated(s[c("place", "panel", "scale")]) > 0L)
  expect_true(all(grepl(", group (one|two)$", s$specimen)))
  steps <- suppressMessages(summarise_readings(r))
  expect_equal(sort(ggplot2::autoplot(steps)$data$mean), sort(s$mean))
  # a group without a fit keeps its row and is named
  few <- rbind(cbind(coil = "A", bell), cbind(coil = "B", bell[bell$time_min == 0, ]),
               cbind(coil = "C", bell))
  fits <- suppressWarnings(fit_each(few, coil))
  p <- ggplot2::autoplot(fits)
  expect_match(p$labels$caption, "No fit: B (no anneal).", fixed = TRUE)
  expect_match(ggplot2::get_alt_text(p), "No fit: B", fixed = TRUE)
  axis <- ggplot2::ggplot_build(p)$layout$panel_params[[1L]]$y$get_labels()
  expect_equal(axis, c("A", "B", "C"))
  expect_output(print(summary(fits)), "These are: A, C.", fixed = TRUE)
  expect_output(print(summary(fits)), "The step means are then off the curve", fixed = TRUE)
})
