# The report of several groups, and of several reductions.

skip_without_pandoc <- function() {
  skip_if_not_installed("rmarkdown")
  skip_if_not_installed("knitr")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc is not available")
}

# Acts of one step on a bench page, as read_history() takes them.
coil_events <- function(specimen, note = "") {
  clock <- paste0("2026-11-30T08:", c("00:00", "00:12", "09:00", "15:00"), "Z")
  suppressWarnings(suppressMessages(read_history(data.frame(
    specimen = specimen, time = clock, temp_c = c(20, 25, 330, 21),
    event = paste(c("in", "shut", "out", "cold"), 1), entered = "",
    note = c("", "", note, ""), entry = paste0("n00000000000", 1:4)))))
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
  events <- list("A <b>" = coil_events("A1", "out 2 min late"), B = coil_events("B1"))
  told <- function(events) softening_report(three_coils(), out, by = coil, events = events, overwrite = TRUE)
  expect_refused(told(unname(events)), "argument", "must be named by group")
  expect_refused(told(list(A = events$B)), "argument", "no group is called so")
  expect_false(dir.exists(out))
  r <- expect_told(softening_report(three_coils(), out, by = coil, events = events), "fit",
                   "1 of 3 groups have no fit: C", n = 1L)
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
  expect_match(html, "Events of A &lt;b&gt; (clock: UTC)", fixed = TRUE)
  expect_match(gsub("\\s+", " ", html), "1 step with events: 1 out late, 0 with a corr", fixed = TRUE)
  expect_match(html, "Events of B (clock: UTC)", fixed = TRUE)
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

test_that("a report by groups says of each what came from a bench page", {
  skip_on_cran()
  d <- three_coils()
  group <- groups_for_report(d, "coil")
  events <- report_events(coil_events("A1"))
  expect_null(bench_for_report(d, group, NULL))
  # the events of one run stand once, before what is said of several
  one <- bench_for_report(d, group, events)
  expect_identical(one[[1L]]$events, events)
  expect_null(names(one))
  # readings with entries say so, group by group, with or without their events
  d$entry <- sprintf("n%012x", seq_len(nrow(d)))
  d$entered <- "2026-11-30T09:00:00Z"
  expect_match(bench_for_report(d, group, NULL)[[1L]]$said, "not given", all = FALSE)
  each <- bench_for_report(d, group, list(B = events))
  expect_named(each, c("A <b>", "B", "C"))
  expect_match(each$B$said[1L], paste("The", sum(d$coil == "B"), "readings were entered on a bench page"))
  expect_match(each$C$said[2L], "not given", fixed = TRUE)
})
