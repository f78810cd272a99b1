# Readings that are a limit only, from the sheet to the fit.

limited_bench <- function(high = 150, low = 80) {
  d <- as.data.frame(simulate_readings(
    c(h_worked = 160, h_soft = 80, t50_rex_min = 15, n = 1.4, q_kj_mol = 140), temp_c = c(300, 330, 360, 390),
    time_min = c(0, 4, 8, 16, 32, 64, 128), n_readings = 3, scale = "HV", seed = 3))
  limit <- ifelse(d$hardness > high, "at least", ifelse(d$hardness < low, "at most", NA))
  transform(d, limit = limit, hardness = pmin(pmax(hardness, low), high))
}

test_that("a fit with limits is that of maximum likelihood", {
  # the likelihood of Tobin (1958), written anew and maximised by optim()
  skip_on_cran()
  d <- limited_bench()
  fit <- fit_softening(d, se = "model")
  expect_true(all(c(sum(d$limit %in% "at least"), sum(d$limit %in% "at most")) > 10))
  loss <- function(p) {
    k <- exp(p[3] - p[5] / 8.314462618e-3 * (1 / (d$temp_c + 273.15) - 1 / (fit$temp_ref_c + 273.15)))
    mu <- p[2] + (p[1] - p[2]) * exp(-(k * d$time_min)^p[4])
    s <- sigma(fit)
    sign <- ifelse(d$limit %in% "at most", 1, -1)
    -sum(ifelse(is.na(d$limit), dnorm(d$hardness, mu, s, log = TRUE),
                pnorm(sign * (d$hardness - mu) / s, log.p = TRUE)))
  }
  control <- list(parscale = abs(coef(fit)), reltol = 1e-14, maxit = 500)
  near <- optim(1.001 * coef(fit), loss, control = control)
  best <- optim(near$par, loss, method = "BFGS", control = control, hessian = TRUE)
  expect_equal(coef(fit), best$par, tolerance = 1e-4)
  expect_lte(loss(coef(fit)), best$value + 1e-6)
  expect_equal(sqrt(diag(vcov(fit))), sqrt(diag(solve(best$hessian))), tolerance = 0.1)
  # at all limits, and at readings alone, the residual standard deviation is that of the readings
  expect_equal(sigma(fit)^2 * df.residual(fit), sum(residuals(fit)[is.na(d$limit)]^2))
  expect_output(print(fit), "limits among the readings \\([0-9]+ at least, [0-9]+ at most\\)")
  # components of error use the same estimates of what a limit says, and keep their scatter from readings
  both <- fit_softening(d)
  expect_equal(coef(both)[["q_kj_mol"]], coef(fit)[["q_kj_mol"]], tolerance = 0.05)
  expect_equal(both$errors$steps$df_reading, sum(is.na(d$limit)) - nrow(unique(d[is.na(d$limit), c(
    "specimen", "time_min")])))
})

