# What readings, scales, rolling, class data and reports refuse or tell.

sheet_of <- function(...) data.frame(specimen = "A", ..., hardness = c(92, 88), scale = "HRF")

test_that("headers without a unit, or with one nobody knows, are refused by name", {
  expect_refused(read_readings(sheet_of(temp = 330, time_min = c(0, 4))), "units",
                 "the column 'temp' has no unit", "temp")
  odd <- sheet_of(temp_c = 330, t = c(0, 4))
  names(odd)[3L] <- "time (fortnights)"
  expect_refused(read_readings(odd), "units", "the unit 'fortnights' of column 'time (fortnights)'",
                 "time (fortnights)")
  names(odd)[3L] <- "time (m)"
  expect_refused(read_readings(odd), "units", "is ambiguous", "time (m)")
  twice <- sheet_of(temp_c = 330, time_min = c(0, 4), t2 = c(0, 240))
  names(twice)[4L] <- "time (s)"
  expect_refused(read_readings(twice), "column", "could both be `time_min`", "time_min")
})

test_that("arguments of read_readings() that fit nothing are refused", {
  good <- sheet_of(temp_c = 330, time_min = c(0, 4))
  expect_refused(read_readings(good, bench = 1), "argument", "unknown argument 'bench'", "bench")
  expect_refused(read_readings(good, columns = c(colour = "scale")), "argument",
                 "`columns` names 'colour'", "columns")
  expect_refused(read_readings(good, readings = "r"), "column",
                 "no columns named 'r' with a number behind it", "readings")
  expect_refused(read_readings(good, readings = "hardness"), "argument",
                 "`readings` names one column only", "readings")
  file <- withr::local_tempfile(fileext = ".csv")
  utils::write.csv(good, file, row.names = FALSE)
  expect_refused(read_readings(file, na = 1), "argument", "`na` must be text", "na")
  expect_refused(read_readings(file, sheet = 1), "argument", "`sheet` is for Excel files", "sheet")
  writeLines(c("a;b,c", "1;2,3"), file)
  expect_refused(read_readings(file), "file", "is not clear from its header", "sep")
  expect_refused(check_readings(cbind(good, thickness_mm = 1), thickness_mm = 0.95), "argument",
                 "`thickness_mm` is given twice", "thickness_mm")
})

test_that("readings without hardness stay, and are told once", {
  d <- sheet_of(temp_c = 330, time_min = c(0, 4))
  d$hardness[2L] <- NA
  r <- expect_told(read_readings(d), "missing", "1 of 2 readings have no hardness (row 2)", 1L, 2L)
  expect_identical(as.vector(r$hardness), c(92, NA))
  s <- expect_told(suppressWarnings(summarise_readings(r), classes = "softanneal_warning_too_few"),
                   "missing", "1 of 2 rows have no", 1L, 2L)
  expect_equal(s$n, c(1L, 0L))
  one <- expect_told(suppressWarnings(summarise_readings(r),
                                      classes = "softanneal_warning_missing"),
                     "too_few", "1 of 2 groups hold one reading only", 1L, 1L)
  expect_true(all(is.na(one$sd)))
})

test_that("fractions are judged before they are fitted", {
  counted <- utils::read.csv(extdata("grain_bellbrass_fractions.csv"))
  expect_refused(fit_recrystallisation(counted, method = "double_log", incubation = TRUE),
                 "argument", "has no incubation", "incubation")
  expect_refused(suppressWarnings(fit_recrystallisation(transform(counted, fraction = NA_real_)),
                                  classes = "softanneal_warning_missing"), "too_few",
                 "no complete row is left", "fraction")
  expect_refused(fit_recrystallisation(counted[counted$fraction > 0.2, ][1:2, ]), "too_few",
                 "different steps for", "fraction")
  expect_refused(fit_recrystallisation(counted, lower = c(n = 3), upper = c(n = 2)), "range",
                 "`lower` is not below `upper` for 'n'", "lower")
  fit <- expect_told(suppressWarnings(fit_recrystallisation(counted, method = "double_log"),
                                      classes = "softanneal_warning_fit"),
                     "outside", "no place on the double-log scale")
  expect_refused(confint(fit, method = "boot"), "model", "bootstrap is unavailable for fits of fractions",
                 "method")
  expect_refused(confint(fit, method = "profile"), "model", "the double-log route has no profile",
                 "method")
  one <- suppressWarnings(fit_recrystallisation(counted[counted$temp_c == counted$temp_c[1L], ]))
  expect_refused(confint(one, "q_kj_mol", method = "profile"), "model",
                 "an activation energy from one temperature has no profile", "parm")
})

