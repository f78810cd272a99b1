# The compiled code of the pages in a JavaScript engine against the same in R: fit with components of error,
# fit with errors by specimen and step from nothing and from the last minimum, band of a curve; then the pages
# in Chromium (pages-browser.js): first paint, size, fits, how long a tap is held up, eight clocks over 8 h.
#   Rscript inst/benchmarks/pages.R [MODULES]   (with softanneal, jsonlite and node installed; the second part
#   needs Chromium, and npm or the folder of modules where puppeteer-core is)
library(softanneal)
stopifnot(requireNamespace("jsonlite", quietly = TRUE), nzchar(Sys.which("node")))

steps <- expand.grid(time_min = c(0, 2^(0:6)), temp_c = c(330, 360, 390), reading = 1:5)
par <- c(h_worked = 158, h_soft = 76, ln_k_ref = -1.2, n = 1.5, q_kj_mol = 150)
readings <- steps
readings$specimen <- paste0("P", steps$temp_c)
readings$furnace <- paste("furnace", steps$temp_c)
readings$hardness <- vapply(seq_len(nrow(steps)), function(i) {
  if (steps$time_min[i] == 0) return(par[["h_worked"]])
  soften(data.frame(time_s = c(0, 60 * steps$time_min[i]), temp_c = steps$temp_c[i]), par, model = "jmak",
         temp_ref_c = 360)$hardness[2L]
}, 0)
step <- match(paste(steps$temp_c, steps$time_min), unique(paste(steps$temp_c, steps$time_min)))
readings$hardness <- readings$hardness + 1.5 * sin(7.3 * seq_len(nrow(steps))) + 0.5 * sin(1 + 3 * step)
readings$scale <- "HV"

best <- function(code, n = 9L) min(vapply(seq_len(n), function(k) system.time(code())[["elapsed"]], 0)) * 1e3
grid <- data.frame(temp_c = 360, time_min = exp(seq(0, 4, length.out = 21)))
fit <- fit_softening(readings)
here <- c(components = best(function() fit_softening(readings)),
          cluster = best(function() fit_softening(readings, se = "cluster")),
          band = best(function() predict(fit, grid, interval = "confidence")))

folder <- system.file("pages", package = "softanneal", mustWork = TRUE)
work <- tempfile("pages-")
dir.create(work)
writeLines(jsonlite::toJSON(readings[c("temp_c", "time_min", "hardness", "specimen", "furnace")],
                            dataframe = "columns", digits = NA), file.path(work, "data.json"))
writeLines(c(
  "const [folder, file] = process.argv.slice(2), fs = require('fs');",
  "require(folder + '/core-api.js').load(require(folder + '/core.js')).then((api) => {",
  "  const d = JSON.parse(fs.readFileSync(file)), out = {};",
  "  const best = (f) => { let low = Infinity;",
  "    for (let k = 0; k < 15; k++) { const a = performance.now(); f();",
  "    low = Math.min(low, performance.now() - a); } return low; };",
  "  const whole = api.fit(d, {model: 'jmak'}), start = {};",
  "  whole.terms.forEach((t, j) => { start[t] = whole.par[j]; });",
  "  const grid = Array.from({length: 21}, (_, i) => Math.exp(i / 5));",
  "  out.components = best(() => api.fit(d, {model: 'jmak'}));",
  "  out.cluster = best(() => api.fit(d, {model: 'jmak', se: 'cluster'}));",
  "  out.last = best(() => api.fit(d, {model: 'jmak', se: 'cluster', start}));",
  "  out.band = best(() => api.predict(whole, 360, grid, {}));",
  "  out.par = whole.par;",
  "  console.log(JSON.stringify(out));",
  "});"), file.path(work, "time.js"))
there <- jsonlite::fromJSON(system2("node", shQuote(c(file.path(work, "time.js"), folder,
                                                      file.path(work, "data.json"))), stdout = TRUE))
stopifnot(max(abs(there$par - coef(fit)) / abs(coef(fit))) < 1e-8)
for (what in names(here)) {
  cat(sprintf("%-10s in R %6.1f ms, in node %6.1f ms: %.2f times\n", what, here[[what]], there[[what]],
              there[[what]] / here[[what]]))
}
cat(sprintf("fit from the last minimum in node: %.1f ms\n", there$last))

# ---- in the browser ----

