# Records as people keep them: each file of the folder gives the one truth, or the refusal that
# truth.csv names, with its place in the file. All readings are invented.

records <- function() {
  utils::read.csv(test_path("records", "truth.csv"), encoding = "UTF-8", na.strings = character())
}

# The readings on every sheet that is read: two pieces, three times, three readings in HRF.
record_truth <- function() {
  hardness <- list(c(92.5, 92, 93), c(88, 87.5, 88.5), c(80, 79.5, 81), c(92, 92.5, 91.5),
                   c(79, 80, 79.5), c(71, 70.5, 72))
  data.frame(specimen = rep(c("A", "B"), each = 9), temp_c = rep(c(330, 370), each = 9),
             time_min = rep(rep(c(0, 4, 8), 2), each = 3), hardness = unlist(hardness), scale = "HRF")
}

in_order <- function(x) {
  x <- as.data.frame(x)[c("specimen", "temp_c", "time_min", "hardness", "scale")]
  x[] <- lapply(x, as.vector)
  x$specimen <- as.character(x$specimen)
  x <- x[order(x$specimen, x$time_min, x$hardness), ]
  rownames(x) <- NULL
  x
}

# A file read: value or condition, and everything said.
read_record <- function(file, args) {
  said <- character()
  value <- tryCatch(
    withCallingHandlers(
      eval(parse(text = paste0("read_readings(path", if (nzchar(args)) ", ", args, ")")),
           list(path = file), asNamespace("softanneal")),
      message = function(m) {
        said <<- c(said, conditionMessage(m))
        invokeRestart("muffleMessage")
      },
      warning = function(w) {
        said <<- c(said, paste("warning", class(w)[1L], conditionMessage(w)))
        invokeRestart("muffleWarning")
      }), error = identity)
  list(value = value, said = paste(said, collapse = " "))
}

test_that("every record gives its truth or its refusal", {
  skip_on_cran()
  table <- records()
  expect_gt(nrow(table), 40L)
  expect_setequal(c(table$file, "truth.csv"), list.files(test_path("records")))
  if (!requireNamespace("readxl", quietly = TRUE)) table <- table[!grepl("xlsx$", table$file), ]
  for (i in seq_len(nrow(table))) {
    now <- table[i, ]
    got <- read_record(test_path("records", now$file), now$args)
    if (now$outcome == "read") {
      expect_s3_class(got$value, "softanneal_readings")
      if (inherits(got$value, "error")) next
      expect_equal(in_order(got$value), in_order(record_truth()), tolerance = 1e-9, label = now$file)
      expect_match(got$said, now$text, label = now$file)
      expect_false(grepl("warning", got$said), label = now$file)
    } else if (now$outcome == "warning missing") {
      expect_match(got$said, now$text, label = now$file)
      expect_match(got$said, "warning softanneal_warning_missing", label = now$file)
      expect_equal(sum(is.na(got$value$hardness)), 1L, label = now$file)
    } else if (now$outcome == "warning assumption") {
      expect_match(got$said, now$text, label = now$file)
      expect_match(got$said, "warning softanneal_warning_assumption", label = now$file)
      expect_equal(nrow(got$value), 24L, label = now$file)
    } else {
      expect_s3_class(got$value, paste0("softanneal_error_", now$outcome))
      expect_match(conditionMessage(got$value), now$text, label = now$file)
    }
  }
})

test_that("each reading says where it stands on its sheet", {
  skip_on_cran()
  for (file in c("wide-two-rows.csv", "notes-above-short.csv")) {
    r <- suppressMessages(read_readings(test_path("records", file)))
    lines <- readLines(test_path("records", file))
    fields <- strsplit(lines[r$sheet_row], ",", fixed = TRUE)
    cell <- mapply(\(f, j) f[match(j, LETTERS)], fields, r$sheet_column)
    expect_equal(as.numeric(cell), as.vector(r$hardness), label = file)
  }
})

