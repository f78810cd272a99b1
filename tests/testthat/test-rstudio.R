package_file <- function(...) system.file(..., package = "softanneal", mustWork = TRUE)
exported <- function() getNamespaceExports("softanneal")

# rendering happens in a process environment of its own and beside a copy of the template
render_template <- function(template, params = list(),
                            dir = withr::local_tempdir(.local_envir = parent.frame())) {
  skip_if_not_installed("rmarkdown")
  skip_if_not_installed("knitr")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc")
  # the folder as template works whether or not the package is installed
  file <- rmarkdown::draft(file.path(dir, "doc.Rmd"),
                           template = package_file("rmarkdown", "templates", template),
                           edit = FALSE)
  out <- rmarkdown::render(file, "html_document", params = params, quiet = TRUE,
                           envir = new.env(parent = globalenv()))
  document_of(out)
}

# The body of an HTML file on one line, without scripts and styles of the theme and plots.
document_of <- function(file) {
  html <- paste(readLines(file, encoding = "UTF-8"), collapse = " ")
  gsub("\"data:[^\"]*\"", "\"picture\"", sub("^.*<body[^>]*>", "", html))
}

# The report of all readings, rendered once.
whole_report <- local({
  html <- NULL
  function() {
    if (is.null(html)) html <<- render_template("laboratory-report", list(group = "group 7"))
    html
  }
})

# text of an HTML body as it is read, cells parted by |
read_text <- function(html) {
  html <- gsub(" *</t[dh]>", "|", html)
  gsub(" +", " ", gsub("<[^>]*>", "", html))
}

test_that("every template is declared and holds what its declaration says", {
  templates <- list.dirs(package_file("rmarkdown", "templates"), recursive = FALSE)
  expect_setequal(basename(templates), c("laboratory-report", "instructor-key",
                                         "plan-bench-sheet"))
  for (folder in templates) {
    about <- readLines(file.path(folder, "template.yaml"))
    expect_true(any(grepl("^name: \\S", about)) && any(grepl("^description: \\S", about)))
    skip_if_not_installed("rmarkdown")
    front <- rmarkdown::yaml_front_matter(file.path(folder, "skeleton", "skeleton.Rmd"))
    expect_true(all(c("title", "output", "params") %in% names(front)))
  }
})

test_that("the laboratory report shows the numbers of the fit, and cautions", {
  html <- whole_report()
  fit <- bell_softening()
  q <- format(signif(coef(fit)[["q_kj_mol"]], 4))
  expect_match(html, paste0("recrystallisation: ", q, " kJ/mol"), fixed = TRUE)
  half <- time_to(fit, softening = 0.5)
  expect_match(html, paste0("right;\"> ", format(signif(half$time_min[1], 3)), " </td>"),
               fixed = TRUE)
  expect_match(html, "group 7", fixed = TRUE)
  expect_match(html, "168 readings of 4 pieces at 290, 330, 370, 410")
  expect_identical(lengths(gregexpr("alt=\"[A-Z][^\"]{40,}\"", html)), 2L)
  # as every report: one main part, header cells with scope, wide tables in a box of their own
  expect_identical(lengths(gregexpr("<main>", html, fixed = TRUE)), 1L)
  expect_identical(lengths(gregexpr("<th ", html)), lengths(gregexpr("<th scope=\"col\"", html)))
  expect_identical(lengths(gregexpr("<table", html)), lengths(gregexpr("<div class=\"scroll\"", html)))
  expect_no_match(html, "q_kj_mol|h_worked|ln_k_ref")
  # nothing is loaded from the network
  expect_false(grepl("https?://[^\"]*[.]js", html))
  expect_match(html, "zinc fume")
  expect_match(html, "not a release for use")
})

