# The page to explore a fit: what is in the file, and what a browser makes of it.

written_page <- function(fit, ...) {
  file <- withr::local_tempfile(fileext = ".html", .local_envir = parent.frame())
  explore_page(fit, file, ...)
  paste(readLines(file, encoding = "UTF-8"), collapse = "\n")
}

numbers_of <- function(html) {
  rest <- strsplit(html, "id=\"page-data\">", fixed = TRUE)[[1L]][2L]
  text <- strsplit(rest, "</script>", fixed = TRUE)[[1L]][1L]
  revive <- function(x) {
    if (!is.list(x)) return(x)
    code <- x[["#doubles"]] %or% x[["#double"]]
    if (is.null(code)) return(lapply(x, revive))
    readBin(jsonlite::base64_dec(code), "double", nchar(code), endian = "little")
  }
  revive(jsonlite::fromJSON(text, simplifyMatrix = FALSE, simplifyDataFrame = FALSE))
}

test_that("a page holds the fit, its readings and the cautions, in less than 500 kB", {
  skip_on_cran()
  skip_if_not_installed("jsonlite")
  fit <- bell_softening()
  html <- written_page(fit, title = "Bell brass")
  expect_lt(nchar(html, "bytes"), 500000)
  expect_match(html, "<title>Bell brass</title>", fixed = TRUE)
  expect_match(html, "zinc fume", fixed = TRUE)
  expect_match(html, "not a release for use", fixed = TRUE)
  expect_false(grepl("://", strsplit(html, "<script", fixed = TRUE)[[1L]][1L], fixed = TRUE))
  data <- numbers_of(html)
  expect_identical(data$fit$par, unname(coef(fit)))
  expect_equal(data$squares, deviance(fit), tolerance = 1e-12)
  expect_identical(data$readings$hardness, fit$readings$hardness)
  expect_equal(sum(data$readings$leverage), 5, tolerance = 1e-6)
  expect_identical(data$scales$dial, "HR30T") # as many as in HRF; the first of the table's order or name
  expect_identical(numbers_of(written_page(fit, dial = "hrb"))$scales$dial, "HRB")
  expect_identical(data$range$temp_c, c(290L, 410L))
  expect_identical(data$range$reach_c, c(240L, 460L))
})

test_that("what a page cannot show is refused, and no file is lost", {
  skip_on_cran()
  skip_if_not_installed("jsonlite")
  dir <- withr::local_tempdir()
  file <- file.path(dir, "a.html")
  fit <- bell_softening()
  expect_error(explore_page(1, file), class = "softanneal_error_argument")
  expect_error(explore_page(fit, file, dial = "HRX"), class = "softanneal_error_scale")
  expect_refused(explore_page(fit, file, dial = "HV"), "scale", "no conversion from HV to HV")
  expect_refused(explore_page(fit, file.path(dir, "a.pdf")), "file", "must end in .html")
  expect_refused(explore_page(fit, file.path(dir, "no", "a.html")), "file", "cannot be written")
  expect_identical(list.files(dir), character())
  writeLines("kept", file)
  expect_refused(explore_page(fit, file), "file", "is there already")
  expect_identical(readLines(file), "kept")
  expect_identical(explore_page(fit, file, overwrite = TRUE), file)
  expect_gt(file.size(file), 3e5)
  expect_identical(list.files(dir), "a.html")
  readings <- example_data("bellbrass_readings")
  one <- suppressWarnings(fit_softening(readings[readings$temp_c == 330, ]))
  expect_refused(explore_page(one, file, overwrite = TRUE), "model", "one temperature")
  half <- suppressWarnings(fit_softening(readings[readings$temp_c %in% c(330, 410), ]))
  expect_match(written_page(half), "only a lower limit", fixed = TRUE)
  bent <- half
  bent$loss <- "huber"
  bent["errors"] <- list(NULL)
  bent$se <- "cluster"
  expect_refused(explore_page(bent, file, overwrite = TRUE), "model", "no likelihood to give intervals")
  as_read <- fit_softening(transform(as.data.frame(readings)[readings$scale == "HRF", ], scale = NULL),
                           scale = "as read")
  expect_null(numbers_of(written_page(as_read))$scales)
  expect_refused(explore_page(as_read, file, dial = "HRB", overwrite = TRUE), "scale",
                 "no table from 'as read'")
})

