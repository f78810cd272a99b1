# A saved object that is not as the package makes it: a result, or a classed error that names the field.

test_that("objects of every class agree with the table of their fields", {
  for (x in saved_objects()) expect_null(object_fault(x), label = class(x)[1L])
})

test_that("a tampered object gives a result or a classed error", {
  grDevices::pdf(NULL)
  on.exit(grDevices::dev.off())
  tries <- as.integer(Sys.getenv("SOFTANNEAL_TAMPERED_ROUNDS", if (extended_tests()) "5000" else "200"))
  objects <- saved_objects()
  methods <- setdiff(c(NUMBER_METHODS, WORD_METHODS, "plot"), c("family", "autoplot"))
  ends <- with_test_seed(71, vapply(seq_len(tries), function(k) tampered_end(objects, methods), ""))
  found <- ends[!ends %in% c("result", "refused")]
  # where the table of fields cannot tell the damage, the error of R stays as it is
  expect_lt(length(found), 0.02 * tries, label = paste(found, collapse = "\n"))
  expect_gt(sum(ends == "refused"), tries / 50)
})

test_that("the error names the field, and a fault of the package is not put on a sound object", {
  fit <- readRDS(test_path("fixtures", "fit_softening.rds"))
  if (is.null(attr(fit, "class"))) fit <- fit$object
  for (field in c("vcov", "par", "conditions")) {
    bad <- fit
    bad[[field]] <- NULL
    e <- expect_error(summary(bad), class = "softanneal_error_object")
    expect_match(conditionMessage(e), paste0("`", field))
    expect_identical(e$arg, field)
  }
  expect_null(blame_object(simpleError("a fault"), fit))
  bad <- fit
  bad$residuals <- bad$residuals[-1L]
  expect_match(object_fault(bad), "residuals|must have the length", all = FALSE)
  expect_null(object_fault(data.frame(a = 1)))
})