test_that("what reading and fitting warn of stands in the laboratory report", {
  skip_on_cran()
  r <- as.data.frame(example_data("bellbrass_readings"))
  r$hardness[5] <- NA
  file <- withr::local_tempfile(fileext = ".csv")
  write.csv(r[r$temp_c %in% c(330, 410), ], file, row.names = FALSE, na = "")
  shown <- read_text(render_template("laboratory-report", list(readings = file)))
  expect_match(shown, "To be heeded:")
  # two pieces, one of them soft before its first reading
  expect_match(shown, "The data give only a lower limit of activation energy")
  expect_false(grepl("To be heeded", read_text(whole_report()), fixed = TRUE))
})

test_that("what comes from data stays text in the report", {
  skip_on_cran()
  r <- simulate_readings(seed = 1, specimen = c("<script>alert(1)</script>", "a|b *c*", "[d](e)",
                                                "$f$ \\(g\\)"))
  file <- withr::local_tempfile(fileext = ".csv")
  write.csv(as.data.frame(r), file, row.names = FALSE)
  html <- render_template("laboratory-report",
                          list(readings = file, group = "<img src=x onerror=1>"))
  expect_match(html, "&lt;script&gt;alert(1)&lt;/script&gt;", fixed = TRUE)
  expect_false(grepl("<script>alert", html, fixed = TRUE))
  expect_match(html, "&lt;img src=x onerror=1&gt;", fixed = TRUE)
  expect_match(html, "left;\"> a|b *c* </td>", fixed = TRUE)
  expect_match(html, "left;\"> [d](e) </td>", fixed = TRUE)
  expect_match(html, "left;\"> $f$ \\(g\\) </td>", fixed = TRUE)
})

test_that("the instructor's key shows truths, blunders and marks", {
  skip_on_cran()
  design <- class_design(blunders = c("warm", "outlier"))
  key <- answer_key(2, seed = 5, design = design)
  answers <- data.frame(group = "group-01", quantity = c("q_kj_mol", "n"),
                        value = c(format(key$value[4] * 1000), "<i>ten</i>"))
  file <- withr::local_tempfile(fileext = ".csv")
  write.csv(answers, file, row.names = FALSE)
  html <- render_template("instructor-key",
                          list(n_groups = 2, seed = 5, design = design, answers = file))
  for (value in key$value) expect_match(html, format(signif(value, 4)), fixed = TRUE)
  expect_match(html, attr(key, "blunders")$what[1], fixed = TRUE)
  expect_match(html, "right digits, wrong unit")
  expect_match(html, "&lt;i&gt;ten&lt;/i&gt;", fixed = TRUE)
  expect_false(grepl("<i>ten", html, fixed = TRUE))
  expect_match(html, "zinc fume")
  # the same from the folder that holds one file per group
  dir <- withr::local_tempdir()
  write_class(answers, dir)
  expect_identical(read_text(render_template("instructor-key", list(
    n_groups = 2, seed = 5, design = design, answers = dir))), read_text(html))
  plain <- render_template("instructor-key", list(n_groups = 1, seed = 5))
  expect_match(plain, "No blunders were put into the readings")
  expect_false(grepl(">Marks<", plain, fixed = TRUE))
})

