# Files the package writes: any path, nothing half-written. Full disks and locked folders are
# tried by inst/scripts/check-files.sh, which needs root.

test_that("paths with blanks and letters beyond ASCII are written and read", {
  top <- file.path(withr::local_tempdir(), "M\u00fcller & son, bell \u6e29")
  skip_if_not(dir.create(top, showWarnings = FALSE), "the file system takes no such name")
  class <- simulate_class(2, seed = 20)
  files <- write_class(class, file.path(top, "class of today"))
  expect_true(all(file.exists(files)))
  expect_equal(suppressMessages(read_readings(files[[2L]]))$hardness,
               class$hardness[class$group == "group-02"], ignore_attr = "label")
  expect_no_error(lab_project(file.path(top, "new project"), group = "gr\u00fcn"))
  expect_equal(nrow(suppressMessages(read_readings(file.path(top, "new project", "data",
                                                             "readings.csv")))),
               nrow(bell_readings()))
})

test_that("what is not whole is known", {
  file <- withr::local_tempfile()
  d <- data.frame(a = c(1.5, 2.25), b = c("x\ny", "z"))
  write_table(d, file)
  expect_true(whole_table(file, 2L))
  bytes <- readBin(file, "raw", 1e4)
  for (kept in c(0L, 3L, length(bytes) - 1L, length(bytes) - 9L)) {
    writeBin(bytes[seq_len(kept)], file)
    expect_false(suppressWarnings(whole_table(file, 2L)), label = paste(kept, "bytes"))
  }
  expect_true(save_lines(c("a", "gr\u00fcn"), file))
  expect_identical(readLines(file, encoding = "UTF-8"), c("a", "gr\u00fcn"))
  expect_false(save_lines("a", file.path(file, "no", "such")))
})

test_that("a full disk is an error, though R may not be told", {
  skip_if_not(file.exists("/dev/full"))
  expect_false(save_lines("a", "/dev/full"))
})

test_that("a file in the place of a folder, and a folder in the place of a file", {
  folder <- withr::local_tempdir()
  taken <- file.path(folder, "taken")
  writeLines("keep me", taken)
  class <- simulate_class(1, seed = 20)
  expect_error(write_class(class, taken, overwrite = TRUE), class = "softanneal_error_file")
  expect_error(lab_project(taken), class = "softanneal_error_file")
  expect_identical(readLines(taken), "keep me")
  dir.create(file.path(folder, "group-01.csv"))
  writeLines("in the way", file.path(folder, "group-01.csv", "x"))
  expect_error(write_class(class, folder, overwrite = TRUE), class = "softanneal_error_file")
  expect_identical(list.files(folder), c("group-01.csv", "taken"))
})
