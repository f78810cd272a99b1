# Called by site.sh with the folder of the sources and that of the site: builds the site, whose
# configuration is inst/_pkgdown.yml, with the package as installed; nothing is looked up outside.
given <- commandArgs(trailingOnly = TRUE)
unlink(given[2L], recursive = TRUE)
dir.create(given[2L], recursive = TRUE)
options(pkgdown.internet = FALSE)
pkgdown::build_site(given[1L], override = list(destination = normalizePath(given[2L])),
                    preview = FALSE, install = FALSE, new_process = FALSE, devel = FALSE)
# Debian's pkgdown points to a copy of MathJax on this machine besides the one on the net; a page
# that is published can use the latter only
for (page in list.files(given[2L], pattern = "[.]html$", recursive = TRUE, full.names = TRUE)) {
  text <- readLines(page, warn = FALSE, encoding = "UTF-8")
  local <- "<script src=\"file:///[^\"]*\"[^>]*></script>"
  if (any(grepl(local, text))) writeLines(gsub(local, "", text), page, useBytes = TRUE)
}
