# The page for practice: what stands in the file and what does not, its random numbers against published
# ones, and
# one run in a browser from the rolls to the files, whose numbers R finds again.

practice_design <- function(...) {
  class_design(temp_c = c(310, 340, 370), time_min = c(0, 4, 16, 64), n_readings = 3, ...)
}

PRACTICE <- new.env()

# The page's data for one group, drawn once.
practice_of_group <- function() {
  if (is.null(PRACTICE$data)) {
    sizes <- list(thickness_mm = 1.6, width_mm = 25, length_mm = 150)
    set <- list(rolled_mm = 0.95, budget_s = 36000, max_specimens = 6, dip_c = 9, recover_min = 3,
                open_s = 10, ambient_c = 20)
    PRACTICE$data <- practice_data(practice_design(), 2, 20, "Run", sizes, set, thermal_material())
    PRACTICE$key <- answer_key(2, seed = 20, groups = 2, design = practice_design())
  }
  PRACTICE$data
}

practice_html <- function(data) page_text("practice", data$title, data, CAUTION_PROCESSES, max(data$temps))

test_that("the generator gives the known answers of its authors", {
  # philox4x32_R 10 in kat_vectors of the generators of Salmon et al. (2011), values from memory
  word <- function(...) as.numeric(paste0("0x", c(...)))
  expect_identical(philox(rep(0, 4), c(0, 0))[1L, ], word("6627e8d5", "e169c58d", "bc57ac4c", "9b00dbd8"))
  expect_identical(philox(rep(2^32 - 1, 4), rep(2^32 - 1, 2))[1L, ],
                   word("408f276d", "41c83b0e", "a20bc7c6", "6d5451fd"))
  pi_digits <- philox(word("243f6a88", "85a308d3", "13198a2e", "03707344"), word("a4093822", "299f31d0"))
  expect_identical(pi_digits[1L, ], word("d16cfe09", "94fdcceb", "5001e420", "24126ea1"))
})

test_that("scatter starts at group and seed, and says nothing of either", {
  expect_false(identical(practice_seed(20, "group-01"), practice_seed(20, "group-02")))
  expect_false(identical(practice_seed(20, "group-01"), practice_seed(21, "group-01")))
  key <- check_class_seed(strrep("a1", 16))
  seed <- practice_seed(key, "group-01")
  expect_true(all(seed == round(seed) & seed >= 0 & seed < 2^32))
})

test_that("a practice page is one file, closed to the net, with cautions and without its true values", {
  skip_if_not_installed("jsonlite")
  data <- practice_of_group()
  html <- practice_html(data)
  expect_lt(nchar(html, "bytes"), 500000)
  # expect_match() writes a text of this length out each time
  holds <- function(text) grepl(text, html, fixed = TRUE)
  expect_true(holds("default-src 'none'"))
  expect_false(grepl("<(link|img|iframe|script)[^>]* (src|href)=", html, perl = TRUE))
  for (word in c("zinc fume", "face shield", "not a release for use",
                 "pinch point where the strip enters the rolls", "chips in the eyes",
                 "hot surfaces that do not look hot")) {
    expect_true(holds(word), label = word)
  }
  truth <- unlist(attr(PRACTICE$key, "truth")[1L, names(WORKSHOP_TRUTH)[c(1, 2, 4, 5)]])
  json <- json_text(data)
  for (x in truth) {
    expect_false(grepl(substr(format(x, digits = 15L), 1L, 6L), json, fixed = TRUE))
    bytes <- jsonlite::base64_enc(writeBin(x, raw(), endian = "little"))
    expect_false(grepl(substr(bytes, 1L, 8L), json, fixed = TRUE))
  }
  # the class and its seed are not in it
  expect_false(grepl("sd_groups|tolerance|blunders", json))
})

test_that("no payload in the title or the names of operators acts", {
  skip_if_not_installed("jsonlite")
  typed <- c(payloads(), end = "</script><script>alert(1)</script>", open = "<!--<script>", line = "a\u2028b")
  data <- practice_of_group()
  hostile <- replace(data, "title", list(paste(typed, collapse = " ; ")))
  hostile$operators <- I(unname(typed))
  expect_nothing_acts(practice_html(hostile), practice_html(data), typed)
})

