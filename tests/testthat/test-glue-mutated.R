# Recorded calls of the C entry points with one or two arguments turned to something else: errors of R
# only. By hand many more, under the sanitizers: inst/scripts/dev/check-calls.R.

# All calls are recorded once; `most`: so many of an entry point.
known_calls <- local({
  all <- NULL
  function(most = 4L) {
    if (is.null(all)) all <<- recorded_calls()
    names <- vapply(all, `[[`, "", "name")
    all[stats::ave(seq_along(names), names, FUN = seq_along) <= most]
  }
})

test_that("a mutated call of an entry point is a result or an error of R", {
  skip_on_cran()
  recorded <- known_calls()
  tries <- if (extended_tests()) 20000L else 800L
  ends <- with_test_seed(61, vapply(seq_len(tries), function(k) call_outcome(mutated_call(recorded)), ""))
  expect_true(all(ends %in% c("result", "error")))
  expect_gt(mean(ends == "error"), 0.5)
  expect_gt(mean(ends == "result"), 0.05)
})

test_that("lists that are too short, places out of range and sizes that are none are refused", {
  skip_on_cran()
  call <- function(name, ...) .Call(entry_points()[[name]], ...)
  refused <- function(...) expect_error(call(...), "internal error")
  refused("sa_call_runs", list(c(1, 2, 3)), c(1L, 2L, 99L), 3L)
  refused("sa_call_runs", list(c(1, 2, 3)), c(0L, 2L, 1L), 3L)
  refused("sa_call_runs", 1:3, NULL, 3L)
  refused("sa_call_runs", list(1), NULL, -1L)
  for (one in known_calls(1L)) {
    lists <- which(vapply(one$args, function(a) is.list(a) && length(a) > 1L && !is.data.frame(a), NA))
    # the native symbol is a list itself
    for (k in setdiff(lists, 1L)) {
      args <- one$args
      args[[k]] <- args[[k]][1L]
      # as many as there are
      if (one$name %in% c("sa_call_convert", "sa_call_runs", "sa_call_components_grid")) next
      expect_error(do.call(base::.Call, args, quote = TRUE), "internal error", label = paste(one$name, k))
    }
  }
})

test_that("any place out of order, and any number of no size, ends in a result or an error of R", {
  skip_on_cran()
  recorded <- known_calls(1L)
  kinds <- if (extended_tests()) c("integer", "double") else "integer"
  ends <- character()
  swept_calls(recorded, kinds, function(one) ends[[length(ends) + 1L]] <<- call_outcome(one))
  expect_true(all(ends %in% c("result", "error")))
  expect_gt(mean(ends == "error"), 0.3)
  # a piece up to a temperature without bound would be cut without end
  one <- Filter(function(one) one$name == "sa_call_reduced_time", recorded)[[1L]]
  one$args[[2L]]$temp_c[length(one$args[[2L]]$temp_c)] <- Inf
  expect_identical(call_outcome(one), "result")
})

test_that("an order that names a place twice, and cuts that leave something out, are refused", {
  skip_on_cran()
  calls <- known_calls(1L)
  known <- vapply(calls, `[[`, "", "name")
  refused <- function(name, change, words) {
    args <- change(calls[[match(name, known)]]$args)
    expect_error(do.call(base::.Call, args, quote = TRUE), words, label = name)
  }
  refused("sa_call_mixed", function(args) {
    args[[6L]][[1L]][2L] <- args[[6L]][[1L]][1L]
    args
  }, "'row' names a place twice")
  refused("sa_call_mixed", function(args) {
    args[[6L]][[4L]][1L] <- 1L
    args
  }, "'first' does not cover all")
  refused("sa_call_softening", function(args) {
    args[[2L]]$order[2L] <- args[[2L]]$order[1L]
    args
  }, "'order' names a place twice")
})
