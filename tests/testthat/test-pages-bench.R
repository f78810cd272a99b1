# The page for the bench: what stands in the file, and a short run in a browser whose files R reads and fits.

page_plan <- function() {
  suppressWarnings(plan_anneal(c(340, 380), c(2, 8, 32), plan_guess(recryst_1h_c = 370), n_readings = 2,
                               session_min = 600))
}

for_q <- function() bench_aim("q", NULL, NULL, NULL, NULL, 10, 1.5, 10)

written_bench <- function(plan = page_plan(), ...) {
  file <- withr::local_tempfile(fileext = ".html", .local_envir = parent.frame())
  bench_page(plan, file, ...)
  paste(readLines(file, encoding = "UTF-8"), collapse = "\n")
}

test_that("a bench page holds plan, tables and cautions, is closed to the net and acts on no title", {
  skip_on_cran()
  skip_if_not_installed("jsonlite")
  html <- written_bench(title = "</title><script>alert(1)</script>")
  expect_lt(nchar(html, "bytes"), 500000)
  expect_match(html, "default-src 'none'", fixed = TRUE)
  expect_match(html, "; worker-src blob:; ", fixed = TRUE)
  expect_no_match(html, "<script>alert(1)", fixed = TRUE)
  for (word in c("zinc fume", "face shield", "not a release for use", "pinch point between indenter")) {
    expect_match(html, word, fixed = TRUE)
  }
  # no element of the page asks for a file of its own
  expect_no_match(html, "<(link|img|iframe|script)[^>]* (src|href)=", perl = TRUE)
})

test_that("no payload in the title of a bench page acts, and each comes back as typed", {
  skip_on_cran()
  skip_if_not_installed("jsonlite")
  typed <- c(payloads(), end = "</script><script>alert(1)</script>", open = "<!--<script>",
             line = "a\u2028b\u2029c")
  plan <- page_plan()
  hostile <- written_bench(plan, title = paste(typed, collapse = " ; "))
  expect_nothing_acts(hostile, written_bench(plan, title = "Run"), typed)
})

test_that("each bench page begins a run of its own; steps stand in the order of the plan", {
  skip_on_cran()
  skip_if_not_installed("jsonlite")
  plan <- page_plan()
  first <- bench_data(plan, "a", for_q())
  Sys.sleep(0.01)
  expect_false(first$run == bench_data(plan, "a", for_q())$run)
  expect_match(first$run, "^[0-9a-f]{16}$")
  expect_identical(as.double(first$range), c(29, 82)) # of HR30T, ISO 6508-1 (from memory)
  hot <- first$steps$step > 0
  expect_identical(first$steps$time_min[hot & first$steps$temp_c == 340], c(2, 8, 32))
  expect_setequal(names(first$table$pairs), paste0(c("HR30T", "HV"), ">", c("HV", "HR30T")))
})

test_that("bench_page() refuses what it cannot write or convert", {
  skip_on_cran()
  skip_if_not_installed("jsonlite")
  plan <- page_plan()
  file <- withr::local_tempfile(fileext = ".html")
  expect_refused(bench_page("plan", file), "argument", "must come from plan_anneal()")
  expect_refused(bench_page(plan, sub("html$", "txt", file)), "file", "html")
  expect_refused(bench_page(plan, file, wanted_kj_mol = 0), "range", "wanted_kj_mol")
  aimed <- function(...) bench_page(plan, file, ...)
  expect_refused(aimed(aim = "time"), "argument", "needs `temp_c`")
  expect_refused(aimed(aim = "temperature", temp_c = 350), "argument", "needs `time_min`")
  expect_refused(aimed(softening = 0.5), "argument", "no use for `softening`")
  expect_refused(aimed(aim = "time", temp_c = 350, hardness = 100, softening = 0.4), "argument",
                 "two targets")
  expect_refused(aimed(aim = "time", temp_c = 350, wanted_factor = 1), "range", "wanted_factor")
  # what no run gets to, or no furnace is
  expect_refused(aimed(aim = "time", temp_c = 350, hardness = 500), "range", "not between the soft and the",
                 "hardness")
  expect_refused(aimed(aim = "temperature", time_min = 30, hardness = 5), "range", "not between the soft",
                 "hardness")
  expect_refused(aimed(aim = "time", temp_c = 3300), "range", "begins to melt", "temp_c")
  expect_refused(aimed(aim = "time", temp_c = 5), "range", "is not above the room", "temp_c")
  bench_page(plan, file)
  expect_refused(bench_page(plan, file), "file", "already")
  expect_identical(bench_page(plan, file, overwrite = TRUE), file)
  plan$guess$conversion <- NA_character_
  expect_refused(bench_page(plan, file, overwrite = TRUE), "scale", "cannot be converted to HV")
})

