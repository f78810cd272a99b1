# Called by check-slurm.sh: fits of many groups by jobs of Slurm, of which one is killed on the way, and the
# same in one process. Prints seconds and whether both tables are the same.
library(softanneal)
n <- as.integer(commandArgs(TRUE)[1L])
work <- tempfile("slurm")
data <- file.path(work, "readings")
here <- sub("^--file=", "", grep("^--file=", commandArgs(FALSE), value = TRUE))
source(file.path(dirname(here), "many-groups.R"))
files <- write_many_groups(data, n)
seconds <- function(code) system.time(code)[["elapsed"]]
alone <- seconds(one <- as.data.frame(fit_archive(data, file.path(work, "one"), by = "coil")))
cat(sprintf("one process: %d groups, %.0f s\n", nrow(one), alone))

# jobs by the template of the help page, two at a time; batchtools keeps its files in the work folder
template <- file.path(work, "slurm.tmpl")
writeLines(c("#!/bin/bash", "#SBATCH --job-name=<%= job.name %>", "#SBATCH --output=<%= log.file %>",
             "Rscript -e 'batchtools::doJobCollection(\"<%= uri %>\")'"), template)
setwd(work) # nolint: undesirable_function_linter. A script of its own.
out <- file.path(work, "jobs")
call <- sprintf('library(softanneal)
  future::plan(future.batchtools::batchtools_slurm, template = "%s", workers = 2)
  tryCatch(print(fit_archive("%s", "%s", by = "coil")),
           error = function(e) cat(class(e)[1L], ": ", conditionMessage(e), "\\n", sep = ""))
  cat("ended\\n")', template, data, out)
script <- file.path(work, "call.R")
writeLines(call, script)
rscript <- file.path(R.home("bin"), "Rscript")
done <- function() length(list.files(out, "^part-[0-9]+[.]rds$"))
began <- proc.time()[["elapsed"]]
system2(rscript, script, stdout = "first.log", stderr = "first.log", wait = FALSE)
# once some parts are there, kill the process of one running job
repeat {
  Sys.sleep(0.2)
  running <- system2("squeue", c("-h", "-t", "RUNNING", "-o", "%A"), stdout = TRUE)
  if (done() >= 3L && length(running)) break
  if (proc.time()[["elapsed"]] - began > 600) stop(paste(readLines("first.log"), collapse = "\n"))
}
victim <- running[1L]
system2("scancel", c("--signal=KILL", "--full", victim))
cat("killed job", victim, "with", done(), "parts done\n")
repeat {
  Sys.sleep(0.5)
  said <- readLines("first.log")
  if ("ended" %in% said) break
  if (proc.time()[["elapsed"]] - began > 900) stop("the call does not end")
}
cat("the call said:", said[said != "ended"], sep = "\n  ")
cat(sprintf("%d of %d parts done after %.0f s\n", done(), files, proc.time()[["elapsed"]] - began))
again <- seconds(status <- system2(rscript, script, stdout = "second.log", stderr = "second.log"))
cat(setdiff(readLines("second.log"), "ended"), sep = "\n  ")
two <- as.data.frame(read_archive(out))
cat(sprintf("the same call again: %.0f s, %d groups\n", again, nrow(two)))
same <- identical(one, two)
cat("the table is", if (same) "identical to" else "NOT", "that of one process\n")
quit(status = as.integer(!same))
