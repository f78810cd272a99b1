# Files the package writes: any path, nothing half-written. Full disks and locked folders are
# tried by inst/scripts/dev/check-files.sh, which needs root.

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

# Names of things as they might stand in a file of somebody who means ill, or does not think.
nasty_names <- c("`r stop('evaluated')`", "<script>alert(1)</script>", "${HOME} $$x$$ \\(y\\)",
                 "\"\nauthor: !r stop('evaluated')\nx: \"", "=1+1", "'@a", "*b* _c_ [d](e) |")

test_that("a file beside the target that looks like a passing one is left alone", {
  folder <- withr::local_tempdir()
  class <- simulate_class(1, seed = 20)
  writeLines("mine", file.path(folder, "group-01.csv.new"))
  write_class(class, folder)
  expect_identical(readLines(file.path(folder, "group-01.csv.new")), "mine")
  expect_setequal(list.files(folder), c("group-01.csv", "group-01.csv.new"))
})

test_that("what fails to be written leaves the old file and nothing beside it", {
  folder <- withr::local_tempdir()
  file <- file.path(folder, "a")
  writeLines("old", file)
  half <- function(to) writeLines("half", to)
  expect_false(put_in_place(file, half, function(to) FALSE))
  expect_false(put_in_place(file, half, function(to) NA))
  expect_false(put_in_place(file, function(to) stop("full"), function(to) TRUE))
  expect_false(put_in_place(file.path(folder, "no", "such"), half, function(to) TRUE))
  expect_false(place_copy(file.path(folder, "none"), file))
  expect_identical(readLines(file), "old")
  expect_identical(list.files(folder, all.files = TRUE, no.. = TRUE), "a")
  expect_true(put_in_place(file, half, function(to) readLines(to) == "half"))
  expect_identical(readLines(file), "half")
})

test_that("reading leaves files and tables as they were", {
  folder <- withr::local_tempdir()
  csv <- file.path(folder, "readings.csv")
  file.copy(extdata("bellbrass_readings.csv"), csv)
  key <- answer_key(1, seed = 20)
  form <- file.path(folder, "answers.csv")
  answers <- data.frame(group = "group-01", quantity = c("q_kj_mol", "n"), value = c(180, 1.8))
  utils::write.csv(answers, form, row.names = FALSE)
  coils <- file.path(folder, "coils")
  dir.create(coils)
  bell <- as.data.frame(bell_readings())
  utils::write.csv(cbind(coil = "A", bell), file.path(coils, "a.csv"), row.names = FALSE)
  fits <- file.path(folder, "fits")
  fit_archive(coils, fits, by = "coil")
  # an archive copied without its table of parts is read as it is
  unlink(file.path(fits, "manifest.csv"))
  files <- list.files(folder, recursive = TRUE, full.names = TRUE)
  Sys.setFileTime(files, as.POSIXct("2020-01-02 03:04:05", tz = "UTC"))
  before <- list(tools::md5sum(files), file.mtime(files))
  suppressMessages({
    read_readings(csv)
    read_readings(form, columns = c(hardness = "value"), temp_c = 300, time_min = 1,
                  specimen = "a", scale = "HV")
    mark_answers(form, key)
    as.data.frame(read_archive(fits))
    fit_archive(coils, file.path(folder, "others"), by = "coil")
  })
  unlink(file.path(folder, "others"), recursive = TRUE)
  expect_identical(list.files(folder, recursive = TRUE, full.names = TRUE), files)
  expect_identical(list(tools::md5sum(files), file.mtime(files)), before)
  skip_if_not_installed("data.table")
  # a data.table can be changed through any of its names
  d <- data.table::as.data.table(bell)
  kept <- data.table::copy(d)
  suppressWarnings({
    read_readings(d)
    check_readings(d)
    summarise_readings(d)
    fit_softening(d)
  })
  expect_identical(d, kept)
})

