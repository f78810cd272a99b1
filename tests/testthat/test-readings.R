# Reading and checking tables of readings: sheets as laboratories write them.

# Reads without the message about the columns, where a test is about something else.
read_quietly <- function(...) suppressMessages(read_bare(...))

bench <- function(...) {
  out <- data.frame(specimen = rep(c("A", "B"), each = 4), temp_c = rep(c(330, 370), each = 4),
                    time_min = rep(c(0, 4), 4, each = 2)[1:8], reading = rep(1:2, 4),
                    hardness = c(92, 91.5, 88, 87.5, 92.5, 91, 80, 79), scale = "HRF")
  changes <- list(...)
  out[names(changes)] <- changes
  out
}

written <- function(..., fileext = ".csv", sep = "\n") {
  path <- tempfile(fileext = fileext)
  writeBin(charToRaw(paste0(paste(c(...), collapse = sep), sep)), path)
  path
}

test_that("a standard table passes unchanged and takes the class of its input", {
  r <- read_bare(bench())
  expect_s3_class(r, c("softanneal_readings", "data.frame"), exact = TRUE)
  expect_identical(as.data.frame(r), bench())
  expect_silent(read_bare(bench()))
  skip_if_not_installed("tibble")
  tb <- read_bare(tibble::as_tibble(bench()))
  expect_s3_class(tb, c("softanneal_readings", "tbl_df", "tbl", "data.frame"), exact = TRUE)
  expect_identical(as.data.frame(tb), bench())
})

test_that("data.table and grouped tables go in, and data.table can go on by reference", {
  skip_if_not_installed("data.table")
  dt <- read_bare(data.table::as.data.table(bench()))
  expect_s3_class(dt, c("softanneal_readings", "data.table", "data.frame"), exact = TRUE)
  expect_silent(data.table::set(dt, j = "extra", value = 1))
  expect_true("extra" %in% names(dt))
  skip_if_not_installed("dplyr")
  grouped <- dplyr::group_by(tibble::as_tibble(bench()), specimen)
  g <- read_bare(grouped)
  expect_s3_class(g, c("softanneal_readings", "tbl_df", "tbl", "data.frame"), exact = TRUE)
  expect_null(attr(g, "groups"))
})

test_that("base and dplyr subsetting leave a usable table", {
  r <- read_bare(bench())
  expect_identical(nrow(r[r$specimen == "A", ]), 4L)
  expect_output(print(r[r$specimen == "A", ]), "4 readings, 1 specimen")
  expect_output(print(r[, c("specimen", "hardness")]), "hardness")
  expect_identical(r[["hardness"]], bench()$hardness)
  expect_identical(nrow(rbind(r, r)), 16L)
  expect_output(print(r[0, ]), "0 readings")
  skip_if_not_installed("dplyr")
  kept <- dplyr::filter(r, time_min > 0)
  expect_identical(nrow(kept), 4L)
  expect_output(print(dplyr::select(r, specimen, hardness)), "hardness")
  expect_identical(dplyr::mutate(r, twice = 2 * hardness)$twice, 2 * r$hardness)
  expect_identical(nrow(dplyr::summarise(dplyr::group_by(r, specimen), m = mean(hardness))), 2L)
})

test_that("headers with units are converted and said once", {
  sheet <- data.frame(specimen = "A", `Temp (C)` = 330, `Time [h]` = c(0.5, 1),
                      `Hardness (HRF)` = c(84, 71), check.names = FALSE)
  said <- testthat::capture_messages(r <- read_bare(sheet))
  expect_length(said, 1L)
  expect_match(said, "times 60")
  expect_message(read_bare(sheet), class = "softanneal_message_units")
  expect_equal(r$time_min, c(30, 60))
  expect_equal(r$temp_c, c(330, 330))
  expect_identical(r$scale, c("HRF", "HRF"))
  one <- function(name, value, time = "time_min") {
    sheet <- data.frame(specimen = "A", hardness = 84, scale = "HRF")
    if (grepl("temp", name, ignore.case = TRUE)) sheet$time_min <- 1 else sheet$temp_c <- 1
    sheet[[name]] <- value
    suppressMessages(read_bare(sheet))
  }
  expect_equal(one("temperature_k", 573.15)$temp_c, 300)
  expect_equal(one("temp_f", 212)$temp_c, 100)
  expect_equal(one("Temp (\u00b0C)", 300)$temp_c, 300)
  expect_equal(one("temp (deg F)", 32)$temp_c, 0, tolerance = 1e-12)
  expect_equal(one("time_s", 90)$time_min, 1.5)
  expect_equal(one("time_sec", 90)$time_min, 1.5)
  expect_equal(one("time_d", 2)$time_min, 2880)
  expect_equal(one("Time, hours", 2)$time_min, 120)
})

