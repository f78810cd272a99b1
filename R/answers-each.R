# Answers for each group of many fits: the question goes to the full fit of each group, the tables
# stand below each other with the keys in front, and one warning counts what has no answer.

is_many <- function(fit) inherits(fit, "softanneal_fits")

# `ask`: the function of one fit; `blank`: the rows of a group without an answer, `value` NA in them.
answers_of_groups <- function(fits, ask, blank, value) {
  group_readings(fits, 1L)
  status <- group_status(fits)
  ok <- fits_fitted(fits)
  parts <- lapply(seq_along(status), function(g) {
    if (!ok[g]) return(lost_rows(blank, paste0("no fit: ", group_reasons(fits)[[status[g]]])))
    answer <- one_answer(fits, g, ask)
    if (is.character(answer)) lost_rows(blank, answer) else answer
  })
  rows <- vapply(parts, nrow, 0L)
  table <- bind_rows(lapply(parts, plain_frame))
  group <- rep(seq_along(parts), rows)
  keys <- key_columns(fits$keys, names(table))
  out <- as_table(c(lapply(keys, `[`, group), table))
  attr(out, "row.names") <- .set_row_names(sum(rows))
  lost <- which(is.na(out[[value]]))
  if (length(lost)) {
    warn("outside", paste0(length(lost), " of ", nrow(out), " answers, in ",
                           count(length(unique(group[lost])), "group"), " of ", length(parts),
                           ", are NA; the column `note` gives the reason (", in_rows(lost), ")."),
         n = length(lost), rows = lost)
  }
  out
}

lost_rows <- function(blank, note) {
  blank$note <- note
  blank
}

# Tables with the same columns, in the order of the first that has most.
bind_rows <- function(parts) {
  most <- parts[[which.max(lengths(parts))]]
  out <- lapply(stats::setNames(nm = names(most)), function(name) {
    unlist(lapply(parts, function(p) if (is.null(p[[name]])) rep(NA, nrow(p)) else p[[name]]),
           use.names = FALSE)
  })
  structure(out, class = "data.frame", row.names = .set_row_names(length(out[[1L]])))
}

# Rows of a question without an answer, in the columns of time_to() and temp_for().
blank_answers <- function(name, values, aim, wanted) {
  target <- aim$given %or% aim$target
  out <- data.frame(rep(values, length(target)), rep(target, each = length(values)))
  names(out) <- c(name, aim$what)
  if (!is.null(aim$scale)) out$scale <- rep_len(aim$scale, nrow(out))
  out[c(wanted, "std.error", "conf.low", "conf.high")] <- rep(NA_real_, nrow(out))
  out$method <- rep(NA_character_, nrow(out))
  out$note <- rep("", nrow(out))
  out
}

# The bootstrap's own arguments only where it is asked for.
ask_one <- function(ask, ..., method, n_resamples, seed) {
  if (method == "bootstrap") return(ask(..., method = method, n_resamples = n_resamples, seed = seed))
  ask(..., method = method)
}

# The target, checked once before any group is asked.
target_of_groups <- function(fits, hardness, softening, fraction, scale) {
  read <- list(scale_read = fits$set$scale, material = group_readings(fits, 1L)$material)
  read$property <- property_of(fits)
  check_target(hardness, softening, fraction, list(scale = fits$set$scale, readings = read), scale)
}

time_to_each <- function(fits, hardness, softening, fraction, temp_c, scale, ...) {
  aim <- target_of_groups(fits, hardness, softening, fraction, scale)
  temp_c <- if (!is.null(temp_c)) check_temperature(temp_c, "temp_c")
  answers_of_groups(fits, function(fit) {
    ask_one(time_to, fit, hardness, softening, fraction, temp_c, scale = scale, ...)
  }, blank_answers("temp_c", if (is.null(temp_c)) NA_real_ else temp_c, aim, "time_min"), "time_min")
}

temp_for_each <- function(fits, time_min, hardness, softening, fraction, scale, ...) {
  aim <- target_of_groups(fits, hardness, softening, fraction, scale)
  time_min <- check_numeric(time_min, "time_min", 0, open = TRUE)
  answers_of_groups(fits, function(fit) {
    ask_one(temp_for, fit, time_min, hardness, softening, fraction, scale = scale, ...)
  }, blank_answers("time_min", time_min, aim, "temp_c"), "temp_c")
}
