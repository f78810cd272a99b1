# What RStudio shows of this package: addins and project template. Every addin works from text
# made by a plain function, and outside RStudio says what to do instead of failing.

#' Addins for RStudio
#'
#' Menu entries of RStudio under Addins: **Import readings** opens a window in which a file is chosen, its
#' columns are named and the table is shown as read, and inserts the call (without the packages shiny and
#' miniUI it asks for the file alone); **Insert the usual chain** inserts all steps from file to answers;
#' **Insert a fit** inserts a fit with its plot and answers, for the selected name of a table; **Explore a
#' fit** inserts the call of [explore_page()] for the selected name of a fit, and **Bench page of a plan**
#' that of [bench_page()] for a plan; **New laboratory report** asks where and opens a new report. Outside
#' RStudio each prints the code or the call to use instead.
#'
#' Snippets of the usual chains (`anneal`, `annealplan`, `anneallots`) stand in
#' `system.file("rstudio", "r.snippets", package = "softanneal")`: paste them under Tools, Edit Code Snippets.
#'
#' @return The code, or the path of the new report, invisibly.
#' @seealso [lab_project()], [read_readings()], [softening_report()], [explore_page()]
#' @examples
#' addin_import()
#' addin_chain()
#' addin_fit()
#' addin_explore()
#' addin_bench()
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
addin_fit <- function() {
  selected <- if (in_rstudio()) rstudioapi::getActiveDocumentContext()$selection[[1L]]$text
  insert_code(fit_code(table_name(selected)))
}

#' @rdname addins
#' @export
addin_explore <- function() {
  selected <- if (in_rstudio()) rstudioapi::getActiveDocumentContext()$selection[[1L]]$text
  insert_code(explore_code(table_name(selected, "fit")))
}

#' @rdname addins
#' @export
addin_bench <- function() {
  selected <- if (in_rstudio()) rstudioapi::getActiveDocumentContext()$selection[[1L]]$text
  insert_code(bench_code(table_name(selected, "plan")))
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
#' @param group Name of the group, for the report.
#' @param example Whether to put the example readings into `data/readings.csv`.
#' @param ... Ignored; RStudio may pass more.
#' @param plan A plan of [plan_anneal()]: `bench.html` is then its [bench_page()].
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
lab_project <- function(path, group = "", example = TRUE, ..., plan = NULL) {
  path <- check_path(path, "path")
  group <- check_string(group, "group")
  example <- check_flag(example, "example")
  if (!is.null(plan)) check_plan(plan)
  bench <- file.path(path, "bench.html")
  file <- file.path(path, c("README.md", "R/analysis.R", "report/report.Rmd",
                            if (example) "data/readings.csv"))
  there <- file.exists(c(file, bench[!is.null(plan)]))
  if (any(there)) {
    abort("file", paste0("there are files in ", path, " already: ",
                         listed(basename(c(file, bench))[which(there)])), arg = "path",
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
  parts <- list(project_readme(group), project_script(), report,
                if (example) readLines(example_data("bellbrass_readings", path = TRUE)))
  for (k in seq_along(file)) {
    if (!put_in_place(file[k], function(to) NULL, function(to) save_lines(parts[[k]], to))) {
      unlink(file)
      abort("file", paste0("the file ", file[k], " could not be written"), arg = "path",
            remedy = "Check the free space and your rights in the folder.")
    }
  }
  if (!is.null(plan)) bench_page(plan, bench, title = if (nzchar(group)) group else "Annealing run")
  invisible(path)
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
    "# fit_softening(readings, history = read_history(\"events.csv\"))")
}

project_readme <- function(group) {
  c("# Softening laboratory", "", if (nzchar(group)) c(markdown_text(group), ""),
    "- `data/readings.csv`: hardness readings, one row per reading",
    "- `R/analysis.R`: the analysis, step by step",
    "- `report/report.Rmd`: the report; Knit makes the document", "",
    "Before work at rolls, saw or furnace:", "",
    strwrap(paste(CAUTION_LINE, CAUTION_DEFERENCE), width = 80))
}
