# Brass and copper in one table: each row by its own conversion table.

two_metals <- function() {
  with_test_seed(31, {
    one <- function(metal, worked, soft, q) {
      d <- made_readings(q = q, worked = worked, soft = soft, n = 3, times = c(0, 4, 8, 16, 32, 64))
      d$hardness <- round(convert_hardness(d$hardness, "HV", "HR30T", metal), 1)
      d$scale <- "HR30T"
      cbind(coil = metal, d, material = metal)
    }
    rbind(one("brass", 165, 85, 150), one("copper", 118, 62, 120))
  })
}

test_that("material is a column: each group is converted by its own table", {
  d <- two_metals()
  fits <- fit_each(d, coil) # a column `material` counts
  for (metal in c("brass", "copper")) {
    alone <- fit_each(d[d$coil == metal, names(d) != "material"], coil, material = metal)
    expect_equal(unname(coef(fits)[metal, ]), unname(coef(alone)[1L, ]), tolerance = 1e-10, label = metal)
    expect_equal(fits[[metal]]$material, metal)
  }
  # as brass, copper would be another metal
  wrong <- suppressWarnings(fit_each(d, coil, material = "brass"), classes = "softanneal_warning")
  expect_gt(abs(coef(fits)["copper", "h_worked"] - coef(wrong)["copper", "h_worked"]), 3)
  named <- stats::setNames(d, sub("material", "alloy", names(d)))
  named$alloy <- ifelse(named$alloy == "brass", "CuZn30", "copper")
  expect_equal(coef(fit_each(named, coil, material = alloy)), coef(fits))
  expect_equal(coef(fit_each(named, coil, material = "alloy")), coef(fits))
  expect_equal(coef(fits[2]), coef(fits)[2, , drop = FALSE])
  expect_equal(fits[2][["copper"]]$material, "copper")
  a <- augment(fits, d)
  expect_lt(max(abs(tapply(a$.resid, a$coil, mean))), 0.2)
  answer <- time_to(fits, hardness = 40, temp_c = 330, scale = "HR30T")
  expect_equal(answer$time_min[2L], time_to(fits[["copper"]], hardness = 40, temp_c = 330,
                                            scale = "HR30T")$time_min)
  # predictions on the dial, each by its own table
  at <- data.frame(coil = c("brass", "copper"), temp_c = 330, time_min = 8)
  hv <- predict(fits, at)
  expect_equal(predict(fits, at, scale = "HR30T"),
               c(convert_hardness(hv[1L], "HV", "HR30T"), convert_hardness(hv[2L], "HV", "HR30T", "copper")))
  band <- predict(fits, at, interval = "confidence", se.fit = TRUE, scale = "HR30T")
  expect_true(all(band$fit[, "lwr"] < band$fit[, "fit"] & band$fit[, "fit"] < band$fit[, "upr"]))
  one <- predict(fits[["copper"]], at[2L, ], scale = "HR30T")
  expect_equal(unname(band$fit[2L, "fit"]), unname(one), tolerance = 1e-6)
  expect_refused(predict(fits, at, scale = "nonsense"), "scale", "nonsense")
})

test_that("metals are not mixed in a group, a fit or a mean", {
  d <- two_metals()
  d$lot <- 1
  expect_refused(fit_each(d, lot), "argument", "holds several metals")
  expect_refused(fit_softening(d), "argument", "holds brass, copper", arg = "material")
  expect_refused(fit_softening(d, material = alloy), "column", "`alloy`")
  expect_equal(fit_softening(d[d$coil == "copper", ])$material, "copper")
  for (odd in list(NULL, mean, quote(a + b), 1, c("brass", "copper"))) {
    expect_refused(fit_each(d, coil, material = odd), "scale", "`material` must be one name")
  }
  expect_refused(fit_each(d, coil, material = "\xff"), "scale", "no conversion table")
  d$material[3L] <- NA
  expect_refused(fit_each(d, coil), "missing", "must name a metal", rows = 3L)
  d$material[3L] <- "lead"
  expect_refused(fit_each(d, c(coil, material)), "scale", "lead")
  d <- two_metals()
  d$specimen <- "A"
  s <- suppressMessages(summarise_readings(d, in_hv = TRUE))
  expect_setequal(s$material, c("brass", "copper"))
  first <- s[s$material == "copper" & s$time_min == 0 & s$temp_c == 290, ]
  own <- d$hardness[d$material == "copper" & d$time_min == 0 & d$temp_c == 290]
  expect_equal(first$mean_hv, mean(convert_hardness(own, "HR30T", "HV", "copper")))
})

test_that("convert_hardness() takes a table for each number", {
  x <- c(60, 50, 70, NA)
  metal <- c("copper", "brass", "copper", "brass")
  by_hand <- c(convert_hardness(60, "HR30T", "HV", "copper"), convert_hardness(50, "HR30T", "HV", "brass"),
               NA, NA)
  got <- expect_told(convert_hardness(x, "HR30T", "HV", metal), "outside", "'copper' (row 3)", n = 1L,
                     rows = 3L)
  expect_equal(got, by_hand)
  table <- suppressWarnings(convert_hardness(x, "HR30T", "HV", metal, interval = TRUE))
  expect_equal(table$value, by_hand)
  expect_equal(table$std_uncertainty[2L],
               convert_hardness(50, "HR30T", "HV", interval = TRUE)$std_uncertainty)
  expect_refused(convert_hardness(x, c("HR30T", "HRX", "HR30T", "HR30T"), "HV", metal), "scale", "'HRX'",
                 arg = "from", rows = 2L)
  expect_refused(convert_hardness(c(1, Inf, 2, 3), "HR30T", "HV", metal), "missing", "`x`", rows = 2L)
  expect_refused(convert_hardness(x, "HV", "HRB", c("brass", NA)), "scale", "`material`")
})
