# A saved object that is not as the package makes it: a result, or a classed error that names the field.

test_that("objects of every class agree with the table of their fields", {
  for (x in c(saved_objects(), result_objects())) {
    if (is.list(x)) expect_no_error(check_object(x, near = TRUE))
  }
})

test_that("a tampered object gives its result or a classed error", {
  grDevices::pdf(NULL)
  on.exit(grDevices::dev.off())
  tries <- as.integer(Sys.getenv("SOFTANNEAL_TAMPERED_ROUNDS", if (extended_tests()) "5000" else "200"))
  seed <- as.integer(Sys.getenv("SOFTANNEAL_TAMPERED_SEED", "71"))
  objects <- saved_objects()
  methods <- setdiff(c(NUMBER_METHODS, WORD_METHODS, "plot"), c("family", "autoplot"))
  ends <- with_test_seed(seed, vapply(seq_len(tries), function(k) tampered_end(objects, methods), ""))
  found <- ends[!ends %in% c("result", "refused")]
  expect_identical(found, character(), label = paste(found, collapse = "\n"))
  expect_gt(sum(ends == "refused"), tries / 4)
})

test_that("the error names the field and comes before anything is computed", {
  fit <- read_saved(test_path("fixtures", "fit_softening.rds"))$object
  for (field in c("vcov", "par", "conditions")) {
    bad <- fit
    bad[[field]] <- NULL
    for (use in list(summary, coef, time_to, plot_avrami)) {
      e <- expect_error(use(bad), class = "softanneal_error_object")
      expect_match(conditionMessage(e), paste0("`", field, "` is missing"), fixed = TRUE)
      expect_identical(e$arg, field)
    }
  }
  altered <- list(residuals = fit$residuals[-1L], sigma = "2", df.residual = c(1, 2), states = character())
  for (field in names(altered)) {
    bad <- fit
    bad[field] <- altered[field]
    e <- expect_error(stats::coef(bad), class = "softanneal_error_object")
    expect_identical(e$arg, field)
  }
  bad <- fit
  bad$settings$set$start <- bad$settings$set$start[-1L]
  expect_error(print(bad), "`settings$set$start` must have the length", fixed = TRUE,
               class = "softanneal_error_object")
  # values that another fit may have are blamed only where they end in an error of R
  bad <- fit
  bad$settings$set$terms[] <- "none"
  e <- tryCatch(predict(bad, data.frame(temp_c = 330, time_min = 4)), error = identity)
  expect_true(is.numeric(e) || inherits(e, "softanneal_error"))
})

test_that("an error in what the caller wrote names the function called", {
  for (f in c("time_to", "fit_softening", "fit_each", "rates")) {
    call <- as.call(list(as.name(f), as.name("no_such_thing")))
    e <- tryCatch(eval(call, asNamespace("softanneal")), error = identity)
    expect_identical(conditionCall(e), call)
    expect_false(inherits(e, "softanneal_error"))
  }
})

test_that("keys without columns and columns without names are told where they end in an error", {
  fits <- read_saved(test_path("fixtures", "fit_each.rds"))$object
  fits$keys <- fits$keys[0L]
  expect_error(check_object(fits, near = TRUE), "`keys` must have columns", class = "softanneal_error_object")
  line <- read_saved(test_path("fixtures", "fit_hall_petch.rds"))$object
  line$columns <- unname(line$columns)
  expect_error(print(line), "`columns` must have names", class = "softanneal_error_object")
  line$columns <- c(response = "hardness")
  expect_error(check_object(line, near = TRUE), "`columns` must have length 2, not 1",
               class = "softanneal_error_object")
})

test_that("a growth law with two fixed numbers is sound", {
  growth <- utils::read.csv(extdata("grain_bellbrass_growth.csv"))
  fit <- suppressWarnings(fit_grain_growth(growth, d0_mm = 0.009, m = 2))
  expect_length(fit$fixed, 2L)
  expect_no_error(check_object(fit, near = TRUE))
})

test_that("a part of a table is shown as it is, a broken one is refused", {
  readings <- bell_readings()
  expect_output(print(readings[1:3]), "temp_c")
  readings$note <- "seen"
  expect_output(print(readings), "specimen")
  broken <- unclass(readings)
  broken$temp_c <- broken$temp_c[-1L]
  class(broken) <- class(readings)
  expect_error(print(broken), "`temp_c` must have one value per row", fixed = TRUE,
               class = "softanneal_error_object")
})

test_that("a fault of the package is not put on a sound object", {
  fit <- read_saved(test_path("fixtures", "fit_softening.rds"))$object
  expect_error(guarded(fit, stop("a fault"), FALSE), "^a fault$")
  expect_length(objects_held$places, 0L)
  expect_identical(check_object(data.frame(a = 1)), data.frame(a = 1))
})

test_that("an argument that is not given is told by name", {
  calls <- valid_calls()
  ours <- asNamespace("softanneal")
  for (name in intersect(names(calls), ls(ours))) {
    args <- named_arguments(name, calls[[name]])
    for (arg in needed_arguments(get(name, ours))) {
      e <- tryCatch(do.call(name, args[setdiff(names(args), arg)]), error = identity)
      expect_s3_class(e, "softanneal_error_argument")
      expect_identical(e$arg, arg, label = paste0(name, "(", arg, ")"))
    }
  }
  e <- expect_error(time_to(), class = "softanneal_error_argument")
  expect_match(conditionMessage(e), "`fit` is missing. Give it: it has no default.", fixed = TRUE)
})

test_that("how any fit can end is in the table, so that none is taken for altered", {
  table <- fact_table("object_fields.csv")
  values <- table$values[table$field == "convergence$end" & !is.na(table$values)]
  expect_gt(length(values), 5L)
  for (v in strsplit(values, "|", fixed = TRUE)) expect_identical(setdiff(register()$ends, v), character())
})
