# The Quarto templates are the R Markdown ones under another head.

body_of <- function(lines) lines[-seq_len(which(lines == "---")[2L])]

test_that("each template has a Quarto version with the same body and parameters", {
  skip_on_cran()
  folder <- system.file("rmarkdown", "templates", package = "softanneal")
  names <- dir(folder)
  expect_setequal(dir(system.file("quarto", package = "softanneal")), paste0(names, ".qmd"))
  skip_if_not_installed("yaml")
  head_of <- function(lines) {
    ends <- which(lines == "---")[1:2]
    yaml::yaml.load(paste(sub("!r .*", "null", lines[(ends[1] + 1):(ends[2] - 1)]), collapse = "\n"),
                    eval.expr = FALSE)
  }
  for (one in names) {
    rmd <- readLines(file.path(folder, one, "skeleton", "skeleton.Rmd"), encoding = "UTF-8")
    qmd <- readLines(system.file("quarto", paste0(one, ".qmd"), package = "softanneal"),
                     encoding = "UTF-8")
    expect_identical(body_of(qmd), body_of(rmd))
    a <- head_of(rmd)
    b <- head_of(qmd)
    expect_identical(b$params, a$params)
    expect_identical(b$title, a$title)
    expect_true(b$format$html$`embed-resources`)
    expect_identical(b$lang, "en")
  }
})
