# Thresholds and signs of readings, fractions, grains and peaks, with a case on either side of each; numbers
# by other formulas. See test-thresholds.R.

test_that("clock cells with halves of the day are those of strptime(), and 24:59 is the last", {
  at <- c("12:00 am", "12:05 AM", "1:30 a.m.", "11:59 am", "12:00 pm", "12:45 P.M.", "1:00pm", "11:59 PM")
  lt <- as.POSIXlt(strptime(paste("2026-11-30", gsub("[.]", "", at)), "%Y-%m-%d %I:%M %p", tz = "UTC"))
  expect_identical(clock_moments(at, rep(NA, 8L), "begun", NULL)$min, 60 * lt$hour + lt$min)
  # from before noon to after it
  d <- data.frame(specimen = "a", temp_c = 330, hardness = c(90, 80), scale = "HRF",
                  begun = c("", "11:50 am"), ended = c("", "12:20 pm"))
  name <- c(in_clock = "begun", out_clock = "ended")
  expect_equal(as.vector(suppressMessages(read_readings(d, columns = name))$time_min), c(0, 30))
  expect_identical(clock_moments("24:00", NA, "begun", NULL)$min, 1440)
  for (cell in c("25:00", "99:10", "13:05 pm")) {
    expect_error(clock_moments(c("9:00", cell), c(NA, NA), "begun", NULL), "no clock time like the others",
                 class = "softanneal_error_column")
  }
})

test_that("curves whose steps scatter by more than 8 % of the drop say nothing of times", {
  # half soft at ln t of 2.4 and 3.6; the scatter leaves the soft end alone
  time <- exp(seq(0, 5, 0.1))
  curve <- function(temp, half, off) {
    hv <- 80 + 80 * 2^-((time / exp(half))^1.2)
    list(name = format(temp), temp = temp, time = time, worked = 160, read = 160, rows = 1L, scale = "HV",
         hv = hv + ifelse(hv > 80 + off, off * rep_len(c(-1, 1, 1, -1), length(time)), 0))
  }
  # scatter as a share of the drop by nls(), with 3 % on 4 degrees of freedom
  share <- function(pieces) {
    x <- data.frame(h = unlist(lapply(pieces, `[[`, "hv")), t = rep(time, 2L),
                    a = rep(1:0, each = length(time)))
    f <- stats::nls(h ~ s + (160 - s) * 2^-((t * exp(-a * u - (1 - a) * v))^n), x,
                    start = list(s = 80, u = 2.4, v = 3.6, n = 1.2), algorithm = "port",
                    upper = c(80, 9, 9, 9))
    df <- nrow(x) - length(pieces) - 2
    sqrt((stats::deviance(f) + 4 * (0.03 * 80)^2) / (df + 4)) / 80
  }
  smooth <- list(curve(360, 2.4, 7), curve(330, 3.6, 7))
  rough <- list(curve(360, 2.4, 7.4), curve(330, 3.6, 7.4))
  expect_lt(share(smooth), 0.08)
  expect_gt(share(smooth), 0.075)
  expect_gt(share(rough), 0.081)
  expect_lt(share(rough), 0.09)
  expect_false(is.null(piece_evidence(smooth)))
  expect_null(piece_evidence(rough))
})

