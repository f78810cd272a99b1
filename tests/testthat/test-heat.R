constant_brass <- function() {
  thermal_material("C26000", heat_j_kgk = 380, conductivity_w_mk = 120)
}

test_that("convection alone follows the exponential of its time constant", {
  got <- heat_up(c(1, 3), support = "free", 400, until_min = 10, h_w_m2k = 60, emissivity = 0,
                 alloy = constant_brass(), specimen = c("thin", "thick"))
  tau <- c(1, 3) / 2000 * 8530 * 380 / 60
  expect_equal(got$summary$time_constant_s, tau, tolerance = 1e-12)
  expect_equal(got$summary$time_min, tau * log(380 / 2) / 60, tolerance = 1e-8)
  for (i in 1:2) {
    one <- got$history[got$history$specimen == c("thin", "thick")[i], ]
    expect_equal(one$temp_c, 400 - 380 * exp(-one$time_s / tau[i]), tolerance = 1e-9)
  }
  expect_named(got$history, c("specimen", "time_s", "temp_c", "around_c"))
  expect_identical(as.data.frame(got), got$history)
})

test_that("cooling mirrors heating without radiation", {
  up <- heat_up(2, support = "free", 320, start_c = 20, h_w_m2k = 30, emissivity = 0,
                alloy = constant_brass())
  down <- cool_down(2, support = "free", 320, ambient_c = 20, h_w_m2k = 30, emissivity = 0,
                    alloy = constant_brass())
  expect_equal(down$history$temp_c, 340 - up$history$temp_c, tolerance = 1e-9)
  expect_equal(down$summary$time_min, up$summary$time_min, tolerance = 1e-8)
})

test_that("edges, block and surface act in the direction physics says", {
  endless <- heat_up(2, support = "free", 400, h_w_m2k = 20, emissivity = 0.2)$summary
  small <- heat_up(2, support = "free", 400, h_w_m2k = 20, emissivity = 0.2, width_mm = 20,
                   length_mm = 50)$summary
  expect_equal(small$time_constant_s / endless$time_constant_s, (2 / 2) / (2 / 2 + 2 / 20 + 2 / 50),
               tolerance = 1e-12)
  oxidised <- heat_up(2, support = "free", 400, h_w_m2k = 20, emissivity = 0.6)$summary
  expect_lt(oxidised$time_min, endless$time_min)
  free <- cool_down(2, support = "free", 400, h_w_m2k = 20, emissivity = 0.2)$summary
  block <- cool_down(2, 400, h_w_m2k = 20, emissivity = 0.2, support = "block",
                     h_block_w_m2k = 300)$summary
  expect_lt(block$time_min, free$time_min)
  # one face on the block, one in the air: the coefficients of the two faces add
  tau <- 0.002 * 8530 * 380 / (300 + 20)
  plain <- cool_down(2, 400, h_w_m2k = 20, emissivity = 0, support = "block", h_block_w_m2k = 300,
                     alloy = constant_brass())$summary
  expect_equal(plain$time_min * 60, tau * log(380 / 2), tolerance = 1e-8)
})

test_that("what is not known widens the time, what is given does not", {
  open <- heat_up(1, support = "free", 400)$summary
  expect_lt(open$time_low_min, open$time_min)
  expect_gt(open$time_high_min, open$time_min)
  given <- heat_up(1, support = "free", 400, h_w_m2k = 10, emissivity = 0.22)$summary
  expect_equal(given$time_min, open$time_min)
  expect_equal(given$time_low_min, given$time_high_min)
  # ends of the range as documented
  expect_equal(open$time_low_min,
               heat_up(1, support = "free", 400, h_w_m2k = 25, emissivity = 0.61)$summary$time_min)
  expect_equal(open$time_high_min,
               heat_up(1, support = "free", 400, h_w_m2k = 2, emissivity = 0.03)$summary$time_min)
})