test_that("columns of other classes are converted exactly or refused in their own words", {
  skip_on_cran()
  d <- record_truth()
  with_column <- function(name, value) {
    d[[name]] <- value
    d
  }
  n <- nrow(d)
  clock <- with_column("time_min", as.POSIXct("2026-01-02", tz = "UTC") + 60 * d$time_min)
  expect_refused(read_readings(clock), "column", "holds clock times. A time of day is no time in the furnace",
                 "time_min")
  expect_refused(fit_softening(with_column("time_min", as.Date("2026-01-02") + d$time_min)), "column",
                 "holds dates", "time_min")
  expect_refused(read_readings(with_column("temp_c", as.difftime(d$temp_c, units = "mins"))), "column",
                 "holds differences of time", "temp_c")
  hours <- with_column("time_min", as.difftime(d$time_min / 60, units = "hours"))
  expect_equal(as.vector(summarise_readings(hours)$time_min), c(0, 4, 8, 0, 4, 8))
  # 64-bit integers as they are stored, with and without the package that knows them
  stored <- function(x) {
    half <- rbind(ifelse(x %% 2^32 >= 2^31, x %% 2^32 - 2^32, x %% 2^32), floor(x / 2^32))
    structure(readBin(writeBin(as.integer(half), raw(), endian = "little"), "double", length(x),
                      endian = "little"), class = "integer64")
  }
  expect_equal(from_integer64(stored(c(0, 4, -3, 2^33))), c(0, 4, -3, 2^33))
  expect_equal(as.vector(read_readings(with_column("time_min", stored(d$time_min)))$time_min), d$time_min)
  skip_if_not_installed("units")
  stress <- with_column("hardness", units::set_units(d$hardness, "MPa"))
  expect_refused(read_readings(stress), "units", "has the unit 'MPa'", "hardness")
  expect_refused(find_outliers(stress), "units", "divide MPa by 9.80665", "hardness")
  bare <- with_column("hardness", units::set_units(d$hardness, "1"))
  expect_equal(as.vector(read_readings(bare)$hardness), d$hardness)
})

test_that("the report takes what read_readings() takes", {
  skip_on_cran()
  expect_refused(softening_report(test_path("records", "plain.csv"), tempfile(), shet = 1), "argument",
                 "unknown argument 'shet'", "shet")
  r <- suppressMessages(read_for_report(test_path("records", "own-words-notes.csv"), reading_arguments(
    NULL, "HRF", columns = c(specimen = "bit", temp_c = "oven", time_min = "dur", hardness = "dial"))))
  expect_equal(in_order(r), in_order(record_truth()))
})

# A bench with its usual errors: 2 HV between pieces, 2 K between furnaces, 1 HV between steps.
real_bench <- function(n = 5, sd = 1.5, dial = 0.5) {
  d <- expand.grid(reading = seq_len(n), time_min = c(0, 4, 8, 16, 32, 64, 128),
                   temp_c = c(290, 330, 370, 410), KEEP.OUT.ATTRS = FALSE)
  piece <- match(d$temp_c, unique(d$temp_c))
  k <- arrhenius_rate(d$temp_c + stats::rnorm(4, 0, 2)[piece], 0.06, 330, 140)
  hv <- 160 - 80 * jmak_fraction(d$time_min, k, 1.6) + stats::rnorm(4, 0, 2)[piece] +
    stats::rnorm(28)[rep(1:28, each = n)]
  d$hardness <- round((hv + stats::rnorm(nrow(d), 0, sd)) / dial) * dial
  d$specimen <- paste0("piece-", d$temp_c)
  d$scale <- "HV"
  d
}
rows_of <- function(d, check) {
  f <- check_readings(d)
  unlist(f$rows[f$check == check])
}

test_that("one reading 8 sd off is found, and clean benches are left in peace", {
  skip_on_cran()
  with_test_seed(21, {
    found <- alarm <- twice <- logical(0)
    for (n in c(3, 5, 6)) for (dial in c(0.5, 1)) for (i in 1:6) {
      d <- real_bench(n, dial = dial)
      alarm <- c(alarm, length(rows_of(d, "outlier")) > 0L)
      at <- sample(nrow(d), 1L)
      d$hardness[at] <- d$hardness[at] - 12
      found <- c(found, at %in% rows_of(d, "outlier"))
      if (n == 6) {
        d$reading <- NULL
        twice <- c(twice, length(rows_of(d, "duplicate")) > 0L)
      }
    }
  })
  expect_gte(mean(found), 0.94)
  expect_lte(mean(alarm), 0.09)
  expect_lte(mean(twice), 0.09)
})

