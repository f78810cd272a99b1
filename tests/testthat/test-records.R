# Records as people keep them: each file of the folder gives the one truth, or the refusal that
# truth.csv names, with its place in the file. All readings are invented.

records <- function() {
  utils::read.csv(test_path("records", "truth.csv"), encoding = "UTF-8", na.strings = character())
}

# The readings on every sheet that is read: two pieces, three times, three readings in HRF.
record_truth <- function() {
  hardness <- list(c(92.5, 92, 93), c(88, 87.5, 88.5), c(80, 79.5, 81), c(92, 92.5, 91.5),
                   c(79, 80, 79.5), c(71, 70.5, 72))
  data.frame(specimen = rep(c("A", "B"), each = 9), temp_c = rep(c(330, 370), each = 9),
             time_min = rep(rep(c(0, 4, 8), 2), each = 3), hardness = unlist(hardness), scale = "HRF")
}

in_order <- function(x) {
  x <- as.data.frame(x)[c("specimen", "temp_c", "time_min", "hardness", "scale")]
  x[] <- lapply(x, as.vector)
  x$specimen <- as.character(x$specimen)
  x <- x[order(x$specimen, x$time_min, x$hardness), ]
  rownames(x) <- NULL
  x
}

# A file read: value or condition, and everything said.
read_record <- function(file, args) {
  said <- character()
  value <- tryCatch(
    withCallingHandlers(
      eval(parse(text = paste0("read_readings(path", if (nzchar(args)) ", ", args, ")")),
           list(path = file), asNamespace("softanneal")),
      message = function(m) {
        said <<- c(said, conditionMessage(m))
        invokeRestart("muffleMessage")
      },
      warning = function(w) {
        said <<- c(said, paste("warning", class(w)[1L], conditionMessage(w)))
        invokeRestart("muffleWarning")
      }), error = identity)
  list(value = value, said = paste(said, collapse = " "))
}

test_that("every record gives its truth or its refusal", {
  table <- records()
  expect_gt(nrow(table), 40L)
  expect_setequal(c(table$file, "truth.csv"), list.files(test_path("records")))
  if (!requireNamespace("readxl", quietly = TRUE)) table <- table[!grepl("xlsx$", table$file), ]
  for (i in seq_len(nrow(table))) {
    now <- table[i, ]
    got <- read_record(test_path("records", now$file), now$args)
    if (now$outcome == "read") {
      expect_s3_class(got$value, "softanneal_readings")
      if (inherits(got$value, "error")) next
      expect_equal(in_order(got$value), in_order(record_truth()), tolerance = 1e-9, label = now$file)
      expect_match(got$said, now$text, label = now$file)
      expect_false(grepl("warning", got$said), label = now$file)
    } else if (now$outcome == "warning missing") {
      expect_match(got$said, now$text, label = now$file)
      expect_match(got$said, "warning softanneal_warning_missing", label = now$file)
      expect_equal(sum(is.na(got$value$hardness)), 1L, label = now$file)
    } else {
      expect_s3_class(got$value, paste0("softanneal_error_", now$outcome))
      expect_match(conditionMessage(got$value), now$text, label = now$file)
    }
  }
})

test_that("each reading says where it stands on its sheet", {
  for (file in c("wide-two-rows.csv", "notes-above-short.csv")) {
    r <- suppressMessages(read_readings(test_path("records", file)))
    lines <- readLines(test_path("records", file))
    fields <- strsplit(lines[r$sheet_row], ",", fixed = TRUE)
    cell <- mapply(\(f, j) f[match(j, LETTERS)], fields, r$sheet_column)
    expect_equal(as.numeric(cell), as.vector(r$hardness), label = file)
  }
})

test_that("columns of other classes are converted exactly or refused in their own words", {
  d <- record_truth()
  with_column <- function(name, value) {
    d[[name]] <- value
    d
  }
  n <- nrow(d)
  expect_refused(read_readings(with_column("time_min", as.POSIXct("2026-01-02", tz = "UTC") + 60 * d$time_min)),
                 "column", "holds clock times", "time_min")
  expect_refused(fit_softening(with_column("time_min", as.Date("2026-01-02") + d$time_min)), "column",
                 "holds dates", "time_min")
  expect_refused(read_readings(with_column("temp_c", as.difftime(d$temp_c, units = "mins"))), "column",
                 "holds differences of time", "temp_c")
  hours <- with_column("time_min", as.difftime(d$time_min / 60, units = "hours"))
  expect_equal(as.vector(summarise_readings(hours)$time_min), c(0, 4, 8, 0, 4, 8))
  # 64-bit integers as they are stored, with and without the package that knows them
  stored <- function(x) {
    half <- rbind(ifelse(x %% 2^32 >= 2^31, x %% 2^32 - 2^32, x %% 2^32), floor(x / 2^32))
    structure(readBin(writeBin(as.integer(half), raw(), endian = "little"), "double", length(x),
                      endian = "little"), class = "integer64")
  }
  expect_equal(from_integer64(stored(c(0, 4, -3, 2^33))), c(0, 4, -3, 2^33))
  expect_equal(as.vector(read_readings(with_column("time_min", stored(d$time_min)))$time_min), d$time_min)
  skip_if_not_installed("units")
  stress <- with_column("hardness", units::set_units(d$hardness, "MPa"))
  expect_refused(read_readings(stress), "units", "has the unit 'MPa'", "hardness")
  expect_refused(find_outliers(stress), "units", "divide MPa by 9.80665", "hardness")
  bare <- with_column("hardness", units::set_units(d$hardness, "1"))
  expect_equal(as.vector(read_readings(bare)$hardness), d$hardness)
})

test_that("the report takes what read_readings() takes", {
  expect_refused(softening_report(test_path("records", "plain.csv"), tempfile(), shet = 1), "argument",
                 "unknown argument 'shet'", "shet")
  r <- suppressMessages(read_for_report(test_path("records", "own-words-notes.csv"), reading_arguments(
    NULL, "HRF", columns = c(specimen = "bit", temp_c = "oven", time_min = "dur", hardness = "dial"))))
  expect_equal(in_order(r), in_order(record_truth()))
})