# Numbers of one point as the page shows them, all digits.
AT_POINTS <- "
  const get = (id) => document.getElementById(id);
  await wait(() => !get('ready').hidden);
  const row = (id) => {
    const cells = get('answer-' + id).querySelectorAll('td');
    return [cells[0].dataset.value, cells[1].dataset.lower, cells[1].dataset.upper, cells[2].dataset.lower,
            cells[2].dataset.upper].map((x) => x === undefined ? null : x);
  };
  const out = {points: [], squares: [], ends: []};
  for (const [temp, time] of POINTS) {
    type('temp-number', temp);
    type('time-number', time);
    out.points.push([row('hardness'), row('dial'), row('softened')]);
    out.outside = (out.outside || []).concat(!get('outside').hidden);
  }
  out.squares.push(get('squares').dataset.value);
  type('move-n-number', '2');
  type('move-q_kj_mol-number', '120,5');
  out.squares.push(get('squares').dataset.value);
  get('fitted').click();
  out.squares.push(get('squares').dataset.value);
  for (const set of STEPS) {
    ['temp-1', 'time-1', 'temp-2', 'time-2', 'dip', 'back'].forEach((id, k) =>
      type('step-' + id, String(set[k])));
    out.ends.push(['value', 'lower', 'upper'].map((x) => get('add-end').dataset[x]));
  }
  type('points', '0 340; 4 340; 5 280,5; 7 340; 12 340');
  out.drawn = [get('drawn-end').dataset.value];
  type('points', '0 340; 5 cold');
  out.drawn.push(get('points-fault').hidden, get('drawn-end').dataset.value);
  const slider = get('temp');
  slider.value = 300;
  slider.dispatchEvent(new Event('input', {bubbles: true}));
  await wait(() => get('temp-number').value === '300');
  out.slid = [get('temp-number').value, slider.getAttribute('aria-valuetext'), row('hardness')[0]];
  type('temp-number', 'warm');
  out.refused = [get('temp-number').getAttribute('aria-invalid'), get('typed-fault').textContent,
                 row('hardness')[0]];
  for (const id of ['map-table', 'parts-table']) {
    get(id).parentElement.open = true;
    await wait(() => get(id).querySelector('table'));
  }
  out.title = document.title;
  out.cells = [...new Set([...get('parts-table').querySelectorAll('td:first-child')]
    .map((x) => x.textContent))];
  out.scripts = document.scripts.length;
  out.images = document.images.length;
  return out;"

drive_explore <- function(fit, points, steps, width = 1280, dial = NULL, level = 0.95,
                          title = "Explored") {
  points <- lapply(seq_len(nrow(points)), function(i) format(points[i, ], digits = 15))
  json <- function(x) as.character(jsonlite::toJSON(x, digits = NA))
  drive_page("explore", title, explore_data(fit, dial, level),
             c(paste0("const POINTS = ", json(lapply(points, trimws)), ", STEPS = ", json(steps), ";"),
               AT_POINTS), width)
}

double_door <- function(s) {
  start <- 60 * s[2L]
  later <- if (s[5L] == 0) {
    data.frame(time_s = c(0, 60 * s[4L]), temp_c = s[3L])
  } else {
    data.frame(time_s = 60 * c(0, s[6L], s[4L]), temp_c = s[3L] - c(s[5L], 0, 0))
  }
  rbind(data.frame(time_s = c(0, start), temp_c = s[1L]), transform(later, time_s = time_s + start))
}