test_that("rolling passes are whole, rise once each, and thin the strip", {
  strip <- data.frame(specimen = "B1", pass = 0:2, thickness_mm = c(1.6, 1.4, 1.2))
  expect_refused(cold_work(cold_work(strip)), "column", "`data` already has")
  expect_refused(cold_work(transform(strip, pass = c(0, 1.5, 2))), "range",
                 "must hold whole numbers", "pass", 2L)
  expect_refused(cold_work(transform(strip, pass = c(0, 1, 1))), "duplicate",
                 "the same pass twice", "pass", 3L)
  expect_refused(cold_work(transform(strip, thickness_mm = c(1.6, 1.4, 1.5))), "range",
                 "thickness grows in rolling", "thickness_mm", 3L)
  out <- expect_told(cold_work(transform(strip, thickness_mm = c(1.6, NA, 1.2))), "missing",
                     "1 of 3 rows have no thickness (row 2)", 1L, 2L)
  expect_equal(out$reduction_pct, c(0, NA, 25))
  hard <- data.frame(hardness = c(54, 62, 76), effective_strain = c(0, 0.27, 0.53))
  expect_refused(fit_hardening(hard, model = "hollomon"), "range", "zero at zero strain",
                 "effective_strain", 1L)
  term <- setdiff(all.vars(HARDENING_MODELS$swift), "x")[1L]
  names(hard)[1L] <- term
  expect_refused(fit_hardening(hard, hardness = !!as.name(term), model = "swift") |>
                   rlang::inject(), "column", "has the name of a parameter", term)
  expect_refused(nearest_temper(c(10, 100)), "range", "from 0 to below 100, not 100",
                 "reduction_pct", 2L)
  far <- expect_told(nearest_temper(c(10, 99)), "outside", "No temper is named for 1 of 2", 1L, 2L)
  expect_identical(is.na(far$temper), c(FALSE, TRUE))
})

test_that("numbers beyond their scale, and methods that do not hold", {
  expect_refused(rockwell_depth(c(80, 131), "HRB"), "range", "cannot be above 130, as 131 is",
                 "hardness", 2L)
  expect_refused(estimate_strength(c(100, 0), "HV"), "range", "must be positive", "hardness", 2L)
  expect_refused(estimate_strength(100, method = "gb3771_sheet", material = "copper"), "argument",
                 "holds for brass, not for copper", "method")
  expect_refused(estimate_strength(100, method = "tabor", meyer_index = 2.2), "argument",
                 "does not use a Meyer index", "meyer_index")
  expect_refused(estimate_strength(100, method = "cahoon_proof"), "argument",
                 "`meyer_index` is needed", "meyer_index")
  expect_refused(estimate_strength(c(100, 110, 120), method = "cahoon_proof",
                                   meyer_index = c(2.1, 2.2)), "argument",
                 "`meyer_index` has length 2 for 3 numbers", "meyer_index")
  out <- expect_told(estimate_strength(c(130, 900)), "outside", "1 of 2 strengths not estimated",
                     1L, 2L)
  expect_identical(is.na(out$strength_mpa), c(FALSE, TRUE))
  expect_refused(convert_hardness(c(80, NaN), "HRB", "HV"), "missing", "must not be NaN", rows = 2L)
  tables <- conversion_tables("brass")
  expect_refused(ggplot2::autoplot(tables[tables$scale == "HV", ]), "too_few",
                 "no cell with a Vickers number to draw", "object")
})

