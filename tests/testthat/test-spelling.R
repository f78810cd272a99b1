# Words of help pages, vignettes, NEWS and README that no English dictionary has and that are not in
# inst/WORDLIST. A new term goes there: Rscript -e 'spelling::update_wordlist()'.

test_that("help pages and vignettes are spelt as the dictionary and the list of terms have it", {
  skip_on_cran()
  skip_if_not_installed("spelling")
  top <- Sys.getenv("SOFTANNEAL_SOURCE")
  skip_if(!file.exists(file.path(top, "DESCRIPTION")), "The sources are not at hand.")
  skip_if(!dir.exists(file.path(top, "man")), "The help pages are not at hand.")
  known <- try(spelling::spell_check_text("the furnace", lang = "en_GB"), silent = TRUE)
  skip_if(inherits(known, "try-error"), "No British dictionary.")
  list <- readLines(file.path(top, "inst", "WORDLIST"), encoding = "UTF-8")
  expect_false(anyDuplicated(list) > 0L)
  # a slip is found
  expect_identical(spelling::spell_check_text("the furnce", ignore = list, lang = "en_GB")$word, "furnce")
  wrong <- spelling::spell_check_package(top)
  expect_identical(wrong$word, character())
})