test_that("units and difftime columns are converted by their class", {
  sheet <- bench()
  sheet$time_min <- as.difftime(c(0, 0, 1, 1, 0, 0, 1, 1), units = "hours")
  expect_equal(read_bare(sheet)$time_min[3], 60)
  skip_if_not_installed("units")
  sheet <- bench()
  names(sheet)[2:3] <- c("temp", "time")
  sheet$temp <- units::set_units(sheet$temp + 273.15, "K")
  sheet$time <- units::set_units(sheet$time * 60, "s")
  r <- suppressMessages(read_bare(sheet))
  expect_equal(r$temp_c, bench()$temp_c)
  expect_equal(r$time_min, bench()$time_min)
  sheet$time <- units::set_units(1, "mm")
  expect_error(read_bare(sheet), class = "softanneal_error_units")
})

test_that("what is ambiguous is an error", {
  twice <- bench()
  twice$time_h <- 1
  expect_error(read_bare(twice), class = "softanneal_error_column")
  expect_equal(read_bare(twice, columns = c(time_min = "time_min"))$time_h, rep(1, 8))
  bare <- stats::setNames(bench(), sub("time_min", "time", names(bench())))
  e <- expect_error(read_bare(bare), class = "softanneal_error_units")
  expect_match(conditionMessage(e), "time_min = \"time\"", fixed = TRUE)
  metre <- stats::setNames(bench(), sub("time_min", "time_m", names(bench())))
  expect_error(read_bare(metre), class = "softanneal_error_units")
  odd <- stats::setNames(bench(), sub("time_min", "time (fortnights)", names(bench())))
  expect_error(read_bare(odd), class = "softanneal_error_units")
  header <- stats::setNames(bench(), sub("hardness", "hardness_hv", names(bench())))
  expect_error(read_bare(header), class = "softanneal_error_column")
  expect_error(read_bare(bench(), scale = "HV"), class = "softanneal_error_column")
})

test_that("columns and constants are named by the user", {
  sheet <- data.frame(strip = "A", oven = 330, duration = c(1, 2), value = c(84, 71))
  r <- suppressMessages(read_bare(sheet, columns = c(specimen = "strip", temp_c = "oven",
    time_h = "duration", hardness = "value"), scale = "HRF", operator = "left bench"))
  expect_equal(r$time_min, c(60, 120))
  expect_identical(r$operator, rep("left bench", 2))
  expect_error(read_bare(sheet, columns = c(specimen = "no such")),
               class = "softanneal_error_column")
  expect_error(read_bare(sheet, columns = c(colour = "strip")),
               class = "softanneal_error_argument")
  expect_error(read_bare(sheet, columns = "strip"), class = "softanneal_error_argument")
  expect_error(read_bare(bench(), colour = "red"), class = "softanneal_error_argument")
  expect_error(read_bare(sheet, scale = c("HV", "HRF")), class = "softanneal_error_argument")
  e <- expect_error(read_bare(bench()[-1]), class = "softanneal_error_column")
  expect_match(conditionMessage(e), "specimen = \"A\"", fixed = TRUE)
})

