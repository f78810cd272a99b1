# The main job: from a file of hardness readings to softening curves with their kinetics.
#   Rscript main.R READINGS OUT_DIR [--model=jmak] [--scale=HV] [--material=brass] [--overwrite]
#           [--specimen=NAME] [--reading_scale=HRF] [--columns=hardness:value,time_h:duration]
#           [--readings=r] [--sheet=2] [--times=step] [--sep=;] [--dec=,] [--encoding=latin1]
#           [--skip=1] [--na=x|-] [--temp_c=330] [--time_min=0]
# The options of the second line and below are those of read_readings(); "tab" is a tab.
# Leaves in OUT_DIR: coefficients.csv, half_softening.csv, models.csv, softening.png,
# avrami.png, arrhenius.png and report.html.

usage <- paste("Usage: Rscript main.R READINGS OUT_DIR [--model=NAME] [--scale=HV]",
               "[--material=brass] [--overwrite] and the arguments of read_readings():",
               "[--specimen=NAME] [--reading_scale=HRF] [--columns=hardness:value,time_h:duration]",
               "[--readings=r] [--sheet=2] [--times=step] [--sep=;] [--dec=,] [--encoding=latin1]",
               "[--skip=1] [--na=x|-] [--temp_c=330] [--time_min=0]")
args <- commandArgs(trailingOnly = TRUE)
options_given <- grepl("^--", args)
option <- function(name, default = NULL) {
  hit <- grep(paste0("^--", name, "="), args, value = TRUE)
  if (length(hit)) sub("^[^=]*=", "", hit[1L]) else default
}
paths <- args[!options_given]
reading <- c("specimen", "reading_scale", "columns", "readings", "sheet", "times", "sep", "dec",
             "encoding", "skip", "na", "temp_c", "time_min")
known <- grepl(paste0("^--(", paste(c("model", "scale", "material", reading), collapse = "|"),
                      ")=|^--overwrite$"), args[options_given])
if (length(paths) != 2L || !all(known)) {
  message(usage)
  quit(status = 2L)
}
# Texts of the command line as read_readings() takes them.
as_argument <- function(name, text) {
  pieces <- strsplit(text, ",", fixed = TRUE)[[1L]]
  number <- suppressWarnings(as.numeric(text))
  switch(name,
         columns = stats::setNames(sub("^[^:]*:", "", pieces), sub(":.*", "", pieces)),
         readings = pieces, na = c("", strsplit(text, "|", fixed = TRUE)[[1L]]),
         sep = if (text == "tab") "\t" else text,
         skip = , temp_c = , time_min = number, sheet = if (is.na(number)) text else number, text)
}
values <- Filter(Negate(is.null), lapply(stats::setNames(nm = reading), option))
values <- Map(as_argument, names(values), values)
suppressPackageStartupMessages(library(softanneal))

run <- function() {
  out_dir <- paths[2L]
  # what the fit warns of stands in the summary and in the report
  withCallingHandlers(
    do.call(softening_report, c(
      list(paths[1L], out_dir, model = option("model", "jmak"), scale = option("scale", "HV"),
           material = option("material", "brass"), overwrite = "--overwrite" %in% args), values)),
    softanneal_warning_fit = function(w) invokeRestart("muffleWarning"))
}

result <- tryCatch(run(), error = function(e) {
  message("This could not be done: ", conditionMessage(e))
  quit(status = 1L)
})
print(result)
