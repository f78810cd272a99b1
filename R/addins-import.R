# Import with a preview: a window of shiny and miniUI that tries read_readings() on a file while its columns
# are named, and gives back the call. The window only shows what the plain functions here make.

IMPORT_ROLES <- c(specimen = "Specimen", temp_c = "Temperature (\u00b0C)", time_min = "Time (min)",
                  hardness = "Hardness", scale = "Scale", operator = "Operator")

# Arguments of read_readings() from what was chosen; what is empty is left to it.
import_arguments <- function(chosen) {
  role <- unlist(chosen[names(IMPORT_ROLES)])
  role <- role[nzchar(role)]
  skip <- suppressWarnings(as.integer(chosen$skip))
  Filter(Negate(is.null), list(
    columns = if (length(role)) role,
    specimen = chosen_text(chosen$one_specimen), scale = chosen_text(chosen$one_scale),
    times = chosen_text(chosen$times), sep = chosen_text(chosen$sep), dec = chosen_text(chosen$dec),
    skip = if (length(skip) && !is.na(skip) && skip > 0L) skip))
}

chosen_text <- function(x) if (length(x) == 1L && !is.na(x) && nzchar(x)) x

# The call in R code.
import_call <- function(file, arguments = list()) {
  text <- function(x) {
    if (is.integer(x)) return(as.character(x))
    words <- vapply(x, code_text, "")
    if (is.null(names(x))) words else paste0("c(", paste(names(x), "=", words, collapse = ", "), ")")
  }
  paste0("readings <- read_readings(", paste(c(code_text(file), if (length(arguments)) {
    paste(names(arguments), "=", vapply(arguments, text, ""))
  }), collapse = ", "), ")")
}

# What read_readings() makes of the file: the table, or why not; what it says; the headers of the file.
import_attempt <- function(file, arguments = list()) {
  said <- character()
  note <- function(c) {
    said <<- c(said, trimws(conditionMessage(c)))
    invokeRestart(if (inherits(c, "message")) "muffleMessage" else "muffleWarning")
  }
  table <- withCallingHandlers(
    tryCatch(do.call(read_readings, c(list(file), arguments)), softanneal_error = conditionMessage),
    softanneal_message = note, softanneal_warning = note)
  headers <- tryCatch(suppressMessages(names(read_sheet(
    file, NULL, NULL, arguments$sep, arguments$dec, NULL, NULL, as.double(arguments$skip %or% 0L),
    c("", "NA")))), softanneal_error = function(e) character())
  list(table = if (is.data.frame(table)) table, error = if (!is.data.frame(table)) table, said = said,
       headers = setdiff(headers, c("sheet_row", "sheet_column")))
}

import_window <- function() {
  field <- function(id, label) shiny::selectInput(id, label, c("as found" = ""), width = "100%")
  miniUI::miniPage(
    # long lines of code and of what was read break at the edge
    shiny::tags$style("pre {white-space: pre-wrap; word-break: normal;} #choose {margin-bottom: 10px;}"),
    miniUI::gadgetTitleBar("Import readings",
                           right = miniUI::miniTitleBarButton("done", "Insert the code", TRUE)),
    miniUI::miniContentPanel(
      shiny::fillRow(
        flex = c(1, 2),
        shiny::div(
          style = "padding-right: 1em; overflow-y: auto; height: 100%",
          shiny::actionButton("choose", "Choose a file"), shiny::textInput("file", "File", width = "100%"),
          shiny::numericInput("skip", "Lines before the header", 0, 0, width = "100%"),
          shiny::selectInput("sep", "Separator", c("as found" = "", "," = ",", ";" = ";", "tab" = "\t"),
                             width = "100%"),
          shiny::selectInput("dec", "Decimal mark", c("as found" = "", "." = ".", "," = ","), width = "100%"),
          shiny::selectInput("times", "Times are", c("as found" = "", "accumulated", "step"),
                             width = "100%"),
          Map(field, names(IMPORT_ROLES), paste("Column:", IMPORT_ROLES)),
          shiny::textInput("one_specimen", "One specimen in the whole file", width = "100%"),
          shiny::textInput("one_scale", "One scale in the whole file", width = "100%")),
        shiny::div(
          style = "overflow: auto; height: 100%", shiny::h4("Code"), shiny::verbatimTextOutput("code"),
          shiny::h4("What was read"), shiny::verbatimTextOutput("said"), shiny::tableOutput("preview")))))
}

import_server <- function(input, output, session) {
  chosen <- shiny::reactive(import_arguments(shiny::reactiveValuesToList(input)))
  attempt <- shiny::reactive({
    shiny::req(input$file)
    import_attempt(input$file, chosen())
  })
  shiny::observeEvent(input$choose, {
    file <- if (in_rstudio()) rstudioapi::selectFile("Readings") else file.choose()
    if (!is.null(file)) shiny::updateTextInput(session, "file", value = file)
  })
  shiny::observeEvent(attempt()$headers, {
    for (role in names(IMPORT_ROLES)) {
      shiny::updateSelectInput(session, role, choices = c("as found" = "", attempt()$headers),
                               selected = intersect(input[[role]], attempt()$headers))
    }
  })
  output$code <- shiny::renderText(import_call(input$file, chosen()))
  output$said <- shiny::renderText({
    a <- attempt()
    paste(c(if (!is.null(a$error)) paste("Not read:", a$error) else count(nrow(a$table), "reading"), a$said),
          collapse = "\n")
  })
  output$preview <- shiny::renderTable(if (!is.null(attempt()$table)) {
    utils::head(as.data.frame(attempt()$table), 12L)
  })
  shiny::observeEvent(input$done, {
    shiny::stopApp(c("library(softanneal)", import_call(input$file, chosen()), "check_readings(readings)"))
  })
  shiny::observeEvent(input$cancel, shiny::stopApp(NULL))
}
