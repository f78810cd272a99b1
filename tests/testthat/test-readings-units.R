# Temperatures of all specimens in another unit: the metal is the witness. Truth: benches whose unit is known.

bench_of <- function(seed, ...) simulate_readings(seed = seed, n_readings = 3, ...)

unit_words <- function(d, ...) {
  f <- check_readings(d, ...)
  f$what[f$check == "temperatures"]
}

test_that("Kelvin and Fahrenheit of all specimens are found, degrees Celsius are not", {
  skip_on_cran()
  for (seed in 1:3) {
    d <- bench_of(seed)
    expect_identical(unit_words(d), character())
    expect_match(unit_words(transform(d, temp_c = temp_c + 273)), "in Kelvin .290 to 410")
    expect_match(unit_words(transform(d, temp_c = temp_c * 1.8 + 32)), "in Fahrenheit .290 to 410")
    # read as Kelvin or Fahrenheit, but written in degrees Celsius
    expect_match(unit_words(transform(d, temp_c = temp_c - 273.15)),
                 "degrees Celsius read as Kelvin .290 to 410")
    expect_match(unit_words(transform(d, temp_c = (temp_c - 32) / 1.8)),
                 "degrees Celsius read as Fahrenheit .290 to 410")
  }
})

test_that("the metal decides, and .15 at the end of all temperatures", {
  d <- bench_of(4)
  hot <- transform(d, temp_c = temp_c + 290)
  expect_match(unit_words(hot), "Kelvin")
  expect_identical(unit_words(hot, material = "steel"), character())
  expect_identical(unit_words(transform(hot, material = "carbon steel")), character())
  expect_identical(unit_words(transform(hot, material = NA)), character())
  flat <- transform(d, hardness = 70) # nothing softens
  expect_identical(unit_words(flat), character())
  expect_match(unit_words(transform(flat, temp_c = temp_c + 273.15)), "in Kelvin .290 to 410")
})

test_that("a brass that softens as early or late as any does is none", {
  # 6 nats off are needed, and a unit within 4.5
  witness <- function(shift, temp = c(300, 330, 360)) {
    metal <- kinetics_of_table("brass")
    pieces <- Map(function(t) {
      time <- exp(metal(t) + shift + seq(-4, 3, 0.1))
      list(name = "a", temp = t, time = time, hv = 80 + 80 * exp(-log(2) * time / exp(metal(t) + shift)),
           worked = 160, read = 160, rows = 1L, scale = "HV")
    }, temp)
    other_units(pieces, "brass")$unit
  }
  expect_null(witness(0))
  expect_null(witness(5.9))
  expect_null(witness(-5.9))
  expect_identical(witness(8, c(560, 600, 640)), c("Kelvin", "Fahrenheit"))
  expect_null(witness(25))
  expect_null(other_units(list(list(temp = 300)), "zinc"))
  # half softening at the temperature of one hour: 99 % are done in 60 min
  guess <- plan_guess("C26000")
  expect_equal(exp(kinetics_of_table("brass_gb")(370)), 60 * (log(2) / log(100))^(1 / guess$par[["n"]]))
})

test_that("a fit says so once, with a full stop or a question mark", {
  d <- transform(bench_of(5), temp_c = temp_c + 273.15)
  said <- character()
  withCallingHandlers(fit_softening(d), warning = function(w) {
    said <<- c(said, conditionMessage(w))
    invokeRestart("muffleWarning")
  })
  expect_length(grep("in Kelvin .290 to 410 degrees Celsius.[?] check_readings", said), 1L)
})