# What a report says of the run, and readings without their events.
expect_report_of_bench <- function(readings, history) {
  acts <- event_table(history)
  expect_identical(nrow(acts), 6L)
  expect_true(all(acts$furnace_min > 2) && !anyNA(acts$cold))
  said <- report_bench(readings, acts)
  expect_match(said[1L], "The 16 readings were entered on a bench page", fixed = TRUE)
  expect_match(said[2L], "6 steps with events: [0-6] out late, 0 with a corrected")
  expect_match(report_bench(readings, NULL)[2L], "not given")
  expect_null(report_bench(readings[names(readings) != "entry"], NULL))
  rows <- report_event_rows(acts)
  expect_match(rows$Out, "^[0-9]{2}:[0-9]{2}:[0-9]{2}$")
  expect_refused(report_events(as.data.frame(history)[1:3]), "argument", "no events of a bench page")
  lost <- history[history$event != "cold 2" | history$specimen != "P340", ]
  expect_refused(fit_softening(readings, history = lost), "missing", "'P340, step 2'")
}

# The answers of the page are those of R for the readings it had then.
expect_aims <- function(aims, folder) {
  fitted <- function(text) {
    file <- file.path(folder, "then.csv")
    writeLines(text, file, useBytes = TRUE)
    d <- suppressMessages(read_readings(file))
    d$hardness <- convert_hardness(d$hardness, d$scale, "HV")
    d$scale <- "HV" # R adds the uncertainty of the conversion, which the page leaves out
    suppressMessages(suppressWarnings(fit_softening(d)))
  }
  shown <- function(pattern, text) as.numeric(regmatches(text, regexec(pattern, text))[[1L]][-1L])
  number <- "([0-9]+[.]?[0-9]*)"
  one <- time_to(fitted(aims[2L]), softening = 0.5, temp_c = 350, method = "delta")
  said <- paste0(number, " min at 350 .C to 50 % softening, 95 % interval ", number, " to ", number)
  expect_equal(shown(said, aims[1L]), unlist(one[c("time_min", "conf.low", "conf.high")], use.names = FALSE),
               tolerance = 5e-3)
  expect_match(aims[1L], "within a factor of 1.5, reached: 1[.]", perl = TRUE)
  other <- temp_for(fitted(aims[4L]), 30, hardness = 100, method = "delta")
  said <- paste0(number, " .C for 100 HV in 30 min, 95 % interval ", number, " to ", number)
  expect_equal(shown(said, aims[3L]), unlist(other[c("temp_c", "conf.low", "conf.high")], use.names = FALSE),
               tolerance = 5e-4)
  expect_match(aims[3L], "Wanted: half-width 4 .C, reached: [0-9.]+, without the uncertainty")
  expect_match(aims[c(1L, 3L)], "(Next best|Then): P3")
}

