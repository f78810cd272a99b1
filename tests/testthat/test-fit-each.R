# Many groups: rates, exponents and levels differ, every group of known truth.
many_readings <- function(groups, seed = 1, sd_step = 1, ...) {
  with_test_seed(seed, do.call(rbind, lapply(seq_len(groups), function(i) {
    cbind(coil = i, made_readings(sd_step = sd_step, q = stats::runif(1, 100, 220),
                                  exponent = stats::runif(1, 0.8, 3),
                                  half_min = stats::runif(1, 6, 25),
                                  worked = stats::runif(1, 130, 190), ...))
  })))
}

quiet_each <- function(...) {
  withCallingHandlers(fit_each(...),
                      softanneal_warning_fit = function(w) invokeRestart("muffleWarning"),
                      softanneal_warning_missing = function(w) invokeRestart("muffleWarning"))
}

# with the errors that fit_each() takes by default: single readings have no clusters
quiet_one <- function(d, ..., se = NULL) {
  if (is.null(se)) {
    se <- if (anyDuplicated(d[c("specimen", "temp_c", "time_min")])) "cluster" else "model"
  }
  withCallingHandlers(fit_softening(d, ..., se = se),
                      softanneal_warning_fit = function(w) invokeRestart("muffleWarning"))
}

# The compiled parts of two results, without the columns that say how the work was cut.
expect_same_fits <- function(a, b) {
  for (field in c("keys", "par", "cov", "state", "sums", "df_interval", "limits")) {
    expect_identical(unclass(a)[[field]], unclass(b)[[field]], label = field)
  }
  expect_identical(a$counts[-10L, ], b$counts[-10L, ])
}

test_that("each group gets the fit of fit_softening(): minimum, errors, states, limits", {
  skip_on_cran()
  designs <- list(
    list(60), list(60, seed = 2, times = c(0, 5, 20, 80), n = 2),
    list(60, seed = 3, temps = c(300, 340), times = c(0, 2, 4, 8, 16, 32, 64), n = 5),
    list(60, seed = 4, n = 1), list(40, seed = 5, temps = c(300, 420), sd_step = 2),
    list(40, seed = 6, sd_reading = 4, sd_step = 3, n = 2),
    list(20, seed = 7, sd_step = 0, sd_reading = 0))
  compared <- 0
  for (design in designs) {
    d <- do.call(many_readings, design)
    fits <- quiet_each(d, coil)
    for (i in seq_len(design[[1L]])) {
      one <- quiet_one(d[d$coil == i, ])
      label <- paste("seed", design$seed, "group", i)
      deviance <- deviance(one) + 1e-18 * sum(one$readings$hardness^2)
      # never above the single fit; where a parameter is open it may be below: in a flat
      # valley that one can stop early
      expect_lt(fits_deviance(fits)[[i]] / deviance, 1 + 1e-6, label = label)
      if (deviance(one) > 1e-9) {
        expect_gt(fits_deviance(fits)[[i]] / deviance, 1 - 0.05, label = label)
      }
      state <- parameter_states(fits$state[, i])
      open <- !one$states %in% c("determined", "fixed")
      expect_equal(any(!state %in% c("determined", "fixed")), any(open), label = label)
      compared <- compared + !any(open)
      if (any(open)) next
      expect_equal(state, unname(one$states), label = label)
      expect_equal(fits_par(fits)[, i], unname(coef(one)), tolerance = 1e-6, label = label)
      if (deviance(one) > 1e-9) {
        expect_equal(fits_se(fits)[, i], unname(sqrt(diag(vcov(one)))), tolerance = 1e-5,
                     label = label)
      }
    }
  }
  expect_gt(compared, 200)
})

