# What is printed, drawn and handed on as a table: the short ways beside the main ones.

quiet_plot <- function(x) {
  grDevices::pdf(NULL)
  on.exit(grDevices::dev.off())
  withVisible(plot(x))
}

strip_log <- function(pieces = 1) {
  steps <- data.frame(specimen = rep(paste0("A", seq_len(pieces)), each = 2), temp_c = 370,
                      time_min = c(4, 8))
  anneal_history(steps)
}
forward <- c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.1), n = 1.5, q_kj_mol = 180)

test_that("plot() draws and hands its object on", {
  skip_on_cran()
  bell <- as.data.frame(bell_readings())
  history <- strip_log()
  fit <- bell_softening()
  strip <- data.frame(specimen = "B1", pass = 0:2, thickness_mm = c(1.6, 1.4, 1.2))
  objects <- list(
    history, soften(history, forward, temp_ref_c = 370), heat_up(0.95, 410, until_min = 2),
    indent_layout(20, 80, n_readings = 6, steps = 3, hardness = 30, scale = "HR30T"),
    compare_baseline(c(91.5, 92, 91), c(92, 91.5, 92.5), margin = 1.5),
    resample_fit(fit, n_resamples = 5, seed = 1), cold_work(strip),
    suppressWarnings(fit_each(transform(bell, coil = "A"), by = "coil")))
  for (x in objects) {
    out <- quiet_plot(x)
    expect_false(out$visible, label = class(x)[1L])
    expect_identical(out$value, x, label = class(x)[1L])
  }
  expect_s3_class(ggplot2::autoplot(history), "ggplot")
  # the result of heat_up() is a history wherever one is asked for
  hot <- heat_up(0.95, 410, until_min = 2)
  expect_equal(equivalent_time(hot, 180, 370), equivalent_time(hot$history, 180, 370))
  expect_s3_class(plot_history(hot), "ggplot")
})

test_that("a part of a table without its columns prints as plain data", {
  bell <- bell_readings()
  strip <- cold_work(data.frame(specimen = "B1", pass = 0:2, thickness_mm = c(1.6, 1.4, 1.2)))
  history <- strip_log()
  parts <- list(
    cautions("annealing")["hazard"], history["time_s"],
    soften(history, forward, temp_ref_c = 370)["hardness"], strip["pass"],
    suppressWarnings(find_outliers(bell))["specimen"],
    suppressWarnings(check_readings(bell))["check"])
  for (x in parts) expect_output(print(x), names(x)[1L], label = class(x)[1L])
  many <- strip_log(14)
  expect_output(print(many), "and 2 more")
  expect_output(print(soften(many, forward, temp_ref_c = 370)), "and 2 more")
  expect_output(print(heat_up(rep(0.95, 14), 410, until_min = 2, n_points = 3)), "and [0-9]+ more")
  plain <- as.data.frame(soften(history, forward, temp_ref_c = 370))
  expect_identical(class(plain), "data.frame")
})

test_that("budgets and laboratories are tables for broom", {
  now <- data.frame(hardness = c(91.5, 92, 91), scale = "HRF")
  budget <- uncertainty_budget(now)
  expect_equal(as.data.frame(tidy(budget)), as.data.frame(budget), ignore_attr = TRUE)
  # in HV the conversion is a component, and each point on the dial counts by its slope
  hv <- uncertainty_budget(now, in_hv = TRUE)
  table <- as.data.frame(hv)
  conversion <- table[grepl("conversion", table$input), ]
  wanted <- convert_hardness(mean(now$hardness), "HRF", "HV", interval = TRUE)
  expect_equal(conversion$std_uncertainty, wanted$std_uncertainty)
  expect_gt(nrow(table), nrow(as.data.frame(budget)))
  d <- data.frame(group = rep(c("a", "b", "c"), each = 4), specimen = "ring",
                  hardness = c(61, 60.5, 61.5, 61, 62, 62.5, 62, 63, 60, 61.5, 61, 60.5))
  labs <- compare_laboratories(d, lab = "group", test_material = "specimen")
  expect_s3_class(tidy(labs), "softanneal_table")
  expect_identical(as.data.frame(labs), labs$precision)
  d$hardness[9:12] <- c(40, 61, 82, 60.5) # one with far more scatter
  loud <- compare_laboratories(d, lab = "group", test_material = "specimen")
  expect_output(print(loud), "Beyond a critical value")
  mixed <- transform(now, scale = "HXX")
  expect_refused(compare_baseline(mixed, mixed, margin = 1), "scale", "HXX")
})