test_that("the plan shows hours, indentations, expected curves and errors, and makes the sheet", {
  skip_on_cran()
  dir <- withr::local_tempdir()
  html <- render_template("plan-bench-sheet", list(
    improve = "", temp_c = c(290, 330), time_min = c(4, 8, 16, 32), run = "<b>run</b> *2*",
    recryst_1h_c = 340, recryst_sd_c = 12, n_readings = 5, length_mm = 60), dir)
  guess <- plan_guess("C26000", recryst_1h_c = 340, sd_prior = c(recryst_1h_c = 12))
  plan <- plan_anneal(c(290, 330), c(4, 8, 16, 32), guess, n_readings = 5, length_mm = 60, furnaces = 2)
  shown <- read_text(html)
  has <- function(x) expect_match(shown, x, fixed = TRUE)
  has("&lt;b&gt;run&lt;/b&gt; *2*: 2 pieces of C26000, 8 annealing steps, 50 readings (HR30T, 5")
  s <- as.data.frame(plan)
  # each furnace has one piece: hours from the first in to the last out
  hours <- tapply(s$out_min, s$furnace, max, na.rm = TRUE) -
    tapply(s$in_min, s$furnace, min, na.rm = TRUE)
  has(paste0(signif(sum(hours) / 60, 3), " furnace hours in use; pieces are in a furnace for ",
             signif(sum(s$furnace_min) / 60, 3), " h in all"))
  has(paste0("takes up to 25 indentations in this plan (25 on the piece that is read most), and ",
             "holds ", plan$layout$capacity, ": centres at least ",
             signif(plan$layout$spacing$centre_mm, 3), " mm apart and ",
             signif(plan$layout$spacing$edge_mm, 3), " mm from every edge"))
  has("All of them fit.")
  t <- plan$temperatures
  has(paste0("330| ", signif(t$t50_min[2], 2), "| ", signif(t$t50_low_min[2], 2), " to ",
             signif(t$t50_high_min[2], 2), "|"))
  e <- tidy(plan)
  q <- e[e$term == "q_kj_mol", ]
  has(paste0("Activation energy| 140| ", signif(q$std.error, 2), "|"))
  last <- s[nrow(s), ]
  has(paste0(last$out_clock, "| ", last$read_clock, "| ", signif(last$hardness, 3), " (",
             signif(last$hardness_low, 3), " to ", signif(last$hardness_high, 3), ")|"))
  # every caution of rolling, sawing and of the plan, and who has the last word
  rows <- c(cautions(c("rolling", "sawing"))$precaution, plan$cautions$precaution)
  plain <- function(x) gsub("[^a-z]", "", tolower(gsub("&[^;]*;", "", x)))
  for (row in rows) expect_match(plain(shown), plain(row), fixed = TRUE)
  has("furnace maker\u2019s instructions")
  has("supervised, qualified practice come first")
  has("an estimate, not a release for use")
  expect_identical(lengths(gregexpr("alt=\"[A-Z][^\"]{40,}\"", html)), 3L)
  expect_false(grepl("Heed before you begin", shown, fixed = TRUE))
  # the sheet beside it is that of the plan
  expect_match(html, "<a href=\"bench-sheet.html\">", fixed = TRUE)
  sheet <- document_of(file.path(dir, "bench-sheet.html"))
  expect_match(sheet, last$read_clock, fixed = TRUE)
  expect_match(sheet, "&lt;b&gt;run&lt;/b&gt; \\*2\\*")
})

test_that("the plan starts from earlier readings, is improved, and passes warnings on", {
  skip_on_cran()
  dir <- withr::local_tempdir()
  file <- example_data("bellbrass_readings", path = TRUE)
  params <- list(readings = file, temp_c = c(290, 330, 410), time_min = c(4, 8, 16), n_readings = 6,
                 sheet = "", improve = "")
  shown <- read_text(render_template("plan-bench-sheet", params, dir))
  expect_match(shown, "Heed before you begin: Softening is expected to be over before the first")
  expect_match(shown, "softening fit &#39;jmak&#39; of 168 readings|softening fit \u2018jmak\u2019")
  fit <- bell_softening()
  expect_match(shown, paste0("Activation energy\\| ", signif(coef(fit)[["q_kj_mol"]], 4), "\\|"))
  expect_match(shown, "bench_sheet\\(plan")
  expect_identical(list.files(dir, "sheet"), character())
  params$improve <- "q"
  params$temp_c <- c(290, 350)
  better <- improve_plan(suppressWarnings(plan_anneal(c(290, 350), c(4, 8, 16),
                                                      plan_guess(fit = fit), furnaces = 2)), "q")
  shown <- read_text(render_template("plan-bench-sheet", params))
  efficiency <- signif(100 * better$improvement$efficiency, 2)
  expect_match(shown, paste0("has an efficiency of ", efficiency, " %"))
})