test_that("the other models and settings are those of the single fit", {
  skip_on_cran()
  d <- many_readings(4, seed = 8, theta0 = 0.3, times = c(0, 2, 4, 8, 16, 32, 64, 128))
  check <- function(..., tolerance = 1e-5) {
    fits <- quiet_each(d, "coil", ...)
    for (i in 1:4) {
      one <- quiet_one(d[d$coil == i, ], ...)
      fixed <- one$states %in% c("determined", "fixed", "at upper bound")
      expect_equal(fits_par(fits)[fixed, i], unname(coef(one)[fixed]), tolerance = tolerance)
      expect_equal(fits_deviance(fits)[[i]], deviance(one), tolerance = 1e-7)
      expect_equal(fits_se(fits)[, i], unname(sqrt(diag(vcov(one)))),
                   tolerance = 1e-3)
      expect_equal(parameter_states(fits$state[, i]), unname(one$states))
    }
  }
  check(model = "jmak_incubation")
  check(model = "recovery_jmak", tolerance = 1e-3)
  check(se = "model")
  check(se = "steps")
  check(fixed = c(n = 1.5))
  check(fixed = c(q_kj_mol = 150, h_soft = 80))
  check(upper = c(n = 1.2))
  for (fixed in list(c(theta0 = 0.2), c(n = 1.1, theta0 = 0.4))) {
    one <- quiet_one(d[d$coil == 1, ], "jmak_incubation", fixed = fixed)
    expect_equal(coef(one)[names(fixed)], fixed)
    fits <- quiet_each(d, coil, "jmak_incubation", fixed = fixed)
    expect_equal(unname(fits$par[, 1L]), unname(coef(one)), tolerance = 1e-6)
  }
  check(temp_ref_c = 320)
  check(level = 0.9)
  w <- rep_len(c(1, 2, 0.5), nrow(d))
  fits <- quiet_each(d, coil, weights = w)
  one <- quiet_one(d[d$coil == 2, ], weights = w[d$coil == 2])
  expect_equal(fits$par[, 2L], unname(coef(one)), tolerance = 1e-6)
})

test_that("order of rows, chunks and threads change nothing, to the last digit", {
  skip_on_cran()
  d <- many_readings(23, seed = 9)
  d$coil <- paste0("coil-", d$coil)
  fits <- quiet_each(d, coil)
  o <- with_test_seed(10, sample(nrow(d)))
  expect_same_fits(quiet_each(d[o, ], coil), fits)
  expect_same_fits(quiet_each(d[rev(seq_len(nrow(d))), ], coil), fits)
  for (size in c(1, 7, 100)) expect_same_fits(quiet_each(d, coil, chunk_size = size), fits)
  expect_same_fits(quiet_each(d[o, ], coil, chunk_size = 7), fits)
  expect_same_fits(quiet_each(d, coil, threads = 2), fits)
  model <- "jmak_incubation"
  expect_same_fits(quiet_each(d, coil, model, threads = 2), quiet_each(d, coil, model))
})

test_that("progress is signalled for each chunk, and silent by default", {
  skip_if_not_installed("progressr")
  d <- many_readings(6, seed = 13)
  loadNamespace("progressr")
  expect_silent(quiet_each(d, coil, chunk_size = 2))
  steps <- 0
  progressr::with_progress(
    withCallingHandlers(quiet_each(d, coil, chunk_size = 2),
                        progression = function(p) if (identical(p$type, "update")) steps <<- steps + 1),
    handlers = progressr::handler_void(), enable = TRUE)
  expect_equal(steps, 3)
})