test_that("practice_page() writes what it can and refuses what cannot be", {
  skip_if_not_installed("jsonlite")
  file <- withr::local_tempfile(fileext = ".html")
  design <- practice_design()
  expect_refused(practice_page("design", 1, file, seed = 20), "argument", "must come from class_design()")
  expect_refused(practice_page(design, 0, file, seed = 20), "range", "group")
  expect_refused(practice_page(design, "reds", file, seed = 20), "argument", "group-01", "group")
  for (name in list("group-07", "7", "07", 7L)) expect_identical(class_number(name), 7)
  expect_refused(practice_page(design, 1, sub("html$", "txt", file), seed = 20), "file", "html")
  expect_refused(practice_page(design, 1, file, seed = 20, rolled_mm = 2), "range", "rolled_mm")
  expect_refused(practice_page(design, 1, file, seed = 20, rolled_mm = 1.6), "range", "between 0 and 1.6")
  expect_refused(practice_page(design, 1, file, seed = 20, dip_c = 300), "range", "would fall to the room")
  expect_refused(practice_page(design, 1, file, seed = "12"), "argument", "bits")
  expect_false(file.exists(file))
  expect_identical(practice_page(design, 1, file, seed = 20), file)
  expect_refused(practice_page(design, 1, file, seed = 20), "file", "already")
})

# Logs of acts replayed by node; `acts` are lists with kind and what belongs to it, a minute apart.
practice_logs <- function(data, ...) {
  skip_if_not(nzchar(Sys.which("node")), "node is not installed")
  logs <- lapply(list(...), function(acts) {
    Map(function(act, k) c(act, list(t = 60 * k)), acts, seq_along(acts))
  })
  file <- withr::local_tempfile(fileext = ".json")
  writeLines(json_text(list(data = data, logs = lapply(logs, unname))), file)
  parts <- system.file("pages", c("core.js", "core-api.js", "practice-physics.js"), package = "softanneal",
                       mustWork = TRUE)
  out <- system2("node", shQuote(c(test_path("core", "practice.js"), parts, file)), stdout = TRUE)
  jsonlite::fromJSON(paste(out, collapse = ""), simplifyDataFrame = TRUE, simplifyVector = TRUE)
}

