# Steps found in logs with known times, and readings joined to them; logs that do not fit are refused.

# What a thermocouple logs on the bench: cold before the first step and between the steps, every `dt` s.
bench_log <- function(plan, dt = 10, pause_s = 300, sd = 0.4, seed = 1, support = "block") {
  full <- as.data.frame(anneal_history(plan, thickness_mm = 0.95, dip_c = 9, support = support,
                                       cool_support = support))
  parts <- lapply(split(full, full$specimen), function(d) {
    t <- d$time_s + 120 + (d$step - 1) * pause_s
    grid <- seq(0, max(t) + 60, dt)
    data.frame(specimen = d$specimen[1L], time_s = grid,
               temp_c = stats::approx(c(0, t), c(20, d$temp_c), grid, ties = "ordered", rule = 2)$y)
  })
  log <- do.call(rbind, parts)
  rownames(log) <- NULL
  log$temp_c <- round(log$temp_c + with_test_seed(seed, stats::rnorm(nrow(log), sd = sd)), 1)
  log
}

bench_plan <- function() {
  data.frame(specimen = rep(c("B330", "B350", "B370"), each = 4), temp_c = rep(c(330, 350, 370), each = 4),
             time_min = c(4, 8, 16, 64))
}

test_that("steps are found with their times, whatever the interval and the support", {
  skip_on_cran()
  plan <- bench_plan()
  for (support in c("block", "free")) for (dt in c(1, 10, 30)) {
    found <- find_steps(bench_log(plan, dt, support = support))
    expect_identical(found$specimen, plan$specimen)
    expect_identical(found$step, rep(1:4, 3))
    expect_lt(max(abs(found$time_min - plan$time_min)), 2.5 * dt / 60)
    expect_identical(unique(found$note), "")
    expect_lt(max(abs(found$temp_c - plan$temp_c)[found$step == 4]), 1)
    expect_true(all(found$in_s < found$at_s & found$at_s <= found$out_s))
  }
  # two minutes before the first step
  expect_lt(abs(found$in_s[1L] - 120), 30)
  # codes, spikes and a loose contact do not divide a step
  log <- bench_log(plan)
  at <- which(log$specimen == "B330" & log$temp_c > 320)
  log$temp_c[at[c(5, 60)]] <- c(9999, 420)
  log$temp_c[at[100:101]] <- 25
  expect_equal(find_steps(log)$time_min, find_steps(bench_log(plan))$time_min, tolerance = 0.02)
})

test_that("logs that begin or end hot are marked, and a furnace that stays hot has no step", {
  log <- bench_log(bench_plan()[1:2, ])
  hot <- which(log$temp_c > 300)
  cut <- log[hot[5]:(max(hot) - 3), ]
  expect_identical(find_steps(cut)$note, c("begins hot", "ends hot"))
  furnace <- data.frame(time_s = seq(0, 3000, 10), temp_c = 330 + rep(c(0, 0, -20), length.out = 301))
  expect_refused(find_steps(furnace), "too_few", "no step is found in the log", "history")
  expect_refused(find_steps(transform(furnace, specimen = "A")), "too_few", "in the log of 'A'", "history")
})

