# Marking what students report against the answer key. Every number gets one mark and one
# reason. Units are converted, blunders of units and of method are recognised by trying them on
# the number, and an answer that follows from the group's own earlier numbers is not punished
# twice. Nothing is guessed: what is tried is listed on the help page.

MARKS <- c(right = "right", within = "right within tolerance",
           unit = "right digits, wrong unit", consistent = "consistent with an earlier mistake",
           wrong = "wrong", none = "no answer")
MARK_POINTS <- c(right = 1, within = 1, unit = 0.5, consistent = 0.5, wrong = 0, none = 0)

# Order in which quantities are worked out; an earlier mistake can only come from before.
WORKING_ORDER <- c("h_worked", "h_soft", "n", "k_per_min", "t50_min", "q_kj_mol")

# Units understood, as factors to the unit of the key. 1 cal = 4.184 J (thermochemical); 1 eV an
# atom = 96.48533 kJ/mol (CODATA 2018: e N_A).
ANSWER_UNITS <- list(
  q_kj_mol = c("kJ/mol" = 1, "J/mol" = 1e-3, "kcal/mol" = 4.184, "cal/mol" = 4.184e-3,
               "eV" = 96.48533),
  k_per_min = c("1/min" = 1, "1/s" = 60, "1/h" = 1 / 60),
  t50_min = c("min" = 1, "s" = 1 / 60, "h" = 60),
  n = c("1" = 1))

