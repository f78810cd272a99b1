has_unit <- function(x) grepl("\\(.+\\)", x)

axis_title <- function(built, axis) {
  panel <- built$layout$panel_scales_x[[1L]]
  if (axis == "y") panel <- built$layout$panel_scales_y[[1L]]
  title <- panel$name
  if (inherits(title, "waiver") || is.null(title)) built$plot$labels[[axis]] else title
}

# Built once; `saved`: written to a file too.
expect_good_picture <- function(p, saved = TRUE) {
  expect_s3_class(p, "ggplot")
  alt <- ggplot2::get_alt_text(p)
  expect_true(nzchar(alt))
  expect_silent(built <- ggplot2::ggplot_build(p))
  for (axis in c("x", "y")) expect_true(has_unit(axis_title(built, axis)), label = axis_title(built, axis))
  if (!saved) return(invisible())
  path <- withr::local_tempfile(fileext = ".png")
  expect_silent(ggplot2::ggsave(path, p, width = 7, height = 4.6, dpi = 60))
  expect_gt(file.size(path), 2000)
}

test_that("the fit plot shows means, curves and bands of every temperature", {
  d <- with_test_seed(41, made_readings(sd_step = 1))
  f <- fit_softening(d)
  for (log_time in c(TRUE, FALSE)) {
    for (band in c("confidence", "prediction", "none")) {
      p <- ggplot2::autoplot(f, log_time = log_time, band = band)
      expect_good_picture(p, saved = log_time == (band != "prediction"))
    }
  }
  p <- ggplot2::autoplot(f)
  is_point <- vapply(p$layers, \(l) inherits(l$geom, "GeomPoint"), NA)
  n_layers <- max(which(is_point))
  drawn <- ggplot2::ggplot_build(p)$data
  as_rolled <- drawn[[n_layers]] # on all curves, and in the colour of none
  expect_equal(as_rolled$y, mean(d$hardness[d$time_min == 0]))
  n_layers <- max(which(is_point)[-sum(is_point)])
  ribbon <- drawn[[1L]]
  curve <- drawn[[2L]]
  means <- drawn[[n_layers]]
  expect_equal(nrow(means), 15L)
  expect_length(unique(means$colour), 3L)
  expect_length(unique(means$shape), 3L)
  expect_length(unique(curve$linetype), 3L)
  expect_true(all(ribbon$ymin <= ribbon$ymax))
  # the curve drawn is the prediction
  some <- curve[curve$group == curve$group[1L], ][c(50, 150), ]
  expect_equal(some$y, predict(f, data.frame(temp_c = 290, time_min = 10^some$x)), tolerance = 1e-8)
  expect_match(ggplot2::get_alt_text(p), "72 readings at 3 temperatures")
  expect_error(ggplot2::autoplot(f, band = "wide"), class = "softanneal_error_argument")
  expect_error(ggplot2::autoplot(f, colour = "red"), class = "softanneal_error_argument")
})

test_that("plot() draws and returns its argument", {
  f <- fit_softening(with_test_seed(41, made_readings()))
  path <- withr::local_tempfile(fileext = ".pdf")
  grDevices::pdf(path)
  out <- plot(f)
  grDevices::dev.off()
  expect_identical(out, f)
})

