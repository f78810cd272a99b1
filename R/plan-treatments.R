# What the user asks of a plan, made into rows: one per step, with specimen, temperature in deg C and
# accumulated time in min; and clock times.

# Rows specimen, temp_c, time_min, by specimen and rising time, from the table of the user.
treatments_of_table <- function(table) {
  check_data(table, "temp_c")
  temp <- numeric_column(table, "temp_c", "temp_c", "degree_C", -ZERO_CELSIUS, open = TRUE)
  no_time_zero(table$time_min, "temp_c")
  time <- numeric_column(table, "time_min", "temp_c", "min", 0, open = TRUE)
  specimen <- if ("specimen" %in% names(table)) {
    as.character(table$specimen)
  } else {
    paste0("P", signif(temp, 6))
  }
  if (anyNA(specimen)) {
    abort("missing", "column `specimen` must name the specimen in every row", arg = "specimen",
          rows = which(is.na(specimen)))
  }
  for (one in unique(specimen)) {
    rows <- which(specimen == one)
    if (any(temp[rows] != temp[rows[1L]])) {
      abort("duplicate", paste0("specimen '", one, "' has more than one temperature"),
            arg = "temp_c", rows = rows,
            remedy = "Steps accumulate at one temperature; name another specimen.")
    }
    check_rising(time[rows], "time_min", rows)
  }
  data.frame(specimen = specimen, temp_c = temp, time_min = time)
}

treatments_of_vectors <- function(temp_c, time_min, pieces, specimen) {
  temp_c <- in_unit(temp_c, "degC", "temp_c", -ZERO_CELSIUS, open = TRUE)
  if (!length(temp_c)) {
    abort("too_few", "`temp_c` has no temperature", arg = "temp_c",
          remedy = "Give at least one.")
  }
  pieces <- check_number(pieces, "pieces", 1, 1000, whole = TRUE)
  times <- if (is.list(time_min) && !is.data.frame(time_min)) time_min else {
    rep(list(time_min), length(temp_c))
  }
  if (length(times) != length(temp_c)) {
    abort("argument", paste0("`time_min` has ", length(times), " vectors for ", length(temp_c),
                             " temperatures"), arg = "time_min",
          remedy = "Give one vector for all, or a list with one for each.")
  }
  times <- lapply(times, \(t) {
    no_time_zero(t, "time_min")
    t <- in_unit(t, "min", "time_min", 0, open = TRUE)
    if (!length(t)) {
      abort("too_few", "`time_min` has no time", arg = "time_min", remedy = "Give at least one.")
    }
    check_rising(t, "time_min", seq_along(t))
  })
  temp <- rep(temp_c, each = pieces)
  times <- rep(times, each = pieces)
  if (is.null(specimen)) {
    specimen <- paste0("P", format(signif(temp, 6), trim = TRUE, drop0trailing = TRUE))
    # several specimens at one temperature are told apart by letters
    many <- specimen %in% specimen[duplicated(specimen)]
    turn <- stats::ave(seq_along(specimen), specimen, FUN = seq_along)
    mark <- ifelse(turn <= 26L, LETTERS[(turn - 1L) %% 26L + 1L], turn)
    specimen[many] <- paste0(specimen, "-", mark)[many]
  } else {
    specimen <- specimen_names(specimen, length(temp))
  }
  data.frame(specimen = rep(specimen, lengths(times)), temp_c = rep(temp, lengths(times)),
             time_min = unlist(times))
}

# The readings before the furnace are step 0 of every plan.
no_time_zero <- function(time, arg) {
  zero <- if (is.numeric(time)) which(as.numeric(time) == 0)
  if (length(zero)) {
    abort("range", "`time_min` holds 0", arg = arg, rows = zero,
          remedy = paste("Leave it out: step 0, the readings before the furnace, is planned anyway,",
                         "unless `baseline` is FALSE."))
  }
}

check_rising <- function(time, arg, rows) {
  fall <- which(diff(time) <= 0)
  if (length(fall)) {
    abort("range", paste0("accumulated times must rise, and ", format(time[fall[1L] + 1L]),
                          " min follows ", format(time[fall[1L]]), " min"),
          arg = arg, rows = rows[fall + 1L],
          remedy = "Give the total time at temperature after each step, in order.")
  }
  time
}

# Minutes after midnight of a clock time.
check_clock <- function(x, arg = "start") {
  x <- check_string(x, arg)
  part <- regmatches(x, regexec("^([0-9]{1,2}):([0-9]{2})$", x))[[1L]]
  hour <- as.numeric(part[2L])
  minute <- as.numeric(part[3L])
  if (length(part) != 3L || hour > 23 || minute > 59) {
    abort("argument", paste0("`", arg, "` must be a clock time such as \"09:00\", not '", x, "'"),
          arg = arg, remedy = "Write hours and minutes with a colon.")
  }
  60 * hour + minute
}

clock_text <- function(minutes) {
  seconds <- round(60 * minutes) %% 86400
  text <- sprintf("%02d:%02d", seconds %/% 3600, seconds %/% 60 %% 60)
  odd <- !is.na(seconds) & seconds %% 60 != 0
  text[odd] <- sprintf("%s:%02d", text[odd], seconds[odd] %% 60)
  text[is.na(minutes)] <- NA_character_
  text
}
