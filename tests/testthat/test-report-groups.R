# The report of several groups, and of several reductions.

skip_without_pandoc <- function() {
  skip_if_not_installed("rmarkdown")
  skip_if_not_installed("knitr")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc is not available")
}

three_coils <- function() {
  with_test_seed(52, {
    a <- cbind(coil = "A <b>", made_readings(n = 2, sd_step = 0.5, q = 150))
    b <- cbind(coil = "B", made_readings(n = 2, sd_step = 0.5, q = 130, half_min = 20))
    rbind(a, b, cbind(coil = "C", made_readings(n = 2, times = 0)))
  })
}

test_that("a report by groups compares them in a table and a plot", {
  skip_on_cran()
  skip_without_pandoc()
  out <- file.path(withr::local_tempdir(), "coils")
  r <- expect_told(softening_report(three_coils(), out, by = coil), "fit", "1 of 3 groups have no fit: C",
                   n = 1L)
  expect_setequal(basename(r$files), list.files(out))
  expect_setequal(list.files(out), c("coefficients.csv", "half_softening.csv", "groups.png", "report.html"))
  d <- three_coils()
  for (g in 1:2) {
    fit <- fit_softening(d[d$coil == c("A <b>", "B")[g], ])
    expect_equal(coef(r$fits[[g]]), coef(fit), tolerance = 1e-10)
    half <- time_to(fit, temp_c = r$temp_c)
    expect_equal(r$comparison$time[g], half$time_min, tolerance = 1e-10)
    expect_equal(r$comparison$q_low[g], confint(fit, "q_kj_mol")[[1L]], tolerance = 1e-10)
  }
  expect_null(r$fits[[3L]])
  b <- utils::read.csv(file.path(out, "coefficients.csv"))
  expect_equal(names(b)[1L], "coil")
  expect_equal(b$estimate[b$coil == "B"], unname(coef(r$fits[[2L]])))
  html <- paste(readLines(file.path(out, "report.html"), warn = FALSE), collapse = "\n")
  expect_match(html, softanneal:::report_number(r$comparison$time[2L]), fixed = TRUE)
  expect_match(html, "A &lt;b&gt;", fixed = TRUE)
  expect_no_match(html, "<h2>A <b>", fixed = TRUE)
  expect_match(html, "Groups by coil")
  expect_match(html, "not a release for use")
  expect_length(gregexpr("<img", html)[[1L]], 3L)
  expect_output(print(r), "3 groups by coil, 2 fitted")
  expect_output(print(r), "an estimate, not a release")
  expect_refused(softening_report(three_coils(), out, by = coil), "file", "there are results")
  expect_refused(softening_report(three_coils(), out, by = charge, overwrite = TRUE), "column", "`charge`")
  expect_refused(softening_report(subset(three_coils(), coil == "C"), out, by = coil, overwrite = TRUE),
                 "too_few", "no group can be fitted")
})

test_that("a report takes reductions in per cent", {
  skip_on_cran()
  skip_without_pandoc()
  d <- with_test_seed(53, do.call(rbind, lapply(c(20, 40, 60), function(r) {
    cbind(made_readings(n = 2, half_min = 300 / r, worked = 120 + r), reduction_pct = r)
  })))
  d$specimen <- paste(d$specimen, d$reduction_pct)
  out <- file.path(withr::local_tempdir(), "reductions")
  r <- suppressMessages(suppressWarnings(softening_report(d, out, strain = reduction_pct)))
  expect_equal(r$fit$readings$columns$strain, "strain")
  expect_equal(sort(unique(r$fit$readings$strain)),
               signif(2 / sqrt(3) * log(100 / (100 - c(20, 40, 60))), 10))
  expect_true(file.exists(file.path(out, "report.html")))
})
