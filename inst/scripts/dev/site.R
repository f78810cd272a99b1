# Called by site.sh with the folder of the sources and that of the site: builds the site, whose
# configuration is inst/_pkgdown.yml, with the package as installed; nothing is looked up outside.
given <- commandArgs(trailingOnly = TRUE)
unlink(given[2L], recursive = TRUE)
dir.create(given[2L], recursive = TRUE)
options(pkgdown.internet = FALSE)
pkgdown::build_site(given[1L], override = list(destination = normalizePath(given[2L])),
                    preview = FALSE, install = FALSE, new_process = FALSE, devel = FALSE)
# Formulas as MathML, which browsers show without a library from another host.
pages <- list.files(given[2L], pattern = "[.]html$", recursive = TRUE, full.names = TRUE)
read_page <- function(page) {
  paste(readLines(page, warn = FALSE, encoding = "UTF-8"), collapse = "\n")
}
text <- vapply(pages, read_page, "")
formula <- "(?<!\\\\)\\\\\\((.+?)(?<!\\\\)\\\\\\)"
inline <- unique(unlist(regmatches(text, gregexpr(formula, text, perl = TRUE))))
if (length(inline)) {
  tex <- sub(formula, "\\1", inline, perl = TRUE)
  for (k in 1:5) {
    tex <- gsub(c("&lt;", "&gt;", "&quot;", "&#39;", "&amp;")[k],
                c("<", ">", "\"", "'", "&")[k], tex, fixed = TRUE)
  }
  source <- tempfile(fileext = ".md")
  writeLines(paste0("$", tex, "$", collapse = "\n\n"), source, useBytes = TRUE)
  math <- system2(Sys.which("pandoc"), c("-f", "markdown", "-t", "html", "--mathml", "--wrap=none",
                                         shQuote(source)), stdout = TRUE)
  Encoding(math) <- "UTF-8"
  math <- sub("^<p>(.*)</p>$", "\\1", math[nzchar(math)])
  stopifnot(length(math) == length(inline), grepl("^<math", math))
  for (k in seq_along(inline)) text <- gsub(inline[k], math[k], text, fixed = TRUE)
}
# MathJax is then of no use, and there is a logo without a file.
needless <- c("<script src=\"[^\"]*[Mm]ath[Jj]ax[^\"]*\"[^>]*></script>",
              "<img src=\"\" class=\"logo\"[^>]*>")
for (pattern in needless) text <- gsub(pattern, "", text)
# Access (check-access.R): contrast of the number of the version, no sideways scroll on a telephone, wide
# tables scroll by keyboard too, header cells have a scope, plots of examples a text, headings their order.
style <- paste0("<style>.navbar .text-muted{color:#495057!important}@media (max-width:991px){",
                ".row{margin-left:0;margin-right:0}h1,h2,h3,dt code{overflow-wrap:anywhere!important}",
                "}</style></head>")
text <- sub("</head>", style, text, fixed = TRUE)
text <- gsub("<(table|pre)(?=[ >])", "<\\1 tabindex=\"0\"", text, perl = TRUE)
text <- gsub("<th(?=[ >])(?![^>]*scope=)", "<th scope=\"col\"", text, perl = TRUE)
topic <- sub("[.]html$", "", basename(pages))
for (k in grep("/reference/", pages, fixed = TRUE)) {
  alt <- paste0("\\1 alt=\"Plot drawn by the examples of ", topic[k], "\"")
  text[k] <- gsub("(<img src=\"[^\"]+\") alt=\"\"", alt, text[k])
}
# the caption of a figure says what it shows
text <- gsub("(<img src=\"[^\"]+\") alt=\"\"([^>]*>\\s*<(figcaption|p class=\"caption\")[^>]*>)([^<]+)",
             "\\1 alt=\"\\4\"\\2\\4", text, perl = TRUE)
index <- basename(dirname(pages)) == "articles" & topic == "index"
text[index] <- gsub("<(/?)h3", "<\\1h2", text[index])
for (page in pages) writeLines(text[[page]], page, useBytes = TRUE)
# Libraries that come from other hosts may be out of reach, as in a laboratory without internet:
# the script of the pages then goes on without them, with a plain list of contents.
stand_in <- c(
  "(function($) {",
  "  if (!$) return;",
  "  const idle = function() { return this; };",
  "  $.fn.headroom = $.fn.headroom || idle;",
  "  $.fn.autocomplete = $.fn.autocomplete || idle;",
  "  window.ClipboardJS = window.ClipboardJS || {isSupported: () => false};",
  "  window.Mark = window.Mark || function() { this.mark = () => {}; };",
  "  window.Fuse = window.Fuse || function() { this.search = () => []; };",
  "  window.Toc = window.Toc || {init: function(at) {",
  "    const list = $('<ul class=\"nav flex-column\">');",
  "    $(at.$scope).filter('h2').each(function() {",
  "      const place = this.id || $(this).parent().attr('id');",
  "      const link = $('<a class=\"nav-link\">').attr('href', '#' + place);",
  "      if (place) list.append($('<li>').append(link.text($(this).clone().children('a.anchor')",
  "        .remove().end().text())));",
  "    });",
  "    $(at.$nav).append(list);",
  "  }};",
  "})(window.jQuery);")
script <- file.path(given[2L], "pkgdown.js")
if (file.exists(script)) {
  writeLines(c(stand_in, readLines(script, encoding = "UTF-8")), script, useBytes = TRUE)
}
