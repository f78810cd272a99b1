# Specimens of one name in two lots of the metal are different pieces.

two_lots <- function(name = "lot") {
  d <- with_test_seed(8, rbind(made_readings(half_min = 12, sd_step = 0.5),
                               made_readings(half_min = 6, worked = 168, sd_step = 0.5)))
  d[[name]] <- rep(c("A", "B"), each = nrow(d) / 2)
  d
}

test_that("specimens of one name in two lots are different pieces in fits, checks and summaries", {
  skip_on_cran()
  d <- two_lots()
  # as if each had a name of its own
  apart <- transform(d, specimen = paste(specimen, "of lot", lot))
  quiet <- function(code) suppressWarnings(code, classes = "softanneal_warning")
  fit <- quiet(fit_softening(d))
  own <- quiet(fit_softening(apart[names(apart) != "lot"]))
  expect_equal(coef(fit), coef(own), tolerance = 1e-9)
  expect_equal(vcov(fit), vcov(own), tolerance = 1e-9)
  expect_identical(length(fit$errors$steps$mean), 36L)
  for (name in c("Lot no.", "batch", "charge", "coil", "strip", "group")) {
    x <- stats::setNames(d, sub("^lot$", name, names(d)))
    expect_warning(again <- suppressWarnings(fit_softening(x), classes = "softanneal_warning_fit"),
                   "Specimens of one name in several of them count as different pieces",
                   class = "softanneal_warning_assumption", label = name)
    expect_equal(unname(coef(again)), unname(coef(own)), tolerance = 1e-9, label = name)
  }
  expect_false("duplicate" %in% check_readings(d)$check)
  expect_message(s <- summarise_readings(d), "'lot' too", class = "softanneal_message")
  expect_identical(nrow(s), 36L)
  # without the column they are one, and the readings numbered twice are an error
  expect_true("error" %in% check_readings(d[names(d) != "lot"])$level)
})

test_that("a specimen that goes through batches of a furnace stays one piece", {
  d <- with_test_seed(8, made_readings(n = 2))
  d$batch <- 1 + (d$time_min > 8)
  expect_identical(pieces_of_lots(d, d$specimen, d$time_min), d$specimen)
  # so does one that an operator column, or none, tells of
  e <- two_lots("operator")
  expect_identical(pieces_of_lots(e, e$specimen, e$time_min), e$specimen)
  expect_identical(pieces_of_lots(two_lots(), e$specimen, e$time_min, "lot"), e$specimen)
  expect_identical(unique(pieces_of_lots(two_lots(), e$specimen, e$time_min))[c(1, 4)],
                   c("piece-290 of lot A", "piece-290 of lot B"))
  expect_identical(lot_columns(two_lots("slot")), character())
})

test_that("the session that a readings form names is no group", {
  d <- with_test_seed(77, made_readings(temps = c(310, 330, 350), sd_step = 0.5))
  d$session <- ifelse(d$temp_c == 350, 2, 1)
  expect_no_warning(fit_softening(d), class = "softanneal_warning_assumption")
  d$tray <- d$session
  expect_warning(fit_softening(d), "2 values of `tray`", class = "softanneal_warning_assumption")
})