test_that("schedules, blunders and truths of a class are told apart", {
  p <- c(h_worked = 180, h_soft = 75, t50_rex_min = 10, n = 1.5, q_kj_mol = 180)
  expect_refused(simulate_readings(parameters = c(p, n = 2)), "argument",
                 "names a parameter twice", "parameters")
  expect_refused(simulate_readings(parameters = c(p, colour = 2)), "argument",
                 "Missing or unknown: 'colour'", "parameters")
  schedule <- data.frame(specimen = c("a", NA), temp_c = 330, time_min = c(0, 4))
  expect_refused(simulate_readings(schedule = schedule), "missing",
                 "`specimen` of the schedule must not be missing", "specimen", 2L)
  schedule$specimen <- "a"
  expect_refused(simulate_readings(schedule = schedule, specimen = "b"), "argument",
                 "both name the specimens", "specimen")
  expect_refused(simulate_readings(schedule = schedule[c(1, 2, 2), ]), "duplicate",
                 "`schedule` holds a step twice", "schedule", 3L)
  expect_refused(simulate_readings(blunders = c(outlier = 0.5)), "argument", "`blunders` must be counts",
                 "blunders")
  expect_refused(simulate_readings(temp_c = 330, time_min = c(0, 4), blunders = c(forgotten = 3),
                                   seed = 1), "too_few",
                 "no step left for the blunder 'forgotten'", "blunders")
  expect_refused(simulate_readings(parameters = replace(p, "h_soft", 1), scale = "HV",
                                   sd = c(reading = 5), seed = 1), "range",
                 "a drawn hardness is not above 0 HV", "parameters")
  expect_refused(simulate_readings(parameters = replace(p, "h_soft", 20), scale = "HRB", seed = 1),
                 "range", "HV) is outside the brass table", "parameters")
  expect_refused(simulate_readings(parameters = replace(p, "h_worked", 2000), scale = "HV",
                                   sd = c(reading = 1500), seed = 1), "range",
                 "a drawn hardness", "parameters")
  expect_refused(on_dial(100, 100, class_design(scale = "HRB", n_readings = 1)$bench), "range",
                 "a drawn hardness is outside its scale", "scale")
})

test_that("files that are there, and folders that take none, stop report and templates", {
  folder <- withr::local_tempdir()
  writeLines("mine", file.path(folder, "report.Rmd"))
  expect_refused(new_report(file.path(folder, "report")), "file", "there is a file", "path")
  expect_refused(new_report(file.path(folder, "report.Rmd", "below")), "file",
                 "could not be written", "path")
  expect_refused(move_results(file.path(folder, "none"), folder, "report.html"), "file",
                 "could not be written", "out_dir")
  # a name in the way of a file of the project
  expect_refused(copied_package(save_lines = function(lines, path) FALSE)$lab_project(
    file.path(folder, "project")), "file", "README.md could not be written", "path")
  expect_identical(list.files(folder, pattern = "md$", recursive = TRUE), "report.Rmd")
})

test_that("reading columns, step times and encodings that contradict themselves are named", {
  csv <- function(...) {
    path <- withr::local_tempfile(fileext = ".csv", .local_envir = parent.frame())
    writeLines(c(...), path)
    path
  }
  head <- "specimen,temp_c,time_min,"
  twice <- csv(paste0(head, "HRB 1,HRB1"), "a,300,0,90,91", "a,300,4,80,81")
  expect_refused(read_readings(twice), "column", "number their readings twice", "HRB 1")
  mixed <- csv(paste0(head, "HRB 1,hardness 2"), "a,300,0,90,91", "a,300,4,80,81")
  expect_refused(read_readings(mixed), "scale", "name a scale, and some do not", "hardness 2")
  step <- csv("specimen,temp_c,step,time_min,hardness", "a,300,1,4,100", "a,300,1,5,99", "a,300,2,4,90")
  expect_refused(read_readings(step, scale = "HV", times = "step"), "duplicate",
                 "step 1 of specimen a has two times: 4 and 5 min", "time_min")
  plain <- csv(paste0(head, "hardness"), "a,300,0,100")
  expect_refused(read_readings(plain, scale = "HV", encoding = "no-such"), "argument",
                 "encoding 'no-such' is not known", "encoding")
})
