# The main job in one call: a file of readings in, tables, plots and a one-page report out.
# Files are written under a temporary name and renamed, so that nothing is left half-written.

REPORT_FILES <- c("coefficients.csv", "half_softening.csv", "models.csv", "softening.png",
                  "avrami.png", "arrhenius.png", "report.html")

#' From readings to a report
#'
#' Reads hardness readings, fits a softening model, compares it with the others, and writes
#' tables, plots and a one-page HTML report with cautions into a folder.
#'
#' @param readings A path, or a data frame, as for [read_readings()].
#' @param out_dir Folder for the results; made if it is not there.
#' @param by Columns (bare or quoted) that divide the readings into groups, such as `group` or
#'   `c(alloy, coil)`: each is fitted for itself, and the report compares them. By default those of
#'   `dplyr::group_by()`.
#' @param strain Column of the strain of cold work, or of the reduction in per cent (`reduction_pct`), as in
#'   [fit_softening()]: one fit of several reductions.
#' @param property As in [fit_softening()], of a data frame; `columns = c(hardness = "yield_mpa")` names its
#'   column.
#' @param model,scale,material As in [fit_softening()].
#' @param specimen Name of the specimen for a table without such a column.
#' @param title Title of the report; by default made from the name of the file.
#' @param level Level of the intervals.
#' @param overwrite Whether results that are in the folder already may be replaced.
#' @param reading_scale Hardness scale of a table without such a column.
#' @param events Events of the same [bench_page()], a path or from [read_history()], for the appendix: door
#'   times, steps that were late, corrections. With `by`: of the run of all groups, or a list of them, one for
#'   each group that has any, named by group (keys of several columns are joined by ` / `).
#' @param u_temp_c As in [fit_softening()]; columns `furnace` and `operator` of the table count as there.
#' @param ... Further arguments of [read_readings()]: `columns`, `readings`, `temp_c`, `time_min`,
#'   `times`, `sep`, `dec`, `encoding`, `sheet`, `skip`, `na`.
#' @return A list of class `softanneal_report`: `fit`, `models` (the four common models and the
#'   chosen one, from [compare_models()] without cross-validation), `half_softening` (from [time_to()]),
#'   `findings` (errors and warnings of [check_readings()], which the page tells near its top and a message
#'   counts), `files` (paths written). Printing it gives a short summary for the technician.
#'   The folder then holds `coefficients.csv`, `half_softening.csv`, `models.csv`,
#'   `softening.png`, `avrami.png`, `arrhenius.png` and `report.html`. Cells that a spreadsheet
#'   would take for a formula are preceded by an apostrophe in the CSV files.
#'   With `by` the list holds `fits` (one per group, `NULL` where there is none), `labels`, `comparison`
#'   (one row per group: time to half of the softening at `temp_c`, the middle of their reference
#'   temperatures, and activation energy, with intervals), `half_softening`, `findings` and `files`:
#'   `coefficients.csv` and `half_softening.csv` with the key columns first, `groups.png` and
#'   `report.html`.
#' @section Errors:
#'   `softanneal_error_file` when results are there already and `overwrite` is `FALSE`, or the
#'   folder cannot be written; `softanneal_error_package` without rmarkdown and pandoc; and
#'   those of [read_readings()] and [fit_softening()].
#' @section Safety: `r CAUTION_DEFERENCE` `r CAUTION_ESTIMATE`
#' @seealso [fit_softening()], [explore_page()], [bench_sheet()], [lab_project()]
#' @examples
#' \donttest{
#' if (requireNamespace("rmarkdown", quietly = TRUE) && rmarkdown::pandoc_available()) {
#'   file <- system.file("extdata", "bellbrass_readings.csv", package = "softanneal")
#'   softening_report(file, file.path(tempdir(), "bellbrass"), overwrite = TRUE)
#' }
#' }
#' @export
softening_report <- function(readings, out_dir, ..., by = NULL, strain = NULL, model = "jmak", scale = "HV",
                             material = "brass", specimen = NULL, title = NULL, level = 0.95,
                             overwrite = FALSE, reading_scale = NULL, u_temp_c = NULL, events = NULL,
                             property = NULL) {
  by <- if (is.data.frame(readings)) keys_or_groups(rlang::enquo(by), readings) else
    if (!is_null_column(rlang::enquo(by))) key_names(rlang::enquo(by))
  strain <- optional_column(rlang::enquo(strain))
  metal <- rlang::enquo(material)
  metal_given <- !missing(material)
  scale_given <- !missing(scale)
  reading <- reading_arguments(specimen, reading_scale, ...)
  out_dir <- check_path(out_dir, "out_dir")
  level <- check_level(level)
  overwrite <- check_flag(overwrite, "overwrite")
  need_package("rmarkdown", "to write the report")
  need_package("knitr", "to write the report")
  if (!rmarkdown::pandoc_available()) {
    abort("package", "pandoc is needed to write the report", arg = "out_dir",
          remedy = "Install pandoc, or work in RStudio, which brings it.")
  }
  title <- check_string(title, "title", null = TRUE)
  if (is.null(title)) {
    name <- if (is.character(readings) && length(readings) == 1L) {
      tools::file_path_sans_ext(basename(readings))
    } else "hardness readings"
    title <- if (is.null(property)) paste("Softening kinetics:", gsub("_", " ", name)) else {
      paste("Annealing kinetics:", property)
    }
  }
  events <- report_events(events, !is.null(by))
  check_folder(out_dir, overwrite, if (is.null(by)) REPORT_FILES else GROUP_FILES)
  data <- if (is.null(property)) read_for_report(readings, reading, by) else property_rows(readings, reading)
  metal <- material_of_rows(data, metal, metal_given)
  args <- list(level = level, u_temp_c = u_temp_c, property = property)
  args$material <- metal$column %or% metal$name
  if (is.null(property) || scale_given) args$scale <- scale
  if (!is.null(strain)) args$strain <- strain
  ask <- function(part, ...) {
    do.call(fit_softening, c(list(data = quote(part), model = model, ...), args))
  }
  doubts <- function(group = NULL) if (is.null(property)) report_findings(data, args$material, group)
  if (!is.null(by)) return(report_of_groups(data, by, ask, out_dir, title, level, events, doubts))
  fit <- ask(data)
  result <- list(
    fit = fit, models = do.call(report_comparison, c(list(quote(fit), quote(data)), args)),
    level = level, findings = doubts(),
    title = title, bench = report_bench(data, events), events = events,
    half_softening = suppressWarnings(time_to(fit, level = level),
                                      classes = "softanneal_warning_outside"))
  make_folder(out_dir)
  work <- tempfile("softanneal-report-")
  dir.create(work)
  on.exit(unlink(work, recursive = TRUE), add = TRUE)
  write_table(tidy(fit, conf.int = TRUE, conf.level = level), file.path(work, REPORT_FILES[1L]))
  write_table(result$half_softening, file.path(work, REPORT_FILES[2L]))
  write_table(result$models, file.path(work, REPORT_FILES[3L]))
  render_report(result, work, save_plots(report_plots(fit, level), work), "softening.Rmd")
  result$files <- move_results(work, out_dir, REPORT_FILES)
  structure(result, class = "softanneal_report")
}

