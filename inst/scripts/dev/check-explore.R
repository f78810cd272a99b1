# Pages of explore_page() in Chromium: a fit with all determined and one with something open. Numbers against
# predict(), sliders by keyboard, decimal comma, a history drawn by the mouse and typed, 360, 768 and 1280
# pixels, light and dark, axe, no request, first paint (check-explore.js). Pictures stay in FOLDER. Package
# installed; needs node, npm and Chromium.
#   Rscript inst/scripts/dev/check-explore.R [FOLDER [MODULES]]

library(softanneal)
args <- commandArgs(TRUE)
out <- if (length(args)) args[1L] else tempfile("explore-")
dir.create(out, showWarnings = FALSE, recursive = TRUE)
browser <- Sys.which(c("chromium", "chromium-browser", "google-chrome"))
browser <- browser[nzchar(browser)][1L]
if (is.na(browser) || !nzchar(Sys.which("node"))) stop("this check needs Chromium and node")
modules <- if (length(args) > 1L) args[2L] else {
  if (system2("npm", c("install", "--silent", "--no-audit", "--no-fund", "--prefix", shQuote(out),
                       "puppeteer-core@22", "axe-core@4")) != 0L) stop("npm could not install what is needed")
  file.path(out, "node_modules")
}
readings <- example_data("bellbrass_readings")
fits <- list(whole = fit_softening(readings),
             half = suppressWarnings(fit_softening(readings[readings$temp_c %in% c(330, 410), ])))
at <- data.frame(temp_c = c(350, 333.5, 410, 300), time_min = c(10, 16.25, 5, 5))
history <- data.frame(time_s = 60 * c(0, 4, 5, 7, 12), temp_c = c(340, 340, 280.5, 340, 340))
cases <- lapply(names(fits), function(name) {
  file <- file.path(out, paste0(name, ".html"))
  explore_page(fits[[name]], file, title = paste("Bell brass,", name), overwrite = TRUE)
  told <- suppressWarnings(predict(fits[[name]], at, interval = "confidence"))
  end <- suppressWarnings(predict(fits[[name]], history = history, interval = "confidence"))
  end <- end[nrow(end), ]
  list(name = name, file = file, at = at, want = unname(told), end = I(unname(end)))
})
writeLines(jsonlite::toJSON(list(cases = cases, history = history), auto_unbox = TRUE, digits = NA,
                            na = "null"), file.path(out, "cases.json"))
here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE)))
system2("node", shQuote(c(file.path(here, "check-explore.js"), modules, browser,
                          file.path(out, "cases.json"), out)))
found <- jsonlite::fromJSON(file.path(out, "found.json"))
cat("largest difference of a number, page and R (a thousandth of it where something is open):",
    found$worst, "\n")
cat("from a key on a slider to all shown:", stats::median(found$ms), "ms; first paint:",
    round(max(found$paint)), "ms; page:", max(found$bytes), "bytes\n")
faults <- c(as.character(found$faults), if (length(found$requests)) paste("request:", found$requests),
            if (!(found$worst <= 1e-8)) "the numbers are not those of predict()",
            if (!(max(found$paint) < 1000) || !(max(found$bytes) < 5e5)) "a page is slow or large")
if (length(faults)) {
  writeLines(c("Faults:", paste(" ", faults)))
  quit(status = 1)
}
cat("The explore pages passed; pictures in", out, "\n")
