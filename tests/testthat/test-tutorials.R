# Chunks of a tutorial by name, with their code; learnr is not needed.
chunks_of <- function(file) {
  lines <- readLines(file, encoding = "UTF-8")
  open <- grep("^```\\{r ", lines)
  shut <- grep("^```$", lines)
  name <- sub("^```\\{r ([^, }]+).*$", "\\1", lines[open])
  code <- lapply(open, function(i) {
    end <- min(shut[shut > i])
    lines[seq_len(end - i - 1L) + i]
  })
  list(name = name, head = lines[open], code = stats::setNames(code, name), lines = lines)
}

tutorials <- function() {
  folder <- system.file("tutorials", package = "softanneal", mustWork = TRUE)
  list.files(folder, "[.]Rmd$", recursive = TRUE, full.names = TRUE)
}

# Setup and all solutions in order; returns the environment they leave.
run_solutions <- function(file) {
  chunks <- chunks_of(file)
  env <- new.env(parent = globalenv())
  withr::local_png(withr::local_tempfile(fileext = ".png"))
  for (name in c("setup", grep("-solution$", chunks$name, value = TRUE))) {
    code <- grep("^library\\(|^knitr::", chunks$code[[name]], value = TRUE, invert = TRUE)
    utils::capture.output(for (e in parse(text = code)) print(eval(e, env)))
  }
  env
}

test_that("tutorials are where learnr looks, named and described", {
  skip_on_cran()
  files <- tutorials()
  expect_setequal(basename(files), c("before-and-after.Rmd", "cold-work.Rmd", "standard-errors.Rmd"))
  # learnr wants <name>/<name>.Rmd
  expect_identical(basename(dirname(files)), tools::file_path_sans_ext(basename(files)))
  skip_if_not_installed("rmarkdown")
  for (file in files) {
    front <- rmarkdown::yaml_front_matter(file)
    expect_true(all(nzchar(c(front$title, front$description))))
    expect_identical(names(front$output), "learnr::tutorial")
    expect_identical(front$runtime, "shiny_prerendered")
  }
  expect_setequal(vapply(files, function(f) rmarkdown::yaml_front_matter(f)$title, "",
                         USE.NAMES = FALSE),
                  c("Before and after the readings",
                    "From cold work to recrystallisation", "Which standard error?"))
})

test_that("every exercise has a hint and a solution, no name twice, and cautions are shown", {
  skip_on_cran()
  for (file in tutorials()) {
    chunks <- chunks_of(file)
    expect_identical(anyDuplicated(chunks$name), 0L)
    exercises <- chunks$name[grepl("exercise = TRUE", chunks$head)]
    expect_gt(length(exercises), 3L)
    expect_true(all(paste0(exercises, "-hint") %in% chunks$name))
    expect_true(all(paste0(exercises, "-solution") %in% chunks$name))
    expect_match(paste(chunks$code[["show-cautions"]], collapse = " "), "cautions(", fixed = TRUE)
    expect_true("quiz" %in% chunks$name)
    expect_match(paste(chunks$code$quiz, collapse = " "), "correct = TRUE")
    # every chunk is code that parses, the answers of the quiz among them
    for (code in chunks$code) expect_silent(parse(text = code))
  }
})

test_that("every precaution is in the text of a tutorial, and who has the last word", {
  skip_on_cran()
  skip_if_not_installed("rmarkdown")
  for (file in tutorials()) {
    chunks <- chunks_of(file)
    code <- chunks$code[["show-cautions"]]
    shown <- utils::capture.output(eval(parse(text = code), new.env(parent = globalenv())))
    processes <- if (grepl("cold-work", file)) c("rolling", "annealing") else
      c("furnace", "annealing")
    hottest <- if (grepl("before-and-after", file)) 450 else 410
    for (row in cautions(processes, temp_c = hottest)$precaution) {
      expect_true(any(grepl(row, shown, fixed = TRUE)), info = row)
    }
    expect_match(paste(chunks$lines, collapse = " "), "supervised, qualified practice come first")
    # tables in pages would hide columns, and formulas must not need another host
    front <- rmarkdown::yaml_front_matter(file)$output[[1L]]
    expect_identical(front$df_print, "default")
    expect_null(front$mathjax)
    expect_identical(front$pandoc_args, "--mathml")
  }
})

