# What RStudio shows of this package: addins and project template. Every addin works from text
# made by a plain function, and outside RStudio says what to do instead of failing.

#' Addins for RStudio
#'
#' Menu entries of RStudio under Addins: **Import readings** opens a window in which a file is chosen, its
#' columns are named and the table is shown as read, and inserts the call (without the packages shiny and
#' miniUI it asks for the file alone); **Insert the usual chain** inserts all steps from file to answers;
#' **Insert a fit** inserts a fit with its plot and answers, for the selected name of a table; **Explore a
#' fit** inserts the call of [explore_page()] for the selected name of a fit, **Bench page of a plan** that
#' of [bench_page()] for a plan, **Practice page of a class** that of [practice_page()] for a class design;
#' **New laboratory report** asks where and opens a new report. Outside RStudio each prints the code or the
#' call to use instead.
#'
#' Snippets of the usual chains (`anneal`, `annealplan`, `anneallots`) stand in
#' `system.file("rstudio", "r.snippets", package = "softanneal")`: paste them under Tools, Edit Code Snippets.
#'
#' @return The code, or the path of the new report, invisibly.
#' @seealso [lab_project()], [read_readings()], [softening_report()], [explore_page()], [practice_page()]
#' @examples
#' addin_import()
#' addin_chain()
#' addin_fit()
#' addin_explore()
#' addin_bench()
#' addin_practice()
#' addin_report()
#' @name addins
NULL

#' @rdname addins
#' @export
addin_import <- function() {
  if (!in_rstudio()) return(insert_code(import_code()))
  if (requireNamespace("shiny", quietly = TRUE) && requireNamespace("miniUI", quietly = TRUE)) {
    code <- shiny::runGadget(import_window(), import_server,
                             viewer = shiny::dialogViewer("Import readings", 1000, 700))
    return(if (is.null(code)) invisible(NULL) else insert_code(code))
  }
  file <- rstudioapi::selectFile("Readings", filter = "Tables (*.csv *.tsv *.txt *.xls *.xlsx)")
  if (is.null(file)) return(invisible(NULL))
  insert_code(import_code(file))
}

#' @rdname addins
#' @export
addin_chain <- function() insert_code(c(import_code(), "summarise_readings(readings)", fit_code(),
                                        "softening_report(readings, \"report\")"))

#' @rdname addins
#' @export
addin_fit <- function() insert_code(fit_code(selected_name("readings")))

#' @rdname addins
#' @export
addin_explore <- function() insert_code(explore_code(selected_name("fit")))

#' @rdname addins
#' @export
addin_bench <- function() insert_code(bench_code(selected_name("plan")))

#' @rdname addins
#' @export
addin_practice <- function() insert_code(practice_code(selected_name("design")))

selected_name <- function(usual) {
  selected <- if (in_rstudio()) rstudioapi::getActiveDocumentContext()$selection[[1L]]$text
  table_name(selected, usual)
}

# The selected text where it is the name of a table or one expression such as `data$bell`;
# anything else can only be a name that needs quotes.
table_name <- function(selected, usual = "readings") {
  selected <- trimws(paste(selected, collapse = " "))
  if (!nzchar(selected) || nchar(selected) > 1000L) return(usual)
  code <- tryCatch(parse(text = selected, keep.source = FALSE), error = function(e) NULL)
  if (length(code) != 1L) {
    if (grepl(UNSEEN, selected, perl = TRUE)) return(paste0("get(", code_text(selected), ")"))
    code <- list(as.name(selected))
  }
  paste(deparse(code[[1L]], backtick = TRUE), collapse = " ")
}

#' @rdname addins
#' @export
addin_report <- function() {
  call <- paste0("rmarkdown::draft(\"report.Rmd\", template = \"laboratory-report\", ",
                 "package = \"softanneal\", edit = FALSE)")
  if (!in_rstudio()) {
    message("Outside RStudio a new report is made by\n  ", call)
    return(invisible(call))
  }
  need_package("rmarkdown", "to make a report")
  path <- rstudioapi::selectFile("New laboratory report", label = "Create", existing = FALSE,
                                 filter = "R Markdown (*.Rmd)")
  if (is.null(path)) return(invisible(NULL))
  path <- new_report(path)
  rstudioapi::navigateToFile(path)
  invisible(path)
}