test_that("bad groups are rows with a reason and a name, never an error for all", {
  d <- many_readings(8, seed = 14)
  d$time_min[d$coil == 2][5] <- -1
  d <- d[!(d$coil == 3 & d$temp_c != 330), ]
  d$hardness[d$coil == 4] <- 100 + with_test_seed(15, stats::rnorm(sum(d$coil == 4)))
  d <- d[!(d$coil == 5 & !(d$time_min %in% c(0, 8) & d$temp_c == 330)), ]
  d <- d[!(d$coil == 6 & d$time_min > 0), ]
  d$hardness[which(d$coil == 7)[3L]] <- NA
  d$hardness[d$coil == 8][7] <- Inf
  w <- list()
  fits <- withCallingHandlers(fit_each(d, coil), warning = function(e) {
    w[[length(w) + 1L]] <<- e
    invokeRestart("muffleWarning")
  })
  expect_length(w, 2L)
  expect_s3_class(w[[1L]], "softanneal_warning_missing")
  expect_equal(w[[1L]]$rows, which(is.na(d$hardness)))
  expect_s3_class(w[[2L]], "softanneal_warning_fit")
  expect_match(conditionMessage(w[[2L]]), paste0("bad value, 2 .*: 2 \\(row ", which(d$time_min < 0)))
  expect_equal(unname(w[[2L]]$status[["too few"]]), 1L)
  table <- as.data.frame(fits)
  expect_equal(table$status, c("ok", "bad value", "one temperature", "no softening", "too few",
                               "no anneal", "ok", "bad value"))
  expect_true(is.na(table$q_kj_mol[3L]))
  expect_false(is.na(table$n[3L]))
  expect_true(all(is.na(table$n[c(2, 5, 6, 8)])))
  expect_equal(table$missing, c(0, 0, 0, 0, 0, 0, 1, 0))
  expect_equal(table$nobs[7L], 71L)
  expect_output(print(fits), "2 of 8 groups ok")
  rockwell <- transform(d[d$coil %in% c(1, 7), ], scale = "HRF", hardness = hardness / 2)
  rockwell$hardness[4L] <- 300
  expect_equal(as.data.frame(quiet_each(rockwell, coil))$status[1L], "outside table")
  all_same <- transform(d[d$coil == 1, ], hardness = 100)
  expect_equal(as.data.frame(quiet_each(all_same, coil))$status, "no softening")
})

test_that("a strip before any anneal needs no temperature", {
  d <- many_readings(3, seed = 16)
  cold <- transform(d, temp_c = ifelse(time_min == 0, NA, temp_c))
  fits <- quiet_each(cold, coil)
  one <- quiet_one(cold[cold$coil == 2, ])
  expect_equal(fits$par[, 2L], unname(coef(one)), tolerance = 1e-6)
  expect_equal(group_count(fits, "missing"), c(0L, 0L, 0L))
})

test_that("keys of any type, several keys, names of columns", {
  d <- many_readings(4, seed = 17)
  fits <- quiet_each(d, coil)
  as <- function(value) {
    d$coil <- value
    quiet_each(d, coil)
  }
  expect_identical(as(factor(paste("c", d$coil)))$par, fits$par)
  expect_s3_class(as(factor(paste("c", d$coil)))$keys$coil, "factor")
  expect_identical(as(as.Date("2024-01-01") + d$coil)$par, fits$par)
  expect_s3_class(as(as.Date("2024-01-01") + d$coil)$keys$coil, "Date")
  two <- transform(d, mill = c("north", "south")[1 + coil %% 2], strip = coil %/% 2)
  both <- quiet_each(two, c(mill, strip))
  expect_equal(names(both$keys), c("mill", "strip"))
  expect_equal(sort(both$par[5L, ]), sort(fits$par[5L, ]))
  expect_identical(quiet_each(two, c("mill", "strip"))$par, both$par)
  renamed <- stats::setNames(d, sub("time_min", "minutes", names(d)))
  expect_identical(quiet_each(renamed, "coil", time = minutes)$par, fits$par)
  for (package in c("tibble", "data.table")) skip_if_not_installed(package)
  expect_identical(quiet_each(tibble::as_tibble(d), coil)$par, fits$par)
  expect_identical(quiet_each(data.table::as.data.table(d), coil)$par, fits$par)
})

