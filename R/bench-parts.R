# Headings, cautions and lines of the bench sheet, for HTML or LaTeX.

sheet_heading <- function(text, format, new_page = FALSE) {
  text <- sheet_escape(text, format)
  sheet_raw(if (format == "html") {
    paste0("<h2 class=\"", if (new_page) "new" else "wide", "\">", text, "</h2>")
  } else {
    paste0(if (new_page) "\\newpage", "\\subsection*{", text, "}\\footnotesize")
  }, format)
}

# First on the sheet: what can hurt, and who has the last word.
sheet_cautions <- function(plan, format) {
  c1 <- as.data.frame(plan$cautions)
  escape <- \(x) sheet_escape(x, format)
  head <- paste0("Cautions (work up to ", format(max(plan$temperatures$temp_c)), " \u00b0C)")
  rows <- paste0(c1$process, ", ", c1$hazard, ":")
  last <- paste(CAUTION_DEFERENCE, CAUTION_ESTIMATE)
  sheet_raw(if (format == "html") {
    c("<div class=\"cautions\">", paste0("<h2>", escape(head), "</h2>"), "<ul>",
      paste0("<li><b>", escape(rows), "</b> ", escape(c1$precaution), "</li>"), "</ul>",
      paste0("<p><b>", escape(last), "</b></p></div>"))
  } else {
    c("\\scriptsize", paste0("\\subsection*{", escape(head), "}"),
      "\\begin{itemize}\\setlength{\\itemsep}{0pt}\\setlength{\\parskip}{0pt}",
      paste0("\\item \\textbf{", escape(rows), "} ", escape(c1$precaution)), "\\end{itemize}",
      paste0("\\textbf{", escape(last), "}"), "\\footnotesize")
  }, format)
}

# What the run is, and lines to fill in.
sheet_head <- function(plan, format) {
  set <- plan$settings
  text <- c(format.softanneal_plan(plan)[1:2], paste0(
    "Specimens ", format(set$thickness_mm), " x ", format(set$width_mm), " x ", format(set$length_mm),
    " mm, ", if (set$support == "block") "flat on a steel block" else "on a grid",
    " in the furnace; cooled ", switch(set$cooling, block = "on a cold steel block",
                                       air = "in still air", water = "in water"),
    ". In: close the door. Out: open it; the time in the furnace is the step and its heat-up.",
    " Read only specimens that a thermometer shows to be at room temperature."))
  if (!is.null(plan$improvement)) text <- c(text, improvement_sentence(plan))
  blank <- c("Date", "Group", "Machine, indenter", "Check block: value, read", "Supervisor")
  text <- sheet_escape(trimws(text), format)
  sheet_raw(if (format == "html") {
    c(paste0("<p>", paste(text, collapse = "<br/>"), "</p>"), "<p class=\"lines\">",
      paste0(blank, ": ", strrep("_", c(12, 10, 16, 14, 16)), collapse = "&ensp; "), "</p>")
  } else {
    c("\\par", paste(text, collapse = "\\newline "), "\\par\\medskip",
      paste0(blank, ": \\rule{15mm}{0.3pt}", collapse = " "), "\\par\\medskip")
  }, format)
}

sheet_foot <- function(plan, format) {
  text <- sheet_escape(paste(
    "Total: accumulated time at temperature. Step 0: before the first anneal. Write down every",
    "reading, also those that look wrong, and what happened (door open, specimen dropped, furnace",
    "off its set point). softanneal", as.character(utils::packageVersion("softanneal"))), format)
  sheet_raw(if (format == "html") paste0("<p class=\"foot\">", text, "</p>") else
    paste0("\\par\\scriptsize ", text, "\\label{sheet-end}"), format)
}

# Size of the paper, and on each page group, date and its number.
sheet_page <- function(paper, title, format) {
  if (format == "latex") {
    return(sheet_raw(c("\\pagestyle{fancy}\\fancyhf{}", paste0(
      "\\lhead{\\scriptsize ", sheet_escape(title, "latex"), "}",
      "\\chead{\\scriptsize Group: \\rule{30mm}{0.3pt} Date: \\rule{25mm}{0.3pt}}",
      "\\rhead{\\scriptsize Page \\thepage\\ of \\pageref{sheet-end}}",
      "\\thispagestyle{fancy}")), format))
  }
  # in a string of CSS each character outside plain letters is written by its number
  letters <- strsplit(gsub("[[:cntrl:]]", " ", title), "")[[1L]]
  odd <- !grepl("[A-Za-z0-9 ]", letters)
  letters[odd] <- sprintf("\\%06X ", vapply(letters[odd], utf8ToInt, 0L))
  blank <- "Group: ____________   Date: ____________"
  box <- paste0("@top-left { content: \"", paste(letters, collapse = ""), "\"; } ",
                "@top-center { content: \"", blank, "\"; } ",
                "@top-right { content: \"Page \" counter(page) \" of \" counter(pages); }")
  sheet_raw(paste0("<style>@page { size: ", paper, "; ", box, " } @page wide { size: ", paper,
                   " landscape; ", box, " }",
                   # a shorter page
                   if (paper == "letter") " @media print { img { width: 84%; } }", "</style>"), format)
}
