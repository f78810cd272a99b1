# Called by site.sh with the folder of the sources and that of the site: builds the site, whose
# configuration is inst/_pkgdown.yml, with the package as installed; nothing is looked up outside.
given <- commandArgs(trailingOnly = TRUE)
unlink(given[2L], recursive = TRUE)
dir.create(given[2L], recursive = TRUE)
options(pkgdown.internet = FALSE)
pkgdown::build_site(given[1L], override = list(destination = normalizePath(given[2L])),
                    preview = FALSE, install = FALSE, new_process = FALSE, devel = FALSE)
# Each page: Debian's pkgdown points to a copy of MathJax on this machine besides the one on the
# net, and a page that is published can use the latter only; and there is a logo without a file.
needless <- c("<script src=\"file:///[^\"]*\"[^>]*></script>", "<img src=\"\" class=\"logo\"[^>]*>")
for (page in list.files(given[2L], pattern = "[.]html$", recursive = TRUE, full.names = TRUE)) {
  text <- readLines(page, warn = FALSE, encoding = "UTF-8")
  clean <- text
  for (pattern in needless) clean <- gsub(pattern, "", clean)
  if (!identical(clean, text)) writeLines(clean, page, useBytes = TRUE)
}
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