test_that("wide sheets become long, readings of one row in turn", {
  sheet <- data.frame(specimen = c("A", "B"), temp_c = 330, time_min = 0, r1 = c(90, 80),
                      r2 = c(91, 81),
                      remark = c("x", "y"))
  r <- read_bare(sheet, readings = "r", scale = "HRF")
  expect_identical(r$hardness, c(90, 91, 80, 81))
  expect_identical(r$reading, c(1L, 2L, 1L, 2L))
  expect_identical(r$remark, c("x", "x", "y", "y"))
  expect_identical(read_bare(sheet, readings = c("r2", "r1"), scale = "HRF")$reading,
                   c(2L, 1L, 2L, 1L))
  expect_error(read_bare(sheet, readings = "q", scale = "HRF"),
               class = "softanneal_error_column")
  expect_error(read_bare(transform(sheet, hardness = 1), readings = "r", scale = "HRF"),
               class = "softanneal_error_column")
  expect_error(read_bare(sheet, readings = "r1", scale = "HRF"),
               class = "softanneal_error_argument")
  bad <- transform(sheet, r2 = c(91, 181))
  e <- expect_error(read_bare(bad, readings = "r", scale = "HRF"),
                    class = "softanneal_error_range")
  expect_identical(e$rows, 2L)
  expect_identical(e$arg, "r2")
})

test_that("text files: byte order mark, CRLF, blanks, semicolons and decimal commas", {
  path <- written("\xef\xbb\xbf\" Specimen\" ; Temp (\xc2\xb0C) ;time_s;Hardness (HV);reading",
                  "007;330,5;60;98,5;1", "",
                  "007;330,5;60;97;2", sep = "\r\n")
  said <- testthat::capture_messages(r <- read_bare(path))
  expect_match(said[1], "semicolons, decimal comma")
  expect_identical(r$specimen, c("007", "007"))
  expect_equal(r$temp_c, c(330.5, 330.5))
  expect_equal(r$time_min, c(1, 1))
  expect_equal(r$hardness, c(98.5, 97))
  expect_identical(r$reading, 1:2)
  expect_identical(suppressMessages(read_bare(path, sep = ";", dec = ",")), r)
  mixed <- written("specimen;temp_c;time_min;hardness;scale", "A;330;0;98,5;HV", "A;330;0;98.5;HV")
  expect_error(read_bare(mixed), class = "softanneal_error_file")
  expect_error(suppressMessages(read_bare(mixed, dec = ",")), class = "softanneal_error_column")
  tabs <- written("specimen\ttemp_c\ttime_min\thardness\tscale", "A\t330\t0\t98.5\tHV",
                  fileext = ".tsv")
  expect_message(r <- read_bare(tabs), "tabs", class = "softanneal_message_file")
  expect_equal(r$hardness, 98.5)
  plain <- written("specimen,temp_c,time_min,hardness,scale,load", "A,330,0,98.5,HV,5",
                   "A,330,0,98.5,HV,5")
  expect_silent(r <- read_bare(plain))
  expect_identical(r$load, c(5L, 5L))
})

test_that("Latin-1, empty rows and title lines of spreadsheets are handled and said", {
  latin <- written("specimen,Temp (\xb0C),time_min,hardness,scale,,", "M\xfcller,330,0,98.5,HV,,",
                   ",,,,,,",
                   "M\xfcller,330,4,abc,HV,,")
  e <- expect_error(suppressMessages(read_bare(latin)), class = "softanneal_error_column")
  expect_identical(e$rows, 2L)
  expect_identical(e$cells, "abc")
  good <- written("Bell sheet, spring", "specimen,Temp (\xb0C),time_min,hardness,scale,,",
                  "M\xfcller,330,0,98.5,HV,,", ",,,,,,")
  said <- testthat::capture_messages(r <- read_bare(good, skip = 1))
  expect_match(said, "Latin-1", all = FALSE)
  expect_match(said, "nameless empty column", all = FALSE)
  expect_identical(r$specimen, "M\u00fcller")
})

