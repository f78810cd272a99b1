# Durations, clock times and units: in every column and argument of time, and out by with_units().

test_that("durations are converted in columns and arguments, of one fit and of many", {
  d <- with_test_seed(3, made_readings(n = 2))
  d$lot <- "a"
  hours <- transform(d, time_min = as.difftime(time_min / 60, units = "hours"))
  f <- fit_softening(d, se = "model")
  expect_equal(coef(fit_softening(hours, se = "model")), coef(f))
  expect_equal(coef(fit_each(hours, by = lot)), coef(fit_each(d, by = lot)))
  expect_equal(temp_for(f, as.difftime(0.5, units = "hours")), temp_for(f, 30))
  expect_equal(heat_up(0.95, 370, as.difftime(5, units = "mins")), heat_up(0.95, 370, 5))
  expect_equal(predict(f, hours[1:3, ]), predict(f, d[1:3, ]))
  expect_refused(time_to(f, temp_c = as.difftime(1, units = "hours")), "column",
                 "holds differences of time")
})

test_that("a duration that keeps its own unit is converted all the same", {
  # as class hms does: seconds whatever is asked for
  registerS3method("units<-", "stubborn", function(x, value) x, envir = asNamespace("base"))
  stubborn <- structure(c(300, 600), units = "secs", class = c("stubborn", "difftime"))
  expect_identical(as.numeric(stubborn, units = "mins"), c(300, 600))
  expect_identical(plain_class(stubborn, "min", "time_min"), c(5, 10))
  expect_identical(plain_class(stubborn, "h", "time_h"), c(300, 600) / 3600)
  bell <- as.data.frame(bell_readings())
  timed <- bell
  timed$time_min <- structure(60 * bell$time_min, units = "secs", class = c("stubborn", "difftime"))
  expect_equal(coef(fit_softening(timed, se = "model")), coef(fit_softening(bell, se = "model")))
})

test_that("clock times of readings are refused by every verb: they are no times in the furnace", {
  d <- with_test_seed(3, made_readings(n = 2))
  d$lot <- "a"
  d$read_at <- as.POSIXct("2026-11-30 08:00", tz = "Europe/Berlin") + 60 * d$time_min
  d$at <- as.POSIXlt(d$read_at)
  told <- function(code) expect_refused(code, "column", "A time of day is no time in the furnace")
  told(fit_softening(d, time = read_at))
  told(fit_softening(d, time = at))
  told(fit_each(d, by = lot, time = read_at))
  told(compare_models(d, time = read_at))
  told(fit_posterior(d, time = read_at, seed = 1))
  named <- transform(d, time_min = read_at)
  told(read_readings(named))
  told(check_readings(named))
  told(summarise_readings(named))
  told(find_outliers(named))
  told(predict(bell_softening(), named))
  told(recryst_temperature(named))
  told(fit_recrystallisation(transform(named, fraction = 0.5)))
  told(fit_grain_growth(transform(named, grain_mm = 0.1)))
  p <- ggplot2::ggplot(named, ggplot2::aes(time_min, hardness, temp_c = temp_c)) + geom_softening()
  expect_error(ggplot2::layer_data(p), "no time in the furnace")
})

