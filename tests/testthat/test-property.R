# Other properties than hardness: the same fit in their own unit, falling or rising, with their own words.

test_that("a property that falls is fitted as a hardness on its scale", {
  d <- with_test_seed(12, made_readings(n = 3))
  f <- fit_softening(d, se = "model")
  stress <- transform(d, yield_mpa = 5 * hardness, hardness = NULL, scale = NULL)
  g <- fit_softening(stress, hardness = yield_mpa, property = "Yield stress (MPa)", se = "model")
  expect_equal(coef(g)[3:5], coef(f)[3:5], tolerance = 1e-6)
  expect_equal(coef(g)[1:2], 5 * coef(f)[1:2], tolerance = 1e-6)
  expect_equal(time_to(g, temp_c = 310, method = "delta")$time_min,
               time_to(f, temp_c = 310, method = "delta")$time_min, tolerance = 1e-6)
  said <- paste(capture.output(print(g)), collapse = "\n")
  expect_match(said, "Fit of yield stress, model 'jmak'", fixed = TRUE)
  expect_match(said, "Fitted in MPa", fixed = TRUE)
  expect_match(format(g), "fit of yield stress, jmak", fixed = TRUE)
  pictures <- list(ggplot2::autoplot(g), plot_hardness_map(g), plot_residuals(g), plot_residual_map(g),
                   plot_isochronal(g, 16))
  texts <- unlist(lapply(pictures, \(p) c(unlist(p$labels[c("title", "y", "caption")]),
                                          ggplot2::get_alt_text(p))))
  expect_false(any(grepl("hardness|as read|HV", texts, ignore.case = TRUE)))
  expect_identical(pictures[[1L]]$labels$y, "Yield stress (MPa)")
  a <- augment(g)
  expect_false(".hardness" %in% names(a))
  expect_equal(augment(g, data = stress)$.fitted + a$.resid, stress$yield_mpa)
  seen <- ggplot2::autoplot(identifiability(g))
  expect_match(ggplot2::get_alt_text(seen), "Yield stress as rolled determined", fixed = TRUE)
  expect_refused(predict(g, scale = "HRB"), "scale", "fitted as read")
  expect_refused(explore_page(g, tempfile()), "model", "fits of hardness")
})

test_that("a property that rises has the answers of its mirror image", {
  d <- with_test_seed(12, made_readings(n = 3))
  up <- transform(d, value = 200 - hardness, hardness = NULL, scale = NULL)
  down <- transform(d, value = hardness)
  for (se in c("model", "components")) {
    g <- fit_softening(up, hardness = value, property = "Conductivity (MS/m)", se = se)
    f <- fit_softening(down, hardness = value, property = "Resistance (mOhm)", se = se)
    expect_equal(coef(g)[1:2], 200 - coef(f)[1:2], tolerance = 1e-6)
    expect_equal(coef(g)[3:5], coef(f)[3:5], tolerance = 1e-5)
    for (method in c("delta", "profile")) {
      expect_equal(time_to(g, temp_c = 310, method = method), time_to(f, temp_c = 310, method = method),
                   tolerance = 1e-3)
    }
    expect_equal(temp_for(g, 20, hardness = 80, method = "delta")$temp_c,
                 temp_for(f, 20, hardness = 120, method = "delta")$temp_c, tolerance = 1e-6)
  }
  expect_match(ggplot2::get_alt_text(ggplot2::autoplot(g)), "Conductivity rises from", fixed = TRUE)
  expect_refused(fit_softening(up, "recovery_jmak", hardness = value, property = "Conductivity (MS/m)"),
                 "model", "rises on annealing")
  m <- compare_models(up, c("jmak", "recovery_jmak"), hardness = value, property = "Conductivity (MS/m)",
                      se = "model", cross_validate = FALSE)
  expect_match(m$note[m$model == "recovery_jmak"], "rises on annealing", fixed = TRUE)
  # a hardness that rises reaches nothing by softening, as before
  h <- suppressWarnings(fit_softening(transform(up, hardness = value, scale = "HV"), se = "model"))
  expect_true(all(is.na(suppressWarnings(time_to(h))$time_min)))
})

