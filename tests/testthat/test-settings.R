# One script over the main job, run in child sessions under other locales, time zones, threads and
# options: numbers and files must be identical, and the words too where no option asks for others.

main_job <- function(out, options, threads) {
  library(softanneal)
  suppressWarnings(do.call(base::options, options)) # one of them is deprecated
  base::options(warn = 2) # a warning that is not ours is an error
  folder <- tempfile("job")
  dir.create(folder)
  data <- function(name) system.file("extdata", name, package = "softanneal", mustWork = TRUE)
  bell <- suppressMessages(read_readings(data("bellbrass_readings.csv")))
  # names that alphabets sort differently: capitals, umlauts, hyphens, numbers, Turkish i
  names <- c("b-10", "B-9", "\u00e4-1", "Z 1", "\u0131x", "ix", "Ix", "a_1", "a.1", "10", "9")
  many <- do.call(rbind, lapply(seq_along(names), function(k) {
    d <- as.data.frame(bell)[bell$temp_c != c(290, 330, 370, 410)[k %% 4 + 1], ]
    d$coil <- names[k]
    d$hardness <- d$hardness + k / 10
    d
  }))
  fit <- fit_softening(bell)
  fits <- fit_each(many, by = "coil", threads = threads)
  class <- simulate_class(3, seed = 20)
  class_files <- write_class(class, file.path(folder, "class"))
  text <- file.path(folder, "readings.csv")
  writeLines(c("specimen;temp_c;time_min;hardness;scale", "A1;330;0;163,5;HV", "A1;330;4;150,25;HV",
               "A1;330;8;131;HV"), text)
  comma <- suppressMessages(read_readings(text))
  log <- anneal_history(data.frame(specimen = c("b", "A", "\u00e4"), temp_c = 370,
                                   time_min = c(4, 8, 16)), thickness_mm = 0.95)
  guess <- plan_guess("C26000", recryst_1h_c = 330, draws = 8)
  plan <- suppressWarnings(plan_anneal(c(290, 330), c(8, 16), guess = guess, n_readings = 4))
  key <- answer_key(2, seed = 20)
  marks <- mark_answers(data.frame(group = c("group-01", "group-02"),
                                   quantity = c("q_kj_mol", "n"), value = c(180, 1.8)), key)
  plain <- function(x) {
    if (is.factor(x)) return(as.character(x))
    if (is.list(x)) return(lapply(unclass(x)[setdiff(names(x), "call")], plain))
    if (is.numeric(x) || is.character(x) || is.logical(x)) return(x)
    NULL
  }
  files <- sort(list.files(folder, recursive = TRUE, full.names = TRUE), method = "radix")
  numbers <- list(
    fit = list(coef(fit), vcov(fit), confint(fit), glance(fit)), time = time_to(fit),
    predict = predict(fit, bell[1:20, ], interval = "prediction"),
    many = list(tidy(fits), as.data.frame(fits)), readings = bell, comma = comma,
    findings = check_readings(bell)[c("check", "level")], steps = summarise_readings(bell),
    outliers = find_outliers(bell), convert = convert_hardness(c(80, 62.5), "HRB", "HV"),
    budget = as.data.frame(uncertainty_budget(c(78, 79, 77.5), scale = "HRF", resolution = 0.5)),
    history = log, guess = guess, plan = as.data.frame(plan), class = class, key = key,
    marks = marks, grain = grain_size(number = 5:8), window = process_window(
      fit, hardness = c(95, 125), temp_c = c(330, 350), time_min = c(4, 8), n_points = 5),
    resample = resample_fit(fit, n_resamples = 5, seed = 3)$estimates)
  words <- c(utils::capture.output(print(fit), print(fits), print(class), print(plan), print(marks),
                                   print(summary(fit))),
             format_hardness(c(150.25, 90), "HV", measured = c(80, 42.5), measured_scale = "HRB"),
             tryCatch(convert_hardness(Inf, "HRB", "HV"), error = conditionMessage))
  saveRDS(list(numbers = plain(numbers), words = enc2utf8(words),
               files = stats::setNames(lapply(files, readLines, encoding = "UTF-8"),
                                       basename(files))), out)
}