browser <- Sys.which(c("chromium", "chromium-browser", "google-chrome"))
browser <- browser[nzchar(browser)][1L]
if (is.na(browser)) {
  cat("No Chromium here: the pages themselves were not timed.\n")
  quit()
}
modules <- commandArgs(TRUE)[1L]
if (is.na(modules)) {
  if (system2("npm", c("install", "--silent", "--no-audit", "--no-fund", "--prefix", shQuote(work),
                       "puppeteer-core@22")) != 0L) stop("npm could not install what is needed")
  modules <- file.path(work, "node_modules")
}
page <- function(name) file.path(work, paste0(name, ".html"))
plan <- suppressWarnings(plan_anneal(c(330, 360, 390), c(1, 2, 4, 8, 16, 32, 64),
                                     plan_guess(recryst_1h_c = 370), n_readings = 5, scale = "HV5",
                                     session_min = 1400, furnaces = 3))
bench_page(plan, page("bench"))
explore_page(fit, page("explore"))
practice_page(class_design(), 1, page("practice"), seed = 20)
bench_page(suppressWarnings(plan_anneal(seq(300, 370, by = 10), 480, plan_guess(recryst_1h_c = 330),
                                        n_readings = 2, furnaces = 8, session_min = 1400, baseline = FALSE)),
           page("clock"))

# the same readings as files of that run: each step its time and the allowance of the plan long
s <- plan$steps
stopifnot(nrow(s) * 5L == nrow(readings))
at <- as.POSIXct("2026-11-30 08:00:00", tz = "UTC") + seq(0, by = 7200, length.out = nrow(s))
stamp <- function(t) format(round(t), "%Y-%m-%dT%H:%M:%SZ", tz = "UTC")
hot <- which(s$step > 0)
acts <- data.frame(specimen = rep(s$specimen[hot], 3L),
                   event = paste(rep(c("in", "out", "cold"), each = length(hot)), s$step[hot]),
                   time = stamp(c(at[hot], at[hot] + 60 * s$furnace_min[hot],
                                  at[hot] + 60 * (s$furnace_min[hot] + 10))))
acts$entered <- acts$time
acts$entry <- sprintf("n%012x", seq_len(nrow(acts)))
rows <- rep(seq_len(nrow(s)), each = 5L)
value <- unlist(lapply(seq_len(nrow(s)), function(k) {
  own <- readings$temp_c == s$temp_c[k] & readings$time_min == s$time_min[k]
  round(readings$hardness[own], 1)
}))
typed <- data.frame(specimen = s$specimen[rows], step = s$step[rows], hardness = value, scale = "HV5",
                    entered = stamp(at[rows] + 60 * (s$furnace_min[rows] + 20) + 30 * rep(1:5, nrow(s))),
                    entry = sprintf("nf%011x", seq_along(rows)))
write.csv(acts, file.path(work, "events.csv"), row.names = FALSE)
write.csv(typed, file.path(work, "readings.csv"), row.names = FALSE)
script <- sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE))
arguments <- c(file.path(dirname(script), "pages-browser.js"), modules, browser, work)
if (system2("node", shQuote(arguments)) != 0L) stop("the browser did not finish")
there <- jsonlite::fromJSON(file.path(work, "found.json"))
for (name in names(there$pages)) {
  cat(sprintf("%-8s page: %.0f kB, first paint %.0f ms\n", name, there$pages[[name]]$bytes / 1e3,
              there$pages[[name]]$paint))
}
cat(sprintf("full fit in the page %.0f ms, in R %.0f ms: %.2f times; quick fit and picture after a tap ",
            there$full, here[["components"]], there$full / here[["components"]]),
    sprintf("%.1f ms\n", there$quick), sep = "")
cat(sprintf("longest time for which a tap was held up: %.0f ms (middle %.0f; 0: below 50)\n", there$held$most,
            there$held$middle))
clock <- there$clock
cat(sprintf("%d pieces over %.2f h of the clock: away from the time by %.2f s at first, %.2f s in the end, ",
            clock$pieces, clock$hours, clock$first, clock$last),
    sprintf("%.2f s at most\n", clock$most), sep = "")
cat("at each full hour:", sprintf("%.2f", clock$hourly), "s\n")
cat("minutes from in to out in the record:", format(clock$held_min), "\n")
stopifnot(clock$pieces == 8L, clock$hours >= 8, clock$most < 1.6)
