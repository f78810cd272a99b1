# The bench sheet: a plan on paper, A4, with empty boxes for the readings and the cautions first.
# R makes the parts, inst/report/bench-sheet.Rmd sets them; rmarkdown turns it into HTML, and a
# browser or LaTeX prints that as PDF. Text from the user's data is escaped for its format.

# Browsers of the Chromium family, any of which prints to PDF.
BROWSERS <- c("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
# The engine that inst/report/bench-sheet.Rmd names.
LATEX <- "pdflatex"

#' Bench sheet of a plan
#'
#' A printable sheet for the bench, A4 or Letter: cautions first, then set points and the places of the
#' indentations on the strip; then, on wide pages, the steps with clock times and empty boxes for the actual
#' times in and out, the measured temperature, the readings, initials and a note, large enough for
#' a hand in a glove. Steps without a place in the timetable are listed apart. Each page has a
#' line for group and date and its number.
#'
#' HTML needs the packages rmarkdown and knitr and pandoc. For PDF the sheet is printed by a
#' browser of the Chromium family when one is found (or named in the environment variable
#' `SOFTANNEAL_BROWSER`), else by LaTeX. The file is made under a temporary name in a
#' temporary folder and takes its name when it is complete.
#'
#' @param plan A plan of [plan_anneal()] or [improve_plan()].
#' @param file Path of the sheet, ending in `.html` or `.pdf`.
#' @param ... Must be empty.
#' @param title Title of the sheet.
#' @param paper `"A4"` or `"letter"`.
#' @param overwrite Whether a file that is there may be replaced.
#' @return The path, invisibly.
#' @section Errors:
#'   `softanneal_error_file` when the file is there already, has another ending, or cannot be
#'   written; `softanneal_error_package` when what is needed to make it is not installed.
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @seealso [plan_anneal()], [bench_page()], [readings_form()], [cautions()]
#' @examples
#' \donttest{
#' if (requireNamespace("rmarkdown", quietly = TRUE) && rmarkdown::pandoc_available()) {
#'   plan <- plan_anneal(c(290, 320), c(4, 8, 16), plan_guess(recryst_1h_c = 330))
#'   bench_sheet(plan, file.path(tempdir(), "sheet.html"), overwrite = TRUE)
#' }
#' }
#' @export
bench_sheet <- function(plan, file, ..., title = "Annealing run", overwrite = FALSE,
                        paper = c("A4", "letter")) {
  check_dots_empty(...)
  paper <- check_choice(paper, c("A4", "letter"), "paper")
  check_plan(plan)
  file <- check_new_file(file, c("html", "pdf"), overwrite)
  title <- check_string(title, "title")
  ending <- tolower(tools::file_ext(file))
  need_package("rmarkdown", "to write the sheet")
  need_package("knitr", "to write the sheet")
  if (!rmarkdown::pandoc_available()) {
    abort("package", "pandoc is needed to write the sheet", arg = "file",
          remedy = "Install pandoc, or work in RStudio, which brings it.")
  }
  work <- tempfile("softanneal-sheet-")
  dir.create(work)
  on.exit(unlink(work, recursive = TRUE), add = TRUE)
  made <- if (ending == "html") {
    render_sheet(plan, title, work, "html", paper)
  } else {
    print_sheet(plan, title, work, paper)
  }
  place_sheet(made, file)
  invisible(file)
}

# Under a name of its own in the same folder, then renamed, so that no half file is seen.
place_sheet <- function(made, file) {
  if (!place_copy(made, file)) {
    abort("file", paste0("the file ", file, " could not be written"), arg = "file",
          remedy = "Check the free space and your rights in the folder.")
  }
}

render_sheet <- function(plan, title, work, format, paper) {
  source <- system.file("report", "bench-sheet.Rmd", package = "softanneal", mustWork = TRUE)
  parts <- c("bench-sheet.css", "page.html")
  file.copy(file.path(dirname(source), parts), work)
  lines <- readLines(source, encoding = "UTF-8")
  if (paper == "letter") lines <- sub("a4paper", "letterpaper", lines, fixed = TRUE)
  writeLines(lines, file.path(work, "bench-sheet.Rmd"), useBytes = TRUE)
  render_apart(
    file.path(work, "bench-sheet.Rmd"),
    output_format = if (format == "html") "html_document" else "pdf_document",
    output_file = if (format == "html") "sheet.html" else "sheet.pdf",
    # the header is Markdown for either; LaTeX has the letters of its font only
    params = list(plan = plan, paper = paper, title = if (format == "html") title else latin_text(title)))
  file.path(work, if (format == "html") "sheet.html" else "sheet.pdf")
}

print_sheet <- function(plan, title, work, paper) {
  browser <- find_browser()
  if (nzchar(browser)) {
    page <- render_sheet(plan, title, work, "html", paper)
    out <- file.path(work, "sheet.pdf")
    # a browser that runs as root refuses its sandbox
    root <- identical(unname(Sys.info()["effective_user"]), "root")
    said <- suppressWarnings(system2(browser, shQuote(c(
      "--headless", if (root) "--no-sandbox", "--disable-gpu", "--no-first-run",
      "--disable-background-networking", paste0("--user-data-dir=", file.path(work, "browser")),
      "--no-pdf-header-footer", "--print-to-pdf-no-header", paste0("--print-to-pdf=", out),
      paste0("file://", normalizePath(page)))), stdout = TRUE, stderr = TRUE, timeout = 120))
    if (file.exists(out) && file.size(out) > 0) return(out)
    abort("file", paste0("the browser ", browser, " did not print the sheet: ",
                         paste(utils::tail(said, 2L), collapse = " ")), arg = "file",
          remedy = "Write .html and print that from a browser.")
  }
  if (nzchar(Sys.which(LATEX))) {
    return(tryCatch(render_sheet(plan, title, work, "pdf", paper), error = function(e) {
      abort("file", paste0("LaTeX did not print the sheet: ", conditionMessage(e)), arg = "file",
            remedy = "Write .html and print that from any browser.")
    }))
  }
  abort("package", "a browser of the Chromium family or LaTeX is needed for PDF", arg = "file",
        remedy = "Install one, or write .html and print that from any browser.")
}

# "" when none; SOFTANNEAL_BROWSER names one, or "none" to do without.
find_browser <- function() {
  wished <- Sys.getenv("SOFTANNEAL_BROWSER")
  if (nzchar(wished)) return(if (wished == "none") "" else unname(Sys.which(wished)))
  found <- Sys.which(BROWSERS)
  c(found[nzchar(found)], "")[[1L]]
}

# The set points: what each furnace holds from when on.
sheet_furnaces <- function(plan) {
  s <- plan$steps[plan$steps$step > 0 & !is.na(plan$steps$in_min), ]
  by <- unique(s[c("session", "furnace", "temp_c")])
  by <- by[order(by$session, by$furnace, by$temp_c), , drop = FALSE]
  first <- vapply(seq_len(nrow(by)), \(k) {
    min(s$in_min[s$session == by$session[k] & s$furnace == by$furnace[k] &
                   s$temp_c == by$temp_c[k]])
  }, 0)
  t <- plan$temperatures
  k <- match(by$temp_c, t$temp_c)
  reach <- \(low, high) paste0(format_quantity(low, 2L), " to ", format_quantity(high, 2L))
  out <- data.frame(
    Session = by$session, Furnace = by$furnace, "Set to (\u00b0C)" = by$temp_c,
    "Ready at" = clock_text(plan$settings$start + first),
    "T/Tm (K/K)" = sprintf("%.2f", t$homologous[k]),
    "Heat-up in each step (min)" = paste0(format(t$heat_up_min[k]), " (",
                                          reach(t$heat_up_low_min[k], t$heat_up_high_min[k]), ")"),
    "Cold after (min)" = format(t$cool_min[k]),
    "Half softening, expected (min)" = paste0(
      format_quantity(t$t50_min[k], 2L), " (", reach(t$t50_low_min[k], t$t50_high_min[k]), ")"),
    Note = t$note[k], check.names = FALSE)
  out[c(plan$settings$sessions > 1, rep(TRUE, 7L), any(nzchar(t$note[k])))]
}

# The steps that have a place in the timetable (or those that have none), with empty columns for
# what is written on the bench. `Place` is the number in the plot.
sheet_steps <- function(plan, booked = TRUE) {
  s <- plan$steps[is.na(plan$steps$read_min) != booked, ]
  dash <- \(v) ifelse(is.na(v), "\u2013", v)
  first <- s$step == 0
  out <- data.frame(
    Piece = s$specimen, Step = s$step, Place = s$step + plan$settings$baseline,
    "\u00b0C" = ifelse(first, "\u2013", s$temp_c), "Total (min)" = s$time_min,
    Furnace = ifelse(first, "\u2013", s$furnace), In = dash(s$in_clock), Out = dash(s$out_clock),
    Read = if (booked) paste0(dash(s$read_clock), read_later(s)) else rep("\u2013", nrow(s)),
    check.names = FALSE)
  if (plan$settings$sessions > 1) out <- cbind(Session = dash(s$session), out)
  for (box in sheet_boxes(plan)) out[[box]] <- rep("", nrow(out))
  out
}

# Columns to write in.
sheet_boxes <- function(plan) {
  c("Actual in", "Actual out", "Meas. \u00b0C", as.character(seq_len(plan$settings$n_readings)),
    "Mean", "Initials", "Remark")
}

# Where each indentation goes: along and across the strip in mm, one row per place.
sheet_places <- function(plan) {
  p <- plan$layout$positions
  text <- ifelse(is.na(p$position_mm), "no room",
                 sprintf("%.1f | %.1f", p$position_mm, p$across_mm))
  out <- data.frame(Place = unique(p$step))
  for (k in unique(p$reading)) out[[as.character(k)]] <- text[p$reading == k]
  out
}

sheet_picture <- function(plan) {
  p <- plan$layout
  layout_picture(p) +
    ggplot2::labs(caption = paste(strwrap(paste0(
      "Number: place (", if (plan$settings$baseline) "1: before the first anneal" else
        "1: after the first step", "). Dashed: ", format(p$spacing$edge_mm, digits = 3),
      " mm from the edges. Stamp and tongs: the first ", format(p$margin_mm),
      " mm. Drawn to proportion."), 85), collapse = "\n"))
}

# One block of finished text for the output format, past pandoc's own reading of it.
sheet_raw <- function(text, format) {
  text <- paste(text, collapse = "\n")
  # a fence in the text would end the raw block
  if (format == "html") text <- gsub("`", "&#96;", text, fixed = TRUE)
  knitr::asis_output(paste0("\n\n```{=", format, "}\n", text, "\n```\n\n"))
}

sheet_escape <- function(x, format) if (format == "html") markdown_text(x) else latex_text(x)

BENCH_BOX <- "^([0-9]+|Mean|Actual in|Actual out|Meas\\. .*|Initials|Remark)$"

# Column types of LaTeX: names, notes and boxes of fixed width, all others as wide as they need.
latex_columns <- function(x, class) {
  align <- rep("l", ncol(x))
  align[names(x) == "Piece"] <- "p{17mm}"
  align[names(x) == "Note"] <- "p{20mm}"
  box <- class == "steps" & grepl(BENCH_BOX, names(x))
  align[box] <- sprintf("p{%.1fmm}", min(14, 165 / max(sum(box), 1)) - 1.9)
  align
}

# A table in the format; `class` is for the style sheet.
sheet_table <- function(x, class, format) {
  long <- intersect(c("Piece", "Note"), names(x))
  if (format == "latex") { # LaTeX breaks a long name only where it is told that it may
    may_break <- \(v) vapply(strsplit(latin_text(v), ""), \(letter) {
      paste(sheet_escape(letter, format), collapse = "\\allowbreak{}")
    }, "")
    broken <- lapply(x[intersect("Piece", names(x))], may_break)
  }
  x[] <- lapply(x, \(v) sheet_escape(as.character(v), format))
  if (format == "latex") x[names(broken)] <- broken
  names(x) <- sheet_escape(names(x), format)
  if (format == "html") {
    # names and notes may be long: these cells wrap, all others keep one line
    for (column in long) {
      x[[column]] <- paste0("<div class=\"free\">", x[[column]], "</div>")
    }
    text <- knitr::kable(x, "html", escape = FALSE, row.names = FALSE,
                         table.attr = paste0("class=\"", class, "\""))
    text <- gsub("<th ", "<th scope=\"col\" ", text, fixed = TRUE)
    text <- gsub("<th>", "<th scope=\"col\">", text, fixed = TRUE)
    boxes <- sum(grepl(BENCH_BOX, names(x)))
    wide <- if (boxes) paste0("<style>table.steps th:nth-last-child(-n+", boxes, ") { width: ",
                              format(min(13.5, 145 / boxes), digits = 3), "mm; }</style>")
    text <- c(wide, paste0("<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"", class,
                           "\">"),
              text, "</div>")
  } else {
    text <- c("{\\setlength{\\tabcolsep}{2.5pt}",
              paste0("\\renewcommand{\\arraystretch}{", if (class == "steps") 2.3 else 1.15, "}"),
              knitr::kable(x, "latex", escape = FALSE, row.names = FALSE, longtable = TRUE,
                           align = latex_columns(x, class), linesep = "\\hline"), "}")
  }
  sheet_raw(text, format)
}
