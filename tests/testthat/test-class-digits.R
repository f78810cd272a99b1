# Marks of rounded numbers: 161 for 161.37 is right, 160 is not, and one digit is too few.

# a key so narrow that only rounding can make a rounded number right
narrow_key <- function(value, quantity = "h_worked", error = 1e-4) {
  key <- answer_key(1, seed = 20)
  k <- which(key$quantity == quantity)[1]
  log <- quantity %in% c("k_per_min", "t50_min")
  key$value[k] <- key$reference[k] <- key$as_given[k] <- value
  key$std.error[k] <- error
  key$lower[k] <- if (log) value * exp(-2 * error) else value - 2 * error
  key$upper[k] <- if (log) value * exp(2 * error) else value + 2 * error
  key
}
mark_one <- function(text, key, quantity = "h_worked", unit = NULL) {
  k <- which(key$quantity == quantity)[1]
  report <- data.frame(group = "group-01", quantity = quantity, value = text,
                       temp_c = key$temp_c[k])
  report$unit <- unit
  mark_answers(report, key)[k, ]
}

test_that("digits are read as written, zeros at the end both ways", {
  expect_identical(digits_of("161"), data.frame(unit = 1, digits = 3L))
  expect_identical(digits_of("161.0"), data.frame(unit = 0.1, digits = 4L))
  expect_identical(digits_of("-0.0574"), data.frame(unit = 1e-4, digits = 3L))
  expect_identical(digits_of("1.6e2"), data.frame(unit = 10, digits = 2L))
  expect_identical(digits_of("1.60E+2"), data.frame(unit = 1, digits = 3L))
  expect_equal(digits_of("1600"), data.frame(unit = c(1, 10, 100), digits = 4:2))
  expect_equal(digits_of("1600.")$digits, 4L)
  # the noise of a double is not a digit
  expect_identical(digits_of("0.057400000000000001"), data.frame(unit = 1e-4, digits = 3L))
  for (text in c("0", "0.00", "", ".", "1e", "0x1A", "Inf", "about 80", "1,5", NA)) {
    expect_identical(nrow(digits_of(text)), 0L)
  }
})

test_that("a number is right when the key rounds to it", {
  skip_on_cran()
  key <- narrow_key(161.37)
  for (text in c("161", "161.4", "161.37", "1.61e2", "161.")) {
    m <- mark_one(text, key)
    expect_identical(m$mark, "right", info = text)
  }
  expect_identical(mark_one("161", key)$reason, "agrees with the key to the digits reported")
  expect_identical(mark_one("161.37", key)$reason, "agrees with the key")
  for (text in c("162", "160", "161.3", "161.0", "161.38", "1.60e2", "161.00")) {
    expect_identical(mark_one(text, key)$mark, "wrong", info = text)
  }
  # both sides of half a unit, and half itself
  expect_identical(mark_one("161", narrow_key(161.499))$mark, "right")
  expect_identical(mark_one("161", narrow_key(161.5))$mark, "right")
  expect_identical(mark_one("161", narrow_key(161.501))$mark, "wrong")
  expect_identical(mark_one("161", narrow_key(160.501))$mark, "right")
  expect_identical(mark_one("161", narrow_key(160.499))$mark, "wrong")
})

test_that("a rounding coarser than three digits is not right by rounding, and the reason says so", {
  key <- narrow_key(161.37)
  m <- mark_one("1.6e2", key)
  expect_identical(m$mark, "wrong")
  expect_match(m$reason, "^rounded too coarsely, too small by")
  # unless its unit is no larger than the standard error of the key
  fine <- narrow_key(161.37, error = 10)
  expect_identical(mark_one("1.6e2", fine)$mark, "right")
  expect_identical(mark_one("0.06", narrow_key(0.0574, "k_per_min"), "k_per_min")$mark, "wrong")
  expect_match(mark_one("0.06", narrow_key(0.0574, "k_per_min"), "k_per_min")$reason,
               "rounded too coarsely")
  expect_identical(mark_one("0.0574", narrow_key(0.05743, "k_per_min"), "k_per_min")$mark, "right")
  # one digit with a relative width ln(0.065 / 0.055) = 0.167
  expect_identical(mark_one("0.06", narrow_key(0.0574, "k_per_min", 0.168), "k_per_min")$mark,
                   "right")
  expect_identical(mark_one("0.07", narrow_key(0.0651, "k_per_min", 0.15), "k_per_min")$reason,
                   "agrees with the key to the digits reported")
})

