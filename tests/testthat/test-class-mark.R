form_with_truth <- function(key) {
  form <- answer_form(simulate_class(length(unique(key$group)), attr(key, "seed"),
                                     design = attr(key, "design")))
  form$value <- vapply(seq_len(nrow(form)), function(i) {
    key$value[key$group == form$group[i] & key$quantity == form$quantity[i] &
                (is.na(form$temp_c[i]) | key$temp_c %in% form$temp_c[i])]
  }, 0)
  form
}
# marks of a bench without shared errors, so that a wrong answer is far from the tolerance
teaching <- errors_alone(step = 1.5, reading = 1.5)
key <- answer_key(2, seed = 20, blunders = "outlier", sd = teaching)
marks_of <- function(form, ...) {
  marks <- mark_answers(form, key, ...)
  marks[marks$group == "group-01", ]
}
mark <- function(marks, quantity, temp = NA) {
  marks[marks$quantity == quantity & (is.na(temp) | marks$temp_c %in% temp), ]
}

test_that("right answers are right, as data frame, CSV, German CSV and Excel", {
  skip_on_cran()
  form <- form_with_truth(key)
  marks <- mark_answers(form, key)
  expect_identical(unique(marks$mark), "right")
  expect_identical(marks$group, key$group)
  expect_identical(sum(marks$points), 24)
  # groups by their number
  for (number in list(1:2, c("1", "02"))) {
    expect_identical(mark_answers(transform(form, group = number[match(group, c("group-01", "group-02"))]),
                                  key)$mark, marks$mark)
  }
  expect_refused(mark_answers(transform(form, group = 3), key), "argument", "the key has no group 'group-03'")
  dir <- withr::local_tempdir()
  plain <- file.path(dir, "a.csv")
  write.csv(form, plain, row.names = FALSE, na = "")
  expect_identical(mark_answers(plain, key)$mark, marks$mark)
  comma <- file.path(dir, "b.csv")
  write.csv2(form, comma, row.names = FALSE, na = "")
  expect_identical(suppressMessages(mark_answers(comma, key))$mark, marks$mark)
  skip_if_not_installed("writexl")
  sheet <- file.path(dir, "c.xlsx")
  writexl::write_xlsx(form, sheet)
  expect_identical(mark_answers(sheet, key)$mark, marks$mark)
})

test_that("what the reference analysis finds is right, and the tolerance ends where it says", {
  form <- form_with_truth(key)
  q <- key[key$group == "group-01" & key$quantity == "q_kj_mol", ]
  set <- function(value) {
    form$value[form$group == "group-01" & form$quantity == "q_kj_mol"] <- value
    mark(marks_of(form), "q_kj_mol")$mark
  }
  expect_identical(set(q$reference), "right")
  # on the side away from what the reference analysis found
  side <- if (q$reference > q$value) -1 else 1
  expect_identical(set(q$value + side * 0.2 * q$std.error), "right")
  expect_identical(set(q$value + side * 1.95 * q$std.error), "right within tolerance")
  expect_identical(set(q$value + side * 2.05 * q$std.error), "wrong")
})