test_that("from a standard error of 15 % on the interval of Q of fractions is that of its profile", {
  at <- data.frame(temp_c = rep(c(330, 345), each = 5), time_min = c(8, 16, 32, 64, 128, 4, 8, 16, 32, 64))
  k <- 0.02 * exp(-140 / 8.314462618e-3 * (1 / (at$temp_c + 273.15) - 1 / 608.15))
  made <- function(size) {
    off <- size * c(1, -1, 1, -1, 0.5, -1, 1, -1, 1, -0.5)
    transform(at, fraction = -expm1(-(k * time_min)^1.5) + off)
  }
  fitted <- function(d) suppressWarnings(fit_recrystallisation(d, variance = "constant"))
  # sum of squares with Q held, by nls()
  held <- function(d, q) {
    e <- -q / 8.314462618e-3 * (1 / (d$temp_c + 273.15) - 1 / 608.15)
    stats::deviance(stats::nls(fraction ~ -expm1(-exp(n * (l + e + log(time_min)))), cbind(d, e = e),
                               start = list(l = log(0.02), n = 1.5)))
  }
  near <- fitted(made(0.045))
  far <- fitted(made(0.055))
  ratio <- function(f) sqrt(vcov(f)["q_kj_mol", "q_kj_mol"]) / coef(f)[["q_kj_mol"]]
  expect_lt(ratio(near), 0.15)
  expect_gt(ratio(near), 0.12)
  expect_gt(ratio(far), 0.15)
  expect_lt(ratio(far), 0.18)
  t <- stats::qt(0.975, 7)
  expect_equal(confint(near)["q_kj_mol", ], coef(near)[["q_kj_mol"]] * (1 + c(-1, 1) * t * ratio(near)),
               tolerance = 1e-8, ignore_attr = TRUE)
  d <- made(0.055)
  for (end in confint(far)["q_kj_mol", ]) {
    expect_equal((held(d, end) - deviance(far)) / (deviance(far) / 7), t^2, tolerance = 1e-4)
  }
})

test_that("counts of grains whose mean is known worse than to 10 % ask for more", {
  printed <- function(counts) capture_output(print(count_intercepts(counts, 500, 100)))
  # three fields d apart: half width t s / sqrt(3), t = 4.303, s = d
  accuracy <- function(counts) 100 * stats::qt(0.975, 2) * stats::sd(counts) / sqrt(3) / mean(counts)
  close <- c(96, 100, 104)
  wide <- c(95, 99, 103)
  expect_lt(accuracy(close), 10)
  expect_gt(accuracy(wide), 10)
  expect_no_match(printed(close), "count more")
  expect_match(printed(wide), "relative accuracy 10 % (over 10 %: count more)", fixed = TRUE)
})

test_that("peaks lie on the Kissinger line where rate over the square of T says", {
  peaks <- data.frame(rate_k_min = c(2.5, 5, 10, 20), peak_c = c(140.98, 151.06, 161.63, 172.72))
  p <- ggplot2::autoplot(fit_kissinger(peaks))
  points <- Filter(\(l) inherits(l$geom, "GeomPoint"), p$layers)[[1L]]$data
  kelvin <- peaks$peak_c + 273.15
  expect_equal(points$x, 1000 / kelvin, tolerance = 1e-12)
  expect_equal(points$y, log(peaks$rate_k_min / kelvin^2), tolerance = 1e-12)
})

test_that("readings without a limit leave the scatter within steps with its degrees of freedom", {
  x <- c(151, 149, 152, 140, 143, 131, 128, 133)
  at <- c(0L, 0L, 0L, 1L, 1L, 2L, 2L, 2L)
  steps <- list(site = x, variance = rep(2, 8L), step_mean = c(150, 141, 130),
                step_variance = c(0.6, 0.9, 0.6))
  expect_equal(scatter_within(steps, at, at, rep(1, 8L), 2), sigma(stats::lm(x ~ factor(at)))^2,
               tolerance = 1e-12)
  p <- c(1, 2, 1, 3, 1, 1, 1, 2)
  steps$variance <- 2 / p
  expect_equal(scatter_within(steps, at, at, p, 2), sigma(stats::lm(x ~ factor(at), weights = p))^2,
               tolerance = 1e-12)
})