test_that("with components of error the estimate is that of the whole likelihood", {
  # written anew: offsets of specimens and steps integrated on grids, the standard deviations of the fit
  # given; three readings a step, and one
  skip_on_cran()
  grid <- function(n) {
    at <- seq(-4, 4, length.out = n)
    list(at = at, share = dnorm(at) * 8 / (n - 1))
  }
  log_mean <- function(l, share) log(drop(exp(l - apply(l, 1, max)) %*% share)) + apply(l, 1, max)
  d <- limited_bench(1000, 0)
  set.seed(5) # specimens and steps that differ
  step <- paste(d$specimen, d$time_min)
  h <- d$hardness + 1.5 * rnorm(4)[match(d$specimen, unique(d$specimen))] +
    rnorm(28)[match(step, unique(step))]
  d$limit <- ifelse(h > 156, "at least", ifelse(h < 84, "at most", NA))
  d$hardness <- pmin(pmax(h, 84), 156)
  for (sheet in list(d, d[!duplicated(step), ])) {
    fit <- suppressWarnings(fit_softening(sheet, u_temp_c = 0, u_temp_exact = TRUE),
                            classes = "softanneal_warning_fit")
    expect_true(fit$convergence$converged && fit$convergence$iterations > 5)
    sd <- sqrt(fit$errors$m$variance)
    reading <- fit$errors$steps$sd_reading
    if (is.na(reading)) { # the scatter of a step is that of its reading
      reading <- sd[["step"]]
      sd[["step"]] <- 0
    }
    of_pieces <- grid(61)
    of_steps <- if (sd[["step"]] > 0) grid(13) else list(at = 0, share = 1)
    sign <- ifelse(sheet$limit %in% "at most", 1, -1)
    loss <- function(p) {
      k <- exp(p[3] - p[5] / 8.314462618e-3 * (1 / (sheet$temp_c + 273.15) - 1 / (fit$temp_ref_c + 273.15)))
      mu <- p[2] + (p[1] - p[2]) * exp(-(k * sheet$time_min)^p[4])
      of_step <- function(b) {
        l <- vapply(of_steps$at, function(s) {
          m <- mu + sd[["piece"]] * b + sd[["step"]] * s
          ifelse(is.na(sheet$limit), dnorm(sheet$hardness, m, reading, log = TRUE),
                 pnorm(sign * (sheet$hardness - m) / reading, log.p = TRUE))
        }, numeric(nrow(sheet)))
        log_mean(rowsum(l, paste(sheet$specimen, sheet$time_min)), of_steps$share)
      }
      l <- vapply(of_pieces$at, of_step, numeric(28))
      piece <- sub(" .*", "", sort(unique(paste(sheet$specimen, sheet$time_min))))
      -sum(log_mean(rowsum(l, piece), of_pieces$share))
    }
    best <- optim(coef(fit), loss, method = "BFGS", hessian = TRUE,
                  control = list(parscale = abs(coef(fit)), ndeps = rep(1e-5, 5), reltol = 1e-12))
    se <- sqrt(diag(solve(best$hessian)))
    expect_lt(max(abs(coef(fit) - best$par) / se), 0.01)
    own <- components_reml(fit$errors$problems[[1L]], sqrt(fit$errors$m$variance), integer(4))$cov
    expect_equal(sqrt(diag(own)), unname(se), tolerance = 0.05)
  }
})

test_that("a limit that says nothing changes nothing, and one far off pulls as a reading does", {
  skip_on_cran()
  d <- limited_bench(1000, 0)
  d$limit <- NA_character_
  d$hardness[5] <- d$hardness[5] + 0.1
  plain <- fit_softening(d, se = "model", temp_ref_c = 340)
  soft <- transform(d[1L, ], hardness = 20, limit = "at least", time_min = 64)
  none <- fit_softening(rbind(d, soft), se = "model", temp_ref_c = 340)
  expect_equal(coef(none), coef(plain), tolerance = 1e-6)
  expect_lt(weights(none)[nrow(d) + 1L], 1e-6)
  hard <- transform(soft, hardness = 1.5 * max(d$hardness))
  pulled <- fit_softening(rbind(d, hard), se = "model", temp_ref_c = 340)
  as_reading <- fit_softening(rbind(d, transform(hard, limit = NA)), se = "model", temp_ref_c = 340)
  expect_equal(coef(pulled), coef(as_reading), tolerance = 0.02)
  expect_gt(weights(pulled)[nrow(d) + 1L], 0.9)
})