check_folder <- function(out_dir, overwrite, files) {
  there <- file.exists(file.path(out_dir, files))
  if (any(there) && !overwrite) {
    abort("file", paste0("there are results in ", out_dir, " already: ",
                         in_quotes(files[there], " and ")), arg = "out_dir",
          remedy = "Choose another folder, or allow overwrite = TRUE.")
  }
}

make_folder <- function(out_dir) {
  if (!dir.exists(out_dir)) dir.create(out_dir, recursive = TRUE, showWarnings = FALSE)
  if (!dir.exists(out_dir) || file.access(out_dir, 2L) != 0L) {
    abort("file", paste0("the folder ", out_dir, " cannot be written"), arg = "out_dir",
          remedy = "Choose a folder in which you may write.")
  }
}

# What of the call is for read_readings(), checked by name.
reading_arguments <- function(specimen, reading_scale, ...) {
  given <- list(...)
  odd <- setdiff(names(given), setdiff(names(formals(read_readings)), c("x", "...", "scale")))
  odd <- setdiff(odd, READINGS_OPTIONAL)
  if (length(given) && (is.null(names(given)) || length(odd))) {
    abort("argument", paste0("unknown argument ", in_quotes(if (length(odd)) odd else "(unnamed)", " and ")),
          arg = odd, remedy = "Check its spelling; nothing is ignored.")
  }
  c(given, if (!is.null(specimen)) list(specimen = specimen),
    if (!is.null(reading_scale)) list(scale = reading_scale))
}

