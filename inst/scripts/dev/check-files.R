# Every function that writes, into a folder where it may not or where the disk fills up; called by
# check-files.sh:  Rscript check-files.R FOLDER full|locked
# On the small disk the free space grows step by step, so that the end comes at another place of
# each file. What is left must be whole, with the name it was to have.
library(softanneal)
args <- commandArgs(TRUE)
folder <- args[1L]
locked <- args[2L] == "locked"

here <- tempfile("check-files")
dir.create(file.path(here, "coils"), recursive = TRUE)
bench <- suppressMessages(read_readings(
  system.file("extdata", "bellbrass_readings.csv", package = "softanneal")))
class <- simulate_class(4, seed = 20, temp_c = c(290, 310, 330, 350, 370, 390, 410))
coils <- file.path(here, "coils")
bell <- as.data.frame(bench)
bell <- bell[bell$reading <= 2, ]
utils::write.csv(do.call(rbind, lapply(1:40, function(i) cbind(coil = sprintf("c%02d", i), bell))),
                 file.path(coils, "a.csv"), row.names = FALSE)
plan <- suppressWarnings(plan_anneal(c(290, 330), c(8, 16), n_readings = 4,
                                     guess = plan_guess("C26000", recryst_1h_c = 330, draws = 8)))
archive <- function(format) function(to) {
  fit_archive(coils, file.path(to, "fits"), by = "coil", format = format)
}
writers <- list(
  write_class = function(to) write_class(class, to, overwrite = TRUE),
  softening_report = function(to) softening_report(bench, to, overwrite = TRUE),
  lab_project = function(to) lab_project(file.path(to, "project")),
  new_report = function(to) softanneal:::new_report(file.path(to, "report", "report.Rmd")),
  fit_archive_rds = archive("rds"), fit_archive_csv = archive("csv"),
  fit_archive_parquet = archive("parquet"),
  explore_page = function(to) {
    explore_page(fit_softening(bench), file.path(to, "explore.html"), overwrite = TRUE)
  },
  bench_sheet = function(to) bench_sheet(plan, file.path(to, "sheet.html"), overwrite = TRUE))

# What the same call writes where there is room: the files left must be among these, byte by
# byte; plots and HTML may differ by a time, so there size within 1 %.
written_by <- function(writer) {
  good <- tempfile("good", here)
  dir.create(good)
  end <- tryCatch({
    writer(good)
    ""
  }, softanneal_error_package = conditionMessage)
  if (nzchar(end)) NULL else good
}
files_of <- function(top) list.files(top, recursive = TRUE, all.files = TRUE)
left_whole <- function(left, good) {
  vapply(left, function(file) {
    if (!file.exists(file.path(good, file))) return(FALSE)
    sizes <- file.size(file.path(c(folder, good), file))
    if (grepl("(png|html)$", file)) return(abs(sizes[1L] / sizes[2L] - 1) < 0.01)
    sizes[1L] == sizes[2L]
  }, NA)
}

ballast <- file.path(folder, "ballast")
fill <- function(free_kb) {
  size <- 4000 - free_kb # of the disk made by check-files.sh
  writeBin(raw(size * 1024), ballast)
}
steps <- if (locked) NA else c(0, 4, 8, 12, 20, 28, 40, 60, 90, 130, 180, 250, 330, 600, 1500, 3500)
for (name in names(writers)) {
  good <- written_by(writers[[name]])
  if (is.null(good)) {
    cat(name, ": left out, a package is missing\n", sep = "")
    next
  }
  refused <- 0L
  for (free in steps) {
    if (!locked) fill(free)
    kept <- files_of(folder)
    end <- tryCatch({
      writers[[name]](folder)
      "written"
    },
                    softanneal_error_file = function(e) conditionMessage(e))
    left <- setdiff(files_of(folder), kept)
    bad <- left[!left_whole(left, good)]
    if (length(bad)) stop(name, " with ", free, " KB free left ", paste(bad, collapse = ", "))
    if (identical(end, "written")) {
      if (locked || free == 0) stop(name, " says it has written where nothing fits")
      gone <- setdiff(files_of(good), left)
      if (length(gone)) stop(name, " did not write ", paste(gone, collapse = ", "))
    } else {
      refused <- refused + 1L
      if (refused == 1L) cat(name, ": ", end, "\n", sep = "")
    }
    unlink(file.path(folder, setdiff(list.files(folder), "ballast")), recursive = TRUE)
    if (identical(end, "written")) break
  }
  if (!locked) {
    cat("  refused ", refused, " times, ",
        if (identical(end, "written")) paste("written with", free, "KB free") else "never written",
        "\n", sep = "")
  }
  unlink(good, recursive = TRUE)
}
unlink(here, recursive = TRUE)
