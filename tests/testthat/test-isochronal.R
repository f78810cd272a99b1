# Hardness over temperature after one time, and the recrystallisation temperature read off it.

isochronal_readings <- function(temps = seq(200, 480, 20), half_c = 340, n = 1.8, sd = 1.5, worked = 180,
                                soft = 75, readings = 4) {
  k <- arrhenius_rate(temps, log(2)^(1 / n) / 60, half_c, 180)
  h <- c(worked, worked - (worked - soft) * jmak_fraction(60, k, n))
  d <- data.frame(temp_c = rep(c(NA, temps), each = readings),
                  time_min = rep(c(0, rep(60, length(temps))), each = readings))
  d$hardness <- rep(h, each = readings) + stats::rnorm(nrow(d), sd = sd)
  d$scale <- "HV"
  d
}

test_that("the temperature of half the softening is that of the law, without a bias of the grid", {
  exact <- with_test_seed(1, isochronal_readings(sd = 0.01, temps = seq(190, 470, 40)))
  expect_equal(recryst_temperature(exact)$temp_c, 340, tolerance = 1e-3)
  # whatever n the readings were made with: at one time n and Q show in their product alone
  other <- with_test_seed(1, isochronal_readings(sd = 0.01, n = 3))
  expect_equal(recryst_temperature(other, 0.9)$temp_c,
               temp_for(suppressWarnings(fit_softening(other, se = "model", fixed = c(n = 3)),
                                         classes = "softanneal_warning_fit"), 60, softening = 0.9)$temp_c,
               tolerance = 1e-3)
  d <- with_test_seed(2, isochronal_readings())
  a <- recryst_temperature(d)
  expect_named(a, c("time_min", "softening", "temp_c", "std.error", "conf.low", "conf.high", "method",
                    "note"))
  expect_identical(a$method, "curve")
  expect_true(a$conf.low < 340 && a$conf.high > 340)
  expect_identical(a$time_min, 60) # the only time there is
  narrow <- recryst_temperature(d, u_temp_c = 0.1)
  wide <- recryst_temperature(d, u_temp_c = 6)
  expect_lt(narrow$conf.high - narrow$conf.low, wide$conf.high - wide$conf.low)
  expect_equal(recryst_temperature(d, solidus_c = 915)$homologous, (a$temp_c + 273.15) / (915 + 273.15))
  # another order of rows changes nothing
  expect_equal(recryst_temperature(d[rev(seq_len(nrow(d))), ]), a, tolerance = 1e-6)
})

test_that("few temperatures give the two neighbours as ends", {
  few <- with_test_seed(3, isochronal_readings(c(320, 360)))
  a <- recryst_temperature(few)
  expect_identical(a$method, "between two means")
  expect_identical(c(a$conf.low, a$conf.high), c(320, 360))
  expect_true(is.na(a$std.error))
  expect_true(a$temp_c > 320 && a$temp_c < 360)
  rolled <- recryst_temperature(few[few$time_min > 0, ])
  expect_match(rolled$note, "coldest step taken as rolled", fixed = TRUE)
  one <- expect_told(recryst_temperature(few[few$temp_c %in% c(NA, 320), ]), "outside",
                     "column `note` gives", 1L)
  expect_match(one$note, "one temperature only", fixed = TRUE)
  mixed <- few
  mixed$hardness[mixed$temp_c %in% 320] <- mixed$hardness[mixed$temp_c %in% 320] + 40
  mixed$hardness[mixed$temp_c %in% 360] <- mixed$hardness[mixed$temp_c %in% 360] + 200
  rising <- expect_told(recryst_temperature(mixed), "outside", "column `note` gives", 1L)
  expect_match(rising$note, "does not fall", fixed = TRUE)
})

test_that("what cannot be read off is refused", {
  bell <- bell_readings()
  expect_refused(recryst_temperature(bell), "range", "There are readings after 4, 8, 16, 32, 64, 128 min")
  expect_refused(recryst_temperature(bell, time_min = 32, method = "delta"), "argument", "unknown argument")
  expect_refused(recryst_temperature(bell_softening(), u_temp_c = 2), "argument", "are for readings")
  expect_refused(plot_isochronal(bell, 5), "range", "no reading was taken after 5 min")
  expect_refused(plot_isochronal(bell, 32, fit = 1), "argument", "must come from fit_softening()")
  stress <- suppressWarnings(fit_softening(transform(as.data.frame(bell), hardness = 5 * hardness),
                                           se = "model", property = "Stress (MPa)"),
                             classes = "softanneal_warning_fit")
  expect_s3_class(plot_isochronal(bell, 32, fit = stress), "ggplot") # in its unit, as it was fitted
  hard <- as.data.frame(bell)[bell$scale == "HRF", ]
  as_read <- fit_softening(hard, scale = "as read", se = "model")
  other <- transform(hard, scale = "HR30T")
  expect_refused(plot_isochronal(other, 32, fit = as_read), "scale",
                 "the readings are in HR30T and the fit in HRF")
})

test_that("isochronal readings are drawn with their curve, or that of a fit", {
  d <- with_test_seed(2, isochronal_readings())
  p <- plot_isochronal(d)
  expect_match(p$labels$caption, "Half of the softening: 3[34][0-9][.]")
  expect_identical(p$labels$y, "Hardness (HV)")
  points <- ggplot2::layer_data(p, 4L)
  expect_equal(sort(points$x), seq(200, 480, 20))
  expect_equal(points$y, unname(tapply(d$hardness, d$temp_c, mean)), ignore_attr = TRUE)
  line <- ggplot2::layer_data(p, 2L)
  expect_gt(nrow(line), 100)
  expect_match(ggplot2::get_alt_text(p), "15 means of readings, falling from 1[78][0-9][.0-9]* as rolled")
  few <- plot_isochronal(with_test_seed(3, isochronal_readings(c(320, 360))))
  expect_identical(nrow(ggplot2::layer_data(few, 2L)), 2L)
  expect_match(few$labels$caption, "straight between them", fixed = TRUE)
  both <- plot_isochronal(bell_readings(), c(4, 32), fit = bell_softening())
  expect_match(both$labels$caption, "Half of the softening", fixed = TRUE)
  expect_identical(length(unique(ggplot2::layer_data(both, length(both$layers))$colour)), 2L)
  up <- transform(d, hardness = 300 - hardness)
  expect_match(ggplot2::get_alt_text(plot_isochronal(up, property = "Conductivity (%)")),
               "Conductivity over temperature.*rising from")
})