test_that("a document that is being knitted may make a sheet and a report", {
  skip_on_cran()
  skip_if_not_installed("rmarkdown")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc")
  dir <- withr::local_tempdir()
  writeLines(c(
    "---", "title: outer", "---",
    "```{r setup}", "knitr::opts_chunk$set(echo = FALSE)", "x <- 41", "```",
    "```{r steps}", "plan <- plan_anneal(330, c(4, 8), plan_guess(draws = 8))",
    "bench_sheet(plan, 'sheet.html')", "```",
    "```{r report}", "softening_report(example_data('bellbrass_readings'), 'out') |> invisible()",
    "```", "```{r last}", "cat('after', x + 1)", "```"), file.path(dir, "doc.Rmd"))
  out <- rmarkdown::render(file.path(dir, "doc.Rmd"), "html_document", quiet = TRUE,
                           envir = new.env(parent = globalenv()))
  html <- document_of(out)
  expect_match(html, "after 42", fixed = TRUE)
  # the options of the document are still its own
  expect_false(grepl("cat\\(", html))
  expect_true(all(file.exists(file.path(dir, c("sheet.html", "out/report.html")))))
})

test_that("markdown_text disarms every character that could act", {
  expect_identical(markdown_text(c("plain", NA, "a\nb")), c("plain", "", "a b"))
  ascii <- intToUtf8(33:126, multiple = TRUE)
  escaped <- markdown_text(ascii)
  letters_only <- grepl("[0-9A-Za-z]", ascii)
  expect_identical(escaped[letters_only], ascii[letters_only])
  expect_identical(escaped[!letters_only], paste0("&#", utf8ToInt("!") + which(!letters_only) - 1L,
                                                  ";"))
  expect_identical(markdown_text(factor("<")), "&#60;")
  expect_identical(markdown_text(character()), character())
  expect_identical(markdown_text("\u00e9"), "\u00e9")
})

test_that("addins are declared once each and bound to exported functions without arguments", {
  dcf <- read.dcf(package_file("rstudio", "addins.dcf"))
  expect_setequal(colnames(dcf), c("Name", "Description", "Binding", "Interactive"))
  expect_false(anyNA(dcf))
  expect_identical(anyDuplicated(dcf[, "Binding"]), 0L)
  expect_true(all(dcf[, "Binding"] %in% exported()))
  expect_true(all(dcf[, "Interactive"] %in% c("true", "false")))
  for (name in dcf[, "Binding"]) {
    expect_identical(length(formals(getExportedValue("softanneal", name))), 0L)
  }
})

test_that("outside RStudio an addin says what to do", {
  skip_if(in_rstudio(), "in RStudio")
  expect_message(code <- addin_import(), "Outside RStudio: copy this code")
  expect_true("readings <- read_readings(\"readings.csv\")" %in% code)
  expect_message(code <- addin_fit(), "fit <- fit_softening(readings)", fixed = TRUE)
  expect_true("cautions(\"annealing\")" %in% code)
  expect_message(code <- addin_explore(), "explore_page(fit, \"explore.html\"", fixed = TRUE)
  expect_message(addin_bench(), "bench_page(plan, \"bench.html\", open = interactive())", fixed = TRUE)
  expect_message(addin_practice(), "practice_page(design, 1, \"practice-1.html\", seed = key", fixed = TRUE)
  expect_message(call <- addin_report(), "rmarkdown::draft")
  expect_match(call, "template = \"laboratory-report\"", fixed = TRUE)
  expect_message(code <- addin_chain(), "softening_report(readings", fixed = TRUE)
  expect_identical(length(parse(text = code)), length(code))
})

test_that("the import says what is wrong with a file, then reads it by the columns that are named", {
  file <- example_data("bellbrass_messy", path = TRUE)
  first <- import_attempt(file, import_arguments(list(skip = 1)))
  expect_null(first$table)
  expect_true(nzchar(first$error))
  expect_true(all(c("Piece", "Furnace temp (C)") %in% first$headers))
  readings <- data.frame(Probe = "a", T = 330, min = c(0, 4, 8), Wert = c(160, 120, 90))
  other <- withr::local_tempfile(fileext = ".csv")
  utils::write.csv2(readings, other, row.names = FALSE)
  chosen <- list(specimen = "Probe", temp_c = "T", time_min = "min", hardness = "Wert", one_scale = "HV",
                 skip = 0, sep = "", dec = "", times = "", one_specimen = "", scale = "", operator = "")
  arguments <- import_arguments(chosen)
  second <- import_attempt(other, arguments)
  expect_null(second$error)
  expect_equal(second$table$hardness, readings$Wert, ignore_attr = TRUE)
  # the code does the same
  here <- new.env()
  suppressMessages(eval(parse(text = import_call(other, arguments)), here))
  expect_identical(here$readings, second$table)
  expect_false(is.null(import_attempt("no such file.csv")$error))
})

