# Nothing that comes from a person or a file acts in what is written; it is shown as typed.

draft_in <- function(template, dir) {
  rmarkdown::draft(file.path(dir, "doc.Rmd"), edit = FALSE, template = system.file(
    "rmarkdown", "templates", template, package = "softanneal", mustWork = TRUE))
}

test_that("each target gets text that cannot act there and comes back as typed", {
  typed <- payloads()
  yaml <- yaml_text(typed)
  expect_false(any(grepl("[`!&*'\n:{}\\[\\]#|>@%<-]", yaml)))
  expect_match(yaml, "^\"([A-Za-z0-9 ]|\\\\x[0-9a-f]{2}|\\\\u[0-9a-f]{4}|\\\\U[0-9a-f]{8})*\"$")
  skip_if_not_installed("yaml")
  back <- vapply(yaml, function(x) yaml::yaml.load(paste("a:", x), eval.expr = TRUE)$a, "")
  expect_identical(unname(back), unname(typed))
})

test_that("Markdown text is digits, letters, blanks and entities; LaTeX text has no command of its own", {
  typed <- payloads()
  expect_identical(decode_entities(markdown_text(typed)), gsub("\u202e", "<U+202E>", gsub(
    "[[:cntrl:]]+", " ", typed)), ignore_attr = "names")
  expect_false(any(grepl("[^A-Za-z0-9 &#;\U0001f600]", markdown_text(typed))))
  tex <- latex_text(c(typed, "\u6e29\u5ea6 \u00e9 \u00b0C"))
  # what is left without the commands of the table is text alone
  for (command in softanneal:::LATEX_NAMES) tex <- gsub(command, "", tex, fixed = TRUE)
  tex <- gsub("([-,])\\{\\}(?=\\1)", "\\1", tex, perl = TRUE) # nothing, between two that would be one
  expect_false(any(grepl("[\\\\#$%&_{}~^|`<>\"*]|\\[", tex)))
  expect_true(all(utf8ToInt(paste(tex, collapse = "")) < 0x180))
  expect_identical(latex_text("a--b---c ,, it's"), "a-{}-b-{}-{}-c ,{}, it\\textquotesingle{}s")
})

test_that("R code of the addins holds a path and a name as data", {
  for (text in payloads()) {
    code <- parse(text = import_code(text))
    expect_length(code, 4L)
    expect_identical(code[[2L]][[3L]][[2L]], text)
    expect_length(parse(text = fit_code(table_name(text))), 5L)
    expect_length(parse(text = explore_code(table_name(text, "fit"))), 2L)
    expect_length(parse(text = bench_code(table_name(text, "plan"))), 2L)
  }
  expect_identical(table_name(" data$bell[1:3, ] "), "data$bell[1:3, ]")
  expect_identical(table_name("my data"), "`my data`")
  expect_identical(table_name("x); quit("), "`x); quit(`")
  expect_identical(table_name("a; quit()"), "`a; quit()`")
  expect_identical(table_name(""), "readings")
})

test_that("a project for a group of any name runs nothing of it, and shows it", {
  skip_on_cran()
  skip_unless_documents()
  dir <- withr::local_tempdir()
  withr::local_dir(dir)
  typed <- payloads()
  # each alone at the start of the value, where YAML looks for a tag
  for (k in seq_along(typed)) {
    path <- file.path(dir, k)
    lab_project(path, group = typed[[k]], example = FALSE)
    front <- rmarkdown::yaml_front_matter(file.path(path, "report", "report.Rmd"))
    expect_identical(front$params$group, typed[[k]])
    expect_false(grepl("`", grep("^  group:", readLines(file.path(path, "report", "report.Rmd")),
                                 value = TRUE)))
  }
  # all of them as the group, and as names of pieces and columns and as notes in the readings; a
  # cell of the file keeps neither line ends nor blanks at its ends
  lab_project("lab", group = paste(typed, collapse = " ; "))
  lab_project("plain", group = "x")
  cells <- typed[!grepl("\n", typed)]
  specimen <- vapply(split(cells, rep_len(1:4, length(cells))), paste, "", collapse = " ; ")
  table <- as.data.frame(simulate_readings(seed = 1))
  hostile <- table
  hostile$specimen <- specimen[match(table$specimen, unique(table$specimen))]
  hostile$note <- rep_len(cells, nrow(table))
  hostile[[typed[["inline"]]]] <- typed[["script"]]
  utils::write.csv(table, "plain/data/readings.csv", row.names = FALSE)
  utils::write.csv(hostile, "lab/data/readings.csv", row.names = FALSE)
  text <- html_text(render_in("lab/report", "report.Rmd", "html_document"))
  expect_as_typed(text, typed)
  expect_gte(lengths(regmatches(text, gregexpr(as_seen(typed[["close"]]), text, fixed = TRUE))), 3L)
  render_in("plain/report", "report.Rmd", "html_document")
  expect_setequal(unique(html_tags("lab/report/report.html")),
                  unique(html_tags("plain/report/report.html")))
  word <- render_in("lab/report", "report.Rmd", "word_document")
  expect_as_typed(word_text(word), typed)
  expect_identical(grep("javascript", word_links(word)), integer())
  rmarkdown::pandoc_convert("README.md", to = "html", output = file.path(dir, "readme.html"), wd = "lab")
  expect_as_typed(html_text("readme.html"), typed)
  # the report of one call: its title by default comes from the name of the file
  file <- paste0("`r file.create('", CANARY, "')` [x](javascript:1) \\1.csv")
  file.copy("lab/data/readings.csv", file)
  suppressMessages({
    softening_report(file, "named")
    softening_report(table, "titled", title = paste(typed, collapse = " ; "))
  })
  expect_as_typed(html_text("named/report.html"), tools::file_path_sans_ext(file))
  expect_as_typed(html_text("titled/report.html"), typed)
  expect_identical(html_tags("titled/report.html"), html_tags("named/report.html"))
  expect_no_canary(dir)
})