#' Mark what students report
#'
#' Compares reported numbers with the [answer_key()] and marks each and states why.
#'
#' | mark | when | points |
#' |---|---|---|
#' | right | within a quarter of a standard error of the key (see below), or it, rounded | 1 |
#' | right within tolerance | inside the tolerance of the key | 1 |
#' | right digits, wrong unit | inside the tolerance after one of the conversions below | 0.5 |
#' | consistent with an earlier mistake | follows from own earlier numbers, or from blunders | 0.5 |
#' | wrong | none of these; the reason states the difference | 0 |
#' | no answer | empty, or no number | 0 |
#'
#' The key is the true value, or what [fit_softening()] finds in the readings without blunders.
#'
#' **Digits.** A number is right by rounding when the key lies within half a unit of its last
#' digit: 161 for 161.37. That holds for three significant digits or more (the digits in which
#' ISO 6507-1 reports a Vickers hardness, value from memory; at most 0.5 % of the number), and for
#' fewer where the
#' unit of the last digit is no larger than the standard error of the key. A coarser number is
#' marked as it stands, as its reason states. Text (`"161"`, `"1.61e2"`, cells of a CSV file)
#' counts with the digits written; zeros at the end of a whole number may be digits or hold the
#' place only (`"139000"` J/mol), and the interpretation favouring the student is used. A cell that
#' holds a number (a numeric column, a numeric cell of Excel) has lost the zeros behind its last
#' digit: 161.0 counts there as 161. Units and scales are converted with the digits.
#'
#' **Units tried.** A unit given in the column `unit` is converted first (`J/mol`, `kcal/mol`, `eV`;
#' `s`, `h`; `1/s`, `1/h`; a hardness scale instead of HV). If the number is then not right, the
#' other units are tried on it, and: the slope Q/R in K or in 1000 K in place of Q; Q from a decadic
#' logarithm (too small by the factor 2.303); Q with temperatures in degrees Celsius in place of K; the
#' constant of \eqn{\exp(-k t^n)}{exp(-k t^n)} in place of that of \eqn{\exp(-(k t)^n)}{exp(-(k
#' t)^n)}; a hardness in a Rockwell scale. Such a reason is given only where it fits clearly better than a
#' plain error: so near the key
#' that of wrong numbers (off by a factor of two, Cauchy's distribution of the logarithm) one in twenty at
#' most comes as near to any of them by chance. Where the key itself is hardly known, as k of a
#' temperature that is finished before the first reading, that is very near.
#'
#' **Earlier mistakes.** In the order hardness, n, k, t50, Q: k may follow from the group's own
#' t50 and n (\eqn{k = (\ln 2)^{1/n}/t_{1/2}}{k = (ln 2)^(1/n) / t_half}), t50 from
#' its own k and n (both for the model `"jmak"` only), Q from the slope of its own ln k or ln half
#' times over 1/T, if one of the numbers used was not right. Agreement is to 2 % of the number
#' (rounding on the way). The readings with the blunders left in count through the column `as_given` of
#' the key.
#'
#' **Cells and files.** A cell is read only if all of it is understood: a name (`Q = 139`), a word
#' for about (`ca. 78`), the number, its uncertainty, which is not marked (`159,9 +- 0,6`,
#' `(159.9 +- 0.6) kJ/mol`), and a unit (`139 kJ per mole`), which counts before that of the column
#' `unit`. Numbers may have a power (`1.39 x 10^5`, `1.39e5`), marks of thousands (`139'000`,
#' `1.392,5`) and, as times, hours, minutes and seconds (`0:56:00`, `1 h 5 min`); `1,625` is 1.625
#' or 1625, whichever is nearer to the key. What may be read in two ways (`139 000`, `1.39 x 105`)
#' counts where it is right. All else (`130 or 190`, `1/70`, `1.4%`, `56:05`, a unit that is not
#' known) is "no answer" with the reason "to be looked at", and named in the print. Of files, rows
#' that cannot be used are set aside with a warning and kept in the attribute `aside` (`file`,
#' `row`, `what`), with several files also files that cannot be read; all else is marked. Of an
#' Excel file the first sheet with the columns is taken.
#'
#' @param answers What students report: a data frame, or the paths of one or more CSV or Excel
#'   files (decimal comma and semicolons are understood), with the columns `group`, `quantity`,
#'   `value`, and as needed `temp_c` (degrees Celsius, for `k_per_min` and `t50_min`) and `unit`
#'   (empty: that of the
#'   key). See [answer_form()].
#' @param key An [answer_key()].
#' @param ... Must be empty.
#' @param runs Readings that groups took on a [practice_page()]: paths of its files or tables, one run per
#'   group.
#'   What [fit_softening()] finds in them is then right too, in place of what it finds in the readings of
#'   [simulate_class()], and the blunders of those count no more. A run that does not determine what is asked
#'   gives a warning.
#' @param points Named points for the marks, put in place of those of the table: `right`, `within`,
#'   `unit`, `consistent`, `wrong`, `none`.
#' @return A table of class `softanneal_marks`, one row for each row of the key in its order:
#'   `group`, `quantity`, `temp_c`, `reported` (text as reported), `value` (number in the unit of
#'   the key), `unit`, `key`, `lower`, `upper`, `mark`, `reason`, `points`. `summary()` gives a list
#'   of `groups` (answered, right, points, share of the points) and `quantities` (how often each
#'   mark). Rows and files set aside, and units that are not known, give one `softanneal_warning_missing`.
#' @section Errors: `softanneal_error_column` for missing columns, `softanneal_error_argument` for a
#'   group, quantity, or temperature that the key does not have, `softanneal_error_duplicate` for a number
#'   reported twice, `softanneal_error_file` for a file that cannot be read.
#' @seealso [answer_key()], [answer_form()]
#' @examples
#' key <- answer_key(1, seed = 20)
#' report <- data.frame(group = "group-01", quantity = c("q_kj_mol", "n", "h_soft"),
#'                      value = c(1000 * key$value[4], key$value[3], 60))
#' marks <- mark_answers(report, key)
#' marks
#' summary(marks)
#' @export
mark_answers <- function(answers, key, ..., runs = NULL, points = MARK_POINTS) {
  check_dots_empty(...)
  if (!inherits(key, "softanneal_key")) {
    abort("argument", paste0("`key` must come from answer_key(), not ", describe(key)),
          arg = "key")
  }
  check_key(key)
  points <- check_points(points)
  if (!is.null(runs)) key <- key_with_runs(key, runs)
  given <- if (is.character(answers) && length(answers)) {
    match_files(answers, key)
  } else {
    match_answers(read_answers(answers), key)
  }
  aside <- attr(given, "aside")
  if (NROW(aside) && all(is.na(aside$file))) {
    warn("missing", paste0(count(nrow(aside), "answer"), " to be looked at; all else is marked: ",
                           aside$what[1L]), n = nrow(aside), rows = aside$row)
  }
  out <- data.frame(group = key$group, quantity = key$quantity, temp_c = key$temp_c,
                    reported = given$reported, value = given$value, unit = key$unit,
                    key = key$value, lower = key$lower, upper = key$upper,
                    mark = NA_character_, reason = NA_character_)
  design <- attr(key, "design")
  for (group in unique(key$group)) {
    rows <- which(key$group == group)
    out[rows, c("value", "mark", "reason")] <- mark_group(key[rows, ], given[rows, ], design)
  }
  out$points <- unname(points[match(out$mark, MARKS)])
  out <- structure(out, class = c("softanneal_marks", "data.frame"), best = max(points))
  attr(out, "aside") <- attr(given, "aside")
  out
}