# A file without a column of specimens is taken as one specimen, and says so. A column that divides the
# readings may have any name, and repeats the pieces of another group.
read_for_report <- function(readings, arguments, by = NULL) {
  read <- function(...) {
    args <- c(list(readings), arguments, list(...))
    if (length(by) != 1L || "group" %in% c(by, names(arguments$columns))) return(do.call(read_readings, args))
    tryCatch(do.call(read_readings, args), softanneal_error_duplicate = function(e) {
      args$columns <- c(args$columns, group = by)
      out <- do.call(read_readings, args)
      names(out)[names(out) == "group"] <- by
      out
    })
  }
  if (!is.null(arguments$specimen)) return(read())
  tryCatch(read(), softanneal_error_column = function(e) {
    if (!identical(e$arg, "specimen")) stop(e)
    say("file", "No column `specimen`: each temperature and time is taken as one step.")
    read(specimen = "all readings")
  })
}

# Readings of a property come as a table with the standard names, or `columns` that say which are which; the
# readers of files know hardness alone.
property_rows <- function(readings, arguments) {
  if (!is.data.frame(readings)) {
    abort("argument", "with `property`, `readings` must be a data frame", arg = "readings",
          remedy = "Read the file first, such as with read.csv().")
  }
  odd <- setdiff(names(arguments), c("columns", "specimen"))
  if (length(odd)) {
    abort("argument", paste0("`", odd[1L], "` is for hardness readings, and `property` is given"),
          arg = odd[1L], remedy = "Leave it out.")
  }
  for (k in seq_along(arguments$columns)) {
    readings[[names(arguments$columns)[k]]] <- any_column(readings, arguments$columns[[k]], "readings")
  }
  if (!is.null(arguments$specimen)) readings$specimen <- arguments$specimen
  readings
}

report_plots <- function(fit, level) {
  list(softening.png = autoplot.softanneal_fit_softening(fit, level = level),
       avrami.png = tryCatch(plot_avrami(fit), softanneal_error_too_few = function(e) {
         empty_picture("Avrami plot", "No step mean lies between the two hardness levels.")
       }),
       arrhenius.png = plot_arrhenius(fit, level = level))
}

# Returns the alt text of each file.
save_plots <- function(plots, folder) {
  for (name in names(plots)) {
    ggplot2::ggsave(file.path(folder, name), plots[[name]], width = 7, height = 4.6, dpi = 150)
  }
  vapply(plots, ggplot2::get_alt_text, "")
}

# What stands in place of a plot that has nothing to show.
empty_picture <- function(title, reason) {
  ggplot2::ggplot() +
    ggplot2::annotate("text", x = 0, y = 0, label = reason) +
    ggplot2::labs(title = title, alt = paste0(title, ": ", reason)) +
    ggplot2::theme_void()
}