test_that("readings outside the table are limits at its end", {
  skip_on_cran()
  d <- limited_bench(1000, 0)
  d$limit <- NULL
  d$scale <- "HRB"
  d$hardness <- round(30 + (d$hardness - 80) * 0.85, 1) # up to 98 HRB; the brass table ends at 93.5
  d$hardness[d$hardness > 93.5] <- pmax(d$hardness[d$hardness > 93.5], 96)
  expect_error(fit_softening(d), "outside_table = \"limit\"", class = "softanneal_error_range")
  fit <- suppressWarnings(fit_softening(d, outside_table = "limit"))
  top <- convert_hardness(93.5, "HRB", "HV")
  side <- fit$readings$limits$side
  expect_equal(which(side != 0), which(d$hardness > 93.5))
  expect_equal(unique(fit$readings$limits$bound[side == 1]), top)
  # the same by a column, whatever its name
  d$known <- ifelse(d$hardness > 93.5, "at least", "")
  own <- suppressWarnings(fit_softening(d, limit = known))
  expect_equal(coef(own), coef(fit))
  d$known[d$hardness > 93.5] <- "at most" # says nothing
  expect_error(fit_softening(d, limit = known), class = "softanneal_error_range")
  d$known[1] <- "more"
  expect_error(fit_softening(d, limit = known), "holds 'more'", class = "softanneal_error_column")
  expect_error(fit_softening(d, limit = nowhere), class = "softanneal_error_column")
})

test_that("limits are told apart in tables and plots", {
  skip_on_cran()
  d <- limited_bench(155, 85)
  fit <- fit_softening(d)
  a <- augment(fit)
  expect_identical(a$.limit, d$limit)
  expect_equal(a$hardness, as.vector(d$hardness)) # the limit, not what it counts as
  expect_equal(a$.hardness, as.vector(d$hardness))
  p <- ggplot2::autoplot(fit)
  expect_match(p$labels$caption, "Hollow triangles: readings that are a limit")
  expect_match(ggplot2::get_alt_text(p), paste(sum(!is.na(d$limit)), "of them limits"))
  triangle <- vapply(p$layers, function(l) l$aes_params$shape %in% c(2, 6) && nrow(l$data) > 0, NA)
  drawn <- do.call(rbind, lapply(p$layers[triangle], function(l) l$data[c("at", "hardness")]))
  expect_equal(sort(unique(drawn$hardness)), c(85, 155))
  expect_identical(nrow(drawn), sum(!is.na(d$limit)))
  limited <- unique(paste(d$temp_c, d$time_min)[!is.na(d$limit)])
  means <- Filter(function(l) "mean" %in% names(l$data), p$layers)
  for (l in means) expect_false(any(paste(l$data$temp_c, l$data$time_min) %in% limited))
  own <- ggplot2::autoplot(fit_softening(limited_bench(1000, 0)[1:3 != 0, names(d) != "limit"]))
  expect_no_match(own$labels$caption, "triangles")
})

test_that("an estimate outside its interval is said", {
  fit <- list(par = c(n = 2, q_kj_mol = 140), states = c(n = "determined", q_kj_mol = "determined"),
              limits = rbind(n = c(1, 1.9), q_kj_mol = c(120, 150)))
  expect_match(outside_words(fit), "The estimate of 'n' lies outside its own interval")
  fit$limits[1, 2] <- 2.1
  expect_null(outside_words(fit))
})

test_that("what cannot use limits says so", {
  skip_on_cran()
  d <- limited_bench()
  fit <- fit_softening(d)
  for (call in alist(fit_each(d, by = specimen), find_outliers(d), compare_models(d))) {
    expect_error(eval(call), "limits \\(at least, at most\\)", class = "softanneal_error_argument")
  }
  for (call in alist(logLik(fit), resample_fit(fit, 9), simulate(fit), fit_posterior(fit), anova(fit, fit))) {
    expect_error(eval(call), "with limits among its readings", class = "softanneal_error_model")
  }
  expect_error(fit_softening(d, loss = "huber"), "Huber", class = "softanneal_error_argument")
  few <- d[d$specimen == d$specimen[1L], ]
  few$limit[-(1:2)] <- "at least"
  expect_error(fit_softening(few), "the scatter is unknown", class = "softanneal_error_too_few")
  expect_warning(m <- summarise_readings(d), "steps with limits", class = "softanneal_warning_missing") |>
    suppressWarnings(classes = "softanneal_warning_missing")
  expect_true(anyNA(m$mean) && !all(is.na(m$mean)))
  expect_false("missing" %in% check_readings(d)$check)
  # a column of that name with another meaning is left alone
  other <- transform(limited_bench(1000, 0), limit = 3)
  expect_equal(coef(fit_softening(other, se = "model")),
               coef(fit_softening(other[names(other) != "limit"], se = "model")))
  expect_s3_class(find_outliers(other), "data.frame")
  other$limit <- "none"
  expect_s3_class(find_outliers(other), "data.frame")
})

