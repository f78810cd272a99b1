# Logger files as people have them: each with the truth it should give, or the refusal.

log_file <- function(lines, ext = ".csv", encoding = "UTF-8") {
  path <- withr::local_tempfile(fileext = ext, .local_envir = parent.frame())
  con <- file(path, "w", encoding = encoding)
  writeLines(lines, con)
  close(con)
  path
}

quiet_log <- function(...) suppressMessages(read_history(...))

# Without the message of the columns.
quiet_columns <- function(...) {
  withCallingHandlers(read_history(...), message = function(m) {
    if (grepl("temperatures from", conditionMessage(m))) invokeRestart("muffleMessage")
  })
}

test_that("of times of two kinds the rarer cells are named", {
  odd <- function(times, says) {
    lines <- c("Time (hh:mm),B330 (C)", paste0(times, ",", 20 + 10 * seq_along(times)))
    expect_error(read_history(log_file(lines)), says, class = "softanneal_error_file")
  }
  odd(c("08:00:00", "08:01:00", "noon", "08:03:00"), "'noon' in the column of times .* [(]line 4 of")
  odd(c(paste0("2026-11-30 08:0", 0:2, ":00"), "8.03"), "'8.03' .* [(]line 5 of")
  odd(c("0", "1", "2", "02:30"), "'02:30' .* [(]line 5 of")
  odd(c("08:00", "08:01", "08:02:30", "08:03"), "some times have seconds .* [(]line 4 of")
})

test_that("time stamps, elapsed times and numbers with a unit give the same history", {
  truth <- c(0, 60, 120)
  same <- function(lines, ...) {
    h <- quiet_log(log_file(lines), ...)
    expect_equal(h$time_s, truth, label = lines[2])
    expect_equal(h$temp_c, c(21.5, 180.2, 326.1), label = lines[2])
    expect_s3_class(h, "softanneal_history")
    h
  }
  h <- same(c("Time,B330 (C)", "2026-11-30 08:00:00,21.5", "2026-11-30 08:01:00,180.2",
              "2026-11-30 08:02:00,326.1"))
  expect_identical(unique(h$specimen), "B330")
  expect_identical(attr(h, "start"), "2026-11-30T08:00:00")
  expect_identical(h$sheet_row, 2:4)
  same(c("Time,B330 (C)", "2026-11-30T08:00:00Z,21.5", "2026-11-30T08:01:00Z,180.2",
         "2026-11-30T08:02:00Z,326.1"))
  h <- same(c("Time,B330", "2026-11-30T08:00:00+01:00,21.5", "2026-11-30T08:01:00+01:00,180.2",
              "2026-11-30T08:02:00+01:00,326.1"))
  expect_identical(attr(h, "start"), "2026-11-30T07:00:00Z")
  same(c("Ofen 2;;", "Logger 17;;", "Datum;Uhrzeit;Kanal 1 (\u00b0C)", "30.11.2026;08:00:00;21,5",
         "30.11.2026;08:01:00;180,2",
         "30.11.2026;08:02:00;326,1"))
  same(c("Time,T1", "11/30/2026 8:00:00 AM,21.5", "11/30/2026 8:01:00 AM,180.2",
         "11/30/2026 8:02:00 AM,326.1"))
  same(c("elapsed,T1", "00:00:00,21.5", "00:01:00,180.2", "00:02:00,326.1"))
  same(c("elapsed (mm:ss),T1", "00:00,21.5", "01:00,180.2", "02:00,326.1"))
  same(c("Time (min)\tT1", "0\t21.5", "1\t180.2", "2\t326.1"))
  same(c("Time,T1", "s,degC", "0,21.5", "60,180.2", "120,326.1"))
  same(c("time_s,temp_c", "0,21.5", "60,180.2", "120,326.1"))
  same(c("Time (s),T1 (\u00b0F)", "0,70.7", "60,356.36", "120,618.98"))
  same(c("Time (s),T1 (K)", "0,294.65", "60,453.35", "120,599.25"))
  expect_message(quiet_columns(log_file(c("Time (s),T1 (K)", "0,294.65", "60,453.35"))),
                 "converted from kelvin",
                 class = "softanneal_message_units")
})

