# The vignettes as files: index entry, captions and alternative text of every plot; and the
# configuration of the site against the help pages. That they build is the matter of R CMD check.

source_folder <- function(...) {
  tops <- c(Sys.getenv("SOFTANNEAL_SOURCE"), test_path("..", ".."))
  found <- file.path(tops[nzchar(tops)], ...)
  found[file.exists(found)][1L]
}

vignette_files <- function() {
  folder <- source_folder("vignettes")
  if (is.na(folder)) folder <- system.file("doc", package = "softanneal")
  if (!nzchar(folder)) skip("No vignettes at hand.")
  files <- list.files(folder, pattern = "[.]Rmd$", full.names = TRUE)
  if (!length(files)) skip("No vignettes at hand.")
  files
}

# chunks of a file: a list with header and code, fenced by ```{r ...} and ```
chunks_of <- function(lines) {
  start <- grep("^```\\{r", lines)
  end <- grep("^```\\s*$", lines)
  lapply(start, function(from) {
    to <- end[end > from][1L]
    list(header = lines[from], code = lines[seq_len(to - from - 1L) + from])
  })
}

# whether a chunk draws: a call of plot(), autoplot() or plot_...() at its top level
draws <- function(code) {
  calls <- Filter(is.call, as.list(parse(text = code, keep.source = FALSE)))
  names <- vapply(calls, function(x) sub("^.*::", "", paste(deparse(x[[1L]]), collapse = "")), "")
  any(grepl("^(plot|autoplot|plot_[a-z_]+)$", names))
}

test_that("a chunk that draws is told from one that does not", {
  expect_true(draws("plot(fit)"))
  expect_true(draws("x <- 1\nggplot2::autoplot(x)"))
  expect_true(draws("plot_avrami(fit)"))
  expect_false(draws("p <- plot(fit)"))
  expect_false(draws("plan_anneal(300, 4)"))
  parts <- chunks_of(c("text", "```{r a, fig.cap = \"x\"}", "1", "2", "```", "```", "not R", "```"))
  expect_length(parts, 1L)
  expect_identical(parts[[1L]]$code, c("1", "2"))
})

test_that("every vignette has its title as index entry and writes formulas as MathML", {
  for (file in vignette_files()) {
    lines <- readLines(file, encoding = "UTF-8")
    title <- sub("^title: \"(.*)\"$", "\\1", grep("^title:", lines, value = TRUE)[1L])
    entry <- sub(".*VignetteIndexEntry\\{(.*)\\}.*", "\\1",
                 grep("VignetteIndexEntry", lines, value = TRUE))
    expect_identical(entry, title, info = basename(file))
    expect_true(any(grepl("--mathml", lines, fixed = TRUE)), info = basename(file))
    expect_true(any(grepl("VignetteEngine\\{knitr::rmarkdown\\}", lines)), info = basename(file))
    for (part in c("lang: en", "\"vignette.css\"", "\"page.html\"", "\"page.lua\"")) {
      expect_true(any(grepl(part, lines, fixed = TRUE)), info = paste(basename(file), part))
    }
  }
})

test_that("a vignette has language, main part and heads with scope, and its code is read on its ground", {
  skip_on_cran()
  skip_if_not_installed("rmarkdown")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc")
  head <- readLines(vignette_files()[1L], encoding = "UTF-8")
  head <- head[seq_len(which(head == "---")[2L])]
  file <- withr::local_tempfile(fileext = ".Rmd")
  writeLines(c(head, "", "## A", "", "| a | b |", "|---|---|", "| 1 | 2 |"), file)
  html <- paste(readLines(rmarkdown::render(file, quiet = TRUE, envir = new.env())), collapse = "\n")
  expect_match(html, "<html lang=\"en\">", fixed = TRUE)
  expect_match(html, "<main>", fixed = TRUE)
  expect_identical(lengths(regmatches(html, gregexpr("<th [^>]*scope=\"col\"", html))), 2L)
  expect_match(html, "<div class=\"scroll\" tabindex=\"0\">", fixed = TRUE)
  css <- readLines(system.file("report", "vignette.css", package = "softanneal"))
  colours <- regmatches(css, regexpr("[{] color: #[0-9a-f]+", css))
  colours <- sub("^#(.)(.)(.)$", "#\\1\\1\\2\\2\\3\\3", sub(".*: ", "", colours))
  expect_gte(length(colours), 6L)
  expect_true(all(softanneal:::contrast(colours, "#f6f6f6") >= 4.5))
})

test_that("every plot of a vignette has a caption and alternative text from the plot", {
  pictures <- 0L
  for (file in vignette_files()) {
    for (chunk in chunks_of(readLines(file, encoding = "UTF-8"))) {
      if (grepl("eval = FALSE", chunk$header, fixed = TRUE) || !draws(chunk$code)) next
      pictures <- pictures + 1L
      at <- paste(basename(file), chunk$header)
      expect_match(chunk$header, "fig[.]cap = \"[^\"]{10,}\"", info = at)
      expect_match(chunk$header, "fig[.]alt = (alt|ggplot2::get_alt_text)\\(", info = at)
    }
  }
  expect_gt(pictures, 20L)
})

test_that("vignettes refer to vignettes that are there, and the README names each", {
  files <- vignette_files()
  names <- sub("[.]Rmd$", "", basename(files))
  pattern <- "vignette\\(\"([a-z]+)\", package = \"softanneal\"\\)"
  named <- function(file) {
    text <- paste(readLines(file, encoding = "UTF-8"), collapse = "\n")
    sub(pattern, "\\1", regmatches(text, gregexpr(pattern, text))[[1L]])
  }
  for (file in files) expect_setequal(setdiff(named(file), names), character())
  readme <- source_folder("README.md")
  if (is.na(readme)) skip("No README at hand.")
  expect_setequal(named(readme), names)
})

test_that("the site lists every help page and every vignette exactly once", {
  skip_if_not_installed("yaml")
  config <- source_folder("inst", "_pkgdown.yml")
  if (is.na(config)) config <- system.file("_pkgdown.yml", package = "softanneal")
  site <- yaml::read_yaml(config)
  listed <- unlist(lapply(site$reference, `[[`, "contents"))
  expect_identical(anyDuplicated(listed), 0L)

  man <- source_folder("man")
  pages <- if (is.na(man)) tools::Rd_db("softanneal") else
    lapply(list.files(man, "[.]Rd$", full.names = TRUE), tools::parse_Rd)
  fields <- function(page, tag) {
    trimws(unlist(page[vapply(page, attr, "", which = "Rd_tag") == tag]))
  }
  aliases <- lapply(pages, fields, tag = "\\alias")
  public <- !vapply(pages, function(page) "internal" %in% fields(page, "\\keyword"), NA)
  expect_setequal(setdiff(listed, unlist(aliases)), character())
  # how often each public page is listed, by the first of its aliases
  times <- vapply(aliases[public], function(x) sum(listed %in% x), 0L)
  first <- vapply(aliases[public], `[[`, "", 1L)
  expect_identical(unname(first[times != 1L]), character())
  exported <- getNamespaceExports("softanneal")
  expect_setequal(setdiff(exported, unlist(aliases)), character())

  articles <- unlist(lapply(site$articles, `[[`, "contents"))
  expect_setequal(articles, sub("[.]Rmd$", "", basename(vignette_files())))
  expect_identical(anyDuplicated(articles), 0L)
})
