# Objects saved by this version or an earlier one: every method answers as it did when they were
# saved, in this R process, in a new one and on a worker; and objects are data alone.

fixture_files <- list.files(test_path("fixtures"), "[.]rds$", full.names = TRUE)
fixture_name <- sub("[.]rds$", "", basename(fixture_files))

# What another session needs to answer for the objects: run there, without this one's variables.
answers_elsewhere <- function(files, helper, library) {
  .libPaths(c(library, .libPaths()))
  tools <- new.env(parent = asNamespace("softanneal"))
  sys.source(helper, tools)
  lapply(files, function(f) tools$object_answers(tools$read_saved(f)$object))
}

expect_saved_answers <- function(answers, file) {
  saved <- readRDS(file)$answers
  label <- basename(file)
  # a later version may answer more, never less
  expect_identical(setdiff(names(saved), names(answers)), character(), label = label)
  for (what in names(saved)) {
    expect_equal(answers[[what]], saved[[what]], tolerance = 1e-7, label = paste(label, what))
  }
}

test_that("there is a saved object of every result class, small enough", {
  generics <- readLines(system.file("NAMESPACE", package = "softanneal"))
  lines <- grep("^S3method\\([^,]+,softanneal_[a-z_]+\\)$", generics, value = TRUE)
  classes <- unique(sub("^S3method\\([^,]+,(softanneal_[a-z_]+)\\)$", "\\1", lines))
  expect_gt(length(classes), 40L)
  saved <- unlist(lapply(fixture_files, \(f) our_classes(read_saved(f)$object)))
  expect_setequal(setdiff(classes, CLASSES_OF_FILES), intersect(classes, saved))
  expect_lt(sum(file.size(fixture_files)), 3e5)
})

for (k in seq_along(fixture_files)) {
  test_that(paste("a saved object answers as when it was saved:", fixture_name[k]), {
    if (k %% 3L != 1L) skip_on_cran()
    object <- read_saved(fixture_files[k])$object
    answers <- object_answers(object)
    expect_gt(length(answers), 1L)
    expect_false(any(vapply(answers[intersect(names(answers), WORD_METHODS)], isFALSE, NA)))
    expect_saved_answers(answers, fixture_files[k])
  })
}

test_that("questions to saved fits are answered as by new ones", {
  skip_on_cran()
  saved <- read_saved(test_path("fixtures", "fit_softening.rds"))$object
  fit <- result_objects()$fit_softening
  expect_equal(coef(saved), coef(fit), tolerance = 1e-7)
  expect_equal(time_to(saved), time_to(fit), tolerance = 1e-7)
  expect_equal(confint(saved, method = "profile"), confint(fit, method = "profile"),
               tolerance = 1e-6)
  new <- data.frame(temp_c = c(300, 350), time_min = c(3, 30))
  expect_equal(predict(saved, new, interval = "prediction"),
               predict(fit, new, interval = "prediction"), tolerance = 1e-7)
  expect_equal(recryst_temperature(saved, solidus_c = 915), recryst_temperature(fit, solidus_c = 915),
               tolerance = 1e-7)
})

test_that("a new session answers the same", {
  skip_on_cran()
  library <- installed_at()
  skip_if(is.null(library), "the package is not installed")
  out <- withr::local_tempfile(fileext = ".rds")
  script <- withr::local_tempfile(fileext = ".R")
  dump("answers_elsewhere", script)
  here <- function(x) encodeString(normalizePath(x, "/"), quote = "\"")
  cat("saveRDS(answers_elsewhere(c(", paste(here(fixture_files), collapse = ",\n"), "), ",
      here(test_path("helper-objects.R")), ", ", here(library), "), ", encodeString(out, quote = "\""),
      ")\n", sep = "", file = script, append = TRUE)
  status <- system2(file.path(R.home("bin"), "Rscript"), c("--vanilla", shQuote(script)))
  expect_identical(status, 0L)
  answers <- readRDS(out)
  for (k in seq_along(fixture_files)) expect_saved_answers(answers[[k]], fixture_files[k])
})

test_that("a worker of the user's plan answers the same", {
  skip_on_cran()
  skip_if_not_installed("future")
  library <- installed_at()
  skip_if(is.null(library), "the package is not installed")
  old <- future::plan(future::multisession, workers = 1)
  withr::defer(future::plan(old))
  # one worker would be this process itself
  future::plan(future::multisession, workers = I(1))
  # all of them answered in a new session above; here a quarter, in the extended tests all
  some <- if (extended_tests()) fixture_files else fixture_files[seq(1L, length(fixture_files), by = 4L)]
  files <- normalizePath(some)
  helper <- normalizePath(test_path("helper-objects.R"))
  there <- answers_elsewhere
  environment(there) <- globalenv()
  job <- future::future(list(there(files, helper, library), Sys.getpid()), seed = TRUE,
                        globals = list(there = there, files = files, helper = helper,
                                       library = library), packages = character())
  answers <- future::value(job)
  expect_false(answers[[2L]] == Sys.getpid())
  expect_length(answers[[1L]], length(files))
  for (k in seq_along(files)) expect_saved_answers(answers[[1L]][[k]], files[k])
})

test_that("objects are data alone: no environments, functions or pointers", {
  skip_on_cran()
  # the walker finds what it should
  planted <- list(a = 1, b = structure(2, keep = new.env()), c = list(d = \(x) x), e = y ~ x,
                  f = call("fit", sum, \(x) x))
  found <- not_data(planted)
  expect_length(found, 4L)
  expect_match(paste(found, collapse = " "), "[[2]]@keep", fixed = TRUE)
  for (name in names(objects <- result_objects())) {
    expect_identical(not_data(objects[[name]]), character(), label = name)
    file <- serialize(objects[[name]], NULL)
    expect_lt(length(file), 3e5, label = paste("size of", name))
  }
})

test_that("calls made by do.call() put nothing but data into a fit", {
  local <- list(big = stats::rnorm(1e5)) # must not travel with a formula or a function
  d <- data.frame(x = 1:6, y = c(9.1, 7.2, 6.1, 4.9, 4.2, 3.3))
  f <- do.call(fit_least_squares, list(y ~ a * exp(-b * x), c(a = 10, b = 0.2), data = d,
                                       na.action = stats::na.omit))
  expect_identical(not_data(f), character())
  expect_lt(length(serialize(f, NULL)), 20000)
  expect_identical(f$call$na.action, quote(stats::na.omit))
  expect_identical(f$call[[1L]], quote(fit_least_squares))
  g <- do.call(fit_softening, list(bell_readings(), na.action = stats::na.exclude))
  expect_identical(not_data(g), character())
  expect_equal(coef(stats::update(g, model = "jmak")), coef(g))
  expect_length(local$big, 1e5)
})