test_that("units are converted where they are said, and recognised where they are not", {
  skip_on_cran()
  form <- form_with_truth(key)
  first <- form$group == "group-01"
  at <- function(q, temp = NA) which(first & form$quantity == q &
                                       (is.na(temp) | form$temp_c %in% temp))
  said <- form
  said$value[at("q_kj_mol")] <- form$value[at("q_kj_mol")] * 1000
  said$unit[at("q_kj_mol")] <- "J/mol"
  said$value[at("t50_min", 290)] <- form$value[at("t50_min", 290)] / 60
  said$unit[at("t50_min", 290)] <- "h"
  said$value[at("k_per_min", 290)] <- form$value[at("k_per_min", 290)] / 60
  said$unit[at("k_per_min", 290)] <- "s^-1"
  said$value[at("h_worked")] <- convert_hardness(form$value[at("h_worked")], "HV", "HRF")
  said$unit[at("h_worked")] <- "HRF"
  said$unit[at("n")] <- "-"
  expect_identical(unique(marks_of(said)$mark), "right")

  silent <- said
  silent$unit <- NA
  marks <- marks_of(silent)
  wrong_unit <- "right digits, wrong unit"
  expect_identical(mark(marks, "q_kj_mol")$mark, wrong_unit)
  expect_match(mark(marks, "q_kj_mol")$reason, "J/mol")
  expect_identical(mark(marks, "t50_min", 290)$mark, wrong_unit)
  expect_identical(mark(marks, "k_per_min", 290)$mark, wrong_unit)
  expect_match(mark(marks, "k_per_min", 290)$reason, "1/s")
  expect_identical(mark(marks, "h_worked")$mark, wrong_unit)
  expect_match(mark(marks, "h_worked")$reason, "HRF")
  expect_identical(mark(marks, "h_worked")$points, 0.5)
  expect_identical(mark(marks_of(silent, points = c(unit = 0)), "h_worked")$points, 0)

  q <- form$value[at("q_kj_mol")]
  try_q <- function(value) {
    form$value[at("q_kj_mol")] <- value
    mark(marks_of(form), "q_kj_mol")
  }
  expect_match(try_q(q / 8.314462618e-3)$reason, "R is missing")
  expect_match(try_q(-q / 8.314462618)$reason, "R is missing")
  expect_match(try_q(q / log(10))$reason, "2.303")
  expect_match(try_q(q / 96.48533)$reason, "eV")
  expect_match(try_q(q / 4.184)$reason, "kcal/mol")
  expect_match(try_q(-q)$reason, "sign")
  rates <- form[at("k_per_min"), ]
  celsius <- -8.314462618e-3 * coef(lm(log(value) ~ I(1 / temp_c), rates))[[2]]
  expect_match(try_q(celsius)$reason, "deg C in place of K")
  form$value[at("k_per_min", 330)] <- form$value[at("k_per_min", 330)]^form$value[at("n")]
  expect_match(mark(marks_of(form), "k_per_min", 330)$reason, "constant of exp(-k t^n)",
               fixed = TRUE)
})

test_that("an earlier mistake is not punished twice", {
  skip_on_cran()
  form <- form_with_truth(key)
  first <- form$group == "group-01"
  at <- function(q) which(first & form$quantity == q)
  blunder <- form
  # one rate wrong by half, and Q from all four rates by regression
  blunder$value[at("k_per_min")[4]] <- 1.5 * form$value[at("k_per_min")[4]]
  kelvin <- form$temp_c[at("k_per_min")] + 273.15
  blunder$value[at("q_kj_mol")] <- -8.314462618e-3 *
    coef(lm(log(blunder$value[at("k_per_min")]) ~ I(1 / kelvin)))[[2]]
  marks <- marks_of(blunder)
  expect_identical(mark(marks, "k_per_min", 410)$mark, "wrong")
  expect_identical(mark(marks, "q_kj_mol")$mark, "consistent with an earlier mistake")
  expect_match(mark(marks, "q_kj_mol")$reason, "own k")
  # the same Q without the wrong rate is simply wrong
  only_q <- form
  only_q$value[at("q_kj_mol")] <- blunder$value[at("q_kj_mol")]
  expect_identical(mark(marks_of(only_q), "q_kj_mol")$mark, "wrong")
  # n too large, and k from the right t50 with it
  n <- form$value[at("n")] * 1.4
  blunder <- form
  blunder$value[at("n")] <- n
  blunder$value[at("k_per_min")] <- log(2)^(1 / n) / form$value[at("t50_min")]
  marks <- marks_of(blunder)
  expect_identical(mark(marks, "n")$mark, "wrong")
  expect_true(all(mark(marks, "k_per_min")$mark %in%
                    c("consistent with an earlier mistake", "right within tolerance")))
  expect_true("consistent with an earlier mistake" %in% mark(marks, "k_per_min")$mark)
  # Q from wrong t50
  blunder <- form
  blunder$value[at("t50_min")[1]] <- 2 * form$value[at("t50_min")[1]]
  blunder$value[at("q_kj_mol")] <- 8.314462618e-3 *
    coef(lm(log(blunder$value[at("t50_min")]) ~ I(1 / kelvin)))[[2]]
  expect_match(mark(marks_of(blunder), "q_kj_mol")$reason, "own t50")
})

test_that("an analysis that leaves the blunders of the bench in is known as such", {
  skip_on_cran()
  marked <- answer_key(12, seed = 4, blunders = c(warm = 2, outlier = 3), sd = teaching)
  off <- which(!is.na(marked$as_given) &
                 (marked$as_given < marked$lower | marked$as_given > marked$upper) &
                 marked$quantity %in% c("h_worked", "h_soft", "n"))
  expect_gt(length(off), 0L)
  row <- marked[off[1], ]
  m <- mark_answers(data.frame(group = row$group, quantity = row$quantity, value = row$as_given),
                    marked)
  m <- m[m$group == row$group & m$quantity == row$quantity, ]
  expect_identical(m$mark, "consistent with an earlier mistake")
  expect_match(m$reason, "blunders of the bench left in")
})

