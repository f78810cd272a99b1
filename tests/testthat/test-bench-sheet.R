# The bench sheet: rendered in earnest, read back, and safe with names from data.

skip_unless_pandoc <- function() {
  skip_if_not_installed("rmarkdown")
  skip_if_not_installed("knitr")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc")
}

bench_plan <- function(...) {
  plan_anneal(c(290, 320), c(4, 8, 16), plan_guess(recryst_1h_c = 330, draws = 8), ...)
}

# Text of an HTML file without its styles and plots, in one line.
text_of <- function(file) {
  x <- paste(readLines(file, encoding = "UTF-8", warn = FALSE), collapse = " ")
  x <- gsub("<style.*?</style>|<script.*?</script>|src=\"data:[^\"]*\"", "", x, perl = TRUE)
  x
}

test_that("the sheet has cautions first, all steps, boxes and places", {
  skip_on_cran()
  skip_unless_pandoc()
  dir <- withr::local_tempdir()
  file <- file.path(dir, "sheet.html")
  plan <- bench_plan(n_readings = 5)
  expect_identical(withVisible(bench_sheet(plan, file))$visible, FALSE)
  expect_equal(list.files(dir), "sheet.html")
  x <- text_of(file)
  expect_lt(regexpr("Cautions", x), regexpr("Annealing plan", x))
  expect_lt(regexpr("Annealing plan", x), regexpr("Steps and readings", x))
  expect_match(x, "Local rules, the maker", fixed = TRUE)
  expect_match(x, "not a release for use", fixed = TRUE)
  for (line in plan$cautions$hazard) expect_match(x, htmltools::htmlEscape(line), fixed = TRUE)
  steps <- sub(".*class=\"steps\"", "", x)
  steps <- sub("</table>.*", "", steps)
  cells <- regmatches(steps, gregexpr("<td[^>]*>.*?</td>", steps, perl = TRUE))[[1L]]
  # actual in and out, temperature, readings, mean, initials and remark to fill in
  expect_length(cells, nrow(plan$steps) * (9 + 5 + 6))
  expect_equal(sum(grepl("^<td[^>]*>\\s*</td>$", cells)), nrow(plan$steps) * (5 + 6))
  for (clock in na.omit(unlist(plan$steps[c("in_clock", "out_clock", "read_clock")]))) {
    expect_match(steps, clock, fixed = TRUE)
  }
  expect_match(x, "<img[^>]*alt=\"Strip of 80 by 20 mm with 20 indentations")
})

test_that("names and titles from data cannot become markup", {
  skip_on_cran()
  skip_unless_pandoc()
  dir <- withr::local_tempdir()
  file <- file.path(dir, "sheet.html")
  names <- c("<script>alert('a')</script>", "[b](javascript:alert(1)) *c* ```")
  steps <- data.frame(specimen = rep(names, each = 2), temp_c = rep(c(290, 310), each = 2),
                      time_min = c(4, 8, 4, 8))
  plan <- plan_anneal(steps, guess = plan_guess(recryst_1h_c = 330, draws = 8))
  bench_sheet(plan, file, title = "<b>x</b> *y* `r 1 + 1` \" : ' \\")
  x <- paste(readLines(file, encoding = "UTF-8", warn = FALSE), collapse = "\n")
  has <- function(text) grepl(text, x, fixed = TRUE)
  for (text in c("<script>alert", "href=\"javascript", "<b>x</b>", "<em>", "<code>")) {
    expect_false(has(text), info = text)
  }
  expect_true(grepl("<script>alert('a')</script>", html_text(file), fixed = TRUE))
  expect_true(grepl("[b](javascript:alert(1)) *c* ```", html_text(file), fixed = TRUE))
  expect_true(has("&lt;b&gt;x&lt;/b&gt; *y* `r 1 + 1`"))
})

test_that("files are not replaced unasked, and nothing is left behind", {
  skip_on_cran()
  skip_unless_pandoc()
  dir <- withr::local_tempdir()
  file <- file.path(dir, "sheet.html")
  writeLines("mine", file)
  expect_error(bench_sheet(bench_plan(), file), class = "softanneal_error_file")
  expect_equal(readLines(file), "mine")
  bench_sheet(bench_plan(), file, overwrite = TRUE)
  expect_gt(file.size(file), 1000)
  expect_equal(list.files(dir, all.files = TRUE, no.. = TRUE), "sheet.html")
})