test_that("the likeliest slip is named, with the cell of the sheet", {
  skip_on_cran()
  expect_identical(likely_slip(7.2, 72, 0.5), "decimal point?")
  expect_identical(likely_slip(720, 72, 0.5), "decimal point?")
  expect_identical(likely_slip(27, 72, 0.5), "digits exchanged?")
  expect_identical(likely_slip(62, 72.3, 0.5), "typed digit?")
  expect_identical(likely_slip(55, 72, 0.5), "")
  path <- withr::local_tempfile(fileext = ".csv")
  lines <- readLines(test_path("records", "wide-hrf.csv"))
  lines[3L] <- sub("87.5", "8.75", lines[3L])
  writeLines(lines, path)
  f <- check_readings(suppressMessages(read_readings(path)))
  at <- which(f$check == "outlier")
  expect_match(f$what[at], "A, 330 degrees Celsius, 4 min, reading 2: 8.75 where", fixed = TRUE)
  expect_match(f$what[at], "decimal point?", fixed = TRUE)
  expect_identical(f$where[at], "E3")
  expect_output(print(f), "on the sheet E3")
})

test_that("scales read side by side are no finding; one left out is", {
  skip_on_cran()
  d <- record_truth()
  both <- rbind(d, transform(d, scale = "HR30T", hardness = hardness - 20))
  expect_false(any(c("mixed scales", "scale changed") %in% check_readings(both)$check))
  expect_true("mixed scales" %in% check_readings(both[-(34:36), ])$check)
})

test_that("groups, laboratories, strips and reductions are not pooled without a word", {
  skip_on_cran()
  d <- record_truth()
  two <- rbind(transform(d, group = "red"), transform(d, group = "blue", hardness = hardness - 5))
  expect_message(s <- summarise_readings(two), class = "softanneal_message_groups")
  expect_equal(nrow(s), 12L)
  expect_equal(unique(s$n), 3L)
  expect_silent(pooled <- summarise_readings(two, by = character()))
  expect_equal(unique(pooled$n), 6L)
  expect_false("outlier" %in% check_readings(transform(two, hardness = hardness -
                                                         20 * (group == "blue")))$check)
  expect_told(suppressWarnings(fit_softening(two), classes = "softanneal_warning_fit"), "assumption",
              "2 values of `group`", 2L)
  cut <- rbind(transform(d, reduction_pct = 20), transform(d, reduction_pct = 40))
  expect_refused(fit_softening(cut), "argument", "holds several reductions", "strain")
  expect_message(suppressWarnings(fit_softening(cut, strain = reduction_pct)), "effective strain, 2/sqrt(3)",
                 fixed = TRUE)
  rolled <- subset(two, time_min == 0)
  expect_refused(compare_baseline(rolled, rolled), "argument", "2 values of `group`", "x")
  expect_told(compare_baseline(subset(d, time_min == 0), c(92, 92.5, 91.5)), "assumption",
              "pools the readings of 2 specimens", 2L)
  labs <- data.frame(lab = rep(c("x", "y", "z"), each = 4), time_min = c(0, 0, 4, 4), material = "brass",
                     hardness = c(92, 91, 80, 81))
  expect_refused(compare_laboratories(labs, lab = lab, test_material = material), "argument",
                 "`time_min` varies within the readings of a laboratory", "test_material")
})

