# The main job: from a file of hardness readings to softening curves with their kinetics.
#   Rscript main.R READINGS.csv OUT_DIR [--model=jmak] [--scale=HV] [--material=brass]
#           [--specimen=NAME] [--overwrite]
# Leaves in OUT_DIR: coefficients.csv, half_softening.csv, models.csv, softening.png,
# avrami.png, arrhenius.png and report.html.

usage <- paste("Usage: Rscript main.R READINGS.csv OUT_DIR [--model=NAME] [--scale=HV]",
               "[--material=brass] [--specimen=NAME] [--overwrite]")
args <- commandArgs(trailingOnly = TRUE)
options_given <- grepl("^--", args)
option <- function(name, default = NULL) {
  hit <- grep(paste0("^--", name, "="), args, value = TRUE)
  if (length(hit)) sub("^[^=]*=", "", hit[1L]) else default
}
paths <- args[!options_given]
known <- grepl("^--(model|scale|material|specimen)=|^--overwrite$", args[options_given])
if (length(paths) != 2L || !all(known)) {
  message(usage)
  quit(status = 2L)
}
suppressPackageStartupMessages(library(softanneal))

run <- function() {
  out_dir <- paths[2L]
  files <- file.path(out_dir, c("coefficients.csv", "half_softening.csv", "models.csv",
                                "softening.png", "avrami.png", "arrhenius.png", "report.html"))
  if (any(file.exists(files)) && !"--overwrite" %in% args) {
    stop("There are results in ", out_dir, " already; give --overwrite, or another folder.")
  }
  dir.create(out_dir, recursive = TRUE, showWarnings = FALSE)
  softanneal::softening_report(
    paths[1L], out_dir, model = option("model", "jmak"), scale = option("scale", "HV"),
    material = option("material", "brass"), specimen = option("specimen"), overwrite = TRUE)
}

result <- tryCatch(run(), error = function(e) {
  message("This could not be done: ", conditionMessage(e))
  quit(status = 1L)
})
print(result)