test_that("plan, bench sheet and key run nothing of what they are told, and show it", {
  skip_on_cran()
  skip_unless_documents()
  dir <- withr::local_tempdir()
  withr::local_dir(dir)
  typed <- payloads()
  all <- paste(typed, collapse = " ; ")
  steps <- data.frame(specimen = rep(c(all, "other"), each = 2), temp_c = rep(c(290, 310), each = 2),
                      time_min = c(4, 8, 4, 8))
  guess <- plan_guess(recryst_1h_c = 330, draws = 8)
  plan <- plan_anneal(steps, guess = guess)
  bench_sheet(plan, "sheet.html", title = all)
  expect_as_typed(html_text("sheet.html"), typed)
  steps$specimen <- rep(c("one", "other"), each = 2)
  bench_sheet(plan_anneal(steps, guess = guess), "plain.html", title = "x")
  expect_identical(html_tags("sheet.html"), html_tags("plain.html"))
  draft_in("plan-bench-sheet", dir)
  params <- list(temp_c = 330, time_min = c(4, 8), improve = "", run = all,
                 sheet = "javascript:`r 1`&x.html")
  expect_as_typed(html_text(render_in(dir, "doc.Rmd", "html_document", params)), c(typed, params$sheet))
  if (extended_tests()) {
    word <- render_in(dir, "doc.Rmd", "word_document", params)
    expect_as_typed(word_text(word), c(typed, params$sheet))
    expect_identical(grep("javascript:", word_links(word)), integer())
  }
  expect_false(grepl("href=\"javascript:", html_body("doc.html"), fixed = TRUE))
  # what a group reports is text too
  unlink("doc.Rmd")
  draft_in("instructor-key", dir)
  short <- typed[!grepl("\n", typed)]
  key <- answer_key(ceiling(length(short) / 2), seed = 5)
  answers <- data.frame(group = rep(unique(key$group), each = 2)[seq_along(short)],
                        quantity = rep_len(c("q_kj_mol", "n"), length(short)), value = unname(short))
  utils::write.csv(answers, "answers.csv", row.names = FALSE)
  render_in(dir, "doc.Rmd", "html_document", list(n_groups = max(1, ceiling(length(short) / 2)), seed = 5,
                                                  answers = "answers.csv"))
  expect_as_typed(html_text("doc.html"), short)
  expect_identical(grep("<b>|script|onerror|onmouseover", html_tags("doc.html"), value = TRUE), character())
  expect_false(grepl("href=\"javascript", html_body("doc.html"), fixed = TRUE))
  expect_no_canary(dir)
})

test_that("LaTeX gets nothing that acts there, and prints it where it is at hand", {
  skip_on_cran()
  skip_unless_documents()
  dir <- withr::local_tempdir()
  withr::local_dir(dir)
  # no browser prints the sheet; a checker of this process is not for LaTeX
  withr::local_envvar(SOFTANNEAL_BROWSER = "none", LD_PRELOAD = NA)
  typed <- payloads()
  all <- paste(typed, collapse = " ; ")
  draft_in("plan-bench-sheet", dir)
  params <- list(temp_c = 330, time_min = c(4, 8), improve = "", run = all, sheet = "")
  tex <- paste(readLines(render_in(dir, "doc.Rmd", "latex_document", params)), collapse = " ")
  for (acts in c("\\write18", "\\input{/etc", "$f$", "\\(g", "^^5c", "%s %d", "\\href{javascript")) {
    expect_false(grepl(acts, tex, fixed = TRUE), label = acts)
  }
  expect_match(tex, "textbackslash write18\\{touch softanneal-canary\\}", fixed = TRUE)
  expect_no_canary(dir)
  skip_if_not(all(nzchar(Sys.which(c(LATEX, "pdftotext", "kpsewhich")))), "LaTeX")
  needed <- c("lmodern.sty", "longtable.sty", "geometry.sty", "hyperref.sty", "fancyhdr.sty", "booktabs.sty")
  skip_if(length(system2("kpsewhich", needed, stdout = TRUE)) < length(needed), "LaTeX packages")
  withr::local_options(tinytex.latexmk.warning = FALSE) # of a head of many lines
  steps <- data.frame(specimen = c("one", "other"), temp_c = c(290, 310), time_min = 8)
  bench_sheet(plan_anneal(steps, guess = plan_guess(recryst_1h_c = 330, draws = 8)), "sheet.pdf", title = all)
  printed <- pdf_letters("sheet.pdf")
  expect_as_typed(printed, letters_alone(typed))
  # pdflatex has no emoji for the text that Pandoc hands on
  params$run <- paste(setdiff(typed, typed[["emoji"]]), collapse = " ; ")
  render_in(dir, "doc.Rmd", rmarkdown::pdf_document(highlight = NULL), params)
  expect_as_typed(pdf_letters("doc.pdf"), letters_alone(setdiff(typed, typed[["emoji"]])))
  expect_no_canary(dir)
})
