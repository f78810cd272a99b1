# One group of many fits as a full fit: the readings that a batch keeps, and their fit anew.

# Most readings a batch keeps. Beyond it the object would be as large as its data.
KEPT_READINGS <- 200000L

# The columns that were fitted, rows in the order of the groups, with the size of each group; NULL for more
# rows than are kept.
kept_readings <- function(data, d, columns) {
  if (nrow(data) > KEPT_READINGS) return(NULL)
  order <- if (is.null(d$order)) sequence(d$size, d$first + 1L) else d$order
  used <- intersect(unlist(columns[c("time", "temp", "hardness", "scale", "specimen")]), names(data))
  out <- lapply(stats::setNames(nm = used), function(name) data[[name]][order])
  list(columns = structure(out, class = "data.frame", row.names = .set_row_names(length(order))),
       weights = d$weights[order], size = d$size, row = order)
}

group_readings <- function(x, g) {
  kept <- x$readings
  if (is.null(kept)) {
    abort("model", paste0("these fits keep no readings (none are kept beyond ", thousands(KEPT_READINGS),
                          ", in an archive, or by an earlier version)"), arg = "x",
          remedy = "Fit the groups in question alone with fit_each() or fit_softening().")
  }
  rows <- sequence(kept$size[g], c(0L, cumsum(kept$size))[g] + 1L)
  list(columns = kept$columns[rows, , drop = FALSE], weights = kept$weights[rows],
       material = group_material(x, g))
}

group_material <- function(x, g) {
  if (is.null(x$material)) rep_len(x$set$material, length(g)) else x$material[g]
}

take_kept <- function(kept, pick) {
  if (is.null(kept)) return(NULL)
  rows <- sequence(kept$size[pick], c(0L, cumsum(kept$size))[pick] + 1L)
  columns <- kept$columns[rows, , drop = FALSE]
  attr(columns, "row.names") <- .set_row_names(length(rows))
  list(columns = columns, weights = kept$weights[rows], size = kept$size[pick], row = kept$row[rows])
}

# The fit of group g by fit_softening(), with the settings of the batch. Rows whose value is missing were
# told of when the batch was fitted.
group_fit <- function(x, g) {
  part <- group_readings(x, g)
  set <- x$set
  readings <- part$columns
  case_weights <- part$weights
  bounds <- function(v) if (any(is.finite(v))) stats::setNames(v, set$terms)[is.finite(v)]
  control <- structure(as.list(set$control), class = "softanneal_control")
  control$huber <- DEFAULT_CONTROL[["huber"]]
  args <- list(data = quote(readings), model = set$model,
               se = if (group_count(x, "by_treatment")[g] == 1L) set$se else "model",
               time = x$columns$time, temp = x$columns$temp, hardness = x$columns$hardness,
               reading_scale = x$columns$scale, specimen = x$columns$specimen, material = part$material,
               fixed = if (any(set$held)) stats::setNames(set$start, set$terms)[set$held],
               lower = bounds(set$lower), upper = bounds(set$upper), level = set$level, control = control,
               temp_ref_c = if (!is.nan(set$ref_k)) set$ref_k - ZERO_CELSIUS)
  if (is.null(set$property)) args$scale <- set$scale else args$property <- property_title(x)
  if (!is.null(case_weights)) args$weights <- quote(case_weights)
  withCallingHandlers(do.call(fit_softening, args, envir = environment()),
                      softanneal_warning_missing = function(w) invokeRestart("muffleWarning"))
}

# The material of each group of a batch, which must be one: groups are runs of `order`.
group_materials <- function(material, d, column) {
  if (length(material) == 1L) return(NULL)
  code <- match(material, unique(material))[if (is.null(d$order)) sequence(d$size, d$first + 1L) else d$order]
  group <- rep(seq_along(d$size), d$size)
  first <- cumsum(c(1L, d$size))[group]
  mixed <- which(code != code[first])
  if (length(mixed)) {
    g <- group[mixed[1L]]
    abort("argument", paste0("a group holds several metals of column `", column, "`: ",
                             do.call(paste, c(lapply(d$keys, function(k) format_key(k[g])), sep = " / "))),
          arg = "material", remedy = paste0("Add the column to `by`, such as by = c(..., ", column, ")."))
  }
  unique(material)[code[cumsum(c(1L, d$size))[seq_along(d$size)]]]
}

