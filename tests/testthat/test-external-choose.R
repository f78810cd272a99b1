# Published thickness and conversion tables against the geometry of this room.

test_that("E18: rows of the tables as printed", {
  # ASTM E18 minimum-thickness tables, read in a reprint
  expect_equal(minimum_thickness(c(71, 52), "HRB"), c(0.76, 0.86))
  expect_equal(minimum_thickness(c(69, 20), "HRC"), c(0.56, 1.02))
  expect_equal(minimum_thickness(c(91, 68), "HR15T"), c(0.25, 0.46))
  expect_equal(minimum_thickness(c(80, 34), "HR30T"), c(0.36, 0.61))
  expect_equal(minimum_thickness(c(71, 4), "HR45T"), c(0.41, 0.71))
  expect_equal(minimum_thickness(c(78.5, 47), "HR30N"), c(0.36, 0.56))
})

test_that("every column of the E18 table asks for more thickness the softer the reading", {
  rows <- fact_table("thickness_e18.csv")
  for (one in split(rows, rows$scale)) {
    one <- one[order(one$thickness_mm), ]
    expect_true(all(diff(one$lowest_reading) < 0), info = one$scale[1])
    expect_lt(max(abs(one$thickness_mm - 25.4 * one$thickness_in)), 0.0055) # as printed
  }
})

test_that("the 15 h rule of ISO 6508-1 is about twice as strict as E18 for HRB", {
  rows <- fact_table("thickness_e18.csv")
  rows <- rows[rows$scale == "HRB" & rows$lowest_reading >= 50, ]
  ratio <- minimum_thickness(rows$lowest_reading, "HRB", "ISO") / rows$thickness_mm
  expect_gt(min(ratio), 1.7)
  expect_lt(max(ratio), 2.8)
})

test_that("computed Rockwell diameters cover the Brinell diameters of the same E140 rows", {
  # ASTM E140 Table 4, cartridge brass (values from memory): Rockwell and HBW 10/500 numbers of
  # one row. The Brinell number at the force and ball of the Rockwell test is no lower than the
  # one at this lower load index, so the diameter computed from it bounds the true one from above.
  table <- fact_table("conversion_brass.csv")
  force_kgf <- c(HRB = 100, HRF = 60, HR15T = 15, HR30T = 30, HR45T = 45)
  for (scale in names(force_kgf)) {
    rows <- table[!is.na(table[[scale]]) & !is.na(table$HBW_10_500), ]
    ball <- test_geometry(paste0("HBW1.5875/", force_kgf[[scale]]))
    ratio <- indent_spacing(rows[[scale]], scale)$diameter_mm /
      indent_diameter(rows$HBW_10_500, ball)
    expect_gt(min(ratio), 0.99)
    expect_lt(max(ratio), 1.2)
  }
})
