# Access of the pages people read: report, bench sheet, page to explore a fit and templates, and any
# folder of HTML files (site, vignettes, tutorials). axe-core (npm) runs in Chromium over each page at
# the width of a telephone; a serious or critical finding, or a page that scrolls sideways, stops the
# check. Package installed. Rscript inst/scripts/dev/check-access.R [FOLDER ...]

library(softanneal)
browser <- Sys.which(c("chromium", "chromium-browser", "google-chrome"))
browser <- browser[nzchar(browser)][1]
if (is.na(browser) || !nzchar(Sys.which("npm"))) stop("this check needs Chromium and npm")
work <- tempfile("access-")
dir.create(work)
if (system2("npm", c("install", "--silent", "--no-audit", "--no-fund", "--prefix", shQuote(work),
                     "axe-core@4")) != 0L) stop("axe-core could not be installed")
axe <- file.path(work, "node_modules", "axe-core", "axe.min.js")

make_pages <- function(folder) {
  dir.create(folder)
  softening_report(system.file("extdata", "bellbrass_readings.csv", package = "softanneal"),
                   file.path(folder, "report"))
  plan <- suppressWarnings(plan_anneal(c(290, 320), c(4, 8, 16, 32, 64), session_min = 120))
  bench_sheet(plan, file.path(folder, "bench-sheet.html"))
  explore_page(fit_softening(example_data("bellbrass_readings")), file.path(folder, "explore.html"))
  practice_page(class_design(temp_c = c(310, 340, 370)), 1, file.path(folder, "practice.html"), seed = 20)
  for (one in dir(system.file("rmarkdown", "templates", package = "softanneal"))) {
    rmd <- file.path(folder, paste0(one, ".Rmd"))
    file.copy(system.file("rmarkdown", "templates", one, "skeleton", "skeleton.Rmd",
                          package = "softanneal"), rmd)
    rmarkdown::render(rmd, "html_document", quiet = TRUE)
  }
  list.files(folder, "[.]html$", recursive = TRUE, full.names = TRUE)
}

# After a while, in which a page that computes by itself has drawn what it draws.
RUN <- "<script>window.addEventListener('load', function () { setTimeout(function () {
  document.querySelectorAll('details').forEach(function (d) { d.open = true; });
  axe.run(document, {resultTypes: ['violations']}).then(function (r) {
    var all = r.violations.map(function (v) {
      return v.impact + ' ' + v.id + ' (' + v.nodes.length + '): ' + v.nodes[0].target.join(' ');
    });
    var wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
    if (wide > 2) all.push('critical sideways-scroll (' + wide + ' px): html');
    document.documentElement.innerHTML = '<pre>BEGIN\\n' + all.join('\\n') + '\\nEND</pre>';
  });
}, 3000); });</script>"

findings <- function(page) {
  # beside the page, so that its plots and styles are found
  copy <- file.path(dirname(page), paste0("access-", basename(page)))
  on.exit(unlink(copy))
  html <- paste(readLines(page, warn = FALSE, encoding = "UTF-8"), collapse = "\n")
  html <- sub("<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", html) # axe is no script of the page
  code <- paste(readLines(axe, warn = FALSE), collapse = "\n")
  writeLines(c(html, "<script>", code, "</script>", RUN), copy, useBytes = TRUE)
  out <- system2(browser, c("--headless", "--no-sandbox", "--disable-gpu", "--window-size=390,900",
                            "--virtual-time-budget=60000", "--dump-dom",
                            shQuote(paste0("file://", normalizePath(copy)))),
                 stdout = TRUE, stderr = FALSE, timeout = 180)
  from <- grep("BEGIN$", out)
  to <- grep("^END", out)
  if (!length(from) || !length(to)) return("critical not-run: the page did not answer")
  lines <- out[seq(from[1], to[1])]
  lines <- lines[nzchar(lines)]
  lines[-c(1, length(lines))]
}

given <- commandArgs(TRUE)
pages <- c(make_pages(file.path(work, "pages")),
           unlist(lapply(given, list.files, pattern = "[.]html$", recursive = TRUE, full.names = TRUE)))
bad <- 0L
for (page in pages) {
  found <- findings(page)
  serious <- grepl("^(serious|critical)", found)
  bad <- bad + sum(serious)
  cat(sprintf("%-60s %d serious, %d minor\n", sub(paste0(work, "/pages/"), "", page, fixed = TRUE),
              sum(serious), sum(!serious)))
  if (length(found)) cat(paste0("    ", found), sep = "\n")
}
unlink(work, recursive = TRUE)
cat(length(pages), "pages,", bad, "serious findings\n")
if (bad) quit(status = 1L)