test_that("a UTF-16 file, a data frame and POSIXct times", {
  lines <- c("Time (s);T1 (\u00b0C)", "0;21,5", "60;180,2")
  h <- quiet_log(log_file(lines, encoding = "UTF-16LE"), encoding = "UTF-16LE")
  expect_equal(h$temp_c, c(21.5, 180.2))
  d <- data.frame(Time = as.POSIXct("2026-03-29 00:59:00", tz = "UTC") + c(0, 0.5, 120), B1 = c(20, 21, 22))
  expect_equal(quiet_log(d)$time_s, c(0, 0.5, 120))
  d$Time <- as.difftime(c(0, 1, 2), units = "mins")
  expect_equal(quiet_log(d)$time_s, c(0, 60, 120))
})

test_that("several channels and long logs, with names of specimens", {
  wide <- log_file(c("Date;Time;CH 1 (C);CH 2 (C);Setpoint", "30.11.2026;08:00:00;21;22;330",
                     "30.11.2026;08:01:00;180;175;330"))
  expect_message(h <- read_history(wide, specimen = c("CH 1" = "A", "CH 2" = "B")), "not used: 'Setpoint'")
  expect_identical(h$specimen, c("A", "A", "B", "B"))
  expect_equal(h$temp_c, c(21, 180, 22, 175))
  expect_identical(unique(quiet_log(wide, specimen = c("CH 2" = "B"))$specimen), "B")
  long <- log_file(c("time_s,channel,temp", "0,A,20", "0,B,21", "10,A,100", "10,B,110"))
  h <- quiet_log(long)
  expect_identical(h$specimen, c("A", "A", "B", "B"))
  expect_equal(h$temp_c, c(20, 100, 21, 110))
  expect_equal(equivalent_time(h, 180, 330)$history_min, c(1, 1) / 6)
})

test_that("midnight and the end of daylight saving are passed, and said", {
  f <- log_file(c("clock,T1", "23:59:50,300", "23:59:59,301", "00:00:08,302"))
  expect_message(h <- quiet_columns(f), "passes midnight at row 4", class = "softanneal_message_file")
  expect_equal(h$time_s, c(0, 9, 18))
  autumn <- c("Time,T1", "2026-10-25 02:59:00,300", "2026-10-25 02:00:00,301", "2026-10-25 02:01:00,302")
  expect_message(h <- quiet_columns(log_file(autumn)), "end of daylight saving")
  expect_equal(h$time_s, c(0, 60, 120))
  spring <- log_file(c("Time,T1", "2026-03-29 01:59:00,300", "2026-03-29 03:00:00,301",
                       "2026-03-29 03:01:00,302",
                     sprintf("2026-03-29 03:%02d:00,302", 2:9)))
  expect_equal(quiet_log(spring, tz = "Europe/Berlin")$time_s, 60 * 0:10)
  # without the zone there is a gap of an hour, and a warning of it
  expect_warning(h <- quiet_log(spring), "a gap before", class = "softanneal_warning_assumption")
  expect_equal(h$time_s[1:3], c(0, 3660, 3720))
})

test_that("fault words are left out with a count, fault numbers stay and are told", {
  f <- log_file(c("time_s,T1", paste0(seq(0, 190, 10), ",", c(rep(330, 5), "OPEN", "", rep(330, 5), 9999,
                                                              rep(330, 7)))))
  said <- capture_warnings(h <- quiet_log(f))
  expect_match(said[1], "2 of 20 points have no temperature and are left out (rows 7, 8)", fixed = TRUE)
  expect_match(said[2], "check_history\\(\\) finds in this log: T1: a number that stands for a fault")
  expect_identical(sum(h$temp_c == 9999), 1L)
  expect_identical(nrow(h), 18L)
})

