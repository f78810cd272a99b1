# All comparisons with other software, each in a session of its own, under the machine and the
# versions they were made with. Only ratios within one run mean anything.
#   Rscript inst/benchmarks/run.R [most groups of the scaling series]
given <- commandArgs(trailingOnly = TRUE)
here <- commandArgs(FALSE)
here <- dirname(sub("^--file=", "", grep("^--file=", here, value = TRUE)[1L]))

processor <- tryCatch(sub(".*: *", "", grep("model name", readLines("/proc/cpuinfo"), value = TRUE)[1L]),
                      error = function(e) Sys.info()[["machine"]], warning = function(w) "unknown")
cat("Processor ", processor, ", ", parallel::detectCores(), " cores; ", R.version.string, "; ",
    utils::sessionInfo()$running, "\n", sep = "")
for (package in c("softanneal", "minpack.lm", "gslnls", "boot", "deSolve")) {
  if (requireNamespace(package, quietly = TRUE)) {
    cat(package, as.character(utils::packageVersion(package)), "  ")
  }
}
cat("\nLoad before:", tryCatch(readLines("/proc/loadavg")[1L], error = function(e) "unknown",
                              warning = function(w) "unknown"), "\n")

rscript <- file.path(R.home("bin"), "Rscript")
for (script in c("fit.R", "each.R", "history.R", "conversion.R", if (nzchar(Sys.which("node"))) "pages.R")) {
  cat("\n== ", script, "\n", sep = "")
  status <- system2(rscript, c(shQuote(file.path(here, script)), if (script == "each.R") given))
  if (status != 0L) cat(script, "ended with status", status, "\n")
}

# library(softanneal) beyond an empty session, and whether it loads ggplot2
cat("\n== loading\n")
clock <- function(code) {
  system.time(system2(rscript, c("-e", shQuote(code)), stdout = FALSE, stderr = FALSE))[["elapsed"]]
}
times <- replicate(9L, c(clock("1"), clock("suppressWarnings(library(softanneal))")))
cat(sprintf("library(softanneal): %.0f ms beyond an empty session (least of 9)\n",
            1e3 * (min(times[2L, ]) - min(times[1L, ]))))
system2(rscript, c("-e", shQuote(paste(
  "library(softanneal); cat('ggplot2 loaded by library():', isNamespaceLoaded('ggplot2'), '\\n')"))))
