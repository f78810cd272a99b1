# Columns that tell whose readings they are. Readings of several groups, laboratories, operators or
# reductions are never pooled without a word.

POOLED_COLUMNS <- c("group", "laboratory", "operator", "furnace", "strip", "material")
STRAIN_COLUMNS <- c("strain", "true_strain", "effective_strain", "reduction_pct", "cold_work_pct",
                    "reduction")

# Names under which benches keep the reduction by rolling (`Reduction %`, `cold_work`, `Walzgrad`): per cent,
# a share or a strain, which their name does not say.
REDUCTION_NAMES <- paste0("^(((cold|rolling|thickness|total|height)?reduction)|(degreeof)?cold(work|working|",
                          "rolling|reduction|deformation)|deformation|walzgrad|abwalzgrad|verformungsgrad|",
                          "kaltverformung|dickenabnahme|cw)(in)?(pct|percent|prozent)?$")

named_reduction <- function(names) grepl(REDUCTION_NAMES, gsub("[^a-z]", "", fold_header(names)))

# Columns of a table that hold strains or reductions. Two letters may mean anything where nobody asks.
strain_columns <- function(data) {
  own <- names(data)[named_reduction(names(data)) & !tolower(valid_text(names(data))) %in% "cw"]
  own <- Filter(function(name) is.numeric(data[[name]]) && is.null(dim(data[[name]])), own)
  union(intersect(STRAIN_COLUMNS, names(data)), own)
}

# Which of `columns` of a table hold several values.
several_of <- function(data, columns) {
  Filter(function(name) {
    x <- data[[name]]
    !is.null(x) && is.atomic(x) && length(unique(x[!is.na(x)])) > 1L
  }, columns)
}

# Those that vary within a step: pooled, the step would hold the readings of several.
pooled_within <- function(data, keys, columns = c(POOLED_COLUMNS, STRAIN_COLUMNS, lot_columns(data))) {
  id <- NULL
  Filter(function(name) {
    if (is.null(id)) id <<- group_rows(keys)$id
    x <- data[[name]]
    code <- match(x, unique(x))
    any(code != code[match(id, id)])
  }, several_of(data, setdiff(columns, names(keys))))
}

# What a fit of all rows would pool. Several reductions are refused: one curve cannot fit them.
tell_pooled <- function(data, used) {
  strains <- setdiff(several_of(data, strain_columns(data)), used)
  if (length(strains) && !length(intersect(used, strain_columns(data))) && !"strain" %in% names(used)) {
    abort("argument", paste0("column `", strains[1L], "` holds several reductions, and one curve would be ",
                             "fitted to all"), arg = "strain",
          remedy = paste0("Fit them together by `strain`, each for itself by fit_each(by = \"",
                          strains[1L], "\"), or leave the column out."))
  }
  groups <- setdiff(several_of(data, c("group", "laboratory", "strip")), used)
  if (length(groups)) {
    n <- length(unique(data[[groups[1L]]]))
    warn("assumption", paste0("Readings of ", n, " values of `", groups[1L], "` are fitted as one; ",
                              "fit_each(by = ", name_in_quotes(groups[1L]), ") fits each for itself.",
                              tell_same_names(data, used, groups[1L])), n = n)
  }
  unknown <- setdiff(unknown_groups(data, used), c(strains, groups))
  # a column that is not there will be told, and may be this one under another name
  all_there <- all(used[intersect(names(used), c("time", "temp", "hardness"))] %in% names(data))
  if (length(unknown) && all_there) {
    name <- unknown[1L]
    n <- length(unique(data[[name]][filled(data[[name]])]))
    warn("assumption", paste0("Readings of ", n, " values of `", name, "` (",
                              listed(unique(as.character(data[[name]][filled(data[[name]])])), 3L),
                              ") are fitted as one; fit_each(by = ", name_in_quotes(name),
                              ") fits each for itself, operator = ", bare_name(name), " or furnace = ",
                              bare_name(name), " takes it as an error.",
                              tell_same_names(data, used, name)), n = n)
  }
  invisible()
}