test_that("empty, unreadable and absurd numbers are marked, not dropped", {
  form <- form_with_truth(key)
  form$value <- as.character(form$value)
  first <- form$group == "group-01"
  form$value[first & form$quantity == "n"] <- NA
  form$value[first & form$quantity == "h_soft"] <- "eighty"
  form$value[first & form$quantity == "t50_min"][1:2] <- c("-3", "1e9")
  form$value[first & form$quantity == "q_kj_mol"] <- "Inf"
  form <- form[!(first & form$quantity == "h_worked"), ]
  marks <- marks_of(form)
  expect_identical(mark(marks, "n")$reason, "nothing reported")
  expect_identical(mark(marks, "h_worked")$mark, "no answer")
  expect_identical(mark(marks, "h_soft")$reason, "'eighty HV' is not a number")
  expect_identical(mark(marks, "t50_min", 290)$reason, "not above zero")
  expect_match(mark(marks, "t50_min", 330)$reason, "too large by the factor")
  expect_identical(mark(marks, "q_kj_mol")$mark, "no answer")
  scale <- data.frame(group = "group-01", quantity = "h_soft", value = 3, unit = "HRF")
  expect_match(mark(marks_of(scale), "h_soft")$reason, "outside the conversion table from HRF")
})

test_that("reports that do not fit the key are refused with row and remedy", {
  form <- form_with_truth(key)
  bad <- function(change, what, rows = NULL) {
    e <- expect_error(mark_answers(change(form), key), class = paste0("softanneal_error_", what))
    if (!is.null(rows)) expect_identical(e$rows, rows)
  }
  bad(function(f) replace(f, 1, list(replace(f$group, 3, "group-99"))), "argument", 3L)
  bad(function(f) replace(f, 2, list(replace(f$quantity, 2, "Q"))), "argument", 2L)
  bad(function(f) replace(f, 3, list(replace(f$temp_c, 4, 291))), "argument", 4L)
  bad(function(f) replace(f, 3, list(replace(f$temp_c, 4, NA))), "missing", 4L)
  bad(function(f) replace(f, 3, list(replace(f$temp_c, 4, "hot"))), "column", 4L)
  bad(function(f) rbind(f, f[2, ]), "duplicate", nrow(form) + 1L)
  bad(function(f) f[-4], "column")
  bad(function(f) transform(f, group = NA), "missing")
  bad(function(f) {
    f$value <- as.list(f$value)
    f
  }, "column")
  bad(function(f) f[0, ], "too_few")
  expect_error(mark_answers("no_such_file.csv", key), class = "softanneal_error_file")
  expect_error(mark_answers(form, form), class = "softanneal_error_argument")
  expect_error(mark_answers(form, key, points = c(best = 1)), class = "softanneal_error_argument")
})

test_that("the summary counts groups and quantities", {
  form <- form_with_truth(key)
  form <- form[form$group == "group-01", ]
  form$value[form$quantity == "h_soft"] <- 200
  s <- summary(mark_answers(form, key))
  expect_identical(s$groups$group, c("group-01", "group-02"))
  expect_identical(s$groups$numbers, c(12, 12))
  expect_identical(s$groups$answered, c(12, 0))
  expect_identical(s$groups$right, c(11, 0))
  expect_equal(s$groups$share, c(11 / 12, 0))
  soft <- s$quantities[s$quantities$quantity == "h_soft", ]
  expect_identical(soft$wrong, 1L)
  expect_identical(soft[["no answer"]], 1L)
  shown <- capture.output(print(s))
  expect_true(any(grepl("Nothing handed in: group-02", shown)))
})

test_that("what is printed is short and says what matters", {
  class <- simulate_class(2, seed = 20, blunders = "outlier")
  shown <- capture.output(print(class))
  expect_match(shown[1], "336 readings of 2 groups")
  expect_false(any(grepl("140|seed = ", shown)))
  expect_match(capture.output(print(key))[1], "keep it apart")
  expect_true(any(grepl("1 outlier", capture.output(print(attr(key, "design"))))))
  expect_true(any(grepl("none", format(class_design(sd_groups = NULL)))))
  marks <- mark_answers(form_with_truth(key), key)
  expect_match(capture.output(print(marks))[1], "24 of 24 points")
  expect_output(print(marks["mark"]), "right")
  expect_output(print(key["value"]), "value")
  expect_output(print(class["hardness"]), "hardness")
})