test_that("a log with clock times goes with readings on the same clock", {
  log <- anneal_history(data.frame(specimen = c("A", "B"), temp_c = c(330, 370), time_min = c(20, 8)),
                        thickness_mm = 0.95)
  start <- as.POSIXct("2026-11-30 08:00:00", tz = "UTC")
  clock <- transform(as.data.frame(log)[c("specimen", "time_s", "temp_c")], time_s = start + time_s)
  expect_equal(equivalent_time(clock, 150, 340), equivalent_time(log, 150, 340), tolerance = 1e-6)
  par <- c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.1), n = 1.5, q_kj_mol = 180)
  soft <- soften(clock, par, temp_ref_c = 370)
  expect_equal(soft$time_s, clock$time_s)
  expect_equal(soft$hardness, soften(log, par, temp_ref_c = 370)$hardness, tolerance = 1e-6)
  d <- with_test_seed(4, made_readings(temps = c(310, 350), times = c(0, 4, 8, 16, 32), n = 2))
  d$log_s <- 60 * d$time_min
  hot <- data.frame(specimen = rep(unique(d$specimen), each = 2), time_s = c(0, 2000),
                    temp_c = rep(c(310, 350), each = 2))
  f <- fit_softening(d, history = hot, log_time = log_s, se = "model")
  d$read_at <- start + d$log_s
  hot$at <- start + hot$time_s
  names(hot)[names(hot) == "time_s"] <- "s"
  names(hot)[names(hot) == "at"] <- "time_s"
  g <- fit_softening(d, history = hot, log_time = read_at, se = "model")
  expect_equal(coef(g), coef(f), tolerance = 1e-5)
  # drawn in minutes of the log, not of the epoch
  expect_lt(max(ggplot2::layer_data(plot_history(clock))$x), 60)
  expect_lt(max(ggplot2::layer_data(ggplot2::autoplot(soft))$x), 60)
  expect_refused(equivalent_time(transform(clock, time_s = as.Date(time_s)), 150, 340), "column",
                 "holds dates")
})

test_that("with_units() gives the units of names, and answers those of their estimate", {
  skip_on_cran()
  skip_if_not_installed("units")
  f <- fit_softening(tungsten_readings(), se = "model")
  unit <- function(x) if (inherits(x, "units")) as.character(units::deparse_unit(x)) else ""
  times <- with_units(time_to(f))
  expect_identical(vapply(times[1:6], unit, ""),
                   c(temp_c = "\u00b0C", softening = "", time_min = "min", std.error = "min",
                     conf.low = "min", conf.high = "min"))
  expect_equal(as.numeric(units::set_units(times$time_min, "h", mode = "standard")), time_to(f)$time_min / 60)
  temps <- with_units(temp_for(f, 60))
  expect_identical(vapply(temps[c("temp_c", "std.error", "conf.low")], unit, ""),
                   c(temp_c = "\u00b0C", std.error = "K", conf.low = "\u00b0C"))
  # and back in
  expect_equal(temp_for(f, times$time_min[1]), temp_for(f, as.numeric(times$time_min[1])))
  odd <- with_units(data.frame(dip_c = 5, grains_per_mm2 = 4, q_kj_mol = 150L, name_c = "a", steps = 3))
  expect_identical(vapply(odd, unit, ""), c(dip_c = "K", grains_per_mm2 = "mm-2", q_kj_mol = "kJ mol-1",
                                            name_c = "", steps = ""))
  expect_identical(with_units(times), times)
  expect_refused(with_units(1), "argument", "must be a data frame")
})

test_that("durations and rates with a unit are converted in fits of times, rates and peaks", {
  lives <- data.frame(temp_c = rep(c(290, 320, 350), each = 3),
                      time_min = c(151, 204, 240, 38, 55, 61, 13, 17, 11))
  wanted <- coef(fit_lifetime(lives))
  lasted <- transform(lives, time_min = as.difftime(time_min / 60, units = "hours"))
  expect_equal(coef(fit_lifetime(lasted)), wanted)
  times <- lives[c(1, 4, 7), ]
  wanted <- coef(fit_arrhenius(times, time = time_min))
  expect_equal(coef(fit_arrhenius(transform(times, time_min = as.difftime(60 * time_min, units = "secs")),
                                  time = time_min)), wanted)
  # to the unit of the name
  hours <- transform(times, time_h = as.difftime(time_min, units = "mins"))
  expect_equal(coef(fit_arrhenius(hours, time = time_h)),
               coef(fit_arrhenius(transform(times, time_h = time_min / 60), time = time_h)))
  skip_if_not_installed("units")
  rates <- transform(times, rate = units::set_units(60 / time_min, "1/h", mode = "standard"))
  expect_equal(coef(fit_arrhenius(rates, rate = rate)), wanted)
  peaks <- data.frame(rate_k_min = c(2.5, 5, 10), peak_c = c(341, 357, 373))
  hourly <- transform(peaks, rate_k_min = units::set_units(60 * rate_k_min, "K/h", mode = "standard"))
  expect_equal(coef(fit_kissinger(hourly)), coef(fit_kissinger(peaks)))
})