test_that("steps written into the log join readings to their ends; without them the fit stops", {
  skip_on_cran()
  plan <- bench_plan()
  law <- c(h_worked = 180, h_soft = 75, ln_k_ref = log(0.06), n = 1.6, q_kj_mol = 180)
  log <- bench_log(plan)
  steps <- find_steps(log)
  marked <- add_steps(log, steps)
  expect_named(marked, c("specimen", "time_s", "temp_c", "step", "furnace_min"))
  hard <- soften(log, law, temp_ref_c = 350)
  # what is read is the hardness at the end of each pause
  last <- vapply(seq_len(nrow(steps)), \(i) max(which(log$specimen == steps$specimen[i] & marked$step == i -
                                                      4 *
                                                        ((i - 1) %/% 4))), 0)
  readings <- rbind(data.frame(plan, hardness = hard$hardness[last]),
                    data.frame(specimen = unique(plan$specimen), temp_c = c(330, 350, 370), time_min = 0,
                               hardness = 180))
  readings$scale <- "HV"
  said <- expect_message(fit <- fit_softening(readings, history = marked, temp_ref_c = 350),
                         "joined to the ends",
                         class = "softanneal_message_history")
  expect_lt(max(abs(coef(fit) - law) / c(1, 1, 0.05, 0.05, 2)), 1)
  # joined by the number of the step where the times alone do not tell
  numbered <- transform(readings, step = match(time_min, c(4, 8, 16, 64), 0L))
  slow <- steps
  slow$out_s[slow$step == 2] <- slow$out_s[slow$step == 2] + 100
  expect_refused(fit_softening(readings, history = add_steps(log, slow)), "range", "hardness is read cold",
                 "history")
  by_step <- suppressMessages(fit_softening(numbered, history = add_steps(log, slow), temp_ref_c = 350))
  expect_equal(coef(by_step), coef(fit), tolerance = 1e-6)
  # the log alone: pauses are not in the accumulated time
  e <- expect_refused(fit_softening(readings, history = log), "range", "has 4 steps with pauses", "history")
  expect_match(e$remedy, "add_steps(log, steps)", fixed = TRUE)
  expect_refused(predict(fit, readings, history = log), "range", "with pauses", "history")
  # log times: right ones pass; hot, too early, of another step do not
  clock <- transform(readings, clock_s = c(log$time_s[last], 0, 0, 0))
  by_time <- fit_softening(clock, history = log, log_time = clock_s, temp_ref_c = 350)
  expect_equal(coef(by_time), coef(fit), tolerance = 1e-6)
  fit_at <- function(row, s) fit_softening(transform(clock, clock_s = replace(clock_s, row, s)),
                                           history = log, log_time = clock_s)
  e <- expect_refused(fit_at(3, steps$out_s[3] - 60), "range", "falls on 330", "history", 3L)
  expect_refused(fit_at(1, 60), "range", "before the first step", "history", 1L)
  expect_refused(fit_at(3, clock$clock_s[2]), "range", "had been in the furnace for 8 min", "log_time", 3L)
  # one step, counted from the start of the log: in the furnace two minutes later
  one <- log[log$specimen == "B350" & log$time_s < 450, ]
  few <- readings[readings$specimen == "B350" & readings$time_min %in% c(0, 4), ]
  expect_refused(fit_softening(few, history = one), "range", "and hardness is read cold", "history")
  expect_refused(fit_softening(transform(few, time_min = time_min / 4), history = one), "range",
                 "before the first step", "history")
})

test_that("tables of steps that do not fit the log are refused", {
  log <- bench_log(bench_plan()[1:3, ])
  steps <- find_steps(log)
  with_steps <- function(...) add_steps(log, transform(steps, ...))
  expect_refused(with_steps(out_s = in_s - 1), "range", "ends before it begins", "steps", 1:3)
  expect_refused(with_steps(out_s = out_s + 600), "range", "overlap", "steps")
  expect_refused(with_steps(in_s = in_s - 200), "range", "not within the log", "steps", 1L)
  expect_refused(with_steps(specimen = "X"), "missing", "no log of specimen 'X'", "steps")
  expect_refused(with_steps(out_s = c(in_s[2:3] - 0.1, out_s[3])), "range", "no point between", "steps",
                 1:2)
  two <- rbind(log, transform(log, specimen = "other"))
  expect_refused(add_steps(two, steps), "too_few", "no step of specimen 'other'", "steps")
  expect_refused(add_steps(log, steps["in_s"]), "column", "out_s")
  # rows in any order of specimens
  mixed <- two[order(two$time_s), ]
  marked <- add_steps(mixed, find_steps(mixed))
  expect_equal(marked$furnace_min[mixed$specimen == "other"], add_steps(log, steps)$furnace_min)
})

test_that("the plot of a log shows its steps", {
  log <- bench_log(bench_plan()[1:8, ])
  p <- plot_history(log, steps = find_steps(log))
  expect_identical(length(unique(ggplot2::layer_data(p, 1L)$PANEL)), 2L)
  marks <- ggplot2::layer_data(p, 2L)
  expect_identical(nrow(marks), 24L)
  expect_setequal(marks$shape, c(2, 16, 6))
  expect_refused(plot_history(log, steps = data.frame(specimen = "X", in_s = 1, out_s = 2)), "missing",
                 "names no specimen", "steps")
})