# What the fits of groups would pool within a group.
tell_pooled_each <- function(data, by, used) {
  keys <- unclass(data)[by]
  if (!length(keys)) return(invisible())
  reductions <- strain_columns(data)
  within <- c("group", "laboratory", "strip", lot_columns(data), reductions)
  pooled <- pooled_within(data, keys, setdiff(within, c(by, used)))
  strains <- intersect(pooled, reductions)
  call <- function(name) paste0("by = c(", paste(vapply(c(by, name), bare_name, ""), collapse = ", "), ")")
  if (length(strains)) {
    abort("argument", paste0("column `", strains[1L], "` holds several reductions within a group, and one ",
                             "curve would be fitted to all"), arg = "by",
          remedy = paste0("Fit each for itself, ", call(strains[1L]), ", or leave the column out."))
  }
  if (length(pooled)) {
    warn("assumption", paste0("Groups hold readings of several values of `", pooled[1L],
                              "`, which are fitted as one; ", call(pooled[1L]), " fits each for itself."),
         n = length(unique(data[[pooled[1L]]])))
  }
}

filled <- function(x) !is.na(x) & (!is.character(x) | nzchar(trimws(as.character(x))))

# Columns nobody has named (`Charge`, `Ofen`, `Klasse`) that may tell whose readings these are: few values,
# each many times, in nearly every row. One that only says again what piece, temperature, time or scale
# says is left alone, and so is one that numbers the readings of a step.
unknown_groups <- function(data, used) {
  known <- c(used, READINGS_NEEDED, READINGS_OPTIONAL, CLOCK_COLUMNS, STRAIN_COLUMNS, POOLED_COLUMNS, "run",
             "pass", "session", # readings_form() writes it
             "sheet_row", "sheet_column", "remark", "weights", "length_mm")
  candidates <- setdiff(names(data), grep("^log|_s$", names(data), value = TRUE))
  candidates <- candidates[!tolower(valid_text(candidates)) %in% tolower(valid_text(known))]
  if (!length(candidates)) return(character())
  by <- intersect(c("specimen", "temp_c", "time_min"), names(data))
  step <- group_rows(if (length(by)) unclass(data)[by] else list(rep(1L, nrow(data))))$id
  Filter(function(name) groups_rows(data[[name]], data, step, intersect(used, STRAIN_COLUMNS)), candidates)
}

groups_rows <- function(x, data, step, strain = character()) {
  n <- nrow(data)
  whole <- is.numeric(x) && !is.object(x) && all(is.na(x) | (is.finite(x) & x == round(x) & abs(x) < 1e6))
  label <- is.character(x) || is.factor(x) || is.logical(x)
  if (!is.atomic(x) || !is.null(dim(x)) || !(label || whole)) return(FALSE)
  there <- filled(x)
  values <- unique(x[there])
  k <- length(values)
  if (k < 2L || k > max(12, n / 20) || mean(there) < 0.9) return(FALSE)
  if (min(tabulate(match(x[there], values))) < 3L) return(FALSE)
  code <- match(x, values)
  same <- function(key) { # one value of the key, one of the column
    first <- match(key, key)
    all(code == code[first], na.rm = TRUE)
  }
  fine <- intersect(c("time_min", "scale", "step", "reading", strain), names(data))
  if (any(vapply(fine, \(f) same(data[[f]]), NA))) return(FALSE)
  # another name of each piece or temperature is no group of pieces
  for (one in intersect(c("specimen", "temp_c"), names(data))) {
    if (same(data[[one]]) && k == length(unique(data[[one]]))) return(FALSE)
  }
  within <- paste(step, code)
  !(whole && !anyDuplicated(within))
}

# A baseline is of one specimen in one state: two strips pooled hide the difference between them.
one_piece <- function(data, arg) {
  if (!is.data.frame(data)) return(invisible())
  several <- several_of(data, c("group", "laboratory", "strip", "operator", "temp_c", "time_min"))
  # one temperature each before the furnace is not a difference
  if (!is.null(data[["time_min"]]) && all(data[["time_min"]] %in% 0)) several <- setdiff(several, "temp_c")
  if (!length(several)) {
    n <- length(unique(data[["specimen"]]))
    if (n > 1L) {
      warn("assumption", paste0("`", arg, "` pools the readings of ", n, " specimens; differences ",
                                "between them count as scatter."), n = n)
    }
    return(invisible())
  }
  values <- unique(data[[several[1L]]])
  abort("argument", paste0("`", arg, "` holds readings of ", length(values), " values of `", several[1L],
                           "` (", listed(values, 3L), "), which would be pooled"), arg = arg,
        remedy = paste0("Compare one at a time, e.g. subset(", arg, ", ", several[1L], " == ",
                        deparse(as.vector(values)[1L]), "), or pool them by giving the readings alone."))
}
