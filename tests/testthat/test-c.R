# The pure C files, where the sources and a compiler are at hand: their own tests, and what they
# may not do.

c_sources <- function() {
  top <- Sys.getenv("SOFTANNEAL_SOURCE")
  skip_if(!nzchar(top) || !dir.exists(file.path(top, "tests", "c")), "the C tests are not at hand")
  skip_if(!nzchar(Sys.which("gcc")), "no C compiler")
  pure <- grep("/(init|glue_[a-z]+)[.]c$",
               list.files(file.path(top, "src"), "[.]c$", full.names = TRUE), value = TRUE,
               invert = TRUE)
  list(top = top, pure = pure,
       tests = list.files(file.path(top, "tests", "c"), "^test_.*[.]c$", full.names = TRUE))
}

run_command <- function(...) suppressWarnings(system2(..., stdout = TRUE, stderr = TRUE))

# Object files of the pure C files in a new folder.
compile_pure <- function(source, flags, envir = parent.frame()) {
  folder <- withr::local_tempdir(.local_envir = envir)
  objects <- file.path(folder, sub("c$", "o", basename(source$pure)))
  for (i in seq_along(objects)) {
    build <- run_command("gcc", c(flags, "-c", source$pure[i], "-o", objects[i]))
    expect_null(attr(build, "status"), label = paste(c(source$pure[i], build), collapse = "\n"))
  }
  objects
}

test_that("the C files pass their own tests", {
  source <- c_sources()
  expect_gt(length(source$tests), 3L)
  flags <- c("-std=c99", "-O1", "-g", "-Wall", "-Wextra", "-fsanitize=undefined",
             "-fno-sanitize-recover=undefined", paste0("-I", file.path(source$top, "src")))
  objects <- compile_pure(source, flags)
  for (test in source$tests) {
    program <- withr::local_tempfile()
    build <- run_command("gcc", c(flags, "-o", program, test, objects, "-lm"))
    expect_null(attr(build, "status"), label = paste(c(basename(test), build), collapse = "\n"))
    run <- run_command(program)
    expect_null(attr(run, "status"), label = paste(c(basename(test), utils::tail(run, 5L)),
                                                   collapse = "\n"))
  }
})

# What the object files need from outside and what memory of their own they could write to. Kernels
# compute on the caller's arrays: no allocation, no printing, no exit, no random numbers, no state.
test_that("kernels use mathematics and moves of memory only, and keep nothing", {
  source <- c_sources()
  skip_if(!nzchar(Sys.which("nm")), "no nm")
  symbols <- strsplit(trimws(run_command("nm", compile_pure(source, c("-std=c99", "-O0")))), " +")
  symbols <- Filter(\(x) length(x) %in% 2:3, symbols)
  kind <- vapply(symbols, \(x) x[length(x) - 1L], "")
  name <- vapply(symbols, \(x) x[length(x)], "")
  needed <- sort(unique(name[kind == "U"]))
  mathematics <- c("acosh", "atan", "cbrt", "ceil", "cos", "erfc", "exp", "expm1", "fabs", "floor",
                   "fmax", "fmin", "hypot", "log", "log1p", "pow", "round", "sin", "sqrt", "tan")
  memory <- c("memcpy", "memmove", "memset", "memcmp", "__stack_chk_fail", "_GLOBAL_OFFSET_TABLE_")
  expect_true("exp" %in% needed)
  expect_identical(setdiff(needed[!startsWith(needed, "sa_")], c(mathematics, memory)), character())
  expect_identical(name[kind %in% c("B", "b", "C", "D", "d", "S", "s")], character())
  # and no header of R, which would show in no symbol
  lines <- unlist(lapply(source$pure, readLines))
  expect_identical(grep("#include <R", lines, value = TRUE, fixed = TRUE), character())
})

test_that("only the registration routine is visible from outside", {
  skip_on_covr() # gcov adds its own
  skip_if(!nzchar(Sys.which("nm")), "no nm")
  shared <- getLoadedDLLs()[["softanneal"]][["path"]]
  symbols <- run_command("nm", c("-D", "--defined-only", shared))
  skip_if(!is.null(attr(symbols, "status")), "nm does not read shared objects here")
  code <- grep(" [TWBDV] ", symbols, value = TRUE)
  code <- code[!grepl(" (_init|_fini|__bss_start|_edata|_end|__asan|__ubsan|__odr_asan)", code)]
  expect_identical(sub("^.* ", "", code), "R_init_softanneal")
})
