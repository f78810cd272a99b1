# The table of the rOpenSci standards for statistical software (inst/standards/ropensci.csv.gz):
# every number is answered, and what it points to is there. And the standards on extrapolation.

standards <- utils::read.csv(system.file("standards", "ropensci.csv.gz", package = "softanneal"))

test_that("every general and regression standard is answered, with a reason where it is not met", {
  wanted <- c(
    "G1.0", "G1.1", "G1.2", "G1.3", "G1.4", "G1.4a", "G1.5", "G1.6", "G2.0", "G2.0a", "G2.1",
    "G2.1a", "G2.2", "G2.3", "G2.3a", "G2.3b", "G2.4", paste0("G2.4", letters[1:5]), paste0("G2.",
    5:14), paste0("G2.14", letters[1:3]), "G2.15", "G2.16", "G3.0", "G3.1", "G3.1a", "G4.0",
    "G5.0", "G5.1", "G5.2", "G5.2a", "G5.2b", "G5.3", "G5.4", paste0("G5.4", letters[1:3]),
    "G5.5", "G5.6", "G5.6a", "G5.6b", "G5.7", "G5.8", paste0("G5.8", letters[1:4]), "G5.9",
    "G5.9a", "G5.9b", "G5.10", "G5.11", "G5.11a", "G5.12", paste0("RE1.", 0:3), "RE1.3a", "RE1.4",
    paste0("RE2.", 0:4), "RE2.4a", "RE2.4b", paste0("RE3.", 0:3), paste0("RE4.", 0:18), "RE5.0",
    paste0("RE6.", 0:3), "RE7.0", "RE7.0a", "RE7.1", "RE7.1a")
  expect_setequal(standards$standard, wanted)
  expect_false(anyDuplicated(standards$standard) > 0L)
  expect_true(all(standards$status %in% c("met", "not applicable", "not met")))
  expect_true(all(nchar(standards$how) > 3L & nzchar(standards$gist)))
})

test_that("the tests, help pages and files it names are there", {
  evidence <- unlist(strsplit(standards$evidence, " ", fixed = TRUE))
  expect_true(all(grepl("^(test|topic|file):", evidence)))
  named <- function(kind) {
    unique(sub("^[a-z]+:", "", grep(paste0("^", kind, ":"), evidence, value = TRUE)))
  }
  for (file in named("test")) expect_true(file.exists(test_path(file)), label = file)
  source <- Sys.getenv("SOFTANNEAL_SOURCE")
  for (file in named("file")) {
    installed <- sub("^inst/", "", file)
    # what the built package leaves out (.Rbuildignore) is looked for in the sources
    if (startsWith(file, "inst/") && !grepl("^inst/(scripts/dev/|benchmarks/.*[.](R|md)$)", file)) {
      expect_true(nzchar(system.file(installed, package = "softanneal")), label = file)
    } else if (nzchar(source)) {
      expect_true(file.exists(file.path(source, file)), label = file)
    }
  }
  path <- getNamespaceInfo(asNamespace("softanneal"), "path")
  # an installed package keeps an index of its help, sources have the pages themselves
  aliases <- if (dir.exists(file.path(path, "man"))) {
    unlist(lapply(list.files(file.path(path, "man"), "[.]Rd$", full.names = TRUE), \(f) {
      sub("^\\\\alias\\{(.*)\\}$", "\\1", grep("^\\\\alias", readLines(f), value = TRUE))
    }))
  } else if (file.exists(file.path(path, "help", "aliases.rds"))) {
    names(readRDS(file.path(path, "help", "aliases.rds")))
  }
  skip_if(length(aliases) == 0L, "installed without help pages")
  for (topic in named("topic")) expect_true(topic %in% aliases, label = topic)
})

test_that("errors of an extrapolation grow with its distance, and it is told", {
  d <- with_test_seed(71, made_readings(sd_step = 1))
  f <- fit_softening(d)
  width <- function(temp_c, time_min) {
    new <- data.frame(temp_c = temp_c, time_min = time_min)
    p <- suppressWarnings(predict(f, new, interval = "confidence"))
    p[, "upr"] - p[, "lwr"]
  }
  # colder than 290: at times that the law makes equal in k t, the error of Q grows outwards
  colder <- c(290, 260, 230, 200, 170)
  equal <- exp(-coef(f)[["q_kj_mol"]] * (inverse_temperature(colder, 330))) * 12
  w <- width(colder, equal)
  expect_true(all(diff(w) > 0))
  expect_gt(w[5L], 2 * w[1L])
  for (t in 2:5) {
    expect_warning(predict(f, data.frame(temp_c = colder[t], time_min = equal[t])),
                   class = "softanneal_warning_extrapolation")
  }
  half <- suppressWarnings(time_to(f, temp_c = colder))
  expect_true(all(diff(log(half$conf.high / half$conf.low)) > 0))
  # the line of Arrhenius, and the other laws
  a <- fit_arrhenius(data.frame(temp_c = c(300, 320, 340, 360), k = c(0.01, 0.024, 0.052, 0.11)),
                     rate = k)
  p <- predict(a, data.frame(temp_c = c(330, 400, 500, 700)), interval = "confidence")
  expect_true(all(diff(p[, "upr"] - p[, "lwr"]) > 0))
  h <- fit_hall_petch(data.frame(grain_mm = c(0.05, 0.028, 0.016, 0.010),
                                 hardness = c(60, 70, 82, 90)))
  p <- suppressWarnings(predict(h, data.frame(grain_mm = c(0.016, 0.008, 0.004, 0.001)),
                                interval = "confidence"))
  expect_true(all(diff(p[, "upr"] - p[, "lwr"]) > 0))
})

test_that("collinear columns cost no more evaluations than others", {
  d <- with_test_seed(72, data.frame(x = 1:20, y = 1:20 + stats::rnorm(20)))
  d$z <- 2 * d$x # an exact relation of two predictors
  d$u <- d$x^2
  collinear <- suppressWarnings(fit_least_squares(y ~ a + b * x + c * z, c(a = 0, b = 1, c = 1),
                                                  data = d))
  regular <- fit_least_squares(y ~ a + b * x + c * u, c(a = 0, b = 1, c = 1), data = d)
  expect_true(collinear$convergence$converged)
  expect_lte(collinear$convergence$evaluations, regular$convergence$evaluations + 2L)
  expect_true("not determined" %in% collinear$states)
})
