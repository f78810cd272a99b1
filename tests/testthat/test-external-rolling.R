# Published tempers and reductions.

test_that("ASTM B601: printed reductions of the rolled tempers", {
  # 10.9, 20.7, 29.4, 37.1, 50.1, 60.5, 68.6 % (H08 is printed 60.5 where 92^(-8/39) gives 60.45)
  table <- fact_table("temper_b601.csv")
  table <- table[!is.na(table$printed_pct), ]
  expect_equal(nrow(table), 7L)
  expect_lt(max(abs(bs_reduction(table$bs_numbers) - table$printed_pct)), 0.053)
})

test_that("copper association: rounded reductions name the same tempers", {
  # 11, 21, 37, 50, 60 % of quarter hard, half hard, hard, extra hard, spring
  expect_equal(nearest_temper(c(11, 21, 37, 50, 60))$temper, c("H01", "H02", "H04", "H06", "H08"))
})

test_that("a producer's reductions name the same tempers", {
  expect_equal(nearest_temper(c(10.9, 20.7, 29.4, 37.1, 50.0, 60.5, 68.7))$temper,
               c("H01", "H02", "H03", "H04", "H06", "H08", "H10"))
})

test_that("ASTM B36: limits in ksi and MPa are the same limits, rounded to 5 MPa", {
  table <- temper_limits(alloy = "C26000")
  table <- table[table$standard == "ASTM B36/B36M" & table$quantity == "tensile strength", ]
  ksi <- table[table$unit == "ksi", ]
  mpa <- table[match(paste(ksi$temper, "MPa"), paste(table$temper, table$unit)), ]
  expect_equal(nrow(ksi), 8L)
  expect_lt(max(abs(ksi$low * 6.894757 - mpa$low)), 4.1)
  expect_lt(max(abs(ksi$high * 6.894757 - mpa$high)), 4.1)
})

test_that("typical strengths by reduction lie inside the limits of the temper they belong to", {
  # 11, 21, 37, 50, 60 % -> 54, 62, 76, 86, 94 ksi (seen); limits ASTM B36 (two sources)
  temper <- nearest_temper(c(11, 21, 37, 50, 60))$temper
  strength <- c(54, 62, 76, 86, 94)
  limits <- temper_limits(alloy = "C26000", unit = "ksi")
  limits <- limits[limits$standard == "ASTM B36/B36M" & limits$quantity == "tensile strength", ]
  row <- match(temper, limits$temper)
  expect_true(all(strength >= limits$low[row] & strength <= limits$high[row]))
})

test_that("EN 1652: R and H numbers are the lowest strength and hardness", {
  en <- temper_limits(alloy = c("CuZn30", "CuZn39Pb2", "copper"))
  expect_equal(as.numeric(sub("^[RH]", "", en$temper)), en$low)
})

test_that("hardening laws through the published strengths of C26000 by reduction", {
  # copper association design guide: 11, 21, 37, 50, 60 % -> 54, 62, 76, 86, 94 ksi (seen);
  # reductions and strengths are rounded to whole numbers: 0.5 % and 0.5 ksi
  published <- data.frame(reduction_pct = c(11, 21, 37, 50, 60),
                          strength_ksi = c(54, 62, 76, 86, 94))
  published$effective_strain <- 2 / sqrt(3) * log(1 / (1 - published$reduction_pct / 100))
  voce <- fit_hardening(published, hardness = strength_ksi)
  swift <- fit_hardening(published, hardness = strength_ksi, model = "swift")
  hollomon <- fit_hardening(published, hardness = strength_ksi, model = "hollomon")
  # within the rounding of the table: 0.5 ksi, and 0.5 % of reduction is up to 0.4 ksi more
  expect_lt(max(abs(residuals(voce))), 0.9)
  expect_lt(max(abs(residuals(swift))), 0.9)
  # a plain power law misses the start of the curve
  expect_gt(max(abs(residuals(hollomon))), 1.5)
  expect_lt(AIC(voce), AIC(swift))
  expect_lt(AIC(swift), AIC(hollomon))
  # the annealed strip, not used in the fit: 49 ksi typical of OS035 (value from memory), 44 ksi
  # of the softest temper (seen)
  start <- predict(voce, data.frame(effective_strain = 0))
  expect_gt(start, 43)
  expect_lt(start, 50)
  # H10, 68.6 %: 99 ksi (value from memory), 8.6 % beyond the last reduction used
  strain <- 2 / sqrt(3) * log(1 / (1 - 0.686))
  spread <- predict(voce, data.frame(effective_strain = strain), interval = "prediction")
  expect_lt(spread[, "lwr"], 99)
  expect_gt(spread[, "upr"], 99)
  expect_lt(spread[, "upr"] - spread[, "lwr"], 8)
})