test_that("hours for minutes in one piece and steps not added up are found, clean benches are not", {
  skip_on_cran()
  with_test_seed(22, {
    d <- real_bench()
    hours <- transform(d, time_min = ifelse(specimen == "piece-330", time_min / 60, time_min))
    single <- c(0, 4, 4, 8, 16, 32, 64)
    steps <- transform(d, time_min = ifelse(specimen == "piece-330", rep(rep(single, each = 5), 4),
                                            time_min))
  })
  expect_null(rows_of(d, "times"))
  expect_identical(rows_of(hours, "times"), which(d$specimen == "piece-330" & d$time_min > 0))
  expect_match(check_readings(hours)$what, "piece-330 are those of the other specimens divided by 60",
               all = FALSE)
  expect_identical(rows_of(steps, "times"), which(d$specimen == "piece-330" & d$time_min > 0))
  expect_match(check_readings(steps)$remedy, "times = .step.", all = FALSE)
  expect_null(rows_of(record_truth(), "times"))
})

test_that("labels exchanged, units of one piece, other stock and scale are found, clean benches are not", {
  skip_on_cran()
  across <- function(d) {
    f <- check_readings(d)
    f$what[f$check %in% c("specimens", "times", "other stock", "other scale")]
  }
  with_test_seed(23, clean <- lapply(1:8, \(i) real_bench()))
  temps <- unique(clean[[1L]]$temp_c)
  for (d in clean) {
    expect_identical(across(d), character())
    own <- d$specimen == unique(d$specimen)[2L]
    swapped <- d
    swapped$temp_c <- temps[c(2, 1, 3, 4)][match(d$temp_c, temps)]
    expect_match(across(swapped), "exchanged?", fixed = TRUE)
    expect_match(across(transform(d, temp_c = ifelse(own, temp_c + 273, temp_c))), "Kelvin?", fixed = TRUE)
    expect_match(across(transform(d, temp_c = ifelse(own, temp_c * 1.8 + 32, temp_c))), "Fahrenheit?",
                 fixed = TRUE)
    expect_match(across(transform(d, hardness = ifelse(own, 0.8 * hardness, hardness))),
                 "the other specimens", all = FALSE)
    rockwell <- suppressWarnings(convert_hardness(d$hardness, "HV", "HRB"))
    expect_match(across(transform(d, hardness = ifelse(own, rockwell, hardness))), "as HRB it would agree",
                 all = FALSE)
  }
  # a single anneal far hotter, for the soft state, is meant so
  d <- clean[[1L]]
  soft <- transform(d[d$specimen == d$specimen[1L] & d$time_min %in% c(0, 4), ], specimen = "soft",
                    temp_c = 650, hardness = ifelse(time_min == 0, hardness, 80))
  expect_identical(across(rbind(d, soft)), character())
  # the hottest by less than twice the width of the others is no slip; by more, where no time tells
  warm <- d[d$temp_c != 410, ]
  warm$temp_c <- c(230, 300, 420)[match(warm$temp_c, temps)]
  warm$hardness <- 160
  expect_identical(across(warm), character())
  warm$temp_c <- c(300, 320, 590)[match(warm$temp_c, c(230, 300, 420))]
  expect_match(across(warm), "(590) in Kelvin or Fahrenheit?", fixed = TRUE)
  d$temp_c <- temps[c(2, 1, 3, 4)][match(d$temp_c, temps)]
  expect_warning(suppressWarnings(fit_softening(d), classes = "softanneal_warning_fit"),
                 regexp = "exchanged.*check_readings", class = "softanneal_warning_assumption")
})

