# Pictures of every class on the standard PDF device, whose fonts lack many signs: no warning, no sign lost.

drawn_to_pdf <- function(pictures) {
  withr::local_pdf(withr::local_tempfile(fileext = ".pdf"))
  for (name in names(pictures)) expect_no_warning(print(pictures[[name]]), message = name)
}

test_that("a picture of every class goes to pdf() without a warning", {
  skip_on_cran()
  files <- list.files(test_path("fixtures"), "[.]rds$", full.names = TRUE)
  objects <- lapply(stats::setNames(files, basename(files)), function(f) read_saved(f)$object)
  objects <- Filter(function(x) !is.null(our_method("autoplot", x)), objects)
  classes <- unlist(lapply(objects, our_classes))
  known <- grep("^autoplot[.]", ls(asNamespace("softanneal")), value = TRUE)
  lost <- setdiff(sub("^autoplot[.]", "", known), classes)
  expect_identical(lost, character())
  # one of each, without those that test-plots-drawn.R draws
  objects <- objects[!duplicated(vapply(objects, \(x) our_classes(x)[1L], ""))]
  drawn <- c("readings", "plan", "window", "identifiability", "layout", "budget", "conversion_tables",
             "cold_work", "fits", "fit_softening", "steps")
  objects <- Filter(function(x) !our_classes(x)[1L] %in% paste0("softanneal_", drawn), objects)
  expect_gt(length(objects), 15L)
  pictures <- lapply(objects, function(x) tryCatch(suppressWarnings(our_method("autoplot", x)(x)),
                                                   softanneal_error = function(e) NULL))
  drawn_to_pdf(Filter(Negate(is.null), pictures))
})

test_that("names with umlauts and units with signs of their own go to pdf()", {
  skip_on_cran()
  d <- with_test_seed(12, made_readings(n = 2, temps = c(290, 330, 370)))
  both <- rbind(transform(d, lot = "W\u00e4rme \u00d8 \u00b110"), transform(d, lot = "Gl\u00fchung \u00df"))
  both$specimen <- paste("Pr\u00fcfling", both$specimen, both$lot)
  unit <- c("Resistivity (\u00b5\u03a9\u00b7cm)", "Loss (\u00b0C)", "Growth (\u03bcm\u00b2)")
  for (what in unit) {
    one <- fit_softening(both[both$lot == both$lot[1L], ], property = what, se = "model")
    drawn_to_pdf(list(curves = ggplot2::autoplot(one)))
  }
  fits <- fit_each(both, by = lot, property = what, se = "model")
  drawn_to_pdf(list(groups = plot_groups(fits), fits = ggplot2::autoplot(fits, terms = c("h_worked", "n")),
                    map = plot_hardness_map(one), iso = plot_isochronal(one, 16),
                    profile = ggplot2::autoplot(profile(one, "h_soft", n_points = 2)),
                    resamples = ggplot2::autoplot(resample_fit(one, 5, seed = 1)),
                    known = ggplot2::autoplot(identifiability(one)), residuals = plot_residuals(one)))
  rolled <- cold_work(data.frame(specimen = "Bl\u00e4ttchen", pass = 0:2, thickness_mm = c(1.6, 1.4, 1.2)))
  layer <- ggplot2::ggplot(both, ggplot2::aes(time_min, hardness, temp_c = temp_c, colour = lot)) +
    geom_softening(fit_args = list(se = "model"), n_points = 5)
  bell <- bell_readings()
  bell$specimen <- paste("Pr\u00fcfling", bell$specimen)
  drawn_to_pdf(list(rolled = ggplot2::autoplot(rolled), layer = layer, read = ggplot2::autoplot(bell)))
})