test_that("cells that are limits are read with their side", {
  sheet <- data.frame(specimen = "A", temp_c = 330, time_min = c(0, 4, 8), scale = "HRB",
                      hardness = c("> 93.5", "88", "at most 20"))
  r <- suppressMessages(read_readings(sheet))
  expect_equal(as.vector(r$limit), c("at least", NA, "at most"))
  expect_equal(as.vector(r$hardness), c(93.5, 88, 20))
  wide <- data.frame(specimen = "A", temp_c = 330, time_min = c(0, 4), `HRB 1` = c(">=93,5", "88"),
                     `HRB 2` = c("93", "<= 87.5 HRB"), check.names = FALSE)
  expect_error(suppressMessages(read_readings(wide)), class = "softanneal_error_column") # two decimal marks
  wide$`HRB 1`[1] <- ">=93.5"
  r <- suppressMessages(read_readings(wide))
  expect_equal(as.vector(r$limit), c("at least", NA, NA, "at most"))
  expect_equal(as.vector(r$hardness), c(93.5, 93, 88, 87.5))
  sheet$limit <- "at least"
  expect_error(suppressMessages(read_readings(sheet)), "said twice", class = "softanneal_error_column")
})

test_that("a table of another property is read by its name", {
  file <- withr::local_tempfile(fileext = ".csv")
  value <- c(0, 0.1, 0.5, 0, 0.4, 0.9)
  writeLines(c("specimen,temp_c,time_min,Recrystallised fraction", paste(
    rep(c("A", "B"), each = 3), rep(c(330, 360), each = 3), c(0, 4, 8), value, sep = ",")), file)
  expect_message(r <- read_readings(file, property = "Recrystallised fraction"), "is `hardness`")
  expect_equal(as.vector(r$hardness), value)
  expect_false("scale" %in% names(r))
  sheet <- data.frame(specimen = "A", temp_c = 330, time_min = c(0, 4), yield_stress_mpa = c(310, 12000))
  r <- suppressMessages(read_readings(sheet, property = "Yield stress (MPa)"))
  expect_equal(as.vector(r$hardness), c(310, 12000))
  sheet$yield_stress <- 1
  expect_error(read_readings(sheet, property = "Yield stress (MPa)"), "several columns",
               class = "softanneal_error_column")
  expect_error(read_readings(sheet, property = "Conductivity"), "no column holds",
               class = "softanneal_error_column")
  r <- suppressMessages(read_readings(sheet, columns = c(hardness = "yield_stress"), property = "Stress"))
  expect_equal(as.vector(r$hardness), c(1, 1))
  sheet$yield_stress <- -1
  expect_error(suppressMessages(read_readings(sheet, columns = c(hardness = "yield_stress"), property = "S")),
               "below zero", class = "softanneal_error_range")
  expect_error(read_readings(sheet, scale = "HV", property = "Stress"), class = "softanneal_error_argument")
})

test_that("signs are understood in a column of limits, and other words refused", {
  side <- function(x) limit_sides(data.frame(limit = x))
  expect_identical(side(c(">", "", "<=", "at least")), c(1L, 0L, -1L, 1L))
  e <- expect_error(side(c("", "yes")), class = "softanneal_error_column")
  expect_identical(e$rows, 2L)
  expect_null(side(c(1, 2))) # a column of another meaning
})