# fits$a is the fit of group "a" where no field has that name; other names are NULL, as in a list.
#' @rdname fits-tables
#' @export
`$.softanneal_fits` <- function(x, name) {
  value <- .subset2(x, name)
  if (!is.null(value) || name %in% FITS_FIELDS) return(value)
  keys <- .subset2(x, "keys")
  if (!is.data.frame(keys) || !any(group_labels(x) == name)) return(NULL)
  x[[name]]
}

# Fields of these objects that may be NULL.
FITS_FIELDS <- c("par", "cov", "state", "counts", "sums", "limits", "with_limits", "keys", "df_interval",
                 "material", "readings", "set", "columns", "call", "version")

# Number of the group that a label or number names.
group_number <- function(x, i) {
  groups <- ncol(x$par)
  if (!(is.character(i) || is.numeric(i)) || length(i) != 1L || is.na(i)) {
    abort("argument", paste0("a group must be one name or number, not ", describe(i)), arg = "i",
          remedy = "Take several groups with single brackets, such as fits[1:3].")
  }
  if (is.numeric(i)) {
    if (i %in% seq_len(groups)) return(as.integer(i))
    abort("argument", paste0("there is no group ", format(i)), arg = "i",
          remedy = paste0("There are ", groups, " groups."))
  }
  labels <- group_labels(x)
  g <- which(labels == i)
  if (length(g) != 1L) {
    abort("argument", paste0("there ", if (length(g)) "are several groups '" else "is no group '", i, "'"),
          arg = "i", remedy = if (length(g)) "Give its number." else {
            paste0("Groups are named by their keys: ", listed(labels, 5L), ".")
          })
  }
  g
}

#' @rdname fits-tables
#' @export
`[.softanneal_fits` <- function(x, i) {
  groups <- ncol(x$par)
  if (is.character(i)) i <- vapply(i, function(name) group_number(x, name), 0L)
  x <- unclass(x)
  if (is.logical(i) && length(i) != groups) {
    abort("argument", paste0("`i` has length ", length(i), " where there are ", groups, " groups"),
          arg = "i", remedy = "Give one TRUE or FALSE a group, or group numbers.")
  }
  pick <- seq_len(groups)[i]
  if (anyNA(pick)) {
    abort("argument", "`i` names groups that are not there", arg = "i",
          remedy = paste0("There are ", groups, " groups."))
  }
  kept <- match(pick, x$with_limits)
  x$with_limits <- which(!is.na(kept))
  x$limits <- x$limits[, kept[!is.na(kept)], drop = FALSE]
  x$keys <- x$keys[pick, , drop = FALSE]
  rownames(x$keys) <- NULL
  for (field in c("par", "cov", "state", "counts", "sums")) {
    x[[field]] <- x[[field]][, pick, drop = FALSE]
  }
  x$df_interval <- x$df_interval[pick]
  x$material <- x$material[pick]
  x$readings <- take_kept(x$readings, pick)
  class(x) <- "softanneal_fits"
  x
}

#' @rdname fits-tables
#' @export
`[[.softanneal_fits` <- function(x, i) {
  g <- group_number(x, i)
  if (!fits_fitted(x)[g]) {
    abort("model", paste0("group ", group_labels(x, g), " has no fit: '", group_status(x)[g], "', ",
                          group_reasons(x)[[group_status(x)[g]]]), arg = "i",
          remedy = "as.data.frame() lists the status of each group.")
  }
  group_fit(x, g)
}

