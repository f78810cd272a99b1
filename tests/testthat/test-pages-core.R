# The compiled code in the browser (inst/pages/core.js, made by inst/scripts/make-core-js.sh) against the same
# code in R, run by node: fits of all models with every kind of standard error, curves, histories, answers,
# conversions, heating of a sheet, the worth of a step. SOFTANNEAL_CORE_JS names another core.js, such as one
# made afresh from the sources.

core_file <- function() {
  path <- Sys.getenv("SOFTANNEAL_CORE_JS")
  if (nzchar(path)) path else system.file("pages", "core.js", package = "softanneal", mustWork = TRUE)
}

run_core <- function(cases) {
  skip_if_not(nzchar(Sys.which("node")), "node is not installed")
  skip_if_not_installed("jsonlite")
  file <- withr::local_tempfile(fileext = ".json")
  writeLines(json_text(cases), file)
  api <- system.file("pages", "core-api.js", package = "softanneal", mustWork = TRUE)
  out <- system2("node", shQuote(c(test_path("core", "compare.js"), core_file(), api, file)), stdout = TRUE)
  found <- jsonlite::fromJSON(paste(out, collapse = ""))
  expect_equal(sort(unique(found$name)), sort(unique(vapply(cases, `[[`, "", "name"))))
  bad <- found[!found$ok, ]
  expect(nrow(bad) == 0L, paste(c("the core in the browser differs:",
                                  paste(bad$name, bad$field, bad$gap, bad$said)), collapse = "\n"))
  invisible(found)
}

in_vickers <- function() {
  d <- example_data("bellbrass_readings")
  d$hardness <- convert_hardness(d$hardness, d$scale, "HV")
  d$scale <- "HV"
  d
}

test_that("fits in the browser are those of R: all models, components and clusters", {
  skip_on_cran()
  d <- in_vickers()
  cases <- c(
    lapply(model_names(), function(m) {
      core_fit_case(paste(m, "cluster"), core_data_of(m), model = m, se = "cluster")[[1L]]
    }),
    lapply(c("jmak", "austin_rickett"), function(m) {
      core_fit_case(paste(m, "components, bell brass"), d, model = m)[[1L]]
    }),
    lapply(model_names(), function(m) {
      core_fit_case(paste(m, "components"), core_data_of(m), model = m)[[1L]]
    }),
    list(core_fit_case("model", d, se = "model")[[1L]], core_fit_case("steps", d, se = "steps")[[1L]],
         core_fit_case("furnace stated", d, u_temp_c = 1.5)[[1L]],
         core_fit_case("fixed", d, fixed = c(q_kj_mol = 140),
                       options = list(fixed = list(q_kj_mol = 140)))[[1L]]))
  run_core(cases)
})

test_that("fits in the browser under other errors: runs, operators, missing labels, half-seen curves", {
  skip_on_cran()
  d <- in_vickers()
  people <- d
  people$operator <- rep_len(c("first", "second", "second"), nrow(d))
  people$furnace <- ifelse(d$temp_c > 340, "large", "small")
  bare <- d[c("temp_c", "time_min", "hardness", "scale")]
  one <- d[d$temp_c == 330, ]
  half <- suppressMessages(simulate_readings(
    temp_c = c(330, 430), time_min = c(10, 20, 40, 80), n_readings = 3, seed = 3, scale = "HV"))
  late <- d[d$time_min >= 16, ]
  run_core(list(core_fit_case("operators and runs", people)[[1L]], core_fit_case("no specimens", bare)[[1L]],
                core_fit_case("one temperature", one)[[1L]],
                core_fit_case("half seen", half, se = "cluster",
                              tolerance = list(std_error = 1e-9))[[1L]],
                # ends of profiles are sought to less; all else as of a fit that is seen whole
                core_fit_case("half seen, components", half, tolerance = list(conf = 2e-9))[[1L]],
                core_fit_case("a hotter strip finished", d[d$temp_c %in% c(330, 410), ])[[1L]],
                core_fit_case("late readings", late)[[1L]]))
})

