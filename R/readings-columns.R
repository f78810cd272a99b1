# Which column is what: headers as understood (readings-headers.R), columns the caller names,
# constants, and the numbers in a column.

check_constants <- function(constants) {
  allowed <- c(READINGS_NEEDED, READINGS_OPTIONAL)
  allowed <- setdiff(allowed, c("hardness", "reading"))
  given <- names(constants)
  odd <- if (length(constants)) which(!given %in% allowed)
  if (length(odd)) {
    shown <- if (is.null(given) || given[odd[1L]] == "") "(unnamed)" else given[odd[1L]]
    abort("argument", paste0("unknown argument '", shown, "'"), arg = shown,
          remedy = paste0("Constants may be given for ", in_quotes(allowed, " and "), "."))
  }
  for (column in names(constants)) {
    value <- constants[[column]]
    if (!is.atomic(value) || length(value) != 1L || is.na(value)) {
      abort("argument", paste0("`", column, "` must be one value, not ", describe(value)),
            arg = column,
            remedy = "Give one constant for the whole table, or a column.")
    }
    if (column %in% READINGS_NUMBERS) constants[[column]] <- check_number(value, column)
  }
  constants
}

# What each column of the sheet is. Returns a list by column position (NULL: left alone).
understand_headers <- function(raw, columns, wide, constants = NULL) {
  roles <- vector("list", length(raw))
  if (!is.null(columns)) {
    if (!is.character(columns) || is.null(names(columns)) || anyNA(columns) ||
        any(names(columns) == "")) {
      abort("argument", "`columns` must be named text", arg = "columns",
            remedy = "Write e.g. `columns = c(hardness = \"reading value\")`.")
    }
    for (i in seq_along(columns)) {
      at <- which(names(raw) == columns[[i]])
      if (!length(at)) any_column(raw, columns[[i]], "x")
      role <- parse_header(names(columns)[i], inherits(raw[[at]], c("units", "difftime", "POSIXt")))
      if (is.null(role)) {
        abort("argument", paste0("`columns` names '", names(columns)[i],
                                 "', which is not a column of readings"),
              arg = "columns", remedy = paste0("Use ", in_quotes(READINGS_NEEDED, " and "),
                                               ", `in_clock` and `out_clock`, or an optional one."))
      }
      # a scale in the header of the sheet still counts: c(hardness = "Hardness (HRF)")
      if (role$column == "hardness" && is.null(role$scale)) {
        inside <- tryCatch(parse_header(names(raw)[at]), softanneal_error = function(e) NULL)
        bracketed <- known_scale(sub("^.*[[(]([^])]*)[])]$", "\\1", names(raw)[at]))
        role$scale <- inside$scale %or% if (!is.na(bracketed)) bracketed
      }
      roles[[at]] <- role
    }
  }
  named <- vapply(roles, function(r) if (is.null(r)) "" else r$column, "")
  bare <- list()
  for (j in setdiff(seq_along(raw), c(which(named != ""), wide))) {
    role <- tryCatch(parse_header(names(raw)[j], inherits(raw[[j]], c("units", "difftime", "POSIXt"))),
                     softanneal_error_units = identity)
    if (inherits(role, "condition")) {
      if (is.null(role$bare)) rlang::cnd_signal(role)
      bare <- c(bare, stats::setNames(list(role), names(raw)[j]))
      next
    }
    # a column the user named replaces one that merely looks like it; the other stays as it is
    if (!is.null(role) && !role$column %in% named[named != ""]) roles[[j]] <- role
  }
  # a bare "hold" beside `time_min` is something else
  exact <- unlist(lapply(roles, \(r) if (isTRUE(r$exact)) r$column))
  bare <- bare[!vapply(bare, \(b) b$bare %in% exact, NA)]
  roles <- mean_roles(roles, names(raw), wide)
  roles <- clock_roles(roles, raw, named, c(constants, if (length(bare)) vapply(bare, `[[`, "", "bare")))
  if (length(bare)) refuse_bare(bare, raw, roles, wide, constants)
  roles <- plainest_roles(roles, names(raw))
  now <- vapply(roles, function(r) if (is.null(r)) NA_character_ else r$column, "")
  twice <- unique(now[duplicated(now) & !is.na(now)])
  if (length(twice)) {
    abort("column", paste0("columns ", in_quotes(names(raw)[now %in% twice[1L]], " and "),
                           " could both be `", twice[1L], "`"), arg = twice[1L],
          remedy = paste0("Say which by `columns = c(", twice[1L], " = ...)`."))
  }
  roles
}

# A single column of means, where nothing else is the hardness.
mean_roles <- function(roles, names, wide) {
  if (length(wide) || any(vapply(roles, \(r) identical(r$column, "hardness"), NA))) return(roles)
  left <- which(!lengths(roles))
  scale <- vapply(names[left], mean_header, "")
  at <- left[!is.na(scale)]
  if (length(at) == 1L) {
    roles[[at]] <- list(column = "hardness", scale = scale[!is.na(scale)][[1L]], change = c(0, 1),
                        mean = TRUE)
  }
  roles
}

# Headers without their unit, together with the columns that are missing altogether.
refuse_bare <- function(bare, raw, roles, wide, constants) {
  there <- c(unlist(lapply(roles, `[[`, "column")), constants, if (length(wide)) "hardness")
  column <- vapply(bare, `[[`, "", "bare")
  lost <- setdiff(READINGS_NEEDED, c(there, column, "scale"))
  if (length(bare) == 1L && !length(lost)) rlang::cnd_signal(bare[[1L]])
  understood <- lengths(roles) > 0L | seq_along(roles) %in% wide
  refuse_missing_columns(lost, names(raw), names(raw)[!understood], stats::setNames(names(bare), column))
}

# Two headers for one quantity: the plainer word wins where the other is one of the looser words
# ("strip" beside "specimen"); equals stay, and are asked about.
plainest_roles <- function(roles, names) {
  column <- vapply(roles, \(r) if (is.null(r)) NA_character_ else r$column, "")
  rank <- vapply(roles, \(r) if (is.null(r)) NA_real_ else if (isTRUE(r$exact)) 1 else r$rank %or% 1, 0)
  for (one in unique(column[duplicated(column) & !is.na(column)])) {
    if (one %in% c("temp_c", "time_min", "hardness")) next
    at <- which(column == one)
    best <- at[rank[at] == min(rank[at])]
    if (length(best) == 1L) roles[setdiff(at, best)] <- list(NULL)
  }
  roles
}
