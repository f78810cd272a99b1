# The lowest sums of squares that random starts find, by the solver of fit_each(); sourced by the benchmarks
# that compare fits with them.

inside <- asNamespace("softanneal")

quiet <- function(code) {
  suppressWarnings(code, classes = c("softanneal_warning_fit", "softanneal_warning_missing",
                                     "softanneal_warning_assumption"))
}

# For each set of `d` (column `set`); `each`: its fit_each(); `draw`: makes a start. One parameter may be
# held.
lowest_sums <- function(d, each, starts, draw, held = NULL, value = NULL) {
  columns <- list(time = "time_min", temp = "temp_c", hardness = "hardness", scale = "scale",
                  specimen = "specimen")
  set <- each$set
  set$infer <- FALSE
  set$use_start <- TRUE
  ready <- inside$each_data(d, "set", columns, set, NULL)
  hold <- match(held, set$terms)
  set$held[hold] <- TRUE
  best <- rep(Inf, length(each))
  for (k in seq_len(starts)) {
    set$start <- unname(draw())
    set$start[hold] <- value
    r <- inside$run_batch(ready, set, 1L)
    best <- pmin(best, r$sums[1L, ] + r$sums[2L, ], na.rm = TRUE)
  }
  best
}
