# Every exercise of the tutorials, clicked through in Chromium as a student would: hint, solution typed into
# the editor, Run Code, an output without an error, a picture with alt text; the quiz answered; axe-core over
# each page. Needs the package, learnr, Chromium and npm (puppeteer-core and axe-core are fetched).
#   Rscript inst/scripts/dev/check-tutorials.R [NAME ...]

suppressMessages(library(softanneal))
browser <- Sys.which(c("chromium", "chromium-browser", "google-chrome"))
browser <- browser[nzchar(browser)][1]
if (is.na(browser) || !nzchar(Sys.which("npm"))) stop("this check needs Chromium and npm")
if (!requireNamespace("learnr", quietly = TRUE)) stop("this check needs the R package learnr")
work <- tempfile("tutorials-")
dir.create(work)
if (system2("npm", c("install", "--silent", "--no-audit", "--no-fund", "--prefix", shQuote(work),
                     "puppeteer-core", "axe-core@4")) != 0L) stop("npm packages could not be installed")

# Exercises in order with the code of their solution; the right answers of the quiz.
lesson <- function(file) {
  lines <- readLines(file, encoding = "UTF-8")
  open <- grep("^```\\{r ", lines)
  shut <- grep("^```$", lines)
  name <- sub("^```\\{r ([^, }]+).*$", "\\1", lines[open])
  code <- vapply(open, function(i) {
    paste(lines[seq_len(min(shut[shut > i]) - i - 1L) + i], collapse = "\n")
  }, "")
  names(code) <- name
  exercise <- name[grepl("exercise = TRUE", lines[open])]
  right <- regmatches(lines, regexec("answer\\(\"(.*)\", correct = TRUE", lines))
  right <- unlist(lapply(right, `[`, 2L))
  list(exercise = exercise, solution = unname(code[paste0(exercise, "-solution")]),
       right = I(right[!is.na(right)]))
}

CLICK <- "
const fs = require('fs');
const [url, browser, lessonFile, axeFile, picture] = process.argv.slice(2);
const puppeteer = require('puppeteer-core');
const lesson = JSON.parse(fs.readFileSync(lessonFile));
const faults = [];
const wait = (ms) => new Promise((r) => setTimeout(r, ms));
(async () => {
  const b = await puppeteer.launch({executablePath: browser, headless: true, protocolTimeout: 900000,
                                    args: ['--no-sandbox', '--disable-gpu']});
  const page = await b.newPage();
  await page.setViewport({width: 1200, height: 900});
  for (let k = 0; ; k++) {
    try { await page.goto(url, {waitUntil: 'domcontentloaded', timeout: 60000}); break; }
    catch (e) { if (k > 60) throw e; await wait(2000); }
  }
  await page.waitForSelector('.tutorial-exercise .btn-tutorial-run', {timeout: 120000});
  await page.waitForFunction(() => window.Shiny && Shiny.shinyapp && Shiny.shinyapp.isConnected() &&
                             !document.documentElement.classList.contains('shiny-busy'), {timeout: 120000});
  await wait(2000);
  for (let k = 0; k < lesson.exercise.length; k++) {
    const name = lesson.exercise[k];
    const box = '.tutorial-exercise[data-label=\"' + name + '\"]';
    const said = await page.evaluate(async (box, code) => {
      const wait = (ms) => new Promise((r) => setTimeout(r, ms));
      const exercise = document.querySelector(box);
      if (!exercise) return {fault: 'is not on the page'};
      // sections that come later are hidden until the student continues
      for (let e = exercise; e; e = e.parentElement) {
        e.style.display = '';
        e.classList.remove('hide');
        if (e.classList.contains('section')) e.classList.add('current', 'showSkip');
      }
      // Shiny draws what it knows to be shown
      $(exercise).parents().addBack().trigger('shown');
      $(window).trigger('resize');
      await wait(1000);
      const hint = exercise.querySelector('.btn-tutorial-hint');
      if (!hint) return {fault: 'has no hint'};
      hint.click();
      await wait(1500);
      const shown = document.querySelector('.tutorial-solution-popover');
      hint.click();
      await wait(800);
      // the hint has an editor of its own
      const editors = [...exercise.querySelectorAll('.ace_editor')];
      const editor = ace.edit(editors.find((e) => !e.closest('.popover')));
      editor.setValue(code, -1);
      await wait(800);
      exercise.querySelector('.btn-tutorial-run').click();
      let output;
      for (let t = 0; t < 400; t++) {
        await wait(500);
        output = exercise.querySelector('.tutorial-exercise-output'); // made anew by some versions
        const done = output.textContent.trim() || output.querySelector('img');
        const busy = exercise.querySelector('.tutorial-exercise-output.recalculating');
        if (t > 2 && done && !busy) break;
        // a click before the page listens is lost
        if (t % 40 === 39 && !done && !busy) exercise.querySelector('.btn-tutorial-run').click();
      }
      const images = [...output.querySelectorAll('img')];
      const error = output.querySelector('.alert-danger, .text-danger, .tutorial-exercise-error');
      return {hint: !!shown, length: output.textContent.trim().length, images: images.length,
              noAlt: images.filter((i) => !i.alt.trim()).length,
              fault: error ? error.textContent.trim() : null};
    }, box, lesson.solution[k]);
    if (said.fault) faults.push(name + ': ' + said.fault);
    else if (!said.length && !said.images) faults.push(name + ': no output');
    if (said.noAlt) faults.push(name + ': a picture without alt text');
    if (said.hint === false) faults.push(name + ': the hint does not open');
    console.log('  ' + name + ': ' + JSON.stringify(said));
  }
  for (const right of lesson.right) {
    const answer = await page.evaluate(async (right) => {
      const wait = (ms) => new Promise((r) => setTimeout(r, ms));
      for (const e of document.querySelectorAll('.section')) {
        e.style.display = '';
        e.classList.add('current');
      }
      $('.section').trigger('shown');
      $(window).trigger('resize');
      await wait(1000);
      // the question is drawn anew after a click, and a click before the page listens is lost
      const place = () => [...document.querySelectorAll('.tutorial-question label, .radio label')]
        .find((l) => l.textContent.trim() === right);
      const around = (label) => label.closest('.tutorial-question, .panel-body');
      let last = 'no such answer';
      for (let t = 0; t < 120; t++) {
        let label = place();
        if (label) {
          const told = around(label).querySelector('.alert');
          if (told && told.classList.contains('alert-success')) return 'right';
          if (t % 10 === 0) {
            const input = label.querySelector('input') || document.getElementById(label.htmlFor);
            if (!input.checked) input.click();
            await wait(800);
            label = place() || label;
            const button = around(label).querySelector('button');
            if (button) button.click();
            last = button ? around(label).textContent.trim().slice(0, 200) : 'no button';
          }
        }
        await wait(500);
      }
      return last;
    }, right);
    console.log('  quiz: ' + answer);
    if (answer !== 'right') faults.push('quiz: ' + answer);
  }
  // outputs fade while they are made anew
  await page.waitForFunction(() => !document.querySelector('.recalculating'), {timeout: 120000});
  await wait(2000);
  await page.evaluate(fs.readFileSync(axeFile, 'utf8'));
  // the text and the pictures; menus, editors and buttons are built by learnr
  const found = await page.evaluate(() => axe.run(
    {include: [['.section']],
     exclude: [['.tutorial-exercise-input'], ['.topicActions'], ['.tutorial-question']]},
    {resultTypes: ['violations']}).then((r) => r.violations.map((v) =>
      v.impact + ' ' + v.id + ' (' + v.nodes.length + '): ' +
      v.nodes.slice(0, 3).map((n) => n.target.join(' ')).join(' | '))));
  found.forEach((f) => console.log('  axe: ' + f));
  found.filter((f) => /^(serious|critical)/.test(f)).forEach((f) => faults.push('axe: ' + f));
  const lost = await page.evaluate(() => [...document.images].filter((i) => !i.hasAttribute('alt')).length);
  if (lost) faults.push(lost + ' pictures without alt text');
  await page.screenshot({path: picture, fullPage: true});
  await b.close();
  faults.forEach((f) => console.log('FAULT ' + f));
  process.exit(faults.length ? 1 : 0);
})().catch((e) => { console.log('FAULT ' + e); process.exit(1); });
"