test_that("curves, intervals, answers and histories in the browser are those of R", {
  skip_on_cran()
  d <- in_vickers()
  at <- data.frame(temp_c = c(290, 330, 370, 410, 330), time_min = c(8, 20, 3, 128, 0))
  cases <- list()
  for (se in c("components", "cluster")) {
    fit <- fit_softening(d, se = se)
    page <- page_fit(fit)
    band <- predict(fit, at, interval = "confidence", se.fit = TRUE)
    new <- predict(fit, at, interval = "prediction", level = 0.9)
    times <- time_to(fit, hardness = 100, temp_c = c(300, 330, 380), method = "delta")
    temps <- temp_for(fit, c(10, 60), softening = 0.5, method = "delta", level = 0.9)
    cases <- c(cases, list(
      core_case(paste("curve", se), "predict",
                list(page, at$temp_c, at$time_min, list(interval = "confidence")),
                list(hardness = I(band$fit[, 1]), lower = I(band$fit[, 2]), upper = I(band$fit[, 3]),
                     std_error = I(band$se.fit))),
      core_case(paste("new reading", se), "predict",
                list(page, at$temp_c, at$time_min, list(interval = "prediction", level = 0.9)),
                list(lower = I(new[, 2]), upper = I(new[, 3]))),
      core_case(paste("time to", se), "timeTo", list(page, list(hardness = 100), c(300, 330, 380)),
                list(time_min = I(times$time_min), lower = I(times$conf.low), upper = I(times$conf.high),
                     std_error = I(times$std.error))),
      core_case(paste("temperature for", se), "tempFor",
                list(page, list(softening = 0.5), c(10, 60), list(level = 0.9)),
                list(temp_c = I(temps$temp_c), lower = I(temps$conf.low), upper = I(temps$conf.high),
                     std_error = I(temps$std.error)))))
  }
  log <- data.frame(time_s = c(0, 300, 1200, 1200, 1500, 1800), temp_c = c(25, 320, 350, 330, 335, 40))
  for (m in model_names()) {
    par <- suppressWarnings(fit_softening(d, m, se = "cluster"))
    bare <- list(model = m, par = I(unname(par$par)), temp_ref_c = par$temp_ref_c)
    grid <- expand.grid(time_min = c(0, 2, 30), temp_c = c(280, 360, 440))
    p <- suppressWarnings(predict(par, grid))
    along <- soften(log, par)
    cases <- c(cases, list(
      core_case(paste("hardness", m), "hardness", list(bare, grid$temp_c, grid$time_min), list(value = I(p))),
      core_case(paste("history", m), "alongHistory", list(bare, lapply(log, I)),
                list(hardness = I(along$hardness), fraction = I(along$fraction), theta = I(along$theta),
                     temp_c = I(along$temp_c)))))
  }
  fit <- fit_softening(d)
  cases <- c(cases, list(
    core_case("equivalent time", "equivalentTime", list(lapply(log, I), 140, 340),
              list(value = equivalent_time(log, 140, 340)$equivalent_min)),
    core_case("quantile of t", "quantileT", list(0.975, 2.5), list(value = stats::qt(0.975, 2.5)), 1e-12),
    core_case("quantile of t, many", "quantileT", list(0.9, 1e5), list(value = stats::qt(0.9, 1e5)), 1e-12),
    core_case("normal quantile", "quantileNormal", list(1e-9), list(value = stats::qnorm(1e-9)), 1e-12)))
  run_core(cases)
})

test_that("the curve in the browser where something is open is that of R, with its open ends", {
  skip_on_cran()
  d <- in_vickers()
  half <- d[d$temp_c %in% c(330, 410), ]
  at <- data.frame(temp_c = c(350, 330, 410, 300, 250), time_min = c(10, 30, 5, 5, 1))
  cases <- list()
  for (se in c("components", "cluster")) {
    fit <- suppressWarnings(fit_softening(half, se = se))
    expect_true(any(is_open(fit)))
    told <- function(...) unname(suppressWarnings(predict(fit, at, ...)))
    curve <- told(interval = "confidence")
    new <- told(interval = "prediction")
    expect_true(anyNA(curve[, 1L]))
    ask <- list(page_fit(fit), page_likelihood(fit, 0.95), at$temp_c, at$time_min)
    cases <- c(cases, list(
      core_case(paste("open curve", se), "curveInterval", ask,
                list(hardness = I(curve[, 1L]), lower = I(curve[, 2L]), upper = I(curve[, 3L]))),
      core_case(paste("open reading", se), "curveInterval", c(ask, "prediction"),
                list(lower = I(new[, 2L]), upper = I(new[, 3L])))))
    # the end of a history: a value where the readings tell it, else an interval alone
    for (hot in c(340, 410)) {
      log <- data.frame(time_s = 60 * c(0, 4, 5, 12), temp_c = c(hot, hot, 280.5, hot))
      end <- suppressWarnings(predict(fit, history = log, interval = "confidence"))
      end <- unname(end[nrow(end), ])
      expect_identical(is.na(end[1L]), hot == 340)
      cases <- c(cases, list(
        core_case(paste("open history", se, hot), "historyInterval",
                  list(ask[[1L]], ask[[2L]], lapply(log, I)),
                  list(hardness = end[1L], lower = end[2L], upper = end[3L]),
                  list(all = 1e-7, hardness = 1e-10)))) # R comes to the end from the marks before it
    }
  }
  run_core(cases)
  expect_null(page_likelihood(suppressWarnings(fit_softening(d, se = "cluster")), 0.95))
})