# A key may have been cut or edited; what marking needs must still be there.
check_key <- function(key) {
  check_data(key, "key")
  for (name in c("group", "quantity", "unit")) {
    x <- any_column(key, name, "key")
    if (!is.character(x) || anyNA(x)) {
      abort("column", paste0("column `", name, "` of the key must be text without gaps"),
            arg = name, remedy = "Make the key anew with answer_key().")
    }
  }
  number <- function(name, ...) {
    x <- any_column(key, name, "key")
    if (!is.numeric(x) || is.object(x)) {
      abort("column", paste0("column `", name, "` of the key must be numbers"), arg = name,
            remedy = "Make the key anew with answer_key().")
    }
    x
  }
  # values of t50 and rates are compared by their logarithms
  logged <- key$quantity %in% c("k_per_min", "t50_min")
  check_numeric(number("value"), "value")
  check_numeric(number("value")[logged], "value", 0, open = TRUE)
  check_numeric(number("temp_c")[logged], "temp_c", -ZERO_CELSIUS, open = TRUE)
  for (name in c("std.error", "lower", "upper")) {
    x <- number(name)
    if (anyNA(x)) {
      abort("missing", paste0("column `", name, "` of the key has missing values"), arg = name,
            rows = which(is.na(x)), remedy = "Make the key anew with answer_key().")
    }
  }
  number("reference")
  number("as_given")
  invisible(key)
}

check_points <- function(points) {
  unknown <- if (is.null(names(points))) "(unnamed)" else setdiff(names(points), names(MARKS))
  if (length(unknown)) {
    abort("argument", paste0("`points` names unknown questions ", in_quotes(unknown, " and ")),
          arg = "points", remedy = paste0("Name any of ", in_quotes(names(MARKS), " and "), "."))
  }
  replace(MARK_POINTS, names(points), check_numeric(points, "points"))
}