test_that("a fraction has no unit, and may begin at zero", {
  d <- with_test_seed(12, made_readings(n = 3))
  d$fraction <- pmin(pmax((160 - d$hardness) / 80, 0), 1)
  g <- fit_softening(d, hardness = fraction, property = "Recrystallised fraction", se = "model")
  expect_lt(abs(coef(g)[["h_worked"]]), 0.02)
  k <- fit_recrystallisation(transform(d, fraction = (160 - hardness) / 80), variance = "constant")
  expect_equal(coef(g)[c("n", "q_kj_mol")], coef(k)[c("n", "q_kj_mol")], tolerance = 0.1)
  words <- c(capture.output(print(g)), ggplot2::get_alt_text(ggplot2::autoplot(g)),
             ggplot2::get_alt_text(plot_residuals(g)), plot_residuals(g)$labels$y,
             capture.output(summary(g)))
  expect_false(any(grepl("as read|HV|[(][)]|[Hh]ardness| in  | [.]", words)))
  expect_identical(ggplot2::autoplot(g)$labels$y, "Recrystallised fraction")
})

test_that("names of properties are checked, and texts within them are text", {
  d <- with_test_seed(12, made_readings(n = 3))
  ask <- function(...) fit_softening(d, se = "model", ...)
  for (bad in list("", "(MPa)", " ", "a\nb", strrep("a", 61))) {
    expect_refused(ask(property = bad), "argument", "must name a property")
  }
  expect_refused(ask(property = 3), "argument", "must be one piece of text")
  expect_refused(ask(property = "Hardness (HRB)"), "argument", "hardness scale")
  expect_refused(ask(property = "Stress (MPa)", scale = "HV"), "argument", "exclude each other")
  expect_refused(fit_softening(transform(d, hardness = -1), property = "Change (%)"), "range",
                 "add a constant")
  rho <- ask(property = "Resistivity (\u03bc\u03a9 cm)")
  expect_identical(ggplot2::autoplot(rho)$labels$y, "Resistivity (\u00b5ohm cm)")
  withr::local_pdf(withr::local_tempfile(fileext = ".pdf"))
  expect_no_warning(print(ggplot2::autoplot(rho)))
  odd <- ask(property = "Loss \\1 $x <b> (%)")
  expect_match(ggplot2::get_alt_text(ggplot2::autoplot(odd)), "Loss \\1 $x <b> in % over", fixed = TRUE)
})

test_that("the report of a property speaks of it", {
  skip_if_not_installed("rmarkdown")
  skip_if_not(rmarkdown::pandoc_available())
  d <- with_test_seed(12, made_readings(n = 3))
  d <- transform(d, rho = hardness / 10, hardness = NULL, scale = NULL)
  folder <- withr::local_tempfile()
  f <- fit_softening(d, hardness = rho, property = "Resistivity (nOhm m)", se = "model")
  result <- list(fit = f, half_softening = time_to(f, method = "delta"), level = 0.95)
  words <- c(softanneal:::report_answer(result), unlist(softanneal:::report_estimates(f, 0.95)))
  expect_match(words[1L], "Resistivity falls from [0-9.]+ to [0-9.]+ nOhm m[.]")
  expect_false(any(grepl("[Hh]ardness|softening|HV", words)))
  expect_refused(softening_report("a.csv", folder, property = "Resistivity (nOhm m)"), "argument",
                 "must be a data frame")
  expect_refused(softening_report(d, folder, sheet = 2, property = "Resistivity (nOhm m)"), "argument",
                 "is for hardness readings")
  skip_if_not(extended_tests(), "long tests")
  r <- softening_report(d, folder, columns = c(hardness = "rho"), property = "Resistivity (nOhm m)")
  expect_match(paste(format(r), collapse = "\n"), "Resistivity falls from", fixed = TRUE)
  html <- paste(readLines(file.path(folder, "report.html")), collapse = "\n")
  text <- gsub("data:image[^\"]*|<[^>]*>|<style.*?</style>", "", html)
  expect_match(text, "Resistivity as rolled (nOhm m)", fixed = TRUE)
  expect_false(grepl("as read|\\bHV\\b|[Hh]ardness as", text))
})