#' @rdname fits-tables
#' @export
length.softanneal_fits <- function(x) {
  x <- unclass(x)
  if (is.matrix(x$par)) ncol(x$par) else length(x)
}

#' @rdname fits-tables
#' @export
as.list.softanneal_fits <- function(x, ...) {
  out <- lapply(seq_len(length(x)), function(g) if (fits_fitted(x)[g]) group_fit(x, g))
  names(out) <- group_labels(x)
  out
}

# Key columns in front of a table whose own columns are `taken`: a key of the same name gets "by_" before it.
key_columns <- function(keys, taken) {
  clash <- names(keys) %in% taken
  while (any(clash)) {
    names(keys)[clash] <- paste0("by_", names(keys)[clash])
    clash <- names(keys) %in% taken | duplicated(names(keys))
  }
  keys
}

# Predictions of groups with something open, by their own fits: an interval alone, and NA as value, where the
# readings leave the curve open. `group`: 0 for rows of others. Without readings they can only be told of.
judge_open_groups <- function(object, out, group, temp, time, interval, level) {
  rows <- which(group > 0L & !is.na(time) & (!is.na(temp) | time == 0))
  if (!length(rows)) return(out)
  if (is.null(object$readings)) {
    warn_open_groups(object, group, time)
    return(out)
  }
  n <- length(group)
  value <- if (is.list(out)) out$fit else out
  lost <- logical(n)
  for (own in split(rows, group[rows])) {
    fit <- one_answer(object, group[own[1L]], identity)
    if (is.character(fit) || !needs_likelihood(fit)) next
    part <- softening_band(fit, temp[own], time[own], NULL, level)
    if (is.null(part$lower)) next
    lost[own] <- part$lost
    got <- finish_band(fit, part, interval, level, FALSE)
    if (is.matrix(value)) value[own, ] <- got else value[own] <- got
  }
  if (is.list(out)) out$fit <- value else out <- value
  at <- which(lost)
  if (length(at)) {
    warn("outside", paste0(
      length(at), " of ", n, " predictions are NA: the readings of their group leave the curve there ",
      "open, and only an interval can be given (", in_rows(at), ")."), n = length(at), rows = at)
  }
  out
}

warn_open_groups <- function(object, group, time) {
  open <- colSums(matrix(is_undetermined(parameter_states(object$state)), nrow(object$state))) > 0L
  rows <- which(group > 0L & open[pmax(group, 1L)] & time > 0)
  if (!length(rows)) return(invisible())
  warn("outside", paste0(length(rows), " of ", length(group), " predictions are of groups with a parameter ",
                         "that is not determined and may lean on it; they have no interval, since these ",
                         "fits keep no readings (", in_rows(rows), ")."), n = length(rows), rows = rows)
}

# Which parameters of which groups have the interval of a profile, as a vector of p x groups.
has_profile <- function(x) !is.na(fits_limits(x, x$set$level)[1L, ])

# Limits of the profiles, 2 x (p groups), NA where there are none.
fits_limits <- function(x, level) {
  p <- nrow(x$par)
  out <- matrix(NA_real_, 2L * p, ncol(x$par))
  if (level == x$set$level) out[, x$with_limits] <- x$limits
  out[is.nan(out)] <- NA_real_
  matrix(out, 2L)
}

# Errors that concern the question, not the group.
QUESTION_ERRORS <- c("softanneal_error_argument", "softanneal_error_range", "softanneal_error_missing")

# The answer of one group, or the reason why there is none. What the fit and the answer warn of stands in
# the notes and in the status of the batch.
one_answer <- function(fits, g, ask) {
  tryCatch(
    suppressWarnings(ask(group_fit(fits, g)), classes = c(
      "softanneal_warning_fit", "softanneal_warning_outside", "softanneal_warning_assumption",
      "softanneal_warning_extrapolation")),
    softanneal_error = function(e) {
      if (inherits(e, QUESTION_ERRORS)) rlang::cnd_signal(e)
      sub("[.]$", "", conditionMessage(e))
    })
}