test_that("wrong arguments are refused before any work", {
  dir <- withr::local_tempdir()
  plan <- bench_plan()
  expect_error(bench_sheet("plan", file.path(dir, "a.html")), class = "softanneal_error_argument")
  expect_error(bench_sheet(plan, file.path(dir, "a.docx")), class = "softanneal_error_file")
  expect_error(bench_sheet(plan, file.path(dir, "none", "a.html")), class = "softanneal_error_file")
  expect_error(bench_sheet(plan, 1), class = "softanneal_error_argument")
  expect_error(bench_sheet(plan, file.path(dir, "a.html"), overwrite = NA),
               class = "softanneal_error_argument")
  expect_error(bench_sheet(plan, file.path(dir, "a.html"), paper = "A3"),
               class = "softanneal_error_argument")
  expect_equal(list.files(dir), character())
})

# Number of pages, from the page objects of the file.
pages_of <- function(file) {
  skip_if(!nzchar(Sys.which("pdfinfo")), "pdfinfo")
  info <- system2("pdfinfo", shQuote(file), stdout = TRUE)
  list(n = as.integer(sub("Pages: *", "", grep("^Pages:", info, value = TRUE))),
       size = grep("^Page size:", info, value = TRUE))
}

test_that("a browser prints the sheet on A4 or Letter, steps on wide pages", {
  skip_on_cran()
  withr::local_envvar(LD_PRELOAD = NA) # a checker of this process is not for the printer
  skip_unless_pandoc()
  skip_if(!nzchar(find_browser()), "a browser")
  file <- withr::local_tempfile(fileext = ".pdf")
  bench_sheet(bench_plan(), file)
  expect_equal(readBin(file, "raw", 4), charToRaw("%PDF"))
  pages <- pages_of(file)
  expect_lte(pages$n, 3L)
  expect_match(pages$size, "A4")
  bench_sheet(bench_plan(), file, overwrite = TRUE, paper = "letter")
  expect_match(pages_of(file)$size, "letter")
  skip_if(!nzchar(Sys.which("pdftotext")), "pdftotext")
  text <- system2("pdftotext", c("-layout", shQuote(file), "-"), stdout = TRUE)
  expect_equal(sum(grepl("Group: _+ +Date: _+", text)), pages_of(file)$n)
  expect_true(any(grepl(paste("Page 1 of", pages_of(file)$n), text)))
})

test_that("LaTeX prints it where there is no browser, whatever the names are", {
  withr::local_envvar(LD_PRELOAD = NA) # a checker of this process is not for the printer
  skip_unless_pandoc()
  skip_if(!nzchar(Sys.which(LATEX)), "pdflatex")
  needed <- c("lmodern.sty", "longtable.sty", "geometry.sty", "hyperref.sty", "fancyhdr.sty")
  skip_if(length(system2("kpsewhich", needed, stdout = TRUE)) < 5, "LaTeX packages")
  withr::local_envvar(SOFTANNEAL_BROWSER = "none")
  file <- withr::local_tempfile(fileext = ".pdf")
  steps <- data.frame(specimen = "[x] \\input{y} 50 % & $z$ #_{}~^`|*", temp_c = 300,
                      time_min = c(4, 8))
  plan <- plan_anneal(steps, guess = plan_guess(recryst_1h_c = 330, draws = 8))
  bench_sheet(plan, file, title = "A_b & 50 % $y$ \\input{z} #{}~^")
  expect_lte(pages_of(file)$n, 4L)
})

test_that("without browser and LaTeX a PDF is refused with a remedy", {
  skip_unless_pandoc()
  withr::local_envvar(SOFTANNEAL_BROWSER = "none", PATH = withr::local_tempdir())
  skip_if(nzchar(Sys.which(LATEX)), "LaTeX outside the PATH")
  file <- withr::local_tempfile(fileext = ".pdf")
  expect_error(bench_sheet(bench_plan(), file), class = "softanneal_error_package")
  expect_false(file.exists(file))
})

test_that("steps without a place stand apart from the others", {
  plan <- suppressWarnings(plan_anneal(c(300, 350), c(5, 10, 20, 40, 80), session_min = 120))
  lost <- sum(is.na(plan$steps$read_min))
  expect_gt(lost, 0)
  booked <- softanneal:::sheet_steps(plan)
  apart <- softanneal:::sheet_steps(plan, booked = FALSE)
  expect_equal(c(nrow(booked), nrow(apart)), c(nrow(plan$steps) - lost, lost))
  expect_identical(names(apart), names(booked))
})