test_that("what concerns all groups is a classed error", {
  d <- many_readings(2, seed = 18)
  expect_error(fit_each(d), class = "softanneal_error_argument")
  expect_error(fit_each(d, piece), class = "softanneal_error_column")
  expect_error(fit_each(d, c(coil, coil)), class = "softanneal_error_argument")
  expect_error(fit_each(d[0, ], coil), class = "softanneal_error_too_few")
  expect_error(fit_each(transform(d, coil = replace(coil, 3, NA)), coil),
               class = "softanneal_error_missing")
  expect_error(fit_each(transform(d, hardness = "hard"), coil), class = "softanneal_error_column")
  expect_error(fit_each(transform(d, scale = "HQ"), coil), class = "softanneal_error_scale")
  expect_error(fit_each(d, coil, threads = 0), class = "softanneal_error_range")
  expect_error(fit_each(d, coil, chunk_size = 0.5), class = "softanneal_error_range")
  expect_error(fit_each(d, coil, lower = c(n = 2), upper = c(n = 1)), class = "softanneal_error_range")
  expect_error(fit_each(d, coil, fixed = c(m = 1)), class = "softanneal_error_argument")
  expect_error(fit_each(d, coil, modle = "jmak"), class = "softanneal_error_argument")
  expect_error(fit_each(transform(d, coil = as.list(coil)), coil))
})

test_that("tables follow the conventions and agree with each other", {
  d <- many_readings(5, seed = 19)
  fits <- quiet_each(d, coil)
  one <- quiet_one(d[d$coil == 3, ])
  long <- tidy(fits, conf.int = TRUE)
  expect_equal(names(long), c("coil", "term", "estimate", "std.error", "statistic", "p.value",
                              "conf.low", "conf.high", "state", "status"))
  expect_equal(nrow(long), 25L)
  mine <- as.data.frame(long[long$coil == 3, 2:8])
  expect_equal(mine, as.data.frame(tidy(one, conf.int = TRUE)), tolerance = 1e-5, ignore_attr = TRUE)
  g <- glance(fits)
  single <- glance(one)
  shared <- setdiff(intersect(names(g), names(single)), "stop_message")
  expect_equal(as.data.frame(g[3L, shared]), as.data.frame(single[shared]), tolerance = 1e-6,
               ignore_attr = TRUE)
  expect_equal(g$lack_of_fit.p.value[3L], one$lack_of_fit$p_value, tolerance = 1e-6)
  expect_equal(unname(coef(fits)[3L, ]), unname(coef(one)), tolerance = 1e-6)
  expect_equal(rownames(coef(fits)), as.character(1:5))
  sub <- fits[c(3, 5)]
  expect_equal(as.data.frame(sub), as.data.frame(fits)[c(3, 5), ], ignore_attr = TRUE)
  expect_error(fits[9], class = "softanneal_error_argument")
  expect_equal(fits[as.data.frame(fits)$coil == 3]$par[, 1L], fits$par[, 3L])
  expect_equal(nobs(fits), nrow(d))
  expect_match(format(fits), "5 groups")
})

test_that("predictions are those of the single fit, row by row", {
  d <- many_readings(5, seed = 20)
  fits <- quiet_each(d, coil)
  new <- data.frame(coil = c(4, 2, 4, 2), temp_c = c(300, 330, 350, NA), time_min = c(10, 3, 0, 0))
  for (interval in c("none", "confidence")) {
    p <- predict(fits, new, interval = interval, se.fit = TRUE)
    for (k in 1:4) {
      one <- quiet_one(d[d$coil == new$coil[k], ])
      q <- predict(one, new[k, ], interval = interval, se.fit = TRUE)
      mine <- if (interval == "none") p$fit[k] else p$fit[k, ]
      expect_equal(unname(mine), unname(as.vector(q$fit)), tolerance = 1e-5)
      expect_equal(p$se.fit[k], unname(q$se.fit), tolerance = 1e-4)
    }
  }
  expect_warning(p <- predict(fits, data.frame(coil = 9, temp_c = 330, time_min = 1)),
                 class = "softanneal_warning_outside")
  expect_true(is.na(p))
  expect_warning(predict(fits, data.frame(coil = 1, temp_c = 500, time_min = 1)),
                 class = "softanneal_warning_extrapolation")
  expect_length(predict(fits, new[0, ]), 0L)
  expect_equal(predict(fits), predict(fits, d)) # without data: the readings of the fits, in their order
  expect_error(predict(fits, new[-1L]), class = "softanneal_error_column")
})

