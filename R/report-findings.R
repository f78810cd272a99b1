# What check_readings() finds in the readings of a report: errors and warnings, not mere notes.

# Most findings that a page spells out; the others are counted.
FINDINGS_SHOWN <- 12L

# Columns that divide the readings are groups for the checks too, or the pieces of two would be one. What
# cannot be checked is itself a finding.
report_findings <- function(data, material, group = NULL) {
  checked <- data
  if (!is.null(group)) checked$group <- group$labels[group$id]
  found <- tryCatch(check_readings(checked, material = material), softanneal_error = function(e) {
    findings_table(finding("warning", "not checked", seq_len(nrow(data)), "the readings could not be checked",
                           sub("[.]$", "", conditionMessage(e)), "Mend this, and write the report again."))
  })
  found <- found[found$level != "note", ]
  if (!is.null(group)) {
    found$group <- vapply(found$rows, function(i) {
      own <- unique(group$labels[group$id[i]])
      if (length(own) == length(group$labels)) "" else paste0(in_first(own), ": ")
    }, "")
  }
  if (nrow(found)) {
    say("findings", paste0(count(nrow(found), "finding"), " in the readings to settle before use (",
                           in_first(unique(found$check)), "): see the report, or check_readings()."))
  }
  found
}

in_first <- function(x, most = 4L) {
  paste0(paste(utils::head(x, most), collapse = ", "),
         if (length(x) > most) paste(" and", length(x) - most, "more"))
}

# One sentence for each finding, or NULL.
report_finding_words <- function(found) {
  if (is.null(found) || !nrow(found)) return(NULL)
  shown <- utils::head(found, FINDINGS_SHOWN)
  rows <- vapply(shown$rows, in_rows, "")
  c(paste0(toupper(substr(shown$level, 1L, 1L)), substring(shown$level, 2L), ": ", shown$group, shown$what,
           " (", if (is.null(shown$where)) rows else paste("on the sheet", shown$where), "): ",
           shown$why, ". ", shown$remedy),
    if (nrow(found) > nrow(shown)) {
      paste0("... and ", count(nrow(found) - nrow(shown), "more finding"), ": see check_readings().")
    })
}

# The section of a page.
report_finding_section <- function(found) {
  words <- report_finding_words(found)
  if (is.null(words)) return(invisible())
  cat("\n\n## Doubts about the readings\n\n<p>", count(nrow(found), "finding"),
      " to settle before the numbers are used; no reading was left out for them.</p>\n<ul>",
      paste0("<li>", markdown_text(words), "</li>", collapse = "\n"), "</ul>\n\n", sep = "")
}
