# Published lumped-capacitance examples and an independent integrator. A sphere of diameter D
# has V/A = D/6; a sheet of thickness t, both faces, t/2: thickness D/3 stands for the sphere.

test_that("Cengel, Heat Transfer, Example 4-1: thermocouple bead", {
  # D = 1 mm, k = 35, rho = 8500, cp = 320, h = 210: Bi = 0.001, 99 % after 10 s (printed);
  # b = 0.463235 1/s and t = 9.9413 s recomputed
  bead <- thermal_material("bead", density_kg_m3 = 8500, heat_j_kgk = 320, conductivity_w_mk = 35,
                           solidus_c = 1300)
  got <- heat_up(1 / 3, support = "free", 100, start_c = 0, tolerance_c = 1, h_w_m2k = 210, emissivity = 0,
                 alloy = bead)$summary
  expect_equal(got$biot, 0.0010, tolerance = 1e-12)
  expect_equal(1 / got$time_constant_s, 0.463235, tolerance = 1e-5)
  expect_equal(got$time_min * 60, 9.9413, tolerance = 1e-5)
  expect_equal(round(got$time_min * 60), 10)
})

test_that("Incropera and DeWitt, Example 5.1: thermocouple junction", {
  # h = 400, k = 20, c = 400, rho = 8500; D = 7.06e-4 m; 25 deg C into gas of 200 deg C until
  # 199 deg C: 5.2 s (printed), 5.1656 s recomputed
  junction <- thermal_material("junction", density_kg_m3 = 8500, heat_j_kgk = 400,
                               conductivity_w_mk = 20, solidus_c = 1300)
  got <- heat_up(0.706 / 3, support = "free", 200, start_c = 25, tolerance_c = 1, h_w_m2k = 400,
                 emissivity = 0, alloy = junction)$summary
  expect_equal(got$time_min * 60, 5.1656, tolerance = 1e-4)
  expect_equal(round(got$time_min * 60, 1), 5.2)
})

test_that("3 mm sheet of C26000 with 60 W/(m2 K), computed by hand", {
  # Lc = 1.5 mm; Bi = 7.5e-4; tau = 81.035 s; 20 -> 398 deg C in 400: tau ln(380/2) = 425.20 s
  brass <- thermal_material("C26000", heat_j_kgk = 380, conductivity_w_mk = 120)
  got <- heat_up(3, support = "free", 400, h_w_m2k = 60, emissivity = 0, alloy = brass)$summary
  expect_equal(got$biot, 7.5e-4, tolerance = 1e-12)
  expect_equal(got$time_constant_s, 81.035, tolerance = 1e-8)
  expect_equal(got$time_min * 60, 425.20, tolerance = 1e-4)
})

test_that("linearised radiation coefficient: 38.9 W/(m2 K) at 700 K and emissivity 0.5", {
  # 4 eps sigma T^3 for equal temperatures, computed from the stated formula
  expect_equal(surface_coefficient(0, 0.5, 700 - 273.15), 38.9, tolerance = 1e-3)
})

test_that("95 % of a step are reached in 3 time constants (Lienhard)", {
  brass <- thermal_material("C26000", heat_j_kgk = 380)
  got <- heat_up(1, support = "free", 120, tolerance_c = 100 * (1 - 0.9502), h_w_m2k = 20, emissivity = 0,
                 alloy = brass)$summary
  expect_equal(got$time_min * 60 / got$time_constant_s, 3, tolerance = 1e-3)
})

test_that("deSolve gives the same temperatures to 1e-6", {
  skip_if_not_installed("deSolve")
  furnace <- door_opening(650, dip_c = 60, recover_min = 4, at_min = c(0, 12), open_s = 15)
  got <- heat_up(1.2, support = "free", furnace, until_min = 30, h_w_m2k = 12, emissivity = 0.4,
                 width_mm = 18, length_mm = 120, n_points = 100)
  sigma <- 5.670374419e-8
  around <- stats::approxfun(furnace$time_s, furnace$temp_c + 273.15, rule = 2)
  areas <- 2 / 0.0012 + 2 / 0.018 + 2 / 0.120
  rate <- function(t, y, parms) {
    flux <- 12 * (around(t) - y) + 0.4 * sigma * (around(t)^4 - y^4)
    list(areas * flux / (8530 * (380 + 0.15 * (y - 300))))
  }
  # the corners of the furnace history are output times, so no step runs across them blindly
  want <- deSolve::lsoda(293.15, got$history$time_s, rate, NULL, rtol = 1e-11, atol = 1e-9,
                         hmax = 5)
  expect_lt(max(abs(want[, 2] - (got$history$temp_c + 273.15)) / want[, 2]), 1e-6)
})

test_that("deSolve agrees for a piece on a block, with radiation from the other face", {
  skip_if_not_installed("deSolve")
  got <- cool_down(1.5, 700, ambient_c = 25, until_min = 5, h_w_m2k = 8, emissivity = 0.5,
                   support = "block", h_block_w_m2k = 150)
  sigma <- 5.670374419e-8
  rate <- function(t, y, parms) {
    flux <- (150 + 8) * (298.15 - y) + 0.5 * sigma * (298.15^4 - y^4)
    list(flux / 0.0015 / (8530 * (380 + 0.15 * (y - 300))))
  }
  want <- deSolve::lsoda(973.15, got$history$time_s, rate, NULL, rtol = 1e-11, atol = 1e-9)
  expect_lt(max(abs(want[, 2] - (got$history$temp_c + 273.15)) / want[, 2]), 1e-6)
})
