# Passes of a rolling run. Thicknesses by hand; 2/sqrt(3) ln(t0/t) as in test-rolling.R.

test_that("wanted reductions are met in turn by as few passes as the mill allows", {
  p <- plan_rolling(1.60, c(60, 20, 40))
  expect_equal(p$thickness_mm[!is.na(p$wanted_pct)], c(1.28, 0.96, 0.64))
  # 20 % in one pass; 1.28 to 0.96 is 25 %, 0.96 to 0.64 33 %: two passes each
  expect_equal(which(!is.na(p$wanted_pct)), c(2L, 4L, 6L))
  expect_true(all(p$pass_reduction_pct[-1L] <= 20 + 1e-9))
  expect_equal(p$reduction_pct, 100 * (1 - p$thickness_mm / 1.6))
  expect_equal(p$effective_strain, 2 / sqrt(3) * log(1.6 / p$thickness_mm))
  expect_equal(p$temper[p$pass == 3L], "H04") # 40 % is nearest to 37 %
  expect_equal(plan_rolling(1.6, 40, length_mm = 150)$length_mm[4L], 250)
  # what cold_work() finds of it
  strip <- data.frame(specimen = "S", pass = p$pass, thickness_mm = p$thickness_mm)
  expect_equal(cold_work(strip)$reduction_pct, p$reduction_pct)
})

test_that("drafts keep to the stand and to the bite, on the dial, for random mills", {
  skip_on_cran()
  with_test_seed(4, for (k in 1:60) {
    t0 <- stats::runif(1, 0.5, 6)
    share <- stats::runif(1, 5, 40)
    draft <- stats::runif(1, 0.05, 0.6)
    step <- sample(c(0.001, 0.01, 0.02), 1L)
    wanted <- stats::runif(2, 5, 85)
    p <- plan_rolling(t0, wanted, share, max_draft_mm = draft, dial_step_mm = step)
    expect_true(all(p$draft_mm[-1L] > 0 & p$draft_mm[-1L] <= draft + 1e-9), label = k)
    expect_true(all(p$pass_reduction_pct[-1L] <= share + 1e-9), label = k)
    expect_equal(p$thickness_mm[-1L] / step, round(p$thickness_mm[-1L] / step), tolerance = 1e-9)
    last <- p$thickness_mm[!is.na(p$wanted_pct)]
    expect_true(all(abs(last - t0 * (1 - sort(wanted) / 100)) <= step / 2 + 1e-9), label = k)
    # no fewer passes can do it: the heaviest allowed each time
    t <- t0
    for (aim in last) {
      n <- 0
      while (t > aim + 1e-9) {
        t <- max(aim, ceiling((t - min(share / 100 * t, draft)) / step - 1e-9) * step)
        n <- n + 1
      }
      own <- which(abs(p$thickness_mm - aim) < 1e-9)
      before <- max(c(0, which(!is.na(p$wanted_pct))[which(!is.na(p$wanted_pct)) < own], 1L))
      expect_equal(own - before, n, label = k)
    }
  })
  bite <- plan_rolling(1.6, 40, 50, roll_radius_mm = 40, friction = 0.06) # 0.0036 x 40 = 0.144 mm
  expect_lte(max(bite$draft_mm, na.rm = TRUE), 0.144)
})

test_that("limits that no mill has are refused", {
  expect_refused(plan_rolling(1.6, c(20, 120)), "range", "`reduction_pct`", rows = 2L)
  expect_refused(plan_rolling(1.6, 20, friction = 0.1), "argument", "needs both", arg = "roll_radius_mm")
  expect_refused(plan_rolling(1.6, 20, max_draft_mm = 0.001), "range", "less than a step of the dial")
  expect_refused(plan_rolling(0.1, 99, dial_step_mm = 0.05), "range", "leaves less than a step")
  expect_refused(plan_rolling(1.6, numeric()), "too_few", "no reduction")
  expect_equal(nrow(plan_rolling(1.6, c(20, 20.1))), 2L) # the same step of the dial
})
