# Access of the pages people read: reports, bench sheet, pages that need no R, templates, from a clone also
# vignettes and site (where pkgdown is installed), and any folder of HTML files. check-access.js opens each in
# Chromium, as on a telephone and on a desk, with axe-core (npm); a serious or critical finding stops the
# check. The tutorials have check-tutorials.R. Package installed.
#   Rscript inst/scripts/dev/check-access.R [FOLDER ...]    with folders: these alone

library(softanneal)
browser <- Sys.which(c("chromium", "chromium-browser", "google-chrome"))
browser <- browser[nzchar(browser)][1]
if (is.na(browser) || !nzchar(Sys.which("npm"))) stop("this check needs Chromium and npm")
here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE)))
work <- tempfile("access-")
dir.create(work)
if (system2("npm", c("install", "--silent", "--no-audit", "--no-fund", "--prefix", shQuote(work),
                     "puppeteer-core", "axe-core@4")) != 0L) stop("npm packages could not be installed")

pages_in <- function(folder) list.files(folder, "[.]html$", recursive = TRUE, full.names = TRUE)

make_pages <- function(folder) {
  dir.create(folder)
  at <- function(...) file.path(folder, ...)
  bell <- example_data("bellbrass_readings")
  softening_report(system.file("extdata", "bellbrass_readings.csv", package = "softanneal"), at("report"))
  two <- do.call(rbind, lapply(c("A", "B"), function(g) transform(as.data.frame(bell), group = g)))
  softening_report(two, at("groups"), by = "group")
  plan <- suppressWarnings(plan_anneal(c(290, 320), c(4, 8, 16, 32, 64), session_min = 120))
  bench_sheet(plan, at("bench-sheet.html"))
  bench_page(plan, at("bench.html"))
  explore_page(fit_softening(bell), at("explore.html"))
  practice_page(class_design(temp_c = c(310, 340, 370)), 1, at("practice.html"), seed = 20)
  render <- function(...) rmarkdown::render(..., quiet = TRUE, envir = new.env(parent = globalenv()))
  for (one in dir(system.file("rmarkdown", "templates", package = "softanneal"))) {
    rmd <- at(paste0(one, ".Rmd"))
    file.copy(system.file("rmarkdown", "templates", one, "skeleton", "skeleton.Rmd",
                          package = "softanneal"), rmd)
    render(rmd, "html_document")
  }
  if (nzchar(Sys.which("quarto"))) {
    for (qmd in list.files(system.file("quarto", package = "softanneal"), full.names = TRUE)) {
      file.copy(qmd, at(paste0("quarto-", basename(qmd))))
      system2("quarto", c("render", shQuote(at(paste0("quarto-", basename(qmd)))), "--to", "html"))
    }
  } else cat("Quarto is not here: the Quarto templates are left out.\n")
  source <- file.path(here, "..", "..", "..", "vignettes")
  if (dir.exists(source)) {
    file.copy(source, folder, recursive = TRUE)
    for (rmd in list.files(at("vignettes"), "[.]Rmd$", full.names = TRUE)) render(rmd)
    make_site(at("site"))
  }
  pages_in(folder)
}

# From the sources without the tutorials, as site.sh makes it.
make_site <- function(folder) {
  if (!requireNamespace("pkgdown", quietly = TRUE)) {
    return(cat("pkgdown is not here: the site is left out.\n"))
  }
  top <- normalizePath(file.path(here, "..", "..", ".."))
  copy <- file.path(work, "source")
  dir.create(copy)
  parts <- c("DESCRIPTION", "NAMESPACE", "LICENSE", "NEWS.md", "README.md", "R", "man", "inst", "vignettes")
  file.copy(file.path(top, parts), copy, recursive = TRUE)
  unlink(file.path(copy, "inst", "tutorials"), recursive = TRUE)
  log <- file.path(work, "site.log")
  rscript <- file.path(R.home("bin"), "Rscript")
  status <- system2(rscript, shQuote(c(file.path(here, "site.R"), copy, folder)), stdout = log, stderr = log,
                    env = paste0("R_LIBS=", paste(.libPaths(), collapse = ":")))
  if (status != 0L) {
    stop("the site could not be built:\n", paste(tail(readLines(log), 10L), collapse = "\n"))
  }
}

given <- commandArgs(TRUE)
pages <- if (length(given)) unlist(lapply(given, pages_in)) else make_pages(file.path(work, "pages"))
asked <- file.path(work, "pages.json")
writeLines(jsonlite::toJSON(normalizePath(pages)), asked)
status <- system2("node", shQuote(c(file.path(here, "check-access.js"), file.path(work, "node_modules"),
                                    browser, asked)))
if (nzchar(Sys.getenv("SOFTANNEAL_KEEP"))) cat("Kept:", work, "\n") else unlink(work, recursive = TRUE)
if (status != 0L) quit(status = 1L)