test_that("a Kissinger line predicts what its formula gives", {
  peaks <- data.frame(rate_k_min = c(2.5, 5, 10, 20, 40),
                      peak_c = c(140.98, 151.07, 161.63, 172.72, 184.38))
  fit <- fit_kissinger(peaks)
  expect_output(print(fit), "Kissinger line")
  y <- log(peaks$rate_k_min / (peaks$peak_c + 273.15)^2)
  line <- stats::lm(y ~ I(1 / (peaks$peak_c + 273.15)))
  at <- c(145, 180)
  by_hand <- unname(coef(line)[1L] + coef(line)[2L] / (at + 273.15))
  expect_equal(as.vector(predict(fit, data.frame(peak_c = at))), by_hand, tolerance = 1e-7)
  expect_told(predict(fit, data.frame(peak_c = c(145, 250))), "extrapolation", degree_c())
})

test_that("reasons of what is not determined", {
  fit <- bell_softening()
  expect_identical(reason_for(fit, "n", "determined"), "The readings determine it.")
  expect_identical(reason_for(fit, "n", "fixed"), "It is fixed by the call.")
  far <- fit
  far$par[["h_soft"]] <- 0 # a plateau that no reading comes near
  expect_match(reason_for(far, "h_soft", "not determined"), "has reached its soft plateau")
  expect_match(reason_for(fit, "dh_rec", "not determined"), "amplitude and rate")
  expect_match(reason_for(fit, "dh_grow", "not determined"), "growth to see")
  expect_match(reason_for(fit, "k_strain", "not determined"), "too few strains")
  expect_match(reason_for(fit, "theta0", "at lower bound"), "a delay alone")
  expect_match(reason_for(fit, "n", "not determined"), "falling part")
  expect_match(reason_for(fit, "odd", "at upper bound"), "on a bound")
  expect_match(reason_for(fit, "odd", "not determined"), "change too little")
  late <- bell_readings()
  late <- suppressWarnings(fit_softening(late[late$time_min > 0, ]))
  expect_match(reason_for(late, "h_worked", "not determined"), "no reading before the anneal")
})

test_that("what a worker does with its groups is what one process does with all", {
  bell <- as.data.frame(bell_readings())
  d <- do.call(rbind, lapply(1:5, function(i) transform(bell, coil = i,
                                                        hardness = hardness - i / 4)))
  d <- d[with_test_seed(72, sample.int(nrow(d))), ]
  whole <- suppressWarnings(fit_each(d, by = "coil"))
  pieces <- 0L
  split <- copied_package(run_chunks = function(d, set, threads, ...) {
    parts <- lapply(chunk_groups(length(d$first), NULL, 2), function(groups) {
      pieces <<- pieces + 1L
      run_piece(take_groups(d, groups), set, threads, function() invisible())
    })
    bind_parts(parts)
  })
  parted <- suppressWarnings(split$fit_each(d, by = "coil"))
  expect_gt(pieces, 1L)
  expect_identical(as.data.frame(parted), as.data.frame(whole))
  withr::local_envvar(OMP_THREAD_LIMIT = "2")
  expect_identical(threads_allowed(8L), 2L)
})