in_rstudio <- function() {
  requireNamespace("rstudioapi", quietly = TRUE) && rstudioapi::isAvailable()
}

insert_code <- function(code) {
  text <- paste0(paste(code, collapse = "\n"), "\n")
  if (in_rstudio()) rstudioapi::insertText(text = text) else
    message("Outside RStudio: copy this code into your script.\n", text)
  invisible(code)
}

import_code <- function(file = NULL) {
  shown <- if (is.null(file)) "\"readings.csv\"" else code_text(file)
  c("library(softanneal)",
    paste0("readings <- read_readings(", shown, ")"),
    "readings",
    "check_readings(readings)")
}

fit_code <- function(name = "readings") {
  c(paste0("fit <- fit_softening(", name, ")"),
    "summary(fit)",
    "plot(fit)",
    "time_to(fit, softening = 0.5)",
    "cautions(\"annealing\")")
}

explore_code <- function(name = "fit") {
  c(paste0("explore_page(", name, ", \"explore.html\", overwrite = TRUE, open = interactive())"),
    "cautions(\"annealing\")")
}

# A page that is there holds a run: it is not written over.
bench_code <- function(name = "plan") {
  c(paste0("bench_page(", name, ", \"bench.html\", open = interactive())"),
    "cautions(c(\"furnace\", \"annealing\"))")
}

# The key is kept by its own line: without it there are no true values to mark by.
practice_code <- function(name = "design") {
  c("key <- class_secret() # write it down: answer_key() and mark_answers() need it",
    paste0("practice_page(", name, ", 1, \"practice-1.html\", seed = key, open = interactive())"),
    "cautions()")
}

# A report from the template beside nothing that is there already.
new_report <- function(path, template = "laboratory-report") {
  check_seen(path, "path")
  if (!grepl("[.][Rr]md$", path)) path <- paste0(path, ".Rmd")
  if (file.exists(path)) {
    abort("file", paste0("there is a file ", path, " already"), arg = "path",
          remedy = "Choose another name.")
  }
  source <- template_file(template)
  if (!dir.exists(dirname(path))) dir.create(dirname(path), FALSE, recursive = TRUE)
  if (!place_copy(source, path)) {
    abort("file", paste0("the file ", path, " could not be written"), arg = "path",
          remedy = "Check the free space and your rights in the folder.")
  }
  path
}

template_file <- function(template) {
  system.file("rmarkdown", "templates", template, "skeleton", "skeleton.Rmd",
              package = "softanneal", mustWork = TRUE)
}