job_under <- function(environment = character(), options = list(), threads = 1) {
  out <- withr::local_tempfile(fileext = ".rds")
  script <- withr::local_tempfile(fileext = ".R")
  dump("main_job", script)
  cat(".libPaths(c(", encodeString(normalizePath(installed_at(), "/"), quote = "\""),
      ", .libPaths()))\nmain_job(", encodeString(normalizePath(out, "/", FALSE), quote = "\""), ", ",
      paste(deparse(options), collapse = " "), ", ", threads, ")\n", sep = "", file = script,
      append = TRUE)
  withr::local_envvar(environment)
  status <- system2(file.path(R.home("bin"), "Rscript"), c("--vanilla", shQuote(script)))
  expect_identical(status, 0L)
  readRDS(out)
}

locale_there <- function(name) {
  all <- tryCatch(system2("locale", "-a", stdout = TRUE, stderr = FALSE), error = function(e) "")
  gsub("-", "", tolower(name)) %in% gsub("-", "", tolower(all))
}

numbers_alone <- function(x) {
  if (is.list(x)) return(lapply(x, numbers_alone))
  if (is.character(x)) NULL else x
}

usual <- c(LC_ALL = "C.UTF-8", LANGUAGE = "en", TZ = "UTC", OMP_NUM_THREADS = "1")
with_setting <- function(...) {
  given <- c(...)
  replace(usual, names(given), given)
}

test_that("locales, time zones, threads and options leave numbers, files and words as they are", {
  skip_on_os("windows")
  skip_if(is.null(installed_at()), "the package is not installed")
  reference <- job_under(usual)
  expect_gt(length(unlist(reference$numbers)), 3000L)
  expect_gt(length(reference$files), 3L)
  settings <- list(
    `LC_ALL=C` = list(with_setting(LC_ALL = "C")),
    `German` = list(with_setting(LC_ALL = "de_DE.UTF-8", LANGUAGE = "de"), needs = "de_DE.UTF-8"),
    `Turkish` = list(with_setting(LC_ALL = "tr_TR.UTF-8"), needs = "tr_TR.UTF-8"),
    `time zone` = list(with_setting(TZ = "Pacific/Auckland")),
    `two threads` = list(with_setting(OMP_NUM_THREADS = "2"), threads = 2),
    `comma and digits` = list(usual, options = list(OutDec = ",", digits = 3), words = FALSE),
    `no plain numbers` = list(usual, options = list(scipen = -5), words = FALSE),
    `text as factors` = list(usual, options = list(stringsAsFactors = TRUE)))
  spelled <- function(x) {
    x <- gsub("\u00b1", "+-", gsub("\u00b0C", "deg C", paste(x, collapse = " "), fixed = TRUE), fixed = TRUE)
    gsub("[[:space:]]+", " ", x)
  }
  for (name in names(settings)) {
    s <- settings[[name]]
    if (!is.null(s$needs) && !locale_there(s$needs)) next
    got <- job_under(s[[1L]], if (is.null(s$options)) list() else s$options,
                     if (is.null(s$threads)) 1 else s$threads)
    # words in a table (a reason, a source) follow the options as print() does
    whole <- if (isFALSE(s$words)) numbers_alone else identity
    for (part in names(reference$numbers)) {
      expect_identical(whole(got$numbers[[part]]), whole(reference$numbers[[part]]),
                       label = paste(name, part))
    }
    expect_identical(got$files, reference$files, label = paste(name, "files"))
    if (!isFALSE(s$words)) {
      # a locale without the signs of temperature and of an interval spells them
      words <- if (name == "LC_ALL=C") spelled else identity
      expect_identical(words(got$words), words(reference$words), label = paste(name, "words"))
    }
  }
})