# Does a whole run: taps the button of the first card, or types the next of `truth` values of its step.
BENCH_DRIVER <- "
  const real = Date.now.bind(Date);
  let shift = 0;
  Date.now = () => real() + shift;
  await wait(() => document.documentElement.dataset.ready === 'yes');
  const start = document.getElementById('bench-start');
  const before = document.getElementById('bench-run').hidden;
  start.click();
  await wait(() => !document.getElementById('bench-run').hidden);
  const odd = [], shown = [];
  for (let k = 0; k < 400; k++) {
    const card = document.querySelector('#bench-now .card'), head = card.querySelector('h3').textContent;
    const act = card.querySelector('button.act'), form = card.querySelector('form');
    if (!act && !form) break;
    const n = bench.log().length;
    if (act) {
      const until = card.querySelector('[data-until]');
      if (until) {
        shift += +until.dataset.until - Date.now() + 1000;
        await new Promise((r) => setTimeout(r, 600));
        shown.push(until.textContent);
      }
      act.click();
    } else {
      const m = /^(P\\d+), (?:step (\\d+))?/.exec(head), field = form.querySelector('input.number');
      const text = page.data.truth[m[1]][m[2] ? +m[2] : 0][card.querySelectorAll('ol.values li').length];
      if (k === 0) { // what is no number is not taken
        field.value = '7o';
        form.requestSubmit();
        odd.push(String(bench.log().length === n), document.getElementById('bench-told').textContent);
        field.value = '715';
        form.requestSubmit();
        odd.push(String(bench.log().length === n), document.getElementById('bench-told').textContent);
      }
      if (k === 1) { // a slip is asked about
        field.value = '41,5';
        form.requestSubmit();
        await wait(() => bench.log().length === n + 1);
        odd.push(document.getElementById('bench-told').textContent);
        document.getElementById('bench-undo').click();
        await wait(() => bench.log().length === n + 2);
        continue;
      }
      field.value = text;
      form.requestSubmit();
      shift += 20000;
    }
    await wait(() => bench.log().length === n + 1);
  }
  const fit = document.getElementById('bench-fit');
  await wait(() => fit.dataset.busy === 'no');
  const files = [bench.readingsFile(), bench.eventsFile()];
  // taken in again nothing changes; undone, the last reading is gone and comes back by its file
  const count = bench.log().length, par = JSON.parse(fit.dataset.par || 'null');
  await bench.takeIn(files[0]);
  const same = bench.log().length === count;
  await bench.takeIn('a,b\\n1,2\\n');
  const refused = document.getElementById('bench-told').textContent;
  document.getElementById('bench-undo').click();
  await wait(() => bench.log().length === count + 1);
  // the clock of the device is set back by an hour: said, and the last entry is still the last
  shift -= 3600000;
  const field = document.querySelector('#bench-now input.number');
  field.value = '45';
  field.form.requestSubmit();
  await wait(() => bench.log().length === count + 2);
  const back = ['told', 'undo'].map((x) => document.getElementById('bench-' + x).textContent);
  document.getElementById('bench-undo').click();
  await wait(() => bench.log().length === count + 3);
  shift += 3600000;
  await wait(() => /^Saved/.test(document.getElementById('bench-saved').textContent));
  // the advice for a time, then for a temperature
  const advice = document.getElementById('bench-advice').innerText, aims = [];
  const lines = bench.readingsFile().split('\\n').length - files[0].split('\\n').length;
  for (const aim of [{name: 'time', wanted: 1.5, softening: 0.5, temp_c: 350},
                     {name: 'temperature', wanted: 4, hardness: 100, softening: 0.5, time_min: 30}]) {
    page.data.aim = Object.assign(page.data.aim, {hardness: null}, aim);
    const n = bench.log().length;
    document.getElementById('bench-undo').click();
    await wait(() => bench.log().length === n + 1);
    await wait(() => fit.dataset.busy === 'no');
    aims.push(document.getElementById('bench-advice').innerText, bench.readingsFile());
  }
  return {aims, before, odd, back, shown, files, par, same, refused,
          advice,
          saved: document.getElementById('bench-saved').textContent, fitted: fit.textContent,
          undone: lines};"

test_that("a slip is marked whenever it was typed, and the right readings are not", {
  skip_on_cran()
  skip_if_not(nzchar(Sys.which("node")), "node is not installed")
  skip_if_not_installed("jsonlite")
  judge <- system.file("pages", "bench-judge.js", package = "softanneal", mustWork = TRUE)
  script <- withr::local_tempfile(fileext = ".js")
  writeLines(c(
    sprintf("const j = require(%s), o = {};", encodeString(normalizePath(judge), quote = "\"")),
    "const m = (v, e) => j.judge(v, 1, () => e || null).marks.join(' ');",
    "o.third = m([71.5, 17.5, 71]); o.second = m([71.5, 17.5]); o.known = m([71.5, 17.5], [65, 80]);",
    "o.first = m([17.5, 71.5, 71]); o.twice = m([17.5, 17.6, 71], [65, 80]); o.alone = m([17.5], [65, 80]);",
    "o.fine = m([70, 71, 72, 73, 69]); o.tie = m([71, 71.5, 17, 17.5]); o.edge = m([70, 70, 70, 73.8]);",
    "o.beyond = m([70, 70, 70, 74.3]);",
    "o.off = String([j.judge([20, 20.5], 1, () => [65, 80]).off(), j.judge([70], 1, () => null).off()]);",
    # scatter of ten readings known to be 2, one slip in two steps of eight
    "const v = [-3.1, -1.8, -0.9, -0.2, 0.3, 0.8, 1.4, 2.9].map((x) => 2 * x / 1.85);",
    "const steps = Array.from({length: 8}, (_, k) => [0, 1, 2, 3].map((i) => v[(3 * k + 2 * i) % 8]));",
    "o.sd = [steps, steps.map((s, k) => k < 2 ? s.concat([-50]) : s), steps.slice(4)].map(j.usualSd);",
    "console.log(JSON.stringify(o));"), script)
  found <- jsonlite::fromJSON(system2("node", shQuote(script), stdout = TRUE))
  expect_identical(found$third, " far ")
  expect_identical(found$second, "apart apart")
  expect_identical(found$known, " far")
  expect_identical(found$first, "far  ")
  expect_identical(found$twice, "far far ")
  expect_identical(found$alone, "alone")
  expect_identical(found$fine, "    ")
  expect_identical(found$tie, "apart apart apart apart")
  expect_identical(c(found$edge, found$beyond), c("   ", "   far")) # 3.5 sqrt(1 + 1/4) and beyond: 4.9 apart
  expect_identical(found$off, "true,false")
  expect_lt(abs(log(found$sd[1L] / 2)), log(1.4))
  expect_lt(abs(log(found$sd[2L] / found$sd[1L])), log(1.3))
  expect_true(is.na(found$sd[3L]))
})