test_that("files that cannot be read say why", {
  expect_error(read_bare(file.path(tempdir(), "no-such.csv")), class = "softanneal_error_file")
  expect_error(read_bare(tempdir()), class = "softanneal_error_file")
  empty <- tempfile(fileext = ".csv")
  file.create(empty)
  expect_error(read_bare(empty), class = "softanneal_error_file")
  expect_error(read_bare(written("specimen,temp_c,time_min,hardness,scale")),
               class = "softanneal_error_file")
  ragged <- written("specimen,temp_c,time_min,hardness,scale", "A,330,0,98", "A,330,0,98,HV")
  expect_error(read_bare(ragged), class = "softanneal_error_file")
  expect_error(read_bare(bench()[0, ]), class = "softanneal_error_too_few")
  expect_error(read_bare(1:3), class = "softanneal_error_argument")
  expect_error(read_bare(bench(), sep = ";"), class = "softanneal_error_argument")
  twice <- written("specimen,temp_c,time_min,hardness,hardness,scale", "A,330,0,98,98,HV")
  expect_error(read_bare(twice), class = "softanneal_error_column")
})

test_that("Excel sheets are read, and cells in them checked", {
  skip_if_not_installed("readxl")
  # the example workbook of readxl stands in for a laboratory sheet: its numbers serve as readings
  path <- readxl::readxl_example("datasets.xlsx")
  r <- read_quietly(path, sheet = "mtcars", columns = c(hardness = "mpg", temp_c = "disp",
                                                         time_min = "carb"),
                     specimen = "A", scale = "HV")
  expect_equal(r$hardness, datasets::mtcars$mpg)
  expect_equal(r$temp_c, datasets::mtcars$disp)
  expect_equal(r$qsec, datasets::mtcars$qsec)
  expect_error(read_bare(path, sheet = "none"), class = "softanneal_error_file")
  expect_error(read_quietly(path, sheet = "chickwts", columns = c(hardness = "feed"),
                             specimen = "A",
                             temp_c = 1, time_min = 0, scale = "HV"),
                             class = "softanneal_error_column")
})

test_that("what cannot be a reading stops with column, row and remedy", {
  broken <- function(class, column, row, ...) {
    e <- expect_error(suppressWarnings(read_bare(bench(...))),
                      class = paste0("softanneal_error_", class))
    expect_identical(e$arg, column)
    expect_identical(e$rows, row)
    expect_true(nzchar(e$remedy))
  }
  at <- function(x, i, value) replace(x, i, value)
  b <- bench()
  broken("column", "hardness", 3L, hardness = at(as.character(b$hardness), 3, "92 HRB"))
  broken("range", "temp_c", 2L, temp_c = at(b$temp_c, 2, -274))
  broken("range", "time_min", 5L, time_min = at(b$time_min, 5, -1))
  broken("range", "hardness", 1L, hardness = at(b$hardness, 1, 130.5))
  broken("range", "hardness", 1L, hardness = at(b$hardness, 1, -2))
  broken("range", "hardness", 4L, hardness = at(b$hardness, 4, 0), scale = "HV")
  broken("scale", "scale", 8L, scale = at(b$scale, 8, "HQ"))
  broken("missing", "scale", 8L, scale = at(b$scale, 8, NA))
  broken("missing", "temp_c", 7L, temp_c = at(b$temp_c, 7, NA))
  broken("missing", "time_min", 6L, time_min = at(b$time_min, 6, NaN))
  broken("missing", "hardness", 6L, hardness = at(b$hardness, 6, Inf))
  broken("missing", "specimen", 1L, specimen = at(b$specimen, 1, NA))
  broken("duplicate", "reading", 2L, reading = at(b$reading, 2, 1L))
})

test_that("replicates without a number may repeat; empty boxes stay and are counted", {
  expect_silent(read_bare(bench(hardness = rep(90, 8))[-4]))
  copies <- rbind(bench()[1, -4], bench()[1, -4])
  expect_identical(nrow(read_bare(copies)), 2L)
  w <- expect_warning(r <- read_bare(bench(hardness = replace(bench()$hardness, c(2, 7), NA))),
                      class = "softanneal_warning_missing")
  expect_identical(w$n, 2L)
  expect_identical(w$rows, c(2L, 7L))
  expect_identical(sum(is.na(r$hardness)), 2L)
  expect_output(print(r), "2 readings without hardness")
})

# check_readings(): doubts, never changes