render_report <- function(result, folder, alt, template) {
  source <- system.file("report", template, package = "softanneal", mustWork = TRUE)
  copy <- file.path(folder, "report.Rmd")
  parts <- c("report.css", "page.html")
  file.copy(c(source, file.path(dirname(source), parts)), c(copy, file.path(folder, parts)))
  render_apart(copy, output_file = "report.html", params = list(result = result, alt = alt))
  unlink(c(copy, file.path(folder, parts)))
}

# Also from within a document that is being knitted: rmarkdown keeps its options apart, but knitr
# holds the chunks of one document only, so those of the outer one are put aside meanwhile.
render_apart <- function(...) {
  outer <- knitr::knit_code$get()
  knitr::knit_code$restore()
  on.exit(knitr::knit_code$restore(outer))
  rmarkdown::render(..., envir = new.env(parent = globalenv()), quiet = TRUE)
}

move_results <- function(from, to, files) {
  target <- file.path(to, files)
  for (k in seq_along(files)) {
    if (!place_copy(file.path(from, files[k]), target[k])) {
      abort("file", paste0("the file ", target[k], " could not be written"), arg = "out_dir",
            remedy = "Check the free space and your rights in the folder.")
    }
  }
  target
}

# Hazards for the hottest temperature read. Brass is molten above 915 degrees Celsius (solidus
# of C26000), so rows about brass are left out where the readings are hotter than that.
report_cautions <- function(fit) {
  hottest <- max(fit$conditions$temp_c[fit$conditions$time_min > 0])
  out <- as.data.frame(cautions(c("furnace", "annealing"), temp_c = hottest))
  if (hottest > 915) out <- out[!grepl("brass|zinc", paste(out$hazard, out$precaution)), ]
  out
}

#' @export
format.softanneal_report <- function(x, ...) {
  if (!is.null(x$comparison)) return(format_groups_report(x))
  fit <- x$fit
  b <- fit$par
  unit <- unit_after(fit$scale)
  h <- x$half_softening
  reach <- ifelse(is.na(h$conf.low), "", paste0(" (", range_text(h$conf.low, h$conf.high), ")"))
  lines <- c(
    x$title,
    paste0("  ", fit$nobs, " readings, model '", fit$model, "'"),
    paste0("  Hardness falls from ", format_quantity(b[["h_worked"]]), " to ",
           format_quantity(b[["h_soft"]]), unit, "."),
    paste0("  Half of the softening takes, in min (", format(100 * x$level), " % interval):"),
    paste0("    ", format(temperature_label(h$temp_c), justify = "right"), "  ",
           answer_text(h$time_min), reach, ifelse(nzchar(h$note), paste0("  ", h$note), "")),
    paste0("  ", energy_sentence(fit, x$level)))
  remarks <- c(setdiff(fit_words(fit), state_sentence_of_energy(fit)), specimen_sentence(fit))
  c(lines[1L], in_property(lines[-1L], fit), if (length(remarks)) paste0("  ", strwrap(remarks, width = 76)),
    paste0("  ", strwrap(CAUTION_LINE, width = 76)))
}

energy_sentence <- function(fit, level) {
  q <- fit$coefficients[["q_kj_mol"]]
  se <- sqrt(fit$vcov["q_kj_mol", "q_kj_mol"])
  if (is.na(q) || is.na(se)) return(state_sentence(fit, "q_kj_mol"))
  limits <- confint.softanneal_fit(fit, "q_kj_mol", level = level)
  paste0("Activation energy ", format_by_error(q, se), " kJ/mol (",
         format_by_error(limits[1L], se), " to ", format_by_error(limits[2L], se), ").")
}

state_sentence_of_energy <- function(fit) {
  if (fit$states[["q_kj_mol"]] == "determined") character() else state_sentence(fit, "q_kj_mol")
}

#' @export
print.softanneal_report <- function(x, ...) {
  cat(format(x), sep = "\n")
  if (length(x$files)) cat("  Written to ", dirname(x$files[1L]), "\n", sep = "")
  invisible(x)
}