test_that("a series twice is pasted from three readings on, where chance makes it in fewer than 2 of 100", {
  pasted <- function(...) {
    h <- list(...)
    d <- data.frame(specimen = "A", temp_c = 330, time_min = rep(4 * seq_along(h) - 4, lengths(h)),
                    hardness = unlist(h), scale = "HRF")
    "duplicate" %in% check_readings(d)$check
  }
  expect_true(pasted(c(90, 91, 92, 90, 91, 92)))
  expect_false(pasted(c(90, 91, 90, 91)))
  # of 60 ordered pairs 12 or 14 are equal: 2 p^3 is 0.016 or 0.025
  expect_true(pasted(c(90, 91, 92, 90, 91, 92), c(70, 70, 71, 71, 72, 72)))
  expect_false(pasted(c(90, 91, 92, 90, 91, 92), c(70, 70, 70, 71, 71, 72)))
})

test_that("a report has the errors and warnings among the findings, not the notes", {
  d <- with_test_seed(7, made_readings(n = 4))
  found <- check_readings(d)
  expect_identical(unique(found$level), "note")
  expect_no_message(own <- report_findings(d, "brass"))
  expect_identical(nrow(own), 0L)
})

test_that("another unit is named from 6 nats of time on, where 4.5 at most are left in it", {
  metal <- kinetics_of_table("brass")
  # read at `temp`, half soft `now` nats of time after the metal is there
  named <- function(temp, now) {
    half <- metal(temp) + now
    time <- exp(half + seq(-4, 3, 0.1))
    piece <- list(name = "a", temp = temp, time = time, worked = 160, read = 160, rows = 1L, scale = "HV",
                  hv = 80 + 80 * exp(-log(2) * (time / exp(half))^1.6))
    other_units(list(piece), "brass")$unit
  }
  # where what is a temperature in kelvin counts `shift` nats as one in degrees Celsius
  at <- function(shift) {
    stats::uniroot(\(t) metal(t - 273.15) - metal(t) - shift, c(400, 2000), tol = 1e-9)$root
  }
  expect_true("Kelvin" %in% named(at(6.1), 6.1))
  expect_null(named(at(5.9), 5.9))
  expect_true("Kelvin" %in% named(at(15), 15 + 4.4))
  expect_false("Kelvin" %in% named(at(15), 15 + 4.6))
})

test_that("reductions are a fraction where none is 1 % or more", {
  d <- data.frame(cold_work_pct = c(0.5, 30, NA, 60))
  expect_equal(strain_column(d, "cold_work_pct"), 2 / sqrt(3) * -log(1 - c(0.005, 0.3, NA, 0.6)))
  d$cold_work_pct <- c(0.5, 0.3, NA, 0.99)
  expect_error(strain_column(d, "cold_work_pct"), "a fraction?", class = "softanneal_error_range")
  d$cold_work_pct <- c(0.5, 0.3, NA, 1)
  expect_equal(strain_column(d, "cold_work_pct")[4L], 2 / sqrt(3) * -log(0.99))
})

test_that("clock times beside times go on after midnight", {
  d <- data.frame(specimen = "A", temp_c = 330, `in` = c(NA, "23:57", "00:20"),
                  out = c(NA, "00:01", "00:28"), time_min = c(0, 4, 12), HRB = c(82, 80, 75),
                  check.names = FALSE)
  expect_message(read_readings(d), "'in' and 'out' agree with them")
})

test_that("kelvin is asked of furnaces of 100 degrees Celsius or more", {
  # metal that softens in an hour at the temperatures meant
  asked <- function(temp_c) {
    g <- plan_guess("copper", recryst_1h_c = min(temp_c), draws = 4)
    ask_kelvin(list(temperatures = data.frame(temp_c = temp_c + 273.15), guess = g,
                    steps = data.frame(step = 0:2, time_min = c(0, 20, 60))))
  }
  expect_null(asked(c(98, 110)))
  expect_match(asked(c(102, 114)), "K are 102, 114 degrees Celsius", fixed = TRUE)
})

