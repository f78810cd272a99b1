# Archives under bad luck: kills at random moments, several writers, a full and a read-only disk, each
# file damaged in each way. After the same call again the table must be that of an undisturbed run, and
# before it reading must be an error or warn of what is not done. Run by hand, package installed; the
# disks need root and are left out without:
#   Rscript inst/scripts/dev/check-archives.R [KILLS] [SEED]
library(softanneal)
args <- as.integer(c(commandArgs(TRUE), 50L, 1L)[1:2])
if (length(commandArgs(TRUE)) == 1L) args[2L] <- 1L
kills <- args[1L]
set.seed(args[2L])
work <- tempfile("archives")
coils <- file.path(work, "coils")
dir.create(coils, recursive = TRUE)
bell <- as.data.frame(example_data("bellbrass_readings"))
bell <- bell[bell$reading <= 2 & bell$temp_c > 300, ]
for (file in 1:12) {
  rows <- lapply(1:8, function(i) cbind(coil = sprintf("c%02d-%02d", file, i),
                                         transform(bell, hardness = hardness + (file + i) / 100)))
  utils::write.csv(do.call(rbind, rows), file.path(coils, sprintf("%02d.csv", file)), row.names = FALSE)
}
run <- function(out, ...) fit_archive(coils, out, by = "coil", ...)
start <- proc.time()[["elapsed"]]
whole <- as.data.frame(run(file.path(work, "undisturbed")))
lasts <- proc.time()[["elapsed"]] - start
stopifnot(nrow(whole) == 96L)

# What reading says: "whole", "refused" (a classed error), "warned", or "wrong": other groups without
# a word.
reading <- function(out) {
  warned <- FALSE
  table <- tryCatch(withCallingHandlers(as.data.frame(read_archive(out)), softanneal_warning_missing =
    function(w) {
      warned <<- TRUE
      invokeRestart("muffleWarning")
    }), softanneal_error = function(e) NULL)
  if (is.null(table)) "refused" else if (identical(table, whole)) "whole" else
    if (warned) "warned" else "wrong"
}
repaired <- function(out, ...) {
  table <- as.data.frame(run(out, ...))
  again <- as.data.frame(read_archive(out))
  if (identical(table, whole) && identical(again, whole)) "identical" else "differs"
}
count <- function(name, before, after) {
  cat(sprintf("%-42s %4d tries; reading: %s; after the same call: %s\n", name, length(after),
              paste(names(table(before)), table(before), collapse = ", "),
              paste(names(table(after)), table(after), collapse = ", ")))
  bad <<- bad + sum(before == "wrong") + sum(after != "identical")
}
bad <- 0L

before <- after <- character()
for (k in seq_len(kills)) {
  out <- file.path(work, paste0("kill", k))
  job <- parallel::mcparallel(run(out))
  Sys.sleep(stats::runif(1L, 0, 1.1 * lasts))
  tools::pskill(job$pid, tools::SIGKILL)
  suppressWarnings(parallel::mccollect(job))
  before[k] <- if (dir.exists(out)) reading(out) else "refused"
  after[k] <- repaired(out)
  unlink(out, recursive = TRUE)
}
count("killed at a random moment", before, after)

before <- after <- character()
for (k in 1:10) {
  out <- file.path(work, paste0("two", k))
  jobs <- lapply(1:2, function(i) parallel::mcparallel(run(out)))
  parallel::mccollect(jobs)
  before[k] <- reading(out)
  after[k] <- repaired(out)
  unlink(out, recursive = TRUE)
}
count("two writers in one folder", before, after)

before <- after <- character()
out <- file.path(work, "damaged")
invisible(run(out))
bytes <- function(f) readBin(f, "raw", file.size(f))
damages <- list(
  gone = unlink, empty = function(f) close(file(f, "wb")),
  cut = function(f) writeBin(utils::head(bytes(f), -sample(length(bytes(f)) - 1L, 1L)), f),
  bit = function(f) {
    b <- bytes(f)
    at <- sample(length(b), 1L)
    b[at] <- xor(b[at], as.raw(2^sample(0:7, 1L)))
    writeBin(b, f)
  },
  garbage = function(f) writeBin(as.raw(sample(0:255, 500L, TRUE)), f),
  swapped = function(f) {
    other <- sub("[0-9]{6}", sprintf("%06d", sample(12L, 1L)), f)
    if (other != f) file.copy(other, f, overwrite = TRUE)
  })
for (file in list.files(out, full.names = TRUE)) for (damage in names(damages)) {
  kept <- bytes(file)
  damages[[damage]](file)
  if (identical(if (file.exists(file)) bytes(file), kept)) next
  about <- basename(file) == "archive.dcf"
  before <- c(before, reading(out))
  # what the settings were is for a person to say: the file is deleted, as the message asks
  if (about) unlink(file)
  after <- c(after, repaired(out))
}
count("each file damaged in each way", before, after)

if (identical(unname(Sys.info()["effective_user"]), "root") && nzchar(Sys.which("mount"))) {
  disk <- file.path(work, "disk")
  dir.create(disk)
  mount <- function(...) {
    if (system2("mount", c(..., shQuote(disk))) != 0L) stop("no file system can be mounted")
  }
  before <- after <- character()
  for (size in c(16, 32, 48, 64, 80, 100, 120, 140)) {
    mount("-t", "tmpfs", "-o", paste0("size=", size, "k"), "tmpfs")
    out <- file.path(disk, "fits")
    end <- tryCatch({
      run(out)
      "written"
    }, softanneal_error_file = function(e) "refused")
    before <- c(before, if (end == "written") reading(out) else {
      if (file.exists(file.path(out, "archive.dcf"))) reading(out) else "refused"
    })
    mount("-o", "remount,size=20m")
    after <- c(after, repaired(out))
    mount("-o", "remount,ro")
    read <- reading(out)
    unlink(file.path(out, "part-000003.rds"))
    refused <- tryCatch({
      run(out)
      FALSE
    }, softanneal_error_file = function(e) TRUE)
    # all is done already: only the list of parts cannot be written
    if (read != "whole" || !refused) {
      cat("read-only disk:", read, refused, "\n")
      bad <- bad + 1L
    }
    mount("-o", "remount,rw")
    unlink(file.path(out, "part-000003.rds"))
    mount("-o", "remount,ro")
    before <- c(before, reading(out))
    mount("-o", "remount,rw")
    after <- c(after, repaired(out))
    system2("umount", shQuote(disk))
  }
  count("full disk, read-only disk", before, after)
} else cat("full disk: left out, root rights are needed to mount one\n")
unlink(work, recursive = TRUE)
if (bad) stop(bad, " of these are wrong")
cat("Every archive came back identical.\n")
