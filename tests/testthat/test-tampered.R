# A saved object that is not as the package makes it: a result, or a classed error that names the field.

test_that("objects of every class agree with the table of their fields", {
  skip_on_cran()
  for (x in c(saved_objects(), result_objects())) {
    if (is.list(x)) expect_no_error(check_object(x, near = TRUE))
  }
})

test_that("an error that is not of a sound object is not put down to it", {
  bell <- as.data.frame(example_data("bellbrass_readings"))
  one <- suppressWarnings(fit_softening(bell[bell$temp_c %in% c(0, 330), ], se = "steps", loss = "huber"))
  own <- suppressWarnings(fit_each(rbind(cbind(lot = "A", bell), cbind(lot = "few", bell[1:3, ])), by = lot))
  named <- fit_each(transform(bell[bell$scale == "HRF", ], lot = 1, mins = time_min), by = lot, time = mins)
  more <- suppressWarnings(fit_softening(bell, "hardening_recovery_jmak", se = "model"))
  sound <- list(one, own, named, more, identifiability(more))
  for (x in sound) expect_no_error(check_object(x, near = TRUE))
  # a slip in the call, an error in a function of the user, and one in neither
  expect_error(predict(one, not_there), "^object 'not_there' not found$")
  expect_error(tidy(one, conf.int = not_there(1)), "could not find function \"not_there\"", fixed = TRUE)
  bad <- one
  bad$residuals[1L] <- 1e300
  theirs <- rlang::new_function(NULL, quote(stop("of theirs")), globalenv())
  expect_error(predict(bad, theirs()), "^of theirs$")
  e <- expect_error(guarded(bad, log("a"), FALSE), class = "softanneal_error_object")
  expect_match(conditionMessage(e), "(R met: non-numeric argument to mathematical function)", fixed = TRUE)
})