test_that("each reading has its own scatter, scale and operator, whatever was done before it", {
  skip_if_not_installed("jsonlite")
  own <- practice_of_group()
  two <- practice_design(scale = c("HRF", "HR30T", "HV"), operators = c("first", "second"))
  sizes <- list(thickness_mm = 1.6, width_mm = 25, length_mm = 150)
  set <- list(rolled_mm = 0.95, budget_s = 36000, max_specimens = 2, dip_c = 9, recover_min = 3, open_s = 10,
              ambient_c = 20)
  data <- practice_data(two, 1, 20, "Run", sizes, set, thermal_material())
  expect_identical(as.double(data$top), c(130, 100, 1e4))
  act <- function(kind, ...) list(kind = kind, ...)
  head <- list(act("begin", operator = "second"), act("roll", gap_mm = 1.2), act("roll", gap_mm = 0.93))
  saw <- act("saw", length_mm = 30)
  read <- function(x, y, piece = "A") act("indent", piece = piece, x = x, y = y)
  plain <- c(head, list(saw, read(5, 5), read(10, 5), read(15, 5)))
  # other acts between, and some that cannot be
  busy <- c(head, list(act("measure"), saw, saw, saw, read(5, 5, "B"), act("open", furnace = 0),
                       act("in", piece = "B", furnace = 0), act("in", piece = "A", furnace = 1),
                       act("out", piece = "A", to = "block"), read(5, 5, "B"), act("shut", furnace = 0),
                       read(5, 5), read(10, 5), read(15, 5), read(15.1, 5), read(17, 5),
                       read(25, 0.5), read(40, 5)))
  cracked <- list(act("begin", operator = ""), act("roll", gap_mm = 1.0), act("roll", gap_mm = 0.4),
                  act("roll", gap_mm = 1.59), saw, read(5, 4))
  # an unrolled piece is thick: out after a minute it was not at temperature yet, after three it was
  leg <- function(n) {
    c(list(act("open", furnace = 0), act("in", piece = "A", furnace = 0)), rep(list(act("measure")), n),
      list(act("out", piece = "A", to = "block"), act("shut", furnace = 0)))
  }
  early <- c(list(act("begin", operator = ""), saw), leg(0), leg(2))
  found <- practice_logs(data, plain, busy, cracked, early)
  expect_identical(found$early[[4L]], c(TRUE, FALSE))
  a <- found$readings[[1L]]
  b <- found$readings[[2L]]
  b <- b[b$specimen == "A", ]
  expect_identical(b[1:3, c("scale", "value", "clean")], a[c("scale", "value", "clean")], ignore_attr = TRUE)
  expect_identical(a$scale, c("HRF", "HR30T", "HV"))
  normal <- function(...) {
    w <- philox(c(..., 0, 0, 0)[1:4], data$seed)
    qnorm(((w[1L] %/% 64) * 2^26 + w[2L] %/% 64 + 0.5) / 2^52)
  }
  sd <- two$bench$sd
  shown <- vapply(1:3, function(k) convert_hardness(a$clean[k], "HV", a$scale[k]), 0) +
    vapply(0:2, function(k) normal(3, k), 0) * sd[["machine"]] + normal(4, 1) * sd[["operator"]]
  expect_equal(a$value, round(shown / 0.5) * 0.5)
  said <- found$said[[2L]]
  expect_identical(said[c(7L, 11L, 12L, 13L, 21L)], c("Not enough strip", rep("Not done", 4L)))
  # in the indentation before, near it, near the edge: by the rule of the help page
  d <- data$spacing
  expect_equal(b$factor[4:6], c(0.75, 1 + 0.1 * (1 - 1.9 / d$centre_mm), 1 - 0.15 * (1 - 0.5 / d$edge_mm)))
  expect_equal(found$volume, rep(0, 4), tolerance = 1e-9)
  crack <- found$said[[3L]]
  expect_match(crack[2L], "the edges crack", fixed = TRUE)
  expect_match(crack[3L], "stall", fixed = TRUE)
  expect_match(crack[4L], "untouched", fixed = TRUE)
  expect_equal(found$readings[[3L]]$edge, 2) # 4 mm from the edge, cracked 2 mm deep
})