test_that("the window of the import follows what is chosen, and gives back the code", {
  skip_if_not_installed("shiny")
  skip_if_not_installed("miniUI")
  expect_match(as.character(import_window()), "Column: Hardness")
  shiny::testServer(import_server, {
    session$setInputs(file = example_data("bellbrass_readings", path = TRUE), skip = 0, sep = "", dec = "",
                      times = "", one_specimen = "", one_scale = "")
    expect_match(output$said, "168 readings")
    expect_match(paste(unlist(output$preview), collapse = ""), "bell-A")
    session$setInputs(times = "accumulated")
    expect_match(output$code, "times = \"accumulated\"")
  })
})

test_that("snippets are code that R can parse", {
  lines <- readLines(package_file("rstudio", "r.snippets"))
  expect_gte(sum(startsWith(lines, "snippet ")), 3L)
  body <- sub("^\t", "", lines[startsWith(lines, "\t")])
  code <- parse(text = gsub("\\$\\{[0-9]:([^}]*)\\}", "\\1", body))
  called <- unique(unlist(lapply(code, function(e) setdiff(all.names(e), all.vars(e)))))
  expect_true(all(setdiff(called, c("<-", "c", "library", "plot")) %in% exported()))
})

test_that("the code that addins insert runs", {
  skip_on_cran()
  file <- example_data("bellbrass_readings", path = TRUE)
  run <- function(code, env) {
    withr::local_png(withr::local_tempfile(fileext = ".png"))
    utils::capture.output(for (e in parse(text = code)) print(eval(e, env)))
  }
  env <- new.env(parent = globalenv())
  # the package is attached already where tests run, installed or not
  run(setdiff(import_code(file), "library(softanneal)"), env)
  expect_s3_class(env$readings, "softanneal_readings")
  run(fit_code("readings"), env)
  expect_s3_class(env$fit, "softanneal_fit_softening")
  skip_if_not_installed("jsonlite")
  withr::local_dir(withr::local_tempdir())
  run(explore_code("fit")[1L], env)
  expect_identical(list.files(), "explore.html")
  env$plan <- suppressWarnings(plan_anneal(c(300, 340), c(4, 16), plan_guess(recryst_1h_c = 330)))
  run(bench_code("plan")[1L], env)
  expect_identical(list.files(), c("bench.html", "explore.html"))
  # a viewer takes a copy in the folder of the session; what is to stay saved opens in the browser
  seen <- character()
  withr::local_options(viewer = function(url, ...) seen <<- c(seen, url),
                       browser = function(url) seen <<- c(seen, paste("browser", url)))
  show_page("explore.html")
  expect_true(startsWith(seen, tempdir()) && file.exists(seen))
  bench_page(env$plan, "bench.html", overwrite = TRUE, open = TRUE)
  expect_match(seen[2L], "^browser .*bench.html")
  lab_project("lab", group = "group 3", example = FALSE, plan = env$plan)
  expect_match(paste(readLines("lab/bench.html", n = 20L, warn = FALSE), collapse = ""), "<title>group 3")
  expect_error(lab_project("lab", plan = env$plan), class = "softanneal_error_file")
  expect_error(lab_project("other", plan = "plan"), class = "softanneal_error_argument")
  env$design <- class_design()
  run(sub("interactive()", "TRUE", practice_code("design")[1:2], fixed = TRUE), env)
  expect_match(seen[3L], "^browser .*practice-1.html")
  expect_refused(practice_page(env$design, 1, "practice-1.html", seed = env$key), "file", "already")
  lab_project("class", 4, example = FALSE, design = env$design, seed = env$key)
  expect_match(paste(readLines("class/practice.html", n = 20L, warn = FALSE), collapse = ""),
               "<title>Practice run of group 4")
  said <- lapply(list.files("class", "(md|R|Rmd)$", recursive = TRUE, full.names = TRUE), readLines)
  expect_match(unlist(said), "`practice.html`: a bench that is not there", fixed = TRUE, all = FALSE)
  expect_no_match(unlist(said), env$key, fixed = TRUE)
  expect_refused(lab_project("none", 4, design = env$design), "argument", "belong together")
  expect_refused(lab_project("none", "group 4", design = env$design, seed = env$key), "argument", "group")
  expect_false(file.exists("none"))
  # a path with quotes and backslashes stays one string
  odd <- "C:\\my \"data\"\\r.csv"
  expect_identical(eval(parse(text = import_code(odd)[2])[[1]][[3]][[2]]), odd)
})

