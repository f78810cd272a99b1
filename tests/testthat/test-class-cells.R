# Cells as people fill them in: read right as a whole, or left to be looked at.

test_that("a cell is read only if all of it is understood", {
  key <- answer_key(1, seed = 20)
  # quantity, cell, unit of the form, value in the unit of the key (NA: to be looked at)
  cells <- list(
    list("k_per_min", "1.431x10^-2", "1/min", 0.01431), list("k_per_min", "1.431 x 10^-2", "1/min", 0.01431),
    list("k_per_min", "1.431*10^-2", "1/min", 0.01431), list("k_per_min", "1,431 x 10-2", "1/min", 0.01431),
    list("k_per_min", "1.43\u00b710\u207b\u00b2", "1/min", 0.0143),
    list("k_per_min", "1.43 \u00d7 10\u207b\u00b2 min\u207b\u00b9", "1/min", 0.0143),
    list("k_per_min", "1.431 e-2", "1/min", 0.01431), list("k_per_min", "1.431E-2", "1/min", 0.01431),
    list("k_per_min", "(1.43 \u00b1 0.02) x 10^-2 min^-1", "", 0.0143),
    list("k_per_min", "1.43(2)x10^-2", "1/min", 0.0143), list("k_per_min", "0.02 1/s", "1/min", 1.2),
    list("k_per_min", "0.0143 1/min +- 0.001 1/min", "1/s", 0.0143),
    list("k_per_min", "k = 0.0143 \u00b1 5 %", "1/min", 0.0143), list("k_per_min", "1.431%", "1/min", NA),
    list("k_per_min", "1/69.88", "1/min", NA), list("k_per_min", "ln k = -4.2", "1/min", NA),
    list("k_per_min", "0.0143 1/min +- 1 1/s", "1/min", NA), list("k_per_min", "x10^-2", "1/min", NA),
    list("k_per_min", "1.43 x 10", "1/min", NA), list("k_per_min", "0.01 ln", "1/min", NA),
    list("q_kj_mol", "1.30x10^5", "J/mol", 130), list("q_kj_mol", "130'000", "J/mol", 130),
    list("q_kj_mol", "130.000,5 J/mol", "kJ/mol", 130.0005), list("q_kj_mol", "1,392,500 J/mol", "", 1392.5),
    list("q_kj_mol", "1.35 eV", "kJ/mol", 1.35 * 96.48533), list("q_kj_mol", "Q = 130", "kJ/mol", 130),
    list("q_kj_mol", "E_a \u2248 130 kJ/mol.", "", 130), list("q_kj_mol", "\u2212130", "kJ/mol", -130),
    list("q_kj_mol", "130 or 190", "kJ/mol", NA), list("q_kj_mol", "130/190", "kJ/mol", NA),
    list("q_kj_mol", "130 to 190", "kJ/mol", NA), list("q_kj_mol", "130 is wrong", "kJ/mol", NA),
    list("q_kj_mol", "not 130", "kJ/mol", NA), list("q_kj_mol", "130, 190", "kJ/mol", NA),
    list("q_kj_mol", "130-190", "kJ/mol", NA), list("q_kj_mol", "130 \u2013 190", "kJ/mol", NA),
    list("q_kj_mol", "130 +- 5 (190)", "kJ/mol", NA), list("q_kj_mol", "(or) 130", "kJ/mol", NA),
    list("q_kj_mol", "Q/R = 15600", "kJ/mol", NA), list("q_kj_mol", "T = 130", "kJ/mol", NA),
    list("q_kj_mol", ">130", "kJ/mol", NA), list("q_kj_mol", "130?", "kJ/mol", NA),
    list("q_kj_mol", "1.3.0", "kJ/mol", NA), list("q_kj_mol", "130 kJ", "kJ/mol", NA),
    list("t50_min", "0:56:00", "min", 56), list("t50_min", "0 h 56 min", "min", 56),
    list("t50_min", "1 h 2 min 3 s", "min", 62.05), list("t50_min", "56 min 4,5 s", "", 56.075),
    list("t50_min", "3365 s", "min", 3365 / 60), list("t50_min", "t50 = 1.5 h", "min", 90),
    list("t50_min", "56:05", "min", NA), list("t50_min", "0.5 h 6 min", "min", NA),
    list("n", "n = 1,76", "", 1.76), list("n", "1.7 1", "", NA), list("n", "1.76", "1", 1.76),
    list("q_kj_mol", "130.000", "J/mol", 130), list("q_kj_mol", "130.000 J/mol", "kJ/mol", 130),
    list("q_kj_mol", "130.00", "J/mol", 0.13), list("q_kj_mol", "130.000", "kJ/mol", 130),
    list("q_kj_mol", "0.130", "J/mol", 1.3e-4), list("h_soft", "71.8 HRF", "HV", 70),
    list("h_worked", "162/77", "HV", NA), list("h_worked", "159.5 HV10", "HV", 159.5),
    list("h_worked", "162 MPa", "HV", NA), list("h_soft", "HV = 78(2)", "HV", 78))
  for (cell in cells) {
    row <- which(key$quantity == cell[[1L]])[1L]
    m <- mark_answers(data.frame(group = "group-01", quantity = cell[[1L]], temp_c = key$temp_c[row],
                                 value = cell[[2L]], unit = cell[[3L]]), key)[row, ]
    label <- paste(cell[[1L]], cell[[2L]])
    expect_equal(m$value, as.numeric(cell[[4L]]), label = label)
    if (is.na(cell[[4L]])) {
      expect_identical(m$mark, "no answer", label = label)
      expect_identical(m$reason, paste0("to be looked at: '", cell[[2L]], "' is not one plain number"))
      expect_identical(m$reported, cell[[2L]])
    } else {
      expect_false(m$mark == "no answer", label = label)
    }
  }
})

test_that("what may be read in two ways counts only where it is right", {
  key <- answer_key(1, seed = 20)
  q <- which(key$quantity == "q_kj_mol")
  marked <- function(value, unit) {
    mark_answers(data.frame(group = "group-01", quantity = "q_kj_mol", value = value, unit = unit), key)[q, ]
  }
  text <- sprintf("%.0f", 1000 * key$value[q])
  spaced <- paste(substr(text, 1, 3), substr(text, 4, 6))
  expect_identical(marked(spaced, "J/mol")$mark, "right")
  expect_identical(marked(sprintf("%.5f x 105", key$value[q] / 100), "J/mol")$mark, "right")
  for (unit in c("kJ/mol", "eV")) {
    m <- marked(spaced, unit)
    expect_identical(m$mark, "no answer")
    expect_match(m$reason, "to be looked at: .* may be read in two ways")
    expect_identical(m$value, NA_real_)
  }
  expect_identical(marked("130 190", "kJ/mol")$mark, "no answer")
})