test_that("a plan warns of what half of the draws let expect", {
  g <- plan_guess("C26000", recryst_1h_c = 330, draws = 40)
  temps <- seq(220, 420, by = 10)
  plan <- suppressWarnings(plan_anneal(temps, c(4, 16), g, session_min = 1400))
  # softened fraction of each draw at the first and last reading
  share <- function(temp, time) {
    d <- as.data.frame(g$draws)
    k <- exp(d$ln_k_ref - d$q_kj_mol / 8.314462618e-3 * (1 / (temp + 273.15) - 1 / (g$temp_ref_c + 273.15)))
    -expm1(-(k * time)^d$n)
  }
  over <- vapply(temps, \(t) mean(share(t, 4) >= 0.95), 0)
  idle <- vapply(temps, \(t) mean(share(t, 16) < 0.05), 0)
  expect_true(any(over > 0.05 & over < 0.5) && any(idle > 0.05 & idle < 0.5))
  expect_equal(plan$temperatures$finished, over)
  expect_identical(grepl("barely begun", plan$temperatures$note), idle >= 0.5)
  w <- expect_warning(tell_finished(plan), class = "softanneal_warning_assumption")
  expect_identical(w$rows, which(over >= 0.5))
})

test_that("a plan has the cautions of its hottest furnace", {
  g <- plan_guess("C26000", recryst_1h_c = 330, draws = 4)
  p <- suppressWarnings(plan_anneal(c(300, 705), c(4, 16), g))
  hot <- cautions(c("furnace", "annealing", "indenting"), temp_c = 705)
  expect_identical(p$cautions$precaution, hot$precaution)
  expect_identical(sum(p$cautions$from_temp_c %in% 700), 2L)
})

test_that("ends of the band of an open curve are there to their last digits", {
  # Q is open: the hotter temperature was over before its first reading
  d <- with_test_seed(71, made_readings(temps = c(300, 420), times = c(0, 5, 10, 20, 40, 80), q = 150,
                                        half_min = 6, sd_step = 0.5))
  f <- quietly_fitted(d, se = "model")
  expect_false(f$states[["q_kj_mol"]] == "determined")
  at <- data.frame(temp_c = c(300, 360), time_min = c(20, 2))
  band <- suppressWarnings(predict(f, at, interval = "confidence"))
  # sum of squares of the best curve with one tie, by Gauss and Newton: k and n at 300 degrees Celsius
  least <- function(levels) {
    residuals <- function(p) {
      left <- function(t) exp(-(exp(p[2L]) * t)^p[3L])
      level <- levels(p[1L], left)
      share <- ifelse(d$temp_c == 300, left(d$time_min), as.numeric(d$time_min == 0))
      d$hardness - level[2L] - (level[1L] - level[2L]) * share
    }
    p <- c(if (is.na(levels(1, \(t) NA)[1L])) 80 else 160, log(0.03), 1.5)
    for (k in 1:60) {
      jac <- vapply(1:3, function(j) {
        by <- 1e-5 * p[j]
        (residuals(replace(p, j, p[j] + by)) - residuals(replace(p, j, p[j] - by))) / (2 * by)
      }, d$hardness)
      step <- qr.coef(qr(jac), residuals(p))
      sum_of <- \(x) sum(residuals(x)^2)
      while (sum_of(p - step) > sum_of(p) && max(abs(step)) > 1e-12) step <- step / 2
      p <- p - step
    }
    sum(residuals(p)^2)
  }
  # worked and soft level of a curve through h at 300; at 360 it may be soft: the soft level is h
  at_300 <- function(h) \(soft, left) c((h - soft * (1 - left(20))) / left(20), soft)
  at_360 <- function(h) \(worked, left) c(worked, h)
  rise <- function(curves) (least(curves) - deviance(f)) / (stats::qt(0.975, df.residual(f)) * sigma(f))^2
  expect_equal(rise(at_300(band[1L, "lwr"])), 1, tolerance = 1e-6)
  expect_equal(rise(at_300(band[1L, "upr"])), 1, tolerance = 1e-6)
  expect_equal(rise(at_360(band[2L, "lwr"])), 1, tolerance = 1e-6)
})