test_that("a new report is a copy of the template and replaces nothing", {
  dir <- withr::local_tempdir()
  path <- new_report(file.path(dir, "new", "report"))
  expect_identical(basename(path), "report.Rmd")
  expect_identical(unname(tools::md5sum(path)), unname(tools::md5sum(
    template_file("laboratory-report"))))
  expect_error(new_report(path), class = "softanneal_error_file")
})

test_that("the project template declares what RStudio asks for, and its files appear", {
  dcf <- read.dcf(package_file("rstudio", "templates", "project", "softanneal.dcf"))
  expect_identical(dcf[1, "Binding"], c(Binding = "lab_project"))
  expect_true("lab_project" %in% exported())
  expect_false(anyNA(dcf[1, c("Title", "Subtitle", "Caption", "OpenFiles")]))
  parameters <- dcf[-1, "Parameter"]
  expect_true(all(parameters %in% names(formals(lab_project))))
  expect_true(all(dcf[-1, "Widget"] %in% c("TextInput", "CheckboxInput", "SelectInput",
                                           "FileInput")))
  path <- file.path(withr::local_tempdir(), "lab")
  expect_identical(lab_project(path, group = "the \"A\" team's: *one*"), path)
  opened <- trimws(strsplit(dcf[1, "OpenFiles"], ",")[[1]])
  expect_true(all(file.exists(file.path(path, opened))))
  expect_setequal(list.files(path, recursive = TRUE),
                  c("README.md", "R/analysis.R", "report/report.Rmd", "data/readings.csv"))
  expect_match(paste(readLines(file.path(path, "README.md")), collapse = " "), "zinc")
  expect_error(lab_project(path), class = "softanneal_error_file")
  empty <- file.path(withr::local_tempdir(), "empty")
  lab_project(empty, example = FALSE)
  expect_identical(list.files(file.path(empty, "data")), character())
  expect_error(lab_project(empty, group = 3), class = "softanneal_error_argument")
  blocked <- withr::local_tempfile()
  writeLines("x", blocked)
  expect_error(suppressWarnings(lab_project(blocked)), class = "softanneal_error_file")
})

test_that("the project works: its script runs and its report renders with the group's name", {
  skip_on_cran()
  skip_if_not_installed("rmarkdown")
  skip_if_not(rmarkdown::pandoc_available(), "pandoc")
  path <- file.path(withr::local_tempdir(), "lab")
  lab_project(path, group = "the \"A\" team's: *one*")
  env <- new.env(parent = globalenv())
  withr::with_dir(path, {
    withr::local_png(withr::local_tempfile(fileext = ".png"))
    code <- grep("^library", readLines("R/analysis.R"), value = TRUE, invert = TRUE)
    utils::capture.output(for (e in parse(text = code)) print(eval(e, env)))
  })
  expect_s3_class(env$fit, "softanneal_fit_softening")
  out <- rmarkdown::render(file.path(path, "report", "report.Rmd"), "html_document", quiet = TRUE,
                           envir = new.env(parent = globalenv()))
  expect_match(document_of(out), "<p>Group: the &quot;A&quot; team&#39;s: *one*</p>", fixed = TRUE)
})
