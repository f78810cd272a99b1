# Units as students write them, and files of which a part cannot be used.

# Spellings of units as the table of units has them.
plain_answer_unit <- function(unit) {
  unit <- gsub(" *\\bper\\b *", "/", unit, ignore.case = TRUE)
  unit <- gsub("\u207b\u00b9", "^-1", unit, fixed = TRUE)
  unit <- gsub("[[:space:]*\u00b7]", "", unit)
  words <- c("(?i)\\bkilojoules?\\b" = "kJ", "(?i)\\bjoules?\\b" = "J", "(?i)\\bmol(es?|s)?\\b" = "mol",
             "(?i)\\b(seconds?|secs?|sekunden?)\\b" = "s", "(?i)\\b(minutes?|mins?|minuten?)\\b" = "min",
             "(?i)\\b(hours?|hrs?|stunden?|std)\\b" = "h", "\\bKJ\\b" = "kJ")
  for (k in seq_along(words)) unit <- gsub(names(words)[k], words[[k]], unit, perl = TRUE)
  unit <- sub("^kJmol(\\^?-1)$", "kJ/mol", unit)
  unit <- sub("^Jmol(\\^?-1)$", "J/mol", unit)
  unit <- sub("^(min|s|h)(\\^-1|-1)$", "1/\\1", unit)
  unit <- sub("^/(min|s|h)$", "1/\\1", unit)
  unit <- sub("^HV *[0-9.]+$", "HV", unit)
  sub("^eV/atom$", "eV", unit)
}

# Several files, such as one per group: what cannot be used in one of them is set aside, with file, row and
# reason, and all else is marked.
match_files <- function(paths, key) {
  if (anyNA(paths)) {
    abort("missing", "a path of `answers` is missing", arg = "answers", rows = which(is.na(paths)),
          remedy = "Give the path of each file.")
  }
  aside <- NULL
  put_aside <- function(path, rows, what) {
    aside <<- rbind(aside, data.frame(file = basename(path), row = rows, what = what))
  }
  parts <- lapply(paths, function(path) {
    answers <- tryCatch(answer_sheet(path), softanneal_error = identity)
    if (inherits(answers, "error") && length(paths) == 1L) rlang::cnd_signal(answers)
    left <- if (!inherits(answers, "error")) seq_len(nrow(answers))
    while (length(left)) {
      rows <- answers[left, , drop = FALSE]
      attr(rows, "dec") <- attr(answers, "dec")
      found <- tryCatch(match_answers(read_answers(rows), key), softanneal_error = identity)
      if (!inherits(found, "error")) {
        odd <- attr(found, "aside")
        if (!is.null(odd)) put_aside(path, left[odd$row], odd$what)
        return(found)
      }
      rows <- found$rows
      if (!length(rows) && length(paths) == 1L) rlang::cnd_signal(found)
      if (!length(rows)) {
        answers <- found
        break
      }
      put_aside(path, left[rows], conditionMessage(found))
      left <- left[-rows]
    }
    if (inherits(answers, "error")) put_aside(path, NA, conditionMessage(answers))
    NULL
  })
  read <- which(!vapply(parts, is.null, NA))
  out <- if (length(read)) parts[[read[1L]]] else no_answers(key)
  from <- ifelse(is.na(out$reported), NA, read[1L])
  for (k in read[-1L]) {
    new <- which(!is.na(parts[[k]]$reported))
    twice <- new[!is.na(from[new])]
    if (length(twice)) {
      put_aside(paths[k], NA, paste0(
        "`", key$quantity[twice[1L]], "` of ", key$group[twice[1L]], " is reported in '",
        basename(paths[from[twice[1L]]]), "' and in '", basename(paths[k]),
        "'; that of the first is marked."))
      new <- setdiff(new, twice)
    }
    out[new, ] <- parts[[k]][new, ]
    from[new] <- k
  }
  if (!is.null(aside)) {
    more <- if (nrow(aside) > 1L) paste0(" ... and ", nrow(aside) - 1L, " more, see attr(, \"aside\").")
    warn("missing", paste0(count(length(unique(aside$file)), "file"),
                           " to be looked at; all else is marked. In '", aside$file[1L], "': ",
                           aside$what[1L], more), n = nrow(aside), rows = aside$row)
    attr(out, "aside") <- aside
  }
  out
}

no_answers <- function(key) {
  data.frame(reported = rep(NA_character_, nrow(key)), number = NA_real_,
             value = NA_real_, scale = NA_character_, factor = NA_real_, digits = NA_character_,
             why = NA_character_, doubt = FALSE)
}
