tungsten <- example_data("tungsten")
two <- rbind(cbind(as.data.frame(tungsten), lot = "A"),
             transform(cbind(as.data.frame(tungsten), lot = "B"), hardness = 0.9 * hardness))

# the plot as it is drawn; warnings of axes that cannot show zero and of Q from one temperature are left aside
drawn <- function(p, i = 1L) {
  suppressWarnings(ggplot2::layer_data(p, i), classes = c("rlang_warning", "softanneal_warning_fit"))
}
quick <- list(se = "cluster")

base <- function(data = tungsten, ...) {
  ggplot2::ggplot(data, ggplot2::aes(time_min, hardness, temp_c = temp_c, ...))
}

test_that("curves and bands of the layer are those of the fit, on any axis", {
  f <- fit_softening(tungsten, se = "cluster")
  p <- base(specimen = specimen, colour = factor(temp_c)) + geom_softening(fit_args = quick, n_points = 31)
  for (axes in list(list(ggplot2::scale_x_log10()),
                    list(ggplot2::scale_x_sqrt(), ggplot2::scale_y_log10()))) {
    d <- drawn(p + axes)
    expect_equal(nrow(d), 31L * length(unique(tungsten$temp_c)))
    expect_identical(length(unique(d$colour)), length(unique(tungsten$temp_c)))
    log_x <- length(axes) == 1L
    root <- length(axes) == 2L
    if (log_x) d$x <- 10^d$x
    if (root) {
      d$x <- d$x^2
      d[c("y", "ymin", "ymax")] <- 10^d[c("y", "ymin", "ymax")]
    }
    e <- d[d$temp_c == 1200, ][c(2, 16, 30), ]
    expect_equal(as.matrix(e[c("y", "ymin", "ymax")]),
                 predict(f, data.frame(temp_c = 1200, time_min = e$x), "confidence"),
                 tolerance = 1e-8, ignore_attr = TRUE)
  }
})

test_that("readings at time zero count on a logarithmic axis", {
  # without them the as-rolled level is unknown: the hot pieces are soft at their first reading
  bell <- subset(example_data("bellbrass_readings"), scale == "HRF")
  layer <- list(geom_softening(reading_scale = "HRF", fit_args = quick, n_points = 5),
                ggplot2::scale_x_log10())
  d <- drawn(base(bell) + layer)
  f <- fit_softening(bell[c("time_min", "temp_c", "hardness", "scale")], se = "cluster")
  e <- d[d$temp_c == 330, ]
  expect_equal(e$y, unname(predict(f, data.frame(temp_c = 330, time_min = 10^e$x), scale = "HRF")),
               tolerance = 1e-8)
  expect_equal(range(10^d$x), c(4, 128))
  bell$temp_c[bell$time_min == 0] <- NA
  g <- drawn(base(bell) + layer)
  # one step of as-rolled readings now, not one at each temperature
  expect_equal(g$y, d$y, tolerance = 1e-3)
})

test_that("groups with several temperatures, lots and panels are fitted on their own", {
  skip_on_cran()
  alone <- drawn(base() + geom_softening(fit_args = quick, n_points = 4))
  by_group <- drawn(base(two, colour = lot) + geom_softening(fit_args = quick, n_points = 4))
  by_lot <- drawn(base(two, colour = interaction(lot, temp_c), lot = lot) +
                    geom_softening(fit_args = quick, n_points = 4))
  by_panel <- drawn(base(two, colour = factor(temp_c)) + geom_softening(fit_args = quick, n_points = 4) +
                      ggplot2::facet_wrap("lot"))
  for (d in list(by_group, by_lot, by_panel)) {
    expect_equal(nrow(d), 2L * nrow(alone))
    expect_equal(sort(d$y), sort(c(alone$y, 0.9 * alone$y)), tolerance = 1e-6)
    expect_identical(length(unique(paste(d$PANEL, d$group))), 2L * length(unique(alone$group)))
  }
  # without temperatures each group is one curve
  one <- subset(tungsten, temp_c == 1200)
  p <- ggplot2::ggplot(one, ggplot2::aes(time_min, hardness)) +
    stat_softening(n_points = 7, interval = "none")
  expect_no_warning(d <- ggplot2::layer_data(p)) # no Q is asked for
  expect_null(d$ymin)
  f <- suppressWarnings(fit_softening(one[c("time_min", "temp_c", "hardness", "scale")]),
                        classes = "softanneal_warning_fit")
  expect_equal(d$y, unname(predict(f, data.frame(temp_c = 1200, time_min = d$x))), tolerance = 1e-8)
})

test_that("settings of the fit reach it, and weights", {
  p <- base() + geom_softening(fit_args = list(fixed = c(n = 1.5), se = "model"),
                               interval = "prediction", level = 0.5, n_points = 5)
  d <- subset(drawn(p), temp_c == 1175)
  f <- suppressWarnings(fit_softening(tungsten[c("time_min", "temp_c", "hardness", "scale")],
                                      fixed = c(n = 1.5), se = "model"), classes = "softanneal_warning_fit")
  expect_equal(as.matrix(d[c("y", "ymin", "ymax")]),
               predict(f, data.frame(temp_c = 1175, time_min = d$x), "prediction", level = 0.5),
               tolerance = 1e-8, ignore_attr = TRUE)
  w <- rep_len(1:3, nrow(tungsten))
  heavy <- drawn(base(weight = w) + geom_softening(fit_args = quick, n_points = 5))
  d <- tungsten[c("time_min", "temp_c", "hardness", "scale")]
  f <- fit_softening(d, weights = w, se = "cluster")
  expect_equal(heavy$y, unname(predict(f, data.frame(temp_c = heavy$temp_c, time_min = heavy$x))),
               tolerance = 1e-8)
})