test_that("one file a group is marked as one table, and errors name the file", {
  skip_on_cran()
  form <- form_with_truth(key)
  form$value <- signif(form$value, 5)
  dir <- withr::local_tempdir()
  files <- write_class(form, dir)
  expect_identical(mark_answers(unname(files), key), mark_answers(form, key))
  expect_identical(mark_answers(files[2], key)$mark[1], "no answer")
  empty <- write_class(answer_form(simulate_class(1, seed = 20)), file.path(dir, "empty"))
  expect_false(any(grepl("NA", readLines(empty))))
  expect_identical(unique(mark_answers(empty, key)$mark), "no answer")
  # a group that put the name of another into its file
  form$group[form$group == "group-02"] <- "group-01"
  wrong <- write_class(form[13:24, ], file.path(dir, "wrong"))
  # one odd file or cell never stops a class
  expect_told(marks <- mark_answers(c(files[1], wrong), key), "missing",
              "`h_worked` of group-01 is reported in 'group-01.csv' and in", 1L)
  expect_identical(unique(marks$mark[marks$group == "group-01"]), "right")
  form$quantity[15] <- "M"
  wrong <- write_class(form[13:24, ], file.path(dir, "wrong"), overwrite = TRUE)
  w <- expect_warning(marks <- mark_answers(c(files[2], wrong), key), class = "softanneal_warning_missing")
  expect_match(conditionMessage(w), "In 'group-01.csv': the key has no quantity 'M' \\(row 3\\)")
  expect_identical(w$rows, 3L)
  expect_identical(attr(marks, "aside")$row, 3L)
  expect_output(print(marks), "To be looked at: group-01.csv")
  expect_error(mark_answers(c(files[1], NA), key), class = "softanneal_error_missing")
  expect_told(marks <- mark_answers(c(files[1], "none.csv"), key), "missing", "In 'none.csv'", 1L)
  expect_identical(unique(marks$mark[marks$group == "group-01"]), "right")
})

test_that("numbers and units as people write them are read", {
  form <- form_with_truth(key)
  form <- form[form$group == "group-01", ]
  key_of <- function(quantity) key$value[key$group == "group-01" & key$quantity == quantity][1L]
  marked <- function(quantity, value, unit = NULL) {
    one <- data.frame(group = "group-01", quantity = quantity, value = value)
    one$unit <- unit
    m <- mark(marks_of(one), quantity)
    m[1L, c("value", "mark")]
  }
  q <- key_of("q_kj_mol")
  comma <- sub(".", ",", sprintf("%.2f", q), fixed = TRUE)
  expect_identical(marked("q_kj_mol", comma)$mark, "right")
  expect_identical(marked("q_kj_mol", paste(comma, "+- 0,6"))$mark, "right")
  expect_identical(marked("q_kj_mol", paste(comma, "\u00b1 0,6 kJ/mol"))$mark, "right")
  expect_identical(marked("q_kj_mol", paste("ca.", comma))$mark, "right")
  expect_identical(marked("q_kj_mol", paste(comma, "kJ per mole"))$mark, "right")
  expect_identical(marked("q_kj_mol", sprintf("%.2f", q), "kJ per mole")$mark, "right")
  # a comma before three digits: the mark that is nearer to the key
  expect_equal(marked("n", "1,625")$value, 1.625)
  expect_equal(marked("q_kj_mol", "139,500", "J/mol")$value, 139.5)
  t50 <- key$value[key$group == "group-01" & key$quantity == "t50_min" & key$temp_c == 330]
  sec <- data.frame(group = "group-01", quantity = "t50_min", temp_c = 330, unit = "sec", value = 60 * t50)
  expect_identical(mark(marks_of(sec), "t50_min", 330)$mark, "right")
  expect_identical(marked("n", "1.6 or 1.7")$mark, "no answer")
  # the unit in the cell counts before that of the form, in which all units are filled in
  text <- sprintf("%.2f", q)
  for (cell in c(paste("(", text, " +- 3) kJ/mol"), paste0("Q = ", text), paste0(text, "(5)"),
                 paste(sprintf("%.4f", q / 100), "x 10^2"), paste(1000 * round(q, 2), "J/mol"))) {
    m <- marked("q_kj_mol", gsub("( ", "(", cell, fixed = TRUE), "kJ/mol")
    expect_identical(m$mark, "right", label = cell)
  }
  expect_equal(marked("q_kj_mol", "1.392,5", "kJ/mol")$value, 1392.5)
  expect_identical(marked("h_worked", "150-160", "HV")$mark, "no answer")
  expect_identical(marked("q_kj_mol", paste(text, "furlong"), "kJ/mol")$mark, "no answer")
  expect_output(print(marks_of(data.frame(group = "group-01", quantity = "n", value = "1.6 or 1.7"))),
                "To be looked at, not a number: '1.6 or 1.7' \\(group-01, n\\)")
})

