# Readings just beyond a conversion table: 94.5 HRB and 8.5 HRB stop no fit.

test_that("a table cut short is continued to what it held", {
  # the rows that are cut away are the truth: all tables with HRB, HRF or HR30T, both ends, by 2 points
  worst <- numeric()
  for (material in c("brass", "copper", "steel")) {
    table <- scale_tables[[material]]
    for (scale in intersect(c("HRB", "HRF", "HR30T", "HRC"), colnames(table$value))) {
      curve <- scale_pairs(scale, "HV", table, material)$curves[[1L]]
      from <- curve[[1L]]
      to <- curve[[2L]]
      n <- length(from)
      top <- from <= from[n] - BEYOND_POINTS
      bottom <- from >= from[1L] + BEYOND_POINTS
      high <- continued(from[top], to[top], from[n])
      low <- continued(from[bottom], to[bottom], from[1L])
      if (max(from[top]) >= from[n] - BEYOND_POINTS) worst <- c(worst, high / to[n] - 1)
      if (min(from[bottom]) <= from[1L] + BEYOND_POINTS) worst <- c(worst, low / to[1L] - 1)
    }
  }
  expect_gt(length(worst), 8L)
  expect_lt(max(abs(worst), na.rm = TRUE), 0.04)
})

test_that("readings just beyond the table stay in the fit, with a warning; those far beyond are refused", {
  d <- with_test_seed(4, made_readings(n = 3, worked = 196, soft = 62))
  table <- scale_tables$brass
  curve <- scale_pairs("HRB", "HV", table, "brass")$curves[[1L]]
  top <- max(curve[[1L]])
  d$hardness <- suppressWarnings(convert_hardness(d$hardness, "HV", "HRB"))
  d$scale <- "HRB"
  beyond <- which(is.na(d$hardness) & d$time_min == 0)
  d <- d[!is.na(d$hardness) | d$time_min == 0, ]
  d$hardness[is.na(d$hardness)] <- top + 1
  n <- sum(d$hardness > top)
  expect_gt(n, 0)
  expect_warning(f <- fit_softening(d, se = "cluster"), "beyond the brass table",
                 class = "softanneal_warning_assumption")
  expect_equal(f$nobs, nrow(d))
  # the slope of the end, by hand
  end <- curve[[2L]][length(curve[[2L]])]
  inner <- stats::approx(curve[[1L]], curve[[2L]], top - 4)$y
  expect_equal(max(f$readings$hardness), end + (end - inner) / 4)
  expect_warning(g <- fit_each(transform(d, lot = 1), by = lot), "beyond the brass table")
  expect_equal(coef(g)[1, ], coef(f), tolerance = 1e-6)
  d$hardness[3] <- top + 2.5
  expect_refused(fit_softening(d), "range", "cannot be converted to HV", "hardness", 3L)
  each <- suppressWarnings(fit_each(transform(d, lot = 1), by = lot))
  expect_identical(as.data.frame(each)$status, "outside table")
})
