# The compiled code of the pages in a JavaScript engine against the same in R: fit with components of error,
# fit with errors by specimen and step from nothing and from the last minimum, band of a curve, advice.
# In the browser itself: inst/scripts/dev/check-bench.R.
#   Rscript inst/benchmarks/pages.R   (with softanneal, jsonlite and node installed)
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
