# The plain C tests of the pure C files, where the sources and a compiler are at hand.

test_that("the C files pass their own tests", {
  top <- Sys.getenv("SOFTANNEAL_SOURCE")
  folder <- file.path(top, "tests", "c")
  skip_if(!nzchar(top) || !dir.exists(folder), "the C tests are not at hand")
  skip_if(!nzchar(Sys.which("gcc")), "no C compiler")
  pure <- grep("/(init|glue_[a-z]+)[.]c$", list.files(file.path(top, "src"), "[.]c$", full.names = TRUE),
               value = TRUE, invert = TRUE)
  tests <- list.files(folder, "^test_.*[.]c$", full.names = TRUE)
  expect_gt(length(tests), 3L)
  for (test in tests) {
    program <- withr::local_tempfile()
    build <- suppressWarnings(system2("gcc", c(
      "-std=c99", "-O1", "-g", "-Wall", "-Wextra", "-fsanitize=undefined",
      "-fno-sanitize-recover=undefined", paste0("-I", file.path(top, "src")), "-o", program, test,
      pure, "-lm"), stdout = TRUE, stderr = TRUE))
    expect_null(attr(build, "status"), label = paste(c(basename(test), build), collapse = "\n"))
    run <- suppressWarnings(system2(program, stdout = TRUE, stderr = TRUE))
    expect_null(attr(run, "status"), label = paste(c(basename(test), utils::tail(run, 5L)),
                                                   collapse = "\n"))
  }
})
