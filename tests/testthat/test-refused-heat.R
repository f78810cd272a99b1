# What heat, histories and kinetics refuse, one condition after the other.

test_that("furnaces and pieces that cannot be are refused", {
  expect_refused(door_opening(410, at_min = numeric()), "too_few", "names no opening", "at_min")
  expect_refused(cool_down(0.95, after = heat_up(0.95, 410, until_min = 1, n_points = 3)),
                 "argument", "'thickness_mm' given besides `after`", "after")
  expect_refused(heat_up(0.95, support = "free", 410, h_block_w_m2k = 200), "argument",
                 "nothing rests on a block", "h_block_w_m2k")
  own <- thermal_material("C26000", density_kg_m3 = 8500)
  own$emissivity <- NA_real_
  expect_refused(heat_up(0.95, 410, alloy = own), "argument", "no emissivity is known",
                 "emissivity")
  expect_refused(heat_up(c(0.95, 1.2), support = "free", 410, h_w_m2k = c(20, 0), emissivity = 0), "argument",
                 "no heat gets through", "h_w_m2k", 2L)
  falling <- thermal_material("C26000", heat_slope_j_kgk2 = -2)
  expect_refused(heat_up(0.95, 410, alloy = falling), "range", "the specific heat of",
                 "alloy")
})

test_that("a furnace log for heat_up() is one rising history", {
  log <- data.frame(specimen = c("a", "a", "b"), time_s = c(0, 60, 120), temp_c = c(20, 300, 400))
  expect_refused(heat_up(0.95, log), "duplicate", "holds 2 histories ('a' and 'b')")
  log$specimen <- "a"
  log$time_s <- c(0, 60, 60)
  expect_refused(heat_up(0.95, log), "range", "must rise within 'a'", "time_s", 3L)
  log$time_s <- c(0, 60, 30)
  expect_refused(plot_history(log), "range", "must not fall within 'a'", "time_s", 3L)
})

test_that("steps of an anneal are whole", {
  steps <- data.frame(specimen = "A1", temp_c = c(370, NA, 370), time_min = c(4, 8, 16))
  expect_refused(anneal_history(steps), "missing", "needs specimen, time and temperature",
                 "steps", 2L)
  expect_refused(anneal_history(data.frame(specimen = "A1", temp_c = NA_real_, time_min = 0)),
                 "too_few", "no time above zero", "steps")
  steps <- data.frame(specimen = "A1", temp_c = c(370, 380), time_min = 4)
  expect_refused(anneal_history(steps), "duplicate", "two temperatures", "temp_c", 2L)
})

test_that("histories that no furnace has are refused with their row", {
  log <- data.frame(time_s = c(0, 60, 30), temp_c = 370)
  expect_refused(equivalent_time(log, 180, 370), "range", "must not fall within a specimen",
                 "time_s", 3L)
  log <- data.frame(time_s = c(0, 60, 90), temp_c = c(370, -300, 370))
  expect_refused(equivalent_time(log, 180, 370), "range", "must be above -273.15", "temp_c", 2L)
})

log_of <- function(bell) {
  suppressWarnings(anneal_history(unique(bell[c("specimen", "temp_c", "time_min")])))
}

test_that("readings and histories must belong together", {
  bell <- as.data.frame(bell_readings())
  history <- log_of(bell)
  plain <- as.data.frame(history)
  expect_refused(fit_softening(cbind(bell, clock = 0), log_time = clock), "argument",
                 "`log_time` is given without `history`", "log_time")
  expect_refused(fit_softening(bell[setdiff(names(bell), "specimen")], history = history),
                 "column", "no specimen column to join them to 4 histories", "specimen")
  gone <- plain[plain$specimen != bell$specimen[1L], ]
  e <- expect_refused(fit_softening(bell, history = gone), "missing", "holds no log of specimen",
                      "history")
  expect_true(all(bell$specimen[e$rows] == bell$specimen[1L]))
  short <- plain[plain$furnace_min <= 32, ]
  e <- expect_refused(fit_softening(bell, history = short), "range", "after the end of the history",
                      "history")
  expect_true(all(bell$time_min[e$rows] > 32))
  early <- cbind(bell, clock = ifelse(bell$time_min > 0, -60, 0))
  expect_refused(fit_softening(early, history = history, log_time = clock), "range",
                 "before the start of the history", "history")
  falling <- plain
  falling$furnace_min <- rev(falling$furnace_min)
  expect_refused(fit_softening(bell, history = falling), "range", "must not fall within a specimen",
                 "furnace_min")
  expect_refused(fit_softening(bell[bell$time_min == 0, ], history = history), "too_few",
                 "no reading after an anneal", "data")
})

test_that("the forward model refuses what does not fit together", {
  log <- data.frame(time_s = c(0, 600), temp_c = 370)
  par <- c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.1), n = 1.5, q_kj_mol = 180)
  fit <- bell_softening()
  expect_refused(soften(log, fit, model = "jmak_incubation"), "argument",
                 "`model` is 'jmak_incubation' but the fit is 'jmak'", "model")
  expect_refused(soften(log, fit, temp_ref_c = 330), "argument", "given besides a fit",
                 "temp_ref_c")
  one <- bell_readings()
  one <- suppressWarnings(fit_softening(one[one$temp_c == 330, ]))
  expect_refused(soften(log, one), "model", "has one temperature", "parameters")
  expect_refused(soften(log, par), "argument", "`temp_ref_c` is missing", "temp_ref_c")
  expect_refused(soften(log, par, temp_ref_c = 370, time_min = c(1, 11)), "range",
                 "`time_min` (11) lies beyond the end of the history (10 min)", "time_min")
  expect_refused(plot_isochronal(par, 1:8, temp_ref_c = 370), "argument",
                 "more than seven times", "time_min")
  expect_refused(plot_isochronal(par, numeric(), temp_ref_c = 370), "too_few", "holds no time",
                 "time_min")
  expect_refused(thermal_material("unobtainium", density_kg_m3 = 8000), "argument",
                 "'unobtainium' is not in the table of metals", "heat_j_kgk")
  expect_refused(plot_isochronal(par, 10, temp_c = c(400, 300), temp_ref_c = 370), "range",
                 "`temp_c` must rise", "temp_c")
  expect_refused(plot_isochronal(replace(par, "q_kj_mol", 0), 10, temp_ref_c = 370), "argument",
                 "without activation energy no temperature is special", "temp_c")
  # hotter than any reading: told once, and still computed
  history <- data.frame(time_s = c(0, 60, 120), temp_c = c(20, 500, 500))
  value <- expect_told(predict(fit, history = history), "extrapolation",
                       "points of the history are outside the range of the data")
  expect_false(anyNA(value))
})

test_that("the rate law refuses what has no answer", {
  expect_refused(jmak_time(c(0.5, 1), 0.1, 2), "range", "`fraction` must be below 1", "fraction",
                 2L)
  expect_refused(jmak_fraction(1, 0.1, 2, theta0 = 0.1, form = "constant"), "argument",
                 "`theta0` has no meaning", "theta0")
})