test_that("augment() adds what predict() says and residuals on the scale of the fit", {
  d <- many_readings(3, seed = 25)
  d$note <- rev(seq_len(nrow(d)))
  d <- d[with_test_seed(26, sample(nrow(d))), ]
  fits <- quiet_each(d, coil)
  a <- augment(fits, d, interval = "confidence")
  expect_equal(names(a), c(names(d), ".hardness", ".fitted", ".resid", ".se.fit", ".lower", ".upper"))
  expect_equal(a$note, d$note)
  expect_equal(a$.fitted + a$.resid, d$hardness)
  expect_equal(unname(predict(fits, d, "confidence")[, "upr"]), a$.upper)
  sums <- as.vector(tapply(a$.resid^2, a$coil, sum))
  expect_equal(sums, glance(fits)$deviance, tolerance = 1e-8)
  expect_named(augment(fits, newdata = d[1:3, c("coil", "temp_c", "time_min")]),
               c("coil", "temp_c", "time_min", ".fitted", ".se.fit"))
  rockwell <- transform(d, scale = "HRF", hardness = convert_hardness(hardness, "HV", "HRF"))
  in_hv <- augment(quiet_each(rockwell, coil), rockwell)
  expect_equal(in_hv$.fitted + in_hv$.resid, convert_hardness(rockwell$hardness, "HRF", "HV"))
  odd <- d
  odd$time_min[5L] <- -1
  odd$hardness[9L] <- NA
  b <- augment(fits, odd)
  expect_true(is.na(b$.fitted[5L]) && is.na(b$.resid[9L]) && !is.na(b$.fitted[9L]))
  expect_equal(sum(is.na(b$.resid)), 2L)
  read <- quiet_each(rockwell, coil, scale = "as read")
  expect_equal(augment(read, rockwell)$.resid + augment(read, rockwell)$.fitted, rockwell$hardness)
  expect_error(augment(read, d), class = "softanneal_error_scale")
  expect_equal(augment(fits)$.fitted, augment(fits, d)$.fitted)
  expect_error(augment(fits, d, d), class = "softanneal_error_argument")
  expect_error(augment(fits, d[-1L]), class = "softanneal_error_column")
})

test_that("the summary counts, and no groups are no error", {
  d <- many_readings(4, seed = 27)
  d$hardness[d$coil == 2] <- 100
  fits <- quiet_each(d, coil)
  s <- summary(fits)
  expect_equal(s$status$groups[s$status$status == "no softening"], 1L)
  expect_equal(sum(s$status$groups), 4L)
  expect_equal(s$parameters$median[4L], stats::median(coef(fits)[-2L, "n"]))
  expect_equal(s$groups, 4L)
  expect_equal(s$nobs, nrow(d))
  expect_output(print(s), "no softening, 1 whose readings a constant")
  none <- fits[integer(0)]
  expect_output(print(none), "of 0 groups by coil")
  expect_output(print(summary(none)), "0 of 0 groups ok")
  for (table in list(as.data.frame(none), tidy(none, conf.int = TRUE), glance(none))) {
    expect_equal(nrow(table), 0L)
    expect_equal(names(table)[1L], "coil")
  }
  expect_equal(dim(coef(none)), c(0L, 5L))
  expect_equal(nobs(none), 0L)
  expect_error(ggplot2::autoplot(none), class = "softanneal_error_too_few")
  expect_warning(p <- predict(none, d[1:2, ]), class = "softanneal_warning_outside")
  expect_equal(p, c(NA_real_, NA_real_))
})