test_that("the addins inside RStudio insert code, and open a new report", {
  skip_if_not_installed("rmarkdown")
  chosen <- "my \"readings\".csv"
  inserted <- NULL
  opened <- NULL
  studio <- list(
    isAvailable = function() TRUE, selectFile = function(...) chosen,
    insertText = function(text) inserted <<- text,
    getActiveDocumentContext = function() list(selection = list(list(text = " bench "))),
    navigateToFile = function(path) opened <<- path)
  # a window of shiny would wait for its user: without it, and with one that is closed at once
  window <- FALSE
  pretend <- copied_package(in_rstudio = function() TRUE, import_window = function() "the window",
                            requireNamespace = function(package, ...) {
    if (package %in% c("shiny", "miniUI")) window else base::requireNamespace(package, ...)
  }, `::` = function(pkg, name) {
    pkg <- as.character(substitute(pkg))
    name <- as.character(substitute(name))
    shown <- list(runGadget = function(app, server, viewer) if (app == "the window") chosen,
                  dialogViewer = function(...) NULL)
    if (pkg == "rstudioapi") studio[[name]] else if (pkg == "shiny") shown[[name]] else {
      getExportedValue(pkg, name)
    }
  })
  pretend$addin_import()
  expect_identical(as.character(parse(text = inserted)[[2L]]),
                   c("<-", "readings", "read_readings(\"my \\\"readings\\\".csv\")"))
  pretend$addin_fit()
  expect_match(inserted, "fit_softening(bench)", fixed = TRUE)
  pretend$addin_explore()
  expect_match(inserted, "explore_page(bench, ", fixed = TRUE)
  chosen <- file.path(withr::local_tempdir(), "new.Rmd")
  expect_identical(pretend$addin_report(), chosen)
  expect_identical(opened, chosen)
  expect_true(file.exists(chosen))
  chosen <- NULL
  inserted <- opened <- "nothing"
  expect_null(pretend$addin_import())
  expect_null(pretend$addin_report())
  window <- TRUE
  expect_null(pretend$addin_import())
  expect_identical(c(inserted, opened), c("nothing", "nothing"))
  chosen <- "readings <- read_readings(\"chosen.csv\")"
  pretend$addin_import()
  expect_identical(trimws(inserted), chosen)
})

test_that("the parts of a report that a poor set of readings has", {
  few <- with_test_seed(73, made_readings(temps = c(290, 370), times = c(0, 8, 64), n = 3))
  table <- report_models(suppressWarnings(report_comparison(fit_softening(few), few)))
  short <- table[["Residual sd (HV)"]] == "\u2013"
  expect_true(any(short) && !all(short))
  expect_true(all(grepl("parameters", table$Remark[short])))
  # parameters are named in words
  expect_match(table$Remark[1L], "activation energy")
  expect_false(any(grepl("q_kj_mol|ln_k_ref", table$Remark)))
  expect_identical(unique(read_for_report(few[setdiff(names(few), "specimen")],
                                          list(specimen = "my piece"))$specimen),
                   "my piece")
  expect_refused(read_for_report(few[setdiff(names(few), "hardness")], list()), "column",
                 "hardness")
  p <- empty_picture("Avrami plot", "Nothing between.")
  expect_match(ggplot2::get_alt_text(p), "Avrami plot: Nothing between.")
  expect_identical(hardness_title("as read"), "Hardness (as read)")
})

test_that("the table of a conversion that no row allows is refused", {
  table <- list(value = cbind(HRB = c(60, NA), HRF = c(NA, 90)),
                given = cbind(c(TRUE, FALSE), c(FALSE, TRUE)), pivot = "HV")
  expect_refused(pair_points(table, 1, 2), "scale", "no rows that hold both 'HRB' and 'HRF'", "to")
})

test_that("a share that rounding left below zero is 0 %", {
  expect_identical(whole_percent(c(-1e-12, -0.004, 0.004, 0.126, 1)), paste(c(0, 0, 0, 13, 100), "%"))
})

test_that("signs that the locale cannot show are spelled", {
  plain <- copied_package(can_show_signs = function() FALSE)
  expect_identical(plain$in_degrees(330), "330 deg C")
  expect_identical(plain$plus_minus(), "+-")
  rich <- copied_package(can_show_signs = function() TRUE)
  expect_identical(rich$in_degrees(330), "330 \u00b0C")
  expect_identical(rich$plus_minus(), "\u00b1")
})

test_that("a probability too small for its digits is below 0.001", {
  expect_identical(p_words(c(0.0321, 0.001, 9e-4, 1e-20, 1)),
                   c("p = 0.032", "p = 0.001", "p < 0.001", "p < 0.001", "p = 1"))
  d <- with_test_seed(36, made_readings(sd_step = 3))
  expect_output(print(summary(fit_softening(d, se = "steps"))), "degrees of freedom, p < 0.001", fixed = TRUE)
})