test_that("conversions, heating and the worth of steps in the browser are those of R", {
  skip_on_cran()
  cases <- list()
  for (material in names(scale_tables)) {
    tables <- page_tables(material)
    for (pair in names(tables$pairs)) {
      ends <- strsplit(pair, ">")[[1L]]
      x <- tables$pairs[[pair]]$x
      x <- c(x[1L] - 1, x[1L], x[1L] + (x[length(x)] - x[1L]) * c(0.213, 0.5, 0.77), x[length(x)], NA)
      want <- suppressWarnings(convert_hardness(x, ends[1L], ends[2L], material))
      own <- replace(tables, "pairs", list(tables$pairs[pair]))
      cases <- c(cases, list(core_case(paste(material, pair), "convert",
                                       list(I(x), ends[1L], ends[2L], own), list(value = I(want)))))
    }
  }
  up <- heat_up(0.95, 350, until_min = 5, n_points = 11, width_mm = 20, length_mm = 60)
  down <- cool_down(0.95, 350, support = "free", until_min = 3, n_points = 7)
  own <- function(h, support, ...) {
    list(thickness_mm = 0.95, ..., support = support, metal = page_metal("C26000"),
         until_s = max(h$history$time_s), time_s = I(h$history$time_s))
  }
  dip <- data.frame(time_s = c(0, 30, 300), temp_c = c(300, 350, 350))
  moving <- heat_up(0.95, dip, until_min = 5, n_points = 9)
  cases <- c(cases, list(
    core_case("heat up", "heat",
              list(own(up, "block", start_c = 20, around_c = 350, width_mm = 20, length_mm = 60)),
              list(temp_c = I(up$history$temp_c), end_c = up$summary$end_c)),
    core_case("cool down", "heat", list(own(down, "free", start_c = 350, around_c = 20)),
              list(temp_c = I(down$history$temp_c), end_c = down$summary$end_c)),
    core_case("furnace dips", "heat", list(own(moving, "block", start_c = 20, around = lapply(dip, I))),
              list(temp_c = I(moving$history$temp_c)))))
  plan <- suppressWarnings(plan_anneal(c(290, 330, 370), c(4, 8, 16, 32), session_min = 600))
  steps <- plan$steps[plan$steps$step > 0, c("specimen", "temp_c", "time_min")]
  value <- function(steps, aim, at_c = NULL, hardness = NULL) {
    set <- plan$settings
    problem <- list(guess = plan$guess, weight = step_information(plan$guess, set$n_readings),
                    baseline = set$baseline, goal = check_goal(plan, aim, at_c, hardness),
                    most = 64L, limit = 1e9)
    value_of_steps(problem, steps)
  }
  rows <- function(s) lapply(seq_len(nrow(s)), function(k) as.list(s[k, ]))
  guess <- page_guess(plan$guess)
  setting <- list(n_readings = plan$settings$n_readings, baseline = plan$settings$baseline)
  more <- rbind(steps, data.frame(specimen = steps$specimen[1L], temp_c = steps$temp_c[1L], time_min = 64))
  cases <- c(cases, lapply(c("q", "t50", "determinant", "hardness"), function(aim) {
    hardness <- if (aim == "hardness") 100
    at_c <- if (aim %in% c("t50", "hardness")) c(300, 350)
    core_case(paste("worth", aim), "planValue",
              list(guess, rows(steps), list(name = aim, at_c = at_c, hardness = hardness), setting),
              list(value = value(steps, aim, at_c, hardness)))
  }), list(core_case("next step", "nextStep",
                     list(guess, rows(steps), rows(more[nrow(more), ]), list(name = "q"), setting),
                     list("0.criterion" = value(more, "q"), "0.criterion_now" = value(steps, "q"),
                          "0.sd_factor" = exp((value(more, "q") - value(steps, "q")) / 2)))))
  run_core(cases)
})

test_that("the script of the core makes no code, asks for nothing and says whose it is", {
  skip_on_cran()
  text <- paste(readLines(system.file("pages", "core.js", package = "softanneal", mustWork = TRUE),
                          encoding = "UTF-8"), collapse = "\n")
  expect_no_match(text, "\\beval\\(|new Function|require\\(|importScripts\\(|</script")
  expect_match(text, "MIT licence, Copyright (c) 2026 softanneal authors", fixed = TRUE)
  expect_match(text, "inst/scripts/make-core-js.sh", fixed = TRUE)
})

test_that("what a page cannot show is refused", {
  skip_on_cran()
  d <- in_vickers()
  by <- suppressWarnings(fit_softening(d, n_by = "by temperature", se = "cluster"))
  expect_refused(page_fit(by), "model", "one cold reduction with one exponent")
})
