# Quarto versions of the R Markdown templates: the same body under a head that Quarto reads. Run in the
# root of the clone; test-quarto.R holds both together.

quarto_of <- function(lines) {
  ends <- which(lines == "---")[1:2]
  head <- lines[seq(ends[1], ends[2])]
  from <- which(head == "output:")
  params <- which(head == "params:")
  head <- c(head[seq_len(from - 1)],
            "format:", "  html:", "    embed-resources: true", "    theme: none", "    toc: false",
            "  docx: default", "engine: knitr",
            sub("!r NULL", "null", head[seq(params, length(head))]))
  c(head, lines[-seq_len(ends[2])])
}

if (sys.nframe() == 0L) {
  for (one in dir("inst/rmarkdown/templates")) {
    lines <- readLines(file.path("inst/rmarkdown/templates", one, "skeleton", "skeleton.Rmd"))
    writeLines(quarto_of(lines), file.path("inst/quarto", paste0(one, ".qmd")))
  }
}