test_that("knitr finds the same chunks", {
  skip_on_cran()
  skip_if_not_installed("knitr")
  for (file in tutorials()) {
    out <- withr::local_tempfile(fileext = ".R")
    suppressMessages(knitr::purl(file, out, quiet = TRUE))
    purled <- grep("^## ----", readLines(out, encoding = "UTF-8"), value = TRUE)
    expect_true(all(vapply(chunks_of(file)$name, function(n) {
      any(grepl(paste0("^## ----", n, "(,|-*$)"), purled))
    }, NA)))
  }
})

test_that("the solutions of the first tutorial run and find what the text says", {
  skip_on_cran()
  env <- run_solutions(grep("cold-work", tutorials(), value = TRUE))
  expect_equal(env$rolled$reduction_pct[env$rolled$pass == 4], c(41, 41), tolerance = 0.02)
  expect_s3_class(env$fit, "softanneal_fit_softening")
  expect_identical(env$half$note[3:4], rep("before the first reading", 2))
  expect_true(env$energy[1] < 140 && 140 < env$energy[2])
  # the true values at the end are those the data were drawn with
  expect_equal(env$true_values[["q_kj_mol"]], 140)
  half <- jmak_fraction(12, exp(env$true_values[["ln_k_ref"]] + 140 *
                                  inverse_temperature(330, env$fit$temp_ref_c)), 1.6)
  expect_equal(half, 0.5, tolerance = 1e-10)
  expect_identical(env$compared$term, names(coef(env$fit)))
  expect_gte(sum(env$compared$inside), 4L)
  expect_true(env$answer$conf.low < env$answer$time_min && env$answer$time_min < env$answer$conf.high)
})

test_that("the solutions of the second tutorial run and find what the text says", {
  skip_on_cran()
  env <- run_solutions(grep("standard-errors", tutorials(), value = TRUE))
  expect_gt(env$errors[["cluster"]], env$errors[["model"]])
  # what the repetition says lies far above the textbook error
  expect_gt(env$truth, 1.3 * env$errors[["model"]])
  expect_lt(env$coverage[["model"]], 0.85)
  expect_gt(env$coverage[["cluster"]], 0.9)
  expect_lt(env$helps[["more_steps"]], 0.8 * env$helps[["more_readings"]])
  expect_gt(env$helps[["more_readings"]], 0.9 * env$helps[["now"]])
})

test_that("the solutions of the tutorial on priors run and find what the text says", {
  skip_on_cran()
  env <- run_solutions(grep("before-and-after", tutorials(), value = TRUE))
  expect_identical(env$alone$states[["q_kj_mol"]], "only a lower limit")
  share <- stats::setNames(env$table$share_prior, env$table$term)
  expect_gt(share[["q_kj_mol"]], 0.9)
  expect_lt(share[["h_soft"]], 0.3)
  change <- abs(log(env$times[, "q_200"] / env$times[, "q_140"]))
  expect_gt(change[["two"]], 0.3)
  expect_lt(change[["four"]], 0.05)
  width <- env$intervals[, 2L] - env$intervals[, 1L]
  expect_lt(width[["class"]], 0.3 * width[["prior_brass"]])
  # 140 kJ/mol are those the readings were drawn with
  expect_true(env$intervals["class", 1L] < 140 && 140 < env$intervals["class", 2L])
})

test_that("with learnr the tutorials are found", {
  skip_on_cran()
  skip_if_not_installed("learnr")
  skip_if_not(nzchar(system.file("tutorials", package = "softanneal", lib.loc = .libPaths())),
              "an installed package")
  found <- learnr::available_tutorials("softanneal")
  expect_setequal(found$name, c("before-and-after", "cold-work", "standard-errors"))
})
