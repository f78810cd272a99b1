# A whole run of 24 steps on a bench page in Chromium, by keyboard alone and with a moved clock
# (check-bench.js); the files it saves are read and fitted here, and the fit must be that of the page to 1e-8.
# Pictures of the page at 360, 768 and 1280 pixels, light and dark, stay in FOLDER. Package installed; needs
# node, npm and Chromium.
#   Rscript inst/scripts/dev/check-bench.R [FOLDER [MODULES]]

library(softanneal)
args <- commandArgs(TRUE)
out <- if (length(args)) args[1L] else tempfile("bench-")
dir.create(out, showWarnings = FALSE, recursive = TRUE)
unlink(file.path(out, c("user", "other", "down", "found.json")), recursive = TRUE)
browser <- Sys.which(c("chromium", "chromium-browser", "google-chrome"))
browser <- browser[nzchar(browser)][1L]
if (is.na(browser) || !nzchar(Sys.which("node"))) stop("this check needs Chromium and node")
modules <- if (length(args) > 1L) args[2L] else {
  if (system2("npm", c("install", "--silent", "--no-audit", "--no-fund", "--prefix", shQuote(out),
                       "puppeteer-core@22", "axe-core@4")) != 0L) stop("npm could not install what is needed")
  file.path(out, "node_modules")
}

plan <- suppressWarnings(plan_anneal(c(330, 360, 390), c(1, 2, 4, 8, 16, 32, 64),
                                     plan_guess(recryst_1h_c = 370), n_readings = 3, session_min = 900,
                                     furnaces = 3, width_mm = 30, length_mm = 120))
page <- file.path(out, "bench.html")
bench_page(plan, page, title = "Larkfield run <b>1</b>", overwrite = TRUE)

# what the dial shows: a true curve, converted, with a scatter that does not depend on chance
par <- c(h_worked = 158, h_soft = 76, ln_k_ref = -1.2, n = 1.5, q_kj_mol = 150)
s <- plan$steps
hv <- vapply(seq_len(nrow(s)), function(k) {
  hot <- data.frame(time_s = c(0, 60 * max(s$time_min[k], 1e-9)), temp_c = s$temp_c[k])
  if (s$time_min[k] == 0) par[["h_worked"]] else {
    soften(hot, par, model = "jmak", temp_ref_c = 360)$hardness[2L]
  }
}, 0)
values <- lapply(split(seq_len(nrow(s)), s$specimen), function(rows) {
  lapply(rows[order(s$step[rows])], function(k) {
    x <- hv[k] + 1.5 * sin(7.3 * k + 2.1 * seq_len(s$readings[k])) + 0.8 * sin(3.7 * k)
    format(round(2 * suppressWarnings(convert_hardness(x, "HV", plan$settings$scale))) / 2, trim = TRUE)
  })
})
furnace <- lapply(split(seq_len(nrow(s)), s$specimen), function(rows) {
  s$furnace_min[rows[order(s$step[rows])]]
})
writeLines(jsonlite::toJSON(list(values = values, furnace_min = furnace), auto_unbox = TRUE, digits = NA),
           file.path(out, "run.json"))
here <- sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE))
system2("node", shQuote(c(file.path(dirname(here), "check-bench.js"), modules, browser, page,
                          file.path(out, "run.json"), out)))
found <- jsonlite::fromJSON(file.path(out, "found.json"))
faults <- as.character(found$faults)
if (length(found$requests)) faults <- c(faults, paste("request:", found$requests))
if (!length(found$par)) faults <- c(faults, "no fit on the page")
if (file.exists(file.path(out, "readings.csv"))) {
  readings <- suppressMessages(read_readings(file.path(out, "readings.csv")))
  fit <- suppressWarnings(fit_softening(readings))
  away <- max(abs(found$par - fit$par) / pmax(1, abs(fit$par)))
  other <- max(abs(found$par_other - fit$par) / pmax(1, abs(fit$par)))
  cat("readings:", nrow(readings), "in", length(unique(paste(readings$specimen, readings$step))), "steps\n")
  cat("largest difference of a parameter, page and R:", away, "; page on another device:", other, "\n")
  if (!(away <= 1e-8) || !(other <= 1e-8)) faults <- c(faults, "the fit of the page is not that of R")
  history <- suppressMessages(read_history(file.path(out, "events.csv")))
  along <- suppressWarnings(fit_softening(readings, history = history))
  print(rbind(holds = coef(fit), along_events = coef(along)), digits = 4)
}
cat(found$fit, "\n", found$advice, "\n", found$saved, "\n", found$told_other, "\n", sep = "\n")
if (exists("fit")) {
  here_ms <- 1000 * min(replicate(5, system.time(for (k in 1:4) fit_softening(readings))[["elapsed"]])) / 4
  cat("quick fit after a reading, shown:", stats::median(found$quick), "ms; whole fit with components:",
      stats::median(found$whole), "ms, in R", round(here_ms, 1), "ms, ratio",
      round(stats::median(found$whole) / here_ms, 2), "\n")
  cat("first paint:", round(found$paint), "ms; page:", found$bytes, "bytes\n")
  if (!(stats::median(found$quick) < 20)) faults <- c(faults, "the quick fit takes 20 ms or more")
  if (!(found$paint < 1000) || !(found$bytes < 5e5)) faults <- c(faults, "the page is slow or large")
}
if (length(faults)) {
  writeLines(c("Faults:", paste(" ", faults)))
  quit(status = 1)
}
cat("The bench page passed; pictures in", out, "\n")
