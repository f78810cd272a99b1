# Files for names of any kind: where asked, distinct, none hidden.

test_that("files of groups of any name are written where asked, distinct, none hidden", {
  dir <- withr::local_tempdir()
  # an empty cell is not a name, and is refused like a missing one where files are read
  names <- c("", " ", "CON", "con", "nul", "Lpt1", ".", "..", "../../up", "/etc/hosts", "C:\\x", "-rf",
             "\U0001f600", "\U0001f601", "a\u200fb", "a\u202eb", "ab", "AB", "a b", "a/b",
             strrep("x", 300), strrep("x", 301), "\u6e29\u5ea6", "\u00e9", "e\u0301", "a.csv", "a\nb",
             "\xff", "%s", "$(x)", "`r 1`", "~", "group")
  class <- data.frame(group = names, hardness = seq_along(names))
  paths <- write_class(class, dir)
  expect_identical(unname(normalizePath(dirname(paths))), rep(normalizePath(dir), length(names)))
  expect_setequal(list.files(dir, all.files = TRUE, no.. = TRUE), basename(paths))
  expect_setequal(list.files(dir), basename(paths)) # none hidden
  expect_identical(anyDuplicated(tolower(basename(paths))), 0L)
  expect_lt(max(nchar(basename(paths), "bytes")), 255L)
  expect_false(any(grepl("^-|^(con|nul|lpt1)[.]", basename(paths), ignore.case = TRUE)))
  for (k in seq_along(names)) expect_identical(utils::read.csv(paths[k])$hardness, k)
  # a second time all are there already, and nothing is written
  expect_error(write_class(class, dir), class = "softanneal_error_file")
  expect_identical(file_names(c("a b", "a-b", "A-B", "a-b-2"), "csv"),
                   c("a-b.csv", "a-b-2.csv", "A-B-3.csv", "a-b-2-2.csv"))
})

test_that("answers of groups of any name come back and are marked", {
  skip_on_cran()
  dir <- withr::local_tempdir()
  key <- answer_key(1, seed = 20)
  names <- payloads()[!grepl("\n", payloads())]
  keys <- do.call(rbind, lapply(names, function(name) transform(as.data.frame(key), group = name)))
  class(keys) <- class(key)
  attr(keys, "design") <- attr(key, "design")
  form <- data.frame(group = unname(names), quantity = "n", value = key$value[key$quantity == "n"])
  paths <- write_class(form, dir)
  marks <- mark_answers(unname(paths), keys)
  expect_identical(sum(marks$mark == "right"), length(names))
  expect_identical(marks$group[marks$mark == "right"], unname(names))
})

test_that("hidden and impossible names of reports, sheets and projects are refused", {
  dir <- withr::local_tempdir()
  plan <- plan_anneal(330, c(4, 8), plan_guess(recryst_1h_c = 330, draws = 4))
  for (name in c(".", "..", ".html", ".hidden.html")) {
    expect_error(bench_sheet(plan, file.path(dir, name)), class = "softanneal_error_file")
    expect_error(new_report(file.path(dir, name)), class = "softanneal_error_file")
  }
  for (path in list("", strrep("x", 300), "\xff", strrep("a/", 2500))) {
    expect_error(lab_project(if (nzchar(path) && validEnc(path)) file.path(dir, path) else path),
                 class = "softanneal_error_file")
  }
  for (name in c("CON", "\U0001f600", "a\u202eb", "-rf", "`r 1`", "$(x)", "a b")) {
    lab_project(file.path(dir, "all", name), example = FALSE)
  }
  expect_length(list.files(file.path(dir, "all")), 7L)
  expect_length(list.files(file.path(dir, "all"), recursive = TRUE), 21L)
  expect_identical(list.files(dir, all.files = TRUE, no.. = TRUE), "all")
})