test_that("a run in the browser: its files are read by R, and its fit is that of R", {
  skip_on_cran()
  skip_unless_browser()
  plan <- page_plan()
  data <- bench_data(plan, "Run", for_q())
  s <- plan$steps
  par <- c(h_worked = 158, h_soft = 76, ln_k_ref = -1.6, n = 1.5, q_kj_mol = 150)
  data$truth <- lapply(split(seq_len(nrow(s)), s$specimen), function(rows) {
    lapply(rows[order(s$step[rows])], function(k) {
      hv <- par[["h_worked"]]
      if (s$time_min[k] > 0) {
        hv <- soften(data.frame(time_s = c(0, 60 * s$time_min[k]), temp_c = s$temp_c[k]), par, model = "jmak",
                     temp_ref_c = 360)$hardness[2L]
      }
      x <- convert_hardness(hv + c(-1, 1) + 0.7 * sin(5 * k), "HV", plan$settings$scale)
      I(sub(".", if (k %% 2) "," else ".", format(round(2 * x) / 2, nsmall = 1, trim = TRUE), fixed = TRUE))
    })
  })
  # the time that the browser feigns waits neither for a database nor for a worker: entries go to localStorage
  # here, and all is computed in the page
  found <- drive_page("bench", "Run", data, BENCH_DRIVER, width = 500, before = "
    window.Worker = undefined;
    Object.defineProperty(window, 'indexedDB', {get() { throw new Error('none here'); }});")
  expect_quiet_page(found)
  expect_true(found$before)
  expect_identical(found$odd[c(1L, 3L)], c("true", "true"))
  expect_match(found$odd[[2L]], "is not a number", fixed = TRUE)
  expect_match(found$odd[[4L]], "is no number of the scale HR30T", fixed = TRUE)
  expect_match(found$odd[[5L]], "41.5 HR30T: .*read again")
  expect_match(found$shown, "^0:0[0-9] over$")
  expect_match(found$saved, "localStorage", fixed = TRUE)
  files <- withr::local_tempdir()
  for (k in 1:2) {
    writeLines(found$files[k], file.path(files, c("readings.csv", "events.csv")[k]), useBytes = TRUE)
  }
  readings <- suppressMessages(read_readings(file.path(files, "readings.csv")))
  expect_identical(nrow(readings), 2L * nrow(s))
  expect_equal(tapply(readings$time_min, readings$step, max)[["3"]], 32, tolerance = 0.02)
  fit <- suppressWarnings(fit_softening(readings))
  expect_equal(found$par, unname(fit$par), tolerance = 1e-8)
  # names of entries are no numbers, whatever their digits
  entry <- utils::read.csv(file.path(files, "events.csv"), colClasses = "character")$entry
  expect_match(entry[nzchar(entry)], "^n[0-9a-f]{12}$")
  history <- suppressMessages(read_history(file.path(files, "events.csv")))
  expect_setequal(history$specimen, s$specimen)
  steps <- suppressWarnings(find_steps(history))
  expect_identical(nrow(steps), 6L)
  along <- suppressWarnings(fit_softening(readings, history = history))
  expect_equal(coef(along)[["h_soft"]], coef(fit)[["h_soft"]], tolerance = 0.05)
  # the same as by the log times in the file
  untimed <- readings[names(readings) != "time_min"]
  by_log <- suppressWarnings(fit_softening(untimed, history = history, log_time = log_s))
  expect_equal(coef(along), coef(by_log), tolerance = 1e-10)
  expect_report_of_bench(readings, history)
  expect_true(found$same)
  expect_match(found$refused, "not a file of readings or events", fixed = TRUE)
  expect_identical(found$undone, -1L)
  expect_match(found$back[1L], "clock of the device was set back", fixed = TRUE)
  expect_match(found$back[2L], "45 HR30T", fixed = TRUE)
  expect_match(found$advice, "not a release for use", fixed = TRUE)
  expect_aims(found$aims, files)
})