test_that("a slip is named where the curves contradict one line, and it alone explains them", {
  skip_on_cran()
  # one curve for each piece, half soft at ln t = `half`; the times between steps are all but exact
  piece <- function(name, temp, half) {
    time <- exp(half + seq(-4, 3, 0.1))
    list(name = name, temp = temp, time = time, hv = 80 + 80 * exp(-log(2) * (time / exp(half))^1.6),
         worked = 160, read = 160, rows = 1L, scale = "HV")
  }
  line <- function(temp) 140 * inverse_temperature(330, temp) # ln of the time at 140 kJ/mol
  found <- function(temp, away) {
    slips <- find_slips(Map(piece, letters[seq_along(temp)], temp, 3 + line(temp) + away))
    vapply(slips, `[[`, "", "what")
  }
  # labels of two pieces exchanged: the hotter is later by 140 x, the best line has it earlier by 60 x (the
  # least energy), so each lies 100 x off, in units of SLIP_MOVE, and 60 kJ/mol is unusual
  misfit <- function(temp) 2 * (100 * inverse_temperature(temp, 330) / SLIP_MOVE)^2 + SLIP_UNUSUAL[1L]
  expect_lt(misfit(334), 0.8 * LEAST_LOSS)
  expect_gt(misfit(341), 1.2 * LEAST_LOSS)
  exchanged <- function(temp) found(c(330, temp), c(0, 2 * -line(temp)))
  expect_length(exchanged(334), 0L)
  expect_match(exchanged(341), "labels of a .* and b .* exchanged?")
  # one piece of three that is late: no slip of the pen makes 3.3 or 4 times as long
  expect_length(found(c(300, 330, 360), c(0, 1.2, 0)), 0L)
  expect_length(found(c(300, 330, 360), c(0, 1.4, 0)), 0L)
  expect_match(found(c(300, 330, 360), c(0, log(60), 0)), "times of b in seconds?", fixed = TRUE)
  # 400 times as long is nearer to a sixtieth than to nothing, but by far not there
  expect_length(found(c(300, 330, 360), c(0, -6, 0)), 0L)
  # times are told where the steps fall more than they scatter
  smooth <- Map(piece, c("a", "b"), c(300, 360), 3 + line(c(300, 360)))
  rough <- lapply(smooth, function(p) {
    p$hv <- p$hv + 12 * rep_len(c(-1, 1), length(p$hv))
    p
  })
  expect_gt(length(passing_times(smooth)), 2L)
  expect_null(passing_times(rough))
  # a hot anneal of one step is for the soft state; of three steps its temperature is looked at
  hot <- Map(piece, c("a", "b", "c"), c(300, 320, 590), 3)
  hot[[3L]][c("time", "hv")] <- list(c(5, 10), c(80, 80))
  expect_null(far_temperature(hot, c(300, 320, 590)))
  hot[[3L]][c("time", "hv")] <- list(c(5, 10, 20), c(80, 80, 80))
  expect_match(far_temperature(hot, c(300, 320, 590))[[1L]]$what, "Kelvin or Fahrenheit")
  # not where it is softer at once than its temperature in another unit would have it
  expect_null(find_slips(hot))
})

test_that("stock is judged by the scatter of the others and what is usual, at 3 % of all benches", {
  skip_on_cran()
  pieces <- function(hv, read = hv) {
    Map(function(name, hv, read) {
      list(name = name, temp = 300, time = 5, hv = 80, worked = hv, read = read, rows = 1L, scale = "HV")
    }, letters[seq_along(hv)], hv, read)
  }
  others <- c(159, 160, 160, 161)
  # by hand: usual 2.4 % of 160 HV with the weight of 10 pieces, 3 degrees of freedom of the others
  sd <- sqrt((10 * 3.84^2 + 3 * 2 / 3) / 13)
  limit <- stats::qt(1 - 0.03 / 10, 13) * sd * sqrt(1 + 1 / 4)
  expect_null(find_stock(pieces(c(others, 160 - 0.98 * limit))))
  expect_null(find_stock(pieces(c(others, 160 + 0.98 * limit))))
  expect_identical(find_stock(pieces(c(others, 160 - 1.02 * limit)))[[1L]]$check, "other stock")
  expect_identical(find_stock(pieces(c(others, 160 + 1.02 * limit)))[[1L]]$check, "other stock")
  # on no other scale within a tenth of the others, though nearer to them
  as_read <- vapply(c("HRB", "HRF", "HR30T", "HR15T"), \(s) level_in_hv(84, s)$hv, 0)
  expect_true(all(abs(as_read / 145 - 1) > 0.1))
  expect_lt(abs(as_read[["HRB"]] - 145), 0.3 * (145 - 84))
  expect_identical(find_stock(pieces(c(144, 145, 145, 146, 84)))[[1L]]$check, "other stock")
  expect_identical(find_stock(pieces(c(159, 160, 160, 161, 84)))[[1L]]$check, "other scale")
})

