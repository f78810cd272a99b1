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
  skip_on_cran()
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

test_that("few temperatures give the two neighbours as ends, where a soft level is shown or given", {
  few <- with_test_seed(3, isochronal_readings(c(320, 360, 400)))
  a <- recryst_temperature(few)
  expect_identical(a$method, "between two means")
  expect_identical(c(a$conf.low, a$conf.high), c(320, 360))
  expect_true(is.na(a$std.error))
  expect_true(a$temp_c > 320 && a$temp_c < 360)
  expect_equal(recryst_temperature(few[!few$temp_c %in% 400, ], h_soft = 75)[c("conf.low", "conf.high")],
               a[c("conf.low", "conf.high")])
  mixed <- few
  mixed$hardness[mixed$temp_c %in% 320] <- mixed$hardness[mixed$temp_c %in% 320] + 40
  mixed$hardness[mixed$temp_c %in% c(360, 400)] <- mixed$hardness[mixed$temp_c %in% c(360, 400)] + 200
  rising <- expect_told(recryst_temperature(mixed), "outside", "column `note` gives", 1L)
  expect_match(rising$note, "does not fall", fixed = TRUE)
  expect_refused(recryst_temperature(few, h_soft = 200), "range", "`h_soft` (200) is not below", "h_soft")
  expect_refused(recryst_temperature(bell_softening(), h_soft = 75), "argument", "`h_soft` is for readings",
                 "h_soft")
})

test_that("no temperature is read off where the pieces do not show the soft level, at any scatter", {
  skip_on_cran()
  # true 340: halfway to the hottest mean is 15 to 30 degrees too low
  for (sd in c(0.3, 6)) for (temps in list(c(310, 325), c(290, 325), c(320, 360))) {
    d <- with_test_seed(5, isochronal_readings(temps, sd = sd))
    r <- expect_told(recryst_temperature(d), "outside", "Give the hardness of the soft state as `h_soft`", 1L)
    expect_true(is.na(r$temp_c) && is.na(r$std.error))
    expect_true(r$conf.low <= 340 && r$conf.high == Inf)
    expect_match(r$note, if (r$conf.low > -Inf) "^at least [0-9]+ .*no soft level shown" else "^no limit")
    known <- suppressWarnings(recryst_temperature(d, h_soft = 75), classes = "softanneal_warning_outside")
    expect_true(known$conf.low <= 340 && known$conf.high >= 340)
  }
  # the law bends to a level of its own where its readings are few: still none beyond the temperatures read
  p <- plot_isochronal(with_test_seed(5, isochronal_readings(c(290, 310, 325))))
  expect_match(p$labels$caption, "Lines: straight between them.*no soft level shown")
  for (seed in 1:2) {
    d <- with_test_seed(seed, isochronal_readings(c(290, 305, 315, 325), sd = 3))
    r <- suppressWarnings(recryst_temperature(d), classes = "softanneal_warning_outside")
    expect_true(is.na(r$temp_c) && r$conf.low <= 340 && r$conf.high >= 340)
  }
  note <- function(d, ...) {
    suppressWarnings(recryst_temperature(d, ...), classes = "softanneal_warning_outside")$note
  }
  few <- with_test_seed(3, isochronal_readings(c(320, 360, 400)))
  expect_match(note(few[few$temp_c %in% c(NA, 320), ]), "one temperature only", fixed = TRUE)
  expect_match(note(few), "^ends: temperatures read")
  wild <- transform(few, hardness = hardness + rep(c(-25, 25), length.out = nrow(few)))
  expect_match(note(wild), "the readings scatter too much", fixed = TRUE)
  flat <- with_test_seed(3, isochronal_readings(c(200, 220, 240), sd = 0.2))
  flat$hardness <- flat$hardness - 3 * (flat$time_min > 0)
  expect_match(note(flat), "falls too little", fixed = TRUE)
  # soft at the coldest: a limit from above
  soft <- with_test_seed(3, isochronal_readings(c(380, 400)))
  expect_match(note(soft), "^at most 380 ")
  # without readings as rolled the coldest two must agree
  expect_match(note(few[few$time_min > 0, ]), "^at most 360 .*no level as rolled shown$")
  cold <- with_test_seed(3, isochronal_readings(c(240, 260, 320, 360, 400)))
  cold <- recryst_temperature(cold[cold$time_min > 0 & cold$temp_c != 320, ])
  expect_match(cold$note, "coldest step taken as rolled", fixed = TRUE)
  expect_identical(c(cold$conf.low, cold$conf.high), c(260, 360))
  # a fit that has the level gives it
  bell <- bell_readings()
  steep <- bell[bell$temp_c < 350, ]
  expect_no_match(plot_isochronal(steep, 8, fit = bell_softening())$labels$caption, "no soft level")
})

test_that("columns are named as in fit_softening(), and one temperature draws no line", {
  d <- with_test_seed(3, isochronal_readings(c(320, 360, 400)))
  own <- stats::setNames(d, c("oven", "minutes", "hv", "dial"))
  r <- recryst_temperature(own, time = minutes, temp = oven, hardness = "hv", reading_scale = dial)
  expect_equal(r, recryst_temperature(d))
  p <- plot_isochronal(own, time = minutes, temp = oven, hardness = hv, reading_scale = dial)
  expect_equal(p$labels$caption, plot_isochronal(d)$labels$caption)
  wide <- with_test_seed(3, isochronal_readings(seq(280, 400, 20)))
  own <- stats::setNames(wide, c("oven", "minutes", "hv", "dial"))
  expect_equal(recryst_temperature(own, time = minutes, temp = oven, hardness = hv, reading_scale = dial),
               recryst_temperature(wide))
  expect_refused(recryst_temperature(bell_softening(), temp = oven), "argument", "`temp` is for readings")
  one <- plot_isochronal(d[d$temp_c %in% c(NA, 360), ])
  expect_silent(ggplot2::ggplot_build(one))
  expect_false(any(vapply(one$layers, \(l) inherits(l$geom, "GeomLine"), NA)))
  expect_no_match(one$labels$caption, "straight between")
})

test_that("what cannot be read off is refused", {
  bell <- bell_readings()
  expect_refused(recryst_temperature(bell), "range", "There are readings after 4, 8, 16, 32, 64, 128 min")
  expect_refused(recryst_temperature(bell, time_min = 32, method = "delta"), "argument", "unknown argument")
  expect_refused(recryst_temperature(bell_softening(), u_temp_c = 2), "argument", "is for readings")
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
  skip_on_cran()
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