test_that("what can be read in two ways, or not at all, is refused with its row", {
  expect_refused(quiet_log(log_file(c("Time,T1", "05/06/2026 08:00:00,20", "05/06/2026 08:01:00,21"))),
                 "file",
                 "can be read in two ways", "date_order", 2L)
  h <- quiet_log(log_file(c("Time,T1", "05/06/2026 08:00:00,20", "05/06/2026 08:01:00,21")),
                 date_order = "dmy")
  expect_identical(attr(h, "start"), "2026-06-05T08:00:00")
  expect_refused(quiet_log(log_file(c("t,T1", "0,20", "10,21"))), "units", "have no unit", "time")
  expect_refused(quiet_log(log_file(c("elapsed,T1", "00:10,20", "00:20,21"))), "file",
                 "hours and minutes or", "time")
  expect_refused(quiet_log(log_file(c("time_s,T1", "0,20", "20,21", "10,22"))), "range", "time falls",
                 "time", 4L)
  expect_refused(quiet_log(log_file(c("time_s,T1", "0,20", "10,21,5", "20,22"))), "file",
                 "more fields than the header")
  expect_refused(quiet_log(log_file(c("time_s,T1", "0,20", "10,21", "20,x7"))), "file",
                 "'x7' in column 'T1'", "temp",
                 4L)
  expect_refused(quiet_log(log_file(c("time_s,power", "0,20", "10,21"))), "column",
                 "no column of temperatures", "temp")
  expect_refused(quiet_log(log_file(c("0,20", "10,21"))), "file", "no header", "x")
  expect_refused(quiet_log("no such file.csv"), "file", "there is no file", "x")
  expect_refused(quiet_log(log_file(c("Time,T1", "2026-02-30 08:00:00,20", "2026-02-30 08:01:00,21"))),
                 "file",
                 "there is no time 2026-02-30", "time")
  ok <- log_file(c("time_s,T1,T2", "0,20,20", "10,21,20"))
  expect_refused(quiet_log(ok, specimen = "A"), "argument", "has 2 channels", "specimen")
  expect_refused(quiet_log(ok, specimen = c(T9 = "A")), "argument", "no channel 'T9'", "specimen")
  expect_refused(quiet_log(ok, temp = "T9"), "column", "no column 'T9'", "temp")
  expect_refused(quiet_log(log_file(c("Time,T1", "2026-03-01 08:00:00,20", "2026-03-01 08:01:00,21")),
                           tz = "Mars"),
                 "argument", "no time zone 'Mars'", "tz")
})