# Does a whole run as a careful student would, with some mistakes on piece A at its end.
PRACTICE_DRIVER <- "
  await wait(() => document.documentElement.dataset.ready === 'yes');
  const find = (key) => Array.from(document.querySelectorAll('[data-key]')).find((x) =>
    x.getAttribute('data-key') === key);
  const press = (key) => { const x = find(key); if (!x) throw new Error('no button ' + key); x.click(); };
  const fill = (id, text) => { const f = document.getElementById('practice-' + id); f.value = text;
    f.dispatchEvent(new Event('input', {bubbles: true})); };
  const said = () => document.getElementById('practice-told').textContent;
  const told = [];
  document.getElementById('practice-start').click();
  press('measure');
  fill('gap', '0,5'); press('roll');
  const guard = document.getElementById('practice-guard');
  told.push(String(guard.hidden), guard.innerText);
  press('guard careless'); told.push(said());
  press('roll'); press('guard do'); told.push(said());
  fill('gap', 'x'); press('roll'); told.push(said());
  for (const gap of ['1,3', '1.08', '0.927']) { fill('gap', gap); press('roll'); press('measure'); }
  for (let k = 0; k < 3; k++) press('saw');
  const names = ['A', 'B', 'C'];
  const read = (name) => { press('test ' + name);
    for (let k = 0; k < 3; k++) { press('propose'); press('indent'); } };
  names.forEach(read);
  press('wear gloves'); press('wear shield');
  const leg = (k, act) => { press('door ' + k); press(act); press('door ' + k); };
  for (const minutes of ['6', '10', '25', '60']) {
    names.forEach((x, k) => leg(k, 'in ' + x + ' ' + k));
    fill('wait', minutes); press('wait go');
    names.forEach((x, k) => leg(k, (k === 2 ? 'air ' : 'block ') + x));
    if (minutes === '6') { press('test A'); press('propose'); press('indent');
      told.push(String(guard.hidden)); press('guard leave'); }
    fill('wait', '25'); press('wait go'); press('probe B'); told.push(said());
    names.forEach(read);
  }
  const files = [practice.readingsFile(), practice.eventsFile(), practice.rollingFile()];
  // mistakes: in an old indentation, at the edge, a long open door, a warm piece
  press('test A'); press('indent'); fill('x', '0.2'); press('indent');
  press('door 0'); press('in A 0'); fill('wait', '1'); press('wait go'); press('air A'); press('door 0');
  fill('wait', '5'); press('wait go'); press('propose'); press('indent');
  const lab = practice.lab(), s = practice.state();
  const bits = (x) => { const v = new DataView(new ArrayBuffer(8)); return x.map((y) => { v.setFloat64(0, y);
    return v.getUint32(0).toString(16) + ' ' + v.getUint32(4).toString(16); }); };
  const piece = s.pieces[0], step = piece.steps[1];
  const whole = lab.history(piece, s.doors, piece.readings[8].t, lab.offset);
  const around = lab.furnaceHistory(0, s.doors, step.in_s, step.out_s, lab.offset[0]);
  const answers = document.getElementById('practice-answers').querySelector('input');
  answers.value = '150,5'; answers.dispatchEvent(new Event('input', {bubbles: true}));
  const log = practice.log();
  return {told, files, answers: practice.answersFile(),
    bits: bits(lab.truth.par.concat([lab.truth.temp_ref_c])), seconds: practice.clock(), hurts: s.hurts,
    doors: s.doors, offset: lab.offset, steps: piece.steps,
    thick: piece.thickness_mm, broad: piece.width_mm, strip: s.measured,
    readings: piece.readings.map((r) =>
      [r.step, r.reading, r.t, r.true_hv, r.clean, r.factor, r.value, r.temp]),
    whole, around, ideal: [310, 340, 370].map((t) => [4, 16, 64].map((m) =>
      lab.ideal(t, m, page.data.scale[0]))),
    sheet: lab.sheet({thickness_mm: 0.95, width_mm: Infinity, length_mm: Infinity}, 20,
      {time_s: [0], temp_c: [370]}, 'block', page.data.asked),
    saved: JSON.parse(localStorage.getItem('softanneal-practice/' + page.data.run)).log.length === log.length,
    volume: s.strip.thickness_mm * s.strip.width_mm * s.strip.length_mm - s.strip.volume};"