test_that("an odd cell, header or sheet does not stop a file", {
  skip_on_cran()
  form <- form_with_truth(key)
  form <- form[form$group == "group-01", ]
  file <- withr::local_tempfile(fileext = ".csv")
  form$value <- format(signif(form$value, 6), trim = TRUE, digits = 8)
  write_lines <- function(form) {
    form[is.na(form)] <- ""
    cell <- as.matrix(form)
    cell[] <- ifelse(grepl(",", cell), paste0('"', cell, '"'), cell)
    writeLines(c(paste(names(form), collapse = ","), apply(cell, 1, paste, collapse = ",")), file)
  }
  all_right <- function(file, but = 0L) {
    m <- suppressMessages(mark_answers(file, key))
    sum(m$mark[m$group == "group-01"] == "right") == nrow(form) - but
  }
  odd <- form # one decimal comma, names of columns, groups and quantities in other cases, degrees
  odd$value[1] <- sub(".", ",", odd$value[1], fixed = TRUE)
  odd$quantity <- toupper(odd$quantity)
  odd$group <- "Group 1"
  odd$temp_c <- ifelse(is.na(odd$temp_c), NA, paste(odd$temp_c, "\u00b0C"))
  names(odd) <- toupper(names(odd))
  write_lines(odd)
  expect_true(all_right(file))
  odd$GROUP[2] <- NA
  odd$TEMP_C[4] <- "warm"
  odd$UNIT[3] <- "furlong"
  write_lines(odd)
  expect_warning(some <- all_right(file, 3L), "1 file to be looked at", class = "softanneal_warning_missing")
  expect_true(some)
  skip_if_not_installed("writexl")
  skip_if_not_installed("readxl")
  book <- withr::local_tempfile(fileext = ".xlsx")
  writexl::write_xlsx(list(Notes = data.frame(a = "read me"), Answers = form), book)
  expect_true(all_right(book))
})

test_that("wrong numbers seldom fit another unit or scale by chance", {
  set.seed(41)
  e <- log(2) * rcauchy(nrow(key))
  wrong <- data.frame(key[c("group", "quantity", "temp_c")], value = key$value * exp(pmin(pmax(e, -9), 9)))
  m <- mark_answers(wrong, key)
  m <- m[!m$mark %in% c("right", "right within tolerance"), ]
  expect_lt(mean(m$mark == "right digits, wrong unit"), 0.08)
  # the soft level, which ways through five scales surround
  soft <- key[key$quantity == "h_soft", ]
  at <- seq(0.3, 3, by = 0.01) * soft$value[1L]
  at <- at[at < soft$lower[1L] | at > soft$upper[1L]]
  found <- vapply(at, function(v) {
    mark_answers(data.frame(group = soft$group[1L], quantity = "h_soft", value = v), key)$mark[2L] == "wrong"
  }, NA)
  expect_gt(mean(found), 0.8)
  expect_lt(mean(found), 1)
})

test_that("a unit that is not known sets its row aside, and the others are marked", {
  form <- form_with_truth(key)
  form$unit[c(1, 12)] <- c("furlong", "K")
  expect_told(marks <- mark_answers(form, key), "missing",
              "2 answers to be looked at; all else is marked: the unit 'furlong' is not known for `h_worked`",
              2L, c(1L, 12L))
  odd <- marks[marks$mark != "right", ]
  expect_identical(odd$mark, rep("no answer", 2))
  expect_identical(odd$reason, sprintf("to be looked at: the unit '%s' is not known for `%s`",
                                       c("furlong", "K"), form$quantity[c(1, 12)]))
  text <- vapply(form$value[c(1, 12)], format, "", digits = 7)
  expect_identical(odd$reported, paste(text, c("furlong", "K")))
  expect_identical(attr(marks, "aside")$row, c(1L, 12L))
  shown <- capture.output(print(marks))
  expect_true(any(grepl("To be looked at, not a number", shown)))
  # of a file, in the one warning of the file
  file <- withr::local_tempfile(fileext = ".csv")
  form$group[5] <- "group-77"
  write.csv(form, file, row.names = FALSE, na = "")
  expect_told(marks <- mark_answers(file, key), "missing", "1 file to be looked at", 3L)
  expect_setequal(attr(marks, "aside")$row, c(1L, 5L, 12L))
})
