# The C entry points on tiny input: nothing is lost when R collects garbage at every chance, and
# a call of the wrong shape is an error of R, not a crash.

# Calls and functions differ between the two copies of the package; numbers may not.
strip_calls <- function(x) {
  if (!is.list(x)) return(x)
  lapply(unclass(x)[!vapply(x, \(part) is.function(part) || is.language(part), NA)], strip_calls)
}

# What the tiny calls give under torture. Each collection goes through all that R holds: where that is
# much, as late in a run of all tests, it is done in a new R with the package alone. Sanitizers and
# valgrind, which run this file for itself, see it in their own process.
tortured_results <- function() {
  package <- tortured_package()
  lapply(tiny_calls(package), function(call) {
    before <- package$torture_count
    result <- strip_calls(call())
    list(result = result, calls = package$torture_count - before, names = unique(package$torture_names))
  })
}

tortured_elsewhere <- function(library) {
  out <- withr::local_tempfile(fileext = ".rds")
  script <- withr::local_tempfile(fileext = ".R")
  text <- function(x) encodeString(x, quote = "\"")
  helpers <- normalizePath(test_path(c("helper-readings.R", "helper-copied.R", "helper-calls.R")), "/")
  writeLines(c(paste0(".libPaths(c(", text(library), ", .libPaths()))"),
               "tools <- new.env(parent = asNamespace(\"softanneal\"))",
               paste0("sys.source(", text(helpers), ", tools)"),
               "tools$strip_calls <-", deparse(strip_calls), "tools$tortured_results <-",
               deparse(tortured_results), "for (f in c(\"strip_calls\", \"tortured_results\")) {",
               "  environment(tools[[f]]) <- tools", "}",
               paste0("saveRDS(tools$tortured_results(), ", text(out), ")")), script)
  status <- system2(file.path(R.home("bin"), "Rscript"), c("--vanilla", shQuote(script)))
  expect_identical(status, 0L)
  readRDS(out)
}

test_that("results are the same when R collects garbage at every allocation in C", {
  skip_on_cran()
  calm <- tiny_calls(asNamespace("softanneal"))
  library <- installed_at()
  elsewhere <- isNamespaceLoaded("ggplot2") && !is.null(library)
  tortured <- if (elsewhere) tortured_elsewhere(library) else tortured_results()
  for (name in names(calm)) {
    expect_equal(tortured[[name]]$result, strip_calls(calm[[name]]()), tolerance = 0, label = name)
    expect_gt(tortured[[name]]$calls, 0L, label = name)
  }
  # every entry point that is registered was among them
  expect_setequal(unlist(lapply(tortured, `[[`, "names")), names(entry_points()))
})

test_that("entry points refuse arguments of the wrong type or length", {
  skip_on_cran()
  odd <- list(NULL, character(), "a", list(), 1i, 1:3, numeric(), TRUE)
  points <- entry_points()
  expect_gt(length(points), 8L)
  expect_lte(max(vapply(points, `[[`, 1L, "numParameters")), 8L) # more go in by name
  for (name in names(points)) {
    for (value in odd) {
      args <- rep(list(value), points[[name]]$numParameters)
      out <- tryCatch({
        do.call(.Call, c(list(points[[name]]), args))
        "result"
      }, error = function(e) "error")
      expect_true(out %in% c("result", "error"), label = paste(name, typeof(value)))
    }
  }
})