test_that("Avrami and Arrhenius plots carry what they say", {
  d <- with_test_seed(42, made_readings(sd_step = 0.5))
  f <- fit_softening(d)
  p <- plot_avrami(f)
  expect_good_picture(p)
  lines <- ggplot2::layer_data(p, 1L)
  one <- lines[lines$group == lines$group[1L], ]
  slope <- diff(one$y) / diff(log(10) * one$x)
  expect_equal(slope, rep(coef(f)[["n"]], length(slope)), tolerance = 1e-5)
  a <- plot_arrhenius(f)
  expect_good_picture(a)
  expect_match(a$labels$title, "kJ/mol")
  rates <- softanneal:::rates_by_temperature(f)
  expect_equal(nrow(rates), 3L)
  line <- coef(f)[["ln_k_ref"]] + coef(f)[["q_kj_mol"]] *
    softanneal:::inverse_temperature(rates$temp_c, f$temp_ref_c)
  # rates of one temperature alone scatter about the global line by their own error
  expect_true(all(abs(rates$ln_k - line) < 4 * rates$std.error, na.rm = TRUE))
  expect_error(plot_avrami(1), class = "softanneal_error_argument")
  expect_error(plot_arrhenius(1), class = "softanneal_error_argument")
  arr <- fit_arrhenius(data.frame(temp_c = c(300, 330, 360), k = c(0.01, 0.05, 0.2)), rate = k)
  expect_good_picture(ggplot2::autoplot(arr))
})

test_that("open and failed fits still make plots that say so", {
  skip_on_cran()
  d <- with_test_seed(43, made_readings(temps = c(300, 420), times = c(0, 5, 10, 20, 40, 80),
                                        q = 150, half_min = 6))
  f <- quietly_fitted(d)
  expect_good_picture(ggplot2::autoplot(f))
  a <- plot_arrhenius(f)
  expect_good_picture(a)
  expect_match(a$labels$title, "Q at least [0-9.]+ kJ/mol")
  expect_match(a$labels$caption, "No rate from the readings at 420")
  one <- quietly_fitted(d[d$temp_c == 300, ])
  expect_good_picture(ggplot2::autoplot(one))
  expect_good_picture(plot_arrhenius(one))
  soft <- transform(d, hardness = 80)
  flat <- suppressWarnings(fit_softening(soft))
  expect_error(plot_avrami(flat), class = "softanneal_error_too_few")
})

test_that("loading the package does not load ggplot2", {
  skip_on_cran()
  code <- "library(softanneal); cat(isNamespaceLoaded('ggplot2'))"
  out <- system2(file.path(R.home("bin"), "Rscript"), c("-e", shQuote(code)), stdout = TRUE,
                 stderr = FALSE, env = paste0("R_LIBS=", paste(.libPaths(), collapse = ":")))
  skip_if(length(out) == 0L, "the package is not installed in a library")
  expect_equal(utils::tail(out, 1L), "FALSE")
})

test_that("the bootstrap plot shows what varies", {
  skip_on_cran()
  f <- quietly_fitted(with_test_seed(44, made_readings(sd_step = 1)), fixed = c(n = 1.6))
  b <- resample_fit(f, n_resamples = 30, seed = 1)
  p <- ggplot2::autoplot(b)
  expect_good_picture(p)
  expect_match(ggplot2::get_alt_text(p), paste(
    "30 bootstrap estimates of Hardness as rolled, Hardness when soft, ln rate at reference,",
    "Activation energy (kJ/mol)"), fixed = TRUE)
  one <- resample_fit(f, n_resamples = 1, seed = 1)
  expect_error(ggplot2::autoplot(one), class = "softanneal_error_too_few")
})

test_that("the alt text gives no number for a time that is not determined", {
  r <- example_data("bellbrass_readings")
  two <- suppressWarnings(fit_softening(r[r$temp_c %in% c(330, 410), ]))
  alt <- ggplot2::get_alt_text(ggplot2::autoplot(two))
  # softening at 410 was over before the first reading at 4 min: an upper limit, no estimate
  expect_match(alt, "takes [0-9.]+ min at 330 \u00b0C, at most [0-3][.][0-9]+ min at 410 \u00b0C[.]$")
})

test_that("long times below narrow panels stand on two lines, short ones on one", {
  lines <- function(...) {
    p <- ggplot2::autoplot(summarise_readings(...))
    p$scales$get_scales("x")$guide$n.dodge
  }
  r <- example_data("bellbrass_readings")
  expect_identical(lines(r), 2L)
  expect_identical(lines(r[r$scale == "HRF", ]), 1L)
})