test_that("single steps of a schedule that does not double are found by the schedule of the others", {
  skip_on_cran()
  d <- expand.grid(reading = 1:3, time_min = c(0, 10, 20, 40, 60), temp_c = c(300, 330, 360))
  d <- transform(d, specimen = paste0("p", temp_c), scale = "HV",
                 hardness = 160 - 80 * jmak_fraction(time_min, arrhenius_rate(temp_c, 0.06, 330, 140), 1.6))
  own <- d$temp_c == 330
  d$time_min[own] <- c(0, 10, 10, 20, 20)[match(d$time_min[own], c(0, 10, 20, 40, 60))]
  found <- check_readings(d)
  expect_identical(unlist(found$rows[found$check == "times"]), which(d$temp_c == 330 & d$time_min > 0))
})

test_that("columns nobody has named are not pooled without a word", {
  skip_on_cran()
  with_test_seed(24, d <- real_bench(n = 3))
  d$Charge <- ifelse(d$specimen %in% c("piece-290", "piece-370"), "A", "B")
  expect_told(fit_softening(d, n_by = "shared"), "assumption", "2 values of `Charge` (A, B)", 2L)
  two <- rbind(transform(d, Charge = "x"), transform(d, Charge = "y"))
  two$reading <- rep(1:6, length.out = nrow(two))
  expect_told(fit_softening(two), "assumption", "2 values of `Charge` (x, y)", 2L)
  # labels of what is known, numbers of readings, notes: no groups
  named <- transform(d, Charge = NULL, Probe = specimen, Nr = reading, Ofen_C = temp_c, reading = NULL,
                     Bemerkung = ifelse(seq_along(hardness) == 7, "edge", ""))
  expect_identical(unknown_groups(named, character()), character())
  expect_identical(unknown_groups(d, "Charge"), character())
  numbered <- transform(record_truth(), reading = rep(1:3, 6))
  pupils <- rbind(transform(numbered, Klasse = "x"), transform(numbered, Klasse = "y"))
  e <- expect_refused(read_readings(pupils), "duplicate", "Column `Klasse` tells them apart", "reading")
  expect_identical(nrow(read_readings(pupils, columns = c(group = "Klasse"))), 36L)
})

test_that("words for the state before the furnace, and names that differ in case only", {
  skip_on_cran()
  for (word in c("walzhart", "Walzhart", "vor dem Gl\u00fchen", "ungegl\u00fcht", "as rolled", "As received",
                 "\u00e9croui")) {
    d <- record_truth()
    d$time_min <- ifelse(d$time_min == 0, word, d$time_min)
    read <- suppressMessages(read_readings(d))
    expect_equal(as.vector(read$time_min), record_truth()$time_min, label = word)
  }
  d <- record_truth()
  d$specimen[1:3] <- "a"
  expect_match(check_readings(d)$what, "differ in case", all = FALSE)
  d <- record_truth()
  names(d)[3] <- "Time_min"
  e <- expect_error(fit_softening(d), class = "softanneal_error_column")
  expect_match(conditionMessage(e), "`Time_min` differs in case only", fixed = TRUE)
})

test_that("readings outside the table are not to be dropped", {
  skip_on_cran()
  d <- transform(record_truth(), scale = "HRB", hardness = replace(hardness, 1, 96.5))
  expect_refused(fit_softening(d), "range", "outside the brass table", "hardness", 1L)
  # just beyond they stay, see test-scales-beyond.R
  d$hardness[2:3] <- 94
  expect_error(fit_softening(d), "Leaving them out biases the fit", class = "softanneal_error_range")
})

