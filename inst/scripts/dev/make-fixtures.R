# Makes the saved objects of tests/testthat/fixtures: one of every result class, as this version
# makes them, and what their methods answer. Run it in the top folder of the sources, with the
# package installed, when a class is new; an object of an older version stays as it is, since
# the test is that later versions still read it:
#   Rscript inst/scripts/dev/make-fixtures.R [names of objects]
library(softanneal)

folder <- file.path("tests", "testthat")
fixtures <- file.path(folder, "fixtures")
tools <- new.env(parent = asNamespace("softanneal"))
for (file in c("helper-exact.R", "helper-readings.R", "helper-history.R", "helper-objects.R")) {
  sys.source(file.path(folder, file), tools)
}

dir.create(fixtures, showWarnings = FALSE)
objects <- tools$result_objects()
wanted <- commandArgs(trailingOnly = TRUE)
if (!length(wanted)) {
  wanted <- setdiff(names(objects), sub("[.]rds$", "", list.files(fixtures, "[.]rds$")))
}
for (name in wanted) {
  object <- objects[[name]]
  saveRDS(list(object = object, answers = tools$object_answers(object)),
          file.path(fixtures, paste0(name, ".rds")), version = 3, compress = "xz")
}
size <- sum(file.size(list.files(fixtures, full.names = TRUE)))
cat(length(wanted), "objects saved; all fixtures together", round(size / 1000), "kB\n")