test_that("digits go through units and scales, said or not", {
  q <- narrow_key(139.37, "q_kj_mol")
  expect_identical(mark_one("139000", q, "q_kj_mol", "J/mol")$mark, "right")
  expect_identical(mark_one("139.4", q, "q_kj_mol", "kJ/mol")$mark, "right")
  expect_identical(mark_one("33.3", q, "q_kj_mol", "kcal/mol")$mark, "right")
  expect_identical(mark_one("33.2", q, "q_kj_mol", "kcal/mol")$mark, "wrong")
  expect_identical(mark_one("140000", q, "q_kj_mol", "J/mol")$mark, "wrong")
  m <- mark_one("139000", q, "q_kj_mol")
  expect_identical(m$mark, "right digits, wrong unit")
  expect_match(m$reason, "J/mol")
  h <- narrow_key(161.37)
  dial <- convert_hardness(161.37, "HV", "HRF")
  expect_identical(mark_one(format(round(dial, 1), nsmall = 1), h, unit = "HRF")$mark, "right")
  expect_identical(mark_one(format(round(dial, 1) + 0.1, nsmall = 1), h, unit = "HRF")$mark,
                   "wrong")
  expect_match(mark_one(format(round(dial, 1), nsmall = 1), h)$reason, "not converted to HV")
})

test_that("cells that hold numbers count with the digits that are left, in every kind of file", {
  key <- narrow_key(161.37)
  expect_identical(mark_one(161, key)$mark, "right")
  expect_identical(mark_one(160, key)$mark, "wrong")
  dir <- withr::local_tempdir()
  report <- data.frame(group = "group-01", quantity = "h_worked", value = "161,4")
  plain <- file.path(dir, "a.csv")
  write.csv2(report, plain, row.names = FALSE)
  marks <- suppressMessages(mark_answers(plain, key))
  expect_identical(marks$mark[1], "right")
  report$value <- "161,2"
  write.csv2(report, plain, row.names = FALSE)
  expect_identical(suppressMessages(mark_answers(plain, key))$mark[1], "wrong")
  skip_if_not_installed("writexl")
  skip_if_not_installed("readxl")
  sheet <- file.path(dir, "b.xlsx")
  of_cell <- function(value) {
    report$value <- value
    writexl::write_xlsx(report, sheet)
    mark_answers(sheet, key)$mark[1]
  }
  expect_identical(of_cell(161), "right")
  expect_identical(of_cell("161"), "right")
  # the zero is lost in a number cell, and kept in a text cell
  expect_identical(of_cell(161.0), "right")
  expect_identical(of_cell("161.0"), "wrong")
})

test_that("a number kept as text by an apostrophe is a number, and signs need none", {
  key <- narrow_key(139.37, "q_kj_mol")
  expect_identical(mark_one("'139.4", key, "q_kj_mol")$mark, "right")
  dir <- withr::local_tempdir()
  report <- data.frame(group = "group-01", quantity = "q_kj_mol", value = "-139.4", unit = "")
  file <- write_class(report, dir)
  expect_match(readLines(file)[2], "\"-139.4\"", fixed = TRUE)
  m <- mark_answers(file, key)
  expect_match(m$reason[m$quantity == "q_kj_mol"], "sign of the slope")
  report$value <- "=1+1"
  expect_match(readLines(write_class(report, dir, overwrite = TRUE))[2], "'=1+1", fixed = TRUE)
  report$value <- "-1+cmd"
  expect_match(readLines(write_class(report, dir, overwrite = TRUE))[2], "'-1+cmd", fixed = TRUE)
})

test_that("a wrong number is rarely called right in another unit, however wide the tolerance of the key", {
  skip_on_cran()
  key <- answer_key(2, seed = 20)
  key <- key[key$group == "group-01", ]
  # as at a temperature that is finished before the first reading: k is known within a factor of ten
  wide <- key[key$quantity == "k_per_min", ][1L, ]
  wide[c("std.error", "lower", "upper")] <- list(1.15, wide$value / 10, wide$value * 10)
  marked <- function(number, at) {
    if (softanneal:::inside(number, at)) return(NA)
    fits <- softanneal:::fit_test(number, format(number, digits = 12), at)
    !is.null(softanneal:::unit_mistake(number, at, key, "brass", fits))
  }
  for (at in list(wide, key[key$quantity == "k_per_min", ][2L, ], key[key$quantity == "q_kj_mol", ])) {
    wrong <- with_test_seed(8, at$value * exp(stats::rcauchy(4000, scale = log(2))))
    wrong <- wrong[is.finite(wrong) & wrong > at$value * 1e-6 & wrong < at$value * 1e6]
    wrong <- utils::head(wrong[wrong < at$lower | wrong > at$upper], 300L)
    # one in twenty; three standard errors of 300
    expect_lt(mean(vapply(wrong, marked, NA, at = at)), 0.088, label = paste(at$quantity, at$temp_c))
    # the mistake itself is still seen
    factor <- if (at$quantity == "q_kj_mol") 1000 else 1 / 60
    expect_true(marked(signif(at$value * factor, 4), at))
  }
})
