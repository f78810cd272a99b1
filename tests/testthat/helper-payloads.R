# Texts that would act if a writer let them, and what a reader sees of a document. The canary is a
# file named CANARY: where it appears, something was evaluated.

CANARY <- "softanneal-canary"

payloads <- function() {
  make <- paste0("file.create(\"", CANARY, "\")")
  c(inline = paste0("`r ", make, "`"), inline_twice = paste0("``r ", make, "``"),
    expr = paste0("!expr ", make), tag = paste0("!r ", make),
    quotes = paste0("\"\n---\n```{r}\n", make, "\n```\n"), quote = "'\nparams:\n  x: 1", item = "- a: &b *b",
    write18 = paste0("\\write18{touch ", CANARY, "}"), input = "\\input{/etc/hosts}",
    tex = "$f$ \\(g\\) ^^5c",
    script = "<script>alert(1)</script>", handler = "\" onmouseover=\"alert(1)",
    image = "<img src=x onerror=alert(1)>", link = "[a](javascript:alert(1))",
    close = "b](javascript:alert(1))",
    raw = "`<b>c</b>`{=html}", fence = "```{=html}\n<b>d</b>\n```",
    attributes = "e {#id .f onclick=alert(1)}",
    div = "::: {.g}", reference = "\\1 \\\\2 \\0", formula = "=1+1", at = "@SUM(1)", comment = "<!-- h",
    entity = "&#96;r 1+1&#96; &lt;", star = "i|j *k* _l_ ~m~ # n",
    percent = "%s %d %n", front = "---\ntitle: o\n---",
    emoji = "\U0001f600", turned = "\u202egnp.exe")
}

# What must be read where a payload stands: as typed, line ends as blanks, turning marks by number.
as_seen <- function(x) {
  squeeze(gsub("\u202e", "<U+202E>", gsub("[[:cntrl:]]+", " ", x)))
}

squeeze <- function(x) trimws(gsub("[[:space:]\u00a0]+", " ", x))

decode_entities <- function(x) {
  by_number <- unique(unlist(regmatches(x, gregexpr("&#x?[0-9A-Fa-f]+;", x, perl = TRUE))))
  for (one in setdiff(by_number, "&#38;")) {
    code <- strtoi(gsub("[^0-9A-Fa-f]", "", one), if (grepl("x", one)) 16L else 10L)
    x <- gsub(one, intToUtf8(code), x, fixed = TRUE)
  }
  for (name in c("lt=<", "gt=>", "quot=\"", "apos='", "amp=&", "#38=&")) {
    part <- strsplit(name, "=")[[1L]]
    x <- gsub(paste0("&", part[1L], ";"), part[2L], x, fixed = TRUE)
  }
  x
}

# The body of an HTML file, without scripts, styles and plots of the theme.
html_body <- function(file) {
  x <- paste(readLines(file, encoding = "UTF-8", warn = FALSE), collapse = " ")
  x <- gsub("\"data:[^\"]*\"", "\"\"", sub("^.*<body[^>]*>", "", x, perl = TRUE), perl = TRUE)
  gsub("<script>.*?</script>|<style[^>]*>.*?</style>", " ", x, perl = TRUE)
}

# Its text as it is read, and its tags without their values.
html_text <- function(file) {
  x <- gsub("</?(span|em|b)>", "", html_body(file), perl = TRUE)
  squeeze(decode_entities(gsub("<[^>]*>", " ", x, perl = TRUE)))
}

html_tags <- function(file) {
  x <- html_body(file)
  gsub("\"[^\"]*\"", "\"\"", regmatches(x, gregexpr("<[A-Za-z!][^>]*>", x, perl = TRUE))[[1L]],
       perl = TRUE)
}

# Text of a Word file, and how many links and plots it holds.
word_text <- function(file) {
  dir <- withr::local_tempdir()
  utils::unzip(file, exdir = dir)
  x <- paste(readLines(file.path(dir, "word", "document.xml"), encoding = "UTF-8", warn = FALSE),
             collapse = " ")
  x <- gsub("</w:p>|</w:tc>|<w:br ?/>", " ", x)
  squeeze(decode_entities(gsub("<[^>]*>", "", x)))
}

word_links <- function(file) {
  dir <- withr::local_tempdir()
  utils::unzip(file, exdir = dir)
  x <- readLines(file.path(dir, "word", "_rels", "document.xml.rels"), warn = FALSE)
  regmatches(paste(x, collapse = ""), gregexpr("Target=\"[a-z]+:[^\"]*\"", paste(x, collapse = "")))[[1L]]
}

# A document made in a fresh folder, with what comes from data as given by `params`.
render_in <- function(dir, file, format, params = list()) {
  rmarkdown::render(file.path(dir, file), format, params = params, quiet = TRUE,
                    envir = new.env(parent = globalenv()))
}

skip_unless_documents <- function() {
  skip_if_not_installed("rmarkdown")
  skip_if_not_installed("knitr")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc")
}

# No file of the canary's name under the folders.
expect_no_canary <- function(...) {
  found <- list.files(c(...), pattern = paste0("^", CANARY, "$"), recursive = TRUE, all.files = TRUE)
  expect_identical(found, character())
}

# Each payload is read in `text` as it was typed.
expect_as_typed <- function(text, typed) {
  lost <- typed[!vapply(as_seen(typed), grepl, NA, x = text, fixed = TRUE)]
  expect_identical(unname(lost), character())
}

# Text without blanks, quotes as TeX sets them, what Latin fonts lack by number: a PDF breaks lines anywhere.
letters_alone <- function(x) {
  x <- gsub("\U0001f600", "<U+1F600>", as_seen(x), fixed = TRUE)
  x <- gsub("\u201c|``", "\"", gsub("[\u2018`]", "`", x))
  gsub("[[:space:]\u00ad]+", "", gsub("\u02c6", "^", gsub("[\u2019']", "'", x), fixed = TRUE))
}

pdf_letters <- function(file) {
  out <- withr::local_tempfile()
  system2("pdftotext", c("-layout", shQuote(file), shQuote(out)))
  letters_alone(paste(readLines(out, encoding = "UTF-8", warn = FALSE), collapse = ""))
}