test_that("a run in the browser from the rolls to the files is that of R, and its fit holds the truth", {
  skip_on_cran()
  skip_unless_browser()
  data <- practice_of_group()
  # a history of the package, to be found at its own times
  plain <- anneal_history(data.frame(specimen = "A", temp_c = 370, time_min = 16), thickness_mm = 0.95)
  plain <- plain[plain$time_s > 0 & plain$time_s <= 960, ]
  data$asked <- I(plain$time_s)
  found <- drive_page("practice", "Run", data, PRACTICE_DRIVER, width = 500, process = CAUTION_PROCESSES)
  expect_quiet_page(found)
  expect_true(found$saved)
  told <- found$told
  expect_identical(told[1L], "false")
  expect_match(told[2L], "put on safety glasses", fixed = TRUE)
  expect_match(told[3L], "an eye is hurt by a splinter", fixed = TRUE)
  expect_match(told[4L], "The rolls stall", fixed = TRUE)
  expect_match(told[5L], "must be a number", fixed = TRUE)
  expect_identical(told[6L], "false") # hot on the anvil: asked before
  expect_match(told[7:10], "Contact thermometer on piece B: 20", fixed = TRUE)
  expect_identical(found$hurts, 1L)
  expect_equal(found$volume, 0, tolerance = 1e-9)

  # the truth of the key, bit for bit
  truth <- attr(PRACTICE$key, "truth")
  par <- truth[data$terms]
  bits <- vapply(c(unlist(par), truth$temp_ref_c), function(x) {
    word <- function(bytes) sub("^0+(?=.)", "", paste(as.character(bytes), collapse = ""), perl = TRUE)
    bytes <- writeBin(x, raw(), endian = "big")
    paste(word(bytes[1:4]), word(bytes[5:8]))
  }, "")
  expect_identical(found$bits, unname(bits))

  # furnace, sheet and dial by R
  normal <- function(...) {
    w <- philox(c(..., 0, 0, 0)[1:4], data$seed)
    qnorm(((w[1L] %/% 64) * 2^26 + w[2L] %/% 64 + 0.5) / 2^52)
  }
  sd <- practice_design()$bench$sd
  off <- vapply(0:2, function(k) normal(2, k), 0) * sd[["temp_c"]]
  expect_equal(found$offset, off, tolerance = 1e-10)
  a <- found$steps[2L, ]
  set <- 310 + off[1L]
  open <- -10 / log(1 - 9 / (310 - 20))
  last <- set # temperature when the door is moved, and from there
  doors <- found$doors[[1L]]
  temp <- numeric()
  for (i in seq_len(nrow(doors))) {
    until <- if (i < nrow(doors)) doors$t[i + 1L] else Inf
    at <- a$in_s + found$around$time_s
    at <- at[at >= doors$t[i] & at < until]
    towards <- function(s) {
      if (doors$open[i]) 20 + (last - 20) * exp(-s / open) else set + (last - set) * exp(-s / 60)
    }
    temp <- c(temp, towards(at - doors$t[i]))
    last <- towards(until - doors$t[i])
  }
  expect_equal(found$around$temp_c, temp, tolerance = 1e-10)
  start <- found$whole$temp_c[found$whole$time_s == a$in_s]
  hot <- heat_up(found$thick, as.data.frame(found$around), until_min = (a$out_s - a$in_s) / 60,
                 start_c = start, width_mm = found$broad, length_mm = 30)$history
  here <- match(round(a$in_s + hot$time_s, 6), round(found$whole$time_s, 6))
  expect_gt(sum(!is.na(here)), 30)
  expect_equal(found$whole$temp_c[here[!is.na(here)]], hot$temp_c[!is.na(here)], tolerance = 1e-10)
  expect_equal(found$sheet, plain$temp_c, tolerance = 1e-10)
  share <- log(1.6 / found$thick) / log(1.6 / 0.95)
  bent <- unlist(par)
  bent[["h_worked"]] <- bent[["h_worked"]] * share^0.3
  bent[["ln_k_ref"]] <- bent[["ln_k_ref"]] + 2 * log(share)
  own <- soften(as.data.frame(found$whole), bent, model = "jmak", temp_ref_c = truth$temp_ref_c)$hardness
  r <- as.data.frame(found$readings)
  names(r) <- c("step", "reading", "t", "true", "clean", "factor", "value", "temp")
  ninth <- r[9L, ]
  expect_equal(ninth$true, own[length(own)], tolerance = 1e-10)
  clean <- ninth$true + normal(1, 0) * sd[["specimen"]] + normal(5, 0, ninth$step) * sd[["step"]] +
    normal(6, 0, ninth$step, ninth$reading) * sd[["reading"]]
  expect_equal(ninth$clean, clean, tolerance = 1e-10)
  dial <- convert_hardness(clean * ninth$factor, "HV", "HR30T") + normal(3, 0) * sd[["machine"]]
  expect_equal(ninth$value, round(dial / 0.5) * 0.5)
  # without errors, what simulate_readings() gives
  ideal <- simulate_readings(unlist(par), data$temps, c(4, 16, 64), 1, temp_ref_c = truth$temp_ref_c,
                             resolution = 0, sd = replace(sd, seq_along(sd), 0), seed = 1)
  expect_equal(as.vector(t(found$ideal)), as.double(ideal$hardness), tolerance = 1e-10)

  # mistakes: in the old indentation, at the edge, warm
  wrong <- utils::tail(r, 3L)
  expect_equal(wrong$factor[1L], 0.75, tolerance = 0.01)
  expect_lt(wrong$factor[2L], 0.9)
  expect_gt(wrong$temp[3L], 25)
  expect_equal(wrong$factor[3L], 1 - 5e-4 * (wrong$temp[3L] - 20))

  # the files, by the functions they are for
  files <- withr::local_tempdir()
  path <- file.path(files, c("readings.csv", "events.csv", "rolling.csv", "answers.csv"))
  for (k in 1:4) writeLines(c(found$files, found$answers)[k], path[k], useBytes = TRUE)
  readings <- suppressMessages(read_readings(path[1L]))
  expect_identical(nrow(readings), 45L)
  expect_identical(unique(as.character(readings$group)), "group-02")
  fit <- suppressWarnings(fit_softening(readings))
  ends <- suppressWarnings(confint(fit))
  shown <- parameters_of(unlist(par), "jmak")
  shown[["ln_k_ref"]] <- shown[["ln_k_ref"]] +
    shown[["q_kj_mol"]] * inverse_temperature(fit$temp_ref_c, truth$temp_ref_c)
  expect_true(all(shown >= ends[, 1L] & shown <= ends[, 2L]))
  history <- suppressMessages(read_history(path[2L]))
  expect_setequal(history$specimen, c("A", "B", "C"))
  expect_identical(nrow(suppressWarnings(find_steps(history))), 12L)
  untimed <- readings[names(readings) != "time_min"]
  along <- suppressWarnings(fit_softening(untimed, history = history, log_time = log_s))
  expect_equal(coef(along)[["h_soft"]], coef(fit)[["h_soft"]], tolerance = 0.05)
  strip <- cold_work(utils::read.csv(path[3L]))
  expect_identical(strip$pass, 0:3)
  expect_true(all(is.na(strip$finding)))
  key <- PRACTICE$key
  # the decimal comma as typed; and the run's own fit counts
  marks <- mark_answers(path[4L], key, runs = path[1L])
  expect_equal(marks$value[1L], 150.5)
  given <- data.frame(group = "group-02", quantity = "q_kj_mol", value = fit$par[["q_kj_mol"]])
  expect_identical(mark_answers(given, key, runs = list(readings))$mark[4L], "right")
})