test_that("what the layer cannot do is said", {
  skip_on_cran()
  expect_error(geom_softening(interval = "wide"), class = "softanneal_error_argument")
  expect_error(geom_softening(model = "none"), class = "softanneal_error_argument")
  expect_error(stat_softening(fit_args = list(1)), class = "softanneal_error_argument")
  expect_error(stat_softening(fit_args = list(data = 1)), class = "softanneal_error_argument")
  expect_error(stat_softening(n_points = 1), class = "softanneal_error_range")
  inner <- function(p) tryCatch(ggplot2::layer_data(p), error = function(e) e$parent)
  expect_s3_class(inner(ggplot2::ggplot(tungsten, ggplot2::aes(time_min)) + geom_softening()),
                  "softanneal_error_argument")
  expect_s3_class(inner(ggplot2::ggplot(tungsten, ggplot2::aes(time_min, hardness, temp_c = factor(temp_c))) +
                          geom_softening()), "softanneal_error_argument")
  expect_s3_class(inner(ggplot2::ggplot(transform(tungsten, time_min = -time_min),
                                        ggplot2::aes(time_min, hardness)) + geom_softening()),
                  "softanneal_error_range")
  # a set of two readings has no curve, the others have
  few <- rbind(two, transform(two[two$lot == "A", ][1:2, ], lot = "C"))
  p <- base(few, lot = lot) + geom_softening(fit_args = quick, n_points = 4)
  expect_warning(d <- ggplot2::layer_data(p), class = "softanneal_warning_too_few")
  expect_equal(nrow(d), nrow(drawn(base(two, lot = lot) + geom_softening(fit_args = quick, n_points = 4))))
  p <- base() + geom_softening(fit_args = quick) + ggplot2::scale_x_continuous(limits = c(0, 2000))
  expect_warning(ggplot2::layer_data(p), class = "softanneal_warning_missing")
})

test_that("scales order temperatures from dark to light, and show on their ground", {
  temperature <- factor(tungsten$temp_c)
  p <- ggplot2::ggplot(tungsten, ggplot2::aes(time_min, hardness, colour = temperature, fill = temperature,
                                              shape = temperature, linetype = temperature)) +
    ggplot2::geom_point() + ggplot2::geom_line()
  scales <- list(scale_fill_temperature(), scale_shape_temperature(), scale_linetype_temperature())
  for (dark in c(FALSE, TRUE)) {
    d <- ggplot2::layer_data(p + scales + scale_colour_temperature(dark = dark))
    colours <- unique(d$colour[order(d$group)])
    expect_length(colours, length(unique(tungsten$temp_c)))
    expect_true(all(contrast(colours, if (dark) "#222222" else "white") >= 3))
    expect_true(all(diff(luminance(colours)) > 0))
    expect_length(unique(d$shape), length(colours))
  }
  d <- ggplot2::layer_data(ggplot2::ggplot(tungsten, ggplot2::aes(time_min, hardness, colour = temp_c)) +
                             ggplot2::geom_point() + scale_color_temperature(discrete = FALSE))
  expect_true(all(contrast(unique(d$colour)) >= 2.9))
  expect_error(scale_colour_temperature(discrete = 2), class = "softanneal_error_argument")
  expect_error(theme_softanneal(base_size = -1), class = "softanneal_error_range")
})

test_that("the theme is complete, and a theme that the user set is kept by plots of the package", {
  old <- ggplot2::theme_set(theme_softanneal(base_size = 9))
  on.exit(ggplot2::theme_set(old))
  expect_true(attr(ggplot2::theme_get(), "complete"))
  p <- ggplot2::autoplot(fit_softening(tungsten, se = "cluster"))
  expect_equal(ggplot2::calc_element("text", p$theme)$size, 9)
  ggplot2::theme_set(ggplot2::theme_dark())
  p <- ggplot2::autoplot(fit_softening(tungsten, se = "cluster"))
  expect_identical(ggplot2::calc_element("panel.background", p$theme)$fill,
                   ggplot2::calc_element("panel.background", ggplot2::theme_dark())$fill)
})

test_that("one time of anneal, or two close together, is drawn as any other", {
  for (times in list(30, c(25, 60), c(30, 31))) {
    k <- arrhenius_rate(seq(270, 390, 20), 0.04, 330, 140)
    at <- expand.grid(i = seq_along(k), time_min = times)
    d <- data.frame(specimen = paste("P", seq_len(nrow(at))), temp_c = seq(270, 390, 20)[at$i],
                    time_min = at$time_min,
                    hardness = 160 - 80 * jmak_fraction(at$time_min, k[at$i], 1.6) + 0.3 * (-1)^at$i,
                    scale = "HV")
    d <- rbind(d, data.frame(specimen = "P 0", temp_c = 300, time_min = 0, hardness = c(159, 160, 161),
                             scale = "HV"))
    fit <- quietly_fitted(d)
    expect_silent(drawn(ggplot2::autoplot(fit)))
    expect_silent(drawn(plot_residuals(fit)))
  }
  expect_identical(log_breaks(c(30, 30)), 30)
  expect_identical(log_breaks(c(30, 31)), c(30, 31))
  expect_identical(axis_numbers(numeric()), character())
})

test_that("a fit of many readings, or one that fixes little, is not taken for altered", {
  fit <- quietly_fitted(made_readings(sd_step = 1))
  fit$deviance <- 1e8 # of 1e7 readings
  fit$nobs <- 1e7
  fit$cov_full <- fit$cov_full * 1e7
  expect_silent(drawn(ggplot2::autoplot(fit)))
})
