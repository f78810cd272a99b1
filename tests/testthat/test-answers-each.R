# Answers of many fits: each row is that of fit_softening() on the readings of its group.

lots <- function() {
  d <- with_test_seed(21, made_readings(n = 3, sd_step = 0.5))
  e <- with_test_seed(22, made_readings(n = 3, sd_step = 0.5, half_min = 18))
  rbind(transform(d, lot = "lot A"), transform(e, lot = "lot B"),
        transform(d[d$temp_c == 330, ], lot = "one temperature"), transform(d[1:3, ], lot = "empty"))
}

many <- function(d = lots(), ...) suppressWarnings(fit_each(d, by = "lot", ...))

alone <- function(d, lot) {
  fit_softening(d[d$lot == lot, names(d) != "lot"], se = "cluster")
}

test_that("a group in double brackets is the fit of its readings", {
  skip_on_cran()
  d <- lots()
  d <- d[with_test_seed(1, sample(nrow(d))), ] # any order of rows
  fits <- many(d)
  expect_length(fits, 4L)
  f <- fits[["lot B"]]
  own <- alone(d, "lot B")
  expect_equal(coef(f), coef(own), tolerance = 1e-8)
  expect_equal(vcov(f), vcov(own), tolerance = 1e-6)
  expect_identical(coef(fits[[3]]), coef(f))
  expect_equal(coef(f), coef(fits)["lot B", ], tolerance = 1e-6)
  expect_equal(coef(fits[3:2][["lot A"]]), coef(fits[["lot A"]]))
  expect_equal(vapply(fits[2:3], stats::nobs, 0L), c("lot A" = 54L, "lot B" = 54L))
  expect_null(as.list(fits)$empty)
  # settings travel
  fixed <- many(d, fixed = c(n = 1.6), lower = c(q_kj_mol = 50), scale = "as read", temp_ref_c = 320,
                se = "model", level = 0.9)
  one <- fixed[["lot A"]]
  expect_equal(c(one$par[["n"]], one$temp_ref_c, one$level), c(1.6, 320, 0.9))
  expect_identical(c(one$se, one$scale), c("model", "HV"))
  expect_equal(coef(one), coef(fixed)["lot A", ], tolerance = 1e-6)
})

test_that("other columns, weights and rows left out come back in the fit of a group", {
  d <- lots()
  names(d)[match(c("time_min", "temp_c", "hardness", "specimen"), names(d))] <- c("t", "deg", "H", "piece")
  d$w <- rep(c(1, 2, 3), length.out = nrow(d))
  d$H[which(d$lot == "lot A")[5]] <- NA
  fits <- suppressWarnings(fit_each(d, by = "lot", time = "t", temp = "deg", hardness = "H",
                                    specimen = "piece", weights = d$w))
  expect_silent(f <- fits[["lot A"]])
  own <- d[d$lot == "lot A", ]
  hand <- suppressWarnings(fit_softening(own[names(own) != "lot"], time = t, temp = deg, hardness = H,
                                         specimen = piece, weights = w, se = "cluster"))
  expect_equal(coef(f), coef(hand), tolerance = 1e-8)
  expect_equal(coef(f), coef(fits)["lot A", ], tolerance = 1e-6)
  expect_equal(predict(f, data.frame(deg = 330, t = 8)), predict(hand, data.frame(deg = 330, t = 8)))
})

test_that("times and temperatures of all groups are those of each fit, keys first", {
  d <- lots()
  fits <- many(d)
  expect_told(t <- time_to(fits, hardness = c(100, 120), temp_c = c(330, 345)), "outside",
              "6 of 16 answers, in 2 groups of 4, are NA", n = 6L)
  expect_identical(names(t)[1:3], c("lot", "temp_c", "hardness"))
  expect_identical(t$lot, rep(c("empty", "lot A", "lot B", "one temperature"), each = 4))
  own <- time_to(alone(d, "lot B"), hardness = c(100, 120), temp_c = c(330, 345))
  rows <- t[t$lot == "lot B", -1]
  expect_equal(as.list(rows), as.list(own), tolerance = 1e-6)
  expect_equal(t$temp_c[1:4], c(330, 345, 330, 345))
  expect_match(t$note[1], "no fit: without a reading after time zero")
  expect_match(t$note[t$lot == "one temperature" & t$temp_c == 345][1], "one temperature read")
  expect_told(k <- temp_for(fits, 30, fraction = 0.5), "outside", "2 of 4 answers", rows = c(1L, 4L))
  expect_equal(k$temp_c[2], temp_for(alone(d, "lot A"), 30, fraction = 0.5)$temp_c, tolerance = 1e-6)
  expect_match(k$note[4], "one temperature cannot be extrapolated")
  r <- suppressWarnings(recryst_temperature(fits, solidus_c = 915))
  expect_equal(r$homologous, (r$temp_c + 273.15) / 1188.15)
  expect_equal(time_to(fits[2:3], softening = 0.5, temp_c = 330, method = "bootstrap", n_resamples = 20,
                       seed = 1)$conf.low[1],
               time_to(alone(d, "lot A"), temp_c = 330, method = "bootstrap", n_resamples = 20,
                       seed = 1)$conf.low, tolerance = 1e-6)
})