test_that("intervals of levels end at the limits of states that are cut off; the advice is another dial", {
  skip_on_cran()
  d <- expand.grid(reading = 1:5, time_min = c(0, 3, 10, 30, 90), temp_c = c(310, 340, 370))
  d <- transform(d, specimen = paste0("p", temp_c), scale = "HV")
  softened <- jmak_fraction(d$time_min, arrhenius_rate(d$temp_c, 0.05, 340, 145), 1.4)
  with_test_seed(5, d$hardness <- 165 - 90 * softened + rnorm(75, sd = 1.5) + rep(rnorm(15), each = 5))
  d$limit <- ifelse(d$hardness > 155, "at least", ifelse(d$hardness < 80, "at most", NA))
  d$hardness <- pmin(pmax(d$hardness, 80), 155)
  fit <- suppressWarnings(fit_softening(d), classes = "softanneal_warning_fit")
  ends <- dial_ends(fit, 0.95)
  # three specimens as rolled, all limits: by the likelihood of their reading past 155, never above 155
  sd <- sqrt(sigma(fit)^2 + sum(fit$errors$sd[c("piece", "step"), "estimate"]^2))
  expect_equal(ends$h_worked[c("bound", "n")], list(bound = 155, n = 15L))
  expect_equal(ends$h_worked$end, min(155, 155 + stats::qnorm(exp(-1.920729 / 3)) * sd), tolerance = 1e-6)
  expect_true(all(fit$states[c("h_worked", "h_soft")] != "not determined"))
  for (level in c(0.95, 0.8)) {
    ci <- suppressWarnings(confint(fit, level = level), classes = "softanneal_warning")
    expect_gte(ci["h_worked", 1L], dial_ends(fit, level)$h_worked$end)
    expect_lte(ci["h_soft", 2L], dial_ends(fit, level)$h_soft$end)
  }
  said <- paste(fit_words(fit), collapse = " ")
  expect_match(said, "as-rolled state is cut off at the end of the dial \\(15 readings at least 155\\)")
  expect_match(said, "soft state is cut off at the end of the dial")
  expect_no_match(said, "plateau was not reached")
  # one specimen says less than its limit, at a lower level less so
  one <- fit
  one$readings$limits$side[d$time_min == 0 & d$temp_c > 310] <- 0L
  expect_equal(dial_ends(one, 0.95)$h_worked$end, 155 + stats::qnorm(exp(-1.920729)) * sd, tolerance = 1e-6)
  two <- fit
  two$readings$limits$side[d$time_min == 0 & d$temp_c > 340] <- 0L
  expect_equal(dial_ends(two, 0.95)$h_worked$end, 155 + stats::qnorm(exp(-1.920729 / 2)) * sd,
               tolerance = 1e-6)
  # a step with a reading among its limits is no limit
  one$readings$limits$side[which(d$time_min == 0)[1L]] <- 0L
  expect_null(dial_ends(one, 0.95)$h_worked)
  # an interval far below is ended, an estimate far below is said
  far <- fit
  far$limits["h_worked", 1L] <- 134
  far$par[["h_worked"]] <- 150
  expect_gt(within_dial(far, far$limits, 0.95)["h_worked", 1L], 150)
  expect_match(paste(fit_remarks(far), collapse = " "),
               "h_worked (150 HV) contradicts 15 limits of the as-rolled state (at least 155)", fixed = TRUE)
  expect_no_match(paste(fit_remarks(fit), collapse = " "), "contradicts")
  open <- fit
  open$states[["h_worked"]] <- "not determined"
  expect_identical(states_by_dial(open)$states[["h_worked"]], "only a lower limit")
  expect_gte(states_by_dial(open)$limits["h_worked", 1L], 150)
})

