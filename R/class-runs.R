# Runs of a practice page beside the answers: what a fit finds in the readings a group took itself stands in
# the key in place of what it finds in the readings of simulate_class().

# The key with `reference` from the runs; `runs`: tables of readings, or paths of their files.
key_with_runs <- function(key, runs) {
  design <- attr(key, "design")
  if (is.null(design)) {
    abort("argument", "the key has lost its design, which `runs` needs", arg = "key",
          remedy = "Make the key anew with answer_key().")
  }
  if (is.data.frame(runs)) runs <- list(runs)
  if (!(is.character(runs) || is.list(runs)) || !length(runs)) {
    abort("argument", paste0("`runs` must be paths or tables of readings, not ", describe(runs)),
          arg = "runs", remedy = "Give the files of readings that practice_page() saved.")
  }
  out <- key
  seen <- character()
  lost <- character()
  for (run in runs) {
    data <- suppressMessages(read_readings(run))
    group <- as.character(any_column(data, "group", "runs"))
    strange <- which(is.na(group) | !group %in% key$group)
    if (length(strange)) {
      abort("argument", paste0("the key has no group '", group[strange[1L]], "'"), arg = "runs",
            rows = strange, remedy = paste0("Its groups are ", listed(unique(key$group)), "."))
    }
    for (one in unique(group)) {
      if (one %in% seen) {
        abort("duplicate", paste0("there are two runs of ", one), arg = "runs",
              remedy = "Give one run per group.")
      }
      seen <- c(seen, one)
      rows <- which(key$group == one)
      # as a group would fit them
      found <- analyse_group(data[group == one, ], key[rows, ], design$truth, design, se = "components")$value
      if (anyNA(found)) lost <- c(lost, one)
      out$reference[rows] <- found
      out$as_given[rows] <- NA_real_
    }
  }
  if (length(lost)) {
    warn("missing", paste0("The readings of ", count(length(lost), "run"), " (", listed(lost),
                           ") do not determine what is asked: ",
                           "answers of these groups are compared with the true values alone."),
         n = length(lost))
  }
  out
}