test_that("clock times in and out are the minutes between, whatever their class, and named by the caller", {
  d <- record_truth()
  d$time_min <- NULL
  minutes <- rep(rep(c(0, 4, 4), 2), each = 3)
  start <- as.POSIXct("2026-11-30 23:50", tz = "UTC") + 60 * rep(rep(c(0, 1, 90), 2), each = 3)
  start[minutes == 0] <- NA
  stamped <- transform(d, begun = start, ended = start + 60 * minutes)
  name <- c(in_clock = "begun", out_clock = "ended")
  read <- function(...) in_order(suppressMessages(read_readings(...)))
  expect_equal(read(stamped, columns = name), in_order(record_truth()))
  expect_equal(read(transform(stamped, begun = format(begun, "%H:%M"), ended = format(ended, "%H:%M")),
                    columns = name), in_order(record_truth()))
  # each step begins anew where `times` says so, and a piece that goes in once is read as it comes out
  single <- suppressMessages(read_readings(stamped, columns = name, times = "accumulated"))
  expect_equal(as.vector(single$time_min), minutes)
  once <- transform(stamped, begun = min(start, na.rm = TRUE))
  once$ended <- once$begun + 60 * record_truth()$time_min
  expect_equal(read(once, columns = name), in_order(record_truth()))
  expect_refused(read_readings(stamped, columns = name[1L]), "argument", "names one of `in_clock`", "columns")
  expect_refused(read_readings(stamped, columns = name, time_min = 4), "argument", "is given twice",
                 "columns")
  odd <- transform(stamped, begun = "early", ended = "late")
  expect_refused(read_readings(odd, columns = name), "column", "holds 'early', which is no clock time",
                 "begun")
  two_ways <- transform(stamped, begun = c("1/2/2026 9:00", "2/2/2026 9:00")[1 + (temp_c > 330)],
                        ended = "9:04")
  expect_refused(read_readings(two_ways, columns = name), "column", "can be read in two ways", "begun")
  matrix <- stamped
  matrix$specimen <- cbind(d$specimen, d$specimen)
  expect_refused(read_readings(matrix, columns = name), "column", "is a matrix", "specimen")
  # a plan has clock times besides its minutes
  expect_equal(suppressWarnings(read(transform(record_truth(), in_clock = "09:00", out_clock = "09:07")),
                                classes = "softanneal_warning_assumption"),
               in_order(record_truth()))
})

test_that("what a clock cell cannot be is said for that clock", {
  d <- data.frame(specimen = "A", temp_c = 330, time = c("0:00", "1:75"), hardness = 80, scale = "HRF")
  names(d)[3L] <- "time (h:mm)"
  expect_refused(read_readings(d), "column", "'1:75' (not h:mm) (row 2). Write h:mm, with no more than 59")
  d[[3L]] <- c("0:00:00", "1:30")
  names(d)[3L] <- "time (hh:mm:ss)"
  expect_refused(read_readings(d), "column", "'1:30' (not h:mm:ss)")
})

test_that("hours and minutes that are times in the furnace are not asked about, or believed when said", {
  long <- function(time) {
    d <- data.frame(specimen = "A", temp_c = 330, time = time, hardness = 80, scale = "HRF")
    names(d)[3L] <- "time (h:mm)"
    d
  }
  read <- function(...) as.vector(suppressMessages(read_readings(...))$time_min)
  for (time in list(c("0:00", "8:00", "16:00"), c("0:30", "1:00", "2:00", "4:00"),
                    c("0:00", "24:00", "30:00"), c("0:00", "0:30", "8:00", "0:30", "8:00"),
                    c("0:00", "0:55", "1:00", "1:05"))) {
    expect_length(read(long(time)), length(time))
  }
  late <- long(c("5:00", "5:30", "6:00"))
  expect_refused(read_readings(late), "column", "seems to hold times of day", "time_min")
  expect_identical(read(late, times = "accumulated"), c(300, 330, 360))
  expect_refused(read_readings(long(c("as rolled", "9:30"))), "column", "times of day", "time_min")
  expect_identical(read(long(c("0:00", "9:30"))), c(0, 570))
  plain <- function(x, name) stats::setNames(long(x), c("specimen", "temp_c", name, "hardness", "scale"))
  expect_identical(read(plain(c(0, 0.25, 0.5, 0.75), "time (min)")), c(0, 0.25, 0.5, 0.75))
  expect_identical(read(plain(c(0, 1000, 2000, 4000), "time (min)")), c(0, 1000, 2000, 4000))
  expect_equal(read(plain(c(0, 5, 10, 20) / 60, "time (h)")), c(0, 5, 10, 20))
  expect_equal(read(plain(c(0, 0.1, 0.25, 0.5), "time (h)")), c(0, 6, 15, 30))
  nines <- plain(c(0, 0.05, 0.15, 0.45), "time (h)")
  expect_refused(read_readings(nines), "units", "1.30 for 1 h 30 min", "time (h)")
  expect_equal(read(nines, columns = c(time_h = "time (h)")), c(0, 3, 9, 27))
})