test_that("cells that a spreadsheet would take for a formula are escaped, and come back", {
  cells <- c("=1+1", "+x", "-x", "@y", "'=z", "''@", "\t=1", "'plain'", "plain", NA)
  safe <- escape_cells(cells)
  expect_false(any(grepl("^[=+@\t-]", safe)))
  expect_identical(safe[8:10], cells[8:10])
  expect_identical(plain_cells(safe), cells)
  numbers <- c("-3", "+1.5e-3", "'-3")
  expect_identical(escape_cells(numbers), c("-3", "+1.5e-3", "''-3"))
  expect_identical(plain_cells(escape_cells(numbers)), numbers)
  file <- withr::local_tempfile()
  write_table(stats::setNames(data.frame("a", -1), c("=cmd", "n")), file)
  expect_identical(readLines(file), c("\"'=cmd\",\"n\"", "\"a\",-1"))
  # an archive of groups with such names
  folder <- withr::local_tempdir()
  bell <- as.data.frame(bell_readings())
  names <- c("=1+1", "'@b")
  utils::write.csv(do.call(rbind, lapply(names, function(name) cbind(coil = name, bell))),
                   file.path(folder, "-part.csv"), row.names = FALSE)
  out <- file.path(folder, "fits")
  archive <- fit_archive(folder, out, by = "coil", format = "csv")
  expect_setequal(as.data.frame(archive)$coil, names)
  for (written in c("part-000001.csv", "manifest.csv")) {
    table <- utils::read.csv(file.path(out, written))
    text <- unlist(table[vapply(table, is.character, NA)])
    expect_true("'=1+1" %in% text, label = written)
    expect_false(any(grepl("^[=+@-]", text)), label = written)
  }
  expect_identical(as.data.frame(read_archive(out))$coil, as.data.frame(archive)$coil)
})

test_that("nothing from data is evaluated or becomes markup in a report", {
  skip_on_cran()
  skip_if_not_installed("rmarkdown")
  skip_if_not_installed("knitr")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc is not available")
  out <- withr::local_tempdir()
  bell <- as.data.frame(bell_readings())
  bell$specimen <- nasty_names[match(bell$specimen, unique(bell$specimen))]
  softening_report(bell, out, title = paste(nasty_names, collapse = " "))
  html <- paste(readLines(file.path(out, "report.html"), encoding = "UTF-8", warn = FALSE),
                collapse = " ")
  title <- sub(".*<h1[^>]*>(.*?)</h1>.*", "\\1", html, perl = TRUE)
  shown <- gsub("&quot;", "\"", gsub("&#39;", "'", gsub("&lt;", "<", gsub("&gt;", ">", title))))
  wanted <- gsub("[\n ]+", " ", paste(nasty_names, collapse = " "))
  expect_identical(gsub("\\s+", " ", shown), wanted)
  expect_false(grepl("<script>alert", html, fixed = TRUE))
  expect_false(grepl("name=\"author\"", html, fixed = TRUE))
  expect_false(grepl("class=\"math", html, fixed = TRUE))
})

test_that("names that look like code stay names from reading to archive and class files", {
  folder <- withr::local_tempdir()
  bell <- as.data.frame(bell_readings())
  bell$specimen <- nasty_names[match(bell$specimen, unique(bell$specimen))]
  file <- file.path(folder, "nasty.csv")
  utils::write.csv(bell, file, row.names = FALSE)
  r <- suppressMessages(read_readings(file))
  expect_identical(as.character(r$specimen), bell$specimen)
  fit <- suppressWarnings(fit_softening(r))
  expect_equal(coef(fit), coef(suppressWarnings(fit_softening(bell_readings()))))
  project <- file.path(folder, "project")
  lab_project(project, group = nasty_names[4L], example = FALSE)
  report <- readLines(file.path(project, "report", "report.Rmd"))
  skip_if_not_installed("rmarkdown")
  front <- rmarkdown::yaml_front_matter(file.path(project, "report", "report.Rmd"))
  expect_null(front$author)
  expect_identical(front$params$group, nasty_names[4L]) # one text, breaks and all
})