test_that("process windows of all groups", {
  d <- lots()
  fits <- many(d)
  expect_told(w <- process_window(fits, hardness = c(95, 125), n_points = 4), "outside",
              "2 of 34 answers, in 2 groups", n = 2L)
  own <- process_window(alone(d, "lot A"), hardness = c(95, 125), n_points = 4)
  expect_equal(w$probability[w$lot == "lot A"], own$probability, tolerance = 1e-6)
  expect_identical(w$note[w$lot == "empty"], "no fit: without a reading after time zero")
})

test_that("keys named like a column of the table are told apart", {
  d <- lots()
  d <- d[d$lot %in% c("lot A", "lot B"), ]
  d$n <- d$status <- d$note <- d$lot
  d$by_note <- paste0(d$lot, "'")
  fits <- fit_each(d, by = c(n, status, note, by_note))
  expect_identical(names(as.data.frame(fits))[1:5], c("by_n", "by_status", "note", "by_note", "status"))
  expect_identical(names(tidy(fits))[1:5], c("n", "by_status", "note", "by_note", "term"))
  expect_identical(names(glance(fits))[1:4], c("n", "by_status", "note", "by_note"))
  t <- time_to(fits, temp_c = 330)
  expect_identical(names(t)[1:5], c("n", "status", "by_note", "by_by_note", "temp_c"))
  expect_identical(t$by_note, c("lot A", "lot B"))
  by_temp <- suppressWarnings(time_to(suppressWarnings(fit_each(d, by = temp_c)), hardness = 100))
  expect_identical(by_temp$by_temp_c, by_temp$temp_c)
})

test_that("a handful of groups prints one by one, more by quartiles, within 80 columns", {
  withr::local_options(width = 80)
  fits <- many()
  said <- utils::capture.output(print(fits))
  expect_true(all(nchar(said) <= 80L))
  row <- paste(grep("^lot A ", said, value = TRUE), collapse = " ")
  expect_match(row, format_by_error(coef(fits)["lot A", "q_kj_mol"],
                                    as.data.frame(fits)$se_q_kj_mol[2], 4L), fixed = TRUE)
  expect_match(paste(grep("^empty", said, value = TRUE), collapse = " "), "^empty( +-){4} empty( +-){2}$")
  d <- lots()
  d <- d[d$lot == "lot A", ]
  eleven <- do.call(rbind, lapply(1:11, \(k) transform(d, lot = k)))
  expect_output(print(fit_each(eleven, by = lot)), "Median")
  expect_output(print(fit_each(eleven[eleven$lot < 11, ], by = lot)), "\n10 ")
  # hotter half over before the first reading: limits stand in the cells
  open <- with_test_seed(3, made_readings(temps = c(350, 450), times = c(0, 10, 20, 40, 80), n = 5))
  expect_output(print(suppressWarnings(fit_each(transform(open, lot = 1), by = lot))), "[<>]= ")
})

test_that("groups that are not there, or without readings, are refused", {
  fits <- many()
  expect_refused(fits[["lot C"]], "argument", "there is no group 'lot C'", "i")
  expect_refused(fits[[5]], "argument", "there is no group 5", "i")
  expect_refused(fits[[c(1, 2)]], "argument", "must be one name or number", "i")
  expect_refused(fits[["empty"]], "model", "has no fit: 'no anneal'", "i")
  expect_refused(time_to(fits, hardness = -1), "range", "`hardness`", "hardness")
  expect_refused(time_to(fits, strain = 1), "argument", "the fit has no strain", "strain")
  bare <- unclass(fits)
  bare$readings <- NULL
  class(bare) <- "softanneal_fits"
  expect_refused(bare[["lot A"]], "model", "these fits keep no readings", "x")
  expect_refused(time_to(bare), "model", "these fits keep no readings")
  twice <- fits[c(2, 2)]
  expect_refused(twice[["lot A"]], "argument", "there are several groups 'lot A'", "i")
})