check <- function(file, port) {
  name <- tools::file_path_sans_ext(basename(file))
  folder <- file.path(work, name)
  dir.create(folder)
  copy <- file.path(folder, basename(file))
  file.copy(file, copy) # rendered beside the copy, the installed one stays
  log <- file.path(work, paste0(name, ".log"))
  code <- sprintf("rmarkdown::run(%s, shiny_args = list(port = %d, launch.browser = FALSE))",
                  dQuote(copy, FALSE), port)
  # a group of its own: exercises run in children, which keep the port where only their parent is ended
  group <- if (nzchar(Sys.which("setsid"))) "setsid" else ""
  pid <- system(sprintf("R_LIBS=%s exec %s Rscript -e %s >%s 2>&1 & echo $!",
                        shQuote(paste(.libPaths(), collapse = ":")), group, shQuote(code), shQuote(log)),
                intern = TRUE)
  on.exit(system(paste0("kill -- ", if (nzchar(group)) "-", pid, " 2>/dev/null")))
  lesson_file <- file.path(work, paste0(name, ".json"))
  jsonlite::write_json(lesson(file), lesson_file, auto_unbox = TRUE)
  script <- file.path(work, "click.js")
  writeLines(CLICK, script)
  cat(name, "\n", sep = "")
  axe <- file.path(work, "node_modules", "axe-core", "axe.min.js")
  url <- sprintf("http://127.0.0.1:%d/%s", port, basename(copy))
  status <- system2("node", shQuote(c(script, url, browser, lesson_file, axe,
                                      file.path(work, paste0(name, ".png")))))
  if (status != 0L) cat(utils::tail(readLines(log, warn = FALSE), 15), sep = "\n")
  status
}

folder <- system.file("tutorials", package = "softanneal", mustWork = TRUE)
files <- list.files(folder, "[.]Rmd$", recursive = TRUE, full.names = TRUE)
wished <- commandArgs(TRUE)
if (length(wished)) files <- files[tools::file_path_sans_ext(basename(files)) %in% wished]
status <- vapply(seq_along(files), function(k) check(files[k], 7100L + k), 0L)
if (nzchar(Sys.getenv("SOFTANNEAL_KEEP"))) cat("Kept:", work, "\n") else unlink(work, recursive = TRUE)
cat(length(files), "tutorials,", sum(status != 0L), "with faults\n")
if (any(status != 0L)) quit(status = 1L)
