test_that("cautions are data, grow with temperature and name what must be named", {
  all <- cautions()
  expect_s3_class(all, c("softanneal_cautions", "data.frame"), exact = TRUE)
  expect_named(all, c("process", "hazard", "precaution", "from_temp_c"))
  expect_setequal(all$process, CAUTION_PROCESSES)
  expect_false(anyNA(all$precaution))
  sizes <- vapply(c(20, 250, 500, 700, 900), \(t) nrow(cautions(temp_c = t)), 0L)
  expect_true(all(diff(sizes) > 0))
  expect_equal(sizes[5], nrow(all))
  said <- tolower(paste(all$hazard, all$precaution, collapse = " "))
  for (word in c("gloves", "tongs", "face shield", "mark hot", "zinc fume", "close the door quickly",
                 "rolls", "vice", "eye protection")) {
    expect_match(said, word, fixed = TRUE)
  }
  # the zinc fume stands there at any temperature
  expect_match(paste(cautions("annealing", temp_c = 300)$hazard, collapse = " "), "zinc fume")
})

test_that("cautions keep the order asked for and print as text that defers to local rules", {
  some <- cautions(c("sawing", "rolling"))
  expect_equal(unique(some$process), c("sawing", "rolling"))
  lines <- format(cautions("annealing", temp_c = 410), width = 60)
  expect_lte(max(nchar(lines)), 60)
  text <- gsub("\\s+", " ", paste(lines, collapse = " "))
  expect_match(text, in_degrees(410), fixed = TRUE)
  expect_match(text, "supervised, qualified practice", fixed = TRUE)
  expect_match(text, "not a release for use", fixed = TRUE)
  expect_output(print(some), "Sawing")
  expect_s3_class(as.data.frame(some), "data.frame", exact = TRUE)
  expect_output(print(some[1:2]), "hazard") # without its columns it is a plain table
})

test_that("unknown processes and impossible temperatures are refused", {
  expect_error(cautions("melting"), class = "softanneal_error_argument")
  expect_error(cautions(3), class = "softanneal_error_argument")
  expect_error(cautions("furnace", temp_c = -300), class = "softanneal_error_range")
  expect_error(cautions("furnace", temp_c = "hot"), class = "softanneal_error_argument")
})

test_that("a notebook shows every precaution, not the first columns of a table", {
  skip_on_cran()
  skip_if_not_installed("rmarkdown")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc")
  dir <- withr::local_tempdir()
  writeLines(c("---", "title: t", "output:", "  html_document:", "    df_print: paged", "---",
               "```{r}", "cautions('sawing')", "```"), file.path(dir, "doc.Rmd"))
  out <- rmarkdown::render(file.path(dir, "doc.Rmd"), quiet = TRUE,
                           envir = new.env(parent = globalenv()))
  text <- gsub("(\\s|##)+", " ", paste(readLines(out, encoding = "UTF-8"), collapse = " "))
  for (row in cautions("sawing")$precaution) expect_match(text, row, fixed = TRUE)
  expect_match(text, "not a release for use", fixed = TRUE)
})
