# Faults planted in sound logs are found, and sound logs are left alone.

sound_log <- function(seed, step_s = 10) {
  s <- seq(0, 3600, step_s)
  piece <- 330 - 310 * exp(-pmax(s - 120, 0) / 90)
  piece <- ifelse(s > 3000, 20 + 310 * exp(-(s - 3000) / 60), piece)
  data.frame(specimen = "B330", time_s = s,
             temp_c = round(piece + with_test_seed(seed, stats::rnorm(length(s), sd = 0.4)), 1))
}

kinds <- function(log, ...) check_history(log, ...)$check

test_that("sound logs and computed histories have no finding of weight", {
  alarms <- vapply(1:40, \(k) sum(check_history(sound_log(k, c(2, 5, 10, 30)[k %% 4 + 1]))$level != "note"),
                   0L)
  expect_identical(sum(alarms > 0), 0L)
  steps <- data.frame(specimen = "B330", temp_c = 330, time_min = c(4, 8, 16))
  expect_false(any(c("error", "warning") %in%
                     check_history(anneal_history(steps, thickness_mm = 0.95, dip_c = 9))$level))
  expect_identical(unique(kinds(anneal_history(steps))), "same time")
})

test_that("planted faults are found at their rows", {
  skip_on_cran()
  for (seed in 1:20) {
    log <- sound_log(seed)
    at <- with_test_seed(seed, sample(40:290, 1))
    for (code in c(9999, -9999, 1372, 32767)) {
      x <- check_history(replace(log, "temp_c", list(replace(log$temp_c, at, code))))
      expect_identical(x$rows[x$check == "code"], list(at))
    }
    x <- check_history(replace(log, "temp_c", list(replace(log$temp_c, at + 0:1, log$temp_c[at] + 60))))
    expect_identical(x$rows[x$check == "spike"], list(c(at, at + 1L)))
    x <- check_history(replace(log, "temp_c", list(replace(log$temp_c, at, log$temp_c[at] - 60))))
    expect_identical(x$rows[x$check == "dip"], list(at))
    x <- check_history(log[-(at + 1:9), ])
    expect_identical(x$rows[x$check == "gap"], list(at + 1L))
  }
  log <- sound_log(1)
  jump <- log
  jump$temp_c[150:290] <- jump$temp_c[150:290] + 250
  expect_identical(check_history(jump)$rows[kinds(jump) == "rate"], list(c(150L, 291L)))
  quick <- sound_log(1, 2)
  quick$temp_c[700:800] <- quick$temp_c[700:800] + 140
  expect_identical(check_history(quick, heating_c_s = 50)$rows[kinds(quick) == "rate"][[1L]][1L], 700L)
  hot <- transform(log, temp_c = temp_c + 273.15)
  expect_true("kelvin" %in% kinds(hot))
  lost <- log
  lost$temp_c[c(100, 160:200)] <- 0
  expect_identical(check_history(lost)$rows[kinds(lost) == "code"], list(c(100L, 160:200)))
  dropped <- log
  dropped$temp_c[c(100, 101)] <- 60
  expect_identical(kinds(dropped), "dip")
  # a short step in a coarse log, a door, and a quench at the end are no faults
  coarse <- data.frame(time_s = 60 * 0:12, temp_c = c(20, 20, 20, 260, 330, 330, 60, 21, 20, 20, 20, 20,
                                                      20))
  expect_false(any(check_history(coarse)$level != "note"))
  door <- data.frame(time_s = 60 * 0:12, temp_c = 330)
  door$temp_c[6] <- 310
  expect_identical(check_history(door)$level, "note")
  quench <- rbind(log[1:250, ], data.frame(specimen = "B330", time_s = log$time_s[250] + 1:60, temp_c = 20))
  expect_false(any(check_history(quench)$level != "note"))
  log$time_s[50] <- log$time_s[48]
  expect_identical(kinds(log), "order")
  stuck <- sound_log(1)
  stuck$temp_c[100:200] <- 330
  expect_true("still" %in% kinds(stuck))
})

test_that("several specimens, other columns and limits", {
  two <- rbind(sound_log(1), transform(sound_log(2), specimen = "C330"))
  two$temp_c[400] <- 9999
  x <- check_history(two)
  expect_identical(x$rows[x$check == "code"], list(400L))
  expect_match(x$what[x$check == "code"], "^C330: ")
  names(two) <- c("piece", "t", "T")
  expect_identical(check_history(two, specimen = piece, time = t, temp = "T")$rows, x$rows)
  expect_true("rate" %in% kinds(sound_log(1), heating_c_s = 1))
  expect_refused(check_history(sound_log(1), heating_c_s = 0), "range", "`heating_c_s`", "heating_c_s")
  expect_refused(check_history(data.frame(time_s = 1)), "column", "temp_c")
  expect_identical(check_history(transform(two, sheet_row = 2:723), specimen = piece, time = t,
                                 temp = "T")$where,
                   "row 401")
})