test_that("more of what loggers and spreadsheets write", {
  same <- function(lines, temp_c = c(20, 330.5), ..., time_s = c(0, 10)) {
    h <- quiet_log(log_file(lines), ...)
    expect_equal(h$temp_c, temp_c, label = lines[2])
    expect_equal(h$time_s, time_s, label = lines[2])
    h
  }
  same(c("Time,T1", "30-Nov-2026 08:00:00,20", "30-Nov-2026 08:00:10,330.5"))
  h <- same(c("Zeit;T1", "1. M\u00e4rz 2026 08:00:00;20", "1. M\u00e4rz 2026 08:00:10;330,5"))
  expect_identical(attr(h, "start"), "2026-03-01T08:00:00")
  same(c("Time\tT1", "Nov 30, 2026 1:00:00 PM\t20", "Nov 30, 2026 1:00:10 PM\t330.5"))
  same(c("clock,T1", "12:59:55 PM,20", "1:00:05 PM,330.5"))
  same(c("t/s;T1/\u00b0C", "0;20", "10;330,5"))
  same(c("Time (s),T1", "0,20 \u00b0C", "10,330.5 \u00b0C"))
  same(c("Time (s),T1", "0,68 F", "10,626.9 F"))
  same(c("time_s temp_c", "0 20", "10 330.5"))
  same(c("Time (ms);CH1;CH1 power (%)", "0;20;100", "10000;330,5;80"))
  h <- same(c("No.,Time (s),Sample 1,Alarm", "1,0,20,0", "2,10,330.5,0"))
  expect_identical(unique(h$specimen), "Sample 1")
  h <- same(c("Time (s),Piece C,Piece K", ",CH,CH", "0,20,21", "10,330.5,331"), c(20, 330.5, 21, 331),
            time_s = c(0, 10, 0, 10))
  expect_identical(unique(h$specimen), c("Piece C CH", "Piece K CH"))
  h <- same(c("Time (s),T1", "0,20", "10,25", "Time (s),T1", "20,330.5"), c(20, 25, 330.5),
            time_s = c(0, 10, 20))
  expect_identical(h$sheet_row, c(2L, 3L, 5L))
  same(c("Date,Time,Elapsed (s),T1", "2026-11-30,08:00:00,0,20", "2026-11-30,08:00:10,10,330.5"))
  expect_identical(quiet_log(log_file(c("Time (s),x", "0,20", "10,21")), specimen = "B1")$specimen,
                   c("B1", "B1"))
  expect_refused(quiet_log(log_file(c("Time,T1", paste0("2026-11-30 08:0", c(0, 0, 0, 1, 1, 1), ",20")))),
                 "file",
                 "without seconds", "time")
  expect_refused(quiet_log(log_file(c("Time (s),T1", "0,20 C", "10,70 F"))), "units", "several units",
                 "temp")
  expect_refused(quiet_log(log_file(c("Time (s),T1,T1", "0,20,21", "10,20,21"))), "column", "two channels",
                 "temp")
  expect_refused(quiet_log(log_file(c("Time (s) T1 (C)", "0 20", "10 21"))), "file",
                 "4 fields and the rows 2", "x")
  e <- expect_refused(quiet_log(log_file(c("Time (s),T1", "0,20", "10,21", "End of log,3"))), "file",
                      "'End of log'", "time")
  expect_match(conditionMessage(e), "line 4 of .*, column A")
  expect_refused(quiet_log(log_file(c("Time,T1", "2026-03-29 01:59:00,20", "2026-03-29 02:30:00,21")),
                           tz = "Europe/Berlin"), "file",
                           "there is no time 2026-03-29 02:30:00 in Europe/Berlin", "time")
  expect_refused(quiet_log(log_file(c("Time (s),T1", "0,20", "10,21")), tz = "UTC"), "argument",
                 "no time stamps", "tz")
  expect_refused(quiet_log(log_file(c("channel,time_s,T", "A,0,20", ",10,21"))), "missing", "not named",
                 "specimen", 3L)
  expect_refused(quiet_log(log_file(c("Time (s),T1,T2", "0,20,1", "10,21,2")),
                           specimen = c(T1 = "A", T2 = "A")),
                 "argument", "twice", "specimen")
})

test_that("Excel sheets of logs: the right one, with its fractions of a second", {
  skip_if_not_installed("readxl")
  skip_if_not_installed("writexl")
  path <- withr::local_tempfile(fileext = ".xlsx")
  at <- as.POSIXct("2026-11-30 23:59:50", tz = "UTC") + c(0, 9.9999, 20.5)
  writexl::write_xlsx(list(Notes = data.frame(what = c("logger 17", "Monday")),
                           Log = data.frame(Time = at, `T1 (C)` = c(20, 200.5, 330), check.names = FALSE)),
                           path)
  expect_message(h <- read_history(path), "sheet 'Log' read, not 'Notes'",
                 class = "softanneal_message_file")
  expect_equal(h$time_s, c(0, 10, 20.5))
  expect_equal(h$temp_c, c(20, 200.5, 330))
  named <- withr::local_tempfile(fileext = ".csv")
  file.copy(path, named)
  e <- expect_refused(quiet_log(named), "file", "invalid text encoding", "x")
  expect_match(e$remedy, "Excel file")
  expect_refused(quiet_log(log_file(c("time_s,T", "0,20", "1,21")), sep = ";;"), "argument",
                 "one character", "sep")
})

test_that("a log whose temperatures are in doubt, or all missing, is refused", {
  expect_refused(quiet_log(log_file(c("time_s,channel,T1,T2", "0,A,20,21", "10,A,21,22"))), "column",
                 "a column of channels and several of temperatures", "temp")
  empty <- data.frame(time_s = c(0, 10), T1 = NA_real_)
  expect_refused(suppressWarnings(quiet_log(empty, temp = "T1")), "too_few", "the log has no temperature",
                 "temp")
})