# One row for each row of the key: number, text and unit reported.
match_answers <- function(answers, key) {
  refuse <- function(bad, what, column, remedy) {
    if (!any(bad)) return(invisible())
    at <- which(bad)
    abort("argument", paste0("the key has no ", what, " '", answers[[column]][at[1L]], "'"),
          arg = column, rows = at, remedy = remedy)
  }
  numbered <- !answers$group %in% key$group & grepl("^[0-9]{1,4}$", answers$group)
  answers$group[numbered] <- class_group(answers$group[numbered]) # 1 for "group-01"
  worded <- !answers$group %in% key$group &
    grepl("^group[ _-]*[0-9]{1,4}$", answers$group, ignore.case = TRUE)
  answers$group[worded] <- class_group(gsub("[^0-9]", "", answers$group[worded]))
  cased <- !answers$quantity %in% key$quantity & tolower(answers$quantity) %in% key$quantity
  answers$quantity[cased] <- tolower(answers$quantity[cased])
  refuse(!answers$group %in% key$group, "group", "group",
         paste0("Its groups are ", listed(unique(key$group)), "."))
  refuse(!answers$quantity %in% key$quantity, "quantity", "quantity",
         paste0("Its quantities are ", in_quotes(unique(key$quantity), " and "), "."))
  each <- answers$quantity %in% key$quantity[!is.na(key$temp_c)]
  if (any(each & is.na(answers$temp_c))) {
    abort("missing", "`temp_c` is needed for rates and t50", arg = "temp_c",
          rows = which(each & is.na(answers$temp_c)),
          remedy = "Say for which temperature the number is, in degrees Celsius.")
  }
  at <- vapply(seq_len(nrow(answers)), function(i) {
    hit <- which(key$group == answers$group[i] & key$quantity == answers$quantity[i] &
                   (!each[i] | abs(key$temp_c - answers$temp_c[i]) < 0.05))
    if (length(hit)) hit[1L] else NA_integer_
  }, 0L)
  if (anyNA(at)) {
    refuse(is.na(at), "temperature", "temp_c", paste0(
      "Its temperatures are ", in_degrees(listed(sort(unique(key$temp_c)))), "."))
  }
  if (anyDuplicated(at)) {
    twice <- which(duplicated(at))
    abort("duplicate", paste0("`", answers$quantity[twice[1L]], "` of ",
                              answers$group[twice[1L]], " is reported twice"), arg = "answers",
          rows = twice, remedy = "Leave one of the rows out.")
  }
  factor <- unit_factors(answers)
  # 1,625: 1.625 or 1625, whichever is nearer to the key
  nearer <- which(!is.na(answers$other) &
                    abs(log(abs(answers$other * factor$factor) / key$value[at])) <
                    abs(log(abs(answers$number * factor$factor) / key$value[at])))
  answers$number[nearer] <- answers$other[nearer]
  answers$digits[nearer] <- format(answers$other[nearer], digits = MOST_DIGITS)
  out <- no_answers(key)
  # a cell that is not understood stands as it is
  alone <- is.na(answers$unit) | is.na(answers$reported) | answers$behind |
    (is.na(answers$number) & grepl("[0-9]", answers$reported))
  out$reported[at] <- ifelse(alone, answers$reported, paste(answers$reported, answers$unit))
  out$number[at] <- ifelse(is.na(factor$why), answers$number, NA_real_)
  out$value[at] <- answers$number * factor$factor
  out$scale[at] <- factor$scale
  out$factor[at] <- factor$factor
  out$digits[at] <- answers$digits
  # an empty cell needs no unit
  odd <- !is.na(factor$why) & !is.na(answers$reported)
  out$why[at] <- ifelse(odd, factor$why, NA_character_)
  out$doubt[at] <- answers$doubt
  if (any(odd)) {
    attr(out, "aside") <- data.frame(file = NA_character_, row = which(odd), what = factor$why[odd])
  }
  out
}

# Factor to the unit of the key; a hardness scale is kept by name and converted later. `why`: a unit that is
# not known, NA otherwise.
unit_factors <- function(answers) {
  factor <- rep(1, nrow(answers))
  scale <- why <- rep(NA_character_, nrow(answers))
  for (i in which(!is.na(answers$unit))) {
    units <- ANSWER_UNITS[[answers$quantity[i]]]
    unit <- plain_answer_unit(answers$unit[i])
    known <- if (is.null(units)) {
      scale[i] <- known_scale(unit)
      !is.na(scale[i])
    } else {
      # "" and "-" are the ways of writing no unit
      if (identical(names(units), "1") && unit %in% c("-", "none")) unit <- "1"
      factor[i] <- units[unit]
      !is.na(factor[i])
    }
    if (!known) {
      factor[i] <- NA_real_
      why[i] <- paste0("the unit '", answers$unit[i], "' is not known for `", answers$quantity[i], "`")
    }
  }
  list(factor = factor, scale = scale, why = why)
}
