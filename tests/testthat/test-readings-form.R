# The empty readings file of a plan, filled in and read back.

form_plan <- function(...) {
  plan_anneal(c(300, 330), c(4, 8, 16), plan_guess("brass", recryst_1h_c = 330, draws = 8), n_readings = 3,
              ...)
}

test_that("an empty file from a plan reads back without arguments", {
  plan <- form_plan()
  form <- readings_form(plan)
  expect_equal(form$time_min, plan$steps$time_min)
  expect_equal(names(form)[8:10], paste0("Reading ", 1:3, " (HR30T)"))
  filled <- function(form) {
    boxes <- grep("^Reading", names(form))
    form[boxes] <- lapply(seq_along(boxes), function(k) round(plan$steps$dial + k / 10, 1))
    form
  }
  dir <- withr::local_tempdir()
  for (file in file.path(dir, c("run.csv", "run.xlsx"))) {
    if (grepl("xlsx", file)) {
      skip_if_not_installed("writexl")
      skip_if_not_installed("readxl")
    }
    expect_equal(readings_form(plan, file), form)
    # written with readings in it, by the same way
    typed <- filled(form)
    if (grepl("csv$", file)) utils::write.csv(typed, file, row.names = FALSE, na = "") else {
      writexl::write_xlsx(typed, file)
    }
    r <- suppressMessages(read_readings(file))
    expect_equal(nrow(r), 3L * nrow(form))
    expect_equal(unique(r$scale), "HR30T")
    expect_equal(r$hardness[r$reading == 2], round(plan$steps$dial + 0.2, 1))
    expect_equal(r$specimen[r$reading == 1], plan$steps$specimen)
    expect_equal(r$time_min[r$reading == 1], plan$steps$time_min)
    expect_refused(readings_form(plan, file), "file", "is there already", arg = "file")
  }
})

test_that("the empty boxes stay empty, and half a sheet reads", {
  plan <- form_plan()
  file <- withr::local_tempfile(fileext = ".csv")
  readings_form(plan, file)
  sheet <- utils::read.csv(file, check.names = FALSE)
  sheet[1L, grep("^Reading", names(sheet))] <- c(61, 61.5, 62)
  utils::write.csv(sheet, file, row.names = FALSE, na = "")
  r <- expect_told(suppressMessages(read_readings(file)), "missing", "no hardness") |> suppressMessages()
  expect_equal(sum(!is.na(r$hardness)), 3L)
  expect_refused(readings_form(plan, "a.txt"), "file", "must end in .csv or .xlsx")
  expect_refused(readings_form(plan, file.path(tempdir(), "nowhere", "a.csv")), "file",
                 "could not be written")
  expect_refused(readings_form(1), "argument", "must come from plan_anneal()")
})

test_that("a plan expects readings on the scale of its dial", {
  plan <- form_plan()
  s <- plan$steps
  expect_equal(s$dial, convert_hardness(s$hardness, "HV", "HR30T"))
  expect_true(all(s$dial_low <= s$dial & s$dial <= s$dial_high))
  expect_output(print(plan), paste(softanneal:::format_quantity(s$dial[1L]), "HR30T"), fixed = TRUE)
  lines <- utils::capture.output(print(plan))
  expect_lte(max(nchar(lines)), 80L)
  # where the table does not reach, the hardness of the guess
  thick <- plan_anneal(330, c(4, 8, 64), plan_guess("brass", recryst_1h_c = 330, h_soft = 50, draws = 8),
                       scale = "HRB", thickness_mm = 2, min_hardness = 20, n_readings = 2)
  expect_true(anyNA(thick$steps$dial))
  expect_output(print(thick), " HV")
})
