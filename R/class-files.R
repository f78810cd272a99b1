# Class data as files for the groups. Each file is written under another name in its folder and
# renamed when complete, so that no half-written file can be handed out.

#' Write class data, one file per group
#'
#' Writes one CSV file per group. Files that are there already are kept unless `overwrite` is `TRUE`;
#' then nothing is written.
#'
#' The files hold the readings only: no true values, no seed. Text that a spreadsheet would take for a
#' formula is preceded by an apostrophe; a reading that is missing is an empty cell. The name of a file
#' holds the letters and digits of the group's name, at most 60; where two would be the same, the later
#' one gets a number (`a.csv`, `a-2.csv`).
#'
#' @param class A table of [simulate_class()], or any data frame with a column `group`.
#' @param dir Folder; made if it is not there.
#' @param ... Must be empty.
#' @param overwrite Whether files of the same names may be replaced.
#' @return The paths of the files, invisibly, named by group.
#' @section Errors: `softanneal_error_file` when a file is there already or cannot be written.
#' @seealso [simulate_class()], [answer_form()]
#' @examples
#' class <- simulate_class(2, seed = 20)
#' files <- write_class(class, file.path(tempdir(), "class"), overwrite = TRUE)
#' basename(files)
#' read_readings(files[[1]])
#' @export
write_class <- function(class, dir, ..., overwrite = FALSE) {
  check_dots_empty(...)
  check_data(class, "class")
  dir <- check_path(dir, "dir")
  overwrite <- check_flag(overwrite, "overwrite")
  group <- as.character(any_column(class, "group", "class"))
  if (anyNA(group)) {
    abort("missing", "column `group` must not be missing", arg = "group",
          rows = which(is.na(group)),
          remedy = "Name the group in every row.")
  }
  groups <- unique(group)
  # groups of the same name but for case and signs get numbers
  file <- file_names(groups, "csv")
  path <- file.path(dir, file)
  there <- file.exists(path)
  if (any(there) && !overwrite) {
    abort("file", paste0("there are files in ", dir, " already: ", listed(file[there])),
          arg = "dir", remedy = "Choose another folder, or allow overwrite = TRUE.")
  }
  if (!dir.exists(dir)) dir.create(dir, recursive = TRUE, showWarnings = FALSE)
  if (!dir.exists(dir)) {
    abort("file", paste0("the folder ", dir, " cannot be made"), arg = "dir",
          remedy = "Choose a folder in which you may write.")
  }
  data <- plain_frame(class)
  for (k in seq_along(groups)) write_beside(data[group == groups[k], , drop = FALSE], path[k])
  invisible(stats::setNames(path, groups))
}

# A table under a passing name in the folder of the target, then renamed in one act.
write_beside <- function(data, path) {
  # an empty box is an empty cell, to be written into
  if (!put_in_place(path, function(to) write_table(data, to, na = ""),
                    function(to) whole_table(to, nrow(data)))) {
    abort("file", paste0("the file ", path, " could not be written"), arg = "dir",
          remedy = "Check the free space and your rights in the folder.")
  }
}

#' An empty form for the answers of a class
#'
#' The table students fill in: one row for each number asked for. [write_class()] writes it, one
#' file per group; [mark_answers()] reads the files back.
#'
#' @param class A table of [simulate_class()], of one group or more.
#' @return A data frame with the columns `group`, `quantity`, `temp_c` (degrees Celsius), `value` (empty),
#'   `unit` (the unit asked for).
#' @section Errors: `softanneal_error_column` if columns of class data are missing.
#' @seealso [simulate_class()], [answer_key()], [mark_answers()]
#' @examples
#' form <- answer_form(simulate_class(1, seed = 20))
#' form
#' write_class(form, file.path(tempdir(), "answers"), overwrite = TRUE)
#' @export
answer_form <- function(class) {
  check_data(class, "class")
  group <- as.character(any_column(class, "group", "class"))
  temp <- numeric_column(class, "temp_c", "class")
  time <- numeric_column(class, "time_min", "class", lower = 0)
  forms <- lapply(unique(group), function(g) {
    hot <- sort(unique(temp[group == g & time > 0]))
    quantity <- c("h_worked", "h_soft", "n", rep("k_per_min", length(hot)),
                  rep("t50_min", length(hot)), "q_kj_mol")
    unit <- c(h_worked = "HV", h_soft = "HV", n = "", k_per_min = "1/min", t50_min = "min",
              q_kj_mol = "kJ/mol")
    data.frame(group = g, quantity = quantity, temp_c = c(NA, NA, NA, hot, hot, NA),
               value = NA_real_, unit = unname(unit[quantity]))
  })
  do.call(rbind, forms)
}