quiet <- function(...) {
  out <- data.frame(specimen = "A", temp_c = 330, time_min = rep(c(0, 4), each = 5),
                    reading = rep(1:5, 2),
                    hardness = c(92, 91.5, 92, 92.5, 92, 84, 83.5, 85, 84.5, 84), scale = "HRF")
  changes <- list(...)
  out[names(changes)] <- changes
  out
}
found <- function(data, ...) as.data.frame(check_readings(data, ...))

test_that("a clean table has no findings and says so", {
  none <- check_readings(quiet(), thickness_mm = 5)
  expect_s3_class(none, "softanneal_findings")
  expect_identical(nrow(none), 0L)
  expect_output(print(none), "No findings")
  expect_named(as.data.frame(none), c("level", "check", "row", "n", "what", "why", "remedy"))
})

test_that("the data come out of a check as they went in", {
  before <- quiet(thickness_mm = 0.71, position_mm = c(1:5, 1:5))
  after <- before
  check_readings(after)
  expect_identical(after, before)
  skip_if_not_installed("data.table")
  dt <- data.table::as.data.table(before)
  expect_identical(found(dt), found(before))
  expect_identical(names(dt), names(before))
})

test_that("each doubt is found, with level and rows", {
  one <- function(data, check, level, rows, ...) {
    f <- check_readings(data, ...)
    hit <- which(f$check == check & f$level == level)
    expect_length(hit, 1L)
    expect_identical(f$rows[[hit]], rows)
    expect_true(all(nzchar(c(f$what[hit], f$why[hit], f$remedy[hit]))))
  }
  one(quiet(reading = c(1, 2, 3, 4, 4, 1:5)), "duplicate", "error", 5L)
  one(quiet(step = rep(2:1, each = 5)), "time order", "error", 1:5)
  one(quiet(scale = c(rep("HRF", 4), "HRB", rep("HRF", 5))), "mixed scales", "warning", 1:5)
  one(quiet(scale = rep(c("HRF", "HR30T"), each = 5), hardness = c(rep(92, 5), rep(70, 5))),
      "scale changed", "warning", 6:10)
  one(quiet(time_min = rep(c(2, 4), each = 5), temp_c = rep(c(330, 350), each = 5)),
      "two temperatures", "note", 1:10)
  one(quiet(hardness = c(101, 92, 92.5, 92, 91.5, 84, 83.5, 85, 84.5, 84)), "useful range",
      "warning", 1L)
  one(quiet(note = c("still warm", "not warm", "warmed up tester", rep("", 7))), "warm specimen",
      "warning", 1L)
  one(quiet()[1:9, ], "few readings", "note", 6:9)
  one(quiet(hardness = c(NA, quiet()$hardness[-1])), "missing", "note", 1L)
  one(quiet(hardness = c(92, 91.5, 92, 92.5, 70, 84, 83.5, 85, 84.5, 84)), "outlier", "warning", 5L)
})

test_that("steps written in exchange are found, and scatter on a plateau is not", {
  bench <- function(means) {
    data.frame(specimen = rep(c("A", "B"), each = 7 * 5), temp_c = rep(c(330, 350), each = 7 * 5),
               time_min = rep(c(0, 2, 4, 8, 16, 32, 64), each = 5),
               hardness = rep(means, each = 5) + c(-1, 0.5, 0, 0.5, 0), scale = "HV")
  }
  means <- c(150, 149, 140, 125, 105, 95, 90, 150, 120, 100, 92, 91, 90, 90.5)
  expect_false("rise" %in% found(bench(means))$check)
  swapped <- means
  swapped[4:5] <- means[5:4]
  f <- check_readings(bench(swapped))
  hit <- which(f$check == "rise")
  expect_identical(f$rows[[hit]], 16:25)
  expect_match(f$what[hit], "A, 330 degrees Celsius: 105 after 8 min, 125 after 16 min", fixed = TRUE)
  backwards <- check_readings(bench(swapped)[70:1, ])
  expect_identical(sort(71L - backwards$rows[[hit]]), 16:25)
  # the rolled metal itself is not a step of annealing, and a piece of one step has no neighbour
  risen <- replace(means, 1:2, c(140, 150))
  expect_false("rise" %in% found(bench(risen))$check)
  # steps that scatter more than their readings: none of their rises stands out
  rough <- means + c(0, 0, 0, 0, 0, 6, 0, 0, 0, 0, -6, 6, -6, 6)
  rough[6:7] <- c(88, 94)
  expect_false("rise" %in% found(bench(rough))$check)
  expect_identical(about_falling(c(5, 4, 3)), c(square = 0, df = 0))
  expect_equal(about_falling(c(5, 3, 4, 1)), c(square = 0.5, df = 1)) # 3 and 4 become 3.5
})