test_that("a tampered object gives its result or a classed error", {
  skip_on_cran()
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
  skip_on_cran()
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

test_that("parts of an object that do not belong together are refused by name", {
  skip_on_cran()
  refused <- function(name, field, alter) {
    x <- read_saved(test_path("fixtures", paste0(name, ".rds")))$object
    expect_no_error(check_object(x))
    e <- expect_error(check_object(alter(x)), class = "softanneal_error_object")
    expect_identical(e$arg, field, label = paste(name, field))
  }
  with_field <- function(...) function(x) utils::modifyList(x, list(...), keep.null = TRUE)
  cut <- function(field) function(x) {
    x[[field]] <- x[[field]][-1L, , drop = FALSE]
    x
  }
  refused("budget", "expanded", function(x) with_field(expanded = 1.02 * x$expanded)(x))
  refused("budget", "coverage", function(x) with_field(level = 0.99)(x))
  refused("budget", "table", cut("table"))
  refused("fit_softening", "material", with_field(material = NULL))
  refused("window", "read", function(x) structure(x, read = list()))
  refused("fit_least_squares", "cov_unscaled", function(x) {
    x$cov_unscaled <- NULL
    x
  })
  refused("comparison", "conf.int", function(x) with_field(std.error = 1.02 * x$std.error)(x))
  refused("comparison", "estimate", function(x) with_field(means = rev(x$means))(x))
  refused("comparison", "verdict", with_field(verdict = "perhaps"))
  refused("resample", "estimates", cut("estimates"))
  refused("resample", "failed", with_field(failed = 3))
  refused("class_design", "sd_groups", with_field(sd_groups = c(q = 1)))
  refused("class_design", "tolerance", with_field(tolerance = -1))
  refused("guess", "draws", function(x) with_field(draws = x$draws[, -1L])(x))
  refused("heat", "piece", cut("piece"))
  refused("grain_count", "fields", cut("fields"))
  refused("rates", "exponent", with_field(exponent = "none"))
  refused("laboratories", "level", with_field(level = 95))
  refused("layout", "fits", function(x) with_field(fits = !x$fits)(x))
  refused("plan", "steps", function(x) {
    x$steps$temp_c <- x$steps$temp_c + 1
    x
  })
  refused("fit_each", "limits", function(x) {
    x <- unclass(x)
    x$limits <- x$limits[-1L, , drop = FALSE]
    structure(x, class = "softanneal_fits")
  })
  refused("fit_lifetime", "level", with_field(level = c(0.9, 0.95)))
  refused("fit_arrhenius", "vcov", function(x) with_field(vcov = -x$vcov)(x))
  refused("window", "limits", function(x) structure(x, limits = rev(attr(x, "limits"))))
  refused("history", "temp_c", function(x) {
    x$temp_c[2L] <- -300
    x
  })
  refused("identifiability", "conf.low", function(x) {
    x[c("conf.low", "conf.high")] <- x[c("conf.high", "conf.low")]
    x
  })
  folder <- withr::local_tempdir()
  utils::write.csv(cbind(coil = "A", as.data.frame(bell_readings())), file.path(folder, "a.csv"),
                   row.names = FALSE)
  archive <- fit_archive(folder, file.path(folder, "fits"), by = "coil")
  expect_no_error(check_object(archive))
  archive$manifest$ok <- 2L
  e <- expect_error(print(archive), class = "softanneal_error_object")
  expect_identical(e$arg, "manifest")
})

test_that("a part of a sound table is a sound table", {
  skip_on_cran()
  for (name in c("identifiability", "history", "window", "rates", "budget")) {
    x <- read_saved(test_path("fixtures", paste0(name, ".rds")))$object
    if (is.data.frame(x)) {
      expect_no_error(check_object(x[1L, ]))
      expect_no_error(check_object(x[-1L]))
    } else expect_no_error(check_object(x))
  }
  # readings of two sessions, and steps that no session holds
  guess <- plan_guess("C26000", recryst_1h_c = 330, draws = 4)
  plan <- suppressWarnings(plan_anneal(c(330, 410), c(4, 8, 16, 32, 64), guess, furnaces = 2))
  expect_no_error(check_object(plan))
  # without the words that uncertainty_budget() adds, and with degrees of freedom that are not defined
  plain <- propagate_uncertainty(~ a + b, c(a = 1, b = 2), c(0.1, 0.2), df = c(10, Inf))
  expect_output(print(plain), "result")
  budget <- suppressWarnings(propagate_uncertainty(~ a - b, c(a = 1, b = 2), 0.1, df = 5,
                                                   correlation = matrix(c(1, 0.5, 0.5, 1), 2L)))
  expect_output(print(budget), "not defined")
  whole <- propagate_uncertainty(~ a, c(a = 1), 0, df = 3, whole_df = FALSE)
  expect_output(print(whole), "result 1")
})

test_that("an error in what the caller wrote names the function called", {
  skip_on_cran()
  for (f in c("time_to", "fit_softening", "fit_each", "rates")) {
    call <- as.call(list(as.name(f), as.name("no_such_thing")))
    e <- tryCatch(eval(call, asNamespace("softanneal")), error = identity)
    expect_identical(conditionCall(e), call)
    expect_false(inherits(e, "softanneal_error"))
  }
})

test_that("keys without columns and columns without names are told where they end in an error", {
  skip_on_cran()
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
  skip_on_cran()
  growth <- utils::read.csv(extdata("grain_bellbrass_growth.csv"))
  fit <- suppressWarnings(fit_grain_growth(growth, d0_mm = 0.009, m = 2))
  expect_length(fit$fixed, 2L)
  expect_no_error(check_object(fit, near = TRUE))
})

test_that("a part of a table is shown as it is, a broken one is refused", {
  skip_on_cran()
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
  skip_on_cran()
  fit <- read_saved(test_path("fixtures", "fit_softening.rds"))$object
  expect_error(guarded(fit, stop("a fault"), FALSE), "^a fault$")
  expect_length(objects_held$places, 0L)
  expect_identical(check_object(data.frame(a = 1)), data.frame(a = 1))
})

test_that("an argument that is not given is told by name", {
  skip_on_cran()
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
  skip_on_cran()
  table <- fact_table("object_fields.csv.gz")
  values <- table$values[table$field == "convergence$end" & !is.na(table$values)]
  expect_gt(length(values), 5L)
  for (v in strsplit(values, "|", fixed = TRUE)) expect_identical(setdiff(register()$ends, v), character())
})
