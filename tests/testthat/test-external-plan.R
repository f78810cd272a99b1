# The planning room against published values; the source stands beside each check.

test_that("homologous temperatures agree with the textbook's table", {
  # Callister, Materials Science and Engineering, Table 7.2 (8e/9e): recrystallisation in an hour,
  # melting, and their ratio; aluminium and lead seen, iron and nickel values from memory
  table <- data.frame(metal = c("aluminium 99.999", "lead", "iron", "nickel"),
                      one_hour = c(80, -4, 450, 370), melts = c(660, 327, 1538, 1455),
                      ratio = c(0.378, 0.448, 0.399, 0.372))
  for (k in seq_len(nrow(table))) {
    metal <- thermal_material(table$metal[k], density_kg_m3 = 5000, heat_j_kgk = 400,
                              conductivity_w_mk = 50, solidus_c = table$melts[k])
    g <- plan_guess(metal, recryst_1h_c = table$one_hour[k], q_kj_mol = 100, n = 1.5, h_worked = 50,
                    h_soft = 25, draws = 2,
                    sd_prior = c(recryst_1h_c = 5, q_kj_mol = 5, n = 0.1, h_worked = 1, h_soft = 1))
    p <- suppressWarnings(plan_anneal(table$one_hour[k], 60, g, heat_up_min = 1, cool_min = 1,
                                      diameter_mm = 0.5, ambient_c = -20, session_min = 120),
                          classes = "softanneal_warning_assumption")
    expect_equal(p$temperatures$homologous, table$ratio[k], tolerance = 2e-3)
  }
  # copper 99.999: 120 deg C, 1085 deg C, 0.289 (seen / from memory); the solidus here is 1084
  p <- plan_anneal(120, 60, plan_guess("copper", draws = 2), cool_min = 1, heat_up_min = 1,
                   scale = "HV5")
  expect_equal(p$temperatures$homologous, 0.289, tolerance = 3e-3)
})

test_that("the guesses per metal contain the observations they were made from", {
  # Time to completion (fraction 0.99) by the guess: middle 90 % of its draws
  complete <- function(metal, temp_c) {
    g <- plan_guess(metal, draws = 400)
    apply(g$draws, 1L, function(b) {
      jmak_time(0.99, arrhenius_rate(temp_c, exp(b[["ln_k_ref"]]), g$temp_ref_c, b[["q_kj_mol"]]),
                b[["n"]])
    })
  }
  within <- function(minutes, observed) {
    limits <- quantile(minutes, c(0.05, 0.95))
    expect_true(observed > limits[1L] && observed < limits[2L])
    # and a guess that allows anything would be no guess; that of copper, between high purity
    # and trade quality, is the widest
    expect_lt(limits[2L] / limits[1L], 1e5)
  }
  # Burke micrographs, brass 70/30, 33 % cold work: complete in 8 s at 580 deg C (Callister 8e,
  # Fig. 7.21, seen)
  within(complete("C26000", 580), 8 / 60)
  # AA1050 foil: finished in 360 s at 350 deg C (seen)
  within(complete("aluminium 1100", 350), 6)
  # low-carbon steel: full recrystallisation in 15 min at 650 deg C (Raji and Oluwole 2013, seen)
  within(complete("carbon steel", 650), 15)
  # ultra-low carbon steel: only nuclei after 900 s at 550 deg C (Dutta et al. 2020, seen)
  expect_gt(median(complete("carbon steel", 550)), 15)
  # copper 99.999: complete in an hour at 120 deg C (Callister, Table 7.2, seen)
  within(complete("copper", 120), 60)
})

test_that("the best time to read a first-order decay is 1/k", {
  # Box G E P, Lucas H L (1959) Biometrika 46, 77 (value from memory): for exp(-k t) with k alone
  # to find, one reading belongs at t = 1/k; with amplitude and k, at t = 0 and t = 1/k
  data <- read_readings(system.file("extdata", "bellbrass_readings.csv", package = "softanneal"))
  quiet <- function(x) suppressWarnings(x, classes = "softanneal_warning")
  at_ref <- function(fit, ...) {
    g <- plan_guess(fit = fit, draws = 2)
    g$draws <- rbind(g$par, g$par) # locally optimal: no spread
    t1 <- exp(-g$par[["ln_k_ref"]])
    plan <- quiet(plan_anneal(g$temp_ref_c, 2 * t1, g, heat_up_min = 0.1, ...))
    quiet(improve_plan(plan, "t50", time_min = t1 * c(0.25, 0.5, 0.8, 1, 1.25, 2, 3),
                       furnace_min = 1e4, starts = 6))$steps$time_min / t1
  }
  alone <- quiet(fit_softening(data, fixed = c(n = 1, q_kj_mol = 140, h_worked = 160, h_soft = 80)))
  expect_equal(at_ref(alone, baseline = FALSE), 1)
  both <- quiet(fit_softening(data, fixed = c(n = 1, q_kj_mol = 140, h_soft = 80)))
  g <- plan_guess(fit = both, draws = 2)
  g$draws <- rbind(g$par, g$par)
  t1 <- exp(-g$par[["ln_k_ref"]])
  plan <- quiet(plan_anneal(g$temp_ref_c, 2 * t1, g, heat_up_min = 0.1))
  best <- quiet(improve_plan(plan, "determinant", time_min = t1 * c(0.25, 0.5, 0.8, 1, 1.25, 2, 3),
                             furnace_min = 1e4, starts = 6))
  expect_equal(sort(best$steps$time_min) / t1, c(0, 1))
})
