# The numbers that plots compute before they draw, against formulas and refits of their own.

bell_fit <- function() fit_softening(bell_readings(), se = "model")

test_that("intervals of step means are t intervals of their own readings", {
  d <- bell_readings()
  means <- condition_summary(bell_fit(), 0.9)
  own <- with(as.data.frame(d), hardness[temp_c == 330 & time_min == 16])
  hv <- convert_hardness(own, d$scale[d$temp_c == 330 & d$time_min == 16], "HV")
  row <- means[abs(means$temp_c - 330) < 1e-6 & means$time_min == 16, ]
  expect_equal(c(row$lower, row$upper), as.vector(stats::t.test(hv, conf.level = 0.9)$conf.int))
})

test_that("points, bars and margin of the Avrami plot follow from the means", {
  fit <- bell_fit()
  at <- fit$conditions
  id <- at$of_reading + 1L
  off <- at$mean - as.vector(tapply(fitted(fit), id, mean))
  df <- length(at$mean) - 5
  sd <- sqrt(sum(off^2) / df)
  unit <- sd / (coef(fit)[["h_worked"]] - coef(fit)[["h_soft"]])
  d <- avrami_points(fit, NULL, 0.8)
  expect_equal(d$margin, 3 * unit)
  p <- d$points[d$points$where == "inside", ]
  expect_gt(nrow(p), 4L)
  half <- stats::qt(0.9, df) * unit
  middle <- which.min(abs(p$x - 0.5))
  line <- \(x) log(-log(1 - x))
  expect_equal(p$y[middle], line(p$x[middle]))
  expect_equal(c(p$low[middle], p$high[middle]), line(p$x[middle] + c(-half, half)))
})

test_that("points of the Arrhenius plot are rates fitted at their temperature alone", {
  fit <- bell_fit()
  rates <- rates_by_temperature(fit)
  for (temp in rates$temp_c[!is.na(rates$ln_k)]) {
    keep <- abs(fit$readings$temp_k - 273.15 - temp) < 1e-6 & fit$readings$time_min > 0
    t <- fit$readings$time_min[keep]
    b <- coef(fit)
    squares <- \(v) sum((fit$readings$hardness[keep] - b[["h_soft"]] -
                           (b[["h_worked"]] - b[["h_soft"]]) * exp(-(exp(v) * t)^b[["n"]]))^2)
    best <- stats::optimize(squares, rates$ln_k[abs(rates$temp_c - temp) < 1e-6] + c(-1, 1), tol = 1e-9)
    expect_equal(rates$ln_k[abs(rates$temp_c - temp) < 1e-6], best$minimum, tolerance = 1e-5)
  }
})

test_that("t50 of groups and its interval are those of the delta method", {
  d <- as.data.frame(bell_readings())
  fits <- fit_each(cbind(coil = "A", d), by = coil, se = "model")
  fit <- bell_fit()
  for (temp in c(310, 350)) {
    v <- group_values(fits, temp, group_refs(fits), 0.9)
    t50 <- time_to(fit, temp_c = temp, level = 0.9, method = "delta")
    expect_equal(unlist(v[c("time", "time_low", "time_high")], use.names = FALSE),
                 unlist(t50[c("time_min", "conf.low", "conf.high")], use.names = FALSE), tolerance = 1e-4)
    ci <- confint(fit, "q_kj_mol", level = 0.9, method = "wald")
    expect_equal(c(v$q_low, v$q_high), as.vector(ci), tolerance = 1e-4)
  }
})

test_that("lines of the hardness map keep off the flat ends and are marked where they extrapolate", {
  lines <- map_lines(c(80, 160))
  expect_true(all(lines > 80 + 0.06 * 80 & lines < 160 - 0.06 * 80))
  expect_length(map_lines(c(100, 100.4)), 0L)
  expect_gt(length(map_lines(c(100, 101))), 0L)
  d <- bell_readings()
  cold <- quietly_fitted(d[d$temp_c < 350, ], se = "model")
  p <- plot_hardness_map(cold, temp_c = c(250, 450), time_min = c(1, 500))
  parts <- do.call(rbind, lapply(which(vapply(p$layers, \(l) inherits(l$geom, "GeomPath"), NA)),
                                 \(k) p$layers[[k]]$data))
  inside <- parts$temp_c >= 290 & parts$temp_c <= 330 & parts$time_min >= 4 & parts$time_min <= 128
  expect_identical(parts$inside, inside)
  expect_true(any(inside) && any(parts$temp_c > 330 & parts$time_min > 4 & parts$time_min < 128))
})

test_that("residuals count a step as one-sided from three readings on", {
  pair <- subset(as.data.frame(bell_readings()), !duplicated(paste(specimen, time_min)) |
                   duplicated(paste(specimen, time_min)) & !duplicated(paste(specimen, time_min, scale)))
  fit <- fit_softening(pair, se = "model")
  expect_equal(max(table(fit$conditions$cluster_of)), 2L)
  expect_match(ggplot2::get_alt_text(plot_residuals(fit)), "in 0 of 28 steps all readings")
})

test_that("cells of a process window meet halfway on the logarithm of time", {
  grid <- expand.grid(time_min = c(1, 4, 16), temp_c = c(300, 320, 360))
  layer <- window_cells(grid[5, ], grid, c("not determined", "outside the readings"))
  expect_equal(unlist(layer$data[c("x1", "x2", "y1", "y2")], use.names = FALSE), c(2, 8, 310, 340))
})

test_that("times that lie decades below the others stand at zero", {
  expect_equal(shortest_shown(c(0, 1e-3, 10, 100)), 0.01)
  expect_equal(shortest_shown(c(0, 1, 1e4)), 0)
})

test_that("other rates of the model move with the temperature of a point of the Arrhenius plot", {
  d <- with_test_seed(2, made_readings(times = c(0, 1, 2, 4, 8, 16, 32, 64), n = 2, sd_reading = 0.5))
  after <- d$time_min > 0
  d$hardness[after] <- d$hardness[after] -
    6 * log1p(arrhenius_rate(d$temp_c[after], 0.5, 330, 150) * d$time_min[after])
  fit <- quietly_fitted(d, model = "recovery_jmak", se = "model")
  rates <- rates_by_temperature(fit)
  temp <- rates$temp_c[which(!is.na(rates$ln_k))[1L]]
  at <- fit$conditions
  keep <- abs(at$temp_c - temp) < 1e-6 & at$time_min > 0
  squares <- function(v) {
    moved <- fit
    moved$par[["ln_k_ref"]] <- v - fit$par[["q_kj_mol"]] * inverse_temperature(temp, fit$temp_ref_c)
    sum(at$weight[keep] * (softening_values(moved, at$temp_c[keep], at$time_min[keep], NULL)$fit -
                             at$mean[keep])^2)
  }
  found <- rates$ln_k[abs(rates$temp_c - temp) < 1e-6]
  expect_equal(found, stats::optimize(squares, found + c(-1, 1), tol = 1e-9)$minimum, tolerance = 1e-5)
})
