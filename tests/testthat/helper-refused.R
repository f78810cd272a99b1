# An error of ours with its class, its words, the argument or column and the rows it names.
expect_refused <- function(object, what, text, arg = NULL, rows = NULL) {
  label <- paste(deparse(substitute(object)), collapse = " ")
  e <- expect_error(object, class = paste0("softanneal_error_", what), label = label)
  if (!inherits(e, "condition")) return(invisible())
  expect_match(conditionMessage(e), text, fixed = TRUE, label = label)
  if (!is.null(arg)) expect_equal(e$arg, arg, label = label)
  if (!is.null(rows)) expect_equal(e$rows, rows, label = label)
  invisible(e)
}

# A warning of ours: class, words, count and rows; what the call returns comes back.
expect_told <- function(object, what, text, n = NULL, rows = NULL) {
  told <- NULL
  value <- withCallingHandlers(object, warning = function(w) {
    if (inherits(w, paste0("softanneal_warning_", what))) {
      told <<- c(told, list(w))
      invokeRestart("muffleWarning")
    }
  })
  expect_length(told, 1L)
  if (length(told) == 0L) return(invisible(value))
  expect_match(conditionMessage(told[[1L]]), text, fixed = TRUE)
  if (!is.null(n)) expect_equal(told[[1L]]$n, n)
  if (!is.null(rows)) expect_equal(told[[1L]]$rows, rows)
  invisible(value)
}
