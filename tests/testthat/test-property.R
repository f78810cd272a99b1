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
  expect_false(any(c(".hardness", "hardness", "scale") %in% names(a)))
  expect_equal(a$yield_mpa, stress$yield_mpa)
  expect_equal(augment(g, data = stress)$.fitted + a$.resid, stress$yield_mpa)
  seen <- ggplot2::autoplot(identifiability(g))
  expect_match(ggplot2::get_alt_text(seen), "Yield stress as rolled determined", fixed = TRUE)
  expect_refused(predict(g, scale = "HRB"), "scale", "which cannot be given in HRB. Leave `scale` out")
  expect_refused(time_to(g, hardness = 300, scale = "HV"), "scale", "Leave `scale` out")
  expect_refused(explore_page(g, tempfile()), "model", "fits of hardness")
})

test_that("a property that rises has the answers of its mirror image", {
  skip_on_cran()
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
  skip_on_cran()
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

test_that("a hardness that rises on annealing is named as such", {
  d <- data.frame(temp_c = rep(c(310, 340, 370), each = 10),
                  time_min = rep(c(0, 3, 10, 30, 90), 6), scale = "HV")
  d$specimen <- paste(d$temp_c)
  rate <- 0.05 * exp(-145 / 8.314462618e-3 * (1 / (d$temp_c + 273.15) - 1 / 613.15))
  down <- transform(d, hardness = 160 - 80 * (1 - exp(-(rate * time_min)^1.4)) + rep(c(-1, 1), each = 5))
  up <- transform(down, hardness = 240 - hardness)
  words <- function(code) {
    said <- NULL
    withCallingHandlers(code, softanneal_warning_fit = function(w) {
      said <<- c(said, conditionMessage(w))
      rlang::cnd_muffle(w)
    })
    paste(said, collapse = "\n")
  }
  expect_no_match(words(f <- fit_softening(down, se = "cluster")), "rises on annealing")
  expect_match(words(g <- fit_softening(up, se = "cluster")),
               "'h_soft' (160) is above 'h_worked' (80)", fixed = TRUE)
  expect_match(paste(capture.output(print(g)), collapse = " "), "hardness rises on annealing")
  expect_equal(coef(g)[["h_soft"]], coef(f)[["h_worked"]], tolerance = 1e-6)
  many <- rbind(cbind(coil = "A", down), cbind(coil = "B", up))
  expect_match(words(fit_each(many, by = coil)), "rises on annealing in 1 group: B.", fixed = TRUE)
  expect_no_match(words(fit_each(many, by = coil, property = "Conductivity (MS/m)")), "rises on annealing")
})

test_that("many fits of a property are those of single fits, falling, rising or from zero", {
  skip_on_cran()
  d <- with_test_seed(12, made_readings(n = 3))
  two <- rbind(transform(d, lot = "a"), transform(d, lot = "b", hardness = hardness + 5))
  sets <- list("Yield stress (MPa)" = transform(two, v = 5 * hardness),
               "Conductivity (MS/m)" = transform(two, v = (170 - hardness) / 10),
               "Recrystallised fraction" = transform(two, v = pmin(pmax((165 - hardness) / 85, 0), 1)))
  for (what in names(sets)) {
    x <- sets[[what]][c("lot", "temp_c", "time_min", "specimen", "v")]
    fits <- fit_each(x, by = lot, hardness = v, property = what)
    one <- fit_softening(x[x$lot == "a", ], hardness = v, property = what, se = "cluster")
    expect_equal(coef(fits)["a", ], coef(one), tolerance = 1e-6)
    expect_equal(vcov(fits)$a, vcov(one), tolerance = 1e-4)
    expect_equal(coef(fits[["a"]]), coef(one), tolerance = 1e-6)
    mid <- mean(coef(one)[1:2])
    expect_equal(time_to(fits[1L], hardness = mid)$time_min, time_to(one, hardness = mid)$time_min,
                 tolerance = 1e-6)
    expect_equal(augment(fits)$.fitted[x$lot == "a"], unname(fitted(one)), tolerance = 1e-6)
    expect_identical(format(update(fits, level = 0.9)), format(fits))
    drawn <- resample_fit(one, n_resamples = 5, seed = 1)
    expect_identical(drawn$failed, 0L)
    pictures <- list(ggplot2::autoplot(fits, terms = c("h_worked", "h_soft")), plot_groups(fits),
                     ggplot2::autoplot(drawn), ggplot2::autoplot(profile(one, "h_soft", n_points = 2)),
                     plot_collapse(one))
    texts <- c(vapply(pictures, ggplot2::get_alt_text, ""), capture.output(print(fits)), format(fits),
               capture.output(summary(fits)), capture.output(summary(one)))
    expect_false(any(grepl("hardness|as read|\\bHV\\b|soften(ed|ing)\\b(?!\\(\\))", texts, ignore.case = TRUE,
                           perl = TRUE)))
  }
  expect_named(augment(fits), c("lot", "time_min", "temp_c", "v", "specimen", ".fitted", ".resid", ".se.fit"))
  expect_refused(predict(fits, scale = "HV"), "scale", "fitted as read")
  expect_refused(fit_each(x, by = lot, hardness = v, property = what, scale = "HV"), "argument", "exclude")
  expect_refused(fit_each(x, "recovery_jmak", by = lot, hardness = v, property = what), "model", "rises on")
  x$v[3] <- -1
  expect_told(fit_each(x, by = lot, hardness = v, property = what), "fit", "fraction below zero, an", n = 1L)
})

test_that("a layer draws a property in its own unit, with one temperature too", {
  d <- with_test_seed(12, made_readings(n = 3))
  d$v <- (170 - d$hardness) / 10
  layer <- function(x, ..., fit_args = list(property = "Conductivity (MS/m)", se = "cluster")) {
    ggplot2::ggplot(x, ggplot2::aes(time_min, v, ...)) +
      geom_softening(fit_args = fit_args, n_points = 5)
  }
  seen <- ggplot2::layer_data(layer(d, temp_c = temp_c))
  f <- fit_softening(d, hardness = v, property = "Conductivity (MS/m)", se = "cluster")
  at <- seen[seen$x > 0, ]
  expect_equal(at$y, predict(f, data.frame(temp_c = at$temp_c, time_min = at$x)), tolerance = 1e-6)
  expect_no_warning(one <- ggplot2::layer_data(layer(d[d$temp_c == 330, ])))
  expect_true(all(diff(one$y) > 0))
  expect_refused(geom_softening(reading_scale = "HRB", fit_args = list(property = "Conductivity")),
                 "argument", "exclude each other")
})

test_that("columns with units are converted to that of the property, or it is asked for", {
  skip_if_not_installed("units")
  d <- with_test_seed(12, made_readings(n = 3))
  d$v <- 5 * d$hardness
  mpa <- fit_softening(d, hardness = v, property = "Yield stress (MPa)", se = "model")
  d$v <- units::set_units(d$v / 1000, "GPa")
  expect_equal(coef(fit_softening(d, hardness = v, property = "Yield stress (MPa)", se = "model")), coef(mpa))
  fits <- fit_each(transform(d, lot = 1), by = lot, hardness = v, property = "Yield stress (MPa)")
  expect_equal(coef(fits)[1, ], coef(mpa), tolerance = 1e-6)
  expect_refused(fit_softening(d, hardness = v, property = "Yield stress"), "units",
                 "such as property = \"Yield stress (GPa)\"")
})

test_that("a note tells a target that was passed before from one that is not reached", {
  d <- with_test_seed(12, made_readings(n = 3))
  d$v <- (170 - d$hardness) / 10
  g <- fit_softening(d, hardness = v, property = "Conductivity (MS/m)", se = "model")
  ask <- function(...) suppressWarnings(time_to(g, temp_c = 330, ...))$note
  expect_identical(ask(hardness = c(0.5, 9.5)), c("target passed already as rolled", "target not reached"))
  f <- fit_softening(d, se = "model")
  expect_identical(suppressWarnings(temp_for(f, 10, hardness = c(200, 20)))$note,
                   c("target passed already as rolled", "target not reached"))
  hot <- data.frame(temp_c = c(NA, 350, 360), time_min = c(0, 16, 16), hardness = c(160, 85, 80),
                    scale = "HV")
  expect_match(suppressWarnings(recryst_temperature(hot))$note, "^at most 350")
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
  # what is not determined, and models that do not go with a property that rises
  open <- reader_words("The data give only an upper limit of h_soft: 9 nOhm m (95 %).", f)
  expect_identical(open, "The data give only an upper limit of resistivity when annealed: 9 nOhm m (95 %).")
  rises <- transform(d, rho = max(rho) + 1 - rho)
  e <- expect_error(fit_softening(rises, "recovery_jmak", hardness = rho, property = "Resistivity (nOhm m)"),
                    "has a term of a property that falls", class = "softanneal_error_model")
  expect_false(grepl("ardness", conditionMessage(e)))
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