test_that("a door dip falls, recovers to 95 % as said, and delays a piece", {
  dip <- door_opening(410, dip_c = 20, recover_min = 3, at_min = 1, open_s = 10)
  expect_named(dip, c("specimen", "time_s", "temp_c"))
  at <- \(s) stats::approx(dip$time_s, dip$temp_c, s)$y
  expect_equal(at(c(0, 60, 70)), c(410, 410, 390))
  expect_equal(at(70 + 180), 410 - 20 * exp(-3), tolerance = 1e-4)
  tau <- 60
  s <- seq(70, 500, 0.5)
  expect_lt(max(abs(at(s) - (410 - 20 * exp(-(s - 70) / tau)))), 0.002 * 20)
  two <- door_opening(410, dip_c = c(9, 30), at_min = c(0, 60))
  expect_equal(min(two$temp_c), 380, tolerance = 1e-6)
  late <- heat_up(0.95, door_opening(410, 40))$summary
  soon <- heat_up(0.95, 410)$summary
  expect_gt(late$time_min, soon$time_min)
  expect_equal(late$target_c, 410, tolerance = 1e-5)
  # a later dip throws the piece out of the band: the time counts from the last entry
  later <- heat_up(0.95, door_opening(410, 40, at_min = 60))$summary
  expect_gt(later$time_min, 60)
})

test_that("cooling after heating continues piece and clock", {
  up <- heat_up(c(1, 2), 410, until_min = 8, specimen = c("a", "b"), width_mm = 20)
  whole <- cool_down(after = up)
  for (one in c("a", "b")) {
    rows <- whole$history[whole$history$specimen == one, ]
    expect_true(all(diff(rows$time_s) > 0))
    expect_identical(rows[seq_len(200), "temp_c"], up$history$temp_c[up$history$specimen == one])
    expect_equal(rows$temp_c[200], whole$summary$start_c[whole$summary$specimen == one])
    expect_true(all(diff(rows$temp_c[-(1:200)]) < 0))
  }
  expect_identical(whole$piece$width_mm, c(20, 20))
  expect_error(cool_down(2, after = up), class = "softanneal_error_argument")
  expect_error(cool_down(after = 3), class = "softanneal_error_argument")
})

test_that("a thick piece warns of its Biot number, and tells it", {
  expect_warning(thick <- heat_up(60, support = "free", 410, h_w_m2k = 800, emissivity = 0),
                 class = "softanneal_warning_assumption")
  expect_equal(thick$summary$biot, 800 * 0.03 / 121, tolerance = 1e-12)
  # on a block the heat comes through the whole thickness
  block <- heat_up(2, 410, h_w_m2k = 0, emissivity = 0, support = "block", h_block_w_m2k = 300)
  expect_equal(block$summary$biot, 300 * 0.002 / 121, tolerance = 1e-12)
})

test_that("bad input is refused with its reason", {
  solidus <- expect_error(heat_up(1, 915), class = "softanneal_error_range")
  expect_match(conditionMessage(solidus), "begins to melt at 915", fixed = TRUE)
  expect_error(heat_up(1, door_opening(930)), class = "softanneal_error_range")
  expect_error(cool_down(1, 1000), class = "softanneal_error_range")
  expect_error(heat_up(1, 10), class = "softanneal_error_range")
  expect_error(cool_down(1, 10), class = "softanneal_error_range")
  for (bad in list(0, -1)) {
    expect_error(heat_up(bad, 400), class = "softanneal_error_range")
    expect_error(heat_up(1, 400, width_mm = bad), class = "softanneal_error_range")
    expect_error(thermal_material("C26000", density_kg_m3 = bad), class = "softanneal_error_range")
    expect_error(thermal_material("C26000", heat_j_kgk = bad), class = "softanneal_error_range")
    expect_error(heat_up(1, 400, until_min = bad), class = "softanneal_error_range")
  }
  expect_error(heat_up(Inf, 400), class = "softanneal_error_missing")
  expect_error(heat_up(NA, 400), class = "softanneal_error_argument")
  expect_error(heat_up(NA_real_, 400), class = "softanneal_error_missing")
  expect_error(heat_up("thin", 400), class = "softanneal_error_argument")
  expect_error(heat_up(1, 400, emissivity = 1.2), class = "softanneal_error_range")
  expect_error(heat_up(1, support = "free", 400, h_w_m2k = 0, emissivity = 0),
               class = "softanneal_error_argument")
  expect_error(heat_up(1, support = "free", 400, h_block_w_m2k = 100), class = "softanneal_error_argument")
  expect_error(heat_up(1:2, 400, specimen = c("a", "a")), class = "softanneal_error_argument")
  expect_error(heat_up(1:2, c(400, 410, 420)), class = "softanneal_error_argument")
  expect_error(heat_up(1, 400, alloy = "unobtainium"), class = "softanneal_error_argument")
  expect_error(heat_up(1, 400, alloy = thermal_material(
    "C26000", heat_slope_j_kgk2 = -1.2)), class = "softanneal_error_range")
  falling <- data.frame(time_s = c(0, 60, 50), temp_c = c(400, 410, 410))
  cnd <- expect_error(heat_up(1, falling), class = "softanneal_error_range")
  expect_equal(cnd$rows, 3L)
  expect_error(heat_up(1, falling["time_s"]), class = "softanneal_error_column")
  expect_error(plot_history(cbind(specimen = "a", falling)), class = "softanneal_error_range")
  expect_error(door_opening(410, dip_c = -5), class = "softanneal_error_range")
  expect_error(door_opening(20, dip_c = 400), class = "softanneal_error_range")
  expect_error(door_opening(410, at_min = numeric()), class = "softanneal_error_too_few")
})