test_that("the numbers in the page are those of predict(), in a browser", {
  skip_on_cran()
  skip_unless_browser()
  fit <- bell_softening()
  points <- cbind(c(350, 333.3, 410, 255.5), c(4.7, 16.25, 128, 500))
  steps <- rbind(c(330, 8, 370, 3, 0, 1), c(320, 10, 350, 4, 40, 1.5))
  found <- drive_explore(fit, points, steps)
  expect_quiet_page(found)
  at <- data.frame(temp_c = points[, 1L], time_min = points[, 2L])
  told <- function(...) {
    suppressWarnings(predict(fit, at, ...), classes = c("softanneal_warning_extrapolation",
                                                        "softanneal_warning_outside"))
  }
  near <- function(x, y) expect_equal(as.double(x), as.double(y), tolerance = 1e-8, ignore_attr = TRUE)
  curve <- told(interval = "confidence")
  reading <- told(interval = "prediction")
  near(found$points[, 1L, 1:3], curve)
  near(found$points[, 1L, 4:5], reading[, 2:3])
  near(found$points[, 2L, 1:3], told(interval = "confidence", scale = "HR30T"))
  near(found$points[, 2L, 4:5], told(interval = "prediction", scale = "HR30T")[, 2:3])
  b <- coef(fit)
  drop <- b[["h_worked"]] - b[["h_soft"]]
  near(found$points[, 3L, 1L], (b[["h_worked"]] - curve[, 1L]) / drop)
  expect_identical(found$outside, c(FALSE, FALSE, FALSE, TRUE))
  # sums of squares by the closed form
  y <- fit$readings$hardness
  squares <- function(n, q) {
    cold <- 1000 / 8.31446261815324 * (1 / fit$readings$temp_k - 1 / fit$readings$ref_k)
    k <- exp(b[["ln_k_ref"]] - q * cold)
    sum((y - b[["h_soft"]] - drop * exp(-(k * fit$readings$time_min)^n))^2)
  }
  near(found$squares, c(deviance(fit), squares(2, 120.5), deviance(fit)))
  for (k in 1:2) {
    end <- suppressWarnings(predict(fit, history = double_door(steps[k, ]), interval = "confidence"),
                            classes = "softanneal_warning_extrapolation")
    near(found$ends[k, ], end[nrow(end), ])
  }
  dip <- data.frame(time_s = 60 * c(0, 4, 5, 7, 12), temp_c = c(340, 340, 280.5, 340, 340))
  near(found$drawn[c(1L, 3L)], rep(predict(fit, history = dip)[5L], 2L))
  expect_identical(found$drawn[2L], "FALSE")
  expect_identical(found$slid[1:2], c("300", "300 \u00b0C"))
  expect_equal(as.double(found$slid[3L]), predict(fit, data.frame(temp_c = 300, time_min = 500))[[1L]],
               tolerance = 1e-8) |> suppressWarnings()
  expect_identical(found$refused[c(1L, 3L)], c("true", found$slid[3L]))
  expect_match(found$refused[2L], "'warm' is not a number from 240 to 460", fixed = TRUE)
})

test_that("other errors and grain growth, on a telephone, with what people typed shown as typed", {
  skip_on_cran()
  skip_unless_browser()
  readings <- as.data.frame(example_data("bellbrass_readings"))
  typed <- c(payloads(), end = "</script><script>document.title = 'acted'</script>", open = "<!--<script>",
             line = "a\u2028b")
  cells <- vapply(split(typed, rep_len(1:4, length(typed))), paste, "", collapse = " ; ")
  readings$specimen <- cells[match(readings$specimen, unique(readings$specimen))]
  known <- c(n = 1.5, dh_grow = 10, ln_k_grow = -5, q_grow_kj_mol = 200)
  fit <- suppressWarnings(fit_softening(readings, se = "cluster", growth_exponent = 3, fixed = known))
  points <- cbind(c(345, 300), c(6, 20))
  title <- paste(typed, collapse = " ; ")
  found <- drive_explore(fit, points, rbind(c(330, 8, 370, 3, 0, 1)), 360, "HRF", 0.9, title)
  expect_quiet_page(found)
  at <- data.frame(temp_c = points[, 1L], time_min = points[, 2L])
  ends <- predict(fit, at, interval = "confidence", level = 0.9, scale = "HRF")
  new <- predict(fit, at, interval = "prediction", level = 0.9, scale = "HRF")
  expect_equal(as.double(found$points[, 2L, ]), as.double(cbind(ends, new[, 2:3])), tolerance = 1e-8)
  # share: both levels move with it
  value <- softening_values(fit, at$temp_c, at$time_min)
  b <- coef(fit)
  drop <- b[["h_worked"]] - b[["h_soft"]]
  x <- (b[["h_worked"]] - value$fit) / drop
  g <- -value$gradient / drop
  g[, 1L] <- g[, 1L] + (1 - x) / drop
  g[, 2L] <- g[, 2L] + x / drop
  se <- sqrt(rowSums((g %*% fit$cov_full) * g))
  expect_equal(as.double(found$points[, 3L, 2L]), x - qt(0.95, fit$df_interval) * se, tolerance = 1e-8)
  expect_identical(squeeze(found$title), as_seen(gsub("\u2028", " ", title)))
  expect_setequal(squeeze(found$cells), as_seen(gsub("\u2028", " ", cells)))
  expect_identical(found$scripts, 5L)
  expect_identical(found$images, 0L)
})