test_that("pictures of steps mark limits at their bounds, pointing to where the mean lies", {
  skip_on_cran()
  d <- limited_bench()
  fit <- fit_softening(d, se = "model")
  # the table as typed in: all numbers of a step with a limit, averaged as they stand
  typed <- aggregate(cbind(hardness, high = limit %in% "at least", low = limit %in% "at most") ~
                       time_min + temp_c, d[d$time_min > 0, ], mean)
  typed <- typed[xor(typed$high > 0, typed$low > 0), ]
  expect_true(sum(typed$high > 0) > 3 && sum(typed$low > 0) > 3)
  b <- coef(fit)
  typed$x <- (b[["h_worked"]] - typed$hardness) / (b[["h_worked"]] - b[["h_soft"]])
  marks <- function(p, shape) {
    layer <- Filter(function(l) identical(l$aes_params$shape, shape), p$layers)
    layer[[1L]]$data
  }
  p <- plot_collapse(fit)
  expect_equal(sort(marks(p, 6)$x), sort(typed$x[typed$high > 0])) # at least so hard: at most so soft
  expect_equal(sort(marks(p, 2)$x), sort(typed$x[typed$low > 0]))
  expect_true(all(is.na(p$data$low[p$data$points != 0])) && !anyNA(p$data$low[p$data$points == 0]))
  expect_match(p$labels$caption, "Hollow triangles: steps with limits")
  expect_match(p$labels$alt, paste(nrow(typed), "of them with limits"))
  a <- plot_avrami(fit)$data
  expect_true(all(a$points[a$where == "inside"] == 0))
  edge <- range(a$y)
  limit <- a[a$where == "limit", ]
  inner <- limit$y > edge[1L] & limit$y < edge[2L]
  expect_equal(limit$y[inner], log(-log(1 - limit$x[inner])))
  expect_false(any(a$where == "low" & a$points > 0) || any(a$where == "high" & a$points < 0))
  map <- plot_hardness_map(fit)
  dots <- Filter(function(l) length(l$aes_params$shape) > 1L, map$layers)[[1L]]
  shown <- merge(dots$data, typed, by = c("temp_c", "time_min"))
  expect_equal(shown$hardness.x, shown$hardness.y)
  expect_equal(shown$side, ifelse(shown$high > 0, 1, -1))
  expect_equal(dots$aes_params$shape == 21, dots$data$side == 0)
  expect_match(map$labels$caption, "Triangles: steps with limits")
  hollow <- plot_residual_map(fit)
  expect_equal(nrow(hollow$layers[[2L]]$data), length(unique(
    paste(d$temp_c, d$time_min, d$specimen)[!is.na(d$limit)])))
  expect_match(hollow$labels$caption, "Hollow: steps with limits")
  page <- explore_data(fit, NULL, 0.95)$conditions
  expect_equal(sum(page$side != 0 & page$time_min > 0), nrow(typed))
  # without limits nothing is said
  plain <- fit_softening(example_data("bellbrass_readings"))
  for (draw in list(plot_collapse, plot_avrami, plot_hardness_map, plot_residual_map)) {
    q <- draw(plain)
    expect_false(grepl("limit", paste(q$labels$caption, q$labels$alt)))
  }
  expect_null(explore_data(plain, NULL, 0.95)$conditions$side)
})

test_that("glance() of a fit with limits has no likelihood and says so", {
  skip_on_cran()
  fit <- fit_softening(limited_bench(), se = "model")
  expect_warning(g <- glance(fit), "logLik, AIC and BIC are NA", class = "softanneal_warning_missing")
  expect_true(is.na(g$logLik) && is.na(g$AIC) && is.na(g$BIC))
  expect_equal(c(g$sigma, g$nobs), c(sigma(fit), nobs(fit)))
  expect_equal(nrow(tidy(fit, conf.int = TRUE)), 5L)
})