#' A folder for a laboratory session
#'
#' Makes what a group needs: `data/` for readings, `R/analysis.R` with the steps of the analysis,
#' `report/report.Rmd` from the template, and a `README.md`. This is also the project template of
#' RStudio (New Project, New Directory, Softening laboratory).
#'
#' @param path Folder; made if it is not there. Files in it are never replaced.
#' @param group Name of the group, for the report; with `design` its number.
#' @param example Whether to put the example readings into `data/readings.csv`.
#' @param ... Ignored; RStudio may pass more.
#' @param plan A plan of [plan_anneal()]: `bench.html` is then its [bench_page()].
#' @param design,seed A [class_design()] and the seed of its class: `practice.html` is then the
#'   [practice_page()] of the group. The seed is not written into the folder.
#' @return The path, invisibly.
#' @section Errors: `softanneal_error_file` if one of the files is there already, or cannot be
#'   written.
#' @section Safety: `r CAUTION_DEFERENCE`
#' @seealso [addins], [softening_report()], [read_readings()]
#' @examples
#' folder <- tempfile("laboratory")
#' lab_project(folder, group = "group 3")
#' list.files(folder, recursive = TRUE)
#' @export
lab_project <- function(path, group = "", example = TRUE, ..., plan = NULL, design = NULL, seed = NULL) {
  path <- check_path(path, "path")
  practice <- project_practice(design, group, seed)
  group <- check_string(practice$title %or% group, "group")
  example <- check_flag(example, "example")
  if (!is.null(plan)) check_plan(plan)
  pages <- file.path(path, c("bench.html", "practice.html"))[c(!is.null(plan), !is.null(practice))]
  file <- file.path(path, c("README.md", "R/analysis.R", "report/report.Rmd",
                            if (example) "data/readings.csv"))
  there <- file.exists(c(file, pages))
  if (any(there)) {
    abort("file", paste0("there are files in ", path, " already: ",
                         listed(basename(c(file, pages))[there])), arg = "path",
          remedy = "Choose a new folder.")
  }
  for (part in c("data", "R", "report")) {
    dir.create(file.path(path, part), recursive = TRUE, showWarnings = FALSE)
  }
  if (!all(dir.exists(file.path(path, c("data", "R", "report"))))) {
    abort("file", paste0("the folder ", path, " cannot be made"), arg = "path",
          remedy = "Choose a folder in which you may write.")
  }
  report <- readLines(template_file("laboratory-report"), encoding = "UTF-8")
  report[startsWith(report, "  readings: ")] <- "  readings: \"../data/readings.csv\""
  report[startsWith(report, "  group: ")] <- paste0("  group: ", yaml_text(group))
  parts <- list(project_readme(group, basename(pages)), project_script(), report,
                if (example) readLines(example_data("bellbrass_readings", path = TRUE)))
  for (k in seq_along(file)) {
    if (!put_in_place(file[k], function(to) NULL, function(to) save_lines(parts[[k]], to))) {
      unlink(file)
      abort("file", paste0("the file ", file[k], " could not be written"), arg = "path",
            remedy = "Check the free space and your rights in the folder.")
    }
  }
  for (page in pages) {
    if (basename(page) == "practice.html") do.call(practice_page, c(practice, file = page)) else
      bench_page(plan, page, title = if (nzchar(group)) group else "Annealing run")
  }
  invisible(path)
}

# What practice_page() is asked for the group of a folder; NULL without a design.
project_practice <- function(design, group, seed) {
  if (is.null(design) != is.null(seed)) {
    abort("argument", "`design` and `seed` belong together", arg = if (is.null(seed)) "seed" else "design",
          remedy = "Give both for a practice page, or none.")
  }
  if (is.null(design)) return(NULL)
  check_class_seed(seed)
  group <- check_number(group, "group", 1, 9999, whole = TRUE)
  list(design = check_design(design), group = group, seed = seed,
       title = paste("Practice run of group", group))
}

project_script <- function() {
  c("# From readings to kinetics. Run line by line; put your readings into data/readings.csv.",
    "library(softanneal)", "", "readings <- read_readings(\"data/readings.csv\")", "readings",
    "check_readings(readings)", "summarise_readings(readings)", "",
    fit_code("readings"), "plot_avrami(fit)", "plot_arrhenius(fit)", "",
    "# a page to explore the fit, for any browser (needs the package jsonlite)",
    "explore_page(fit, \"explore.html\", overwrite = TRUE)", "",
    "# at the furnace: a plan, and its page for telephone or tablet",
    "# plan <- plan_anneal(c(300, 330, 360), c(4, 8, 16, 32), plan_guess(recryst_1h_c = 330))",
    paste("#", bench_code()[1L]),
    "# what the page saves: readings <- read_readings(\"readings.csv\");",
    "# fit_softening(readings, history = read_history(\"events.csv\"))", "",
    "# for practice without a bench: the specimen of one group of a class",
    "# design <- class_design()", paste("#", practice_code()[1:2]))
}

PROJECT_PAGES <- c(bench.html = "the run at the furnace; opens by a double click, on telephone or tablet too",
                   practice.html = "a bench that is not there, for practice; opens by a double click")

project_readme <- function(group, pages) {
  c("# Softening laboratory", "", if (nzchar(group)) c(markdown_text(group), ""),
    "- `data/readings.csv`: hardness readings, one row per reading",
    "- `R/analysis.R`: the analysis, step by step",
    "- `report/report.Rmd`: the report; Knit makes the document",
    if (length(pages)) paste0("- `", pages, "`: ", PROJECT_PAGES[pages]), "",
    "Before work at rolls, saw or furnace:", "",
    strwrap(paste(CAUTION_LINE, CAUTION_DEFERENCE), width = 80))
}