test_that("nothing in, nothing out; units are converted", {
  none <- heat_up(numeric(), 400)
  expect_identical(nrow(none$summary), 0L)
  expect_identical(nrow(none$history), 0L)
  skip_if_not_installed("units")
  mm <- heat_up(0.95, 410)$summary
  expect_equal(heat_up(units::set_units(0.095, "cm"), units::set_units(683.15, "K"))$summary, mm)
  dip <- door_opening(410)
  metric <- dip
  metric$time_s <- units::set_units(dip$time_s / 60, "min")
  expect_equal(heat_up(0.95, metric)$summary, heat_up(0.95, dip)$summary)
})

test_that("printing tells time, range and safety", {
  text <- paste(capture.output(print(heat_up(0.95, 410))), collapse = " ")
  for (word in c("within 2 of 410", "min", "Biot", "gloves", "zinc", "cautions()")) {
    expect_match(text, word, fixed = TRUE)
  }
  expect_output(print(thermal_material("copper")), "8933 kg/m3")
  expect_error(thermal_material("bronze", density_kg_m3 = 8800), class = "softanneal_error_argument")
  own <- thermal_material("bronze", density_kg_m3 = 8800, heat_j_kgk = 380, conductivity_w_mk = 50,
                          solidus_c = 880)
  expect_error(heat_up(1, 400, alloy = own), class = "softanneal_error_argument")
  expect_s3_class(heat_up(1, 400, alloy = own, emissivity = 0.3), "softanneal_heat")
})

test_that("plots hold the histories they are given", {
  up <- heat_up(c(1, 2), 410)
  picture <- ggplot2::autoplot(up)
  expect_s3_class(picture, "ggplot")
  drawn <- ggplot2::layer_data(picture, length(picture$layers))
  expect_equal(sort(drawn$y), sort(up$history$temp_c))
  expect_match(ggplot2::get_alt_text(picture), "2 specimens")
  log <- data.frame(piece = rep(letters[1:9], each = 2), s = c(0, 10), celsius = 20:37)
  many <- plot_history(log, specimen = piece, time = "s", temp = celsius)
  expect_equal(length(unique(ggplot2::layer_data(many)$group)), 9L)
  expect_error(ggplot2::autoplot(up, colour = "red"), class = "softanneal_error_argument")
})

test_that("the plot of a heat-up is titled by the specimen, that of a log by the furnace", {
  up <- heat_up(2, support = "free", furnace_c = 320)
  expect_identical(ggplot2::autoplot(up)$labels$title, "Temperature of the specimen")
  expect_identical(plot_history(door_opening(410))$labels$title, "Temperature in the furnace")
})
