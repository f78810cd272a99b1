# The C entry points on tiny input: nothing is lost when R collects garbage at every chance, and
# a call of the wrong shape is an error of R, not a crash.

# Calls and functions differ between the two copies of the package; numbers may not.
strip_calls <- function(x) {
  if (!is.list(x)) return(x)
  lapply(unclass(x)[!vapply(x, \(part) is.function(part) || is.language(part), NA)], strip_calls)
}

test_that("results are the same when R collects garbage at every allocation in C", {
  calm <- tiny_calls(asNamespace("softanneal"))
  package <- tortured_package()
  tortured <- tiny_calls(package)
  for (name in names(calm)) {
    before <- package$torture_count
    expect_equal(strip_calls(tortured[[name]]()), strip_calls(calm[[name]]()), tolerance = 0,
                 label = name)
    expect_gt(package$torture_count, before, label = name)
  }
  # every entry point that is registered was among them
  expect_setequal(unique(package$torture_names), names(entry_points()))
})

test_that("entry points refuse arguments of the wrong type or length", {
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