test_that("runs beside answers: own readings count, strangers and doubles are refused", {
  practice_of_group()
  key <- PRACTICE$key
  run <- simulate_readings(c(h_worked = 150, h_soft = 75, t50_rex_min = 12, n = 1.5, q_kj_mol = 165),
                           c(310, 340, 370), c(0, 4, 8, 16, 32, 64), 5, seed = 1)
  run <- data.frame(group = "group-02", run)
  q <- suppressWarnings(fit_softening(run))$par[["q_kj_mol"]]
  given <- data.frame(group = "group-02", quantity = "q_kj_mol", value = q)
  expect_false(mark_answers(given, key)$mark[4L] == "right")
  expect_identical(mark_answers(given, key, runs = run)$mark[4L], "right")
  expect_refused(mark_answers(given, key, runs = 3), "argument", "must be paths or tables")
  expect_refused(mark_answers(given, key, runs = replace(run, "group", "group-07")), "argument",
                 "no group 'group-07'")
  expect_refused(mark_answers(given, key, runs = list(run, run)), "duplicate", "two runs of group-02")
  expect_refused(mark_answers(given, replace(key, "temp_c", -key$temp_c), runs = run), "range", "temp_c")
  bare <- key
  attr(bare, "design") <- NULL
  expect_refused(mark_answers(given, bare, runs = run), "argument", "lost its design")
  expect_told(mark_answers(given, key, runs = run[run$temp_c == 310, ]), "missing",
              "do not determine what is asked")
})
