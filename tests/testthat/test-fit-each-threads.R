# A batch asks for no more threads than can start: OpenMP would end R. Limits are set for a child.

# What a fresh R under a limit of the shell writes; its exit status as attribute.
under_limit <- function(limit, code, lib = installed_at()) {
  skip_on_os("windows")
  skip_if(is.null(lib), "the package is not installed")
  withr::local_envvar(R_LIBS = paste(c(lib, .libPaths()), collapse = ":"), OMP_THREAD_LIMIT = NA,
                      LD_PRELOAD = NA)
  file <- withr::local_tempfile(lines = code, fileext = ".R")
  suppressWarnings(system2("sh", c("-c", shQuote(paste0(
    limit, "; exec ", shQuote(file.path(R.home("bin"), "Rscript")), " --vanilla ", shQuote(file)))),
    stdout = TRUE, stderr = TRUE))
}

test_that("no more threads than processors, one in a child of this process", {
  many <- .Call(C_sa_call_threads, 1024L)
  expect_lte(many[1L], many[2L])
  expect_gte(many[1L], 1L)
  expect_lte(many[2L], max(1L, parallel::detectCores(), na.rm = TRUE))
  expect_identical(.Call(C_sa_call_threads, 1L), c(1L, 1L))
  expect_error(.Call(C_sa_call_threads, 0L), "internal error")
  expect_identical(threads_allowed(1), 1L)
  withr::local_envvar(OMP_THREAD_LIMIT = "1")
  expect_identical(threads_allowed(1024), 1L)
})

test_that("where no thread can start, a batch says so and gives the same with one", {
  skip_if(.Call(C_sa_call_threads, 2L)[2L] < 2L, "one processor")
  code <- c(
    "library(softanneal)",
    "bell <- as.data.frame(example_data('bellbrass_readings'))",
    "many <- do.call(rbind, lapply(1:6, function(i) cbind(coil = i, bell)))",
    "said <- character()",
    "a <- withCallingHandlers(fit_each(many, coil, threads = 2), softanneal_message_threads =",
    "  function(m) { said <<- conditionMessage(m); invokeRestart('muffleMessage') })",
    "cat(said, identical(as.data.frame(a), as.data.frame(fit_each(many, coil))), 'alive\\n')")
  # stacks of 4 GB have no room in 3 GB of addresses
  said <- paste(under_limit("ulimit -s 4000000 && ulimit -v 3000000", code), collapse = " ")
  skip_if(grepl("ulimit|cannot|not permitted", said) && !grepl("alive", said), "limits cannot be set")
  expect_match(said, "Only 1 thread of 2 can start")
  expect_match(said, "TRUE alive")
})