test_that("drift along the readings is found, and scatter is not drift", {
  drifting <- quiet(hardness = c(92, 91.6, 91.1, 90.4, 90, 84, 83.4, 83.1, 82.6, 81.9))
  f <- found(drifting)
  expect_match(f$what[f$check == "drift"], "fall")
  expect_false("drift" %in% found(quiet())$check)
})

test_that("a series pasted twice is found where readings have no number", {
  series <- c(92, 91.5, 92.5)
  pasted <- data.frame(specimen = "A", temp_c = 330, time_min = 0, hardness = c(series, series),
                       scale = "HRF")
  expect_identical(check_readings(pasted)$rows[[1]], 4:6)
  pasted$hardness[5] <- 91
  expect_false("duplicate" %in% found(pasted)$check)
  pasted$hardness <- 92
  expect_false("duplicate" %in% found(pasted)$check)
})

test_that("spacing counts all steps of a specimen, and edges from both sides", {
  # HRF 92: (130 - 92) 0.002 = 0.076 mm between 98.07 and 588.4 N, so 0.0912 mm in all (depth
  # proportional to force); d = 2 sqrt(0.0912 (1.5875 - 0.0912)) = 0.739 mm; 3 d = 2.216, 2.5 d =
  # 1.847
  place <- function(mm, ...) {
    n <- length(mm)
    check_readings(data.frame(specimen = "A", temp_c = 330, time_min = seq_len(n), hardness = 92,
                              scale = "HRF", position_mm = mm), ...)
  }
  expect_false("spacing" %in% place(c(10, 12.23))$check)
  expect_identical(place(c(10, 12.20))$rows[[1]], 1:2)
  expect_identical(place(c(1.84, 10))$rows[[1]], 1L)
  expect_false("spacing" %in% place(c(1.86, 10))$check)
  expect_identical(place(c(5, 18.2), length_mm = 20)$rows[[1]], 2L)
  # Vickers with its load: d = sqrt(1.8544 * 10 / 150) = 0.352 mm; without it nothing is known
  expect_equal(indent_size(150, "HV10")$diameter, sqrt(1.8544 * 10 / 150), tolerance = 1e-4)
  expect_true(is.na(indent_size(150, "HV")$diameter))
})

test_that("a range of sizes passes: one row, no hardness at all, factors, tibbles", {
  expect_s3_class(check_readings(quiet()[1, ]), "softanneal_findings")
  none <- found(quiet(hardness = NA_real_))
  expect_identical(none$n[none$check == "missing"], 10L)
  expect_identical(found(quiet(specimen = factor("A"), scale = factor("HRF"))), found(quiet()))
  skip_if_not_installed("tibble")
  expect_identical(found(tibble::as_tibble(quiet())), found(quiet()))
  expect_error(check_readings(quiet()[0, ]), class = "softanneal_error_too_few")
  expect_error(check_readings(quiet(thickness_mm = 1), thickness_mm = 1),
               class = "softanneal_error_argument")
})

test_that("a step read in two scales is one step, and its readings are counted together", {
  r <- bell_readings()
  expect_false("few readings" %in% check_readings(r)$check)
  expect_output(print(summarise_readings(r)), "28 steps in 56 groups (step and scale)",
                fixed = TRUE)
  expect_output(print(fit_softening(r)), "of 28 steps at 4")
  one <- r[r$scale == "HRF", ]
  few <- check_readings(one)
  expect_match(few$what[few$check == "few readings"], "28 steps with fewer than five readings")
  expect_output(print(summarise_readings(one)), "Readings of 28 steps;")
})