test_that("groups of one kind of defect each are named with a plain reason", {
  one <- many_readings(1, seed = 28)
  plateau <- transform(one, hardness = 80 + (hardness - 80) * (time_min == 0))
  cases <- list(
    nothing = transform(one, hardness = NA_real_), single = one[one$time_min > 0, ][1L, ],
    start = one[one$time_min == 0, ], twice = rbind(one, one),
    finished = transform(one[one$time_min > 0, ], hardness = 80 + with_test_seed(29, stats::rnorm(
      sum(one$time_min > 0)))),
    early = plateau, same = transform(one, hardness = 120), oven = one[one$temp_c == 330, ])
  d <- do.call(rbind, Map(function(x, name) transform(x, coil = name), cases, names(cases)))
  expect_warning(expect_warning(fits <- fit_each(d, coil), class = "softanneal_warning_missing"),
                 class = "softanneal_warning_fit")
  got <- stats::setNames(as.data.frame(fits)$status, as.data.frame(fits)$coil)
  want <- c(nothing = "no anneal", single = "too few", start = "no anneal", twice = "ok",
            finished = "no softening", early = "open", same = "no softening", oven = "one temperature")
  expect_equal(got[names(want)], want)
  expect_equal(names(got), sort(names(want), method = "radix"))
  # duplicates: the same curve
  expect_equal(fits$par[, 8L], quiet_each(one, coil)$par[, 1L], tolerance = 1e-7)
})

test_that("plots have units, alt text and all groups with an estimate", {
  fits <- quiet_each(many_readings(5, seed = 21), coil)
  p <- ggplot2::autoplot(fits)
  expect_s3_class(p, "ggplot")
  expect_match(p$labels$alt, "Estimates of 5 groups")
  expect_true(any(grepl("kJ/mol", levels(p$data$panel))))
  expect_equal(nrow(ggplot2::layer_data(p, 2L)), 10L)
  expect_s3_class(ggplot2::autoplot(fits, max_labels = 0), "ggplot")
  expect_error(ggplot2::autoplot(fits, terms = "m"), class = "softanneal_error_argument")
})

test_that("random numbers of the session are left alone", {
  d <- many_readings(3, seed = 22)
  withr::local_seed(1, .rng_kind = "Wichmann-Hill")
  before <- .Random.seed
  quiet_each(d, coil, chunk_size = 1)
  expect_identical(.Random.seed, before)
  one <- quiet_one(d[d$coil == 1, ])
  for (type in c("parametric", "residual")) resample_fit(one, 20, type, seed = 1)
  expect_warning(resample_fit(one, 20, "case", seed = 1), class = "softanneal_warning_fit") # few steps
  expect_identical(.Random.seed, before)
  expect_equal(RNGkind()[1L], "Wichmann-Hill")
})

test_that("threads are capped by the environment and by a fork", {
  expect_equal(threads_allowed(2), 2L)
  withr::local_envvar(OMP_THREAD_LIMIT = "1")
  expect_equal(threads_allowed(8), 1L)
  withr::local_envvar(OMP_THREAD_LIMIT = NA)
  skip_on_os("windows")
  d <- many_readings(3, seed = 23)
  fits <- quiet_each(d, coil, threads = 2)
  # would hang if the child used threads after its parent did
  job <- parallel::mcparallel(list(threads_allowed(2), quiet_each(d, coil, threads = 2)))
  child <- parallel::mccollect(job, wait = FALSE, timeout = 20)
  if (is.null(child)) tools::pskill(job$pid)
  expect_equal(child[[1L]][[1L]], 1L)
  expect_same_fits(child[[1L]][[2L]], fits)
})

test_that("a time limit stops a long call with one thread and with two, and the session goes on", {
  skip_on_cran()
  d <- many_readings(1, seed = 24, times = c(0, 4, 8, 16, 32))
  d <- d[rep(seq_len(nrow(d)), 4000), ]
  d$coil <- rep(1:4000, each = nrow(d) / 4000)
  withr::local_options(show.error.messages = FALSE) # R prints one where its poll meets the limit
  for (threads in 1:2) {
    stopped <- tryCatch({
      setTimeLimit(elapsed = 0.1, transient = TRUE)
      quiet_each(d, coil, "hardening_recovery_jmak", threads = threads)
      "finished"
    }, error = function(e) "stopped", interrupt = function(e) "stopped",
    finally = setTimeLimit())
    expect_equal(stopped, "stopped")
    expect_equal(nrow(as.data.frame(quiet_each(d[1:240, ], coil))), 4L)
  }
})