test_that("clock times beside times are compared with them, and need a colon", {
  d <- data.frame(specimen = "A", temp_c = 330, `in` = c(NA, "09:40", "10:10"), out = c(NA, "09:44", "10:18"),
                  time_min = c(0, 4, 12), HRB = c(82, 80, 75), check.names = FALSE)
  expect_message(read_readings(d), "'in' and 'out' agree with them")
  d$time_min[3] <- 30
  w <- expect_warning(suppressMessages(read_readings(d)), "row 3: 10:10 to 10:18 is 8 min, the time 30 min",
                      class = "softanneal_warning_assumption")
  expect_identical(w$rows, 3L)
  d$time_min <- c(0, 4, 8) # of single steps
  expect_message(r <- suppressWarnings(read_readings(d, times = "step")), "agree with them")
  d$time_min <- NULL
  d$`in`[2] <- "0940"
  d$out[2] <- "0944"
  names(d)[3:4] <- c("time in", "time out")
  d$`time in`[3] <- "1010"
  d$`time out`[3] <- "1018"
  e <- expect_error(read_readings(d), "'0940': clock times need a colon", class = "softanneal_error_column")
  expect_identical(e$rows, 2:3)
})

test_that("a bare word of time beside `time_min` is left alone, and ordinals are no seconds", {
  d <- data.frame(specimen = "A", temp_c = 330, time_min = c(0, 4), hold = 1:2, hardness = c(90, 80),
                  scale = "HRF")
  expect_identical(as.vector(read_readings(d)$time_min), c(0, 4))
  expect_identical(read_readings(d)$hold, 1:2)
  expect_null(parse_header("Second"))
  expect_null(parse_header("min"))
  expect_identical(parse_header("Minutes")[c("column", "unit")], list(column = "time_min", unit = "min"))
  expect_identical(parse_header("total hours")[c("unit", "times")], list(unit = "h", times = "accumulated"))
  expect_identical(mean_header("Mittel HV 0,5"), "HV0.5")
  expect_identical(mean_header("HRB mean"), "HRB")
  expect_identical(mean_header("mean time (min)"), NA_character_)
  # a mean beside the readings is not a reading
  d <- data.frame(specimen = "A", temp_c = 330, time_min = c(0, 4), HRF = c(90, 80), `HRF mean` = c(91, 81),
                  check.names = FALSE)
  expect_identical(as.vector(suppressMessages(read_readings(d))$hardness), c(90, 80))
})

test_that("a last reading that is the mean is a computed row only where all are so, and not for chance", {
  h <- c(92.5, 92, 93, 92.5, 88, 87.2, 88.5, 87.9, 80, 79.5, 81, 80.2, 71, 70.5, 72, 71.2)
  id <- rep(1:4, each = 4)
  # of 12 others one, 92.5, is the mean of its step: (1 + 1) / 14, to the fourth 0.0004
  expect_identical(mean_rows(h, id), c(4L, 8L, 12L, 16L))
  expect_identical(mean_rows(h[1:12], id[1:12]), integer()) # three steps are too few
  expect_identical(mean_rows(replace(h, 16, 71.3), id), integer())
  # one reading more that is a mean by chance: 3 of 14, to the fourth 0.002
  expect_identical(mean_rows(replace(h, c(9, 11, 12), c(80, 80.5, 80)), id), integer())
  # readings all alike have their mean last for no reason
  expect_identical(mean_rows(rep(c(90, 80, 70, 60), each = 4), id), integer())
})
