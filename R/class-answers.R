# Answers of a class as they come: files, sheets and rows of the form filled in.

# A file as a table. One cell with another decimal mark does not stop the file, and of several sheets the
# first with the columns of the form is taken.
answer_sheet <- function(path) {
  read <- function(dec = NULL, sheet = NULL) {
    read_sheet(path, columns = NULL, readings = NULL, sep = NULL, dec = dec, encoding = NULL, sheet = sheet,
               skip = 0, na = c("", "NA"))
  }
  either <- function(sheet = NULL) {
    tryCatch(read(NULL, sheet), softanneal_error_file = function(e) {
      both <- "decimal comma and numbers with a decimal point"
      if (!grepl(both, conditionMessage(e), fixed = TRUE)) rlang::cnd_signal(e)
      read(".", sheet)
    })
  }
  out <- form_names(tryCatch(either(), softanneal_error = identity))
  if (is_form(out) || !is_excel_file(path)) {
    if (inherits(out, "error")) rlang::cnd_signal(out)
    return(out)
  }
  for (sheet in tryCatch(readxl::excel_sheets(path), error = function(e) NULL)) {
    other <- form_names(tryCatch(either(sheet), softanneal_error = identity))
    if (is_form(other)) return(other)
  }
  if (inherits(out, "error")) rlang::cnd_signal(out)
  out
}

is_form <- function(x) is.data.frame(x) && all(c("group", "quantity", "value") %in% names(x))

is_excel_file <- function(path) {
  is.character(path) && length(path) == 1L && grepl("\\.xls[xm]?$", path, ignore.case = TRUE) &&
    requireNamespace("readxl", quietly = TRUE)
}

# "Group", "GROUP " for `group`, where nothing else is called so.
form_names <- function(x) {
  if (!is.data.frame(x)) return(x)
  plain <- tolower(trimws(names(x)))
  for (name in c("group", "quantity", "temp_c", "value", "unit")) {
    at <- which(plain == name)
    if (length(at) == 1L) names(x)[at] <- name
  }
  x
}

# Reported answers as text columns group, quantity, temp_c (number), value (text), unit.
read_answers <- function(answers) {
  if (!is.data.frame(answers)) answers <- answer_sheet(answers)
  check_data(answers, "answers")
  exact <- answers[["value"]]
  text <- function(name) {
    x <- any_column(answers, name, "answers")
    x <- if (is.numeric(x)) format_each(x) else trimws(valid_text(as.character(x)))
    # the apostrophe by which spreadsheets keep a cell as text
    x <- sub("^'", "", x)
    ifelse(!is.na(x) & x == "", NA_character_, x)
  }
  comma <- identical(attr(answers, "dec"), ",")
  optional <- function(name) {
    if (name %in% names(answers)) text(name) else rep(NA_character_, nrow(answers))
  }
  number <- function(x) suppressWarnings(as.numeric(if (comma) chartr(",.", ".,", x) else x))
  out <- data.frame(group = text("group"), quantity = text("quantity"), reported = text("value"),
                    unit = optional("unit"), temp_text = optional("temp_c"))
  # what is not a number is told apart below, with its row
  cells <- if (is.numeric(exact)) {
    # the digits as written, with a decimal point
    data.frame(number = as.double(exact), other = NA_real_, unit = NA_character_, doubt = FALSE,
               digits = vapply(as.double(exact), format, "", digits = MOST_DIGITS))
  } else answer_cells(out$reported, comma, tolower(out$quantity))
  cells$number[!is.finite(cells$number)] <- NA_real_
  out[c("number", "other", "digits")] <- cells[c("number", "other", "digits")]
  # a unit behind the number counts before that of the form; words that are no unit: not understood
  out$behind <- FALSE
  out$doubt <- cells$doubt
  for (i in which(!is.na(cells$unit))) {
    one <- unit_factors(data.frame(quantity = tolower(out$quantity[i]), unit = cells$unit[i]))
    out$behind[i] <- is.na(one$why)
    if (out$behind[i]) out$unit[i] <- cells$unit[i] else out$number[i] <- NA_real_
  }
  # 130.000 J/mol with a point for thousands: no energy is below 1 kJ/mol
  thousands <- which(tolower(out$quantity) %in% "q_kj_mol" & plain_answer_unit(out$unit) %in% "J/mol" &
                       is.na(out$other) & grepl("^[1-9][0-9]{0,2}[.][0-9]{3}$", out$digits))
  out$other[thousands] <- 1000 * out$number[thousands]
  out$temp_text <- sub(" *(\u00b0|deg\\.?)? *C$", "", out$temp_text)
  out$temp_c <- number(out$temp_text)
  bad <- which(is.na(out$temp_c) & !is.na(out$temp_text))
  if (length(bad)) {
    abort("column", paste0("column `temp_c` must hold numbers, and holds '",
                           out$temp_text[bad[1L]], "'"), arg = "temp_c", rows = bad,
          remedy = "Give degrees Celsius without unit.")
  }
  for (name in c("group", "quantity")) {
    if (anyNA(out[[name]])) {
      abort("missing", paste0("column `", name, "` must not be empty"), arg = name,
            rows = which(is.na(out[[name]])), remedy = "Fill in these cells.")
    }
  }
  out
}

format_each <- function(x) {
  ifelse(is.na(x), NA_character_, vapply(as.double(x), format, "", digits = 7))
}
