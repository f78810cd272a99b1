# Files as they come from benches and mail programs, and files that are none. Lines and cells of 1e5
# letters are beyond every buffer on the way; scan() of R takes the square of a longer one.

sheet_head <- "specimen;temp_c;time_min;hardness;scale"
sheet_rows <- c("A;330;0;92,5;HRF", "A;330;4;88,0;HRF", "A;330;8;80,5;HRF")
good_sheet <- paste0(c(sheet_head, sheet_rows), collapse = "\n")

file_of <- function(content, name = "sheet.csv", env = parent.frame()) {
  path <- file.path(withr::local_tempdir(.local_envir = env), name)
  writeBin(if (is.raw(content)) content else charToRaw(content), path)
  path
}

# What read_readings() makes of a file; every warning or message of another class stops.
read_strictly <- function(content, ...) {
  withCallingHandlers(
    read_readings(file_of(content), ...),
    warning = function(w) if (!inherits(w, "softanneal_warning")) stop(w),
    message = function(m) {
      if (!inherits(m, "softanneal_message")) stop(m)
      invokeRestart("muffleMessage")
    })
}

test_that("the same readings come out of every way of writing a file", {
  skip_on_cran()
  wanted <- c(92.5, 88, 80.5)
  ways <- list(
    no_last_newline = good_sheet, newline = paste0(good_sheet, "\n"),
    bom = paste0("\xef\xbb\xbf", good_sheet, "\n"),
    crlf = gsub("\n", "\r\n", paste0(good_sheet, "\n")),
    cr = gsub("\n", "\r", paste0(good_sheet, "\n")),
    blank_lines = paste0("\n\n", gsub("\n", "\n\n", good_sheet), "\n\n\n"),
    empty_rows = paste0(good_sheet, "\n;;;;\n;;;;\n"),
    tabs = gsub(",", ".", gsub(";", "\t", good_sheet)),
    quoted = gsub("([^;\n]+)", "\"\\1\"", good_sheet),
    utf16 = iconv(good_sheet, "UTF-8", "UTF-16LE", toRaw = TRUE)[[1L]],
    utf16_mark = c(as.raw(c(255, 254)), iconv(good_sheet, "UTF-8", "UTF-16LE", toRaw = TRUE)[[1L]]),
    utf16_big = c(as.raw(c(254, 255)), iconv(good_sheet, "UTF-8", "UTF-16BE", toRaw = TRUE)[[1L]]),
    latin = paste0(sheet_head, ";note\n", paste0(sheet_rows, ";zu wei\xdf \xb0", collapse = "\n")))
  for (way in names(ways)) {
    r <- read_strictly(ways[[way]])
    expect_equal(as.vector(r$hardness), wanted, label = way)
    expect_equal(as.character(r$specimen), rep("A", 3), label = way)
    if (way == "latin") expect_identical(r$note[1L], "zu wei\u00df \u00b0")
  }
})

test_that("what is not a table of readings is refused with a file error, nothing dropped", {
  skip_on_cran()
  junk <- with_test_seed(5, as.raw(sample(0:255, 5000, TRUE)))
  bad <- list(
    empty = raw(0), header_only = sheet_head, newlines = "\n\n\n", junk = junk,
    # zero bytes: readers would drop what is around them
    nul = c(charToRaw(good_sheet), as.raw(0), charToRaw("\nA;330;16;70;HRF\n")),
    long_line = paste0(good_sheet, "\n", strrep("a", 1e6)),
    long_header = paste0(strrep("a", 1e6), "\n", good_sheet),
    open_quote = paste0(good_sheet, strrep("\nA;330;16;70,0;HRF", 20), "\n\"A;330;16;70;HRF\n"),
    ragged = paste0(good_sheet, "\nA;330;16\n"),
    mixed_marks = paste0(good_sheet, "\nA;330;16;70.5;HRF\n"),
    no_name = sub("scale", "", good_sheet))
  for (name in names(bad)) {
    expect_error(read_strictly(bad[[name]]), class = "softanneal_error_file", label = name)
  }
  expect_error(suppressMessages(read_readings(file_of(junk, "junk.xlsx"))),
               class = "softanneal_error")
  expect_error(read_readings(tempdir()), class = "softanneal_error_file")
  # valid UTF-8 for 300 lines, then a stray byte: Latin-1, unless the caller says UTF-8
  late <- paste0(sheet_head, ";note\n", strrep("A;330;4;88,0;HRF;x\n", 300),
                 "A;330;8;80,0;HRF;wei\xdf\n")
  expect_error(read_strictly(late, encoding = "UTF-8"), class = "softanneal_error_file")
  expect_identical(utils::tail(read_strictly(late)$note, 1L), "wei\u00df")
})

test_that("cells that are no numbers are named with their row", {
  skip_on_cran()
  e <- expect_error(read_strictly(sub("80,5", strrep("9", 1e5), good_sheet)),
                    class = "softanneal_error")
  expect_identical(e$rows, 3L)
  e <- expect_error(read_strictly(sub("92,5", "1.092,5", good_sheet)),
                    class = "softanneal_error_column")
  expect_identical(e$rows, 1L)
  expect_error(read_strictly(sub("scale", "hardness", good_sheet)),
               class = "softanneal_error_column")
})
